//! Laws that the whole chain must keep, whatever the numbers.

use std::path::Path;
use std::sync::OnceLock;

use proptest::prelude::*;
use yearlight::energy::{HourColumns, OptionYear, Plan, Scratch, SiteLight, Stages, open_energy, run};
use yearlight::job::{Job, from_text};
use yearlight::plane::{RowsSpec, Skyline};
use yearlight::plant::EfficiencyAtVoltage;
use yearlight::sun::SunTrack;
use yearlight::weather::{ReadHints, WeatherYear};
use yearlight::{sky, weigh};

const JOB: &str = include_str!("bad_input/job.toml");
const PARTS: &str = include_str!("bad_input/parts.toml");

const ROWS: RowsSpec = RowsSpec { pitch_m: 6.0, slant_m: 2.0, high: 1, clearance_m: 1.0, count: None };

fn job(text: &str) -> Job {
    let mut loader = |path: &Path| match path.to_str() {
        Some("parts.toml") => Ok(PARTS.as_bytes().to_vec()),
        _ => Err(std::io::ErrorKind::NotFound.into()),
    };
    from_text("job.toml", text, Path::new(""), &mut loader).unwrap_or_else(|e| panic!("{e}"))
}

fn weather(file: &str) -> WeatherYear {
    sky::read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("weather").join(file), &ReadHints::default())
        .unwrap_or_else(|e| panic!("{e}"))
}

fn cloudy() -> &'static WeatherYear {
    static YEAR: OnceLock<WeatherYear> = OnceLock::new();
    YEAR.get_or_init(|| weather("port-angeles-wa.csv"))
}

fn hot() -> &'static WeatherYear {
    static YEAR: OnceLock<WeatherYear> = OnceLock::new();
    YEAR.get_or_init(|| weather("davis-monthan-az.csv"))
}

/// The job of the tests with other figures.
fn varied(tilt: f64, azimuth: f64, dirt: f64, cable_m: f64, export_kw: f64, model: &str) -> Job {
    let mut job = job(JOB);
    job.spec.plane.truncate(1);
    job.spec.plane[0].tilt_deg = tilt;
    job.spec.plane[0].azimuth_deg = azimuth;
    job.spec.plane[0].size_m = None;
    job.spec.plane[0].obstacles.clear();
    for option in &mut job.options {
        option.planes = vec![0];
    }
    job.skyline.clear();
    job.spec.losses.dirt_pct = yearlight::units::OneOrTwelve::One(dirt);
    job.spec.cable.loss_at_stc_pct = None;
    job.spec.cable.one_way_m = Some(cable_m);
    job.spec.cable.area_mm2 = Some(4.0);
    job.spec.grid.export_limit_kw = Some(export_kw);
    job.spec.sky_model = serde_json::from_value(model.into()).expect("a sky model");
    job
}

