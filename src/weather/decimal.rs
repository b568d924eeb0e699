//! Plain decimals to numbers, exactly: one at a time, and many at once.

use super::scan::{ONES, equal};

/// Powers of ten that are exact in a double.
const POW10: [f64; 16] = [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

/// `bytes[start..end]`, one to five bytes, in the top bytes of a word whose other bytes are the digit 0; else 0.
#[inline(always)]
pub(super) fn short_word(bytes: &[u8], start: usize, end: usize) -> u64 {
    let len = end.wrapping_sub(start);
    if len.wrapping_sub(1) >= 5 {
        return 0;
    }
    last_eight(bytes, start, end, len)
}

/// The last eight bytes before `end`, wherever a cell of at most eight bytes begins in them.
#[inline(always)]
pub(super) fn eight_before(bytes: &[u8], end: u32) -> u64 {
    let from = end.wrapping_sub(8) as usize;
    match bytes.get(from..from.wrapping_add(8)).and_then(|b| b.first_chunk()) {
        Some(word) => u64::from_le_bytes(*word),
        None => first_bytes(bytes, end as usize),
    }
}

/// As [`eight_before`], within the first bytes of a text.
#[cold]
fn first_bytes(bytes: &[u8], end: usize) -> u64 {
    bytes[..end].iter().fold(0, |word, b| (word >> 8) | (u64::from(*b) << 56))
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
pub(super) fn whole(word: u64) -> i32 {
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
pub(super) fn decimal(bytes: &[u8], start: usize, end: usize) -> (f64, bool) {
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

/// [`decimal`] for cells of one to eight bytes at once: the eight bytes that end each cell, and its length. False when a
/// cell is something else.
#[inline(always)]
pub(super) fn decimals(words: &[u64], lens: &[u64], values: &mut [f64]) -> bool {
    let n = values.len();
    let (words, lens) = (&words[..n], &lens[..n]);
    let short = |i: usize| lens[i].wrapping_sub(1) < 4 && equal(words[i], b'.') >> (64 - 8 * lens[i]) == 0;
    // The first and the last cell tell what the others may be.
    if n > 0 && short(0) && short(n - 1) && whole_numbers(words, lens, values) {
        return true;
    }
    let few = n > 0 && lens[0] <= 5 && lens[n - 1] <= 5;
    (few && numbers::<false>(words, lens, values)) || numbers::<true>(words, lens, values)
}

/// One to four digits in each cell, as most light is written.
#[inline(always)]
fn whole_numbers(words: &[u64], lens: &[u64], values: &mut [f64]) -> bool {
    let n = values.len();
    let (words, lens) = (&words[..n], &lens[..n]);
    let mut odd = 0_u32;
    for i in 0..n {
        let (word, len) = ((words[i] >> 32) as u32, lens[i] as u32);
        odd |= len.wrapping_sub(1) & !3;
        let spare = 32_u32.wrapping_sub(len << 3) & 31;
        let digits = (word ^ (ONES as u32 * 0x30)) & (u32::MAX << spare);
        odd |= (digits | digits.wrapping_add(ONES as u32 * 6)) & (ONES as u32 * 0xf0);
        // The first digit stands in the lowest byte.
        let pairs = (digits.wrapping_mul(10 * 0x100 + 1) >> 8) & 0x00ff_00ff;
        values[i] = f64::from((pairs.wrapping_mul(100 * 0x1_0000 + 1) >> 16) as i32);
    }
    odd == 0
}

/// Numbers with sign and point, of at most eight digits; of at most four unless `EIGHT`, which is less work.
#[inline(always)]
fn numbers<const EIGHT: bool>(words: &[u64], lens: &[u64], values: &mut [f64]) -> bool {
    /// What a point and a sign become when digits become their values: both have a bit that no digit has.
    const POINT: u64 = (b'.' ^ b'0') as u64;
    const MINUS: u64 = (b'-' ^ b'0') as u64;
    let n = values.len();
    let (words, lens) = (&words[..n], &lens[..n]);
    let mut odd = 0_u64;
    for i in 0..n {
        let len = lens[i];
        odd |= len.wrapping_sub(1) & !7;
        let spare = 64_u64.wrapping_sub(len << 3) & 63;
        let text = (words[i] ^ (ONES * 0x30)) & (u64::MAX << spare);
        let negative = (text >> spare) & 0xff == MINUS;
        let text = if negative { text ^ (MINUS << spare) } else { text };
        // The first byte that is no digit has to be the point; what stands before it moves up into its place.
        let points = text & (ONES * 0x10);
        let point = points & points.wrapping_neg();
        let byte = (point << 4).wrapping_sub(point >> 4);
        odd |= (text ^ (ONES * POINT)) & byte;
        let before = text & if point == 0 { 0 } else { (point >> 4).wrapping_sub(1) };
        let digits = ((text & !byte) ^ before) | (before << 8);
        odd |= (digits | digits.wrapping_add(ONES * 6)) & (ONES * 0xf0);
        odd |= u64::from(u64::from(negative) + u64::from(point != 0) >= len);
        // The first digit in the lowest byte, as in `number`; products by shifts, which vectors have.
        let v = if EIGHT {
            let tens = (digits << 3).wrapping_add(digits << 1);
            let v = tens.wrapping_add(digits >> 8) & 0x00ff_00ff_00ff_00ff;
            let v = ((v << 6) + (v << 5) + (v << 2) + (v >> 16)) & 0x0000_ffff_0000_ffff;
            (v & 0xffff) * 10_000 + (v >> 32)
        } else {
            odd |= digits & 0xffff_ffff;
            let v = (((digits >> 32) * (10 * 0x100 + 1)) >> 8) & 0x00ff_00ff;
            ((v * (100 * 0x1_0000 + 1)) >> 16) & 0xffff
        };
        let whole = f64::from_bits(0x4330_0000_0000_0000 | v) - 4_503_599_627_370_496.0;
        // One digit behind the point leaves it in the last byte but one.
        let has = |places: u64, times: f64| if point & places != 0 { times } else { 1.0 };
        let scale = has(0x0010_0010_0010_0010, 10.0) * has(0x0000_1010_0000_1010, 100.0) * has(0x1010_1010, 10_000.0);
        values[i] = f64::from_bits((whole / scale).to_bits() | u64::from(negative) << 63);
    }
    odd == 0
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Numbers read at once are those read one by one, bit for bit; true when they are read at once at all.
    fn agree(cells: &[String]) -> bool {
        // Eight bytes in front, as in a file behind its first cells.
        let mut text = String::from("12345678,");
        let places: Vec<(usize, usize)> = cells
            .iter()
            .map(|cell| {
                let start = text.len();
                text.push_str(cell);
                text.push(',');
                (start, start + cell.len())
            })
            .collect();
        let bytes = text.as_bytes();
        let words: Vec<u64> = places.iter().map(|(_, end)| eight_before(bytes, *end as u32)).collect();
        let lens: Vec<u64> = places.iter().map(|(start, end)| (end - start) as u64).collect();
        let mut values = vec![0.0; cells.len()];
        let good = decimals(&words, &lens, &mut values);
        if good {
            for ((start, end), value) in places.iter().zip(&values) {
                let (one, ok) = decimal(bytes, *start, *end);
                assert!(ok && one.to_bits() == value.to_bits(), "{}: {value}", &text[*start..*end]);
            }
        }
        good
    }

    #[test]
    fn all_short_numbers_at_once() {
        for width in 1..=4 {
            let all: Vec<String> = (0..10_usize.pow(width as u32)).map(|x| format!("{x:0width$}")).collect();
            assert!(agree(&all));
            for point in 0..=width {
                let with = |sign: &str| {
                    all.iter().map(|d| format!("{sign}{}.{}", &d[..point], &d[point..])).collect::<Vec<_>>()
                };
                assert!(agree(&with("")) && agree(&with("-")));
            }
        }
        for bad in ["-", ".", "-.", "", "1-", "1.2.3", "1:", "+1", " 1", "1e5", "/", "123456789"] {
            assert!(!agree(&[bad.to_string()]) && !agree(&["7".into(), bad.into(), "8".into()]), "{bad}");
        }
    }

    proptest! {
        #[test]
        fn any_numbers_at_once(
            good in prop::collection::vec("-?[0-9]{1,7}|-?[0-9]{0,3}\\.[0-9]{1,3}|-?[0-9]{1,6}\\.", 1..70),
            any in prop::collection::vec("[-.0-9:e/]{0,9}", 1..4),
        ) {
            prop_assert!(agree(&good));
            for cell in any {
                agree(&[cell]);
            }
        }
    }
}
