//! Elementary functions that the compiler can vectorise, and one macro that compiles a loop for several
//! instruction sets and picks the best at run time.
//!
//! Every kernel is plain arithmetic without branches and without fused multiply-add, so the scalar, SSE2, AVX2 and
//! AVX-512 copies return the same bits. Errors are stated per function and checked in the tests below.

/// Compiles the body once for each instruction set and chooses at run time.
///
/// The body must be a loop over slices with branch-free arithmetic; it is `inline(always)` into each copy. No copy
/// enables fused multiply-add, so all copies return the same bits.
///
/// ```
/// yearlight::wide! {
///     /// Doubles every value.
///     pub fn double(x: &mut [f64]) {
///         for v in x.iter_mut() { *v *= 2.0; }
///     }
/// }
/// let mut x = [1.0, 2.0];
/// double(&mut x);
/// assert_eq!(x, [2.0, 4.0]);
/// ```
#[macro_export]
macro_rules! wide {
    ($(#[$meta:meta])* $vis:vis fn $name:ident($($arg:ident : $ty:ty),* $(,)?) $(-> $ret:ty)? $body:block) => {
        $(#[$meta])*
        #[allow(clippy::too_many_arguments)]
        $vis fn $name($($arg: $ty),*) $(-> $ret)? {
            #[inline(always)]
            #[allow(clippy::too_many_arguments)]
            fn plain($($arg: $ty),*) $(-> $ret)? $body

            #[cfg(target_arch = "x86_64")]
            {
                #[target_feature(enable = "avx512f,avx512dq,avx512vl")]
                #[allow(clippy::too_many_arguments)]
                fn avx512($($arg: $ty),*) $(-> $ret)? { plain($($arg),*) }
                #[target_feature(enable = "avx2")]
                #[allow(clippy::too_many_arguments)]
                fn avx2($($arg: $ty),*) $(-> $ret)? { plain($($arg),*) }
                match $crate::maths::level() {
                    // SAFETY: `level` returns this only when the processor reports the features.
                    $crate::maths::Level::Avx512 => return unsafe { avx512($($arg),*) },
                    // SAFETY: as above.
                    $crate::maths::Level::Avx2 => return unsafe { avx2($($arg),*) },
                    $crate::maths::Level::Plain => {}
                }
            }
            plain($($arg),*)
        }
    };
}

/// The instruction set in use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Level {
    /// What every machine of the target has.
    Plain,
    /// 256-bit vectors.
    Avx2,
    /// 512-bit vectors.
    Avx512,
}

/// The best instruction set this processor has; `YEARLIGHT_LEVEL=plain|avx2` lowers it, for tests of bit identity.
pub fn level() -> Level {
    use std::sync::atomic::{AtomicU8, Ordering};
    static SEEN: AtomicU8 = AtomicU8::new(0);
    match SEEN.load(Ordering::Relaxed) {
        1 => Level::Plain,
        2 => Level::Avx2,
        3 => Level::Avx512,
        _ => {
            let found = detect();
            let code = match found {
                Level::Plain => 1,
                Level::Avx2 => 2,
                Level::Avx512 => 3,
            };
            SEEN.store(code, Ordering::Relaxed);
            found
        }
    }
}

#[cfg(target_arch = "x86_64")]
fn detect() -> Level {
    let asked = std::env::var("YEARLIGHT_LEVEL").unwrap_or_default();
    let has_512 = is_x86_feature_detected!("avx512f")
        && is_x86_feature_detected!("avx512dq")
        && is_x86_feature_detected!("avx512vl");
    match asked.as_str() {
        "plain" => Level::Plain,
        "avx2" if is_x86_feature_detected!("avx2") => Level::Avx2,
        _ if has_512 => Level::Avx512,
        _ if is_x86_feature_detected!("avx2") => Level::Avx2,
        _ => Level::Plain,
    }
}

#[cfg(not(target_arch = "x86_64"))]
fn detect() -> Level {
    Level::Plain
}

/// Adding and taking away this number rounds a double below 2^51 to the nearest integer (ties to even).
const ROUND: f64 = 6_755_399_441_055_744.0; // 1.5 * 2^52

const LN2_HI: f64 = f64::from_bits(0x3fe6_2e42_fee0_0000);
const LN2_LO: f64 = f64::from_bits(0x3dea_39ef_3579_3c76);

/// `e^x`, relative error below 1e-15 for `-700 <= x <= 700`; the argument is held within that range.
///
/// Cody and Waite reduction by ln 2 in two parts, then the Taylor polynomial of degree 13 on `|r| <= ln 2 / 2`
/// (remainder below 5e-18).
#[inline(always)]
pub fn exp(x: f64) -> f64 {
    let (r, two_k) = halved(x);
    // By pairs (Estrin), which leaves few operations that wait for each other.
    let r2 = r * r;
    let r4 = r2 * r2;
    let p01 = 0.5 + r * (1.0 / 6.0);
    let p23 = 1.0 / 24.0 + r * (1.0 / 120.0);
    let p45 = 1.0 / 720.0 + r * (1.0 / 5_040.0);
    let p67 = 1.0 / 40_320.0 + r * (1.0 / 362_880.0);
    let p89 = 1.0 / 3_628_800.0 + r * (1.0 / 39_916_800.0);
    let p1011 = 1.0 / 479_001_600.0 + r * (1.0 / 6_227_020_800.0);
    let p = (p01 + p23 * r2) + r4 * ((p45 + p67 * r2) + r4 * (p89 + p1011 * r2));
    let p = p * r2 + r;
    p * two_k + two_k
}

/// [`exp`] for models that are no better than that: relative error below 4e-10. The Taylor polynomial ends at degree 8.
#[inline(always)]
pub fn exp_short(x: f64) -> f64 {
    let (r, two_k) = halved(x);
    let r2 = r * r;
    let p01 = 0.5 + r * (1.0 / 6.0);
    let p23 = 1.0 / 24.0 + r * (1.0 / 120.0);
    let p45 = 1.0 / 720.0 + r * (1.0 / 5_040.0);
    let p = p01 + r2 * (p23 + r2 * (p45 + r2 * (1.0 / 40_320.0)));
    let p = p * r2 + r;
    p * two_k + two_k
}

/// `r` and `2^k` with `x = r + k ln 2`, `|r| <= ln 2 / 2`; the argument is held within `-700..700`.
#[inline(always)]
fn halved(x: f64) -> (f64, f64) {
    let x = if x < -700.0 { -700.0 } else { x };
    let x = if x > 700.0 { 700.0 } else { x };
    let shifted = x * std::f64::consts::LOG2_E + ROUND;
    let k = shifted - ROUND;
    let r = (x - k * LN2_HI) - k * LN2_LO;
    // The low bits of `shifted` hold k; moved into the exponent field they are 2^k.
    (r, f64::from_bits((shifted.to_bits() << 52).wrapping_add(0x3ff0_0000_0000_0000)))
}

/// Natural logarithm of a positive normal number, absolute error below 2e-16 plus 1e-15 relative.
///
/// `x = 2^k m`, `m` in `[sqrt(1/2), sqrt(2))`; `ln m = 2 atanh((m - 1)/(m + 1))` by its series to the 21st power
/// (remainder below 2e-18). Zero, negative and subnormal arguments are out of range.
#[inline(always)]
pub fn ln(x: f64) -> f64 {
    const SQRT_HALF_BITS: u64 = 0x3fe6_a09e_667f_3bcd;
    let shifted = x.to_bits().wrapping_sub(SQRT_HALF_BITS);
    // Exponent as a double without an integer conversion instruction: place it in the mantissa of 2^52.
    let biased = (shifted >> 52).wrapping_add(1024) & 0xfff;
    let k = f64::from_bits(0x4330_0000_0000_0000 | biased) - (4_503_599_627_370_496.0 + 1024.0);
    let m = f64::from_bits((shifted & 0x000f_ffff_ffff_ffff).wrapping_add(SQRT_HALF_BITS));
    let f = m - 1.0;
    let s = f / (2.0 + f);
    let s2 = s * s;
    let (q, q2) = (s2 * s2, s2 * s2 * (s2 * s2));
    let p01 = 2.0 / 3.0 + s2 * (2.0 / 5.0);
    let p23 = 2.0 / 7.0 + s2 * (2.0 / 9.0);
    let p45 = 2.0 / 11.0 + s2 * (2.0 / 13.0);
    let p67 = 2.0 / 15.0 + s2 * (2.0 / 17.0);
    let p89 = 2.0 / 19.0 + s2 * (2.0 / 21.0);
    let p = (p01 + p23 * q) + q2 * ((p45 + p67 * q) + q2 * p89);
    let series = p * s2 * s;
    k * LN2_HI + (2.0 * s + (series + k * LN2_LO))
}

/// `1/sqrt(x)` of a positive normal number, relative error below 1e-15, without a root or a division: in long vectors that
/// takes half the time of the two.
///
/// Half the exponent taken from a constant gives 3.5 %; each Newton step `y (1.5 - x y^2 / 2)` leaves 1.5 times the square
/// of that.
#[inline(always)]
pub fn reciprocal_root(x: f64) -> f64 {
    let half = 0.5 * x;
    let y = f64::from_bits(0x5fe6_eb50_c7b5_37a9_u64.wrapping_sub(x.to_bits() >> 1));
    let y = y * (1.5 - half * (y * y));
    let y = y * (1.5 - half * (y * y));
    let y = y * (1.5 - half * (y * y));
    y * (1.5 - half * (y * y))
}

const HALF_PI_1: f64 = f64::from_bits(0x3ff9_21fb_5440_0000);
const HALF_PI_2: f64 = f64::from_bits(0x3dd0_b461_1a60_0000);
const HALF_PI_3: f64 = f64::from_bits(0x3ba3_198a_2e03_7073);

/// Sine and cosine of an angle in radians, absolute error below 3e-16 for `|x| <= 1e5`.
///
/// Reduction by pi/2 in three parts (Cody and Waite), Taylor polynomials on `|r| <= pi/4`.
#[inline(always)]
pub fn sin_cos(x: f64) -> (f64, f64) {
    let shifted = x * std::f64::consts::FRAC_2_PI + ROUND;
    let k = shifted - ROUND;
    let quadrant = shifted.to_bits();
    let r = ((x - k * HALF_PI_1) - k * HALF_PI_2) - k * HALF_PI_3;
    let r2 = r * r;
    let s = 1.0 / 355_687_428_096_000.0;
    let s = s * r2 - 1.0 / 1_307_674_368_000.0;
    let s = s * r2 + 1.0 / 6_227_020_800.0;
    let s = s * r2 - 1.0 / 39_916_800.0;
    let s = s * r2 + 1.0 / 362_880.0;
    let s = s * r2 - 1.0 / 5_040.0;
    let s = s * r2 + 1.0 / 120.0;
    let s = s * r2 - 1.0 / 6.0;
    let sine = r + r * (r2 * s);
    let c = 1.0 / 20_922_789_888_000.0;
    let c = c * r2 - 1.0 / 87_178_291_200.0;
    let c = c * r2 + 1.0 / 479_001_600.0;
    let c = c * r2 - 1.0 / 3_628_800.0;
    let c = c * r2 + 1.0 / 40_320.0;
    let c = c * r2 - 1.0 / 720.0;
    let c = c * r2 + 1.0 / 24.0;
    let cosine = 1.0 - (0.5 * r2 - r2 * (r2 * c));
    let swap = quadrant & 1 == 1;
    let (a, b) = if swap { (cosine, sine) } else { (sine, cosine) };
    let sine_sign = (quadrant & 2) << 62;
    let cosine_sign = (quadrant.wrapping_add(1) & 2) << 62;
    (f64::from_bits(a.to_bits() ^ sine_sign), f64::from_bits(b.to_bits() ^ cosine_sign))
}

/// Cosine of an angle in radians, absolute error below 5e-7 for `|x| <= 1e5`; for small terms of a series.
///
/// Reduction by pi in two parts, Taylor polynomial to the tenth power on `|r| <= pi/2`.
#[inline(always)]
pub fn cos_rough(x: f64) -> f64 {
    let shifted = x * std::f64::consts::FRAC_1_PI + ROUND;
    let k = shifted - ROUND;
    let r = (x - k * (2.0 * HALF_PI_1)) - k * (2.0 * HALF_PI_2);
    let r2 = r * r;
    let c = 1.0 / 40_320.0 - r2 * (1.0 / 3_628_800.0);
    let c = 1.0 - r2 * (0.5 - r2 * (1.0 / 24.0 - r2 * (1.0 / 720.0 - r2 * c)));
    // Odd turns by pi change the sign.
    f64::from_bits(c.to_bits() ^ (shifted.to_bits() << 63))
}

/// Arc cosine in radians, `x` held within -1..1; absolute error below 1e-7.
///
/// Good enough for bins and limits, not for geometry. Source: Abramowitz and Stegun (1964) 4.4.46, |e| <= 2e-8.
#[inline(always)]
pub fn acos_rough(x: f64) -> f64 {
    acos_and_root(x).0
}

/// [`acos_rough`], and `sqrt(1 - |x|)`, which it comes by.
#[inline(always)]
pub fn acos_and_root(x: f64) -> (f64, f64) {
    let a = x.abs();
    let a = if a > 1.0 { 1.0 } else { a };
    let p = -0.001_262_491_1;
    let p = p * a + 0.006_670_090_1;
    let p = p * a - 0.017_088_125_6;
    let p = p * a + 0.030_891_881_0;
    let p = p * a - 0.050_174_304_6;
    let p = p * a + 0.088_978_987_4;
    let p = p * a - 0.214_598_801_6;
    let p = p * a + 1.570_796_305_0;
    let root = (1.0 - a).sqrt();
    let r = p * root;
    (if x < 0.0 { std::f64::consts::PI - r } else { r }, root)
}

const LANES: usize = 32;

wide! {
    /// Sums a column in a fixed order of 32 lanes, so that every instruction set and thread count gives the same bits.
    pub fn sum(x: &[f64]) -> f64 {
        let mut lanes = [0.0_f64; LANES];
        let chunks = x.chunks_exact(LANES);
        let rest = chunks.remainder();
        for chunk in chunks {
            for l in 0..LANES { lanes[l] += chunk[l]; }
        }
        let mut last = [0.0; LANES];
        last[..rest.len()].copy_from_slice(rest);
        for l in 0..LANES { lanes[l] += last[l]; }
        let mut half = LANES / 2;
        while half > 0 {
            for l in 0..half { lanes[l] += lanes[l + half]; }
            half /= 2;
        }
        lanes[0]
    }
}

wide! {
    /// Multiplies every value by one factor.
    pub fn scale(factor: f64, x: &mut [f64]) {
        for x in x.iter_mut() { *x *= factor; }
    }
}

wide! {
    /// Multiplies each value by its own factor; the columns have the same length.
    pub fn multiply(factor: &[f64], x: &mut [f64]) {
        let n = x.len();
        let factor = &factor[..n];
        for i in 0..n { x[i] *= factor[i]; }
    }
}

wide! {
    /// The lowest value of a column without NaN; infinity when it is empty.
    pub fn lowest(x: &[f64]) -> f64 {
        let mut lanes = [f64::INFINITY; LANES];
        let chunks = x.chunks_exact(LANES);
        let rest = chunks.remainder();
        for chunk in chunks {
            for l in 0..LANES { lanes[l] = if chunk[l] < lanes[l] { chunk[l] } else { lanes[l] }; }
        }
        lanes.iter().chain(rest).fold(f64::INFINITY, |low, x| if *x < low { *x } else { low })
    }
}

/// A piece of a curve: with `t = x - start` held within `0..length` it adds `t (a + t (b + t c))`.
type Piece = [f64; 5];

/// Pieces that a column runs through in one pass: of a few, and of more.
const FEW: usize = 4;
const SOME: usize = 6;
const MORE: usize = 8;

/// A continuous curve in cubic pieces, held left of the first.
///
/// It is the value at its first knot and what each piece adds: products, sums and bounds alone, which every instruction
/// set does in long vectors.
#[derive(Debug, Clone, PartialEq)]
pub struct Cubics {
    /// Value at the first knot.
    base: f64,
    /// None for a constant, else [`FEW`] or [`SOME`] of them or a multiple of [`MORE`], filled up with such as add nothing.
    pieces: Vec<Piece>,
}

impl Cubics {
    /// From ascending pieces `[start, c0, c1, c2, c3]`, at least one, each with the powers of `x - start`; the last has no
    /// end. Each begins with the value at which the one before ends.
    pub fn new(pieces: &[[f64; 5]]) -> Cubics {
        let ends = pieces.iter().skip(1).map(|piece| piece[0]).chain([f64::INFINITY]);
        let mut all: Vec<Piece> = pieces
            .iter()
            .zip(ends)
            .map(|(&[start, _, c1, c2, c3], end)| [start, end - start, c1, c2, c3])
            .filter(|[.., c1, c2, c3]| [c1, c2, c3] != [&0.0; 3])
            .collect();
        let filled = match all.len() {
            0 => 0,
            n if n <= FEW => FEW,
            n if n <= SOME => SOME,
            n => n.next_multiple_of(MORE),
        };
        all.resize(filled, [0.0; 5]);
        Cubics { base: pieces.first().map_or(0.0, |p| p[1]), pieces: all }
    }

    /// Through ascending points with a slope at each (Hermite), straight on beyond the last with a slope of its own.
    ///
    /// ```
    /// use yearlight::maths::Cubics;
    /// let square = Cubics::hermite(&[[0.0, 0.0], [2.0, 4.0]], &[0.0, 4.0], 0.0);
    /// assert_eq!([-1.0, 1.5, 9.0].map(|x| square.at(x)), [0.0, 2.25, 4.0]);
    /// ```
    pub fn hermite(points: &[[f64; 2]], slopes: &[f64], onward: f64) -> Cubics {
        let between = points.windows(2).zip(slopes.windows(2)).map(|(p, d)| {
            let ([x0, y0], [x1, y1]) = (p[0], p[1]);
            let (h, rise) = (x1 - x0, y1 - y0);
            let (d0, d1) = (d[0] * h, d[1] * h);
            [x0, y0, d[0], (3.0 * rise - 2.0 * d0 - d1) / (h * h), (d0 + d1 - 2.0 * rise) / (h * h * h)]
        });
        let last = points.last().map(|[x, y]| [*x, *y, onward, 0.0, 0.0]);
        Cubics::new(&between.chain(last).collect::<Vec<_>>())
    }

    /// One value.
    pub fn at(&self, x: f64) -> f64 {
        let mut y = [0.0];
        self.column(1.0, &[x], &mut y);
        y[0]
    }

    /// `out[i] = curve(x[i] * scale)`.
    pub fn column(&self, scale: f64, x: &[f64], out: &mut [f64]) {
        if self.pieces.is_empty() {
            return out.fill(self.base);
        }
        out.fill(0.0);
        self.add(scale, x, out);
    }

    /// `out[i] += curve(x[i] * scale)`.
    pub fn add(&self, scale: f64, x: &[f64], out: &mut [f64]) {
        if let Ok(few) = self.pieces.as_slice().try_into() {
            return few_pieces(few, self.base, scale, x, out);
        }
        if let Ok(some) = self.pieces.as_slice().try_into() {
            return some_pieces(some, self.base, scale, x, out);
        }
        let (groups, _) = self.pieces.as_chunks();
        for (k, group) in groups.iter().enumerate() {
            more_pieces(group, if k == 0 { self.base } else { 0.0 }, scale, x, out);
        }
        if groups.is_empty() {
            out.iter_mut().for_each(|y| *y += self.base);
        }
    }
}

/// What a piece adds at `x`.
#[inline(always)]
fn added([start, length, a, b, c]: Piece, x: f64) -> f64 {
    let t = x - start;
    let t = if t > 0.0 { t } else { 0.0 };
    let t = if t < length { t } else { length };
    t * (a + t * (b + t * c))
}

wide! {
    fn few_pieces(p: &[Piece; FEW], base: f64, scale: f64, x: &[f64], out: &mut [f64]) {
        let n = out.len();
        let x = &x[..n];
        for j in 0..n {
            let u = x[j] * scale;
            out[j] += (base + added(p[0], u) + added(p[1], u)) + (added(p[2], u) + added(p[3], u));
        }
    }
}

wide! {
    fn some_pieces(p: &[Piece; SOME], base: f64, scale: f64, x: &[f64], out: &mut [f64]) {
        let n = out.len();
        let x = &x[..n];
        for j in 0..n {
            let u = x[j] * scale;
            let low = base + added(p[0], u) + added(p[1], u);
            out[j] += low + ((added(p[2], u) + added(p[3], u)) + (added(p[4], u) + added(p[5], u)));
        }
    }
}

wide! {
    fn more_pieces(p: &[Piece; MORE], base: f64, scale: f64, x: &[f64], out: &mut [f64]) {
        let n = out.len();
        let x = &x[..n];
        for j in 0..n {
            let u = x[j] * scale;
            let low = (base + added(p[0], u) + added(p[1], u)) + (added(p[2], u) + added(p[3], u));
            let high = (added(p[4], u) + added(p[5], u)) + (added(p[6], u) + added(p[7], u));
            out[j] += low + high;
        }
    }
}

/// A root of `f` between `lo` and `hi`, or nothing when the ends have the same sign or `f` is not finite there.
///
/// Brent's method: inverse quadratic interpolation and secant steps, held within a bracket that bisection shrinks when
/// they are slow. Stops when the bracket is narrower than `x_tol` plus four units in the last place, or at an exact zero; at most
/// 200 calls.
/// Source: Brent, R. P.: Algorithms for Minimization without Derivatives (1973), chapter 4.
/// ```
/// let root = yearlight::maths::root(0.0, 2.0, 1e-13, |x| x * x - 2.0).unwrap();
/// assert!((root - 2.0_f64.sqrt()).abs() < 1e-12);
/// assert!(yearlight::maths::root(0.0, 1.0, 1e-13, |x| x * x - 2.0).is_none());
/// ```
pub fn root(lo: f64, hi: f64, x_tol: f64, mut f: impl FnMut(f64) -> f64) -> Option<f64> {
    let (mut a, mut b) = (lo, hi);
    let (mut fa, mut fb) = (f(a), f(b));
    if fa == 0.0 {
        return Some(a);
    }
    if fb == 0.0 {
        return Some(b);
    }
    if !(fa.is_finite() && fb.is_finite()) || (fa > 0.0) == (fb > 0.0) {
        return None;
    }
    let (mut c, mut fc) = (a, fa);
    let (mut step, mut before) = (b - a, b - a);
    for _ in 0..200 {
        if (fb > 0.0) == (fc > 0.0) {
            (c, fc) = (a, fa);
            step = b - a;
            before = step;
        }
        if fc.abs() < fb.abs() {
            (a, b, c) = (b, c, b);
            (fa, fb, fc) = (fb, fc, fb);
        }
        let tol = 2.0 * f64::EPSILON * b.abs() + 0.5 * x_tol;
        let half = 0.5 * (c - b);
        if half.abs() <= tol || fb == 0.0 {
            return Some(b);
        }
        if before.abs() >= tol && fa.abs() > fb.abs() {
            let s = fb / fa;
            let (mut p, mut q) = if a == c {
                (2.0 * half * s, 1.0 - s)
            } else {
                let (q, r) = (fa / fc, fb / fc);
                (s * (2.0 * half * q * (q - r) - (b - a) * (r - 1.0)), (q - 1.0) * (r - 1.0) * (s - 1.0))
            };
            if p > 0.0 {
                q = -q;
            }
            p = p.abs();
            if 2.0 * p < (3.0 * half * q - (tol * q).abs()).min((before * q).abs()) {
                before = step;
                step = p / q;
            } else {
                step = half;
                before = half;
            }
        } else {
            step = half;
            before = half;
        }
        (a, fa) = (b, fb);
        b += if step.abs() > tol { step } else { tol.copysign(half) };
        fb = f(b);
        if !fb.is_finite() {
            return None;
        }
    }
    Some(b)
}

#[cfg(test)]
mod tests {
    use super::*;

    // The platform's maths library is the reference: correct to about one unit in the last place.
    #[test]
    fn exp_agrees_with_the_platform() {
        let mut worst: f64 = 0.0;
        for i in 0..200_000 {
            let x = -690.0 + f64::from(i) * 0.0069;
            worst = worst.max((exp(x) / x.exp() - 1.0).abs());
        }
        assert!(worst < 1e-15, "worst relative error {worst:e}");
        assert_eq!(exp(0.0), 1.0);
    }

    #[test]
    fn exp_short_stays_within_its_claim() {
        let mut worst: f64 = 0.0;
        for i in 0..200_000 {
            let x = -690.0 + f64::from(i) * 0.0069;
            worst = worst.max((exp_short(x) / x.exp() - 1.0).abs());
        }
        assert!(worst < 4e-10, "worst relative error {worst:e}");
        assert_eq!(exp_short(0.0), 1.0);
    }

    #[test]
    fn ln_agrees_with_the_platform() {
        let mut worst: f64 = 0.0;
        for i in 1..400_000 {
            let x = f64::from(i) * 0.003_7;
            worst = worst.max((ln(x) - x.ln()).abs() / (0.2 + x.ln().abs()));
        }
        for i in -300..300 {
            let x = 10.0_f64.powi(i) * 1.234;
            worst = worst.max((ln(x) - x.ln()).abs() / (0.2 + x.ln().abs()));
        }
        assert!(worst < 1e-15, "worst error {worst:e}");
        assert_eq!(ln(1.0), 0.0);
    }

    #[test]
    fn reciprocal_root_agrees_with_the_platform() {
        let mut worst: f64 = 0.0;
        for i in 0..400_000 {
            let x = (f64::from(i) * 0.003_4 - 680.0).exp();
            worst = worst.max((reciprocal_root(x) * x.sqrt() - 1.0).abs());
        }
        assert!(worst < 1e-15, "worst relative error {worst:e}");
    }

    #[test]
    fn sin_cos_agrees_with_the_platform() {
        let mut worst: f64 = 0.0;
        for i in -200_000..200_000 {
            let x = f64::from(i) * 0.001_3;
            let (s, c) = sin_cos(x);
            worst = worst.max((s - x.sin()).abs()).max((c - x.cos()).abs());
        }
        for i in -1000..1000 {
            let x = f64::from(i) * 97.31;
            let (s, c) = sin_cos(x);
            worst = worst.max((s - x.sin()).abs()).max((c - x.cos()).abs());
        }
        assert!(worst < 3e-16, "worst absolute error {worst:e}");
    }

    #[test]
    fn cos_rough_stays_within_its_claim() {
        let mut worst: f64 = 0.0;
        for i in -200_000..200_000 {
            let x = f64::from(i) * 0.003_7;
            worst = worst.max((cos_rough(x) - x.cos()).abs());
        }
        for i in -1000..1000 {
            let x = f64::from(i) * 97.31;
            worst = worst.max((cos_rough(x) - x.cos()).abs());
        }
        assert!(worst < 5e-7, "worst absolute error {worst:e}");
    }

    #[test]
    fn acos_rough_stays_within_its_claim() {
        for i in -10_000..=10_000 {
            let x = f64::from(i) / 10_000.0;
            assert!((acos_rough(x) - x.acos()).abs() < 1e-7, "at {x}");
        }
    }

    // Each piece by its own definition, whether they are few or many.
    #[test]
    fn cubics_are_their_pieces() {
        let of = |piece: &[f64; 5], x: f64| {
            let t = (x - piece[0]).max(0.0);
            piece[1] + piece[2] * t + piece[3] * t * t + piece[4] * t * t * t
        };
        for (n, held) in [1, 2, 4, 5, 6, 7, 8, 9, 30].into_iter().flat_map(|n| [(n, false), (n, true)]) {
            let mut pieces: Vec<[f64; 5]> = Vec::new();
            for k in 0..n {
                let k = f64::from(k);
                let start = 2.0 + k * (1.0 + 0.1 * k);
                let c0 = pieces.last().map_or(1.0, |before| of(before, start));
                pieces.push([start, c0, 0.3 - 0.1 * k, 0.01 * k, -0.002]);
            }
            if let Some(last) = pieces.last_mut().filter(|_| held) {
                last[2..].fill(0.0);
            }
            let curve = Cubics::new(&pieces);
            let x: Vec<f64> = (0..1000).map(|i| -3.0 + 0.11 * f64::from(i)).collect();
            let mut y = vec![0.0; x.len()];
            curve.column(0.5, &x, &mut y);
            let most = x.iter().map(|x| of(pieces.last().unwrap(), 0.5 * x).abs()).fold(1.0, f64::max);
            for (x, y) in x.iter().zip(y) {
                let u = 0.5 * x;
                let want = of(pieces.iter().rev().find(|p| p[0] <= u).unwrap_or(&pieces[0]), u);
                assert!((y - want).abs() < 1e-12 * most, "{n} pieces at {u}: {y} {want}");
                assert_eq!(curve.at(u), y);
            }
        }
    }

    #[test]
    fn lowest_looks_everywhere() {
        for at in [0, 5, 31, 32, 70, 95, 96, 99] {
            let mut x: Vec<f64> = (0..100).map(f64::from).collect();
            x[at] = -3.0;
            assert_eq!(lowest(&x), -3.0, "{at}");
        }
        assert_eq!(lowest(&[]), f64::INFINITY);
    }

    #[test]
    fn sum_counts_everything() {
        let x: Vec<f64> = (0..1003).map(f64::from).collect();
        assert_eq!(sum(&x), 1002.0 * 1003.0 / 2.0);
    }
}
