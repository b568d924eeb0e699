//! The end of a run: all parts checked, joined and summed up.

use std::collections::{BTreeMap, HashMap};
use std::io::Write;
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use serde::Serialize;

use super::error::FleetError;
use super::manifest::{MAX_PART, Manifest, clear, list, prepare, read_text, refused_file, rows_file, weather_file};
use super::stamp;
use crate::tables::{Table, TableError, csv_bytes, group_rows, read_parquet, read_parquet_columns, write_whole};
use crate::weather::read_up_to;

/// Sites up to which an index is made: a page with more is of no use in a browser.
pub const INDEX_SITES: usize = 2000;

/// The joined results.
#[derive(Debug, Clone, PartialEq)]
pub struct Joined {
    /// Where they stand.
    pub folder: PathBuf,
    /// Title of the fleet.
    pub title: String,
    /// Language of the index page.
    pub language: String,
    /// What `summary.json` holds.
    pub summary: Summary,
    /// A line per site, in order; empty above [`INDEX_SITES`].
    pub index: Vec<IndexLine>,
    /// The first refusals, at most 20: site and reason.
    pub refused: Vec<(String, String)>,
}

/// One site of the index.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct IndexLine {
    /// Row of the table, from 1.
    pub row: i64,
    /// Name.
    pub site: String,
    /// Option with the most energy, its energy in kWh, its final yield in kWh/kW, its gap to the first option in kWh.
    pub best: Option<(String, f64, f64, f64)>,
    /// Why it was refused.
    pub refused: Option<String>,
}

impl IndexLine {
    /// From a row of `refused.csv`.
    fn refused(record: &csv::StringRecord) -> IndexLine {
        let cell = |i: usize| record.get(i).unwrap_or_default().to_string();
        IndexLine { row: cell(0).parse().unwrap_or(0), site: cell(2), best: None, refused: Some(cell(3)) }
    }
}

/// `summary.json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Summary {
    /// Title of the fleet.
    pub title: String,
    /// Version of the program.
    pub program: String,
    /// Rows of the table of sites.
    pub sites: usize,
    /// Sites with results.
    pub done: usize,
    /// Sites refused.
    pub refused: usize,
    /// By option.
    pub options: Vec<GroupSummary>,
    /// By country and option; empty when the table has no such column.
    pub countries: Vec<GroupSummary>,
    /// By climate and option; empty when the table has no such column.
    pub climates: Vec<GroupSummary>,
}

/// Results of one option over a group of sites.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GroupSummary {
    /// Country or climate; empty for all sites.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub group: String,
    /// Option.
    pub option: String,
    /// Number of sites.
    pub sites: usize,
    /// Sum over the sites, first year, kWh.
    pub e_ac_kwh: f64,
    /// Final yield over the sites, kWh/kW.
    pub y_f_h: Quantiles,
    /// Final yield less that of the first option at the same site, kWh/kW.
    pub gap_kwh_per_kw: Quantiles,
    /// Sites where this option gives the most energy.
    pub best_kwh: usize,
    /// Sites where this option gives the most energy per kW.
    pub best_kwh_per_kw: usize,
    /// Sites where its strings are not allowed.
    pub not_allowed: usize,
}

/// Spread over sites; quantiles by straight lines between the order statistics.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Quantiles {
    /// Least.
    pub least: f64,
    /// A tenth of the sites lie below.
    pub q10: f64,
    /// Half of the sites lie below.
    pub median: f64,
    /// Nine tenths of the sites lie below.
    pub q90: f64,
    /// Greatest.
    pub greatest: f64,
    /// Mean.
    pub mean: f64,
}

