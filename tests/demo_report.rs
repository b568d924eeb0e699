//! The committed demo report is what the program makes today.
//!
//! After a change that moves it: `YEARLIGHT_ACCEPT=1 cargo test --test demo_report`, look at it, commit it.

use std::path::Path;
use std::process::Command;

const JOB: &str = "configs/merrowby-school.toml";
const COMMITTED: &str = "reports/merrowby-school/report.html";

/// Runs the program; gives what it printed and the page it wrote.
fn weigh(job: &str) -> (String, String) {
    let out = tempfile::tempdir().unwrap();
    let run = Command::new(env!("CARGO_BIN_EXE_yearlight"))
        .args(["weigh", job, "--out"])
        .arg(out.path())
        .arg("--quiet")
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let page = std::fs::read_to_string(out.path().join("report.html")).unwrap();
    (String::from_utf8(run.stdout).unwrap(), page)
}

#[test]
fn the_committed_demo_report_is_not_stale() {
    let (text, page) = weigh(JOB);
    for line in text.lines() {
        assert!(yearlight::report::words::columns(line) <= 80, "{line}");
    }
    assert!(!text.contains('\u{1b}'), "no colour when piped");
    assert!(page.len() < 1_000_000, "{} bytes", page.len());
    let committed = Path::new(env!("CARGO_MANIFEST_DIR")).join(COMMITTED);
    if std::env::var_os("YEARLIGHT_ACCEPT").is_some() {
        std::fs::create_dir_all(committed.parent().unwrap()).unwrap();
        std::fs::write(&committed, &page).unwrap();
    }
    let how = "see the head of tests/demo_report.rs";
    let old = std::fs::read_to_string(&committed).unwrap_or_else(|e| panic!("{COMMITTED}: {e}; {how}"));
    let place = page.lines().zip(old.lines()).position(|(a, b)| a != b);
    assert!(page == old, "{COMMITTED} is stale, first at line {:?}; {how}", place.map(|line| line + 1));
}

#[test]
fn german_speaks_german() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(root.join(JOB)).unwrap();
    let at = |path: &str| root.join(path).display().to_string().replace('\\', "/");
    let text = text
        .replace("[proposal]", "[proposal]\nlanguage = \"de\"")
        .replace("\"merrowby-parts.toml\"", &format!("\"{}\"", at("configs/merrowby-parts.toml")))
        .replace("\"../weather/", &format!("\"{}/", at("weather")));
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("schule.toml");
    std::fs::write(&job, text).unwrap();
    let (text, page) = weigh(&job.display().to_string());
    for word in ["Die Antwort in fünf Zeilen", "Warnhinweise", "Energie nach Monaten"] {
        assert!(page.contains(word), "{word}");
    }
    assert!(text.contains("Energie im ersten Jahr") && text.contains("Monat für Monat"));
    for word in ["The answer", "Cautions", "Energy by", "In-plane", "Clipped", "Low light"] {
        assert!(!page.contains(word), "English in the German page: {word}");
    }
}
