use chrono::{Datelike, NaiveDate};
use proptest::prelude::*;

use super::checks::{self, Weight};
use super::geometry::step_sun;
use super::*;
use crate::sun::clear_sky::{Air, bird};
use crate::weather::{Label, Place, Quantity, RawYear, ReadHints, WeatherYear, read_raw_bytes, specimen, write_tidy};

const RECIPE: &str = r#"
name = "Testing Heath"
latitude_deg = 51.0
longitude_deg = 3.5
elevation_m = 120
utc_offset_h = 0
seed = 11
ghi_kwh_m2 = [22.0, 38.0, 76.0, 118.0, 150.0, 158.0, 155.0, 131.0, 91.0, 55.0, 28.0, 18.0]
t_mean_c = [3.0, 3.5, 6.0, 9.0, 13.0, 16.0, 18.0, 17.5, 14.5, 11.0, 6.5, 4.0]
t_swing_k = [5.0, 6.0, 8.0, 9.0, 10.0, 10.0, 10.0, 10.0, 9.0, 7.0, 5.0, 5.0]
wind_m_s = [5.0, 5.0, 5.0, 4.0, 4.0, 4.0, 4.0, 4.0, 4.0, 4.0, 5.0, 5.0]
"#;

fn good() -> WeatherYear {
    static YEAR: std::sync::OnceLock<WeatherYear> = std::sync::OnceLock::new();
    YEAR.get_or_init(|| {
        let mut y = SkyRecipe::parse("test.toml", RECIPE).unwrap().make("test.toml").unwrap();
        y.pressure = Some(vec![1000.0; y.len()]);
        y.provenance.notes.clear();
        y
    })
    .clone()
}

fn raw_of(y: &WeatherYear) -> RawYear {
    let mut bytes = Vec::new();
    write_tidy(y, &mut bytes).unwrap();
    read_raw_bytes("t.csv", &bytes, &ReadHints::default()).unwrap()
}

fn weight(raw: &RawYear, name: &str) -> Weight {
    checks::run(raw).into_iter().find(|c| c.name == name).unwrap_or_else(|| panic!("no check {name}")).weight
}

/// A cloudless year, whose light comes `late_min` after the sun.
fn clear(late_min: f64, steps_per_day: usize) -> WeatherYear {
    let place =
        Place { name: "Clear".into(), latitude_deg: 38.0, longitude_deg: 22.5, elevation_m: 50.0, utc_offset_min: 120 };
    let days: Vec<NaiveDate> = NaiveDate::from_ymd_opt(2019, 1, 1).unwrap().iter_days().take(365).collect();
    let mut y = specimen::on_days(days, steps_per_day);
    let mut moved = place.clone();
    moved.longitude_deg -= late_min / 4.0;
    let sun = step_sun(&moved, &y.days, steps_per_day);
    for i in 0..y.len() {
        let light = bird(sun.up[i].acos().to_degrees().min(89.9), sun.e0n[i], &Air::default());
        let on = if sun.up[i] > 0.0 { sun.lit[i] } else { 0.0 };
        (y.ghi[i], y.dni[i], y.dhi[i]) = (light.ghi * on, light.dni * on, light.dhi * on);
    }
    y.place = place;
    y
}

#[test]
fn shifts_of_a_clear_year_are_found() {
    for late in [-60.0, -30.0, 0.0, 30.0, 60.0, -17.0] {
        let found = shift::find_in_year(&clear(late, 24)).unwrap();
        assert!((found - late).abs() <= 10.0, "{late}: {found}");
    }
    let found = shift::find_in_year(&clear(-15.0, 48)).unwrap();
    assert!((found + 15.0).abs() <= 10.0, "half-hourly: {found}");
}

#[test]
fn shifts_of_a_cloudy_year_are_found() {
    for late in [-60.0, -30.0, 0.0, 30.0, 60.0] {
        let mut y = good();
        y.place.longitude_deg += late / 4.0;
        let found = shift::find_in_year(&y).unwrap();
        assert!((found - late).abs() <= 10.0, "{late}: {found}");
    }
}

