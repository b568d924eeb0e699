//! `yearlight weigh JOB.toml`: all options of one site.

use std::fmt::Write;
use std::path::PathBuf;

use argh::FromArgs;

use super::{CliResult, Outcome, print, say};
use crate::job;

/// Weigh the options of one job against each other.
#[derive(FromArgs, Debug)]
#[argh(subcommand, name = "weigh", example = "{command_name} configs/merrowby-school.toml")]
pub struct WeighArgs {
    /// the job file, or the run.json of an earlier run
    #[argh(positional)]
    job: PathBuf,

    /// print every input with unit, source, and whether it was given
    #[argh(switch)]
    inputs: bool,

    /// print numbers as JSON
    #[argh(switch)]
    json: bool,

    /// print nothing but the answer
    #[argh(switch)]
    quiet: bool,
}

/// Loads the job and prints its options and inputs.
pub fn run(args: WeighArgs) -> CliResult {
    let job = job::load(&args.job)?;
    for note in job.notes.iter().filter(|n| n.loud) {
        say(args.quiet, &note.text);
    }
    if args.json {
        print(&serde_json::to_string_pretty(&job.record())?)?;
        return Ok(Outcome::Done);
    }
    let mut out = format!("{}\n\n", job.spec.title);
    for option in &job.options {
        let number = option.n_modules.map_or("as many as fit".to_string(), |n| n.to_string());
        let power = option.p_stc_kw().map_or(String::new(), |p| format!("{p:.2} kW, "));
        writeln!(
            out,
            "{}  {power}{number} x {}, {} x {}",
            option.tag, option.module, option.inverters, option.inverter
        )?;
    }
    if args.inputs {
        out.push('\n');
        for line in job.ledger() {
            let source = line.source.unwrap_or_else(|| "no source given".to_string());
            let given = if line.given { "given" } else { "default" };
            writeln!(out, "{} = {} {} ({given}; {source})", line.path, line.value, line.unit)?;
        }
    }
    print(&out)?;
    Ok(Outcome::Done)
}
