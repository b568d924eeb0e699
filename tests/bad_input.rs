//! Bad jobs and parts: one small edit of a good file each, with the exact message.
//!
//! Every message says where, what was found, what is expected and how to mend it. To add a case, add a line to a group
//! and accept the snapshot after reading it.

use std::io::ErrorKind;
use std::path::Path;

use yearlight::job::{Job, JobError, from_text};

const JOB: &str = include_str!("bad_input/job.toml");
const PARTS: &str = include_str!("bad_input/parts.toml");

/// Loads job and parts given as text; `extra` are further files.
fn load(job: &str, parts: &str, extra: &[(&str, &[u8])]) -> Result<Job, JobError> {
    let mut loader = |path: &Path| {
        let name = path.to_str().unwrap_or("");
        if let Some((_, bytes)) = extra.iter().find(|(n, _)| *n == name) {
            return Ok(bytes.to_vec());
        }
        match name {
            "parts.toml" => Ok(parts.as_bytes().to_vec()),
            "folder" => Err(ErrorKind::IsADirectory.into()),
            "huge.csv" => Err(ErrorKind::FileTooLarge.into()),
            "secret.csv" => Err(ErrorKind::PermissionDenied.into()),
            _ => Err(ErrorKind::NotFound.into()),
        }
    };
    from_text("job.toml", job, Path::new(""), &mut loader)
}

fn edit(text: &str, old: &str, new: &str) -> String {
    assert_eq!(text.matches(old).count(), 1, "the edit {old:?} must fit exactly once");
    text.replacen(old, new, 1)
}

/// The message of a refused job, checked for its shape.
fn message(result: Result<Job, JobError>, what: &str) -> String {
    let error = match result {
        Ok(_) => panic!("{what:?} was taken"),
        Err(error) => error,
    };
    let fault = error.fault();
    assert!(!fault.at.file.is_empty() && !fault.found.is_empty() && !fault.expected.is_empty(), "{error}");
    assert!(fault.mend.len() > 8 && fault.mend.ends_with(['.', '?']), "no mend: {error}");
    let text = error.to_string();
    assert!(!text.contains("  \n") && !text.ends_with(' '), "{text:?}");
    text
}

/// Edits of the job file.
fn job_cases(cases: &[(&str, &str)]) -> String {
    let mut out = String::new();
    for (old, new) in cases {
        let text = message(load(&edit(JOB, old, new), PARTS, &[]), new);
        out.push_str(&format!("- {}\n+ {}\n{text}\n\n", old.escape_debug(), new.escape_debug()));
    }
    out
}

/// Edits of the parts file.
fn parts_cases(cases: &[(&str, &str)]) -> String {
    let mut out = String::new();
    for (old, new) in cases {
        let text = message(load(JOB, &edit(PARTS, old, new), &[]), new);
        out.push_str(&format!("- {}\n+ {}\n{text}\n\n", old.escape_debug(), new.escape_debug()));
    }
    out
}

fn snapshot(name: &str, text: String) {
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path("bad_input");
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| insta::assert_snapshot!(name, text));
}

#[test]
fn the_good_job_is_taken() {
    let job = load(JOB, PARTS, &[]).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(job.options.len(), 2);
}

#[test]
fn syntax() {
    snapshot(
        "syntax",
        job_cases(&[
            ("tilt_deg = 12", "tilt_deg = 12,5"),
            ("tilt_deg = 12", "tilt_deg = 12 deg"),
            ("tilt_deg = 12", "tilt_deg ="),
            ("tilt_deg = 12", "tilt_deg 12"),
            ("tilt_deg = 12", "tilt_deg = 12\ntilt_deg = 13"),
            ("dirt_pct = 2.0", "dirt_pct = 2.0 %"),
            ("dirt_pct = 2.0", "dirt_pct = .5"),
            ("dirt_pct = 2.0", "dirt_pct = 2."),
            ("title = \"Test roof\"", "title = Test roof"),
            ("title = \"Test roof\"", "title = \"Test roof"),
            ("title = \"Test roof\"", "title: \"Test roof\""),
            ("file = \"weather.csv\"", "file = \"C:\\weather\\unit.csv\""),
            ("[site]", "[site"),
            ("[losses]", "[site]\n[losses]"),
            ("size_m = [38.0, 7.2]", "size_m = [38.0, 7.2"),
            ("size_m = [38.0, 7.2]", "size_m = [38.0 7.2]"),
            ("cooling = { u0 = 20.0, u1 = 4.0 }", "cooling = { u0 = 20.0 u1 = 4.0 }"),
            ("[[plane]]\nname = \"hall\"", "[plane]\nname = \"hall\""),
            ("years = 25", "years = 25 // as the contract says"),
            ("years = 25", "years = 025"),
            ("parts = \"parts.toml\"", "<html><body>not a job</body></html>"),
            (
                "parts = \"parts.toml\"",
                "a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a.a = 1",
            ),
        ]),
    );
}

