//! Results as JSON that people can read too: a line for each key, lists along the line.

use std::io::{Result, Write};

use serde::Serialize;
use serde_json::ser::{Formatter, Serializer};

/// A value as indented JSON that ends with its line: `[[100.0, 0.943], [200.0, 0.972]]` takes one line, not ten.
///
/// # Errors
/// What a value's own `Serialize` refuses.
pub fn json_text(value: &impl Serialize) -> serde_json::Result<String> {
    let mut bytes = Vec::new();
    value.serialize(&mut Serializer::with_formatter(&mut bytes, Lines::default()))?;
    bytes.push(b'\n');
    // The serializer writes nothing but text.
    Ok(String::from_utf8(bytes).unwrap_or_default())
}

/// Breaks lines at keys alone.
#[derive(Debug, Default)]
struct Lines {
    depth: usize,
    /// Whether the object that is being written has a key.
    any: bool,
}

impl Lines {
    fn next_line<W: Write + ?Sized>(&self, writer: &mut W) -> Result<()> {
        const LINE: &[u8] = b"\n                                                                ";
        let mut spaces = 2 * self.depth;
        writer.write_all(&LINE[..LINE.len().min(1 + spaces)])?;
        while spaces >= LINE.len() {
            spaces -= LINE.len() - 1;
            writer.write_all(&LINE[1..LINE.len().min(1 + spaces)])?;
        }
        Ok(())
    }
}

impl Formatter for Lines {
    fn begin_object<W: Write + ?Sized>(&mut self, writer: &mut W) -> Result<()> {
        self.depth += 1;
        self.any = false;
        writer.write_all(b"{")
    }

    fn end_object<W: Write + ?Sized>(&mut self, writer: &mut W) -> Result<()> {
        self.depth -= 1;
        if self.any {
            self.next_line(writer)?;
        }
        writer.write_all(b"}")
    }

    fn begin_object_key<W: Write + ?Sized>(&mut self, writer: &mut W, first: bool) -> Result<()> {
        if !first {
            writer.write_all(b",")?;
        }
        self.next_line(writer)
    }

    fn begin_object_value<W: Write + ?Sized>(&mut self, writer: &mut W) -> Result<()> {
        writer.write_all(b": ")
    }

    fn end_object_value<W: Write + ?Sized>(&mut self, _: &mut W) -> Result<()> {
        self.any = true;
        Ok(())
    }

    fn begin_array_value<W: Write + ?Sized>(&mut self, writer: &mut W, first: bool) -> Result<()> {
        if first { Ok(()) } else { writer.write_all(b", ") }
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;

    #[test]
    fn lists_stay_on_their_line() {
        let value =
            json!({ "pairs": [[1.5, 2], [3, null]], "none": {}, "parts": [{ "a": "x\"y", "b": [] }, { "c": {} }] });
        let text = json_text(&value).unwrap();
        let lines = [
            "{",
            "  \"pairs\": [[1.5, 2], [3, null]],",
            "  \"none\": {},",
            "  \"parts\": [{",
            "    \"a\": \"x\\\"y\",",
            "    \"b\": []",
            "  }, {",
            "    \"c\": {}",
            "  }]",
            "}",
            "",
        ];
        assert_eq!(text.split('\n').collect::<Vec<_>>(), lines);
    }

    // The reader of the check is the library's own.
    #[test]
    fn what_is_written_reads_as_the_same_value() {
        let mut deep = json!([{ "end": 0.1 }]);
        for depth in 0..100 {
            assert_eq!(serde_json::from_str::<Value>(&json_text(&deep).unwrap()).unwrap(), deep);
            let text = json_text(&deep).unwrap();
            let last = text.lines().find(|line| line.contains("end")).unwrap();
            assert_eq!(last.len() - last.trim_start().len(), 2 * (depth + 1));
            deep = json!({ "k": deep });
        }
    }
}
