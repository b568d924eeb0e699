//! How sure an energy is, and how sure the difference of two is.
//!
//! Errors are relative, normal and small: `E = E_50 (1 + sum of c_i x_i)`, where `c_i = s_i u_i` is what one standard
//! deviation of input `i` does to the energy, in percent. Options share a part of each error: with correlation `rho`,
//! `x_i,k = sqrt(rho) z_i + sqrt(1 - rho) e_i,k`. What is shared by both with the same effect cancels in a gap.

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::weigh::normal::{Draws, quantile, share_below};

/// One line of the budget of doubt.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DoubtInput {
    /// Key in `[uncertainty]`.
    pub key: String,
    /// For people.
    pub name: String,
    /// Unit of `u`.
    pub unit: String,
    /// Standard uncertainty of the input, per option.
    pub u: Vec<f64>,
    /// Percent of the first year's energy for one unit of the input, per option.
    pub sensitivity: Vec<f64>,
    /// Percent of the mean year's energy for one unit of the input, per option.
    pub sensitivity_mean: Vec<f64>,
    /// 1 when all options share the error, 0 when each has its own.
    pub correlation: f64,
    /// True for errors that are new every year and so average out over the years.
    pub yearly: bool,
    /// On whose word.
    pub source: String,
    /// True when the job gives the figure, false for the default.
    pub given: bool,
}

impl DoubtInput {
    /// `s u` of option `k`, percent of energy, over the first year or the mean year.
    pub fn effect_pct(&self, k: usize, span: Span) -> f64 {
        let s = match span {
            Span::FirstYear => self.sensitivity.get(k),
            Span::MeanOf(_) => self.sensitivity_mean.get(k),
        };
        let u = self.u.get(k).copied().unwrap_or(0.0) * s.copied().unwrap_or(0.0);
        match span {
            Span::MeanOf(n) if self.yearly => u / f64::from(n.max(1)).sqrt(),
            _ => u,
        }
    }
}

/// One year, or the mean of several.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Span {
    /// The first year of operation.
    FirstYear,
    /// The mean of so many years.
    MeanOf(u32),
}

/// Energies that are reached with a stated probability, kWh.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Percentiles {
    /// Standard uncertainty, percent of P50.
    pub u_pct: f64,
    /// Reached in half of all cases.
    pub p50: f64,
    /// Reached in 75 % of all cases.
    pub p75: f64,
    /// Reached in 90 % of all cases.
    pub p90: f64,
    /// Reached in 95 % of all cases.
    pub p95: f64,
    /// Reached in 99 % of all cases.
    pub p99: f64,
}

impl Percentiles {
    /// `E_Pxx = E_50 (1 - z u)`, never below 0.
    /// ```
    /// let p = yearlight::weigh::Percentiles::around(100.0, 10.0);
    /// assert!((p.p90 - (100.0 - 12.815_515_655_4)).abs() < 1e-9);
    /// ```
    pub fn around(e_50: f64, u_pct: f64) -> Percentiles {
        let at = |p: f64| (e_50 * (1.0 - quantile(p) * u_pct / 100.0)).max(0.0);
        Percentiles { u_pct, p50: e_50, p75: at(0.75), p90: at(0.90), p95: at(0.95), p99: at(0.99) }
    }
}

/// The doubt of one option.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OptionDoubt {
    /// The first year, kWh.
    pub first_year: Percentiles,
    /// The mean of `years` years, kWh a year.
    pub mean: Percentiles,
    /// Years of the mean.
    pub years: u32,
    /// The first year by random draws, when asked for.
    pub drawn: Option<Percentiles>,
    /// `[key, effect in percent of the first year, effect in percent of the mean]` of every input.
    pub effects: Vec<DoubtEffect>,
}

/// What one input does to one option.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DoubtEffect {
    /// Key in `[uncertainty]`.
    pub key: String,
    /// One standard deviation, percent of the first year.
    pub first_year_pct: f64,
    /// One standard deviation, percent of the mean year.
    pub mean_pct: f64,
}

/// How sure the difference of two options is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PairDoubt {
    /// Doubt of the ratio of the two energies, percent: `u_g`.
    pub u_g_pct: f64,
    /// The gap per roof, first year.
    pub roof: GapBand,
    /// The gap per kW, first year.
    pub per_kw: GapBand,
    /// The gap per roof, mean year.
    pub mean_roof: GapBand,
    /// The gap per kW, mean year.
    pub mean_per_kw: GapBand,
}

