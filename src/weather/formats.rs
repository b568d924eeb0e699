//! The layouts: which columns stand where, what their codes for missing values are, and where the header says place.

use std::collections::BTreeMap;

use super::body::{Column, Layout, TimeColumns};
use super::careful::{number, short};
use super::{Label, Place, Quantity, ReadHints, WeatherError};
use crate::units::{Note, clean, shown, shown_list};

/// What the header of a file says.
pub(super) struct Header {
    pub format: &'static str,
    pub kind: String,
    pub place: Place,
    pub label: Label,
    pub layout: Layout,
    /// Byte at which the rows begin, and the line.
    pub body_at: usize,
    pub first_line: usize,
    pub wind_height_m: f64,
    pub hour_rule: HourRule,
    pub completed: Vec<(String, String)>,
    pub notes: Vec<Note>,
}

/// What the hour and minute columns mean together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum HourRule {
    /// The clock.
    Clock,
    /// EPW: hour 1 is the first hour of the day; its minute column says little in hourly files.
    FromOne,
}

/// Lines of the file with the byte at which each begins.
struct Lines<'a> {
    bytes: &'a [u8],
    at: usize,
    line: usize,
}

impl<'a> Lines<'a> {
    fn next(&mut self) -> Option<&'a [u8]> {
        if self.at >= self.bytes.len() {
            return None;
        }
        let rest = &self.bytes[self.at..];
        let stop = memchr::memchr(b'\n', rest).unwrap_or(rest.len());
        self.at += (stop + 1).min(rest.len());
        self.line += 1;
        Some(rest[..stop].trim_ascii_end())
    }
}

/// Cells of one line; quotes and control characters are taken off.
fn cells(line: &[u8]) -> Vec<String> {
    let text = |c: &[u8]| clean(&String::from_utf8_lossy(c)).trim().to_string();
    if !line.is_empty() && !line.iter().any(|b| matches!(b, b'"' | b'\r' | b'\n')) {
        return line.split(|&b| b == b',').map(text).collect();
    }
    let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(line);
    let mut record = csv::ByteRecord::new();
    match reader.read_byte_record(&mut record) {
        Ok(true) => record.iter().map(text).collect(),
        _ => Vec::new(),
    }
}

/// Recognises the layout and reads the header.
pub(super) fn header(file: &str, bytes: &[u8], hints: &ReadHints) -> Result<Header, WeatherError> {
    let mut lines = Lines { bytes, at: 0, line: 0 };
    let first = lines.next().unwrap_or_default();
    if first.starts_with(b"LOCATION,") {
        return epw(file, bytes, lines, first);
    }
    if first.starts_with(TIDY_MARK.as_bytes()) {
        return tidy(file, lines);
    }
    let second = lines.next().unwrap_or_default();
    if second.len() >= 4 && second[..4].eq_ignore_ascii_case(b"date") && cells(first).len() >= 7 {
        return tmy3(file, lines, first, second);
    }
    let names = cells(first);
    let has = |name: &str| names.iter().any(|n| n.eq_ignore_ascii_case(name));
    if has("Latitude") && has("Longitude") {
        return two_line(file, lines, &names, second);
    }
    if hints.columns.is_empty() {
        return Err(WeatherError::Layout { file: file.into(), found: short(first) });
    }
    mapped(file, bytes, hints)
}

fn bad(file: &str, line: usize, found: impl Into<String>, expected: &str, mend: &str) -> WeatherError {
    WeatherError::Header { file: file.into(), line, found: found.into(), expected: expected.into(), mend: mend.into() }
}

fn header_number(file: &str, line: usize, name: &str, cell: Option<&String>) -> Result<f64, WeatherError> {
    let x = match cell {
        Some(cell) => number(file, line, name, cell.as_bytes())?,
        None => f64::NAN,
    };
    if x.is_finite() {
        return Ok(x);
    }
    Err(bad(file, line, format!("the header gives no {name}"), "a number there", "Complete the header."))
}

