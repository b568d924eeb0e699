//! `yearlight fleet FLEET.toml`: many sites, one table.

use std::path::PathBuf;

use argh::FromArgs;

use super::{CliResult, Outcome};

/// Run many sites from one table and a template: streams results to a Parquet data set, reports bad sites, resumes.
#[derive(FromArgs, Debug)]
#[cfg_attr(not(feature = "tables"), allow(dead_code))]
#[argh(
    subcommand,
    name = "fleet",
    example = "{command_name} configs/merrowby-fleet/fleet.toml",
    note = "Writes fleet.parquet/, refused.csv, summary.json, index.html and, if asked for, fleet.csv to\n\
            reports/<fleet>/. Exit code 3 when some sites were refused. An interrupted run goes on with --resume.\n\
            The page of one site, before or after the run: {command_name} FLEET.toml --page \"Town hall\""
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

    /// write the whole proposal page of this one site into the folder, and link it in the index
    #[argh(option)]
    page: Option<String>,

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
    use std::path::Path;
    use std::sync::atomic::Ordering;
    use std::time::Instant;

    use super::{CliResult, FleetArgs, Outcome};
    use crate::cli::weigh::Weighed;
    use crate::cli::{print, print_json, say};
    use crate::fleet::{Fleet, GroupSummary, How, IndexLine, Joined, PAGES, Ran, Share, index_of, page_stem};
    use crate::report::{self, SiteRow, Words, progress::Progress};
    use crate::tables::{TableError, write_whole};

    pub fn run(args: FleetArgs) -> CliResult {
        let share = args.part.as_deref().map(str::parse::<Share>).transpose()?;
        let fleet = Fleet::load(&args.fleet)?;
        let out = args.out.clone().unwrap_or_else(|| {
            std::path::Path::new("reports").join(args.fleet.file_stem().unwrap_or("fleet".as_ref()))
        });
        if let Some(name) = &args.page {
            return page_of(&fleet, &args, name, &out);
        }
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
        if ran.stale > 0 {
            let parts = if ran.stale == 1 { "1 part was".to_string() } else { format!("{} parts were", ran.stale) };
            say(args.quiet, &format!("{parts} run again: weather files behind them have changed since."));
        }
        let seconds = start.elapsed().as_secs_f64();
        if args.timing {
            say(false, &timing(&fleet, &ran, seconds));
        }
        // The process ends: to give all this back piece by piece would serve nobody.
        std::mem::forget(fleet);
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

    /// Weighs one site by itself and writes its page; numbers are those of its row.
    fn page_of(fleet: &Fleet, args: &FleetArgs, name: &str, out: &Path) -> CliResult {
        if args.resume || args.part.is_some() {
            return Err("--page makes the page of one site; expected it without --resume and --part.".into());
        }
        let site = fleet.one(name)?;
        let file = format!("{}.html", page_stem(site.row, &site.name));
        let quoted = if name.chars().all(|c| c.is_alphanumeric() || "-_.".contains(c)) {
            name.to_string()
        } else {
            format!("'{}'", name.replace('\'', "'\\''"))
        };
        let command = format!("yearlight fleet {} --page {quoted}", args.fleet.display());
        let weighed = Weighed::with(site.job, site.weather, &[])?;
        let proposal = weighed.proposal(&command);
        let html = report::page(&proposal)?;
        let folder = out.join(PAGES);
        std::fs::create_dir_all(&folder).map_err(|source| TableError::Write { path: folder.clone(), source })?;
        let path = folder.join(file);
        write_whole(&path, html.as_bytes())?;
        // The results in the folder may be of another run, or of none.
        let linked = match index_of(out)? {
            Some((manifest, lines)) if manifest == *fleet.manifest() => {
                write_index(out, &manifest.title, &manifest.language, &lines)?;
                true
            }
            _ => false,
        };
        if args.json {
            print_json(&weighed.run_record(&proposal.notes))?;
        } else {
            let words = Words::of(&proposal.language).unwrap_or(Words::english());
            print(&report::console::answer(&proposal, words))?;
        }
        let index = out.join("index.html");
        say(args.quiet, &format!("\nWritten to {}", path.display()));
        if linked {
            say(args.quiet, &format!("Linked in {}", index.display()));
        } else {
            say(
                args.quiet,
                "There is no index of this fleet yet; a run of all sites makes one with a link to this page.",
            );
        }
        Ok(Outcome::Done)
    }

    fn write_index(
        folder: &Path,
        title: &str,
        language: &str,
        lines: &[IndexLine],
    ) -> Result<(), Box<dyn std::error::Error>> {
        let any_page = folder.join(PAGES).is_dir();
        let rows: Vec<SiteRow> = lines
            .iter()
            .map(|l| {
                let page = format!("{PAGES}/{}.html", page_stem(usize::try_from(l.row).unwrap_or(0), &l.site));
                SiteRow {
                    site: l.site.clone(),
                    link: (any_page && folder.join(&page).exists()).then_some(page),
                    best: l.best.as_ref().map_or(String::new(), |b| b.0.clone()),
                    kwh: l.best.as_ref().map(|b| b.1),
                    y_f_h: l.best.as_ref().map(|b| b.2),
                    gap_kwh: l.best.as_ref().map(|b| b.3),
                    refused: l.refused.clone(),
                }
            })
            .collect();
        let page = report::fleet_page(title, &rows, language, env!("CARGO_PKG_VERSION"))?;
        Ok(write_whole(&folder.join("index.html"), page.as_bytes())?)
    }

    fn timing(fleet: &Fleet, ran: &Ran, seconds: f64) -> String {
        let stages = fleet.stages();
        let s = |x: &std::sync::atomic::AtomicU64| x.load(Ordering::Relaxed) as f64 * 1e-9;
        format!(
            "{} sites, {} site-options in {seconds:.2} s: {:.0} site-options/s. {} weather files read.\n\
             Time over all threads: job {:.3} s, weather {:.3} s, light and set-up {:.3} s, chain {:.3} s.",
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
            write_index(&joined.folder, &joined.title, &joined.language, &joined.index)?;
        }
        if json {
            print_json(summary)?;
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
