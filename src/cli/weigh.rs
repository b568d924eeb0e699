//! `yearlight weigh JOB.toml`: all options of one site.

use std::path::{Path, PathBuf};

use argh::FromArgs;
use serde_json::json;

use super::{CliResult, Outcome, print, say, weather_file};
use crate::energy::{HourColumns, OptionYear, Plan};
use crate::job::{self, Job, Placed};
use crate::report::view::Proposal;
use crate::report::{self, Words, console, page};
use crate::sky;
use crate::tables::write_whole;
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
        let weather = weather_of(&job)?;
        let placed = job.settle(&weather)?;
        let mut plan = Plan::of(&job, &weather)?;
        plan.notes.extend(sky::shift::label_note(&weather, &plan.site.sun));
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
        if let Some(files) = record.get_mut("files").and_then(serde_json::Value::as_array_mut) {
            files.push(json!({
                "file": self.weather.provenance.file,
                "sha256": self.weather.provenance.sha256,
            }));
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
}

/// The checked weather year of a job, text or Parquet.
pub(crate) fn weather_of(job: &Job) -> Result<WeatherYear, Box<dyn std::error::Error>> {
    let hints = job.read_hints()?;
    Ok(sky::complete(weather_file::read_raw(&job.weather_path(), &hints)?, &hints)?)
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
    #[cfg(feature = "tables")]
    {
        use crate::report::tables;
        use crate::tables::{write_csv, write_parquet};
        let (site, study) = (&weighed.placed.place.name, &weighed.study);
        write_csv(&tables::months(site, study), &out.join("months.csv"))?;
        write_csv(&tables::years(site, study), &out.join("years.csv"))?;
        write_csv(&tables::account(site, study), &out.join("account.csv"))?;
        write_csv(&tables::gaps(site, study), &out.join("gap.csv"))?;
        if hours {
            let tags: Vec<&str> = weighed.years.iter().map(|y| y.tag.as_str()).collect();
            write_parquet(&tables::hours(&tags, &weighed.hours), &out.join("hours.parquet"))?;
        }
    }
    #[cfg(not(feature = "tables"))]
    let _ = (weighed, hours);
    let mut text = serde_json::to_string_pretty(record)?;
    text.push('\n');
    write_whole(&out.join("run.json"), text.as_bytes())?;
    write_whole(&out.join("report.html"), html.as_bytes())?;
    Ok(())
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