/// Checks a position and the offset in hours.
fn place(
    file: &str,
    line: usize,
    name: String,
    lat: f64,
    lon: f64,
    elev: f64,
    hours: f64,
) -> Result<Place, WeatherError> {
    let fault = if lat.abs() > 90.0 {
        let swapped = if lat.abs() <= 180.0 && lon.abs() <= 90.0 { "Latitude and longitude look swapped." } else { "" };
        Some((format!("latitude {lat}"), "-90 to 90, north positive", swapped))
    } else if lon.abs() > 180.0 {
        Some((format!("longitude {lon}"), "-180 to 180, east positive", "Take 360 away from an eastern count."))
    } else if !(-500.0..=6500.0).contains(&elev) {
        Some((format!("elevation {elev} m"), "-500 to 6500 m", "The header counts metres."))
    } else if hours.abs() > 14.0 {
        Some((format!("UTC offset {hours} h"), "-14 to 14 h", "The header counts hours ahead of UTC."))
    } else {
        None
    };
    if let Some((found, expected, mend)) = fault {
        let mend = if mend.is_empty() { "Correct the header." } else { mend };
        return Err(bad(file, line, format!("the header says {found}"), expected, mend));
    }
    let utc_offset_min = (hours * 60.0).round() as i32;
    Ok(Place { name, latitude_deg: lat, longitude_deg: lon, elevation_m: elev, utc_offset_min })
}

fn column(quantity: Quantity, at: usize, name: &str, missing: &'static [f64], times: f64) -> Column {
    Column { quantity, at, name: name.into(), missing, times, plus: 0.0, per_step: false }
}

/// EPW: eight header lines, then 35 columns. Layout and codes for missing values: the format's data dictionary
/// (from memory); the rows are hour-ending although their minute column is often 0.
fn epw(file: &str, bytes: &[u8], mut lines: Lines, first: &[u8]) -> Result<Header, WeatherError> {
    const MEND: &str = "The file may be cut off; fetch it again.";
    let loc = cells(first);
    if loc.len() < 10 {
        return Err(bad(file, 1, format!("LOCATION has {} cells", loc.len()), "10 cells", MEND));
    }
    let at = |i: usize, name: &str| header_number(file, 1, name, loc.get(i));
    let place = place(
        file,
        1,
        station_name(&loc[1], &loc[2]),
        at(6, "latitude")?,
        at(7, "longitude")?,
        at(9, "elevation")?,
        at(8, "UTC offset")?,
    )?;
    for _ in 1..8 {
        if lines.next().is_none() {
            return Err(bad(file, lines.line, "the header ends early", "eight header lines", MEND));
        }
    }
    let mut layout = Layout {
        fields: 35,
        delimiter: b',',
        time: TimeColumns::Parts { year: 0, month: 1, day: 2, hour: 3, minute: Some(4) },
        columns: vec![
            column(
                Quantity::Ghi,
                13,
                "global horizontal radiation",
                &[9999.0, 99999.0, 999999.0, -9999.0, -999.0],
                1.0,
            ),
            column(Quantity::Dni, 14, "direct normal radiation", &[9999.0, 99999.0, 999999.0, -9999.0, -999.0], 1.0),
            column(
                Quantity::Dhi,
                15,
                "diffuse horizontal radiation",
                &[9999.0, 99999.0, 999999.0, -9999.0, -999.0],
                1.0,
            ),
            column(Quantity::TAmb, 6, "dry bulb temperature", &[99.9, 999.0, 9999.0, -9999.0, -999.0], 1.0),
            column(Quantity::Wind, 21, "wind speed", &[999.0, 9999.0, -9999.0, -999.0], 1.0),
            column(Quantity::Albedo, 32, "albedo", &[999.0, 9999.0, -9999.0, -999.0], 1.0),
            column(Quantity::Pressure, 9, "atmospheric station pressure", &[999_999.0, 9999.0, -9999.0, -999.0], 0.01),
            column(Quantity::Humidity, 8, "relative humidity", &[999.0, 9999.0, -9999.0, -999.0], 1.0),
            column(Quantity::PrecipitableWater, 28, "precipitable water", &[999.0, 9999.0, -9999.0, -999.0], 0.1),
            column(Quantity::Rain, 33, "liquid precipitation depth", &[999.0, 9999.0, -9999.0, -999.0], 1.0),
            column(Quantity::SnowDepth, 30, "snow depth", &[999.0, 9999.0, -9999.0, -999.0], 1.0),
        ],
    };
    // Some writers leave the last columns out; the light stands before them.
    let row = Lines { bytes, at: lines.at, line: lines.line }.next().unwrap_or_default();
    let found = cells(row).len();
    if (22..35).contains(&found) || (36..40).contains(&found) {
        layout.fields = found;
        layout.columns.retain(|c| c.at < found);
    }
    Ok(Header {
        format: "EPW",
        kind: loc[4].clone(),
        place,
        // Hour 1 is the first hour of the day: with rule FromOne the hours count like ends.
        label: Label::Ending,
        layout,
        body_at: lines.at,
        first_line: lines.line + 1,
        wind_height_m: 10.0,
        hour_rule: HourRule::FromOne,
        completed: Vec::new(),
        notes: Vec::new(),
    })
}

