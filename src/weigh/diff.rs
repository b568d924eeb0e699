//! Two runs side by side: every input that differs, and what each moved.

use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use crate::weigh::shapley::shapley;
use crate::weigh::watch::{Tick, Watch};

/// An input that differs between two runs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Change {
    /// The part of the job it belongs to: `losses`, `module.P410`, `option.A`, ...
    pub group: String,
    /// Where it stands: `module.P410.gamma_pct_per_k`.
    pub path: String,
    /// In the first run; nothing when it is not there.
    pub old: Option<Value>,
    /// In the second run; nothing when it is not there.
    pub new: Option<Value>,
}

/// What a group of changed inputs moved.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Moved {
    /// The part of the job.
    pub group: String,
    /// Tag of the option.
    pub option: String,
    /// Change of the first year's energy, kWh.
    pub kwh: f64,
}

/// How the moves were worked out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Means {
    /// Exact split over all mixes of old and new.
    Split,
    /// Too many groups for all mixes, or a mix that cannot be run: changed one after the other in the order of the job.
    InTurn,
    /// Mixes of old and new cannot be run: all changes together.
    Together,
}

/// The energy of one option in both runs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EnergyMove {
    /// Tag of the option.
    pub option: String,
    /// First year in the first run, kWh; nothing when the option is not there.
    pub old_kwh: Option<f64>,
    /// First year in the second run, kWh.
    pub new_kwh: Option<f64>,
}

/// Every leaf that differs between two sets of inputs.
///
/// Lists of named things (`tag` or `name`) are matched by name, other lists as a whole; numbers are compared as
/// numbers, so 40 and 40.0 are the same.
pub fn changes(old: &Value, new: &Value) -> Vec<Change> {
    let mut found = Vec::new();
    walk(&mut Vec::new(), Some(old), Some(new), &mut found);
    found
}

fn walk(path: &mut Vec<String>, old: Option<&Value>, new: Option<&Value>, found: &mut Vec<Change>) {
    let branches = (old.and_then(branches_of), new.and_then(branches_of));
    let (old_branches, new_branches) = match branches {
        (Some(a), Some(b)) => (a, b),
        (Some(a), None) if new.is_none() => (a, Vec::new()),
        (None, Some(b)) if old.is_none() => (Vec::new(), b),
        _ => {
            if !same(old, new) {
                let change =
                    Change { group: group_of(path), path: path.join("."), old: old.cloned(), new: new.cloned() };
                found.push(change);
            }
            return;
        }
    };
    let only_new = new_branches.iter().filter(|(k, _)| !old_branches.iter().any(|(o, _)| o == k));
    for (key, _) in old_branches.iter().chain(only_new) {
        let pick = |side: &[(String, &Value)]| side.iter().find(|(k, _)| k == key).map(|(_, v)| *v).cloned();
        let (a, b) = (pick(&old_branches), pick(&new_branches));
        path.push(key.clone());
        walk(path, a.as_ref(), b.as_ref(), found);
        path.pop();
    }
}

/// Children of a table or of a list of named things; nothing for anything else.
fn branches_of(value: &Value) -> Option<Vec<(String, &Value)>> {
    match value {
        Value::Object(map) => Some(map.iter().map(|(k, v)| (k.clone(), v)).collect()),
        Value::Array(items) if !items.is_empty() => {
            let named: Option<Vec<(String, &Value)>> = items.iter().map(|v| Some((name_of(v)?, v))).collect();
            named.filter(|n| (1..n.len()).all(|i| !n[..i].iter().any(|(k, _)| *k == n[i].0)))
        }
        _ => None,
    }
}

fn name_of(value: &Value) -> Option<String> {
    ["tag", "name"].iter().find_map(|key| value.get(key)?.as_str()).map(str::to_string)
}

fn same(old: Option<&Value>, new: Option<&Value>) -> bool {
    match (old, new) {
        (Some(Value::Number(a)), Some(Value::Number(b))) => a.as_f64() == b.as_f64(),
        (Some(Value::Array(a)), Some(Value::Array(b))) => {
            a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same(Some(a), Some(b)))
        }
        (Some(Value::Object(a)), Some(Value::Object(b))) => {
            a.len() == b.len() && a.iter().all(|(k, v)| same(Some(v), b.get(k)))
        }
        _ => old == new,
    }
}

