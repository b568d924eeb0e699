//! Files that are whole or not there.

use std::io::Write;
use std::path::{Path, PathBuf};

/// What can go wrong with a table or an output file.
#[derive(Debug, thiserror::Error)]
pub enum TableError {
    /// The file system said no.
    #[error("{path}: cannot be written: {source}.\n  Check that the folder exists, may be written to, and has room.")]
    Write {
        /// Which file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// The file cannot be read as a table.
    #[error(
        "{path}: cannot be read as Parquet: {reason}; expected a Parquet file with the tidy column names.\n  Fetch or write the file again."
    )]
    Read {
        /// Which file.
        path: PathBuf,
        /// Why.
        reason: String,
    },
    /// The table could not be encoded.
    #[error("{path}: the table could not be encoded: {reason}.")]
    Encode {
        /// Which file.
        path: PathBuf,
        /// Why.
        reason: String,
    },
}

/// Writes bytes to a temporary name in the same folder, flushes them to disk, and renames: a killed run leaves
/// nothing that looks whole.
///
/// # Errors
/// [`TableError::Write`] when the folder is missing, read-only or full; the temporary file is removed.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), TableError> {
    let fail = |source| TableError::Write { path: path.to_path_buf(), source };
    let mut name = path.file_name().unwrap_or_default().to_os_string();
    name.push(format!(".{}.part", std::process::id()));
    let part = path.with_file_name(name);
    let written = std::fs::File::create(&part).and_then(|mut file| {
        file.write_all(bytes)?;
        file.sync_data()
    });
    if let Err(error) = written.and_then(|()| std::fs::rename(&part, path)) {
        let _ = std::fs::remove_file(&part);
        return Err(fail(error));
    }
    Ok(())
}

/// Writes a table as CSV, whole or not at all; the plain writer of builds without data frames. A number that is not
/// finite leaves its cell empty.
///
/// # Errors
/// [`TableError`] when the table cannot be encoded or the file cannot be written.
#[cfg(not(feature = "tables"))]
pub fn write_csv(table: &super::Table, path: &Path) -> Result<(), TableError> {
    use super::Column;
    let fail = |reason: String| TableError::Encode { path: path.to_path_buf(), reason };
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(table.columns().iter().map(|(name, _)| name)).map_err(|e| fail(e.to_string()))?;
    for row in 0..table.rows() {
        let cells = table.columns().iter().map(|(_, column)| match column {
            Column::Text(x) => x[row].clone(),
            Column::Whole(x) => x[row].to_string(),
            Column::Number(x) if x[row].is_finite() => format!("{:?}", x[row]),
            Column::Number(_) => String::new(),
        });
        writer.write_record(cells).map_err(|e| fail(e.to_string()))?;
    }
    let bytes = writer.into_inner().map_err(|e| fail(e.to_string()))?;
    write_whole(path, &bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failed_write_leaves_nothing() {
        let dir = tempfile::tempdir().unwrap();
        let missing = dir.path().join("no such folder").join("x.csv");
        let error = write_whole(&missing, b"x").unwrap_err().to_string();
        assert!(error.contains("cannot be written"), "{error}");
        let good = dir.path().join("x.csv");
        write_whole(&good, b"abc").unwrap();
        assert_eq!(std::fs::read(&good).unwrap(), b"abc");
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1);
    }
}
