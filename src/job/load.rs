//! Reading a job from disk: the only file of this folder that touches the file system.

use std::io;
use std::path::Path;

use super::error::JobError;
use super::{Job, resolve};

/// Largest job, parts, skyline, matrix or load file that is read, bytes.
pub const MAX_BYTES: u64 = 4 << 20;

/// Reads and checks a job: a job file in TOML, or the `run.json` of an earlier run.
///
/// Paths inside the job are relative to the job file. The weather file itself is not read here.
///
/// ```no_run
/// let job = yearlight::job::load(std::path::Path::new("configs/merrowby-school.toml"))?;
/// println!("{}: {} options", job.spec.title, job.options.len());
/// # Ok::<(), yearlight::job::JobError>(())
/// ```
pub fn load(path: &Path) -> Result<Job, JobError> {
    load_over(path, &serde_json::Value::Null)
}

/// As [`load`], with top-level keys of `over`, an object or null, in place of those of the file: `parts`, or `module`
/// and `inverter`.
pub fn load_over(path: &Path, over: &serde_json::Value) -> Result<Job, JobError> {
    let name = path.display().to_string();
    let bytes = read(path).map_err(|e| resolve::unreadable(&name, &e, "a job file"))?;
    let text = resolve::decode(&name, bytes, "a job file")?;
    let base = path.parent().unwrap_or(Path::new(""));
    resolve::from_text_over(&name, &text, base, over, &mut read)
}

/// Reads and checks a parts file: modules, inverters and the measured tables they name.
pub fn load_parts(path: &Path) -> Result<super::Parts, JobError> {
    resolve::parts(path, &mut read)
}

/// Checks a job given as a value, see [`super::from_value`], with its files from disk.
pub fn load_value(name: &str, value: &serde_json::Value, base: &Path) -> Result<Job, JobError> {
    super::from_value(name, value, base, &mut read)
}

fn read(path: &Path) -> io::Result<Vec<u8>> {
    crate::weather::read_up_to(path, MAX_BYTES)
}