fn hours(plan: &Plan, weather: &WeatherYear, k: usize) -> (OptionYear, HourColumns) {
    let mut scratch = Scratch::default();
    let option = &plan.options[k];
    let year = plan.year(option, &mut scratch);
    let hours = HourColumns::of(plan, &option.setup, weather, &scratch);
    (year, hours)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn every_kwh_has_a_name(
        tilt in 0.0..90.0_f64, azimuth in 0.0..360.0_f64, dirt in 0.0..20.0_f64, cable in 0.0..200.0_f64,
        export in 0.0..40.0_f64, model in prop::sample::select(vec!["perez", "hay-davies", "reindl", "isotropic"]),
    ) {
        let job = varied(tilt, azimuth, dirt, cable, export, model);
        let plan = Plan::of(&job, cloudy()).unwrap();
        for k in 0..plan.options.len() {
            let (year, hours) = hours(&plan, cloudy(), k);
            let nominal: f64 = year.account.nominal_kwh.iter().sum();
            prop_assert!(year.account.residual_kwh().abs() <= 1e-9 * nominal);
            // Hours sum to months sum to the year.
            let from_hours: f64 = hours.p_ac.iter().sum::<f64>() / 1000.0;
            let step = cloudy().step_h();
            let delivered = year.e_ac_kwh();
            // The export limit acts on power in service; the hourly column takes outage evenly.
            prop_assert!((from_hours * step - delivered).abs() <= 1e-9 * nominal, "{} {}", from_hours * step, delivered);
            // The hours of light on the plane sum to its year.
            let light = hours.poa.iter().sum::<f64>() * step / 1000.0;
            let of_months: f64 = year.months.iter().map(|m| m.h_i_kwh_m2).sum();
            prop_assert!((light - of_months).abs() <= 1e-9 * of_months, "{} {}", light, of_months);
            let limit = year.p_ac_kw * 1000.0;
            let night = plan.options[k].setup.conversion.inverter.night_w();
            let mut lit = vec![false; hours.p_ac.len()];
            for &i in &plan.site.sun.steps { lit[i as usize] = true; }
            for i in 0..hours.p_ac.len() {
                prop_assert!(hours.p_ac[i].is_finite() && hours.t_cell[i].is_finite() && hours.p_dc[i].is_finite());
                prop_assert!(hours.p_ac[i] <= limit * (1.0 + 1e-12));
                prop_assert!(hours.p_ac[i] <= hours.p_dc[i].max(0.0) + 1e-9);
                if !lit[i] {
                    prop_assert_eq!(hours.p_dc[i], 0.0);
                    prop_assert!((hours.p_ac[i] + night * plan.common.outage.kept()).abs() < 1e-9);
                }
            }
            for line in &year.account.lines {
                use yearlight::energy::Effect::*;
                if !matches!(line.effect, LowLight | Temperature | Rear | Spectrum) {
                    prop_assert!(line.kwh() <= 1e-9 * nominal, "{:?} gains {}", line.effect, line.kwh());
                }
            }
        }
    }

    #[test]
    fn a_mirrored_world_gives_the_same_year(tilt in 0.0..90.0_f64, azimuth in 0.0..360.0_f64) {
        let here = varied(tilt, azimuth, 2.0, 50.0, 30.0, "perez");
        let mut there = here.clone();
        there.spec.plane[0].azimuth_deg = (180.0 - azimuth).rem_euclid(360.0);
        let open = Skyline::new(&[]).unwrap();
        let mut plan = Plan::of(&here, cloudy()).unwrap();
        let mut mirrored = plan.clone();
        let sun = SunTrack::over(cloudy());
        let mut flipped = sun.clone();
        flipped.north.iter_mut().for_each(|n| *n = -*n);
        plan.site = SiteLight::under(sun, cloudy(), &here.spec.plane, &open, here.spec.sky_model);
        mirrored.site = SiteLight::under(flipped, cloudy(), &there.spec.plane, &open, here.spec.sky_model);
        for (a, b) in plan.years().iter().zip(mirrored.years()) {
            prop_assert!((a.e_ac_kwh() / b.e_ac_kwh() - 1.0).abs() < 1e-12);
        }
    }
}

#[test]
fn the_same_option_twice_has_no_gap_at_all() {
    let mut text = job(JOB);
    let twin = text.options[0].clone();
    text.options = vec![twin.clone(), yearlight::job::ResolvedOption { tag: "twin".into(), ..twin }];
    let plan = Plan::of(&text, cloudy()).unwrap();
    let study = weigh::study(&text, cloudy(), &plan).unwrap();
    let gap = &study.gaps[0];
    assert_eq!(gap.kwh, 0.0);
    assert_eq!(gap.kwh_per_kw, 0.0);
    let split = gap.first_year.as_ref().expect("a split");
    for line in &split.lines {
        assert_eq!(line.part.kwh, 0.0, "{:?}", line.group);
    }
    assert_eq!(split.clipping.kwh, 0.0);
    assert_eq!(split.export.kwh, 0.0);
}

#[test]
fn kept_stages_of_a_roof() {
    kept_stages_give_the_bits_of_the_plain_chain("merrowby-school.toml");
}

