//! Files made in memory for tests: one year in every layout.

use std::fmt::Write;

use chrono::NaiveDate;

use super::{Label, Place, Provenance, WeatherYear};

/// A typical year whose months come from different years, with simple weather: a half-sine of light by day.
pub(crate) fn year(steps_per_day: usize) -> WeatherYear {
    let years = [2003, 1990, 1988, 2001, 1996, 2005, 1999, 1984, 1991, 1986, 2002, 1997];
    let mut days = Vec::new();
    for (m, y) in years.iter().enumerate() {
        for d in 1..=31 {
            days.extend(
                NaiveDate::from_ymd_opt(*y, m as u32 + 1, d)
                    .filter(|x| (chrono::Datelike::month(x), chrono::Datelike::day(x)) != (2, 29)),
            );
        }
    }
    on_days(days, steps_per_day)
}

/// The same weather on given days.
pub(crate) fn on_days(days: Vec<NaiveDate>, steps_per_day: usize) -> WeatherYear {
    let n = days.len() * steps_per_day;
    let hour = |i: usize| (i % steps_per_day) as f64 * 24.0 / steps_per_day as f64 + 12.0 / steps_per_day as f64;
    let sky = |i: usize| 0.6 + 0.4 * ((i / steps_per_day) as f64 * 1.7).sin();
    let sun = |i: usize| ((hour(i) - 6.0) / 12.0 * std::f64::consts::PI).sin().max(0.0);
    let ghi: Vec<f64> = (0..n).map(|i| (700.0 * sun(i) * sky(i)).round()).collect();
    let dni: Vec<f64> = (0..n).map(|i| if sun(i) > 0.05 { (800.0 * sky(i) * sky(i)).round() } else { 0.0 }).collect();
    let dhi: Vec<f64> = (0..n).map(|i| (120.0 * sun(i)).round()).collect();
    WeatherYear {
        place: Place {
            name: "Specimen, XX".into(),
            latitude_deg: 40.5,
            longitude_deg: -80.25,
            elevation_m: 250.0,
            utc_offset_min: -300,
        },
        days,
        steps_per_day,
        ghi,
        dni,
        dhi,
        t_amb: (0..n)
            .map(|i| ((10.0 + 8.0 * (hour(i) / 4.0).sin() + (i as f64 * 0.7).sin()) * 10.0).round() / 10.0)
            .collect(),
        wind: (0..n).map(|i| ((3.0 + 2.0 * (i as f64 * 0.31).cos()) * 10.0).round() / 10.0).collect(),
        wind_height_m: 10.0,
        albedo: Some(vec![0.2; n]),
        pressure: Some((0..n).map(|i| 980.0 + (i % 7) as f64).collect()),
        humidity_pct: Some((0..n).map(|i| 50.0 + (i % 41) as f64).collect()),
        precipitable_water_cm: Some((0..n).map(|i| (10 + i % 30) as f64 / 10.0).collect()),
        rain_mm: None,
        snow_depth_cm: Some(vec![0.0; n]),
        provenance: Provenance::default(),
    }
}

/// Date and minute of the label of each step. Ends at midnight are `24:00` of the day when `h24`.
fn stamps(y: &WeatherYear, label: Label, h24: bool) -> Vec<(NaiveDate, u32)> {
    let step = y.step_min();
    let shift = match label {
        Label::Ending => step,
        Label::Beginning => 0,
        Label::Middle => step / 2,
    };
    (0..y.len())
        .map(|i| {
            let day = y.days[i / y.steps_per_day];
            let minute = (i % y.steps_per_day) as u32 * step + shift;
            if minute == 1440 && !h24 { (day.succ_opt().unwrap_or(day), 0) } else { (day, minute) }
        })
        .collect()
}

/// A plain CSV with ISO times.
pub(crate) fn csv(y: &WeatherYear, label: Label) -> String {
    let mut out = String::from("time,ghi,dni,dhi,temp,wind\n");
    for (i, (day, minute)) in stamps(y, label, false).into_iter().enumerate() {
        let (h, m) = (minute / 60, minute % 60);
        let _ =
            writeln!(out, "{day}T{h:02}:{m:02},{},{},{},{},{}", y.ghi[i], y.dni[i], y.dhi[i], y.t_amb[i], y.wind[i]);
    }
    out
}

