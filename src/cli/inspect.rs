//! `yearlight inspect FILE`: what a weather file is and whether to use it.

use std::fmt::Write;
use std::path::PathBuf;

use argh::FromArgs;

use super::weather_file::{read_raw, write_year};
use super::{CliResult, Outcome, print, print_json, say};
use crate::report::console::paragraph;
use crate::sky::checks::Weight;
use crate::sky::{self, Inspection, Verdict};
use crate::weather::{Period, ReadHints};

/// Look a weather file over: what it is, what is wrong with it, monthly sums.
#[derive(FromArgs, Debug)]
#[argh(
    subcommand,
    name = "inspect",
    example = "{command_name} weather/port-angeles-wa.csv",
    note = "Exit code 1 when the verdict is: do not use."
)]
pub struct InspectArgs {
    /// the weather file
    #[argh(positional)]
    file: PathBuf,

    /// read the file as a job file's [weather] and [site] tables describe it
    #[argh(option)]
    job: Option<PathBuf>,

    /// what a row's time names, when the file's own convention is wrong: ending, beginning or middle
    #[argh(option)]
    label: Option<String>,

    /// write the checked year: FILE.csv in the tidy layout, or FILE.parquet
    #[argh(option)]
    write: Option<PathBuf>,

    /// print everything as JSON
    #[argh(switch)]
    json: bool,

    /// print nothing but the answer
    #[argh(switch)]
    quiet: bool,
}

/// Inspects, prints and writes.
pub fn run(args: InspectArgs) -> CliResult {
    let mut hints = match &args.job {
        Some(job) => crate::job::load(job)?.read_hints()?,
        None => ReadHints::default(),
    };
    hints.period = Period::WholeYears;
    if let Some(label) = &args.label {
        hints.label = Some(label.parse()?);
    }
    let raw = read_raw(&args.file, &hints)?;
    let (found, year) = sky::inspect(raw, &hints);
    if args.json {
        print_json(&found)?;
    } else {
        print(&text(&found))?;
    }
    if let Some(path) = &args.write {
        match &year {
            Some(year) if found.verdict != Verdict::DoNotUse => {
                write_year(year, path)?;
                say(args.quiet, &format!("Wrote {}.", path.display()));
            }
            _ => say(args.quiet, &format!("{} was not written: the verdict is: do not use.", path.display())),
        }
    }
    Ok(if found.verdict == Verdict::DoNotUse { Outcome::SaysNo } else { Outcome::Done })
}

const NAMES: [&str; 12] = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

/// The answer for the terminal, at most 80 columns wide.
fn text(i: &Inspection) -> String {
    let mut out = String::new();
    head(&mut out, i);
    months(&mut out, i);
    checks(&mut out, i);
    if let Some(shift) = &i.shift {
        let side = if shift.minutes > 0.0 { "later" } else { "earlier" };
        let _ = writeln!(out, "Light against sun: {:.0} min {side} than the labels say.", shift.minutes.abs());
        if let Some(fix) = &shift.fix {
            paragraph(&mut out, "  ", fix);
        }
    } else {
        out.push_str("Light against sun: too little clear light to tell a shift.\n");
    }
    if let Some(e) = &i.shift_effect {
        paragraph(
            &mut out,
            "  ",
            &format!(
                "Left as it is, a roof of {} deg to the east gets {:+.1} % light in the year, one to the west {:+.1} %.",
                e.tilt_deg, e.east_pct, e.west_pct
            ),
        );
    }
    for (what, how) in &i.completed {
        paragraph(&mut out, "Made: ", &format!("{what} = {how}"));
    }
    for note in &i.notes {
        paragraph(&mut out, "Note: ", &note.text);
    }
    if let Some(refused) = &i.refused {
        paragraph(&mut out, "Refused: ", refused);
    }
    let _ = write!(out, "Verdict: {}.", i.verdict.words());
    out
}

fn head(out: &mut String, i: &Inspection) {
    let p = &i.place;
    let _ = writeln!(out, "{}", i.file);
    let _ = writeln!(out, "  {}, {} {}", p.name, i.format, i.kind);
    let ns = if p.latitude_deg < 0.0 { "S" } else { "N" };
    let ew = if p.longitude_deg < 0.0 { "W" } else { "E" };
    let (sign, min) = (if p.utc_offset_min < 0 { '-' } else { '+' }, p.utc_offset_min.abs());
    let _ = writeln!(
        out,
        "  {:.3} {ns}, {:.3} {ew}, {:.0} m, UTC{sign}{}:{:02}",
        p.latitude_deg.abs(),
        p.longitude_deg.abs(),
        p.elevation_m,
        min / 60,
        min % 60
    );
    let _ = writeln!(
        out,
        "  {} to {}, {} days, steps of {} min, times name the {}",
        i.first_day, i.last_day, i.days, i.step_min, i.label
    );
    paragraph(out, "  columns: ", &i.columns.join(", "));
    out.push('\n');
}

fn months(out: &mut String, i: &Inspection) {
    let most = i.months.iter().map(|m| m.ghi_kwh_m2).fold(0.0, f64::max).max(1e-9);
    out.push_str("            GHI    DNI    DHI   air C   min   max   wind\n");
    out.push_str("          kWh/m2 kWh/m2 kWh/m2  mean                m/s   GHI\n");
    for m in &i.months {
        let bar = "#".repeat((16.0 * m.ghi_kwh_m2 / most).round() as usize);
        let _ = writeln!(
            out,
            "{} {:<4} {:>6.1} {:>6.1} {:>6.1} {:>6.1} {:>5.0} {:>5.0} {:>6.1}   {bar}",
            NAMES[(m.month as usize - 1).min(11)],
            m.source_year,
            m.ghi_kwh_m2,
            m.dni_kwh_m2,
            m.dhi_kwh_m2,
            m.t_mean_c,
            m.t_min_c,
            m.t_max_c,
            m.wind_m_s
        );
    }
    let y = &i.year;
    let _ = writeln!(
        out,
        "all      {:>6.0} {:>6.0} {:>6.0} {:>6.1} {:>5.0} {:>5.0} {:>6.1}\n",
        y.ghi_kwh_m2, y.dni_kwh_m2, y.dhi_kwh_m2, y.t_mean_c, y.t_min_c, y.t_max_c, y.wind_m_s
    );
}

fn checks(out: &mut String, i: &Inspection) {
    let struck: Vec<_> = i.checks.iter().filter(|c| c.weight > Weight::Fine).collect();
    let _ = writeln!(out, "Checks: {} of {} find nothing of weight.", i.checks.len() - struck.len(), i.checks.len());
    for c in struck {
        let word = match c.weight {
            Weight::Refuse => "do not use",
            Weight::Loud => "warning",
            _ => "note",
        };
        paragraph(out, "  ", &format!("{} ({word}): {} of {}; {}.", c.name, c.count, c.of, c.about));
        for f in &c.first {
            paragraph(out, "    ", &format!("line {}, {}: {}", f.line, f.when, f.found));
        }
        if !c.mend.is_empty() {
            paragraph(out, "    ", &c.mend);
        }
    }
}
