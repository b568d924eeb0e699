//! The careful reader: quotes, blanks, empty cells, zones; and a message for everything it cannot read.

use super::WeatherError;
use super::body::{Body, Layout, Stamp, TimeColumns};

/// Reads rows. `first_line` is the line of the file at which `bytes` begins.
pub(super) fn parse(file: &str, bytes: &[u8], layout: &Layout, first_line: usize) -> Result<Body, WeatherError> {
    check_text(file, bytes, first_line)?;
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(layout.delimiter)
        .comment(Some(b'#'))
        .from_reader(bytes);
    let mut body = Body::with_room(layout, bytes.len() / 60, first_line);
    let mut record = csv::ByteRecord::new();
    let mut lines = LineCount { bytes, at: 0, line: first_line };
    loop {
        match reader.read_byte_record(&mut record) {
            Ok(true) => {}
            Ok(false) => break,
            Err(e) => {
                return Err(WeatherError::Header {
                    file: file.into(),
                    line: first_line,
                    found: format!("the rows cannot be read ({e})"),
                    expected: "rows of comma-separated cells".into(),
                    mend: "Look for a quotation mark that is never closed.".into(),
                });
            }
        }
        let line = lines.line_of(record.position().map_or(0, |p| p.byte() as usize));
        if record.iter().all(|cell| cell.trim_ascii().is_empty()) {
            continue;
        }
        if record.len() != layout.fields {
            return Err(WeatherError::Cells { file: file.into(), line, found: record.len(), expected: layout.fields });
        }
        let (stamp, zone) = stamp(file, line, &record, &layout.time)?;
        one_zone(file, line, &mut body, zone)?;
        for (column, values) in layout.columns.iter().zip(&mut body.values) {
            values.push(number(file, line, &column.name, &record[column.at])?);
        }
        body.stamps.push(stamp);
        body.lines.push(line as u32);
    }
    Ok(body)
}

/// Counts line ends once from front to back: the position that `csv` reports after CRLF is the line end itself.
struct LineCount<'a> {
    bytes: &'a [u8],
    at: usize,
    line: usize,
}

impl LineCount<'_> {
    fn line_of(&mut self, byte: usize) -> usize {
        let mut stop = byte.min(self.bytes.len());
        while self.bytes.get(stop).is_some_and(|b| *b == b'\n' || *b == b'\r') {
            stop += 1;
        }
        self.line += memchr::memchr_iter(b'\n', &self.bytes[self.at.min(stop)..stop]).count();
        self.at = self.at.max(stop);
        self.line
    }
}

/// Refuses bytes that are no UTF-8 text, with the line of the first one.
pub(super) fn check_text(file: &str, bytes: &[u8], first_line: usize) -> Result<(), WeatherError> {
    let bad = match std::str::from_utf8(bytes) {
        Err(e) => Some((e.valid_up_to(), "a byte that is no UTF-8 text")),
        Ok(_) => memchr::memchr(0, bytes).map(|at| (at, "a zero byte")),
    };
    let Some((at, what)) = bad else { return Ok(()) };
    Err(WeatherError::NotText {
        file: file.into(),
        line: first_line + memchr::memchr_iter(b'\n', &bytes[..at]).count(),
        found: what.into(),
        mend: "Save the file as UTF-8; a spreadsheet or an archive has to be exported as CSV first.".into(),
    })
}

fn one_zone(file: &str, line: usize, body: &mut Body, zone: Option<i32>) -> Result<(), WeatherError> {
    if body.stamps.is_empty() {
        body.zone_min = zone;
    } else if body.zone_min != zone {
        return Err(WeatherError::Time {
            file: file.into(),
            line,
            found: "the zone written with the time changes".into(),
            expected: "one zone in the whole file".into(),
            mend: "Write local standard time, without daylight saving, or UTC.".into(),
        });
    }
    Ok(())
}

/// A cell as a number; NaN for an empty one.
pub(super) fn number(file: &str, line: usize, column: &str, cell: &[u8]) -> Result<f64, WeatherError> {
    let cell = cell.trim_ascii();
    let word = |w: &[u8]| cell.eq_ignore_ascii_case(w);
    if cell.is_empty() || word(b"nan") || word(b"na") || word(b"n/a") || word(b"null") || word(b"none") {
        return Ok(f64::NAN);
    }
    match fast_float2::parse::<f64, _>(cell) {
        Ok(x) if x.is_finite() => Ok(x),
        _ => Err(WeatherError::Cell {
            file: file.into(),
            line,
            column: column.into(),
            found: format!("\"{}\"", short(cell)),
            expected: "a number with a decimal point".into(),
            mend: "Leave the cell empty if the value is missing.".into(),
        }),
    }
}

/// The first 40 characters of a cell or line.
pub(super) fn short(bytes: &[u8]) -> String {
    crate::units::shown(&String::from_utf8_lossy(&bytes[..bytes.len().min(400)]))
}

