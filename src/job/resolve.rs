//! From a checked document to a [`Job`]: parts joined, files read, names resolved, counts settled, contradictions found.

use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::{Component, Path, PathBuf};

use serde::Deserialize;
use sha2::{Digest, Sha256};

use super::check::check;
use super::error::{At, JobError, fault, list, nearest};
use super::node;
use super::origin::Origin;
use super::spec::{JobSpec, OptionSpec, SkylineSpec};
use super::tree::{Entry, Files, Kind, Mark, Tree, from_toml, number_text};
use super::{FileDigest, Job, ResolvedOption, ledger, record};
use crate::module::ModuleSheet;
use crate::plane::{ObstacleSpec, PlaneSpec};
use crate::plant::{InverterSheet, PlantError};
use crate::units::{Note, shown_path};
use crate::weather::Quantity;

/// Hands out the bytes of a file by its path, relative to the current folder.
pub type Loader<'a> = dyn FnMut(&Path) -> io::Result<Vec<u8>> + 'a;

/// Checks a job given as text: TOML, or the JSON of a run record.
///
/// `name` is the file's name in messages, `base` the folder that paths inside it are relative to, `loader` hands out
/// the parts, skyline, matrix and load files.
pub fn from_text(name: &str, text: &str, base: &Path, loader: &mut Loader<'_>) -> Result<Job, JobError> {
    from_text_over(name, text, base, &serde_json::Value::Null, loader)
}

/// As [`from_text`], with top-level keys of `over`, an object or null, in place of those of the text.
pub fn from_text_over(
    name: &str,
    text: &str,
    base: &Path,
    over: &serde_json::Value,
    loader: &mut Loader<'_>,
) -> Result<Job, JobError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if text.trim_start().starts_with('{') || name.ends_with(".json") {
        if !over.is_null() {
            return Err(JobError::Clash(fault(
                At { file: name.to_string(), line: 0 },
                "a run record holds its parts already",
                "a job file in TOML where parts are given beside it",
                "Leave the parts out, or name the job file.",
            )));
        }
        return record::from_json(name, text, base, loader);
    }
    let mut source = Source::new(base, loader);
    source.note_file(name, text.as_bytes());
    let file = source.files.add(name);
    let mut tree = from_toml(text, &source.files, file)?;
    record::put_over(&mut tree, over, &mut source);
    check(&tree, node::job(), &source.files)?;
    source.take_parts(&mut tree)?;
    let stem = Path::new(name).file_stem().map_or("job".to_string(), |s| s.to_string_lossy().into_owned());
    build(Named { name: stem, path: PathBuf::from(name), base: base.to_path_buf() }, tree, None, source)
}

/// Modules and inverters of a parts file with the measured tables that modules name, `[W/m2, C, W]`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Parts {
    /// `[module.X]` and the rows of `module_table`.
    pub modules: BTreeMap<String, ModuleSheet>,
    /// `[inverter.X]`.
    pub inverters: BTreeMap<String, InverterSheet>,
    /// By module tag.
    pub matrices: BTreeMap<String, Vec<[f64; 3]>>,
}

/// Checks a parts file; `path` is relative to the current folder, `loader` hands out the files.
pub fn parts(path: &Path, loader: &mut Loader<'_>) -> Result<Parts, JobError> {
    let base = path.parent().unwrap_or(Path::new("")).to_path_buf();
    let mut source = Source::new(&base, loader);
    let shown = path.display().to_string();
    let file = source.files.add(&shown);
    let mark = Mark { file, line: 0 };
    let name = path.file_name().map_or(shown, |n| n.to_string_lossy().into_owned());
    let key = Entry { key: "parts".into(), mark, value: Tree { mark, kind: Kind::Text(name) } };
    let mut tree = Tree::table(mark, vec![key]);
    source.take_parts(&mut tree)?;
    let spec = super::spec::PartsSpec::deserialize(&tree.json()).map_err(|e| {
        JobError::WrongType(fault(
            source.at(mark),
            format!("the file does not fit together ({e})"),
            "sections [module.X] and [inverter.X]",
            "Compare with the files that `yearlight start` writes.",
        ))
    })?;
    let mut matrices = BTreeMap::new();
    for (tag, module) in &spec.module {
        if let Some(path) = &module.matrix {
            let key = tree.get("module").and_then(|m| m.get(tag)).and_then(|m| m.get("matrix")).unwrap_or(&tree);
            matrices.insert(tag.clone(), matrix(&join(&base, path), key, &mut source)?);
        }
    }
    Ok(Parts { modules: spec.module, inverters: spec.inverter, matrices })
}

/// Names of a job to be.
pub(super) struct Named {
    pub name: String,
    pub path: PathBuf,
    pub base: PathBuf,
}

/// The files behind a document.
pub(super) struct Source<'a, 'l> {
    pub files: Files,
    pub digests: Vec<FileDigest>,
    base: PathBuf,
    loader: &'a mut Loader<'l>,
}

impl<'a, 'l> Source<'a, 'l> {
    pub fn new(base: &Path, loader: &'a mut Loader<'l>) -> Self {
        Source { files: Files::default(), digests: Vec::new(), base: base.to_path_buf(), loader }
    }

    pub fn note_file(&mut self, name: &str, bytes: &[u8]) {
        self.digests.push(FileDigest { file: name.to_string(), sha256: sha256_hex(bytes) });
    }

    fn at(&self, mark: Mark) -> At {
        self.files.at(mark)
    }

    /// Reads a file that a key of the document names.
    fn text(&mut self, path: &Path, key: &Tree, key_name: &str, what: &str) -> Result<String, JobError> {
        let shown = shown_path(path);
        let bytes = (self.loader)(path).map_err(|e| {
            let mut error = unreadable(&shown, &e, what);
            if let JobError::Unreadable(fault) = &mut error {
                // Point at the key that names the file, then say what is wrong with the file.
                fault.found = format!("{key_name} names {shown}, which {}", fault_verb(&e));
                fault.at = self.at(key.mark);
            }
            error
        })?;
        self.note_file(&path.display().to_string(), &bytes);
        decode(&shown, bytes, what)
    }

