//! What must hold of any bytes at all at a door of the program: taken and sound, or refused with one whole message.
//!
//! The fuzz targets in `fuzz/` and the replay in `tests/doors.rs` call the same functions; each panics where a promise
//! is broken.

use std::collections::BTreeMap;
use std::io::{ErrorKind, Write};
use std::path::Path;
use std::sync::OnceLock;

use chrono::NaiveDate;
use yearlight::energy::{Plan, Scratch, SiteLight};
use yearlight::fleet::{FleetSpec, Sites};
use yearlight::job::{self, Job, JobError};
use yearlight::plane::Skyline;
use yearlight::sky::{self, SkyRecipe};
use yearlight::weather::{
    Label, Period, Place, Provenance, Quantity, RawYear, ReadHints, WeatherYear, read_raw_bytes, write_tidy,
};
use yearlight::weigh::meter::{self, MeterDoubt};

const JOB: &str = include_str!("../bad_input/job.toml");
const PARTS: &str = include_str!("../bad_input/parts.toml");

/// A door's name and its check.
pub type Door = (&'static str, fn(&[u8]));

/// Every door that needs no Parquet.
pub const TEXT_DOORS: &[Door] = &[
    ("epw", weather),
    ("tmy3", weather),
    ("two_line", weather),
    ("tidy", weather),
    ("mapped", mapped),
    ("gzip", gzip),
    ("recipe", recipe),
    ("job", job),
    ("record", record),
    ("parts", parts),
    ("parts_table", parts_table),
    ("matrix", matrix),
    ("skyline", skyline),
    ("load", load),
    ("meter", meter_readings),
    ("sites", sites),
    ("fleet", fleet_file),
];

/// The doors of Parquet.
#[cfg(feature = "tables")]
pub const TABLE_DOORS: &[Door] = &[("parquet", parquet), ("parquet_set", parquet_set)];

/// A message stands alone: it says where, what is expected and how to mend it, and carries no control characters into
/// the terminal.
fn message(text: &str, names: &str) {
    assert!(text.contains(names), "the message does not name {names}: {text:?}");
    assert!(
        text.contains("expected") || text.contains("Expected"),
        "the message does not say what is expected: {text:?}"
    );
    assert!(text.lines().count() <= 8 && text.len() < 3000, "the message is too long: {text:?}");
    assert!(!text.trim().is_empty() && text == text.trim_end(), "{text:?}");
    let control = text.chars().find(|c| c.is_control() && *c != '\n');
    assert!(control.is_none(), "a control character in a message: {text:?}");
}

/// A weather message names the file, or the key that says something about it.
fn weather_message(text: &str) {
    let key = text.starts_with("weather.") || text.starts_with("site is");
    message(text, if key { "" } else { "w.csv" });
}

fn any_days() -> ReadHints {
    ReadHints { period: Period::AnyDays, ..ReadHints::default() }
}

fn merrowby() -> Place {
    Place { name: "Merrowby".into(), latitude_deg: 52.3, longitude_deg: -1.1, elevation_m: 300.0, utc_offset_min: 0 }
}

fn map(columns: &[(&str, &str)]) -> BTreeMap<String, String> {
    columns.iter().map(|(k, v)| (k.to_string(), v.to_string())).collect()
}

/// A text file that describes itself: EPW, TMY3, two header lines, tidy.
pub fn weather(bytes: &[u8]) {
    weather_with(bytes, &any_days());
}

/// A CSV whose columns the job names; all three ways to write a time.
pub fn mapped(bytes: &[u8]) {
    let light = [("ghi", "ghi [W/m2]"), ("dni", "dni [kJ/m2]"), ("t_amb", "t_amb [K]"), ("wind", "wind [km/h]")];
    let iso = [("time", "time")];
    let parts = [("year", "year"), ("month", "month"), ("day", "day"), ("hour", "hour"), ("minute", "minute")];
    let clock = [("date", "date"), ("clock", "clock")];
    for (time, label) in
        [(iso.as_slice(), Label::Ending), (parts.as_slice(), Label::Middle), (clock.as_slice(), Label::Beginning)]
    {
        let columns = map(&[time, light.as_slice()].concat());
        let hints = ReadHints { label: Some(label), columns, place: Some(merrowby()), ..any_days() };
        weather_with(bytes, &hints);
    }
}

/// Bytes as a gzip, and the bytes in a gzip: the second must give what the bytes alone give.
pub fn gzip(bytes: &[u8]) {
    weather(bytes);
    if bytes.starts_with(&[0x1f, 0x8b]) {
        return;
    }
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    packed.write_all(bytes).expect("writing to memory");
    let packed = packed.finish().expect("writing to memory");
    let hints = ReadHints { no_checksum: true, ..any_days() };
    match (read_raw_bytes("w.csv", bytes, &hints), read_raw_bytes("w.csv", &packed, &hints)) {
        (Ok(a), Ok(b)) => same(&a, &b),
        (Err(a), Err(b)) => assert_eq!(a.to_string(), b.to_string()),
        (a, b) => panic!("plain {:?}, packed {:?}", a.is_ok(), b.is_ok()),
    }
}

/// Bits of every column.
fn bits(raw: &RawYear) -> Vec<Option<Vec<u64>>> {
    raw.columns.iter().map(|c| c.as_ref().map(|c| c.iter().map(|x| x.to_bits()).collect())).collect()
}

fn same(a: &RawYear, b: &RawYear) {
    assert!(a.days == b.days && a.steps_per_day == b.steps_per_day && a.place == b.place && a.lines == b.lines);
    assert!(bits(a) == bits(b), "two readings of one file differ");
}

fn weather_with(bytes: &[u8], hints: &ReadHints) {
    let raw = match read_raw_bytes("w.csv", bytes, hints) {
        Ok(raw) => raw,
        Err(e) => return weather_message(&e.to_string()),
    };
    let n = raw.len();
    assert!(n > 0 && raw.steps_per_day > 0 && 1440 % raw.steps_per_day == 0);
    assert!(raw.days.windows(2).all(|w| w[0] != w[1]));
    assert_eq!(raw.lines.len(), n);
    assert!(raw.columns.iter().flatten().all(|c| c.len() == n && c.iter().all(|x| !x.is_infinite())));
    place(&raw.place);
    // A remark line sends the whole file through the careful reader; both readers must agree to the bit.
    if !bytes.starts_with(&[0x1f, 0x8b]) && !bytes.contains(&b'"') && !bytes.ends_with(b"\r") {
        let longer = [bytes, b"\n# the end\n"].concat();
        match read_raw_bytes("w.csv", &longer, hints) {
            Ok(careful) => same(&raw, &careful),
            Err(e) => panic!("only the fast reader takes it: {e}"),
        }
    }
    let year = match sky::complete(raw.clone(), hints) {
        Ok(year) => year,
        Err(e) => return weather_message(&e.to_string()),
    };
    sound_year(&year);
    let (inspection, _) = sky::inspect(raw, hints);
    assert!(!serde_json::to_string(&inspection).expect("an inspection is JSON").is_empty());
    if n <= 24 * 62 {
        let mut tidy = Vec::new();
        write_tidy(&year, &mut tidy).expect("writing to memory");
        let back = sky::read_bytes("t", &tidy, &any_days())
            .unwrap_or_else(|e| panic!("the tidy file is refused: {e}\n{}", String::from_utf8_lossy(&tidy)));
        assert_eq!(back.days, year.days);
        for q in Quantity::ALL {
            assert!(year.column(q) == back.column(q), "{} changes in the tidy file", q.name());
        }
        assert!(year.place == back.place, "{:?} becomes {:?}", year.place, back.place);
    }
}

fn place(p: &Place) {
    assert!(p.latitude_deg.abs() <= 90.0 && p.longitude_deg.abs() <= 180.0 && p.elevation_m.is_finite());
    assert!(p.utc_offset_min.abs() <= 14 * 60);
}

fn sound_year(year: &WeatherYear) {
    place(&year.place);
    assert!(year.wind_height_m > 0.0 && year.wind_height_m.is_finite(), "wind height {}", year.wind_height_m);
    for q in Quantity::ALL {
        let Some(column) = year.column(q) else { continue };
        let (low, high) = q.possible();
        assert_eq!(column.len(), year.len());
        let odd = column.iter().find(|x| !(low..=high).contains(*x));
        assert!(odd.is_none(), "{} is {odd:?}", q.name());
    }
}

/// A recipe of a made sky.
pub fn recipe(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    match SkyRecipe::parse("recipe.toml", text) {
        Ok(recipe) => match recipe.make("recipe.toml") {
            Ok(year) => {
                assert!(year.is_whole_year());
                sound_year(&year);
            }
            Err(e) => message(&e.to_string(), "recipe.toml"),
        },
        Err(e) => {
            let text = e.to_string();
            assert!(text.contains("recipe.toml") && !text.chars().any(|c| c.is_control() && c != '\n'), "{text:?}");
        }
    }
}

/// One day of each month, clear and dull in turn: enough to run every stage.
fn twelve_days() -> &'static WeatherYear {
    static YEAR: OnceLock<WeatherYear> = OnceLock::new();
    YEAR.get_or_init(|| {
        let days: Vec<NaiveDate> = (1..=12).filter_map(|m| NaiveDate::from_ymd_opt(2021, m, 15)).collect();
        let n = days.len() * 24;
        let sun = |i: usize| ((i % 24) as f64 - 6.0) / 12.0 * std::f64::consts::PI;
        let up = |i: usize| if (6..18).contains(&(i % 24)) { sun(i).sin().max(0.0) } else { 0.0 };
        let clear = |i: usize| if (i / 24).is_multiple_of(2) { 1.0 } else { 0.2 };
        WeatherYear {
            place: merrowby(),
            days,
            steps_per_day: 24,
            ghi: (0..n).map(|i| 600.0 * up(i) * clear(i)).collect(),
            dni: (0..n).map(|i| if up(i) > 0.0 { 700.0 * clear(i) * clear(i) } else { 0.0 }).collect(),
            dhi: (0..n).map(|i| 150.0 * up(i)).collect(),
            t_amb: (0..n).map(|i| 10.0 + 8.0 * (i as f64 / 24.0).sin()).collect(),
            wind: (0..n).map(|i| 3.0 + (i as f64).cos()).collect(),
            wind_height_m: 10.0,
            albedo: None,
            pressure: None,
            humidity_pct: None,
            precipitable_water_cm: None,
            rain_mm: Some(vec![0.0; n]),
            snow_depth_cm: Some((0..n).map(|i| if i < 48 { 5.0 } else { 0.0 }).collect()),
            provenance: Provenance::default(),
        }
    })
}

