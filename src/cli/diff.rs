//! `yearlight diff OLD.json NEW.json`: what changed between two runs, inputs and kWh.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use argh::FromArgs;
use serde::Serialize;
use serde_json::{Value, json};

use super::weigh::watching;
use super::{CliResult, Outcome, print, print_json};
use crate::energy::{self, Common, Plan, PlanCache, Scratch, SiteLight, common_of};
use crate::job::{self, Job, LedgerLine, ResolvedOption};
use crate::report::Words;
use crate::report::console::paragraph;
use crate::report::progress::Progress;
use crate::weather::WeatherYear;
use crate::weigh::diff::{Change, EnergyMove, Means, Moved, changes, energies, energy_moves, groups_of, moves_watched};

/// Tell what changed between two runs: every input that differs, and what each moved.
#[derive(FromArgs, Debug)]
#[argh(
    subcommand,
    name = "diff",
    example = "{command_name} reports/bid/run.json reports/as-built/run.json",
    note = "Both runs are worked out again on their recorded inputs. A job file serves in place of a run.json.\n\
            A run is repeated from its record by: yearlight weigh run.json --out other"
)]
pub struct DiffArgs {
    /// the run.json of the earlier run (the bid)
    #[argh(positional)]
    old: PathBuf,

    /// the run.json of the later run (the design freeze)
    #[argh(positional)]
    new: PathBuf,

    /// print everything as JSON
    #[argh(switch)]
    json: bool,

    /// print nothing but the answer
    #[argh(switch)]
    quiet: bool,
}

/// One of the two runs.
struct Side {
    path: PathBuf,
    sha256: String,
    job: Job,
    /// All sections, with the paths of files relative to the current folder.
    inputs: Value,
    ledger: Vec<LedgerLine>,
    /// Checksums as recorded, by file name.
    files: BTreeMap<String, String>,
    /// First-year energies as recorded; empty for a job file.
    recorded: Vec<(String, f64)>,
    version: String,
}

/// An input that differs, as it is shown.
#[derive(Debug, Serialize)]
struct Shown {
    #[serde(flatten)]
    change: Change,
    unit: String,
    old_source: Option<String>,
    new_source: Option<String>,
}

/// A file that went into both runs, or one of them.
#[derive(Debug, Serialize)]
struct FileChange {
    file: String,
    old_sha256: Option<String>,
    new_sha256: Option<String>,
}

/// All that the command says.
#[derive(Debug, Serialize)]
struct Answer {
    old: Value,
    new: Value,
    inputs: Vec<Shown>,
    files: Vec<FileChange>,
    energies: Vec<EnergyMove>,
    means: Means,
    moved: Vec<Moved>,
    /// Between record and the run repeated now, kWh by option: another version of the program, or files that changed.
    since: Vec<Moved>,
    notes: Vec<String>,
}

/// Sections that say nothing about the first year's energy.
const WITHOUT_ENERGY: [&str; 9] =
    ["title", "proposal", "sources", "ageing", "cleaning", "uncertainty", "money", "claims", "search"];

impl Side {
    fn read(path: &Path) -> Result<Side, Box<dyn std::error::Error>> {
        let job = job::load(path)?;
        let bytes = crate::weather::read_up_to(path, crate::job::MAX_BYTES)?;
        let record: Value = serde_json::from_slice(&bytes).unwrap_or(Value::Null);
        let own = job.record();
        let mut inputs = own.get("job").cloned().unwrap_or(Value::Null);
        rebase(&mut inputs, &job);
        let files = record.get("files").or_else(|| own.get("files")).and_then(Value::as_array);
        let word = |v: &Value, key: &str| v.get(key).and_then(Value::as_str).map(str::to_string);
        let mut files: BTreeMap<String, String> =
            files.into_iter().flatten().filter_map(|f| Some((word(f, "file")?, word(f, "sha256")?))).collect();
        if record.get("files").is_none() {
            let weather = job.weather_path();
            files.insert(
                weather.display().to_string(),
                crate::job::checksum(&crate::weather::read_up_to(&weather, crate::weather::MAX_BYTES)?),
            );
        }
        Ok(Side {
            path: path.to_path_buf(),
            sha256: crate::job::checksum(&bytes),
            inputs,
            ledger: job.ledger(),
            files,
            recorded: record.get("study").map(energies).unwrap_or_default(),
            version: word(&record, "version").unwrap_or_default(),
            job,
        })
    }