    /// Joins parts file, module table and inline sections into the tree's `module` and `inverter`.
    pub fn take_parts(&mut self, tree: &mut Tree) -> Result<(), JobError> {
        let Some(parts) = tree.get("parts").cloned() else { return Ok(()) };
        let path = join(&self.base, parts.text().unwrap_or_default());
        let text = self.text(&path, &parts, "parts", "a parts file")?;
        let file = self.files.add(&shown_path(&path));
        let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
        let mut doc = from_toml(text, &self.files, file)?;
        check(&doc, node::parts(), &self.files)?;
        let folder = path.parent().unwrap_or(Path::new("")).to_path_buf();
        if let Some(table) = doc.get("module_table").cloned() {
            let path = join(&folder, table.text().unwrap_or_default());
            let text = self.text(&path, &table, "module_table", "a CSV of modules")?;
            let file = self.files.add(&shown_path(&path));
            let rows = module_rows(&text, &self.files, file)?;
            let wrapped = Tree::table(
                Mark { file, line: 0 },
                vec![Entry { key: "module".into(), mark: Mark { file, line: 1 }, value: rows.clone() }],
            );
            check(&wrapped, node::parts(), &self.files)?;
            self.merge(&mut doc, "module", rows.entries())?;
        }
        // A path in the parts file is relative to it; from here on to the job file.
        let relative = Path::new(parts.text().unwrap_or_default()).parent().unwrap_or(Path::new("")).to_path_buf();
        rebase_matrices(&mut doc, &relative);
        for key in ["module", "inverter"] {
            if let Some(table) = doc.get(key) {
                let entries = table.entries().to_vec();
                self.merge(tree, key, &entries)?;
            }
        }
        if let Kind::Table(entries) = &mut tree.kind {
            entries.retain(|e| e.key != "parts");
        }
        Ok(())
    }

    fn merge(&self, tree: &mut Tree, key: &str, more: &[Entry]) -> Result<(), JobError> {
        let mark = tree.mark;
        let Kind::Table(entries) = &mut tree.kind else { return Ok(()) };
        let index = match entries.iter().position(|e| e.key == key) {
            Some(i) => i,
            None => {
                entries.push(Entry { key: key.to_string(), mark, value: Tree::table(mark, Vec::new()) });
                entries.len() - 1
            }
        };
        let Kind::Table(present) = &mut entries[index].value.kind else { return Ok(()) };
        for entry in more {
            if let Some(first) = present.iter().find(|e| e.key == entry.key) {
                return Err(JobError::BadName(fault(
                    self.at(first.mark),
                    format!("{key}.{} is defined here and again at {}", entry.key, self.at(entry.mark)),
                    "each name once",
                    "Rename or remove one of the two.",
                )));
            }
            present.push(entry.clone());
        }
        Ok(())
    }
}

fn rebase_matrices(doc: &mut Tree, folder: &Path) {
    let Kind::Table(sections) = &mut doc.kind else { return };
    for section in sections.iter_mut().filter(|e| e.key == "module") {
        let Kind::Table(modules) = &mut section.value.kind else { continue };
        for module in modules {
            let Kind::Table(keys) = &mut module.value.kind else { continue };
            for key in keys.iter_mut().filter(|e| e.key == "matrix") {
                if let Kind::Text(path) = &mut key.value.kind {
                    *path = join(folder, &*path).display().to_string();
                }
            }
        }
    }
}

/// A CSV of modules as the tree of `[module.X]`: a column `tag` and columns named like the keys; empty cells are left
/// out, and a cell that begins with `[` is read as a TOML list.
fn module_rows(text: &str, files: &Files, file: u16) -> Result<Tree, JobError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader =
        csv::ReaderBuilder::new().trim(csv::Trim::All).comment(Some(b'#')).flexible(true).from_reader(text.as_bytes());
    let at = |line: u64| files.at(Mark { file, line: line as u32 });
    let broken = |e: csv::Error| {
        let line = e.position().map_or(0, csv::Position::line);
        JobError::Syntax(fault(
            at(line),
            "this does not read as CSV",
            "a header and one module per row",
            "Check the quotes of this row.",
        ))
    };
    let header = reader.headers().map_err(broken)?.clone();
    let Some(tag_column) = header.iter().position(|h| h == "tag") else {
        return Err(JobError::MissingKey(fault(
            at(1),
            "there is no column tag",
            "a column tag and columns named like the keys of [module.X]",
            "Add a column tag with a short name for each module.",
        )));
    };
    let mut seen = BTreeSet::new();
    if let Some(twice) = header.iter().find(|h| !seen.insert(*h)) {
        return Err(JobError::BadName(fault(
            at(1),
            format!("the column {twice} stands twice"),
            "each column once",
            "Remove one of the two.",
        )));
    }
    let mut modules: Vec<Entry> = Vec::new();
    for row in reader.records() {
        let row = row.map_err(broken)?;
        let line = row.position().map_or(0, csv::Position::line);
        let mark = Mark { file, line: line as u32 };
        if row.len() != header.len() {
            return Err(JobError::Syntax(fault(
                at(line),
                format!("the row has {} cells", row.len()),
                format!("{} as in the header", header.len()),
                "Add or remove commas; put text that holds a comma in double quotes.",
            )));
        }
        let tag = row[tag_column].to_string();
        if let Some(first) = modules.iter().find(|m| m.key == tag) {
            return Err(JobError::BadName(fault(
                at(line),
                format!("tag {tag:?} stands in line {} already", first.mark.line),
                "each tag once",
                "Rename or remove one of the two.",
            )));
        }
        let mut keys = Vec::new();
        for (key, cell) in header.iter().zip(row.iter()).filter(|(k, c)| *k != "tag" && !c.is_empty()) {
            let value = if cell.starts_with('[') {
                let list = from_toml(&format!("x = {cell}"), files, file).ok().and_then(|t| t.get("x").cloned());
                match list {
                    Some(list) => on_line(list, mark),
                    None => Tree { mark, kind: Kind::Text(cell.to_string()) },
                }
            } else {
                let kind = match (cell.parse::<i64>(), cell.parse::<f64>()) {
                    _ if ["name", "source", "matrix", "electrical"].contains(&key) => Kind::Text(cell.to_string()),
                    (Ok(x), _) => Kind::Int(x),
                    (_, Ok(x)) => Kind::Float(x),
                    _ => Kind::Text(cell.to_string()),
                };
                Tree { mark, kind }
            };
            keys.push(Entry { key: key.to_string(), mark, value });
        }
        modules.push(Entry { key: tag, mark, value: Tree::table(mark, keys) });
    }
    Ok(Tree::table(Mark { file, line: 1 }, modules))
}

