//! The hourly chain once more, one hour at a time in plain scalar arithmetic, against the chain over columns.
//!
//! The equations and sources are those of the program; `tests/plain/` writes them down a second time without columns,
//! blocks, selects or own elementary functions. Each stage gets the stage before as the program has it, so that a
//! difference shows where it arises. The published figures that both must meet are in `tests/published/`.

#[path = "plain/light.rs"]
mod light;
#[path = "plain/module.rs"]
mod module;
#[path = "plain/plant.rs"]
mod plant;
#[path = "plain/sun.rs"]
mod sun;

use std::path::Path;

use chrono::NaiveDate;
use yearlight::energy::{HourColumns, Plan, Scratch, Stages, open_energy, run};
use yearlight::job::{Job, from_text};
use yearlight::module::{Electrical, ModuleSheet, Power};
use yearlight::sky::SkyRecipe;
use yearlight::sun::{SunTrack, extraterrestrial_day};
use yearlight::weather::{Place, Provenance, WeatherYear};

/// Numbers without a pattern, the same in every run. Source: Steele, Lea, Flood, OOPSLA 2014 (SplitMix64; from memory).
struct Dice(u64);

impl Dice {
    fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }
}

/// Somewhere on earth up to a latitude, with a clock that may be far from the sun's.
fn place(dice: &mut Dice, latitude: f64) -> Place {
    let longitude_deg = dice.within(-180.0, 180.0);
    let zone = (longitude_deg / 15.0 + dice.within(-1.5, 1.5)).clamp(-12.0, 14.0);
    Place {
        name: "Somewhere".into(),
        latitude_deg: dice.within(-latitude, latitude),
        longitude_deg,
        elevation_m: dice.within(0.0, 2500.0).round(),
        utc_offset_min: (zone * 4.0).round() as i32 * 15,
    }
}

/// A made sky there: each month with a share of the light above the air.
fn weather(dice: &mut Dice) -> WeatherYear {
    let place = place(dice, 62.0);
    let month = |m: usize| ((m as f64 + 0.5) / 12.0 * std::f64::consts::TAU).cos();
    // Declination to a degree, enough for a share.
    let above = |m: usize| extraterrestrial_day(place.latitude_deg, -23.0 * month(m), 1361.0).0 / 3.6 * 30.0;
    let recipe = SkyRecipe {
        name: place.name.clone(),
        latitude_deg: place.latitude_deg,
        longitude_deg: place.longitude_deg,
        elevation_m: place.elevation_m,
        utc_offset_h: f64::from(place.utc_offset_min) / 60.0,
        year: 1960 + (dice.share() * 100.0) as i32,
        seed: (dice.share() * 1e6) as u32,
        ghi_kwh_m2: std::array::from_fn(|m| above(m) * dice.within(0.3, 0.55)),
        t_mean_c: std::array::from_fn(|m| 27.0 - place.latitude_deg.abs() * 0.45 - 0.2 * place.latitude_deg * month(m)),
        t_swing_k: [8.0; 12],
        t_day_sd_k: 3.0,
        wind_m_s: std::array::from_fn(|m| 2.0 + 0.3 * m as f64),
        wind_height_m: if dice.share() < 0.5 { 10.0 } else { dice.within(2.0, 80.0) },
        rain_mm: None,
        new_snow_cm: None,
        separation: None,
        source: None,
    };
    recipe.make("recipe").unwrap_or_else(|e| panic!("{e}"))
}

/// The same sky in steps of two hours: an hour that were taken for the step would show.
fn coarse(mut year: WeatherYear) -> WeatherYear {
    year.steps_per_day = 12;
    let halve = |column: &mut Vec<f64>| *column = column.chunks(2).map(|pair| 0.5 * (pair[0] + pair[1])).collect();
    [&mut year.ghi, &mut year.dni, &mut year.dhi, &mut year.t_amb, &mut year.wind].into_iter().for_each(halve);
    let more = [
        &mut year.albedo,
        &mut year.pressure,
        &mut year.humidity_pct,
        &mut year.precipitable_water_cm,
        &mut year.rain_mm,
        &mut year.snow_depth_cm,
    ];
    more.into_iter().flatten().for_each(halve);
    year
}

