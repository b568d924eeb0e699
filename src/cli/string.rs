//! `yearlight string JOB.toml`: allowed string lengths, counts and margins of every option.

use std::fmt::Write;
use std::path::PathBuf;

use argh::FromArgs;

use super::{CliResult, Outcome, print, print_json};
use crate::job::{self, Job, ResolvedOption};
use crate::module::{Cell, Electrical, Matrix};
use crate::plant::cautions;
use crate::plant::loads::{self, LoadLine};
use crate::plant::strings::{CheckLine, Standing, StringCheck, StringQuestion, Verdict};
use crate::plant::{StringBasis, check};
use crate::report::console::{paragraph, wrap};
use crate::units::Note;

/// Check the strings of every option: lengths, counts, voltages and currents against their limits.
#[derive(FromArgs, Debug)]
#[argh(
    subcommand,
    name = "string",
    example = "{command_name} configs/merrowby-school.toml",
    note = "Exit code 1 when an option is not allowed; the number that broke the limit is printed."
)]
pub struct StringArgs {
    /// the job file, or the run.json of an earlier run
    #[argh(positional)]
    job: PathBuf,
    /// print the figures as JSON
    #[argh(switch)]
    json: bool,
    /// print the verdicts and what stands outside its limits, nothing else
    #[argh(switch)]
    quiet: bool,
}

/// Checks all options.
pub fn run(args: StringArgs) -> CliResult {
    let job = job::load(&args.job)?;
    // The weather is read only when the job leaves the cold temperature open.
    let t_min_c = match job.spec.strings.t_cold_c {
        Some(_) => None,
        None => Some(lowest(&super::weigh::weather_of(&job)?.t_amb)),
    };
    let mut checks = Vec::new();
    for option in &job.options {
        checks.push(answer(&job, option, t_min_c)?);
    }
    let mut loads = Vec::new();
    for option in &job.options {
        loads.push(load_lines(&job, option)?);
    }
    if args.json {
        let mut all = serde_json::to_value(&checks)?;
        for (check, lines) in all.as_array_mut().into_iter().flatten().zip(&loads) {
            check["loads"] = serde_json::to_value(lines)?;
        }
        print_json(&all)?;
    } else {
        let mut text = String::new();
        for ((check, option), loads) in checks.iter().zip(&job.options).zip(&loads) {
            let heading = heading(&job, option);
            text.push_str(&if args.quiet { short(check, &heading) } else { full(check, &heading, &job) });
            load_text(&mut text, loads, args.quiet);
        }
        if !args.quiet {
            text.push_str("Cautions\n");
            let structure = (job.spec.loads.is_some()).then_some(cautions::STRUCTURE);
            for caution in cautions::STRINGS.into_iter().chain(structure) {
                paragraph(&mut text, "  - ", caution.text);
            }
        }
        print(&text)?;
    }
    let refused = checks.iter().any(|c| c.verdict == Verdict::NotAllowed)
        || loads.iter().flatten().any(|l| l.carries == Some(false));
    Ok(if refused { Outcome::SaysNo } else { Outcome::Done })
}

fn answer(job: &Job, option: &ResolvedOption, weather_t_min_c: Option<f64>) -> Result<StringCheck, String> {
    let sheet = job.module(option);
    let at = |e: &dyn std::fmt::Display| {
        format!("Option {} (module {}, inverter {}): {e}", option.tag, option.module, option.inverter)
    };
    let cells = |rows: &Vec<[f64; 3]>| Matrix::new(rows.iter().map(|r| Cell { g: r[0], t: r[1], p: r[2] }).collect());
    let matrix = job.matrices.get(&option.module).map(cells).transpose().map_err(|e| at(&e))?;
    let (electrical, _) = Electrical::fit(sheet, matrix.as_ref()).map_err(|e| at(&e))?;
    let question = StringQuestion {
        tag: option.tag.clone(),
        module: sheet.clone(),
        inverter: job.inverter(option).clone(),
        inverters: option.inverters,
        modules: option.n_modules,
        target_kw: option.target_kw,
        strings: option.strings.clone(),
        module_converters: option.module_converters,
        spec: job.spec.strings.clone(),
        cable: job.spec.cable.clone(),
        weather_t_min_c,
    };
    check(&question, Some(&electrical)).map_err(|e| at(&e))
}

/// The module's design loads against the load that the engineer states; nothing without one.
fn load_lines(job: &Job, option: &ResolvedOption) -> Result<Vec<LoadLine>, String> {
    let Some(site) = &job.spec.loads else { return Ok(Vec::new()) };
    loads::check(&job.module(option).clamp_zones, site).map_err(|e| format!("Option {}: {e}", option.tag))
}

