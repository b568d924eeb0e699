//! From a path or bytes to columns on the grid.

use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::sync::OnceLock;

use sha2::{Digest, Sha256};

use super::body::{Body, Stamp};
use super::careful::check_text;
use super::formats::{Header, HourRule, header};
use super::grid::{Grid, NONE, place, step_of};
use super::raw::{Lines, RawYear};
use super::{Label, Provenance, Quantity, ReadHints, WeatherError, careful, fast};
use crate::units::Note;

/// Largest weather file, also after unpacking, bytes: ten years of one-minute rows stay below it.
pub const MAX_BYTES: u64 = 512 << 20;
/// Most rows of one weather file: eleven years of minutes.
pub const MAX_ROWS: usize = 6_000_000;
/// Longest line, bytes.
pub const MAX_LINE: usize = 64 << 10;
/// A gzip that unpacks to more than this many times its size is none of a weather file; the first 16 MB are free.
const MOST_TIMES: u64 = 100;
const FREE_BYTES: u64 = 16 << 20;
const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

/// Bytes of a file in memory at a time: a block stays in the processor's cache from reading to checksum and numbers.
const BLOCK: usize = 64 << 10;

/// Reads a file into columns on the grid; nothing is completed or judged yet.
///
/// Text in good order is read block by block. Any other file is read whole, by which every message is exact.
pub fn read_raw(path: &Path, hints: &ReadHints) -> Result<RawYear, WeatherError> {
    let name = path.display().to_string();
    // A pipe can be opened and read only once, and might have to be read again.
    let plain = std::fs::metadata(path).ok().filter(|meta| meta.is_file() && meta.len() <= MAX_BYTES);
    let file = plain.and_then(|meta| Some((File::open(path).ok()?, meta.len())));
    if let Some(raw) = file.and_then(|(file, len)| in_blocks(&name, file, len, BLOCK, hints)) {
        return raw;
    }
    read_raw_bytes(&name, &read_whole(path)?, hints)
}

/// The bytes of a weather file, as [`read_raw_bytes`] takes them.
pub(crate) fn read_whole(path: &Path) -> Result<Vec<u8>, WeatherError> {
    let file = path.display().to_string();
    read_up_to(path, MAX_BYTES).map_err(|e| match e.kind() {
        std::io::ErrorKind::FileTooLarge => WeatherError::Large {
            file,
            found: format!("is longer than {} MB", MAX_BYTES >> 20),
            expected: format!("at most {} MB", MAX_BYTES >> 20),
        },
        _ => WeatherError::Open { file, reason: plain_reason(&e) },
    })
}

/// Reads a small text file, such as a recipe.
pub fn read_words(path: &Path) -> Result<String, WeatherError> {
    let open = |reason: String| WeatherError::Open { file: path.display().to_string(), reason };
    let bytes = read_up_to(path, MAX_WORDS).map_err(|e| open(plain_reason(&e)))?;
    String::from_utf8(bytes).map_err(|_| open("is not UTF-8 text".into()))
}

/// Largest recipe, bytes.
const MAX_WORDS: u64 = 4 << 20;

