//! Records as indented JSON.

use std::io::{self, Write};

use serde::Serialize;
use serde_json::Serializer;
use serde_json::ser::Formatter;

/// As `serde_json::to_string_pretty` writes it, with a line end, in fewer pieces: half of a record is the spaces before
/// its numbers.
pub fn pretty(record: &impl Serialize) -> Result<String, serde_json::Error> {
    let mut text = Vec::with_capacity(1 << 17);
    record.serialize(&mut Serializer::with_formatter(&mut text, Indented::default()))?;
    text.push(b'\n');
    String::from_utf8(text).map_err(serde::ser::Error::custom)
}

/// Two spaces a level, each value on a line of its own.
#[derive(Default)]
struct Indented {
    depth: usize,
    has_value: bool,
}

/// What stands between two values, as deep as records go without a second piece.
const BETWEEN: &[u8] = b",\n                                                                ";

impl Indented {
    fn open<W: ?Sized + Write>(&mut self, to: &mut W, bracket: &[u8]) -> io::Result<()> {
        self.depth += 1;
        self.has_value = false;
        to.write_all(bracket)
    }

    fn close<W: ?Sized + Write>(&mut self, to: &mut W, bracket: &[u8]) -> io::Result<()> {
        self.depth -= 1;
        if self.has_value {
            self.line(to, true)?;
        }
        to.write_all(bracket)
    }

    /// A new line, behind a comma unless it is the first.
    fn line<W: ?Sized + Write>(&self, to: &mut W, first: bool) -> io::Result<()> {
        let spaces = 2 * self.depth;
        let end = BETWEEN.len().min(2 + spaces);
        to.write_all(&BETWEEN[usize::from(first)..end])?;
        (end..2 + spaces).try_for_each(|_| to.write_all(b" "))
    }
}

impl Formatter for Indented {
    fn begin_array<W: ?Sized + Write>(&mut self, to: &mut W) -> io::Result<()> {
        self.open(to, b"[")
    }

    fn end_array<W: ?Sized + Write>(&mut self, to: &mut W) -> io::Result<()> {
        self.close(to, b"]")
    }

    fn begin_array_value<W: ?Sized + Write>(&mut self, to: &mut W, first: bool) -> io::Result<()> {
        self.line(to, first)
    }

    fn end_array_value<W: ?Sized + Write>(&mut self, _: &mut W) -> io::Result<()> {
        self.has_value = true;
        Ok(())
    }

    fn begin_object<W: ?Sized + Write>(&mut self, to: &mut W) -> io::Result<()> {
        self.open(to, b"{")
    }

    fn end_object<W: ?Sized + Write>(&mut self, to: &mut W) -> io::Result<()> {
        self.close(to, b"}")
    }

    fn begin_object_key<W: ?Sized + Write>(&mut self, to: &mut W, first: bool) -> io::Result<()> {
        self.line(to, first)
    }

    fn begin_object_value<W: ?Sized + Write>(&mut self, to: &mut W) -> io::Result<()> {
        to.write_all(b": ")
    }

    fn end_object_value<W: ?Sized + Write>(&mut self, _: &mut W) -> io::Result<()> {
        self.has_value = true;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;

    #[test]
    fn writes_what_serde_json_writes() {
        let mut deep = json!({"a": [], "b": {}, "c": [[], [1.5, null, "x\n\"y\""]], "d": {"e": {"f": true}}});
        for _ in 0..40 {
            deep = json!({"in": [deep, {}], "after": -0.0});
        }
        for value in [deep, Value::Null, json!([]), json!({}), json!([{}]), json!("a")] {
            assert_eq!(pretty(&value).unwrap(), serde_json::to_string_pretty(&value).unwrap() + "\n");
        }
    }
}
