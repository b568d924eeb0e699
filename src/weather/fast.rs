//! The fast reader: finds commas and line ends 64 bytes at a time and reads plain decimals exactly.
//!
//! It serves files whose every cell is what it should be. At the first doubt (a quotation mark, an empty cell, an
//! exponent, a wrong number of cells, a date that does not exist) it gives the whole file back with `None`, and the
//! careful reader reads it again. A test below shows that both return the same bits.

use super::body::{Body, Layout, Stamp, TimeColumns};
use super::careful::build;
use crate::maths::{self, Level};

/// Powers of ten that are exact in a double.
const POW10: [f64; 16] = [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];
const ONES: u64 = 0x0101_0101_0101_0101;

/// Rows whose cells are read together, column by column: a branch then sees cells of one kind in a row.
const BATCH: usize = 64;

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

/// How far the search for cell ends has come.
#[derive(Default)]
struct Scan {
    /// Next block.
    base: usize,
    /// Ends in the buffer.
    have: usize,
    newlines: usize,
    returns: usize,
    /// Something that only the careful reader may judge.
    odd: bool,
}

struct Marks {
    /// A bit for each delimiter and line end.
    ends: u64,
    newlines: u64,
    returns: u64,
    /// Quotation marks, comments and bytes beyond ASCII are left to the careful reader.
    odd: bool,
}

/// Every processor with AVX2 known to us has these too.
#[cfg(target_arch = "x86_64")]
fn has_bit_tricks() -> bool {
    is_x86_feature_detected!("bmi1")
        && is_x86_feature_detected!("bmi2")
        && is_x86_feature_detected!("lzcnt")
        && is_x86_feature_detected!("popcnt")
}

