//! The fast reader: finds commas and line ends 64 bytes at a time and reads plain decimals exactly.
//!
//! It serves files whose every cell is what it should be. At the first doubt (a quotation mark, an empty cell, an
//! exponent, a wrong number of cells, a date that does not exist) it gives the whole file back with `None`, and the
//! careful reader reads it again. A test below shows that both return the same bits.

use super::body::{Body, Layout, Stamp, TimeColumns};
use super::careful::build;

/// Powers of ten that are exact in a double.
const POW10: [f64; 16] = [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];
const ONES: u64 = 0x0101_0101_0101_0101;

/// Reads rows, or `None` at the first doubt.
pub(super) fn parse(bytes: &[u8], layout: &Layout, first_line: usize) -> Option<Body> {
    let n = layout.fields;
    if n == 0 || bytes.len() > u32::MAX as usize - 64 {
        return None;
    }
    let rows = bytes.len() / longest_guess(bytes) + 1;
    let mut out = Rows {
        bytes,
        layout,
        body: Body::with_room(layout, rows, first_line),
        row_start: 0,
        last: Stamp::default(),
        newlines: 0,
        returns: 0,
        returns_at_ends: 0,
    };
    let mut ends = vec![0_u32; n + 64 + 16];
    let mut have = 0;
    let mut base = 0;
    while base < bytes.len() {
        let mut padded = [b' '; 64];
        let block: &[u8; 64] = match bytes[base..].first_chunk::<64>() {
            Some(block) => block,
            None => {
                let rest = &bytes[base..];
                padded[..rest.len()].copy_from_slice(rest);
                &padded
            }
        };
        let marks = marks(block, layout.delimiter);
        if marks.odd {
            return None;
        }
        out.newlines += marks.newlines as usize;
        out.returns += marks.returns as usize;
        let count = marks.ends.count_ones() as usize;
        let mut m = marks.ends;
        let mut at = have;
        // Eight at a time without a branch per mark; what is written beyond `count` is overwritten next time.
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
        while have >= n {
            out.row(&ends[..n])?;
            ends.copy_within(n..have, 0);
            have -= n;
        }
        base += 64;
    }
    if out.row_start < bytes.len() {
        // The last line has no line end.
        if have + 1 != n || bytes[bytes.len() - 1] == b'\r' {
            return None;
        }
        ends[have] = bytes.len() as u32;
        out.newlines += 1;
        out.row(&ends[..n])?;
    }
    // Every row ended in a line end; that there were no others makes every other mark a delimiter.
    let plain = out.newlines == out.body.stamps.len() && out.returns == out.returns_at_ends;
    plain.then_some(out.body)
}

fn longest_guess(bytes: &[u8]) -> usize {
    memchr::memchr(b'\n', bytes).unwrap_or(80).saturating_sub(8).max(8)
}

struct Marks {
    /// A bit for each delimiter and line end.
    ends: u64,
    newlines: u32,
    returns: u32,
    /// Quotation marks, comments and bytes beyond ASCII are left to the careful reader.
    odd: bool,
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
    Marks { ends, newlines: lines.count_ones(), returns: returns.count_ones(), odd: _mm_movemask_epi8(odd) != 0 }
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
    Marks { ends, newlines: lines.count_ones(), returns: returns.count_ones(), odd: odd != 0 }
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

struct Rows<'a> {
    bytes: &'a [u8],
    layout: &'a Layout,
    body: Body,
    row_start: usize,
    last: Stamp,
    newlines: usize,
    returns: usize,
    returns_at_ends: usize,
}

