//! Sales sentences, each with this site's number, its band and a verdict.

use serde::{Deserialize, Serialize};

use crate::job::ClaimsSpec;
use crate::module::ModuleSheet;
use crate::weigh::doubt::round_to_doubt;
use crate::weigh::facts::Facts;
use crate::weigh::normal::quantile;
use crate::weigh::study::{Gap, Group};

/// What a sentence claims.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ClaimKind {
    /// Higher efficiency.
    Efficiency,
    /// Many thin wires.
    ManyWires,
    /// Milder heat loss.
    Temperature,
    /// Strong in weak light.
    WeakLight,
    /// Little loss in the first days of light.
    EarlyLoss,
    /// Slow ageing.
    Ageing,
    /// A stronger frame.
    Frame,
    /// Tolerates cracks.
    CrackTolerance,
    /// A longer product warranty.
    ProductWarranty,
    /// Lower voltage, longer strings.
    LowVoltage,
    /// Fewer modules, which miss the shade.
    FewerModules,
    /// Less racking.
    Racking,
    /// Less land.
    Land,
}

/// Whether a sentence is true here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// True at this site, and larger than its doubt.
    Holds,
    /// The number is smaller than its doubt.
    WithinDoubt,
    /// Not true at this site.
    DoesNotHold,
    /// Nothing here can tell; the sentence says whom to ask for what.
    CannotBeComputed,
}

impl Verdict {
    /// For tables.
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Holds => "holds",
            Verdict::WithinDoubt => "within doubt",
            Verdict::DoesNotHold => "does not hold",
            Verdict::CannotBeComputed => "cannot be computed here",
        }
    }
}

/// A sentence that was judged.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Claim {
    /// Kind.
    pub kind: ClaimKind,
    /// The sentence in the job.
    pub text: String,
    /// Tag of the option that is praised.
    pub option: String,
    /// Tag of the option it is compared with.
    pub against: String,
    /// This site's number.
    pub number: Option<f64>,
    /// Unit of the number.
    pub unit: String,
    /// Standard uncertainty of the number; nothing for counts and prices.
    pub u: Option<f64>,
    /// Verdict.
    pub verdict: Verdict,
    /// One or two plain sentences: the number in words, why the verdict, whom to ask.
    pub sentence: String,
}

/// One side of a claim.
#[derive(Debug, Clone, Copy)]
pub struct Side<'a> {
    /// What is known of the option.
    pub facts: &'a Facts,
    /// Its module.
    pub sheet: &'a ModuleSheet,
    /// Longest string allowed, modules; nothing when it was not checked.
    pub longest_string: Option<u32>,
    /// Single DC conductor, m; nothing when no length is given.
    pub cable_m: Option<f64>,
    /// Cost by module and by area (clamps, racking), in the job's currency; nothing without prices.
    pub racking: Option<f64>,
    /// Land that the rows take, m2; nothing on a roof.
    pub land_m2: Option<f64>,
}

/// Judges every sentence of `[claims]`: `b` is praised, `a` is what it is compared with.
///
/// A number of kWh holds when it is above its doubt times 1.2816 (nine cases in ten), is within doubt down to the same
/// below zero, and does not hold below that. Counts, prices and promises hold or do not.
pub fn judge(spec: &ClaimsSpec, a: &Side, b: &Side, gap: &Gap, inputs: &DoubtOf) -> Vec<Claim> {
    let texts = [
        (ClaimKind::Efficiency, &spec.efficiency),
        (ClaimKind::ManyWires, &spec.many_wires),
        (ClaimKind::Temperature, &spec.temperature),
        (ClaimKind::WeakLight, &spec.weak_light),
        (ClaimKind::EarlyLoss, &spec.early_loss),
        (ClaimKind::Ageing, &spec.ageing),
        (ClaimKind::Frame, &spec.frame),
        (ClaimKind::CrackTolerance, &spec.crack_tolerance),
        (ClaimKind::ProductWarranty, &spec.product_warranty),
        (ClaimKind::LowVoltage, &spec.low_voltage),
        (ClaimKind::FewerModules, &spec.fewer_modules),
        (ClaimKind::Racking, &spec.racking),
        (ClaimKind::Land, &spec.land),
    ];
    texts
        .into_iter()
        .filter_map(|(kind, text)| {
            let text = text.clone()?;
            let found = find(kind, spec, a, b, gap, inputs);
            let (option, against) = (b.facts.tag.clone(), a.facts.tag.clone());
            let Finding { number, unit, u, verdict, sentence } = found;
            Some(Claim { kind, text, option, against, number, unit: unit.to_string(), u, verdict, sentence })
        })
        .collect()
}