#[test]
fn a_shifted_year_is_warned_of_cheaply() {
    let note = |y: &WeatherYear| shift::label_note(y, &crate::sun::SunTrack::over(y));
    assert_eq!(note(&clear(0.0, 24)), None);
    assert_eq!(note(&good()), None);
    for late in [-60.0, -30.0, 30.0] {
        let note = note(&clear(late, 24)).unwrap();
        assert!(note.loud && note.text.contains("east"), "{note:?}");
    }
}

#[test]
fn the_fix_names_the_label() {
    let y = clear(0.0, 24);
    let columns = [
        ("time", "time"),
        ("ghi", "ghi [W/m2]"),
        ("dni", "dni [W/m2]"),
        ("dhi", "dhi [W/m2]"),
        ("t_amb", "temp [C]"),
        ("wind", "wind [m/s]"),
    ];
    let hints = |label| ReadHints {
        label: Some(label),
        columns: columns.iter().map(|(a, b)| (a.to_string(), b.to_string())).collect(),
        place: Some(y.place.clone()),
        ..ReadHints::default()
    };
    for (truth, declared, says) in
        [(Label::Beginning, Label::Ending, "\"beginning\""), (Label::Ending, Label::Beginning, "\"ending\"")]
    {
        let text = specimen::csv(&y, truth);
        let raw = read_raw_bytes("x.csv", text.as_bytes(), &hints(declared)).unwrap();
        let (found, _) = inspect(raw, &hints(declared));
        let fix = found.shift.as_ref().and_then(|s| s.fix.clone()).unwrap_or_default();
        assert!(fix.contains(says), "{declared:?} for {truth:?}: {fix}");
        assert!(found.verdict != Verdict::Good);
        // An hour is worth about ten percent on an east or west roof.
        let effect = found.shift_effect.unwrap();
        assert!(effect.east_pct * effect.west_pct < 0.0 && effect.east_pct.abs() > 5.0, "{effect:?}");
    }
    let raw = read_raw_bytes("x.csv", specimen::csv(&y, Label::Ending).as_bytes(), &hints(Label::Ending)).unwrap();
    assert!(inspect(raw, &hints(Label::Ending)).0.shift.unwrap().fix.is_none());
}

#[test]
fn a_good_year_raises_no_alarm() {
    let raw = raw_of(&good());
    for c in checks::run(&raw) {
        assert_eq!(c.weight, Weight::Fine, "{c:?}");
    }
    let (found, year) = inspect(raw, &ReadHints::default());
    assert_eq!(found.verdict, Verdict::Good);
    assert!(year.is_some());
    assert!((found.year.ghi_kwh_m2 - 1040.0).abs() < 1.0);
    for c in checks::run(&raw_of(&clear(0.0, 24))) {
        assert!(c.weight == Weight::Fine || c.name == "flat-lined", "{c:?}");
    }
}

