//! The JSON Schema of job and parts files, made from the structs and the rules, and the check of a document against it.

use std::sync::OnceLock;

use schemars::JsonSchema;
use serde_json::{Value, json};

use super::error::{JobError, fault, list, nearest};
use super::rules::{self, Limit};
use super::spec::{JobSpec, PartsSpec};
use super::tree::{Entry, Files, Kind, Tree, number_text};

/// JSON Schema (2020-12) of a job file, with the ranges and words that the program checks.
///
/// The file of `configs/` is part of the program; a test holds it against what structs and rules make.
pub fn job_schema() -> &'static Value {
    static SCHEMA: OnceLock<Value> = OnceLock::new();
    SCHEMA.get_or_init(|| kept(include_str!("../../configs/job.schema.json"), made_job_schema))
}

/// JSON Schema (2020-12) of a parts file.
pub fn parts_schema() -> &'static Value {
    static SCHEMA: OnceLock<Value> = OnceLock::new();
    SCHEMA.get_or_init(|| kept(include_str!("../../configs/parts.schema.json"), made_parts_schema))
}

/// The kept text as a schema; what is made anew should the text not be JSON.
fn kept(text: &str, made: fn() -> Value) -> Value {
    serde_json::from_str(text).unwrap_or_else(|_| made())
}

/// The job's schema from structs and rules.
pub(super) fn made_job_schema() -> Value {
    with_rules::<JobSpec>("yearlight job")
}

/// The parts' schema from structs and rules.
pub(super) fn made_parts_schema() -> Value {
    with_rules::<PartsSpec>("yearlight parts")
}

fn with_rules<T: JsonSchema>(title: &str) -> Value {
    let mut schema = schemars::schema_for!(T).to_value();
    schema["title"] = json!(title);
    for rule in rules::RULES {
        for pointer in pointers(&schema, rule.path) {
            let Some(node) = schema.pointer_mut(&pointer).and_then(Value::as_object_mut) else { continue };
            match rule.limit {
                Limit::Free => {}
                Limit::Range(low, high) | Limit::Check(_, low, high) => {
                    node.insert("minimum".into(), json!(low));
                    node.insert("maximum".into(), json!(high));
                }
                Limit::Above(low, high) => {
                    node.remove("minimum");
                    node.insert("exclusiveMinimum".into(), json!(low));
                    node.insert("maximum".into(), json!(high));
                }
                Limit::Words(words) => {
                    node.insert("enum".into(), json!(words));
                }
            }
        }
    }
    schema
}

/// Where in the schema the value of a rule's path is described. Pairs share one description of their items, so the
/// places `[0]` and `[1]` are left out.
fn pointers(schema: &Value, path: &str) -> Vec<String> {
    let mut found = vec![String::new()];
    for step in steps(path) {
        let mut next = Vec::new();
        for pointer in &found {
            for branch in branches(schema, pointer) {
                let node = schema.pointer(&branch);
                let child = match step {
                    "[0]" | "[1]" | "[2]" => continue,
                    "[]" => format!("{branch}/items"),
                    "*" if schema.pointer(&format!("{branch}/additionalProperties")).is_some_and(Value::is_object) => {
                        format!("{branch}/additionalProperties")
                    }
                    // Sections that are all alike.
                    "*" => {
                        let properties = schema.pointer(&format!("{branch}/properties")).and_then(Value::as_object);
                        let keys = properties.into_iter().flat_map(|p| p.keys());
                        next.extend(keys.map(|key| format!("{branch}/properties/{key}")));
                        continue;
                    }
                    key => format!("{branch}/properties/{key}"),
                };
                if node.is_some() && schema.pointer(&child).is_some() {
                    next.push(child);
                }
            }
        }
        found = next;
    }
    found
}

fn branches(schema: &Value, pointer: &str) -> Vec<String> {
    let Some(node) = schema.pointer(pointer) else { return Vec::new() };
    if let Some(target) = node.get("$ref").and_then(Value::as_str) {
        return branches(schema, target.trim_start_matches('#'));
    }
    for key in ["anyOf", "oneOf"] {
        if let Some(all) = node.get(key).and_then(Value::as_array) {
            return (0..all.len()).flat_map(|i| branches(schema, &format!("{pointer}/{key}/{i}"))).collect();
        }
    }
    vec![pointer.to_string()]
}