/// A year without light, in hours or in quarters of an hour: the steps are those of the sun alone.
fn dark(dice: &mut Dice) -> WeatherYear {
    let place = place(dice, 85.0);
    let first = NaiveDate::from_ymd_opt(1955 + (dice.share() * 95.0) as i32, 1, 1).expect("a date");
    let steps_per_day = if dice.share() < 0.8 { 24 } else { 96 };
    let zero = || vec![0.0; 365 * steps_per_day];
    WeatherYear {
        place,
        days: first.iter_days().take(365).collect(),
        steps_per_day,
        ghi: zero(),
        dni: zero(),
        dhi: zero(),
        t_amb: zero(),
        wind: zero(),
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

/// Largest difference against the larger of the value and a floor; panics beyond the tolerance.
fn close(what: &str, plain: f64, fast: f64, floor: f64, tolerance: f64) {
    let scale = plain.abs().max(fast.abs()).max(floor);
    assert!((plain - fast).abs() <= tolerance * scale, "{what}: plain {plain:?}, over columns {fast:?}");
}

const RELATIVE: f64 = 1e-9;

#[test]
fn the_sun() {
    let mut dice = Dice(1);
    let (mut whole, mut cut) = (0, 0);
    for _ in 0..40 {
        let year = dark(&mut dice);
        let track = SunTrack::over(&year);
        let step_d = 1.0 / year.steps_per_day as f64;
        let mut next = 0;
        for (d, date) in year.days.iter().enumerate() {
            let noon = sun::Noon::of(*date, &year);
            for k in 0..year.steps_per_day {
                let step = d * year.steps_per_day + k;
                let from = k as f64 * step_d - 0.5;
                let up = |dt: f64| noon.vector(dt)[2];
                let (begin, middle, end) = (up(from), up(from + 0.5 * step_d), up(from + step_d));
                let mine = track.steps.get(next) == Some(&(step as u32));
                // A sine of 1e-6 stands for a tenth of a second. Where the sun skims the horizon near the poles the search
                // for its rise may miss what stays below half a degree; light in the file brings the step back.
                let most = if year.place.latitude_deg.abs() > 60.0 { 1e-2 } else { 1e-6 };
                let highest = begin.max(middle).max(end);
                assert!(
                    mine || highest < most,
                    "{date} {k}: a step is left out with the sun at {highest}: {:?}",
                    year.place
                );
                if !mine {
                    continue;
                }
                assert!(
                    highest > -most.max(1e-5),
                    "{date} {k}: a dark step is kept, the sun at {highest}: {:?}",
                    year.place
                );
                let fast = [track.east[next], track.north[next], track.up[next]];
                close("extraterrestrial", noon.e0n(from + 0.5 * step_d), track.e0n[next], 1.0, RELATIVE);
                close("zenith", fast[2].acos(), track.zenith[next], 1.0, 2e-7);
                close("air mass", sun::air_mass(fast[2]), track.air_mass[next], 1.0, 3e-6);
                // There too it may take a step for an edge that is none, or the other way round.
                if most > 1e-3 && begin.abs().min(middle.abs()).min(end.abs()) < most {
                    next += 1;
                    continue;
                }
                let same_side = (begin > 1e-6) == (end > 1e-6) && (begin > -1e-6) == (end > -1e-6);
                if same_side && (begin > 0.0) == (middle > 0.0) {
                    // At the middle of the step, or of a sunlit part that is none.
                    let plain = noon.vector(from + 0.5 * step_d);
                    for axis in 0..3 {
                        close("sun", plain[axis], fast[axis], 1.0, RELATIVE);
                    }
                    whole += 1;
                } else if !same_side {
                    // Sunrise or sunset within: the middle of the sunlit part. The crossing is found by two steps of
                    // a search; where the sun skims the horizon near the poles, minutes are left of it, and little light.
                    let (mut dark, mut lit) = if begin < end { (from, from + step_d) } else { (from + step_d, from) };
                    for _ in 0..60 {
                        let at = 0.5 * (dark + lit);
                        if up(at) > 0.0 { lit = at } else { dark = at }
                    }
                    let edge = if begin < end { from + step_d } else { from };
                    let plain = noon.vector(0.5 * (lit + edge));
                    let far = year.place.latitude_deg.abs() > 60.0;
                    for axis in 0..3 {
                        close("sun at the edge", plain[axis], fast[axis], 1.0, if far { 2e-2 } else { 5e-5 });
                    }
                    cut += 1;
                }
                next += 1;
            }
        }
        assert_eq!(next, track.steps.len());
    }
    assert!(whole > 100_000 && cut > 10_000, "{whole} whole steps, {cut} cut");
}

/// A job of one plane, one option and no shade, with what differs between the cases.
struct Case {
    job: Job,
    tilt: f64,
    azimuth: f64,
    albedo: f64,
    u: (f64, f64),
    dirt: f64,
    mismatch: f64,
    outage: f64,
    export_w: f64,
    efficiency: Vec<[f64; 2]>,
    derate: Vec<[f64; 2]>,
    rating: f64,
    night_w: f64,
    inverters: u32,
    /// Length and cross-section of the AC cable; no-load and load loss of a transformer of 50 kVA.
    ac: Option<[f64; 4]>,
}

fn case(dice: &mut Dice, model: &str) -> Case {
    let (tilt, azimuth, albedo) = (dice.within(0.5, 90.0), dice.within(0.0, 360.0), dice.within(0.0, 0.8));
    let u = (dice.within(15.0, 35.0), dice.within(0.0, 8.0));
    let (dirt, mismatch, outage) = (dice.within(0.0, 8.0), dice.within(0.0, 3.0), dice.within(0.0, 5.0));
    let export_w = dice.within(8_000.0, 30_000.0);
    let inverters = if dice.share() < 0.5 { 1 } else { 2 };
    let rating = dice.within(20_000.0, 45_000.0) / f64::from(inverters);
    let night_w = dice.within(0.0, 20.0);
    let ac = (dice.share() < 0.7)
        .then(|| [dice.within(10.0, 150.0), 16.0, dice.within(20.0, 200.0), dice.within(100.0, 900.0)].map(f64::round));
    let efficiency = if dice.share() < 0.5 {
        vec![[10.0, 96.5], [50.0, 98.3], [100.0, 97.9]]
    } else {
        vec![[5.0, 94.0], [10.0, 96.5], [20.0, 97.6], [30.0, 98.0], [50.0, 98.3], [75.0, 98.2], [100.0, 97.9]]
    };
    let derate = if dice.share() < 0.5 { vec![] } else { vec![[15.0, rating], [45.0, 0.6 * rating]] };
    let text = format!(
        "title = \"t\"\n[weather]\nfile = \"w\"\n[[plane]]\nname = \"p\"\ntilt_deg = {tilt:?}\nazimuth_deg = {azimuth:?}\n\
         albedo = {albedo:?}\ncooling = {{ u0 = {:?}, u1 = {:?} }}\n[[option]]\ntag = \"A\"\nmodule = \"M\"\n\
         inverter = \"I\"\ninverters = {inverters}\nstrings = [20, 20, 20, 20, 20, 20]\n[losses]\ndirt_pct = {dirt:?}\nmismatch_pct = {mismatch:?}\n\
         outage_pct = {outage:?}\n[cable]\none_way_m = {:?}\narea_mm2 = 4.0\n{}[grid]\nexport_limit_kw = {:?}\n{}\
         [module.M]\n{SHEET}{model}a_r = {:?}\n{} = {:?}\nlight_induced_pct = 1.5\nrating_basis = \"initial\"\n\
         [inverter.I]\np_ac_w = {rating:?}\nefficiency = {efficiency:?}\nnight_w = {night_w:?}\n{}",
        u.0,
        u.1,
        dice.within(1.0, 120.0),
        ac.map_or(String::new(), |[m, area, ..]| format!("ac_one_way_m = {m:?}\nac_area_mm2 = {area:?}\n")),
        export_w / 1000.0,
        ac.map_or(String::new(), |[.., no_load, load]| format!(
            "transformer = {{ rating_kva = 50.0, no_load_w = {no_load:?}, load_w = {load:?} }}\n"
        )),
        dice.within(0.1, 0.25),
        if dice.share() < 0.5 { "nmot_c" } else { "noct_c" },
        dice.within(40.0, 50.0),
        if derate.is_empty() { String::new() } else { format!("derate = {derate:?}\n") },
    );
    let mut none = |_: &Path| Err(std::io::ErrorKind::NotFound.into());
    let job = from_text("job.toml", &text, Path::new(""), &mut none).unwrap_or_else(|e| panic!("{e}\n{text}"));
    Case {
        job,
        tilt,
        azimuth,
        albedo,
        u,
        dirt,
        mismatch,
        outage,
        export_w,
        efficiency,
        derate,
        rating,
        night_w,
        inverters,
        ac,
    }
}

const SHEET: &str = "p_stc_w = 410\nv_mp = 31.25\ni_mp = 13.12\nv_oc = 37.4\ni_sc = 13.95\ngamma_pct_per_k = -0.35\n\
    beta_pct_per_k = -0.275\nalpha_pct_per_k = 0.045\nseries_cells = 54\nlength_mm = 1722\nwidth_mm = 1134\n";

/// `a` and `b` of the sheet model, or nothing for the others.
fn sheet_factors(model: &Electrical, sheet: &ModuleSheet, g: f64, t: f64) -> Option<[f64; 2]> {
    let Power::Sheet { form, .. } = &model.power else { return None };
    let a = module::low_light(form, &sheet.low_light, g);
    Some([a, module::sheet_heat(a, t, sheet.gamma_pct_per_k)])
}

fn one_year(dice: &mut Dice, lines: &str) {
    let weather = weather(dice);
    let weather = if dice.share() < 0.33 { coarse(weather) } else { weather };
    let step_h = 24.0 / weather.steps_per_day as f64;
    let c = case(dice, lines);
    let inverters = f64::from(c.inverters);
    let [ac_m, ac_mm2, no_load_w, load_w] = c.ac.unwrap_or([0.0, 1.0, 0.0, 0.0]);
    // Copper of 0.017241 ohm mm2/m (IEC 60028: 1/58) at 20 C, 0.00393 per K, at 50 C; three phases of 400 V, one cable for each inverter.
    let ac_per_w = (1.0 + 0.00393 * 30.0) * 0.017241 * ac_m / ac_mm2 / (400.0 * 400.0) / inverters;
    let behind_cable = |p: f64| p - ac_per_w * p * p;
    let behind = |p: f64| {
        let p = behind_cable(p);
        p - no_load_w - load_w * (p / 50_000.0).powi(2)
    };
    let plan = Plan::of(&c.job, &weather).unwrap_or_else(|e| panic!("{e}"));
    let option = &plan.options[0];
    let setup = &option.setup;
    let sheet = &c.job.modules["M"];
    let mut s = Scratch::default();
    let year = plan.year(option, &mut s);
    let (site, sun) = (&plan.site, &plan.site.sun);
    let plane = &site.planes[0];
    let part = &s.parts[0];
    // NOCT is that of an open circuit: of the 0.9 of the light that the cells keep, the module's efficiency does not heat
    // them in operation.
    let eta = 410.0 / (1000.0 * 1.722 * 1.134);
    let of_noct = |noct: f64| 20.0 + (noct - 20.0) * (1.0 - eta / 0.9);
    let nmot_c = sheet.nmot_c.or(sheet.noct_c.map(of_noct)).expect("one of the two");
    let loop_ohm = setup.wiring.inputs[0].strings[0].loop_ohm;

    let (mut dc, mut ac, mut delivered, mut nominal, mut day_hours) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let (mut before_limits, mut behind_open, mut behind_ac, mut cabled) = (0.0, 0.0, 0.0, 0.0);
    // Light behind dirt and glass over 1000 W/m2; power at 25 C and at the cell's temperature over nameplate.
    let (mut clean, mut cells, mut weak, mut warm) = (0.0, 0.0, 0.0, 0.0);
    for (i, &step) in sun.steps.iter().enumerate() {
        let step = step as usize;
        let hour = light::Hour {
            sun: [sun.east[i], sun.north[i], sun.up[i]],
            zenith: sun.zenith[i],
            air_mass: sun.air_mass[i],
            e0n: sun.e0n[i],
            ghi: weather.ghi[step],
            dni: weather.dni[step],
            dhi: weather.dhi[step],
        };
        // The made sky states the albedo; a file's own goes before the plane's.
        let albedo = weather.albedo.as_ref().map_or(c.albedo, |a| a[step]);
        let p = light::perez(&hour, c.tilt, c.azimuth, albedo);
        close("incidence", p.cos_aoi, plane.light.cos_aoi[i], 1e-3, RELATIVE);
        close("beam", p.beam, plane.light.beam[i], 1.0, RELATIVE);
        close("sky", p.sky, plane.light.sky[i], 1.0, RELATIVE);
        close("ground", p.ground, plane.light.ground[i], 1.0, RELATIVE);
        nominal += p.beam + p.sky + p.ground;

        let kept = 1.0 - c.dirt / 100.0;
        let [beam, sky, ground] = module::martin_ruiz(p.cos_aoi, c.tilt, sheet.a_r.unwrap_or(0.16));
        let g = (p.beam * beam + p.sky * sky + p.ground * ground) * kept;
        close("light on the cells", g, part.g_eff()[i], 1.0, RELATIVE);

        let (air, wind) = (weather.t_amb[step], weather.wind[step]);
        let t = module::faiman(g, air, wind, weather.wind_height_m, c.u, nmot_c);
        close("cell temperature", t, part.t_cell()[i], 1.0, RELATIVE);

        clean += (p.beam + p.sky + p.ground) * kept / 1000.0;
        cells += g / 1000.0;
        warm += part.rel[i];

        // Power at the maximum over nameplate, and the voltage there.
        let model = &setup.low_light;
        match (sheet_factors(model, sheet, g, t), &model.curve) {
            (Some([a, b]), Some(curve)) => {
                let rel = g / 1000.0 * a * b;
                weak += g / 1000.0 * a;
                close("power of the sheet model", rel, part.rel[i], 1e-3, RELATIVE);
                // Voltage: the curve's own, times the root of the model's power over the curve's.
                if g > 1.0 {
                    let [p_mp, v_mp] = module::maximum(&curve.parameters(g, t));
                    let f = (rel * sheet.p_stc_w / p_mp).clamp(0.1, 4.0).sqrt();
                    close("voltage of the sheet model", v_mp * f, part.v[i], 1.0, 1e-5);
                }
            }
            (None, Some(curve)) if g > 1.0 => {
                // The column kernel is a guess and one step of Halley's method: good to 1e-6 of power, 1e-5 of voltage.
                let [p_mp, v_mp] = module::maximum(&curve.parameters(g, t));
                close("power of the curve", p_mp / sheet.p_stc_w, part.rel[i], 1e-6, 1e-6);
                close("voltage of the curve", v_mp, part.v[i], 1.0, 1e-5);
            }
            _ => {}
        }

        // Six strings of twenty: light-induced loss and mismatch, then the cable by the string's current.
        let watts = sheet.p_stc_w * 0.985 * (1.0 - c.mismatch / 100.0) * part.rel[i];
        let amps = if part.v[i] > 1e-9 { watts / part.v[i] } else { 0.0 };
        let p_dc = 120.0 * watts - 6.0 * loop_ohm * amps * amps;
        close("DC power", p_dc, s.p_dc[i], 1.0, RELATIVE);
        close("DC voltage", 20.0 * part.v[i] - loop_ohm * amps, s.v_dc[i], 1.0, RELATIVE);

        let each = p_dc / inverters;
        let open = inverters * (each - plant::inverter_loss(c.rating, &c.efficiency, each).max(0.0)).max(0.0);
        let limited = open.min(inverters * plant::limit_w(c.rating, &c.derate, air));
        close("AC before the limit", open, s.ac.before_limit[i], 1.0, RELATIVE);
        close("AC", limited, s.ac.ac[i], 1.0, RELATIVE);
        let after = behind(limited).min(c.export_w);
        // Of what is left beside the transformer's own loss, the larger terms say how many digits it has.
        close("delivered", after, s.p_delivered[i], limited.max(no_load_w).max(1.0), RELATIVE);
        dc += p_dc;
        before_limits += open;
        ac += limited;
        behind_open += behind(open);
        behind_ac += behind(limited);
        cabled += behind_cable(limited);
        delivered += after;
        if open > 0.0 {
            day_hours += step_h;
        }
    }
    // The year: sums in kWh, the draw in hours without output, outage on all. A transformer stays warm all night.
    let hours = 24.0 * weather.days.len() as f64;
    let kept = 1.0 - c.outage / 100.0;
    let dark_hours = hours - sun.steps.len() as f64 * step_h;
    let night = (hours - day_hours) * c.night_w * inverters + dark_hours * no_load_w;
    [&mut nominal, &mut dc, &mut before_limits, &mut ac, &mut behind_open, &mut behind_ac, &mut delivered]
        .into_iter()
        .chain([&mut cabled, &mut clean, &mut cells, &mut weak, &mut warm])
        .for_each(|sum| *sum *= step_h);
    let wanted = (delivered - night) * kept / 1000.0;
    close("nominal energy", nominal / 1000.0 * 49.2, year.account.nominal_kwh.iter().sum(), 1.0, RELATIVE);
    close("DC energy", dc / 1000.0, year.e_dc_kwh(), 1.0, RELATIVE);
    close("delivered energy", wanted, year.e_ac_kwh(), 1.0, RELATIVE);
    // Each line of the account is what is left behind its effect less what was left before, kWh.
    use yearlight::energy::Effect::*;
    let draw = (hours - day_hours) * c.night_w * inverters / 1000.0;
    let warmed = dark_hours * no_load_w / 1000.0;
    let light_induced = 49.2 * warm * 0.985;
    let mut left = nominal / 1000.0 * 49.2;
    let of_light = left;
    for (effects, after) in [
        (&[Dirt][..], 49.2 * clean),
        (&[Incidence], 49.2 * cells),
        if weak > 0.0 { (&[LowLight], 49.2 * weak) } else { (&[LowLight, Temperature], 49.2 * warm) },
        (&[Temperature], 49.2 * warm),
        (&[LightInduced], light_induced),
        (&[Mismatch], light_induced * (1.0 - c.mismatch / 100.0)),
        (&[DcCable], dc / 1000.0),
        (&[Inverter], before_limits / 1000.0),
        (&[Clipping], ac / 1000.0),
        (&[NightDraw], ac / 1000.0 - draw),
        (&[AcCable], cabled / 1000.0 - draw),
        (&[Transformer], behind_ac / 1000.0 - draw - warmed),
        (&[Outage], (behind_ac / 1000.0 - draw - warmed) * kept),
        (&[ExportLimit], wanted),
    ] {
        if effects == [Temperature] && weak == 0.0 {
            continue;
        }
        let told = year.account.lines.iter().filter(|line| effects.contains(&line.effect));
        close(&format!("{effects:?}"), after - left, told.map(|line| line.kwh()).sum(), of_light, RELATIVE);
        left = after;
    }
    // The same with the limits lifted, and what each of them takes.
    let sums = run(setup, site, &plan.common, &mut s);
    let open = (behind_open - night) * kept / 1000.0;
    close("energy without limits", open, sums.open_kwh.iter().sum(), 1.0, RELATIVE);
    close(
        "clipped at the inverter",
        (before_limits - ac) / 1000.0,
        sums.months.iter().map(|m| m.clipped_kwh).sum(),
        1.0,
        RELATIVE,
    );
    close("clipped", (behind_open - behind_ac) * kept / 1000.0, sums.clipped_net_kwh.iter().sum(), 1.0, RELATIVE);
    close("export lost", (behind_ac - delivered) * kept / 1000.0, sums.export_net_kwh.iter().sum(), 1.0, RELATIVE);
    assert_eq!(open_energy(setup, site, &plan.common, &mut s), sums.open_kwh);
    close("performance ratio", wanted / 49.2 / (nominal / 1000.0), year.pr(), 0.0, RELATIVE);
    // Six strings of 20 modules of 410 W.
    close("nameplate, kW", 49.2, year.p_stc_kw, 0.0, RELATIVE);
    close("rated AC power, kW", inverters * c.rating / 1000.0, year.p_ac_kw, 0.0, RELATIVE);
    // The table of the hours sums to the year, its nights included.
    plan.year(option, &mut s);
    let hours = HourColumns::of(&plan, setup, &weather, &s);
    let mut lit = vec![None; weather.len()];
    sun.steps.iter().enumerate().for_each(|(i, &step)| lit[step as usize] = Some(i));
    for (step, lit) in lit.into_iter().enumerate() {
        use chrono::Datelike;
        let day = weather.days[step / weather.steps_per_day];
        let minute = (step % weather.steps_per_day) as f64 * 60.0 * step_h;
        let stamp = (hours.month[step], hours.day[step], hours.minute[step]);
        assert_eq!(stamp, (i64::from(day.month()), i64::from(day.day()), minute as i64));
        let (part, light) = (&s.parts[0], &plane.light);
        let told = [hours.poa[step], hours.g_eff[step], hours.t_cell[step], hours.p_dc[step], hours.v_dc[step]];
        let told = [told.as_slice(), &[hours.p_clipped[step]]].concat();
        let want = lit.map_or([0.0, 0.0, weather.t_amb[step], 0.0, 0.0, 0.0], |i| {
            let open = light.beam[i] + light.sky[i] + light.ground[i];
            let clipped = s.ac.before_limit[i] - s.ac.ac[i];
            [open, part.g_eff()[i], part.t_cell()[i], s.p_dc[i], s.v_dc[i], clipped]
        });
        for (want, told) in want.iter().zip(&told) {
            close("a column of the hours", *want, *told, 1.0, RELATIVE);
        }
    }
    close("sum of the hours", wanted, hours.p_ac.iter().sum::<f64>() * step_h / 1000.0, 1.0, RELATIVE);
    assert!(behind_ac >= delivered && delivered > 0.0);
}

#[test]
fn the_air_lifts_the_sun() {
    // NREL/TP-560-34302 (2008), table A5.1: 39.872046 deg without, 39.888378 deg with refraction at 820 hPa and 11 C.
    let lift = yearlight::sun::refraction_deg(39.872_046, 820.0, 11.0);
    assert!((lift - 0.016_332).abs() < 6e-7, "{lift}");
}

#[test]
fn the_sun_is_brighter_when_near() {
    // Gueymard 2018: 1361.1 W/m2 at 1 au; by the square of the distance 1407.8 W/m2 at 0.98329 au (perihelion).
    assert_eq!(yearlight::sun::extraterrestrial_normal(1.0), 1361.1);
    assert!((yearlight::sun::extraterrestrial_normal(0.98329) - 1407.75).abs() < 0.05);
}

#[test]
fn a_module_without_a_curve_follows_its_coefficients() {
    let mut none = |_: &Path| Err(std::io::ErrorKind::NotFound.into());
    let text = format!(
        "title = \"t\"\n[weather]\nfile = \"w\"\n[[plane]]\nname = \"p\"\ntilt_deg = 30\nazimuth_deg = 180\n[[option]]\n\
         tag = \"A\"\nmodule = \"M\"\ninverter = \"I\"\nstrings = [20]\n[inverter.I]\np_ac_w = 8000\n\
         efficiency = [[10, 96.5], [50, 98.3], [100, 97.9]]\n[module.M]\n{SHEET}electrical = \"gamma\"\n"
    );
    let job = from_text("job.toml", &text, Path::new(""), &mut none).unwrap_or_else(|e| panic!("{e}"));
    // No diode bends as little as this.
    let sheet = ModuleSheet { v_oc: 70.0, ..job.modules["M"].clone() };
    let (model, _) = Electrical::fit(&sheet, None).unwrap_or_else(|e| panic!("{e}"));
    assert!(model.curve.is_none());
    // Straight lines in temperature, power and current in proportion to light.
    let (g, t) = (800.0, 60.0);
    let at = model.point(g, t);
    close("short circuit", 13.95 * 0.8 * (1.0 + 0.00045 * 35.0), at.i_sc, 0.0, RELATIVE);
    close("open circuit", 70.0 * (1.0 - 0.00275 * 35.0), at.v_oc, 0.0, RELATIVE);
    close("power", 410.0 * 0.8 * (1.0 - 0.0035 * 35.0), at.p_mp, 0.0, RELATIVE);
    close("voltage", 31.25 * (1.0 - (0.0035 + 0.00045) * 35.0), at.v_mp, 0.0, RELATIVE);
    close("current", at.p_mp / at.v_mp, at.i_mp, 0.0, RELATIVE);
    close("voltage by temperature", -0.00395, model.v_mp_coefficient(), 0.0, RELATIVE);
    let i_mp = |t: f64| (1.0 - 0.0035 * (t - 25.0)) / (1.0 - 0.00395 * (t - 25.0));
    close("current by temperature", (i_mp(75.0) - 1.0) / 50.0, model.i_mp_coefficient(), 0.0, RELATIVE);
}

/// DC power of arrays whose modules share no voltage: without strings, and behind converters of their own.
#[test]
fn modules_each_at_their_own_maximum() {
    let mut dice = Dice(5);
    let weather = weather(&mut dice);
    let mut none = |_: &Path| Err(std::io::ErrorKind::NotFound.into());
    // Copper of 0.017241 ohm mm2/m at 20 C, at 50 C, out and back.
    let loop_ohm = 2.0 * 80.0 * 0.017241 * (1.0 + 0.00393 * 30.0) / 2.5;
    let one = [[100.0, 98.5]];
    let three = [[20.0, 97.5], [50.0, 98.2], [100.0, 98.3]];
    for (places, efficiency, v_string) in [
        ("modules = 90", &[][..], None),
        ("strings = [16, 16, 16, 14, 14, 14]\nmodule_converters = true", &one, Some(390.0)),
        ("strings = [16, 16, 16, 14, 14, 14]\nmodule_converters = true", &one, None),
        ("modules = 90\nmodule_converters = true", &three, Some(390.0)),
    ] {
        let text = format!(
            "title = \"t\"\n[weather]\nfile = \"w\"\n[[plane]]\nname = \"p\"\ntilt_deg = 30\nazimuth_deg = 200\n\
             [[option]]\ntag = \"A\"\nmodule = \"M\"\ninverter = \"I\"\n{places}\n[losses]\nmismatch_pct = 1.7\n\
             [cable]\none_way_m = 80\narea_mm2 = 2.5\n[module.M]\n{SHEET}low_light = [[200, 0.96]]\n\
             light_induced_pct = 1.5\nrating_basis = \"initial\"\n[inverter.I]\np_ac_w = 33000\n\
             efficiency = [[10, 96.5], [50, 98.3], [100, 97.9]]\n{}{}",
            if efficiency.is_empty() {
                String::new()
            } else {
                format!("[inverter.I.module_converter]\np_in_max_w = 200\nefficiency = {efficiency:?}\n")
            },
            v_string.map_or(String::new(), |v: f64| format!("v_string = {v:?}\n")),
        );
        let job = from_text("job.toml", &text, Path::new(""), &mut none).unwrap_or_else(|e| panic!("{e}\n{text}"));
        let plan = Plan::of(&job, &weather).unwrap_or_else(|e| panic!("{e}"));
        let mut s = Scratch::default();
        let year = plan.year(&plan.options[0], &mut s);
        // Kept stages say the same to the bit.
        let kept = Stages::new(&plan.site, &plan.common).months(&plan.options[0].setup);
        assert_eq!(kept, year.months, "{places}");
        let part = &s.parts[0];
        // Without strings the cable is that of a string of twenty.
        let longest = if places.starts_with("modules") { 20.0 } else { 16.0 };
        let (mut bright, mut full) = (0, 0);
        for i in 0..s.p_dc.len() {
            let own = 410.0 * 0.985 * part.rel[i];
            let input = own.min(200.0);
            let at_input = |[load, eta]: [f64; 2]| [load / 100.0 * 200.0, load / 100.0 * 200.0 * (1.0 - eta / 100.0)];
            let each = match *efficiency {
                [] => own * (1.0 - 0.017),
                [[_, eta]] => eta / 100.0 * input,
                [a, b, c] => (input - parabola(&[a, b, c].map(at_input), input).max(0.0)).max(0.0),
                _ => unreachable!("no curve of another kind"),
            };
            // Power of the string over its voltage, held from a fifth of the rated one up.
            let v = longest * 31.25 * (part.v[i] / 31.25).max(0.2);
            let v = if !efficiency.is_empty() { v_string.unwrap_or(longest * 410.0 / 13.12) } else { v };
            let amps = longest * each / v;
            let want = (each - loop_ohm * amps * amps / longest).max(0.0) * 90.0;
            close(
                &format!("DC power, {places}"),
                want,
                s.p_dc[i],
                1.0,
                if efficiency.is_empty() { 3e-5 } else { RELATIVE },
            );
            bright += usize::from(each > 100.0);
            full += usize::from(own > 200.0);
        }
        assert!(bright > 500 && full > 10, "{bright} {full}");
    }
}

/// Through three points, by Lagrange.
fn parabola(p: &[[f64; 2]; 3], x: f64) -> f64 {
    (0..3)
        .map(|j| (0..3).filter(|k| *k != j).map(|k| (x - p[k][0]) / (p[j][0] - p[k][0])).product::<f64>() * p[j][1])
        .sum()
}

#[test]
fn the_pressure_of_the_air() {
    // Sea level where the elevation is unknown; the top of the troposphere (226.32 hPa, US Standard Atmosphere 1976, from
    // memory; the formula's rounded constants miss it by less than 0.05 hPa) for anything above it.
    assert_eq!(yearlight::sun::pressure_hpa(f64::NAN), 1013.25);
    assert!((yearlight::sun::pressure_hpa(1e9) - 226.32).abs() < 0.05);
}

#[test]
fn snow_slides_above_its_threshold() {
    // The threshold of the air is -80 m2 C/W under the light: -10 C at 800 W/m2. An hour then takes
    // 0.197 sin(30 deg) of the row.
    let after = |t_amb: f64| yearlight::energy::SnowCover::new(1.0).step(20.0, t_amb, 800.0, 0.5, 1.0, 1.0);
    assert_eq!(after(-10.05), 1.0);
    assert!((after(-9.95) - (1.0 - 0.0985)).abs() < 1e-12);
}

#[test]
fn a_year_of_the_sheet_model() {
    let mut dice = Dice(2);
    for _ in 0..8 {
        let eta = dice.within(0.92, 0.99);
        one_year(&mut dice, &format!("low_light = [[200, {eta:?}]]\n"));
        let more = dice.within(0.990, 1.004);
        one_year(&mut dice, &format!("low_light = [[100, {:?}], [200, {eta:?}], [600, {more:?}]]\n", eta - 0.02));
    }
}

#[test]
fn a_year_of_the_one_diode_model() {
    let mut dice = Dice(3);
    for _ in 0..6 {
        one_year(&mut dice, "electrical = \"one-diode\"\n");
    }
}
