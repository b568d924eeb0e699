//! The sun of one instant: NREL/TP-560-34302 (2008), sections 3.2 to 3.8, cut as `src/sun/ephemeris.rs` says.

use std::f64::consts::{PI, TAU};

use chrono::{Datelike, NaiveDate};
use yearlight::weather::WeatherYear;

/// Rate of the sidereal angle, rad per day.
const SIDEREAL: f64 = TAU * 1.002_737_909_350_806;
/// Sine of 8.794 arc seconds.
const PARALLAX: f64 = 4.2635e-5;
const ARC_SECOND: f64 = PI / 648_000.0;

/// Amplitude (1e-8 rad), phase and frequency per millennium of the terms of the longitude that stand alone.
const LONGITUDE: [[f64; 3]; 12] = [
    [3136.0, 3.6277, 77713.7715],
    [3418.0, 2.8289, 3.5231],
    [2343.0, 6.1352, 3930.2097],
    [1273.0, 2.0371, 529.691],
    [1199.0, 1.1096, 1577.3435],
    [990.0, 5.233, 5884.927],
    [902.0, 2.045, 26.298],
    [857.0, 3.508, 398.149],
    [780.0, 1.179, 5223.694],
    [753.0, 2.533, 5507.553],
    [3497.0, 2.7441, 5753.3849],
    [0.0, 0.0, 0.0],
];

/// The noon of one day at one place.
pub struct Noon {
    lambda: f64,
    lambda_rate: f64,
    eps: f64,
    theta: f64,
    distance: f64,
    distance_rate: f64,
    latitude: f64,
}

impl Noon {
    pub fn of(date: NaiveDate, year: &WeatherYear) -> Noon {
        let place = &year.place;
        // 2000-01-01 is day 730 120 of the calendar; days count from its noon.
        let days = f64::from(date.num_days_from_ce() - 730_120) - f64::from(place.utc_offset_min) / 1440.0;
        let y = days / 365.2425;
        let delta_t = (62.92 + 0.32217 * y + 0.005589 * y * y).min(600.0);
        let t = (days + delta_t / 86400.0) / 365_250.0;

        let x = 4.669_256_8 + 6_283.075_85 * t;
        let (a, b) = (2.7441 + 5753.3849 * t, 6.1352 + 3930.2097 * t);
        let moon = 3.6277 + 77713.7715 * t;
        let mut l0 = 3_341_656.0 * x.cos() - 34_894.0 * (2.0 * x).sin() - 505.0 * (3.0 * x).cos();
        l0 += 44.1 * (2.0 * a).cos() - 1323.3 * (2.0 * a).sin() + 4.5 * (2.0 * b).cos() + 2676.0 * (2.0 * b).sin();
        l0 += LONGITUDE.iter().map(|[size, phase, rate]| size * (phase + rate * t).cos()).sum::<f64>();
        let l1 = 206_059.0 * (0.912_996_98 * x.sin() - 0.407_966_32 * x.cos())
            + 4303.0 * (0.912_995_83 * (2.0 * x).cos() + 0.407_968_89 * (2.0 * x).sin());
        let l = 1.753_470_46 + 6_283.319_667_47 * t + 1e-8 * (l0 + l1 * t + 52_919.0 * t * t);
        let rate = 6_283.319_667_47
            - 1e-8
                * (3_341_656.0 * 6_283.075_85 * x.sin()
                    + 34_894.0 * 12_566.151_7 * (2.0 * x).cos()
                    + 3136.0 * 77_713.771_5 * moon.sin());
        let r = 1.000_139_89
            + 1e-8
                * (1_670_700.0 * x.sin() + 13_956.0 * (2.0 * x).cos() - 3084.0 * moon.sin() + 1628.0 * a.sin()
                    - 1576.0 * (2.0 * b).cos()
                    - t * 103_019.0 * (0.913_017_92 * x.cos() + 0.407_919_46 * x.sin()));
        let r_rate = 1e-8 * (1_670_700.0 * 6_283.075_85 * x.cos() - 2.0 * 13_956.0 * 6_283.075_85 * (2.0 * x).sin());

        let node = 2.182_439_2 - 337.570_45 * t;
        let delta_psi = -(17.20 * node.sin() + 1.32 * (2.0 * l).sin()) * ARC_SECOND;
        let eps = (84_381.448 - 468.093 * t + 9.20 * node.cos() + 0.57 * (2.0 * l).cos()) * ARC_SECOND;
        let lambda = l + PI + delta_psi - (20.4898 / r + 0.0903) * ARC_SECOND;
        let century = days / 36_525.0;
        let sidereal = (0.779_057_273_25 + 0.002_737_909_350_806 * days + (days - days.round())) * TAU
            + 0.000_387_933 * 3600.0 * ARC_SECOND * century * century
            + delta_psi * eps.cos();
        Noon {
            lambda,
            lambda_rate: rate / 365_250.0,
            eps,
            theta: sidereal + place.longitude_deg.to_radians(),
            distance: r,
            distance_rate: r_rate / 365_250.0,
            latitude: place.latitude_deg.to_radians(),
        }
    }

    /// East, north, up, seen from the surface, `dt` days from noon.
    pub fn vector(&self, dt: f64) -> [f64; 3] {
        let lambda = self.lambda + self.lambda_rate * dt;
        let theta = self.theta + SIDEREAL * dt;
        let (x, y, z) = (lambda.cos(), lambda.sin() * self.eps.cos(), lambda.sin() * self.eps.sin());
        let toward = x * theta.cos() + y * theta.sin();
        let up = self.latitude.sin() * z + self.latitude.cos() * toward;
        let lift = PARALLAX / self.distance;
        let scale = 1.0 + lift * up;
        let north = self.latitude.cos() * z - self.latitude.sin() * toward;
        [(y * theta.cos() - x * theta.sin()) * scale, north * scale, (up - lift) * scale]
    }

    /// Extraterrestrial normal irradiance, W/m2; solar constant 1361.1 (Gueymard 2018).
    pub fn e0n(&self, dt: f64) -> f64 {
        let e = 1361.1 / self.distance.powi(2);
        e * (1.0 - 2.0 * self.distance_rate / self.distance * dt)
    }
}

/// Kasten and Young 1989, held at the horizon.
pub fn air_mass(up: f64) -> f64 {
    let zenith = up.acos().to_degrees().min(90.0);
    1.0 / (up.max(0.0) + 0.50572 * (96.07995 - zenith).powf(-1.6364))
}
