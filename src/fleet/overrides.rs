//! A cell of the table of sites in place of a key of the template.

use serde_json::{Map, Value, json};

/// A cell as a value: a number, true or false, a list or inline table in TOML, otherwise text; `"410"` in quotes of its
/// own is text.
pub fn value(cell: &str) -> Value {
    if let Ok(x) = cell.parse::<i64>() {
        return json!(x);
    }
    if let Some(x) = cell.parse::<f64>().ok().filter(|x| x.is_finite()) {
        return json!(x);
    }
    match cell {
        "true" => return Value::Bool(true),
        "false" => return Value::Bool(false),
        _ => {}
    }
    if cell.starts_with(['[', '{', '"']) {
        let list = toml::from_str::<Map<String, Value>>(&format!("x = {cell}")).ok().and_then(|mut t| t.remove("x"));
        if let Some(list) = list {
            return list;
        }
    }
    Value::String(cell.to_string())
}

/// Puts a value under a dotted key.
///
/// `plane.KEY` is the first plane, `plane.NAME.KEY` one by name; `option.TAG.KEY` an option. A number of modules takes
/// the place of another way to state it, and of the template's strings. Whether key and value are good is for the
/// checks of the job to say.
///
/// Gives the path of the input as the ledger of a job names it.
///
/// # Errors
/// What is wrong with the key itself.
pub fn set(sections: &mut Value, key: &str, value: Value) -> Result<String, String> {
    let (first, rest) = key.split_once('.').unwrap_or((key, ""));
    match first {
        "plane" | "option" => {
            let name_key = if first == "plane" { "name" } else { "tag" };
            let items = sections.get_mut(first).and_then(Value::as_array_mut);
            let Some(items) = items.filter(|i| !i.is_empty()) else {
                return Err(format!("the template has no {first}"));
            };
            let named = items.iter().position(|item| {
                let name = item.get(name_key).and_then(Value::as_str).unwrap_or("");
                rest.strip_prefix(name).is_some_and(|r| r.starts_with('.')) && !name.is_empty()
            });
            let (at, below) = match named {
                Some(at) => {
                    let skip = items[at].get(name_key).and_then(Value::as_str).map_or(0, str::len) + 1;
                    (at, rest.get(skip..).unwrap_or(""))
                }
                None if first == "plane" => (0, rest),
                None => {
                    let tags: Vec<&str> = items.iter().filter_map(|i| i.get("tag")?.as_str()).collect();
                    return Err(format!("{key} names no option; the template has {}", tags.join(", ")));
                }
            };
            if first == "option" {
                make_room(&mut items[at], below);
            }
            put(&mut items[at], below, value)?;
            let name = items[at].get(name_key).and_then(Value::as_str).map_or((at + 1).to_string(), str::to_string);
            Ok(format!("{first}.{name}.{below}"))
        }
        _ => put(sections, key, value).map(|()| key.to_string()),
    }
}

/// The three ways to state a number of modules exclude each other, and strings belong to the number they were made for.
fn make_room(option: &mut Value, key: &str) {
    const WAYS: [&str; 3] = ["target_kw", "modules", "fill"];
    let Some(option) = option.as_object_mut().filter(|_| WAYS.contains(&key)) else { return };
    for way in WAYS.iter().chain(&["strings"]).filter(|w| **w != key) {
        option.remove(*way);
    }
}

fn put(place: &mut Value, key: &str, value: Value) -> Result<(), String> {
    let mut place = place;
    let mut words = key.split('.').peekable();
    while let Some(word) = words.next() {
        if word.is_empty() {
            return Err(format!("\"{key}\" is no key"));
        }
        if place.is_null() {
            *place = Value::Object(Map::new());
        }
        let Some(table) = place.as_object_mut() else {
            return Err(format!("{key} goes through a value that has no keys"));
        };
        if words.peek().is_none() {
            table.insert(word.to_string(), value);
            return Ok(());
        }
        place = table.entry(word.to_string()).or_insert(Value::Null);
    }
    Err("an empty key".to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_become_values() {
        assert_eq!(value("12"), json!(12));
        assert_eq!(value("-1.5"), json!(-1.5));
        assert_eq!(value("true"), json!(true));
        assert_eq!(value("[1, 2]"), json!([1, 2]));
        assert_eq!(value("{ u0 = 20.0, u1 = 4.0 }"), json!({"u0": 20.0, "u1": 4.0}));
        assert_eq!(value("\"410\""), json!("410"));
        assert_eq!(value("ghi [kJ/m2]"), json!("ghi [kJ/m2]"));
        assert_eq!(value("NaN"), json!("NaN"));
    }

    #[test]
    fn keys_find_planes_and_options() {
        let mut t = json!({
            "plane": [{"name": "a.b", "tilt_deg": 1}, {"name": "b", "tilt_deg": 2}],
            "option": [{"tag": "A", "target_kw": 40, "strings": [20, 20]}],
        });
        assert_eq!(set(&mut t, "plane.tilt_deg", json!(10)).unwrap(), "plane.a.b.tilt_deg");
        set(&mut t, "plane.b.tilt_deg", json!(20)).unwrap();
        set(&mut t, "plane.a.b.azimuth_deg", json!(90)).unwrap();
        set(&mut t, "option.A.modules", json!(60)).unwrap();
        set(&mut t, "grid.export_limit_kw", json!(-30)).unwrap();
        assert_eq!(
            t,
            json!({
                "plane": [{"name": "a.b", "tilt_deg": 10, "azimuth_deg": 90}, {"name": "b", "tilt_deg": 20}],
                "option": [{"tag": "A", "modules": 60}],
                "grid": {"export_limit_kw": -30},
            })
        );
        assert!(set(&mut t, "option.Z.modules", json!(1)).unwrap_err().contains("the template has A"));
        assert!(set(&mut t, "title.x", json!(1)).is_ok());
        assert!(set(&mut t, "grid..x", json!(1)).is_err());
    }
}
