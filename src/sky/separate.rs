//! Beam and diffuse from GHI alone.

/// Diffuse share of GHI from the hourly clearness index `kt`.
///
/// - `kt <= 0.22`: `1 - 0.09 kt`
/// - `kt <= 0.80`: `0.9511 - 0.1604 kt + 4.388 kt^2 - 16.638 kt^3 + 12.336 kt^4`
/// - above: `0.165`
///
/// Valid for hourly means; the curve jumps by less than 0.001 at its joints. Ignores season, sun height and
/// neighbouring hours. Source: Erbs, Klein, Duffie, Solar Energy 28 (1982) 293-302.
/// ```
/// assert!((yearlight::sky::separate::erbs(0.5) - 0.65915).abs() < 1e-9);
/// ```
pub fn erbs(kt: f64) -> f64 {
    let k = kt.clamp(0.0, 1.0);
    if k <= 0.22 {
        1.0 - 0.09 * k
    } else if k <= 0.80 {
        0.9511 - 0.1604 * k + 4.388 * k.powi(2) - 16.638 * k.powi(3) + 12.336 * k.powi(4)
    } else {
        0.165
    }
}

/// Diffuse share of GHI from clearness, time of day, sun height, the day's clearness and the neighbouring hours.
///
/// `d = 1 / (1 + exp(-5.38 + 6.63 kt + 0.006 AST - 0.007 alpha + 1.75 Kt + 1.31 psi))`
///
/// - `kt`: hourly clearness index
/// - `solar_hour`: AST, apparent solar time in hours
/// - `elevation_deg`: alpha, sun above the horizon
/// - `kt_day`: Kt, the day's clearness index
/// - `persistence`: psi, mean of the clearness indices of the hours before and after (at sunrise and sunset the only
///   one there is)
///
/// Valid for hourly means, fitted on seven places of both hemispheres. Source: Ridley, Boland, Lauret, Renewable
/// Energy 35 (2010) 478-483 (from memory).
pub fn ridley_boland_lauret(kt: f64, solar_hour: f64, elevation_deg: f64, kt_day: f64, persistence: f64) -> f64 {
    let x = -5.38 + 6.63 * kt + 0.006 * solar_hour - 0.007 * elevation_deg + 1.75 * kt_day + 1.31 * persistence;
    1.0 / (1.0 + x.exp())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn shares_are_shares(kt in 0.0..1.2_f64, hour in 0.0..24.0_f64, e in 0.0..90.0_f64, day in 0.0..1.0_f64, psi in 0.0..1.0_f64) {
            prop_assert!((0.0..=1.0).contains(&erbs(kt)));
            let d = ridley_boland_lauret(kt, hour, e, day, psi);
            prop_assert!((0.0..=1.0).contains(&d));
            prop_assert!(ridley_boland_lauret(kt + 0.01, hour, e, day, psi) < d);
        }
    }

    #[test]
    fn overcast_is_diffuse_and_clear_is_not() {
        assert!(ridley_boland_lauret(0.1, 12.0, 40.0, 0.15, 0.1) > 0.95);
        assert!(ridley_boland_lauret(0.78, 12.0, 60.0, 0.75, 0.78) < 0.15);
    }
}
