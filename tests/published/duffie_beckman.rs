//! Duffie and Beckman, Solar Engineering of Thermal Processes: worked examples of chapters 1 and 2.
//!
//! "exact" figures within 1e-4 of themselves, "book" within half a digit and the book's own rounding.

use crate::nrel_tp_560_34302::{dark_year, place};
use crate::transposition::plain_plane;
use chrono::NaiveDate;
use yearlight::plane::{PlaneLight, Sky, SkyModel, Skyline, profile_angle_deg};
use yearlight::sky::separate::erbs;
use yearlight::sun::{SunTrack, air_mass, extraterrestrial_day};

fn case(id: &str) -> toml::Table {
    let all: toml::Table = include_str!("data/duffie_beckman.toml").parse().unwrap();
    all["case"].as_array().unwrap().iter().find(|c| c["id"].as_str() == Some(id)).unwrap().as_table().unwrap().clone()
}

fn num(case: &toml::Table, key: &str) -> f64 {
    let v = &case[key];
    v.as_float().or(v.as_integer().map(|i| i as f64)).unwrap()
}

/// A sun at a declination and an hour angle (west positive).
fn sun(latitude_deg: f64, declination_deg: f64, hour_angle_deg: f64, e0n: f64) -> SunTrack {
    let (sp, cp) = latitude_deg.to_radians().sin_cos();
    let (sd, cd) = declination_deg.to_radians().sin_cos();
    let (sh, ch) = hour_angle_deg.to_radians().sin_cos();
    let up = sp * sd + cp * cd * ch;
    SunTrack {
        steps: vec![0],
        east: vec![-cd * sh],
        north: vec![cp * sd - sp * cd * ch],
        up: vec![up],
        zenith: vec![up.acos()],
        e0n: vec![e0n],
        air_mass: vec![air_mass(up.acos().to_degrees())],
        ..SunTrack::default()
    }
}

fn light(
    sun: &SunTrack,
    [ghi, dni, dhi]: [f64; 3],
    model: SkyModel,
    tilt: f64,
    azimuth: f64,
    albedo: f64,
) -> PlaneLight {
    let mut weather = dark_year(vec![NaiveDate::from_ymd_opt(2001, 2, 20).unwrap()], 1, place(0.0, 0.0, 0));
    (weather.ghi[0], weather.dni[0], weather.dhi[0]) = (ghi, dni, dhi);
    PlaneLight::on(&plain_plane(tilt, azimuth, albedo), sun, &Sky::over(&weather, sun, model), &Skyline::default())
}

#[test]
fn incidence_and_beam_ratio_1_6_1() {
    let c = case("1.6.1");
    let sun = sun(num(&c, "latitude"), num(&c, "declination"), num(&c, "hour_angle"), 1367.0);
    let azimuth = 180.0 + num(&c, "plane_azimuth");
    let tilted = light(&sun, [0.0, 1.0, 0.0], SkyModel::Isotropic, num(&c, "tilt"), azimuth, 0.2);
    let flat = light(&sun, [0.0, 1.0, 0.0], SkyModel::Isotropic, 0.0, 0.0, 0.2);
    let incidence = tilted.cos_aoi[0].acos().to_degrees();
    assert!((incidence - num(&c, "exact_incidence_deg")).abs() < 1e-4);
    assert!((incidence - num(&c, "book_incidence_deg")).abs() < 0.2);
    let ratio = tilted.beam[0] / flat.beam[0];
    assert!((ratio - num(&c, "exact_beam_ratio")).abs() < 1e-4, "{ratio}");
}

#[test]
fn zenith_azimuth_and_profile_angle_1_6_2_and_1_6_3() {
    for id in ["1.6.2a", "1.6.2b", "1.6.3"] {
        let c = case(id);
        let sun = sun(num(&c, "latitude"), num(&c, "declination"), num(&c, "hour_angle"), 1367.0);
        let zenith = sun.up[0].acos().to_degrees();
        let azimuth = sun.east[0].atan2(sun.north[0]).to_degrees().rem_euclid(360.0);
        assert!((zenith - num(&c, "exact_zenith_deg")).abs() < 1e-4, "{id}");
        assert!((azimuth - 180.0 - num(&c, "exact_azimuth_deg")).abs() < 1e-4, "{id}: {azimuth}");
        if id == "1.6.3" {
            let profile = profile_angle_deg(90.0 - zenith, azimuth, 180.0 + num(&c, "profile_plane_azimuth"));
            assert!((profile - num(&c, "exact_profile_angle_deg")).abs() < 1e-4);
            assert!((profile - num(&c, "book_profile_angle_deg")).abs() < 0.1);
        }
    }
}

// Declination and distance by the book's own formulas (1.6.1a, 1.4.1a).
fn book_day(n: f64) -> (f64, f64) {
    let turn = |x: f64| (360.0 * x / 365.0).to_radians();
    (23.45 * turn(284.0 + n).sin(), 1367.0 * (1.0 + 0.033 * turn(n).cos()))
}

#[test]
fn daily_extraterrestrial_1_10_1() {
    let c = case("1.10.1");
    let (declination, e0n) = book_day(num(&c, "day_of_year"));
    let (h0, _) = extraterrestrial_day(num(&c, "latitude"), declination, e0n);
    assert!((h0 / num(&c, "exact_h0_mj_m2") - 1.0).abs() < 1e-4, "{h0}");
    assert!((h0 - num(&c, "book_h0_mj_m2")).abs() < 0.05);
}

#[test]
fn tilted_hour_2_15_1_and_2_16_1() {
    let (c, d) = (case("2.15.1"), case("2.16.1"));
    let (declination, _) = book_day(num(&c, "day_of_year"));
    let middle = 0.5 * (num(&c, "hour_angle_from") + num(&c, "hour_angle_to"));
    let global = num(&c, "global_mj_m2");
    let diffuse = global * erbs(num(&c, "exact_kt"));
    let beam = global - diffuse;
    assert!((diffuse - num(&c, "published_diffuse_mj_m2")).abs() < 1e-3);
    assert!((beam - num(&c, "published_beam_mj_m2")).abs() < 1e-3);
    // The same in any unit: MJ/m2 in, MJ/m2 out; the hour's extraterrestrial energy stands for its normal irradiance.
    let mut sun = sun(num(&c, "latitude"), declination, middle, 0.0);
    sun.e0n[0] = num(&c, "exact_i0_mj_m2") / sun.up[0];
    let hour = [global, beam / sun.up[0], diffuse];
    let run = |model| light(&sun, hour, model, num(&c, "tilt"), 180.0, num(&c, "albedo")).poa(0);
    let even = run(SkyModel::Isotropic);
    assert!((even / num(&c, "exact_total_mj_m2") - 1.0).abs() < 1e-4, "{even}");
    assert!((even - num(&c, "published_total_mj_m2")).abs() < 1e-3);
    let banded = run(SkyModel::Reindl);
    assert!((banded / num(&d, "exact_total_mj_m2") - 1.0).abs() < 1e-4, "{banded}");
    assert!((banded - num(&d, "book_total_mj_m2")).abs() < 0.005);
}