fn station_name(name: &str, state: &str) -> String {
    if state.is_empty() || state == "-" { name.to_string() } else { format!("{name}, {state}") }
}

/// TMY3 CSV: station line, column names, rows labelled `MM/DD/YYYY,HH:MM` with hours 01:00 to 24:00, ending.
/// Source: Wilcox and Marion, Users Manual for TMY3 Data Sets, NREL/TP-581-43156 (2008), section 2 (from memory).
fn tmy3(file: &str, lines: Lines, first: &[u8], second: &[u8]) -> Result<Header, WeatherError> {
    let st = cells(first);
    let names = cells(second);
    let number = |i: usize, name: &str| header_number(file, 1, name, st.get(i));
    let place = place(
        file,
        1,
        station_name(&st[1], &st[2]),
        number(4, "latitude")?,
        number(5, "longitude")?,
        number(6, "elevation")?,
        number(3, "UTC offset")?,
    )?;
    let find = |begin: &str| names.iter().position(|n| n.to_ascii_lowercase().starts_with(begin));
    let (Some(date), Some(clock)) = (find("date (mm/dd/yyyy"), find("time (hh:mm")) else {
        return Err(bad(
            file,
            2,
            "the date or time column is missing",
            "\"Date (MM/DD/YYYY)\" and \"Time (HH:MM)\"",
            "Give the file as a mapped CSV with [weather.columns] if its layout differs.",
        ));
    };
    const GONE: &[f64] = &[-9900.0, -9999.0, -999.0, 9999.0];
    let wanted: [(Quantity, &str, f64); 11] = [
        (Quantity::Ghi, "ghi (w/m^2)", 1.0),
        (Quantity::Dni, "dni (w/m^2)", 1.0),
        (Quantity::Dhi, "dhi (w/m^2)", 1.0),
        (Quantity::TAmb, "dry-bulb (c)", 1.0),
        (Quantity::Wind, "wspd (m/s)", 1.0),
        (Quantity::Albedo, "alb (unitless)", 1.0),
        (Quantity::Pressure, "pressure (mbar)", 1.0),
        (Quantity::Humidity, "rhum (%)", 1.0),
        (Quantity::PrecipitableWater, "pwat (cm)", 1.0),
        (Quantity::Rain, "lprecip depth (mm)", 1.0),
        (Quantity::SnowDepth, "snow depth (cm)", 1.0),
    ];
    let columns =
        wanted.iter().filter_map(|(q, n, times)| find(n).map(|at| column(*q, at, &names[at], GONE, *times))).collect();
    Ok(Header {
        format: "TMY3 CSV",
        kind: "TMY3".into(),
        place,
        label: Label::Ending,
        layout: Layout { fields: names.len(), delimiter: b',', time: TimeColumns::DateClock { date, clock }, columns },
        body_at: lines.at,
        first_line: 3,
        wind_height_m: 10.0,
        hour_rule: HourRule::Clock,
        completed: Vec::new(),
        notes: Vec::new(),
    })
}