/// `plane[].rows.pitch_m` to `plane`, `[]`, `rows`, `pitch_m`.
fn steps(path: &str) -> impl Iterator<Item = &str> {
    path.split('.').flat_map(|part| {
        let open = part.find('[').unwrap_or(part.len());
        let (key, rest) = part.split_at(open);
        std::iter::once(key).chain(rest.split_inclusive(']')).filter(|s| !s.is_empty())
    })
}

/// Where the walk stands; put into words only where they are asked for.
#[derive(Clone, Copy)]
enum Path<'p> {
    Root,
    /// A key below another place; a record of any name goes by `*` in the rules.
    Key {
        below: &'p Path<'p>,
        key: &'p str,
        any: bool,
    },
    /// An item of a list; `pair`: of a pair of numbers, `table`: a section.
    Item {
        below: &'p Path<'p>,
        index: usize,
        pair: bool,
        table: bool,
    },
}

impl<'p> Path<'p> {
    fn key(&'p self, key: &'p str, any: bool) -> Path<'p> {
        Path::Key { below: self, key, any }
    }

    fn item(&'p self, index: usize, pair: bool, table: bool) -> Path<'p> {
        Path::Item { below: self, index, pair, table }
    }

    fn is_root(&self) -> bool {
        matches!(self, Path::Root)
    }

    /// For people.
    fn shown(&self) -> String {
        match *self {
            Path::Root => String::new(),
            Path::Key { below: Path::Root, key, .. } => key.to_string(),
            Path::Key { below, key, .. } => format!("{}.{key}", below.shown()),
            Path::Item { below, table: true, .. } => below.shown(),
            Path::Item { below, index, pair: true, .. } => format!("{} number {}", below.shown(), index + 1),
            Path::Item { below, index, .. } => format!("{} item {}", below.shown(), index + 1),
        }
    }

    /// For the rules.
    fn rule(&self) -> String {
        let mut path = String::with_capacity(48);
        self.write_rule(&mut path);
        path
    }

    fn write_rule(&self, path: &mut String) {
        match *self {
            Path::Root => {}
            Path::Key { below, key, any } => {
                below.write_rule(path);
                if !path.is_empty() {
                    path.push('.');
                }
                path.push_str(if any { "*" } else { key });
            }
            Path::Item { below, index, pair, .. } => {
                below.write_rule(path);
                match (pair, index) {
                    (true, 0) => path.push_str("[0]"),
                    (true, 1) => path.push_str("[1]"),
                    (true, index) => path.push_str(&format!("[{index}]")),
                    (false, _) => path.push_str("[]"),
                }
            }
        }
    }
}

/// Checks a document: keys known and complete, types, ranges, words. The first fault in reading order is returned.
pub(super) fn check(tree: &Tree, schema: &Value, files: &Files) -> Result<(), JobError> {
    Walk { schema, files }.value(tree, schema, &Path::Root)
}

struct Walk<'a> {
    schema: &'a Value,
    files: &'a Files,
}

