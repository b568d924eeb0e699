//! One site: the template with its row's cells, its weather, all options.

use std::collections::{BTreeSet, HashMap, HashSet};
use std::hash::{BuildHasher, BuildHasherDefault, DefaultHasher};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, OnceLock};
use std::time::Instant;

use rayon::prelude::*;
use serde_json::{Value, json};

use super::overrides::{self, value};
use super::sites::{GROUP_COLUMNS, SiteRow, Sites};
use super::skies::{Skies, SkyYear};
use super::spec::FleetSpec;
use super::stamp;
use crate::energy::{Fits, Plan, Scratch};
use crate::job::{self, FileDigest, Job, JobError, Placed, RightSections};
use crate::plant::Verdict;
use crate::units::Note;
use crate::weather::{ReadHints, WeatherYear, read_up_to};
use crate::weigh::{Brief, brief};

/// A site that was run.
#[derive(Debug, Clone, PartialEq)]
pub struct SiteDone {
    /// Row of the table, from 1.
    pub row: usize,
    /// Its name.
    pub name: String,
    /// Cells of [`GROUP_COLUMNS`] that the table has.
    pub groups: Vec<String>,
    /// Degrees: the site's, or the weather file's where the table gives none.
    pub latitude_deg: f64,
    /// Degrees.
    pub longitude_deg: f64,
    /// The weather file, or the name in the weather set.
    pub weather: String,
    /// In the order of the template.
    pub options: Vec<OptionDone>,
}

/// One option of a site.
#[derive(Debug, Clone, PartialEq)]
pub struct OptionDone {
    /// Year, lifetime, split.
    pub brief: Brief,
    /// `allowed`, `allowed-thin`, `partly-checked`, `not-allowed`.
    pub verdict: &'static str,
    /// Codes of the loud notes, in order.
    pub warnings: Vec<String>,
}

/// A site that was refused.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SiteRefused {
    /// Row of the table, from 1.
    pub row: usize,
    /// Line of the table.
    pub line: u64,
    /// Its name.
    pub name: String,
    /// Why, beginning with file and line.
    pub reason: String,
}

impl SiteRefused {
    /// The reason on one line, as the tables of refusals have it.
    pub fn one_line(&self) -> String {
        self.reason.split_whitespace().collect::<Vec<_>>().join(" ")
    }
}

/// One site, ready to be weighed by itself: its row put into the template, and its weather year.
#[derive(Debug, Clone)]
pub struct OneSite {
    /// Row of the table, from 1.
    pub row: usize,
    /// Its name.
    pub name: String,
    /// The job, checked. Which inputs were given and on whose word is known as for a job file of its own.
    pub job: Job,
    /// The year that drives it, light scaled where the table says so.
    pub weather: WeatherYear,
}

/// Job and weather of a row.
struct Prepared {
    job: Job,
    /// Shared by sites, unless the table scales the light.
    sky: Arc<SkyYear>,
    placed: Placed,
    /// The weather file, or the name in the weather set.
    sky_name: String,
}

/// Time spent in the stages, over all threads, nanoseconds.
#[derive(Debug, Default)]
pub struct Stages {
    /// Table row to checked job.
    pub job: AtomicU64,
    /// Reading and checking weather, where it was not at hand.
    pub weather: AtomicU64,
    /// Sun, light, modules, strings.
    pub plan: AtomicU64,
    /// The hourly chain of all options, and the split.
    pub run: AtomicU64,
}

impl Stages {
    fn time<T>(to: &AtomicU64, work: impl FnOnce() -> T) -> T {
        let start = Instant::now();
        let result = work();
        to.fetch_add(start.elapsed().as_nanos() as u64, Ordering::Relaxed);
        result
    }
}

/// What a thread keeps from site to site.
#[derive(Debug)]
pub(super) struct Bench {
    scratch: Scratch,
    fits: Fits,
    /// A year that no site needs any more: the room for the next one of scaled light.
    spare: Option<WeatherYear>,
}

impl Default for Bench {
    fn default() -> Bench {
        Bench { scratch: Scratch::brief(), fits: Fits::default(), spare: None }
    }
}

