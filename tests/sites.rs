//! Whole jobs on the shipped skies: the school roof's story, the field, rows, trackers, a tent, converters, snow, dirt.

use std::path::Path;

use yearlight::energy::{Effect, EnergyError, HourColumns, OptionYear, Plan, Scratch};
use yearlight::job::{self, Job};
use yearlight::plant::Verdict;
use yearlight::roof::{RoofError, UNSHADED_LOSS};
use yearlight::weather::WeatherYear;

fn load(path: &str) -> (Job, WeatherYear) {
    let job = job::load(Path::new(path)).unwrap_or_else(|e| panic!("{e}"));
    let weather = yearlight::sky::read(&job.weather_path(), &Default::default()).unwrap();
    (job, weather)
}

fn text(text: &str) -> (Job, WeatherYear) {
    let job = job::from_text("configs/test.toml", text, Path::new("configs"), &mut |p| std::fs::read(p))
        .unwrap_or_else(|e| panic!("{e}"));
    let weather = yearlight::sky::read(&job.weather_path(), &Default::default()).unwrap();
    (job, weather)
}

/// One option on the planes given, 40 kW, under one of the shipped skies.
fn simple(weather: &str, module: &str, planes: &str, more: &str) -> (Plan, OptionYear) {
    let job = format!(
        "title = \"t\"\nparts = \"merrowby-parts.toml\"\n[weather]\nfile = \"../weather/{weather}.csv\"\n{planes}\n\
         [[option]]\ntag = \"A\"\nmodule = \"{module}\"\ninverter = \"K33\"\nmodules = 96\n{more}\n"
    );
    let (job, weather) = text(&job);
    let plan = Plan::of(&job, &weather).unwrap();
    let year = plan.years().remove(0);
    (plan, year)
}

fn kwh(year: &OptionYear, effect: Effect) -> f64 {
    year.account.lines.iter().find(|l| l.effect == effect).map_or(0.0, |l| l.kwh())
}

fn months(year: &OptionYear, effect: Effect) -> [f64; 12] {
    year.account.lines.iter().find(|l| l.effect == effect).map_or([0.0; 12], |l| l.months_kwh)
}

fn nominal(year: &OptionYear) -> f64 {
    year.account.nominal_kwh.iter().sum()
}

const SCHOOL: &str = "configs/merrowby-school.toml";

/// The demo's point: the first option has to take slots in the shade of the lift housing, the others need not, and what
/// that costs is a line of the account.
#[test]
fn the_school_roof_has_too_few_open_slots_for_one_option_only() {
    let (mut job, weather) = load(SCHOOL);
    let plan = Plan::of(&job, &weather).unwrap();
    let years = plan.years();
    let slots = |k: usize| &plan.options[k].roof[0];
    assert_eq!(years.iter().map(|y| y.modules).collect::<Vec<_>>(), [98, 90, 92]);
    assert!(slots(0).unshaded < 98 && slots(0).slots.len() >= 98);
    assert!(slots(1).unshaded >= 90 && slots(2).unshaded >= 92);
    let taken: Vec<u32> = plan.options.iter().map(|o| o.on_shaded_slots).collect();
    assert!(taken[0] == 98 - slots(0).unshaded && taken[1] == 0 && taken[2] == 0, "{taken:?}");
    let note = plan.notes.iter().find(|n| n.code == "roof.shaded-slots").unwrap();
    assert!(note.loud && note.text.contains(&format!("A {}, B none, C none", taken[0])), "{}", note.text);
    // Per kW the first option loses most to shade.
    let share = |k: usize| kwh(&years[k], Effect::Shade) / nominal(&years[k]);
    assert!(share(0) < share(1) && share(0) < share(2) && share(1) < 0.0);
    // The chosen slots are the best ones, the curve falls, and the marked slots are those that lose most.
    for option in &plan.options {
        for map in &option.roof {
            assert!(map.curve.windows(2).all(|w| w[0] >= w[1]));
            let used = map.slots.iter().filter(|s| s.used).count() as u32;
            assert!(map.slots.iter().all(|s| s.used == (s.rank <= used)));
        }
        let lost = |s: &yearlight::roof::SlotRecord| {
            let kwh_per_kw = s.lost_kwh / (option.setup.nameplate.p_stc_w / 1000.0);
            kwh_per_kw / (kwh_per_kw + s.yield_kwh_per_kw)
        };
        let dark = option.roof[0].slots.iter().filter(|s| s.used && lost(s) >= UNSHADED_LOSS).count() as u32;
        assert_eq!(dark, option.on_shaded_slots);
    }
    // Without obstacles there is nothing to tell.
    job.spec.plane[0].obstacles.clear();
    let open = Plan::of(&job, &weather).unwrap();
    assert!(open.options.iter().all(|o| o.on_shaded_slots == 0));
    for (with, without) in years.iter().zip(open.years()) {
        assert_eq!(kwh(&without, Effect::Shade), 0.0);
        assert!(without.e_dc_kwh() > with.e_dc_kwh());
    }
}