impl<'a> Walk<'a> {
    fn target(&self, node: &'a Value) -> &'a Value {
        let mut node = node;
        for _ in 0..8 {
            match node.get("$ref").and_then(Value::as_str) {
                Some(to) => node = self.schema.pointer(to.trim_start_matches('#')).unwrap_or(&Value::Null),
                None => break,
            }
        }
        node
    }

    fn value(&self, tree: &Tree, node: &'a Value, path: &Path<'_>) -> Result<(), JobError> {
        let node = self.target(node);
        if let Some(all) = node.get("anyOf").and_then(Value::as_array) {
            let all: Vec<&Value> = all
                .iter()
                .map(|n| self.target(n))
                .filter(|n| n.get("type").and_then(Value::as_str) != Some("null"))
                .collect();
            return match all.as_slice() {
                [one] => self.value(tree, one, path),
                several => match several.iter().find(|n| self.fits(tree, n)) {
                    Some(node) => self.value(tree, node, path),
                    None => {
                        let words: Vec<String> = several.iter().map(|n| self.type_words(n)).collect();
                        Err(self.wrong_type(tree, &words.join(", or "), path))
                    }
                },
            };
        }
        if let Some(all) = node.get("oneOf").and_then(Value::as_array) {
            return self.one_of(tree, all, path);
        }
        if !self.fits(tree, node) {
            return Err(self.wrong_type(tree, &self.type_words(node), path));
        }
        match &tree.kind {
            Kind::Table(entries) => self.table(tree, entries, node, path),
            Kind::List(items) => self.items(tree, items, node, path),
            Kind::Text(text) => {
                if let Some(words) = node.get("enum").and_then(Value::as_array) {
                    let words: Vec<&str> = words.iter().filter_map(Value::as_str).collect();
                    self.word(tree, text, &words, path)
                } else if text.trim().is_empty() {
                    let mend = "Write the text between the quotes, or leave the key out if it is optional.";
                    Err(JobError::BadValue(fault(
                        self.files.at(tree.mark),
                        format!("{} is empty", path.shown()),
                        "some text",
                        mend,
                    )))
                } else {
                    Ok(())
                }
            }
            Kind::Int(_) | Kind::Float(_) => self.number(tree, node, path),
            Kind::Bool(_) | Kind::Date(_) => Ok(()),
        }
    }

    /// Kind of value only; items and keys are looked at later.
    fn fits(&self, tree: &Tree, node: &Value) -> bool {
        let node = if node.get("$ref").is_some() {
            self.schema.pointer(node["$ref"].as_str().unwrap_or("").trim_start_matches('#')).unwrap_or(&Value::Null)
        } else {
            node
        };
        let types: Vec<&str> = match node.get("type") {
            Some(Value::String(t)) => vec![t],
            Some(Value::Array(all)) => all.iter().filter_map(Value::as_str).collect(),
            _ if node.get("oneOf").is_some() || node.get("anyOf").is_some() => return true,
            _ => vec![],
        };
        types.iter().any(|t| match (&tree.kind, *t) {
            (Kind::Text(_), "string") | (Kind::Bool(_), "boolean") => true,
            (Kind::Int(_), "integer" | "number") | (Kind::Float(_), "number") => true,
            (Kind::Float(x), "integer") => x.fract() == 0.0 && x.abs() < 1e9 && tree.mark.line == 0,
            (Kind::List(_), "array") | (Kind::Table(_), "object") => true,
            _ => false,
        })
    }

    fn type_words(&self, node: &'a Value) -> String {
        let node = self.target(node);
        let kind = match node.get("type") {
            Some(Value::String(t)) => t.as_str(),
            Some(Value::Array(all)) => all.iter().filter_map(Value::as_str).find(|t| *t != "null").unwrap_or(""),
            _ => "",
        };
        match kind {
            "string" => "text in quotes".to_string(),
            "number" => "a number".to_string(),
            "integer" => "a whole number".to_string(),
            "boolean" => "true or false".to_string(),
            "object" => "a section".to_string(),
            "array" => {
                let item = self.target(&node["items"]);
                let of_lists = item.get("type") == Some(&json!("array"));
                match (node.get("minItems").and_then(Value::as_u64), item.get("type").and_then(Value::as_str)) {
                    (Some(2), _) => "a pair of numbers, [a, b]".to_string(),
                    (Some(n), _) => format!("a list of {n} numbers"),
                    (None, _) if of_lists => "a list of pairs, [[a, b], [c, d]]".to_string(),
                    (None, Some("string")) => "a list of texts".to_string(),
                    (None, Some("object")) => "sections in double brackets, [[...]]".to_string(),
                    _ => "a list of numbers".to_string(),
                }
            }
            _ => "another kind of value".to_string(),
        }
    }

    fn wrong_type(&self, tree: &Tree, expected: &str, path: &Path<'_>) -> JobError {
        let shown = path.shown();
        let key = shown.rsplit('.').next().unwrap_or("");
        let in_list = key.contains(' ');
        let pair = if expected.starts_with("a pair") { rules::find(&format!("{}[0]", path.rule())) } else { None };
        let rule = pair.or_else(|| rules::find(&path.rule()));
        let example = rule.map_or("", |r| r.example);
        let numeric = expected.starts_with("a number") || expected.starts_with("a whole number");
        let mend = match &tree.kind {
            Kind::Text(text) if numeric => match text.trim().parse::<f64>() {
                Ok(_) if in_list => format!("Take the quotes away: {}.", text.trim()),
                Ok(_) => format!("Take the quotes away: {key} = {}.", text.trim()),
                Err(_) if text.trim().starts_with(|c: char| c.is_ascii_digit() || c == '-') => {
                    "Write the number alone, without quotes; its unit is in the key's name.".to_string()
                }
                Err(_) => "Write a number without quotes.".to_string(),
            },
            Kind::Float(x) if expected.starts_with("a whole number") && x.abs() >= 1e9 => {
                "The number is far too large.".to_string()
            }
            Kind::Float(_) if expected.starts_with("a whole number") => "Write it without decimals.".to_string(),
            Kind::Text(text) if expected == "a list of texts" => format!("Write {key} = [\"{text}\"]."),
            _ if path.rule().starts_with("sources.") => {
                "Put the whole path in quotes: \"losses.dirt_pct\" = \"cleaning contract\".".to_string()
            }
            Kind::Int(_) | Kind::Float(_) if expected == "text in quotes" => {
                format!("Put it in quotes: {key} = \"{}\".", tree.shown())
            }
            Kind::Table(_) if expected.starts_with("sections in double") => {
                format!("Write [[{key}]] with double brackets; each one adds one {key}.")
            }
            Kind::List(_) if expected == "a section" => format!("Write [{key}] with single brackets, once."),
            Kind::Bool(_) | Kind::Text(_) if expected == "true or false" => {
                format!("Write {key} = true or {key} = false, without quotes.")
            }
            _ if !example.is_empty() => format!("For example {example}."),
            _ if expected == "a section" && in_list => "Write each item as { key = value, ... }.".to_string(),
            _ if expected == "a section" && path.shown().contains('.') => {
                format!("Write {key} = {{ key = value, ... }}.")
            }
            _ if expected == "a section" => format!("Write [{key}] and its keys below it."),
            _ if expected == "true or false" => format!("Write {key} = true or {key} = false."),
            _ => rule.map_or("", |r| r.mend).to_string(),
        };
        let mend = if mend.is_empty() { format!("Write {key} as {expected}.") } else { mend };
        JobError::WrongType(fault(
            self.files.at(tree.mark),
            format!("{} is {}", or_file(&path.shown()), tree.shown()),
            expected.to_string(),
            mend,
        ))
    }

    fn one_of(&self, tree: &Tree, all: &'a [Value], path: &Path<'_>) -> Result<(), JobError> {
        let words: Vec<&str> = all
            .iter()
            .flat_map(|n| match (n.get("const"), n.get("enum").and_then(Value::as_array)) {
                (Some(word), _) => word.as_str().into_iter().collect::<Vec<_>>(),
                (_, Some(many)) => many.iter().filter_map(Value::as_str).collect(),
                _ => Vec::new(),
            })
            .collect();
        if !words.is_empty() {
            return match tree.text() {
                Some(text) => self.word(tree, text, &words, path),
                None => Err(self.wrong_type(tree, &format!("one of {}", quoted(&words)), path)),
            };
        }
        // Tables told apart by a word, such as `kind`.
        if !matches!(tree.kind, Kind::Table(_)) {
            return Err(self.wrong_type(tree, "a section", path));
        }
        let tag = |n: &'a Value| {
            let properties = n.get("properties")?.as_object()?;
            properties.iter().find_map(|(key, p)| Some((key.as_str(), p.get("const")?.as_str()?)))
        };
        let tags: Vec<(&str, &str)> = all.iter().filter_map(tag).collect();
        let Some(&(key, _)) = tags.first() else { return Ok(()) };
        let kinds: Vec<&str> = tags.iter().map(|t| t.1).collect();
        let Some(given) = tree.get(key) else {
            return Err(JobError::MissingKey(fault(
                self.files.at(tree.mark),
                format!("{key} is missing in {}", path.shown()),
                format!("one of {}", quoted(&kinds)),
                format!("Add {key} = \"{}\".", kinds[0]),
            )));
        };
        let inner = path.key(key, false);
        let Some(text) = given.text() else {
            return Err(self.wrong_type(given, &format!("one of {}", quoted(&kinds)), &inner));
        };
        self.word(given, text, &kinds, &inner)?;
        let index = kinds.iter().position(|k| *k == text).unwrap_or(0);
        self.value(tree, &all[index], path)
    }