/// Writes the places of delimiters and line ends until `wanted` are in the buffer or the text is over.
fn find_ends(bytes: &[u8], delimiter: u8, scan: &mut Scan, ends: &mut [u32], wanted: usize) {
    #[cfg(target_arch = "x86_64")]
    {
        use crate::maths::{Level, level};
        if level() != Level::Plain && has_bit_tricks() {
            // SAFETY: `level` says that the processor has AVX2, `has_bit_tricks` the others.
            return unsafe { find_ends_avx2(bytes, delimiter, scan, ends, wanted) };
        }
    }
    find_ends_by(bytes, delimiter, scan, ends, wanted, marks);
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2,bmi1,popcnt")]
fn find_ends_avx2(bytes: &[u8], delimiter: u8, scan: &mut Scan, ends: &mut [u32], wanted: usize) {
    use std::arch::x86_64::{
        __m256i, _mm256_cmpeq_epi8, _mm256_cmpgt_epi8, _mm256_movemask_epi8, _mm256_or_si256, _mm256_set_epi64x,
        _mm256_set1_epi8,
    };
    #[inline]
    #[target_feature(enable = "avx2,bmi1,popcnt")]
    fn marks_avx2(block: &[u8; 64], delimiter: u8) -> Marks {
        let word = |i: usize| {
            let mut w = [0; 8];
            w.copy_from_slice(&block[i..i + 8]);
            i64::from_le_bytes(w)
        };
        let half = |i: usize| _mm256_set_epi64x(word(i + 24), word(i + 16), word(i + 8), word(i));
        let [low, high] = [half(0), half(32)];
        let is = |x: __m256i, byte: u8| _mm256_cmpeq_epi8(x, _mm256_set1_epi8(byte as i8));
        let bits = |a: __m256i, b: __m256i| {
            u64::from(_mm256_movemask_epi8(a) as u32) | u64::from(_mm256_movemask_epi8(b) as u32) << 32
        };
        let (line_low, line_high) = (is(low, b'\n'), is(high, b'\n'));
        // As signed numbers, bytes beyond ASCII are below zero: one comparison finds them and control characters.
        let strange = |x: __m256i| {
            let control = _mm256_cmpgt_epi8(_mm256_set1_epi8(9), x);
            _mm256_or_si256(control, _mm256_or_si256(is(x, b'"'), is(x, b'#')))
        };
        Marks {
            ends: bits(_mm256_or_si256(is(low, delimiter), line_low), _mm256_or_si256(is(high, delimiter), line_high)),
            newlines: bits(line_low, line_high),
            returns: bits(is(low, b'\r'), is(high, b'\r')),
            odd: _mm256_movemask_epi8(_mm256_or_si256(strange(low), strange(high))) != 0,
        }
    }
    find_ends_by(bytes, delimiter, scan, ends, wanted, |block, delimiter| marks_avx2(block, delimiter));
}

#[inline(always)]
fn find_ends_by(
    bytes: &[u8],
    delimiter: u8,
    scan: &mut Scan,
    ends: &mut [u32],
    wanted: usize,
    marks: impl Fn(&[u8; 64], u8) -> Marks,
) {
    let Scan { mut base, mut have, mut newlines, mut returns, mut odd } = *scan;
    while base < bytes.len() && have < wanted {
        let mut padded = [b' '; 64];
        let block: &[u8; 64] = match bytes[base..].first_chunk::<64>() {
            Some(block) => block,
            None => {
                let rest = &bytes[base..];
                padded[..rest.len()].copy_from_slice(rest);
                &padded
            }
        };
        let found = marks(block, delimiter);
        odd |= found.odd;
        newlines += found.newlines.count_ones() as usize;
        returns += found.returns.count_ones() as usize;
        let count = found.ends.count_ones() as usize;
        let mut m = found.ends;
        // Eight at a time without a branch per mark; what is written beyond `count` is overwritten next time.
        let mut at = have;
        loop {
            for slot in &mut ends[at..at + 8] {
                *slot = base as u32 + m.trailing_zeros();
                m &= m.wrapping_sub(1);
            }
            at += 8;
            if at >= have + count {
                break;
            }
        }
        have += count;
        base += 64;
    }
    *scan = Scan { base, have, newlines, returns, odd };
}

#[cfg(target_arch = "x86_64")]
#[inline(always)]
fn marks(block: &[u8; 64], delimiter: u8) -> Marks {
    // SAFETY: SSE2 is part of the baseline of every x86-64 target.
    unsafe { marks_sse2(block, delimiter) }
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "sse2")]
#[inline]
fn marks_sse2(block: &[u8; 64], delimiter: u8) -> Marks {
    use std::arch::x86_64::{
        _mm_cmpeq_epi8, _mm_cmplt_epi8, _mm_movemask_epi8, _mm_or_si128, _mm_set_epi64x, _mm_set1_epi8,
        _mm_setzero_si128,
    };
    let half = |i: usize| {
        let mut w = [0; 8];
        w.copy_from_slice(&block[i..i + 8]);
        i64::from_le_bytes(w)
    };
    let (comma, newline) = (_mm_set1_epi8(delimiter as i8), _mm_set1_epi8(b'\n' as i8));
    let (quote, hash) = (_mm_set1_epi8(b'"' as i8), _mm_set1_epi8(b'#' as i8));
    let carriage = _mm_set1_epi8(b'\r' as i8);
    let (mut ends, mut lines, mut returns) = (0_u64, 0_u64, 0_u64);
    let mut odd = _mm_setzero_si128();
    for i in 0..4 {
        let x = _mm_set_epi64x(half(16 * i + 8), half(16 * i));
        let nl = _mm_cmpeq_epi8(x, newline);
        ends |= u64::from(_mm_movemask_epi8(_mm_or_si128(_mm_cmpeq_epi8(x, comma), nl)) as u32) << (16 * i);
        lines |= u64::from(_mm_movemask_epi8(nl) as u32) << (16 * i);
        returns |= u64::from(_mm_movemask_epi8(_mm_cmpeq_epi8(x, carriage)) as u32) << (16 * i);
        // As signed numbers, bytes beyond ASCII are below zero: one comparison finds them and control characters.
        let no_text = _mm_cmplt_epi8(x, _mm_set1_epi8(9));
        odd = _mm_or_si128(odd, _mm_or_si128(no_text, _mm_or_si128(_mm_cmpeq_epi8(x, quote), _mm_cmpeq_epi8(x, hash))));
    }
    Marks { ends, newlines: lines, returns, odd: _mm_movemask_epi8(odd) != 0 }
}

