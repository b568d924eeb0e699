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
type SilentDefault = (&'static str, Value, &'static str);

/// Defaults that the models take when a key is left out.
/// A key that the spec already fills needs no line here.
fn silent_defaults() -> [SilentDefault; 5] {
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
        let json = self.spec_json();
        let mut flat = flatten(&json);
        let silent = silent_defaults();
        for (pattern, value, _) in &silent {
            let missing = self.owners(pattern);
            flat.extend(missing.into_iter().map(|path| (path, value.clone())));
        }
        // Site first, parts last; within a section as the structs have it.
        flat.sort_by_key(|(path, _)| match path.split('.').next().unwrap_or(path) {
            "site" => 0,
            "weather" => 1,
            "sky_model" | "skyline" => 2,
            "plane" => 3,
            "option" => 4,
            "module" => 6,
            "inverter" => 7,
            _ => 5,
        });
        let sources: Vec<(String, String)> = flat
            .iter()
            .filter_map(|(p, v)| Some((p.strip_suffix("source")?.to_string(), v.as_str()?.to_string())))
            .filter(|(owner, _)| owner.ends_with('.'))
            .collect();
        flat.into_iter()
            .filter(|(path, _)| is_input(path))
            .map(|(path, value)| {
                let given = self.given.contains(&path);
                let rule = rule_path(&path);
                let source = self.source_of((&path, &rule), given, &sources, &silent);
                let unit = match rules::unit(&rule) {
                    _ if value.is_string() || value.is_boolean() => "",
                    "count" | "-" => "",
                    unit => unit,
                };
                LedgerLine { unit: unit.to_string(), value, source, given, path }
            })
            .collect()
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
        (path, rule): (&str, &str),
        given: bool,
        sources: &[(String, String)],
        silent: &[SilentDefault],
    ) -> Option<String> {
        // The nearest word counts: an entry of [sources] or the record's own `source`, whichever lies deeper.
        let stated = self.spec.sources.iter().filter(|(key, _)| under(path, key)).max_by_key(|(key, _)| key.len());
        let stated = stated.map(|(key, text)| (key.len(), text.clone()));
        if !given {
            if let Some((_, text)) = stated.filter(|(depth, _)| *depth == path.len()) {
                return Some(text);
            }
            let silent = silent.iter().find(|(p, _, _)| *p == rule).map(|(_, _, s)| s.to_string());
            let published = rules::find(rule).map(|r| r.source).filter(|s| !s.is_empty()).map(str::to_string);
            return silent.or(published).or_else(|| Some("the program's default".to_string()));
        }
        // Owners end in a dot: `module.P410.`.
        let own = sources.iter().filter(|(owner, _)| path.starts_with(owner.as_str())).max_by_key(|(o, _)| o.len());
        let own = own.map(|(owner, text)| (owner.len(), text.clone()));
        stated.into_iter().chain(own).max_by_key(|(depth, _)| *depth).map(|(_, text)| text)
    }
}

/// Names, titles and sources are words about the inputs, not inputs.
fn is_input(path: &str) -> bool {
    let key = path.rsplit('.').next().unwrap_or(path);
    !["source", "name", "tag", "kind", "title"].contains(&key)
        && !path.starts_with("sources.")
        && !path.starts_with("proposal.")
}

/// True when `path` is `key` or lies below it.
pub(super) fn under(path: &str, key: &str) -> bool {
    path.strip_prefix(key).is_some_and(|rest| rest.is_empty() || rest.starts_with('.') || rest.starts_with('['))
}

/// Leaves of a document: path and value. Records of a list go by their `tag` or `name`; lists of numbers, of pairs and
/// of words stay whole.
pub(super) fn flatten(json: &Value) -> Vec<(String, Value)> {
    let mut out = Vec::new();
    walk(json, String::new(), &mut out);
    out
}

fn walk(value: &Value, path: String, out: &mut Vec<(String, Value)>) {
    match value {
        Value::Object(map) => {
            for (key, inner) in map {
                let path = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
                walk(inner, path, out);
            }
        }
        Value::Array(items) if items.iter().any(Value::is_object) => {
            for (i, item) in items.iter().enumerate() {
                let name = ["tag", "name"].iter().find_map(|k| item.get(*k).and_then(Value::as_str));
                let name = name.map_or_else(|| (i + 1).to_string(), str::to_string);
                walk(item, format!("{path}.{name}"), out);
            }
        }
        Value::Null => {}
        other => out.push((path, other.clone())),
    }
}

/// The path that the rules use: `plane.south wing.tilt_deg` to `plane[].tilt_deg`. A name may itself hold dots, so
/// the key is looked for from the end.
pub(super) fn rule_path(path: &str) -> String {
    let mut parts = path.splitn(2, '.');
    let section = parts.next().unwrap_or(path);
    let Some(rest) = parts.next() else { return path.to_string() };
    let mark = match section {
        "module" | "inverter" => ".*.",
        "plane" | "option" => "[].",
        _ => return path.to_string(),
    };
    let keys: Vec<&str> = rest.split('.').collect();
    for from in 1..keys.len() {
        let tail = keys[from..].join(".");
        let direct = format!("{section}{mark}{tail}");
        if rules::find(&direct).is_some() {
            return direct;
        }
        // A record inside: plane.X.obstacles.mast.height_m, inverter.X.efficiency_at_v.1.v.
        for (list, key) in (from..keys.len()).flat_map(|i| (i + 2..keys.len()).map(move |k| (i, k))) {
            let nested = format!("{section}{mark}{}[].{}", keys[list], keys[key..].join("."));
            if rules::find(&nested).is_some() {
                return nested;
            }
        }
    }
    format!("{section}{mark}{}", keys.last().unwrap_or(&""))
}