fn on_line(tree: Tree, mark: Mark) -> Tree {
    let kind = match tree.kind {
        Kind::List(items) => Kind::List(items.into_iter().map(|t| on_line(t, mark)).collect()),
        other => other,
    };
    Tree { mark, kind }
}

/// From a checked, joined tree. `given` overrides which inputs count as given (a run record knows).
pub(super) fn build(
    named: Named,
    tree: Tree,
    given: Option<BTreeSet<String>>,
    source: Source<'_, '_>,
) -> Result<Job, JobError> {
    let spec = JobSpec::deserialize(&tree.json());
    build_from(named, tree, spec, given, source)
}

/// As [`build`], with the sections as they were read from what the tree was made of.
pub(super) fn build_from(
    named: Named,
    tree: Tree,
    spec: serde_json::Result<JobSpec>,
    given: Option<BTreeSet<String>>,
    mut source: Source<'_, '_>,
) -> Result<Job, JobError> {
    let mut spec = spec.map_err(|e| {
        JobError::WrongType(fault(
            source.at(Mark { file: tree.mark.file, line: 0 }),
            format!("the file does not fit together ({e})"),
            "sections and keys as in the manual",
            "Compare with the files that `yearlight start` writes.",
        ))
    })?;
    let modules = std::mem::take(&mut spec.module);
    let inverters = std::mem::take(&mut spec.inverter);
    if spec.losses.dirt_model.is_some() && tree.get("losses").is_some_and(|l| l.get("dirt_pct").is_none()) {
        // The model stands in for the default.
        spec.losses.dirt_pct = crate::units::OneOrTwelve::One(0.0);
    }
    let mut notes = Vec::new();

    let look = Look { tree: &tree, source: &source };
    look.site_and_weather(&spec)?;
    look.planes(&spec.plane)?;
    look.modules(&modules)?;
    look.inverters(&inverters)?;
    look.strings_and_cable(&spec)?;
    look.dirt(&spec)?;
    let options = look.options(&spec, &modules, &inverters)?;

    let skyline = skyline(&mut spec, &tree, &mut source)?;
    let mut matrices = BTreeMap::new();
    for (tag, module) in &modules {
        if let Some(path) = &module.matrix {
            let key = tree.get("module").and_then(|m| m.get(tag)).and_then(|m| m.get("matrix")).unwrap_or(&tree);
            matrices.insert(tag.clone(), matrix(&join(&named.base, path), key, &mut source)?);
        }
    }
    let load_kw = match &spec.grid.load {
        Some(path) => {
            let key = tree.get("grid").and_then(|g| g.get("load")).unwrap_or(&tree);
            load_column(&join(&named.base, path), key, &mut source)?
        }
        None => Vec::new(),
    };
    let job = Job {
        name: named.name,
        path: named.path,
        base: named.base,
        spec,
        modules,
        inverters,
        options,
        skyline,
        matrices,
        load_kw,
        notes: Vec::new(),
        files: source.digests.clone(),
        given,
        origin: Origin::new(tree, source.files.clone()),
        record_base: None,
    };
    Look { tree: job.origin.tree(), source: &source }.sources(&job)?;
    for (tag, module) in job.modules.iter().filter(|(tag, _)| job.options.iter().any(|o| o.module == **tag)) {
        if module.source.is_none() {
            notes.push(Note::quiet(
                "job.no-source",
                format!("module {tag} names no source; add source = \"data sheet, revision\"."),
            ));
        }
    }
    for (tag, inverter) in job.inverters.iter().filter(|(tag, _)| job.options.iter().any(|o| o.inverter == **tag)) {
        if inverter.source.is_none() {
            notes.push(Note::quiet(
                "job.no-source",
                format!("inverter {tag} names no source; add source = \"data sheet, revision\"."),
            ));
        }
    }
    Ok(Job { notes, ..job })
}

/// Cross-checks, each with the place of what it looks at.
struct Look<'a, 'b, 'l> {
    tree: &'a Tree,
    source: &'a Source<'b, 'l>,
}

