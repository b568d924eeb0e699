//! One site, all options.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use pyo3::prelude::*;
use yearlight::cli;
use yearlight::job::{self, Job, JobError};
use yearlight::report::{self, Proposal, Words as Language, console, json_text, tables};
use yearlight::tables::Table as Columns;

use crate::arrow::Table;
use crate::error::Words;
use crate::work;

/// A job, weighed.
#[pyclass(frozen, module = "yearlight._core")]
pub struct Weighed {
    weighed: cli::Weighed,
    proposal: Proposal,
    record: serde_json::Value,
}

/// A job file, or the run.json of an earlier run.
#[pyfunction]
#[pyo3(signature = (path, threads=None))]
pub fn weigh_path(py: Python<'_>, path: PathBuf, threads: Option<usize>) -> PyResult<Weighed> {
    // As the command line would name it: the report says how to make it again.
    let command = format!("yearlight weigh {}", path.display());
    weigh(py, threads, command, move || job::load(&path))
}

/// A job as the text of a JSON object; paths are relative to `base`.
#[pyfunction]
#[pyo3(signature = (text, base, threads=None))]
pub fn weigh_value(py: Python<'_>, text: String, base: PathBuf, threads: Option<usize>) -> PyResult<Weighed> {
    weigh(py, threads, "yearlight.weigh(job)".to_string(), move || value(&text, &base))
}

/// A job from the text of a JSON object.
pub fn value(text: &str, base: &Path) -> Result<Job, JobError> {
    match serde_json::from_str(text) {
        Ok(value) => job::load_value("job", &value, base),
        // The text was written by `json.dumps`, so this is for numbers out of range and the like: the engine's own
        // reader of records words it.
        Err(_) => job::from_text("job.json", text, base, &mut |p| std::fs::read(p)),
    }
}

fn weigh(
    py: Python<'_>,
    threads: Option<usize>,
    command: String,
    job: impl FnOnce() -> Result<Job, JobError> + Send + 'static,
) -> PyResult<Weighed> {
    let all = move || -> Result<Weighed, Words> {
        let job = job().map_err(|e| Words::of(&e))?;
        let weighed = cli::Weighed::of(job).map_err(|e| Words::of(e.as_ref()))?;
        let proposal = weighed.proposal(&command);
        let record = weighed.run_record(&proposal.notes);
        Ok(Weighed { weighed, proposal, record })
    };
    work::run(py, threads, &Arc::new(AtomicBool::new(false)), false, all)?.map_err(|e| e.raise(py))
}

impl Weighed {
    fn table(&self, make: impl Fn(&str, &yearlight::weigh::Study) -> Columns) -> Table {
        Table::of(make(&self.weighed.placed.place.name, &self.weighed.study))
    }
}

#[pymethods]
impl Weighed {
    fn options(&self) -> Table {
        self.table(tables::options)
    }

    fn months(&self) -> Table {
        self.table(tables::months)
    }

    fn years(&self) -> Table {
        self.table(tables::years)
    }

    fn account(&self) -> Table {
        self.table(tables::account)
    }

    fn gaps(&self) -> Table {
        self.table(tables::gaps)
    }

    fn hours(&self) -> Table {
        Table::of(self.weighed.hours_table())
    }

    /// Title of the job.
    #[getter]
    fn title(&self) -> &str {
        &self.proposal.title
    }

    /// Name of the site.
    #[getter]
    fn site(&self) -> &str {
        &self.weighed.placed.place.name
    }

    /// What `run.json` holds, as text.
    fn record(&self) -> String {
        json_text(&self.record).unwrap_or_default()
    }

    /// What the command line prints.
    fn answer(&self) -> String {
        let words = Language::of(&self.proposal.language).unwrap_or(Language::english());
        console::plain(&console::answer(&self.proposal, words))
    }

    /// The report.
    fn html(&self, py: Python<'_>) -> PyResult<String> {
        py.detach(|| report::page(&self.proposal).map_err(|e| Words::of(&e))).map_err(|e| e.raise(py))
    }

    /// The files of the command line.
    fn write(&self, py: Python<'_>, folder: PathBuf, hours: bool) -> PyResult<()> {
        let written = py.detach(|| {
            let result = self.weighed.write(&self.proposal, &self.record, &folder, hours);
            result.map_err(|e| Words::of(e.as_ref()))
        });
        written.map_err(|e| e.raise(py))
    }
}
