//! Where cells end: delimiters and line ends, 64 bytes at a time.

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
            counts += u64::from(found.newlines.count_ones()) << 32 | u64::from(found.returns.count_ones());
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
const PLACES: [[u8; 8]; 256] = {
    let mut table = [[0; 8]; 256];
    let mut byte = 0;
    while byte < 256 {
        let (mut bit, mut have) = (0, 0);
        while bit < 8 {
            if byte >> bit & 1 == 1 {
                table[byte][have] = bit as u8;
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
    let pairs = bits - (bits >> 1 & ONES * 0x55);
    let fours = (pairs & ONES * 0x33) + (pairs >> 2 & ONES * 0x33);
    let below = ((fours + (fours >> 4)) & ONES * 0x0f).wrapping_mul(ONES) << 8;
    for k in 0..8 {
        let at = (below >> (8 * k)) as usize & 63;
        let first = base + 8 * k;
        for (slot, place) in slots[at..at + 8].iter_mut().zip(PLACES[(bits >> (8 * k)) as usize & 0xff]) {
            *slot = first + u32::from(place);
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
#[target_feature(enable = "avx512f")]
#[inline]
fn store(x: std::arch::x86_64::__m512i, slots: &mut [u32]) {
    use std::arch::x86_64::{_mm256_extract_epi64, _mm512_extracti64x4_epi64};
    let half = |x: std::arch::x86_64::__m256i| {
        [
            _mm256_extract_epi64::<0>(x),
            _mm256_extract_epi64::<1>(x),
            _mm256_extract_epi64::<2>(x),
            _mm256_extract_epi64::<3>(x),
        ]
    };
    let halves = [half(_mm512_extracti64x4_epi64::<0>(x)), half(_mm512_extracti64x4_epi64::<1>(x))];
    for (pair, two) in slots.chunks_exact_mut(2).zip(halves.as_flattened()) {
        (pair[0], pair[1]) = (*two as u32, (*two >> 32) as u32);
    }
}

/// The bytes 0 to 7 in one word, and what is added to them for each eight bytes further.
#[cfg(target_arch = "x86_64")]
const FIRST_EIGHT: i64 = 0x0706_0504_0302_0100;
#[cfg(target_arch = "x86_64")]
const EIGHTS: i64 = 0x0808_0808_0808_0808;

#[cfg(target_arch = "x86_64")]
impl Scan {
    #[target_feature(enable = "avx512f,avx512bw,avx512vbmi2,popcnt")]
    fn go_on_avx512(&mut self, bytes: &[u8], delimiter: u8, ends: &mut [u32], wanted: usize) {
        use std::arch::x86_64::{
            __m128i, _mm256_set_epi64x, _mm512_add_epi8, _mm512_add_epi32, _mm512_and_si512, _mm512_castsi256_si512,
            _mm512_cmpeq_epi8_mask, _mm512_cvtepu8_epi32, _mm512_extracti32x4_epi32, _mm512_inserti64x4,
            _mm512_maskz_compress_epi8, _mm512_movepi8_mask, _mm512_or_si512, _mm512_set_epi64, _mm512_set1_epi8,
            _mm512_set1_epi32, _mm512_setzero_si512, _mm512_sub_epi8, _mm512_xor_si512,
        };
        let each = |byte: u8| _mm512_set1_epi8(byte as i8);
        let mut odd = _mm512_setzero_si512();
        let marks = |block: &[u8; 64]| {
            let w = |i: usize| word(block, i);
            let [low, high] = [0, 32].map(|i| _mm256_set_epi64x(w(i + 24), w(i + 16), w(i + 8), w(i)));
            let x = _mm512_inserti64x4::<1>(_mm512_castsi256_si512(low), high);
            let quote = _mm512_xor_si512(_mm512_and_si512(x, each(!1)), each(b'"'));
            odd = _mm512_or_si512(odd, _mm512_or_si512(x, _mm512_sub_epi8(x, each(9))));
            odd = _mm512_or_si512(odd, _mm512_add_epi8(quote, each(0xff)));
            let is = |byte: u8| _mm512_cmpeq_epi8_mask(x, each(byte));
            Marks { delimiters: is(delimiter), newlines: is(b'\n'), returns: is(b'\r') }
        };
        let w = |i: i64| FIRST_EIGHT + i * EIGHTS;
        let all = _mm512_set_epi64(w(7), w(6), w(5), w(4), w(3), w(2), w(1), w(0));
        let mut origin = _mm512_set1_epi32(self.base as i32);
        let places = |bits: u64, _: u32, slots: &mut [u32; ROOM]| {
            let packed = _mm512_maskz_compress_epi8(bits, all);
            let sixteen = |x: __m128i, slots: &mut [u32]| {
                let x = _mm512_add_epi32(_mm512_cvtepu8_epi32(x), origin);
                store(x, slots);
            };
            sixteen(_mm512_extracti32x4_epi32::<0>(packed), &mut slots[..16]);
            sixteen(_mm512_extracti32x4_epi32::<1>(packed), &mut slots[16..32]);
            if bits.count_ones() > 32 {
                sixteen(_mm512_extracti32x4_epi32::<2>(packed), &mut slots[32..48]);
                sixteen(_mm512_extracti32x4_epi32::<3>(packed), &mut slots[48..64]);
            }
            origin = _mm512_add_epi32(origin, _mm512_set1_epi32(64));
        };
        self.go_on_by(bytes, ends, wanted, marks, places);
        self.odd |= _mm512_movepi8_mask(odd) != 0;
    }

    #[target_feature(enable = "avx2,popcnt")]
    fn go_on_avx2(&mut self, bytes: &[u8], delimiter: u8, ends: &mut [u32], wanted: usize) {
        use std::arch::x86_64::{
            __m256i, _mm256_add_epi8, _mm256_and_si256, _mm256_cmpeq_epi8, _mm256_movemask_epi8, _mm256_or_si256,
            _mm256_set_epi64x, _mm256_set1_epi8, _mm256_setzero_si256, _mm256_sub_epi8, _mm256_xor_si256,
        };
        let each = |byte: u8| _mm256_set1_epi8(byte as i8);
        let mut odd = _mm256_setzero_si256();
        let marks = |block: &[u8; 64]| {
            let w = |i: usize| word(block, i);
            let halves = [0, 32].map(|i| _mm256_set_epi64x(w(i + 24), w(i + 16), w(i + 8), w(i)));
            for x in halves {
                let quote = _mm256_xor_si256(_mm256_and_si256(x, each(!1)), each(b'"'));
                odd = _mm256_or_si256(odd, _mm256_or_si256(x, _mm256_sub_epi8(x, each(9))));
                odd = _mm256_or_si256(odd, _mm256_add_epi8(quote, each(0xff)));
            }
            let is = |byte: u8| {
                let [low, high] =
                    halves.map(|x: __m256i| _mm256_movemask_epi8(_mm256_cmpeq_epi8(x, each(byte))) as u32);
                u64::from(low) | u64::from(high) << 32
            };
            Marks { delimiters: is(delimiter), newlines: is(b'\n'), returns: is(b'\r') }
        };
        self.go_on_by(bytes, ends, wanted, marks, places);
        self.odd |= _mm256_movemask_epi8(odd) != 0;
    }

    fn go_on_plain(&mut self, bytes: &[u8], delimiter: u8, ends: &mut [u32], wanted: usize) {
        // SAFETY: SSE2 is part of the baseline of every x86-64 target.
        unsafe { self.go_on_sse2(bytes, delimiter, ends, wanted) };
    }

    #[target_feature(enable = "sse2")]
    fn go_on_sse2(&mut self, bytes: &[u8], delimiter: u8, ends: &mut [u32], wanted: usize) {
        use std::arch::x86_64::{
            __m128i, _mm_add_epi8, _mm_and_si128, _mm_cmpeq_epi8, _mm_movemask_epi8, _mm_or_si128, _mm_set_epi64x,
            _mm_set1_epi8, _mm_setzero_si128, _mm_sub_epi8, _mm_xor_si128,
        };
        let each = |byte: u8| _mm_set1_epi8(byte as i8);
        let mut odd = _mm_setzero_si128();
        let marks = |block: &[u8; 64]| {
            let quarters = [0, 16, 32, 48].map(|i| _mm_set_epi64x(word(block, i + 8), word(block, i)));
            for x in quarters {
                let quote = _mm_xor_si128(_mm_and_si128(x, each(!1)), each(b'"'));
                odd = _mm_or_si128(odd, _mm_or_si128(x, _mm_sub_epi8(x, each(9))));
                odd = _mm_or_si128(odd, _mm_add_epi8(quote, each(0xff)));
            }
            let is = |byte: u8| {
                let bits = quarters.map(|x: __m128i| _mm_movemask_epi8(_mm_cmpeq_epi8(x, each(byte))) as u64);
                bits[0] | bits[1] << 16 | bits[2] << 32 | bits[3] << 48
            };
            Marks { delimiters: is(delimiter), newlines: is(b'\n'), returns: is(b'\r') }
        };
        self.go_on_by(bytes, ends, wanted, marks, places);
        self.odd |= _mm_movemask_epi8(odd) != 0;
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
