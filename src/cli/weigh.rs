//! `yearlight weigh JOB.toml`: all options of one site.

use std::path::{Path, PathBuf};

use argh::FromArgs;
use serde_json::json;

use super::{CliResult, Outcome, print, say};
use crate::energy::{HourColumns, OptionYear, Plan};
use crate::job::{self, Job, Placed};
use crate::report::view::Proposal;
use crate::report::{self, Words, console, page};
use crate::sky;
use crate::tables::{Table, write_csv, write_whole};
use crate::weather::WeatherYear;
use crate::weigh::{self, Study};

/// Weigh the options of one job against each other: prints the answer, writes tables and a report.
#[derive(FromArgs, Debug)]
#[argh(
    subcommand,
    name = "weigh",
    example = "{command_name} configs/merrowby-school.toml",
    note = "Writes months.csv, years.csv, account.csv, gap.csv, run.json and report.html to reports/<job>/."
)]
pub struct WeighArgs {
    /// the job file, or the run.json of an earlier run
    #[argh(positional)]
    job: PathBuf,

    /// folder for the results; reports/<job> when left out
    #[argh(option)]
    out: Option<PathBuf>,

    /// also write every hour of every option to hours.parquet
    #[argh(switch)]
    hours: bool,

    /// print every input with unit, source, and whether it was given
    #[argh(switch)]
    inputs: bool,

    /// print numbers as JSON
    #[argh(switch)]
    json: bool,

    /// open the report when it is written
    #[argh(switch)]
    open: bool,

    /// print nothing but the answer
    #[argh(switch)]
    quiet: bool,
}

/// A job, weighed: everything that is printed and written.
pub(crate) struct Weighed {
    pub job: Job,
    pub weather: WeatherYear,
    pub placed: Placed,
    pub plan: Plan,
    pub years: Vec<OptionYear>,
    pub study: Study,
    pub hours: Vec<HourColumns>,
}

impl Weighed {
    /// Reads the weather and runs all options.
    pub fn of(job: Job) -> Result<Weighed, Box<dyn std::error::Error>> {
        let weather = sky::read(&job.weather_path(), &job.read_hints()?)?;
        let placed = job.settle(&weather)?;
        let plan = Plan::of(&job, &weather)?;
        let study = weigh::study(&job, &weather, &plan)?;
        let hours = report::hours(&plan, &weather);
        let years = study.options.iter().map(|o| o.year.clone()).collect();
        Ok(Weighed { job, weather, placed, plan, years, study, hours })
    }

    /// What the console and the report print.
    pub fn proposal(&self, command: &str) -> Proposal {
        let mut proposal = Proposal::of(&report::Source {
            job: &self.job,
            weather: &self.weather,
            plan: &self.plan,
            years: &self.years,
            hours: &self.hours,
            study: Some(&self.study),
            command,
        });
        for note in &self.placed.notes {
            if !proposal.notes.contains(note) {
                proposal.notes.insert(0, note.clone());
            }
        }
        proposal
    }

    /// Everything that went in and came out.
    pub fn run_record(&self, notes: &[crate::units::Note]) -> serde_json::Value {
        let mut record = self.job.record();
        // A run repeated from its record has the weather file among its files already.
        let weather = crate::job::FileDigest {
            file: self.weather.provenance.file.clone(),
            sha256: self.weather.provenance.sha256.clone(),
        };
        if let Some(files) = record.get_mut("files").and_then(serde_json::Value::as_array_mut) {
            files.retain(|f| f.get("file").and_then(serde_json::Value::as_str) != Some(weather.file.as_str()));
            files.push(json!(weather));
        }
        record["weather"] = json!({
            "place": self.weather.place,
            "provenance": self.weather.provenance,
        });
        record["study"] = json!(self.study);
        record["notes"] = json!(notes);
        record["version"] = json!(env!("CARGO_PKG_VERSION"));
        record
    }

