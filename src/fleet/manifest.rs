//! What the results in a folder were made from, and which parts are there.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::error::FleetError;
use crate::tables::{read_parquet_columns, write_whole};
use crate::weather::read_up_to;

pub(super) const ROWS: &str = "fleet.parquet";
pub(super) const REFUSED: &str = "refused";
const WEATHER: &str = "weather";
/// Pages of single sites, made on demand.
pub const PAGES: &str = "pages";
const MANIFEST: &str = "manifest.json";
/// Written at the end, from the parts.
const FINAL: [&str; 4] = ["refused.csv", "summary.json", "fleet.csv", "index.html"];

/// `manifest.json`: two runs with the same one give the same bytes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Manifest {
    /// Version of the program.
    pub program: String,
    /// Title of the fleet.
    pub title: String,
    /// Language of the index page.
    pub language: String,
    /// Checksum of the fleet file.
    pub fleet_sha256: String,
    /// Checksums of the template and the files it names, by file name.
    pub template_sha256: BTreeMap<String, String>,
    /// Checksum of the table of sites.
    pub sites_sha256: String,
    /// Name and length in bytes of the weather set.
    pub weather_set: Option<(String, u64)>,
    /// Rows of the table of sites.
    pub sites: usize,
    /// Sites in a part.
    pub sites_per_part: usize,
    /// Parts.
    pub parts: usize,
    /// Copied columns.
    pub groups: Vec<String>,
    /// Whether gaps are split.
    pub split: bool,
    /// Whether `fleet.csv` is written.
    pub csv: bool,
}

/// Largest file of a part that is read, bytes.
pub(super) const MAX_PART: u64 = 1 << 30;
/// Largest text that a run has left: manifest, refusals, stamps.
const MAX_TEXT: u64 = 64 << 20;

/// A text that a run has left in its folder.
pub(super) fn read_text(path: &Path) -> std::io::Result<String> {
    let bytes = read_up_to(path, MAX_TEXT)?;
    String::from_utf8(bytes).map_err(|e| std::io::Error::new(std::io::ErrorKind::InvalidData, e))
}

impl Manifest {
    /// The manifest of a folder; nothing when there is none.
    pub(super) fn of(folder: &Path) -> Result<Option<Manifest>, FleetError> {
        let path = folder.join(MANIFEST);
        let text = match read_text(&path) {
            Ok(text) => text,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            Err(e) => return Err(FleetError::unreadable(&path, &e, "the manifest of a fleet run")),
        };
        let manifest = serde_json::from_str(&text).map_err(|e| FleetError::Parts {
            found: format!("this is no manifest of a fleet run ({e})"),
            path,
            mend: "Name the folder that yearlight fleet wrote, or begin anew without --resume.".to_string(),
        })?;
        Ok(Some(manifest))
    }

    pub(super) fn write(&self, folder: &Path) -> Result<(), FleetError> {
        let mut text = serde_json::to_string_pretty(self).unwrap_or_default();
        text.push('\n');
        Ok(write_whole(&folder.join(MANIFEST), text.as_bytes())?)
    }

    /// Refuses results of another run, and says what differs.
    pub(super) fn expect(&self, other: &Manifest, folder: &Path) -> Result<(), FleetError> {
        let what = if self.program != other.program {
            "version of the program"
        } else if self.sites_sha256 != other.sites_sha256 || self.sites != other.sites {
            "table of sites"
        } else if self.template_sha256 != other.template_sha256 {
            "template or parts file"
        } else if self.weather_set != other.weather_set {
            "weather set"
        } else if self != other {
            "fleet file"
        } else {
            return Ok(());
        };
        Err(FleetError::OtherRun { path: folder.join(MANIFEST), what: what.to_string() })
    }

    /// Rows of a part, counted from 1.
    pub(super) fn rows_of(&self, part: usize) -> std::ops::RangeInclusive<i64> {
        let first = part * self.sites_per_part;
        first as i64 + 1..=(first + self.sites_per_part).min(self.sites) as i64
    }

