//! What each key may hold, beyond its type: range or words, an example, how to mend, and where its default comes from.
//!
//! A path names keys as the file does; `*` stands for any tag, `[]` for any item of a list, `[0]` and `[1]` for the
//! places of a pair. To add a section: its struct in `spec.rs`, a field in `JobSpec`, and its rules here.

use std::collections::HashMap;
use std::sync::OnceLock;

use super::tree::neat;

/// The values a key may hold. Ranges and words reach the program by the kept schema, which a test makes of these.
#[derive(Clone, Copy)]
#[cfg_attr(not(test), allow(dead_code))]
pub(super) enum Limit {
    /// Nothing beyond the type.
    Free,
    /// From, to, both allowed.
    Range(f64, f64),
    /// Above the first, up to the second.
    Above(f64, f64),
    /// One of these words.
    Words(&'static [&'static str]),
    /// Returns expectation and mend when the number is wrong.
    Check(fn(f64) -> Option<(String, String)>, f64, f64),
}

/// One key.
#[derive(Clone, Copy)]
pub(super) struct Rule {
    pub path: &'static str,
    pub limit: Limit,
    /// What a newcomer could write, as TOML.
    pub example: &'static str,
    /// Why, or how to mend.
    pub mend: &'static str,
    /// Unit when the key's name does not say it.
    pub unit: &'static str,
    /// Source of the default.
    pub source: &'static str,
}

const fn rule(path: &'static str, limit: Limit) -> Rule {
    Rule { path, limit, example: "", mend: "", unit: "", source: "" }
}

impl Rule {
    const fn eg(mut self, example: &'static str) -> Rule {
        self.example = example;
        self
    }
    const fn mend(mut self, mend: &'static str) -> Rule {
        self.mend = mend;
        self
    }
    const fn unit(mut self, unit: &'static str) -> Rule {
        self.unit = unit;
        self
    }
    const fn from(mut self, source: &'static str) -> Rule {
        self.source = source;
        self
    }
}

/// Range of a temperature coefficient with the usual slips of sign and scale told apart.
fn coefficient(x: f64, key: &str, low: f64, high: f64, typical: f64) -> Option<(String, String)> {
    if (low..=high).contains(&x) {
        return None;
    }
    let expected = format!("a negative number of %/K, {low} to {high}");
    let mend = if (low..=high).contains(&-x) {
        format!("The sign is missing, since it falls as cells warm. Write {key} = {}.", neat(-x))
    } else if (low..=high).contains(&(x / 100.0)) || (low..=high).contains(&(-x / 100.0)) {
        format!("It looks a hundred times too large; in percent per kelvin it is {key} = {}.", neat(-(x.abs() / 100.0)))
    } else if (low..=high).contains(&(x * 100.0)) || (low..=high).contains(&(-x * 100.0)) {
        format!("It looks like a share per kelvin; times 100 it is {key} = {}.", neat(-(x.abs() * 100.0)))
    } else {
        format!(
            "Take the value in percent per kelvin from the data sheet, for example {key} = {typical}; mV/K or %/F do not fit."
        )
    };
    Some((expected, mend))
}

fn gamma(x: f64) -> Option<(String, String)> {
    coefficient(x, "gamma_pct_per_k", -0.8, -0.05, -0.35)
}

fn beta(x: f64) -> Option<(String, String)> {
    coefficient(x, "beta_pct_per_k", -0.6, -0.05, -0.27)
}

fn alpha(x: f64) -> Option<(String, String)> {
    if (-0.05..=0.2).contains(&x) {
        return None;
    }
    let mend = if x.abs() > 0.2 && (-0.05..=0.2).contains(&(x / 100.0)) {
        "It looks a hundred times too large: 0.05 %/K is written alpha_pct_per_k = 0.05."
    } else if (-0.2..=0.0).contains(&x) {
        "The current grows a little as cells warm: the sign looks wrong."
    } else {
        "Take the value in percent per kelvin from the data sheet, for example alpha_pct_per_k = 0.05; mA/K does not fit."
    };
    Some(("-0.05 to 0.2 %/K".to_string(), mend.to_string()))
}

fn millimetres(x: f64) -> Option<(String, String)> {
    if (100.0..=5000.0).contains(&x) {
        return None;
    }
    let mend = if (0.1..=5.0).contains(&x) {
        format!("It looks like metres; in millimetres it is {}.", neat(x * 1000.0))
    } else {
        "Take the outer size in millimetres from the data sheet.".to_string()
    };
    Some(("100 to 5000 mm".to_string(), mend))
}

