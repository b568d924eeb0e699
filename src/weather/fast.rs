//! The fast reader: finds commas and line ends 64 bytes at a time and reads plain decimals exactly.
//!
//! It serves files whose every cell is what it should be. At the first doubt (a quotation mark, an empty cell, an
//! exponent, a wrong number of cells, a date that does not exist) it gives the whole file back with `None`, and the
//! careful reader reads it again. A test below shows that both return the same bits.

use super::body::{Body, Layout, Stamp, TimeColumns};
use super::careful::build;
use super::decimal::{decimal, decimals, eight_before, short_word, whole};
use super::scan::{SPARE, Scan};
use crate::maths::{Level, level};

/// Rows whose cells are read together, column by column: a branch then sees cells of one kind in a row.
const BATCH: usize = 128;

/// Reads rows, or `None` at the first doubt.
pub(super) fn parse(bytes: &[u8], layout: &Layout, first_line: usize) -> Option<Body> {
    let mut rows = Rows::new(layout, rows_of(bytes, bytes.len()), first_line)?;
    rows.take(bytes)?;
    Some(rows.body)
}

/// About how many rows `len` bytes hold that begin as `bytes` do, rather too many than too few.
pub(super) fn rows_of(bytes: &[u8], len: usize) -> usize {
    len / memchr::memchr(b'\n', bytes).unwrap_or(80).saturating_sub(8).max(8) + 1
}

/// The rows taken in so far.
pub(super) struct Rows<'a> {
    layout: &'a Layout,
    pub body: Body,
    /// The cells from the first to the last part of the time, when nothing stands between its parts.
    time: Option<(usize, usize)>,
    next: NextHour,
    /// Where cells end in the block at hand; the first is the end before the first cell.
    ends: Vec<u32>,
}