fn load_job(name: &str, text: &str, files: &[(&str, &[u8])]) -> Result<Job, JobError> {
    let mut loader = |path: &Path| {
        let name = path.to_str().unwrap_or("");
        match files.iter().find(|(n, _)| *n == name) {
            Some((_, bytes)) => Ok(bytes.to_vec()),
            None => Err(ErrorKind::NotFound.into()),
        }
    };
    job::from_text(name, text, Path::new(""), &mut loader)
}

/// A taken job must be sound and give finite energy, a refused one must say where, what and how.
fn sound_job(name: &str, text: &str, files: &[(&str, &[u8])]) {
    let job = match load_job(name, text, files) {
        Ok(job) => job,
        Err(error) => {
            let fault = error.fault();
            assert!(!fault.found.is_empty() && !fault.expected.is_empty() && !fault.mend.is_empty(), "{error}");
            assert!(!fault.at.file.is_empty(), "{error}");
            return message(&error.to_string(), &fault.at.file);
        }
    };
    assert!(!job.options.is_empty() && !job.spec.plane.is_empty());
    let record = job.record();
    assert!(!record["job"].to_string().contains("null"), "a number is lost: {record}");
    let repeated = load_job("run.json", &record.to_string(), files).unwrap_or_else(|e| panic!("no record: {e}"));
    assert!(repeated.record() == record, "the record does not repeat");
    // Large roofs and very many modules take long; the physics of a small one is the same.
    let small = |o: &job::ResolvedOption| o.n_modules.is_some_and(|n| n <= 2000) && o.strings.len() <= 200;
    let plain = |p: &yearlight::plane::PlaneSpec| p.size_m.is_none() && p.outline_m.is_empty();
    if !job.options.iter().all(small) || !job.spec.plane.iter().all(plain) || job.spec.plane.len() > 8 {
        return;
    }
    let mut job = job;
    job.load_kw.resize(if job.load_kw.is_empty() { 0 } else { twelve_days().len() }, 1.0);
    let Ok(skyline) = Skyline::new(&job.skyline) else { panic!("a checked skyline is refused") };
    let site = SiteLight::over(twelve_days(), &job.spec.plane, &skyline, job.spec.sky_model);
    let plan = match Plan::on(&job, twelve_days(), site) {
        Ok(plan) => plan,
        Err(e) => {
            let text = e.to_string();
            assert!(!text.is_empty() && !text.chars().any(|c| c.is_control() && c != '\n'), "{text:?}");
            return;
        }
    };
    let mut scratch = Scratch::default();
    for option in &plan.options {
        let year = plan.year(option, &mut scratch);
        let e = year.e_ac_kwh();
        assert!(e.is_finite() && year.e_dc_kwh().is_finite() && year.e_dc_kwh() >= 0.0, "{e} kWh");
        let scale = year.account.lines.iter().map(|l| l.kwh().abs()).fold(1.0, f64::max);
        assert!(year.account.residual_kwh().abs() <= 1e-9 * scale, "a residual of {}", year.account.residual_kwh());
    }
}

