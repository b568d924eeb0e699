//! Every input with value, unit, source, and whether it was given or is a default.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::{Job, rules};

/// One input of a job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LedgerLine {
    /// Where it stands: `module.P410.gamma_pct_per_k`, `plane.south wing.tilt_deg`, `option.A.target_kw`.
    pub path: String,
    /// The value; lists of points are one value.
    pub value: Value,
    /// Unit, empty for words and for what has none.
    pub unit: String,
    /// On whose word: the record's `source`, `[sources]`, or the published source of a default. `None`: a value was
    /// given and nobody said where it is from.
    pub source: Option<String>,
    /// Given by the user; else a default.
    pub given: bool,
}

/// Path, value, source.
pub(super) type SilentDefault = (&'static str, Value, &'static str);

/// Defaults that the models take when a key is left out.
/// A key that the spec already fills needs no line here.
pub(super) fn silent_defaults() -> [SilentDefault; 5] {
    [
        ("module.*.a_r", json!(0.16), "Martin and Ruiz 2001, clean glass"),
        ("module.*.bypass_groups", json!(3), "three bypass diodes, common practice"),
        (
            "module.*.half_cells",
            json!(false),
            "whole cells, the harsher case under shade, until the sheet says otherwise",
        ),
        ("plane[].albedo", json!(0.2), "common practice, from memory; used where the weather file holds none"),
        ("strings.t_hot_c", json!(70.0), "hot cell on a close roof, from memory"),
    ]
}

impl Job {
    /// Every input, in the order of the file's sections, with the defaults that were taken.
    pub fn ledger(&self) -> Vec<LedgerLine> {
        self.ledger_of(&self.spec_json())
    }

    /// [`Job::ledger`] of the job's own [`Job::spec_json`].
    pub(super) fn ledger_of(&self, spec: &Value) -> Vec<LedgerLine> {
        let silent = silent_defaults();
        let mut leaves = self.leaves(spec, &silent);
        // Site first, parts last; within a section as the structs have it.
        leaves.sort_by_key(|leaf| match leaf.path.split('.').next().unwrap_or(&leaf.path) {
            "site" => 0,
            "weather" => 1,
            "sky_model" | "skyline" => 2,
            "plane" => 3,
            "option" => 4,
            "module" => 6,
            "inverter" => 7,
            _ => 5,
        });
        // Owners end in a dot: `module.P410.`.
        let sources: Vec<(String, String)> = leaves
            .iter()
            .filter_map(|l| Some((l.path.strip_suffix("source")?.to_string(), l.value.as_str()?.to_string())))
            .filter(|(owner, _)| owner.ends_with('.'))
            .collect();
        leaves
            .into_iter()
            .filter(|leaf| is_input(&leaf.path))
            .map(|Leaf { path, pattern, value }| {
                let given = self.is_given(&path);
                let rule = rules::find(&pattern);
                let silent = silent.iter().find(|(p, _, _)| *p == pattern).map(|(_, _, source)| *source);
                let published = silent.or(rule.map(|r| r.source)).filter(|s| !s.is_empty());
                let source = self.source_of(&path, given, &sources, published);
                let unit = match rules::unit_of(rule, &pattern) {
                    _ if value.is_string() || value.is_boolean() => "",
                    "count" | "-" => "",
                    unit => unit,
                };
                LedgerLine { unit: unit.to_string(), value, source, given, path }
            })
            .collect()
    }

    /// Given by the user: listed by a run record, else written in the document.
    fn is_given(&self, path: &str) -> bool {
        self.given.as_ref().map_or_else(|| self.origin.holds(path), |given| given.contains(path))
    }

    /// Paths of all inputs, in no order.
    pub(super) fn input_paths(&self) -> Vec<String> {
        let leaves = self.leaves(&self.spec_json(), &silent_defaults());
        leaves.into_iter().map(|leaf| leaf.path).filter(|path| is_input(path)).collect()
    }

    /// The resolved sections, and the defaults that the models take.
    pub(super) fn leaves(&self, spec: &Value, silent: &[SilentDefault]) -> Vec<Leaf> {
        let mut leaves = leaves(spec);
        for (pattern, value, _) in silent {
            let owners = self.owners(pattern).into_iter();
            leaves.extend(owners.map(|path| Leaf { path, pattern: pattern.to_string(), value: value.clone() }));
        }
        leaves
    }

    /// The resolved sections as one JSON object, parts included.
    pub(super) fn spec_json(&self) -> Value {
        let mut spec = self.spec.clone();
        spec.module = self.modules.clone();
        spec.inverter = self.inverters.clone();
        spec.parts = None;
        serde_json::to_value(spec).unwrap_or(Value::Null)
    }

