//! The JSON Schema as the check walks it: the text itself, with the place of every value laid out while the program is
//! compiled. Reading it at every start would take longer than checking a job.

use std::borrow::Cow;

/// A whole schema.
#[derive(Debug)]
pub(super) struct Schema {
    text: &'static str,
    spans: &'static [Span],
}

/// One value of the text.
#[derive(Debug, Clone, Copy)]
struct Span {
    /// First byte.
    from: u32,
    /// Behind the last byte.
    to: u32,
    /// The value after this one and all that lies in it; keys count as values.
    next: u32,
    /// Of an object: which of the [`WORDS`] are among its keys, one bit for each.
    words: u16,
}

/// One list of words and of their texts.
macro_rules! words {
    ($($name:ident $text:literal,)*) => {
        /// Keys that the check asks every node for; most nodes have few of them.
        #[derive(Debug, Clone, Copy)]
        enum Word { $($name,)* }

        /// Texts of [`Word`], in its order.
        const WORDS: &[&str] = &[$($text,)*];
    };
}

words! {
    Ref "$ref",
    Defs "$defs",
    Type "type",
    AnyOf "anyOf",
    OneOf "oneOf",
    Properties "properties",
    Required "required",
    AdditionalProperties "additionalProperties",
    Items "items",
    MinItems "minItems",
    Enum "enum",
    Const "const",
    Format "format",
    Description "description",
}

/// The files of `configs/` are part of the program; a test holds them against what structs and rules make.
pub(super) const JOB: &str = include_str!("../../configs/job.schema.json");
/// As [`JOB`].
pub(super) const PARTS: &str = include_str!("../../configs/parts.schema.json");

/// The schema of job files.
pub(super) fn job() -> &'static Schema {
    static SPANS: [Span; values(JOB)] = lay(JOB);
    static SCHEMA: Schema = Schema { text: JOB, spans: &SPANS };
    &SCHEMA
}

/// The schema of parts files.
pub(super) fn parts() -> &'static Schema {
    static SPANS: [Span; values(PARTS)] = lay(PARTS);
    static SCHEMA: Schema = Schema { text: PARTS, spans: &SPANS };
    &SCHEMA
}

/// What may stand at one place of a document.
#[derive(Debug, Clone, Copy)]
pub(super) struct Node {
    schema: &'static Schema,
    at: usize,
}

impl Schema {
    pub fn root(&'static self) -> Node {
        Node { schema: self, at: 0 }
    }
}

