//! One large Parquet file, read by the row groups whose statistics say that they hold what is wanted.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use polars::prelude::*;

use super::frame::{from_frame, guarded, open, unreadable};
use super::trust::{believe, believe_pages};
use super::{Table, TableError};

/// A Parquet file with its footer read once; rows are fetched by the value of one column of words.
#[derive(Debug)]
pub struct RowGroups {
    path: PathBuf,
    key: String,
    meta: FileMetadataRef,
    /// Length and time of change of the file that the footer is of.
    stamp: (u64, Option<SystemTime>),
    groups: Vec<Group>,
}

#[derive(Debug)]
struct Group {
    start: usize,
    rows: usize,
    /// Least and greatest value of the key; `None` where the file has no statistics.
    bounds: Option<(Vec<u8>, Vec<u8>)>,
}

impl RowGroups {
    /// Reads the footer.
    ///
    /// # Errors
    /// [`TableError::Read`] when the file is missing, cut, no Parquet, or has no column `key`.
    pub fn open(path: &Path, key: &str) -> Result<RowGroups, TableError> {
        guarded(path, || RowGroups::footer(path, key))
    }

    fn footer(path: &Path, key: &str) -> Result<RowGroups, TableError> {
        let fail = |reason: String| unreadable(path, &reason);
        let file = open(path)?;
        let stamp = stamp(&file).map_err(|e| fail(e.to_string()))?;
        let meta = believe(file, stamp.0, path)?;
        let mut groups = Vec::with_capacity(meta.row_groups.len());
        let mut start = 0;
        for group in &meta.row_groups {
            let mut columns =
                group.columns_under_root_iter(key).ok_or_else(|| fail(format!("there is no column {key}")))?;
            let statistics = columns.next().and_then(|c| c.statistics(&meta.footer_buf)).and_then(Result::ok);
            let bounds = statistics
                .as_ref()
                .and_then(|s| s.as_binary())
                .and_then(|s| Some((s.min_value.clone()?, s.max_value.clone()?)));
            groups.push(Group { start, rows: group.num_rows(), bounds });
            start = start.saturating_add(group.num_rows());
        }
        Ok(RowGroups { path: path.to_path_buf(), key: key.to_string(), meta, stamp, groups })
    }

    /// Number of row groups.
    pub fn len(&self) -> usize {
        self.groups.len()
    }

    /// True when the file has no rows.
    pub fn is_empty(&self) -> bool {
        self.groups.is_empty()
    }

    /// Row groups that may hold a value, by their statistics.
    pub fn candidates(&self, value: &str) -> usize {
        self.groups.iter().filter(|g| g.may_hold(value)).count()
    }

    /// The rows with a value of the key, in file order; only row groups that may hold it are read.
    ///
    /// # Errors
    /// [`TableError::Read`] when the file cannot be read any more.
    pub fn rows_of(&self, value: &str) -> Result<Table, TableError> {
        guarded(&self.path, || self.read(value))
    }

    fn read(&self, value: &str) -> Result<Table, TableError> {
        let fail = |reason: String| unreadable(&self.path, &reason);
        let mut found: Option<DataFrame> = None;
        for (k, group) in self.groups.iter().enumerate().filter(|(_, g)| g.may_hold(value)) {
            let file = open(&self.path)?;
            if stamp(&file).map_err(|e| fail(e.to_string()))? != self.stamp {
                return Err(fail("it was changed while it was read".into()));
            }
            let pages = &self.meta.row_groups[k..=k];
            believe_pages(pages, &mut std::io::BufReader::with_capacity(512, &file), &self.path)?;
            let mut reader = ParquetReader::new(file);
            reader.set_metadata(self.meta.clone());
            let frame = reader
                .read_parallel(ParallelStrategy::None)
                .with_slice(Some((group.start, group.rows)))
                .finish()
                .map_err(|e| fail(e.to_string()))?;
            let keys =
                frame.column(&self.key).and_then(|c| c.cast(&DataType::String)).map_err(|e| fail(e.to_string()))?;
            let keys = keys.str().map_err(|e| fail(e.to_string()))?;
            let mask: BooleanChunked = keys.iter().map(|k| Some(k == Some(value))).collect();
            let part = frame.filter(&mask).map_err(|e| fail(e.to_string()))?;
            match &mut found {
                None => found = Some(part),
                Some(all) => {
                    all.vstack_mut(&part).map_err(|e| fail(e.to_string()))?;
                }
            }
        }
        match found {
            Some(mut frame) => {
                // Times as text, whatever kind of time the file uses.
                for name in frame.get_column_names_owned() {
                    let column = frame.column(&name).map_err(|e| fail(e.to_string()))?;
                    if column.dtype().is_temporal() {
                        let text = column.cast(&DataType::String).map_err(|e| fail(e.to_string()))?;
                        frame.with_column(text).map_err(|e| fail(e.to_string()))?;
                    }
                }
                from_frame(&frame).map_err(|e| fail(e.to_string()))
            }
            None => Ok(Table::new()),
        }
    }
}

fn stamp(file: &File) -> std::io::Result<(u64, Option<SystemTime>)> {
    let now = file.metadata()?;
    Ok((now.len(), now.modified().ok()))
}

impl Group {
    fn may_hold(&self, value: &str) -> bool {
        self.bounds.as_ref().is_none_or(|(least, most)| {
            // A writer may cut long bounds short: a cut upper bound is compared by its length.
            let v = value.as_bytes();
            least.as_slice() <= v && (v <= most.as_slice() || v.starts_with(most))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_groups_with_the_value_are_read() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("set.parquet");
        let n = 1000;
        let sites: Vec<String> = (0..n).map(|i| format!("s{}", i / 100)).collect();
        let values: Vec<f64> = (0..n).map(f64::from).collect();
        let mut frame = df!["site" => sites, "x" => values].unwrap();
        let file = File::create(&path).unwrap();
        ParquetWriter::new(file).with_row_group_size(Some(100)).finish(&mut frame).unwrap();
        let set = RowGroups::open(&path, "site").unwrap();
        assert_eq!(set.len(), 10);
        assert_eq!(set.candidates("s4"), 1);
        let rows = set.rows_of("s4").unwrap();
        assert_eq!(rows.numbers("x").unwrap(), (400..500).map(f64::from).collect::<Vec<_>>());
        assert_eq!(set.rows_of("no such site").unwrap().rows(), 0);
        assert!(RowGroups::open(&path, "y").is_err());
        std::fs::write(&path, std::fs::read(&path).unwrap().repeat(2)).unwrap();
        let error = set.rows_of("s4").unwrap_err().to_string();
        assert!(error.contains("it was changed while it was read"), "{error}");
    }
}