fn relative_efficiency(x: f64) -> Option<(String, String)> {
    if (0.3..=1.2).contains(&x) {
        return None;
    }
    let mend = if (30.0..=120.0).contains(&x) {
        format!("It looks like percent; as a share it is {}.", neat(x / 100.0))
    } else if (-10.0..0.0).contains(&x) {
        format!("It looks like a change in percent; as a share it is {}.", neat(1.0 + x / 100.0))
    } else {
        "Write the efficiency at that light over the efficiency at 1000 W/m2, for example [200, 0.965].".to_string()
    };
    Some(("0.3 to 1.2, efficiency over that at 1000 W/m2".to_string(), mend))
}

fn share(x: f64) -> Option<(String, String)> {
    if (0.0..=1.0).contains(&x) {
        return None;
    }
    let mend = if (1.0..=100.0).contains(&x) {
        format!("It looks like percent; as a share it is {}.", neat(x / 100.0))
    } else {
        "Write a share between 0 (none) and 1 (all).".to_string()
    };
    Some(("a share from 0 to 1".to_string(), mend))
}

fn inverter_efficiency(x: f64) -> Option<(String, String)> {
    if (10.0..=100.0).contains(&x) {
        return None;
    }
    let mend = if (0.1..=1.0).contains(&x) {
        format!("It looks like a share; in percent it is {}.", neat(x * 100.0))
    } else {
        "Write pairs [percent of AC rating, efficiency in percent], for example [50, 98.3].".to_string()
    };
    Some(("an efficiency of 10 to 100 %".to_string(), mend))
}

fn ac_rating(x: f64) -> Option<(String, String)> {
    if (100.0..=1e8).contains(&x) {
        return None;
    }
    let mend = if x > 0.0 && x < 100.0 {
        format!("It looks like kilowatts; in watts it is {}.", neat(x * 1000.0))
    } else {
        "Take the rated AC power in watts from the data sheet.".to_string()
    };
    Some(("100 to 100000000 W".to_string(), mend))
}

fn module_power(x: f64) -> Option<(String, String)> {
    if (1.0..=2000.0).contains(&x) {
        return None;
    }
    let mend = if x > 0.0 && x < 1.0 {
        format!("It looks like kilowatts; in watts it is {}.", neat(x * 1000.0))
    } else {
        "Take the power of one module at standard test conditions from the data sheet.".to_string()
    };
    Some(("1 to 2000 W".to_string(), mend))
}

fn export_limit(x: f64) -> Option<(String, String)> {
    if (0.0..=1e6).contains(&x) {
        return None;
    }
    let mend = "0 means that nothing may be fed in; leave the key out where there is no limit.";
    Some(("0 kW or more".to_string(), mend.to_string()))
}

fn pascals(x: f64) -> Option<(String, String)> {
    if (20.0..=30000.0).contains(&x) || x == 0.0 {
        return None;
    }
    let mend = if x > 0.0 && x < 20.0 {
        format!("It looks like kPa or kN/m2; in pascals it is {}.", neat(x * 1000.0))
    } else {
        "Write the load that the structural engineer states, in pascals.".to_string()
    };
    Some(("0, or 20 to 30000 Pa".to_string(), mend))
}

use Limit::{Above, Check, Range, Words};

const TILT: &str = "0 is flat, 90 a wall; a plane that leans back is described by the azimuth it faces.";
const AZIMUTH: &str = "Azimuth is clockwise from north: north 0, east 90, south 180, west 270.";
const SHEET: &str = "Take the value from the data sheet.";
const MEMORY: &str = "common practice, from memory";