impl<'a> Look<'a, '_, '_> {
    /// The value at a path of keys, or the nearest one above it that exists.
    fn find(&self, path: &[&str]) -> &'a Tree {
        let mut tree = self.tree;
        for step in path {
            let next = match step.parse::<usize>() {
                Ok(i) if matches!(tree.kind, Kind::List(_)) => tree.items().get(i),
                _ => tree.get(step),
            };
            match next {
                Some(found) => tree = found,
                None => break,
            }
        }
        tree
    }

    fn at(&self, path: &[&str]) -> At {
        self.source.at(self.find(path).mark)
    }

    fn clash(
        &self,
        path: &[&str],
        found: impl Into<String>,
        expected: impl Into<String>,
        mend: impl Into<String>,
    ) -> JobError {
        JobError::Clash(fault(self.at(path), found, expected, mend))
    }

    fn bad(
        &self,
        path: &[&str],
        found: impl Into<String>,
        expected: impl Into<String>,
        mend: impl Into<String>,
    ) -> JobError {
        JobError::BadValue(fault(self.at(path), found, expected, mend))
    }

    fn site_and_weather(&self, spec: &JobSpec) -> Result<(), JobError> {
        const CLOCK: [&str; 8] = ["time", "year", "month", "day", "hour", "minute", "date", "clock"];
        let known: Vec<&str> = Quantity::ALL.iter().map(|q| q.name()).chain(CLOCK).collect();
        for (key, column) in &spec.weather.columns {
            if !known.contains(&key.as_str()) {
                let mend = match nearest(key, known.iter().copied()) {
                    Some(near) => format!("Did you mean {near}?"),
                    None => "Columns that the chain has no use for are left out.".to_string(),
                };
                return Err(JobError::UnknownKey(fault(
                    self.at(&["weather", "columns", key]),
                    format!("{key} is no quantity that weather.columns knows"),
                    format!("one of {}", list(&known)),
                    mend,
                )));
            }
            let unit = column.trim_end().strip_suffix(']').and_then(|c| c.split_once('['));
            if unit.is_none() && Quantity::ALL.iter().any(|q| q.name() == key && q.unit() != "(0 to 1)") {
                return Err(self.bad(
                    &["weather", "columns", key],
                    format!("weather.columns.{key} is {column:?}"),
                    "the column's name and its unit in brackets",
                    format!("Write for example {key} = \"{column} [{}]\".", unit_of(key)),
                ));
            }
        }
        if let Some(site) = &spec.site
            && site.latitude_deg == 0.0
            && site.longitude_deg == 0.0
        {
            return Err(self.bad(
                &["site", "latitude_deg"],
                "site.latitude_deg and longitude_deg are both 0, a point in the open sea",
                "the position of the site",
                "Fill in both, or leave [site] out to use the weather file's position.",
            ));
        }
        Ok(())
    }

    fn planes(&self, planes: &[PlaneSpec]) -> Result<(), JobError> {
        if planes.is_empty() {
            return Err(self.bad(&["plane"], "plane is an empty list", "at least one", "Add a [[plane]] section."));
        }
        for (i, plane) in planes.iter().enumerate() {
            let n = i.to_string();
            let path = |key| ["plane", n.as_str(), key];
            if let Some(first) = planes[..i].iter().position(|p| p.name == plane.name) {
                return Err(JobError::BadName(fault(
                    self.at(&path("name")),
                    format!(
                        "plane.name {:?} stands in line {} already",
                        plane.name,
                        self.at(&["plane", &first.to_string(), "name"]).line
                    ),
                    "each name once",
                    "Give the planes different names.",
                )));
            }
            if let Some(rows) = &plane.rows {
                let depth = rows.slant_m * plane.tilt_deg.to_radians().cos();
                if plane.tracker.is_none() && rows.pitch_m <= depth {
                    return Err(self.clash(
                        &["plane", &n, "rows"],
                        format!(
                            "plane.rows.pitch_m is {} while a row is {:.3} m deep on the ground",
                            number_text(rows.pitch_m),
                            depth
                        ),
                        "a pitch longer than that",
                        "The pitch runs from the front of one row to the front of the next.",
                    ));
                }
                if plane.tracker.is_some() && rows.pitch_m <= rows.slant_m {
                    return Err(self.clash(
                        &["plane", &n, "rows"],
                        format!(
                            "plane.rows.pitch_m is {} while the rows are {} m wide",
                            number_text(rows.pitch_m),
                            number_text(rows.slant_m)
                        ),
                        "a pitch longer than that",
                        "The pitch runs from axis to axis.",
                    ));
                }
            }
            if plane.tracker.as_ref().is_some_and(|t| t.avoid_row_shade) && plane.rows.is_none() {
                return Err(self.clash(
                    &["plane", &n, "tracker"],
                    "plane.tracker.avoid_row_shade is true without rows",
                    "rows = { pitch_m = ..., slant_m = ... } in the same plane",
                    "Add rows, or remove avoid_row_shade.",
                ));
            }
            if let Some(size) = plane.size_m {
                if !plane.outline_m.is_empty() {
                    return Err(self.clash(
                        &path("outline_m"),
                        "plane has both size_m and outline_m",
                        "one of them",
                        "Use size_m for a rectangle, outline_m for any other shape.",
                    ));
                }
                if 2.0 * plane.setback_m >= size[0].min(size[1]) {
                    return Err(self.clash(
                        &path("setback_m"),
                        format!(
                            "plane.setback_m is {} on a plane of {} x {} m",
                            number_text(plane.setback_m),
                            number_text(size[0]),
                            number_text(size[1])
                        ),
                        "less than half the shorter side",
                        "Nothing is left to put modules on.",
                    ));
                }
            }
            if !plane.outline_m.is_empty() && plane.outline_m.len() < 3 {
                return Err(self.bad(
                    &path("outline_m"),
                    format!("plane.outline_m has {} corners", plane.outline_m.len()),
                    "at least 3",
                    "Write the corners in order, [[x, y], [x, y], [x, y]], in metres.",
                ));
            }
            for (k, obstacle) in plane.obstacles.iter().enumerate() {
                let (ObstacleSpec::Box { at_m, .. } | ObstacleSpec::Cylinder { at_m, .. }) = obstacle;
                if at_m.iter().any(|x| x.abs() > 1e4) {
                    return Err(self.bad(
                        &["plane", &n, "obstacles", &k.to_string(), "at_m"],
                        "plane.obstacles.at_m is more than 10 km away",
                        "metres from the lower left corner of the plane",
                        "Far hills belong into the skyline.",
                    ));
                }
            }
        }
        Ok(())
    }

    fn modules(&self, modules: &BTreeMap<String, ModuleSheet>) -> Result<(), JobError> {
        for (tag, m) in modules {
            let path = |key| ["module", tag.as_str(), key];
            let key = |key: &str| format!("module.{tag}.{key}");
            if m.v_mp >= m.v_oc {
                return Err(self.clash(
                    &path("v_mp"),
                    format!("{} is {} and v_oc is {}", key("v_mp"), number_text(m.v_mp), number_text(m.v_oc)),
                    "v_mp below v_oc",
                    "The two voltages may be swapped.",
                ));
            }
            if m.i_mp >= m.i_sc {
                return Err(self.clash(
                    &path("i_mp"),
                    format!("{} is {} and i_sc is {}", key("i_mp"), number_text(m.i_mp), number_text(m.i_sc)),
                    "i_mp below i_sc",
                    "The two currents may be swapped.",
                ));
            }
            let product = m.v_mp * m.i_mp;
            if (product / m.p_stc_w - 1.0).abs() > 0.02 {
                return Err(self.clash(
                    &path("p_stc_w"),
                    format!("{} is {} while v_mp x i_mp is {:.1} W", key("p_stc_w"), number_text(m.p_stc_w), product),
                    "agreement within 2 %",
                    "Take power, voltage and current from the same column (standard test conditions) of the data sheet.",
                ));
            }
            let efficiency = m.efficiency();
            if !(0.02..=0.35).contains(&efficiency) {
                return Err(self.clash(
                    &path("p_stc_w"),
                    format!(
                        "{} over length_mm x width_mm makes an efficiency of {:.1} %",
                        key("p_stc_w"),
                        100.0 * efficiency
                    ),
                    "2 to 35 %",
                    "Check power and outer size.",
                ));
            }
            self.ascending(&path("low_light"), &key("low_light"), &m.low_light, "irradiance")?;
            self.ascending(&path("incidence_table"), &key("incidence_table"), &m.incidence_table, "angle")?;
            self.ascending(&path("guarantee"), &key("guarantee"), &m.guarantee, "year")?;
            if let Some(pair) = m.guarantee.windows(2).find(|w| w[1][1] > w[0][1]) {
                return Err(self.bad(
                    &path("guarantee"),
                    format!(
                        "{} rises from {} to {} %",
                        key("guarantee"),
                        number_text(pair[0][1]),
                        number_text(pair[1][1])
                    ),
                    "percent that never rise with the years",
                    "Each point is [year, percent of rated power].",
                ));
            }
            // What the module folder itself refuses.
            if let Some(f) = crate::module::validate(m).into_iter().next() {
                let first = f.key.split_whitespace().next().unwrap_or("");
                return Err(self.bad(
                    &path(first),
                    format!("module.{tag}.{} is {}", f.key, f.found),
                    f.expected,
                    f.mend,
                ));
            }
            if m.a_r.is_some() && !m.incidence_table.is_empty() {
                return Err(self.clash(
                    &path("a_r"),
                    format!("module.{tag} has both a_r and incidence_table"),
                    "one of them",
                    "Keep the table if it comes from a test report.",
                ));
            }
        }
        Ok(())
    }

    fn inverters(&self, inverters: &BTreeMap<String, InverterSheet>) -> Result<(), JobError> {
        for (tag, inv) in inverters {
            let path = |key| ["inverter", tag.as_str(), key];
            let key = |key: &str| format!("inverter.{tag}.{key}");
            if inv.efficiency.is_empty() {
                return Err(self.bad(
                    &path("efficiency"),
                    format!("{} is an empty list", key("efficiency")),
                    "at least one point",
                    "Write pairs [percent of AC rating, efficiency in percent], for example [[10, 96.5], [50, 98.3], [100, 97.9]].",
                ));
            }
            self.ascending(&path("efficiency"), &key("efficiency"), &inv.efficiency, "load")?;
            for (i, at_v) in inv.efficiency_at_v.iter().enumerate() {
                let n = i.to_string();
                let path = ["inverter", tag, "efficiency_at_v", &n, "efficiency"];
                if at_v.efficiency.is_empty() {
                    return Err(self.bad(
                        &path,
                        format!("{}.efficiency is an empty list", key("efficiency_at_v")),
                        "at least one point",
                        "Write pairs [percent of AC rating, efficiency in percent].",
                    ));
                }
                self.ascending(&path, &format!("{}.efficiency", key("efficiency_at_v")), &at_v.efficiency, "load")?;
            }
            self.ascending(&path("derate"), &key("derate"), &inv.derate, "temperature")?;
            if let Some([low, high]) = inv.window_v {
                if low >= high {
                    return Err(self.bad(
                        &path("window_v"),
                        format!("{} is [{}, {}]", key("window_v"), number_text(low), number_text(high)),
                        "[lowest, highest]",
                        "The two may be swapped.",
                    ));
                }
                if inv.v_dc_max.is_some_and(|max| high > max) {
                    return Err(self.clash(
                        &path("window_v"),
                        format!("{} ends at {} above v_dc_max", key("window_v"), number_text(high)),
                        format!("at most {}", number_text(inv.v_dc_max.unwrap_or(high))),
                        "Take both from the data sheet; the tracking window ends below the highest voltage.",
                    ));
                }
            }
            if let (Some(i), Some(sc)) = (inv.i_input_max, inv.i_sc_input_max)
                && i > sc
            {
                return Err(self.clash(
                    &path("i_input_max"),
                    format!("{} is {} above i_sc_input_max {}", key("i_input_max"), number_text(i), number_text(sc)),
                    "the operating current below the short-circuit current",
                    "The two may be swapped.",
                ));
            }
            // What the plant folder itself refuses.
            match crate::plant::Inverter::new(inv) {
                Ok(_) => {}
                Err(PlantError::Value { key: k, found, expected, mend }) => {
                    let first = k.split(['[', '.', ' ']).next().unwrap_or("");
                    return Err(self.bad(&path(first), format!("inverter.{tag}.{k} is {found}"), expected, mend));
                }
                Err(PlantError::Missing { key: k, expected, mend }) => {
                    return Err(JobError::MissingKey(fault(
                        self.at(&["inverter", tag]),
                        format!("{k} is missing in inverter.{tag}"),
                        expected,
                        mend,
                    )));
                }
            }
            if inv.night_w > 0.05 * inv.p_ac_w {
                return Err(self.bad(
                    &path("night_w"),
                    format!(
                        "{} is {} W of an inverter of {} W",
                        key("night_w"),
                        number_text(inv.night_w),
                        number_text(inv.p_ac_w)
                    ),
                    "at most 5 % of the AC rating",
                    "Take the draw at night in watts from the data sheet.",
                ));
            }
        }
        Ok(())
    }

    fn ascending(&self, path: &[&str], key: &str, points: &[[f64; 2]], first: &str) -> Result<(), JobError> {
        match points.windows(2).find(|w| w[1][0] <= w[0][0]) {
            None => Ok(()),
            Some(pair) => Err(self.bad(
                path,
                format!("{key} has {first} {} after {}", number_text(pair[1][0]), number_text(pair[0][0])),
                format!("points in ascending order of {first}, each once"),
                "Sort the points and remove doubles.",
            )),
        }
    }

    fn strings_and_cable(&self, spec: &JobSpec) -> Result<(), JobError> {
        let cable = &spec.cable;
        if cable.loss_at_stc_pct.is_some() && (cable.one_way_m.is_some() || cable.area_mm2.is_some()) {
            return Err(self.clash(
                &["cable", "loss_at_stc_pct"],
                "cable has both loss_at_stc_pct and a length or cross-section",
                "one way of saying it",
                "Keep one_way_m and area_mm2, or loss_at_stc_pct alone.",
            ));
        }
        for (given, missing, have, need) in [
            (cable.one_way_m, cable.area_mm2, "one_way_m", "area_mm2"),
            (cable.area_mm2, cable.one_way_m, "area_mm2", "one_way_m"),
            (cable.ac_one_way_m, cable.ac_area_mm2, "ac_one_way_m", "ac_area_mm2"),
            (cable.ac_area_mm2, cable.ac_one_way_m, "ac_area_mm2", "ac_one_way_m"),
        ] {
            if given.is_some() && missing.is_none() {
                return Err(self.clash(
                    &["cable", have],
                    format!("cable has {have} without {need}"),
                    "both or none",
                    format!("Add {need} under [cable]."),
                ));
            }
        }
        if let (Some(cold), Some(hot)) = (spec.strings.t_cold_c, spec.strings.t_hot_c)
            && cold >= hot
        {
            return Err(self.clash(
                &["strings", "t_cold_c"],
                format!("strings.t_cold_c is {} and t_hot_c is {}", number_text(cold), number_text(hot)),
                "t_cold_c below t_hot_c",
                "The two may be swapped.",
            ));
        }
        Ok(())
    }

    /// Dirt stated twice would be taken off twice.
    fn dirt(&self, spec: &JobSpec) -> Result<(), JobError> {
        let given = self.tree.get("losses").is_some_and(|l| l.get("dirt_pct").is_some());
        if spec.losses.dirt_model.is_some() && given && spec.losses.dirt_pct.months() != [0.0; 12] {
            return Err(self.clash(
                &["losses", "dirt_model"],
                "losses has both dirt_pct and dirt_model, so dirt would be taken off twice",
                "one of them",
                "Keep dirt_pct for a stated loss, or dirt_model for dirt by the rain of the weather file.",
            ));
        }
        Ok(())
    }

    fn options(
        &self,
        spec: &JobSpec,
        modules: &BTreeMap<String, ModuleSheet>,
        inverters: &BTreeMap<String, InverterSheet>,
    ) -> Result<Vec<ResolvedOption>, JobError> {
        if spec.option.is_empty() {
            return Err(self.bad(&["option"], "option is an empty list", "at least one", "Add an [[option]] section."));
        }
        let mut done: Vec<ResolvedOption> = Vec::new();
        for (i, option) in spec.option.iter().enumerate() {
            let n = i.to_string();
            let path = |key| ["option", n.as_str(), key];
            if let Some(first) = done.iter().position(|o| o.tag == option.tag) {
                return Err(JobError::BadName(fault(
                    self.at(&path("tag")),
                    format!(
                        "option.tag {:?} stands in line {} already",
                        option.tag,
                        self.at(&["option", &first.to_string(), "tag"]).line
                    ),
                    "each tag once",
                    "Give the options different tags, A, B, C.",
                )));
            }
            self.known(&path("module"), "module", &option.module, modules.keys())?;
            self.known(&path("inverter"), "inverter", &option.inverter, inverters.keys())?;
            let planes = self.option_planes(option, &n, &spec.plane)?;
            let p_module_w = modules[&option.module].p_stc_w;
            let n_modules = self.count(option, &n, p_module_w)?;
            done.push(ResolvedOption {
                tag: option.tag.clone(),
                module: option.module.clone(),
                inverter: option.inverter.clone(),
                inverters: option.inverters,
                n_modules,
                target_kw: option.target_kw,
                strings: option.strings.clone(),
                planes,
                module_converters: option.module_converters,
                p_module_w,
            });
        }
        Ok(done)
    }

    fn known<'k>(
        &self,
        path: &[&str],
        what: &str,
        name: &str,
        known: impl Iterator<Item = &'k String>,
    ) -> Result<(), JobError> {
        let known: Vec<&str> = known.map(String::as_str).collect();
        if known.contains(&name) {
            return Ok(());
        }
        let expected = match known.as_slice() {
            [] => format!("a {what} of the parts, and there is none"),
            known => format!("one of {}", list(known)),
        };
        let mend = match nearest(name, known.iter().copied()) {
            Some(near) => format!("Did you mean {near:?}?"),
            None => match what {
                "plane" => "Use the name of a [[plane]] of this job.".to_string(),
                _ => format!(
                    "Add [{what}.{name}] to the parts file, or name the parts file with parts = \"...\" at the top."
                ),
            },
        };
        Err(JobError::BadName(fault(self.at(path), format!("option.{what} is {name:?}"), expected, mend)))
    }

    fn option_planes(&self, option: &OptionSpec, n: &str, planes: &[PlaneSpec]) -> Result<Vec<usize>, JobError> {
        if option.planes.is_empty() {
            return Ok((0..planes.len()).collect());
        }
        let mut indices = Vec::new();
        for (k, name) in option.planes.iter().enumerate() {
            let k = k.to_string();
            let path = ["option", n, "planes", &k];
            self.known(&path, "plane", name, planes.iter().map(|p| &p.name))?;
            let index = planes.iter().position(|p| p.name == *name).unwrap_or(0);
            if indices.contains(&index) {
                return Err(JobError::BadName(fault(
                    self.at(&path),
                    format!("option.planes names {name:?} twice"),
                    "each plane once",
                    "Remove one of the two.",
                )));
            }
            indices.push(index);
        }
        Ok(indices)
    }

    /// Number of modules; `None` for a filled roof.
    fn count(&self, option: &OptionSpec, n: &str, p_module_w: f64) -> Result<Option<u32>, JobError> {
        let tag = &option.tag;
        let ways: Vec<&str> =
            [option.target_kw.map(|_| "target_kw"), option.modules.map(|_| "modules"), option.fill.then_some("fill")]
                .into_iter()
                .flatten()
                .collect();
        let in_strings: u64 = option.strings.iter().map(|&s| u64::from(s)).sum();
        const WAYS: &str = "one of target_kw, modules, fill = true, or strings";
        let number = match (ways.as_slice(), option.strings.is_empty()) {
            ([], true) => {
                return Err(JobError::MissingKey(fault(
                    self.at(&["option", n]),
                    format!("option {tag} does not say how many modules"),
                    WAYS,
                    "Add for example target_kw = 40.0, or modules = 98.",
                )));
            }
            ([], false) => in_strings,
            (["fill"], true) => return Ok(None),
            (["fill"], false) => {
                return Err(self.clash(
                    &["option", n, "strings"],
                    format!("option {tag} has both fill and strings"),
                    WAYS,
                    "Strings fix the number of modules; remove fill or the strings.",
                ));
            }
            (["modules"], _) => u64::from(option.modules.unwrap_or(0)),
            // The smallest number that reaches the target; a whole number of modules is not pushed up by rounding.
            (["target_kw"], _) => (option.target_kw.unwrap_or(0.0) * 1000.0 / p_module_w - 1e-9).ceil().max(1.0) as u64,
            (many, _) => {
                return Err(self.clash(
                    &["option", n, many[1]],
                    format!("option {tag} has {}", list(many)),
                    WAYS,
                    "Keep one of them.",
                ));
            }
        };
        if !option.strings.is_empty() && in_strings != number {
            let from = if ways == ["target_kw"] { "target_kw asks for" } else { "modules is" };
            return Err(self.clash(
                &["option", n, "strings"],
                format!("option.strings of {tag} add to {in_strings}, while {from} {number}"),
                format!("strings that add to {number}"),
                "Change the strings, or leave modules and target_kw out and let the strings give the number.",
            ));
        }
        match u32::try_from(number) {
            Ok(number) if number <= 10_000_000 => Ok(Some(number)),
            _ => Err(self.bad(
                &["option", n],
                format!("option {tag} needs {number} modules"),
                "at most 10000000",
                "Check target_kw: it is in kilowatts.",
            )),
        }
    }

    /// `[sources]` must name inputs that exist.
    fn sources(&self, job: &Job) -> Result<(), JobError> {
        if job.spec.sources.is_empty() {
            return Ok(());
        }
        let paths = job.input_paths();
        for key in job.spec.sources.keys() {
            let hit = paths.iter().any(|p| ledger::under(p, key));
            if !hit {
                let mut near: Vec<&str> = paths.iter().map(String::as_str).collect();
                near.extend(paths.iter().filter_map(|p| p.split('.').next()));
                let mend = match nearest(key, near) {
                    Some(near) => format!("Did you mean \"{near}\"?"),
                    None => "Write the section, or section and key, as in \"losses.dirt_pct\" = \"cleaning contract\"."
                        .to_string(),
                };
                return Err(JobError::UnknownKey(fault(
                    self.at(&["sources", key]),
                    format!("sources names {key:?}, which is no input of this job"),
                    "a section or key of the job",
                    mend,
                )));
            }
        }
        Ok(())
    }
}

