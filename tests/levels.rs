//! The same bytes whatever the instruction set, the number of threads, the language and the time zone of the machine: the
//! whole command under each.

use std::path::Path;
use std::process::Command;

/// Everything that `weigh` prints and writes, by file name, under some variables of the environment.
fn outputs(job: &str, variables: &[(&str, &str)]) -> Vec<(String, Vec<u8>)> {
    let out = tempfile::tempdir().unwrap();
    let run = Command::new(env!("CARGO_BIN_EXE_yearlight"))
        .args(["weigh", job, "--quiet", "--hours", "--out"])
        .arg(out.path())
        .envs(variables.iter().copied())
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert!(run.status.success(), "{job} under {variables:?}: {}", String::from_utf8_lossy(&run.stderr));
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

/// Runs the jobs plainly and under other variables, and compares every byte.
fn same_bytes(jobs: &[&str], plain: &[(&str, &str)], others: &[&[(&str, &str)]]) {
    for job in jobs {
        let first = outputs(job, plain);
        assert!(first.len() > 2, "{job} wrote nothing");
        for variables in others {
            let other = outputs(job, variables);
            let names = |o: &[(String, Vec<u8>)]| o.iter().map(|(name, _)| name.clone()).collect::<Vec<_>>();
            assert_eq!(names(&first), names(&other), "{job} under {variables:?}");
            for ((name, a), (_, b)) in first.iter().zip(&other) {
                assert!(a == b, "{job}: {name} differs between {plain:?} and {variables:?}");
            }
        }
    }
}

#[test]
fn every_instruction_set_writes_the_same_bytes() {
    // An empty name leaves the choice to the program: the widest set that the processor has.
    same_bytes(
        &["configs/merrowby-school.toml", "configs/two-skies/hot.toml"],
        &[("YEARLIGHT_LEVEL", "plain")],
        &[&[("YEARLIGHT_LEVEL", "avx2")], &[("YEARLIGHT_LEVEL", "")]],
    );
}

#[test]
fn language_time_zone_and_threads_change_nothing() {
    same_bytes(
        &["configs/two-skies/cloudy.toml"],
        &[("LC_ALL", "C"), ("TZ", "UTC"), ("RAYON_NUM_THREADS", "1")],
        &[
            &[
                ("LC_ALL", "de_DE.UTF-8"),
                ("LANG", "de_DE.UTF-8"),
                ("TZ", "Pacific/Chatham"),
                ("RAYON_NUM_THREADS", "2"),
            ],
            &[("LC_ALL", "tr_TR.UTF-8"), ("TZ", "America/St_Johns"), ("RAYON_NUM_THREADS", "7")],
            &[("LC_ALL", ""), ("LANG", ""), ("TZ", ":nowhere"), ("HOME", "/nonexistent"), ("COLUMNS", "40")],
        ],
    );
}
