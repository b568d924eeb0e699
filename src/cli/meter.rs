//! `yearlight meter JOB.toml METER.csv`: the first metered months against the model.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::{Path, PathBuf};

use argh::FromArgs;

use super::weather_file::read_raw;
use super::{CliResult, Outcome, print, print_json};
use crate::energy::{HourColumns, Plan, Scratch, run as run_chain};
use crate::job::{self, Job};
use crate::report::console::wrap;
use crate::sky;
use crate::tables::{Table, write_csv};
use crate::weather::{Label, Period, ReadHints, WeatherYear};
use crate::weigh::meter::{self, Expected, MeterDoubt, MeterStudy, Readings, Rhythm};
use crate::weigh::{self, Span};

/// Hold the first metered months against the model: ratio, availability, and the smallest fault they could reveal.
#[derive(FromArgs, Debug)]
#[argh(
    subcommand,
    name = "meter",
    example = "{command_name} job.toml meter.csv --weather measured.csv --option B",
    note = "METER.csv has the columns time (2026-03-01T13:00, 2026-03-01 or 2026-03, local standard time) and kwh, the\n\
            energy of each interval. Without --weather the job's typical year stands in, with a wider band."
)]
pub struct MeterArgs {
    /// the job file, or the run.json of a run
    #[argh(positional)]
    job: PathBuf,

    /// the readings
    #[argh(positional)]
    meter: PathBuf,

    /// tag of the option that was built; the first when left out
    #[argh(option)]
    option: Option<String>,

    /// measured weather of the same time; whole days, a part of a year will do
    #[argh(option)]
    weather: Option<PathBuf>,

    /// which end of its interval an hour's time names: beginning (the default), middle or ending
    #[argh(option)]
    label: Option<String>,

    /// standard uncertainty of the measured light, percent; 3 when left out
    #[argh(option, default = "3.0")]
    light_doubt_pct: f64,

    /// percent of installed power that the model must expect before no output counts as a fault; 5 when left out
    #[argh(option, default = "5.0")]
    dead_from_pct: f64,

    /// write the months to this CSV
    #[argh(option)]
    write: Option<PathBuf>,

    /// print numbers as JSON
    #[argh(switch)]
    json: bool,

    /// print nothing but the answer
    #[argh(switch)]
    quiet: bool,
}

/// Largest table of readings, bytes: two years of one-minute rows.
const MAX_BYTES: u64 = 64 << 20;

/// Reads, compares, prints.
pub fn run(args: MeterArgs) -> CliResult {
    let _ = args.quiet;
    for (name, value, most) in
        [("light-doubt-pct", args.light_doubt_pct, 30.0), ("dead-from-pct", args.dead_from_pct, 50.0)]
    {
        if !(0.0..=most).contains(&value) {
            let text = format!("--{name} is {value}; expected 0 to {most}.\n  It is a percentage: 3 means 3 %.");
            return Err(text.into());
        }
    }
    let label: Label = match &args.label {
        None => Label::Beginning,
        Some(word) => word.parse().map_err(|_| {
            format!(
                "--label is {word}; expected beginning, middle or ending.\n  Say which instant of its hour a time names."
            )
        })?,
    };
    let mut job = job::load(&args.job)?;
    only(&mut job, args.option.as_deref())?;
    let typical = super::weigh::weather_of(&job)?;
    job.settle(&typical)?;
    let plan = Plan::of(&job, &typical)?;
    let option = &plan.options[0];
    let conversion = &option.setup.conversion;
    let most_kw = conversion.inverter.p_ac_w() * f64::from(conversion.count) / 1000.0;
    let file = args.meter.display().to_string();
    let bytes = crate::weather::read_up_to(&args.meter, MAX_BYTES).map_err(|e| {
        format!("{file}: cannot be read ({e}); expected a CSV of readings of at most 64 MB.\n  Check the name and that it may be read.")
    })?;
    let text = String::from_utf8(bytes)
        .map_err(|_| format!("{file}: is not UTF-8 text; expected a CSV of readings.\n  Save it as CSV in UTF-8."))?;
    let readings = meter::read(&file, &text, label, most_kw)?;
    let expected = match &args.weather {
        None => meter::on_calendar(&typical, &expected_kwh(&plan, &typical), &readings),
        Some(path) => on_measured(&job, path, &typical)?,
    };
    let doubt = doubt(&job, &typical, &plan, &args)?;
    let Some(study) = meter::compare(&readings, &expected, &doubt) else {
        let span = |days: Vec<chrono::NaiveDate>| {
            days.first().zip(days.last()).map_or("nothing".to_string(), |(a, b)| format!("{a} to {b}"))
        };
        return Err(format!(
            "{file}: the readings run from {}, the weather covers {}; expected days in both with light.\n  Give the \
             weather of the same time with --weather, or leave it out to take the typical year.",
            span(readings.readings.iter().map(|r| r.from.date()).collect()),
            span(expected.days.keys().copied().collect())
        )
        .into());
    };
    if let Some(path) = &args.write {
        write_csv(&table(&study), path)?;
    }
    if args.json {
        let json = serde_json::json!({
            "option": option.tag,
            "rhythm": readings.rhythm,
            "typical_year": expected.typical,
            "study": study,
            "version": env!("CARGO_PKG_VERSION"),
        });
        print_json(&json)?;
    } else {
        print(&answer(&study, &option.tag, &job.spec.title, &readings, expected.typical))?;
    }
    Ok(Outcome::Done)
}