fn unit_of(quantity: &str) -> &'static str {
    Quantity::ALL.iter().find(|q| q.name() == quantity).map_or("", |q| q.unit())
}

/// Reads the skyline where it is a file and puts its points into the spec; sorted by azimuth.
fn skyline(spec: &mut JobSpec, tree: &Tree, source: &mut Source<'_, '_>) -> Result<Vec<[f64; 2]>, JobError> {
    let key = tree.get("skyline").unwrap_or(tree);
    let mut points = match &spec.skyline {
        None => return Ok(Vec::new()),
        Some(SkylineSpec::Points(points)) => points.clone(),
        Some(SkylineSpec::File(file)) => {
            let path = join(&source.base.clone(), file);
            let rows = numbers(
                &path,
                key,
                "skyline",
                "a CSV with azimuth_deg,elevation_deg",
                &["azimuth_deg", "elevation_deg"],
                source,
            )?;
            for (line, row) in &rows {
                for (name, x, high) in [("azimuth_deg", row[0], 360.0), ("elevation_deg", row[1], 90.0)] {
                    if !(0.0..=high).contains(&x) {
                        return Err(JobError::BadValue(fault(
                            At { file: shown_path(&path), line: *line },
                            format!("{name} is {}", number_text(x)),
                            format!("0 to {high} deg"),
                            "Azimuth is clockwise from north, elevation above the horizontal.",
                        )));
                    }
                }
            }
            rows.into_iter().map(|(_, row)| [row[0], row[1]]).collect()
        }
    };
    points.sort_by(|a, b| a[0].total_cmp(&b[0]));
    if let Some(pair) = points.windows(2).find(|w| w[0][0] == w[1][0]) {
        return Err(JobError::BadValue(fault(
            source.at(key.mark),
            format!("skyline has azimuth {} twice", number_text(pair[0][0])),
            "each azimuth once",
            "Between the points the skyline is drawn as a straight line; move one of the two a little.",
        )));
    }
    spec.skyline = Some(SkylineSpec::Points(points.clone()));
    Ok(points)
}