    /// `months.csv`: a row per option and month of the first year.
    pub fn months(&self) -> Table {
        let years = &self.years;
        let rows = || years.iter().flat_map(|y| (0..12).map(move |m| (y, m)));
        let number = |f: &dyn Fn(&OptionYear, usize) -> f64| rows().map(|(y, m)| f(y, m)).collect::<Vec<f64>>();
        let site = self.placed.place.name.clone();
        Table::new()
            .text("site", rows().map(|_| site.clone()).collect())
            .text("option", rows().map(|(y, _)| y.tag.clone()).collect())
            .text("module", rows().map(|(y, _)| y.module.clone()).collect())
            .whole("month", rows().map(|(_, m)| m as i64 + 1).collect())
            .number("p_stc_kw", number(&|y, _| y.p_stc_kw))
            .number("h_i_kwh_m2", number(&|y, m| y.months[m].h_i_kwh_m2))
            .number("y_r_h", number(&|y, m| y.months[m].h_i_kwh_m2))
            .number("y_f_h", number(&|y, m| y.months[m].e_ac_kwh / y.p_stc_kw))
            .number("pr", number(&|y, m| ratio(y.months[m].e_ac_kwh / y.p_stc_kw, y.months[m].h_i_kwh_m2)))
            .number("e_dc_kwh", number(&|y, m| y.months[m].e_dc_kwh))
            .number("e_ac_kwh", number(&|y, m| y.months[m].e_ac_kwh))
            .number("clipped_kwh", number(&|y, m| y.months[m].clipped_kwh))
            .number("export_lost_kwh", number(&|y, m| y.months[m].export_lost_kwh))
    }

    /// `years.csv`: a row per option and year of operation.
    pub fn years_table(&self) -> Table {
        let rows = || self.study.options.iter().flat_map(|o| o.years.iter().map(move |y| (o, y)));
        let site = self.placed.place.name.clone();
        Table::new()
            .text("site", rows().map(|_| site.clone()).collect())
            .text("option", rows().map(|(o, _)| o.year.tag.clone()).collect())
            .text("module", rows().map(|(o, _)| o.year.module.clone()).collect())
            .whole("year", rows().map(|(_, y)| i64::from(y.year)).collect())
            .number("p_stc_kw", rows().map(|(o, _)| o.year.p_stc_kw).collect())
            .number("h_i_kwh_m2", rows().map(|(o, _)| o.year.h_i_kwh_m2()).collect())
            .number("y_f_h", rows().map(|(o, y)| y.e_ac_kwh / o.year.p_stc_kw).collect())
            .number("e_ac_kwh", rows().map(|(_, y)| y.e_ac_kwh).collect())
            .number("forecast_pct", rows().map(|(_, y)| y.forecast_pct).collect())
            .number("guarantee_pct", rows().map(|(_, y)| y.guarantee_pct.unwrap_or(f64::NAN)).collect())
    }

    /// `account.csv`: a row per option and effect, nominal energy first and delivered energy last.
    pub fn account(&self) -> Table {
        let (mut option, mut effect, mut kwh, mut share) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        let mut months: Vec<Vec<f64>> = vec![Vec::new(); 12];
        for year in &self.years {
            let nominal: f64 = year.account.nominal_kwh.iter().sum();
            let mut row = |name: String, values: &[f64; 12]| {
                option.push(year.tag.clone());
                effect.push(name);
                let sum: f64 = values.iter().sum();
                kwh.push(sum);
                share.push(100.0 * ratio(sum, nominal));
                for (column, value) in months.iter_mut().zip(values) {
                    column.push(*value);
                }
            };
            row("nominal".to_string(), &year.account.nominal_kwh);
            for line in &year.account.lines {
                row(word(&line.effect), &line.months_kwh);
            }
            row("delivered".to_string(), &year.account.delivered_kwh);
        }
        let mut table = Table::new()
            .text("site", vec![self.placed.place.name.clone(); option.len()])
            .text("option", option)
            .text("effect", effect)
            .number("kwh", kwh)
            .number("pct_of_nominal", share);
        for (m, column) in months.into_iter().enumerate() {
            table = table.number(&format!("kwh_{:02}", m + 1), column);
        }
        table
    }

