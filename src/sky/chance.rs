//! Numbers that look like chance and are the same on every machine.

use crate::maths;

/// A generator of pseudo-random numbers, the same for the same seed everywhere.
///
/// Source: Steele, Lea, Flood, Fast splittable pseudorandom number generators, OOPSLA 2014 (SplitMix64).
#[derive(Debug, Clone)]
pub(crate) struct Chance {
    state: u64,
    spare: Option<f64>,
}

impl Chance {
    /// The streams of one seed are independent of each other, so that a change of the wind leaves the light as it was.
    pub fn new(seed: u64, stream: u64) -> Chance {
        let mut c = Chance { state: seed ^ stream.wrapping_mul(0xd134_2543_de82_ef95), spare: None };
        c.next();
        c
    }

    fn next(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.state ^ (self.state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Even between 0 (with) and 1 (without).
    pub fn even(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Normal with mean 0 and standard deviation 1 (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        if let Some(x) = self.spare.take() {
            return x;
        }
        let r = (-2.0 * maths::ln(1.0 - self.even())).max(0.0).sqrt();
        let (s, c) = maths::sin_cos(std::f64::consts::TAU * self.even());
        self.spare = Some(r * s);
        r * c
    }

    /// Exponential with mean 1.
    pub fn exponential(&mut self) -> f64 {
        -maths::ln(1.0 - self.even())
    }
}

/// Probability that a standard normal value stays below `z`, to 1e-7.
///
/// Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.17.
pub(crate) fn normal_below(z: f64) -> f64 {
    let x = z.abs();
    let t = 1.0 / (1.0 + 0.231_641_9 * x);
    let poly =
        t * (0.319_381_530 + t * (-0.356_563_782 + t * (1.781_477_937 + t * (-1.821_255_978 + t * 1.330_274_429))));
    let upper = 0.398_942_280_401_432_7 * maths::exp(-0.5 * x * x) * poly;
    if z < 0.0 { upper } else { 1.0 - upper }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_generator_is_the_published_one() {
        // First outputs of SplitMix64 from state 0, as in common reference code (from memory).
        let mut c = Chance { state: 0, spare: None };
        assert_eq!(c.next(), 0xe220_a839_7b1d_cdaf);
        assert_eq!(c.next(), 0x6e78_9e6a_a1b9_65f4);
    }

    #[test]
    fn moments() {
        let mut c = Chance::new(1, 2);
        let n = 100_000;
        let x: Vec<f64> = (0..n).map(|_| c.normal()).collect();
        let mean = x.iter().sum::<f64>() / n as f64;
        let var = x.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n as f64;
        assert!(mean.abs() < 0.01 && (var - 1.0).abs() < 0.02, "{mean} {var}");
        assert!((normal_below(1.2816) - 0.9).abs() < 1e-5 && (normal_below(-1.6449) - 0.05).abs() < 1e-5);
    }
}