fn matrix(path: &Path, key: &Tree, source: &mut Source<'_, '_>) -> Result<Vec<[f64; 3]>, JobError> {
    let names = ["irradiance_w_m2", "temperature_c", "power_w"];
    let rows = numbers(path, key, "matrix", "a CSV with irradiance_w_m2,temperature_c,power_w", &names, source)?;
    let file = shown_path(path);
    for (line, row) in &rows {
        for ((name, x), (low, high)) in names.iter().zip(row).zip([(1.0, 1500.0), (-40.0, 120.0), (0.0, 3000.0)]) {
            if !(low..=high).contains(x) {
                return Err(JobError::BadValue(fault(
                    At { file, line: *line },
                    format!("{name} is {}", number_text(*x)),
                    format!("{} to {}", number_text(low), number_text(high)),
                    "The unit is in the column's name.",
                )));
            }
        }
    }
    Ok(rows.into_iter().map(|(_, row)| [row[0], row[1], row[2]]).collect())
}

fn load_column(path: &Path, key: &Tree, source: &mut Source<'_, '_>) -> Result<Vec<f64>, JobError> {
    let rows = numbers(path, key, "grid.load", "a CSV with a column load_kw, one row per hour", &["load_kw"], source)?;
    let file = shown_path(path);
    if let Some((line, row)) = rows.iter().find(|(_, row)| row[0] < 0.0) {
        return Err(JobError::BadValue(fault(
            At { file, line: *line },
            format!("load_kw is {}", number_text(row[0])),
            "0 kW or more",
            "A load is what is drawn on site; generation is not part of it.",
        )));
    }
    Ok(rows.into_iter().map(|(_, row)| row[0]).collect())
}