    /// `gap.csv`: a row per further option and cause, for the first year and for all years.
    pub fn gaps(&self) -> Table {
        let (mut from, mut to, mut span, mut cause) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        let (mut kwh, mut per_kw, mut sentence) = (Vec::new(), Vec::new(), Vec::new());
        for gap in &self.study.gaps {
            for (name, split) in [("first year", &gap.first_year), ("all years", &gap.lifetime)] {
                let Some(split) = split else { continue };
                let mut row = |what: &str, energy: f64, yields: f64, words: &str| {
                    from.push(gap.from.clone());
                    to.push(gap.to.clone());
                    span.push(name.to_string());
                    cause.push(what.to_string());
                    kwh.push(energy);
                    per_kw.push(yields);
                    sentence.push(words.to_string());
                };
                for line in &split.lines {
                    row(&word(&line.group), line.part.kwh, line.part.kwh_per_kw, &line.sentence);
                }
                row("clipping", split.clipping.kwh, split.clipping.kwh_per_kw, &split.clipping_sentence);
                row("export-limit", split.export.kwh, split.export.kwh_per_kw, &split.export_sentence);
                row("gap", split.kwh, split.kwh_per_kw, "");
            }
        }
        Table::new()
            .text("site", vec![self.placed.place.name.clone(); from.len()])
            .text("from", from)
            .text("to", to)
            .text("span", span)
            .text("cause", cause)
            .number("kwh", kwh)
            .number("kwh_per_kw", per_kw)
            .text("sentence", sentence)
    }

    /// `hours.parquet`: a row per option and step.
    #[cfg(feature = "tables")]
    fn hours_table(&self) -> Table {
        let all = || self.plan.options.iter().zip(&self.hours);
        let number =
            |f: &dyn Fn(&HourColumns) -> &Vec<f64>| all().flat_map(|(_, h)| f(h).clone()).collect::<Vec<f64>>();
        let whole = |f: &dyn Fn(&HourColumns) -> &Vec<i64>| all().flat_map(|(_, h)| f(h).clone()).collect::<Vec<i64>>();
        Table::new()
            .text("option", all().flat_map(|(o, h)| vec![o.tag.clone(); h.p_ac.len()]).collect())
            .whole("month", whole(&|h| &h.month))
            .whole("day", whole(&|h| &h.day))
            .whole("minute", whole(&|h| &h.minute))
            .number("ghi", number(&|h| &h.ghi))
            .number("t_amb", number(&|h| &h.t_amb))
            .number("poa", number(&|h| &h.poa))
            .number("g_eff", number(&|h| &h.g_eff))
            .number("t_cell", number(&|h| &h.t_cell))
            .number("p_dc_w", number(&|h| &h.p_dc))
            .number("v_dc", number(&|h| &h.v_dc))
            .number("p_ac_w", number(&|h| &h.p_ac))
            .number("p_clipped_w", number(&|h| &h.p_clipped))
    }
}

fn ratio(x: f64, y: f64) -> f64 {
    if y > 0.0 { x / y } else { 0.0 }
}

/// The word that a record's variant has in files.
fn word(value: &impl serde::Serialize) -> String {
    serde_json::to_value(value).ok().and_then(|v| v.as_str().map(str::to_string)).unwrap_or_default()
}