/// CSV with a line of metadata names, a line of metadata values and a line of column names, as national databases of
/// solar radiation serve it. Times name the middle of the step when the first minute is half a step; a full hour or
/// step is taken as an instant (see [`Label::Middle`]).
fn two_line(file: &str, mut lines: Lines, names: &[String], second: &[u8]) -> Result<Header, WeatherError> {
    let values = cells(second);
    let meta = |name: &str| names.iter().position(|n| n.eq_ignore_ascii_case(name)).and_then(|i| values.get(i));
    let number = |name: &str| header_number(file, 2, name, meta(name));
    let label_name: Vec<String> = ["Source", "Location ID", "City", "State"]
        .iter()
        .filter_map(|n| meta(n))
        .filter(|v| !v.is_empty() && *v != "-")
        .cloned()
        .collect();
    let hours = match meta("Time Zone").or(meta("Local Time Zone")) {
        Some(_) => number(if meta("Time Zone").is_some() { "Time Zone" } else { "Local Time Zone" })?,
        None => number("Time Zone")?,
    };
    let elevation = if meta("Elevation").is_some() { number("Elevation")? } else { 0.0 };
    let place = place(file, 2, label_name.join(" "), number("Latitude")?, number("Longitude")?, elevation, hours)?;
    let third = lines.next().unwrap_or_default();
    let cols = cells(third);
    let find = |name: &str| cols.iter().position(|n| n.eq_ignore_ascii_case(name));
    let (Some(year), Some(month), Some(day), Some(hour)) = (find("Year"), find("Month"), find("Day"), find("Hour"))
    else {
        return Err(bad(
            file,
            3,
            format!("the third line is \"{}\"", short(third)),
            "column names with Year, Month, Day, Hour and Minute",
            "Give the file as a mapped CSV with [weather.columns] if its layout differs.",
        ));
    };
    const GONE: &[f64] = &[-9999.0, -999.0, 9999.0, 999_999.0];
    let wanted: [(Quantity, &[&str], f64); 11] = [
        (Quantity::Ghi, &["GHI"], 1.0),
        (Quantity::Dni, &["DNI"], 1.0),
        (Quantity::Dhi, &["DHI"], 1.0),
        (Quantity::TAmb, &["Temperature", "Air Temperature", "Tdry"], 1.0),
        (Quantity::Wind, &["Wind Speed", "Wspd"], 1.0),
        (Quantity::Albedo, &["Surface Albedo", "Albedo"], 1.0),
        (Quantity::Pressure, &["Pressure"], 1.0),
        (Quantity::Humidity, &["Relative Humidity", "RH"], 1.0),
        (Quantity::PrecipitableWater, &["Precipitable Water"], 1.0),
        (Quantity::Rain, &["Rain", "Precipitation"], 1.0),
        (Quantity::SnowDepth, &["Snow Depth"], 1.0),
    ];
    let columns = wanted
        .iter()
        .filter_map(|(q, alias, t)| alias.iter().find_map(|n| find(n)).map(|at| column(*q, at, &cols[at], GONE, *t)))
        .collect();
    let fields = cols.len();
    Ok(Header {
        format: "CSV with two header lines",
        kind: meta("Source").cloned().unwrap_or_default(),
        place,
        label: Label::Middle,
        layout: Layout {
            fields,
            delimiter: b',',
            time: TimeColumns::Parts { year, month, day, hour, minute: find("Minute") },
            columns,
        },
        body_at: lines.at,
        first_line: 4,
        // Winds of these files are modelled for 2 m or 10 m above ground without saying which.
        wind_height_m: 10.0,
        hour_rule: HourRule::Clock,
        completed: Vec::new(),
        notes: vec![Note::quiet(
            "weather.wind-height",
            "The file does not say how high its wind is measured; 10 m was taken.",
        )],
    })
}

