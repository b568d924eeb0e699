//! The JSON Schema of job and parts files, made from the structs and the rules: what the kept files are held against.

use schemars::JsonSchema;
use serde_json::{Value, json};

use super::rules::{self, Limit};
use super::spec::{JobSpec, PartsSpec};

/// The job's schema from structs and rules.
pub fn made_job_schema() -> Value {
    with_rules::<JobSpec>("yearlight job")
}

/// The parts' schema from structs and rules.
pub fn made_parts_schema() -> Value {
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

/// True when a rule's path leads to a key of the schema.
pub fn exists(path: &str) -> bool {
    let path = path.split("[0]").next().and_then(|p| p.split("[1]").next()).and_then(|p| p.split("[2]").next());
    !pointers(&made_job_schema(), path.unwrap_or("")).is_empty()
}

/// Paths of numbers that no rule bounds.
pub fn numbers_without_rule(schema: &Value, out: &mut Vec<String>) {
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
