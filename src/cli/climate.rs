//! `yearlight climate FILE... --parts PARTS.toml`: skies side by side, and what each module makes of them.

use std::collections::BTreeSet;
use std::fmt::Write;
use std::path::{Path, PathBuf};

use argh::FromArgs;

use super::weather_file::read_raw;
use super::{CliResult, Outcome, print, print_json, say};
use crate::job::{self, Parts};
use crate::module::{Cell, Electrical, Glass, Matrix, Spectrum, light_induced};
use crate::plane::{Cooling, PlaneSpec};
use crate::report::console::wrap;
use crate::report::{climate_lines, climate_page};
use crate::sky;
use crate::tables::{Table, TableError, write_csv, write_whole};
use crate::weather::ReadHints;
use crate::weigh::climate::{CAUSES, ClimateModule, ClimateSky, ClimateStudy, climate};

/// Hold skies side by side: where the energy lies in light and heat, and what each module makes of it.
#[derive(FromArgs, Debug)]
#[argh(
    subcommand,
    name = "climate",
    example = "{command_name} weather/davis-monthan-az.csv weather/port-angeles-wa.csv --parts configs/merrowby-parts.toml\n\
               {command_name} weather/*.csv --parts configs/merrowby-parts.toml --out reports/all-skies",
    note = "Any weather file that the program reads is a sky, reference climates among them. Writes climate.html and\n\
            skies.csv, months.csv, modules.csv, bins.csv, split.csv, breaks.csv to reports/climate/."
)]
pub struct ClimateArgs {
    /// weather files, each a whole year
    #[argh(positional)]
    files: Vec<PathBuf>,

    /// the parts file whose modules are compared
    #[argh(option)]
    parts: PathBuf,

    /// tags of the modules, the first is what the others are compared with: P410,N445; all when left out
    #[argh(option)]
    modules: Option<String>,

    /// tilt of the plane, degrees; 20 when left out
    #[argh(option, default = "20.0")]
    tilt: f64,

    /// azimuth of the plane, degrees clockwise from north; towards the equator when left out
    #[argh(option)]
    azimuth: Option<f64>,

    /// ground reflectance for files that hold none, 0 to 1; 0.2 when left out
    #[argh(option)]
    albedo: Option<f64>,

    /// heat loss of the mounting as u0,u1 in W/m2K and W s/m3K; open rack 25,6.84 when left out
    #[argh(option)]
    cooling: Option<String>,

    /// correct for the colour of the light where a file holds the water in the air
    #[argh(switch)]
    spectrum: bool,

    /// folder for the results; reports/climate when left out
    #[argh(option)]
    out: Option<PathBuf>,

    /// print numbers as JSON
    #[argh(switch)]
    json: bool,

    /// print nothing but the answer
    #[argh(switch)]
    quiet: bool,
}

/// Reads, compares, prints, writes.
pub fn run(args: ClimateArgs) -> CliResult {
    let cooling = check(&args)?;
    let parts = job::load_parts(&args.parts)?;
    let mut notes = BTreeSet::new();
    let modules = modules(&args, &parts, &mut notes)?;
    let mut skies: Vec<ClimateSky> = Vec::with_capacity(args.files.len());
    for file in &args.files {
        let sky = sky_of(file, &args, &cooling)?;
        notes.extend(
            sky.weather.provenance.notes.iter().filter(|n| n.loud).map(|n| format!("{}: {}", sky.name, n.text)),
        );
        if args.spectrum && sky.weather.precipitable_water_cm.is_none() {
            notes.insert(format!("{} holds no water in the air: no correction for colour there.", sky.name));
        }
        let mut name = sky.name.clone();
        let mut copy = 2;
        while skies.iter().any(|s| s.name == name) {
            name = format!("{}-{copy}", sky.name);
            copy += 1;
        }
        skies.push(ClimateSky { name, ..sky });
    }
    let study = climate(&skies, &modules);
    if let Some(dark) = skies.iter().find(|s| study.skies.iter().all(|r| r.name != s.name)) {
        return Err(format!(
            "{}: no light falls on the plane in the whole year; expected in-plane light above 0.\n  Check ghi, dni and \
             dhi with: yearlight inspect {}",
            dark.weather.provenance.file, dark.weather.provenance.file
        )
        .into());
    }
    let notes: Vec<String> = notes.into_iter().collect();
    let out = args.out.clone().unwrap_or_else(|| Path::new("reports").join("climate"));
    write(&study, &notes, &command(&args), &out)?;
    if args.json {
        let json = serde_json::json!({ "study": study, "notes": notes, "version": env!("CARGO_PKG_VERSION") });
        print_json(&json)?;
    } else {
        print(&text(&study, &notes))?;
    }
    say(args.quiet, &format!("\nWritten to {}", out.display()));
    Ok(Outcome::Done)
}

