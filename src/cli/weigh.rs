//! `yearlight weigh JOB.toml`: all options of one site.

use std::path::{Path, PathBuf};

use argh::FromArgs;
use rayon::prelude::*;
use serde_json::json;

use super::{CliResult, Outcome, print, print_json, say, system, weather_file};
use crate::energy::{HourColumns, OptionYear, Plan};
use crate::job::{self, FileDigest, Job, JobError, JobRecord, LedgerLine, Placed};
use crate::report::progress::Progress;
use crate::report::view::Proposal;
use crate::report::{self, Words, console, json_text, page, tables};
use crate::sky;
use crate::tables::{Bundle, Table, TableError, csv_bytes};
use crate::units::Note;
use crate::weather::{Period, Place, Provenance, RawYear, ReadHints, WeatherYear, beside, read_raw_bytes, read_whole};
use crate::weigh::{self, Study, Tick};

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

    /// the quick answer, without reasons, doubt and page; to reports/<job>-yield
    #[argh(switch)]
    yield_only: bool,

    /// look for the best set-up within the limits of [search] instead
    #[argh(switch)]
    search: bool,

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

/// What `run.json` holds.
#[derive(serde::Serialize)]
struct RunRecord<'a> {
    #[serde(flatten)]
    inputs: &'a JobRecord,
    weather: WeatherRecord<'a>,
    study: &'a Study,
    notes: &'a [Note],
    version: &'static str,
}

#[derive(serde::Serialize)]
struct WeatherRecord<'a> {
    place: &'a Place,
    provenance: &'a Provenance,
}

/// A job, weighed: everything that is printed and written.
pub struct Weighed {
    /// The checked job.
    pub job: Job,
    /// Its weather.
    pub weather: WeatherYear,
    /// Where it stands.
    pub placed: Placed,
    /// Light, modules, strings.
    pub plan: Plan,
    /// First year of every option.
    pub years: Vec<OptionYear>,
    /// Gaps, doubt, money.
    pub study: Study,
    /// Every hour of every option.
    pub hours: Vec<HourColumns>,
    /// The job's own part of the run record.
    inputs: JobRecord,
}

impl Weighed {
    /// Reads the weather and runs all options.
    pub fn of(job: Job) -> Result<Weighed, Box<dyn std::error::Error>> {
        let (read, inputs) = beside(|| weather_and_years(&job), || job.inputs());
        let (weather, several) = read?;
        Weighed::with_inputs(job, weather, &several, inputs)
    }

    /// Runs all options on a weather year; `several` real years give their spread.
    pub fn with(
        job: Job,
        weather: WeatherYear,
        several: &[WeatherYear],
    ) -> Result<Weighed, Box<dyn std::error::Error>> {
        let inputs = job.inputs();
        Weighed::with_inputs(job, weather, several, inputs)
    }

    fn with_inputs(
        job: Job,
        weather: WeatherYear,
        several: &[WeatherYear],
        mut inputs: JobRecord,
    ) -> Result<Weighed, Box<dyn std::error::Error>> {
        add_weather_file(&mut inputs, &weather);
        let placed = job.settle(&weather)?;
        let mut plan = Plan::of(&job, &weather)?;
        plan.notes.extend(sky::shift::label_note(&weather, &plan.site.sun));
        let real = real_years(&job, several);
        let spread = (real.len() == several.len()).then(|| spread_of(&real, 0)).flatten();
        let mut study = weigh::study_with_spread(&job, &weather, &plan, spread)?;
        study.notes.extend(year_by_year(&job, &real));
        // The export limit counts with the load of [money] too.
        plan.common = weigh::common_with_load(&job, &weather, &plan);
        let mut hours = report::hours(&plan, &weather);
        let load_w = weigh::site_load_w(&job, &weather);
        if !load_w.is_empty() {
            let in_service = plan.common.outage.kept();
            hours.iter_mut().for_each(|h| h.against_load(load_w.clone(), in_service));
        }
        let years = study.options.iter().map(|o| o.year.clone()).collect();
        Ok(Weighed { job, weather, placed, plan, years, study, hours, inputs })
    }

    /// Reads the weather and runs all options, without reasons, doubt and hours.
    pub fn yields(job: Job) -> Result<Weighed, Box<dyn std::error::Error>> {
        let whole = system::several_processors() && weather_file::is_small_text(&job.weather_path());
        Weighed::yields_from(job, whole)
    }

