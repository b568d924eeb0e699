//! Reda and Andreas, Solar Position Algorithm for Solar Radiation Applications, NREL/TP-560-34302 (rev. 2008): the worked
//! example of appendix A.5, and the whole algorithm as an independent crate has it.
//!
//! Tolerance 0.01 deg against the report's digits; 0.002 deg, the claim of the shorter series used here, against the whole
//! algorithm.

use chrono::{DateTime, Datelike, NaiveDate, Utc};
use proptest::prelude::*;
use solar_positioning::{Location, SolarPositions};
use yearlight::sun::{Observer, SunTrack, position};
use yearlight::weather::{Place, Provenance, WeatherYear};

/// A year without light on given days.
pub fn dark_year(days: Vec<NaiveDate>, steps_per_day: usize, place: Place) -> WeatherYear {
    let zeros = vec![0.0; days.len() * steps_per_day];
    WeatherYear {
        place,
        days,
        steps_per_day,
        ghi: zeros.clone(),
        dni: zeros.clone(),
        dhi: zeros.clone(),
        t_amb: zeros.clone(),
        wind: zeros,
        wind_height_m: 10.0,
        albedo: None,
        pressure: None,
        humidity_pct: None,
        precipitable_water_cm: None,
        rain_mm: None,
        snow_depth_cm: None,
        provenance: Provenance::default(),
    }
}

pub fn place(latitude_deg: f64, longitude_deg: f64, utc_offset_min: i32) -> Place {
    Place { name: String::new(), latitude_deg, longitude_deg, elevation_m: 0.0, utc_offset_min }
}

fn oracle(at: DateTime<Utc>, latitude: f64, longitude: f64, delta_t: f64) -> [f64; 3] {
    let p = SolarPositions::default()
        .at(&at, Location { latitude, longitude }, 0.0, delta_t, None)
        .expect("the algorithm holds for every place and year");
    let (sz, cz) = p.zenith_angle().to_radians().sin_cos();
    let (sa, ca) = p.azimuth().to_radians().sin_cos();
    [sz * sa, sz * ca, cz]
}

/// Angle between two unit vectors, degrees, accurate for small angles.
fn apart_deg(a: [f64; 3], b: [f64; 3]) -> f64 {
    let d = ((a[0] - b[0]).powi(2) + (a[1] - b[1]).powi(2) + (a[2] - b[2]).powi(2)).sqrt();
    (2.0 * (0.5 * d).min(1.0).asin()).to_degrees()
}

#[test]
fn worked_example() {
    let here = Observer { latitude_deg: 39.742476, longitude_deg: -105.1786, pressure_hpa: 820.0, air_temp_c: 11.0 };
    let p = position("2003-10-17T19:30:30Z".parse().unwrap(), &here);
    // Topocentric zenith (with refraction), azimuth, radius, equation of time; geocentric declination.
    assert!((p.apparent_zenith_deg - 50.11162).abs() < 0.01);
    assert!((90.0 - p.zenith_deg - 39.872046).abs() < 0.01);
    assert!((p.azimuth_deg - 194.34024).abs() < 0.01);
    assert!((p.declination_deg + 9.31434).abs() < 0.01);
    assert!((p.distance_au - 0.9965422974).abs() < 1e-4);
    assert!((p.equation_of_time_min - 14.641503).abs() < 0.02);
    // Incidence on a plane of slope 30 deg that faces 10 deg east of south: 25.18700 deg.
    let (z, a) = (p.apparent_zenith_deg.to_radians(), p.azimuth_deg.to_radians());
    let (tilt, faces) = (30.0_f64.to_radians(), 170.0_f64.to_radians());
    let cos = z.cos() * tilt.cos() + z.sin() * tilt.sin() * (a - faces).cos();
    assert!((cos.acos().to_degrees() - 25.18700).abs() < 0.01);
}

#[test]
fn one_sun_in_single_and_in_column_form() {
    let here = place(39.742476, -105.1786, -420);
    let day = NaiveDate::from_ymd_opt(2003, 10, 17).unwrap();
    // Minute 12:30 to 12:31 has its middle at 12:30:30.
    let track = SunTrack::over(&dark_year(vec![day], 1440, here));
    let i = track.steps.iter().position(|s| *s == 750).unwrap();
    assert!((track.up[i].acos().to_degrees() - (90.0 - 39.872046)).abs() < 0.01);
    assert!((track.east[i].atan2(track.north[i]).to_degrees() + 360.0 - 194.34024).abs() < 0.01);
    // Sunrise 06:12:43 of the example counts refraction and the upper limb (0.83337 deg, 4.4 min at 11.27 deg an hour):
    // the centre without refraction rises at about 06:17:09. Its sunset 17:20:19 is that of the UT day, thus of the evening
    // before; a day later it is 1.5 min earlier, 17:18:51, and the centre sets 4.4 min before that.
    let (first, last) = (track.steps[0], *track.steps.last().unwrap());
    assert_eq!((first, last), (6 * 60 + 17, 17 * 60 + 14));
}