/// A gap with its band.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct GapBand {
    /// `E_B / E_A - 1`, percent.
    pub gap_pct: f64,
    /// Its standard uncertainty, percentage points: `(1 + g) u_g sqrt(1 + 3 u_A^2)`.
    pub u_pct: f64,
    /// One case in ten lies below, percent.
    pub low_pct: f64,
    /// One case in ten lies above, percent.
    pub high_pct: f64,
    /// Probability that B really gives more, 0..1.
    pub probability: f64,
    /// The same standard uncertainty from the draws, percentage points.
    pub drawn_u_pct: Option<f64>,
    /// The same probability from the draws, 0..1.
    pub drawn_probability: Option<f64>,
}

/// Quadrature of all inputs for option `k`, percent of energy: `u^2 = sum of (s_i u_i)^2`.
///
/// For the mean of n years the yearly part falls with sqrt(n): `u_n^2 = u_model^2 + u_year^2 / n`.
/// Source: JCGM 100:2008 (GUM), 5.1.2, uncorrelated inputs.
pub fn total_pct(inputs: &[DoubtInput], k: usize, span: Span) -> f64 {
    inputs.iter().map(|i| i.effect_pct(k, span).powi(2)).sum::<f64>().sqrt()
}

/// Doubt of the ratio of two energies, percent.
///
/// `u_g^2 = sum of (c_A^2 + c_B^2 - 2 rho c_A c_B)`: a shared input (`rho` = 1) counts by the difference of its two
/// effects only. Source: JCGM 100:2008 (GUM), 5.2.2, correlated inputs.
pub fn pair_pct(inputs: &[DoubtInput], a: usize, b: usize, span: Span) -> f64 {
    let of = |i: &DoubtInput| {
        let (c_a, c_b, rho) = (i.effect_pct(a, span), i.effect_pct(b, span), i.correlation);
        // The same sum, written so that equal shared effects cancel exactly.
        rho * (c_b - c_a).powi(2) + (1.0 - rho) * (c_a * c_a + c_b * c_b)
    };
    inputs.iter().map(of).sum::<f64>().sqrt()
}

/// The band of a gap and the probability that it is real, by formula.
///
/// With normal errors the difference `E_B (1 + x_B) - E_A (1 + x_A)` is normal, so the probability is exact within the
/// model. The gap itself is a ratio, `g = (1 + g_50)(1 + d / (1 + x_A)) - 1` with `d = x_B - x_A`, whose deviation is
/// `(1 + g_50) u_g sqrt(1 + 3 u_A^2)` to second order, since the mean of `(1 + x)^-2` is `1 + 3 u^2` (GUM 5.1.2, note).
/// `e_a`, `e_b` in the same unit, both above 0.
pub fn band(inputs: &[DoubtInput], (a, e_a): (usize, f64), (b, e_b): (usize, f64), span: Span) -> GapBand {
    if !(e_a > 0.0 && e_b > 0.0) {
        return GapBand::default();
    }
    let ratio = e_b / e_a;
    let gap_pct = 100.0 * (ratio - 1.0);
    let second_order = (1.0 + 3.0 * (total_pct(inputs, a, span) / 100.0).powi(2)).sqrt();
    let u_pct = ratio * pair_pct(inputs, a, b, span) * second_order;
    let variance: f64 = inputs
        .iter()
        .map(|i| {
            let (d_a, d_b, rho) = (e_a * i.effect_pct(a, span), e_b * i.effect_pct(b, span), i.correlation);
            rho * (d_b - d_a).powi(2) + (1.0 - rho) * (d_a * d_a + d_b * d_b)
        })
        .sum();
    let gap = 100.0 * (e_b - e_a);
    GapBand {
        gap_pct,
        u_pct,
        low_pct: gap_pct - quantile(0.9) * u_pct,
        high_pct: gap_pct + quantile(0.9) * u_pct,
        probability: probability_above_0(gap, variance.sqrt()),
        drawn_u_pct: None,
        drawn_probability: None,
    }
}

/// Probability that a normal quantity with this mean and deviation is above 0; one half for a certain 0.
fn probability_above_0(mean: f64, deviation: f64) -> f64 {
    if deviation > 0.0 {
        share_below(mean / deviation)
    } else if mean == 0.0 {
        0.5
    } else {
        f64::from(mean > 0.0)
    }
}

