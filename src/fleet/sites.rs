//! The table of sites: read once into memory as bytes, cut into parts of a fixed number of rows, parsed part by part.

use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::io::Cursor;
use std::path::Path;

use super::error::FleetError;
use crate::units::{clean, shown};

/// Sites in one part of the results, when the fleet file does not say.
pub const SITES_PER_PART: usize = 256;

/// Columns with a meaning of their own; others are keys of the job with a dot in them.
pub const PLAIN_COLUMNS: [&str; 10] = [
    "site",
    "weather",
    "latitude_deg",
    "longitude_deg",
    "elevation_m",
    "utc_offset_h",
    "label",
    "light_scale",
    "country",
    "climate",
];

/// Columns that are copied to the results, and by which the summary groups.
pub const GROUP_COLUMNS: [&str; 2] = ["country", "climate"];

/// The table of sites.
#[derive(Debug)]
pub struct Sites {
    /// As named in messages.
    pub file: String,
    /// Column names.
    pub header: Vec<String>,
    /// Number of rows.
    pub rows: usize,
    /// Sites in a part.
    pub per_part: usize,
    bytes: Vec<u8>,
    /// Where each part begins.
    starts: Vec<csv::Position>,
    /// Rows with a name that stood before, and the line where.
    doubles: HashMap<usize, u64>,
    /// True when the table was Parquet: rows are counted, not lines.
    counted: bool,
    /// A table in memory: cell by row (from 0) and column, in place of `bytes`.
    cells: Option<Cells>,
    /// Rows of a larger table that stand before this one.
    before: usize,
}

/// Hands out a cell as text, by row from 0 and column; an empty one for nothing.
pub struct Cells(pub Box<dyn Fn(usize, usize) -> String + Send + Sync>);

impl std::fmt::Debug for Cells {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Cells")
    }
}

/// A table of sites in memory, whole or a run of rows of a larger one.
#[derive(Debug)]
pub struct SiteTable {
    /// As named in messages.
    pub name: String,
    /// Column names.
    pub header: Vec<String>,
    /// Number of rows.
    pub rows: usize,
    /// The cells.
    pub cells: Cells,
    /// Rows of the larger table that stand before.
    pub before: usize,
    /// Names that stand before, with their rows from 1.
    pub taken: HashMap<String, u64>,
}

/// One row.
#[derive(Debug, Clone, PartialEq)]
pub struct SiteRow {
    /// From 0.
    pub index: usize,
    /// Line in the file, from 1.
    pub line: u64,
    /// Cells, trimmed, as many as there are columns; or why the row cannot be read.
    pub cells: Result<Vec<String>, String>,
    /// The line where the same name stood before.
    pub double_of: Option<u64>,
}

impl Sites {
    /// From the bytes of a CSV.
    ///
    /// # Errors
    /// [`FleetError::Wrong`] when the head is no good or there is no row.
    pub fn from_csv(path: &Path, bytes: Vec<u8>, counted: bool, per_part: usize) -> Result<Sites, FleetError> {
        let file = path.display().to_string();
        let wrong = |line: u64, found: String, expected: &str, mend: &str| FleetError::Wrong {
            at: format!("{file}:{line}"),
            found,
            expected: expected.to_string(),
            mend: mend.to_string(),
        };
        let mut records = reader(&bytes);
        let mut record = csv::ByteRecord::new();
        let broken = |e: csv::Error| {
            let line = e.position().map_or(1, csv::Position::line);
            wrong(line, format!("this does not read as CSV ({e})"), "a header and one site per row", "Mend the row.")
        };
        let columns = COLUMNS;
        if !records.read_byte_record(&mut record).map_err(broken)? {
            return Err(wrong(1, "the table is empty".into(), columns, "Write a header and one row per site."));
        }
        let mut header: Vec<String> = Vec::new();
        let line = record.position().map_or(1, csv::Position::line);
        for cell in &record {
            header.push(clean(String::from_utf8_lossy(cell).trim_start_matches('\u{feff}').trim()));
        }
        let name_at = checked_head(&header).map_err(|(found, expected, mend)| wrong(line, found, expected, &mend))?;
        let mut sites = Sites {
            file: file.clone(),
            header,
            rows: 0,
            per_part: per_part.max(1),
            bytes: Vec::new(),
            starts: Vec::new(),
            doubles: HashMap::new(),
            counted,
            cells: None,
            before: 0,
        };
        let mut seen: HashMap<Box<[u8]>, u64> = HashMap::new();
        loop {
            let start = records.position().clone();
            if !records.read_byte_record(&mut record).map_err(broken)? {
                break;
            }
            if sites.rows.is_multiple_of(sites.per_part) {
                sites.starts.push(start);
            }
            let line = record.position().map_or(0, csv::Position::line);
            if let Some(name) = record.get(name_at).map(<[u8]>::trim_ascii).filter(|n| !n.is_empty()) {
                match seen.get(name) {
                    Some(first) => drop(sites.doubles.insert(sites.rows, *first)),
                    None => drop(seen.insert(name.into(), line)),
                }
            }
            sites.rows += 1;
        }
        if sites.rows == 0 {
            return Err(wrong(1, "the table has no sites".into(), "one row per site", "Add a row."));
        }
        drop(records);
        sites.bytes = bytes;
        Ok(sites)
    }