impl Quantiles {
    /// Of at least one value.
    ///
    /// ```
    /// let q = yearlight::fleet::Quantiles::of(&mut [3.0, 1.0, 2.0, 5.0, 4.0]);
    /// assert_eq!((q.least, q.q10, q.median, q.mean), (1.0, 1.4, 3.0, 3.0));
    /// ```
    pub fn of(values: &mut [f64]) -> Quantiles {
        values.sort_by(f64::total_cmp);
        let n = values.len();
        let at = |share: f64| {
            let place = share * n.saturating_sub(1) as f64;
            let low = place.floor() as usize;
            let (a, b) = (values.get(low).copied().unwrap_or(0.0), values.get(low + 1).copied());
            b.map_or(a, |b| a + (b - a) * (place - low as f64))
        };
        let mean = if n > 0 { values.iter().sum::<f64>() / n as f64 } else { 0.0 };
        Quantiles { least: at(0.0), q10: at(0.1), median: at(0.5), q90: at(0.9), greatest: at(1.0), mean }
    }
}

/// Joins the shares in the folders below `dir`; checks that all come from the same run and no part is missing or there
/// twice. A folder without shares is checked and summed up again.
///
/// # Errors
/// [`FleetError`] that names the missing, double or foreign part.
pub fn gather(dir: &Path) -> Result<Joined, FleetError> {
    let mut folders = Vec::new();
    for (path, _) in list(dir)? {
        if path.is_dir()
            && let Some(manifest) = Manifest::of(&path)?
        {
            folders.push((path, manifest));
        }
    }
    let Some((_, manifest)) = folders.first().cloned() else {
        return match Manifest::of(dir)? {
            Some(manifest) => {
                all_there(&manifest, &[(dir.to_path_buf(), manifest.clone())])?;
                clear(dir, false)?;
                join(dir, &manifest)
            }
            None => Err(FleetError::Parts {
                path: dir.to_path_buf(),
                found: "there are no results of a fleet here".to_string(),
                mend: "Name the folder that the shares were written to.".to_string(),
            }),
        };
    };
    for (folder, other) in &folders {
        manifest.expect(other, folder)?;
    }
    let home = all_there(&manifest, &folders)?;
    one_weather(&home)?;
    prepare(dir)?;
    clear(dir, true)?;
    manifest.write(dir)?;
    for (part, folder) in home.iter().enumerate() {
        for (from, to) in [
            (refused_file(folder, part), refused_file(dir, part)),
            (weather_file(folder, part), weather_file(dir, part)),
            (rows_file(folder, part), rows_file(dir, part)),
        ] {
            let bytes =
                read_up_to(&from, MAX_PART).map_err(|e| FleetError::unreadable(&from, &e, "a part of a fleet"))?;
            write_whole(&to, &bytes)?;
        }
    }
    join(dir, &manifest)
}

/// The folder of every part.
fn all_there(manifest: &Manifest, folders: &[(PathBuf, Manifest)]) -> Result<Vec<PathBuf>, FleetError> {
    let mut home = Vec::with_capacity(manifest.parts);
    for part in 0..manifest.parts {
        let with: Vec<&PathBuf> = folders.iter().map(|(f, _)| f).filter(|f| rows_file(f, part).exists()).collect();
        let rows = manifest.rows_of(part);
        let which = format!("part {part} (rows {} to {} of the sites)", rows.start(), rows.end());
        match with.as_slice() {
            [one] => home.push((*one).clone()),
            [] => {
                let path = folders.first().map_or_else(PathBuf::new, |(f, _)| f.clone());
                return Err(FleetError::Parts {
                    path: path.parent().filter(|_| folders.len() > 1).map_or(path.clone(), Path::to_path_buf),
                    found: format!("{which} is missing"),
                    mend: "Run its share again with --resume, or bring its folder here.".to_string(),
                });
            }
            [one, two, ..] => {
                return Err(FleetError::Parts {
                    path: (*two).clone(),
                    found: format!("{which} is in {} as well", one.display()),
                    mend: "Shares of different numbers were mixed: remove the folders of one of them.".to_string(),
                });
            }
        }
    }
    Ok(home)
}