    /// [`Weighed::yields`] from the bytes of the whole weather file, with their checksum, which takes as long as all
    /// hours, worked out beside them; else from one block of it after the other.
    fn yields_from(job: Job, whole: bool) -> Result<Weighed, Box<dyn std::error::Error>> {
        let (hints, path) = (year_hints(&job)?, job.weather_path());
        let whole = whole.then(|| read_whole(&path)).transpose()?;
        let run = || -> Result<_, Box<dyn std::error::Error>> {
            let raw = match &whole {
                Some(bytes) => {
                    let hints = ReadHints { no_checksum: true, ..hints.clone() };
                    read_raw_bytes(&path.display().to_string(), bytes, &hints)?
                }
                None => weather_file::read_raw(&path, &hints)?,
            };
            let (weather, _) = years_of(&job, raw, &hints)?;
            let placed = job.settle(&weather)?;
            let mut plan = Plan::of(&job, &weather)?;
            let study = weigh::yields(&job, &weather, &plan)?;
            plan.notes.extend(sky::shift::label_note(&weather, &plan.site.sun));
            Ok((weather, placed, plan, study))
        };
        let (run, (mut inputs, sha256)) = system::beside(run, || (job.inputs(), whole.as_deref().map(job::checksum)));
        let (mut weather, placed, plan, study) = run?;
        // A year that was put together from several is no file.
        if let Some(sha256) = sha256.filter(|_| !weather.provenance.file.is_empty()) {
            weather.provenance.sha256 = sha256;
        }
        add_weather_file(&mut inputs, &weather);
        let years = study.options.iter().map(|o| o.year.clone()).collect();
        Ok(Weighed { job, weather, placed, plan, years, study, hours: Vec::new(), inputs })
    }