#[cfg(not(target_arch = "x86_64"))]
#[inline(always)]
fn marks(block: &[u8; 64], delimiter: u8) -> Marks {
    marks_anywhere(block, delimiter)
}

/// The same eight bytes at a time in ordinary registers, for any processor.
#[cfg_attr(target_arch = "x86_64", allow(dead_code))]
#[inline(always)]
fn marks_anywhere(block: &[u8; 64], delimiter: u8) -> Marks {
    let (mut ends, mut lines, mut returns, mut odd) = (0_u64, 0_u64, 0_u64, 0_u64);
    for i in 0..8 {
        let mut w = [0; 8];
        w.copy_from_slice(&block[8 * i..8 * i + 8]);
        let x = u64::from_le_bytes(w);
        let nl = equal(x, b'\n');
        ends |= gather(equal(x, delimiter) | nl) << (8 * i);
        lines |= gather(nl) << (8 * i);
        returns |= gather(equal(x, b'\r')) << (8 * i);
        odd |= equal(x, b'"') | equal(x, b'#') | equal(x, 0) | (x & (ONES << 7));
    }
    Marks { ends, newlines: lines, returns, odd: odd != 0 }
}

/// 0x80 in each byte of `x` that equals `byte`.
#[inline(always)]
fn equal(x: u64, byte: u8) -> u64 {
    let low7 = ONES * 0x7f;
    let d = x ^ (ONES * u64::from(byte));
    !(((d & low7) + low7) | d | low7)
}

/// The eight top bits of the bytes as one byte.
#[inline(always)]
fn gather(m: u64) -> u64 {
    (m >> 7).wrapping_mul(0x0102_0408_1020_4080) >> 56
}

/// The rows taken in so far.
pub(super) struct Rows<'a> {
    layout: &'a Layout,
    pub body: Body,
    last: Last,
    /// Where cells end in the block at hand.
    ends: Vec<u32>,
}

/// The date of the row before, so that a day's other rows need no calendar.
#[derive(Default)]
struct Last {
    /// Year, month and day as written.
    words: [u64; 3],
    /// The same in another form, when the three stand at the start of the row.
    key: (usize, u64, u64),
    stamp: Stamp,
    /// Carriage returns before line ends so far.
    returns: usize,
}