/// Refuses shares that saw different files under one name. Only lengths are compared: a copy on another machine has a
/// time of its own.
fn one_weather(home: &[PathBuf]) -> Result<(), FleetError> {
    let mut seen: BTreeMap<String, (u64, &PathBuf)> = BTreeMap::new();
    for (part, folder) in home.iter().enumerate() {
        for (name, stamp) in stamp::read(&weather_file(folder, part)).unwrap_or_default() {
            let Some(stamp) = stamp else { continue };
            let (bytes, first) = *seen.entry(name.clone()).or_insert((stamp.bytes, folder));
            if bytes != stamp.bytes {
                return Err(FleetError::Parts {
                    path: folder.clone(),
                    found: format!(
                        "the weather file {name} had {} bytes here and {bytes} bytes for {}",
                        stamp.bytes,
                        first.display()
                    ),
                    mend: "Run one of the two again on the same weather files.".to_string(),
                });
            }
        }
    }
    Ok(())
}

/// The lines of the index of a folder that holds a whole run, for a page that is made again; nothing when the folder
/// holds no such run, or more sites than an index has.
///
/// # Errors
/// [`FleetError`] when a file of the run cannot be read.
pub fn index_of(folder: &Path) -> Result<Option<(Manifest, Vec<IndexLine>)>, FleetError> {
    let Some(manifest) = Manifest::of(folder)? else { return Ok(None) };
    if manifest.sites > INDEX_SITES || (0..manifest.parts).any(|part| manifest.check(folder, part).is_err()) {
        return Ok(None);
    }
    let mut all = Columns { groups: vec![Vec::new(); manifest.groups.len()], ..Columns::default() };
    let mut index = Vec::new();
    for part in 0..manifest.parts {
        let mut lines = all.add(&read_parquet(&rows_file(folder, part))?, &manifest.groups);
        let path = refused_file(folder, part);
        let text = read_text(&path).map_err(|e| FleetError::unreadable(&path, &e, "refusals"))?;
        lines.extend(csv::Reader::from_reader(text.as_bytes()).records().flatten().map(|r| IndexLine::refused(&r)));
        lines.sort_by_key(|l| l.row);
        index.append(&mut lines);
    }
    Ok(Some((manifest, index)))
}

/// Parts that are read beside each other.
const AT_ONCE: usize = 16;

/// The columns that the summary needs.
const NEEDED: [&str; 7] = ["row", "site", "option", "string_check", "y_f_h", "e_ac_kwh", "gap_kwh"];