/// Named columns of finite numbers from a CSV, with the line of each row.
fn numbers(
    path: &Path,
    key: &Tree,
    key_name: &str,
    what: &str,
    names: &[&str],
    source: &mut Source<'_, '_>,
) -> Result<Vec<(u32, Vec<f64>)>, JobError> {
    let text = source.text(path, key, key_name, what)?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    let file = shown_path(path);
    let at = |line: u64| At { file: file.clone(), line: line as u32 };
    let mut reader =
        csv::ReaderBuilder::new().trim(csv::Trim::All).comment(Some(b'#')).flexible(true).from_reader(text.as_bytes());
    let broken = |e: csv::Error| {
        JobError::Syntax(fault(
            at(e.position().map_or(0, csv::Position::line)),
            "this does not read as CSV",
            what,
            "Check the quotes of this row.",
        ))
    };
    let header = reader.headers().map_err(broken)?.clone();
    let mut columns = Vec::new();
    for name in names {
        match header.iter().position(|h| h == *name) {
            Some(column) => columns.push(column),
            None => {
                return Err(JobError::MissingKey(fault(
                    at(1),
                    format!("there is no column {name}"),
                    what,
                    format!("Name the columns in the first row: {}.", names.join(",")),
                )));
            }
        }
    }
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(broken)?;
        let line = record.position().map_or(0, csv::Position::line);
        let mut row = Vec::with_capacity(columns.len());
        for (name, &column) in names.iter().zip(&columns) {
            let cell = record.get(column).unwrap_or("");
            match cell.parse::<f64>().ok().filter(|x| x.is_finite()) {
                Some(x) => row.push(x),
                None => {
                    let shown: String = cell.chars().take(40).flat_map(char::escape_debug).collect();
                    return Err(JobError::WrongType(fault(
                        at(line),
                        format!("{name} is \"{shown}\""),
                        "a number",
                        "Use a point for decimals and a comma between columns.",
                    )));
                }
            }
        }
        rows.push((line as u32, row));
    }
    if rows.is_empty() {
        return Err(JobError::BadValue(fault(
            at(0),
            "there is no row below the header",
            what,
            "Add rows, or remove the key that names the file.",
        )));
    }
    Ok(rows)
}