/// First words of yearlight's own layout.
pub(super) const TIDY_MARK: &str = "# yearlight weather 1";

fn tidy(file: &str, mut lines: Lines) -> Result<Header, WeatherError> {
    let mut meta: BTreeMap<String, String> = BTreeMap::new();
    let mut completed = Vec::new();
    let mut notes = Vec::new();
    let names = loop {
        let Some(line) = lines.next() else {
            return Err(bad(
                file,
                lines.line,
                "the header ends early",
                "column names after the # lines",
                "Write the file again.",
            ));
        };
        if !line.starts_with(b"#") {
            break cells(line);
        }
        let text = clean(&String::from_utf8_lossy(&line[1..]));
        let (key, value) = text.split_once(':').unwrap_or((&text, ""));
        let (key, value) = (key.trim().to_string(), value.trim().to_string());
        match key.as_str() {
            "completed" => {
                let (what, how) = value.split_once('=').unwrap_or((&value, ""));
                completed.push((what.trim().to_string(), how.trim().to_string()));
            }
            "note" | "loud-note" => {
                let (code, text) = value.split_once(' ').unwrap_or((&value, ""));
                notes.push(Note { code: code.to_string(), loud: key == "loud-note", text: text.to_string() });
            }
            _ => {
                meta.insert(key, value);
            }
        }
    };
    let head = lines.line;
    let number = |name: &str| header_number(file, 1, name, meta.get(name));
    let place = place(
        file,
        1,
        meta.get("name").cloned().unwrap_or_default(),
        number("latitude_deg")?,
        number("longitude_deg")?,
        number("elevation_m")?,
        number("utc_offset_min")? / 60.0,
    )?;
    let label: Label = match meta.get("label") {
        Some(word) => word.parse()?,
        None => Label::Beginning,
    };
    let wind_height_m = if meta.contains_key("wind_height_m") { number("wind_height_m")? } else { 10.0 };
    if !(wind_height_m > 0.0 && wind_height_m <= 200.0) {
        return Err(bad(
            file,
            1,
            format!("wind_height_m is {wind_height_m}"),
            "more than 0 and at most 200 m",
            "Write the height of the wind measurement above the ground; 10 m is usual.",
        ));
    }
    let find = |name: &str| names.iter().position(|n| n == name);
    let Some(at) = find("time") else {
        return Err(bad(
            file,
            head,
            "there is no column \"time\"",
            "time as the first column",
            "Write the file again.",
        ));
    };
    const GONE: &[f64] = &[];
    let columns = Quantity::ALL
        .iter()
        .filter_map(|&q| find(q.tidy_name()).map(|at| column(q, at, q.tidy_name(), GONE, 1.0)))
        .collect();
    Ok(Header {
        format: "yearlight CSV",
        kind: meta.get("kind").cloned().unwrap_or_default(),
        place,
        label,
        layout: Layout { fields: names.len(), delimiter: b',', time: TimeColumns::Iso { at }, columns },
        body_at: lines.at,
        first_line: head + 1,
        wind_height_m,
        hour_rule: HourRule::Clock,
        completed,
        notes,
    })
}

