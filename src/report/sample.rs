//! An invented proposal for the tests of this folder: smooth made-up curves, not results of the chain.

use super::view::*;
use crate::energy::{Account, AccountLine, Effect, MonthSums, OptionYear};
use crate::units::Note;

const H_I: [f64; 12] = [28.0, 46.0, 88.0, 126.0, 155.0, 160.0, 158.0, 136.0, 101.0, 63.0, 34.0, 22.0];

struct Kind {
    module: &'static str,
    p_w: f64,
    low: f64,
    gamma: f64,
    lid: f64,
    ageing: f64,
    v: [f64; 3],
}

const KINDS: [Kind; 3] = [
    Kind {
        module: "Tamsel P410",
        p_w: 410.0,
        low: 0.960,
        gamma: 0.35,
        lid: 2.0,
        ageing: 0.55,
        v: [41.925, 26.3, 31.25],
    },
    Kind {
        module: "Ferrane N445",
        p_w: 445.0,
        low: 0.976,
        gamma: 0.29,
        lid: 0.5,
        ageing: 0.40,
        v: [38.330, 25.3, 29.30],
    },
    Kind {
        module: "Quillon N435B",
        p_w: 435.0,
        low: 0.972,
        gamma: 0.30,
        lid: 0.6,
        ageing: 0.40,
        v: [43.290, 28.1, 32.60],
    },
];

fn option(i: usize, modules: u32, strings: &[u32], scale: f64) -> OptionView {
    let kind = &KINDS[i % 3];
    let p_stc_kw = f64::from(modules) * kind.p_w / 1000.0 * scale;
    let nominal_kwh = H_I.map(|h| h * p_stc_kw);
    let mut left = nominal_kwh;
    let mut lines = Vec::new();
    let shade = if i == 0 { 0.011 } else { 0.0 };
    for (effect, share) in [
        (Effect::Skyline, 0.012),
        (Effect::Shade, shade),
        (Effect::Dirt, 0.020),
        (Effect::Incidence, 0.031),
        (Effect::Rear, if i % 3 == 2 { -0.008 } else { 0.0 }),
        (Effect::LowLight, (1.0 - kind.low) * 0.8),
        (Effect::Temperature, kind.gamma * 0.030),
        (Effect::LightInduced, kind.lid / 100.0),
        (Effect::Mismatch, 0.005),
        (Effect::DcCable, 0.007),
        (Effect::Inverter, 0.021),
        (Effect::Clipping, 0.003 + 0.001 * i as f64),
        (Effect::NightDraw, 0.0004),
        (Effect::Outage, 0.010),
    ] {
        if share == 0.0 {
            continue;
        }
        let mut months_kwh = [0.0; 12];
        for (m, h) in H_I.iter().enumerate() {
            let season = if effect == Effect::Temperature { (h - 70.0) / 60.0 } else { 1.0 };
            months_kwh[m] = -left[m] * share * season;
            left[m] += months_kwh[m];
        }
        lines.push(AccountLine { effect, months_kwh });
    }
    let clip = lines.iter().find(|l| l.effect == Effect::Clipping).map_or([0.0; 12], |l| l.months_kwh);
    let mut months = [MonthSums::default(); 12];
    for m in 0..12 {
        months[m] = MonthSums {
            h_i_kwh_m2: H_I[m],
            e_dc_kwh: left[m] / 0.96,
            e_ac_kwh: left[m],
            clipped_kwh: -clip[m],
            export_lost_kwh: 0.0,
        };
    }
    let year = OptionYear {
        tag: String::from((b'A' + (i % 26) as u8) as char),
        module: kind.module.split(' ').nth(1).unwrap_or("X").to_string(),
        inverter: "K33".into(),
        inverters: 1,
        modules,
        strings: strings.to_vec(),
        p_stc_kw,
        p_ac_kw: 33.0 * scale,
        months,
        account: Account { nominal_kwh, lines, delivered_kwh: left },
    };
    let e1 = year.e_ac_kwh();
    let mut hours = HourMap { mean_kw: [[0.0; 24]; 12], clipped_kwh: [[0.0; 24]; 12] };
    for (m, h_i) in H_I.iter().enumerate() {
        let half_day = 4.0 + 4.2 * (1.0 - ((m as f64 - 5.5).abs() / 6.0)).powf(0.8);
        for h in 0..24 {
            let x = (h as f64 + 0.5 - 12.1) / half_day;
            let bell = if x.abs() < 1.0 { (1.0 - x * x).powf(1.3) } else { 0.0 };
            hours.mean_kw[m][h] = bell * h_i / half_day / 30.0 * 1.25 * p_stc_kw * 0.5;
            hours.clipped_kwh[m][h] = (bell - 0.85).max(0.0) * (h_i - 90.0).max(0.0) * 0.12 * (1.0 + i as f64);
        }
    }
    let light_edges: Vec<f64> = (0..=12).map(|k| f64::from(k) * 100.0).collect();
    let heat_edges: Vec<f64> = (0..=9).map(|k| -10.0 + f64::from(k) * 10.0).collect();
    let kwh = (0..9)
        .map(|t| {
            (0..12)
                .map(|g| {
                    let centre = 0.9 + g as f64 * 0.52;
                    let x = (t as f64 - centre) / 1.3;
                    let v = e1 * 0.045 * (-x * x).exp() * (1.2 - (g as f64 / 12.0 - 0.45).abs());
                    if v < e1 * 1e-4 { 0.0 } else { v }
                })
                .collect()
        })
        .collect();
    let mut rows: Vec<StringRow> = Vec::new();
    for &n in strings {
        match rows.iter_mut().find(|r| r.modules == n) {
            Some(r) => r.count += 1,
            None => rows.push(StringRow {
                modules: n,
                count: 1,
                v_oc_cold: f64::from(n) * kind.v[0],
                v_mp_hot: f64::from(n) * kind.v[1],
                v_mp_stc: f64::from(n) * kind.v[2],
            }),
        }
    }
    OptionView {
        module_name: kind.module.into(),
        inverter_name: "Kettlebrook K33".into(),
        u_rel: Some(0.047),
        years: crate::weigh::years_of(
            25,
            e1,
            crate::weigh::Course::Linear,
            kind.ageing,
            0.5,
            &[[1.0, 98.0], [25.0, 85.0]],
            Some(13),
        ),
        years_kwh: (0..25).map(|t| e1 * (1.0 - kind.ageing / 100.0 * f64::from(t))).collect(),
        light_curve: [100.0, 200.0, 300.0, 400.0, 600.0, 800.0, 1000.0, 1100.0]
            .iter()
            .map(|&g: &f64| [g, 1.0 + (kind.low - 1.0) * (1000.0f64 / g).ln() / 5f64.ln()])
            .collect(),
        hours: Some(hours),
        light_heat: Some(LightHeat { light_edges_w_m2: light_edges, heat_edges_c: heat_edges, kwh }),
        strings: Some(StringsView {
            basis: "IEC 62548".into(),
            verdict: Verdict::Allowed,
            v_limit: Some(1000.0),
            window_v: Some([200.0, 850.0]),
            cold_c: Some(-19.0),
            hot_c: Some(70.0),
            allowed: Some([8, (1000.0 / kind.v[0]) as u32]),
            rows,
            findings: vec![format!("{} x {} V in cold sun stays under 1000 V.", strings[0], kind.v[0])],
        }),
        year,
    }
}

