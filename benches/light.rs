//! Sun, sky and plane over one site-year (Davis-Monthan, hourly), in columns and in a plain scalar form.
//!
//! Items are daylight steps: the time of one step is the median over the number of items. The scalar form is what a text
//! book gives: zenith and azimuth by the platform's maths library for every hour, powers and arcs as printed.

use divan::Bencher;
use divan::counter::ItemsCount;
use yearlight::plane::{PlaneLight, PlaneSpec, RowsSpec, Sky, SkyModel, Skyline, TrackerSpec};
use yearlight::sun::SunTrack;
use yearlight::weather::{ReadHints, WeatherYear};

fn main() {
    divan::main();
}

fn weather() -> WeatherYear {
    let text = include_bytes!("../weather/davis-monthan-az.csv");
    yearlight::sky::read_bytes("davis-monthan-az.csv", text, &ReadHints::default()).expect("the shipped year is whole")
}

fn plane() -> PlaneSpec {
    toml::from_str("name = \"p\"\ntilt_deg = 30\nazimuth_deg = 165\nalbedo = 0.2").expect("a plane")
}

#[divan::bench]
fn sun_columns(bencher: Bencher) {
    let weather = weather();
    let steps = SunTrack::over(&weather).len();
    bencher.counter(ItemsCount::new(steps)).bench_local(|| SunTrack::over(divan::black_box(&weather)));
}

#[divan::bench]
fn sun_scalar(bencher: Bencher) {
    let weather = weather();
    let steps = SunTrack::over(&weather).len();
    bencher.counter(ItemsCount::new(steps)).bench_local(|| scalar::sun(divan::black_box(&weather)));
}

#[divan::bench(args = [SkyModel::Perez, SkyModel::Reindl])]
fn sky_columns(bencher: Bencher, model: SkyModel) {
    let weather = weather();
    let sun = SunTrack::over(&weather);
    bencher.counter(ItemsCount::new(sun.len())).bench_local(|| Sky::over(divan::black_box(&weather), &sun, model));
}

#[divan::bench]
fn plane_columns(bencher: Bencher) {
    let weather = weather();
    let sun = SunTrack::over(&weather);
    let sky = Sky::over(&weather, &sun, SkyModel::Perez);
    let (plane, free) = (plane(), Skyline::default());
    bencher
        .counter(ItemsCount::new(sun.len()))
        .bench_local(|| PlaneLight::on(divan::black_box(&plane), &sun, &sky, &free));
}

#[divan::bench]
fn plane_with_rows(bencher: Bencher) {
    let weather = weather();
    let sun = SunTrack::over(&weather);
    let sky = Sky::over(&weather, &sun, SkyModel::Perez);
    let (mut plane, free) = (plane(), Skyline::default());
    plane.rows = Some(RowsSpec { pitch_m: 5.0, slant_m: 2.3, high: 1, clearance_m: 0.5, count: None });
    bencher
        .counter(ItemsCount::new(sun.len()))
        .bench_local(|| PlaneLight::on(divan::black_box(&plane), &sun, &sky, &free));
}

#[divan::bench]
fn tracker_with_rows(bencher: Bencher) {
    let weather = weather();
    let sun = SunTrack::over(&weather);
    let sky = Sky::over(&weather, &sun, SkyModel::Perez);
    let (mut plane, free) = (plane(), Skyline::default());
    plane.tilt_deg = 0.0;
    plane.rows = Some(RowsSpec { pitch_m: 5.0, slant_m: 2.3, high: 1, clearance_m: 1.5, count: None });
    plane.tracker = Some(TrackerSpec { axis_deg: 0.0, limit_deg: 60.0, avoid_row_shade: true, axis_slope_deg: 0.0 });
    bencher
        .counter(ItemsCount::new(sun.len()))
        .bench_local(|| PlaneLight::on(divan::black_box(&plane), &sun, &sky, &free));
}

#[divan::bench]
fn plane_with_skyline(bencher: Bencher) {
    let weather = weather();
    let sun = SunTrack::over(&weather);
    let sky = Sky::over(&weather, &sun, SkyModel::Perez);
    let plane = plane();
    let line = Skyline::new(&[[90.0, 2.0], [200.0, 3.0], [225.0, 6.0], [250.0, 4.0]]).expect("a skyline");
    bencher
        .counter(ItemsCount::new(sun.len()))
        .bench_local(|| PlaneLight::on(divan::black_box(&plane), &sun, &sky, &line));
}

