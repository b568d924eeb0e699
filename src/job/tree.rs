//! A parsed document in which every value knows its file and line, whether it came from TOML, JSON or CSV.

use serde_json::{Map, Number, Value};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::error::{At, JobError, fault};

/// File (index into [`Files`]) and line from 1; line 0 where the format has none.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Mark {
    pub file: u16,
    pub line: u32,
}

/// Names of the files that a document was put together from.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Files(Vec<String>);

impl Files {
    pub fn add(&mut self, name: &str) -> u16 {
        self.0.push(name.to_string());
        (self.0.len() - 1).min(usize::from(u16::MAX)) as u16
    }

    pub fn at(&self, mark: Mark) -> At {
        At { file: self.0.get(usize::from(mark.file)).cloned().unwrap_or_default(), line: mark.line }
    }
}

/// One entry of a table.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Entry {
    pub key: String,
    pub mark: Mark,
    pub value: Tree,
}

/// A value and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tree {
    pub mark: Mark,
    pub kind: Kind,
}

#[derive(Debug, Clone, PartialEq)]
pub(super) enum Kind {
    Text(String),
    Int(i64),
    Float(f64),
    Bool(bool),
    Date(String),
    List(Vec<Tree>),
    Table(Vec<Entry>),
}

/// Nesting beyond this is refused; a job needs six levels.
const MAX_DEPTH: usize = 48;

impl Tree {
    pub fn table(mark: Mark, entries: Vec<Entry>) -> Tree {
        Tree { mark, kind: Kind::Table(entries) }
    }

    pub fn entries(&self) -> &[Entry] {
        match &self.kind {
            Kind::Table(entries) => entries,
            _ => &[],
        }
    }

    pub fn entry(&self, key: &str) -> Option<&Entry> {
        self.entries().iter().find(|e| e.key == key)
    }

    pub fn get(&self, key: &str) -> Option<&Tree> {
        self.entry(key).map(|e| &e.value)
    }

    pub fn items(&self) -> &[Tree] {
        match &self.kind {
            Kind::List(items) => items,
            _ => &[],
        }
    }

    pub fn text(&self) -> Option<&str> {
        match &self.kind {
            Kind::Text(text) => Some(text),
            _ => None,
        }
    }

    pub fn number(&self) -> Option<f64> {
        match self.kind {
            Kind::Int(x) => Some(x as f64),
            Kind::Float(x) => Some(x),
            _ => None,
        }
    }

    /// As it may be shown in a message: short, on one line.
    pub fn shown(&self) -> String {
        match &self.kind {
            Kind::Text(text) => {
                let mut clean: String = text.chars().take(60).flat_map(char::escape_debug).collect();
                if text.chars().count() > 60 {
                    clean.push_str("...");
                }
                format!("\"{clean}\"")
            }
            Kind::Int(x) => x.to_string(),
            Kind::Float(x) => number_text(*x),
            Kind::Bool(x) => x.to_string(),
            Kind::Date(text) => format!("the date {text}"),
            Kind::List(items) => match items.len() {
                0 => "an empty list".to_string(),
                1 => "a list of one".to_string(),
                n => format!("a list of {n}"),
            },
            Kind::Table(_) => "a section".to_string(),
        }
    }

    pub fn json(&self) -> Value {
        match &self.kind {
            Kind::Text(text) | Kind::Date(text) => Value::String(text.clone()),
            Kind::Int(x) => Value::Number((*x).into()),
            Kind::Float(x) => Number::from_f64(*x).map_or(Value::Null, Value::Number),
            Kind::Bool(x) => Value::Bool(*x),
            Kind::List(items) => Value::Array(items.iter().map(Tree::json).collect()),
            Kind::Table(entries) => {
                Value::Object(entries.iter().map(|e| (e.key.clone(), e.value.json())).collect::<Map<_, _>>())
            }
        }
    }
}