fn roof(tag: &str, long: f64, wide: f64, used: usize) -> RoofView {
    let mut slots = Vec::new();
    let (setback, gap) = (0.5, 0.02);
    let columns = ((38.0 - 2.0 * setback) / (long + gap)) as usize;
    let rows = ((7.2 - 2.0 * setback) / (wide + gap)) as usize;
    for r in 0..rows {
        for c in 0..columns {
            let x = setback + c as f64 * (long + gap);
            let y = setback + r as f64 * (wide + gap);
            let in_box = x + long > 11.8 && x < 13.4 && y + wide > 4.8 && y < 6.1;
            if in_box {
                continue;
            }
            let d = ((x + long / 2.0 - 12.6).powi(2) / 9.0 + (y + wide / 2.0 - 5.4).powi(2) / 2.0).sqrt();
            let lost = if d < 1.6 { 60.0 * (1.6 - d) } else { 0.0 };
            slots.push(SlotView {
                at_m: [x, y],
                size_m: [long, wide],
                used: false,
                lost_kwh: lost,
                shaded: lost > 3.0,
            });
        }
    }
    let mut order: Vec<usize> = (0..slots.len()).collect();
    order.sort_by(|&a, &b| slots[a].lost_kwh.total_cmp(&slots[b].lost_kwh));
    for &i in order.iter().take(used) {
        slots[i].used = true;
    }
    RoofView {
        tag: tag.into(),
        plane: "south wing".into(),
        azimuth_deg: 180.0,
        outline_m: vec![[0.0, 0.0], [38.0, 0.0], [38.0, 7.2], [0.0, 7.2]],
        slots,
        obstacles: vec![
            ObstacleView {
                name: "lift housing".into(),
                round: false,
                at_m: [12.0, 5.0],
                size_m: [1.2, 0.9],
                height_m: Some(2.5),
            },
            ObstacleView {
                name: "mast".into(),
                round: true,
                at_m: [26.0, -0.3],
                size_m: [0.3, 0.3],
                height_m: Some(9.0),
            },
        ],
    }
}

/// So many options, all powers times `scale`, without more than years and accounts.
pub fn with_options(count: usize, scale: f64) -> Proposal {
    let mut p = merrowby();
    p.options = (0..count).map(|i| option(i, 90 + i as u32, &[20, 20, 20, 20], scale)).collect();
    p.gaps.clear();
    p
}