impl<'a> Rows<'a> {
    /// Room for `rows` rows; `None` for a layout without cells.
    pub fn new(layout: &'a Layout, rows: usize, first_line: usize) -> Option<Rows<'a>> {
        // Room for a batch, the rest of the 64 bytes that end it, and what the groups of eight write beyond.
        let ends = vec![0; layout.fields * (BATCH + 1) + 80];
        let body = Body::with_room(layout, rows, first_line);
        (layout.fields > 0).then(|| Rows { layout, body, last: Last::default(), ends })
    }

    /// Takes in a block of whole rows, of which only the last one of the file may lack its line end; `None` at the
    /// first doubt.
    pub fn take(&mut self, bytes: &[u8]) -> Option<()> {
        if bytes.len() > u32::MAX as usize - 64 {
            return None;
        }
        let n = self.layout.fields;
        let mut ends = std::mem::take(&mut self.ends);
        let (rows, returns) = (self.body.stamps.len(), self.last.returns);
        let mut scan = Scan::default();
        let mut start = 0;
        while scan.base < bytes.len() {
            find_ends(bytes, self.layout.delimiter, &mut scan, &mut ends, n * BATCH);
            if scan.odd {
                return None;
            }
            let used = scan.have / n * n;
            start = self.batch(bytes, start, &ends[..used])?;
            ends.copy_within(used..scan.have, 0);
            scan.have -= used;
        }
        if (start as usize) < bytes.len() {
            // The last line has no line end.
            if scan.have + 1 != n || bytes[bytes.len() - 1] == b'\r' {
                return None;
            }
            ends[scan.have] = bytes.len() as u32;
            scan.newlines += 1;
            self.batch(bytes, start, &ends[..n])?;
        }
        self.ends = ends;
        // Every row ended in a line end; that there were no others makes every other mark a delimiter.
        let plain = scan.newlines == self.body.stamps.len() - rows && scan.returns == self.last.returns - returns;
        plain.then_some(())
    }

    /// Some rows from byte `start` on, whose cells end at `ends`; returns where the next row begins.
    fn batch(&mut self, bytes: &[u8], start: u32, ends: &[u32]) -> Option<u32> {
        #[cfg(target_arch = "x86_64")]
        {
            use crate::maths::{Level, level};
            if level() != Level::Plain && has_bit_tricks() {
                // SAFETY: `level` says that the processor has AVX2, `has_bit_tricks` the others.
                return unsafe { self.batch_avx2(bytes, start, ends) };
            }
        }
        self.batch_plain(bytes, start, ends)
    }

    #[cfg(target_arch = "x86_64")]
    #[target_feature(enable = "avx2,bmi1,bmi2,lzcnt,popcnt")]
    fn batch_avx2(&mut self, bytes: &[u8], start: u32, ends: &[u32]) -> Option<u32> {
        self.batch_plain(bytes, start, ends)
    }

    #[inline(always)]
    fn batch_plain(&mut self, bytes: &[u8], start: u32, ends: &[u32]) -> Option<u32> {
        let n = self.layout.fields;
        let mut first = start;
        let old = self.body.stamps.len();
        let rows = ends.len() / n;
        self.body.stamps.resize(old + rows, Stamp::default());
        for (row, slot) in ends.chunks_exact(n).zip(&mut self.body.stamps[old..]) {
            let stop = row[n - 1] as usize;
            match bytes.get(stop) {
                Some(b'\n') | None => {}
                Some(_) => return None,
            }
            let carriage = stop > first as usize && bytes[stop - 1] == b'\r';
            self.last.returns += usize::from(carriage);
            let cells = Cells { bytes, ends: row, first, stop: stop - usize::from(carriage) };
            *slot = self.last.stamp(&cells, &self.layout.time)?;
            first = row[n - 1] + 1;
        }
        let mut good = true;
        for (column, values) in self.layout.columns.iter().zip(&mut self.body.values) {
            let at = column.at;
            values.resize(old + rows, 0.0);
            let values = &mut values[old..];
            if at > 0 && at + 1 < n {
                for (rows, values) in ends.chunks(n * BATCH).zip(values.chunks_mut(BATCH)) {
                    good &= column_of(bytes, rows, n, at, values);
                }
                continue;
            }
            let mut first = start;
            for (row, slot) in ends.chunks_exact(n).zip(values) {
                let stop = row[n - 1] as usize;
                let carriage = stop > first as usize && bytes[stop - 1] == b'\r';
                let (a, b) = Cells { bytes, ends: row, first, stop: stop - usize::from(carriage) }.at(at);
                first = row[n - 1] + 1;
                let (value, ok) = decimal(bytes, a, b);
                *slot = value;
                good &= ok;
            }
        }
        good.then_some(first)
    }
}

/// The cells of one row.
struct Cells<'a> {
    bytes: &'a [u8],
    ends: &'a [u32],
    first: u32,
    stop: usize,
}

impl Cells<'_> {
    #[inline(always)]
    fn at(&self, i: usize) -> (usize, usize) {
        let a = if i == 0 { self.first as usize } else { self.ends[i - 1] as usize + 1 };
        let b = if i + 1 == self.ends.len() { self.stop } else { self.ends[i] as usize };
        (a, b)
    }

    /// One to five digits as they are written, the last in the top byte; 0 for a cell of another length.
    #[inline(always)]
    fn word(&self, i: usize) -> u64 {
        let (a, b) = self.at(i);
        short_word(self.bytes, a, b)
    }
}