/// What all sites share.
pub(super) struct Shared {
    pub spec: FleetSpec,
    /// Folder of the fleet file.
    pub base: PathBuf,
    /// The fleet file and the table of sites, with checksums.
    pub own_files: Vec<FileDigest>,
    /// Sections of the template.
    pub sections: Value,
    /// The same, checked.
    pub right: Option<RightSections>,
    /// Inputs that the template gives; the others are defaults.
    pub given: BTreeSet<String>,
    /// Files of the template, with checksums.
    pub job_files: Vec<FileDigest>,
    /// Folder of the template.
    pub job_base: PathBuf,
    /// The template's weather file.
    pub weather_file: PathBuf,
    /// Skyline, matrix and load files of the template.
    pub files: HashMap<PathBuf, Vec<u8>>,
    pub sites: Sites,
    pub skies: Skies,
    /// Hashes of the weather files that more than one site of the table asks for.
    pub shared_files: OnceLock<HashSet<u64>>,
    pub stages: Stages,
    pub set: Option<super::set::WeatherSet>,
}

/// Where the weather of a site comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum SkyOf {
    File(PathBuf),
    /// Name in the weather set.
    Set(String),
}

impl Shared {
    /// A cell by column; empty when there is no such column.
    fn cell<'a>(&self, cells: &'a [String], column: &str) -> &'a str {
        self.sites.column(column).and_then(|i| cells.get(i)).map_or("", String::as_str)
    }

    /// The weather that the row, the fleet file or the template names.
    pub fn sky_of(&self, cells: &[String]) -> Result<SkyOf, String> {
        if self.spec.weather_set.is_some() {
            let named = self.cell(cells, "weather");
            let name = if named.is_empty() { self.cell(cells, "site") } else { named };
            return Ok(SkyOf::Set(name.to_string()));
        }
        let mut path = String::new();
        let mut rest = self.spec.weather.as_str();
        while let Some((before, after)) = rest.split_once('{') {
            let Some((column, after)) = after.split_once('}') else { break };
            let cell = self.cell(cells, column);
            if cell.is_empty() {
                return Ok(SkyOf::File(self.weather_file.clone()));
            }
            path.push_str(before);
            path.push_str(cell);
            rest = after;
        }
        path.push_str(rest);
        Ok(SkyOf::File(self.base.join(path)))
    }

    /// The weather file of a row, when it has one.
    pub fn file_of(&self, row: &SiteRow) -> Option<PathBuf> {
        match self.sky_of(row.cells.as_ref().ok()?) {
            Ok(SkyOf::File(path)) => Some(path),
            _ => None,
        }
    }

    /// Whether more than one site of the whole table asks for a weather file.
    pub fn many_ask_for(&self, path: &Path) -> bool {
        self.files_of_many().contains(&hash(path))
    }

    /// Hashes of the weather files that more than one site of the whole table asks for. Counted once, on all threads.
    pub fn files_of_many(&self) -> &HashSet<u64> {
        let files_of = |part| -> Vec<u64> {
            let files = self.sites.part(part).into_iter().filter_map(|row| self.file_of(&row));
            files.map(|path| hash(&path)).collect()
        };
        let count = || -> HashSet<u64> {
            if self.spec.weather_set.is_some() {
                return HashSet::new();
            }
            let files: Vec<Vec<u64>> = (0..self.sites.parts()).into_par_iter().map(files_of).collect();
            let mut once = HashSet::new();
            files.into_iter().flatten().filter(|file| !once.insert(*file)).collect()
        };
        // Counted before the cell is locked: the threads that count may be asked for the same meanwhile.
        match self.shared_files.get() {
            Some(shared) => shared,
            None => {
                let counted = count();
                self.shared_files.get_or_init(|| counted)
            }
        }
    }

    /// A row is through: it asks for its weather no more.
    pub fn through(&self, row: &SiteRow) {
        if let Some(path) = self.file_of(row) {
            self.skies.through(&path);
        }
    }

    /// The template with the cells of a row put in. With `on_whose_word` the job also knows which inputs were given, and
    /// that those of the row come from the table; very many sites do without.
    pub fn job(&self, at: &str, cells: &[String], on_whose_word: bool) -> Result<Job, String> {
        let mut sections = self.sections.clone();
        let name = self.cell(cells, "site");
        let placed = ["latitude_deg", "longitude_deg"].iter().any(|c| !self.cell(cells, c).is_empty());
        if let Some(site) = sections.get_mut("site").and_then(Value::as_object_mut) {
            site.insert("name".into(), json!(name));
            if placed {
                // Height and clock of the template belong to its own place.
                site.remove("elevation_m");
                site.remove("utc_offset_h");
            }
        } else if placed {
            sections["site"] = json!({ "name": name });
        }
        let mut of_row = Vec::new();
        for (column, cell) in self.sites.header.iter().zip(cells).filter(|(_, cell)| !cell.is_empty()) {
            let key = match column.as_str() {
                "latitude_deg" | "longitude_deg" => format!("site.{column}"),
                "elevation_m" | "utc_offset_h" if placed || sections.get("site").is_some() => format!("site.{column}"),
                "label" => "weather.label".to_string(),
                key if key.contains('.') => key.to_string(),
                _ => continue,
            };
            let path =
                overrides::set(&mut sections, &key, value(cell)).map_err(|why| format!("{at}: {column}: {why}."))?;
            of_row.push(path);
        }
        let given = on_whose_word.then(|| {
            if !sections["sources"].is_object() {
                sections["sources"] = json!({});
            }
            for path in &of_row {
                sections["sources"][path] = json!(at);
            }
            self.given.iter().cloned().chain(of_row).collect()
        });
        self.checked(at, &sections, given).map_err(|e| e.to_string())
    }

    fn checked(&self, at: &str, sections: &Value, given: Option<BTreeSet<String>>) -> Result<Job, JobError> {
        let right = self.right.as_ref();
        let mut loader = |path: &Path| match self.files.get(path) {
            Some(bytes) => Ok(bytes.clone()),
            None => read_up_to(path, job::MAX_BYTES),
        };
        job::from_sections_given(at, sections, right, &self.job_base, given, &mut loader)
    }

    /// Whether a column's name is a key of the job at all: tried with its first filled cell.
    pub fn key_fault(&self, column: &str, cell: &str) -> Option<String> {
        let mut sections = self.sections.clone();
        if let Err(why) = overrides::set(&mut sections, column, value(cell)) {
            return Some(why);
        }
        match self.checked(&self.sites.file, &sections, None) {
            Err(JobError::UnknownKey(fault)) => {
                Some(format!("{}; expected {}. {}", fault.found, fault.expected, fault.mend))
            }
            _ => None,
        }
    }

    fn weather(&self, at: &str, cells: &[String], hints: &ReadHints) -> Result<(Arc<SkyYear>, String), String> {
        match self.sky_of(cells)? {
            SkyOf::File(path) => {
                let year = Stages::time(&self.stages.weather, || self.skies.year(&path, hints))
                    .map_err(|e| format!("{at}: weather: {e}"))?;
                let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
                Ok((year, name))
            }
            SkyOf::Set(name) => {
                let set = self.set.as_ref().ok_or_else(|| format!("{at}: there is no weather set."))?;
                let read = || self.skies.unchanged(set.path(), || set.year(&name, hints));
                let year = Stages::time(&self.stages.weather, read).map_err(|e| format!("{at}: weather: {e}"))?;
                Ok((Arc::new(SkyYear::new(year)), name))
            }
        }
    }

    /// The cells of a row that may be run: with a name of its own.
    fn cells_of<'a>(&self, row: &'a SiteRow, at: &str) -> Result<&'a [String], String> {
        let cells = row.cells.as_ref().map_err(|why| format!("{at}: {why}"))?;
        let name = self.cell(cells, "site");
        if name.is_empty() {
            return Err(format!("{at}: site is empty; expected a name. Give every site a name of its own."));
        }
        if let Some(line) = row.double_of {
            return Err(format!(
                "{at}: the name {name} stands at {} already; expected each name once. Rename or remove one of the two.",
                self.sites.at(line)
            ));
        }
        Ok(cells)
    }

    /// Weather for a job that is checked; `spare`: room for a year.
    fn prepared(
        &self,
        at: &str,
        cells: &[String],
        job: Job,
        spare: &mut Option<WeatherYear>,
    ) -> Result<Prepared, String> {
        let hints = job.read_hints().map_err(|e| e.to_string())?;
        let (sky, sky_name) = self.weather(at, cells, &hints)?;
        let placed = job.settle(&sky.year).map_err(|e| e.to_string())?;
        let sky = match self.cell(cells, "light_scale") {
            "" => sky,
            cell => {
                let factor = light_factor(cell).map_err(|why| format!("{at}: {why}"))?;
                Stages::time(&self.stages.plan, || Arc::new(scale_light(sky, factor, spare)))
            }
        };
        Ok(Prepared { job, sky, placed, sky_name })
    }

    /// The weather files behind a row and their names; none for a row that is refused before it is read.
    pub fn sky_file(&self, row: &SiteRow) -> Option<(String, PathBuf)> {
        let path = match self.sky_of(row.cells.as_ref().ok()?).ok()? {
            SkyOf::File(path) => path,
            SkyOf::Set(_) => self.base.join(self.spec.weather_set.as_ref()?),
        };
        Some((stamp::name_of(&path, &self.base), path))
    }

    fn refusal(&self, row: &SiteRow, reason: String) -> SiteRefused {
        let name = row.cells.as_ref().map_or_else(|_| String::new(), |c| self.cell(c, "site").to_string());
        SiteRefused { row: row.index + 1, line: row.line, name, reason }
    }

    /// One site by itself, with the checksums and the word behind every input that a page shows.
    pub fn one(&self, row: &SiteRow) -> Result<OneSite, SiteRefused> {
        self.try_one(row).map_err(|reason| self.refusal(row, reason))
    }

    fn try_one(&self, row: &SiteRow) -> Result<OneSite, String> {
        let at = self.sites.at(row.line);
        let cells = self.cells_of(row, &at)?;
        let name = self.cell(cells, "site").to_string();
        let mut job = self.job(&at, cells, true)?;
        job.name = page_stem(row.index + 1, &name);
        job.spec.title = format!("{}: {name}", self.spec.title);
        job.files = self.own_files.iter().chain(&self.job_files).chain(&job.files).fold(Vec::new(), |mut all, file| {
            if !all.contains(file) {
                all.push(file.clone());
            }
            all
        });
        let prepared = self.prepared(&at, cells, job, &mut None)?;
        let mut weather = prepared.sky.year.clone();
        // The shared years are read without checksums.
        let path = match self.sky_of(cells)? {
            SkyOf::File(path) => path,
            SkyOf::Set(_) => self.base.join(self.spec.weather_set.as_deref().unwrap_or_default()),
        };
        weather.provenance.sha256 = self.skies.checksum(&path).map_err(|e| format!("{at}: weather: {e}"))?;
        Ok(OneSite { row: row.index + 1, name, job: prepared.job, weather })
    }

    /// Runs one site. Never fails as a whole: what is wrong becomes the reason of a refusal.
    pub fn site(&self, row: &SiteRow, bench: &mut Bench) -> Result<SiteDone, SiteRefused> {
        let at = self.sites.at(row.line);
        let result = catch_unwind(AssertUnwindSafe(|| self.try_site(row, &at, bench))).unwrap_or_else(|_| {
            Err(format!(
                "{at}: a fault inside the program stopped this site; the others are not affected. Please report it."
            ))
        });
        result.map_err(|reason| self.refusal(row, reason))
    }

    fn try_site(&self, row: &SiteRow, at: &str, bench: &mut Bench) -> Result<SiteDone, String> {
        let cells = self.cells_of(row, at)?;
        let name = self.cell(cells, "site");
        let job = Stages::time(&self.stages.job, || self.job(at, cells, false))?;
        let prepared = self.prepared(at, cells, job, &mut bench.spare)?;
        let Prepared { job, sky, placed, sky_name } = prepared;
        let (job, year) = (&job, &sky.year);
        let plan = Stages::time(&self.stages.plan, || Plan::under(job, year, Some(sky.sun()), &mut bench.fits))
            .map_err(|e| format!("{at}: {e}"))?;
        let briefs = Stages::time(&self.stages.run, || brief(job, year, &plan, self.spec.split, &mut bench.scratch))
            .map_err(|e| format!("{at}: {e}"))?;
        let shift = sky.label_note();
        let mut common: Vec<&str> = Vec::new();
        for note in shift.into_iter().chain(&year.provenance.notes).chain(&placed.notes).chain(&plan.notes) {
            if note.loud && !common.contains(&note.code.as_str()) {
                common.push(&note.code);
            }
        }
        let options = briefs
            .into_iter()
            .zip(&plan.options)
            .map(|(brief, planned)| {
                let mut warnings: Vec<String> = common.iter().map(|c| c.to_string()).collect();
                for note in planned.notes.iter().filter(|n| n.loud) {
                    if !warnings.contains(&note.code) {
                        warnings.push(note.code.clone());
                    }
                }
                OptionDone { brief, verdict: verdict_word(planned.check.verdict), warnings }
            })
            .collect();
        let site = job.spec.site.as_ref();
        let done = SiteDone {
            row: row.index + 1,
            name: name.to_string(),
            groups: GROUP_COLUMNS
                .iter()
                .filter(|c| self.sites.column(c).is_some())
                .map(|c| self.cell(cells, c).to_string())
                .collect(),
            latitude_deg: site.map_or(placed.place.latitude_deg, |s| s.latitude_deg),
            longitude_deg: site.map_or(placed.place.longitude_deg, |s| s.longitude_deg),
            weather: sky_name,
            options,
        };
        let finite = |o: &OptionDone| {
            let y = &o.brief.year;
            y.e_ac_kwh().is_finite() && y.pr().is_finite() && y.y_f_h().is_finite() && o.brief.lifetime_kwh.is_finite()
        };
        bench.spare = Arc::into_inner(sky).map(|sky| sky.year).or(bench.spare.take());
        match done.options.iter().find(|o| !finite(o)) {
            Some(o) => Err(format!(
                "{at}: option {} has no light in its plane all year; expected some. Check tilt, azimuth and weather.",
                o.brief.year.tag
            )),
            None => Ok(done),
        }
    }
}