/// Checks every part of a folder and writes the end files but the index page.
pub(super) fn join(folder: &Path, manifest: &Manifest) -> Result<Joined, FleetError> {
    let mut all = Columns { groups: vec![Vec::new(); manifest.groups.len()], ..Columns::default() };
    let mut needed: Vec<&str> = NEEDED.to_vec();
    needed.push("gap_kwh_per_kw");
    needed.extend(manifest.groups.iter().map(String::as_str));
    let with_index = manifest.sites <= INDEX_SITES;
    let mut index = Vec::new();
    let mut refused = Vec::new();
    let (mut sites_done, mut sites_refused) = (0, 0);
    let mut refusals = HalfFile::new(&folder.join("refused.csv"))?;
    let mut csv = if manifest.csv { Some(HalfFile::new(&folder.join("fleet.csv"))?) } else { None };
    let read = |part: usize| -> Result<(Table, String), FleetError> {
        manifest.check(folder, part).map_err(|found| FleetError::Parts {
            path: folder.to_path_buf(),
            found,
            mend: "Delete the two files and run again with --resume.".to_string(),
        })?;
        let path = rows_file(folder, part);
        let table = if manifest.csv { read_parquet(&path)? } else { read_parquet_columns(&path, &needed)? };
        let path = refused_file(folder, part);
        let text = read_text(&path).map_err(|e| FleetError::unreadable(&path, &e, "refusals"))?;
        Ok((table, text))
    };
    // A few on all threads, then those one after the other: never all parts of a large fleet at once.
    let parts = (0..manifest.parts).step_by(AT_ONCE).flat_map(|first| {
        let some: Vec<usize> = (first..manifest.parts.min(first + AT_ONCE)).collect();
        some.into_par_iter().with_max_len(1).map(|part| (part, read(part))).collect::<Vec<_>>()
    });
    for (part, read) in parts {
        let (table, text) = read?;
        if let Some(csv) = &mut csv {
            csv.write(&csv_bytes(&table, part == 0))?;
        }
        let mut lines = all.add(&table, &manifest.groups);
        sites_done += lines.len();
        refusals
            .write(if part == 0 { &text } else { text.split_once('\n').map_or("", |(_, rest)| rest) }.as_bytes())?;
        for record in csv::Reader::from_reader(text.as_bytes()).records().flatten() {
            let cell = |i: usize| record.get(i).unwrap_or_default().to_string();
            sites_refused += 1;
            if refused.len() < 20 {
                refused.push((cell(2), cell(3)));
            }
            if with_index {
                lines.push(IndexLine::refused(&record));
            }
        }
        if with_index {
            lines.sort_by_key(|l| l.row);
            index.append(&mut lines);
        }
    }
    refusals.finish()?;
    if let Some(csv) = csv {
        csv.finish()?;
    }
    let column = |name: &str| manifest.groups.iter().position(|g| g == name);
    let summary = Summary {
        title: manifest.title.clone(),
        program: manifest.program.clone(),
        sites: manifest.sites,
        done: sites_done,
        refused: sites_refused,
        options: all.summary(None)?,
        countries: column("country").map_or(Ok(Vec::new()), |g| all.summary(Some(g)))?,
        climates: column("climate").map_or(Ok(Vec::new()), |g| all.summary(Some(g)))?,
    };
    let mut text = serde_json::to_string_pretty(&summary).unwrap_or_default();
    text.push('\n');
    write_whole(&folder.join("summary.json"), text.as_bytes())?;
    let (title, language) = (manifest.title.clone(), manifest.language.clone());
    Ok(Joined { folder: folder.to_path_buf(), title, language, summary, index, refused })
}

/// Words that repeat, by number: a row then takes no more than its figures.
#[derive(Default)]
struct Names {
    all: Vec<String>,
    known: HashMap<String, u32>,
}

impl Names {
    fn number(&mut self, name: &str) -> u32 {
        if let Some(&at) = self.known.get(name) {
            return at;
        }
        let at = self.all.len() as u32;
        self.all.push(name.to_string());
        self.known.insert(name.to_string(), at);
        at
    }
}

/// What the summary keeps of every row.
#[derive(Default)]
struct Columns {
    names: Names,
    option: Vec<u32>,
    groups: Vec<Vec<u32>>,
    y_f: Vec<f64>,
    e_ac: Vec<f64>,
    gap_per_kw: Vec<f64>,
    best_kwh: Vec<bool>,
    best_per_kw: Vec<bool>,
    not_allowed: Vec<bool>,
}

impl Columns {
    /// Takes the rows of a part; gives a line per site.
    fn add(&mut self, table: &Table, groups: &[String]) -> Vec<IndexLine> {
        let rows = table.wholes("row").unwrap_or_default();
        let words = |name: &str| table.words(name).unwrap_or_default();
        let numbers = |name: &str| table.numbers(name).unwrap_or_default();
        let (site, option) = (words("site"), words("option"));
        let (y_f, e_ac, gap) = (numbers("y_f_h"), numbers("e_ac_kwh"), numbers("gap_kwh"));
        self.option.extend(option.iter().map(|name| self.names.number(name)));
        for (all, name) in self.groups.iter_mut().zip(groups) {
            all.extend(words(name).iter().map(|name| self.names.number(name)));
        }
        self.y_f.extend_from_slice(y_f);
        self.e_ac.extend_from_slice(e_ac);
        self.gap_per_kw.extend_from_slice(numbers("gap_kwh_per_kw"));
        self.not_allowed.extend(words("string_check").iter().map(|w| w == "not-allowed"));
        let mut lines = Vec::new();
        let mut from = 0;
        while from < rows.len() {
            let to = from + rows[from..].iter().take_while(|r| **r == rows[from]).count();
            // The first of equals.
            let best = |x: &[f64]| (from..to).rev().max_by(|a, b| x[*a].total_cmp(&x[*b])).unwrap_or(from);
            let (most, most_per_kw) = (best(e_ac), best(y_f));
            self.best_kwh.extend((from..to).map(|i| i == most));
            self.best_per_kw.extend((from..to).map(|i| i == most_per_kw));
            lines.push(IndexLine {
                row: rows[from],
                site: site[from].clone(),
                best: Some((option[most].clone(), e_ac[most], y_f[most], gap[most])),
                refused: None,
            });
            from = to;
        }
        lines
    }

