//! Commands: one file each, no physics. This file reads the command line, prints errors and sets the exit code.
//!
//! A command is a struct of arguments and `run(args) -> CliResult`; it prints its answer with [`print`], what it is
//! doing with [`say`], and returns an [`Outcome`]. To add one: its file, a variant of `Command`, a line in
//! `Command::run`.
// The docs of arguments are help texts for a terminal, not HTML.
#![allow(rustdoc::invalid_html_tags)]

mod climate;
mod diff;
mod fleet;
mod gather;
mod inspect;
mod meter;
mod sky;
mod start;
mod string;
mod system;
mod typical;
mod vet;
#[doc(hidden)]
pub mod weather_file;
mod weigh;

pub use weigh::Weighed;

use std::error::Error;
use std::io::{self, Write};
use std::process::ExitCode;

use argh::FromArgs;

/// How a command that could do its work ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Exit code 0.
    Done,
    /// A check says no (strings not allowed, weather not to be used, a record inconsistent): exit code 1.
    SaysNo,
    /// Done, but some sites of a fleet were refused: exit code 3.
    SomeRefused,
}

/// What a command returns; an error is printed with its chain and gives exit code 1.
pub type CliResult = Result<Outcome, Box<dyn Error>>;

/// Weighs competing solar modules at one site: an hour-by-hour year for each, what differs, why, and how sure that is.
#[derive(FromArgs, Debug)]
#[argh(
    example = "{command_name} start my-roof\n{command_name} weigh my-roof/job.toml",
    note = "Exit codes: 0 done; 1 bad input, or a check that says no; 2 wrong usage; 3 done, some sites refused.\n\
            {command_name} <command> --help shows the options of a command."
)]
struct Arguments {
    /// print the version
    #[argh(switch)]
    version: bool,

    #[argh(subcommand)]
    command: Option<Command>,
}

#[derive(FromArgs, Debug)]
#[argh(subcommand)]
enum Command {
    Weigh(weigh::WeighArgs),
    Fleet(fleet::FleetArgs),
    Gather(gather::GatherArgs),
    Start(start::StartArgs),
    Inspect(inspect::InspectArgs),
    Sky(sky::SkyArgs),
    Typical(typical::TypicalArgs),
    String(string::StringArgs),
    Vet(vet::VetArgs),
    Diff(diff::DiffArgs),
    Climate(climate::ClimateArgs),
    Meter(meter::MeterArgs),
}

/// Names of all commands, for the hint at a misspelled one.
const COMMANDS: &[&str] =
    &["weigh", "fleet", "gather", "string", "vet", "inspect", "sky", "typical", "climate", "meter", "diff", "start"];

impl Command {
    fn run(self) -> CliResult {
        match self {
            Command::Weigh(args) => weigh::run(args),
            Command::Fleet(args) => fleet::run(args),
            Command::Gather(args) => gather::run(args),
            Command::Start(args) => start::run(args),
            Command::Inspect(args) => inspect::run(args),
            Command::Sky(args) => sky::run(args),
            Command::Typical(args) => typical::run(args),
            Command::String(args) => string::run(args),
            Command::Vet(args) => vet::run(args),
            Command::Diff(args) => diff::run(args),
            Command::Climate(args) => climate::run(args),
            Command::Meter(args) => meter::run(args),
        }
    }
}

/// The program: arguments in, exit code out.
pub fn main() -> ExitCode {
    system::keep_memory();
    let mut words = Vec::new();
    for word in std::env::args_os().skip(1) {
        match word.into_string() {
            Ok(word) => words.push(word),
            Err(word) => {
                complain(&format!("The argument {} is not UTF-8.", word.to_string_lossy()));
                return ExitCode::from(2);
            }
        }
    }
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let arguments = match Arguments::from_args(&["yearlight"], &words) {
        Ok(arguments) => arguments,
        Err(exit) if exit.status.is_ok() => return finish(print(&exit.output).map(|()| Outcome::Done)),
        Err(exit) => {
            complain(&usage(exit.output.trim_end(), words.first().copied()));
            return ExitCode::from(2);
        }
    };
    if arguments.version {
        return finish(print(concat!("yearlight ", env!("CARGO_PKG_VERSION"))).map(|()| Outcome::Done));
    }
    match arguments.command {
        Some(command) => finish(command.run()),
        None => {
            complain("No command is given.\n\nRun yearlight --help for the list.");
            ExitCode::from(2)
        }
    }
}

/// A usage error, with a hint where the command is misspelled.
fn usage(message: &str, first: Option<&str>) -> String {
    let near = first
        .filter(|w| !COMMANDS.contains(w) && !w.starts_with('-'))
        .and_then(|word| COMMANDS.iter().find(|c| strsim::damerau_levenshtein(c, word) <= 2).map(|c| (word, c)));
    match near {
        Some((word, command)) => format!("There is no command {word}. Did you mean {command}?"),
        None => match first.filter(|w| COMMANDS.contains(w)) {
            Some(command) => format!("{message}\n\nRun yearlight {command} --help for its options."),
            None => format!("{message}\n\nRun yearlight --help for the list of commands."),
        },
    }
}

fn finish(result: CliResult) -> ExitCode {
    match result {
        Ok(Outcome::Done) => ExitCode::SUCCESS,
        Ok(Outcome::SaysNo) => ExitCode::from(1),
        Ok(Outcome::SomeRefused) => ExitCode::from(3),
        // The reader of a pipe went away: it has what it wanted.
        Err(e) if broken_pipe(e.as_ref()) => ExitCode::SUCCESS,
        Err(e) => {
            complain(&chain(e.as_ref()));
            ExitCode::from(1)
        }
    }
}

fn broken_pipe(e: &(dyn Error + 'static)) -> bool {
    e.downcast_ref::<io::Error>().is_some_and(|e| e.kind() == io::ErrorKind::BrokenPipe)
}

/// An error and what lies behind it, each said once: what the program prints.
pub fn chain(e: &(dyn Error + 'static)) -> String {
    let mut text = e.to_string();
    let mut cause = e.source();
    while let Some(e) = cause {
        let more = e.to_string();
        if !text.contains(&more) {
            text.push_str("\n  Cause: ");
            text.push_str(&more);
        }
        cause = e.source();
    }
    text
}

/// To standard error; nothing can be done when even that fails. Names of files may hold what a terminal obeys.
fn complain(text: &str) {
    let lines: Vec<String> = text.split('\n').map(crate::units::clean).collect();
    let _ = writeln!(anstream::stderr(), "{}", lines.join("\n"));
}

/// Prints a value as JSON.
pub fn print_json(value: &impl serde::Serialize) -> Result<(), Box<dyn Error>> {
    print(&crate::report::json_text(value)?)
}

/// Prints an answer and a line end to standard output, without colour codes where they would not be shown.
pub fn print(text: &str) -> Result<(), Box<dyn Error>> {
    let text = format!("{}\n", text.trim_end_matches('\n'));
    let stdout = std::io::stdout();
    if anstream::AutoStream::choice(&stdout) == anstream::ColorChoice::Never {
        // In one piece: the stream of `anstream` would write line by line.
        let mut out = stdout.lock();
        out.write_all(crate::report::console::plain(&text).as_bytes())?;
        return Ok(out.flush()?);
    }
    let mut out = anstream::stdout().lock();
    out.write_all(text.as_bytes())?;
    out.flush()?;
    Ok(())
}

/// Says on standard error what is being done, unless the user asked for quiet.
pub fn say(quiet: bool, text: &str) {
    if !quiet {
        complain(text);
    }
}