/// A number as a person would write it.
pub(super) fn number_text(x: f64) -> String {
    if x.is_nan() {
        "not a number (nan)".to_string()
    } else if x.is_infinite() {
        if x > 0.0 { "infinite (inf)".to_string() } else { "infinite (-inf)".to_string() }
    } else if x != 0.0 && (x.abs() >= 1e15 || x.abs() < 1e-6) {
        format!("{x:e}")
    } else {
        format!("{x}")
    }
}

/// A computed number without the dust of its last digits.
pub(super) fn neat(x: f64) -> String {
    number_text((x * 1e9).round() / 1e9)
}

/// Byte offset to line.
struct Lines(Vec<usize>);

impl Lines {
    fn of(text: &str) -> Lines {
        Lines(std::iter::once(0).chain(memchr::memchr_iter(b'\n', text.as_bytes()).map(|i| i + 1)).collect())
    }

    fn line(&self, offset: usize) -> u32 {
        self.0.partition_point(|&start| start <= offset) as u32
    }
}

/// Parses TOML text of the file with index `file`.
pub(super) fn from_toml(text: &str, files: &Files, file: u16) -> Result<Tree, JobError> {
    let lines = Lines::of(text);
    let at = |line| files.at(Mark { file, line });
    // A key of very many dots would nest very deep before any other check could see it.
    for (i, line) in text.lines().enumerate() {
        let key = line.split(['=', '"', '\'', '#']).next().unwrap_or("");
        if memchr::memchr_iter(b'.', key.as_bytes()).count() > MAX_DEPTH {
            return Err(JobError::Syntax(fault(
                at(i as u32 + 1),
                "a key has very many dots",
                format!("at most {MAX_DEPTH}"),
                "Write a key like plane.tilt_deg, or put it under its [section].",
            )));
        }
    }
    let document = DeTable::parse(text).map_err(|e| syntax(text, &lines, &e, &at))?;
    let span = document.span();
    toml_table(document.into_inner(), Mark { file, line: lines.line(span.start) }, &lines, 0)
        .map_err(|line| too_deep(at(line)))
}

fn too_deep(at: At) -> JobError {
    JobError::Syntax(fault(at, "lists or sections are nested too deep", format!("at most {MAX_DEPTH} levels"), {
        "Remove the needless brackets."
    }))
}

/// Err is the line at which the nesting is too deep.
fn toml_table(table: DeTable<'_>, mark: Mark, lines: &Lines, depth: usize) -> Result<Tree, u32> {
    if depth > MAX_DEPTH {
        return Err(mark.line);
    }
    let entries = table
        .into_iter()
        .map(|(key, value)| {
            let mark = Mark { file: mark.file, line: lines.line(key.span().start) };
            Ok(Entry { key: key.into_inner().into_owned(), mark, value: toml_value(value, mark, lines, depth + 1)? })
        })
        .collect::<Result<Vec<_>, u32>>()?;
    Ok(Tree::table(mark, entries))
}

fn toml_value(value: Spanned<DeValue<'_>>, key: Mark, lines: &Lines, depth: usize) -> Result<Tree, u32> {
    let span = value.span();
    let mark = if span.is_empty() { key } else { Mark { file: key.file, line: lines.line(span.start) } };
    if depth > MAX_DEPTH {
        return Err(mark.line);
    }
    let kind = match value.into_inner() {
        DeValue::String(text) => Kind::Text(text.into_owned()),
        DeValue::Integer(int) => match i64::from_str_radix(int.as_str(), int.radix()) {
            Ok(x) => Kind::Int(x),
            Err(_) => Kind::Float(int.as_str().parse().unwrap_or(f64::INFINITY)),
        },
        DeValue::Float(float) => Kind::Float(float.as_str().parse().unwrap_or(f64::NAN)),
        DeValue::Boolean(x) => Kind::Bool(x),
        DeValue::Datetime(date) => Kind::Date(date.to_string()),
        DeValue::Array(array) => Kind::List(
            array.into_iter().map(|v| toml_value(v, mark, lines, depth + 1)).collect::<Result<Vec<_>, u32>>()?,
        ),
        DeValue::Table(table) => return toml_table(table, mark, lines, depth),
    };
    Ok(Tree { mark, kind })
}