#[test]
fn unknown_keys() {
    snapshot(
        "unknown_keys",
        job_cases(&[
            ("tilt_deg = 12", "tilt = 12"),
            ("tilt_deg = 12", "tilt_degg = 12"),
            ("azimuth_deg = 180", "azimut_deg = 180"),
            ("title = ", "titel = "),
            ("[losses]", "[loss]"),
            ("[[option]]\ntag = \"A\"", "[[options]]\ntag = \"A\""),
            ("dirt_pct = 2.0", "soiling_pct = 2.0"),
            ("export_limit_kw = 30.0", "export_limit_w = 30000.0"),
            ("label = \"ending\"", "columns = { gih = \"ghi [W/m2]\" }"),
            ("label = \"ending\"", "columns = { colour = \"c [W/m2]\" }"),
            ("label = \"ending\"", "columns = { ghi = \"ghi\" }"),
            ("label = \"ending\"", "columns = { ghi = 3 }"),
            ("label = \"ending\"", "separation = \"erb\""),
            ("label = \"ending\"", "wind_height_m = 0"),
            ("setback_m = 0.5", "setback_m = 0.5\nt_cold_c = -19"),
            ("setback_m = 0.5", "setback_m = 0.5\nsky_model = \"perez\""),
            ("v_limit = 1000", "v_limit = 1000\nfrobnicate = 3"),
            ("u0 = 20.0", "U0 = 20.0"),
            ("kind = \"box\"", "kind = \"box\", diameter_m = 1.0"),
            ("rating = { u = 1.5 }", "ratings = { u = 1.5 }"),
            ("\"losses\" = \"assumed\"", "\"loses\" = \"assumed\""),
            ("\"losses\" = \"assumed\"", "\"losses.dirt\" = \"assumed\""),
            ("\"losses\" = \"assumed\"", "losses.dirt_pct = \"assumed\""),
        ]),
    );
}

#[test]
fn missing_keys() {
    snapshot(
        "missing_keys",
        job_cases(&[
            ("title = \"Test roof\"\n", ""),
            ("name = \"south\"\n", ""),
            ("tilt_deg = 12\n", ""),
            ("azimuth_deg = 170\n", ""),
            ("latitude_deg = 52.3\n", ""),
            ("[weather]\nfile = \"weather.csv\"\nlabel = \"ending\"\n", ""),
            ("file = \"weather.csv\"\n", ""),
            ("tag = \"A\"\n", ""),
            ("module = \"P410\"\n", ""),
            ("target_kw = 40.0\n", ""),
            ("u0 = 20.0, ", ""),
            ("kind = \"box\", ", ""),
            ("pitch_m = 3.5, ", ""),
            ("tariff_per_kwh = 0.12\n", ""),
            ("parts = \"parts.toml\"\n", ""),
        ]),
    );
}