/// Doubt of the pair for a group, percent of energy in the first year, and over all years; and of the whole pair.
pub struct DoubtOf<'a> {
    /// Of one line of the split.
    pub line: &'a dyn Fn(Group) -> f64,
    /// Of the ageing line over all years, percent.
    pub ageing: f64,
    /// Of the ratio of the two energies, percent.
    pub pair: f64,
}

struct Finding {
    number: Option<f64>,
    unit: &'static str,
    u: Option<f64>,
    verdict: Verdict,
    sentence: String,
}

impl Finding {
    fn sure(number: f64, unit: &'static str, holds: bool, sentence: String) -> Finding {
        let verdict = if holds { Verdict::Holds } else { Verdict::DoesNotHold };
        Finding { number: Some(number), unit, u: None, verdict, sentence }
    }

    fn with_doubt(number: f64, unit: &'static str, u: f64, sentence: String) -> Finding {
        Finding { number: Some(number), unit, u: Some(u), verdict: verdict_of(number, u), sentence }
    }

    fn ask(unit: &'static str, sentence: &str) -> Finding {
        Finding { number: None, unit, u: None, verdict: Verdict::CannotBeComputed, sentence: sentence.to_string() }
    }
}

/// Nine cases in ten decide.
fn verdict_of(number: f64, u: f64) -> Verdict {
    let band = quantile(0.9) * u;
    if number > band {
        Verdict::Holds
    } else if number < -band || (number <= 0.0 && u == 0.0) {
        Verdict::DoesNotHold
    } else {
        Verdict::WithinDoubt
    }
}

fn pct(x: f64, u: f64) -> String {
    let u = u.max(0.01);
    let text = round_to_doubt(x, u).text;
    format!("{}{text} % (u = {} %)", if x > 0.0 { "+" } else { "" }, round_to_doubt(u, u).text)
}

/// A line of the first year's split, kWh/kW and in percent of the first option's yield.
fn line_claim(group: Group, what: &str, a: &Side, b: &Side, gap: &Gap, u_pct: f64) -> Finding {
    let Some(line) = gap.first_year.as_ref().and_then(|s| s.line(group)) else {
        return Finding::ask("kWh/kW", "The gap was not split in this run: run it with the split.");
    };
    let (kwh, y_a) = (line.part.kwh_per_kw, yield_of(a));
    if line.equal {
        let sentence = format!("{} and {} have the same {what}.", a.facts.tag, b.facts.tag);
        return Finding::sure(0.0, "kWh/kW", false, sentence);
    }
    let u = u_pct / 100.0 * y_a;
    let sentence = format!(
        "By its {what} {} gives {} kWh/kW {} a year at this site, {} of the yield of {}.",
        b.facts.tag,
        round_to_doubt(kwh.abs(), u.max(0.05)).text,
        if kwh < 0.0 { "less" } else { "more" },
        pct(percent(kwh, y_a), u_pct),
        a.facts.tag
    );
    Finding::with_doubt(kwh, "kWh/kW", u, sentence)
}

fn yield_of(side: &Side) -> f64 {
    if side.facts.kw > 0.0 { side.facts.first_year_kwh / side.facts.kw } else { 0.0 }
}