    fn about(&self) -> Value {
        json!({
            "file": self.path.display().to_string(),
            "sha256": self.sha256,
            "title": self.job.spec.title,
            "version": self.version,
        })
    }

    fn line(&self, path: &str) -> Option<&LedgerLine> {
        self.ledger.iter().find(|l| l.path == path)
    }

    fn source(&self, path: &str) -> Option<String> {
        let line = self.line(path)?;
        match (&line.source, line.given) {
            (Some(source), true) => Some(source.clone()),
            (None, true) => Some("no source given".into()),
            (Some(source), false) => Some(format!("default: {source}")),
            (None, false) => Some("default".into()),
        }
    }
}

/// Paths of files in a job, from the current folder on, so that runs of different folders can be held together.
fn rebase(inputs: &mut Value, job: &Job) {
    let from_here = |text: &str| job.path_of(text).display().to_string().replace('\\', "/");
    let mut move_at = |pointer: &str| {
        if let Some(Value::String(text)) = inputs.pointer_mut(pointer) {
            *text = from_here(text);
        }
    };
    move_at("/weather/file");
    move_at("/grid/load");
    let modules = job.modules.keys().map(|tag| tag.replace('~', "~0").replace('/', "~1"));
    modules.for_each(|tag| move_at(&format!("/module/{tag}/matrix")));
}

/// First-year energies of any mix of inputs. A weather file is read once, the light on the planes is worked out once for
/// each way they lie, and an option is planned and run once for each set of the inputs that reach it.
#[derive(Default)]
struct Runner {
    weather: Mutex<BTreeMap<String, Arc<WeatherYear>>>,
    sites: Mutex<BTreeMap<String, Arc<KnownSite>>>,
}

/// Light of one lie of the planes, and what was found on it.
struct KnownSite {
    light: SiteLight,
    plans: Mutex<PlanCache>,
    energies: Mutex<BTreeMap<String, f64>>,
}

impl Runner {
    fn energies(&self, inputs: &Value) -> Option<Vec<(String, f64)>> {
        let record = json!({ "name": "mix", "base": "", "job": inputs });
        let job = job::from_text("mix.json", &record.to_string(), Path::new(""), &mut |p| std::fs::read(p)).ok()?;
        self.run(&job).ok()
    }

    fn run(&self, job: &Job) -> Result<Vec<(String, f64)>, Box<dyn std::error::Error>> {
        let hints = job.read_hints()?;
        let key = format!("{} {hints:?}", job.weather_path().display());
        let known = self.weather.lock().ok().and_then(|w| w.get(&key).cloned());
        let weather = match known {
            Some(weather) => weather,
            None => {
                let year = Arc::new(super::weigh::weather_of(job)?);
                if let Ok(mut all) = self.weather.lock() {
                    all.insert(key.clone(), year.clone());
                }
                year
            }
        };
        job.settle(&weather)?;
        let lie = format!("{key} {}", json!([job.spec.plane, job.skyline, job.spec.sky_model]));
        let known = self.sites.lock().ok().and_then(|s| s.get(&lie).cloned());
        let site = match known {
            Some(site) => site,
            None => {
                // The whole plan once, so that what is wrong is said in full.
                let plan = Plan::of(job, &weather)?;
                let site = Arc::new(KnownSite {
                    light: plan.site,
                    plans: Mutex::new(PlanCache::default()),
                    energies: Mutex::new(BTreeMap::new()),
                });
                if let Ok(mut all) = self.sites.lock() {
                    all.insert(lie, site.clone());
                }
                site
            }
        };
        let common = common_of(job, &weather, &site.light)?;
        let mut scratch = Scratch::default();
        job.options.iter().map(|o| Ok((o.tag.clone(), site.energy(job, o, &weather, &common, &mut scratch)?))).collect()
    }
}

