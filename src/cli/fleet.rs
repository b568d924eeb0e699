//! `yearlight fleet FLEET.toml`: many sites, one table.

use std::path::PathBuf;

use argh::FromArgs;

use super::{CliResult, Outcome};

/// Run many sites from one table and a template: streams results to a Parquet data set, reports bad sites, resumes.
#[derive(FromArgs, Debug)]
#[argh(
    subcommand,
    name = "fleet",
    example = "{command_name} configs/merrowby-fleet/fleet.toml",
    note = "Writes fleet.parquet/, refused.csv, summary.json, index.html and, if asked for, fleet.csv to\n\
            reports/<fleet>/. Exit code 3 when some sites were refused. An interrupted run goes on with --resume."
)]
pub struct FleetArgs {
    /// the fleet file
    #[argh(positional)]
    fleet: PathBuf,

    /// folder for the results; reports/<fleet> when left out
    #[argh(option)]
    out: Option<PathBuf>,

    /// keep the parts that an interrupted run has finished
    #[argh(switch)]
    resume: bool,

    /// run share k of n, as k/n, for job arrays; join the shares with: yearlight gather
    #[argh(option)]
    part: Option<String>,

    /// number of threads; all when left out
    #[argh(option)]
    threads: Option<usize>,

    /// say on standard error how long each stage took
    #[argh(switch)]
    timing: bool,

    /// print the summary as JSON
    #[argh(switch)]
    json: bool,

    /// print nothing but the answer
    #[argh(switch)]
    quiet: bool,
}

/// Without Parquet there is nothing to write to.
#[cfg(not(feature = "tables"))]
pub fn run(args: FleetArgs) -> CliResult {
    let path = args.fleet.display();
    Err(format!(
        "{path}: this build has no Parquet, in which a fleet's results are kept.\n  Build with the feature \"tables\"."
    )
    .into())
}

#[cfg(not(feature = "tables"))]
const _: Outcome = Outcome::SomeRefused;

#[cfg(feature = "tables")]
pub use with_tables::{run, show};

#[cfg(feature = "tables")]
mod with_tables {
    use std::sync::atomic::Ordering;
    use std::time::Instant;

    use super::{CliResult, FleetArgs, Outcome};
    use crate::cli::{print, say};
    use crate::fleet::{Fleet, GroupSummary, How, Joined, Ran, Share};
    use crate::report::{self, SiteRow, Words, progress::Progress};
    use crate::tables::write_whole;

    pub fn run(args: FleetArgs) -> CliResult {
        let share = args.part.as_deref().map(str::parse::<Share>).transpose()?;
        let fleet = Fleet::load(&args.fleet)?;
        let out = args.out.clone().unwrap_or_else(|| {
            std::path::Path::new("reports").join(args.fleet.file_stem().unwrap_or("fleet".as_ref()))
        });
        let how = How { resume: args.resume, share, threads: args.threads };
        let sites = fleet.sites_of(share);
        say(
            args.quiet,
            &format!("{sites} sites; results go to {}. An interrupted run goes on with --resume.", out.display()),
        );
        let start = Instant::now();
        let progress = Progress::new(sites as u64, args.quiet, Words::english());
        let ran = fleet.run(&out, &how, &|| progress.add(1))?;
        progress.finish();
        let seconds = start.elapsed().as_secs_f64();
        if args.timing {
            say(false, &timing(&fleet, &ran, seconds));
        }
        match (&ran.joined, share) {
            (Some(joined), _) => show(joined, args.json, args.quiet),
            (None, Some(share)) => {
                say(
                    args.quiet,
                    &format!(
                        "Share {} of {}: {} sites run, {} refused, {} parts kept. When all are done: yearlight gather {}",
                        share.k,
                        share.n,
                        ran.sites - ran.refused,
                        ran.refused,
                        ran.kept,
                        out.display()
                    ),
                );
                Ok(if ran.refused > 0 { Outcome::SomeRefused } else { Outcome::Done })
            }
            (None, None) => Ok(Outcome::Done),
        }
    }

    fn timing(fleet: &Fleet, ran: &Ran, seconds: f64) -> String {
        let stages = fleet.stages();
        let s = |x: &std::sync::atomic::AtomicU64| x.load(Ordering::Relaxed) as f64 * 1e-9;
        format!(
            "{} sites, {} site-options in {seconds:.2} s: {:.0} site-options/s. {} weather files read.\n\
             Time over all threads: job {:.2} s, weather {:.2} s, light and set-up {:.2} s, chain {:.2} s.",
            ran.sites,
            ran.options,
            ran.options as f64 / seconds.max(1e-9),
            ran.reads,
            s(&stages.job),
            s(&stages.weather),
            s(&stages.plan),
            s(&stages.run),
        )
    }

    /// Prints the summary and writes the index page.
    pub fn show(joined: &Joined, json: bool, quiet: bool) -> CliResult {
        let summary = &joined.summary;
        if !joined.index.is_empty() {
            let rows: Vec<SiteRow> = joined
                .index
                .iter()
                .map(|l| SiteRow {
                    site: l.site.clone(),
                    link: None,
                    best: l.best.as_ref().map_or(String::new(), |b| b.0.clone()),
                    kwh: l.best.as_ref().map(|b| b.1),
                    y_f_h: l.best.as_ref().map(|b| b.2),
                    gap_kwh: l.best.as_ref().map(|b| b.3),
                    refused: l.refused.clone(),
                })
                .collect();
            let page = report::fleet_page(&joined.title, &rows, &joined.language, env!("CARGO_PKG_VERSION"))?;
            write_whole(&joined.folder.join("index.html"), page.as_bytes())?;
        }
        if json {
            print(&serde_json::to_string_pretty(summary)?)?;
        } else {
            let mut text = format!("{}: {} sites done, {} refused\n", summary.title, summary.done, summary.refused);
            table(&mut text, "", &summary.options);
            table(&mut text, "country", &summary.countries);
            table(&mut text, "climate", &summary.climates);
            text.push_str(&format!("\nWritten to {}", joined.folder.display()));
            print(&text)?;
        }
        if summary.refused > 0 {
            say(quiet, "");
            for (_, reason) in &joined.refused {
                say(quiet, reason);
            }
            if summary.refused > joined.refused.len() {
                say(quiet, &format!("... and {} more in refused.csv.", summary.refused - joined.refused.len()));
            }
            return Ok(Outcome::SomeRefused);
        }
        Ok(Outcome::Done)
    }

    fn table(text: &mut String, head: &str, lines: &[GroupSummary]) {
        if lines.is_empty() {
            return;
        }
        let width = lines.iter().map(|l| l.group.chars().count()).max().unwrap_or(0).max(head.len());
        let pad = if width > 0 { width + 2 } else { 0 };
        text.push_str(&format!(
            "\n{:pad$}{:<8}{:>6}  {:^26}  {:>9}  {:>6}\n",
            "", "", "", "yield kWh/kW: sites below", "gap", "most"
        ));
        text.push_str(&format!(
            "{head:pad$}{:<8}{:>6}  {:>8} {:>8} {:>8}  {:>9}  {:>6}\n",
            "option", "sites", "10 %", "50 %", "90 %", "kWh/kW", "kWh"
        ));
        for l in lines {
            text.push_str(&format!(
                "{:pad$}{:<8}{:>6}  {:>8.0} {:>8.0} {:>8.0}  {:>+9.1}  {:>6}\n",
                l.group,
                l.option,
                l.sites,
                l.y_f_h.q10,
                l.y_f_h.median,
                l.y_f_h.q90,
                l.gap_kwh_per_kw.median,
                l.best_kwh
            ));
        }
    }
}