#[test]
fn wrong_types() {
    snapshot(
        "wrong_types",
        job_cases(&[
            ("tilt_deg = 12", "tilt_deg = \"12\""),
            ("tilt_deg = 12", "tilt_deg = \"12 deg\""),
            ("tilt_deg = 12", "tilt_deg = \"flat\""),
            ("tilt_deg = 12", "tilt_deg = [12]"),
            ("tilt_deg = 12", "tilt_deg = true"),
            ("tilt_deg = 12", "tilt_deg = 2026-01-01"),
            ("title = \"Test roof\"", "title = 12"),
            ("title = \"Test roof\"", "title = \"\""),
            ("title = \"Test roof\"", "title = [\"Test roof\"]"),
            ("modules = 98", "modules = 98.5"),
            ("modules = 98", "modules = \"98\""),
            ("strings = [20, 20, 20, 19, 19]", "strings = 20"),
            ("strings = [20, 20, 20, 19, 19]", "strings = [20, 20, \"20\", 19, 19]"),
            ("planes = [\"south\"]", "planes = \"south\""),
            ("size_m = [38.0, 7.2]", "size_m = 38.0"),
            ("size_m = [38.0, 7.2]", "size_m = [38.0]"),
            ("size_m = [38.0, 7.2]", "size_m = [38.0, 7.2, 3.0]"),
            ("skyline = [[90, 2], [180, 5], [270, 2]]", "skyline = [90, 2]"),
            ("skyline = [[90, 2], [180, 5], [270, 2]]", "skyline = 5"),
            ("skyline = [[90, 2], [180, 5], [270, 2]]", "skyline = [[90, 2], [180]]"),
            ("dirt_pct = 2.0", "dirt_pct = [2.0, 3.0]"),
            ("dirt_pct = 2.0", "dirt_pct = [2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2]"),
            ("dirt_pct = 2.0", "dirt_pct = [2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2]"),
            ("dirt_pct = 2.0", "dirt_pct = \"two\""),
            ("dirt_pct = 2.0", "dirt_pct = [2, 2, 2, 2, 2, \"2\", 2, 2, 2, 2, 2, 2]"),
            ("cooling = { u0 = 20.0, u1 = 4.0 }", "cooling = 20.0"),
            ("obstacles = [{", "obstacles = [3, {"),
            ("[site]", "[[site]]"),
            ("[losses]\ndirt_pct = 2.0\nmismatch_pct = 0.5\noutage_pct = 1.0\n", "[[losses]]\ndirt_pct = 2.0\n"),
            ("label = \"ending\"", "label = 1"),
            ("label = \"ending\"", "label = \"ending\"\nstand_in = \"yes\""),
            ("label = \"ending\"", "label = \"ending\"\nstand_in = 1"),
            ("basis = \"IEC 62548\"", "basis = 62548"),
        ]) + &{
            let job = "title = \"t\"\nplane = 3\noption = 4\n[weather]\nfile = \"w\"\n";
            format!("{}\n\n", message(load(job, PARTS, &[]), job))
        } + &{
            let job = "title = \"t\"\n[plane]\nname = \"a\"\n[weather]\nfile = \"w\"\n";
            format!("{}\n\n", message(load(job, PARTS, &[]), job))
        },
    );
}

