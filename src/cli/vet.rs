//! `yearlight vet PARTS.toml`: do module and inverter records hold together, and what do their models say.

use std::fmt::Write;
use std::path::PathBuf;

use argh::FromArgs;
use serde::Serialize;

use super::{CliResult, Outcome, print, print_json};
use crate::job::{self, Parts};
use crate::module::{Cell, Finding, Matrix, Vet, VetModel, vet};
use crate::plant::{Inverter, InverterSheet};
use crate::report::console::paragraph;

/// Check module and inverter records: consistency, fitted curve, efficiency over light and heat.
#[derive(FromArgs, Debug)]
#[argh(
    subcommand,
    name = "vet",
    example = "{command_name} configs/merrowby-parts.toml\n{command_name} parts.toml --map map.csv",
    note = "Exit code 1 when a record is inconsistent. A doubt (a figure outside the usual) does not change the exit code."
)]
pub struct VetArgs {
    /// the parts file
    #[argh(positional)]
    parts: PathBuf,
    /// print everything as JSON
    #[argh(switch)]
    json: bool,
    /// print only what is wrong or doubtful
    #[argh(switch)]
    quiet: bool,
    /// write the efficiency maps of all modules to this CSV
    #[argh(option)]
    map: Option<PathBuf>,
}

/// What was found in a parts file.
#[derive(Debug, Serialize)]
struct Answer {
    modules: Vec<Vet>,
    inverters: Vec<InverterVet>,
}

/// What was found about one inverter.
#[derive(Debug, Serialize)]
struct InverterVet {
    tag: String,
    fault: Option<String>,
    european_pct: Option<f64>,
    california_pct: Option<f64>,
    doubts: Vec<Finding>,
}

/// Checks every record.
pub fn run(args: VetArgs) -> CliResult {
    let parts = job::load_parts(&args.parts)?;
    let answer = examine(&parts)?;
    if let Some(path) = &args.map {
        let mut csv = String::from("tag,g_w_m2,t_cell_c,relative_efficiency,p_w\n");
        for v in &answer.modules {
            csv.push_str(&v.map_csv());
        }
        let partial = path.with_extension("part");
        std::fs::write(&partial, csv).and_then(|()| std::fs::rename(&partial, path)).map_err(|e| {
            format!(
                "{}: it cannot be written ({e}); expected a path that you may write to.\n  Name another.",
                path.display()
            )
        })?;
    }
    if args.json {
        print_json(&answer)?;
    } else {
        print(text(&answer, &parts, args.quiet).trim_end())?;
    }
    let sound = answer.modules.iter().all(Vet::usable) && answer.inverters.iter().all(|i| i.fault.is_none());
    Ok(if sound { Outcome::Done } else { Outcome::SaysNo })
}

fn examine(parts: &Parts) -> Result<Answer, Box<dyn std::error::Error>> {
    let mut modules = Vec::new();
    for (tag, sheet) in &parts.modules {
        let matrix = match parts.matrices.get(tag) {
            Some(rows) => Some(Matrix::new(rows.iter().map(|r| Cell { g: r[0], t: r[1], p: r[2] }).collect())?),
            None => None,
        };
        modules.push(vet(tag, sheet, matrix.as_ref()));
    }
    let inverters = parts.inverters.iter().map(|(tag, sheet)| inverter(tag, sheet)).collect();
    Ok(Answer { modules, inverters })
}

fn inverter(tag: &str, sheet: &InverterSheet) -> InverterVet {
    let mut doubts = Vec::new();
    let mut say = |key: &str, found: String, expected: &str, mend: &str| {
        doubts.push(Finding { key: key.into(), found, expected: expected.into(), mend: mend.into() });
    };
    let fitted = Inverter::new(sheet);
    if let Ok(i) = &fitted {
        let best = sheet.efficiency.iter().map(|p| p[1]).fold(0.0, f64::max);
        if !(90.0..=99.3).contains(&best) {
            say(
                "efficiency",
                format!("at best {best} %"),
                "90 to 99.3 %, usual of string inverters",
                "Check the curve.",
            );
        }
        if 100.0 * i.european_efficiency() > best + 1e-9 {
            say(
                "efficiency",
                format!("a European weighting of {:.2} % above the best point", 100.0 * i.european_efficiency()),
                "a weighting below the best point",
                "Give more points at low load.",
            );
        }
        if i.night_w() > 0.005 * i.p_ac_w() {
            say(
                "night_w",
                format!("{} W", i.night_w()),
                "below 0.5 % of the AC rating",
                "Watts, not milliamperes or VA.",
            );
        }
    }
    if let (Some([low, high]), Some(most)) = (sheet.window_v, sheet.v_dc_max)
        && !(low < high && high <= most)
    {
        say(
            "window_v beside v_dc_max",
            format!("{low} to {high} V beside {most} V"),
            "a window below v_dc_max",
            "Check both.",
        );
    }
    let of = |f: &dyn Fn(&Inverter) -> f64| fitted.as_ref().ok().map(|i| 100.0 * f(i));
    InverterVet {
        tag: tag.to_string(),
        european_pct: of(&Inverter::european_efficiency),
        california_pct: of(&Inverter::california_efficiency),
        fault: fitted.err().map(|e| e.to_string()),
        doubts,
    }
}