impl Last {
    #[inline(always)]
    fn stamp(&mut self, cells: &Cells, time: &TimeColumns) -> Option<Stamp> {
        if let TimeColumns::Parts { year: 0, month: 1, day: 2, hour, minute } = time {
            // A row of the same day begins with the same bytes.
            let key = date_key(cells.bytes, cells.first as usize, cells.at(2).1);
            let short = |at: usize| {
                let (a, b) = cells.at(at);
                one_or_two_digits(cells.bytes, a, b)
            };
            let (hour, minute) = (short(*hour), minute.map_or(0, short));
            if key == self.key && key.0 != 0 && hour < 24 && minute <= 60 {
                self.stamp = Stamp { hour, minute, ..self.stamp };
                return Some(self.stamp);
            }
            self.key = key;
        }
        let (words, hour, minute) = match time {
            TimeColumns::Parts { year, month, day, hour, minute } => (
                [cells.word(*year), cells.word(*month), cells.word(*day)],
                whole(cells.word(*hour)),
                match minute {
                    Some(at) => whole(cells.word(*at)),
                    None => 0,
                },
            ),
            TimeColumns::DateClock { date, clock } => {
                let ((d, d_end), (c, c_end)) = (cells.at(*date), cells.at(*clock));
                let (text, clock) = (&cells.bytes[d..d_end], &cells.bytes[c..c_end]);
                if text.len() != 10 || text[2] != b'/' || text[5] != b'/' || clock.len() != 5 || clock[2] != b':' {
                    return None;
                }
                let part = |a: usize, b: usize| short_word(cells.bytes, d + a, d + b);
                let of_clock = |a: usize| whole(short_word(cells.bytes, c + a, c + a + 2));
                ([part(6, 10), part(0, 2), part(3, 5)], of_clock(0), of_clock(3))
            }
            TimeColumns::Iso { at } => {
                let (a, b) = cells.at(*at);
                let t = &cells.bytes[a..b];
                if t.len() != 16 || t[4] != b'-' || t[7] != b'-' || t[10] != b'T' || t[13] != b':' {
                    return None;
                }
                let part = |from: usize, to: usize| short_word(cells.bytes, a + from, a + to);
                ([part(0, 4), part(5, 7), part(8, 10)], whole(part(11, 13)), whole(part(14, 16)))
            }
        };
        // Before the first row, and for what is no short number, a word is 0.
        let same_day = words == self.words && words[0] != 0;
        let stamp = if same_day && (0..24).contains(&hour) && (0..=60).contains(&minute) {
            Stamp { hour: hour as u8, minute: minute as u8, ..self.stamp }
        } else {
            build(whole(words[0]), whole(words[1]), whole(words[2]), hour, minute)?
        };
        (self.words, self.stamp) = (words, stamp);
        Some(stamp)
    }
}

/// A number of one or two digits; 255 for anything else.
#[inline(always)]
fn one_or_two_digits(bytes: &[u8], start: usize, end: usize) -> u8 {
    let digit = |at: usize| bytes[at].wrapping_sub(b'0');
    match end.wrapping_sub(start) {
        1 if digit(start) < 10 => digit(start),
        2 if digit(start) < 10 && digit(start + 1) < 10 => 10 * digit(start) + digit(start + 1),
        _ => u8::MAX,
    }
}

/// Length, first eight and last eight bytes of a text of 8 to 16 bytes: equal only for equal texts. All 0 for others.
#[inline(always)]
fn date_key(bytes: &[u8], start: usize, end: usize) -> (usize, u64, u64) {
    let len = end.wrapping_sub(start);
    if !(8..=16).contains(&len) {
        return (0, 0, 0);
    }
    let text = &bytes[start..end];
    let word = |w: Option<&[u8; 8]>| w.map_or(0, |w| u64::from_le_bytes(*w));
    (len, word(text.first_chunk()), word(text.last_chunk()))
}

