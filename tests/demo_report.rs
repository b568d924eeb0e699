//! The committed demo report is what the program makes today.
//!
//! After a change that moves it: `YEARLIGHT_ACCEPT=1 cargo test --test demo_report`, look at it, commit it.

use std::sync::OnceLock;

use yearlight::energy::Plan;
use yearlight::report::{self, Proposal, Source, console};
use yearlight::{job, sky, weigh};

const JOB: &str = "configs/merrowby-school.toml";
const COMMITTED: &str = "reports/merrowby-school/report.html";

/// The demo is weighed once for all tests here.
fn proposal() -> Proposal {
    static DEMO: OnceLock<Proposal> = OnceLock::new();
    DEMO.get_or_init(|| weighed(JOB)).clone()
}

fn weighed(path: &str) -> Proposal {
    let job = job::load(std::path::Path::new(path)).unwrap();
    let weather = sky::read(&job.weather_path(), &Default::default()).unwrap();
    let plan = Plan::of(&job, &weather).unwrap();
    let years = plan.years();
    let hours = report::hours(&plan, &weather);
    let study = weigh::study(&job, &weather, &plan).unwrap();
    let command = format!("yearlight weigh {path}");
    Proposal::of(&Source {
        job: &job,
        weather: &weather,
        plan: &plan,
        years: &years,
        hours: &hours,
        study: Some(&study),
        command: &command,
    })
}

#[test]
fn the_committed_demo_report_is_not_stale() {
    let page = report::page(&proposal()).unwrap();
    assert!(page.len() < 1_000_000, "{} bytes", page.len());
    if std::env::var_os("YEARLIGHT_ACCEPT").is_some() {
        std::fs::create_dir_all("reports/merrowby-school").unwrap();
        std::fs::write(COMMITTED, &page).unwrap();
    }
    let committed = std::fs::read_to_string(COMMITTED)
        .unwrap_or_else(|e| panic!("{COMMITTED}: {e}; make it with YEARLIGHT_ACCEPT=1 cargo test --test demo_report"));
    let place = page.lines().zip(committed.lines()).position(|(a, b)| a != b);
    assert!(
        page == committed,
        "{COMMITTED} is stale, first at line {:?}; see the head of tests/demo_report.rs",
        place.map(|line| line + 1)
    );
}

#[test]
fn the_report_takes_a_small_part_of_the_runs_time() {
    let p = proposal();
    report::page(&p).unwrap();
    let start = std::time::Instant::now();
    let page = report::page(&p).unwrap();
    println!("{} bytes in {:?}", page.len(), start.elapsed());
    let text = console::plain(&console::answer(&p, report::Words::english()));
    for line in text.lines() {
        assert!(report::words::columns(line) <= console::WIDTH, "{line}");
    }
    println!("{text}");
}

#[test]
fn german_speaks_german() {
    let mut p = proposal();
    p.language = "de".into();
    let page = report::page(&p).unwrap();
    for word in ["Die Antwort in fünf Zeilen", "Warnhinweise", "Energie nach Monaten"] {
        assert!(page.contains(word), "{word}");
    }
    for word in ["The answer", "Cautions", "Energy by", "In-plane", "Clipped", "Low light"] {
        assert!(!page.contains(word), "English in the German page: {word}");
    }
}