impl KnownSite {
    fn energy(
        &self,
        job: &Job,
        option: &ResolvedOption,
        weather: &WeatherYear,
        common: &Common,
        scratch: &mut Scratch,
    ) -> Result<f64, Box<dyn std::error::Error>> {
        let key = reaching(job, option);
        if let Some(kwh) = self.energies.lock().ok().and_then(|e| e.get(&key).copied()) {
            return Ok(kwh);
        }
        let planned = match self.plans.lock() {
            Ok(mut plans) => plans.option(job, option, weather, &self.light)?,
            Err(_) => PlanCache::default().option(job, option, weather, &self.light)?,
        };
        let kwh = planned.year_of(&energy::run(&planned.setup, &self.light, common, scratch)).e_ac_kwh();
        if let Ok(mut all) = self.energies.lock() {
            all.insert(key, kwh);
        }
        Ok(kwh)
    }
}

/// The inputs that an option's first year depends on, besides weather and planes: its own parts and what all share.
fn reaching(job: &Job, option: &ResolvedOption) -> String {
    let mut spec = json!(job.spec);
    if let Value::Object(sections) = &mut spec {
        sections.retain(|section, _| !WITHOUT_ENERGY.contains(&section.as_str()) && section != "option");
    }
    // The AC cable asks the first option for phases and count.
    let first = job.options.first().map(|o| (o.inverters, job.inverter(o).phases));
    let matrix = job.matrices.get(&option.module);
    let own = (&option.tag, option.inverters, option.n_modules, option.target_kw, &option.strings, &option.planes);
    let parts = (job.module(option), job.inverter(option), matrix, option.module_converters);
    json!([spec, first, own, parts, job.load_kw]).to_string()
}

/// Parts that only one side has are given to the other: unused, they move nothing, and every mix then finds its parts.
fn share_parts(old: &mut Value, new: &mut Value) {
    for section in ["module", "inverter"] {
        let (Some(Value::Object(a)), Some(Value::Object(b))) = (old.get_mut(section), new.get_mut(section)) else {
            continue;
        };
        for (tag, part) in b.iter() {
            a.entry(tag).or_insert_with(|| part.clone());
        }
        for (tag, part) in a.iter() {
            b.entry(tag).or_insert_with(|| part.clone());
        }
    }
}

/// Compares, prints.
pub fn run(args: DiffArgs) -> CliResult {
    let (old, new) = (Side::read(&args.old)?, Side::read(&args.new)?);
    let answer = compare(&old, &new, args.quiet)?;
    if args.json {
        print_json(&answer)?;
    } else {
        print(&text(&answer))?;
    }
    Ok(Outcome::Done)
}

