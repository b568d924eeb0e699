//! Weighing: the demo's three options plain, and with split of both gaps, doubt, money, turns.

use std::path::Path;

use yearlight::energy::Plan;
use yearlight::job::{self, Job};
use yearlight::report::{self, view::Proposal};
use yearlight::weather::WeatherYear;
use yearlight::weigh::{best, shapley, study};

fn main() {
    divan::main();
}

fn demo() -> (Job, WeatherYear) {
    let job = job::load(Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/configs/merrowby-school.toml"))).unwrap();
    let weather = yearlight::sky::read(&job.weather_path(), &Default::default()).unwrap();
    (job, weather)
}

fn priced() -> (Job, WeatherYear) {
    let (mut job, weather) = demo();
    job.spec.money.get_or_insert_with(|| {
        toml::from_str("tariff_per_kwh = 0.08\nown_use_per_kwh = 0.22\nload_kwh = 52000\nper_w = 0.35").unwrap()
    });
    (job, weather)
}

/// The chain alone, three options: what the next one is measured against.
#[divan::bench]
fn plain_run_of_three_options(bencher: divan::Bencher) {
    let (job, weather) = demo();
    let plan = Plan::of(&job, &weather).unwrap();
    bencher.bench(|| divan::black_box(&plan).years());
}

/// Split, doubt with 10 000 draws, years, money, turns and bars for three options, on all threads.
#[divan::bench]
fn study_with_draws(bencher: divan::Bencher) {
    let (job, weather) = priced();
    let plan = Plan::of(&job, &weather).unwrap();
    bencher.bench(|| study(divan::black_box(&job), &weather, &plan).unwrap());
}

/// The same with doubt by formula only.
#[divan::bench]
fn study_by_formula(bencher: divan::Bencher) {
    let (mut job, weather) = priced();
    job.spec.uncertainty.draws = 0;
    let plan = Plan::of(&job, &weather).unwrap();
    bencher.bench(|| study(divan::black_box(&job), &weather, &plan).unwrap());
}

/// Job and weather read, planned, and every option run: a whole weigh without the weighing.
#[divan::bench]
fn whole_plain(bencher: divan::Bencher) {
    bencher.bench(|| {
        let (job, weather) = demo();
        Plan::of(&job, &weather).unwrap().years()
    });
}

/// The same with split, doubt, money, turns, claims, hours and the page of the report, as `weigh` does it.
#[divan::bench(args = [0, 10_000])]
fn whole_weigh(bencher: divan::Bencher, draws: u32) {
    bencher.bench(|| {
        let (mut job, weather) = demo();
        job.spec.uncertainty.draws = draws;
        let plan = Plan::of(&job, &weather).unwrap();
        let study = study(&job, &weather, &plan).unwrap();
        let years: Vec<_> = study.options.iter().map(|o| o.year.clone()).collect();
        let hours = report::hours(&plan, &weather);
        let source = report::Source {
            job: &job,
            weather: &weather,
            plan: &plan,
            years: &years,
            hours: &hours,
            study: Some(&study),
            inputs: &job.ledger(),
            command: "bench",
        };
        report::page(&Proposal::of(&source)).unwrap().len()
    });
}

/// Tilt, azimuth, DC/AC ratio and string length: more than two thousand set-ups.
#[divan::bench(sample_count = 3)]
fn search_of_four_axes(bencher: divan::Bencher) {
    let (mut job, weather) = priced();
    let plane = &mut job.spec.plane[0];
    plane.size_m = None;
    plane.obstacles.clear();
    job.spec.search = Some(
        toml::from_str("tilt_deg = [5, 50]\nazimuth_deg = [120, 240]\ndc_ac = [0.9, 1.6]\nstring_length = [16, 23]")
            .unwrap(),
    );
    bencher.bench(|| {
        let found = best(divan::black_box(&job), &weather).unwrap();
        assert!(found.runs > 2000);
        found
    });
}

/// The arithmetic of a split alone: nine groups, 512 values.
#[divan::bench]
fn shapley_of_nine_groups(bencher: divan::Bencher) {
    bencher.bench(|| shapley(9, |mask| f64::from(divan::black_box(mask)).sqrt()));
}
