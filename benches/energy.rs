//! The whole chain: one site and one, three or four options, from arrays and from the bytes of an EPW file.
//!
//! `cargo bench --no-default-features --bench energy`. Every figure is to be read as a ratio to `read_by_csv_crate` or
//! to `read_and_check` of the same run.

mod common;

use std::path::Path;

use divan::{Bencher, black_box};
use rayon::prelude::*;
use yearlight::energy::{Lights, OptionYear, Plan, Scratch, SiteLight, open_energy, run, run_under};
use yearlight::job::{Job, from_text};
use yearlight::plane::{Sky, SkyModel, Skyline};
use yearlight::sky;
use yearlight::sun::SunTrack;
use yearlight::weather::WeatherYear;

fn main() {
    common::keep_memory();
    divan::main();
}

/// A job on one open plane with this many options, of three modules in turn.
fn job(options: usize) -> Job {
    let parts = include_str!("../configs/merrowby-parts.toml");
    let mut text = String::from(
        "title = \"bench\"\nparts = \"parts.toml\"\n[weather]\nfile = \"w.csv\"\n[[plane]]\nname = \"roof\"\n\
         tilt_deg = 12\nazimuth_deg = 180\n[cable]\none_way_m = 60\narea_mm2 = 4\n",
    );
    for k in 0..options {
        let module = ["P410", "N445", "N435B"][k % 3];
        text.push_str(&format!(
            "[[option]]\ntag = \"O{k}\"\nmodule = \"{module}\"\ninverter = \"K33\"\ntarget_kw = 40\n"
        ));
    }
    text.push_str("[strings]\nt_cold_c = -19\nv_limit = 1000\n");
    let mut loader = |path: &Path| match path.to_str() {
        Some("parts.toml") => Ok(parts.as_bytes().to_vec()),
        _ => Err(std::io::ErrorKind::NotFound.into()),
    };
    from_text("bench.toml", &text, Path::new(""), &mut loader).unwrap_or_else(|e| panic!("{e}"))
}

fn weather() -> WeatherYear {
    common::year()
}

/// The plain way: every record of the file, the needed columns by a fast float parser, nothing checked.
#[divan::bench]
fn read_by_csv_crate(bencher: Bencher) {
    let bytes = common::epw();
    bencher.bench(|| {
        let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(black_box(&bytes[..]));
        let mut record = csv::ByteRecord::new();
        let mut columns: [Vec<f64>; 7] = Default::default();
        let mut line = 0;
        while reader.read_byte_record(&mut record).expect("a record") {
            line += 1;
            if line <= 8 {
                continue;
            }
            for (column, field) in columns.iter_mut().zip([13, 14, 15, 6, 21, 32, 9]) {
                column.push(fast_float2::parse(&record[field]).expect("a number"));
            }
        }
        columns
    });
}

/// Ours: read, complete, check.
#[divan::bench]
fn read_and_check(bencher: Bencher) {
    let bytes = common::epw();
    bencher.bench(|| sky::read_bytes("w.epw", black_box(&bytes), &common::hints()).expect("a year"));
}

#[divan::bench]
fn sun(bencher: Bencher) {
    let weather = weather();
    bencher.bench(|| SunTrack::over(black_box(&weather)));
}

#[divan::bench]
fn sky_of_site(bencher: Bencher) {
    let weather = weather();
    let sun = SunTrack::over(&weather);
    bencher.bench(|| Sky::over(black_box(&weather), &sun, SkyModel::Perez));
}

#[divan::bench]
fn further_plane(bencher: Bencher) {
    let (weather, job) = (weather(), job(1));
    let open = Skyline::new(&[]).expect("open");
    let site = SiteLight::over(&weather, &job.spec.plane, &open, SkyModel::Perez);
    bencher.bench(|| site.plane(black_box(&job.spec.plane[0]), &open));
}

/// One more option on a known plane, account and months included.
#[divan::bench]
fn further_option(bencher: Bencher) {
    let (weather, job) = (weather(), job(1));
    let plan = Plan::of(&job, &weather).expect("a plan");
    let (mut lights, mut scratch) = (Lights::new(&plan.site, &plan.common), Scratch::brief());
    bencher.bench_local(|| run_under(black_box(&plan.options[0].setup), &mut lights, &mut scratch));
}

/// The same behind glass of its own.
#[divan::bench]
fn further_option_and_glass(bencher: Bencher) {
    let (weather, job) = (weather(), job(1));
    let plan = Plan::of(&job, &weather).expect("a plan");
    let mut scratch = Scratch::brief();
    bencher.bench_local(|| run(black_box(&plan.options[0].setup), &plan.site, &plan.common, &mut scratch));
}

/// The same without account, as the split of a gap runs it.
#[divan::bench]
fn further_option_bare(bencher: Bencher) {
    let (weather, job) = (weather(), job(1));
    let plan = Plan::of(&job, &weather).expect("a plan");
    let mut scratch = Scratch::brief();
    bencher.bench_local(|| open_energy(black_box(&plan.options[0].setup), &plan.site, &plan.common, &mut scratch));
}

/// From arrays: sun, sky, plane, options with account; fits of the modules excluded.
#[divan::bench(args = [1, 3, 4])]
fn chain_from_arrays(bencher: Bencher, options: usize) {
    let (weather, job) = (weather(), job(options));
    let plan = Plan::of(&job, &weather).expect("a plan");
    let open = Skyline::new(&[]).expect("open");
    let mut scratch = Scratch::brief();
    bencher.bench_local(|| {
        let site = SiteLight::over(black_box(&weather), &job.spec.plane, &open, SkyModel::Perez);
        let mut lights = Lights::new(&site, &plan.common);
        let mut june = |setup| run_under(setup, &mut lights, &mut scratch).months[5].e_ac_kwh;
        plan.options.iter().map(|o| june(&o.setup)).sum::<f64>()
    });
}

/// Fits of the modules, layouts, string checks: what a plan takes besides the light.
#[divan::bench(args = [1, 3, 4])]
fn set_up(bencher: Bencher, options: usize) {
    let (weather, job) = (weather(), job(options));
    let open = Skyline::new(&[]).expect("open");
    let site = SiteLight::over(&weather, &job.spec.plane, &open, SkyModel::Perez);
    bencher
        .with_inputs(|| site.clone())
        .bench_values(|site| Plan::on(&job, black_box(&weather), site).expect("a plan"));
}

/// From the bytes of the file to months, module fits and string checks included.
fn site(bytes: &[u8], job: &Job) -> Vec<OptionYear> {
    let weather = sky::read_bytes("w.epw", black_box(bytes), &common::hints()).expect("a year");
    Plan::of(job, &weather).expect("a plan").years()
}

#[divan::bench(args = [1, 3, 4])]
fn file_to_months(bencher: Bencher, options: usize) {
    let (bytes, job) = (common::epw(), job(options));
    bencher.bench(|| site(&bytes, &job));
}

/// Fourteen sites with four options each, from bytes to months, on this many threads.
#[divan::bench(args = [1, 2])]
fn fourteen_sites(bencher: Bencher, threads: usize) {
    let (bytes, job) = (common::epw(), job(4));
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
    let sites = || (0..14).into_par_iter().with_max_len(1).map(|_| site(&bytes, &job)).collect::<Vec<_>>();
    bencher.bench_local(|| pool.install(sites));
}