impl<'a> Rows<'a> {
    /// Room for `rows` rows; `None` for a layout without cells.
    pub fn new(layout: &'a Layout, rows: usize, first_line: usize) -> Option<Rows<'a>> {
        let ends = vec![0; layout.fields * BATCH + 1 + SPARE];
        let body = Body::with_room(layout, rows, first_line);
        (layout.fields > 0).then(|| Rows {
            layout,
            body,
            time: time_cells(&layout.time),
            next: NextHour::default(),
            ends,
        })
    }

    /// Takes in a block of whole rows, of which only the last one of the file may lack its line end; `None` at the
    /// first doubt.
    pub fn take(&mut self, bytes: &[u8]) -> Option<()> {
        if bytes.len() > u32::MAX as usize - 64 {
            return None;
        }
        let n = self.layout.fields;
        let mut ends = std::mem::take(&mut self.ends);
        let rows = self.body.stamps.len();
        let mut returns = 0;
        let mut scan = Scan::default();
        // The first cell begins behind this.
        ends[0] = u32::MAX;
        while scan.base < bytes.len() || scan.have >= n {
            scan.go_on(bytes, self.layout.delimiter, &mut ends[1..], n * BATCH);
            if scan.odd {
                return None;
            }
            let used = (scan.have / n).min(BATCH) * n;
            returns += batch(self, bytes, &ends[..=used])?;
            ends.copy_within(used..=scan.have, 0);
            scan.have -= used;
        }
        if (ends[0].wrapping_add(1) as usize) < bytes.len() {
            // The last line has no line end.
            if scan.have + 1 != n || bytes[bytes.len() - 1] == b'\r' {
                return None;
            }
            ends[n] = bytes.len() as u32;
            scan.newlines += 1;
            batch(self, bytes, &ends[..=n])?;
        }
        self.ends = ends;
        // Every row ended in a line end; that there were no others makes every other mark a delimiter.
        let plain = scan.newlines == self.body.stamps.len() - rows && scan.returns == returns;
        plain.then_some(())
    }

    /// Some rows, at most a batch, whose cells end at `ends`; returns how many end in a carriage return.
    #[inline(always)]
    fn batch(&mut self, bytes: &[u8], ends: &[u32]) -> Option<usize> {
        let n = self.layout.fields;
        let rows = ends.len() / n;
        let mut returns = 0;
        for row in ends[1..].chunks_exact(n) {
            let stop = row[n - 1] as usize;
            match bytes.get(stop) {
                Some(b'\n') | None => {}
                Some(_) => return None,
            }
            returns += usize::from(stop > 0 && bytes[stop - 1] == b'\r');
        }
        if returns != 0 && returns != rows {
            return None;
        }
        let cut = u32::from(returns > 0);
        let (before, behind) = (ends[..rows * n].chunks_exact(n), ends[1..].chunks_exact(n));
        for (before, behind) in before.clone().zip(behind.clone()) {
            let cells = || Cells { bytes, before, behind, cut };
            if let Some((from, to)) = self.time
                && self.next.is(bytes, cells().at(from).0, cells().at(to).1)
            {
                self.body.stamps.push_next_hour();
            } else {
                self.time(cells())?;
            }
        }
        let vectors = level() != Level::Plain;
        let (mut words, mut lens) = ([0_u64; BATCH], [0_u64; BATCH]);
        let old = self.body.stamps.len() - rows;
        let mut good = true;
        for (column, values) in self.layout.columns.iter().zip(&mut self.body.values) {
            let cut = if column.at + 1 == n { cut } else { 0 };
            let cell = |row: &[u32], next: &[u32]| (row[column.at].wrapping_add(1), next[column.at].wrapping_sub(cut));
            let (before, behind) = (before.clone(), behind.clone());
            values.resize(old + rows, 0.0);
            let values = &mut values[old..];
            if vectors {
                for ((row, next), (word, len)) in
                    before.clone().zip(behind.clone()).zip(words.iter_mut().zip(&mut lens))
                {
                    let (start, end) = cell(row, next);
                    (*word, *len) = (eight_before(bytes, end), u64::from(end.wrapping_sub(start)));
                }
                if decimals(&words[..rows], &lens[..rows], values) {
                    continue;
                }
            }
            for ((row, next), slot) in before.zip(behind).zip(values) {
                let (start, end) = cell(row, next);
                let (value, ok) = decimal(bytes, start as usize, end as usize);
                *slot = value;
                good &= ok;
            }
        }
        good.then_some(returns)
    }

    /// Takes in the time of a row, whatever the row before.
    #[inline(never)]
    fn time(&mut self, cells: Cells) -> Option<()> {
        let ([year, month, day], [hour, minute], hour_end) = written(&cells, &self.layout.time)?;
        let last = self.body.stamps.last();
        let date = (i32::from(last.year), i32::from(last.month), i32::from(last.day));
        let stamp = if date == (year, month, day) && (0..=24).contains(&hour) && (0..=60).contains(&minute) {
            Stamp { hour: hour as u8, minute: minute as u8, ..last }
        } else {
            build(year, month, day, hour, minute)?
        };
        self.body.stamps.push(stamp);
        // Rows of less than an hour differ in their minutes.
        let on = stamp.minute == last.minute || stamp.date() != last.date();
        self.next = match self.time {
            Some((from, to)) if on => {
                NextHour::after(stamp.hour, cells.bytes, cells.at(from).0, cells.at(to).1, hour_end)
            }
            _ => NextHour::default(),
        };
        Some(())
    }
}

crate::wide! {
    fn batch(rows: &mut Rows, bytes: &[u8], ends: &[u32]) -> Option<usize> {
        rows.batch(bytes, ends)
    }
}

/// The cells of one row.
struct Cells<'a> {
    bytes: &'a [u8],
    /// Where the cell before each one ends, and where it ends itself.
    before: &'a [u32],
    behind: &'a [u32],
    /// Carriage returns at the end of the last cell.
    cut: u32,
}

impl Cells<'_> {
    #[inline(always)]
    fn at(&self, i: usize) -> (usize, usize) {
        let cut = if i + 1 == self.behind.len() { self.cut } else { 0 };
        (self.before[i].wrapping_add(1) as usize, self.behind[i].wrapping_sub(cut) as usize)
    }
}