#[test]
fn every_check_has_a_file_that_triggers_it() {
    type Damage = fn(&mut WeatherYear);
    let damages: [(&str, Damage); 18] = [
        ("impossible", |y| y.dni[5000] = -38.0),
        ("physically-possible", |y| (0..60).for_each(|d| y.dhi[d * 24 + 12] = 700.0)),
        ("extremely-rare", |y| (0..120).for_each(|d| y.dhi[d * 24 + 12] = 0.8 * y.ghi[d * 24 + 12] + 260.0)),
        ("closure", |y| y.dhi.iter_mut().for_each(|v| *v *= 1.5)),
        ("diffuse-share", |y| std::mem::swap(&mut y.ghi, &mut y.dhi)),
        ("light-at-night", |y| y.ghi.rotate_left(6)),
        ("dark-by-day", |y| (100 * 24..103 * 24).for_each(|i| y.ghi[i] = 0.0)),
        ("flat-lined", |y| (170 * 24 + 8..170 * 24 + 15).for_each(|i| y.ghi[i] = 300.0)),
        ("repeated-days", |y| (0..24).for_each(|h| y.ghi[200 * 24 + h] = y.ghi[199 * 24 + h])),
        ("spikes", |y| y.t_amb[4000] += 25.0),
        ("light-unit", |y| y.ghi.iter_mut().for_each(|v| *v *= 3.6)),
        ("temperature-unit", |y| y.t_amb.iter_mut().for_each(|v| *v = *v * 1.8 + 32.0)),
        ("wind-unit", |y| y.wind.iter_mut().for_each(|v| *v *= 3.6)),
        ("position", |y| y.place.latitude_deg = -y.place.latitude_deg),
        ("temperature-season", |y| y.t_amb.rotate_left(4380)),
        ("pressure", |y| y.place.elevation_m *= 10.0),
        ("label-shift", |y| y.place.longitude_deg -= 7.5),
        ("daylight-saving", |y| {
            let summer = 24 * 86..24 * 300;
            y.ghi[summer].rotate_right(1);
        }),
    ];
    for (name, damage) in damages {
        let mut y = good();
        damage(&mut y);
        assert!(weight(&raw_of(&y), name) > Weight::Fine, "{name} did not strike");
    }
    let mut y = good();
    y.t_amb.iter_mut().for_each(|v| *v += 273.15);
    let kelvin = checks::run(&raw_of(&y)).into_iter().find(|c| c.name == "temperature-unit").unwrap();
    assert!(kelvin.mend.contains("[K]"));
    for (lat, lon) in [(51.0, -63.5), (3.5, 51.0)] {
        let mut y = good();
        (y.place.latitude_deg, y.place.longitude_deg) = (lat, lon);
        assert!(weight(&raw_of(&y), "position") == Weight::Refuse, "{lat} {lon}");
    }
}

#[test]
fn checks_of_rows_strike() {
    let y = good();
    let mut bytes = Vec::new();
    write_tidy(&y, &mut bytes).unwrap();
    let text = String::from_utf8(bytes).unwrap();
    let read = |text: &str| read_raw_bytes("t.csv", text.as_bytes(), &ReadHints::default()).unwrap();
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    let mut twice = lines.clone();
    twice.insert(3000, lines[3000]);
    assert_eq!(weight(&read(&twice.concat()), "duplicates"), Weight::Refuse);
    assert_eq!(weight(&read(&text), "duplicates"), Weight::Fine);
    let mut short = lines.clone();
    short.drain(3000..3002);
    assert_eq!(weight(&read(&short.concat()), "missing-rows"), Weight::Note);
    let mut long = lines.clone();
    long.drain(3000..3040);
    let raw = read(&long.concat());
    assert_eq!(weight(&raw, "missing-rows"), Weight::Refuse);
    assert!(complete(raw, &ReadHints::default()).err().unwrap().to_string().contains("missing"));
    let blank =
        lines[4000].split(',').enumerate().map(|(i, c)| if i == 1 { "" } else { c }).collect::<Vec<_>>().join(",");
    let mut gap = lines.clone();
    gap[4000] = &blank;
    let raw = read(&gap.concat());
    assert_eq!(weight(&raw, "missing-values"), Weight::Note);
    let first = NaiveDate::from_ymd_opt(2004, 1, 1).unwrap();
    let leap = specimen::on_days(first.iter_days().take(366).collect(), 24);
    assert_eq!(weight(&raw_of(&leap), "leap-day"), Weight::Note);
    assert_eq!(weight(&read(&text), "leap-day"), Weight::Fine);
}