#[test]
fn whole_years_hold_to_the_whole_algorithm() {
    let mut worst: f64 = 0.0;
    for (year, latitude, longitude, offset, steps) in [
        (1950, 52.3, -1.1, 0, 24),
        (1964, -33.9, 151.2, 600, 24),
        (1999, 0.0, 103.8, 480, 48),
        (2023, 69.6, 18.9, 60, 24),
        (2024, 64.8, -147.9, -540, 24),
        (2024, 27.7, 85.3, 345, 24),
        (2037, -77.8, 166.7, 720, 24),
        (2049, 89.9, 0.0, 0, 24),
        (2050, -54.8, -68.3, -180, 24),
        (2050, 39.9, 75.9, 480, 96),
    ] {
        let days: Vec<NaiveDate> = NaiveDate::from_ymd_opt(year, 1, 1).unwrap().iter_days().take(365).collect();
        let weather = dark_year(days.clone(), steps, place(latitude, longitude, offset));
        let track = SunTrack::over(&weather);
        let step_s = 86_400.0 / steps as f64;
        for (i, step) in track.steps.iter().enumerate() {
            let day = days[*step as usize / steps];
            // Steps that the sun lights only in part have their own instant, tested below.
            let k = (*step as usize % steps) as f64;
            let middle = day.and_time(chrono::NaiveTime::MIN).and_utc()
                + chrono::TimeDelta::milliseconds((((k + 0.5) * step_s - f64::from(offset) * 60.0) * 1000.0) as i64);
            let want = oracle(middle, latitude, longitude, 70.0);
            let half_step = (step_s / 86_400.0 * std::f64::consts::PI).sin();
            if want[2].abs() < half_step || day.year() != year {
                continue;
            }
            worst = worst.max(apart_deg(want, [track.east[i], track.north[i], track.up[i]]));
        }
    }
    assert!(worst < 0.002, "worst {worst} deg");
    println!("largest angle to the whole algorithm: {worst:.5} deg");
}

#[test]
fn sunrise_and_sunset_steps_stand_at_the_middle_of_their_sunlit_part() {
    for (latitude, longitude, offset) in [
        (52.3, -1.1, 0),
        (64.8, -147.9, -540),
        (-33.9, 151.2, 600),
        (66.9, 25.0, 120),
        (39.9, 75.9, 480),
        (0.0, 179.0, 60),
    ] {
        let days: Vec<NaiveDate> = NaiveDate::from_ymd_opt(2026, 1, 1).unwrap().iter_days().take(365).collect();
        let weather = dark_year(days.clone(), 24, place(latitude, longitude, offset));
        let track = SunTrack::over(&weather);
        let at = |i: usize| [track.east[i], track.north[i], track.up[i]];
        let mut seen =
            track.steps.iter().enumerate().map(|(i, s)| (*s, i)).collect::<std::collections::HashMap<_, _>>();
        for step in 0..weather.len() as u32 {
            let day = days[step as usize / 24];
            let start = day.and_time(chrono::NaiveTime::MIN).and_utc() - chrono::TimeDelta::minutes(i64::from(offset))
                + chrono::TimeDelta::hours(i64::from(step % 24));
            // The hour by minutes, with the whole algorithm.
            let up = |s: i64| oracle(start + chrono::TimeDelta::seconds(s), latitude, longitude, 70.0)[2];
            let (a, b, m) = (up(0) > 0.0, up(3600) > 0.0, up(1800) > 0.0);
            if a == b && b == m {
                if a {
                    assert!(seen.remove(&step).is_some(), "lit hour {step} is missing at {latitude}");
                }
                continue;
            }
            if a == b {
                continue; // grazing: sets and rises within the hour
            }
            let (mut low, mut high) = (0, 3600);
            while high - low > 1 {
                let half = (low + high) / 2;
                if (up(half) > 0.0) == a { low = half } else { high = half }
            }
            let middle = if a { low / 2 } else { (high + 3600) / 2 };
            let lit = if a { low } else { 3600 - high };
            if lit < 60 {
                continue;
            }
            let i = seen.remove(&step).unwrap_or_else(|| panic!("hour {step} is missing at {latitude}"));
            let want = oracle(start + chrono::TimeDelta::seconds(middle), latitude, longitude, 70.0);
            assert!(apart_deg(want, at(i)) < 0.01, "hour {step} at {latitude}: {}", apart_deg(want, at(i)));
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(3000))]
    #[test]
    fn any_instant_and_place(
        seconds in 0..3_187_209_600_i64, latitude in -90.0..=90.0_f64, longitude in -180.0..=180.0_f64,
    ) {
        // 1950-01-01 to 2050-12-31.
        let at = DateTime::from_timestamp(seconds - 631_152_000, 0).unwrap();
        let delta_t = solar_positioning::delta_t::estimate(f64::from(at.year()) + 0.5).unwrap();
        let want = oracle(at, latitude, longitude, delta_t);
        let got = position(at, &Observer { latitude_deg: latitude, longitude_deg: longitude, pressure_hpa: 1013.25, air_temp_c: 15.0 });
        let (sz, cz) = got.zenith_deg.to_radians().sin_cos();
        let (sa, ca) = got.azimuth_deg.to_radians().sin_cos();
        let off = apart_deg(want, [sz * sa, sz * ca, cz]);
        prop_assert!(off < 0.002, "{off} deg at {at}");
    }
}