#[test]
fn kept_stages_of_a_field() {
    kept_stages_give_the_bits_of_the_plain_chain("field/saltpan-field.toml");
}

#[test]
fn kept_stages_of_an_open_plane() {
    kept_stages_give_the_bits_of_the_plain_chain("two-skies/hot.toml");
}

/// The stages that splits and turns keep give the same bits as the chain run anew.
fn kept_stages_give_the_bits_of_the_plain_chain(name: &str) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("configs");
    let mut job = yearlight::job::load(&folder.join(name)).unwrap_or_else(|e| panic!("{e}"));
    let hints = job.read_hints().unwrap();
    let weather = sky::read(&job.weather_path(), &hints).unwrap_or_else(|e| panic!("{e}"));
    if name == "merrowby-school.toml" {
        // An efficiency that falls with voltage, so that the voltage of every part counts.
        for sheet in job.inverters.values_mut() {
            let lower = sheet.efficiency.iter().map(|[load, eta]| [*load, eta - 0.6]).collect();
            sheet.efficiency_v = Some(600.0);
            sheet.efficiency_at_v = vec![EfficiencyAtVoltage { v: 850.0, efficiency: lower }];
        }
    }
    let plan = Plan::of(&job, &weather).unwrap_or_else(|e| panic!("{name}: {e}"));
    let setup = |k: usize| &plan.options[k].setup;
    let (mut scratch, mut brief) = (Scratch::default(), Scratch::brief());
    let mut stages = Stages::new(&plan.site, &plan.common);
    for k in 1..plan.options.len() {
        let players = weigh::differing(setup(0), setup(k));
        for mask in 0..1_u32 << players.len() {
            let mixed = weigh::mix(setup(0), setup(k), &players, mask);
            let plain = open_energy(&mixed, &plan.site, &plan.common, &mut scratch);
            assert_eq!(stages.open_energy(&mixed), plain, "{name}, option {k}, mask {mask:b}");
        }
    }
    for option in &plan.options {
        let sums = run(&option.setup, &plan.site, &plan.common, &mut scratch);
        assert_eq!(stages.months(&option.setup), sums.months, "{name}, {}", option.tag);
        // Columns of one block only.
        assert_eq!(run(&option.setup, &plan.site, &plan.common, &mut brief), sums, "{name}, {} in brief", option.tag);
        assert_eq!(brief.p_delivered, scratch.p_delivered, "{name}, {} in brief", option.tag);
        // Without strings, as one lumped array.
        let mut lumped = option.setup.clone();
        lumped.wiring.inputs.clear();
        let sums = run(&lumped, &plan.site, &plan.common, &mut scratch);
        assert_eq!(stages.months(&lumped), sums.months, "{name}, {} lumped", option.tag);
        assert_eq!(run(&lumped, &plan.site, &plan.common, &mut brief), sums, "{name}, {} lumped in brief", option.tag);
    }
    // Work was kept: far fewer fronts than runs.
    assert!(stages.made()[0] < 200, "{:?}", stages.made());
}