    fn word(&self, tree: &Tree, text: &str, words: &[&str], path: &Path<'_>) -> Result<(), JobError> {
        if words.contains(&text) {
            return Ok(());
        }
        let why = rules::find(&path.rule()).map_or("", |r| r.mend);
        let mend = match nearest(text, words.iter().copied()) {
            Some(word) => format!("Did you mean \"{word}\"? {why}"),
            None if why.is_empty() => "Choose one of these words.".to_string(),
            None => why.to_string(),
        };
        Err(JobError::BadValue(fault(
            self.files.at(tree.mark),
            format!("{} is {}", path.shown(), tree.shown()),
            format!("one of {}", quoted(words)),
            mend.trim().to_string(),
        )))
    }

    fn number(&self, tree: &Tree, node: &Value, path: &Path<'_>) -> Result<(), JobError> {
        let Some(x) = tree.number() else { return Ok(()) };
        let rule_path = path.rule();
        let rule = rules::find(&rule_path);
        let in_unit = |text: String| match rules::unit(&rule_path) {
            "" | "count" | "-" | "share" => text,
            unit => format!("{text} {unit}"),
        };
        let bad = |expected: String, mend: String| {
            let mend =
                if mend.is_empty() { "Check the value and its unit, which is in the key's name.".into() } else { mend };
            Err(JobError::BadValue(fault(
                self.files.at(tree.mark),
                format!("{} is {}", path.shown(), number_text(x)),
                expected,
                mend,
            )))
        };
        if !x.is_finite() {
            let mend = rule.map_or("", |r| r.example);
            let mend = if mend.is_empty() {
                "Write a plain number, or leave the key out.".into()
            } else {
                format!("For example {mend}.")
            };
            return bad("a finite number".into(), mend);
        }
        let mend = rule.map_or(String::new(), |r| r.mend.to_string());
        match rule.map(|r| r.limit) {
            Some(Limit::Range(low, high)) if !(low..=high).contains(&x) => {
                return bad(in_unit(format!("{} to {}", number_text(low), number_text(high))), mend);
            }
            Some(Limit::Above(low, high)) if !(x > low && x <= high) => {
                return bad(in_unit(format!("more than {} and at most {}", number_text(low), number_text(high))), mend);
            }
            Some(Limit::Check(check, _, _)) => {
                if let Some((expected, mend)) = check(x) {
                    return bad(expected, mend);
                }
            }
            _ => {}
        }
        let whole = node.get("format").and_then(Value::as_str).is_some_and(|f| f.starts_with("uint"));
        if whole && !(0.0..=f64::from(u32::MAX)).contains(&x) {
            return bad("a whole number, 0 or more".into(), mend);
        }
        // No key has a use for more; it keeps every later sum finite.
        if x.abs() > 1e12 {
            return bad("a number of sensible size".into(), mend);
        }
        Ok(())
    }