fn compare(old: &Side, new: &Side, quiet: bool) -> Result<Answer, Box<dyn std::error::Error>> {
    let all = changes(&old.inputs, &new.inputs);
    let runner = Runner::default();
    // Each run by itself first: what is wrong with it is said in full.
    let (old_now, new_now) = (runner.run(&old.job)?, runner.run(&new.job)?);
    let (mut from, mut to) = (old.inputs.clone(), new.inputs.clone());
    share_parts(&mut from, &mut to);
    let mixable: Vec<Change> =
        changes(&from, &to).into_iter().filter(|c| !WITHOUT_ENERGY.contains(&c.group.as_str())).collect();
    let (means, moved) = if mixable.is_empty() {
        (Means::Split, Vec::new())
    } else {
        let progress = Progress::new(0, quiet, Words::english());
        moves_watched(&from, &to, &mixable, &watching(&progress), |inputs| runner.energies(inputs))
    };
    let or = |recorded: &[(String, f64)], now: &[(String, f64)]| {
        if recorded.is_empty() { now.to_vec() } else { recorded.to_vec() }
    };
    let (before, after) = (or(&old.recorded, &old_now), or(&new.recorded, &new_now));
    let of = |side: &[(String, f64)], tag: &str| side.iter().find(|(t, _)| t == tag).map(|(_, e)| *e);
    let mut since = Vec::new();
    for (tag, e) in &before {
        let parts = (of(&old_now, tag), of(&after, tag), of(&new_now, tag));
        let (Some(old_now), Some(after), Some(new_now)) = parts else { continue };
        let kwh = (after - new_now) - (e - old_now);
        if kwh.abs() > 1e-6 {
            since.push(Moved { group: "since the runs were made".into(), option: tag.clone(), kwh });
        }
    }
    let shown = all
        .iter()
        .map(|c| Shown {
            unit: [new, old].iter().find_map(|s| s.line(&c.path)).map(|l| l.unit.clone()).unwrap_or_default(),
            old_source: old.source(&c.path),
            new_source: new.source(&c.path),
            change: c.clone(),
        })
        .collect();
    let names: std::collections::BTreeSet<&String> = old.files.keys().chain(new.files.keys()).collect();
    let own = |name: &str| [old, new].iter().any(|s| Path::new(name) == s.path);
    let files: Vec<FileChange> = names
        .into_iter()
        .filter(|name| !own(name) && old.files.get(*name) != new.files.get(*name))
        .map(|name| FileChange {
            file: name.clone(),
            old_sha256: old.files.get(name).cloned(),
            new_sha256: new.files.get(name).cloned(),
        })
        .collect();
    let notes = notes(old, new, &all, &since, means);
    Ok(Answer {
        old: old.about(),
        new: new.about(),
        inputs: shown,
        files,
        energies: energy_moves(&before, &after),
        means,
        moved,
        since,
        notes,
    })
}

fn notes(old: &Side, new: &Side, all: &[Change], since: &[Moved], means: Means) -> Vec<String> {
    let mut notes = Vec::new();
    let groups = groups_of(all);
    let wiring = ["module.", "inverter.", "option.", "strings", "cable"];
    if groups.iter().any(|g| wiring.iter().any(|w| g.starts_with(w))) {
        notes.push(format!(
            "Parts, counts or strings differ: strings, voltages, fuses and structure of the later run want their own \
             check and sign-off by the engineer of record. Run yearlight string {}.",
            new.path.display()
        ));
    }
    if !since.is_empty() {
        notes.push(
            "The recorded energies are not those of the inputs run now: a file or the program changed since. The line \
             \"since the runs were made\" holds that part."
                .into(),
        );
    }
    for side in [old, new] {
        for note in side.job.notes.iter().filter(|n| n.code == "job.file-changed") {
            notes.push(note.text.clone());
        }
    }
    if !old.version.is_empty() && !new.version.is_empty() && old.version != new.version {
        notes.push(format!("The runs were made by versions {} and {} of the program.", old.version, new.version));
    }
    if means == Means::Together {
        notes.push(
            "Mixes of the two runs cannot be run (a string plan that fits one set of parts does not fit the other), so \
             all changes are told together."
                .into(),
        );
    }
    notes.push(format!(
        "Design freeze: the later run is held by its record, sha256 {}. It is repeated to the byte by: yearlight weigh {} --out DIR",
        new.sha256,
        new.path.display()
    ));
    notes
}