// The orbit is not round and typical years are no mirror images, so a real sun with a half-year shift agrees only
// within 3 %; the light is a clear-sky year, whose northern and southern halves differ by the sun's distance.
#[test]
fn the_southern_twin_of_a_clear_year_is_within_three_percent() {
    let build = |latitude: f64| {
        let mut year = hot().clone();
        year.place.latitude_deg = latitude;
        year.place.longitude_deg = 0.0;
        year.place.utc_offset_min = 0;
        year.albedo = None;
        let sun = SunTrack::over(&year);
        for column in [&mut year.ghi, &mut year.dni, &mut year.dhi] {
            column.iter_mut().for_each(|x| *x = 0.0);
        }
        // Haurwitz (1945): a clear sky from the sun's height alone.
        for (k, &i) in sun.steps.iter().enumerate() {
            let up = sun.up[k].max(0.0);
            let ghi = if up > 0.01 { 1098.0 * up * (-0.059 / up).exp() } else { 0.0 };
            year.ghi[i as usize] = ghi;
            year.dhi[i as usize] = 0.15 * ghi;
            year.dni[i as usize] = if up > 0.05 { 0.85 * ghi / up } else { 0.0 };
        }
        year.t_amb.iter_mut().for_each(|t| *t = 15.0);
        year.wind.iter_mut().for_each(|w| *w = 3.0);
        year
    };
    let north = varied(30.0, 180.0, 2.0, 50.0, 100.0, "perez");
    let south = varied(30.0, 0.0, 2.0, 50.0, 100.0, "perez");
    let a = Plan::of(&north, &build(35.0)).unwrap().years();
    let b = Plan::of(&south, &build(-35.0)).unwrap().years();
    for (a, b) in a.iter().zip(&b) {
        let ratio = a.e_ac_kwh() / b.e_ac_kwh();
        assert!((ratio - 1.0).abs() < 0.03, "{ratio}");
        // June in the north is December in the south.
        let ratio = a.months[5].e_ac_kwh / b.months[11].e_ac_kwh;
        assert!((ratio - 1.0).abs() < 0.10, "{ratio}");
    }
}

/// Light that a file holds at night, of whichever kind, is not lost.
#[test]
fn light_at_night_is_a_step_of_its_own() {
    let dark = yearlight::sun::SunTrack::over(cloudy());
    for kind in 0..3 {
        let mut year = cloudy().clone();
        // The first midnight of the year, and the last.
        let nights = [0, year.ghi.len() - 1];
        for i in nights {
            [&mut year.ghi, &mut year.dni, &mut year.dhi][kind][i] = 4.0;
        }
        let lit = yearlight::sun::SunTrack::over(&year);
        assert_eq!(lit.steps.len(), dark.steps.len() + 2);
        assert!(nights.iter().all(|&i| lit.steps.contains(&(i as u32)) && !dark.steps.contains(&(i as u32))));
    }
}

/// Half of the modules on each of two equal planes give what all give on one.
#[test]
fn a_lumped_array_may_be_counted_in_two_parts() {
    let plan = Plan::of(&varied(30.0, 180.0, 2.0, 50.0, 30.0, "perez"), cloudy()).unwrap();
    let mut scratch = Scratch::default();
    let mut stages = Stages::new(&plan.site, &plan.common);
    for option in &plan.options {
        let mut whole = option.setup.clone();
        whole.wiring.inputs.clear();
        let mut parts = whole.clone();
        parts.mounting = yearlight::energy::Mounting { parts: vec![(0, 0.25), (0, 0.75)] };
        let kwh = |sums: [yearlight::energy::MonthSums; 12]| sums.map(|m| m.e_ac_kwh);
        let one = kwh(run(&whole, &plan.site, &plan.common, &mut scratch).months);
        let two = kwh(run(&parts, &plan.site, &plan.common, &mut scratch).months);
        let kept = kwh(stages.months(&parts));
        for m in 0..12 {
            assert!((two[m] / one[m] - 1.0).abs() < 1e-12, "{} {m}: {} {}", option.tag, one[m], two[m]);
            assert_eq!(kept[m], two[m], "{} {m}", option.tag);
        }
    }
}