    /// By option, and by one of the copied columns before it.
    fn summary(&self, group: Option<usize>) -> Result<Vec<GroupSummary>, TableError> {
        let numbers = |column: &[u32]| column.iter().map(|&n| i64::from(n)).collect::<Vec<_>>();
        let mut table = Table::new();
        let mut by = Vec::new();
        if let Some(g) = group {
            table = table.whole("group", numbers(&self.groups[g]));
            by.push("group");
        }
        by.push("option");
        let table = table.whole("option", numbers(&self.option));
        let name = |number: u32| self.names.all.get(number as usize).cloned().unwrap_or_default();
        let groups = group_rows(&table, &by)?;
        let mut lines: Vec<GroupSummary> = groups
            .iter()
            .filter(|rows| !rows.is_empty())
            .map(|rows| {
                let pick = |x: &[f64]| rows.iter().map(|&i| x[i]).collect::<Vec<_>>();
                let count = |x: &[bool]| rows.iter().filter(|&&i| x[i]).count();
                GroupSummary {
                    group: group.map_or(String::new(), |g| name(self.groups[g][rows[0]])),
                    option: name(self.option[rows[0]]),
                    sites: rows.len(),
                    e_ac_kwh: pick(&self.e_ac).iter().sum(),
                    y_f_h: Quantiles::of(&mut pick(&self.y_f)),
                    gap_kwh_per_kw: Quantiles::of(&mut pick(&self.gap_per_kw)),
                    best_kwh: count(&self.best_kwh),
                    best_kwh_per_kw: count(&self.best_per_kw),
                    not_allowed: count(&self.not_allowed),
                }
            })
            .collect();
        // Options keep the template's order within a group.
        lines.sort_by(|a, b| a.group.cmp(&b.group));
        Ok(lines)
    }
}

/// A file that grows under a temporary name and is renamed when whole.
struct HalfFile {
    path: PathBuf,
    half: PathBuf,
    file: Option<std::fs::File>,
}

impl HalfFile {
    fn new(path: &Path) -> Result<HalfFile, TableError> {
        let mut name = path.file_name().unwrap_or_default().to_os_string();
        name.push(format!(".{}.part", std::process::id()));
        let half = path.with_file_name(name);
        let fail = |source| TableError::Write { path: path.to_path_buf(), source };
        let file = std::fs::File::create(&half).map_err(fail)?;
        Ok(HalfFile { path: path.to_path_buf(), half, file: Some(file) })
    }

    fn write(&mut self, bytes: &[u8]) -> Result<(), TableError> {
        let fail = |source| TableError::Write { path: self.path.clone(), source };
        self.file.as_mut().map_or(Ok(()), |f| f.write_all(bytes)).map_err(fail)
    }

    fn finish(mut self) -> Result<(), TableError> {
        let fail = |source| TableError::Write { path: self.path.clone(), source };
        if let Some(file) = &self.file {
            file.sync_data().map_err(fail)?;
        }
        std::fs::rename(&self.half, &self.path).map_err(fail)?;
        self.file = None;
        Ok(())
    }
}

impl Drop for HalfFile {
    fn drop(&mut self) {
        if self.file.take().is_some() {
            let _ = std::fs::remove_file(&self.half);
        }
    }
}