/// Relative errors of all options in many random draws, the same for all so that what is shared cancels.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// `errors[k][j]`: relative error (a share, not percent) of option `k` in draw `j`.
    errors: Vec<Vec<f64>>,
}

impl Drawn {
    /// Draws errors for `options` options; each draw has its own stream, so threads do not change a bit.
    pub fn new(inputs: &[DoubtInput], options: usize, span: Span, draws: u32, seed: u64) -> Drawn {
        const CHUNK: u32 = 512;
        let effects: Vec<Vec<f64>> =
            inputs.iter().map(|i| (0..options).map(|k| i.effect_pct(k, span) / 100.0).collect()).collect();
        let chunks: Vec<Vec<Vec<f64>>> = (0..draws.div_ceil(CHUNK))
            .into_par_iter()
            .map(|chunk| {
                let n = CHUNK.min(draws - chunk * CHUNK) as usize;
                let mut stream = Draws::seeded(seed ^ (u64::from(chunk) + 1).wrapping_mul(0xd134_2543_de82_ef95));
                let mut errors = vec![vec![0.0; n]; options];
                for j in 0..n {
                    for (input, effects) in inputs.iter().zip(&effects) {
                        let rho = input.correlation.clamp(0.0, 1.0);
                        let shared = if rho > 0.0 { rho.sqrt() * stream.normal() } else { 0.0 };
                        for (errors, effect) in errors.iter_mut().zip(effects) {
                            let own = if rho < 1.0 { (1.0 - rho).sqrt() * stream.normal() } else { 0.0 };
                            errors[j] += effect * (shared + own);
                        }
                    }
                }
                errors
            })
            .collect();
        let joined = |k: usize| chunks.iter().flat_map(|c| c[k].iter().copied()).collect();
        Drawn { errors: (0..options).map(joined).collect() }
    }

    /// Mean, deviation and percentiles of option `k` by rank.
    pub fn percentiles(&self, k: usize, e_50: f64) -> Percentiles {
        let mut x = self.errors.get(k).cloned().unwrap_or_default();
        if x.is_empty() {
            return Percentiles::around(e_50, 0.0);
        }
        let u = deviation(&x);
        x.sort_by(f64::total_cmp);
        // Reached in a share p of all cases: the value that 1 - p of the draws lie below.
        let at = |p: f64| {
            let rank = (1.0 - p) * (x.len() - 1) as f64;
            let (lower, part) = (rank.floor(), rank - rank.floor());
            let upper = x[(lower as usize + 1).min(x.len() - 1)];
            (e_50 * (1.0 + x[lower as usize] * (1.0 - part) + upper * part)).max(0.0)
        };
        Percentiles { u_pct: 100.0 * u, p50: at(0.5), p75: at(0.75), p90: at(0.9), p95: at(0.95), p99: at(0.99) }
    }

    /// Fills the drawn figures of a band.
    pub fn complete(&self, band: GapBand, (a, e_a): (usize, f64), (b, e_b): (usize, f64)) -> GapBand {
        let (Some(x_a), Some(x_b)) = (self.errors.get(a), self.errors.get(b)) else { return band };
        if x_a.is_empty() || !(e_a > 0.0 && e_b > 0.0) {
            return band;
        }
        let pairs = || x_a.iter().zip(x_b).map(|(a, b)| (e_a * (1.0 + a), e_b * (1.0 + b)));
        let gaps: Vec<f64> = pairs().filter(|p| p.0 > 0.0).map(|(a, b)| b / a - 1.0).collect();
        let more: f64 = pairs()
            .map(|(a, b)| {
                if b > a {
                    1.0
                } else if b == a {
                    0.5
                } else {
                    0.0
                }
            })
            .sum();
        GapBand {
            drawn_u_pct: Some(100.0 * deviation(&gaps)),
            drawn_probability: Some(more / x_a.len() as f64),
            ..band
        }
    }
}

fn deviation(x: &[f64]) -> f64 {
    if x.len() < 2 {
        return 0.0;
    }
    let mean = x.iter().sum::<f64>() / x.len() as f64;
    (x.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (x.len() - 1) as f64).sqrt()
}