fn text(answer: &Answer, parts: &Parts, quiet: bool) -> String {
    let mut out = String::new();
    for v in &answer.modules {
        let name = parts.modules.get(&v.tag).and_then(|m| m.name.clone());
        let verdict = if !v.usable() {
            "INCONSISTENT"
        } else if v.doubts.is_empty() {
            "consistent"
        } else {
            "consistent, with doubts"
        };
        let _ = writeln!(out, "module {}{}: {verdict}", v.tag, name.map(|n| format!(" ({n})")).unwrap_or_default());
        findings(&mut out, "wrong", &v.faults);
        findings(&mut out, "doubt", &v.doubts);
        if !quiet {
            for note in v.notes.iter().filter(|n| n.code != "module.electrical") {
                paragraph(&mut out, "  note   ", &note.text);
            }
            if let Some(m) = &v.model {
                module_text(&mut out, m);
            }
        }
        out.push('\n');
    }
    for i in &answer.inverters {
        let verdict = match (&i.fault, i.doubts.is_empty()) {
            (Some(_), _) => "INCONSISTENT",
            (None, true) => "consistent",
            (None, false) => "consistent, with doubts",
        };
        let _ = writeln!(out, "inverter {}: {verdict}", i.tag);
        if let Some(fault) = &i.fault {
            paragraph(&mut out, "  wrong  ", fault);
        }
        findings(&mut out, "doubt", &i.doubts);
        if let (Some(e), Some(c), false) = (i.european_pct, i.california_pct, quiet) {
            let _ = writeln!(out, "  weighted efficiency: European {e:.3} %, California {c:.3} %");
        }
        out.push('\n');
    }
    out
}

fn findings(out: &mut String, word: &str, list: &[Finding]) {
    for f in list {
        paragraph(out, &format!("  {word}  "), &f.to_string());
    }
}

fn module_text(out: &mut String, m: &VetModel) {
    paragraph(out, "  model  ", &m.electrical);
    paragraph(out, "  glass  ", &m.incidence);
    if let Some(rmse) = m.matrix_rmse_pct {
        let _ = writeln!(out, "  misses its measured matrix by {rmse:.2} % of power");
    }
    let _ = writeln!(
        out,
        "  efficiency {:.2} %, fill factor {:.3}{}",
        m.efficiency_pct,
        m.fill_factor,
        m.v_oc_per_cell.map(|v| format!(", {v:.3} V per cell")).unwrap_or_default()
    );
    for (when, at) in [("1000 W/m2, 25 C", &m.stc), (" 800 W/m2, 45 C", &m.warm)] {
        let _ = writeln!(
            out,
            "  {when}: {:7.2} W {:7.2} V {:7.3} A, open {:7.2} V, short {:7.3} A",
            at.p_mp, at.v_mp, at.i_mp, at.v_oc, at.i_sc
        );
    }
    let c = m.coefficients_pct_per_k;
    let _ = writeln!(
        out,
        "  %/K 25 to 75 C: power {:.3}, v_oc {:.3}, i_sc {:.3}, v_mp {:.3}, i_mp {:.3}",
        c[0], c[1], c[2], c[3], c[4]
    );
    if let Some(d) = m.diode {
        let _ = writeln!(
            out,
            "  one diode: I_L {:.4} A, I_0 {:.2e} A, R_s {:.4} ohm, R_sh {},",
            d.light_current_a,
            d.saturation_current_a,
            d.series_ohm,
            d.shunt_ohm.map_or("none".to_string(), |r| format!("{r:.0} ohm")),
        );
        let ideality = d.ideality.map(|n| format!(", ideality {n:.2} per cell")).unwrap_or_default();
        let _ = writeln!(out, "             a {:.4} V{ideality}", d.modified_ideality_v);
    }
    let _ = writeln!(out, "  efficiency over that at STC: 1000 W/m2 65 C {:.3}; 200 W/m2 15 C {:.3}", m.hot, m.cool);
    let _ = write!(out, "    W/m2");
    for t in &m.map_t {
        let _ = write!(out, "{t:>8} C");
    }
    out.push('\n');
    for (g, row) in m.map_g.iter().zip(&m.map) {
        let _ = write!(out, "  {g:>6}");
        for eta in row {
            let _ = write!(out, "{eta:>10.3}");
        }
        out.push('\n');
    }
}