/// Steps of half an hour, in which modules warm and cool with inertia, by kept stages as by the plain chain.
#[test]
fn kept_stages_know_inertia() {
    let mut year = cloudy().clone();
    let twice = |column: &Vec<f64>| column.iter().flat_map(|x| [*x, *x]).collect::<Vec<f64>>();
    year.steps_per_day *= 2;
    for column in [&mut year.ghi, &mut year.dni, &mut year.dhi, &mut year.t_amb, &mut year.wind] {
        *column = twice(column);
    }
    for column in [&mut year.albedo, &mut year.pressure, &mut year.humidity_pct, &mut year.precipitable_water_cm] {
        *column = column.as_ref().map(&twice);
    }
    (year.rain_mm, year.snow_depth_cm) = (None, None);
    let mut job = varied(30.0, 180.0, 2.0, 50.0, 30.0, "perez");
    let months = |job: &Job| {
        let plan = Plan::of(job, &year).unwrap();
        let setup = &plan.options[0].setup;
        let plain = run(setup, &plan.site, &plan.common, &mut Scratch::default()).months;
        assert_eq!(Stages::new(&plan.site, &plan.common).months(setup), plain);
        plain.map(|m| m.e_dc_kwh)
    };
    // Twice as many steps of half the length: every line of the account, and what the limits take, stays what it was
    // but for where the sun stands within the hour.
    let sums = |job: &Job, weather: &WeatherYear| {
        let plan = Plan::of(job, weather).unwrap();
        run(&plan.options[0].setup, &plan.site, &plan.common, &mut Scratch::default())
    };
    let (half, hour) = (sums(&job, &year), sums(&job, cloudy()));
    let nominal: f64 = hour.account.nominal_kwh.iter().sum();
    assert_eq!(half.account.lines.len(), hour.account.lines.len());
    for (a, b) in half.account.lines.iter().zip(&hour.account.lines) {
        assert!(
            a.effect == b.effect && (a.kwh() - b.kwh()).abs() < 0.004 * nominal,
            "{:?} {} {}",
            a.effect,
            a.kwh(),
            b.kwh()
        );
    }
    for (a, b) in [(half.open_kwh, hour.open_kwh), (half.export_net_kwh, hour.export_net_kwh)] {
        let (a, b): (f64, f64) = (a.iter().sum(), b.iter().sum());
        assert!((a - b).abs() < 0.01 * hour.open_kwh.iter().sum::<f64>(), "{a} {b}");
    }
    let light = months(&job);
    job.modules.values_mut().for_each(|sheet| sheet.heat_capacity_j_m2_k = Some(22_000.0));
    let heavy = months(&job);
    // Mornings are colder, evenings warmer: inertia moves a month by little, but it does.
    for (a, b) in light.iter().zip(&heavy) {
        assert!(a != b && (b / a - 1.0).abs() < 0.01, "{a} {b}");
    }
}

/// Options on different planes, behind different glass, with and without light from behind, share one [`Lights`] and
/// give what each gives alone.
#[test]
fn shared_light_is_the_light_of_each() {
    shared_light(None);
    shared_light(Some(ROWS));
}

fn shared_light(rows: Option<RowsSpec>) {
    let mut job = job(JOB);
    for (plane, azimuth) in [("east", 90.0), ("west", 270.0)] {
        let mut spec = job.spec.plane[0].clone();
        (spec.name, spec.azimuth_deg) = (plane.to_string(), azimuth);
        (spec.size_m, spec.obstacles) = (None, Vec::new());
        spec.rows.clone_from(&rows);
        job.spec.plane.push(spec);
    }
    // Two options behind one glass on two planes, two on one plane behind two kinds of glass.
    let glasses = ["fresnel", "fresnel", "martin-ruiz"];
    for (k, option) in job.options.iter_mut().enumerate() {
        option.planes = vec![job.spec.plane.len() - 1 - k % 2];
        option.strings = Vec::new();
        let sheet = job.modules.get_mut(&option.module).unwrap();
        (sheet.glass, sheet.bifaciality) = (Some(glasses[k % 3].to_string()), Some(0.7));
    }
    let plan = Plan::of(&job, cloudy()).unwrap_or_else(|e| panic!("{e}"));
    let mut lights = yearlight::energy::Lights::new(&plan.site, &plan.common);
    let mut scratch = Scratch::default();
    // The same with more light from behind.
    let more = plan.options.iter().map(|option| {
        let mut option = option.clone();
        option.setup.rear.bifaciality += 0.2;
        option
    });
    let all: Vec<_> = plan.options.iter().cloned().chain(more).collect();
    // Twice through, so that what is kept is taken too.
    for option in all.iter().chain(&all) {
        let shared = yearlight::energy::run_under(&option.setup, &mut lights, &mut scratch);
        assert_eq!(shared, run(&option.setup, &plan.site, &plan.common, &mut scratch), "{}", option.tag);
    }
    let delivered: Vec<f64> = plan.years().iter().map(OptionYear::e_ac_kwh).collect();
    assert!(delivered.windows(2).all(|pair| pair[0] != pair[1]), "{delivered:?}");
}

