//! The sun among the stars: apparent longitude, distance, sidereal time.
//!
//! The step list is that of Reda and Andreas, NREL/TP-560-34302 (2008), sections 3.2 to 3.8, with its series of the
//! earth's heliocentric longitude and radius cut after the terms above 0.0003 deg (table A4.2; the latitude, below
//! 0.0004 deg, is left out) and its nutation series cut after the two largest terms. Against the whole algorithm the
//! sun's place differs by less than 0.002 deg from 1950 to 2050.

use crate::maths::{cos_rough, sin_cos};

/// Days of UT since 2000-01-01 12:00 that a civil date's midnight (UT) stands for.
pub(super) fn days_since_2000(date: chrono::NaiveDate) -> f64 {
    use chrono::Datelike;
    // 2000-01-01 is day 730 120 of the proleptic calendar; the epoch J2000.0 is its noon.
    f64::from(date.num_days_from_ce() - 730_120) - 0.5
}

/// Terrestrial time less universal time, s, from the days since J2000.0.
///
/// `62.92 + 0.32217 y + 0.005589 y^2`, y = years since 2000: Espenak and Meeus, Five Millennium Canon of Solar Eclipses,
/// NASA/TP-2006-214141 (2006), for 2005 to 2050 (from memory). It is off by about 30 s in 1950 and perhaps 20 s in
/// 2050; the sun moves 0.00001 deg among the stars in 30 s, so that nothing finer is needed. Held below 600 s for
/// years far away.
#[inline(always)]
pub fn delta_t_s(days: f64) -> f64 {
    let y = days * (1.0 / 365.2425);
    let s = 62.92 + y * (0.32217 + y * 0.005589);
    if s > 600.0 { 600.0 } else { s }
}

/// Rate of the sidereal angle, rad per day of UT: `2 pi x 1.00273790935`.
pub(super) const SIDEREAL_RATE: f64 = 6.300_388_098_984_96;
/// Sine of the sun's horizontal parallax at 1 au, 8.794 arc seconds (NREL/TP-560-34302 eq. 33).
pub(super) const PARALLAX: f64 = 4.2635e-5;

/// The sun at one instant, with what is needed to carry it over the half day before and after.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Anchor {
    /// Cosine and sine of the apparent ecliptic longitude.
    pub cos_lambda: f64,
    /// Sine.
    pub sin_lambda: f64,
    /// Its rate, rad per day.
    pub lambda_rate: f64,
    /// Cosine and sine of the true obliquity.
    pub cos_eps: f64,
    /// Sine.
    pub sin_eps: f64,
    /// Apparent sidereal angle at Greenwich, rad.
    pub sidereal: f64,
    /// Distance, au.
    pub distance: f64,
    /// Its rate, au per day.
    pub distance_rate: f64,
}

