//! The inputs of a run as JSON, and a job read back from them.

use std::collections::BTreeSet;
use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::check::{check, check_changed};
use super::error::{At, JobError, fault};
use super::ledger::LedgerLine;
use super::node;
use super::resolve::{Loader, Named, Source, build, build_from, join};
use super::spec::JobSpec;
use super::tree::{Entry, Files, Kind, Tree, from_json as tree_from_json};
use super::{FileDigest, Job};
use crate::units::Note;

/// The inputs of a run: what `run.json` holds besides the results. [`crate::job::load`] takes a file with these keys in
/// place of a job file, and then makes the same record again.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct JobRecord {
    /// Name of the job.
    pub name: String,
    /// Folder that paths are relative to.
    pub base: String,
    /// All sections resolved, parts included.
    pub job: Value,
    /// Every input.
    pub inputs: Vec<LedgerLine>,
    /// Checksums.
    pub files: Vec<FileDigest>,
}

impl Job {
    /// The inputs of a run.
    pub fn inputs(&self) -> JobRecord {
        let job = self.spec_json();
        JobRecord {
            name: self.name.clone(),
            base: self.record_base.as_ref().unwrap_or(&self.base).display().to_string().replace('\\', "/"),
            inputs: self.ledger_of(&job),
            job,
            files: self.files.clone(),
        }
    }

    /// [`Job::inputs`] as JSON.
    pub fn record(&self) -> Value {
        json!(self.inputs())
    }
}

/// A job from a run record.
pub(super) fn from_json(name: &str, text: &str, base: &Path, loader: &mut Loader<'_>) -> Result<Job, JobError> {
    let at = |line: usize| At { file: name.to_string(), line: line as u32 };
    let value: Value = serde_json::from_str(text).map_err(|e| {
        JobError::Syntax(fault(
            at(e.line()),
            format!("this does not read as JSON (column {})", e.column()),
            "a run.json, or a job file in TOML",
            "Use the file as the program wrote it.",
        ))
    })?;
    let Some(job) = value.get("job").filter(|j| j.is_object()) else {
        return Err(JobError::MissingKey(fault(
            at(0),
            "job is missing",
            "a run.json as the program writes it, with the keys name, base, job, inputs and files",
            "Use the file as the program wrote it, or a job file in TOML.",
        )));
    };
    let stem = value.get("name").and_then(Value::as_str).filter(|s| is_plain_name(s)).unwrap_or("run").to_string();
    let kept = value.get("base").and_then(Value::as_str).unwrap_or("");
    let weather = job.pointer("/weather/file").and_then(Value::as_str).unwrap_or("");
    let found = folder(kept, base, weather, loader);
    let mut source = Source::new(&found, loader);
    let file = source.files.add(name);
    let Some(tree) = tree_from_json(job, file, 0) else {
        return Err(JobError::Syntax(fault(
            at(0),
            "job is nested too deep",
            "at most 48 levels",
            "Use the file as the program wrote it.",
        )));
    };
    check(&tree, node::job(), &source.files)?;
    let lines: Vec<LedgerLine> = value.get("inputs").and_then(|v| Deserialize::deserialize(v).ok()).unwrap_or_default();
    let given: BTreeSet<String> = lines.into_iter().filter(|l| l.given).map(|l| l.path).collect();
    let earlier: Vec<FileDigest> =
        value.get("files").and_then(|v| Deserialize::deserialize(v).ok()).unwrap_or_default();
    let named = Named { name: stem, path: PathBuf::from(name), base: found };
    let mut job = build(named, tree, (!given.is_empty()).then_some(given), source)?;
    // Files read again must be the ones of the record; the others (job and parts) are in the record itself.
    for now in &job.files {
        if let Some(then) = earlier.iter().find(|e| same_file(&e.file, &now.file) && e.sha256 != now.sha256) {
            job.notes.push(Note::loud(
                "job.file-changed",
                format!("{} has changed since the run that {name} records, so the result may differ.", then.file),
            ));
        }
    }
    if !earlier.is_empty() {
        job.files = earlier;
    }
    job.record_base = Some(PathBuf::from(kept));
    Ok(job)
}

/// Checks a job given as its resolved sections, as [`Job::record`] holds them under `job`.
///
/// `name` stands in messages in place of a file, `base` is the folder that paths in the sections are relative to, and
/// `loader` hands out the skyline, matrix and load files.
pub fn from_sections(name: &str, sections: &Value, base: &Path, loader: &mut Loader<'_>) -> Result<Job, JobError> {
    from_sections_given(name, sections, None, base, None, loader)
}

