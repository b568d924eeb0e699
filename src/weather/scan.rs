//! Where cells end: delimiters and line ends, 64 bytes at a time.

#[cfg(target_arch = "x86_64")]
use crate::maths::{Level, level};

/// A one in every byte.
pub(super) const ONES: u64 = 0x0101_0101_0101_0101;

/// Slots that [`Scan::go_on`] may write beyond the ends that were wanted.
pub(super) const SPARE: usize = 64 + ROOM;
/// Slots for the places of one block: 64, and what the last group of eight writes beyond.
const ROOM: usize = 72;

/// How far the search has come.
#[derive(Default)]
pub(super) struct Scan {
    /// Next block.
    pub base: usize,
    /// Ends in the buffer.
    pub have: usize,
    pub newlines: usize,
    pub returns: usize,
    /// Something that only the careful reader may judge.
    pub odd: bool,
}

/// What stands in a block of 64 bytes, a bit for each.
struct Marks {
    delimiters: u64,
    newlines: u64,
    returns: u64,
}

impl Scan {
    /// Writes the places of delimiters and line ends until `wanted` are in the buffer or the text is over.
    pub fn go_on(&mut self, bytes: &[u8], delimiter: u8, ends: &mut [u32], wanted: usize) {
        #[cfg(target_arch = "x86_64")]
        {
            if level() == Level::Avx512 && has_byte_vectors() {
                // SAFETY: `level` and `has_byte_vectors` say that the processor has these.
                return unsafe { self.go_on_avx512(bytes, delimiter, ends, wanted) };
            }
            if level() != Level::Plain && is_x86_feature_detected!("popcnt") {
                // SAFETY: `level` says that the processor has AVX2; the other was asked for.
                return unsafe { self.go_on_avx2(bytes, delimiter, ends, wanted) };
            }
        }
        self.go_on_plain(bytes, delimiter, ends, wanted);
    }

    #[inline(always)]
    fn go_on_by(
        &mut self,
        bytes: &[u8],
        ends: &mut [u32],
        wanted: usize,
        mut marks: impl FnMut(&[u8; 64]) -> Marks,
        mut places: impl FnMut(u64, u32, &mut [u32; ROOM]),
    ) {
        let Scan { mut base, mut have, .. } = *self;
        // Two counts in one number: newlines above, carriage returns below.
        let mut counts = 0_u64;
        while base < bytes.len() && have < wanted {
            let Some(slots) = ends[have..].first_chunk_mut::<ROOM>() else { break };
            let mut padded = [b' '; 64];
            let block: &[u8; 64] = match bytes[base..].first_chunk::<64>() {
                Some(block) => block,
                None => {
                    let rest = &bytes[base..];
                    padded[..rest.len()].copy_from_slice(rest);
                    &padded
                }
            };
            let found = marks(block);
            let all = found.delimiters | found.newlines;
            counts += (u64::from(found.newlines.count_ones()) << 32) + u64::from(found.returns.count_ones());
            places(all, base as u32, slots);
            have += all.count_ones() as usize;
            base += 64;
        }
        (self.base, self.have) = (base, have);
        self.newlines += (counts >> 32) as usize;
        self.returns += counts as u32 as usize;
    }
}

#[cfg(target_arch = "x86_64")]
fn has_byte_vectors() -> bool {
    is_x86_feature_detected!("avx512bw")
        && is_x86_feature_detected!("avx512vbmi2")
        && is_x86_feature_detected!("popcnt")
}

/// The places of the bits of each byte, lowest first.
static PLACES: [[u32; 8]; 256] = {
    let mut table = [[0; 8]; 256];
    let mut byte = 0;
    while byte < 256 {
        let (mut bit, mut have) = (0, 0);
        while bit < 8 {
            if (byte >> bit) & 1 == 1 {
                table[byte][have] = bit;
                have += 1;
            }
            bit += 1;
        }
        byte += 1;
    }
    table
};