/// Any CSV whose columns and units the user names.
fn mapped(file: &str, bytes: &[u8], hints: &ReadHints) -> Result<Header, WeatherError> {
    let mut lines = Lines { bytes, at: 0, line: 0 };
    let head = loop {
        match lines.next() {
            Some(line) if line.starts_with(b"#") || line.is_empty() => {}
            Some(line) => break line,
            None => return Err(WeatherError::Empty { file: file.into(), found: "only comment lines".into() }),
        }
    };
    let head_line = lines.line;
    let names = cells(head);
    if names.iter().all(|n| n.parse::<f64>().is_ok()) {
        return Err(bad(
            file,
            head_line,
            format!("the first line is \"{}\"", short(head)),
            "column names",
            "Put a line with the names of the columns at the top.",
        ));
    }
    let find = |key: &str, name: &str| {
        names.iter().position(|n| n == name).ok_or_else(|| WeatherError::Hint {
            key: format!("weather.columns.{key}"),
            found: format!("\"{name}\", which {file} does not have"),
            expected: format!("one of: {}", shown_list(names.iter().map(String::as_str))),
            mend: nearest(name, &names),
        })
    };
    let mut time: BTreeMap<&str, usize> = BTreeMap::new();
    let mut columns = Vec::new();
    for (key, value) in &hints.columns {
        let (name, unit) = split_unit(value);
        if let Some(&part) =
            ["time", "year", "month", "day", "hour", "minute", "date", "clock"].iter().find(|p| *p == key)
        {
            time.insert(part, find(key, name)?);
            continue;
        }
        let Some(&q) = Quantity::ALL.iter().find(|q| q.name() == key) else {
            let known: Vec<String> = Quantity::ALL.iter().map(|q| q.name().to_string()).collect();
            return Err(WeatherError::Hint {
                key: format!("weather.columns.{key}"),
                found: "no known quantity".into(),
                expected: format!("time, year, month, day, hour, minute, {}", known.join(", ")),
                mend: nearest(key, &known),
            });
        };
        let at = find(key, name)?;
        let (times, plus, per_step) = unit_of(q, unit).ok_or_else(|| WeatherError::Hint {
            key: format!("weather.columns.{key}"),
            found: format!("\"{value}\""),
            expected: format!("\"{name} [unit]\" with one of: {}", units_of(q)),
            mend: "Write the unit of the file's column in square brackets.".into(),
        })?;
        const GONE: &[f64] = &[-9999.0, -999.0, -99.0, 9999.0, 99999.0, 999_999.0];
        const GONE_SIGNED: &[f64] = &[-9999.0, -999.0, 999.0, 9999.0, 99999.0, 999_999.0];
        let small = matches!(q, Quantity::TAmb | Quantity::Wind | Quantity::Albedo | Quantity::Humidity);
        let missing = match unit {
            // In these units a real amount can be that large.
            "kJ/m2" | "Pa" | "J/m2" => &[-9999.0, -999.0, 999_999.0],
            _ if small => GONE_SIGNED,
            _ => GONE,
        };
        columns.push(Column { quantity: q, at, name: name.into(), missing, times, plus, per_step });
    }
    let time = time_columns(&time)?;
    let label = hints.label.ok_or_else(|| WeatherError::Hint {
        key: "weather.label".into(),
        found: "missing".into(),
        expected: "ending, beginning or middle".into(),
        mend: "Say which instant of its interval a row's time names; an error of half an hour moves an east or west roof by several percent.".into(),
    })?;
    let mut place = hints.place.clone().ok_or_else(|| WeatherError::Hint {
        key: "site".into(),
        found: "missing".into(),
        expected: "latitude_deg, longitude_deg, elevation_m and utc_offset_h, because the file holds no position"
            .into(),
        mend: "Add a [site] table.".into(),
    })?;
    if let Some(min) = hints.utc_offset_min {
        place.utc_offset_min = min;
    }
    Ok(Header {
        format: "mapped CSV",
        kind: String::new(),
        place,
        label,
        layout: Layout { fields: names.len(), delimiter: b',', time, columns },
        body_at: lines.at,
        first_line: head_line + 1,
        wind_height_m: hints.wind_height_m.unwrap_or(10.0),
        hour_rule: HourRule::Clock,
        completed: Vec::new(),
        notes: Vec::new(),
    })
}

fn time_columns(found: &BTreeMap<&str, usize>) -> Result<TimeColumns, WeatherError> {
    let at = |k: &str| found.get(k).copied();
    if let Some(at) = at("time") {
        return Ok(TimeColumns::Iso { at });
    }
    if let (Some(date), Some(clock)) = (at("date"), at("clock")) {
        return Ok(TimeColumns::DateClock { date, clock });
    }
    if let (Some(year), Some(month), Some(day), Some(hour)) = (at("year"), at("month"), at("day"), at("hour")) {
        return Ok(TimeColumns::Parts { year, month, day, hour, minute: at("minute") });
    }
    Err(WeatherError::Hint {
        key: "weather.columns.time".into(),
        found: "missing".into(),
        expected: "time = \"column\" with ISO 8601 times, or year, month, day and hour".into(),
        mend: "Name the column that holds the time.".into(),
    })
}