fn text_of(bytes: &[u8]) -> Option<&str> {
    std::str::from_utf8(bytes).ok()
}

/// A job file.
pub fn job(bytes: &[u8]) {
    if let Some(text) = text_of(bytes) {
        sound_job("job.toml", text, &[("parts.toml", PARTS.as_bytes())]);
    }
}

/// A run record.
pub fn record(bytes: &[u8]) {
    if let Some(text) = text_of(bytes) {
        sound_job("run.json", text, &[("parts.toml", PARTS.as_bytes())]);
    }
}

/// The job with its two options on a plane without dimensions, so that it runs at once.
fn open_job() -> &'static str {
    static TEXT: OnceLock<String> = OnceLock::new();
    TEXT.get_or_init(|| {
        let text: Vec<&str> = JOB
            .lines()
            .filter(|l| !["size_m", "setback_m", "obstacles", "strings = [20"].iter().any(|k| l.starts_with(k)))
            .collect();
        text.join("\n")
    })
}

/// A parts file, alone and under a job.
pub fn parts(bytes: &[u8]) {
    let mut loader = |path: &Path| match path.to_str() {
        Some("parts.toml") => Ok(bytes.to_vec()),
        _ => Err(ErrorKind::NotFound.into()),
    };
    match job::parts(Path::new("parts.toml"), &mut loader) {
        Ok(parts) => assert!(parts.modules.values().all(|m| m.p_stc_w.is_finite() && m.p_stc_w > 0.0)),
        Err(e) => message(&e.to_string(), "parts.toml"),
    }
    sound_job("job.toml", open_job(), &[("parts.toml", bytes)]);
}