/// Refuses numbers that make no plane.
fn check(args: &ClimateArgs) -> Result<Cooling, String> {
    let refuse = |name: &str, found: String, expected: &str, mend: &str| {
        Err(format!("--{name} is {found}; expected {expected}.\n  {mend}"))
    };
    if args.files.is_empty() {
        return Err(
            "no weather file is given; expected one or more.\n  Name the skies: yearlight climate weather/*.csv \
                    --parts PARTS.toml"
                .into(),
        );
    }
    if !(0.0..=90.0).contains(&args.tilt) {
        return refuse("tilt", args.tilt.to_string(), "0 to 90 degrees", "0 is flat, 90 upright.");
    }
    if let Some(a) = args.azimuth.filter(|a| !(0.0..=360.0).contains(a)) {
        return refuse("azimuth", a.to_string(), "0 to 360 degrees, clockwise from north", "South is 180, east 90.");
    }
    if let Some(a) = args.albedo.filter(|a| !(0.0..=1.0).contains(a)) {
        return refuse("albedo", a.to_string(), "a share, 0 to 1", "Write 0.2 for 20 %.");
    }
    let Some(text) = &args.cooling else { return Ok(Cooling::default()) };
    let numbers: Vec<f64> = text.split(',').filter_map(|x| x.trim().parse().ok()).collect();
    match numbers[..] {
        [u0, u1] if (5.0..=80.0).contains(&u0) && (0.0..=30.0).contains(&u1) => {
            Ok(Cooling { u0, u1, source: Some("command line".into()) })
        }
        _ => refuse("cooling", text.clone(), "u0,u1 with u0 5 to 80 and u1 0 to 30", "An open rack has 25,6.84."),
    }
}

fn modules(
    args: &ClimateArgs,
    parts: &Parts,
    notes: &mut BTreeSet<String>,
) -> Result<Vec<ClimateModule>, Box<dyn std::error::Error>> {
    let tags: Vec<String> = match &args.modules {
        Some(list) => list.split(',').map(|t| t.trim().to_string()).filter(|t| !t.is_empty()).collect(),
        None => parts.modules.keys().cloned().collect(),
    };
    let file = args.parts.display();
    if tags.is_empty() {
        return Err(format!("{file}: there is no module; expected one or more [module.X].\n  Add one.").into());
    }
    let known = parts.modules.keys().cloned().collect::<Vec<_>>().join(", ");
    let mut seen = BTreeSet::new();
    let mut all = Vec::with_capacity(tags.len());
    // What holds for several modules is said once.
    let mut said: Vec<(String, Vec<String>)> = Vec::new();
    for tag in tags {
        let Some(sheet) = parts.modules.get(&tag) else {
            return Err(format!(
                "--modules names {tag}, which {file} does not hold; expected some of {known}.\n  Check the spelling."
            )
            .into());
        };
        if !seen.insert(tag.clone()) {
            return Err(format!("--modules names {tag} twice; expected each module once.\n  Remove one.").into());
        }
        let wrong = |e: crate::module::ModuleError| format!("{file}: module.{tag}: {e}");
        let matrix = parts
            .matrices
            .get(&tag)
            .map(|rows| Matrix::new(rows.iter().map(|r| Cell { g: r[0], t: r[1], p: r[2] }).collect()))
            .transpose()
            .map_err(wrong)?;
        let (electrical, more) = Electrical::fit(sheet, matrix.as_ref()).map_err(wrong)?;
        let (loss, first) = light_induced(sheet);
        for note in more.iter().chain(&first) {
            match said.iter_mut().find(|(text, _)| *text == note.text) {
                Some((_, tags)) => tags.push(tag.clone()),
                None => said.push((note.text.clone(), vec![tag.clone()])),
            }
        }
        let spectrum = if args.spectrum { Spectrum::of(sheet.technology) } else { None };
        if args.spectrum && spectrum.is_none() {
            notes.insert(format!("{tag}: no published colour correction is known for its technology; none is taken."));
        }
        if sheet.bifaciality.is_some_and(|b| b > 0.0) {
            notes.insert(format!(
                "{tag} is two-sided; its rear light depends on rows and ground and is not counted here."
            ));
        }
        let glass = Glass::from_sheet(sheet).map_err(wrong)?;
        all.push(ClimateModule {
            glass,
            spectrum,
            light_induced: loss,
            electrical,
            sheet: sheet.clone(),
            tag: tag.clone(),
        });
    }
    notes.extend(said.into_iter().map(|(text, tags)| format!("{}: {text}", tags.join(", "))));
    Ok(all)
}