/// Perez sky and one plane, hour by hour.
#[divan::bench]
fn sky_and_plane_scalar(bencher: Bencher) {
    let weather = weather();
    let sun = scalar::sun(&weather);
    bencher
        .counter(ItemsCount::new(sun.len()))
        .bench_local(|| scalar::perez(divan::black_box(&weather), &sun, 30.0, 165.0, 0.2));
}

/// The textbook way, kept for comparison only.
mod scalar {
    use chrono::Datelike;
    use yearlight::plane::{PEREZ_1990, PEREZ_BINS};
    use yearlight::weather::WeatherYear;

    pub struct Hour {
        step: usize,
        zenith: f64,
        azimuth: f64,
        e0n: f64,
        air_mass: f64,
    }

    /// Low-precision solar coordinates of the Astronomical Almanac, in the form of Michalsky, Solar Energy 40 (1988) 227-235
    /// (from memory).
    pub fn sun(weather: &WeatherYear) -> Vec<Hour> {
        let n = weather.steps_per_day;
        let latitude = weather.place.latitude_deg.to_radians();
        let mut hours = Vec::new();
        for (d, day) in weather.days.iter().enumerate() {
            let noon = f64::from(day.num_days_from_ce() - 730_120) - f64::from(weather.place.utc_offset_min) / 1440.0;
            for k in 0..n {
                let days = noon + (k as f64 + 0.5) / n as f64 - 0.5;
                let mean = (280.460 + 0.985_647_4 * days).to_radians();
                let anomaly = (357.528 + 0.985_600_3 * days).to_radians();
                let longitude = mean + (1.915 * anomaly.sin() + 0.020 * (2.0 * anomaly).sin()).to_radians();
                let obliquity = (23.439 - 0.000_000_4 * days).to_radians();
                let ascension = (obliquity.cos() * longitude.sin()).atan2(longitude.cos());
                let declination = (obliquity.sin() * longitude.sin()).asin();
                let sidereal = (280.460_618 + 360.985_647_37 * days + weather.place.longitude_deg).to_radians();
                let hour_angle = sidereal - ascension;
                let up = latitude.sin() * declination.sin() + latitude.cos() * declination.cos() * hour_angle.cos();
                if up <= 0.0 {
                    continue;
                }
                let zenith = up.acos();
                let azimuth = (-hour_angle.sin() * declination.cos())
                    .atan2(latitude.cos() * declination.sin() - latitude.sin() * declination.cos() * hour_angle.cos());
                let distance = 1.00014 - 0.01671 * anomaly.cos() - 0.00014 * (2.0 * anomaly).cos();
                let air_mass = 1.0 / (zenith.cos() + 0.50572 * (96.07995 - zenith.to_degrees()).powf(-1.6364));
                hours.push(Hour { step: d * n + k, zenith, azimuth, e0n: 1361.1 / distance.powi(2), air_mass });
            }
        }
        hours
    }

    pub fn perez(weather: &WeatherYear, sun: &[Hour], tilt_deg: f64, azimuth_deg: f64, albedo: f64) -> Vec<f64> {
        let (tilt, azimuth) = (tilt_deg.to_radians(), azimuth_deg.to_radians());
        sun.iter()
            .map(|h| {
                let (ghi, dni, dhi) = (weather.ghi[h.step], weather.dni[h.step], weather.dhi[h.step]);
                let cos_aoi = h.zenith.cos() * tilt.cos() + h.zenith.sin() * tilt.sin() * (h.azimuth - azimuth).cos();
                let incidence = cos_aoi.clamp(-1.0, 1.0).acos();
                let facing = incidence.cos().max(0.0);
                let ground = ghi * albedo * (1.0 - tilt.cos()) / 2.0;
                if dhi <= 0.0 {
                    return dni * facing + ground;
                }
                let k = 1.041 * h.zenith.powi(3);
                let epsilon = ((dhi + dni) / dhi + k) / (1.0 + k);
                let bin = PEREZ_BINS.iter().filter(|e| epsilon >= **e).count();
                let delta = dhi * h.air_mass / h.e0n;
                let f = PEREZ_1990[bin];
                let f1 = (f[0] + f[1] * delta + f[2] * h.zenith).max(0.0);
                let f2 = f[3] + f[4] * delta + f[5] * h.zenith;
                let around = facing / h.zenith.cos().max(85.0_f64.to_radians().cos());
                let sky = dhi * ((1.0 - f1) * (1.0 + tilt.cos()) / 2.0 + f1 * around + f2 * tilt.sin());
                dni * facing + sky.max(0.0) + ground
            })
            .collect()
    }
}
