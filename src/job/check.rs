//! The check of a document against the schema: keys, kinds, ranges, words.

use std::cell::RefCell;

use super::error::{JobError, fault, list, nearest};
use super::node::{Kinds, Node, Schema};
use super::rules::{self, Limit};
use super::tree::{Entry, Files, Kind, Tree, number_text};

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
pub(super) fn check(tree: &Tree, schema: &'static Schema, files: &Files) -> Result<(), JobError> {
    check_changed(tree, None, schema, files)
}

/// As [`check`]; what stands at the top of the document as it does in one that is right is right.
pub(super) fn check_changed(
    tree: &Tree,
    right: Option<&Tree>,
    schema: &'static Schema,
    files: &Files,
) -> Result<(), JobError> {
    Walk { schema, files, right, rule: RefCell::default() }.value(tree, schema.root(), &Path::Root)
}

struct Walk<'a> {
    schema: &'static Schema,
    files: &'a Files,
    right: Option<&'a Tree>,
    /// Room for the path of a rule: most values are numbers, and nearly all of them are right.
    rule: RefCell<String>,
}

impl Walk<'_> {
    fn value(&self, tree: &Tree, node: Node, path: &Path<'_>) -> Result<(), JobError> {
        let node = node.target();
        if node.is_choice() {
            return self.choice(tree, node, path);
        }
        if !fits(tree, node) {
            return Err(self.wrong_type(tree, &type_words(node), path));
        }
        match &tree.kind {
            Kind::Table(entries) => self.table(tree, entries, node, path),
            Kind::List(items) => self.items(tree, items, node, path),
            Kind::Text(text) => {
                let words: Vec<&str> = node.words().collect();
                if !words.is_empty() {
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

    /// One of several descriptions.
    fn choice(&self, tree: &Tree, node: Node, path: &Path<'_>) -> Result<(), JobError> {
        let all = node.any_of().filter(|n| !n.is_null());
        let Some(first) = all.clone().next() else { return self.one_of(tree, node, path) };
        let alone = || all.clone().nth(1).is_none().then_some(first);
        let Some(node) = all.clone().find(|n| fits(tree, *n)).or_else(alone) else {
            let words: Vec<String> = all.map(type_words).collect();
            return Err(self.wrong_type(tree, &words.join(", or "), path));
        };
        self.value(tree, node, path)
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

    fn one_of(&self, tree: &Tree, node: Node, path: &Path<'_>) -> Result<(), JobError> {
        let words: Vec<&str> = node.one_of().flat_map(|n| n.words().chain(n.word())).collect();
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
        let tag = |n: Node| n.properties().find_map(|(key, p)| Some((key, p.word()?)));
        let tags: Vec<(&str, &str)> = node.one_of().filter_map(tag).collect();
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
        node.one_of().nth(index).map_or(Ok(()), |node| self.value(tree, node, path))
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

    fn number(&self, tree: &Tree, node: Node, path: &Path<'_>) -> Result<(), JobError> {
        let Some(x) = tree.number() else { return Ok(()) };
        let mut rule_path = self.rule.borrow_mut();
        rule_path.clear();
        path.write_rule(&mut rule_path);
        let rule = rules::find(&rule_path);
        let in_unit = |text: String| match rules::unit(&rule_path) {
            "" | "count" | "-" | "share" => text,
            unit => format!("{text} {unit}"),
        };
        let bad = |expected: String, mend: &str| {
            let mend = if mend.is_empty() { "Check the value and its unit, which is in the key's name." } else { mend };
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
            return bad("a finite number".into(), &mend);
        }
        let mend = rule.map_or("", |r| r.mend);
        match rule.map(|r| r.limit) {
            Some(Limit::Range(low, high)) if !(low..=high).contains(&x) => {
                return bad(in_unit(format!("{} to {}", number_text(low), number_text(high))), mend);
            }
            Some(Limit::Above(low, high)) if !(x > low && x <= high) => {
                return bad(in_unit(format!("more than {} and at most {}", number_text(low), number_text(high))), mend);
            }
            Some(Limit::Check(check, _, _)) => {
                if let Some((expected, mend)) = check(x) {
                    return bad(expected, &mend);
                }
            }
            _ => {}
        }
        if node.is_count() && !(0.0..=f64::from(u32::MAX)).contains(&x) {
            return bad("a whole number, 0 or more".into(), mend);
        }
        // No key has a use for more; it keeps every later sum finite.
        if x.abs() > 1e12 {
            return bad("a number of sensible size".into(), mend);
        }
        Ok(())
    }

    fn items(&self, tree: &Tree, items: &[Tree], node: Node, path: &Path<'_>) -> Result<(), JobError> {
        let size = node.size();
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
        let Some(item) = node.items() else { return Ok(()) };
        for (i, value) in items.iter().enumerate() {
            let table = matches!(value.kind, Kind::Table(_));
            self.value(value, item, &path.item(i, size.is_some_and(|n| n <= 3), table))?;
        }
        Ok(())
    }

    fn table(&self, tree: &Tree, entries: &[Entry], node: Node, path: &Path<'_>) -> Result<(), JobError> {
        if let Some(any) = node.any_key() {
            let records = any.target().properties().next().is_some();
            for entry in entries {
                if entry.key.trim().is_empty() {
                    return Err(JobError::BadName(fault(
                        self.files.at(entry.mark),
                        format!("a name under {} is empty", path.shown()),
                        "a short name such as P410",
                        format!("Write [{}.P410].", path.shown()),
                    )));
                }
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
        if node.properties().next().is_none() {
            return Ok(());
        }
        let right = self.right.filter(|_| path.is_root());
        // Most keys come in the order of the schema.
        let mut ahead = node.property_pairs();
        for entry in entries {
            if right.and_then(|right| right.get(&entry.key)) == Some(&entry.value) {
                continue;
            }
            let of_entry = |(key, _): &(Node, Node)| key.says(&entry.key);
            let found = ahead.find(of_entry).or_else(|| {
                ahead = node.property_pairs();
                ahead.find(of_entry)
            });
            let Some((_, property)) = found else {
                let known: Vec<&str> = node.properties().map(|(key, _)| key).collect();
                return Err(self.unknown(entry, &known, path));
            };
            self.value(&entry.value, property, &path.key(&entry.key, false))?;
        }
        let missing = node.required().find(|key| tree.get(key).is_none());
        match missing.and_then(|key| Some((key, node.property(key)?))) {
            Some((key, property)) => Err(self.missing(tree, key, property, path)),
            None => Ok(()),
        }
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
        let root = self.schema.root();
        if root.property(key).is_some() {
            homes.push("the top of the file, above the first [section]".to_string());
        }
        for (name, node) in root.properties() {
            let node = node.any_of().next().unwrap_or(node).target();
            let (inner, shown) = match (node.items(), node.any_key()) {
                (Some(items), _) => (items.target(), format!("[[{name}]]")),
                (_, Some(any)) => (any.target(), format!("[{name}.X]")),
                _ => (node, format!("[{name}]")),
            };
            if inner.property(key).is_some() {
                homes.push(shown);
            }
        }
        homes
    }

    fn missing(&self, tree: &Tree, key: &str, node: Node, path: &Path<'_>) -> JobError {
        let description = node.description();
        let description = description.trim_end_matches(['.', ',', ' ']);
        let inner = path.key(key, false);
        let kind = type_words(node);
        let kind = if kind == "another kind of value" { "a value".to_string() } else { kind };
        let expected =
            if description.is_empty() { kind.clone() } else { format!("{kind}: {}", lower_first(description)) };
        let example = rules::find(&inner.rule()).map_or("", |r| r.example);
        let mend = if kind.starts_with("sections") {
            format!("Add at least one [[{key}]].")
        } else if kind == "a section" {
            format!("Add [{}] with {}.", inner.shown(), list(&node.target().required().collect::<Vec<_>>()))
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

/// Kind of value only; items and keys are looked at later.
fn fits(tree: &Tree, node: Node) -> bool {
    let node = node.target();
    let kinds = node.kinds();
    match &tree.kind {
        _ if node.is_choice() => true,
        Kind::Text(_) => kinds.has(Kinds::STRING),
        Kind::Bool(_) => kinds.has(Kinds::BOOLEAN),
        Kind::Int(_) => kinds.has(Kinds::INTEGER | Kinds::NUMBER),
        Kind::Float(x) => {
            let whole = x.fract() == 0.0 && x.abs() < 1e9 && tree.mark.line == 0;
            kinds.has(Kinds::NUMBER) || kinds.has(Kinds::INTEGER) && whole
        }
        Kind::List(_) => kinds.has(Kinds::ARRAY),
        Kind::Table(_) => kinds.has(Kinds::OBJECT),
        Kind::Date(_) => false,
    }
}

fn type_words(node: Node) -> String {
    let node = node.target();
    let words = match node.kinds().only() {
        Kinds::STRING => "text in quotes",
        Kinds::NUMBER => "a number",
        Kinds::INTEGER => "a whole number",
        Kinds::BOOLEAN => "true or false",
        Kinds::OBJECT => "a section",
        Kinds::ARRAY => {
            let item = node.items().map_or(Kinds::default(), |item| item.target().kinds());
            match node.size() {
                Some(2) => "a pair of numbers, [a, b]",
                Some(n) => return format!("a list of {n} numbers"),
                None if item.has(Kinds::ARRAY) => "a list of pairs, [[a, b], [c, d]]",
                None if item.has(Kinds::STRING) => "a list of texts",
                None if item.has(Kinds::OBJECT) => "sections in double brackets, [[...]]",
                None => "a list of numbers",
            }
        }
        _ => "another kind of value",
    };
    words.to_string()
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