/// Weighs, prints, writes.
pub fn run(args: WeighArgs) -> CliResult {
    let job = job::load(&args.job)?;
    let out = args.out.clone().unwrap_or_else(|| Path::new("reports").join(&job.name));
    let weighed = Weighed::of(job)?;
    let command = format!("yearlight weigh {}", args.job.display());
    let proposal = weighed.proposal(&command);
    let record = weighed.run_record(&proposal.notes);
    write_results(&weighed, &proposal, &record, &out, args.hours)?;
    if args.json {
        print(&serde_json::to_string_pretty(&record)?)?;
    } else {
        let words = Words::of(&proposal.language).unwrap_or(Words::english());
        print(&console::answer(&proposal, words))?;
        if args.inputs {
            print(&inputs(&weighed.job))?;
        }
    }
    say(args.quiet, &format!("\nWritten to {}", out.display()));
    if args.open {
        open(&out.join("report.html"))?;
    }
    Ok(Outcome::Done)
}

fn write_results(
    weighed: &Weighed,
    proposal: &Proposal,
    record: &serde_json::Value,
    out: &Path,
    hours: bool,
) -> Result<(), Box<dyn std::error::Error>> {
    std::fs::create_dir_all(out).map_err(|source| crate::tables::TableError::Write { path: out.into(), source })?;
    // The page first: if it cannot be made, nothing is written.
    let html = page(proposal)?;
    for (name, table) in [
        ("months.csv", weighed.months()),
        ("years.csv", weighed.years_table()),
        ("account.csv", weighed.account()),
        ("gap.csv", weighed.gaps()),
    ] {
        write_csv(&table, &out.join(name))?;
    }
    if hours {
        write_hours(weighed, &out.join("hours.parquet"))?;
    }
    let mut text = serde_json::to_string_pretty(record)?;
    text.push('\n');
    write_whole(&out.join("run.json"), text.as_bytes())?;
    write_whole(&out.join("report.html"), html.as_bytes())?;
    Ok(())
}

#[cfg(feature = "tables")]
fn write_hours(weighed: &Weighed, path: &Path) -> Result<(), Box<dyn std::error::Error>> {
    Ok(crate::tables::write_parquet(&weighed.hours_table(), path)?)
}

#[cfg(not(feature = "tables"))]
fn write_hours(_: &Weighed, path: &Path) -> Result<(), Box<dyn std::error::Error>> {
    Err(format!("{}: this build writes no Parquet.\n  Build with the feature \"tables\".", path.display()).into())
}

fn inputs(job: &Job) -> String {
    let mut out = String::new();
    for line in job.ledger() {
        let source = line.source.unwrap_or_else(|| "no source given".to_string());
        let given = if line.given { "given" } else { "default" };
        out.push_str(&format!("{} = {} {} ({given}; {source})\n", line.path, line.value, line.unit));
    }
    out
}

/// Opens a file with the system's own viewer.
fn open(path: &Path) -> Result<(), Box<dyn std::error::Error>> {
    let (program, first): (&str, &[&str]) = if cfg!(target_os = "windows") {
        ("cmd", &["/C", "start", ""])
    } else if cfg!(target_os = "macos") {
        ("open", &[])
    } else {
        ("xdg-open", &[])
    };
    let started = std::process::Command::new(program).args(first).arg(path).spawn();
    match started {
        Ok(_) => Ok(()),
        Err(_) => {
            say(false, &format!("No viewer was found; open {} in a browser.", path.display()));
            Ok(())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn write(job: Job, out: &Path) {
        let weighed = Weighed::of(job).unwrap();
        let proposal = weighed.proposal("yearlight weigh");
        let record = weighed.run_record(&proposal.notes);
        write_results(&weighed, &proposal, &record, out, false).unwrap();
    }

    #[test]
    fn a_run_repeats_to_the_byte_from_its_record() {
        let dir = tempfile::tempdir().unwrap();
        let (first, again) = (dir.path().join("first"), dir.path().join("again"));
        write(job::load(Path::new("configs/two-skies/cloudy.toml")).unwrap(), &first);
        write(job::load(&first.join("run.json")).unwrap(), &again);
        for name in ["run.json", "months.csv", "years.csv", "account.csv", "gap.csv", "report.html"] {
            let read = |folder: &Path| std::fs::read(folder.join(name)).unwrap();
            assert!(read(&first) == read(&again), "{name} differs");
        }
    }
}