/// All rules. Order does not matter.
pub(super) const RULES: &[Rule] = &[
    rule("title", Limit::Free).eg("title = \"School roof\""),
    rule("parts", Limit::Free).eg("parts = \"parts.toml\""),
    rule("spectrum", Limit::Free).from("off; Lee and Panchula 2016, from memory, when on"),
    rule("sky_model", Limit::Free).eg("sky_model = \"perez\"").from("Perez et al. 1990"),
    // [site]
    rule("site.name", Limit::Free).eg("name = \"Merrowby\""),
    rule("site.latitude_deg", Range(-90.0, 90.0))
        .eg("latitude_deg = 52.3")
        .mend("North is positive, south negative; longitude_deg is the other one."),
    rule("site.longitude_deg", Range(-180.0, 180.0))
        .eg("longitude_deg = -1.1")
        .mend("East is positive, west negative."),
    rule("site.elevation_m", Range(-450.0, 6000.0)).mend("Metres above sea level; feet times 0.3048."),
    rule("site.utc_offset_h", Range(-12.0, 14.0))
        .mend("Hours of standard time ahead of UTC, for example 5.75; no summer time."),
    // [weather]
    rule("weather.file", Limit::Free).eg("file = \"../weather/site.csv\""),
    rule("weather.series[]", Limit::Free).eg("series = [\"../weather/2012.csv\", \"../weather/2013.csv\"]"),
    rule("weather.label", Words(&["ending", "beginning", "middle"]))
        .eg("label = \"ending\"")
        .mend("It says which instant of the interval a row's time names."),
    rule("weather.wind_height_m", Above(0.0, 200.0))
        .mend("Height above the ground, usually 10 or 2.")
        .from("EPW and TMY3: 10 m"),
    rule("weather.separation", Words(&["erbs", "ridley-boland-lauret"])).from("Erbs, Klein, Duffie 1982"),
    rule("weather.stand_in", Limit::Free),
    // [[plane]]
    rule("plane[].name", Limit::Free).eg("name = \"south wing\""),
    rule("plane[].tilt_deg", Range(0.0, 90.0)).eg("tilt_deg = 12").mend(TILT),
    rule("plane[].azimuth_deg", Range(0.0, 360.0)).eg("azimuth_deg = 180").mend(AZIMUTH),
    rule("plane[].albedo", Check(share, 0.0, 1.0)).eg("albedo = 0.2").unit("share").from(MEMORY),
    rule("plane[].cooling.u0", Range(5.0, 80.0))
        .eg("u0 = 25.0")
        .unit("W/(m2 K)")
        .mend("Open rack 25, close to a roof less.")
        .from("Faiman 2008, open rack"),
    rule("plane[].cooling.u1", Range(0.0, 20.0))
        .eg("u1 = 6.84")
        .unit("W s/(m3 K)")
        .mend("Open rack 6.84, sheltered less, 0 where no wind reaches the modules.")
        .from("Faiman 2008, open rack"),
    rule("plane[].size_m[0]", Above(0.0, 10000.0)).mend("size_m = [along the eave, up the slope]."),
    rule("plane[].size_m[1]", Above(0.0, 10000.0)).mend("size_m = [along the eave, up the slope]."),
    rule("plane[].setback_m", Range(0.0, 100.0)).from("none unless given"),
    rule("plane[].obstacle_setback_m", Range(0.0, 100.0)).from("none unless given"),
    rule("plane[].gap_m", Range(0.0, 2.0))
        .mend("The gap between neighbouring modules, usually 0.01 to 0.03.")
        .from(MEMORY),
    rule("plane[].obstacles[].size_m[0]", Above(0.0, 1000.0)).mend("size_m = [along the eave, up the slope, height]."),
    rule("plane[].obstacles[].size_m[1]", Above(0.0, 1000.0)).mend("size_m = [along the eave, up the slope, height]."),
    rule("plane[].obstacles[].size_m[2]", Above(0.0, 1000.0)).mend("size_m = [along the eave, up the slope, height]."),
    rule("plane[].obstacles[].diameter_m", Above(0.0, 100.0)),
    rule("plane[].obstacles[].height_m", Above(0.0, 1000.0)),
    rule("plane[].obstacles[].passes_pct", Range(0.0, 100.0)),
    rule("plane[].rows.pitch_m", Above(0.0, 200.0)).eg("pitch_m = 3.5"),
    rule("plane[].rows.slant_m", Above(0.0, 50.0)).eg("slant_m = 2.278"),
    rule("plane[].rows.high", Range(1.0, 20.0)).from("one module up the slope"),
    rule("plane[].rows.clearance_m", Range(0.0, 20.0)).from(MEMORY),
    rule("plane[].rows.count", Range(1.0, 1e6)),
    rule("plane[].tracker.axis_deg", Range(0.0, 360.0)).eg("axis_deg = 0").mend(AZIMUTH),
    rule("plane[].tracker.limit_deg", Above(0.0, 90.0)).from(MEMORY),
    rule("plane[].tracker.axis_slope_deg", Range(-30.0, 30.0)).from("level axis"),
    // skyline
    rule("skyline[][0]", Range(0.0, 360.0)).unit("deg").mend(AZIMUTH),
    rule("skyline[][1]", Range(0.0, 90.0)).unit("deg").mend("Elevation above the horizontal, in degrees."),
    // [[option]]
    rule("option[].tag", Limit::Free).eg("tag = \"A\""),
    rule("option[].module", Limit::Free).eg("module = \"P410\""),
    rule("option[].inverter", Limit::Free).eg("inverter = \"K33\""),
    rule("option[].inverters", Range(1.0, 100000.0))
        .unit("count")
        .mend("An option needs at least one inverter.")
        .from("one inverter"),
    rule("option[].target_kw", Above(0.0, 1e7))
        .eg("target_kw = 40.0")
        .mend("The power of all modules together, in kilowatts."),
    rule("option[].modules", Range(1.0, 1e7))
        .eg("modules = 98")
        .unit("count")
        .mend("An option needs at least one module."),
    rule("option[].strings[]", Range(1.0, 1000.0))
        .unit("modules")
        .mend("Each number of strings is the count of modules in one string."),
    // [losses]
    rule("losses.dirt_pct", Range(0.0, 100.0)).mend("Percent of light, 2 means 2 %.").from(MEMORY),
    rule("losses.dirt_model.daily_pct", Range(0.0, 5.0))
        .eg("daily_pct = 0.2")
        .mend("Percent of light a day; dry places about 0.1 to 0.3."),
    rule("losses.dirt_model.rain_threshold_mm", Above(0.0, 100.0))
        .eg("rain_threshold_mm = 6.0")
        .mend("Rain of one day that washes the modules clean, in millimetres."),
    rule("losses.dirt_model.damp_days", Range(0.0, 365.0))
        .eg("damp_days = 14")
        .unit("days")
        .mend("Days after a washing rain on which no dirt settles; 0 for none."),
    rule("losses.mismatch_pct", Range(0.0, 50.0))
        .mend("Percent of power, 0.5 means 0.5 %.")
        .from("0.3 to 1 % for modules of one bin, from memory"),
    rule("losses.outage_pct", Range(0.0, 100.0))
        .mend("Percent of the year's energy, 1 means 1 %.")
        .from("99 % availability, from memory"),
    // [snow]
    rule("snow.model", Words(&["slide", "none"])).eg("model = \"slide\""),
    rule("snow.fresh_cm", Above(0.0, 50.0))
        .unit("cm")
        .mend("Rise of the snow depth that covers the modules, in centimetres.")
        .from("Marion et al. 2013, from memory"),
    // [loads]
    rule("loads.front_pa", Check(pascals, 0.0, 30000.0)).eg("front_pa = 2900").mend("From the structural engineer."),
    rule("loads.rear_pa", Check(pascals, 0.0, 30000.0)).eg("rear_pa = 1200").mend("From the structural engineer."),
    // [cable]
    rule("cable.one_way_m", Range(0.0, 10000.0)),
    rule("cable.area_mm2", Above(0.0, 2000.0)),
    rule("cable.loss_at_stc_pct", Range(0.0, 30.0)),
    rule("cable.t_c", Range(-40.0, 120.0)).unit("C").from(MEMORY),
    rule("cable.ac_one_way_m", Range(0.0, 20000.0)),
    rule("cable.ac_area_mm2", Above(0.0, 2000.0)),
    rule("cable.ac_v", Range(50.0, 40000.0)).unit("V").from("low-voltage network, three phases"),
    // [grid]
    rule("grid.export_limit_kw", Check(export_limit, 0.0, 1e6)).eg("export_limit_kw = 30.0"),
    rule("grid.transformer.rating_kva", Above(0.0, 1e6)),
    rule("grid.transformer.no_load_w", Range(0.0, 1e6)),
    rule("grid.transformer.load_w", Range(0.0, 1e7)),
    // [strings]
    rule("strings.basis", Limit::Free).from("the program's choice"),
    rule("strings.t_cold_c", Range(-70.0, 25.0)).mend("The extreme low that your code names, in degrees Celsius."),
    rule("strings.t_hot_c", Range(25.0, 110.0))
        .mend("The cell temperature of the hottest hours, in degrees Celsius, often 60 to 75."),
    rule("strings.v_limit", Range(30.0, 3000.0)).unit("V").mend("Often 600, 1000 or 1500."),
    rule("strings.cold_voltage", Words(&["coefficient", "table", "curve"])),
    // [cleaning]
    rule("cleaning.buildup_pct_per_year", Range(0.0, 50.0))
        .eg("buildup_pct_per_year = 1.5")
        .mend("Percent of energy by which the loss grows in a year without cleaning."),
    rule("cleaning.most_pct", Range(0.0, 100.0))
        .eg("most_pct = 8.0")
        .unit("%")
        .mend("Percent of energy at which the loss stops growing."),
    rule("cleaning.every_years", Range(0.01, 100.0))
        .eg("every_years = 2.0")
        .unit("years")
        .mend("Years from one cleaning to the next; 0.5 is twice a year."),
    rule("cleaning.cost_per_kw", Range(0.0, 1e6)).unit("currency/kW").from("none unless given"),
    rule("cleaning.cost_per_visit", Range(0.0, 1e9)).unit("currency").from("none unless given"),
    // [ageing]
    rule("ageing.years", Range(1.0, 100.0)).unit("years").from(MEMORY),
    rule("ageing.course", Words(&["linear", "compound"])).from("the program's choice; the report says which"),
    // [module.X]
    rule("module.*.p_stc_w", Check(module_power, 1.0, 2000.0)).eg("p_stc_w = 410"),
    rule("module.*.v_mp", Above(0.0, 1000.0)).eg("v_mp = 31.25").unit("V").mend(SHEET),
    rule("module.*.i_mp", Above(0.0, 100.0)).eg("i_mp = 13.12").unit("A").mend(SHEET),
    rule("module.*.v_oc", Above(0.0, 1500.0)).eg("v_oc = 37.4").unit("V").mend(SHEET),
    rule("module.*.i_sc", Above(0.0, 120.0)).eg("i_sc = 13.95").unit("A").mend(SHEET),
    rule("module.*.gamma_pct_per_k", Check(gamma, -0.8, -0.05)).eg("gamma_pct_per_k = -0.35"),
    rule("module.*.beta_pct_per_k", Check(beta, -0.6, -0.05)).eg("beta_pct_per_k = -0.275"),
    rule("module.*.alpha_pct_per_k", Check(alpha, -0.05, 0.2)).eg("alpha_pct_per_k = 0.05"),
    rule("module.*.series_cells", Range(1.0, 1000.0))
        .unit("count")
        .mend("Cells in series; of 108 half cells in two branches 54."),
    rule("module.*.low_light[][0]", Above(0.0, 1500.0))
        .unit("W/m2")
        .mend("Each point is [irradiance in W/m2, efficiency over that at 1000 W/m2]."),
    rule("module.*.low_light[][1]", Check(relative_efficiency, 0.3, 1.2)),
    rule(
        "module.*.electrical",
        Words(&["sheet", "matrix", "matrix-bilinear", "one-diode", "one-diode-given", "gamma"]),
    )
    .mend("Leave the key out to let what is known decide."),
    rule("module.*.glass", Words(&["martin-ruiz", "fresnel", "fresnel-coated"])),
    rule(
        "module.*.temperature",
        Words(&[
            "faiman",
            "king-glass-glass-open",
            "king-glass-glass-roof",
            "king-glass-polymer-open",
            "king-glass-polymer-insulated",
            "king-film-steel-open",
        ]),
    ),
    rule("module.*.cell_above_back_k", Range(0.0, 10.0)).unit("K").mend("Kelvin at 1000 W/m2, usually 0 to 3."),
    rule("module.*.heat_capacity_j_m2_k", Range(0.0, 100000.0))
        .unit("J/(m2 K)")
        .mend("About 11000 for glass and polymer."),
    rule("module.*.one_diode.light_current_a", Above(0.0, 120.0)),
    rule("module.*.one_diode.saturation_current_a", Above(0.0, 1.0)),
    rule("module.*.one_diode.series_ohm", Range(0.0, 100.0)).unit("ohm"),
    rule("module.*.one_diode.shunt_ohm", Above(0.0, 1e9)).unit("ohm"),
    rule("module.*.one_diode.modified_ideality_v", Above(0.0, 100.0)),
    rule("module.*.nmot_c", Range(20.0, 80.0)).mend("Degrees Celsius, usually 42 to 48."),
    rule("module.*.noct_c", Range(20.0, 80.0)).mend("Degrees Celsius, usually 43 to 48."),
    rule("module.*.a_r", Range(0.05, 0.5))
        .unit("-")
        .mend("Usually 0.14 to 0.18.")
        .from("Martin and Ruiz 2001, clean glass"),
    rule("module.*.incidence_table[][0]", Range(0.0, 90.0)).unit("deg"),
    rule("module.*.incidence_table[][1]", Range(0.0, 1.2)),
    rule("module.*.length_mm", Check(millimetres, 100.0, 5000.0)).eg("length_mm = 1722"),
    rule("module.*.width_mm", Check(millimetres, 100.0, 5000.0)).eg("width_mm = 1134"),
    rule("module.*.mass_kg", Above(0.0, 200.0)),
    rule("module.*.half_cells", Limit::Free),
    rule("module.*.bypass_groups", Range(1.0, 24.0)).unit("count").from("three bypass diodes, common practice"),
    rule("module.*.bifaciality", Check(share, 0.0, 1.0)).unit("share").eg("bifaciality = 0.78"),
    rule("module.*.light_induced_pct", Range(0.0, 20.0)).mend("Percent of power, 2 means 2 %."),
    rule("module.*.ageing_pct_per_year", Range(0.0, 10.0)).mend("Percent of power a year, 0.5 means 0.5 %."),
    rule("module.*.p_tolerance_pct", Range(0.0, 20.0)),
    rule("module.*.v_oc_tolerance_pct", Range(0.0, 20.0)),
    rule("module.*.guarantee[][0]", Range(0.0, 100.0))
        .unit("year")
        .mend("Each point is [year, percent of rated power]."),
    rule("module.*.guarantee[][1]", Range(1.5, 105.0))
        .unit("%")
        .mend("Each point is [year, percent of rated power], for example [25, 84.8]."),
    rule("module.*.product_warranty_years", Range(0.0, 100.0)).unit("years"),
    rule("module.*.clamp_zones[].front_pa", Range(0.0, 20000.0))
        .mend("Design load in pascal: the test load divided by 1.5."),
    rule("module.*.clamp_zones[].rear_pa", Range(0.0, 20000.0))
        .mend("Design load in pascal: the test load divided by 1.5."),
    rule("module.*.v_system_max", Range(30.0, 3000.0)).unit("V").mend(SHEET),
    rule("module.*.fuse_max_a", Above(0.0, 200.0)).mend(SHEET),
    rule("module.*.price_per_w", Range(0.0, 1000.0)).unit("currency/W"),
    // [inverter.X]
    rule("inverter.*.p_ac_w", Check(ac_rating, 100.0, 1e8)).eg("p_ac_w = 33000"),
    rule("inverter.*.i_ac_max", Above(0.0, 1e5)).unit("A").mend(SHEET),
    rule("inverter.*.phases", Check(phases, 1.0, 3.0)).unit("count"),
    rule("inverter.*.v_dc_max", Range(10.0, 3000.0)).unit("V").mend(SHEET),
    rule("inverter.*.window_v[0]", Above(0.0, 3000.0)).unit("V").mend("window_v = [lowest, highest]."),
    rule("inverter.*.window_v[1]", Above(0.0, 3000.0)).unit("V").mend("window_v = [lowest, highest]."),
    rule("inverter.*.v_start", Above(0.0, 3000.0)).unit("V").mend(SHEET),
    rule("inverter.*.inputs", Range(1.0, 1000.0)).unit("count"),
    rule("inverter.*.strings_per_input", Range(1.0, 1000.0)).unit("count"),
    rule("inverter.*.i_input_max", Above(0.0, 1e5)).unit("A").mend(SHEET),
    rule("inverter.*.i_sc_input_max", Above(0.0, 1e5)).unit("A").mend(SHEET),
    rule("inverter.*.efficiency[][0]", Above(0.0, 150.0))
        .unit("% of AC rating")
        .mend("Each point is [percent of AC rating, efficiency in percent]."),
    rule("inverter.*.efficiency[][1]", Check(inverter_efficiency, 10.0, 100.0)),
    rule("inverter.*.efficiency", Limit::Free)
        .eg("efficiency = [[10, 96.5], [50, 98.3], [100, 97.9]]")
        .unit("% of AC rating, %"),
    rule("inverter.*.efficiency_at_v[].v", Above(0.0, 3000.0)).unit("V"),
    rule("inverter.*.efficiency_at_v[].efficiency[][0]", Above(0.0, 150.0)),
    rule("inverter.*.efficiency_at_v[].efficiency[][1]", Check(inverter_efficiency, 10.0, 100.0)),
    rule("inverter.*.night_w", Range(0.0, 10000.0)).mend("Draw at night in watts.").from("none unless given"),
    rule("inverter.*.derate[][0]", Range(-60.0, 120.0))
        .unit("C")
        .mend("Each point is [air temperature in C, largest AC power in W]."),
    rule("inverter.*.derate[][1]", Range(0.0, 1e8)).unit("W"),
    rule("inverter.*.price", Range(0.0, 1e9)).unit("currency"),
    // [uncertainty]: the inputs are alike, see `find`.
    rule("uncertainty.*.u", Range(0.0, 100.0))
        .unit("%")
        .mend("One standard deviation; a band given as plus-minus of 95 % is twice that."),
    rule("uncertainty.*.correlation", Check(share, 0.0, 1.0)).unit("share"),
    rule("uncertainty.mean_years", Range(1.0, 100.0)).unit("years"),
    rule("uncertainty.draws", Range(0.0, 10_000_000.0)).unit("count").from("the program's choice"),
    rule("uncertainty.seed", Range(0.0, 9e15)).unit("-").from("the program's choice"),
    // [money]
    rule("money.currency", Limit::Free).from("a label only"),
    rule("money.discount_pct", Range(-50.0, 100.0)).unit("%/year").from("the program's choice; state your own"),
    rule("money.tariff_per_kwh", Range(-1e6, 1e6)).eg("tariff_per_kwh = 0.12").unit("currency/kWh"),
    rule("money.own_use_per_kwh", Range(-1e6, 1e6)).unit("currency/kWh"),
    rule("money.tariff_growth_pct", Range(-50.0, 100.0)).unit("%/year").from("none unless given"),
    rule("money.per_w", Range(0.0, 1e6)).unit("currency/W").from("none unless given"),
    rule("money.per_module", Range(0.0, 1e9)).unit("currency").from("none unless given"),
    rule("money.per_m2", Range(0.0, 1e9)).unit("currency/m2").from("none unless given"),
    rule("money.per_string", Range(0.0, 1e9)).unit("currency").from("none unless given"),
    rule("money.per_cable_m", Range(0.0, 1e6)).unit("currency/m").from("none unless given"),
    rule("money.fixed", Range(0.0, 1e12)).unit("currency").from("none unless given"),
    rule("money.om_per_kw_year", Range(0.0, 1e9)).unit("currency/kW/year").from("none unless given"),
    rule("money.om_pct", Range(0.0, 100.0)).unit("%/year").from("none unless given"),
    rule("money.om_growth_pct", Range(-50.0, 100.0)).unit("%/year").from("none unless given"),
    rule("money.inverter_year", Range(1.0, 100.0)).unit("year"),
    rule("money.inverter_replacement", Range(0.0, 1e12)).unit("currency"),
    rule("money.load_kwh", Range(0.0, 1e12)),
    rule("money.load_shape[]", Range(0.0, 1e12)),
    rule("money.load_shape_weekend[]", Range(0.0, 1e12)),
    rule("money.load_shape", Limit::Free).unit("share"),
    rule("money.load_shape_weekend", Limit::Free).unit("share"),
    // [claims]
    rule("claims.efficiency_per", Words(&["m2", "kw", "roof"])).mend("It says what the efficiency claim is about."),
    rule("claims.site_load_front_pa", Range(0.0, 50000.0)).mend("Pascal, as the structural engineer supplied it."),
    rule("claims.site_load_rear_pa", Range(0.0, 50000.0)).mend("Pascal, as the structural engineer supplied it."),
    // [search]
    rule("search.goal", Words(&["cost", "value", "energy"])).from("cost when prices are given, else energy"),
    rule("search.tilt_deg[0]", Range(0.0, 90.0)),
    rule("search.tilt_deg[1]", Range(0.0, 90.0)),
    rule("search.azimuth_deg[0]", Range(0.0, 360.0)),
    rule("search.azimuth_deg[1]", Range(0.0, 360.0)),
    rule("search.pitch_m[0]", Above(0.0, 1000.0)),
    rule("search.pitch_m[1]", Above(0.0, 1000.0)),
    rule("search.dc_ac[0]", Above(0.0, 10.0)),
    rule("search.dc_ac[1]", Above(0.0, 10.0)),
    rule("search.string_length[0]", Range(1.0, 1000.0)),
    rule("search.string_length[1]", Range(1.0, 1000.0)),
    rule("search.dc_ac", Limit::Free).unit("-"),
    rule("search.string_length", Limit::Free).unit("modules"),
    // [cable] and [strings], more
    rule("cable.ohm_per_km", Above(0.0, 100.0)).unit("ohm/km"),
    rule("cable.conductor", Limit::Free).from("ideal copper of the nominal cross-section"),
    rule("strings.current_factor", Range(1.0, 2.0)).unit("-").mend("Usually 1.25."),
    // converters at the modules
    rule("inverter.*.efficiency_v", Above(0.0, 3000.0)).unit("V"),
    rule("inverter.*.module_converter.p_in_max_w", Above(0.0, 5000.0)),
    rule("inverter.*.module_converter.efficiency[][0]", Above(0.0, 150.0)),
    rule("inverter.*.module_converter.efficiency[][1]", Check(inverter_efficiency, 10.0, 100.0)),
    rule("inverter.*.module_converter.efficiency", Limit::Free).unit("% of rated input power, %"),
    rule("inverter.*.module_converter.v_in_max", Above(0.0, 1500.0)).unit("V"),
    rule("inverter.*.module_converter.i_in_max", Above(0.0, 200.0)).unit("A"),
    rule("inverter.*.module_converter.v_string", Above(0.0, 3000.0)).unit("V"),
    rule("inverter.*.module_converter.string_min", Range(1.0, 1000.0)).unit("modules"),
    rule("inverter.*.module_converter.string_max", Range(1.0, 1000.0)).unit("modules"),
    rule("inverter.*.module_converter.string_max_w", Above(0.0, 1e6)),
    rule("inverter.*.module_converter.price", Range(0.0, 1e6)).unit("currency"),
    // Lists shown as one value in the list of inputs.
    rule("module.*.low_light", Limit::Free).unit("W/m2, share"),
    rule("module.*.incidence_table", Limit::Free).unit("deg, share"),
    rule("module.*.guarantee", Limit::Free).unit("year, %"),
    rule("inverter.*.window_v", Limit::Free).unit("V"),
    rule("inverter.*.derate", Limit::Free).unit("C, W"),
    rule("inverter.*.efficiency_at_v[].efficiency", Limit::Free).unit("% of AC rating, %"),
    rule("option[].strings", Limit::Free)
        .unit("modules")
        .mend("Write one number per string, for example strings = [20, 20, 20, 19, 19]."),
    rule("skyline", Limit::Free).unit("deg, deg").eg("skyline = [[200, 3], [225, 6], [250, 4]]"),
];