#[test]
fn values() {
    snapshot(
        "values",
        job_cases(&[
            ("tilt_deg = 12", "tilt_deg = 200"),
            ("tilt_deg = 12", "tilt_deg = -5"),
            ("tilt_deg = 12", "tilt_deg = nan"),
            ("tilt_deg = 12", "tilt_deg = inf"),
            ("tilt_deg = 12", "tilt_deg = 1e300"),
            ("azimuth_deg = 180", "azimuth_deg = 400"),
            ("azimuth_deg = 180", "azimuth_deg = -90"),
            ("albedo = 0.2", "albedo = 20"),
            ("albedo = 0.2", "albedo = -0.2"),
            ("u0 = 20.0", "u0 = 0"),
            ("u1 = 4.0", "u1 = -1"),
            ("size_m = [38.0, 7.2]", "size_m = [38.0, 0]"),
            ("size_m = [38.0, 7.2]", "size_m = [-38.0, 7.2]"),
            ("setback_m = 0.5", "setback_m = -0.5"),
            ("latitude_deg = 52.3", "latitude_deg = 152.3"),
            ("longitude_deg = -1.1", "longitude_deg = 358.9"),
            ("elevation_m = 300", "elevation_m = 30000"),
            ("utc_offset_h = 0.0", "utc_offset_h = 345"),
            ("latitude_deg = 52.3\nlongitude_deg = -1.1", "latitude_deg = 0\nlongitude_deg = 0"),
            ("label = \"ending\"", "label = \"end\""),
            ("label = \"ending\"", "label = \"\""),
            ("modules = 98", "modules = 0"),
            ("modules = 98", "modules = -98"),
            ("modules = 98", "modules = 99999999999999999999"),
            ("inverters = 1", "inverters = 0"),
            ("target_kw = 40.0", "target_kw = 0"),
            ("target_kw = 40.0", "target_kw = -40"),
            ("target_kw = 40.0", "target_kw = 9e6"),
            ("strings = [20, 20, 20, 19, 19]", "strings = [20, 0]"),
            ("dirt_pct = 2.0", "dirt_pct = -2"),
            ("dirt_pct = 2.0", "dirt_pct = 120"),
            ("dirt_pct = 2.0", "dirt_pct = [2, 2, 2, 2, 2, 200, 2, 2, 2, 2, 2, 2]"),
            ("mismatch_pct = 0.5", "mismatch_pct = 60"),
            ("outage_pct = 1.0", "outage_pct = 101"),
            ("area_mm2 = 4.0", "area_mm2 = 0"),
            ("one_way_m = 62.0", "one_way_m = -62"),
            ("export_limit_kw = 30.0", "export_limit_kw = -30"),
            ("basis = \"IEC 62548\"", "basis = \"IEC62548\""),
            ("basis = \"IEC 62548\"", "basis = \"local habit\""),
            ("t_cold_c = -19.0", "t_cold_c = 254"),
            ("t_hot_c = 70.0", "t_hot_c = 343"),
            ("v_limit = 1000", "v_limit = 1"),
            ("years = 25", "years = 0"),
            ("years = 25", "years = 1000"),
            ("course = \"linear\"", "course = \"lineal\""),
            ("pitch_m = 3.5", "pitch_m = 0"),
            ("kind = \"box\"", "kind = \"sphere\""),
            ("size_m = [1.2, 0.9, 2.5]", "size_m = [1.2, 0.9, 0]"),
            ("skyline = [[90, 2], [180, 5], [270, 2]]", "skyline = [[90, 2], [450, 5]]"),
            ("skyline = [[90, 2], [180, 5], [270, 2]]", "skyline = [[90, 2], [180, -5]]"),
            ("skyline = [[90, 2], [180, 5], [270, 2]]", "skyline = [[90, 2], [90, 5]]"),
            ("rating = { u = 1.5 }", "rating = { u = -1.5 }"),
            ("rating = { u = 1.5 }", "rating = { u = 1.5, correlation = 50 }"),
            ("tariff_per_kwh = 0.12", "tariff_per_kwh = nan"),
        ]),
    );
}

#[test]
fn names() {
    snapshot(
        "names",
        job_cases(&[
            ("module = \"P410\"", "module = \"P41O\""),
            ("module = \"P410\"", "module = \"Z9\""),
            ("inverter = \"K33\"\ninverters = 1", "inverter = \"k33\""),
            ("planes = [\"south\"]", "planes = [\"sooth\"]"),
            ("planes = [\"south\"]", "planes = [\"south\", \"south\"]"),
            ("planes = [\"south\"]", "planes = [\"barn\"]"),
            ("tag = \"B\"", "tag = \"A\""),
            ("name = \"hall\"", "name = \"south\""),
            (
                "[sources]",
                "[module.P410]\np_stc_w = 410\nv_mp = 31.25\ni_mp = 13.12\nv_oc = 37.4\ni_sc = 13.95\ngamma_pct_per_k = -0.35\nlength_mm = 1722\nwidth_mm = 1134\n[sources]",
            ),
            ("[sources]", "[inverter.\"\"]\np_ac_w = 1000\nefficiency = [[100, 97]]\n[sources]"),
        ]),
    );
}