/// `bytes[start..end]`, one to five bytes, in the top bytes of a word whose other bytes are the digit 0; else 0.
#[inline(always)]
fn short_word(bytes: &[u8], start: usize, end: usize) -> u64 {
    let len = end.wrapping_sub(start);
    if len.wrapping_sub(1) >= 5 {
        return 0;
    }
    last_eight(bytes, start, end, len)
}

/// The text that ends at `end` and is `len` (1 to 8) bytes long, filled up with the digit 0 in front (the low bytes).
#[inline(always)]
fn last_eight(bytes: &[u8], start: usize, end: usize, len: usize) -> u64 {
    let spare = 8 * (8 - len as u32);
    let fill = (ONES * 0x30) & ((1 << spare) - 1);
    match end.checked_sub(8).and_then(|from| bytes.get(from..end)).and_then(|b| b.first_chunk::<8>()) {
        Some(word) => u64::from_le_bytes(*word) >> spare << spare | fill,
        // The very first cells of the text.
        None => {
            let mut w = [b'0'; 8];
            w[8 - len..].copy_from_slice(&bytes[start..end]);
            u64::from_le_bytes(w)
        }
    }
}

/// A word of digits as a number, -1 for anything else.
#[inline(always)]
fn whole(word: u64) -> i32 {
    if all_digits(word) { number(word) as i32 } else { -1 }
}

#[inline(always)]
fn all_digits(word: u64) -> bool {
    (word & (ONES * 0xf0)) | ((word.wrapping_add(ONES * 6) & (ONES * 0xf0)) >> 4) == ONES * 0x33
}

/// Eight digits, the first in the lowest byte.
#[inline(always)]
fn number(word: u64) -> i64 {
    let v = word.wrapping_sub(ONES * 0x30);
    let v = (v & 0x0f0f_0f0f_0f0f_0f0f).wrapping_mul(2561) >> 8;
    let v = (v & 0x00ff_00ff_00ff_00ff).wrapping_mul(6_553_601) >> 16;
    ((v & 0x0000_ffff_0000_ffff).wrapping_mul(42_949_672_960_001) >> 32) as i64
}

/// `bytes[start..end]` as a decimal of at most 15 digits: an integer over an exact power of ten, rounded once, which is
/// the correctly rounded value. The flag is false for anything else.
#[inline(always)]
fn decimal(bytes: &[u8], start: usize, end: usize) -> (f64, bool) {
    let len = end.wrapping_sub(start);
    if len == 1 {
        // A single digit, as all light is at night.
        let digit = bytes[start].wrapping_sub(b'0');
        return (f64::from(digit), digit < 10);
    }
    if len.wrapping_sub(1) >= 8 {
        return slow(&bytes[start.min(end)..end]);
    }
    let text = last_eight(bytes, start, end, len);
    let spare = 8 * (8 - len as u32);
    // A sign is the first byte of the cell; it becomes a 0.
    let negative = (text >> spare) & 0xff == u64::from(b'-');
    let text = if negative { text ^ (u64::from(b'-' ^ b'0') << spare) } else { text };
    let digits = len - usize::from(negative);
    let points = equal(text, b'.');
    let (value, good) = if points == 0 {
        (number(text) as f64, all_digits(text) && digits > 0)
    } else {
        // The lowest bit of the first point's byte: the digits below it move up into its place.
        let one = (points & points.wrapping_neg()) >> 7;
        let text = (text & !(one << 8).wrapping_sub(1)) | ((text & (one - 1)) << 8) | 0x30;
        // A point alone is no number.
        (number(text) as f64 / POW10[(one.leading_zeros() >> 3) as usize & 7], all_digits(text) && digits > 1)
    };
    (if negative { -value } else { value }, good)
}