impl Node {
    fn raw(self) -> &'static str {
        let Span { from, to, .. } = self.schema.spans[self.at];
        &self.schema.text[from as usize..to as usize]
    }

    fn begins_with(self, byte: u8) -> bool {
        self.schema.text.as_bytes()[self.schema.spans[self.at].from as usize] == byte
    }

    /// What stands between the quotes of a text; no word of the schema but a description has an escape.
    fn word_of(self) -> &'static str {
        let raw = self.raw();
        if self.begins_with(b'"') { &raw[1..raw.len() - 1] } else { raw }
    }

    /// True for the text of a word: what [`Node::word_of`] would say, without the text itself.
    pub fn says(self, word: &str) -> bool {
        let Span { from, to, .. } = self.schema.spans[self.at];
        let (from, to) = (from as usize + 1, to as usize - 1);
        to - from == word.len() && &self.schema.text.as_bytes()[from..to] == word.as_bytes()
    }

    /// What follows one another in an object or list.
    fn inside(self) -> impl Iterator<Item = Node> + Clone {
        let Node { schema, at } = self;
        let end = if self.begins_with(b'{') || self.begins_with(b'[') { schema.spans[at].next as usize } else { at };
        let mut i = at + 1;
        std::iter::from_fn({
            move || {
                let at = i;
                (at < end).then(|| {
                    i = schema.spans[at].next as usize;
                    Node { schema, at }
                })
            }
        })
    }

    /// Keys of an object and what stands under them, in the order of the text.
    fn pairs(self) -> impl Iterator<Item = (Node, Node)> + Clone {
        let mut inside = self.inside();
        std::iter::from_fn(move || Some((inside.next()?, inside.next()?)))
    }

    /// What stands under a key.
    fn under(self, key: &str) -> Option<Node> {
        self.pairs().find(|(k, _)| k.says(key)).map(|(_, node)| node)
    }

    fn has(self, word: Word) -> bool {
        self.schema.spans[self.at].words & (1 << word as u16) != 0
    }

    fn get(self, word: Word) -> Option<Node> {
        if self.has(word) { self.under(WORDS[word as usize]) } else { None }
    }

    fn list(self, word: Word) -> impl Iterator<Item = Node> + Clone {
        self.get(word).into_iter().flat_map(Node::inside)
    }

    /// The node itself, or the one that it refers to.
    pub fn target(self) -> Node {
        let mut node = self;
        for _ in 0..8 {
            let Some(name) = node.reference().and_then(|r| r.strip_prefix("#/$defs/")) else { break };
            node = self.schema.root().get(Word::Defs).and_then(|all| all.under(name)).unwrap_or(node);
        }
        node
    }

    fn reference(self) -> Option<&'static str> {
        self.get(Word::Ref).map(Node::word_of)
    }

    /// Kinds of value, `null` left out; empty where a choice or a reference says it.
    pub fn kinds(self) -> Kinds {
        let Some(kinds) = self.get(Word::Type) else { return Kinds::default() };
        let one = if kinds.begins_with(b'"') { Kinds::of(kinds.word_of()) } else { 0 };
        Kinds(kinds.inside().fold(one, |all, kind| all | Kinds::of(kind.word_of())))
    }

    pub fn any_of(self) -> impl Iterator<Item = Node> + Clone {
        self.list(Word::AnyOf)
    }

    pub fn one_of(self) -> impl Iterator<Item = Node> + Clone {
        self.list(Word::OneOf)
    }

    /// `{"type": "null"}` of a key that may be left out.
    pub fn is_null(self) -> bool {
        self.kinds() == Kinds(0)
            && self.reference().is_none()
            && !self.is_choice()
            && self.get(Word::Properties).is_none()
    }

    /// One of several descriptions.
    pub fn is_choice(self) -> bool {
        self.has(Word::AnyOf) || self.has(Word::OneOf)
    }

    /// Keys in the order of the text.
    pub fn properties(self) -> impl Iterator<Item = (&'static str, Node)> + Clone {
        self.property_pairs().map(|(key, node)| (key.word_of(), node))
    }

    /// As [`Node::properties`], with the keys as they stand.
    pub fn property_pairs(self) -> impl Iterator<Item = (Node, Node)> + Clone {
        self.get(Word::Properties).into_iter().flat_map(Node::pairs)
    }

    pub fn property(self, key: &str) -> Option<Node> {
        self.get(Word::Properties)?.under(key)
    }

    pub fn required(self) -> impl Iterator<Item = &'static str> {
        self.list(Word::Required).map(Node::word_of)
    }

    /// What stands under any key.
    pub fn any_key(self) -> Option<Node> {
        self.get(Word::AdditionalProperties).filter(|node| node.begins_with(b'{'))
    }

    pub fn items(self) -> Option<Node> {
        self.get(Word::Items)
    }

    /// Number of items of a list.
    pub fn size(self) -> Option<u64> {
        self.get(Word::MinItems)?.raw().parse().ok()
    }

    /// The words that a text may be.
    pub fn words(self) -> impl Iterator<Item = &'static str> + Clone {
        self.list(Word::Enum).map(Node::word_of)
    }

    /// The one word that a text may be.
    pub fn word(self) -> Option<&'static str> {
        self.get(Word::Const).map(Node::word_of)
    }

    /// True for a number from 0 without decimals.
    pub fn is_count(self) -> bool {
        self.get(Word::Format).is_some_and(|format| format.word_of().starts_with("uint"))
    }

    pub fn description(self) -> Cow<'static, str> {
        let Some(node) = self.get(Word::Description) else { return Cow::default() };
        match node.raw().contains('\\') {
            true => Cow::Owned(serde_json::from_str(node.raw()).unwrap_or_default()),
            false => Cow::Borrowed(node.word_of()),
        }
    }
}

/// Kinds of value as a set.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub(super) struct Kinds(u8);

impl Kinds {
    pub const STRING: u8 = 1;
    pub const BOOLEAN: u8 = 2;
    pub const INTEGER: u8 = 4;
    pub const NUMBER: u8 = 8;
    pub const ARRAY: u8 = 16;
    pub const OBJECT: u8 = 32;

    pub fn has(self, kind: u8) -> bool {
        self.0 & kind != 0
    }

    /// The kind, of a node that knows one.
    pub fn only(self) -> u8 {
        self.0
    }

    fn of(word: &str) -> u8 {
        match word {
            "string" => Kinds::STRING,
            "boolean" => Kinds::BOOLEAN,
            "integer" => Kinds::INTEGER,
            "number" => Kinds::NUMBER,
            "array" => Kinds::ARRAY,
            "object" => Kinds::OBJECT,
            _ => 0,
        }
    }
}

