//! The order of the folders: each imports only itself, `units`, `maths` and folders above it in the list of `src/lib.rs`.
//!
//! The compiler accepts cycles between modules of one crate, so this test reads the paths in the source instead.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// The chain as `src/lib.rs` prints it.
fn chain() -> Vec<String> {
    let text = fs::read_to_string("src/lib.rs").expect("src/lib.rs");
    let line = text.lines().find(|l| l.contains("weather -> sun")).expect("the list of layers in src/lib.rs");
    line.trim_start_matches("//!").split("->").map(|s| s.trim().to_string()).collect()
}

fn sources(folder: &Path, out: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder of src") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, out);
        } else if path.extension().is_some_and(|e| e == "rs") {
            out.push(path);
        }
    }
}

/// Code without comments and texts, so that only paths that the compiler sees are left.
fn code(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for line in text.lines() {
        let line = line.split("//").next().unwrap_or("");
        out.push_str(line);
        out.push('\n');
    }
    out
}

/// First segments after `crate::` or `yearlight::`, groups `{a, b}` included, with their lines.
fn imports(text: &str) -> Vec<(usize, String)> {
    let mut found = Vec::new();
    for root in ["crate::", "yearlight::"] {
        for (at, _) in text.match_indices(root) {
            let before = text[..at].chars().next_back();
            if before.is_some_and(|c| c.is_alphanumeric() || c == '_') {
                continue;
            }
            let line = text[..at].matches('\n').count() + 1;
            let rest = &text[at + root.len()..];
            let word = |s: &str| s.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect::<String>();
            match rest.strip_prefix('{') {
                None => found.push((line, word(rest))),
                Some(group) => {
                    let mut depth = 0;
                    let mut item = true;
                    for (i, c) in group.char_indices() {
                        match c {
                            '{' => depth += 1,
                            '}' if depth == 0 => break,
                            '}' => depth -= 1,
                            ',' if depth == 0 => item = true,
                            c if item && !c.is_whitespace() => {
                                found.push((line, word(&group[i..])));
                                item = false;
                            }
                            _ => {}
                        }
                    }
                }
            }
        }
    }
    found
}

#[test]
fn folders_import_only_upwards() {
    let chain = chain();
    let rank: BTreeMap<&str, usize> = chain.iter().enumerate().map(|(i, name)| (name.as_str(), i)).collect();
    // Everywhere: constants, kernels, and what stands at the root of the crate (a macro, the crate's own name).
    let free = ["units", "maths", "wide", ""];
    let mut wrong = Vec::new();
    let mut files = Vec::new();
    sources(Path::new("src"), &mut files);
    assert!(files.len() > 20);
    for file in files {
        let name = file.strip_prefix("src").expect("below src").to_string_lossy().replace('\\', "/");
        let folder = name.split(['/', '.']).next().unwrap_or("").to_string();
        if ["lib", "main", "cli"].contains(&folder.as_str()) {
            continue;
        }
        let text = code(&fs::read_to_string(&file).expect("a source file"));
        for (line, target) in imports(&text) {
            if target == folder || free.contains(&target.as_str()) {
                continue;
            }
            let allowed = match (folder.as_str(), rank.get(folder.as_str()), rank.get(target.as_str())) {
                ("units" | "maths", _, _) => false,
                // Tables hold columns for those who report, and know no physics.
                ("tables", _, _) => false,
                (_, Some(&own), _) if target == "tables" => own > rank["energy"],
                (_, Some(&own), Some(&other)) => other < own,
                _ => false,
            };
            if !allowed {
                wrong.push(format!("src/{name}:{line}: {folder} uses {target}"));
            }
        }
    }
    assert!(wrong.is_empty(), "a folder may use only itself, units, maths and folders above it:\n{}", wrong.join("\n"));
}

/// From `sun` to `energy` there is no file system, clock, thread or data-frame library. `job/load.rs` is the one file
/// that reads from disk; everything else takes bytes.
#[test]
fn the_core_touches_nothing_outside() {
    let banned = [
        ("std::fs", "the file system"),
        ("std::thread", "threads"),
        ("std::net", "the network"),
        ("std::env", "the environment"),
        ("std::time", "the clock"),
        ("rayon", "threads"),
        ("polars", "data frames"),
        ("Local::now", "the clock"),
        ("Utc::now", "the clock"),
        ("SystemTime", "the clock"),
        ("println!", "the console"),
    ];
    let mut wrong = Vec::new();
    for folder in ["sun", "plane", "roof", "module", "plant", "job", "energy"] {
        let mut files = Vec::new();
        sources(&Path::new("src").join(folder), &mut files);
        for file in files {
            let name = file.to_string_lossy().replace('\\', "/");
            if name == "src/job/load.rs" || name.ends_with("tests.rs") {
                continue;
            }
            let text = code(&fs::read_to_string(&file).expect("a source file"));
            // Tests below the code may do as they like.
            let text = text.split("#[cfg(test)]\nmod tests {").next().unwrap_or("");
            for (word, what) in banned {
                for (at, _) in text.match_indices(word) {
                    let line = text[..at].matches('\n').count() + 1;
                    wrong.push(format!("{name}:{line}: {word} ({what})"));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "the core takes columns and returns columns:\n{}", wrong.join("\n"));
}

#[test]
fn the_reader_of_imports_sees_groups() {
    let text = "use crate::{plane::X, weigh::{a, b}, units};\nfn f() { crate::energy::go() }\nuse mycrate::sun;\n";
    let names: Vec<String> = imports(text).into_iter().map(|(_, n)| n).collect();
    assert_eq!(names, ["plane", "weigh", "units", "energy"]);
}
