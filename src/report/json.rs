//! Results as JSON that people can read too: a line for each key, lists along the line.

use std::io::{Result, Write};

use serde::Serialize;
use serde::ser::Error;
use serde_json::ser::{Formatter, Serializer};

/// A value as indented JSON that ends with its line: `[[100.0, 0.943], [200.0, 0.972]]` takes one line, not ten.
///
/// # Errors
/// What a value's own `Serialize` refuses.
pub fn json_text(value: &impl Serialize) -> serde_json::Result<String> {
    let mut bytes = Vec::new();
    let lines = Lines { line: b"\n".to_vec(), any: false };
    value.serialize(&mut Serializer::with_formatter(&mut bytes, lines))?;
    bytes.push(b'\n');
    String::from_utf8(bytes).map_err(Error::custom)
}

/// Breaks lines at keys alone.
struct Lines {
    /// What begins the next line: a line end and the spaces.
    line: Vec<u8>,
    /// Whether the object that is being written has a key.
    any: bool,
}

impl Formatter for Lines {
    fn begin_object<W: Write + ?Sized>(&mut self, writer: &mut W) -> Result<()> {
        self.line.extend_from_slice(b"  ");
        self.any = false;
        writer.write_all(b"{")
    }

    fn end_object<W: Write + ?Sized>(&mut self, writer: &mut W) -> Result<()> {
        self.line.truncate(self.line.len() - 2);
        if self.any {
            writer.write_all(&self.line)?;
        }
        writer.write_all(b"}")
    }

    fn begin_object_key<W: Write + ?Sized>(&mut self, writer: &mut W, first: bool) -> Result<()> {
        if !first {
            writer.write_all(b",")?;
        }
        writer.write_all(&self.line)
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