/// The bytes of a file of at most `most` bytes. A pipe or device has no length to check beforehand, so the reading
/// itself stops at the limit.
///
/// # Errors
/// What the system says; [`std::io::ErrorKind::FileTooLarge`] for a longer file, of which nothing is kept.
pub fn read_up_to(path: &Path, most: u64) -> std::io::Result<Vec<u8>> {
    let meta = std::fs::metadata(path)?;
    if meta.is_dir() {
        return Err(std::io::ErrorKind::IsADirectory.into());
    }
    if meta.len() > most {
        return Err(std::io::ErrorKind::FileTooLarge.into());
    }
    let mut bytes = Vec::with_capacity(meta.len() as usize + 1);
    File::open(path)?.take(most + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > most {
        return Err(std::io::ErrorKind::FileTooLarge.into());
    }
    Ok(bytes)
}

fn plain_reason(e: &std::io::Error) -> String {
    match e.kind() {
        std::io::ErrorKind::NotFound => "no such file".into(),
        std::io::ErrorKind::PermissionDenied => "may not be read".into(),
        std::io::ErrorKind::IsADirectory => "is a directory".into(),
        std::io::ErrorKind::FileTooLarge => "is too large".into(),
        _ => e.to_string(),
    }
}

/// Plain text in good order, read into one small buffer again and again; `None` for any other. `len`: how long it is
/// thought to be.
pub(super) fn in_blocks(
    name: &str,
    mut file: impl Read,
    len: u64,
    block: usize,
    hints: &ReadHints,
) -> Option<Result<RawYear, WeatherError>> {
    // A file may grow while it is read.
    let mut left = MAX_BYTES;
    let mut sum = (!hints.no_checksum).then(Sha256::new);
    let mut buffer = vec![0; block];
    // Fills the buffer behind what is kept in it: the text in it, and the end of its last whole row.
    let mut fill = |buffer: &mut [u8], kept: usize| -> Option<(usize, usize)> {
        let mut have = kept;
        while have < buffer.len() {
            match file.read(&mut buffer[have..]).ok()? {
                0 => break,
                read => {
                    have += read;
                    left = left.checked_sub(read as u64)?;
                }
            }
        }
        if let Some(sum) = &mut sum {
            sum.update(&buffer[kept..have]);
        }
        let whole = if have < buffer.len() { have } else { memchr::memrchr(b'\n', &buffer[..have])? + 1 };
        check_lines(name, &buffer[..whole]).ok()?;
        Some((have, whole))
    };
    let (mut have, mut whole) = fill(&mut buffer, 0)?;
    let mark = if buffer.starts_with(BYTE_ORDER_MARK) { BYTE_ORDER_MARK.len() } else { 0 };
    let text = &buffer[mark..whole];
    let head = header_of(name, text, hints).ok()?;
    let mut at = mark + head.body_at;
    let rows = fast::rows_of(&buffer[at..whole], (len as usize).saturating_sub(at));
    let mut body = fast::Rows::new(&head.layout, rows, head.first_line)?;
    loop {
        body.take(&buffer[at..whole])?;
        if have < buffer.len() {
            break;
        }
        buffer.copy_within(whole..have, 0);
        (have, whole) = fill(&mut buffer, have - whole)?;
        at = 0;
    }
    let body = body.body;
    if body.stamps.is_empty() || body.stamps.len() > MAX_ROWS {
        return None;
    }
    Some(assemble(name, head, body, hints).map(|mut raw| {
        raw.provenance.file = name.to_string();
        raw.provenance.sha256 = sum.map_or_else(String::new, |sum| hex(&sum.finalize()));
        raw
    }))
}

/// As [`read_raw`], from bytes; `name` stands in messages.
pub fn read_raw_bytes(name: &str, bytes: &[u8], hints: &ReadHints) -> Result<RawYear, WeatherError> {
    if hints.no_checksum {
        return read_bytes_alone(name, bytes, hints);
    }
    // The checksum takes as long as the reading.
    let (raw, sha256) = beside(|| read_bytes_alone(name, bytes, hints), || hex(&Sha256::digest(bytes)));
    let mut raw = raw?;
    raw.provenance.sha256 = sha256;
    Ok(raw)
}

/// Two pieces of work at once, the second on a thread of its own where the machine has a second processor.
pub(crate) fn beside<A, B: Send>(first: impl FnOnce() -> A, second: impl FnOnce() -> B + Send) -> (A, B) {
    static PROCESSORS: OnceLock<usize> = OnceLock::new();
    if *PROCESSORS.get_or_init(|| std::thread::available_parallelism().map_or(1, usize::from)) < 2 {
        return (first(), second());
    }
    std::thread::scope(|scope| {
        let second = scope.spawn(second);
        let first = first();
        (first, second.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
    })
}

/// [`read_raw_bytes`] without the checksum.
fn read_bytes_alone(name: &str, bytes: &[u8], hints: &ReadHints) -> Result<RawYear, WeatherError> {
    let unpacked;
    let mut text = bytes;
    if text.starts_with(&[0x1f, 0x8b]) {
        unpacked = unpack(name, bytes)?;
        text = &unpacked;
    }
    let text = text.strip_prefix(BYTE_ORDER_MARK).unwrap_or(text);
    let mut raw = read_text(name, text, hints)?;
    raw.provenance.file = name.to_string();
    Ok(raw)
}

pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

/// Unpacks piece by piece, so that a small file that unpacks to a huge one is refused before it fills the memory.
fn unpack(name: &str, bytes: &[u8]) -> Result<Vec<u8>, WeatherError> {
    let most = MAX_BYTES.min((bytes.len() as u64 * MOST_TIMES).max(FREE_BYTES));
    let mut out = Vec::new();
    let read = flate2::read::MultiGzDecoder::new(bytes).take(most + 1).read_to_end(&mut out);
    if out.len() as u64 > most {
        return Err(WeatherError::Large {
            file: name.into(),
            found: format!("unpacks from {} bytes to more than {} MB", bytes.len(), most >> 20),
            expected: format!("at most {} MB, and at most {MOST_TIMES} times the packed size", MAX_BYTES >> 20),
        });
    }
    read.map(|_| out).map_err(|e| WeatherError::NotText {
        file: name.into(),
        line: 1,
        found: format!("the gzip cannot be unpacked ({e})"),
        mend: "The file may be cut off; fetch it again.".into(),
    })
}

/// Refuses a line that is too long to be one: every stretch of [`MAX_LINE`] bytes must hold a line end.
fn check_lines(name: &str, text: &[u8]) -> Result<(), WeatherError> {
    let mut at = 0;
    while text.len() - at > MAX_LINE {
        match memchr::memrchr(b'\n', &text[at..at + MAX_LINE]) {
            Some(end) => at += end + 1,
            None => {
                return Err(WeatherError::Cell {
                    file: name.into(),
                    line: 1 + memchr::memchr_iter(b'\n', &text[..at]).count(),
                    column: "the line".into(),
                    found: format!("longer than {} kB", MAX_LINE >> 10),
                    expected: "rows of cells, each row on a line of its own".into(),
                    mend: "The line ends may be lost, or this is no text of a weather file; fetch it again.".into(),
                });
            }
        }
    }
    Ok(())
}

fn read_text(name: &str, text: &[u8], hints: &ReadHints) -> Result<RawYear, WeatherError> {
    if text.trim_ascii().is_empty() {
        let found = if text.is_empty() { "the file is empty" } else { "the file holds only blanks" };
        return Err(WeatherError::Empty { file: name.into(), found: found.into() });
    }
    let top = &text[..text.len().min(2048)];
    if top.starts_with(b"PAR1") {
        return Err(WeatherError::NotText {
            file: name.into(),
            line: 1,
            found: "a Parquet file".into(),
            mend: "Parquet is read by the commands of a build with the feature \"tables\"; else write it as CSV."
                .into(),
        });
    }
    if top.contains(&0) {
        check_text(name, top, 1)?;
    }
    check_lines(name, text)?;
    let head = header_of(name, text, hints)?;
    let rows = &text[head.body_at..];
    // A small file cannot hold so many rows, and is not counted.
    if rows.len() > 2 * MAX_ROWS && memchr::memchr_iter(b'\n', rows).count() > MAX_ROWS {
        return Err(WeatherError::Large {
            file: name.into(),
            found: format!("has more than {MAX_ROWS} rows"),
            expected: format!("at most {MAX_ROWS}, eleven years of minutes"),
        });
    }
    if rows.trim_ascii().is_empty() {
        return Err(WeatherError::Empty { file: name.into(), found: "the file ends after its header".into() });
    }
    let body = match fast::parse(rows, &head.layout, head.first_line) {
        Some(body) => body,
        None => careful::parse(name, rows, &head.layout, head.first_line)?,
    };
    if body.stamps.is_empty() {
        return Err(WeatherError::Empty { file: name.into(), found: "the file has no rows".into() });
    }
    assemble(name, head, body, hints)
}

/// The header, with the columns that are asked for.
fn header_of(name: &str, text: &[u8], hints: &ReadHints) -> Result<Header, WeatherError> {
    let mut head = header(name, text, hints)?;
    head.layout.columns.retain(|c| !hints.leave_out.contains(&c.quantity));
    check_text(name, &text[..head.body_at], 1)?;
    Ok(head)
}

fn assemble(name: &str, head: Header, mut body: Body, hints: &ReadHints) -> Result<RawYear, WeatherError> {
    let mut notes = head.notes;
    let step_min = match head.hour_rule {
        HourRule::Clock => {
            let beyond = |s: &Stamp| s.hour == 24 && s.minute > 0;
            // Within a run hours and minutes only grow.
            if body.stamps.runs().iter().any(|run| beyond(&run.last()))
                && let Some(row) = body.stamps.iter().position(|s| beyond(&s))
            {
                return Err(WeatherError::Time {
                    file: name.into(),
                    line: body.line(row),
                    found: format!("the time is 24:{:02}", body.stamps.at(row).minute),
                    expected: "times from 00:00 to 24:00".into(),
                    mend: "Mend the row.".into(),
                });
            }
            step_of(name, &body)?
        }
        HourRule::FromOne => hours_from_one(name, &mut body)?,
    };
    let label = hints.label.unwrap_or(head.label);
    if label != head.label {
        notes.push(Note::loud(
            "weather.label-given",
            format!(
                "{} times name the {} of the step; the job says {}, and that was used.",
                head.format,
                head.label.word(),
                label.word()
            ),
        ));
    }
    let grid = place(name, &body, label, step_min)?;
    grid_notes(&grid, label, step_min, &mut notes);
    let mut place = head.place;
    if let Some(min) = body.zone_min {
        place.utc_offset_min = min;
    }
    let per_hour = 60.0 / step_min as f64;
    let mut columns: [Option<Vec<f64>>; 11] = Default::default();
    let values = std::mem::take(&mut body.values);
    for (column, mut values) in head.layout.columns.iter().zip(values) {
        let times = if column.per_step { column.times * per_hour } else { column.times };
        convert(&mut values, column.missing, times, column.plus);
        let values = match &grid.row {
            None => values,
            Some(row) => row.iter().map(|&r| values.get(r as usize).copied().unwrap_or(f64::NAN)).collect(),
        };
        let values = if grid.instants { between(&values) } else { values };
        if !values.iter().all(|v| v.is_nan()) {
            columns[column.quantity as usize] = Some(values);
        }
    }
    let line_of = |r: u32| if r == NONE { 0 } else { body.line(r as usize) as u32 };
    let lines = match &grid.row {
        None if body.lines.is_empty() => Lines::InTurn { first: body.first_line, steps: body.stamps.len() },
        None => body.lines.into(),
        Some(row) => row.iter().map(|&r| line_of(r)).collect::<Vec<_>>().into(),
    };
    let mut raw = RawYear {
        place,
        steps_per_day: grid.steps_per_day,
        columns,
        wind_height_m: head.wind_height_m,
        lines,
        faults: grid.faults,
        label,
        provenance: Provenance {
            format: head.format.into(),
            label: label.word().into(),
            kind: head.kind,
            completed: head.completed,
            notes,
            ..Provenance::default()
        },
        days: grid.days,
    };
    if head.format == "EPW" {
        tenths_of_mm(&mut raw);
    }
    Ok(raw)
}

/// Means over steps from values at their edges: the trapezium rule; the last step keeps its only edge.
fn between(values: &[f64]) -> Vec<f64> {
    let next = values.iter().skip(1).chain(values.last());
    values.iter().zip(next).map(|(a, b)| 0.5 * (a + b)).collect()
}

fn convert(values: &mut [f64], missing: &[f64], times: f64, plus: f64) {
    // Most columns hold no code: all values lie between those below zero and those above.
    let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
    for &code in missing {
        if code < 0.0 { low = low.max(code) } else { high = high.min(code) }
    }
    if some_beyond(values, low, high) {
        for codes in missing.chunks(8) {
            // A NaN equals nothing.
            let mut eight = [f64::NAN; 8];
            eight[..codes.len()].copy_from_slice(codes);
            drop_codes(values, eight);
        }
    }
    if times == 0.01 {
        // Pa to hPa: a division keeps 92300 Pa as exactly 923 hPa.
        values.iter_mut().for_each(|v| *v /= 100.0);
    } else if times == 0.1 {
        values.iter_mut().for_each(|v| *v /= 10.0);
    } else if times != 1.0 || plus != 0.0 {
        values.iter_mut().for_each(|v| *v = *v * times + plus);
    }
}

crate::wide! {
    /// Whether a value lies at one of two limits or beyond.
    fn some_beyond(values: &[f64], low: f64, high: f64) -> bool {
        let mut n = 0_u64;
        for v in values {
            n += u64::from((*v <= low) | (*v >= high));
        }
        n > 0
    }
}

crate::wide! {
    /// Puts NaN where a value is one of the codes.
    fn drop_codes(values: &mut [f64], codes: [f64; 8]) {
        for v in values.iter_mut() {
            let x = *v;
            let mut gone = false;
            for code in codes {
                gone |= x == code;
            }
            *v = if gone { f64::NAN } else { x };
        }
    }
}

/// EPW counts hours from 1. In hourly files the minute says nothing (0, 30 or 60 are in use). In sub-hourly files the
/// minutes run either from one step to 60 (ends) or from 0 (beginnings). The stamps become clock times of ends.
fn hours_from_one(name: &str, body: &mut Body) -> Result<i64, WeatherError> {
    let stamps = &body.stamps;
    let first = stamps.at(0);
    let of_first = |s: &Stamp| (s.date(), s.hour) == (first.date(), first.hour);
    let in_hour = stamps.iter().take_while(of_first).count().max(1);
    // The readers let no hour above 24 through, and within a run hours only grow.
    if stamps.runs().iter().any(|run| run.first.hour == 0)
        && let Some(row) = stamps.iter().position(|s| s.hour == 0)
    {
        return Err(WeatherError::Time {
            file: name.into(),
            line: body.line(row),
            found: "the hour is 0".into(),
            expected: "hours from 1 to 24".into(),
            mend: "Give the file as a mapped CSV with [weather.columns] if its hours run from 0 to 23.".into(),
        });
    }
    if in_hour == 1 {
        body.stamps.on_the_hour();
        return Ok(60);
    }
    let step = 60 / in_hour as i64;
    if 60 % in_hour != 0 {
        return Err(WeatherError::Time {
            file: name.into(),
            line: body.line(0),
            found: format!("{in_hour} rows in the first hour"),
            expected: "1, 2, 4, 6, 12 or 60".into(),
            mend: "Give the file in steps that divide the hour.".into(),
        });
    }
    let in_first = || stamps.iter().take(in_hour);
    let from_zero = in_first().any(|s| s.minute == 0) && in_first().all(|s| s.minute < 60);
    let clock = |s: Stamp| {
        let end = s.minute_of_day() - 60 + if from_zero { step } else { 0 };
        Stamp { hour: (end / 60) as u8, minute: (end % 60) as u8, ..s }
    };
    body.stamps = stamps.iter().map(clock).collect();
    Ok(step)
}

fn grid_notes(grid: &Grid, label: Label, step_min: i64, notes: &mut Vec<Note>) {
    if grid.wrapped {
        notes.push(Note::quiet(
            "weather.wrapped",
            "One row falls outside the whole days at one end of the file; it was taken at the other end.",
        ));
    }
    if grid.instants {
        notes.push(Note::quiet(
            "weather.instants",
            format!(
                "The times name the {} of the step and fall on multiples of {step_min} min: the values were taken as \
                 instants, and each step got the mean of its two ends.",
                label.word()
            ),
        ));
    }
}

/// Precipitable water in EPW is in mm, yet widely used files carry tenths of mm: no sky holds more than about 8 cm.
fn tenths_of_mm(raw: &mut RawYear) {
    let Some(column) = &mut raw.columns[Quantity::PrecipitableWater as usize] else { return };
    let most = column.iter().copied().filter(|v| v.is_finite()).fold(0.0, f64::max);
    if most > 9.0 && most <= 90.0 {
        // Back to the file's own number first, so that 69 becomes exactly 0.69.
        column.iter_mut().for_each(|v| *v = (*v * 10.0).round() / 100.0);
        raw.provenance.notes.push(Note::quiet(
            "weather.precipitable-water",
            format!(
                "Precipitable water reaches {:.0} if read as mm, more than any sky holds (about 80); it was read as \
                 tenths of mm.",
                most * 10.0
            ),
        ));
    }
}