/// Leaves one option in the job, in service all the time: what is out of service shows in the readings.
fn only(job: &mut Job, tag: Option<&str>) -> Result<(), String> {
    let known: Vec<String> = job.options.iter().map(|o| o.tag.clone()).collect();
    let index = match tag {
        None => 0,
        Some(tag) => known.iter().position(|t| t == tag).ok_or_else(|| {
            format!(
                "--option names {tag}; expected one of {}.\n  Name the option that was built, as [[option]] tags it.",
                known.join(", ")
            )
        })?,
    };
    job.options = job.options.iter().skip(index).take(1).cloned().collect();
    job.spec.option = job.spec.option.iter().skip(index).take(1).cloned().collect();
    job.spec.losses.outage_pct = 0.0;
    job.spec.claims = None;
    job.spec.money = None;
    Ok(())
}

/// Energy of every step of the year, kWh, of the plan's only option.
fn expected_kwh(plan: &Plan, weather: &WeatherYear) -> Vec<f64> {
    let mut scratch = Scratch::default();
    let setup = &plan.options[0].setup;
    run_chain(setup, &plan.site, &plan.common, &mut scratch);
    let hours = HourColumns::of(plan, setup, weather, &scratch);
    hours.p_ac.iter().map(|w| w * weather.step_h() / 1000.0).collect()
}

/// The model on the measured days.
fn on_measured(job: &Job, path: &Path, typical: &WeatherYear) -> Result<Expected, Box<dyn std::error::Error>> {
    let full = ReadHints { period: Period::AnyDays, ..job.read_hints()? };
    // A file that describes itself needs the place and the clock at most; else it has the columns of the job's file.
    let plain = ReadHints { label: None, columns: BTreeMap::new(), ..full.clone() };
    let read = |hints: &ReadHints| -> Result<WeatherYear, Box<dyn std::error::Error>> {
        Ok(sky::complete(read_raw(path, hints)?, hints)?)
    };
    let measured = match read(&plain) {
        Ok(year) => year,
        Err(_) if !full.columns.is_empty() => read(&full)?,
        Err(e) => return Err(e),
    };
    job.settle(&measured)?;
    let Some(years) = meter::completed(&measured, typical) else {
        return Err(format!(
            "{}: has {} steps a day, the typical year {}; expected steps of which one divides the other.\n  Give the \
             measured weather by hours or by quarter hours.",
            path.display(),
            measured.steps_per_day,
            typical.steps_per_day
        )
        .into());
    };
    let mut days = BTreeMap::new();
    let per_day = measured.steps_per_day;
    for (year, wanted) in years {
        let mut job = job.clone();
        if !job.load_kw.is_empty() {
            job.load_kw = load_on(&job.load_kw, typical, &year);
        }
        let plan = Plan::of(&job, &year)?;
        let kwh = expected_kwh(&plan, &year);
        for (d, day) in year.days.iter().enumerate() {
            if wanted.contains(day) {
                days.insert(*day, kwh[d * per_day..(d + 1) * per_day].to_vec());
            }
        }
    }
    Ok(Expected { steps_per_day: per_day, days, typical: false })
}