fn percent(x: f64, of: f64) -> f64 {
    if of > 0.0 { 100.0 * x / of } else { 0.0 }
}

fn find(kind: ClaimKind, spec: &ClaimsSpec, a: &Side, b: &Side, gap: &Gap, doubt: &DoubtOf) -> Finding {
    match kind {
        ClaimKind::Efficiency => efficiency(spec, a, b, gap, doubt.pair),
        ClaimKind::ManyWires => {
            let measured = b.sheet.matrix.is_some() || !b.sheet.incidence_table.is_empty();
            if !measured {
                return Finding::ask(
                    "kWh/kW",
                    "Wires count only through what is measured on the module: its power at many levels of light and \
                     temperature, its series resistance, its transmission at a slant. None of it is given, and no bonus \
                     is added. Ask the maker for the IEC 61853-1 power matrix and the IEC 61853-2 incidence table.",
                );
            }
            let of = |group| gap.first_year.as_ref().and_then(|s| s.line(group)).map_or(0.0, |l| l.part.kwh_per_kw);
            let kwh = of(Group::LowLight) + of(Group::Incidence);
            let u_pct = (doubt.line)(Group::LowLight).hypot((doubt.line)(Group::Incidence));
            let sentence = format!(
                "By its measured weak-light and incidence figures {} gives {} of the yield of {}. How much of that the \
                 wires do cannot be told apart.",
                b.facts.tag,
                pct(percent(kwh, yield_of(a)), u_pct),
                a.facts.tag
            );
            Finding::with_doubt(kwh, "kWh/kW", u_pct / 100.0 * yield_of(a), sentence)
        }
        ClaimKind::Temperature => {
            let u = (doubt.line)(Group::Temperature);
            line_claim(Group::Temperature, "loss by heat", a, b, gap, u)
        }
        ClaimKind::WeakLight => {
            line_claim(Group::LowLight, "output in weak light", a, b, gap, (doubt.line)(Group::LowLight))
        }
        ClaimKind::EarlyLoss => {
            let u = (doubt.line)(Group::LightInduced);
            line_claim(Group::LightInduced, "loss in the first light", a, b, gap, u)
        }
        ClaimKind::Ageing => {
            let Some(line) = gap.lifetime.as_ref().and_then(|s| s.line(Group::Ageing)) else {
                return Finding::ask("kWh", "The years of operation were not split in this run.");
            };
            let u = doubt.ageing / 100.0 * a.facts.lifetime_kwh;
            let sentence = format!(
                "By its ageing ({} instead of {} % a year, as given) {} gives {} kWh {} over the years, {} of what {} gives. A \
                 lower rate must be sourced: ask for measured rates, a guarantee is none.",
                b.facts.ageing_pct,
                a.facts.ageing_pct,
                b.facts.tag,
                round_to_doubt(line.part.kwh.abs(), u.max(10.0)).text,
                if line.part.kwh < 0.0 { "less" } else { "more" },
                pct(percent(line.part.kwh, a.facts.lifetime_kwh), doubt.ageing),
                a.facts.tag
            );
            Finding::with_doubt(line.part.kwh, "kWh over the years", u, sentence)
        }
        ClaimKind::Frame => frame(spec, a, b),
        ClaimKind::CrackTolerance => Finding::ask(
            "",
            "What cracks do to the energy of this module over the years is not in any data given. Ask the maker for power \
             and electroluminescence images before and after mechanical load and thermal cycling (IEC 61215-2 MQT 16, 20, \
             11), and for field returns.",
        ),
        ClaimKind::ProductWarranty => match (a.sheet.product_warranty_years, b.sheet.product_warranty_years) {
            (Some(x), Some(y)) => Finding::sure(
                y - x,
                "years",
                y > x,
                format!(
                    "{} carries {y} years of product warranty, {} {x}. It is a promise that depends on the maker's life; it \
                     brings no kWh.",
                    b.facts.tag, a.facts.tag
                ),
            ),
            _ => Finding::ask("years", "Product warranty is not given for both modules: ask for both warranty texts."),
        },
        ClaimKind::LowVoltage => low_voltage(a, b),
        ClaimKind::FewerModules => {
            let fewer = i64::from(a.facts.modules) - i64::from(b.facts.modules);
            let slots = gap.first_year.as_ref().and_then(|s| s.line(Group::Slots)).map_or(0.0, |l| l.part.kwh);
            let sentence = format!(
                "{} needs {} modules, {} {}; by its slots and their shade it gives {} kWh {} a year.",
                b.facts.tag,
                b.facts.modules,
                a.facts.tag,
                a.facts.modules,
                round_to_doubt(slots.abs(), 10.0).text,
                if slots < 0.0 { "less" } else { "more" }
            );
            Finding::sure(fewer as f64, "modules", fewer > 0 && slots > 0.5, sentence)
        }
        ClaimKind::Racking => match (a.racking, b.racking) {
            (Some(x), Some(y)) if x > 0.0 || y > 0.0 => Finding::sure(
                x - y,
                "currency",
                y < x,
                format!(
                    "What goes by the module and by area costs {y:.0} for {} and {x:.0} for {}.",
                    b.facts.tag, a.facts.tag
                ),
            ),
            _ => Finding::ask(
                "currency",
                "No price by module or by area is given: ask the racking supplier, and set money.per_module and \
                 money.per_m2.",
            ),
        },
        ClaimKind::Land => match (a.land_m2, b.land_m2) {
            (Some(x), Some(y)) => Finding::sure(
                x - y,
                "m2",
                y < x,
                format!("At the given row pitch {} takes {y:.0} m2 of land, {} {x:.0} m2.", b.facts.tag, a.facts.tag),
            ),
            _ => Finding::ask("m2", "No rows with a pitch are given, so no land is counted: give the plane's rows."),
        },
    }
}