fn hash(path: &Path) -> u64 {
    BuildHasherDefault::<DefaultHasher>::default().hash_one(path)
}

/// The cell of `light_scale`.
fn light_factor(cell: &str) -> Result<f64, String> {
    cell.parse::<f64>().ok().filter(|x| (0.5..=1.5).contains(x)).ok_or_else(|| {
        format!("light_scale is {cell}; expected 0.5 to 1.5. Give the share of the file's light that reaches the site.")
    })
}

/// All light of a year times a factor, which its notes say.
fn scale_light(sky: Arc<SkyYear>, factor: f64, spare: &mut Option<WeatherYear>) -> SkyYear {
    let mut sky = sky.times(factor, spare);
    let text =
        format!("All light of the weather file is taken times {factor}, as light_scale of the table of sites says.");
    sky.year.provenance.notes.push(Note::quiet("fleet.light-scale", text));
    sky
}

/// Name of the page of a site, without ending: the row makes it unlike all others.
pub fn page_stem(row: usize, name: &str) -> String {
    let mut stem = format!("{row:05}");
    for word in name.split(|c: char| !c.is_ascii_alphanumeric()).filter(|w| !w.is_empty()) {
        if stem.len() + word.len() > 60 {
            break;
        }
        stem.push('-');
        stem.push_str(&word.to_ascii_lowercase());
    }
    stem
}

fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Allowed => "allowed",
        Verdict::AllowedThin => "allowed-thin",
        Verdict::PartlyChecked => "partly-checked",
        Verdict::NotAllowed => "not-allowed",
    }
}
