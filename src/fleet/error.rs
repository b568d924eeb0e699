//! What can be wrong with a fleet as a whole; what is wrong with one site stands in `refused.csv`.

use std::path::PathBuf;

use crate::job::JobError;
use crate::tables::TableError;

/// Why a fleet could not be run or joined.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FleetError {
    /// A file that cannot be read.
    #[error("{path}: {reason}; expected {expected}.\n  Check the name and the rights.")]
    Unreadable {
        /// Which file.
        path: PathBuf,
        /// Why.
        reason: String,
        /// What it should be.
        expected: &'static str,
    },
    /// Something in the fleet file or the head of the table of sites.
    #[error("{at}: {found}; expected {expected}.\n  {mend}")]
    Wrong {
        /// File and line.
        at: String,
        /// What was found.
        found: String,
        /// What is expected.
        expected: String,
        /// How to mend it.
        mend: String,
    },
    /// The template is no good job.
    #[error("{0}")]
    Template(#[from] JobError),
    /// A file of results.
    #[error("{0}")]
    Table(#[from] TableError),
    /// A folder cannot be made, listed or cleared.
    #[error("{path}: {reason}.\n  Check that the folder may be written to, or name another with --out.")]
    Folder {
        /// Which.
        path: PathBuf,
        /// Why.
        reason: String,
    },
    /// Results of another run stand in the folder.
    #[error(
        "{path}: the results here come from another {what}; expected the same fleet file, template, parts, table of \
         sites and program.\n  Begin anew without --resume, or name another folder with --out."
    )]
    OtherRun {
        /// The manifest.
        path: PathBuf,
        /// What differs.
        what: String,
    },
    /// One site that was asked for cannot be run.
    #[error("{reason}")]
    Site {
        /// Why, beginning with file and line.
        reason: String,
    },
    /// Results that do not fit together.
    #[error("{path}: {found}; expected every site once.\n  {mend}")]
    Parts {
        /// Folder or file.
        path: PathBuf,
        /// What was found.
        found: String,
        /// How to mend it.
        mend: String,
    },
}

#[cfg(feature = "tables")]
impl FleetError {
    pub(super) fn unreadable(path: &std::path::Path, e: &std::io::Error, expected: &'static str) -> FleetError {
        let reason = match e.kind() {
            std::io::ErrorKind::NotFound => "there is no such file".to_string(),
            std::io::ErrorKind::PermissionDenied => "the file may not be read".to_string(),
            _ => format!("the file cannot be read ({e})"),
        };
        FleetError::Unreadable { path: path.to_path_buf(), reason, expected }
    }

    pub(super) fn folder(path: &std::path::Path, e: &std::io::Error) -> FleetError {
        FleetError::Folder { path: path.to_path_buf(), reason: e.to_string() }
    }
}