/// The job's load on the days and steps of another year.
fn load_on(load: &[f64], typical: &WeatherYear, year: &WeatherYear) -> Vec<f64> {
    use chrono::Datelike;
    let per_day = typical.steps_per_day;
    let mut out = Vec::with_capacity(year.len());
    for day in &year.days {
        let same = |d: &chrono::NaiveDate| (d.month(), d.day()) == (day.month(), day.day());
        // 29 February of a year that the load does not know: as the day before.
        let i = typical.days.iter().position(same).unwrap_or(58);
        let steps = load.get(i * per_day..(i + 1) * per_day).unwrap_or(&[]);
        out.extend(meter::resampled(steps, year.steps_per_day));
    }
    out
}

/// The job's budget of doubt, less what the measured weather takes away.
fn doubt(
    job: &Job,
    typical: &WeatherYear,
    plan: &Plan,
    args: &MeterArgs,
) -> Result<MeterDoubt, Box<dyn std::error::Error>> {
    let study = weigh::study(job, typical, plan)?;
    let of = |keep: &dyn Fn(&str) -> bool| {
        let parts = study.doubt_inputs.iter().filter(|i| keep(&i.key)).map(|i| i.effect_pct(0, Span::FirstYear));
        parts.map(|x| x * x).sum::<f64>().sqrt()
    };
    let measured = args.weather.is_some();
    let u = of(&|key| key != "year_to_year" && !(measured && key == "long_term"));
    Ok(MeterDoubt {
        u_model_pct: if measured { u.hypot(args.light_doubt_pct) } else { u },
        year_to_year_pct: of(&|key| key == "year_to_year"),
        p_stc_kw: plan.options[0].setup.nameplate.p0_w() / 1000.0,
        dead_from: args.dead_from_pct / 100.0,
    })
}

fn table(study: &MeterStudy) -> Table {
    let months = &study.months;
    Table::new()
        .text("month", months.iter().map(|m| m.month.clone()).collect())
        .number("metered_kwh", months.iter().map(|m| m.metered_kwh).collect())
        .number("expected_kwh", months.iter().map(|m| m.expected_kwh).collect())
        .number("lost_kwh", months.iter().map(|m| m.lost_kwh).collect())
        .text("ratio", months.iter().map(|m| m.ratio.map_or(String::new(), |r| r.to_string())).collect())
        .text("u_pct", months.iter().map(|m| m.u_pct.map_or(String::new(), |u| u.to_string())).collect())
        .text("flags", months.iter().map(|m| m.flags.join("; ")).collect())
}

