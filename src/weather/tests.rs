use std::io::Write;

use proptest::prelude::*;

use super::body::{Column, Layout, TimeColumns};
use super::*;

fn mapped_hints(label: Label, place: &Place) -> ReadHints {
    let columns = [
        ("time", "time"),
        ("ghi", "ghi [W/m2]"),
        ("dni", "dni [W/m2]"),
        ("dhi", "dhi [W/m2]"),
        ("t_amb", "temp [C]"),
        ("wind", "wind [m/s]"),
    ];
    ReadHints {
        label: Some(label),
        columns: columns.iter().map(|(a, b)| (a.to_string(), b.to_string())).collect(),
        place: Some(place.clone()),
        ..ReadHints::default()
    }
}

fn light_and_air(raw: &RawYear, y: &WeatherYear) {
    assert_eq!(raw.days, y.days);
    assert_eq!(raw.steps_per_day, y.steps_per_day);
    for (q, column) in [
        (Quantity::Ghi, &y.ghi),
        (Quantity::Dni, &y.dni),
        (Quantity::Dhi, &y.dhi),
        (Quantity::TAmb, &y.t_amb),
        (Quantity::Wind, &y.wind),
    ] {
        assert_eq!(raw.get(q), Some(column.as_slice()), "{}", q.name());
    }
    assert!(raw.faults.is_empty());
}

