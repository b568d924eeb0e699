//! Job and parts files to checked records of the folders above, and where each number came from.
//!
//! ```text
//! text -> tree (every value knows its line) -> schema and rules -> JobSpec -> references, counts -> Job
//! ```
//!
//! [`load`] reads from disk; [`from_text`] takes a function that hands out files, so that the same checks run where
//! there is no file system. The same structs make the JSON Schema that editors use, see [`job_schema`].

mod check;
mod error;
mod ledger;
mod load;
#[cfg(test)]
mod making;
mod node;
mod origin;
mod place;
mod record;
mod resolve;
mod rules;
mod schema;
mod spec;
mod tree;
mod weighing;

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use crate::module::ModuleSheet;
use crate::plant::InverterSheet;
use crate::units::Note;

pub use error::{At, Fault, JobError};
pub use ledger::LedgerLine;
pub use load::{MAX_BYTES, load, load_over, load_parts, load_value};
pub use place::{FAR_KM, HIGH_M, Placed, distance_km};
pub use record::{JobRecord, RightSections, from_sections, from_sections_given, from_value};
pub use resolve::{Loader, Parts, from_text, from_text_over, parts};
pub use schema::{job_schema, parts_schema};
pub use spec::{
    AgeingSpec, CleaningSpec, DirtModelSpec, JobSpec, LossSpec, OptionSpec, PartsSpec, ProposalSpec, SiteSpec,
    SkylineSpec, SnowSpec, WeatherSpec,
};
pub use weighing::{ClaimsSpec, InputDoubtSpec, MoneySpec, SearchSpec, UncertaintySpec};

/// SHA-256 of some bytes, lower-case hexadecimal, as files are listed with.
pub fn checksum(bytes: &[u8]) -> String {
    resolve::sha256_hex(bytes)
}

/// A checked job: every name resolved, every default filled in, every file it names (but the weather) read.
///
/// ```
/// let job = yearlight::job::load("configs/merrowby-school.toml".as_ref())?;
/// let first = &job.options[0];
/// assert_eq!(job.module(first).p_stc_w, 410.0);
/// // Every number knows whether it was given or assumed.
/// assert!(job.ledger().len() > 50);
/// # Ok::<(), yearlight::job::JobError>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// Stem of the job file; names the output folder.
    pub name: String,
    /// The job file (or `run.json`) as the user named it.
    pub path: PathBuf,
    /// Folder that paths inside the job are relative to.
    pub base: PathBuf,
    /// The resolved sections. `module` and `inverter` are empty here: they stand in `modules` and `inverters`.
    pub spec: JobSpec,
    /// Modules by tag, from the parts file, its table and inline sections.
    pub modules: BTreeMap<String, ModuleSheet>,
    /// Inverters by tag.
    pub inverters: BTreeMap<String, InverterSheet>,
    /// Options in the order of the file; the first is what the others are compared with.
    pub options: Vec<ResolvedOption>,
    /// The skyline, `[azimuth_deg, elevation_deg]`, ascending in azimuth; empty for an open horizon.
    pub skyline: Vec<[f64; 2]>,
    /// Measured power matrix of a module by tag: irradiance in W/m2, cell temperature in C, power in W.
    pub matrices: BTreeMap<String, Vec<[f64; 3]>>,
    /// Load on site, kW, one value per step of the file; empty when none is given.
    pub load_kw: Vec<f64>,
    /// What the reader should know.
    pub notes: Vec<Note>,
    /// The files that were read, with checksums.
    pub files: Vec<FileDigest>,
    /// Paths of the inputs that count as given; `None`: those that were written.
    given: Option<BTreeSet<String>>,
    origin: origin::Origin,
    /// `base` as the first run had it, when the job was read from a run record.
    record_base: Option<PathBuf>,
}

impl Job {
    /// The weather file, relative to the current folder.
    pub fn weather_path(&self) -> PathBuf {
        resolve::join(&self.base, &self.spec.weather.file)
    }

    /// A file that the job names, relative to the current folder.
    pub fn path_of(&self, named: &str) -> PathBuf {
        resolve::join(&self.base, named)
    }

    /// The module of an option. The tag was checked at the door.
    pub fn module(&self, option: &ResolvedOption) -> &ModuleSheet {
        &self.modules[&option.module]
    }

    /// The inverter of an option. The tag was checked at the door.
    pub fn inverter(&self, option: &ResolvedOption) -> &InverterSheet {
        &self.inverters[&option.inverter]
    }
}

/// One `[[option]]` with its names resolved.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ResolvedOption {
    /// Short name.
    pub tag: String,
    /// Key into [`Job::modules`].
    pub module: String,
    /// Key into [`Job::inverters`].
    pub inverter: String,
    /// Number of inverters, 1 or more.
    pub inverters: u32,
    /// Number of modules, 1 or more: as given, the sum of the strings, or the smallest that reaches the target.
    /// `None` for an option that fills its planes; the roof decides.
    pub n_modules: Option<u32>,
    /// The target when the number follows from one, kW.
    pub target_kw: Option<f64>,
    /// Modules of each string; empty when no strings are given.
    pub strings: Vec<u32>,
    /// Indices into `spec.plane`, at least one.
    pub planes: Vec<usize>,
    /// A converter at every module.
    pub module_converters: bool,
    /// Power of one module at standard test conditions, W.
    pub p_module_w: f64,
}

impl ResolvedOption {
    /// Installed power at standard test conditions, kW; `None` while the number of modules is open.
    pub fn p_stc_kw(&self) -> Option<f64> {
        self.n_modules.map(|n| f64::from(n) * self.p_module_w / 1000.0)
    }
}

/// A file that went into the job.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FileDigest {
    /// As named, relative to the current folder.
    pub file: String,
    /// SHA-256 of its bytes, lower-case hexadecimal.
    pub sha256: String,
}

#[cfg(test)]
mod tests;