/// Lists the bits of a block that begins at `base`; slots behind them are written too.
#[inline(always)]
fn places(bits: u64, base: u32, slots: &mut [u32; ROOM]) {
    // How many bits stand in each byte, then in it and those below it.
    let pairs = bits - ((bits >> 1) & (ONES * 0x55));
    let fours = (pairs & (ONES * 0x33)) + ((pairs >> 2) & (ONES * 0x33));
    let below = ((fours + (fours >> 4)) & (ONES * 0x0f)).wrapping_mul(ONES) << 8;
    for k in 0..8 {
        let at = (below >> (8 * k)) as usize & 63;
        let first = base + 8 * k;
        for (slot, place) in slots[at..at + 8].iter_mut().zip(PLACES[(bits >> (8 * k)) as usize & 0xff]) {
            *slot = first + place;
        }
    }
}

#[inline(always)]
fn word(block: &[u8; 64], i: usize) -> i64 {
    let mut w = [0; 8];
    w.copy_from_slice(&block[i..i + 8]);
    i64::from_le_bytes(w)
}

#[cfg(target_arch = "x86_64")]
mod x86 {
    //! The search by vectors. What is called more than once for a block is a function, not a closure: a closure that the
    //! compiler does not take into the loop costs as much as the rest.

    use std::arch::x86_64::*;

    use super::{Marks, ROOM, Scan, places, word};

    impl Scan {
        #[target_feature(enable = "avx512f,avx512bw,avx512vbmi2,popcnt")]
        pub fn go_on_avx512(&mut self, bytes: &[u8], delimiter: u8, ends: &mut [u32], wanted: usize) {
            let mut odd = _mm512_setzero_si512();
            let marks = |block: &[u8; 64]| {
                let x = _mm512_inserti64x4::<1>(_mm512_castsi256_si512(load_256(block, 0)), load_256(block, 32));
                let quote = _mm512_xor_si512(_mm512_and_si512(x, _mm512_set1_epi8(!1)), _mm512_set1_epi8(QUOTE));
                let control = _mm512_sub_epi8(x, _mm512_set1_epi8(TAB));
                let quote = _mm512_sub_epi8(quote, _mm512_set1_epi8(1));
                odd = _mm512_or_si512(_mm512_or_si512(odd, quote), _mm512_or_si512(x, control));
                Marks {
                    delimiters: equal_512(x, delimiter),
                    newlines: equal_512(x, b'\n'),
                    returns: equal_512(x, b'\r'),
                }
            };
            let all = _mm512_inserti64x4::<1>(_mm512_castsi256_si512(load_256(&COUNTING, 0)), load_256(&COUNTING, 32));
            let mut origin = _mm512_set1_epi32(self.base as i32);
            let listed = |bits: u64, base: u32, slots: &mut [u32; ROOM]| {
                if bits.count_ones() > 32 {
                    places(bits, base, slots);
                } else {
                    let packed = _mm512_castsi512_si256(_mm512_maskz_compress_epi8(bits, all));
                    let (low, high) = (_mm256_castsi256_si128(packed), _mm256_extracti128_si256::<1>(packed));
                    store_512(_mm512_add_epi32(_mm512_cvtepu8_epi32(low), origin), slots, 0);
                    store_512(_mm512_add_epi32(_mm512_cvtepu8_epi32(high), origin), slots, 16);
                }
                origin = _mm512_add_epi32(origin, _mm512_set1_epi32(64));
            };
            self.go_on_by(bytes, ends, wanted, marks, listed);
            self.odd |= _mm512_movepi8_mask(odd) != 0;
        }

        #[target_feature(enable = "avx2,popcnt")]
        pub fn go_on_avx2(&mut self, bytes: &[u8], delimiter: u8, ends: &mut [u32], wanted: usize) {
            let mut odd = _mm256_setzero_si256();
            let marks = |block: &[u8; 64]| {
                let (low, high) = (load_256(block, 0), load_256(block, 32));
                odd = _mm256_or_si256(odd, _mm256_or_si256(odd_256(low), odd_256(high)));
                Marks {
                    delimiters: equal_256(low, high, delimiter),
                    newlines: equal_256(low, high, b'\n'),
                    returns: equal_256(low, high, b'\r'),
                }
            };
            self.go_on_by(bytes, ends, wanted, marks, places);
            self.odd |= _mm256_movemask_epi8(odd) != 0;
        }

