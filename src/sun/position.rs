//! The sun at one instant, in degrees, for checks and for people.

use chrono::{DateTime, Utc};

use super::ephemeris::{Anchor, PARALLAX, anchor, days_since_2000, delta_t_s};

/// Where an observer stands and through which air the sun is seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observer {
    /// Degrees, north positive.
    pub latitude_deg: f64,
    /// Degrees, east positive.
    pub longitude_deg: f64,
    /// Station pressure, hPa.
    pub pressure_hpa: f64,
    /// Air temperature, C.
    pub air_temp_c: f64,
}

/// The sun's place in the sky.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SunPosition {
    /// True (airless) zenith angle of the centre, degrees, 0..180.
    pub zenith_deg: f64,
    /// Clockwise from north, degrees, 0..360.
    pub azimuth_deg: f64,
    /// Zenith angle with refraction; the true one when the sun is wholly below the horizon.
    pub apparent_zenith_deg: f64,
    /// Geocentric declination, degrees.
    pub declination_deg: f64,
    /// Apparent less mean solar time, minutes.
    pub equation_of_time_min: f64,
    /// Distance, au.
    pub distance_au: f64,
}

/// Lift of the sun by the air, degrees.
///
/// `1.02 P/1010 283/(273 + T) / (60 tan(e + 10.3/(e + 5.11)))`, e in degrees; zero when the whole disk is below the
/// horizon. Source: NREL/TP-560-34302 eq. 42.
pub fn refraction_deg(elevation_deg: f64, pressure_hpa: f64, air_temp_c: f64) -> f64 {
    if !(-(0.26667 + 0.5667)..=90.0).contains(&elevation_deg) {
        return 0.0;
    }
    let angle = (elevation_deg + 10.3 / (elevation_deg + 5.11)).to_radians();
    pressure_hpa / 1010.0 * 283.0 / (273.0 + air_temp_c.max(-150.0)) * 1.02 / (60.0 * angle.tan())
}

/// East, north and up of the unit vector to the sun, seen from a place.
///
/// `theta`: local apparent sidereal angle, rad. The vector is topocentric: the earth's radius (8.8 arc seconds at the
/// horizon) is taken off.
#[inline(always)]
pub(super) fn vector(a: &Anchor, theta: f64, sin_phi: f64, cos_phi: f64) -> [f64; 3] {
    let (s, c) = crate::maths::sin_cos(theta);
    let (x, y, z) = (a.cos_lambda, a.sin_lambda * a.cos_eps, a.sin_lambda * a.sin_eps);
    let u = x * c + y * s;
    let up = sin_phi * z + cos_phi * u;
    let lift = PARALLAX / a.distance;
    let scale = 1.0 + lift * up;
    [(y * c - x * s) * scale, (cos_phi * z - sin_phi * u) * scale, (up - lift) * scale]
}

/// Where the sun stands at an instant.
///
/// Within 0.002 deg of NREL/TP-560-34302 from 1950 to 2050 (universal time taken as UTC, at most 0.9 s or 0.004 deg
/// more). Delta T is estimated, see [`super::delta_t_s`].
/// ```
/// use yearlight::sun::{position, Observer};
/// let at = "2003-10-17T19:30:30Z".parse().unwrap();
/// let here = Observer { latitude_deg: 39.742476, longitude_deg: -105.1786, pressure_hpa: 820.0, air_temp_c: 11.0 };
/// assert!((position(at, &here).apparent_zenith_deg - 50.11162).abs() < 0.003);
/// ```
pub fn position(utc: DateTime<Utc>, observer: &Observer) -> SunPosition {
    let time = utc.naive_utc();
    let seconds = (time - time.date().and_time(chrono::NaiveTime::MIN)).as_seconds_f64();
    let days = days_since_2000(time.date()) + seconds / 86_400.0;
    let a = anchor(days, delta_t_s(days));
    let theta = a.sidereal + observer.longitude_deg.to_radians();
    let (sin_phi, cos_phi) = observer.latitude_deg.to_radians().sin_cos();
    let [east, north, up] = vector(&a, theta, sin_phi, cos_phi);
    let elevation_deg = up.atan2(east.hypot(north)).to_degrees();
    let lifted = elevation_deg + refraction_deg(elevation_deg, observer.pressure_hpa, observer.air_temp_c);
    let right_ascension = (a.sin_lambda * a.cos_eps).atan2(a.cos_lambda);
    // Hour angle of the true sun at Greenwich less that of the mean sun.
    let mean_hour_angle = seconds / 86_400.0 * 360.0 - 180.0;
    let difference = (a.sidereal - right_ascension).to_degrees() - mean_hour_angle;
    SunPosition {
        zenith_deg: 90.0 - elevation_deg,
        azimuth_deg: east.atan2(north).to_degrees().rem_euclid(360.0),
        apparent_zenith_deg: 90.0 - lifted,
        declination_deg: (a.sin_lambda * a.sin_eps).clamp(-1.0, 1.0).asin().to_degrees(),
        equation_of_time_min: ((difference + 180.0).rem_euclid(360.0) - 180.0) * 4.0,
        distance_au: a.distance,
    }
}