/// The cells at place `at` of some rows of `n` cells, at most a batch of them; false when one is no plain decimal.
#[inline(always)]
fn column_of(bytes: &[u8], ends: &[u32], n: usize, at: usize, values: &mut [f64]) -> bool {
    let (mut words, mut lens) = ([0_u64; BATCH], [0_u64; BATCH]);
    // Eight bytes before the end of the first cell are there for all later ones too.
    if maths::level() != Level::Plain && ends.len() >= n && ends[at] >= 8 {
        for ((row, word), len) in ends.chunks_exact(n).zip(&mut words).zip(&mut lens) {
            let (before, end) = (row[at - 1], row[at] as usize);
            *len = u64::from((row[at]).wrapping_sub(before).wrapping_sub(1));
            *word =
                bytes.get(end.wrapping_sub(8)..end).and_then(|b| b.first_chunk()).map_or(0, |b| u64::from_le_bytes(*b));
        }
        let count = values.len();
        if decimals(&words[..count], &lens[..count], values) {
            return true;
        }
    }
    let mut good = true;
    for (row, slot) in ends.chunks_exact(n).zip(values) {
        let (value, ok) = decimal(bytes, row[at - 1] as usize + 1, row[at] as usize);
        *slot = value;
        good &= ok;
    }
    good
}

crate::wide! {
    /// [`decimal`] for many cells of one to eight bytes at once: the eight bytes that end each cell, and its length.
    /// False when a cell is something else.
    fn decimals(words: &[u64], lens: &[u64], values: &mut [f64]) -> bool {
        let n = values.len();
        let (words, lens) = (&words[..n], &lens[..n]);
        let mut odd = 0_u64;
        for i in 0..n {
            let len = lens[i];
            odd |= u64::from(len.wrapping_sub(1) > 7);
            let spare = 64_u64.wrapping_sub(len << 3) & 63;
            let above = u64::MAX << spare;
            let text = (words[i] & above) | ((ONES * 0x30) & !above);
            let first = (text >> spare) & 0xff;
            let negative = first == u64::from(b'-');
            let text = if negative { text ^ (u64::from(b'-' ^ b'0') << spare) } else { text };
            let points = equal(text, b'.');
            let one = (points & points.wrapping_neg()) >> 7;
            // Digits below the first point move up into its place; without a point all stay.
            let kept = if one == 0 { u64::MAX } else { !(one << 8).wrapping_sub(1) };
            let moved = ((text & one.wrapping_sub(1)) << 8) | 0x30;
            let text = (text & kept) | if one == 0 { 0 } else { moved };
            let digits = len.wrapping_sub(u64::from(negative)).wrapping_sub(u64::from(one != 0));
            odd |= u64::from(digits.wrapping_sub(1) > 7) | u64::from(!all_digits(text));
            // Eight digits, the first in the lowest byte, as in `number`; products by shifts, which vectors have.
            let v = text & (ONES * 0x0f);
            let v = ((v << 3) + (v << 1) + (v >> 8)) & 0x00ff_00ff_00ff_00ff;
            let v = ((v << 6) + (v << 5) + (v << 2) + (v >> 16)) & 0x0000_ffff_0000_ffff;
            let v = (v & 0xffff) * 10_000 + (v >> 32);
            let whole = f64::from_bits(0x4330_0000_0000_0000 | v) - 4_503_599_627_370_496.0;
            let mut scale = 1.0;
            for place in 1..8_usize {
                scale = if one == 1 << (56 - 8 * place) { POW10[place] } else { scale };
            }
            let value = whole / scale;
            values[i] = f64::from_bits(value.to_bits() | u64::from(negative) << 63);
        }
        odd == 0
    }
}

/// More than eight characters, or none.
#[cold]
#[inline(never)]
fn slow(cell: &[u8]) -> (f64, bool) {
    let (negative, cell) = match cell {
        [b'-', rest @ ..] => (true, rest),
        _ => (false, cell),
    };
    let (mut x, mut count, mut decimals, mut point) = (0_u64, 0, 0, false);
    for &b in cell {
        let d = b.wrapping_sub(b'0');
        if b == b'.' && !point {
            point = true;
        } else if d < 10 && count < 15 {
            x = x * 10 + u64::from(d);
            count += 1;
            decimals += usize::from(point);
        } else {
            return (f64::NAN, false);
        }
    }
    let value = x as f64 / POW10[decimals];
    (if negative { -value } else { value }, count > 0)
}
