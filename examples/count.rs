//! Runs one part of the work a fixed number of times, so that the instructions of a part can be counted.
//!
//! `count PART TIMES`; `.ci/checks/instructions.sh` takes the difference of two numbers of times, which leaves out
//! start-up and preparation.

#[path = "../benches/common/mod.rs"]
mod common;

use std::hint::black_box;
use std::path::Path;

use yearlight::energy::{Plan, Scratch, SiteLight, run};
use yearlight::job::{Job, from_text};
use yearlight::plane::{Sky, SkyModel, Skyline};
use yearlight::sky;
use yearlight::sun::SunTrack;
use yearlight::weather::read_raw_bytes;

const PARTS: &str = "raw, parse, sun, sky, plane, option, chain, all";

/// A job on one open plane with four options of three modules; `electrical` goes into each module.
fn job(electrical: &str) -> Job {
    let parts =
        include_str!("../configs/merrowby-parts.toml").replace("low_light = ", &format!("{electrical}low_light = "));
    let mut text = String::from(
        "title = \"count\"\nparts = \"parts.toml\"\n[weather]\nfile = \"w.csv\"\n[[plane]]\nname = \"roof\"\n\
         tilt_deg = 12\nazimuth_deg = 180\n[cable]\none_way_m = 60\narea_mm2 = 4\n",
    );
    for (k, module) in ["P410", "N445", "N435B", "P410"].iter().enumerate() {
        text.push_str(&format!(
            "[[option]]\ntag = \"O{k}\"\nmodule = \"{module}\"\ninverter = \"K33\"\ntarget_kw = 40\n"
        ));
    }
    text.push_str("[strings]\nt_cold_c = -19\nv_limit = 1000\n");
    let mut loader = |path: &Path| match path.to_str() {
        Some("parts.toml") => Ok(parts.as_bytes().to_vec()),
        _ => Err(std::io::ErrorKind::NotFound.into()),
    };
    from_text("count.toml", &text, Path::new(""), &mut loader).unwrap_or_else(|e| panic!("{e}"))
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let (part, times) = match words.as_slice() {
        [part, times] => (part.as_str(), times.parse::<u32>().expect("a number of times")),
        _ => panic!("usage: count PART TIMES, where PART is one of {PARTS}"),
    };
    let bytes = common::epw();
    let weather = sky::read_bytes("w.epw", &bytes, &common::hints()).expect("a year");
    let job = job("");
    let open = Skyline::new(&[]).expect("open");
    let plan = Plan::of(&job, &weather).expect("a plan");
    let sun = SunTrack::over(&weather);
    let site = SiteLight::over(&weather, &job.spec.plane, &open, SkyModel::Perez);
    let mut scratch = Scratch::brief();
    for _ in 0..times {
        match part {
            "raw" => drop(black_box(read_raw_bytes("w.epw", black_box(&bytes), &common::hints()))),
            "parse" => drop(black_box(sky::read_bytes("w.epw", black_box(&bytes), &common::hints()))),
            "sun" => drop(black_box(SunTrack::over(black_box(&weather)))),
            "sky" => drop(black_box(Sky::over(black_box(&weather), &sun, SkyModel::Perez))),
            "plane" => drop(black_box(site.plane(black_box(&job.spec.plane[0]), &open))),
            "option" => drop(black_box(run(black_box(&plan.options[0].setup), &plan.site, &plan.common, &mut scratch))),
            "plan" => drop(black_box(Plan::of(&job, black_box(&weather)))),
            "chain" => {
                let site = SiteLight::over(black_box(&weather), &job.spec.plane, &open, SkyModel::Perez);
                for option in &plan.options {
                    black_box(run(&option.setup, &site, &plan.common, &mut scratch));
                }
            }
            "all" => {
                let weather = sky::read_bytes("w.epw", black_box(&bytes), &common::hints()).expect("a year");
                black_box(Plan::of(&job, &weather).expect("a plan").years());
            }
            other => panic!("\"{other}\" is no part; one of {PARTS}"),
        }
    }
}