#[test]
fn clashes() {
    snapshot(
        "clashes",
        job_cases(&[
            ("target_kw = 40.0", "target_kw = 40.0\nmodules = 90"),
            ("target_kw = 40.0", "target_kw = 40.0\nfill = true"),
            ("modules = 98", "modules = 97"),
            ("modules = 98", "target_kw = 50.0"),
            ("modules = 98", "fill = true"),
            ("target_kw = 40.0", "fill = false"),
            ("area_mm2 = 4.0\n", ""),
            ("one_way_m = 62.0\n", ""),
            ("area_mm2 = 4.0", "area_mm2 = 4.0\nloss_at_stc_pct = 1.5"),
            ("area_mm2 = 4.0", "area_mm2 = 4.0\nac_one_way_m = 20"),
            ("t_cold_c = -19.0\nt_hot_c = 70.0", "t_cold_c = 25\nt_hot_c = 25"),
            ("pitch_m = 3.5", "pitch_m = 2.0"),
            ("rows = { pitch_m = 3.5, slant_m = 2.278 }", "tracker = { axis_deg = 0, avoid_row_shade = true }"),
            (
                "rows = { pitch_m = 3.5, slant_m = 2.278 }",
                "rows = { pitch_m = 2.2, slant_m = 2.278 }\ntracker = { axis_deg = 0 }",
            ),
            ("setback_m = 0.5", "setback_m = 4"),
            ("setback_m = 0.5", "outline_m = [[0, 0], [10, 0], [10, 5]]"),
            ("rows = { pitch_m = 3.5, slant_m = 2.278 }", "outline_m = [[0, 0], [10, 0]]"),
        ]) + &{
            let job = "title = \"t\"\nplane = []\noption = []\n[weather]\nfile = \"w\"\n";
            format!("{}\n\n", message(load(job, PARTS, &[]), job))
        } + &{
            let job = "title = \"t\"\noption = []\n[weather]\nfile = \"w\"\n[[plane]]\nname = \"p\"\ntilt_deg = 1\nazimuth_deg = 1\n";
            format!("{}\n\n", message(load(job, PARTS, &[]), job))
        },
    );
}