fn sky_of(file: &Path, args: &ClimateArgs, cooling: &Cooling) -> Result<ClimateSky, Box<dyn std::error::Error>> {
    let hints = ReadHints::default();
    let weather = sky::complete(read_raw(file, &hints)?, &hints)?;
    let equator = if weather.place.latitude_deg < 0.0 { 0.0 } else { 180.0 };
    let plane = PlaneSpec {
        name: "plane".into(),
        tilt_deg: args.tilt,
        azimuth_deg: args.azimuth.unwrap_or(equator) % 360.0,
        albedo: args.albedo,
        cooling: cooling.clone(),
        size_m: None,
        outline_m: Vec::new(),
        setback_m: 0.0,
        obstacle_setback_m: 0.0,
        gap_m: 0.02,
        obstacles: Vec::new(),
        rows: None,
        tracker: None,
    };
    let name = file.file_name().map_or_else(|| file.display().to_string(), |n| n.to_string_lossy().into_owned());
    let name = name.trim_end_matches(".gz");
    let name = name.rsplit_once('.').map_or(name, |(stem, _)| stem).to_string();
    Ok(ClimateSky { name, weather, plane })
}

/// The command that makes the study again.
fn command(args: &ClimateArgs) -> String {
    let mut out = String::from("yearlight climate");
    for file in &args.files {
        let _ = write!(out, " {}", file.display());
    }
    let _ = write!(out, " --parts {} --tilt {}", args.parts.display(), args.tilt);
    let mut add = |name: &str, value: Option<String>| {
        if let Some(value) = value {
            let _ = write!(out, " --{name} {value}");
        }
    };
    add("modules", args.modules.clone());
    add("azimuth", args.azimuth.map(|a| a.to_string()));
    add("albedo", args.albedo.map(|a| a.to_string()));
    add("cooling", args.cooling.clone());
    if args.spectrum {
        out.push_str(" --spectrum");
    }
    out
}

fn write(study: &ClimateStudy, notes: &[String], command: &str, out: &Path) -> Result<(), Box<dyn std::error::Error>> {
    // The page first: if it cannot be made, nothing is written.
    let html = climate_page(study, notes, command, env!("CARGO_PKG_VERSION"))?;
    std::fs::create_dir_all(out).map_err(|source| TableError::Write { path: out.into(), source })?;
    for (name, table) in tables(study) {
        write_csv(&table, &out.join(name))?;
    }
    write_whole(&out.join("climate.html"), html.as_bytes())?;
    Ok(())
}