fn load_text(text: &mut String, lines: &[LoadLine], quiet: bool) {
    let shown = lines.iter().filter(|l| if quiet { l.carries == Some(false) } else { l.site_pa.is_some() });
    let before = text.len();
    for line in shown {
        let mark = if line.carries == Some(true) { "  - " } else { "  ! " };
        paragraph(text, mark, &format!("Load, {}", line.text));
    }
    if text.len() > before {
        paragraph(text, "    ", loads::REFER);
        text.push('\n');
    }
}

fn lowest(t_amb: &[f64]) -> f64 {
    t_amb.iter().copied().fold(f64::MAX, f64::min)
}

/// `A  Tamsel P410 on 1 x Kettlebrook K33`.
fn heading(job: &Job, option: &ResolvedOption) -> String {
    let module = job.module(option).name.as_ref().unwrap_or(&option.module);
    let inverter = job.inverter(option).name.as_ref().unwrap_or(&option.inverter);
    format!("{}  {module} on {} x {inverter}", option.tag, option.inverters)
}

fn verdict(check: &StringCheck) -> String {
    let unknown = match check.not_checked().count() {
        0 => String::new(),
        1 => "; 1 limit NOT CHECKED".to_string(),
        n => format!("; {n} limits NOT CHECKED"),
    };
    match check.verdict {
        Verdict::Allowed => "allowed".to_string(),
        Verdict::AllowedThin => format!("allowed, with a THIN MARGIN{unknown}"),
        Verdict::PartlyChecked => format!("nothing found against it{unknown}"),
        Verdict::NotAllowed => format!("NOT ALLOWED{unknown}"),
    }
}

fn short(check: &StringCheck, heading: &str) -> String {
    let mut text = format!("{heading}: {}\n", verdict(check));
    for line in check.broken() {
        paragraph(&mut text, "  ! ", &format!("{}: {}.", line.what, line.words()));
    }
    text
}

fn full(check: &StringCheck, heading: &str, job: &Job) -> String {
    let mut text = short(check, heading);
    strings(&mut text, check);
    voltages(&mut text, check);
    currents(&mut text, check, job);
    table(&mut text, &check.lines);
    for note in check.notes.iter().filter(|n| n.loud) {
        paragraph(&mut text, "  ! ", &note.text);
    }
    for Note { text: quiet, .. } in check.notes.iter().filter(|n| !n.loud) {
        paragraph(&mut text, "  - ", quiet);
    }
    text.push('\n');
    text
}

fn strings(text: &mut String, check: &StringCheck) {
    if let (Some(modules), Some(kw)) = (check.modules, check.p_stc_kw) {
        let ratio = check.dc_ac_ratio.map(|r| format!(", DC/AC {r:.2}")).unwrap_or_default();
        item(text, "size", &format!("{modules} modules, {kw:.2} kW{ratio}"));
    }
    if check.strings.is_empty() {
        item(text, "strings", "none chosen");
    } else {
        let layout = &check.layout.inverters;
        let mut at = 0;
        // Inverters that carry the same are told once.
        while at < layout.len() {
            let same = layout[at..].iter().take_while(|i| *i == &layout[at]).count();
            let on = match (layout.len(), same) {
                (1, _) => "by input".to_string(),
                (_, 1) => format!("inverter {} by input", at + 1),
                _ => format!("inverters {} to {} each by input", at + 1, at + same),
            };
            let count = layout[at].inputs.iter().map(Vec::len).sum::<usize>();
            item(text, "strings", &format!("{count}, {on}: {}", layout[at].words()));
            at += same;
        }
    }
    let number = |n: Option<u32>| n.map_or("not known".to_string(), |n| n.to_string());
    item(
        text,
        "length",
        &format!("at least {}, at most {}, best {}", number(check.n_min), number(check.n_max), number(check.n_best)),
    );
    item(text, "per input", &format!("at most {} strings by current and terminals", number(check.strings_per_input)));
}

fn voltages(text: &mut String, check: &StringCheck) {
    if let Some(t) = check.t_cold_c {
        let ways: Vec<String> = check
            .cold
            .iter()
            .map(|c| {
                let mark = if c.chosen { "*" } else { "" };
                match c.v {
                    Some(v) => format!("{}{mark} {v:.2} V", c.way),
                    None => format!("{}{mark} none ({})", c.way, c.how),
                }
            })
            .collect();
        item(text, "cold", &format!("V_oc of a module at {t:.1} C: {} (* used)", ways.join(", ")));
    }
    item(
        text,
        "hot",
        &format!(
            "V_mp of a module at {:.0} C: {:.2} V ({:.3} %/K, {}), cable drop {:.1} V",
            check.t_hot_c,
            check.v_mp_hot,
            check.v_mp_per_k * 100.0,
            check.hot_how,
            check.drop_v
        ),
    );
}

