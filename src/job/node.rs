//! The JSON Schema as the check walks it: only the words that it looks at, read straight from the text.

use std::borrow::Cow;
use std::fmt;
use std::marker::PhantomData;
use std::sync::OnceLock;

use serde::Deserialize;
use serde::de::value::MapAccessDeserializer;
use serde::de::{Deserializer, MapAccess, SeqAccess, Visitor};
use serde_json::value::RawValue;

/// What may stand at one place of a document.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Node {
    /// Kinds of value, `null` left out; empty where `any_of`, `one_of` or a reference says it.
    #[serde(rename = "type")]
    pub kinds: Kinds,
    #[serde(rename = "$ref")]
    reference: &'static str,
    #[serde(rename = "anyOf")]
    pub any_of: Vec<Node>,
    #[serde(rename = "oneOf")]
    pub one_of: Vec<Node>,
    /// Keys in the order of the file.
    pub properties: Keyed<Node>,
    pub required: Vec<&'static str>,
    /// What stands under any key.
    #[serde(rename = "additionalProperties")]
    pub any_key: AnyKey,
    pub items: Option<Box<Node>>,
    #[serde(rename = "minItems")]
    pub size: Option<u64>,
    #[serde(rename = "enum")]
    pub words: Vec<&'static str>,
    /// The one word; empty when there is none.
    #[serde(rename = "const")]
    pub word: &'static str,
    pub format: &'static str,
    #[serde(borrow)]
    pub description: Cow<'static, str>,
    /// What references name; at the root only.
    #[serde(rename = "$defs")]
    defs: Keyed<Definition>,
}

/// A description that is read when something refers to it first: few jobs have all sections.
#[derive(Debug, Deserialize)]
#[serde(transparent)]
struct Definition {
    #[serde(borrow)]
    text: &'static RawValue,
    #[serde(skip)]
    node: OnceLock<Box<Node>>,
}

impl Definition {
    fn node(&self) -> &Node {
        self.node.get_or_init(|| serde_json::from_str(self.text.get()).unwrap_or_default())
    }
}

impl Node {
    /// `{"type": "null"}` of a key that may be left out.
    pub fn is_null(&self) -> bool {
        self.kinds == Kinds(0) && self.reference.is_empty() && !self.is_choice() && self.properties.is_empty()
    }

    /// One of several descriptions.
    pub fn is_choice(&self) -> bool {
        !self.any_of.is_empty() || !self.one_of.is_empty()
    }
}

/// A whole schema.
#[derive(Debug)]
pub(super) struct Schema(Node);

impl Schema {
    fn read(text: &'static str) -> Schema {
        // A text that is no schema would refuse every job; the test that holds it to the structs fails first.
        Schema(serde_json::from_str(text).unwrap_or_default())
    }

    pub fn root(&self) -> &Node {
        &self.0
    }

    /// The node itself, or the one that it refers to.
    pub fn target<'a>(&'a self, node: &'a Node) -> &'a Node {
        let mut node = node;
        for _ in 0..8 {
            match node.reference.strip_prefix("#/$defs/") {
                Some(name) => node = self.0.defs.get(name).map_or(node, Definition::node),
                None => break,
            }
        }
        node
    }
}

/// The schema of job files.
pub(super) fn job() -> &'static Schema {
    static SCHEMA: OnceLock<Schema> = OnceLock::new();
    SCHEMA.get_or_init(|| Schema::read(JOB))
}

/// The schema of parts files.
pub(super) fn parts() -> &'static Schema {
    static SCHEMA: OnceLock<Schema> = OnceLock::new();
    SCHEMA.get_or_init(|| Schema::read(PARTS))
}

/// The files of `configs/` are part of the program; a test holds them against what structs and rules make.
pub(super) const JOB: &str = include_str!("../../configs/job.schema.json");
/// As [`JOB`].
pub(super) const PARTS: &str = include_str!("../../configs/parts.schema.json");

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

impl<'de> Deserialize<'de> for Kinds {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Kinds, D::Error> {
        struct Words;
        impl<'de> Visitor<'de> for Words {
            type Value = Kinds;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a kind of value or a list of them")
            }

            fn visit_str<E>(self, word: &str) -> Result<Kinds, E> {
                Ok(Kinds(Kinds::of(word)))
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut words: A) -> Result<Kinds, A::Error> {
                let mut all = 0;
                while let Some(word) = words.next_element::<&str>()? {
                    all |= Kinds::of(word);
                }
                Ok(Kinds(all))
            }
        }
        from.deserialize_any(Words)
    }
}

/// `additionalProperties`: a description, or whether there may be any.
#[derive(Debug, Default)]
pub(super) struct AnyKey(pub Option<Box<Node>>);

impl Deserialize<'static> for AnyKey {
    fn deserialize<D: Deserializer<'static>>(from: D) -> Result<AnyKey, D::Error> {
        struct Described;
        impl Visitor<'static> for Described {
            type Value = AnyKey;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a description, true or false")
            }

            fn visit_bool<E>(self, _: bool) -> Result<AnyKey, E> {
                Ok(AnyKey(None))
            }

            fn visit_map<A: MapAccess<'static>>(self, map: A) -> Result<AnyKey, A::Error> {
                Node::deserialize(MapAccessDeserializer::new(map)).map(|node| AnyKey(Some(Box::new(node))))
            }
        }
        from.deserialize_any(Described)
    }
}

/// Entries in the order of the text; there are never many.
#[derive(Debug)]
pub(super) struct Keyed<T>(Vec<(&'static str, T)>);

impl<T> Default for Keyed<T> {
    fn default() -> Self {
        Keyed(Vec::new())
    }
}

impl<T> Keyed<T> {
    pub fn get(&self, key: &str) -> Option<&T> {
        self.0.iter().find(|(k, _)| *k == key).map(|(_, value)| value)
    }

    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    pub fn keys(&self) -> impl Iterator<Item = &'static str> {
        self.0.iter().map(|(key, _)| *key)
    }

    pub fn iter(&self) -> impl Iterator<Item = &(&'static str, T)> {
        self.0.iter()
    }
}

impl<T: Deserialize<'static>> Deserialize<'static> for Keyed<T> {
    fn deserialize<D: Deserializer<'static>>(from: D) -> Result<Self, D::Error> {
        struct Entries<T>(PhantomData<T>);
        impl<T: Deserialize<'static>> Visitor<'static> for Entries<T> {
            type Value = Keyed<T>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("keys and what stands under them")
            }

            fn visit_map<A: MapAccess<'static>>(self, mut map: A) -> Result<Keyed<T>, A::Error> {
                let mut all = Vec::with_capacity(16);
                while let Some(entry) = map.next_entry()? {
                    all.push(entry);
                }
                Ok(Keyed(all))
            }
        }
        from.deserialize_map(Entries(PhantomData))
    }
}