fn tables(study: &ClimateStudy) -> [(&'static str, Table); 6] {
    let skies = &study.skies;
    let each = || skies.iter().flat_map(|s| s.modules.iter().map(move |m| (s, m)));
    let pairs = || skies.iter().flat_map(|s| s.differences.iter().map(move |d| (s, d)));
    let months = || skies.iter().flat_map(|s| (0..12).map(move |m| (s, m)));
    let sky_table = Table::new()
        .text("sky", skies.iter().map(|s| s.name.clone()).collect())
        .text("place", skies.iter().map(|s| s.place.clone()).collect())
        .number("tilt_deg", skies.iter().map(|s| s.plane_deg[0]).collect())
        .number("azimuth_deg", skies.iter().map(|s| s.plane_deg[1]).collect())
        .number("h_i_kwh_m2", skies.iter().map(|s| s.h_i_kwh_m2).collect())
        .number("mean_light_w_m2", skies.iter().map(|s| s.mean_light_w_m2).collect())
        .number("mean_cell_c", skies.iter().map(|s| s.mean_cell_c).collect())
        .number("share_below_200", skies.iter().map(|s| s.below_200).collect())
        .number("share_below_400", skies.iter().map(|s| s.below_400).collect());
    let month_table = Table::new()
        .text("sky", months().map(|(s, _)| s.name.clone()).collect())
        .whole("month", months().map(|(_, m)| m as i64 + 1).collect())
        .number("h_i_kwh_m2", months().map(|(s, m)| s.months_h_i_kwh_m2[m]).collect());
    let module_table = Table::new()
        .text("sky", each().map(|(s, _)| s.name.clone()).collect())
        .text("module", each().map(|(_, m)| m.module.clone()).collect())
        .number("yield_kwh_per_kw", each().map(|(_, m)| m.yield_kwh_per_kw).collect())
        .whole("rank", each().map(|(_, m)| m.rank as i64).collect())
        .number("site_rating", each().map(|(_, m)| m.rating.ratio).collect())
        .number("factor_incidence", each().map(|(_, m)| m.rating.incidence).collect())
        .number("factor_spectrum", each().map(|(_, m)| m.rating.spectrum).collect())
        .number("factor_low_light", each().map(|(_, m)| m.rating.low_light).collect())
        .number("factor_temperature", each().map(|(_, m)| m.rating.temperature).collect())
        .number("light_induced_kept", each().map(|(_, m)| m.light_induced_kept).collect())
        .number("mean_cell_c", each().map(|(_, m)| m.mean_cell_c).collect())
        .number("mean_light_w_m2", each().map(|(_, m)| m.mean_light_w_m2).collect())
        .number("t_98_c", each().map(|(_, m)| m.t_98_c).collect());
    let mut bins: [Vec<f64>; 6] = Default::default();
    let (mut sky, mut module) = (Vec::new(), Vec::new());
    for (s, m) in each() {
        let b = &m.bins;
        for (r, row) in b.h_kwh_m2.iter().enumerate() {
            for (c, h) in row.iter().enumerate().filter(|(_, h)| **h > 0.0) {
                sky.push(s.name.clone());
                module.push(m.module.clone());
                let (g, t) = (&b.light_edges_w_m2, &b.heat_edges_c);
                let values = [g[c], g[c + 1], t[r], t[r + 1], *h, b.e_kwh_per_kw[r][c]];
                bins.iter_mut().zip(values).for_each(|(column, x)| column.push(x));
            }
        }
    }
    let names = ["light_from_w_m2", "light_to_w_m2", "cell_from_c", "cell_to_c", "h_kwh_m2", "e_kwh_per_kw"];
    let mut bin_table = Table::new().text("sky", sky).text("module", module);
    for (name, column) in names.into_iter().zip(bins) {
        bin_table = bin_table.number(name, column);
    }
    let mut split = Table::new()
        .text("sky", pairs().map(|(s, _)| s.name.clone()).collect())
        .text("from", pairs().map(|(_, d)| d.from.clone()).collect())
        .text("to", pairs().map(|(_, d)| d.to.clone()).collect())
        .number("gap_kwh_per_kw", pairs().map(|(_, d)| d.kwh_per_kw).collect())
        .number("gap_pct", pairs().map(|(_, d)| d.pct).collect());
    for (i, cause) in CAUSES.iter().enumerate() {
        let name = format!("{}_kwh_per_kw", cause.replace([' ', '-'], "_"));
        split = split.number(&name, pairs().map(|(_, d)| d.parts[i]).collect());
    }
    let turns: Vec<_> = study.breaks.iter().filter_map(|b| Some((b, b.turns_at_c?))).collect();
    let breaks = Table::new()
        .text("from", turns.iter().map(|(b, _)| b.from.clone()).collect())
        .text("to", turns.iter().map(|(b, _)| b.to.clone()).collect())
        .number("constant_pct", turns.iter().map(|(b, _)| b.constant_pct).collect())
        .number("per_k_pct", turns.iter().map(|(b, _)| b.per_k_pct).collect())
        .number("per_weak_share_pct", turns.iter().map(|(b, _)| b.per_weak_pct).collect())
        .number("residual_pct", turns.iter().map(|(b, _)| b.residual_pct).collect())
        .number("turns_at_c_without_weak_light", turns.iter().map(|(_, t)| t[0]).collect())
        .number("k_per_weak_share", turns.iter().map(|(_, t)| t[1]).collect())
        .whole("within_skies", turns.iter().map(|(b, _)| i64::from(b.within_skies)).collect());
    [
        ("skies.csv", sky_table),
        ("months.csv", month_table),
        ("modules.csv", module_table),
        ("bins.csv", bin_table),
        ("split.csv", split),
        ("breaks.csv", breaks),
    ]
}

/// The answer for the terminal, at most 80 columns wide.
fn text(study: &ClimateStudy, notes: &[String]) -> String {
    let mut out = String::new();
    let short = |name: &str, width: usize| name.chars().take(width).collect::<String>();
    if let Some(s) = study.skies.first() {
        let _ = writeln!(
            out,
            "Per kW of module on an open plane tilted {} deg, before shade, dirt and wiring.\n",
            s.plane_deg[0]
        );
    }
    let _ = writeln!(
        out,
        "{:<22} {:>7} {:>8} {:>8} {:>8} {:>9} {:>8}",
        "sky", "azimuth", "in-plane", "light", "cell", "below 400", "98th pct"
    );
    let _ =
        writeln!(out, "{:<22} {:>7} {:>8} {:>8} {:>8} {:>9} {:>8}", "", "deg", "kWh/m2", "W/m2", "C", "% of it", "C");
    for s in &study.skies {
        let hottest = s.modules.iter().map(|m| m.t_98_c).fold(f64::NEG_INFINITY, f64::max);
        let _ = writeln!(
            out,
            "{:<22} {:>7.0} {:>8.0} {:>8.0} {:>8.1} {:>9.1} {:>8.1}",
            short(&s.name, 22),
            s.plane_deg[1],
            s.h_i_kwh_m2,
            s.mean_light_w_m2,
            s.mean_cell_c,
            100.0 * s.below_400,
            hottest
        );
    }
    let columns: Vec<usize> = (0..study.modules.len()).collect();
    for chunk in columns.chunks(4) {
        let _ = write!(out, "\n{:<22}", "yield, kWh/kW (rank)");
        for k in chunk {
            let _ = write!(out, " {:>12}", short(&study.modules[*k], 12));
        }
        out.push('\n');
        for s in &study.skies {
            let _ = write!(out, "{:<22}", short(&s.name, 22));
            for k in chunk {
                let m = &s.modules[*k];
                let _ = write!(out, " {:>12}", format!("{:.0} ({})", m.yield_kwh_per_kw, m.rank));
            }
            out.push('\n');
        }
        out.push_str("site rating\n");
        for s in &study.skies {
            let _ = write!(out, "{:<22}", short(&s.name, 22));
            for k in chunk {
                let _ = write!(out, " {:>12.4}", s.modules[*k].rating.ratio);
            }
            out.push('\n');
        }
    }
    for (k, line) in study.breaks.iter().enumerate() {
        let _ = writeln!(out, "\nWhy {} differs from {}, kWh/kW", short(&line.to, 24), short(&line.from, 24));
        let heads = ["weak", "temper-", "inci-", "spec-", "light-", "sum"];
        let _ = write!(out, "{:<22}", "sky");
        heads.iter().for_each(|h| out.push_str(&format!(" {h:>8}")));
        let _ =
            writeln!(out, "\n{:<22} {:>8} {:>8} {:>8} {:>8} {:>8}", "", "light", "ature", "dence", "trum", "induced");
        for s in &study.skies {
            let d = &s.differences[k];
            let _ = write!(out, "{:<22}", short(&s.name, 22));
            for x in d.parts.iter().chain([&d.kwh_per_kw]) {
                let text = if *x == 0.0 { "0".to_string() } else { format!("{x:+.1}") };
                let _ = write!(out, " {text:>8}");
            }
            out.push('\n');
        }
    }
    out.push('\n');
    let bullet = |out: &mut String, lead: &str, text: &str| {
        for (i, line) in wrap(text, 78).iter().enumerate() {
            let _ = writeln!(out, "{}{line}", if i == 0 || lead.is_empty() { lead } else { "  " });
        }
    };
    climate_lines(study).iter().for_each(|line| bullet(&mut out, "- ", line));
    if !notes.is_empty() {
        out.push_str("\nNotes\n");
        notes.iter().for_each(|note| bullet(&mut out, "- ", note));
    }
    bullet(
        &mut out,
        "",
        "Estimates for the years of these files. Site rating is after IEC 61853-3:2018 on these skies, not certified and no \
         climate-specific rating of the standard.",
    );
    out.trim_end().to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weigh::climate::tests::{modules, sky};

    #[test]
    fn answer_files_and_page_of_two_skies() {
        let study = climate(&[sky("davis-monthan-az.csv"), sky("port-angeles-wa.csv")], &modules());
        let shown =
            text(&study, &["a note that is long enough to be broken at the end of a line of the console".into()]);
        assert!(shown.lines().all(|l| l.chars().count() <= 80), "{shown}");
        for word in ["davis-monthan-az favours", "98th-percentile", "By the line"] {
            assert!(shown.replace("\n  ", " ").contains(word), "{word}: {shown}");
        }
        let dir = tempfile::tempdir().unwrap();
        write(&study, &["a <note>".into()], "yearlight climate", dir.path()).unwrap();
        let html = std::fs::read_to_string(dir.path().join("climate.html")).unwrap();
        assert!(html.contains("bins-2-w") && html.contains("a &lt;note&gt;") && !html.contains("NaN"));
        assert!(!html.contains("http://") && !html.contains("https://") && !html.contains("src="));
        crate::report::well_formed(&html);
        for (name, table) in tables(&study) {
            let csv = std::fs::read_to_string(dir.path().join(name)).unwrap();
            assert_eq!(csv.lines().count(), table.rows() + 1, "{name}");
            assert!(table.rows() > 0 && !csv.contains("NaN"), "{name}");
        }
    }

    #[test]
    fn numbers_that_make_no_plane_are_refused() {
        let with = |words: &[&str]| {
            let mut all = vec!["x.csv", "--parts", "p.toml"];
            all.extend(words);
            check(&ClimateArgs::from_args(&["climate"], &all).unwrap()).unwrap_err()
        };
        assert!(with(&["--tilt", "95"]).starts_with("--tilt is 95; expected 0 to 90 degrees."));
        assert!(with(&["--tilt", "NaN"]).contains("expected 0 to 90"));
        assert!(with(&["--azimuth", "400"]).contains("clockwise from north"));
        assert!(with(&["--albedo", "20"]).contains("a share, 0 to 1"));
        assert!(with(&["--cooling", "25"]).contains("u0,u1"));
        let none = ClimateArgs::from_args(&["climate"], &["--parts", "p.toml"]).unwrap();
        assert!(check(&none).unwrap_err().contains("no weather file is given"));
    }
}