/// Sections of a job that are right as they stand: a job that has most of them as they are is checked where it differs.
#[derive(Debug)]
pub struct RightSections(Tree);

impl RightSections {
    /// The sections, if they pass the check.
    pub fn of(sections: &Value) -> Option<RightSections> {
        let mut files = Files::default();
        let file = files.add("");
        let tree = tree_from_json(sections, file, 0)?;
        check(&tree, node::job(), &files).ok().map(|()| RightSections(tree))
    }
}

/// As [`from_sections`]; `given` holds the paths of the inputs that count as given, the others as defaults. `None`: all
/// of them were given. What is as in `right` is not checked again.
pub fn from_sections_given(
    name: &str,
    sections: &Value,
    right: Option<&RightSections>,
    base: &Path,
    given: Option<BTreeSet<String>>,
    loader: &mut Loader<'_>,
) -> Result<Job, JobError> {
    let mut source = Source::new(base, loader);
    let file = source.files.add(name);
    let Some(tree) = tree_from_json(sections, file, 0) else {
        return Err(JobError::Syntax(fault(
            At { file: name.to_string(), line: 0 },
            "the job is nested too deep",
            "at most 48 levels",
            "Remove the needless brackets.",
        )));
    };
    check_changed(&tree, right.map(|r| &r.0), node::job(), &source.files)?;
    let named = Named { name: "site".to_string(), path: PathBuf::from(name), base: base.to_path_buf() };
    build_from(named, tree, JobSpec::deserialize(sections), given, source)
}

/// Checks a job given as a value instead of text: the keys of a job file, `parts` among them.
///
/// `name` stands in messages in place of a file, `base` is the folder that paths are relative to, and `loader` hands out
/// the parts, skyline, matrix and load files.
///
/// ```
/// let job = serde_json::json!({"title": "Roof", "roof": {}});
/// let error = yearlight::job::from_value("job", &job, std::path::Path::new(""), &mut |p| std::fs::read(p)).unwrap_err();
/// assert!(error.to_string().starts_with("job: "), "{error}");
/// ```
pub fn from_value(name: &str, value: &Value, base: &Path, loader: &mut Loader<'_>) -> Result<Job, JobError> {
    let mut source = Source::new(base, loader);
    let file = source.files.add(name);
    let Some(mut tree) = tree_from_json(value, file, 0) else {
        return Err(JobError::Syntax(fault(
            At { file: name.to_string(), line: 0 },
            "the job is nested too deep",
            "at most 48 levels",
            "Remove the needless brackets.",
        )));
    };
    check(&tree, node::job(), &source.files)?;
    source.take_parts(&mut tree)?;
    let named = Named { name: "job".to_string(), path: PathBuf::from(name), base: base.to_path_buf() };
    build(named, tree, None, source)
}

/// Puts the keys of an object in the place of those of a document; modules and inverters take the place of a parts file.
pub(super) fn put_over(tree: &mut Tree, over: &Value, source: &mut Source<'_, '_>) {
    let (Some(over), Kind::Table(entries)) = (over.as_object(), &mut tree.kind) else { return };
    let file = source.files.add("parts");
    for (key, value) in over {
        let whole = ["module", "inverter"].contains(&key.as_str());
        entries.retain(|e| e.key != *key && !(whole && e.key == "parts"));
        if let Some(value) = tree_from_json(value, file, 0) {
            entries.push(Entry { key: key.clone(), mark: value.mark, value });
        }
    }
}

fn same_file(a: &str, b: &str) -> bool {
    Path::new(a) == Path::new(b)
}

/// A name that may become a folder: one plain component.
fn is_plain_name(name: &str) -> bool {
    let path = Path::new(name);
    path.file_name().is_some_and(|f| f == path.as_os_str()) && name.len() < 200
}

/// The folder of the recorded job: as recorded, or as seen from one of the folders above the record.
fn folder(kept: &str, record: &Path, weather: &str, loader: &mut Loader<'_>) -> PathBuf {
    let as_kept = PathBuf::from(kept);
    let above = record.ancestors().map(|a| join(a, kept));
    std::iter::once(as_kept.clone())
        .chain(above)
        .find(|base| loader(&join(base, weather)).map_or_else(|e| e.kind() == io::ErrorKind::FileTooLarge, |_| true))
        .unwrap_or(as_kept)
}
