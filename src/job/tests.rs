use std::path::Path;

use serde_json::Value;

use super::*;

const DEMO: &str = "configs/merrowby-school.toml";

fn demo() -> Job {
    load(Path::new(DEMO)).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn demo_counts_and_strings() {
    let job = demo();
    let counts: Vec<_> = job.options.iter().map(|o| (o.tag.as_str(), o.n_modules, o.strings.len())).collect();
    // For 40 kW or more: 98 x 410 W, 90 x 445 W, 92 x 435 W, by division.
    assert_eq!(counts, [("A", Some(98), 5), ("B", Some(90), 4), ("C", Some(92), 4)]);
    for option in &job.options {
        let p = option.p_stc_kw().unwrap();
        assert!(p >= 40.0 && p - option.p_module_w / 1000.0 < 40.0);
        assert_eq!(option.planes, [0]);
    }
    assert_eq!(job.name, "merrowby-school");
    assert_eq!(job.skyline.len(), 6);
    assert_eq!(job.weather_path(), Path::new("weather/merrowby.csv"));
}

#[test]
fn shipped_jobs_load() {
    for path in ["configs/two-skies/hot.toml", "configs/two-skies/cloudy.toml"] {
        load(Path::new(path)).unwrap_or_else(|e| panic!("{e}"));
    }
}

#[test]
fn ledger_tells_given_from_default_and_names_sources() {
    let job = demo();
    let ledger = job.ledger();
    let line = |path: &str| ledger.iter().find(|l| l.path == path).unwrap_or_else(|| panic!("no {path}"));
    let gamma = line("module.P410.gamma_pct_per_k");
    assert!(gamma.given && gamma.unit == "%/K");
    assert_eq!(gamma.source.as_deref(), Some("Tamsel P410 data sheet, revision 3 (invented)"));
    let a_r = line("module.P410.a_r");
    assert!(!a_r.given && a_r.value == 0.16 && a_r.source.as_deref().unwrap().contains("Martin"));
    let u0 = line("plane.south wing.cooling.u0");
    assert!(u0.given && u0.unit == "W/(m2 K)" && u0.source.as_deref().unwrap().contains("metal roof"));
    // The survey stands for the rest of the plane.
    assert!(line("plane.south wing.tilt_deg").source.as_deref().unwrap().contains("survey"));
    let inverters = line("option.B.inverters");
    assert!(!inverters.given && inverters.value == 1);
    // Given, and nobody said where from.
    assert_eq!(line("option.A.target_kw").source, None);
    assert_eq!(line("plane.south wing.obstacles.mast.height_m").unit, "m");
    assert!(ledger.iter().all(|l| !l.path.contains("source")));
    // Every number of a default has a source.
    assert!(ledger.iter().filter(|l| !l.given).all(|l| l.source.is_some()));
}

#[test]
fn every_number_has_a_unit_or_none_by_design() {
    let job = demo();
    let without: Vec<String> = job
        .leaves(&job.spec_json(), &ledger::silent_defaults())
        .into_iter()
        .filter(|leaf| ledger::is_input(&leaf.path) && !leaf.value.is_string() && !leaf.value.is_boolean())
        .map(|leaf| leaf.pattern)
        .filter(|pattern| rules::unit(pattern).is_empty())
        .collect();
    assert_eq!(without, Vec::<String>::new());
}

#[test]
fn record_makes_the_same_job_again() {
    let job = demo();
    let record = job.record();
    let text = serde_json::to_string_pretty(&record).unwrap();
    let mut disk = |path: &Path| std::fs::read(path);
    let again = from_text("reports/merrowby-school/run.json", &text, Path::new("reports/merrowby-school"), &mut disk)
        .unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(again.spec, job.spec_without_parts());
    assert_eq!(again.modules, job.modules);
    assert_eq!(again.options, job.options);
    assert_eq!(serde_json::to_string_pretty(&again.record()).unwrap(), text);
}

impl Job {
    fn spec_without_parts(&self) -> JobSpec {
        JobSpec { parts: None, ..self.spec.clone() }
    }
}

#[test]
fn parts_may_be_a_table() {
    let csv = "tag,name,p_stc_w,v_mp,i_mp,v_oc,i_sc,gamma_pct_per_k,length_mm,width_mm,low_light,source\n\
               X400,Test,400,31.0,12.9,37.0,13.7,-0.34,1722,1134,\"[[200, 0.96], [800, 1]]\",sheet 4\n";
    let parts = "module_table = \"mods.csv\"\n[inverter.I]\np_ac_w = 5000\nefficiency = [[100, 97]]\n";
    let job = "title = \"t\"\nparts = \"p/parts.toml\"\n[weather]\nfile = \"w.csv\"\n[[plane]]\nname = \"p\"\ntilt_deg = 10\n\
               azimuth_deg = 180\n[[option]]\ntag = \"A\"\nmodule = \"X400\"\ninverter = \"I\"\nmodules = 10\n";
    let mut loader = |path: &Path| match path.to_str() {
        Some("d/p/parts.toml") => Ok(parts.as_bytes().to_vec()),
        Some("d/p/mods.csv") => Ok(csv.as_bytes().to_vec()),
        _ => Err(std::io::ErrorKind::NotFound.into()),
    };
    let job = from_text("d/job.toml", job, Path::new("d"), &mut loader).unwrap_or_else(|e| panic!("{e}"));
    let module = &job.modules["X400"];
    assert_eq!((module.p_stc_w, module.low_light.len()), (400.0, 2));
    assert_eq!(module.source.as_deref(), Some("sheet 4"));
    assert_eq!(job.files.len(), 3);
}

#[test]
fn schemas_carry_the_ranges() {
    let tilt = job_schema().pointer("/$defs/PlaneSpec/properties/tilt_deg").unwrap();
    assert_eq!((tilt["minimum"].as_f64(), tilt["maximum"].as_f64()), (Some(0.0), Some(90.0)));
    let gamma = parts_schema().pointer("/$defs/ModuleSheet/properties/gamma_pct_per_k/maximum").and_then(Value::as_f64);
    assert_eq!(gamma, Some(-0.05));
}

#[test]
fn every_rule_names_a_key_that_exists() {
    for rule in rules::RULES {
        assert!(making::exists(rule.path), "{} is in the rules and not in the structs", rule.path);
    }
}

/// The committed schemas are what the structs say. `YEARLIGHT_WRITE=1 cargo test schema` writes them anew.
#[test]
fn committed_schemas_are_current() {
    for (file, schema) in [
        ("configs/job.schema.json", making::made_job_schema()),
        ("configs/parts.schema.json", making::made_parts_schema()),
    ] {
        let text = serde_json::to_string_pretty(&schema).unwrap() + "\n";
        if std::env::var_os("YEARLIGHT_WRITE").is_some() {
            std::fs::write(file, &text).unwrap();
        }
        let committed = std::fs::read_to_string(file).unwrap_or_default();
        assert!(committed == text, "{file} is stale; write it anew with YEARLIGHT_WRITE=1 cargo test schema");
    }
}

fn settled(lat: f64, lon: f64, stand_in: bool) -> Result<Placed, JobError> {
    settled_on((48.12, -123.5), (lat, lon), stand_in)
}

/// A weather file of one place and a job whose site stands at another.
fn settled_on(file: (f64, f64), (lat, lon): (f64, f64), stand_in: bool) -> Result<Placed, JobError> {
    let mut job = demo();
    let site = job.spec.site.as_mut().unwrap();
    (site.latitude_deg, site.longitude_deg, site.elevation_m) = (lat, lon, Some(300.0));
    job.spec.weather.stand_in = stand_in;
    let weather = crate::weather::WeatherYear {
        place: crate::weather::Place {
            name: "Port Angeles".into(),
            latitude_deg: file.0,
            longitude_deg: file.1,
            elevation_m: 91.0,
            utc_offset_min: -480,
        },
        days: Vec::new(),
        steps_per_day: 24,
        ghi: Vec::new(),
        dni: Vec::new(),
        dhi: Vec::new(),
        t_amb: Vec::new(),
        wind: Vec::new(),
        wind_height_m: 10.0,
        albedo: None,
        pressure: None,
        humidity_pct: None,
        precipitable_water_cm: None,
        rain_mm: None,
        snow_depth_cm: None,
        provenance: Default::default(),
    };
    job.settle(&weather)
}

#[test]
fn site_and_weather_must_belong_together() {
    let near = settled(48.2, -123.4, false).unwrap();
    assert_eq!((near.place.name.as_str(), near.place.latitude_deg), ("Merrowby", 48.12));
    assert!(near.distance_km.unwrap() < 15.0);
    // 300 m against 91 m of the station.
    assert!(near.notes.iter().any(|n| n.loud && n.text.contains("209 m above")));
    let mend = |lat, lon| settled(lat, lon, false).unwrap_err().fault().mend.clone();
    assert!(mend(-48.12, -123.5).contains("sign of latitude_deg"));
    assert!(mend(48.12, 123.5).contains("sign of longitude_deg"));
    assert!(mend(52.3, -1.1).contains("stand_in = true"));
    let error = settled(52.3, -1.1, false).unwrap_err();
    assert_eq!(error.fault().at.file, DEMO);
    assert!(error.fault().at.line > 20);
    let stand_in = settled(52.3, -1.1, true).unwrap();
    assert!(stand_in.notes.iter().any(|n| n.loud && n.text.contains("stand-in")));
}

#[test]
fn swapped_coordinates_are_named() {
    let error = settled_on((52.3, -1.1), (-1.1, 52.3), false).unwrap_err();
    assert!(error.fault().mend.contains("swapped"), "{error}");
    assert!(settled_on((52.3, -1.1), (-1.1, 52.3), true).is_ok());
}

/// Great-circle distances by the spherical law of cosines in another form, 6371 km: quarter and half of the globe.
#[test]
fn distances() {
    let quarter = std::f64::consts::PI / 2.0 * 6371.0;
    assert!((distance_km((0.0, 0.0), (0.0, 90.0)) - quarter).abs() < 1e-9);
    assert!((distance_km((90.0, 12.0), (-90.0, 77.0)) - 2.0 * quarter).abs() < 1e-9);
    assert_eq!(distance_km((48.0, -123.0), (48.0, -123.0)), 0.0);
}

/// Numbers without a range would pass unseen: every number of the schema has a rule.
#[test]
fn every_number_has_a_rule() {
    let mut missing = Vec::new();
    making::numbers_without_rule(&making::made_job_schema(), &mut missing);
    assert_eq!(missing, Vec::<String>::new(), "give these keys a range in src/job/rules.rs");
}

/// Every way to spoil one value or key of the sections, one at a time.
fn spoiled(sections: &Value) -> Vec<Value> {
    fn places(value: &Value, at: String, all: &mut Vec<String>) {
        let inner: Vec<(String, &Value)> = match value {
            Value::Object(map) => map.iter().map(|(k, v)| (k.replace('~', "~0").replace('/', "~1"), v)).collect(),
            Value::Array(list) => list.iter().enumerate().map(|(i, v)| (i.to_string(), v)).collect(),
            _ => Vec::new(),
        };
        for (key, value) in inner {
            let at = format!("{at}/{key}");
            places(value, at.clone(), all);
            all.push(at);
        }
    }
    let mut all = Vec::new();
    places(sections, String::new(), &mut all);
    let with = |at: &String, value: Value| {
        let mut sections = sections.clone();
        *sections.pointer_mut(at).unwrap() = value;
        sections
    };
    let mut made: Vec<Value> =
        all.iter().flat_map(|at| [with(at, (-1e13).into()), with(at, "odd".into()), with(at, Value::Null)]).collect();
    made.extend(all.iter().filter(|at| sections.pointer(at).unwrap().is_object()).map(|at| {
        let mut sections = sections.clone();
        sections.pointer_mut(at).unwrap()["odd"] = 1.into();
        sections
    }));
    made
}

#[test]
fn a_changed_job_is_checked_like_a_new_one() {
    let sections = demo().record()["job"].clone();
    let right = RightSections::of(&sections).expect("the demo is right");
    let base = Path::new("configs");
    let take = |sections: &Value, right: Option<&RightSections>| {
        let job = from_sections_given("table, line 2", sections, right, base, None, &mut |p| std::fs::read(p));
        job.map(|job| job.record()).map_err(|e| e.to_string())
    };
    assert_eq!(take(&sections, Some(&right)), take(&sections, None));
    let mut refused = 0;
    for changed in spoiled(&sections) {
        let alone = take(&changed, None);
        refused += usize::from(alone.is_err());
        assert_eq!(take(&changed, Some(&right)), alone);
    }
    assert!(refused > 300, "{refused} of the changes are wrong");
    let mut wrong = sections.clone();
    wrong["title"] = 3.into();
    assert!(RightSections::of(&wrong).is_none());
}