fn stamp(
    file: &str,
    line: usize,
    record: &csv::ByteRecord,
    time: &TimeColumns,
) -> Result<(Stamp, Option<i32>), WeatherError> {
    let (read, text) = match time {
        TimeColumns::Parts { year, month, day, hour, minute } => {
            let whole = |at: usize| whole(&record[at]);
            let read = (|| {
                let minute = match minute {
                    Some(at) => whole(*at)?,
                    None => 0,
                };
                build(whole(*year)?, whole(*month)?, whole(*day)?, whole(*hour)?, minute).map(|s| (s, None))
            })();
            let last = minute.unwrap_or(*hour).max(*hour);
            let text: Vec<String> = (*year.min(&last)..=last).map(|i| short(&record[i])).collect();
            (read, text.join(","))
        }
        TimeColumns::DateClock { date, clock } => (date_clock(&record[*date], &record[*clock]).map(|s| (s, None)), {
            format!("{} {}", short(&record[*date]), short(&record[*clock]))
        }),
        TimeColumns::Iso { at } => (iso(&record[*at]), short(&record[*at])),
    };
    read.ok_or_else(|| WeatherError::Time {
        file: file.into(),
        line,
        found: format!("the time is \"{text}\""),
        expected: match time {
            TimeColumns::Parts { .. } => "year, month, day, hour and minute as whole numbers of the calendar".into(),
            TimeColumns::DateClock { .. } => "MM/DD/YYYY and HH:MM".into(),
            TimeColumns::Iso { .. } => "ISO 8601, for example 2003-01-31T13:00".into(),
        },
        mend: "Mend the row; the day must exist in its month and year.".into(),
    })
}

fn whole(cell: &[u8]) -> Option<i32> {
    let cell = cell.trim_ascii();
    // Some writers print whole numbers as 13.0.
    let cell = cell.strip_suffix(b".0").unwrap_or(cell);
    if cell.is_empty() || cell.len() > 5 || !cell.iter().all(u8::is_ascii_digit) {
        return None;
    }
    std::str::from_utf8(cell).ok()?.parse().ok()
}

/// A stamp of the calendar; the hour may be 24, the minute 60.
pub(super) fn build(year: i32, month: i32, day: i32, hour: i32, minute: i32) -> Option<Stamp> {
    let exists = (1..=9999).contains(&year)
        && chrono::NaiveDate::from_ymd_opt(year, u32::try_from(month).ok()?, u32::try_from(day).ok()?).is_some();
    let clock = (0..=24).contains(&hour) && (0..=60).contains(&minute);
    (exists && clock).then_some(Stamp {
        year: year as i16,
        month: month as u8,
        day: day as u8,
        hour: hour as u8,
        minute: minute as u8,
    })
}

fn date_clock(date: &[u8], clock: &[u8]) -> Option<Stamp> {
    let mut parts = date.trim_ascii().split(|&b| b == b'/');
    let (month, day, year) = (whole(parts.next()?)?, whole(parts.next()?)?, whole(parts.next()?)?);
    let mut hm = clock.trim_ascii().split(|&b| b == b':');
    let (hour, minute) = (whole(hm.next()?)?, whole(hm.next()?)?);
    if parts.next().is_some() { None } else { build(year, month, day, hour, minute) }
}

/// `2003-01-31T13:00[:00][Z|+01:00]`; the seconds must be 0.
fn iso(cell: &[u8]) -> Option<(Stamp, Option<i32>)> {
    let c = cell.trim_ascii();
    if c.len() < 16 || c[4] != b'-' || c[7] != b'-' || !(c[10] == b'T' || c[10] == b' ') || c[13] != b':' {
        return None;
    }
    let stamp = build(whole(&c[..4])?, whole(&c[5..7])?, whole(&c[8..10])?, whole(&c[11..13])?, whole(&c[14..16])?)?;
    let mut rest = &c[16..];
    if rest.first() == Some(&b':') {
        if rest.len() < 3 || whole(&rest[1..3])? != 0 {
            return None;
        }
        rest = &rest[3..];
        if rest.first() == Some(&b'.') {
            let zeros = rest[1..].iter().take_while(|&&b| b == b'0').count();
            rest = &rest[1 + zeros..];
        }
    }
    let zone = match rest {
        b"" => None,
        b"Z" => Some(0),
        [sign @ (b'+' | b'-'), hm @ ..] => {
            let (h, m) = match hm.len() {
                2 => (whole(hm)?, 0),
                4 => (whole(&hm[..2])?, whole(&hm[2..])?),
                5 if hm[2] == b':' => (whole(&hm[..2])?, whole(&hm[3..])?),
                _ => return None,
            };
            let min = h * 60 + m;
            if min > 15 * 60 {
                return None;
            }
            Some(if *sign == b'-' { -min } else { min })
        }
        _ => return None,
    };
    Some((stamp, zone))
}