/// Light on the rear adds its share of the cells' light: bifaciality, 0.95 that the structure leaves and 0.97 that uneven
/// light leaves (common practice, no source).
#[test]
fn light_from_behind_adds_its_share() {
    let mut job = varied(30.0, 180.0, 2.0, 50.0, 30.0, "perez");
    job.spec.plane[0].rows = Some(ROWS);
    let cells = |bifaciality: f64| {
        let mut job = job.clone();
        job.modules.values_mut().for_each(|sheet| sheet.bifaciality = Some(bifaciality));
        let plan = Plan::of(&job, cloudy()).unwrap();
        let mut scratch = Scratch::default();
        plan.year(&plan.options[0], &mut scratch);
        (scratch.parts[0].g_eff().to_vec(), plan.site.planes[0].rear.clone())
    };
    let ((front, rear), (both, _)) = (cells(0.0), cells(0.8));
    assert!(rear.iter().sum::<f64>() > 0.02 * front.iter().sum::<f64>());
    for ((front, rear), both) in front.iter().zip(&rear).zip(&both) {
        let want = front + rear * 0.8 * 0.95 * 0.97;
        assert!((both - want).abs() < 1e-9 * want.max(1.0), "{both} {want}");
    }
}

/// Unequal strings of one input stay apart, equal ones count together, and equal inputs are one kind.
#[test]
fn strings_of_an_input_are_counted_by_their_length() {
    let inputs = |strings: &[u32]| -> Vec<(u32, Vec<(u32, u32)>)> {
        let mut job = varied(30.0, 180.0, 2.0, 50.0, 30.0, "perez");
        job.options.truncate(1);
        for sheet in job.inverters.values_mut() {
            (sheet.inputs, sheet.strings_per_input) = (Some(3), Some(2));
        }
        (job.options[0].strings, job.options[0].n_modules) = (strings.to_vec(), Some(strings.iter().sum()));
        let plan = Plan::of(&job, cloudy()).unwrap();
        let wiring = &plan.options[0].setup.wiring;
        assert_eq!(wiring.modules(), strings.iter().sum::<u32>());
        let kinds = wiring.inputs.iter();
        kinds.map(|i| (i.alike, i.strings.iter().map(|s| (s.n_series, s.count)).collect())).collect()
    };
    assert_eq!(inputs(&[17; 6]), [(3, vec![(17, 2)])]);
    let (a, b, c) = (vec![(20, 1), (19, 1)], vec![(18, 1), (17, 1)], vec![(16, 1), (15, 1)]);
    assert_eq!(inputs(&[20, 19, 18, 17, 16, 15]), [(1, a), (1, b), (1, c)]);
}

/// The line of the first weeks' loss is its share of what temperature has left.
#[test]
fn the_loss_of_the_first_weeks_is_the_share_stated() {
    let mut job = varied(30.0, 180.0, 2.0, 50.0, 30.0, "perez");
    for sheet in job.modules.values_mut() {
        (sheet.light_induced_pct, sheet.rating_basis) = (Some(2.5), Some(yearlight::module::RatingBasis::Initial));
    }
    let plan = Plan::of(&job, cloudy()).unwrap();
    for year in plan.years() {
        let mut left: f64 = year.account.nominal_kwh.iter().sum();
        let mut seen = false;
        for line in &year.account.lines {
            if line.effect == yearlight::energy::Effect::LightInduced {
                assert!((line.kwh() + 0.025 * left).abs() < 1e-9 * left, "{} {left}", line.kwh());
                seen = true;
            }
            left += line.kwh();
        }
        assert!(seen);
    }
}

