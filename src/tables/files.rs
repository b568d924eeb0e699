//! Files that are whole or not there.

use std::io::Write;
use std::path::{Path, PathBuf};

use super::{Column, Table};

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
    Staged::write(path.to_path_buf(), bytes, true)?.show()
}

/// A file that is written under a temporary name; it takes its own when it is shown, else it is removed.
struct Staged {
    path: PathBuf,
    part: PathBuf,
    shown: bool,
}

impl Staged {
    fn write(path: PathBuf, bytes: &[u8], flush: bool) -> Result<Staged, TableError> {
        let mut name = path.file_name().unwrap_or_default().to_os_string();
        name.push(format!(".{}.part", std::process::id()));
        let staged = Staged { part: path.with_file_name(name), path, shown: false };
        let written = std::fs::File::create(&staged.part).and_then(|mut file| {
            file.write_all(bytes)?;
            if flush { file.sync_data() } else { Ok(()) }
        });
        written.map_err(|source| TableError::Write { path: staged.path.clone(), source })?;
        Ok(staged)
    }

    fn show(mut self) -> Result<(), TableError> {
        std::fs::rename(&self.part, &self.path)
            .map_err(|source| TableError::Write { path: self.path.clone(), source })?;
        self.shown = true;
        Ok(())
    }
}

impl Drop for Staged {
    fn drop(&mut self) {
        if !self.shown {
            let _ = std::fs::remove_file(&self.part);
        }
    }
}

/// Files of one folder that belong together: they take their names together, in the order in which they were put, when
/// all are written. A killed run leaves nothing that looks whole.
///
/// They are not flushed to disk one by one, which would take longer than a small run: after a power cut within seconds,
/// run it again.
pub struct Bundle {
    folder: PathBuf,
    files: Vec<Staged>,
}

impl Bundle {
    /// Makes the folder.
    ///
    /// # Errors
    /// [`TableError::Write`] when it cannot be made.
    pub fn new(folder: &Path) -> Result<Bundle, TableError> {
        std::fs::create_dir_all(folder).map_err(|source| TableError::Write { path: folder.into(), source })?;
        Ok(Bundle { folder: folder.into(), files: Vec::new() })
    }

    /// One more file.
    ///
    /// # Errors
    /// [`TableError::Write`] when it cannot be written; when the bundle is dropped, all that were put are gone.
    pub fn put(&mut self, name: &str, bytes: &[u8]) -> Result<(), TableError> {
        self.files.push(Staged::write(self.folder.join(name), bytes, false)?);
        Ok(())
    }

    /// Gives the files their names.
    ///
    /// # Errors
    /// [`TableError::Write`] of the first that cannot take its name.
    pub fn show(self) -> Result<(), TableError> {
        self.files.into_iter().try_for_each(Staged::show)
    }
}

/// Writes a table as CSV, whole or not at all.
///
/// # Errors
/// [`TableError`] when the file cannot be written.
pub fn write_csv(table: &Table, path: &Path) -> Result<(), TableError> {
    write_whole(path, &csv_bytes(table, true))
}

/// The table as CSV, with or without the line of names; numbers by the shortest digits that give them back.
///
/// The table library writes the same cells, but fills tables of some megabytes before its first line.
pub fn csv_bytes(table: &Table, header: bool) -> Vec<u8> {
    let columns = table.columns();
    let mut out = Vec::with_capacity(12 * columns.len() * (table.rows() + 1));
    let end_row = |out: &mut Vec<u8>| {
        out.pop();
        out.push(b'\n');
    };
    if header {
        columns.iter().for_each(|(name, _)| push_text(&mut out, name, columns.len()));
        end_row(&mut out);
    }
    let mut digits = zmij::Buffer::new();
    for row in 0..table.rows() {
        for (_, column) in columns {
            match column {
                Column::Text(x) => push_text(&mut out, &x[row], columns.len()),
                Column::Whole(x) => push_plain(&mut out, &x[row].to_string()),
                Column::Number(x) => push_plain(&mut out, digits.format(x[row])),
            }
        }
        end_row(&mut out);
    }
    out
}

