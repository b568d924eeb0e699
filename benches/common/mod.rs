//! A shipped year as an EPW file, for all benches.
#![allow(dead_code)]

use yearlight::sky;
use yearlight::weather::{Quantity, ReadHints, WeatherYear};

/// Keeps memory that was given back, as the program does: else every column of a run costs its page faults anew.
pub fn keep_memory() {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    // SAFETY: sets two thresholds of the allocator, any value of which it takes; no other thread runs yet.
    unsafe {
        libc::mallopt(libc::M_TRIM_THRESHOLD, 32 << 20);
        libc::mallopt(libc::M_MMAP_THRESHOLD, 32 << 20);
    }
}

/// The columns that a job without rain, snow of the model or spectrum needs; no checksum.
pub fn hints() -> ReadHints {
    use Quantity::{Humidity, PrecipitableWater, Pressure, Rain};
    ReadHints { leave_out: vec![Humidity, PrecipitableWater, Pressure, Rain], ..full_hints() }
}

/// Every column; no checksum.
pub fn full_hints() -> ReadHints {
    ReadHints { no_checksum: true, ..ReadHints::default() }
}

pub fn year() -> WeatherYear {
    sky::read(std::path::Path::new("weather/aurora-co.csv"), &full_hints()).expect("a shipped year")
}

/// The shipped year as an EPW of the usual size: 35 columns, about 1.6 MB.
pub fn epw() -> Vec<u8> {
    use std::fmt::Write;
    let y = year();
    let mut out = String::from("LOCATION,Aurora,CO,USA,TMY3,724695,39.72,-104.75,-7.0,1726.0\r\n");
    for line in [
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1",
        "COMMENTS 2",
        "DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31",
    ] {
        let _ = write!(out, "{line}\r\n");
    }
    for i in 0..y.len() {
        use chrono::Datelike;
        let d = y.days[i / 24];
        let at = |c: &Option<Vec<f64>>| c.as_ref().map_or(0.0, |c| c[i]);
        let _ = write!(
            out,
            "{},{},{},{},0,?9?9?9?9E0?9?9?9?9?9?9?9?9?9?9?9?9?9?9?9*9*9?9*9*9,{:.1},-8.0,{},{},0,1415,277,{},{},{},46521,90868,9942,1265,190,{:.1},9,8,40.2,7500,9,999999999,{},0.0410,0,88,{:.3},999.0,99.0\r\n",
            d.year(),
            d.month(),
            d.day(),
            i % 24 + 1,
            y.t_amb[i],
            at(&y.humidity_pct),
            at(&y.pressure) * 100.0,
            y.ghi[i],
            y.dni[i],
            y.dhi[i],
            y.wind[i],
            (at(&y.precipitable_water_cm) * 10.0).round(),
            at(&y.albedo),
        );
    }
    out.into_bytes()
}