/// The sun at `days` of UT since J2000.0, with terrestrial time ahead of it by `delta_t` seconds.
///
/// Plain arithmetic without branches, so that a loop over days vectorises.
#[inline(always)]
pub fn anchor(days: f64, delta_t: f64) -> Anchor {
    // Julian ephemeris millennium, eq. 8.
    let t = (days + delta_t * (1.0 / 86_400.0)) * (1.0 / 365_250.0);

    // Table A4.2. Terms of one frequency share their sine and cosine: A cos(B + C t) with the angle of the leading
    // term x, and the double and triple angles, as c cos(m x) + s sin(m x).
    let (s1, c1) = sin_cos(4.669_256_8 + 6_283.075_85 * t);
    let (s2, c2) = (2.0 * s1 * c1, c1 * c1 - s1 * s1);
    let c3 = c1 * c2 - s1 * s2;
    let (s_moon, c_moon) = sin_cos(3.6277 + 77_713.771_5 * t);
    let (s_a, c_a) = sin_cos(2.7441 + 5_753.384_9 * t);
    let (s_a2, c_a2) = (2.0 * s_a * c_a, c_a * c_a - s_a * s_a);
    let (s_b, c_b) = sin_cos(6.1352 + 3_930.209_7 * t);
    let (s_b2, c_b2) = (2.0 * s_b * c_b, c_b * c_b - s_b * s_b);
    // Terms of at most 1.3e-5 rad need no more than this.
    let cos = cos_rough;

    // Heliocentric longitude in 1e-8 rad, eq. 9 to 11; L0, L1 and L2.
    let l0 = 3_341_656.0 * c1 - 34_894.0 * s2 - 505.0 * c3
        + 3_497.0 * c_a
        + (44.1 * c_a2 - 1_323.3 * s_a2)
        + 3_136.0 * c_moon
        + (4.5 * c_b2 + 2_676.0 * s_b2)
        + 2_343.0 * c_b
        + 3_418.0 * cos(2.8289 + 3.5231 * t)
        + 1_273.0 * cos(2.0371 + 529.691 * t)
        + 1_199.0 * cos(1.1096 + 1_577.343_5 * t)
        + 990.0 * cos(5.233 + 5_884.927 * t)
        + 902.0 * cos(2.045 + 26.298 * t)
        + 857.0 * cos(3.508 + 398.149 * t)
        + 780.0 * cos(1.179 + 5_223.694 * t)
        + 753.0 * cos(2.533 + 5_507.553 * t);
    let l1 = 206_059.0 * (0.912_996_98 * s1 - 0.407_966_32 * c1) + 4_303.0 * (0.912_995_83 * c2 + 0.407_968_89 * s2);
    let l2 = 52_919.0;
    let mean = 1.753_470_46 + 6_283.319_667_47 * t;
    let l = mean + 1e-8 * (l0 + t * (l1 + t * l2));
    // Its rate per millennium: the mean motion, the two largest terms of the orbit and the moon's.
    let rate = 6_283.319_667_47
        + 1e-8 * (-3_341_656.0 * 6_283.075_85 * s1 - 34_894.0 * 12_566.151_7 * c2 - 3_136.0 * 77_713.771_5 * s_moon);

    // Radius, au, tables R0 and R1.
    let r = 1.000_139_89
        + 1e-8
            * (1_670_700.0 * s1 + 13_956.0 * c2 - 3_084.0 * s_moon + 1_628.0 * s_a - 1_576.0 * c_b2
                + t * 103_019.0 * (-0.913_017_92 * c1 - 0.407_919_46 * s1));
    let r_rate = 1e-8 * (1_670_700.0 * 6_283.075_85 * c1 - 2.0 * 13_956.0 * 6_283.075_85 * s2);

    // Nutation, arc seconds: node of the moon and twice the sun's longitude (leading terms of table A4.3; the other
    // terms stay below 0.0001 deg).
    const ARC_SECOND: f64 = std::f64::consts::PI / 648_000.0;
    let (s_l, c_l) = sin_cos(l);
    let (s_node, c_node) = sin_cos(2.182_439_2 - 337.570_450 * t);
    let delta_psi = (-17.20 * s_node - 2.64 * s_l * c_l) * ARC_SECOND;
    let delta_eps = (9.20 * c_node + 0.57 * (c_l * c_l - s_l * s_l)) * ARC_SECOND;
    // Obliquity, eq. 24 and 25 to the first power.
    let eps = (84_381.448 - 468.093 * t) * ARC_SECOND + delta_eps;
    let (sin_eps, cos_eps) = sin_cos(eps);

    // Apparent geocentric longitude, eq. 13, 26 and 27, with the step to the FK5 frame (0.09 arc seconds, Meeus,
    // Astronomical Algorithms, ch. 25): the turn by pi changes both signs, the rest is a rotation by a small angle.
    let small = delta_psi - (20.4898 / r + 0.0903) * ARC_SECOND;
    let cos_lambda = -(c_l - small * s_l - 0.5 * small * small * c_l);
    let sin_lambda = -(s_l + small * c_l - 0.5 * small * small * s_l);

    // Apparent sidereal angle, eq. 28 and 29, whole turns of the day taken out first.
    let whole = {
        const ROUND: f64 = 6_755_399_441_055_744.0;
        (days + ROUND) - ROUND
    };
    let turns = 0.779_057_273_25 + 0.002_737_909_350_806 * days + (days - whole);
    let century = days * (1.0 / 36_525.0);
    let sidereal = turns * std::f64::consts::TAU
        + century * century * (0.000_387_933_f64 * 3_600.0 * ARC_SECOND)
        + delta_psi * cos_eps;

    const PER_DAY: f64 = 1.0 / 365_250.0;
    Anchor {
        cos_lambda,
        sin_lambda,
        lambda_rate: rate * PER_DAY,
        cos_eps,
        sin_eps,
        sidereal,
        distance: r,
        distance_rate: r_rate * PER_DAY,
    }
}