/// The answer for the terminal, at most 80 columns wide.
fn text(a: &Answer) -> String {
    let mut out = String::new();
    let word = |v: &Value, key: &str| v.get(key).and_then(Value::as_str).unwrap_or("").to_string();
    for (name, side) in [("Old", &a.old), ("New", &a.new)] {
        paragraph(&mut out, &format!("{name}: "), &format!("{} ({})", word(side, "file"), word(side, "title")));
    }
    out.push('\n');
    match a.inputs.len() {
        0 => out.push_str("No input differs.\n"),
        1 => out.push_str("One input differs.\n"),
        n => {
            let _ = writeln!(out, "{n} inputs differ.");
        }
    }
    for shown in &a.inputs {
        let c = &shown.change;
        let unit = if shown.unit.is_empty() { String::new() } else { format!(", {}", shown.unit) };
        paragraph(&mut out, "  ", &format!("{}{unit}", c.path));
        for (name, value, source) in [("old", &c.old, &shown.old_source), ("new", &c.new, &shown.new_source)] {
            let value = value.as_ref().map_or("not there".to_string(), plain);
            let source = source.as_ref().map_or(String::new(), |s| format!("  ({s})"));
            paragraph(&mut out, &format!("    {name}  "), &format!("{value}{source}"));
        }
    }
    if a.files.is_empty() {
        out.push_str("\nAll files that both runs name have the same checksums.\n");
    } else {
        out.push_str("\nFiles that differ:\n");
        for f in &a.files {
            let short =
                |s: &Option<String>| s.as_ref().map_or("not there".to_string(), |s| s.chars().take(12).collect());
            paragraph(&mut out, "  ", &format!("{}: {} -> {}", f.file, short(&f.old_sha256), short(&f.new_sha256)));
        }
    }
    out.push_str("\nEnergy of the first year, kWh\n");
    let width = a.energies.iter().map(|e| e.option.chars().count()).max().unwrap_or(0).clamp(6, 24);
    let _ = writeln!(out, "  {:<width$} {:>12} {:>12} {:>12} {:>9}", "option", "old", "new", "change", "%");
    for e in &a.energies {
        let kwh = |x: Option<f64>| x.map_or("-".to_string(), |x| format!("{x:.0}"));
        let change = e.old_kwh.zip(e.new_kwh).map(|(o, n)| n - o);
        let pct = e.old_kwh.zip(change).filter(|(o, _)| *o > 0.0).map(|(o, c)| 100.0 * c / o);
        let change = change.map_or("-".into(), |c| format!("{c:+.1}"));
        let pct = pct.map_or("-".into(), |p| format!("{p:+.2}"));
        let tag: String = e.option.chars().take(width).collect();
        let _ = writeln!(out, "  {tag:<width$} {:>12} {:>12} {change:>12} {pct:>9}", kwh(e.old_kwh), kwh(e.new_kwh));
    }
    moved(&mut out, a);
    out.push('\n');
    for note in &a.notes {
        paragraph(&mut out, "", note);
    }
    out.trim_end().to_string()
}

/// Groups down, options across; more options than fit go into further tables.
fn moved(out: &mut String, a: &Answer) {
    let all: Vec<&Moved> = a.moved.iter().chain(&a.since).collect();
    if all.is_empty() {
        return;
    }
    let mut options: Vec<&str> = Vec::new();
    let mut groups: Vec<&str> = Vec::new();
    for m in &all {
        if !options.contains(&m.option.as_str()) {
            options.push(&m.option);
        }
        if !groups.contains(&m.group.as_str()) {
            groups.push(&m.group);
        }
    }
    out.push_str("\nWhat moved it, kWh\n");
    for options in options.chunks(4) {
        let _ = write!(out, "  {:<29}", "input");
        for o in options {
            let _ = write!(out, " {:>11}", o.chars().take(11).collect::<String>());
        }
        out.push('\n');
        for g in &groups {
            let _ = write!(out, "  {:<29}", g.chars().take(29).collect::<String>());
            for o in options {
                let kwh: f64 = all.iter().filter(|m| m.group == *g && m.option == *o).map(|m| m.kwh).sum();
                // A zero is exact: the input does not reach the option.
                let text = if kwh == 0.0 { "0".to_string() } else { format!("{kwh:+.1}") };
                let _ = write!(out, " {text:>11}");
            }
            out.push('\n');
        }
    }
    let means = match a.means {
        Means::Split => {
            "Each line is the mean of what its input moves over all orders in which the inputs could be changed \
             (Shapley values), so the lines sum to the change."
        }
        Means::InTurn => {
            "The inputs were changed one after the other in the order of these lines, each on top of those above, so \
             the lines sum to the change; another order would share it out a little differently."
        }
        Means::Together => "All changes at once.",
    };
    paragraph(out, "  ", means);
}