fn efficiency(spec: &ClaimsSpec, a: &Side, b: &Side, gap: &Gap, u_pct: f64) -> Finding {
    let per_m2 = |s: &Side| if s.facts.m2 > 0.0 { s.facts.first_year_kwh / s.facts.m2 } else { 0.0 };
    let m2_pct = percent(per_m2(b) - per_m2(a), per_m2(a));
    let plate = gap.first_year.as_ref().and_then(|s| s.line(Group::Nameplate)).map_or(0.0, |l| l.part.kwh_per_kw);
    let sentence = format!(
        "Per m2 of module {} gives {}, per roof {}, per kW {}. Efficiency itself brings nothing per kW (its line there is \
         {} kWh/kW): it saves area and modules, and the rest of the gap per kW has other causes.",
        b.facts.tag,
        pct(m2_pct, u_pct),
        pct(gap.pct, u_pct),
        pct(gap.pct_per_kw, u_pct),
        round_to_doubt(plate, 1.0).text
    );
    match spec.efficiency_per.as_deref().unwrap_or("kw") {
        "m2" => Finding::with_doubt(m2_pct, "% per m2", u_pct, sentence),
        "roof" => Finding::with_doubt(gap.pct, "% per roof", u_pct, sentence),
        // Per kW the efficiency cancels by definition; only loading of the inverter is left of it.
        _ => Finding::sure(plate, "kWh/kW", plate > 0.01 * yield_of(a), sentence),
    }
}