/// EPW as it is found: hours 1 to 24, minute 0 in hourly files, minutes to 60 in others, CRLF.
pub(crate) fn epw(y: &WeatherYear) -> String {
    let p = &y.place;
    let mut out = format!(
        "LOCATION,Specimen,XX,USA,TMY3,123456,{},{},{},{}\r\n",
        p.latitude_deg,
        p.longitude_deg,
        f64::from(p.utc_offset_min) / 60.0,
        p.elevation_m
    );
    for line in [
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,\"made; in, memory\"",
        "COMMENTS 2",
    ] {
        let _ = write!(out, "{line}\r\n");
    }
    let per_hour = y.steps_per_day / 24;
    let _ = write!(out, "DATA PERIODS,1,{per_hour},Data,Sunday, 1/ 1,12/31\r\n");
    let get = |c: &Option<Vec<f64>>, i: usize, gone: f64| c.as_ref().map_or(gone, |c| c[i]);
    for i in 0..y.len() {
        let day = y.days[i / y.steps_per_day];
        let slot = (i % y.steps_per_day) as u32;
        let (hour, minute) = if per_hour == 1 {
            (slot + 1, 0)
        } else {
            (slot / per_hour as u32 + 1, (slot % per_hour as u32 + 1) * y.step_min())
        };
        use chrono::Datelike;
        let _ = write!(
            out,
            "{},{},{},{hour},{minute},?9?9?9*_E0,{:.1},-2.0,{},{},0,1415,300,{},{},{},0,0,0,0,180,{:.1},5,5,16.0,77777,9,999999999,{},0.0370,{},88,{:.3},999.0,99.0\r\n",
            day.year(),
            day.month(),
            day.day(),
            y.t_amb[i],
            get(&y.humidity_pct, i, 999.0),
            (get(&y.pressure, i, 9999.99) * 100.0).round(),
            y.ghi[i],
            y.dni[i],
            y.dhi[i],
            y.wind[i],
            (get(&y.precipitable_water_cm, i, 99.9) * 10.0).round(),
            get(&y.snow_depth_cm, i, 999.0),
            get(&y.albedo, i, 999.0),
        );
    }
    out
}

/// TMY3 layout, only the columns that matter and a few of the flags.
pub(crate) fn tmy3(y: &WeatherYear) -> String {
    let p = &y.place;
    let mut out = format!(
        "123456,\"SPECIMEN\",XX,{:.1},{},{},{}\nDate (MM/DD/YYYY),Time (HH:MM),ETR (W/m^2),GHI (W/m^2),GHI source,DNI (W/m^2),DHI (W/m^2),Dry-bulb (C),Wspd (m/s),Pressure (mbar),Alb (unitless),Pwat (cm)\n",
        f64::from(p.utc_offset_min) / 60.0,
        p.latitude_deg,
        p.longitude_deg,
        p.elevation_m
    );
    for (i, (day, minute)) in stamps(y, Label::Ending, true).into_iter().enumerate() {
        let _ = writeln!(
            out,
            "{},{:02}:{:02},0,{},1,{},{},{},{},{},-9900,{}",
            day.format("%m/%d/%Y"),
            minute / 60,
            minute % 60,
            y.ghi[i],
            y.dni[i],
            y.dhi[i],
            y.t_amb[i],
            y.wind[i],
            y.pressure.as_ref().map_or(-9900.0, |c| c[i]),
            y.precipitable_water_cm.as_ref().map_or(-9900.0, |c| c[i]),
        );
    }
    out
}

/// The layout with a line of metadata names, one of values, one of column names.
pub(crate) fn two_line(y: &WeatherYear, label: Label) -> String {
    let p = &y.place;
    let mut out = format!(
        "Source,Location ID,City,State,Country,Latitude,Longitude,Time Zone,Elevation,Local Time Zone\nSky,42,-,-,-,{},{},{},{},{}\nYear,Month,Day,Hour,Minute,DHI,DNI,GHI,Temperature,Wind Speed,Pressure\n",
        p.latitude_deg,
        p.longitude_deg,
        f64::from(p.utc_offset_min) / 60.0,
        p.elevation_m,
        f64::from(p.utc_offset_min) / 60.0
    );
    for (i, (day, minute)) in stamps(y, label, false).into_iter().enumerate() {
        use chrono::Datelike;
        let _ = writeln!(
            out,
            "{},{},{},{},{},{},{},{},{},{},{}",
            day.year(),
            day.month(),
            day.day(),
            minute / 60,
            minute % 60,
            y.dhi[i],
            y.dni[i],
            y.ghi[i],
            y.t_amb[i],
            y.wind[i],
            y.pressure.as_ref().map_or(980.0, |c| c[i]),
        );
    }
    out
}