    fn items(&self, tree: &Tree, items: &[Tree], node: &'a Value, path: &Path<'_>) -> Result<(), JobError> {
        let size = node.get("minItems").and_then(Value::as_u64);
        if let Some(n) = size.filter(|n| *n != items.len() as u64) {
            let (expected, mend) = match n {
                2 => ("two numbers, [a, b]".to_string(), String::new()),
                12 => (
                    "one number, or twelve, January first".to_string(),
                    "Write one value for the whole year or a list of twelve.".into(),
                ),
                n => (format!("{n} numbers"), String::new()),
            };
            let rule = rules::find(&format!("{}[0]", path.rule())).or_else(|| rules::find(&path.rule()));
            let mend = if mend.is_empty() { rule.map_or(String::new(), |r| r.mend.to_string()) } else { mend };
            let mend = if mend.is_empty() { format!("Write {expected}.") } else { mend };
            return Err(JobError::WrongType(fault(
                self.files.at(tree.mark),
                format!("{} is {}", path.shown(), tree.shown()),
                expected,
                mend,
            )));
        }
        let Some(item) = node.get("items") else { return Ok(()) };
        for (i, value) in items.iter().enumerate() {
            let table = matches!(value.kind, Kind::Table(_));
            self.value(value, item, &path.item(i, size.is_some_and(|n| n <= 3), table))?;
        }
        Ok(())
    }