#[test]
fn two_of_three_close() {
    let y = good();
    let sun = step_sun(&y.place, &y.days, 24);
    let without = |q: Quantity| {
        let mut raw = raw_of(&y);
        raw.columns[q as usize] = None;
        complete(raw, &ReadHints::default()).unwrap()
    };
    let ghi = without(Quantity::Ghi);
    let dhi = without(Quantity::Dhi);
    let dni = without(Quantity::Dni);
    for i in (0..y.len()).filter(|&i| sun.up[i] > 0.1) {
        assert!((ghi.ghi[i] - (y.dni[i] * sun.up[i] + y.dhi[i])).abs() < 1e-9);
        assert!((dhi.dhi[i] - (y.ghi[i] - y.dni[i] * sun.up[i]).max(0.0)).abs() < 1e-9);
        assert!((dni.dni[i] - (y.ghi[i] - y.dhi[i]).max(0.0) / sun.up[i]).abs() < 1e-6, "{i}");
    }
    assert_eq!(ghi.provenance.completed[0].0, "ghi");
}

#[test]
fn ghi_alone_is_separated_and_said_so() {
    for separation in [crate::weather::Separation::Erbs, crate::weather::Separation::RidleyBolandLauret] {
        let y = good();
        let mut raw = raw_of(&y);
        raw.columns[Quantity::Dni as usize] = None;
        raw.columns[Quantity::Dhi as usize] = None;
        let out = complete(raw, &ReadHints { separation, ..ReadHints::default() }).unwrap();
        assert!(out.provenance.notes.iter().any(|n| n.loud && n.code == "weather.separated"));
        let sun = step_sun(&y.place, &y.days, 24);
        for i in 0..y.len() {
            assert!((out.dni[i] * sun.up[i] + out.dhi[i] - out.ghi[i]).abs() < 1e-6, "{i}");
            assert!(out.dni[i] >= 0.0 && out.dni[i] <= 1200.0 && out.dhi[i] >= 0.0);
        }
    }
}

#[test]
fn gaps_are_filled_near_the_truth_and_named() {
    let y = clear(0.0, 24);
    let mut raw = raw_of(&y);
    for q in [Quantity::Ghi, Quantity::Dni, Quantity::Dhi, Quantity::TAmb] {
        for i in 180 * 24 + 9..180 * 24 + 12 {
            raw.columns[q as usize].as_mut().unwrap()[i] = f64::NAN;
        }
    }
    let out = complete(raw, &ReadHints::default()).unwrap();
    for i in 180 * 24 + 9..180 * 24 + 12 {
        assert!((out.ghi[i] / y.ghi[i] - 1.0).abs() < 0.05);
        assert!((out.dni[i] / y.dni[i] - 1.0).abs() < 0.08);
    }
    let named = out.provenance.notes.iter().filter(|n| n.code == "weather.gap-filled").count();
    assert_eq!(named, 4);
    let mut raw = raw_of(&y);
    for i in 180 * 24 + 9..180 * 24 + 13 {
        (0..3).for_each(|q| raw.columns[q].as_mut().unwrap()[i] = f64::NAN);
    }
    let e = complete(raw, &ReadHints::default()).err().unwrap().to_string();
    assert!(e.contains("ghi is missing for 4 h from 30 Jun 2019 09:00 on"), "{e}");
}