/// Parts, options and planes are groups of their own; everything else goes by its section.
fn group_of(path: &[String]) -> String {
    let own = path.first().is_some_and(|p| ["module", "inverter", "option", "plane"].contains(&p.as_str()));
    path.iter().take(if own { 2 } else { 1 }).cloned().collect::<Vec<_>>().join(".")
}

/// The groups of some changes, each once, in order.
pub fn groups_of(changes: &[Change]) -> Vec<String> {
    let mut groups: Vec<String> = Vec::new();
    for change in changes {
        if !groups.contains(&change.group) {
            groups.push(change.group.clone());
        }
    }
    groups
}

/// The old inputs with some groups taken from the new ones.
pub fn mixed(old: &Value, new: &Value, groups: &[&str]) -> Value {
    let mut mix = old.clone();
    for group in groups {
        let (section, item) = group.split_once('.').map_or((*group, None), |(s, i)| (s, Some(i)));
        let Value::Object(map) = &mut mix else { return new.clone() };
        match item {
            None => put(map, section, new.get(section).cloned()),
            Some(item) => {
                let wanted = new.get(section).and_then(|s| child(s, item)).cloned();
                let empty = match new.get(section) {
                    Some(Value::Array(_)) => Value::Array(Vec::new()),
                    _ => Value::Object(Map::new()),
                };
                match map.entry(section).or_insert(empty) {
                    Value::Object(items) => put(items, item, wanted),
                    Value::Array(items) => {
                        let at = items.iter().position(|v| name_of(v).as_deref() == Some(item));
                        match (at, wanted) {
                            (Some(i), Some(v)) => items[i] = v,
                            (Some(i), None) => drop(items.remove(i)),
                            (None, Some(v)) => items.push(v),
                            (None, None) => {}
                        }
                    }
                    _ => {}
                }
            }
        }
    }
    mix
}

fn put(map: &mut Map<String, Value>, key: &str, value: Option<Value>) {
    match value {
        Some(value) => drop(map.insert(key.to_string(), value)),
        // Keeps the order of the rest.
        None => drop(map.shift_remove(key)),
    }
}

fn child<'a>(section: &'a Value, name: &str) -> Option<&'a Value> {
    match section {
        Value::Object(map) => map.get(name),
        Value::Array(items) => items.iter().find(|v| name_of(v).as_deref() == Some(name)),
        _ => None,
    }
}

/// First-year energy by option as a study in JSON holds it.
pub fn energies(study: &Value) -> Vec<(String, f64)> {
    let Some(options) = study.get("options").and_then(Value::as_array) else { return Vec::new() };
    options
        .iter()
        .filter_map(|option| {
            let year = option.get("year")?;
            let months = year.get("months")?.as_array()?;
            let kwh = months.iter().map(|m| m.get("e_ac_kwh").and_then(Value::as_f64)).sum::<Option<f64>>()?;
            Some((year.get("tag")?.as_str()?.to_string(), kwh))
        })
        .collect()
}

/// Energies of both runs by option, in the order of the first, new ones last.
pub fn energy_moves(old: &[(String, f64)], new: &[(String, f64)]) -> Vec<EnergyMove> {
    let find = |side: &[(String, f64)], tag: &str| side.iter().find(|(t, _)| t == tag).map(|(_, e)| *e);
    let only_new = new.iter().filter(|(t, _)| find(old, t).is_none());
    old.iter()
        .chain(only_new)
        .map(|(tag, _)| EnergyMove { option: tag.clone(), old_kwh: find(old, tag), new_kwh: find(new, tag) })
        .collect()
}

/// Most groups for which every mix of old and new is run.
pub const MAX_MIXED: usize = 7;

/// What each group of changed inputs moved, for every option that is in both runs.
///
/// `run` works out the first-year energy by option for a set of inputs, nothing when it cannot be run. The moves of
/// an option sum to its whole change up to rounding.
pub fn moves(
    old: &Value,
    new: &Value,
    changes: &[Change],
    run: impl Fn(&Value) -> Option<Vec<(String, f64)>> + Sync,
) -> (Means, Vec<Moved>) {
    moves_watched(old, new, changes, &|_| {}, run)
}