    /// Whether a part is there and holds every one of its sites once, as a result or a refusal; else what is wrong.
    pub(super) fn check(&self, folder: &Path, part: usize) -> Result<(), String> {
        let table = read_parquet_columns(&rows_file(folder, part), &["row"]).map_err(|e| e.to_string())?;
        let mut rows: Vec<i64> = table.wholes("row").unwrap_or_default().to_vec();
        let in_order = rows.windows(2).all(|w| w[0] <= w[1]);
        rows.dedup();
        let path = refused_file(folder, part);
        let text = read_text(&path).map_err(|e| format!("{}: {e}", path.display()))?;
        for record in csv::Reader::from_reader(text.as_bytes()).records() {
            let row = record.ok().and_then(|r| r.get(0)?.parse().ok());
            rows.push(row.ok_or_else(|| format!("{}: this does not read as CSV", path.display()))?);
        }
        rows.sort_unstable();
        if in_order && rows.iter().copied().eq(self.rows_of(part)) {
            return Ok(());
        }
        let wanted = self.rows_of(part);
        Err(format!(
            "{} and {} do not hold the sites of rows {} to {} once each",
            rows_file(folder, part).display(),
            path.display(),
            wanted.start(),
            wanted.end()
        ))
    }
}

pub(super) fn rows_file(folder: &Path, part: usize) -> PathBuf {
    folder.join(ROWS).join(format!("part-{part:05}.parquet"))
}

pub(super) fn refused_file(folder: &Path, part: usize) -> PathBuf {
    folder.join(REFUSED).join(format!("part-{part:05}.csv"))
}

/// Which weather files the part was made from.
pub(super) fn weather_file(folder: &Path, part: usize) -> PathBuf {
    folder.join(WEATHER).join(format!("part-{part:05}.csv"))
}

/// Makes the folders.
pub(super) fn prepare(folder: &Path) -> Result<(), FleetError> {
    for path in [folder.to_path_buf(), folder.join(ROWS), folder.join(REFUSED), folder.join(WEATHER)] {
        std::fs::create_dir_all(&path).map_err(|e| FleetError::folder(&path, &e))?;
    }
    Ok(())
}

/// Removes what an interrupted run left half done, and the files that are made at the end; the parts too when `all`.
/// Nothing else in the folder is touched.
pub(super) fn clear(folder: &Path, all: bool) -> Result<(), FleetError> {
    let mut away: Vec<PathBuf> = FINAL.iter().map(|name| folder.join(name)).collect();
    if all {
        away.push(folder.join(MANIFEST));
    }
    for (sub, ending) in [(ROWS, ".parquet"), (REFUSED, ".csv"), (WEATHER, ".csv")] {
        let sub = folder.join(sub);
        for (path, name) in list(&sub)? {
            let part = name.starts_with("part-") && name.ends_with(ending);
            if is_half(&name) || (all && part) {
                away.push(path);
            }
        }
    }
    if all {
        // Pages of sites of the run before; a page of ours begins with the number of the row.
        let ours =
            |name: &str| name.ends_with(".html") && name.len() > 5 && name[..5].bytes().all(|b| b.is_ascii_digit());
        away.extend(list(&folder.join(PAGES))?.into_iter().filter(|(_, name)| ours(name)).map(|(path, _)| path));
    }
    away.extend(list(folder)?.into_iter().filter(|(_, name)| is_half(name)).map(|(path, _)| path));
    for path in away {
        match std::fs::remove_file(&path) {
            Err(e) if e.kind() != std::io::ErrorKind::NotFound => return Err(FleetError::folder(&path, &e)),
            _ => {}
        }
    }
    Ok(())
}

/// A temporary name of ours: `part-00000.parquet.1234.part`.
fn is_half(name: &str) -> bool {
    let known = ["part-", MANIFEST, "refused.csv.", "summary.json.", "fleet.csv.", "index.html."];
    name.ends_with(".part") && known.iter().any(|k| name.starts_with(k))
}

/// Files of a folder by name; nothing when the folder is missing.
pub(super) fn list(folder: &Path) -> Result<Vec<(PathBuf, String)>, FleetError> {
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(e) => return Err(FleetError::folder(folder, &e)),
    };
    let mut files = Vec::new();
    for entry in entries {
        let entry = entry.map_err(|e| FleetError::folder(folder, &e))?;
        files.push((entry.path(), entry.file_name().to_string_lossy().into_owned()));
    }
    files.sort();
    Ok(files)
}