#[test]
fn refusals_say_where_and_how() {
    let refuse = |change: &dyn Fn(&mut RawYear)| {
        let mut raw = raw_of(&good());
        change(&mut raw);
        complete(raw, &ReadHints::default()).err().unwrap().to_string()
    };
    let e = refuse(&|r| r.columns[Quantity::Dni as usize].as_mut().unwrap()[4000] = -38.0);
    assert!(
        e.starts_with("t.csv:4") && e.contains("dni is -38 W/m2; expected 0 or more.\n  Leave the cell empty"),
        "{e}"
    );
    let e = refuse(&|r| r.columns[Quantity::Ghi as usize].as_mut().unwrap()[4000] = 3600.0);
    assert!(e.contains("kJ/m2"), "{e}");
    // Each of the two is possible alone; what they leave for the sky is not.
    let e = refuse(&|r| {
        r.columns[Quantity::Dhi as usize] = None;
        r.columns[Quantity::Ghi as usize].as_mut().unwrap()[0] = 1300.0;
    });
    assert!(e.contains("dhi is 1300 W/m2, made from the other light of this step; expected 0 to 1200 W/m2."), "{e}");
    assert!(refuse(&|r| r.columns[Quantity::TAmb as usize] = None).contains("no air temperature"));
    assert!(refuse(&|r| [0, 1, 2].iter().for_each(|q| r.columns[*q] = None)).contains("there is no GHI"));
    let e = refuse(&|r| {
        r.days.truncate(100);
        r.columns.iter_mut().flatten().for_each(|c| c.truncate(2400));
    });
    assert!(e.contains("1 Jan 2021 to 10 Apr 2021 (100 days)"), "{e}");
}

#[test]
fn made_skies_meet_their_means() {
    let recipe = SkyRecipe::parse("t", RECIPE).unwrap();
    let y = recipe.make("t").unwrap();
    assert_eq!(y, recipe.make("t").unwrap());
    let other = SkyRecipe { seed: 12, ..recipe.clone() }.make("t").unwrap();
    assert_ne!(y.ghi, other.ghi);
    for y in [&y, &other] {
        for m in 0..12 {
            let steps: Vec<usize> = (0..y.len()).filter(|&i| y.month_of(i) == m).collect();
            let mean = |c: &[f64]| steps.iter().map(|&i| c[i]).sum::<f64>() / steps.len() as f64;
            let ghi = mean(&y.ghi) * steps.len() as f64 / 1000.0;
            assert!((ghi / recipe.ghi_kwh_m2[m] - 1.0).abs() < 0.005, "month {m}: {ghi}");
            assert!((mean(&y.t_amb) - recipe.t_mean_c[m]).abs() < 0.05);
            assert!((mean(&y.wind) / recipe.wind_m_s[m] - 1.0).abs() < 0.005);
            let swing: f64 = steps
                .chunks(24)
                .map(|d| {
                    let (low, high) =
                        d.iter().fold((99.0, -99.0), |(a, b): (f64, f64), &i| (a.min(y.t_amb[i]), b.max(y.t_amb[i])));
                    high - low
                })
                .sum::<f64>()
                / (steps.len() / 24) as f64;
            assert!((swing / recipe.t_swing_k[m] - 1.0).abs() < 0.25, "month {m}: swing {swing}");
        }
    }
}

#[test]
fn recipes_are_checked() {
    let bad = |from: &str, to: &str| {
        SkyRecipe::parse("r.toml", &RECIPE.replace(from, to)).and_then(|r| r.make("r.toml")).err().unwrap().to_string()
    };
    assert!(bad("latitude_deg = 51.0", "latitude_deg = 151.0").contains("latitude_deg is 151; expected -90 to 90"));
    assert!(bad("seed", "sead").contains("unknown field"));
    assert!(bad("latitude_deg = 51.0", "latitude_deg = -51.0").contains("per month"));
    assert!(bad("[22.0,", "[0.7,").contains("ghi_kwh_m2[0]"));
    assert!(bad("longitude_deg = 3.5", "").contains("missing field"));
}

#[test]
fn long_run_of_the_matrices() {
    // The published class of monthly clearness is what the memory of the matrices is checked against.
    let mut low = 0.0;
    for t in &TRANSITIONS {
        let mean = t.long_run_mean();
        assert!(mean > low && mean <= t.upto, "{mean} not in {low}..{}", t.upto);
        low = t.upto;
    }
}