/// As [`moves`]; `watch` hears of the runs ahead and of each that is done.
pub fn moves_watched(
    old: &Value,
    new: &Value,
    changes: &[Change],
    watch: &Watch,
    run: impl Fn(&Value) -> Option<Vec<(String, f64)>> + Sync,
) -> (Means, Vec<Moved>) {
    let groups = groups_of(changes);
    let n = groups.len();
    let run = |inputs: &Value| {
        let energies = run(inputs);
        watch(Tick::Done);
        energies
    };
    watch(Tick::Ahead(if n <= MAX_MIXED { 1 << n } else { n as u64 + 1 }));
    let at = |chosen: &(dyn Fn(usize) -> bool + Sync)| {
        let taken: Vec<&str> = (0..n).filter(|i| chosen(*i)).map(|i| groups[i].as_str()).collect();
        run(&mixed(old, new, &taken))
    };
    let (Some(before), Some(after)) = (run(old), run(new)) else { return (Means::Together, Vec::new()) };
    let options: Vec<String> =
        before.iter().map(|(t, _)| t.clone()).filter(|t| after.iter().any(|(a, _)| a == t)).collect();
    let of = |energies: &[(String, f64)], tag: &str| energies.iter().find(|(t, _)| t == tag).map(|(_, e)| *e);
    // The ends are known; what lies between is run on all threads, in a fixed order.
    let end = (1_usize << n.min(MAX_MIXED)) - 1;
    let ends = |at_old: bool, at_new: bool| match (at_old, at_new) {
        (true, _) => Some(before.clone()),
        (_, true) => Some(after.clone()),
        _ => None,
    };
    let every = || {
        let mix = |mask: usize| ends(mask == 0, mask == end).or_else(|| at(&|i| mask >> i & 1 == 1));
        (0..=end).into_par_iter().map(mix).collect()
    };
    let in_turn = || {
        let mix = |k: usize| ends(k == 0, k == n).or_else(|| at(&|i| i < k));
        (0..=n).into_par_iter().map(mix).collect::<Option<Vec<_>>>()
    };
    let all: Option<Vec<Vec<(String, f64)>>> = if n <= MAX_MIXED { every() } else { None };
    let split = all.is_some();
    // Where some mix cannot be run, the one path from old to new may still go.
    let all = all.or_else(in_turn);
    let mut moved = Vec::new();
    let mut add = |group: &str, option: &str, kwh: f64| {
        moved.push(Moved { group: group.to_string(), option: option.to_string(), kwh });
    };
    for option in &options {
        let values: Option<Vec<f64>> = all.as_ref().and_then(|all| all.iter().map(|e| of(e, option)).collect());
        match values {
            Some(v) if split => {
                let parts = shapley(n, |s| v[s as usize]).unwrap_or_default();
                groups.iter().zip(parts).for_each(|(g, kwh)| add(g, option, kwh));
            }
            Some(v) => groups.iter().zip(v.windows(2)).for_each(|(g, w)| add(g, option, w[1] - w[0])),
            None => {
                let whole = of(&after, option).unwrap_or(0.0) - of(&before, option).unwrap_or(0.0);
                add("all changes together", option, whole);
            }
        }
    }
    let means = match all {
        None => Means::Together,
        Some(_) if split => Means::Split,
        Some(_) => Means::InTurn,
    };
    (means, moved)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde_json::json;

    fn old() -> Value {
        json!({
            "title": "x",
            "losses": { "dirt_pct": 2.0, "outage_pct": 1 },
            "module": { "P": { "gamma": -0.35, "low_light": [[200, 0.96]] } },
            "option": [{ "tag": "A", "modules": 98 }, { "tag": "B", "modules": 90 }]
        })
    }

    fn energy(inputs: &Value) -> Option<Vec<(String, f64)>> {
        let options = inputs.get("option")?.as_array()?;
        let dirt = inputs["losses"]["dirt_pct"].as_f64()?;
        let gamma = inputs["module"]["P"]["gamma"].as_f64()?;
        options
            .iter()
            .map(|o| {
                let n = o["modules"].as_f64()?;
                Some((o["tag"].as_str()?.to_string(), n * 400.0 * (1.0 - dirt / 100.0) * (1.0 + 0.1 * gamma)))
            })
            .collect()
    }

    #[test]
    fn finds_what_differs_and_nothing_else() {
        let mut new = old();
        new["losses"]["dirt_pct"] = json!(3);
        new["losses"]["outage_pct"] = json!(1.0);
        new["module"]["P"]["low_light"] = json!([[200, 0.97]]);
        new["option"] = json!([{ "tag": "B", "modules": 92 }, { "tag": "A", "modules": 98 }]);
        new["grid"] = json!({ "export_limit_kw": 30 });
        let found = changes(&old(), &new);
        let paths: Vec<&str> = found.iter().map(|c| c.path.as_str()).collect();
        assert_eq!(paths, ["losses.dirt_pct", "module.P.low_light", "option.B.modules", "grid.export_limit_kw"]);
        assert_eq!(groups_of(&found), ["losses", "module.P", "option.B", "grid"]);
        assert_eq!(found[3].old, None);
        assert!(changes(&new, &new).is_empty());
        // Taking every group gives the new inputs.
        let groups = groups_of(&found);
        let all: Vec<&str> = groups.iter().map(String::as_str).collect();
        assert!(changes(&mixed(&old(), &new, &all), &new).is_empty());
    }

    #[test]
    fn moves_sum_to_the_change() {
        let mut new = old();
        new["losses"]["dirt_pct"] = json!(5.0);
        new["module"]["P"]["gamma"] = json!(-0.29);
        new["option"][1]["modules"] = json!(95);
        let (means, moved) = moves(&old(), &new, &changes(&old(), &new), energy);
        assert_eq!(means, Means::Split);
        for (tag, before) in energy(&old()).unwrap() {
            let after = energy(&new).unwrap().iter().find(|(t, _)| *t == tag).unwrap().1;
            let sum: f64 = moved.iter().filter(|m| m.option == tag).map(|m| m.kwh).sum();
            assert!((sum - (after - before)).abs() < 1e-9);
        }
        // Option A does not feel B's count.
        assert!(moved.iter().any(|m| m.option == "A" && m.group == "option.B" && m.kwh == 0.0));
    }

    #[test]
    fn what_cannot_be_mixed_is_told_together() {
        let mut new = old();
        new["losses"] = json!({ "dirt_pct": 1.0 });
        new["module"] = json!({ "P": { "gamma": -0.3 } });
        let picky = |v: &Value| {
            let mixed = (v["losses"]["dirt_pct"] == json!(1.0)) != (v["module"]["P"]["gamma"] == json!(-0.3));
            if mixed { None } else { energy(v) }
        };
        let (means, moved) = moves(&old(), &new, &changes(&old(), &new), picky);
        assert_eq!((means, moved.len()), (Means::Together, 2));
    }

    #[test]
    fn reads_energies_of_a_study() {
        let study =
            json!({ "options": [{ "year": { "tag": "A", "months": [{ "e_ac_kwh": 1.0 }, { "e_ac_kwh": 2.5 }] } }] });
        assert_eq!(energies(&study), [("A".to_string(), 3.5)]);
        assert!(energies(&json!(3)).is_empty());
        let moved = energy_moves(&[("A".into(), 1.0)], &[("B".into(), 2.0), ("A".into(), 3.0)]);
        assert_eq!((moved[0].new_kwh, moved[1].old_kwh), (Some(3.0), None));
    }

    fn any_value() -> impl Strategy<Value = Value> {
        let leaf =
            prop_oneof![any::<i32>().prop_map(Value::from), "[a-c]{0,2}".prop_map(Value::from), Just(Value::Null)];
        leaf.prop_recursive(3, 24, 4, |inner| {
            prop_oneof![
                prop::collection::vec(inner.clone(), 0..4).prop_map(Value::from),
                prop::collection::btree_map("(tag|name|option|module|[a-c])", inner, 0..4)
                    .prop_map(|m| Value::Object(m.into_iter().collect())),
            ]
        })
    }

    proptest! {
        #[test]
        fn no_value_breaks_it(a in any_value(), b in any_value()) {
            prop_assert!(changes(&a, &a).is_empty());
            let found = changes(&a, &b);
            prop_assert_eq!(found.len(), changes(&b, &a).len());
            let groups = groups_of(&found);
            let all: Vec<&str> = groups.iter().map(String::as_str).collect();
            let _ = mixed(&a, &b, &all);
        }
    }
}
