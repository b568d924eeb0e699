//! The README shows what the program prints. `YEARLIGHT_ACCEPT=1` renews the block.

use std::path::Path;
use std::process::Command;

/// From the options table up to the month table: the part of the answer that the README shows.
fn shown(answer: &str) -> String {
    let end = answer.find("\nThe account").unwrap_or(answer.len());
    answer[..end].trim_end().to_string()
}

#[test]
fn the_demo_in_the_readme_is_what_the_program_prints() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let out = tempfile::tempdir().unwrap();
    let run = Command::new(env!("CARGO_BIN_EXE_yearlight"))
        .current_dir(root)
        .args(["weigh", "configs/merrowby-school.toml", "--quiet", "--out"])
        .arg(out.path())
        .output()
        .unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let printed = shown(&String::from_utf8(run.stdout).unwrap());
    let path = root.join("README.md");
    let readme = std::fs::read_to_string(&path).unwrap();
    let from = readme.find("```text\n").expect("a block") + "```text\n".len();
    let to = from + readme[from..].find("```").expect("its end");
    if std::env::var_os("YEARLIGHT_ACCEPT").is_some() {
        std::fs::write(&path, format!("{}{printed}\n{}", &readme[..from], &readme[to..])).unwrap();
        return;
    }
    assert_eq!(readme[from..to].trim_end(), printed, "renew with YEARLIGHT_ACCEPT=1");
}