#[test]
fn drawn_days_follow_the_matrix() {
    for t in &TRANSITIONS {
        let mut chance = super::chance::Chance::new(5, 9);
        let mut k = t.long_run_mean();
        let mut seen = [0.0; 10];
        let n = 60_000;
        for _ in 0..n {
            k = t.next(k, chance.even());
            assert!(k >= t.low - 1e-12 && k <= t.high + 1e-12);
            seen[t.class(k)] += 1.0 / f64::from(n);
        }
        for (a, b) in seen.iter().zip(&t.long_run()) {
            assert!((a - b).abs() < 0.01, "{seen:?} {:?}", t.long_run());
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]
    /// Damage at random is refused or named, never silently used.
    #[test]
    fn damage_is_named(kind in 0..7_usize, at in 500..8000_usize, size in 1..60_usize) {
        static TEXT: std::sync::OnceLock<String> = std::sync::OnceLock::new();
        let text = TEXT.get_or_init(|| {
            let mut bytes = Vec::new();
            write_tidy(&good(), &mut bytes).unwrap();
            String::from_utf8(bytes).unwrap()
        });
        let mut lines: Vec<String> = text.split_inclusive('\n').map(str::to_string).collect();
        let head = lines.iter().position(|l| l.starts_with("time")).unwrap() + 1;
        let scale = |line: &str, column: usize, f: &dyn Fn(f64) -> f64| -> String {
            line.trim_end().split(',').enumerate().map(|(i, c)| if i == column { f(c.parse().unwrap()).to_string() } else { c.to_string() }).collect::<Vec<_>>().join(",") + "\n"
        };
        match kind {
            0 => drop(lines.drain(at..at + size)),
            1 => lines.insert(at, lines[at].clone()),
            2 => lines.swap(at, at + size),
            3 => for l in &mut lines[head..] { *l = scale(l, 1, &|v| v * 3.6); },
            4 => for l in &mut lines[head..] { *l = scale(l, 4, &|v| v + 273.15); },
            // The light two hours on, the times as they were.
            5 => {
                let light: Vec<String> = lines[head..].iter().map(|l| l[16..].to_string()).collect();
                let n = light.len();
                for (k, l) in lines[head..].iter_mut().enumerate() {
                    l.replace_range(16.., &light[(k + n - 2) % n]);
                }
            }
            _ => lines[at] = scale(&lines[at], 1, &|v| v - 9000.0),
        }
        let hints = ReadHints::default();
        if let Ok(raw) = read_raw_bytes("t.csv", lines.concat().as_bytes(), &hints) {
            let (found, _) = inspect(raw, &hints);
            prop_assert!(found.verdict != Verdict::Good || found.notes.iter().any(|n| n.code.starts_with("weather."))
                || found.checks.iter().any(|c| c.weight > Weight::Fine), "kind {kind} at {at} size {size} went unnoticed");
            if kind != 0 {
                prop_assert!(found.verdict != Verdict::Good, "kind {kind} at {at}");
            }
        }
    }
}

#[test]
fn months_stay_in_order() {
    let y = good();
    assert!(y.days.windows(2).all(|w| w[0].month() <= w[1].month()));
}

#[test]
fn shipped_skies_are_those_of_their_recipes() {
    for name in ["merrowby", "greyling-quay"] {
        let recipe = SkyRecipe::read(format!("weather/{name}.toml").as_ref()).unwrap();
        let mut made = Vec::new();
        write_tidy(&recipe.make(name).unwrap(), &mut made).unwrap();
        let shipped = std::fs::read(format!("weather/{name}.csv")).unwrap();
        assert!(made == shipped, "{name}: write it again with yearlight sky");
    }
}

#[test]
fn real_years_raise_no_alarm() {
    for name in ["davis-monthan-az", "port-angeles-wa", "aurora-co", "chicago-il", "northway-ak"] {
        let hints = ReadHints::default();
        let raw = crate::weather::read_raw(format!("weather/{name}.csv").as_ref(), &hints).unwrap();
        let (found, _) = inspect(raw, &hints);
        assert_eq!(found.verdict, Verdict::Good, "{name}: {:?}", found.checks);
        assert!(found.shift.unwrap().minutes.abs() <= 10.0, "{name}");
    }
}