    fn table(&self, tree: &Tree, entries: &[Entry], node: &'a Value, path: &Path<'_>) -> Result<(), JobError> {
        if let Some(any) = node.get("additionalProperties").filter(|v| v.is_object()) {
            for entry in entries {
                if entry.key.trim().is_empty() {
                    return Err(JobError::BadName(fault(
                        self.files.at(entry.mark),
                        format!("a name under {} is empty", path.shown()),
                        "a short name such as P410",
                        format!("Write [{}.P410].", path.shown()),
                    )));
                }
                let records = self.target(any).get("properties").is_some();
                if records && !matches!(entry.value.kind, Kind::Table(_)) {
                    return Err(JobError::WrongType(fault(
                        self.files.at(entry.mark),
                        format!("{} stands directly under {}", entry.key, path.shown()),
                        format!("a name first: [{}.X]", path.shown()),
                        format!("Give the {0} a name, [{0}.X], and write its keys below.", path.shown()),
                    )));
                }
                self.value(&entry.value, any, &path.key(&entry.key, true))?;
            }
            return Ok(());
        }
        let Some(properties) = node.get("properties").and_then(Value::as_object) else { return Ok(()) };
        for entry in entries {
            let Some(property) = properties.get(&entry.key) else {
                let known: Vec<&str> = properties.keys().map(String::as_str).collect();
                return Err(self.unknown(entry, &known, path));
            };
            self.value(&entry.value, property, &path.key(&entry.key, false))?;
        }
        let required = node.get("required").and_then(Value::as_array).into_iter().flatten();
        for key in required.filter_map(Value::as_str) {
            if tree.get(key).is_none() {
                return Err(self.missing(tree, key, &properties[key], path));
            }
        }
        Ok(())
    }

    fn unknown(&self, entry: &Entry, known: &[&str], path: &Path<'_>) -> JobError {
        let at = self.files.at(entry.mark);
        let found = if path.is_root() {
            format!("{} is not a key of this file", entry.key)
        } else {
            format!("{} is not a key of {}", entry.key, path.shown())
        };
        let mut sorted = known.to_vec();
        sorted.sort_unstable();
        let near = synonym(&entry.key, known).or_else(|| nearest(&entry.key, known.iter().copied()));
        // With a good guess at hand a long list would only hide it.
        let expected = match near {
            Some(_) if sorted.len() > 12 => "one of its keys".to_string(),
            _ => format!("one of {}", list(&sorted)),
        };
        let mend = match near {
            Some(key) => format!("Did you mean {key}?"),
            None => match self.homes(&entry.key).as_slice() {
                [] => "Remove it, or turn it into a comment with #.".to_string(),
                homes => format!("{} belongs to {}; move it there.", entry.key, homes.join(" or ")),
            },
        };
        JobError::UnknownKey(fault(at, found, expected, mend))
    }

    /// Sections that have a key of exactly this name.
    fn homes(&self, key: &str) -> Vec<String> {
        let mut homes = Vec::new();
        if self.schema["properties"].get(key).is_some() {
            homes.push("the top of the file, above the first [section]".to_string());
        }
        let Some(sections) = self.schema["properties"].as_object() else { return homes };
        for (name, node) in sections {
            let mut inner = self.target(node);
            if let Some(all) = inner.get("anyOf").and_then(Value::as_array) {
                inner = self.target(&all[0]);
            }
            let (inner, shown) = match (inner.get("items"), inner.get("additionalProperties")) {
                (Some(items), _) => (self.target(items), format!("[[{name}]]")),
                (_, Some(any)) if any.is_object() => (self.target(any), format!("[{name}.X]")),
                _ => (inner, format!("[{name}]")),
            };
            if inner.get("properties").and_then(|p| p.get(key)).is_some() {
                homes.push(shown);
            }
        }
        homes
    }

    fn missing(&self, tree: &Tree, key: &str, node: &'a Value, path: &Path<'_>) -> JobError {
        let description = node.get("description").and_then(Value::as_str).unwrap_or("");
        let description = description.trim_end_matches(['.', ',', ' ']);
        let inner = path.key(key, false);
        let kind = self.type_words(node);
        let kind = if kind == "another kind of value" { "a value".to_string() } else { kind };
        let expected =
            if description.is_empty() { kind.clone() } else { format!("{kind}: {}", lower_first(description)) };
        let example = rules::find(&inner.rule()).map_or("", |r| r.example);
        let mend = if kind.starts_with("sections") {
            format!("Add at least one [[{key}]].")
        } else if kind == "a section" {
            let required = self.target(node).get("required").and_then(Value::as_array).into_iter().flatten();
            let keys: Vec<&str> = required.filter_map(Value::as_str).collect();
            format!("Add [{}] with {}.", inner.shown(), list(&keys))
        } else if example.is_empty() {
            format!("Add {key} = ...")
        } else if path.is_root() {
            format!("Add at the top, for example {example}.")
        } else {
            format!("Add for example {example}.")
        };
        let found =
            if path.is_root() { format!("{key} is missing") } else { format!("{key} is missing in {}", path.shown()) };
        let mut mark = tree.mark;
        if path.is_root() {
            mark.line = 0;
        }
        JobError::MissingKey(fault(self.files.at(mark), found, expected, mend))
    }
}