/// A lumped array loses the stated share to mismatch, no more and no less.
#[test]
fn mismatch_of_a_lumped_array_is_the_share_stated() {
    let mut job = varied(30.0, 180.0, 2.0, 50.0, 30.0, "perez");
    job.spec.losses.mismatch_pct = 2.5;
    let plan = Plan::of(&job, cloudy()).unwrap();
    for option in &plan.options {
        let mut lumped = option.setup.clone();
        lumped.wiring.inputs.clear();
        let account = run(&lumped, &plan.site, &plan.common, &mut Scratch::default()).account;
        let mut left: f64 = account.nominal_kwh.iter().sum();
        let mut lines = account.lines.iter();
        let mismatch = lines.find(|line| {
            let here = line.effect == yearlight::energy::Effect::Mismatch;
            left += if here { 0.0 } else { line.kwh() };
            here
        });
        let share = mismatch.expect("a line").kwh() / left;
        assert!((share + 0.025).abs() < 1e-9, "{}: {share}", option.tag);
    }
}

#[test]
fn no_light_gives_no_energy_but_the_draw() {
    let mut dark = cloudy().clone();
    for column in [&mut dark.ghi, &mut dark.dni, &mut dark.dhi] {
        column.iter_mut().for_each(|x| *x = 0.0);
    }
    let job = varied(30.0, 180.0, 2.0, 50.0, 30.0, "perez");
    let plan = Plan::of(&job, &dark).unwrap();
    for (k, year) in plan.years().iter().enumerate() {
        assert_eq!(year.e_dc_kwh(), 0.0);
        let setup = &plan.options[k].setup;
        let draw = setup.conversion.inverter.night_w() * f64::from(setup.conversion.count) * 8.76;
        let expected = -draw * plan.common.outage.kept();
        assert!((year.e_ac_kwh() - expected).abs() < 1e-9, "{} {expected}", year.e_ac_kwh());
    }
}

#[test]
fn one_and_eight_threads_give_the_same_bytes() {
    let dir = tempfile::tempdir().unwrap();
    let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("configs/merrowby-school.toml");
    let mut outputs = Vec::new();
    for threads in ["1", "8"] {
        let out = dir.path().join(threads);
        let status = std::process::Command::new(env!("CARGO_BIN_EXE_yearlight"))
            .args(["weigh", "--quiet", "--out"])
            .arg(&out)
            .arg(&config)
            .env("RAYON_NUM_THREADS", threads)
            .output()
            .unwrap();
        assert!(status.status.success(), "{}", String::from_utf8_lossy(&status.stderr));
        let mut files: Vec<_> = std::fs::read_dir(&out).unwrap().map(|e| e.unwrap().path()).collect();
        files.sort();
        let bytes: Vec<_> =
            files.iter().map(|f| (f.file_name().unwrap().to_owned(), std::fs::read(f).unwrap())).collect();
        outputs.push((status.stdout, bytes));
    }
    assert!(!outputs[0].1.is_empty());
    assert!(outputs[0] == outputs[1], "the number of threads changes the output");
}

/// A load on site that never rests lets as much more pass an export limit as it takes itself.
#[test]
fn a_load_on_site_lifts_the_export_limit_by_itself() {
    let delivered = |export_kw: f64, load_kw: f64| {
        let mut job = varied(30.0, 180.0, 2.0, 50.0, export_kw, "perez");
        job.load_kw = if load_kw > 0.0 { vec![load_kw; cloudy().len()] } else { Vec::new() };
        Plan::of(&job, cloudy()).unwrap().years()[0].months.map(|m| m.e_ac_kwh)
    };
    let (limited, served, open) = (delivered(10.0, 0.0), delivered(6.0, 4.0), delivered(100.0, 0.0));
    for month in 0..12 {
        assert!((limited[month] - served[month]).abs() < 1e-9 * limited[month], "{month}");
    }
    assert!(limited.iter().sum::<f64>() < 0.9 * open.iter().sum::<f64>());
}