        pub fn go_on_plain(&mut self, bytes: &[u8], delimiter: u8, ends: &mut [u32], wanted: usize) {
            // SAFETY: SSE2 is part of the baseline of every x86-64 target.
            unsafe { self.go_on_sse2(bytes, delimiter, ends, wanted) };
        }

        #[target_feature(enable = "sse2")]
        fn go_on_sse2(&mut self, bytes: &[u8], delimiter: u8, ends: &mut [u32], wanted: usize) {
            let mut odd = _mm_setzero_si128();
            let marks = |block: &[u8; 64]| {
                let (mut delimiters, mut newlines, mut returns) = (0, 0, 0);
                for i in 0..4 {
                    let x = _mm_set_epi64x(word(block, 16 * i + 8), word(block, 16 * i));
                    let quote = _mm_xor_si128(_mm_and_si128(x, _mm_set1_epi8(!1)), _mm_set1_epi8(QUOTE));
                    let control = _mm_sub_epi8(x, _mm_set1_epi8(TAB));
                    let quote = _mm_sub_epi8(quote, _mm_set1_epi8(1));
                    odd = _mm_or_si128(_mm_or_si128(odd, quote), _mm_or_si128(x, control));
                    delimiters |= equal_128(x, delimiter) << (16 * i);
                    newlines |= equal_128(x, b'\n') << (16 * i);
                    returns |= equal_128(x, b'\r') << (16 * i);
                }
                Marks { delimiters, newlines, returns }
            };
            self.go_on_by(bytes, ends, wanted, marks, places);
            self.odd |= _mm_movemask_epi8(odd) != 0;
        }
    }

    /// 0, 1, 2 and so on.
    const COUNTING: [u8; 64] = {
        let mut all = [0; 64];
        let mut i = 0;
        while i < 64 {
            all[i] = i as u8;
            i += 1;
        }
        all
    };

    // The top bit tells of an odd byte: it is set beyond ASCII, below a tab once that is taken away, and in a quotation
    // mark or the sign of a comment, which differ in the last bit, once that is taken away and 1 from the 0 that is left.
    const TAB: i8 = b'\t' as i8;
    const QUOTE: i8 = b'"' as i8;

    #[target_feature(enable = "avx512f,avx512bw")]
    #[inline]
    fn equal_512(x: __m512i, byte: u8) -> u64 {
        _mm512_cmpeq_epi8_mask(x, _mm512_set1_epi8(byte as i8))
    }

    #[target_feature(enable = "avx512f")]
    #[inline]
    fn store_512(x: __m512i, slots: &mut [u32; ROOM], at: usize) {
        let (low, high) = (_mm512_castsi512_si256(x), _mm512_extracti64x4_epi64::<1>(x));
        let words = [
            _mm256_extract_epi64::<0>(low),
            _mm256_extract_epi64::<1>(low),
            _mm256_extract_epi64::<2>(low),
            _mm256_extract_epi64::<3>(low),
            _mm256_extract_epi64::<0>(high),
            _mm256_extract_epi64::<1>(high),
            _mm256_extract_epi64::<2>(high),
            _mm256_extract_epi64::<3>(high),
        ];
        for (two, word) in slots[at..at + 16].chunks_exact_mut(2).zip(words) {
            (two[0], two[1]) = (word as u32, (word >> 32) as u32);
        }
    }

    #[target_feature(enable = "avx2")]
    #[inline]
    fn load_256(block: &[u8; 64], i: usize) -> __m256i {
        _mm256_set_epi64x(word(block, i + 24), word(block, i + 16), word(block, i + 8), word(block, i))
    }

    #[target_feature(enable = "avx2")]
    #[inline]
    fn odd_256(x: __m256i) -> __m256i {
        let quote = _mm256_xor_si256(_mm256_and_si256(x, _mm256_set1_epi8(!1)), _mm256_set1_epi8(QUOTE));
        let control = _mm256_sub_epi8(x, _mm256_set1_epi8(TAB));
        _mm256_or_si256(_mm256_sub_epi8(quote, _mm256_set1_epi8(1)), _mm256_or_si256(x, control))
    }