/// The line "Shade" is what the shares of beam, sky and power take, summed hour by hour.
#[test]
fn the_line_of_shade_is_the_sum_of_its_hours() {
    let (job, weather) = load(SCHOOL);
    let plan = Plan::of(&job, &weather).unwrap();
    for (option, year) in plan.options.iter().zip(plan.years()) {
        let ([part], [shade]) = (&option.setup.mounting.parts[..], &option.setup.shade[..]) else { panic!("one part") };
        let plane = &plan.site.planes[part.0];
        let kwh_of = |of: &dyn Fn(usize) -> f64| {
            let light: f64 = (0..plane.beam.len()).map(of).sum();
            light / 1000.0 * option.setup.nameplate.p0_w() / 1000.0 * plan.site.step_h
        };
        let open = kwh_of(&|i| plane.beam[i] + plane.sky[i] + plane.ground[i]);
        let left = kwh_of(&|i| {
            let light = plane.beam[i] * shade.beam_kept[i] + plane.sky[i] * shade.sky_kept[i] + plane.ground[i];
            light * shade.power_kept[i]
        });
        let told = kwh(&year, Effect::Shade);
        assert!((told - (left - open)).abs() < 1e-9 * open && told < 0.0, "{told} {}", left - open);
    }
}

/// Strings, racks and land of the field, worked by hand from the sizes in the files.
#[test]
fn the_field_counts_strings_racks_and_land() {
    let (job, weather) = load("configs/field/saltpan-field.toml");
    let plan = Plan::of(&job, &weather).unwrap();
    let years = plan.years();
    for (k, (strings, length, width, height)) in
        [(70, 35, 1.134, 1.722), (60, 38, 1.134, 1.762), (68, 34, 1.134, 1.722)].into_iter().enumerate()
    {
        let option = &plan.options[k];
        assert_eq!(option.strings, vec![length; strings], "{}", option.tag);
        assert_eq!(option.check.verdict, Verdict::Allowed);
        // 20 rows of two: so many side by side, each with its gap of 2 cm.
        let side_by_side = (strings as u32 * length).div_ceil(40);
        let row_m = f64::from(side_by_side) * (width + 0.02);
        let field = &option.field[0].1;
        assert_eq!((field.per_row, field.rows), (side_by_side, 20));
        assert!((field.rack_m - 20.0 * row_m).abs() < 1e-9);
        // 20 pitches of 8 m, a free strip of 6 m all round.
        assert!((field.land_m2 - (row_m + 12.0) * (160.0 + 12.0)).abs() < 1e-6);
        assert!((field.gcr - (2.0 * height + 0.02) / 8.0).abs() < 1e-12);
        // 85 m each way for every string.
        assert!((option.check.cable.dc_m.unwrap() - 170.0 * strings as f64).abs() < 1e-9);
        assert!(years[k].p_stc_kw >= 1000.0 && years[k].p_stc_kw < 1015.0);
        assert!(kwh(&years[k], Effect::Skyline) == 0.0 && kwh(&years[k], Effect::Shade) < 0.0);
        assert!(years[k].account.residual_kwh().abs() < 1e-9 * nominal(&years[k]));
    }
    assert!(plan.notes.iter().any(|n| n.code == "field.use" && n.loud && n.text.contains("B: 2280 modules in 60")));
    // Light on the rear of rows over pale ground: 3 to 12 % is what bifacial fields are said to gain (from memory).
    let gain = kwh(&years[2], Effect::Rear) / nominal(&years[2]);
    assert!((0.03..0.12).contains(&gain) && kwh(&years[0], Effect::Rear) == 0.0, "{gain}");
}