/// Year, month and day of a row, its hour and minute (-1 for what is no number), and where the hour ends.
fn written(cells: &Cells, time: &TimeColumns) -> Option<([i32; 3], [i32; 2], usize)> {
    let part = |start: usize, end: usize| whole(short_word(cells.bytes, start, end));
    Some(match time {
        TimeColumns::Parts { year, month, day, hour, minute } => {
            let number = |at: usize| part(cells.at(at).0, cells.at(at).1);
            let minute = match minute {
                Some(at) => number(*at),
                None => 0,
            };
            ([number(*year), number(*month), number(*day)], [number(*hour), minute], cells.at(*hour).1)
        }
        TimeColumns::DateClock { date, clock } => {
            let ((d, d_end), (c, c_end)) = (cells.at(*date), cells.at(*clock));
            let (text, clock) = (&cells.bytes[d..d_end], &cells.bytes[c..c_end]);
            if text.len() != 10 || text[2] != b'/' || text[5] != b'/' || clock.len() != 5 || clock[2] != b':' {
                return None;
            }
            ([part(d + 6, d + 10), part(d, d + 2), part(d + 3, d + 5)], [part(c, c + 2), part(c + 3, c + 5)], c + 2)
        }
        TimeColumns::Iso { at } => {
            let (a, b) = cells.at(*at);
            let t = &cells.bytes[a..b];
            if t.len() != 16 || t[4] != b'-' || t[7] != b'-' || t[10] != b'T' || t[13] != b':' {
                return None;
            }
            let date = [part(a, a + 4), part(a + 5, a + 7), part(a + 8, a + 10)];
            (date, [part(a + 11, a + 13), part(a + 14, a + 16)], a + 13)
        }
    })
}

/// First and last cell of the time, when nothing stands between its parts.
fn time_cells(time: &TimeColumns) -> Option<(usize, usize)> {
    match *time {
        TimeColumns::Parts { year, month, day, hour, minute } => {
            let (last, parts) = (minute.unwrap_or(hour), [month, day, hour, minute.unwrap_or(hour)]);
            let in_turn = parts.iter().zip([1, 2, 3, 3 + usize::from(minute.is_some())]).all(|(at, k)| *at == year + k);
            in_turn.then_some((year, last))
        }
        TimeColumns::DateClock { date, clock } => (clock == date + 1).then_some((date, clock)),
        TimeColumns::Iso { at } => Some((at, at)),
    }
}

/// The time of the next row as text, if that is an hour later: most rows need no more than to be compared with it.
#[derive(Default)]
struct NextHour {
    /// The time of the last row, in the low bytes, and those of its bytes that count.
    text: u128,
    counts: u128,
    len: usize,
    /// The last digit of the hour, and how many hours may follow in a text of this length.
    ones: u8,
    left: u8,
    /// What an hour adds to the text, and what it adds after a 9.
    one: u128,
    ten: u128,
}

impl NextHour {
    /// After a row whose time stands at `start..end` and whose hour ends at `hour_end`.
    fn after(hour: u8, bytes: &[u8], start: usize, end: usize, hour_end: usize) -> NextHour {
        let len = end.wrapping_sub(start);
        match bytes.get(start..).and_then(|text| text.first_chunk::<16>()) {
            Some(text) if (1..=16).contains(&len) => {
                let last = hour_end - 1 - start;
                let two_digits = last > 0 && text[last - 1].is_ascii_digit();
                let one = 1 << (8 * last);
                NextHour {
                    text: u128::from_le_bytes(*text),
                    counts: u128::MAX >> (128 - 8 * len),
                    len,
                    ones: hour % 10,
                    left: if two_digits { 24 - hour } else { 9 - hour },
                    one,
                    // One more in the digit before, and the 9 becomes a 0.
                    ten: (one >> 8).wrapping_sub(9 * one),
                }
            }
            _ => NextHour::default(),
        }
    }

    /// Whether the time at `start..end` is that of the next hour; if so, goes on to it.
    #[inline(always)]
    fn is(&mut self, bytes: &[u8], start: usize, end: usize) -> bool {
        if self.left == 0 || end.wrapping_sub(start) != self.len {
            return false;
        }
        let Some(text) = bytes.get(start..start + 16).and_then(|text| text.first_chunk()) else { return false };
        let (added, ones) = if self.ones < 9 { (self.one, self.ones + 1) } else { (self.ten, 0) };
        let next = self.text.wrapping_add(added);
        if (u128::from_le_bytes(*text) ^ next) & self.counts != 0 {
            return false;
        }
        (self.text, self.ones, self.left) = (next, ones, self.left - 1);
        true
    }
}