/// The answer for the terminal, at most 80 columns wide.
fn answer(s: &MeterStudy, tag: &str, title: &str, readings: &Readings, typical: bool) -> String {
    let mut out = String::new();
    let para = |out: &mut String, text: &str| {
        wrap(text, 80).iter().for_each(|line| {
            let _ = writeln!(out, "{line}");
        })
    };
    let rhythm = match readings.rhythm {
        Rhythm::Minutes(m) => format!("every {m} minutes"),
        Rhythm::Days => "by days".into(),
        Rhythm::Months => "by months".into(),
    };
    let sky = if typical { "a typical year, which this time was not" } else { "the measured weather of the same time" };
    para(&mut out, &format!("{title}, option {tag}: {} read {rhythm}, {} to {}", readings.file, s.from, s.to));
    para(&mut out, &format!("against the model on {sky}."));
    out.push('\n');
    let _ = writeln!(out, "{:<34} {:>12.0} kWh", "metered", s.metered_kwh);
    let _ = writeln!(out, "{:<34} {:>12.0} kWh", "expected, always in service", s.expected_kwh);
    if let (Some(availability), Some(unit)) = (s.availability, s.dead_unit) {
        let unit = if s.dead == 1 { unit.trim_end_matches('s') } else { unit };
        let _ = writeln!(out, "{:<34} {:>12.0} kWh  ({} {unit})", "lost without output", s.lost_kwh, s.dead);
        let _ = writeln!(out, "{:<34} {:>12.2} %", "availability by energy", 100.0 * availability);
    }
    let _ = writeln!(out, "{:<34} {:>12.2} %", "metered over expected", 100.0 * s.ratio_all);
    let _ = writeln!(
        out,
        "{:<34} {:>12.1} %   90 % band {:.1} to {:.1} %",
        "the same while in service",
        100.0 * s.ratio,
        100.0 * s.band[0],
        100.0 * s.band[1]
    );
    out.push('\n');
    if let (Some(u), Some(change)) = (s.u_scatter_pct, s.detectable_change_pct) {
        para(
            &mut out,
            &format!(
                "By the meter's own scatter the ratio is known to {u:.2} %; a later fault of {change:.1} % would show by now \
                 (one-sided, 95 %: z u / sqrt(n) with u {:.1} %, n {:.0}).",
                s.u_one_pct.unwrap_or(0.0),
                s.n_free
            ),
        );
    }
    para(
        &mut out,
        &format!(
            "Against the model, whose doubt is {:.1} % with sky and rating, a fault present from the start shows from \
             {:.1} % on.",
            s.u_model_pct, s.detectable_pct
        ),
    );
    let off = 100.0 * (1.0 - s.ratio);
    let verdict = if off > s.detectable_pct {
        "The plant gives less than the model by more than the doubt: look for the cause."
    } else if off < -s.detectable_pct {
        "The plant gives more than the model by more than the doubt: look at meter, weather and inputs."
    } else {
        "What is missing or in excess lies within the doubt."
    };
    para(&mut out, verdict);
    let _ =
        writeln!(out, "\n{:<8} {:>10} {:>10} {:>9} {:>8} {:>7}", "month", "metered", "expected", "lost", "ratio", "u");
    let _ = writeln!(out, "{:<8} {:>10} {:>10} {:>9} {:>8} {:>7}", "", "kWh", "kWh", "kWh", "%", "%");
    for m in &s.months {
        let pct = |x: Option<f64>| x.map_or("-".to_string(), |x| format!("{x:.1}"));
        let flag = if m.flags.is_empty() { "" } else { "  *" };
        let _ = writeln!(
            out,
            "{:<8} {:>10.0} {:>10.0} {:>9.0} {:>8} {:>7}{flag}",
            m.month,
            m.metered_kwh,
            m.expected_kwh,
            m.lost_kwh,
            pct(m.ratio.map(|r| 100.0 * r)),
            pct(m.u_pct)
        );
    }
    for m in s.months.iter().filter(|m| !m.flags.is_empty()) {
        para(&mut out, &format!("* {}: {}.", m.month, m.flags.join("; ")));
    }
    if !s.notes.is_empty() {
        out.push('\n');
        s.notes.iter().for_each(|note| para(&mut out, note));
    }
    out.push('\n');
    para(
        &mut out,
        "DC is live in daylight: opening the plant to look for a fault is for qualified persons. A shortfall within the \
         doubt proves no fault, and two years prove no ageing rate.",
    );
    out.trim_end().to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A job on a sky, its expected hours, and the sky's spring cut out as a measured stretch of 2027.
    fn parts() -> (Job, WeatherYear, tempfile::TempDir) {
        let mut job = job::load(Path::new("configs/two-skies/cloudy.toml")).unwrap();
        only(&mut job, Some("B")).unwrap();
        let typical = super::super::weigh::weather_of(&job).unwrap();
        (job, typical, tempfile::tempdir().unwrap())
    }

    #[test]
    fn a_planted_fault_on_measured_weather_is_found() {
        use chrono::{Datelike, NaiveDate};
        let (job, typical, dir) = parts();
        // Sixty days from 15 March, with the dates of one calendar year.
        let mut part = typical.clone();
        let first = typical.days.iter().position(|d| (d.month(), d.day()) == (3, 15)).unwrap();
        let cut = first * 24..(first + 60) * 24;
        part.days =
            (0..60).map(|d| NaiveDate::from_ymd_opt(2027, 3, 15).unwrap() + chrono::Duration::days(d)).collect();
        for column in [&mut part.ghi, &mut part.dni, &mut part.dhi, &mut part.t_amb, &mut part.wind] {
            *column = column[cut.clone()].to_vec();
        }
        let optional = [
            &mut part.albedo,
            &mut part.pressure,
            &mut part.humidity_pct,
            &mut part.precipitable_water_cm,
            &mut part.rain_mm,
            &mut part.snow_depth_cm,
        ];
        for column in optional.into_iter().flatten() {
            *column = column[cut.clone()].to_vec();
        }
        let weather = dir.path().join("spring.csv");
        super::super::weather_file::write_year(&part, &weather).unwrap();
        let expected = on_measured(&job, &weather, &typical).unwrap();
        assert_eq!(expected.days.len(), 60);
        // The same days of the whole year, but for the sun of another calendar year.
        let plan = Plan::of(&job, &typical).unwrap();
        let whole: f64 = expected_kwh(&plan, &typical)[cut].iter().sum();
        let here: f64 = expected.days.values().flatten().sum();
        assert!((here / whole - 1.0).abs() < 0.003, "{here} {whole}");
        // The meter gives 3 % less, a little noise on every day.
        let mut text = String::from("time,kwh\n");
        for (d, (day, steps)) in expected.days.iter().enumerate() {
            let noise = [0.004, -0.007, 0.009, -0.002, -0.004][d % 5];
            for (h, e) in steps.iter().enumerate() {
                text += &format!("{day}T{h:02}:00,{}\n", e * 0.97 * (1.0 + noise));
            }
        }
        let readings = meter::read("meter.csv", &text, Label::Beginning, 40.0).unwrap();
        let args = ["job.toml", "meter.csv", "--weather", "spring.csv"];
        let args = MeterArgs::from_args(&["meter"], &args).unwrap();
        let doubt = doubt(&job, &typical, &plan, &args).unwrap();
        let study = meter::compare(&readings, &expected, &doubt).unwrap();
        let u = study.u_scatter_pct.unwrap();
        assert!((100.0 * study.ratio - 97.0).abs() < 2.0 * u && u < 0.2, "{study:?}");
        assert!(study.detectable_change_pct.unwrap() < 3.0 && study.band[0] < 0.97 && study.band[1] > 0.97);
        let shown = answer(&study, "B", "Cloudy and cool", &readings, false);
        assert!(shown.lines().all(|l| l.chars().count() <= 80), "{shown}");
        assert!(shown.contains("availability by energy") && shown.contains("97.0 %"), "{shown}");
        // A typical year says so and leaves more doubt.
        let args = MeterArgs::from_args(&["meter"], &["job.toml", "meter.csv"]).unwrap();
        let wide = super::doubt(&job, &typical, &plan, &args).unwrap();
        let year = meter::on_calendar(&typical, &expected_kwh(&plan, &typical), &readings);
        let study_wide = meter::compare(&readings, &year, &wide).unwrap();
        assert!(study_wide.u_pct > 1.3 * study.u_pct, "{} {}", study_wide.u_pct, study.u_pct);
        assert!(answer(&study_wide, "B", "x", &readings, true).contains("typical year"));
        assert!(table(&study).rows() == study.months.len());
    }

    #[test]
    fn an_unknown_option_is_refused_and_a_load_follows_the_calendar() {
        let (mut job, typical, _) = parts();
        assert!(only(&mut job, Some("Z")).unwrap_err().contains("expected one of B"));
        let load: Vec<f64> = (0..typical.len()).map(|i| i as f64).collect();
        assert_eq!(load_on(&load, &typical, &typical), load);
    }
}
