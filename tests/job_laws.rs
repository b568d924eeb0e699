//! Laws of the door: whatever the text, a job is taken or refused with a whole message; nothing panics, no NaN passes.

use std::io::ErrorKind;
use std::path::Path;

use proptest::prelude::*;
use yearlight::job::{Job, JobError, from_text};

const JOB: &str = include_str!("bad_input/job.toml");
const PARTS: &str = include_str!("bad_input/parts.toml");

fn load(job: &str, parts: &str) -> Result<Job, JobError> {
    let mut loader = |path: &Path| match path.to_str() {
        Some("parts.toml") => Ok(parts.as_bytes().to_vec()),
        _ => Err(ErrorKind::NotFound.into()),
    };
    from_text("job.toml", job, Path::new(""), &mut loader)
}

/// A taken job must be sound, a refused one must say where, what and how.
fn sound(result: Result<Job, JobError>) -> Result<(), TestCaseError> {
    match result {
        Ok(job) => {
            prop_assert!(!job.options.is_empty() && !job.spec.plane.is_empty());
            for option in &job.options {
                prop_assert!(option.n_modules.is_none_or(|n| n >= 1) && !option.planes.is_empty());
                prop_assert!(job.module(option).p_stc_w.is_finite() && job.inverter(option).p_ac_w > 0.0);
            }
            // JSON has no NaN: a record without null holds only finite numbers.
            let record = job.record();
            prop_assert!(!record["job"].to_string().contains("null"), "a number is lost");
            prop_assert!(!record.to_string().contains("\"value\":null"), "a number is lost");
        }
        Err(error) => {
            let fault = error.fault();
            prop_assert!(!fault.found.is_empty() && !fault.expected.is_empty() && !fault.mend.is_empty());
            prop_assert!(!fault.at.file.is_empty());
        }
    }
    Ok(())
}

/// A value that somebody might write.
fn value() -> impl Strategy<Value = String> {
    prop_oneof![
        any::<f64>().prop_map(|x| format!("{x:e}").replace("NaN", "nan")),
        any::<i64>().prop_map(|x| x.to_string()),
        (-1000.0..1000.0).prop_map(|x: f64| format!("{x:.3}")),
        "[a-zA-Z0-9 .,%_-]{0,12}".prop_map(|s| format!("\"{s}\"")),
        Just("[]".to_string()),
        Just("{}".to_string()),
        Just("[[1, 2], [3, 4]]".to_string()),
        Just("true".to_string()),
        Just("nan".to_string()),
        Just("-inf".to_string()),
        Just("1979-05-27T07:32:00Z".to_string()),
        ".{0,8}",
    ]
}

/// The text with the value of its `n`-th assignment replaced.
fn replaced(text: &str, n: usize, value: &str) -> String {
    let assignments: Vec<usize> = text.lines().enumerate().filter(|(_, l)| l.contains(" = ")).map(|(i, _)| i).collect();
    let target = assignments[n % assignments.len()];
    let lines: Vec<String> = text
        .lines()
        .enumerate()
        .map(|(i, line)| match line.split_once(" = ") {
            Some((key, _)) if i == target => format!("{key} = {value}"),
            _ => line.to_string(),
        })
        .collect();
    lines.join("\n")
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_value_of_any_key_of_a_job(n in 0usize..1000, value in value()) {
        sound(load(&replaced(JOB, n, &value), PARTS))?;
    }

    #[test]
    fn any_value_of_any_key_of_the_parts(n in 0usize..1000, value in value()) {
        sound(load(JOB, &replaced(PARTS, n, &value)))?;
    }

    #[test]
    fn a_text_cut_or_garbled_anywhere(at in 0usize..4000, insert in ".{0,6}", cut in 0usize..40) {
        let mut at = at % JOB.len();
        while !JOB.is_char_boundary(at) { at -= 1; }
        let mut end = (at + cut).min(JOB.len());
        while !JOB.is_char_boundary(end) { end -= 1; }
        sound(load(&format!("{}{insert}{}", &JOB[..at], &JOB[end.max(at)..]), PARTS))?;
    }

    #[test]
    fn any_text_at_all(text in "\\PC{0,200}") {
        sound(load(&text, PARTS))?;
    }

    #[test]
    fn brackets_however_deep(depth in 1usize..4000, open in prop::sample::select(vec!["[", "{a=", "[[", "a."])) {
        sound(load(&format!("title = {}1", open.repeat(depth)), PARTS))?;
        sound(load(&format!("{}x = 1", open.repeat(depth)), PARTS))?;
        sound(load(&format!("{{\"job\": {}", open.repeat(depth)), PARTS))?;
    }

    /// For 1 kW and more: the number reaches the target, and one module fewer does not.
    #[test]
    fn the_target_is_reached_and_not_passed(target in 0.5f64..5000.0) {
        let job = load(&replaced(JOB, JOB.lines().filter(|l| l.contains(" = ")).position(|l| l.starts_with("target_kw")).unwrap(), &format!("{target:?}")), PARTS);
        let job = job.map_err(|e| TestCaseError::fail(e.to_string()))?;
        let option = &job.options[1];
        let p = option.p_stc_kw().unwrap();
        prop_assert!(p >= target * (1.0 - 1e-12));
        prop_assert!(p - option.p_module_w / 1000.0 < target);
    }

    /// What the program writes down, it reads back as the same job, word for word.
    #[test]
    fn a_record_repeats_the_job(tilt in 0.0f64..90.0, azimuth in 0.0f64..360.0, dirt in 0.0f64..100.0, u0 in 5.0f64..80.0) {
        let text = JOB.replacen("tilt_deg = 12", &format!("tilt_deg = {tilt:?}"), 1)
            .replacen("azimuth_deg = 180", &format!("azimuth_deg = {azimuth:?}"), 1)
            .replacen("dirt_pct = 2.0", &format!("dirt_pct = {dirt:?}"), 1)
            .replacen("u0 = 20.0", &format!("u0 = {u0:?}"), 1);
        let job = load(&text, PARTS).map_err(|e| TestCaseError::fail(e.to_string()))?;
        let record = serde_json::to_string(&job.record()).unwrap();
        let mut none = |_: &Path| Err(ErrorKind::NotFound.into());
        let again = from_text("run.json", &record, Path::new(""), &mut none);
        let again = again.map_err(|e| TestCaseError::fail(e.to_string()))?;
        prop_assert_eq!(again.spec.plane[0].tilt_deg.to_bits(), tilt.to_bits());
        let repeated = serde_json::to_string(&again.record()).unwrap();
        prop_assert!(repeated == record, "the record does not repeat");
    }
}