fn frame(spec: &ClaimsSpec, a: &Side, b: &Side) -> Finding {
    const ENGINEER: &str = "A licensed structural engineer must approve roof, racking and clamps.";
    let zone = |s: &Side| match &spec.clamp_zone {
        Some(name) => s.sheet.clamp_zones.iter().find(|z| z.name == *name).cloned(),
        None => s.sheet.clamp_zones.first().cloned(),
    };
    let (Some(x), Some(y)) = (zone(a), zone(b)) else {
        return Finding::ask(
            "Pa",
            "Design loads for the clamp zone are not given for both modules. Ask the maker for them, and the structural \
             engineer for the site's load.",
        );
    };
    if spec.site_load_front_pa.is_none() && spec.site_load_rear_pa.is_none() {
        return Finding::ask(
            "Pa",
            "The site's load is not given, and it is not computed here. Ask the structural engineer for the design load and \
             set claims.site_load_front_pa and site_load_rear_pa.",
        );
    }
    let margin = |z: &crate::module::ClampZone| {
        let front = spec.site_load_front_pa.map_or(f64::INFINITY, |p| z.front_pa - p);
        front.min(spec.site_load_rear_pa.map_or(f64::INFINITY, |p| z.rear_pa - p))
    };
    let (m_a, m_b) = (margin(&x), margin(&y));
    let sentence = format!(
        "Against the load supplied, {} keeps a margin of {m_b:.0} Pa in zone {}, {} {m_a:.0} Pa. {ENGINEER}",
        b.facts.tag, y.name, a.facts.tag
    );
    Finding::sure(m_b, "Pa", m_b >= 0.0 && m_b > m_a, sentence)
}

