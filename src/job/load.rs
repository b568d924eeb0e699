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
    let name = path.display().to_string();
    let bytes = read(path).map_err(|e| resolve::unreadable(&name, &e, "a job file"))?;
    let text = resolve::decode(&name, bytes, "a job file")?;
    let base = path.parent().unwrap_or(Path::new(""));
    resolve::from_text(&name, &text, base, &mut read)
}

/// Reads and checks a parts file: modules, inverters and the measured tables they name.
pub fn load_parts(path: &Path) -> Result<super::Parts, JobError> {
    resolve::parts(path, &mut read)
}

fn read(path: &Path) -> io::Result<Vec<u8>> {
    crate::weather::read_up_to(path, MAX_BYTES)
}