    /// The first row with a name; when there is none, a name that is near.
    pub fn find(&self, name: &str) -> Result<SiteRow, Option<String>> {
        let Some(at) = self.column("site") else { return Err(None) };
        let mut near: Option<(f64, String)> = None;
        for part in 0..self.parts() {
            for row in self.part(part) {
                let Some(cell) = row.cells.as_ref().ok().and_then(|c| c.get(at)) else { continue };
                if cell == name {
                    return Ok(row);
                }
                let score = strsim::normalized_damerau_levenshtein(&cell.to_lowercase(), &name.to_lowercase());
                if score > 0.6 && near.as_ref().is_none_or(|(best, _)| score > *best) {
                    near = Some((score, cell.clone()));
                }
            }
        }
        Err(near.map(|(_, name)| name))
    }

    /// From a table in memory. Rows are counted in messages, and lines stand for rows as in a Parquet file.
    ///
    /// # Errors
    /// [`FleetError::Wrong`] when the head is no good or there is no row.
    pub fn from_table(table: SiteTable, per_part: usize) -> Result<Sites, FleetError> {
        let wrong = |found: String, expected: &str, mend: String| FleetError::Wrong {
            at: table.name.clone(),
            found,
            expected: expected.to_string(),
            mend,
        };
        let name_at = checked_head(&table.header).map_err(|(found, expected, mend)| wrong(found, expected, mend))?;
        if table.rows == 0 {
            return Err(wrong("the table has no sites".into(), "one row per site", "Add a row.".into()));
        }
        let mut seen: HashMap<String, u64> = table.taken.into_iter().map(|(name, row)| (name, row + 1)).collect();
        let mut doubles = HashMap::new();
        for row in 0..table.rows {
            let name = table.cells.0(row, name_at).trim().to_string();
            if name.is_empty() {
                continue;
            }
            match seen.entry(name) {
                Entry::Occupied(first) => drop(doubles.insert(table.before + row, *first.get())),
                Entry::Vacant(free) => drop(free.insert((table.before + row) as u64 + 2)),
            }
        }
        Ok(Sites {
            file: table.name,
            header: table.header,
            rows: table.rows,
            per_part: per_part.max(1),
            bytes: Vec::new(),
            starts: Vec::new(),
            doubles,
            counted: true,
            cells: Some(table.cells),
            before: table.before,
        })
    }

    /// Number of parts.
    pub fn parts(&self) -> usize {
        self.rows.div_ceil(self.per_part)
    }

    /// The bytes of the table.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// Place of a column.
    pub fn column(&self, name: &str) -> Option<usize> {
        self.header.iter().position(|h| h == name)
    }

    /// For messages: file and line, or file and row.
    pub fn at(&self, line: u64) -> String {
        if self.counted { format!("{}:row {}", self.file, line.max(2) - 1) } else { format!("{}:{line}", self.file) }
    }

    /// The rows of one part.
    pub fn part(&self, part: usize) -> Vec<SiteRow> {
        if let Some(cells) = &self.cells {
            let first = part * self.per_part;
            let row = |i: usize| SiteRow {
                index: self.before + i,
                // The head would be line 1.
                line: (self.before + i) as u64 + 2,
                cells: Ok((0..self.header.len()).map(|c| cells.0(i, c).trim().to_string()).collect()),
                double_of: self.doubles.get(&(self.before + i)).copied(),
            };
            return (first..(first + self.per_part).min(self.rows)).map(row).collect();
        }
        let Some(start) = self.starts.get(part) else { return Vec::new() };
        let mut records = reader(&self.bytes);
        if records.seek(start.clone()).is_err() {
            return Vec::new();
        }
        let first = part * self.per_part;
        let mut record = csv::ByteRecord::new();
        let mut rows = Vec::with_capacity(self.per_part.min(self.rows));
        for index in first..(first + self.per_part).min(self.rows) {
            if !matches!(records.read_byte_record(&mut record), Ok(true)) {
                break;
            }
            let line = record.position().map_or(0, csv::Position::line);
            rows.push(SiteRow {
                index,
                line,
                cells: self.cells(&record),
                double_of: self.doubles.get(&index).copied(),
            });
        }
        rows
    }