/// Spread between several years that were really run, percent of their mean: the figure to use for `year_to_year`.
///
/// Nothing for fewer than three years.
pub fn spread_pct(years_kwh: &[f64]) -> Option<f64> {
    let mean = years_kwh.iter().sum::<f64>() / years_kwh.len() as f64;
    (years_kwh.len() >= 3 && mean > 0.0).then(|| 100.0 * deviation(years_kwh) / mean)
}

/// A number printed with the digits that its doubt allows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rounded {
    /// Digits after the point; below 0 when even the tens or hundreds are in doubt.
    pub decimals: i32,
    /// The number.
    pub text: String,
}

/// Rounds a value so that two significant digits of its standard uncertainty are kept.
///
/// A doubt of 0 (or none) keeps six decimals at most. Source: JCGM 100:2008 (GUM), 7.2.6.
/// ```
/// assert_eq!(yearlight::weigh::round_to_doubt(41_237.84, 2_474.0).text, "41200");
/// assert_eq!(yearlight::weigh::round_to_doubt(1.543, 1.697).text, "1.5");
/// ```
pub fn round_to_doubt(value: f64, u: f64) -> Rounded {
    if !value.is_finite() {
        return Rounded { decimals: 0, text: "-".to_string() };
    }
    let decimals = if u.is_finite() && u.abs() > 1e-300 { decimals_of(u.abs()) } else { 6 };
    let decimals = decimals.clamp(-15, 15);
    let text = if decimals >= 0 {
        format!("{value:.*}", decimals as usize)
    } else {
        let unit = 10_f64.powi(-decimals);
        format!("{:.0}", (value / unit).round() * unit)
    };
    let is_zero = text.starts_with('-') && text.chars().all(|c| matches!(c, '-' | '0' | '.'));
    Rounded { decimals, text: if is_zero { text[1..].to_string() } else { text } }
}

