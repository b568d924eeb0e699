//! The same bytes whatever the instruction set: the whole command under each level that this processor has.

use std::path::Path;
use std::process::Command;

/// Everything that `weigh` prints and writes, by file name.
fn outputs(job: &str, level: &str) -> Vec<(String, Vec<u8>)> {
    let out = tempfile::tempdir().unwrap();
    let run = Command::new(env!("CARGO_BIN_EXE_yearlight"))
        .args(["weigh", job, "--quiet", "--hours", "--out"])
        .arg(out.path())
        .env("YEARLIGHT_LEVEL", level)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert!(run.status.success(), "{job} at level {level}: {}", String::from_utf8_lossy(&run.stderr));
    let mut found = Vec::new();
    collect(out.path(), out.path(), &mut found);
    found.sort();
    // The folder's own name differs from run to run.
    let folder = out.path().display().to_string();
    let printed = String::from_utf8_lossy(&run.stdout).replace(&folder, "OUT");
    found.push(("what is printed".into(), printed.into_bytes()));
    found
}

fn collect(root: &Path, folder: &Path, found: &mut Vec<(String, Vec<u8>)>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(root, &path, found);
        } else {
            let name = path.strip_prefix(root).unwrap().display().to_string();
            found.push((name, std::fs::read(&path).unwrap()));
        }
    }
}

#[test]
fn every_instruction_set_writes_the_same_bytes() {
    for job in ["configs/merrowby-school.toml", "configs/two-skies/hot.toml"] {
        let plain = outputs(job, "plain");
        assert!(plain.len() > 2, "{job} wrote nothing");
        // An empty name leaves the choice to the program: the widest set that the processor has.
        for level in ["avx2", ""] {
            let other = outputs(job, level);
            let names = |o: &[(String, Vec<u8>)]| o.iter().map(|(name, _)| name.clone()).collect::<Vec<_>>();
            assert_eq!(names(&plain), names(&other), "{job} at level \"{level}\"");
            for ((name, a), (_, b)) in plain.iter().zip(&other) {
                assert!(a == b, "{job}: {name} differs between level plain and \"{level}\"");
            }
        }
    }
}