/// A table of modules.
pub fn parts_table(bytes: &[u8]) {
    let parts = format!("module_table = \"mods.csv\"\n{}", &PARTS[PARTS.find("[inverter").unwrap_or(0)..]);
    sound_job("job.toml", open_job(), &[("parts.toml", parts.as_bytes()), ("mods.csv", bytes)]);
}

/// A measured matrix of a module.
pub fn matrix(bytes: &[u8]) {
    let parts = PARTS.replacen("a_r = 0.16", "a_r = 0.16\nmatrix = \"matrix.csv\"", 1);
    sound_job("job.toml", open_job(), &[("parts.toml", parts.as_bytes()), ("matrix.csv", bytes)]);
}

/// A skyline, as a file of the job and through the reader of its own.
pub fn skyline(bytes: &[u8]) {
    let job = open_job().replacen("skyline = [[90, 2], [180, 5], [270, 2]]", "skyline = \"hills.csv\"", 1);
    sound_job("job.toml", &job, &[("parts.toml", PARTS.as_bytes()), ("hills.csv", bytes)]);
    let Some(text) = text_of(bytes) else { return };
    match Skyline::read_csv(text) {
        Ok(line) => {
            for azimuth in [0.0, 17.3, 180.0, 359.99] {
                assert!((0.0..=90.0).contains(&line.elevation_deg(azimuth)));
            }
            assert!((0.0..=1.0).contains(&line.sky_kept(30.0, 180.0)));
        }
        Err(e) => message(&e.to_string(), "skyline"),
    }
}

/// An hourly load.
pub fn load(bytes: &[u8]) {
    let job = open_job().replacen("export_limit_kw = 30.0", "export_limit_kw = 30.0\nload = \"load.csv\"", 1);
    sound_job("job.toml", &job, &[("parts.toml", PARTS.as_bytes()), ("load.csv", bytes)]);
}