/// A cell and a comma.
fn push_plain(out: &mut Vec<u8>, cell: &str) {
    out.extend_from_slice(cell.as_bytes());
    out.push(b',');
}

/// As [`push_plain`], in quotes where there must be some: a row of one empty cell would be an empty line.
fn push_text(out: &mut Vec<u8>, cell: &str, columns: usize) {
    let alone = cell.is_empty() && columns == 1;
    if !alone && !cell.contains([',', '"', '\r', '\n']) {
        return push_plain(out, cell);
    }
    out.push(b'"');
    out.extend_from_slice(cell.replace('"', "\"\"").as_bytes());
    out.extend_from_slice(b"\",");
}

#[cfg(test)]
mod tests {
    use super::super::sample;
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

    #[test]
    fn a_bundle_shows_all_or_nothing() {
        let dir = tempfile::tempdir().unwrap();
        let names = || {
            let mut names: Vec<_> =
                std::fs::read_dir(dir.path().join("run")).unwrap().map(|e| e.unwrap().file_name()).collect();
            names.sort();
            names
        };
        let begun = || Bundle::new(&dir.path().join("run")).unwrap();
        let mut bundle = begun();
        bundle.put("a.csv", b"abc").unwrap();
        assert_eq!(names().len(), 1, "under another name");
        drop(bundle);
        assert!(names().is_empty(), "not shown");
        let mut bundle = begun();
        bundle.put("a.csv", b"abc").unwrap();
        let error = bundle.put("no such folder/b.csv", b"abc").unwrap_err().to_string();
        assert!(error.contains("b.csv: cannot be written"), "{error}");
        drop(bundle);
        assert!(names().is_empty(), "one of them could not be written");
        let mut bundle = begun();
        bundle.put("a.csv", b"abc").unwrap();
        bundle.put("c.csv", b"cde").unwrap();
        bundle.show().unwrap();
        assert_eq!(names(), ["a.csv", "c.csv"]);
        assert_eq!(std::fs::read(dir.path().join("run/c.csv")).unwrap(), b"cde");
    }

    // The csv crate's reader is the outside judge; the table library's writer the other one, in `frame`.
    #[test]
    fn csv_keeps_every_digit_and_every_word() {
        let table = sample();
        let bytes = csv_bytes(&table, true);
        let mut reader = csv::Reader::from_reader(bytes.as_slice());
        assert_eq!(reader.headers().unwrap(), vec!["option", "month", "e_ac_kwh"]);
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!((&rows[1][0], &rows[1][1]), ("B, \"x\"", "-2"));
        assert_eq!(rows[1][2].parse::<f64>().unwrap(), 1_234.567_890_123_4);
        let headless = csv_bytes(&table, false);
        assert!(bytes.ends_with(&headless) && headless.starts_with(b"A,1,0.1\n"));
    }

    #[test]
    fn csv_quotes_as_the_csv_crate_does() {
        let words =
            ["", " ", "a", "a,b", "\"", "a \"b\" c", "\n", "a\r\nb", "#", "\u{e4}\t;", ",\"\"\n"].map(String::from);
        let alone = Table::new().text("x", words.to_vec());
        let beside = alone.clone().text("y, z", words.iter().rev().cloned().collect());
        for table in [alone, beside] {
            let mut writer = csv::Writer::from_writer(Vec::new());
            writer.write_record(table.columns().iter().map(|(name, _)| name)).unwrap();
            for row in 0..table.rows() {
                let cells = table.columns().iter().map(|(name, _)| &table.words(name).unwrap()[row]);
                writer.write_record(cells).unwrap();
            }
            assert_eq!(csv_bytes(&table, true), writer.into_inner().unwrap());
        }
    }
}
