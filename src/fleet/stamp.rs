//! Whether a weather file is still the one that was read: its size and the time of its last change.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use super::error::FleetError;
use super::manifest::read_text;
use crate::tables::write_whole;

/// Size and time of last change; nothing of a file that is not there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Stamp {
    /// Length.
    pub bytes: u64,
    /// Since 1970, ns; 0 where the system does not say.
    pub modified_ns: u128,
}

impl Stamp {
    /// As the file stands now.
    pub fn of(path: &Path) -> Option<Stamp> {
        let meta = std::fs::metadata(path).ok()?;
        let modified = meta.modified().ok().and_then(|t| t.duration_since(UNIX_EPOCH).ok());
        Some(Stamp { bytes: meta.len(), modified_ns: modified.map_or(0, |t| t.as_nanos()) })
    }
}

/// The stamps of the files behind a part, by name; what a resumed run compares.
pub type Stamps = BTreeMap<String, Option<Stamp>>;

/// Writes the stamps of a part.
pub fn write(stamps: &Stamps, path: &Path) -> Result<(), FleetError> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    let row = |e: csv::Error| FleetError::Folder { path: path.to_path_buf(), reason: e.to_string() };
    csv.write_record(["file", "bytes", "modified_ns"]).map_err(row)?;
    for (name, stamp) in stamps {
        let words = stamp.map_or([String::new(), String::new()], |s| [s.bytes.to_string(), s.modified_ns.to_string()]);
        csv.write_record([name, &words[0], &words[1]]).map_err(row)?;
    }
    let bytes = csv.into_inner().map_err(|e| FleetError::folder(path, e.error()))?;
    Ok(write_whole(path, &bytes)?)
}

/// Reads them back; nothing when they are missing or cannot be read.
pub fn read(path: &Path) -> Option<Stamps> {
    let text = read_text(path).ok()?;
    let mut stamps = Stamps::new();
    for record in csv::Reader::from_reader(text.as_bytes()).records() {
        let record = record.ok()?;
        let stamp = match (record.get(1)?, record.get(2)?) {
            ("", "") => None,
            (bytes, time) => Some(Stamp { bytes: bytes.parse().ok()?, modified_ns: time.parse().ok()? }),
        };
        stamps.insert(record.get(0)?.to_string(), stamp);
    }
    Some(stamps)
}

/// Name of a file in the stamps: seen from the fleet file, so that it does not depend on the current folder.
pub fn name_of(path: &Path, base: &Path) -> String {
    let inside =
        path.strip_prefix(base).map_or_else(|_| path.file_name().map(PathBuf::from), |p| Some(p.to_path_buf()));
    inside.unwrap_or_default().display().to_string().replace('\\', "/")
}

/// For messages: what a run says of a file that is no longer what it was.
pub fn changed(path: &Path, when: &str) -> String {
    format!(
        "{}: the file changed {when}; expected it to stay as it is.\n  Run again with --resume when nothing writes to it.",
        path.display()
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stamps_come_back_as_written() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("a,b.csv");
        std::fs::write(&file, "x").unwrap();
        let stamps = Stamps::from([("a,b.csv".to_string(), Stamp::of(&file)), ("gone".to_string(), None)]);
        assert!(stamps["a,b.csv"].is_some());
        let path = dir.path().join("stamps.csv");
        write(&stamps, &path).unwrap();
        assert_eq!(read(&path).unwrap(), stamps);
        std::fs::write(&file, "xy").unwrap();
        assert_ne!(Stamp::of(&file), stamps["a,b.csv"]);
        assert_eq!(read(&dir.path().join("none")), None);
        assert_eq!(name_of(&file, dir.path()), "a,b.csv");
        assert_eq!(name_of(Path::new("elsewhere/c.csv"), dir.path()), "c.csv");
    }
}