#[test]
fn parts() {
    snapshot(
        "parts",
        parts_cases(&[
            ("gamma_pct_per_k = -0.350", "gamma_pct_per_k = 0.35"),
            ("gamma_pct_per_k = -0.350", "gamma_pct_per_k = +0.35"),
            ("gamma_pct_per_k = -0.350", "gamma_pct_per_k = -35"),
            ("gamma_pct_per_k = -0.350", "gamma_pct_per_k = -0.0035"),
            ("gamma_pct_per_k = -0.350", "gamma_pct_per_k = -1.4"),
            ("gamma_pct_per_k = -0.350", "gamma_pct_per_k = 0"),
            ("gamma_pct_per_k = -0.350", "gamma_pct_per_k = \"-0.35 %/F\""),
            ("gamma_pct_per_k = -0.350\n", ""),
            ("gamma_pct_per_k = -0.350", "gamma_pct_k = -0.35"),
            ("beta_pct_per_k = -0.275", "beta_pct_per_k = 0.275"),
            ("beta_pct_per_k = -0.275", "beta_pct_per_k = -103"),
            ("alpha_pct_per_k = 0.045", "alpha_pct_per_k = 4.5"),
            ("alpha_pct_per_k = 0.045", "alpha_pct_per_k = -0.1"),
            ("p_stc_w = 410", "p_stc_w = 0.41"),
            ("p_stc_w = 410", "p_stc_w = 0"),
            ("p_stc_w = 410", "p_stc_w = 440"),
            ("v_mp = 31.25", "v_mp = 37.4"),
            ("i_mp = 13.12", "i_mp = 14.0"),
            ("length_mm = 1722", "length_mm = 1.722"),
            ("length_mm = 1722", "length_mm = 172"),
            ("width_mm = 1134\nbifaciality", "bifaciality"),
            ("series_cells = 54", "series_cells = 0"),
            ("low_light = [[200, 0.960], [800, 1.0]]", "low_light = [[200, 96.0], [800, 100]]"),
            ("low_light = [[200, 0.960], [800, 1.0]]", "low_light = [[200, -4.0]]"),
            ("low_light = [[200, 0.960], [800, 1.0]]", "low_light = [[800, 1.0], [200, 0.96]]"),
            ("low_light = [[200, 0.960], [800, 1.0]]", "low_light = [200, 0.960]"),
            ("low_light = [[200, 0.960], [800, 1.0]]", "low_light = [[200, 0.960, 1]]"),
            ("a_r = 0.16", "a_r = 16"),
            ("a_r = 0.16", "electrical = \"two-diode\""),
            ("a_r = 0.16", "glass = \"fresnell\""),
            ("a_r = 0.16", "temperature = \"king\""),
            ("series_cells = 54", "series_cells = 108"),
            ("a_r = 0.16", "a_r = 0.16\nincidence_table = [[0, 1.0], [60, 0.94]]"),
            ("nmot_c = 44", "nmot_c = 317"),
            ("bifaciality = 0.7", "bifaciality = 70"),
            ("light_induced_pct = 2.0", "light_induced_pct = -2"),
            ("rating_basis = \"initial\"", "rating_basis = \"initially\""),
            ("technology = \"p-passivated\"", "technology = \"perc\""),
            ("guarantee = [[1, 98.0], [25, 84.8]]", "guarantee = [[1, 0.98], [25, 0.848]]"),
            ("guarantee = [[1, 98.0], [25, 84.8]]", "guarantee = [[1, 84.8], [25, 98.0]]"),
            ("front_pa = 3200", "front_pa = 3200000"),
            (", rear_pa = 1600", ""),
            ("p_ac_w = 33000", "p_ac_w = 33"),
            ("p_ac_w = 33000\n", ""),
            ("phases = 3", "phases = 2"),
            ("window_v = [200, 850]", "window_v = [850, 200]"),
            ("window_v = [200, 850]", "window_v = [200, 1100]"),
            ("i_input_max = 32", "i_input_max = 50"),
            ("efficiency = [[5, 94.0], [50, 98.3], [100, 97.9]]", "efficiency = []"),
            ("efficiency = [[5, 94.0], [50, 98.3], [100, 97.9]]", "efficiency = [[5, 0.94], [50, 0.983]]"),
            ("efficiency = [[5, 94.0], [50, 98.3], [100, 97.9]]", "efficiency = [[50, 98.3], [5, 94.0]]"),
            ("efficiency = [[5, 94.0], [50, 98.3], [100, 97.9]]", "efficiency = [[5, 94.0], [50, 101]]"),
            ("efficiency = [[5, 94.0], [50, 98.3], [100, 97.9]]", "efficiency = 98"),
            ("efficiency = [[5, 94.0], [50, 98.3], [100, 97.9]]\n", ""),
            ("night_w = 2", "night_w = 3300"),
            ("derate = [[40, 33000], [50, 28000]]", "derate = [[50, 28000], [40, 33000]]"),
            ("[inverter.K33]", "[site]\nname = \"x\"\n[inverter.K33]"),
            ("[inverter.K33]", "[inverters.K33]"),
            ("[inverter.K33]", "[module.P410]\n[inverter.K33]"),
            ("[inverter.K33]", "[inverter]"),
        ]),
    );
}