fn phases(x: f64) -> Option<(String, String)> {
    (x != 1.0 && x != 3.0)
        .then(|| ("1 or 3".to_string(), "Take the number of AC phases from the data sheet.".to_string()))
}

/// The rule of a path, if there is one. `losses.dirt_pct[]` falls back to `losses.dirt_pct`.
pub(super) fn find(path: &str) -> Option<&'static Rule> {
    static BY_PATH: OnceLock<HashMap<&'static str, &'static Rule>> = OnceLock::new();
    // The first of two rules of one path counts.
    let by_path = BY_PATH.get_or_init(|| RULES.iter().rev().map(|r| (r.path, r)).collect());
    let exact = |p: &str| by_path.get(p).copied();
    if let Some((_, key)) = path.strip_prefix("uncertainty.").and_then(|rest| rest.split_once('.')) {
        return exact(&format!("uncertainty.*.{key}"));
    }
    exact(path).or_else(|| path.strip_suffix("[]").and_then(exact))
}

/// Unit of a key: its rule's, else the ending of its name, else none.
pub(super) fn unit(path: &str) -> &'static str {
    unit_of(find(path), path)
}

/// As [`unit`], of a key whose rule is known.
pub(super) fn unit_of(rule: Option<&Rule>, path: &str) -> &'static str {
    if let Some(rule) = rule.filter(|r| !r.unit.is_empty()) {
        return rule.unit;
    }
    let key = path.rsplit('.').next().unwrap_or(path);
    let key = key.split('[').next().unwrap_or(key);
    const ENDINGS: &[(&str, &str)] = &[
        ("_pct_per_k", "%/K"),
        ("_pct_per_year", "%/year"),
        ("_per_w", "currency/W"),
        ("_deg", "deg"),
        ("_mm2", "mm2"),
        ("_mm", "mm"),
        ("_m2", "m2"),
        ("_m", "m"),
        ("_kwh", "kWh"),
        ("_kw", "kW"),
        ("_kva", "kVA"),
        ("_w", "W"),
        ("_kg", "kg"),
        ("_pct", "%"),
        ("_pa", "Pa"),
        ("_years", "years"),
        ("_c", "C"),
        ("_h", "h"),
        ("_a", "A"),
        ("_v", "V"),
    ];
    ENDINGS.iter().find(|(ending, _)| key.ends_with(ending)).map_or("", |(_, unit)| unit)
}