    /// What the console and the report print.
    pub fn proposal(&self, command: &str) -> Proposal {
        // Only a page lists the inputs, and the quick answer has none.
        let inputs: &[LedgerLine] = if self.hours.is_empty() { &[] } else { &self.inputs.inputs };
        let mut proposal = Proposal::of(&report::Source {
            job: &self.job,
            weather: &self.weather,
            plan: &self.plan,
            years: &self.years,
            hours: &self.hours,
            study: Some(&self.study),
            inputs,
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
    pub fn run_record(&self, notes: &[Note]) -> serde_json::Value {
        json!(self.record_of(notes))
    }

    /// [`Weighed::run_record`] without a copy of it all.
    fn record_of<'a>(&'a self, notes: &'a [Note]) -> RunRecord<'a> {
        let weather = WeatherRecord { place: &self.weather.place, provenance: &self.weather.provenance };
        let version = env!("CARGO_PKG_VERSION");
        RunRecord { inputs: &self.inputs, weather, study: &self.study, notes, version }
    }

    /// Writes the tables, the record and the page into a folder; `hours.parquet` too where asked for.
    pub fn write(
        &self,
        proposal: &Proposal,
        record: &serde_json::Value,
        out: &Path,
        hours: bool,
    ) -> Result<(), Box<dyn std::error::Error>> {
        // The page first: if it cannot be made, nothing is written.
        let (record, page) = (json_text(record)?, page(proposal)?);
        let mut files = Bundle::new(out)?;
        self.put_tables(&mut files, true)?;
        self.put_last(files, &record, Some(&page), out, hours)
    }

    /// The small tables; some only of a whole run.
    fn put_tables(&self, files: &mut Bundle, whole: bool) -> Result<(), TableError> {
        let (site, study) = (&self.placed.place.name, &self.study);
        let mut put = |name: &str, table: Table| files.put(name, &csv_bytes(&table, true));
        put("months.csv", tables::months(site, study))?;
        put("years.csv", tables::years(site, study))?;
        put("account.csv", tables::account(site, study))?;
        if whole {
            put("gap.csv", tables::gaps(site, study))?;
        }
        Ok(())
    }

    /// The hours, the record after the tables, the page last; then all take their names.
    fn put_last(
        &self,
        mut files: Bundle,
        record: &str,
        page: Option<&str>,
        out: &Path,
        hours: bool,
    ) -> Result<(), Box<dyn std::error::Error>> {
        if hours {
            files.put("hours.parquet", &parquet_of(&self.hours_table(), &out.join("hours.parquet"))?)?;
        }
        files.put("run.json", record.as_bytes())?;
        if let Some(page) = page {
            files.put("report.html", page.as_bytes())?;
        }
        Ok(files.show()?)
    }

    /// Every hour of every option as a table.
    pub fn hours_table(&self) -> crate::tables::Table {
        let tags: Vec<&str> = self.years.iter().map(|y| y.tag.as_str()).collect();
        tables::hours(&tags, &self.hours, self.weather.step_h(), self.job.spec.money.as_ref())
    }
}

/// Puts the weather file among the files of a record; a run repeated from its record has it there already.
fn add_weather_file(inputs: &mut JobRecord, weather: &WeatherYear) {
    let Provenance { file, sha256, .. } = &weather.provenance;
    inputs.files.retain(|f| f.file != *file);
    inputs.files.push(FileDigest { file: file.clone(), sha256: sha256.clone() });
}

/// The checked weather year of a job, text or Parquet; of a file with several years, a typical year made from them.
pub(crate) fn weather_of(job: &Job) -> Result<WeatherYear, Box<dyn std::error::Error>> {
    Ok(weather_and_years(job)?.0)
}

/// The year that drives the job, and the real years that are run one by one for their spread.
fn weather_and_years(job: &Job) -> Result<(WeatherYear, Vec<WeatherYear>), Box<dyn std::error::Error>> {
    let hints = year_hints(job)?;
    years_of(job, weather_file::read_raw(&job.weather_path(), &hints)?, &hints)
}

fn year_hints(job: &Job) -> Result<ReadHints, JobError> {
    Ok(ReadHints { period: Period::WholeYears, ..job.read_hints()? })
}

/// [`weather_and_years`] from the job's own file as it was read.
fn years_of(
    job: &Job,
    raw: RawYear,
    hints: &ReadHints,
) -> Result<(WeatherYear, Vec<WeatherYear>), Box<dyn std::error::Error>> {
    let main = sky::complete(raw, hints)?;
    let mut years = Vec::new();
    let weather = if main.days.len() > 366 {
        years = sky::split_years(&main);
        let mut typical = sky::assemble(&years)?.year;
        let text = format!(
            "The file holds {} years; a typical year was assembled from them (ISO 15927-4, from memory), and every \
             year was run by itself for the spread.",
            years.len()
        );
        typical.provenance.notes.push(Note::loud("weather.typical-assembled", text));
        typical
    } else {
        main
    };
    for file in &job.spec.weather.series {
        let raw = weather_file::read_raw(&job.base.join(file), hints)?;
        years.extend(sky::split_years(&sky::complete(raw, hints)?));
    }
    Ok((weather, years))
}

/// The options in each of the real years that can be run; a year that cannot, such as a part of one, is left out.
fn real_years(job: &Job, years: &[WeatherYear]) -> Vec<Vec<OptionYear>> {
    if years.len() < 2 {
        return Vec::new();
    }
    years.par_iter().filter_map(|year| Plan::of(job, year).ok()).map(|plan| plan.years()).collect()
}

/// Spread of an option's energy over the years, percent of their mean.
fn spread_of(years: &[Vec<OptionYear>], option: usize) -> Option<f64> {
    let kwh: Option<Vec<f64>> = years.iter().map(|y| y.get(option).map(OptionYear::e_ac_kwh)).collect();
    weigh::spread_pct(&kwh?)
}

/// One note an option: what the real years give, run one by one.
fn year_by_year(job: &Job, runs: &[Vec<OptionYear>]) -> Vec<Note> {
    if runs.is_empty() {
        return Vec::new();
    }
    (0..job.options.len())
        .filter_map(|k| {
            let kwh: Vec<f64> = runs.iter().map(|r| r[k].e_ac_kwh()).collect();
            let s = sky::spread(&kwh)?;
            let text = format!(
                "{}: {} real years run one by one give {:.0} kWh at least, {:.0} in nine years of ten (by rank; {:.0} \
                 by a normal fit), {:.0} in the mean, {:.0} at most; spread {:.1} % (one standard deviation).",
                job.options[k].tag, s.years, s.min, s.p90_rank, s.p90_fit, s.mean, s.max, s.sd_pct
            );
            Some(Note::loud("weigh.year-by-year", text))
        })
        .collect()
}

/// Weighs, prints, writes.
pub fn run(args: WeighArgs) -> CliResult {
    // A quick answer needs room for the weather file and the columns of a block, which take as long to fault in as all
    // options to run.
    system::large_pages(if args.yield_only { 2 } else { 6 });
    let job = job::load(&args.job)?;
    if !args.yield_only {
        system::work_on_main_thread();
    }
    if args.search {
        return search(&job, args.json, args.quiet);
    }
    // Apart from the whole answer, so that tables and page of one folder always belong together.
    let name = if args.yield_only { format!("{}-yield", job.name) } else { job.name.clone() };
    let out = args.out.clone().unwrap_or_else(|| Path::new("reports").join(name));
    if args.yield_only && (args.hours || args.open) {
        return Err(
            "--yield-only writes neither hours nor a page.\n  Leave out --hours and --open, or --yield-only.".into()
        );
    }
    let weighed = if args.yield_only { Weighed::yields(job)? } else { Weighed::of(job)? };
    let command = format!("yearlight weigh {}", args.job.display());
    let proposal = weighed.proposal(&command);
    let page = (!args.yield_only).then(|| page(&proposal)).transpose()?;
    let words = Words::of(&proposal.language).unwrap_or(Words::english());
    let ((record, answer), files) = system::beside(
        || (json_text(&weighed.record_of(&proposal.notes)), console::answer(&proposal, words)),
        || {
            let mut files = Bundle::new(&out)?;
            weighed.put_tables(&mut files, page.is_some()).map(|()| files)
        },
    );
    let record = record?;
    weighed.put_last(files?, &record, page.as_deref(), &out, args.hours)?;
    if args.json {
        print(&record)?;
    } else {
        print(&answer)?;
        if args.inputs {
            print(&inputs(&weighed.job))?;
        }
    }
    say(args.quiet, &format!("\nWritten to {}", out.display()));
    if args.open {
        open(&out.join("report.html"))?;
    }
    // The process ends: to give all this back piece by piece would serve nobody.
    std::mem::forget((weighed, proposal, page));
    Ok(Outcome::Done)
}

/// A bar that grows with the runs that are found to lie ahead.
pub(crate) fn watching(progress: &Progress) -> impl Fn(Tick) + Sync {
    |tick| match tick {
        Tick::Ahead(runs) => progress.expect(runs),
        Tick::Done => progress.add(1),
    }
}

/// Scans the set-ups that `[search]` allows and prints the best of them and how flat the optimum is.
fn search(job: &Job, json: bool, quiet: bool) -> CliResult {
    let weather = weather_of(job)?;
    job.settle(&weather)?;
    let progress = Progress::new(0, quiet, Words::english());
    let found = weigh::best_watched(job, &weather, &watching(&progress))?;
    progress.finish();
    if json {
        print_json(&found)?;
        return Ok(Outcome::Done);
    }
    let word = if found.best == weigh::search::Best::Lowest { "lowest" } else { "highest" };
    let mut out = format!("{}: {} set-ups run, {} not allowed\n\n", job.spec.title, found.runs, found.refused);
    let goal = job.spec.search.as_ref().and_then(|s| s.goal.as_deref());
    let what = match (goal, &job.spec.money) {
        (Some("energy"), _) | (_, None) => format!("{:.0} kWh in the first year", found.value),
        (Some("value"), Some(m)) => format!("net present value {:.0} {}", found.value, m.currency),
        (_, Some(m)) => format!("{:.4} {} per kWh over the years", found.value, m.currency),
    };
    out.push_str(&format!("Best ({word}): {what}\n"));
    for (axis, at) in found.axes.iter().zip(&found.at) {
        out.push_str(&format!("  {:<14} {:>9.2} {}\n", axis.name, at, axis.unit));
    }
    out.push_str("\nHow flat it is: range within 1 % of the best, the rest held\n");
    for (axis, flat) in found.axes.iter().zip(&found.flat) {
        let [lo, hi] = flat.within_1_pct;
        let edge = if flat.at_limit { "  (at a limit of the search)" } else { "" };
        out.push_str(&format!("  {:<14} {lo:>9.2} to {hi:.2} {}{edge}\n", flat.name, axis.unit));
    }
    print(&out)?;
    Ok(Outcome::Done)
}

#[cfg(feature = "tables")]
fn parquet_of(table: &Table, path: &Path) -> Result<Vec<u8>, Box<dyn std::error::Error>> {
    Ok(crate::tables::parquet_bytes(table, path)?)
}

#[cfg(not(feature = "tables"))]
fn parquet_of(_: &Table, path: &Path) -> Result<Vec<u8>, Box<dyn std::error::Error>> {
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
        weighed.write(&proposal, &record, out, false).unwrap();
    }

    #[test]
    fn the_hours_add_up_to_own_use_and_export() {
        let weighed = Weighed::of(job::load(Path::new("configs/merrowby-school.toml")).unwrap()).unwrap();
        let step_h = weighed.weather.step_h();
        for (hours, option) in weighed.hours.iter().zip(&weighed.study.options) {
            let kwh = |column: &[f64]| column.iter().sum::<f64>() * step_h / 1000.0;
            let money = option.money.as_ref().unwrap();
            assert!((kwh(&hours.load) / 18_000.0 - 1.0).abs() < 1e-9, "the load of [money]");
            assert!((kwh(&hours.own_use) / money.own_use_kwh.unwrap() - 1.0).abs() < 1e-9);
            assert!((kwh(&hours.exported) / money.exported_kwh - 1.0).abs() < 1e-9);
            assert!((kwh(&hours.p_ac) / option.year.e_ac_kwh() - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn cleaning_shows_in_years_notes_and_money() {
        let mut job = job::load(Path::new("configs/two-skies/cloudy.toml")).unwrap();
        let plain = Weighed::of(job.clone()).unwrap();
        job.spec.cleaning = Some(crate::job::CleaningSpec {
            buildup_pct_per_year: 1.0,
            most_pct: 6.0,
            every_years: 2.0,
            cost_per_kw: 5.0,
            cost_per_visit: 100.0,
        });
        let cleaned = Weighed::of(job).unwrap();
        assert!(cleaned.study.notes.iter().any(|n| n.code == "years.cleaning" && n.text.contains("cleanings in")));
        for (a, b) in plain.study.options.iter().zip(&cleaned.study.options) {
            // The first year of the account stands for clean modules; the years hold the build-up.
            assert_eq!(a.year, b.year);
            for (x, y) in a.years.iter().zip(&b.years) {
                let lost = if y.year % 2 == 1 { 0.5 } else { 1.5 };
                assert!((y.e_ac_kwh - x.e_ac_kwh * (1.0 - lost / 100.0)).abs() < 1e-9 * x.e_ac_kwh);
                assert!((y.dirt_lost_kwh - x.e_ac_kwh * lost / 100.0).abs() < 1e-9 * x.e_ac_kwh);
            }
        }
        for gap in &cleaned.study.gaps {
            let split = gap.lifetime.as_ref().unwrap();
            assert!(split.residual_kwh().abs() < 1e-9 * cleaned.study.options[0].lifetime_kwh());
            let sum = |k: usize| cleaned.study.options[k].lifetime_kwh();
            let to = cleaned.study.options.iter().position(|o| o.year.tag == gap.to).unwrap();
            assert!((split.kwh - (sum(to) - sum(0))).abs() < 1e-9 * sum(0));
        }
    }

    #[test]
    fn the_quick_answer_is_the_same_however_the_file_is_read() {
        let dir = tempfile::tempdir().unwrap();
        let several_years = dir.path().join("three.csv");
        let day = |y, m, d| chrono::NaiveDate::from_ymd_opt(y, m, d).unwrap();
        let days = day(2001, 1, 1).iter_days().take_while(|d| *d < day(2004, 1, 1)).collect();
        let mut text = Vec::new();
        crate::weather::write_tidy(&crate::weather::specimen::on_days(days, 24), &mut text).unwrap();
        std::fs::write(&several_years, text).unwrap();
        let one_year = job::load(Path::new("configs/two-skies/cloudy.toml")).unwrap();
        let mut typical = one_year.clone();
        typical.spec.weather.file = several_years.display().to_string();
        let mut missing = one_year.clone();
        missing.spec.weather.file = "none.csv".into();
        for job in [one_year, typical] {
            let [whole, in_blocks] = [true, false].map(|whole| {
                let weighed = Weighed::yields_from(job.clone(), whole).unwrap();
                let proposal = weighed.proposal("yearlight weigh");
                (weighed.run_record(&proposal.notes), console::answer(&proposal, Words::english()))
            });
            assert_eq!(whole, in_blocks);
        }
        let error = |whole| Weighed::yields_from(missing.clone(), whole).err().unwrap().to_string();
        assert_eq!(error(true), error(false));
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

    fn proposal(path: &str) -> Proposal {
        Weighed::of(job::load(Path::new(path)).unwrap()).unwrap().proposal("yearlight weigh")
    }

    #[test]
    fn every_sentence_of_the_shipped_jobs_has_a_translation() {
        let german = Words::of("de").unwrap().phrases();
        let mut missing = Vec::new();
        for path in ["configs/merrowby-school.toml", "configs/two-skies/cloudy.toml", "configs/two-skies/hot.toml"] {
            missing.extend(report::unlisted(german, &proposal(path)));
        }
        assert!(missing.is_empty(), "without a translation:\n{}", missing.join("\n"));
    }

    #[test]
    fn a_german_report_speaks_no_english() {
        let mut p = proposal("configs/merrowby-school.toml");
        // What users wrote stays as they wrote it.
        p.claims.iter_mut().for_each(|c| c.claim = "x".into());
        p.ledger.retain(|l| !l.given);
        let english = page(&p).unwrap();
        assert!(report::english_in(&english).len() > 100, "the test can fail");
        p.language = "de".into();
        let german = page(&p).unwrap() + &console::plain(&console::answer(&p, Words::of("de").unwrap()));
        let found = report::english_in(&german);
        assert!(found.is_empty(), "English in the German report:\n{}", found.join("\n"));
    }
}