#[test]
fn files() {
    let mut out = String::new();
    let mut case = |what: &str, job: &str, extra: &[(&str, &[u8])]| {
        out.push_str(&format!("* {what}\n{}\n\n", message(load(job, PARTS, extra), what)));
    };
    let skyline = |to: &str| edit(JOB, "skyline = [[90, 2], [180, 5], [270, 2]]", &format!("skyline = \"{to}\""));
    let parts = |to: &str| edit(JOB, "parts = \"parts.toml\"", &format!("parts = \"{to}\""));
    let load_file = |to: &str| edit(JOB, "export_limit_kw = 30.0", &format!("load = \"{to}\""));
    case("parts missing", &parts("prts.toml"), &[]);
    case("parts is a folder", &parts("folder"), &[]);
    case("parts empty", &parts("empty.toml"), &[("empty.toml", b" \n")]);
    case("parts not UTF-8", &parts("latin.toml"), &[("latin.toml", b"# fine\n# caf\xe9\n")]);
    case("parts UTF-16", &parts("wide.toml"), &[("wide.toml", b"\xff\xfe[\0m\0")]);
    case("parts binary", &parts("bin.toml"), &[("bin.toml", b"PAR1\0\0\x15\x04")]);
    case("parts with a syntax error", &parts("bad.toml"), &[("bad.toml", b"[module.P410]\np_stc_w = 41O\n")]);
    case("table missing", &parts("t.toml"), &[("t.toml", b"module_table = \"mods.csv\"\n")]);
    let table: &[u8] = b"module_table = \"mods.csv\"\n";
    for (what, csv) in [
        ("table without tag", "name,p_stc_w\nX,400\n"),
        ("table with a short row", "tag,p_stc_w,v_mp\nX,400\n"),
        ("table with an unknown column", "tag,p_stc_w,gama_pct_per_k\nX,400,-0.3\n"),
        ("table with text for a number", "tag,p_stc_w\nX,four hundred\n"),
        (
            "table with a tag twice",
            "tag,p_stc_w,v_mp,i_mp,v_oc,i_sc,gamma_pct_per_k,length_mm,width_mm\nX,400,31,12.9,37,13.7,-0.34,1722,1134\nX,400,31,12.9,37,13.7,-0.34,1722,1134\n",
        ),
        (
            "table with an empty cell for a required key",
            "tag,p_stc_w,v_mp,i_mp,v_oc,i_sc,gamma_pct_per_k,length_mm,width_mm\nX,400,31,12.9,37,13.7,,1722,1134\n",
        ),
        (
            "table with wrong sign",
            "tag,p_stc_w,v_mp,i_mp,v_oc,i_sc,gamma_pct_per_k,length_mm,width_mm\nX,400,31,12.9,37,13.7,0.34,1722,1134\n",
        ),
        ("table with a column twice", "tag,p_stc_w,p_stc_w\nX,400,400\n"),
        ("table empty", ""),
    ] {
        case(what, &parts("t.toml"), &[("t.toml", table), ("mods.csv", csv.as_bytes())]);
    }
    case("skyline missing", &skyline("hills.csv"), &[]);
    case("skyline may not be read", &skyline("secret.csv"), &[]);
    case("skyline huge", &skyline("huge.csv"), &[]);
    for (what, csv) in [
        ("skyline with wrong columns", "az,el\n90,5\n"),
        ("skyline with text", "azimuth_deg,elevation_deg\n90,five\n"),
        ("skyline with an empty cell", "azimuth_deg,elevation_deg\n90,\n"),
        ("skyline with nan", "azimuth_deg,elevation_deg\n90,nan\n"),
        ("skyline below the ground", "azimuth_deg,elevation_deg\n90,5\n180,-5\n"),
        ("skyline azimuth past north", "azimuth_deg,elevation_deg\n90,5\n380,5\n"),
        ("skyline twice", "azimuth_deg,elevation_deg\n90,5\n90,6\n"),
        ("skyline without rows", "azimuth_deg,elevation_deg\n"),
    ] {
        case(what, &skyline("hills.csv"), &[("hills.csv", csv.as_bytes())]);
    }
    case("load missing", &load_file("load.csv"), &[]);
    case("load negative", &load_file("load.csv"), &[("load.csv", b"load_kw\n3.5\n-1\n")]);
    snapshot("files", out);
}

#[test]
fn records() {
    let mut out = String::new();
    let mut case = |what: &str, text: &str| {
        let mut none = |_: &Path| Err(ErrorKind::NotFound.into());
        let result = from_text("run.json", text, Path::new(""), &mut none);
        out.push_str(&format!("* {what}\n{}\n\n", message(result, what)));
    };
    case("cut off", "{\n  \"job\": {");
    case("no job", "{\"results\": []}");
    case("a list", "[1, 2]");
    case("unknown key", "{\"job\": {\"title\": \"t\", \"tilte\": 1}}");
    case("wrong type", "{\"job\": {\"title\": 3}}");
    case("missing keys", "{\"job\": {\"title\": \"t\"}}");
    case(
        "out of range",
        "{\"job\": {\"title\": \"t\", \"weather\": {\"file\": \"w\"}, \"plane\": [{\"name\": \"p\", \"tilt_deg\": 1, \"azimuth_deg\": 1}, {\"name\": \"q\", \"tilt_deg\": 100, \"azimuth_deg\": 1}]}}",
    );
    snapshot("records", out);
}