/// `base` joined with a path of the job, `.` and inner `..` folded away.
pub(super) fn join(base: &Path, path: impl AsRef<Path>) -> PathBuf {
    let mut clean = PathBuf::new();
    for part in base.join(path).components() {
        match part {
            Component::CurDir => {}
            Component::ParentDir if matches!(clean.components().next_back(), Some(Component::Normal(_))) => {
                clean.pop();
            }
            other => clean.push(other),
        }
    }
    clean
}

pub(super) fn sha256_hex(bytes: &[u8]) -> String {
    crate::weather::hex(&Sha256::digest(bytes))
}

fn fault_verb(e: &io::Error) -> &'static str {
    match e.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => "does not exist",
        io::ErrorKind::IsADirectory => "is a folder",
        io::ErrorKind::FileTooLarge => "is larger than 4 MB",
        io::ErrorKind::PermissionDenied => "may not be read",
        _ => "cannot be read",
    }
}

/// A file that could not be read.
pub(super) fn unreadable(name: &str, e: &io::Error, what: &str) -> JobError {
    let mend = match e.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => {
            "Check the spelling; a path inside a file is relative to that file.".to_string()
        }
        io::ErrorKind::IsADirectory => "Name a file inside it.".to_string(),
        io::ErrorKind::FileTooLarge => "Is this the right file?".to_string(),
        io::ErrorKind::PermissionDenied => "Check the file's permissions.".to_string(),
        _ => format!("The system says: {e}."),
    };
    JobError::Unreadable(fault(
        At { file: name.to_string(), line: 0 },
        format!("the file {}", fault_verb(e)),
        what,
        mend,
    ))
}

/// Bytes to text; empty, too large, binary and other encodings are refused.
pub(super) fn decode(name: &str, bytes: Vec<u8>, what: &str) -> Result<String, JobError> {
    let at = |line: usize| At { file: name.to_string(), line: line as u32 };
    if bytes.iter().all(u8::is_ascii_whitespace) {
        return Err(JobError::Unreadable(fault(
            at(0),
            "the file is empty",
            what,
            "Begin with the files that `yearlight start` writes.",
        )));
    }
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err(JobError::Unreadable(fault(
            at(0),
            "the file is UTF-16",
            "UTF-8 text",
            "Save it again with the encoding UTF-8.",
        )));
    }
    if let Some(i) = memchr::memchr(0, &bytes) {
        let line = memchr::memchr_iter(b'\n', &bytes[..i]).count() + 1;
        return Err(JobError::Unreadable(fault(
            at(line),
            "the file is binary (it holds a zero byte)",
            what,
            "Is this the right file?",
        )));
    }
    String::from_utf8(bytes).map_err(|e| {
        let good = e.utf8_error().valid_up_to();
        let line = memchr::memchr_iter(b'\n', &e.as_bytes()[..good]).count() + 1;
        JobError::Unreadable(fault(
            at(line),
            "the file is not UTF-8 here",
            "UTF-8 text",
            "Save it again with the encoding UTF-8.",
        ))
    })
}
