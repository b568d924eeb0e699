//! The normal distribution: quantile, cumulative share, and seeded draws.

// Coefficients of AS 241, highest power first: numerator and denominator near the middle, in the tail, far out.
const A: [f64; 8] = [
    2509.0809287301227,
    33430.57558358813,
    67265.7709270087,
    45921.95393154987,
    13731.69376550946,
    1971.5909503065513,
    133.14166789178438,
    3.3871328727963665,
];
const B: [f64; 8] = [
    5226.495278852854,
    28729.085735721943,
    39307.89580009271,
    21213.794301586597,
    5394.196021424751,
    687.1870074920579,
    42.31333070160091,
    1.0,
];
const C: [f64; 8] = [
    0.0007745450142783414,
    0.022723844989269184,
    0.2417807251774506,
    1.2704582524523684,
    3.6478483247632045,
    5.769497221460691,
    4.630337846156546,
    1.4234371107496835,
];
const D: [f64; 8] = [
    1.0507500716444169e-09,
    0.0005475938084995345,
    0.015198666563616457,
    0.14810397642748008,
    0.6897673349851,
    1.6763848301838038,
    2.053191626637759,
    1.0,
];
const E: [f64; 8] = [
    2.0103343992922881e-07,
    2.7115555687434876e-05,
    0.0012426609473880784,
    0.026532189526576124,
    0.29656057182850487,
    1.7848265399172913,
    5.463784911164114,
    6.657904643501103,
];
const F: [f64; 8] = [
    2.0442631033899397e-15,
    1.421511758316446e-07,
    1.8463183175100548e-05,
    0.0007868691311456133,
    0.014875361290850615,
    0.1369298809227358,
    0.599832206555888,
    1.0,
];
// Coefficients of the cumulative share.
const NUM: [f64; 7] = [
    3.526_249_659_989_11e-2,
    0.700_383_064_443_688,
    6.373_962_203_531_65,
    33.912_866_078_383,
    112.079_291_497_871,
    221.213_596_169_931,
    220.206_867_912_376,
];
const DEN: [f64; 8] = [
    8.838_834_764_831_84e-2,
    1.755_667_163_182_64,
    16.064_177_579_207,
    86.780_732_202_946_1,
    296.564_248_779_674,
    637.333_633_378_831,
    793.826_512_519_948,
    440.413_735_824_752,
];
/// Highest power first.
fn horner<const N: usize>(c: &[f64; N], x: f64) -> f64 {
    c.iter().fold(0.0, |sum, c| sum * x + c)
}

/// Standard normal quantile: the `z` below which a share `p` of all cases lies.
///
/// Relative error about 1e-16. `p` outside 0..1 is held at the smallest and largest value a double can tell from 0
/// and 1, so the result is always finite (within -38.5 to 8.3).
/// Source: Wichura, M. J.: Algorithm AS 241, Applied Statistics 37 (1988) 477-484, routine PPND16.
/// ```
/// assert!((yearlight::weigh::quantile(0.90) - 1.281_551_6).abs() < 1e-7);
/// ```
pub fn quantile(p: f64) -> f64 {
    let p = if p > 0.0 { p.min(1.0 - f64::EPSILON / 2.0) } else { f64::MIN_POSITIVE };
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180_625 - q * q;
        return q * horner(&A, r) / horner(&B, r);
    }
    let tail = if q < 0.0 { p } else { 1.0 - p };
    let r = (-tail.ln()).sqrt();
    let z =
        if r <= 5.0 { horner(&C, r - 1.6) / horner(&D, r - 1.6) } else { horner(&E, r - 5.0) / horner(&F, r - 5.0) };
    if q < 0.0 { -z } else { z }
}

/// Standard normal cumulative share: how much of all cases lies below `z`, 0..1.
///
/// Absolute error below 1e-14; 0.5 for a `z` that is not a number.
/// Source: Hart, J. F. et al.: Computer Approximations (1968), in the form of West, G.: Better approximations to
/// cumulative normal functions, Wilmott (2005) 70-76 (coefficients from memory, checked against the error function of
/// a general-purpose library).
pub fn share_below(z: f64) -> f64 {
    if z.is_nan() {
        return 0.5;
    }
    let x = z.abs();
    let tail = if x > 37.0 {
        0.0
    } else if x < 7.071_067_811_865_47 {
        (-0.5 * x * x).exp() * horner(&NUM, x) / horner(&DEN, x)
    } else {
        let fraction = x + 1.0 / (x + 2.0 / (x + 3.0 / (x + 4.0 / (x + 0.65))));
        (-0.5 * x * x).exp() / fraction / 2.506_628_274_631
    };
    if z > 0.0 { 1.0 - tail } else { tail }
}

/// A small seeded generator of random numbers: the same seed gives the same draws on every machine.
///
/// Source: SplitMix64, Steele, Lea and Flood: Fast splittable pseudorandom number generators, OOPSLA 2014.
#[derive(Debug, Clone)]
pub struct Draws {
    state: u64,
}

impl Draws {
    /// Starts a stream.
    pub fn seeded(seed: u64) -> Draws {
        Draws { state: seed }
    }

    /// The next 64 bits.
    pub fn next_bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.state ^ (self.state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform within 0..1, never 0 or 1.
    pub fn uniform(&mut self) -> f64 {
        ((self.next_bits() >> 11) as f64 + 0.5) * (1.0 / 9_007_199_254_740_992.0)
    }

    /// Standard normal, by the quantile of a uniform draw.
    pub fn normal(&mut self) -> f64 {
        quantile(self.uniform())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_generator_repeats_its_published_stream() {
        // First outputs of SplitMix64 for seed 1234567, as listed with the public reference code (from memory).
        let mut draws = Draws::seeded(1_234_567);
        assert_eq!(draws.next_bits(), 6_457_827_717_110_365_317);
        assert_eq!(draws.next_bits(), 3_203_168_211_198_807_973);
    }

    #[test]
    fn ends_are_held() {
        for p in [f64::NAN, -1.0, 0.0, 1.0, 2.0, f64::INFINITY] {
            assert!(quantile(p).is_finite());
            assert!((0.0..=1.0).contains(&share_below(p)));
        }
        assert_eq!(share_below(f64::NEG_INFINITY), 0.0);
        assert_eq!(share_below(f64::INFINITY), 1.0);
    }

    #[test]
    fn draws_have_mean_0_and_deviation_1() {
        let mut draws = Draws::seeded(7);
        let n = 200_000;
        let x: Vec<f64> = (0..n).map(|_| draws.normal()).collect();
        let mean = x.iter().sum::<f64>() / f64::from(n);
        let var = x.iter().map(|x| x * x).sum::<f64>() / f64::from(n) - mean * mean;
        // Four standard errors of the mean and of the variance.
        assert!(mean.abs() < 4.0 / f64::from(n).sqrt(), "{mean}");
        assert!((var - 1.0).abs() < 4.0 * (2.0 / f64::from(n)).sqrt(), "{var}");
    }

    proptest! {
        #[test]
        fn quantile_and_share_undo_each_other(p in 1e-10..(1.0 - 1e-10)) {
            prop_assert!((share_below(quantile(p)) - p).abs() < 1e-13);
        }

        #[test]
        fn both_are_odd_about_the_middle(p in 1e-6..0.5_f64, z in 0.0..9.0_f64) {
            prop_assert!((quantile(p) + quantile(1.0 - p)).abs() < 1e-9);
            prop_assert!((share_below(z) + share_below(-z) - 1.0).abs() < 1e-15);
        }
    }
}