fn low_voltage(a: &Side, b: &Side) -> Finding {
    let (Some(x), Some(y)) = (a.longest_string, b.longest_string) else {
        return Finding::ask(
            "modules",
            "The longest string was not worked out for both: give strings.t_cold_c, the voltage limits and the coefficient \
             of open-circuit voltage.",
        );
    };
    let cable = match (a.cable_m, b.cable_m) {
        (Some(m), Some(n)) => format!(", {n:.0} m of DC conductor instead of {m:.0} m"),
        _ => String::new(),
    };
    let sentence = format!(
        "{} may have up to {y} modules in a string, {} {x}; as laid out that makes {} strings instead of {}{cable}. A \
         licensed electrician checks the strings.",
        b.facts.tag, a.facts.tag, b.facts.strings, a.facts.strings
    );
    Finding::sure(f64::from(y) - f64::from(x), "modules", y > x, sentence)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weigh::study::{Split, SplitLine, SplitPart};

    fn sheet(extra: &str) -> ModuleSheet {
        let text = format!(
            "p_stc_w = 410\nv_mp = 31.25\ni_mp = 13.12\nv_oc = 37.4\ni_sc = 13.95\ngamma_pct_per_k = -0.35\n\
             length_mm = 1722\nwidth_mm = 1134\n{extra}"
        );
        toml::from_str(&text).unwrap()
    }

    fn facts(tag: &str, modules: u32, kw: f64, kwh: f64) -> Facts {
        Facts {
            tag: tag.into(),
            modules,
            kw,
            m2: f64::from(modules) * 1.96,
            first_year_kwh: kwh,
            lifetime_kwh: 23.5 * kwh,
            strings: modules / 20,
            ..Facts::default()
        }
    }

    fn split(per_kw: f64, equal: bool) -> Split {
        let line = |group| SplitLine {
            group,
            equal,
            part: SplitPart { kwh: 40.0 * per_kw, kwh_per_kw: per_kw, ..SplitPart::default() },
            sentence: String::new(),
        };
        let mut lines: Vec<SplitLine> = Group::ALL.into_iter().map(line).collect();
        lines[0].part = SplitPart::default();
        Split {
            kwh: 0.0,
            kwh_per_kw: 0.0,
            lines,
            clipping: SplitPart::default(),
            export: SplitPart::default(),
            clipping_sentence: String::new(),
            export_sentence: String::new(),
            runs: 1,
        }
    }

    fn gap(per_kw: f64, equal: bool) -> Gap {
        Gap {
            from: "A".into(),
            to: "B".into(),
            kwh: 400.0,
            pct: 1.0,
            kwh_per_kw: 10.0,
            pct_per_kw: 1.0,
            first_year: Some(split(per_kw, equal)),
            lifetime: Some(split(per_kw, equal)),
            doubt: None,
            money: None,
            turns: Vec::new(),
            bars: Vec::new(),
        }
    }

    fn all_kinds() -> ClaimsSpec {
        toml::from_str(
            "efficiency = \"a\"\nmany_wires = \"b\"\ntemperature = \"c\"\nweak_light = \"d\"\nearly_loss = \"e\"\n\
             ageing = \"f\"\nframe = \"g\"\ncrack_tolerance = \"h\"\nproduct_warranty = \"i\"\nlow_voltage = \"j\"\n\
             fewer_modules = \"k\"\nracking = \"l\"\nland = \"m\"",
        )
        .unwrap()
    }

    fn verdicts(spec: &ClaimsSpec, gap: &Gap, rich: bool) -> Vec<(ClaimKind, Verdict)> {
        let (fa, fb) = (facts("A", 98, 40.18, 38_000.0), facts("B", 90, 40.05, 38_400.0));
        let zones = |front: f64| {
            let zone = format!("front_pa = {front}\nrear_pa = {}", 0.5 * front);
            sheet(&format!("product_warranty_years = {}\n[[clamp_zones]]\nname = \"outer\"\n{zone}", front / 200.0))
        };
        let (sa, sb) = if rich { (zones(3200.0), zones(4400.0)) } else { (sheet(""), sheet("")) };
        let side = |facts, sheet, n| Side {
            facts,
            sheet,
            longest_string: rich.then_some(n),
            cable_m: None,
            racking: rich.then_some(100.0 * f64::from(30 - n)),
            land_m2: None,
        };
        let line = |_| 0.5;
        let doubt = DoubtOf { line: &line, ageing: 1.0, pair: 1.7 };
        let claims = judge(spec, &side(&fa, &sa, 23), &side(&fb, &sb, 26), gap, &doubt);
        claims.into_iter().map(|c| (c.kind, c.verdict)).collect()
    }

    #[test]
    fn every_claim_receives_a_verdict() {
        let spec = ClaimsSpec { site_load_front_pa: Some(2900.0), ..all_kinds() };
        use Verdict::*;
        let got: Vec<Verdict> = verdicts(&spec, &gap(15.0, false), true).into_iter().map(|v| v.1).collect();
        let wanted = [
            DoesNotHold,      // efficiency, per kW
            CannotBeComputed, // many wires
            Holds,            // temperature
            Holds,            // weak light
            Holds,            // early loss
            WithinDoubt,      // ageing: 600 kWh of 893000, doubt 1 %
            Holds,            // frame
            CannotBeComputed, // cracks
            Holds,            // warranty
            Holds,            // low voltage
            Holds,            // fewer modules
            Holds,            // racking
            CannotBeComputed, // land
        ];
        assert_eq!(got, wanted);
        // Nothing known: whatever is not energy has to be asked for.
        let poor = verdicts(&all_kinds(), &gap(0.2, false), false);
        assert_eq!(poor.len(), 13);
        assert!(poor.contains(&(ClaimKind::Temperature, WithinDoubt)));
        assert!(poor.contains(&(ClaimKind::Frame, CannotBeComputed)));
        assert!(verdicts(&all_kinds(), &gap(0.0, true), false).contains(&(ClaimKind::WeakLight, DoesNotHold)));
        assert!(verdicts(&ClaimsSpec::default(), &gap(1.0, false), true).is_empty());
    }

    #[test]
    fn efficiency_is_true_by_area_and_not_by_kw() {
        let by_area = ClaimsSpec { efficiency_per: Some("m2".into()), ..all_kinds() };
        assert_eq!(verdicts(&by_area, &gap(15.0, false), true)[0].1, Verdict::Holds);
    }

    #[test]
    fn nine_in_ten_decide() {
        assert_eq!(verdict_of(1.29, 1.0), Verdict::Holds);
        assert_eq!(verdict_of(1.27, 1.0), Verdict::WithinDoubt);
        assert_eq!(verdict_of(-1.29, 1.0), Verdict::DoesNotHold);
        assert_eq!(verdict_of(0.0, 0.0), Verdict::DoesNotHold);
    }
}