const FIXED: &str = "[[plane]]\nname = \"p\"\ntilt_deg = 25\nazimuth_deg = 180\n";
const TRACKED: &str = "[[plane]]\nname = \"p\"\ntilt_deg = 0\nazimuth_deg = 180\n";

/// A level axis along north and south gains 15 to 35 % over fixed racks in clear, dry places (range from memory).
#[test]
fn a_tracker_gains_a_fifth_or_more_in_the_desert() {
    let (_, fixed) = simple("davis-monthan-az", "P410", FIXED, "");
    let (_, tracked) = simple("davis-monthan-az", "P410", &format!("{TRACKED}tracker = {{ axis_deg = 0 }}\n"), "");
    let gain = tracked.h_i_kwh_m2() / fixed.h_i_kwh_m2() - 1.0;
    assert!((0.15..0.35).contains(&gain), "{gain}");
    assert!(tracked.e_ac_kwh() > 1.12 * fixed.e_ac_kwh());
    // Rows that turn back lose no beam to each other, those that do not lose some.
    let rows = |back: bool| {
        let text = format!(
            "tracker = {{ axis_deg = 0, avoid_row_shade = {back} }}\nrows = {{ pitch_m = 5.0, slant_m = 1.722 }}\n"
        );
        simple("davis-monthan-az", "P410", &format!("{TRACKED}{text}"), "")
    };
    let ((back_plan, back), (plan, ahead)) = (rows(true), rows(false));
    assert!(back_plan.options[0].setup.shade[0].beam_kept.iter().all(|k| *k == 1.0));
    assert!(plan.options[0].setup.shade[0].beam_kept.iter().any(|k| *k < 0.9));
    let lost = |y: &OptionYear| -kwh(y, Effect::Shade) / nominal(y);
    assert!(lost(&ahead) > lost(&back) && lost(&back) > 0.0, "{} {}", lost(&ahead), lost(&back));
    // Upright modules of whole cells lose all groups at once to the row in front: turning back pays.
    assert!(back.e_ac_kwh() > ahead.e_ac_kwh());
}

#[test]
fn rows_shade_less_with_more_pitch_and_a_single_row_not_at_all() {
    let at = |pitch: f64, more: &str| {
        let rows = format!("rows = {{ pitch_m = {pitch}, slant_m = 1.722{more} }}\n");
        let (_, year) = simple("port-angeles-wa", "P410", &format!("{FIXED}{rows}"), "");
        assert_eq!(kwh(&year, Effect::Skyline), 0.0);
        -kwh(&year, Effect::Shade) / nominal(&year)
    };
    let lost = [at(2.5, ""), at(4.0, ""), at(8.0, ""), at(2.5, ", count = 1")];
    assert!(lost[0] > lost[1] && lost[1] > lost[2] && lost[2] > 0.0 && lost[0] < 0.25, "{lost:?}");
    // Ten rows: nine tenths of the loss of many.
    assert!(lost[3].abs() < 1e-12, "{lost:?}");
    let ten = at(4.0, ", count = 10");
    assert!((ten / lost[1] - 0.9).abs() < 0.02, "{ten} {}", lost[1]);
}