/// `"column [unit]"` in its two parts.
fn split_unit(value: &str) -> (&str, &str) {
    match value.trim().strip_suffix(']').and_then(|v| v.rsplit_once('[')) {
        Some((name, unit)) => (name.trim(), unit.trim()),
        None => (value.trim(), ""),
    }
}

fn nearest(name: &str, known: &[String]) -> String {
    let far = |k: &str| strsim::osa_distance(&name.to_lowercase(), &k.to_lowercase());
    match known.iter().map(|k| (far(k), k)).min() {
        Some((d, k)) if d <= (name.chars().count() / 3).max(2) => format!("Did you mean \"{}\"?", shown(k)),
        _ => "Compare it with the first line of the file.".into(),
    }
}

/// Factor, offset and "amount per step" of each unit that a quantity may have.
fn units(q: Quantity) -> &'static [(&'static str, f64, f64, bool)] {
    match q {
        Quantity::Ghi | Quantity::Dni | Quantity::Dhi => &[
            ("W/m2", 1.0, 0.0, false),
            ("kW/m2", 1000.0, 0.0, false),
            ("Wh/m2", 1.0, 0.0, true),
            ("kWh/m2", 1000.0, 0.0, true),
            ("kJ/m2", 1.0 / 3.6, 0.0, true),
            ("MJ/m2", 1000.0 / 3.6, 0.0, true),
            ("J/m2", 1.0 / 3600.0, 0.0, true),
            ("J/cm2", 10_000.0 / 3600.0, 0.0, true),
        ],
        Quantity::TAmb => &[("C", 1.0, 0.0, false), ("K", 1.0, -273.15, false), ("F", 1.0 / 1.8, -32.0 / 1.8, false)],
        Quantity::Wind => &[
            ("m/s", 1.0, 0.0, false),
            ("km/h", 1.0 / 3.6, 0.0, false),
            ("kn", 1852.0 / 3600.0, 0.0, false),
            ("mph", 0.44704, 0.0, false),
        ],
        Quantity::Albedo => &[("1", 1.0, 0.0, false), ("-", 1.0, 0.0, false), ("%", 0.01, 0.0, false)],
        Quantity::Pressure => {
            &[("hPa", 1.0, 0.0, false), ("mbar", 1.0, 0.0, false), ("kPa", 10.0, 0.0, false), ("Pa", 0.01, 0.0, false)]
        }
        Quantity::Humidity => &[("%", 1.0, 0.0, false), ("1", 100.0, 0.0, false)],
        Quantity::PrecipitableWater => {
            &[("cm", 1.0, 0.0, false), ("mm", 0.1, 0.0, false), ("kg/m2", 0.1, 0.0, false), ("in", 2.54, 0.0, false)]
        }
        Quantity::Rain => &[("mm", 1.0, 0.0, false), ("cm", 10.0, 0.0, false), ("in", 25.4, 0.0, false)],
        Quantity::SnowDepth => {
            &[("cm", 1.0, 0.0, false), ("m", 100.0, 0.0, false), ("mm", 0.1, 0.0, false), ("in", 2.54, 0.0, false)]
        }
    }
}

fn unit_of(q: Quantity, unit: &str) -> Option<(f64, f64, bool)> {
    let unit = unit.replace('²', "2").replace("m^2", "m2").replace('°', "");
    let unit = if unit.is_empty() && q == Quantity::Albedo { "1" } else { unit.as_str() };
    units(q).iter().find(|(u, ..)| *u == unit).map(|&(_, times, plus, per_step)| (times, plus, per_step))
}

fn units_of(q: Quantity) -> String {
    units(q).iter().map(|(u, ..)| *u).collect::<Vec<_>>().join(", ")
}