fn plain(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        other => {
            let text = other.to_string();
            if text.chars().count() <= 200 { text } else { text.chars().take(197).collect::<String>() + "..." }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mix_gives_what_a_plan_of_its_own_gives() {
        let path = Path::new("configs/merrowby-school.toml");
        let record = job::load(path).unwrap().record();
        let mut a = record["job"].clone();
        rebase(&mut a, &job::load(path).unwrap());
        let mut b = a.clone();
        let tag = b["option"][1]["module"].as_str().unwrap().to_string();
        b["losses"]["outage_pct"] = json!(3.0);
        b["module"][&tag]["gamma_pct_per_k"] = json!(-0.25);
        b["option"][2].as_object_mut().unwrap().remove("target_kw");
        b["option"][2]["strings"] = json!([23, 23, 23, 22]);
        let runner = Runner::default();
        for inputs in [&a, &b, &a, &b] {
            let known = runner.energies(inputs).unwrap();
            let fresh = Runner::default().energies(inputs).unwrap();
            assert_eq!(known, fresh);
            let record = json!({ "name": "mix", "base": "", "job": inputs });
            let job = job::from_text("m.json", &record.to_string(), Path::new(""), &mut |p| std::fs::read(p)).unwrap();
            let weather = super::super::weigh::weather_of(&job).unwrap();
            let plain: Vec<f64> = Plan::of(&job, &weather).unwrap().years().iter().map(|y| y.e_ac_kwh()).collect();
            assert_eq!(plain, known.iter().map(|e| e.1).collect::<Vec<f64>>());
        }
    }

    #[test]
    fn what_moved_sums_to_the_change_and_nothing_is_missed() {
        let dir = tempfile::tempdir().unwrap();
        let path = Path::new("configs/two-skies/cloudy.toml");
        let mut record = job::load(path).unwrap().record();
        let (a, b) = (dir.path().join("a.json"), dir.path().join("b.json"));
        std::fs::write(&a, record.to_string()).unwrap();
        let tag = record["job"]["option"][1]["module"].as_str().unwrap().to_string();
        record["job"]["losses"]["dirt_pct"] = json!(4.0);
        record["job"]["title"] = json!("as built");
        record["job"]["module"][&tag]["gamma_pct_per_k"] = json!(-0.25);
        std::fs::write(&b, record.to_string()).unwrap();
        let answer = compare(&Side::read(&a).unwrap(), &Side::read(&b).unwrap(), true).unwrap();
        let mut paths: Vec<&str> = answer.inputs.iter().map(|s| s.change.path.as_str()).collect();
        paths.sort_unstable();
        assert_eq!(paths, ["losses.dirt_pct", &format!("module.{tag}.gamma_pct_per_k"), "title"]);
        assert!(answer.means == Means::Split && answer.since.is_empty() && answer.files.is_empty());
        for e in &answer.energies {
            let change = e.new_kwh.unwrap() - e.old_kwh.unwrap();
            let sum: f64 = answer.moved.iter().filter(|m| m.option == e.option).map(|m| m.kwh).sum();
            assert!(change < 0.0 && (sum - change).abs() < 1e-9 * e.old_kwh.unwrap(), "{e:?}");
        }
        assert!(answer.moved.iter().any(|m| m.kwh == 0.0), "the other module's coefficient does not reach this option");
        let shown = text(&answer);
        assert!(shown.lines().all(|l| l.chars().count() <= 80), "{shown}");
        let same = compare(&Side::read(&a).unwrap(), &Side::read(&a).unwrap(), true).unwrap();
        assert!(same.inputs.is_empty() && same.moved.is_empty() && text(&same).contains("No input differs."));
    }
}