/// A TOML syntax error in plain words, with the mends of the usual slips.
fn syntax(text: &str, lines: &Lines, error: &toml::de::Error, at: &dyn Fn(u32) -> At) -> JobError {
    let offset = error.span().map_or(0, |s| s.start).min(text.len());
    let line_no = lines.line(offset);
    let line = text.lines().nth(line_no.saturating_sub(1) as usize).unwrap_or("").trim();
    let shown: String = line.chars().take(60).flat_map(char::escape_debug).collect();
    let message = error.message().lines().next().unwrap_or("").trim().trim_end_matches('.');
    let found = if shown.is_empty() {
        format!("the text breaks off ({message})")
    } else {
        format!("this does not read as TOML ({message}): {shown}")
    };
    let value = line.split_once('=').map_or("", |(_, v)| v.trim());
    let bare = !value.is_empty() && value.starts_with(|c: char| c.is_alphabetic());
    let mend = if message.contains("duplicate key") {
        "The key or section stands twice in the same place. Remove one of the two; several planes or options need \
         double brackets, [[plane]] and [[option]]."
            .to_string()
    } else if value.is_empty() && line.ends_with('=') {
        "Write a value after the =, or remove the line.".to_string()
    } else if value.contains("//") {
        "A comment begins with #.".to_string()
    } else if message.contains("leading zero") {
        "Write the number without a zero in front.".to_string()
    } else if decimal_comma(value) {
        format!("Use a point for decimals: {}.", crate::units::shown(&line.replacen(',', ".", 1)))
    } else if value.contains('\\') {
        "In a path use / instead of \\, or put the path in single quotes.".to_string()
    } else if line.contains('"') && !line.matches('"').count().is_multiple_of(2) {
        "A quote is opened and not closed on this line; put one at each end of the text.".to_string()
    } else if bare {
        "Put text in quotes: key = \"text\".".to_string()
    } else if value.ends_with('%') || value.ends_with(char::is_alphabetic) {
        "Write the number alone; its unit is in the key's name.".to_string()
    } else if value.starts_with('+') || value.starts_with('.') || value.ends_with('.') {
        "A decimal needs a digit before and after the point, like 0.5.".to_string()
    } else if line.starts_with('[') && line.matches('[').count() != line.matches(']').count() {
        "A section is [name] and one of several is [[name]], with as many ] as [.".to_string()
    } else if line_no > 0 && !line.contains('=') && !line.starts_with('[') && !line.is_empty() {
        "Every line is key = value, a [section], or a comment after #.".to_string()
    } else {
        "Check quotes, brackets and commas here and in the line above.".to_string()
    };
    JobError::Syntax(fault(at(line_no), found, "key = value, [section] or [[section]]", mend))
}

fn decimal_comma(value: &str) -> bool {
    let Some((a, b)) = value.split_once(',') else { return false };
    let b = b.split('#').next().unwrap_or("").trim();
    let digits = |s: &str| !s.is_empty() && s.bytes().all(|c| c.is_ascii_digit());
    digits(a.trim_start_matches(['-', '+'])) && digits(b)
}

/// From parsed JSON; no lines.
pub(super) fn from_json(value: &Value, file: u16, depth: usize) -> Option<Tree> {
    if depth > MAX_DEPTH {
        return None;
    }
    let mark = Mark { file, line: 0 };
    let kind = match value {
        Value::Null => return None,
        Value::Bool(x) => Kind::Bool(*x),
        Value::Number(n) => match n.as_i64() {
            Some(x) => Kind::Int(x),
            None => Kind::Float(n.as_f64().unwrap_or(f64::NAN)),
        },
        Value::String(text) => Kind::Text(text.clone()),
        Value::Array(items) => Kind::List(items.iter().filter_map(|v| from_json(v, file, depth + 1)).collect()),
        Value::Object(map) => Kind::Table(
            map.iter()
                .filter_map(|(key, v)| Some(Entry { key: key.clone(), mark, value: from_json(v, file, depth + 1)? }))
                .collect(),
        ),
    };
    Some(Tree { mark, kind })
}