/// Three options at the invented town, with everything a report can show.
pub fn merrowby() -> Proposal {
    let options = vec![
        option(0, 98, &[20, 20, 20, 19, 19], 1.0),
        option(1, 90, &[23, 23, 22, 22], 1.0),
        option(2, 92, &[23, 23, 23, 23], 1.0),
    ];
    let gap = |i: usize, u: f64, likely: f64| {
        let kwh = options[i].year.e_ac_kwh() - options[0].year.e_ac_kwh();
        let parts = [
            ("nameplate", -0.08),
            ("low-light", 0.22),
            ("temperature", 0.12),
            ("light-induced", 0.42),
            ("slots", 0.29),
            ("strings", 0.06),
            ("clipping", -0.03),
        ];
        GapView {
            tag: options[i].year.tag.clone(),
            against: "A".into(),
            kwh,
            u_kwh: Some(u),
            likely: Some(likely),
            sentences: Vec::new(),
            turns: Vec::new(),
            causes: parts.iter().map(|(n, s)| CauseView { name: (*n).into(), kwh: kwh * s }).collect(),
        }
    };
    let gaps = vec![gap(1, 620.0, 0.98), gap(2, 1500.0, 0.84)];
    let given = |key: &str, value: &str, unit: &str, source: &str| LedgerLine {
        key: key.into(),
        value: value.into(),
        unit: unit.into(),
        source: source.into(),
        given: true,
    };
    let default = |key: &str, value: &str, unit: &str, source: &str| LedgerLine {
        given: false,
        ..given(key, value, unit, source)
    };
    Proposal {
        job: "merrowby-school".into(),
        title: "Merrowby school roof".into(),
        customer: Some("Merrowby Parish School".into()),
        preparer: Some("Invented Solar Office".into()),
        date: Some("2 March 2026".into()),
        revision: Some("B".into()),
        language: "en".into(),
        site: SiteView {
            name: "Merrowby".into(),
            latitude_deg: 52.3,
            longitude_deg: -1.1,
            elevation_m: 300.0,
            utc_offset_h: 0.0,
        },
        sky: SkyView {
            name: "merrowby.csv, an invented sky".into(),
            stands_in: true,
            ghi_kwh_m2: Some(H_I.map(|h| h * 0.87)),
            dhi_kwh_m2: Some(H_I.map(|h| h * 0.48)),
            t_amb_c: Some([3.1, 3.3, 5.4, 7.6, 10.9, 13.9, 16.0, 15.8, 13.2, 9.7, 6.0, 3.6]),
            planes: vec![PlaneView { name: "south wing".into(), tilt_deg: 12.0, azimuth_deg: 180.0, h_i_kwh_m2: H_I }],
        },
        gaps,
        roofs: vec![roof("A", 1.722, 1.134, 98), roof("B", 1.762, 1.134, 90)],
        money: vec![
            MoneyView {
                tag: "A".into(),
                currency: "EUR".into(),
                price_per_w: Some(0.24),
                lcoe_per_kwh: Some(0.0712),
                ..Default::default()
            },
            MoneyView {
                tag: "B".into(),
                currency: "EUR".into(),
                price_per_w: Some(0.31),
                break_even_per_w: Some(0.352),
                lcoe_per_kwh: Some(0.0698),
                npv_gap: Some(1630.0),
            },
        ],
        claims: vec![
            ClaimView {
                claim: "Higher efficiency gives more energy.".into(),
                finding: "Per kW it does not: 880 against 878 kWh/kW. Per roof it does.".into(),
                number: Some(-12.0),
                unit: "kWh".into(),
                u: Some(90.0),
                verdict: ClaimVerdict::WithinDoubt,
            },
            ClaimView {
                claim: "Milder heat loss.".into(),
                finding: "Temperature takes 0.4 % less of the nominal energy.".into(),
                number: Some(210.0),
                unit: "kWh".into(),
                u: Some(60.0),
                verdict: ClaimVerdict::Holds,
            },
            ClaimView {
                claim: "Many thin wires raise the yield.".into(),
                finding: "Needs a measured series resistance or a power matrix; ask the maker.".into(),
                number: None,
                unit: String::new(),
                u: None,
                verdict: ClaimVerdict::CannotSay,
            },
        ],
        ledger: vec![
            given("site.latitude_deg", "52.3", "deg", "job file"),
            given("losses.dirt_pct", "2.0", "%", "cleaning log of the school, 2024"),
            given("module.P410.gamma_pct_per_k", "-0.350", "%/K", "Tamsel P410 data sheet, rev. 3"),
            default("module.P410.a_r", "0.16", "", "Martin and Ruiz 2001"),
            default("sky_model", "perez", "", "Perez et al. 1990"),
            given("cable.one_way_m", "62", "m", ""),
        ],
        files: vec![
            FileView { path: "merrowby-school.toml".into(), sha256: "3b".repeat(32), bytes: Some(2114) },
            FileView { path: "../weather/merrowby.csv".into(), sha256: "a7".repeat(32), bytes: Some(612_481) },
        ],
        notes: vec![
            Note::loud(
                "strings.thin-margin",
                "C: strings of 23 leave 0.4 % to the limit of 1000 V in cold sun; one degree colder than entered breaks it.",
            ),
            Note::loud("plant.hourly-clipping", "DC over AC is 1.22: hourly means understate clipping."),
            Note::quiet("weather.gap-filled", "Row 4127: dni was missing and came from closure."),
        ],
        command: "yearlight weigh configs/merrowby-school.toml".into(),
        version: "0.1.0".into(),
        options,
    }
}