    #[target_feature(enable = "avx2")]
    #[inline]
    fn equal_256(low: __m256i, high: __m256i, byte: u8) -> u64 {
        let byte = _mm256_set1_epi8(byte as i8);
        let low = _mm256_movemask_epi8(_mm256_cmpeq_epi8(low, byte)) as u32;
        let high = _mm256_movemask_epi8(_mm256_cmpeq_epi8(high, byte)) as u32;
        u64::from(low) | (u64::from(high) << 32)
    }

    #[target_feature(enable = "sse2")]
    #[inline]
    fn equal_128(x: __m128i, byte: u8) -> u64 {
        _mm_movemask_epi8(_mm_cmpeq_epi8(x, _mm_set1_epi8(byte as i8))) as u64
    }
}

#[cfg(not(target_arch = "x86_64"))]
impl Scan {
    /// Eight bytes at a time in ordinary registers, for any processor.
    fn go_on_plain(&mut self, bytes: &[u8], delimiter: u8, ends: &mut [u32], wanted: usize) {
        let mut odd = 0;
        let marks = |block: &[u8; 64]| {
            let words: [u64; 8] = std::array::from_fn(|i| word(block, 8 * i) as u64);
            for x in words {
                odd |= x | equal(x, 0) | equal(x & (ONES * 0xfe), b'"');
            }
            let is = |byte: u8| words.iter().rev().fold(0, |bits, x| bits << 8 | gather(equal(*x, byte)));
            Marks { delimiters: is(delimiter), newlines: is(b'\n'), returns: is(b'\r') }
        };
        self.go_on_by(bytes, ends, wanted, marks, places);
        self.odd |= odd & (ONES << 7) != 0;
    }
}

/// 0x80 in each byte of `x` that equals `byte`.
#[inline(always)]
pub(super) fn equal(x: u64, byte: u8) -> u64 {
    let low7 = ONES * 0x7f;
    let d = x ^ (ONES * u64::from(byte));
    !(((d & low7) + low7) | d | low7)
}

/// The eight top bits of the bytes as one byte.
#[cfg_attr(target_arch = "x86_64", allow(dead_code))]
#[inline(always)]
fn gather(m: u64) -> u64 {
    (m >> 7).wrapping_mul(0x0102_0408_1020_4080) >> 56
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Ends, newlines, returns and oddness of a text, some at a time.
    fn searched(bytes: &[u8], go_on: impl Fn(&mut Scan, &mut [u32], usize)) -> (Vec<u32>, usize, usize, bool) {
        let (mut scan, mut ends, mut all) = (Scan::default(), vec![0; 100 + SPARE], Vec::new());
        while scan.base < bytes.len() {
            go_on(&mut scan, &mut ends, 100);
            all.extend_from_slice(&ends[..scan.have]);
            scan.have = 0;
        }
        (all, scan.newlines, scan.returns, scan.odd)
    }

    proptest! {
        #[test]
        fn what_is_found_is_there(
            bytes in prop::collection::vec(prop_oneof![
                20 => prop::sample::select(b"0123456789.-".to_vec()), 5 => Just(b','), 1 => Just(b'\n'), 1 => Just(b'\r'),
            ], 0..700),
            dense in 0..130_usize,
            odd in prop::option::of((0..700_usize, prop::sample::select(vec![0, b'"', b'#', 0x80, 0xff, b'!', b'$', b'\t', 0x7f]))),
        ) {
            let mut bytes = bytes;
            bytes.extend(std::iter::repeat_n(b',', dense));
            if let Some((at, byte)) = odd && at < bytes.len() {
                bytes[at] = byte;
            }
            let count = |byte: u8| bytes.iter().filter(|b| **b == byte).count();
            let is_end = |i: &u32| matches!(bytes[*i as usize], b',' | b'\n');
            let there = (
                (0..bytes.len() as u32).filter(is_end).collect::<Vec<_>>(),
                count(b'\n'),
                count(b'\r'),
                bytes.iter().any(|b| matches!(b, 0 | b'"' | b'#' | 0x80..)),
            );
            let plain = searched(&bytes, |scan, ends, wanted| scan.go_on_plain(&bytes, b',', ends, wanted));
            let best = searched(&bytes, |scan, ends, wanted| scan.go_on(&bytes, b',', ends, wanted));
            prop_assert_eq!(&plain, &there);
            prop_assert_eq!(&best, &there);
        }
    }
}