impl Rows<'_> {
    /// One row, whose cells end at `ends`.
    #[inline(always)]
    fn row(&mut self, ends: &[u32]) -> Option<()> {
        let n = ends.len();
        let mut stop = ends[n - 1] as usize;
        let next = stop + 1;
        if stop < self.bytes.len() && self.bytes[stop] != b'\n' {
            return None;
        }
        if stop > self.row_start && self.bytes[stop - 1] == b'\r' {
            stop -= 1;
            self.returns_at_ends += 1;
        }
        let start = self.row_start;
        let bytes = self.bytes;
        let cell = |i: usize| -> (usize, usize) {
            (if i == 0 { start } else { ends[i - 1] as usize + 1 }, if i + 1 == n { stop } else { ends[i] as usize })
        };
        let stamp = self.stamp(cell)?;
        let mut good = true;
        for (column, values) in self.layout.columns.iter().zip(&mut self.body.values) {
            let (a, b) = cell(column.at);
            let (value, ok) = decimal(bytes, a, b);
            good &= ok;
            values.push(value);
        }
        self.body.stamps.push(stamp);
        self.row_start = next;
        good.then_some(())
    }

    #[inline(always)]
    fn stamp(&mut self, cell: impl Fn(usize) -> (usize, usize)) -> Option<Stamp> {
        let bytes = self.bytes;
        let whole = |(a, b): (usize, usize)| -> i32 { digits(&bytes[a..b]) };
        let (year, month, day, hour, minute) = match &self.layout.time {
            TimeColumns::Parts { year, month, day, hour, minute } => (
                whole(cell(*year)),
                whole(cell(*month)),
                whole(cell(*day)),
                whole(cell(*hour)),
                minute.map_or(0, |at| whole(cell(at))),
            ),
            TimeColumns::DateClock { date, clock } => {
                let ((d, d_end), (c, c_end)) = (cell(*date), cell(*clock));
                let (text, clock) = (&bytes[d..d_end], &bytes[c..c_end]);
                if text.len() != 10 || text[2] != b'/' || text[5] != b'/' || clock.len() != 5 || clock[2] != b':' {
                    return None;
                }
                let two = |t: &[u8], i: usize| digits(&t[i..i + 2]);
                (digits(&text[6..10]), two(text, 0), two(text, 3), two(clock, 0), two(clock, 3))
            }
            TimeColumns::Iso { at } => {
                let (a, b) = cell(*at);
                let t = &bytes[a..b];
                if t.len() != 16 || t[4] != b'-' || t[7] != b'-' || t[10] != b'T' || t[13] != b':' {
                    return None;
                }
                let two = |i: usize| digits(&t[i..i + 2]);
                (digits(&t[..4]), two(5), two(8), two(11), two(14))
            }
        };
        let last = &self.last;
        let same_day = year == i32::from(last.year) && month == i32::from(last.month) && day == i32::from(last.day);
        let stamp = if same_day && (0..24).contains(&hour) && (0..=60).contains(&minute) {
            Stamp { hour: hour as u8, minute: minute as u8, ..*last }
        } else {
            build(year, month, day, hour, minute)?
        };
        self.last = stamp;
        Some(stamp)
    }
}

/// One to five digits as a number, -1 for anything else.
#[inline(always)]
fn digits(cell: &[u8]) -> i32 {
    let mut x = 0;
    let mut good = !cell.is_empty() && cell.len() <= 5;
    for &b in cell.iter().take(5) {
        let d = b.wrapping_sub(b'0');
        good &= d < 10;
        x = x * 10 + i32::from(d);
    }
    if good { x } else { -1 }
}

/// `bytes[start..end]` as a decimal of at most 15 digits: an integer over an exact power of ten, rounded once, which is
/// the correctly rounded value. The flag is false for anything else.
#[inline(always)]
fn decimal(bytes: &[u8], start: usize, end: usize) -> (f64, bool) {
    let negative = start < end && bytes[start] == b'-';
    let start = start + usize::from(negative);
    let len = end.wrapping_sub(start);
    let (value, good) = match bytes.get(start..).and_then(|rest| rest.first_chunk::<8>()) {
        Some(word) if len.wrapping_sub(1) < 8 => eight(u64::from_le_bytes(*word), len),
        _ => slow(&bytes[start.min(end)..end]),
    };
    (if negative { -value } else { value }, good)
}

/// The first `len` (1 to 8) bytes of `word` as digits with at most one point.
#[inline(always)]
fn eight(word: u64, len: usize) -> (f64, bool) {
    let spare = 8 * (8 - len as u32);
    // The last character goes to the top byte; zeros fill the bottom.
    let fill = (ONES * 0x30) & ((1 << spare) - 1);
    let text = (word << spare) | fill;
    let points = equal(text, b'.');
    let (text, decimals) = if points == 0 {
        (text, 0)
    } else {
        let bit = points.trailing_zeros() - 7;
        let below = text & ((1 << bit) - 1);
        let above = text & !((1_u64 << bit) | ((1 << bit) - 1) | (0xff << bit));
        (above | (below << 8) | 0x30, 7 - (bit / 8) as usize)
    };
    let good = (text & (ONES * 0xf0)) | ((text.wrapping_add(ONES * 6) & (ONES * 0xf0)) >> 4) == ONES * 0x33;
    // A point alone is no number.
    let good = good && !(points != 0 && len == 1);
    let v = text.wrapping_sub(ONES * 0x30);
    let v = (v & 0x0f0f_0f0f_0f0f_0f0f).wrapping_mul(2561) >> 8;
    let v = (v & 0x00ff_00ff_00ff_00ff).wrapping_mul(6_553_601) >> 16;
    let v = (v & 0x0000_ffff_0000_ffff).wrapping_mul(42_949_672_960_001) >> 32;
    (v as f64 / POW10[decimals], good)
}

fn slow(cell: &[u8]) -> (f64, bool) {
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
    (x as f64 / POW10[decimals], count > 0)
}