fn plain_read(text: &str) -> RawYear {
    read_raw_bytes("x", text.as_bytes(), &ReadHints::default()).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn one_year_under_three_labels_is_one_year() {
    for per_day in [24, 48, 144] {
        let y = specimen::year(per_day);
        for label in [Label::Ending, Label::Beginning, Label::Middle] {
            if label == Label::Middle && (1440 / per_day) % 2 == 1 {
                continue;
            }
            let text = specimen::csv(&y, label);
            let raw = read_raw_bytes("x.csv", text.as_bytes(), &mapped_hints(label, &y.place)).unwrap();
            light_and_air(&raw, &y);
        }
    }
}

#[test]
fn a_month_end_at_midnight_stays_in_its_month() {
    let y = specimen::year(24);
    let raw = plain_read(&specimen::tmy3(&y));
    light_and_air(&raw, &y);
    // The 24:00 row of 31 January 2003 stands before February 1990.
    assert_eq!(raw.when(31 * 24 - 1), "31 Jan 2003 23:00");
    assert_eq!(raw.when(31 * 24), "1 Feb 1990 00:00");
}

#[test]
fn every_layout_gives_the_same_columns() {
    for per_day in [24, 48, 288, 1440] {
        let mut y = specimen::year(24);
        if per_day > 24 {
            y = specimen::on_days(y.days[..70].to_vec(), per_day);
        }
        let epw = plain_read(&specimen::epw(&y));
        light_and_air(&epw, &y);
        assert_eq!(epw.get(Quantity::Pressure), y.pressure.as_deref());
        assert_eq!(epw.get(Quantity::PrecipitableWater), y.precipitable_water_cm.as_deref());
        assert_eq!(epw.place, y.place);
        light_and_air(&plain_read(&specimen::epw(&y).replace('\r', "")), &y);
        if per_day == 24 {
            light_and_air(&plain_read(&specimen::two_line(&y, Label::Middle)), &y);
        }
    }
}

#[test]
fn leap_years_keep_their_day() {
    let first = chrono::NaiveDate::from_ymd_opt(2004, 1, 1).unwrap();
    let y = specimen::on_days(first.iter_days().take(366).collect(), 24);
    light_and_air(&plain_read(&specimen::epw(&y)), &y);
}

#[test]
fn an_ending_row_of_midnight_first_goes_to_the_end() {
    let y = specimen::on_days(chrono::NaiveDate::from_ymd_opt(2005, 1, 1).unwrap().iter_days().take(365).collect(), 24);
    let beginning = specimen::csv(&y, Label::Beginning);
    let raw = read_raw_bytes("x", beginning.as_bytes(), &mapped_hints(Label::Ending, &y.place)).unwrap();
    assert_eq!(raw.days, y.days);
    assert!(raw.faults.is_empty(), "{:?}", raw.faults);
    let ghi = raw.get(Quantity::Ghi).unwrap();
    assert_eq!(ghi[8], y.ghi[9]);
    assert_eq!(raw.get(Quantity::TAmb).unwrap()[8759], y.t_amb[0]);
}

#[test]
fn instants_become_means_between_them() {
    let y = specimen::year(48);
    let text = specimen::two_line(&y, Label::Beginning);
    let raw = plain_read(&text);
    assert!(raw.provenance.notes.iter().any(|n| n.code == "weather.instants"));
    let ghi = raw.get(Quantity::Ghi).unwrap();
    assert_eq!(ghi[20], 0.5 * (y.ghi[20] + y.ghi[21]));
}

#[test]
fn wind_is_measured_above_the_ground() {
    let mut out = Vec::new();
    write_tidy(&specimen::year(24), &mut out).unwrap();
    let text = String::from_utf8(out).unwrap();
    for height in ["0", "-10", "201"] {
        let changed = text.replace("# wind_height_m: 10", &format!("# wind_height_m: {height}"));
        let e = read_raw_bytes("t.csv", changed.as_bytes(), &ReadHints::default()).unwrap_err().to_string();
        assert!(e.starts_with(&format!("t.csv:1: wind_height_m is {height}; expected more than 0")), "{e}");
    }
}

#[test]
fn tidy_returns_the_same_bits() {
    let mut y = specimen::year(24);
    y.t_amb[17] = -12.345_678_901_234_567;
    y.ghi[12] = 1.0 / 3.0;
    y.place.latitude_deg = 40.123_456_789_012_3;
    y.rain_mm = Some((0..y.len()).map(|i| 0.1 * (i % 3) as f64).collect());
    let mut out = Vec::new();
    write_tidy(&y, &mut out).unwrap();
    for packed in [false, true] {
        let bytes = if packed {
            let mut gz = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
            gz.write_all(&out).unwrap();
            gz.finish().unwrap()
        } else {
            out.clone()
        };
        let raw = read_raw_bytes("t", &bytes, &ReadHints::default()).unwrap();
        light_and_air(&raw, &y);
        assert_eq!(raw.place, y.place);
        for q in Quantity::ALL {
            let bits = |c: Option<&[f64]>| c.map(|c| c.iter().map(|v| v.to_bits()).collect::<Vec<_>>());
            assert_eq!(bits(raw.get(q)), bits(y.column(q)), "{}", q.name());
        }
    }
}

#[test]
fn units_are_converted() {
    let y = specimen::year(48);
    let text = specimen::csv(&y, Label::Ending);
    let mut hints = mapped_hints(Label::Ending, &y.place);
    hints.columns.insert("ghi".into(), "ghi [Wh/m2]".into());
    hints.columns.insert("t_amb".into(), "temp [F]".into());
    hints.columns.insert("wind".into(), "wind [km/h]".into());
    let raw = read_raw_bytes("x", text.as_bytes(), &hints).unwrap();
    // Half an hour: an amount in Wh per step is twice that in W.
    assert_eq!(raw.get(Quantity::Ghi).unwrap()[24], 2.0 * y.ghi[24]);
    assert!((raw.get(Quantity::TAmb).unwrap()[24] - (y.t_amb[24] - 32.0) / 1.8).abs() < 1e-12);
    assert!((raw.get(Quantity::Wind).unwrap()[24] - y.wind[24] / 3.6).abs() < 1e-12);
}

fn message(name: &str, bytes: &[u8], hints: &ReadHints) -> String {
    let text = read_raw_bytes(name, bytes, hints).unwrap_err().to_string();
    assert!(text.contains("expected") && text.contains('\n'), "no way to mend it: {text}");
    text
}

#[test]
fn bad_input_is_named() {
    let plain = ReadHints::default();
    let y = specimen::year(24);
    let epw = specimen::epw(&y);
    assert!(
        read_raw(std::path::Path::new("no/such/file.epw"), &plain).err().unwrap().to_string().contains("no such file")
    );
    assert!(read_raw(std::path::Path::new("src"), &plain).err().unwrap().to_string().contains("directory"));
    assert!(message("e", b"", &plain).contains("empty"));
    assert!(message("e", b"  \n\n", &plain).contains("blanks"));
    assert!(message("b", &[0x7f, b'E', b'L', b'F', 0, 0, 1], &plain).contains("zero byte"));
    assert!(message("b", b"time;x\n", &plain).contains("[weather.columns]"));
    // Not UTF-8, line 12.
    let mut bytes = epw.clone().into_bytes();
    let at = memchr::memchr_iter(b'\n', &bytes).nth(10).unwrap();
    bytes[at + 30] = 0xff;
    assert!(message("x.epw", &bytes, &plain).starts_with("x.epw:12: a byte that is no UTF-8"));
    // Text where a number should be; inf.
    let line = |n: usize, from: &str, to: &str| {
        let mut lines: Vec<String> = epw.split("\r\n").map(str::to_string).collect();
        lines[n - 1] = lines[n - 1].replacen(from, to, 1);
        lines.join("\r\n")
    };
    let wind = format!(",180,{:.1},", y.wind[11]);
    let text = message("x.epw", line(20, &wind, ",180,calm,").as_bytes(), &plain);
    assert!(text.starts_with("x.epw:20: wind speed is \"calm\"; expected a number"), "{text}");
    assert!(message("x.epw", line(20, &wind, ",180,inf,").as_bytes(), &plain).contains("\"inf\""));
    assert!(message("x.epw", line(20, ",180,", ",").as_bytes(), &plain).contains("x.epw:20: 34 cells; expected 35"));
    assert!(message("x.epw", line(20, "2003,1,1,12,", "2003,2,30,12,").as_bytes(), &plain).contains("2003,2,30"));
    assert!(message("x.epw", line(20, "2003,1,1,12,", "2003,1,1,25,").as_bytes(), &plain).contains("hour"));
    // The header.
    let text = message("x.epw", line(1, "40.5,-80.25", "-120.25,40.5").as_bytes(), &plain);
    assert!(text.contains("swapped"), "{text}");
    assert!(message("x.epw", line(1, "40.5", "north").as_bytes(), &plain).contains("latitude is \"north\""));
    let cut: String = epw.split_inclusive('\n').take(5).collect();
    assert!(message("x.epw", cut.as_bytes(), &plain).contains("header ends early"));
    let cut: String = epw.split_inclusive('\n').take(8).collect();
    assert!(message("x.epw", cut.as_bytes(), &plain).contains("ends after its header"));
    // A row out of order.
    let mut lines: Vec<&str> = epw.split_inclusive('\n').collect();
    lines.swap(100, 300);
    assert!(message("x.epw", lines.concat().as_bytes(), &plain).contains("comes after"));
    // Broken gzip.
    assert!(message("x.gz", &[0x1f, 0x8b, 8, 0, 1, 2, 3], &plain).contains("gzip"));
}

#[test]
fn bad_hints_are_named() {
    let y = specimen::year(24);
    let text = specimen::csv(&y, Label::Ending);
    let hints = mapped_hints(Label::Ending, &y.place);
    let with = |change: &dyn Fn(&mut ReadHints)| {
        let mut h = hints.clone();
        change(&mut h);
        message("x.csv", text.as_bytes(), &h)
    };
    assert!(with(&|h| h.label = None).starts_with("weather.label is missing"));
    assert!(with(&|h| h.place = None).starts_with("site is missing"));
    let unknown = with(&|h| drop(h.columns.insert("ghi".into(), "gih [W/m2]".into())));
    assert!(unknown.contains("Did you mean \"ghi\"?"), "{unknown}");
    assert!(with(&|h| drop(h.columns.insert("gih".into(), "ghi [W/m2]".into()))).contains("no known quantity"));
    assert!(with(&|h| drop(h.columns.insert("ghi".into(), "ghi".into()))).contains("kJ/m2"));
    assert!(with(&|h| drop(h.columns.insert("t_amb".into(), "temp [R]".into()))).contains("C, K, F"));
    assert!(with(&|h| drop(h.columns.remove("time"))).contains("weather.columns.time"));
    assert!("sideways".parse::<Label>().unwrap_err().to_string().contains("ending, beginning or middle"));
}

#[test]
fn doubles_and_gaps_are_located() {
    let y = specimen::year(24);
    let text = specimen::csv(&y, Label::Ending);
    let mut lines: Vec<&str> = text.split_inclusive('\n').collect();
    lines.insert(50, lines[49]);
    lines.drain(2000..2003);
    let raw = read_raw_bytes("x", lines.concat().as_bytes(), &mapped_hints(Label::Ending, &y.place)).unwrap();
    assert_eq!(raw.len(), 8760);
    let kinds: Vec<_> = raw.faults.iter().map(|f| (f.kind, f.line, f.steps)).collect();
    assert_eq!(kinds, [(FaultKind::Duplicate, 51, 1), (FaultKind::Gap, 2000, 3)]);
    assert_eq!(raw.get(Quantity::Ghi).unwrap().iter().filter(|v| v.is_nan()).count(), 3);
}

#[test]
fn codes_for_missing_values_are_not_data() {
    let y = specimen::year(24);
    let mut epw = specimen::epw(&y);
    let from = format!(",{},{},{},0,0,0,0,180", y.ghi[12], y.dni[12], y.dhi[12]);
    epw = epw.replacen(&from, ",9999,9999,9999,0,0,0,0,180", 1);
    let raw = plain_read(&epw);
    for q in [Quantity::Ghi, Quantity::Dni, Quantity::Dhi] {
        assert_eq!(raw.get(q).unwrap().iter().filter(|v| v.is_nan()).count(), 1);
    }
}

fn small_layout(n: usize) -> Layout {
    Layout {
        fields: n,
        delimiter: b',',
        time: TimeColumns::Iso { at: 0 },
        columns: (1..n)
            .map(|at| Column {
                quantity: Quantity::Ghi,
                at,
                name: format!("c{at}"),
                missing: &[],
                times: 1.0,
                plus: 0.0,
                per_step: false,
            })
            .collect(),
    }
}

/// Where the fast reader answers at all, it answers as the careful one, bit for bit.
fn agree(text: &[u8], layout: &Layout) {
    if let Some(fast) = fast::parse(text, layout, 1) {
        let careful =
            careful::parse("x", text, layout, 1).unwrap_or_else(|e| panic!("only the fast reader took it: {e}"));
        assert_eq!(fast.stamps, careful.stamps);
        let bits = |b: &body::Body| {
            b.values.iter().map(|c| c.iter().map(|v| v.to_bits()).collect::<Vec<_>>()).collect::<Vec<_>>()
        };
        assert_eq!(bits(&fast), bits(&careful));
        assert!((0..fast.stamps.len()).all(|i| fast.line(i) == careful.line(i)));
    }
}

#[test]
fn the_fast_reader_serves_good_files() {
    let y = specimen::year(24);
    for text in [specimen::epw(&y), specimen::tmy3(&y), specimen::csv(&y, Label::Ending)] {
        let hints = mapped_hints(Label::Ending, &y.place);
        let head = formats::header("x", text.as_bytes(), &hints).unwrap();
        let rows = &text.as_bytes()[head.body_at..];
        let fast = fast::parse(rows, &head.layout, 1).expect("taken by the fast reader");
        assert_eq!(fast.stamps.len(), 8760);
        agree(rows, &head.layout);
    }
}

/// A row is compared with the text of the next hour: a text that only looks like it is no time.
#[test]
fn the_next_hour_is_a_time() {
    let layout = small_layout(2);
    let day = |hours: &[&str]| hours.iter().map(|h| format!("2003-01-31T{h}:00,5\n")).collect::<String>();
    for bad in [["09", "0:"], ["19", "1:"], ["24", "25"], ["29", "30"]] {
        let text = day(&bad);
        assert!(fast::parse(text.as_bytes(), &layout, 1).is_none(), "{text}");
        assert!(careful::parse("x", text.as_bytes(), &layout, 1).is_err());
    }
    for good in [["09", "10"], ["19", "20"], ["23", "24"], ["07", "09"], ["08", "08"], ["08", "07"]] {
        let text = day(&good);
        assert!(fast::parse(text.as_bytes(), &layout, 1).is_some(), "{text}");
        agree(text.as_bytes(), &layout);
    }
    let parts = Layout {
        fields: 6,
        time: TimeColumns::Parts { year: 0, month: 1, day: 2, hour: 3, minute: Some(4) },
        columns: vec![Column { at: 5, ..layout.columns[0].clone() }],
        ..layout
    };
    let text = |hours: &[&str]| hours.iter().map(|h| format!("2003,1,31,{h},60,5\r\n")).collect::<String>();
    for good in [["8", "9"], ["9", "10"], ["18", "19"], ["08", "09"], ["23", "24"], ["9", "08"]] {
        let text = text(&good);
        assert!(fast::parse(text.as_bytes(), &parts, 1).is_some(), "{text}");
        agree(text.as_bytes(), &parts);
    }
    for bad in [["9", ":"], ["19", "1:"], ["24", "25"]] {
        assert!(fast::parse(text(&bad).as_bytes(), &parts, 1).is_none());
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]
    #[test]
    fn fast_and_careful_agree_on_numbers(
        cells in prop::collection::vec("-?[0-9]{1,9}(\\.[0-9]{0,7})?|[0-9]{0,3}\\.[0-9]{1,3}|-|\\.|[0-9]{1,2}e[0-9]|[ 0-9.x\"#,]{0,5}", 1..6),
        rows in 1..5_usize,
        end in prop::bool::ANY,
        crlf in prop::bool::ANY,
    ) {
        let layout = small_layout(cells.len() + 1);
        let eol = if crlf { "\r\n" } else { "\n" };
        let mut text = String::new();
        for r in 0..rows {
            text += &format!("2003-01-31T{:02}:00,{}{eol}", r + 1, cells.join(","));
        }
        if !end {
            text.truncate(text.len() - eol.len());
        }
        agree(text.as_bytes(), &layout);
    }

    #[test]
    fn fast_and_careful_agree_on_damaged_files(
        changes in prop::collection::vec((0..3000_usize, 0..4_u8, prop::num::u8::ANY), 1..4)
    ) {
        static TEXT: std::sync::OnceLock<String> = std::sync::OnceLock::new();
        let text = TEXT.get_or_init(|| specimen::epw(&specimen::year(24)).split_inclusive('\n').take(8 + 16).collect());
        let bytes = damaged(text, changes);
        if let Ok(head) = formats::header("x", &bytes, &ReadHints::default()) {
            agree(&bytes[head.body_at..], &head.layout);
        }
        let _ = read_raw_bytes("x", &bytes, &ReadHints::default());
    }
}

/// A pipe gives its bytes once, to whoever opens it first.
#[cfg(unix)]
#[test]
fn a_pipe_is_read_whole() {
    let dir = tempfile::tempdir().unwrap();
    let pipe = dir.path().join("w.epw");
    assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let text = specimen::epw(&specimen::year(24));
    let writer = {
        let (pipe, text) = (pipe.clone(), text.clone());
        std::thread::spawn(move || std::fs::write(pipe, text))
    };
    let raw = read_raw(&pipe, &ReadHints::default()).unwrap();
    writer.join().unwrap().unwrap();
    let whole = read_raw_bytes(&pipe.display().to_string(), text.as_bytes(), &ReadHints::default()).unwrap();
    assert_eq!((raw.lines, raw.provenance.sha256), (whole.lines, whole.provenance.sha256));
}

/// A text with some bytes changed, removed or added.
fn damaged(text: &str, changes: Vec<(usize, u8, u8)>) -> Vec<u8> {
    let mut bytes = text.as_bytes().to_vec();
    for (at, how, byte) in changes {
        let at = at % bytes.len();
        match how {
            0 => bytes[at] = byte,
            1 => drop(bytes.remove(at)),
            2 => bytes.insert(at, byte),
            _ => bytes[at] = b",\n.-09\r "[byte as usize % 8],
        }
    }
    bytes
}

/// A file read block by block gives what it gives when it is read whole, if it is read so at all.
fn agree_in_blocks(bytes: &[u8], block: usize, hints: &ReadHints) -> bool {
    match read::in_blocks("x", bytes, bytes.len() as u64, block, hints) {
        Some(raw) => {
            let apart = |raw: Result<RawYear, WeatherError>| match raw {
                Ok(mut raw) => {
                    let columns = std::mem::take(&mut raw.columns);
                    let bits = columns.map(|c| c.map(|c| c.iter().map(|v| v.to_bits()).collect::<Vec<_>>()));
                    (Some(bits), format!("{raw:?}"))
                }
                Err(e) => (None, e.to_string()),
            };
            assert!(apart(raw) == apart(read_raw_bytes("x", bytes, hints)));
            true
        }
        None => false,
    }
}

#[test]
fn blocks_of_any_size_give_the_same_year() {
    let y = specimen::year(24);
    let hints = mapped_hints(Label::Ending, &y.place);
    let mut tidy = Vec::new();
    write_tidy(&y, &mut tidy).unwrap();
    let marked = [b"\xef\xbb\xbf", tidy.as_slice()].concat();
    let texts = [specimen::epw(&y), specimen::tmy3(&y), specimen::csv(&y, Label::Ending)]
        .map(|text| text.replace("\r\n", "\n").into_bytes());
    for text in texts.into_iter().chain([tidy, marked]) {
        let unended = &text[..text.len() - 1];
        let returns: Vec<u8> = String::from_utf8(text.clone()).unwrap().replace('\n', "\r\n").into();
        // The last sizes end with the file, and one byte before and after it.
        for block in [4_000, 10_007, 100_000, 1 << 17, text.len() - 1, text.len(), text.len() + 1] {
            assert!(agree_in_blocks(&text, block, &hints), "{block}");
            assert!(agree_in_blocks(unended, block, &hints), "{block} without the last line end");
            assert!(agree_in_blocks(&returns, block, &hints), "{block} with carriage returns");
        }
        // A row, or the header, is longer than the block.
        assert!(!agree_in_blocks(&text, 20, &hints));
    }
    // A file may be longer or shorter than it was said to be.
    for len in [0, 100, 1 << 26] {
        let text = specimen::tmy3(&y);
        let raw = read::in_blocks("x", text.as_bytes(), len, 10_007, &hints).unwrap().unwrap();
        assert_eq!(raw.lines.len(), y.len());
    }
    let gone = ReadHints { no_checksum: true, ..ReadHints::default() };
    assert!(agree_in_blocks(specimen::epw(&y).as_bytes(), 10_007, &gone));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]
    #[test]
    fn blocks_and_whole_agree_on_damaged_files(
        block in 1_000..9_000_usize,
        changes in prop::collection::vec((0..16_000_usize, 0..4_u8, prop::num::u8::ANY), 0..3)
    ) {
        static TEXT: std::sync::OnceLock<String> = std::sync::OnceLock::new();
        let text = TEXT.get_or_init(|| specimen::epw(&specimen::year(24)).split_inclusive('\n').take(8 + 72).collect());
        let bytes = damaged(text, changes);
        agree_in_blocks(&bytes, block, &ReadHints::default());
    }
}