/// Readings of a meter, against a model that expects some energy by day.
pub fn meter_readings(bytes: &[u8]) {
    static YEAR: OnceLock<WeatherYear> = OnceLock::new();
    let year = YEAR.get_or_init(|| {
        let mut year = twelve_days().clone();
        year.days = NaiveDate::from_ymd_opt(2021, 1, 1).map_or(Vec::new(), |d| d.iter_days().take(365).collect());
        year
    });
    let Some(text) = text_of(bytes) else { return };
    for label in [Label::Beginning, Label::Ending, Label::Middle] {
        let readings = match meter::read("m.csv", text, label, 33.0) {
            Ok(readings) => readings,
            Err(e) => {
                message(&e.to_string(), "m.csv");
                continue;
            }
        };
        assert!(!readings.readings.is_empty());
        for r in &readings.readings {
            assert!(r.kwh.is_finite() && r.from < r.to && r.line > 0);
        }
        let kwh: Vec<f64> = (0..365 * 24).map(|i| if (6..18).contains(&(i % 24)) { 7.5 } else { 0.0 }).collect();
        let expected = meter::on_calendar(year, &kwh, &readings);
        let doubt = MeterDoubt { u_model_pct: 4.0, year_to_year_pct: 4.0, p_stc_kw: 40.0, dead_from: 0.03 };
        if let Some(study) = meter::compare(&readings, &expected, &doubt) {
            let numbers = [study.metered_kwh, study.expected_kwh, study.ratio, study.u_pct, study.detectable_pct];
            assert!(numbers.iter().all(|x| x.is_finite()), "{numbers:?}");
        }
    }
}

/// A table of sites.
pub fn sites(bytes: &[u8]) {
    for per_part in [1, 64] {
        let sites = match Sites::from_csv(Path::new("sites.csv"), bytes.to_vec(), false, per_part) {
            Ok(sites) => sites,
            Err(e) => return message(&e.to_string(), "sites.csv"),
        };
        let mut next = 0;
        for part in 0..sites.parts() {
            for row in sites.part(part) {
                assert_eq!(row.index, next);
                next += 1;
                match row.cells {
                    Ok(cells) => assert_eq!(cells.len(), sites.header.len()),
                    Err(e) => assert!(!e.is_empty()),
                }
            }
        }
        assert_eq!(next, sites.rows, "a row is lost between the parts");
    }
}

/// A fleet file.
pub fn fleet_file(bytes: &[u8]) {
    let Some(text) = text_of(bytes) else { return };
    match FleetSpec::from_text(Path::new("fleet.toml"), text) {
        Ok(spec) => assert!((1..=10_000).contains(&spec.sites_per_part)),
        Err(e) => message(&e.to_string(), "fleet.toml"),
    }
}

#[cfg(feature = "tables")]
fn on_disk(bytes: &[u8]) -> std::path::PathBuf {
    let memory = Path::new("/dev/shm");
    let folder = if memory.is_dir() { memory.to_path_buf() } else { std::env::temp_dir() };
    // A name for each thread, so that nobody changes the file while another reads it.
    let name = format!("yearlight-door-{}-{:?}.parquet", std::process::id(), std::thread::current().id());
    let path = folder.join(name);
    std::fs::write(&path, bytes).expect("a scratch file");
    path
}

/// One weather year as Parquet.
#[cfg(feature = "tables")]
pub fn parquet(bytes: &[u8]) {
    let path = on_disk(bytes);
    match yearlight::cli::weather_file::read_raw(&path, &any_days()) {
        Ok(raw) => {
            assert!(raw.columns.iter().flatten().all(|c| c.len() == raw.len()));
            match sky::complete(raw, &any_days()) {
                Ok(year) => sound_year(&year),
                Err(e) => message(&e.to_string(), "yearlight-door"),
            }
        }
        Err(e) => message(&e.to_string(), "yearlight-door"),
    }
}

/// The years of many sites as Parquet.
#[cfg(feature = "tables")]
pub fn parquet_set(bytes: &[u8]) {
    let path = on_disk(bytes);
    match yearlight::fleet::WeatherSet::open(&path, Label::Beginning) {
        Ok(set) => {
            let hints = ReadHints { place: Some(merrowby()), ..any_days() };
            for site in ["m", "s1", ""] {
                match set.year(site, &hints) {
                    Ok(year) => sound_year(&year),
                    Err(e) => message(&e, "yearlight-door"),
                }
            }
        }
        Err(e) => message(&e.to_string(), "yearlight-door"),
    }
}