    /// Paths under which a silent default applies.
    fn owners(&self, pattern: &str) -> Vec<String> {
        match pattern {
            "module.*.a_r" => self
                .modules
                .iter()
                .filter(|(_, m)| m.a_r.is_none() && m.incidence_table.is_empty())
                .map(|(tag, _)| format!("module.{tag}.a_r"))
                .collect(),
            "module.*.bypass_groups" => self
                .modules
                .iter()
                .filter(|(_, m)| m.bypass_groups.is_none())
                .map(|(tag, _)| format!("module.{tag}.bypass_groups"))
                .collect(),
            "module.*.half_cells" => self
                .modules
                .iter()
                .filter(|(_, m)| m.half_cells.is_none())
                .map(|(tag, _)| format!("module.{tag}.half_cells"))
                .collect(),
            "plane[].albedo" => self
                .spec
                .plane
                .iter()
                .filter(|p| p.albedo.is_none())
                .map(|p| format!("plane.{}.albedo", p.name))
                .collect(),
            "strings.t_hot_c" if self.spec.strings.t_hot_c.is_none() => vec!["strings.t_hot_c".to_string()],
            _ => Vec::new(),
        }
    }

    fn source_of(
        &self,
        path: &str,
        given: bool,
        sources: &[(String, String)],
        published: Option<&str>,
    ) -> Option<String> {
        // The nearest word counts: an entry of [sources] or the record's own `source`, whichever lies deeper.
        let stated = self.spec.sources.iter().filter(|(key, _)| under(path, key)).max_by_key(|(key, _)| key.len());
        if !given {
            let stated = stated.filter(|(key, _)| key.len() == path.len()).map(|(_, text)| text.as_str());
            return Some(stated.or(published).unwrap_or("the program's default").to_string());
        }
        let own = sources.iter().filter(|(owner, _)| path.starts_with(owner.as_str())).max_by_key(|(o, _)| o.len());
        let own = own.map(|(owner, text)| (owner, text));
        stated.into_iter().chain(own).max_by_key(|(at, _)| at.len()).map(|(_, text)| text.clone())
    }
}

/// Names, titles and sources are words about the inputs, not inputs.
pub(super) fn is_input(path: &str) -> bool {
    let key = path.rsplit('.').next().unwrap_or(path);
    !["source", "name", "tag", "kind", "title"].contains(&key)
        && !path.starts_with("sources.")
        && !path.starts_with("proposal.")
}

/// True when `path` is `key` or lies below it.
pub(super) fn under(path: &str, key: &str) -> bool {
    path.strip_prefix(key).is_some_and(|rest| rest.is_empty() || rest.starts_with('.') || rest.starts_with('['))
}

/// A leaf of a document.
pub(super) struct Leaf {
    /// Records of a list go by their `tag` or `name`.
    pub path: String,
    /// The path with `*` for a tag and `[]` for a record of a list, as the rules have it.
    pub pattern: String,
    /// Lists of numbers, of pairs and of words stay whole.
    pub value: Value,
}

/// All leaves of a document.
pub(super) fn leaves(json: &Value) -> Vec<Leaf> {
    let mut out = Vec::with_capacity(256);
    walk(json, &mut String::new(), &mut String::new(), &mut out);
    out
}

fn walk(value: &Value, path: &mut String, pattern: &mut String, out: &mut Vec<Leaf>) {
    let (path_len, pattern_len) = (path.len(), pattern.len());
    match value {
        Value::Object(map) => {
            let tags = ["module", "inverter"].contains(&pattern.as_str());
            for (key, inner) in map {
                for (text, key) in [(&mut *path, key.as_str()), (&mut *pattern, if tags { "*" } else { key })] {
                    if !text.is_empty() {
                        text.push('.');
                    }
                    text.push_str(key);
                }
                walk(inner, path, pattern, out);
                path.truncate(path_len);
                pattern.truncate(pattern_len);
            }
        }
        Value::Array(items) if items.iter().any(Value::is_object) => {
            pattern.push_str("[]");
            for (i, item) in items.iter().enumerate() {
                path.push('.');
                match ["tag", "name"].iter().find_map(|k| item.get(*k).and_then(Value::as_str)) {
                    Some(name) => path.push_str(name),
                    None => path.push_str(&(i + 1).to_string()),
                }
                walk(item, path, pattern, out);
                path.truncate(path_len);
            }
            pattern.truncate(pattern_len);
        }
        Value::Null => {}
        value => out.push(Leaf { path: path.clone(), pattern: pattern.clone(), value: value.clone() }),
    }
}