/// Keys that other trades or languages would look for.
fn synonym<'k>(word: &str, known: &[&'k str]) -> Option<&'k str> {
    const WORDS: &[(&str, &str)] = &[
        ("soiling", "dirt_pct"),
        ("availability", "outage_pct"),
        ("degradation", "ageing_pct_per_year"),
        ("lid", "light_induced_pct"),
        ("horizon", "skyline"),
        ("orientation", "azimuth_deg"),
        ("pmax", "p_stc_w"),
        ("pmpp", "p_stc_w"),
        ("vmpp", "v_mp"),
        ("impp", "i_mp"),
        ("weight", "mass_kg"),
        ("height_mm", "length_mm"),
        ("spacing", "pitch_m"),
        ("loss", "losses"),
    ];
    let word = word.to_lowercase();
    let target = WORDS.iter().find(|(from, _)| word.starts_with(from)).map(|(_, to)| *to)?;
    known.iter().copied().find(|k| *k == target)
}

fn or_file(path: &str) -> &str {
    if path.is_empty() { "the file" } else { path }
}

fn lower_first(text: &str) -> String {
    let mut chars = text.chars();
    match (chars.next(), chars.clone().next()) {
        // An abbreviation such as AC, or a unit, stays as it is.
        (Some(a), Some(b)) if b.is_lowercase() || b == ' ' => a.to_lowercase().chain(chars).collect(),
        _ => text.to_string(),
    }
}

fn quoted(words: &[&str]) -> String {
    let quoted: Vec<String> = words.iter().map(|w| format!("\"{w}\"")).collect();
    list(&quoted)
}

/// True when a rule's path leads to a key of the schema.
#[cfg(test)]
pub(super) fn exists(path: &str) -> bool {
    let path = path.split("[0]").next().and_then(|p| p.split("[1]").next()).and_then(|p| p.split("[2]").next());
    !pointers(&made_job_schema(), path.unwrap_or("")).is_empty()
}

/// Paths of numbers that no rule bounds.
#[cfg(test)]
pub(super) fn numbers_without_rule(schema: &Value, out: &mut Vec<String>) {
    fn walk(schema: &Value, pointer: &str, path: &str, out: &mut Vec<String>) {
        for branch in branches(schema, pointer) {
            let Some(node) = schema.pointer(&branch) else { continue };
            let is = |t: &str| match node.get("type") {
                Some(Value::String(s)) => s == t,
                Some(Value::Array(all)) => all.iter().any(|v| v == t),
                _ => false,
            };
            if let Some(properties) = node.get("properties").and_then(Value::as_object) {
                for key in properties.keys() {
                    let path = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
                    walk(schema, &format!("{branch}/properties/{key}"), &path, out);
                }
            }
            if node.get("additionalProperties").is_some_and(Value::is_object) {
                walk(schema, &format!("{branch}/additionalProperties"), &format!("{path}.*"), out);
            }
            if is("array") {
                let size = node.get("minItems").and_then(Value::as_u64).filter(|n| *n <= 3);
                match size {
                    Some(n) => {
                        (0..n).for_each(|i| walk(schema, &format!("{branch}/items"), &format!("{path}[{i}]"), out))
                    }
                    None => walk(schema, &format!("{branch}/items"), &format!("{path}[]"), out),
                }
            }
            let unbounded = rules::find(path).is_none_or(|r| matches!(r.limit, Limit::Free));
            // Coordinates on a plane may be anything finite.
            if (is("number") || is("integer")) && unbounded && !path.contains("_m[") && !out.contains(&path.to_string())
            {
                out.push(path.to_string());
            }
        }
    }
    walk(schema, "", "", out);
}