#[test]
fn a_tent_of_two_planes_is_one_job() {
    let tent = "[[plane]]\nname = \"east\"\ntilt_deg = 10\nazimuth_deg = 90\n\
                [[plane]]\nname = \"west\"\ntilt_deg = 10\nazimuth_deg = 270\n";
    let south = "[[plane]]\nname = \"p\"\ntilt_deg = 10\nazimuth_deg = 180\n";
    let strings = "strings = [16, 16, 16, 16, 16, 16]";
    let (plan, tent) = simple("davis-monthan-az", "P410", tent, strings);
    let (_, south) = simple("davis-monthan-az", "P410", south, strings);
    let parts = &plan.options[0].setup.mounting.parts;
    assert_eq!(parts.iter().map(|p| p.1).collect::<Vec<_>>(), [0.5, 0.5]);
    let (east, west) = (&plan.site.planes[0], &plan.site.planes[1]);
    let h = |p: &yearlight::energy::PlaneOfSite| p.h_i.iter().sum::<f64>();
    assert!((h(east) / h(west) - 1.0).abs() < 0.05, "{} {}", h(east), h(west));
    assert!((tent.h_i_kwh_m2() - 0.5 * (h(east) + h(west))).abs() < 1e-9);
    // In the table of the hours each plane counts by its share.
    let weather = yearlight::sky::read(Path::new("weather/davis-monthan-az.csv"), &Default::default()).unwrap();
    let mut scratch = Scratch::default();
    plan.year(&plan.options[0], &mut scratch);
    let hours = HourColumns::of(&plan, &plan.options[0].setup, &weather, &scratch);
    for (i, &step) in plan.site.sun.steps.iter().enumerate() {
        let mean = |of: &dyn Fn(usize) -> f64| 0.5 * (of(0) + of(1));
        for (found, want) in [
            (hours.poa[step as usize], mean(&|k| plan.site.planes[k].light.poa(i))),
            (hours.g_eff[step as usize], mean(&|k| scratch.parts[k].g_eff()[i])),
            (hours.t_cell[step as usize], mean(&|k| scratch.parts[k].t_cell()[i])),
        ] {
            assert!((found - want).abs() < 1e-9 * want.abs().max(1.0), "{found} {want}");
        }
    }
    let ratio = tent.e_ac_kwh() / south.e_ac_kwh();
    assert!((0.88..0.98).contains(&ratio), "{ratio}");
    assert!(tent.account.residual_kwh().abs() < 1e-9 * nominal(&tent));
}

/// A plan for P410 modules with a converter each, on the planes given.
fn with_converters(planes: &str, modules: u32) -> Result<Plan, EnergyError> {
    let (mut job, weather) = text(&format!(
        "title = \"t\"\nparts = \"merrowby-parts.toml\"\n[weather]\nfile = \"../weather/davis-monthan-az.csv\"\n{planes}\n\
         [[option]]\ntag = \"A\"\nmodule = \"P410\"\ninverter = \"K33\"\nmodules = {modules}\n"
    ));
    let converter = toml::from_str("p_in_max_w = 500\nefficiency = [[100, 98.5]]");
    job.inverters.get_mut("K33").unwrap().module_converter = Some(converter.unwrap());
    job.options[0].module_converters = true;
    Plan::of(&job, &weather)
}

/// Modules of each plane that has any.
fn shares(plan: &Plan, modules: f64) -> Vec<u32> {
    plan.options[0].setup.mounting.parts.iter().map(|p| (p.1 * modules).round() as u32).collect()
}

/// Modules on planes without sizes are shared out evenly, the first planes taking one more.
#[test]
fn odd_modules_go_to_the_first_planes() {
    let planes: String = ["east", "south", "west"]
        .iter()
        .map(|name| format!("[[plane]]\nname = \"{name}\"\ntilt_deg = 10\nazimuth_deg = 180\n"))
        .collect();
    assert_eq!(shares(&with_converters(&planes, 98).unwrap(), 98.0), [33, 33, 32]);
}