    fn cells(&self, record: &csv::ByteRecord) -> Result<Vec<String>, String> {
        if record.len() != self.header.len() {
            return Err(format!(
                "the row has {} cells; expected {} as in the header. Add or remove commas; put text that holds a comma \
                 in double quotes.",
                record.len(),
                self.header.len()
            ));
        }
        record
            .iter()
            .zip(&self.header)
            .map(|(cell, name)| {
                std::str::from_utf8(cell)
                    .map(|text| text.trim().to_string())
                    .map_err(|_| format!("{name} is not UTF-8; expected text in UTF-8. Save the table as UTF-8."))
            })
            .collect()
    }
}

const COLUMNS: &str =
    "columns site, weather, latitude_deg, longitude_deg, ... and keys of the job such as plane.tilt_deg";

/// Place of the column of names; or what was found, what is expected and how to mend it.
fn checked_head(header: &[String]) -> Result<usize, (String, &'static str, String)> {
    for (i, name) in header.iter().enumerate() {
        if header[..i].contains(name) {
            return Err((format!("the column {} stands twice", shown(name)), "each column once", "Remove one.".into()));
        }
        if !name.contains('.') && !PLAIN_COLUMNS.contains(&name.as_str()) {
            let near = PLAIN_COLUMNS
                .iter()
                .map(|known| (strsim::normalized_damerau_levenshtein(name, known), known))
                .filter(|(score, _)| *score > 0.6)
                .max_by(|a, b| a.0.total_cmp(&b.0));
            let mend = near.map_or("Rename or remove the column.".into(), |(_, k)| format!("Did you mean {k}?"));
            return Err((format!("there is no column \"{}\"", shown(name)), COLUMNS, mend));
        }
    }
    let name_at = header.iter().position(|h| h == "site");
    name_at.ok_or_else(|| {
        ("there is no column site".to_string(), COLUMNS, "Give every site a name of its own.".to_string())
    })
}

fn reader(bytes: &[u8]) -> csv::Reader<Cursor<&[u8]>> {
    csv::ReaderBuilder::new().has_headers(false).flexible(true).comment(Some(b'#')).from_reader(Cursor::new(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(text: &str) -> Result<Sites, FleetError> {
        Sites::from_csv(Path::new("t.csv"), text.as_bytes().to_vec(), false, SITES_PER_PART)
    }

    #[test]
    fn parts_hold_every_row_once_and_know_their_lines() {
        let mut text = "# a comment\nsite,plane.tilt_deg\n".to_string();
        for i in 0..600 {
            text.push_str(&format!("\"s,{i}\",{i}\n"));
        }
        let sites = table(&text).unwrap();
        assert_eq!((sites.rows, sites.parts()), (600, 3));
        let rows: Vec<SiteRow> = (0..3).flat_map(|p| sites.part(p)).collect();
        for (i, row) in rows.iter().enumerate() {
            assert_eq!((row.index, row.line), (i, i as u64 + 3));
            assert_eq!(row.cells.as_ref().unwrap()[0], format!("s,{i}"));
        }
    }

    #[test]
    fn a_name_twice_a_short_row_and_bad_text_are_told_apart() {
        let sites = table("site,weather\na,x\nb\na,y\n").unwrap();
        let rows = sites.part(0);
        assert_eq!(rows[2].double_of, Some(2));
        assert!(rows[1].cells.as_ref().unwrap_err().contains("1 cells"));
        let sites = Sites::from_csv(Path::new("t.csv"), b"site\n\xff\n".to_vec(), false, SITES_PER_PART).unwrap();
        assert!(sites.part(0)[0].cells.is_err());
    }

    #[test]
    fn a_bad_head_is_refused() {
        for (text, word) in [
            ("", "empty"),
            ("site\n", "no sites"),
            ("name\nx\n", "no column \"name\""),
            ("site,site\nx,y\n", "twice"),
            ("site,lattitude_deg\nx,1\n", "Did you mean latitude_deg"),
            ("weather\nx\n", "no column site"),
        ] {
            let message = table(text).unwrap_err().to_string();
            assert!(message.contains(word), "{message}");
        }
    }
}
