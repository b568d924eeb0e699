//! `yearlight typical FILE...`: a typical year from several real ones.

use std::fmt::Write;
use std::path::PathBuf;

use argh::FromArgs;

use super::weather_file::{read_raw, write_year};
use super::{CliResult, Outcome, print, print_json, say};
use crate::sky;
use crate::weather::{Period, ReadHints};

/// Assemble a typical year from several real years of one place, and say how far the years differ.
#[derive(FromArgs, Debug)]
#[argh(subcommand, name = "typical", example = "{command_name} 2010.csv 2011.csv 2012.csv --write typical.csv")]
pub struct TypicalArgs {
    /// weather files of one place, each of one or more whole years
    #[argh(positional)]
    files: Vec<PathBuf>,

    /// read the files as a job file's [weather] and [site] tables describe them
    #[argh(option)]
    job: Option<PathBuf>,

    /// where to write the year, FILE.csv or FILE.parquet
    #[argh(option)]
    write: Option<PathBuf>,

    /// print the choice and the spread as JSON
    #[argh(switch)]
    json: bool,

    /// print nothing but the answer
    #[argh(switch)]
    quiet: bool,
}

/// Reads, chooses, prints and writes.
pub fn run(args: TypicalArgs) -> CliResult {
    let mut hints = match &args.job {
        Some(job) => crate::job::load(job)?.read_hints()?,
        None => ReadHints::default(),
    };
    hints.period = Period::WholeYears;
    let mut years = Vec::new();
    for file in &args.files {
        years.extend(sky::split_years(&sky::complete(read_raw(file, &hints)?, &hints)?));
    }
    let typical = sky::assemble(&years)?;
    let sums: Vec<f64> = years.iter().map(|y| y.ghi.iter().sum::<f64>() * y.step_h() / 1000.0).collect();
    let spread = sky::spread(&sums);
    if args.json {
        let json = serde_json::json!({ "choices": typical.choices, "ghi_kwh_m2": spread });
        print_json(&json)?;
    } else {
        let mut out = String::from("month  from  candidates  GHI against the long run\n");
        for c in &typical.choices {
            writeln!(out, "{:>5}  {:>4}  {:>10}  {:>+6.1} %", c.month, c.year, c.candidates, c.ghi_off_pct)?;
        }
        if let Some(s) = &spread {
            writeln!(
                out,
                "GHI of {} years, kWh/m2: least {:.0}, P90 {:.0} by rank and {:.0} by fit, mean {:.0}, most {:.0}; spread {:.1} %.",
                s.years, s.min, s.p90_rank, s.p90_fit, s.mean, s.max, s.sd_pct
            )?;
        }
        print(&out)?;
    }
    if let Some(path) = &args.write {
        write_year(&typical.year, path)?;
        say(args.quiet, &format!("Wrote {}.", path.display()));
    }
    Ok(Outcome::Done)
}