/// Number of values of a JSON text, keys counted.
const fn values(text: &str) -> usize {
    let (text, mut i, mut count) = (text.as_bytes(), 0, 0);
    while i < text.len() {
        match text[i] {
            b' ' | b'\n' | b'\r' | b',' | b':' | b'}' | b']' => i += 1,
            b'{' | b'[' => (i, count) = (i + 1, count + 1),
            _ => (i, count) = (end_of(text, i), count + 1),
        }
    }
    count
}

/// Where the text, number or word that begins at a byte ends.
const fn end_of(text: &[u8], from: usize) -> usize {
    let mut i = from + 1;
    if text[from] == b'"' {
        while text[i] != b'"' {
            i += if text[i] == b'\\' { 2 } else { 1 };
        }
        return i + 1;
    }
    while !matches!(text[i], b' ' | b'\n' | b'\r' | b',' | b'}' | b']') {
        i += 1;
    }
    i
}

/// The bit of the word between two bytes; none where it is no such word.
const fn bit_of(text: &[u8], from: usize, to: usize) -> u16 {
    let mut word = 0;
    while word < WORDS.len() {
        let (wanted, mut i) = (WORDS[word].as_bytes(), 0);
        while i < wanted.len() && from + i < to && text[from + i] == wanted[i] {
            i += 1;
        }
        if i == wanted.len() && from + i == to {
            return 1 << word;
        }
        word += 1;
    }
    0
}

/// The places of all values of a JSON text.
const fn lay<const N: usize>(text: &str) -> [Span; N] {
    let text = text.as_bytes();
    let mut spans = [Span { from: 0, to: 0, next: 0, words: 0 }; N];
    let (mut open, mut depth) = ([0; 64], 0);
    let (mut i, mut n) = (0, 0);
    while i < text.len() {
        match text[i] {
            b' ' | b'\n' | b'\r' | b',' | b':' => i += 1,
            b'}' | b']' => {
                i += 1;
                depth -= 1;
                let begun = open[depth];
                spans[begun] = Span { to: i as u32, next: n as u32, ..spans[begun] };
            }
            begin => {
                let inner = matches!(begin, b'{' | b'[');
                let to = if inner { i + 1 } else { end_of(text, i) };
                spans[n] = Span { from: i as u32, to: to as u32, next: n as u32 + 1, words: 0 };
                if begin == b'"' && to < text.len() && text[to] == b':' {
                    spans[open[depth - 1]].words |= bit_of(text, i + 1, to - 1);
                }
                if inner {
                    open[depth] = n;
                    depth += 1;
                }
                (i, n) = (to, n + 1);
            }
        }
    }
    spans
}

#[cfg(test)]
mod tests {
    use serde_json::Value;

    use super::*;

    /// The value of a node by the places that were laid out.
    fn value(node: Node) -> Value {
        match node.raw().as_bytes()[0] {
            b'{' => Value::Object(node.pairs().map(|(key, node)| (key.word_of().to_string(), value(node))).collect()),
            b'[' => Value::Array(node.inside().map(value).collect()),
            _ => serde_json::from_str(node.raw()).unwrap(),
        }
    }

    /// The marks of all objects against their keys.
    fn marks_are_keys(node: Node) -> bool {
        let object = node.begins_with(b'{');
        let own = WORDS.iter().enumerate().all(|(bit, word)| {
            let marked = node.schema.spans[node.at].words & (1 << bit) != 0;
            marked == (object && node.under(word).is_some())
        });
        own && node.inside().all(marks_are_keys)
    }

    fn escapes(node: Node) -> usize {
        let own = usize::from(!node.raw().starts_with(['{', '[']) && node.raw().contains('\\'));
        own + node.inside().map(escapes).sum::<usize>()
    }

    fn escaped_descriptions(node: Node) -> usize {
        let own = node.get(Word::Description).is_some_and(|d| d.raw().starts_with('"') && d.raw().contains('\\'));
        usize::from(own) + node.inside().map(escaped_descriptions).sum::<usize>()
    }

    #[test]
    fn every_value_is_where_it_was_laid() {
        for (schema, text) in [(job(), JOB), (parts(), PARTS)] {
            let read: Value = serde_json::from_str(text).unwrap();
            assert_eq!(value(schema.root()), read);
            assert_eq!(schema.spans[0].next as usize, schema.spans.len());
            assert!(marks_are_keys(schema.root()));
            assert_eq!(escapes(schema.root()), escaped_descriptions(schema.root()), "only descriptions have escapes");
            let names: Vec<&str> = read["properties"].as_object().unwrap().keys().map(String::as_str).collect();
            assert_eq!(schema.root().properties().map(|(key, _)| key).collect::<Vec<_>>(), names);
            for name in names {
                let told = read["properties"][name]["description"].as_str().unwrap_or("");
                assert_eq!(schema.root().property(name).unwrap().description(), told);
            }
        }
    }
}