/// Decimals that keep two significant digits of `u`, after rounding it (0.0996 is 0.10).
fn decimals_of(u: f64) -> i32 {
    let power = u.log10().floor() as i32;
    let two_digits = (u / 10_f64.powi(power - 1)).round();
    if two_digits >= 100.0 { -power } else { 1 - power }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn input(u: [f64; 2], correlation: f64) -> DoubtInput {
        DoubtInput {
            key: "x".into(),
            name: "x".into(),
            unit: "%".into(),
            u: u.to_vec(),
            sensitivity: vec![1.0; 2],
            sensitivity_mean: vec![1.0; 2],
            correlation,
            yearly: false,
            source: String::new(),
            given: true,
        }
    }

    #[test]
    fn shared_errors_cancel_in_a_pair() {
        // Each option 4 % (3.8 shared, 1.2 own). By hand: sqrt(2) x 1.2 = 1.697; a gain of 1.5 % is 0.884 deviations,
        // of which the normal table holds 81 %.
        let inputs = [input([3.8; 2], 1.0), input([1.2; 2], 0.0)];
        assert!((total_pct(&inputs, 0, Span::FirstYear) - 3.985).abs() < 1e-3);
        assert!((pair_pct(&inputs, 0, 1, Span::FirstYear) - 1.697).abs() < 1e-3);
        let band = band(&inputs, (0, 1000.0), (1, 1015.0), Span::FirstYear);
        assert!((band.probability - 0.81).abs() < 0.005, "{}", band.probability);
        assert_eq!(round_to_doubt(band.u_pct, 0.5 * band.u_pct).text.get(..3), Some("1.7"));
        // One input with a correlation that splits it the same way.
        let one = [input([3.985; 2], 3.8 * 3.8 / (3.8 * 3.8 + 1.2 * 1.2))];
        assert!((pair_pct(&one, 0, 1, Span::FirstYear) - 1.697).abs() < 1e-3);
        assert!(pair_pct(&[input([6.0; 2], 1.0)], 0, 1, Span::FirstYear) == 0.0);
    }

    #[test]
    fn draws_agree_with_the_formula_within_sampling_error() {
        let inputs = [input([3.8; 2], 1.0), input([1.2, 1.0], 0.3), input([0.5, 1.5], 1.0)];
        let n = 40_000;
        let drawn = Drawn::new(&inputs, 2, Span::FirstYear, n, 3);
        let (a, b) = ((0, 40_000.0), (1, 40_600.0));
        let formula = band(&inputs, a, b, Span::FirstYear);
        let both = drawn.complete(formula, a, b);
        let p = formula.probability;
        let sampling = (p * (1.0 - p) / f64::from(n)).sqrt();
        assert!((both.drawn_probability.unwrap() - p).abs() < 4.0 * sampling);
        // The deviation of a sample has a relative standard error of 1/sqrt(2n).
        let relative = both.drawn_u_pct.unwrap() / formula.u_pct - 1.0;
        assert!(relative.abs() < 4.0 / (2.0 * f64::from(n)).sqrt(), "{relative}");
        let expected = Percentiles::around(40_000.0, total_pct(&inputs, 0, Span::FirstYear));
        let got = drawn.percentiles(0, 40_000.0);
        // Standard error of a sample quantile: sqrt(p (1 - p) / n) / density.
        assert!((got.p90 / expected.p90 - 1.0).abs() < 4.0 * 0.3 / f64::from(n).sqrt() / 0.1755 * 0.04);
    }

    #[test]
    fn equal_shared_draws_cancel() {
        let inputs = [input([8.0; 2], 1.0)];
        let drawn = Drawn::new(&inputs, 2, Span::FirstYear, 1000, 1);
        let band = drawn.complete(GapBand::default(), (0, 100.0), (1, 103.0));
        assert!(band.drawn_u_pct.unwrap() < 1e-9);
        assert_eq!(band.drawn_probability, Some(1.0));
    }

    #[test]
    fn digits_follow_the_doubt() {
        for (value, u, text) in [
            (41_237.84, 2_474.0, "41200"),
            (41_237.84, 96.0, "41238"),
            (41_237.84, 0.12, "41237.84"),
            (0.5, 0.0996, "0.50"),
            (1.23456, 0.0995, "1.23"),
            (-0.04, 12.0, "0"),
            (-3.2, 0.0, "-3.200000"),
        ] {
            assert_eq!(round_to_doubt(value, u).text, text, "{value} with {u}");
        }
        assert_eq!(round_to_doubt(f64::NAN, 1.0).text, "-");
        assert_eq!(round_to_doubt(41_237.84, 2_474.0).decimals, -2);
    }

    #[test]
    fn spread_needs_three_years() {
        assert!(spread_pct(&[1.0, 2.0]).is_none());
        // By hand: mean 100, deviations -10, 0, 10, sample deviation 10.
        assert!((spread_pct(&[90.0, 100.0, 110.0]).unwrap() - 10.0).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn bounds_and_symmetry(
            c in prop::array::uniform4(0.0..5.0_f64), rho in prop::array::uniform2(0.0..=1.0_f64), g in 0.8..1.2_f64,
        ) {
            let inputs = [input([c[0], c[1]], rho[0]), input([c[2], c[3]], rho[1])];
            let span = Span::FirstYear;
            let (a, b) = (total_pct(&inputs, 0, span), total_pct(&inputs, 1, span));
            let pair = pair_pct(&inputs, 0, 1, span);
            prop_assert!(pair <= a + b + 1e-12);
            prop_assert!((pair - pair_pct(&inputs, 1, 0, span)).abs() < 1e-12);
            let there = band(&inputs, (0, 100.0), (1, 100.0 * g), span);
            let back = band(&inputs, (1, 100.0 * g), (0, 100.0), span);
            prop_assert!((there.probability + back.probability - 1.0).abs() < 1e-12);
            prop_assert!((0.0..=1.0).contains(&there.probability));
        }

        #[test]
        fn the_mean_of_years_falls_to_the_model_part(n in 1_u32..100) {
            let mut year = input([3.9; 2], 1.0);
            year.yearly = true;
            let inputs = [year, input([4.0; 2], 1.0)];
            let u = total_pct(&inputs, 0, Span::MeanOf(n));
            prop_assert!((u * u - (16.0 + 3.9 * 3.9 / f64::from(n))).abs() < 1e-9);
        }

        #[test]
        fn percentiles_fall(e in 0.0..1e7_f64, u in 0.0..60.0_f64) {
            let p = Percentiles::around(e, u);
            prop_assert!(p.p50 >= p.p75 && p.p75 >= p.p90 && p.p90 >= p.p95 && p.p95 >= p.p99 && p.p99 >= 0.0);
        }

        #[test]
        fn rounding_stays_within_the_doubt(value in -1e7..1e7_f64, u in 1e-3..1e5_f64) {
            let back: f64 = round_to_doubt(value, u).text.parse().unwrap();
            prop_assert!((back - value).abs() <= 0.051 * u);
        }
    }
}