/// Planes with sizes take the best slots of all: the sunny side is full before the other begins, and what fits on neither
/// is refused with the number that does.
#[test]
fn the_best_slots_of_all_planes_are_taken() {
    let planes: String = [("north", 0), ("south", 180)]
        .iter()
        .map(|(name, azimuth)| {
            format!("[[plane]]\nname = \"{name}\"\ntilt_deg = 30\nazimuth_deg = {azimuth}\nsize_m = [12.0, 5.0]\n")
        })
        .collect();
    // Rows of a module 1.134 x 1.722 m with gaps and a free edge: the same number on both sides.
    let EnergyError::Roof { source, .. } = with_converters(&planes, 500).unwrap_err() else { panic!("not the roof") };
    let RoofError::TooMany { slots, .. } = source else { panic!("{source}") };
    let side = slots / 2;
    assert!(slots % 2 == 0 && side > 10, "{slots}");
    let of = |modules: u32| shares(&with_converters(&planes, modules).unwrap(), f64::from(modules));
    assert_eq!(of(side - 1), [side - 1]);
    assert_eq!(of(side + 3), [3, side]);
    assert_eq!(of(slots), [side, side]);
}

/// A converter at every module loses nothing to strings, so shade costs less; its own loss is a line.
#[test]
fn converters_at_the_modules_on_the_school_roof() {
    let (mut job, weather) = load(SCHOOL);
    job.options.truncate(1);
    let with_strings = Plan::of(&job, &weather).unwrap().years().remove(0);
    let converter = toml::from_str(
        "p_in_max_w = 500\nefficiency = [[10, 97.5], [50, 98.8], [100, 98.6]]\nv_in_max = 60\ni_in_max = 20\n\
         v_string = 750\nstring_min = 14\nstring_max = 30",
    );
    job.inverters.get_mut("K33").unwrap().module_converter = Some(converter.unwrap());
    job.options[0].module_converters = true;
    let plan = Plan::of(&job, &weather).unwrap();
    let each = plan.years().remove(0);
    let check = &plan.options[0].check;
    assert_ne!(check.verdict, Verdict::NotAllowed, "{:?}", check.broken().collect::<Vec<_>>());
    let (shade, less) = (kwh(&with_strings, Effect::Shade), kwh(&each, Effect::Shade));
    assert!(shade < less && less < 0.0, "{shade} {less}");
    let own = kwh(&each, Effect::ModuleConverter) / nominal(&each);
    assert!((-0.03..-0.008).contains(&own), "{own}");
    assert_eq!(kwh(&each, Effect::Mismatch), 0.0);
    // The slots are the same: the argument about slots holds against converters as well.
    assert!(plan.options[0].on_shaded_slots > 0);
    assert!(each.account.residual_kwh().abs() < 1e-9 * nominal(&each));
}

#[test]
fn snow_costs_in_its_months_only() {
    let (mut job, weather) = load(SCHOOL);
    job.options.truncate(1);
    let snowy = Plan::of(&job, &weather).unwrap();
    let year = snowy.years().remove(0);
    let lost = months(&year, Effect::Snow);
    assert!(lost.iter().all(|x| *x <= 0.0) && lost[4..9].iter().all(|x| *x == 0.0), "{lost:?}");
    let share = -lost.iter().sum::<f64>() / nominal(&year);
    assert!(share > 0.001 && share < 0.05, "2 to 3 % in mild climates (van Noord 2021): {share}");
    // No section: no line, and a word about it.
    job.spec.snow = None;
    let bare = Plan::of(&job, &weather).unwrap();
    assert_eq!(kwh(&bare.years()[0], Effect::Snow), 0.0);
    assert!(bare.notes.iter().any(|n| n.code == "snow.not-modelled" && !n.loud));
    // Asked for, but the file holds none: loud.
    job.spec.snow = snowy_spec();
    let dry = WeatherYear { snow_depth_cm: None, ..weather };
    assert!(Plan::of(&job, &dry).unwrap().notes.iter().any(|n| n.code == "snow.not-modelled" && n.loud));
}