fn currents(text: &mut String, check: &StringCheck, job: &Job) {
    item(
        text,
        "current",
        &format!(
            "{} x I_sc = {:.2} A; conductors for {:.2} A ({})",
            check.current_factor,
            check.i_sc_max,
            check.i_conductor,
            match check.basis {
                StringBasis::Iec62548 => "IEC 62548",
                StringBasis::Nec6907 => "NEC 690.8",
            }
        ),
    );
    if let Some(fuses) = &check.fuses {
        let line = match fuses.needed {
            Some(true) => {
                let rating = fuses.rating_a.map_or("of no standard rating".to_string(), |a| format!("of {a} A"));
                format!("{} string fuses {rating}: {} strings in parallel", fuses.count, fuses.parallel)
            }
            Some(false) => format!("no string fuses: {:.1} A can flow back into a string", fuses.reverse_a),
            None => format!("not known: {:.1} A can flow back, fuse_max_a is missing", fuses.reverse_a),
        };
        item(text, "fuses", &line);
    }
    if let Some(m) = check.cable.dc_m {
        let area = job.spec.cable.area_mm2.map(|a| format!(" of {a} mm2")).unwrap_or_default();
        let loss =
            format!("{:.0} W or {:.2} % lost in the longest string", check.cable.dc_loss_w, check.cable.dc_loss_pct);
        item(text, "DC cable", &format!("{m:.0} m single core{area}, {loss} at STC"));
    }
    if let Some(m) = check.cable.ac_m {
        item(text, "AC cable", &format!("{m:.0} m"));
    }
}

/// `check | figure | limit | left | in percent | standing`, the first column wrapped.
fn table(text: &mut String, lines: &[CheckLine]) {
    const FIRST: usize = 38;
    let _ = writeln!(text, "    {:FIRST$}{:>8}{:>8}{:>8}", "check", "figure", "limit", "left");
    for line in lines {
        let digits = match line.unit.as_str() {
            "V" => 1,
            "A" => 2,
            _ => 0,
        };
        let number = |x: Option<f64>| x.map_or("?".to_string(), |x| format!("{x:.digits$}"));
        let pct = line.margin_pct.map(|pct| format!("{pct:.1} %")).unwrap_or_default();
        let mark = match line.standing {
            Standing::Passed => "ok",
            Standing::Thin => "THIN",
            Standing::Broken => "NO",
            Standing::NotChecked => "-?-",
        };
        let unit = if line.unit.len() == 1 { format!(", {}", line.unit) } else { String::new() };
        let parts = wrap(&format!("{}{unit}", line.what), FIRST - 1);
        for (i, part) in parts.iter().enumerate() {
            if i + 1 < parts.len() {
                let _ = writeln!(text, "    {part}");
            } else {
                let (value, limit, left) = (number(line.value), number(line.limit), number(line.margin));
                let _ = writeln!(text, "    {part:FIRST$}{value:>8}{limit:>8}{left:>8}{pct:>8}  {mark}");
            }
        }
    }
    if lines.iter().any(|l| l.standing == Standing::NotChecked) {
        paragraph(text, "    ", "-?- not checked: a figure or a limit is missing.");
    }
}

fn item(text: &mut String, name: &str, what: &str) {
    paragraph(text, &format!("    {name:10}"), what);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn demo(change: impl Fn(&mut Job)) -> (Job, String) {
        let mut job = job::load("configs/merrowby-school.toml".as_ref()).unwrap();
        change(&mut job);
        let mut text = String::new();
        for option in &job.options {
            let check = answer(&job, option, Some(-8.0)).unwrap();
            text.push_str(&full(&check, &heading(&job, option), &job));
        }
        (job, text)
    }

    #[test]
    fn fits_eighty_columns() {
        let (_, text) = demo(|_| {});
        for line in text.lines() {
            assert!(line.chars().count() <= crate::report::console::WIDTH, "{line}");
        }
        // Worked by hand: 37.4 V (1 + 0.00275 x 44) = 41.93 V.
        assert!(text.contains("coefficient* 41.93 V"), "{text}");
        assert!(text.contains("20/20, 20, 19/19"), "{text}");
        assert!(text.contains("THIN MARGIN"), "{text}");
    }

    #[test]
    fn the_number_that_broke_a_limit_is_printed() {
        let (_, text) = demo(|job| job.options[0].strings = vec![24, 24, 25, 25]);
        assert!(text.contains("NOT ALLOWED") && text.contains("1048.1 V against 1000.0 V"), "{text}");
    }

    #[test]
    fn the_lowest_of_the_weather_is_loud() {
        let (_, text) = demo(|job| job.spec.strings.t_cold_c = None);
        let one_line = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(one_line.contains("A typical year is not an extreme"), "{text}");
    }
}