fn snowy_spec() -> Option<yearlight::job::SnowSpec> {
    Some(toml::from_str("model = \"slide\"").unwrap())
}

#[test]
fn dirt_by_rain_stands_in_for_dirt_as_given() {
    let model = "dirt_model = { daily_pct = 0.1, rain_threshold_mm = 4.0, damp_days = 3 }";
    let (_, year) = simple("merrowby", "P410", FIXED, &format!("[losses]\n{model}"));
    let lost = -kwh(&year, Effect::Dirt) / nominal(&year);
    assert!(lost > 0.0 && lost < 0.02, "{lost}");
    // Given twice it is refused.
    let twice = format!(
        "title = \"t\"\nparts = \"merrowby-parts.toml\"\n[weather]\nfile = \"../weather/merrowby.csv\"\n{FIXED}\n\
         [[option]]\ntag = \"A\"\nmodule = \"P410\"\ninverter = \"K33\"\nmodules = 96\n[losses]\ndirt_pct = 2\n{model}\n"
    );
    let error = job::from_text("configs/t.toml", &twice, Path::new("configs"), &mut |p| std::fs::read(p)).unwrap_err();
    assert!(error.to_string().contains("taken off twice"), "{error}");
    // No rain in the file: refused with the way out.
    let (job, weather) = text(&twice.replace("dirt_pct = 2\n", ""));
    let dry = WeatherYear { rain_mm: None, ..weather };
    let error = Plan::of(&job, &dry).unwrap_err();
    assert!(matches!(error, EnergyError::NoRain { .. }) && error.to_string().contains("losses.dirt_pct"), "{error}");
}

#[test]
fn loads_are_compared_and_never_computed() {
    let (mut job, weather) = load(SCHOOL);
    let plan = Plan::of(&job, &weather).unwrap();
    // 3200 Pa of design load against 2900 Pa stated, by hand 300 Pa left.
    assert_eq!(plan.options[0].loads[0].margin_pa, Some(300.0));
    job.spec.loads.as_mut().unwrap().front_pa = Some(3600.0);
    let heavy = Plan::of(&job, &weather).unwrap();
    let loud = |k: usize| heavy.options[k].notes.iter().any(|n| n.code == "loads.not-carried" && n.loud);
    assert_eq!([loud(0), loud(1), loud(2)], [true, false, true]);
}

/// The colour of the light: off unless asked for, a line of the account when on, and a loud note where the file lacks the
/// water. Yearly effects of a few percent at most are published for silicon (from memory).
#[test]
fn the_colour_of_the_light_is_a_line_only_when_asked_for() {
    let run = |weather: &str, spectrum: &str| {
        let job = format!(
            "title = \"t\"\n{spectrum}parts = \"merrowby-parts.toml\"\n[weather]\nfile = \"../weather/{weather}.csv\"\n[[plane]]\n\
             name = \"p\"\ntilt_deg = 25\nazimuth_deg = 180\n[[option]]\ntag = \"A\"\nmodule = \"N445\"\n\
             inverter = \"K33\"\nmodules = 90\n"
        );
        let (job, weather) = text(&job);
        let plan = Plan::of(&job, &weather).unwrap();
        let year = plan.years().remove(0);
        let noted = plan.options[0].notes.iter().any(|n| n.code == "energy.no-spectrum");
        (year, noted)
    };
    let (off, _) = run("davis-monthan-az", "");
    let (on, noted) = run("davis-monthan-az", "spectrum = true\n");
    assert_eq!(kwh(&off, Effect::Spectrum), 0.0);
    let share = kwh(&on, Effect::Spectrum) / nominal(&on);
    assert!(!noted && share != 0.0 && share.abs() < 0.03, "{share}");
    assert!(on.account.residual_kwh().abs() < 1e-9 * nominal(&on));
    // The made sky has no column of water.
    let (dry, noted) = run("merrowby", "spectrum = true\n");
    assert!(noted && kwh(&dry, Effect::Spectrum) == 0.0);
}
