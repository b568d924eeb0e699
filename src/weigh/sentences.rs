//! One plain sentence for each line of a split.

use crate::weigh::doubt::round_to_doubt;
use crate::weigh::facts::Facts;
use crate::weigh::study::{Group, SplitPart};

/// Why `b` gives more or less than `a` by this group, in one sentence.
///
/// `u_kwh` is the doubt of the line and rules the digits; `years` is nothing for the first year.
/// ```
/// use yearlight::weigh::{Facts, Group, SplitPart, line_sentence};
/// let a = Facts { tag: "A".into(), gamma_pct_per_k: -0.35, ..Facts::default() };
/// let b = Facts { tag: "B".into(), gamma_pct_per_k: -0.29, ..Facts::default() };
/// let part = SplitPart { kwh: 41.3, ..SplitPart::default() };
/// let text = line_sentence(Group::Temperature, false, &a, &b, &part, 20.0, None);
/// assert_eq!(text, "Because its efficiency falls 0.06 %/K less, B gives 41 kWh more a year at this site.");
/// ```
pub fn line_sentence(
    group: Group,
    equal: bool,
    a: &Facts,
    b: &Facts,
    part: &SplitPart,
    u_kwh: f64,
    years: Option<u32>,
) -> String {
    if equal {
        return format!("{} and {} are alike in {}: no difference.", a.tag, b.tag, group.name());
    }
    let amount = amount(part.kwh, u_kwh);
    let over = years.map_or("a year".to_string(), |n| format!("over {n} years"));
    let because = because(group, a, b);
    if amount == "0" {
        return format!("{because}, which makes no difference here that could be seen.");
    }
    let more = if part.kwh > 0.0 { "more" } else { "less" };
    let season = season(&part.months_kwh).map(|s| format!(", {s}")).unwrap_or_default();
    format!("{because}, {} gives {amount} kWh {more} {over} at this site{season}.", b.tag)
}

/// The sentence of the AC limit or the export limit.
pub fn limit_sentence(limit: &str, a: &Facts, b: &Facts, part: &SplitPart, years: Option<u32>) -> String {
    let over = years.map_or("a year".to_string(), |n| format!("over {n} years"));
    let amount = amount(part.kwh, 0.05 * part.kwh.abs());
    if amount == "0" {
        return format!("The {limit} takes the same from {} and {}.", a.tag, b.tag);
    }
    let more = if part.kwh < 0.0 { "more" } else { "less" };
    format!("The {limit} takes {amount} kWh {more} {over} from {} than from {}.", b.tag, a.tag)
}

/// Without its sign, to the digits of its doubt, which is taken as 5 % at least; never finer than a kWh.
fn amount(kwh: f64, u_kwh: f64) -> String {
    round_to_doubt(kwh.abs(), u_kwh.max(0.05 * kwh.abs()).max(10.0)).text
}

fn because(group: Group, a: &Facts, b: &Facts) -> String {
    match group {
        Group::Nameplate => format!(
            "Because it has {} of {} instead of {} of {}",
            count(b.modules, "module"),
            power(b.kw),
            count(a.modules, "module"),
            power(a.kw)
        ),
        Group::LowLight => {
            let (x, y) = (100.0 * a.low_light_200, 100.0 * b.low_light_200);
            if (x - y).abs() < 0.05 {
                "Because its efficiency follows the light otherwise".to_string()
            } else {
                format!("Because it keeps {y:.1} % of its efficiency at 200 W/m2 instead of {x:.1} %")
            }
        }
        Group::Temperature => {
            let less = a.gamma_pct_per_k.abs() - b.gamma_pct_per_k.abs();
            if less.abs() < 5e-4 {
                "Because its cells run at another temperature".to_string()
            } else {
                let digits = if (less * 100.0 - (less * 100.0).round()).abs() < 1e-6 { 2 } else { 3 };
                let word = if less > 0.0 { "less" } else { "more" };
                format!("Because its efficiency falls {:.digits$} %/K {word}", less.abs())
            }
        }
        Group::Incidence => match (a.a_r, b.a_r) {
            (Some(x), Some(y)) if x != y => {
                let word = if y < x { "less" } else { "more" };
                format!("Because its glass reflects {word} light that comes in at a slant")
            }
            _ => "Because its glass reflects otherwise".to_string(),
        },
        Group::RearSpectrum => {
            if a.bifaciality == b.bifaciality {
                "Because it answers otherwise to the colour of the light".to_string()
            } else {
                format!("Because its rear turns {} of the light there to use instead of {}", rear(b), rear(a))
            }
        }
        Group::LightInduced => format!(
            "Because it loses {} % in its first light instead of {} %",
            b.light_induced_pct, a.light_induced_pct
        ),
        Group::Strings => match (a.strings, b.strings) {
            (x, y) if x > 0 && y > 0 && x != y => {
                format!("Because of its {} instead of {x}, their voltage, mismatch and cable", count(y, "string"))
            }
            _ => "Because of the voltage, mismatch and cable of its strings".to_string(),
        },
        Group::Inverter if a.inverter != b.inverter => {
            format!("Because of its inverter ({} instead of {})", b.inverter, a.inverter)
        }
        Group::Inverter => "Because of the conversion loss of its inverter".to_string(),
        Group::Plane if a.planes != b.planes => format!("Because it stands on {} instead of {}", b.planes, a.planes),
        Group::Plane => "Because its modules are spread otherwise over the planes".to_string(),
        Group::Slots => {
            format!("Because its {} stand in other slots and another shade", count(b.modules, "module"))
        }
        Group::Ageing => {
            format!("Because it ages by {} % a year instead of {} %", b.ageing_pct, a.ageing_pct)
        }
    }
}

fn rear(of: &Facts) -> String {
    if of.bifaciality > 0.0 { format!("{:.0} %", 100.0 * of.bifaciality) } else { "none".to_string() }
}

fn power(kw: f64) -> String {
    format!("{kw:.2} kW")
}

fn count(n: u32, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// In which four months most of it falls, in words; nothing when it is spread evenly or months disagree in sign.
fn season(months: &[f64; 12]) -> Option<String> {
    let whole: f64 = months.iter().sum();
    let gross: f64 = months.iter().map(|x| x.abs()).sum();
    if whole == 0.0 || whole.abs() < 0.9 * gross {
        return None;
    }
    let share = |start: usize| (0..4).map(|k| months[(start + k) % 12]).sum::<f64>() / whole;
    let best = (1..12).fold(0, |best, m| if share(m) > share(best) { m } else { best });
    let words = match share(best) {
        s if s >= 0.95 => "nearly all of it",
        s if s >= 0.85 => "nine tenths of it",
        s if s >= 0.775 => "four fifths of it",
        s if s >= 0.71 => "three quarters of it",
        s if s >= 0.62 => "two thirds of it",
        s if s >= 0.55 => "more than half of it",
        _ => return None,
    };
    Some(format!("{words} from {} to {}", MONTHS[best], MONTHS[(best + 3) % 12]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn pair() -> (Facts, Facts) {
        let a = Facts {
            tag: "A".into(),
            kw: 40.18,
            modules: 98,
            gamma_pct_per_k: -0.35,
            low_light_200: 0.96,
            light_induced_pct: 2.0,
            ageing_pct: 0.55,
            a_r: Some(0.17),
            strings: 5,
            inverter: "1 x K33".into(),
            planes: "south wing".into(),
            ..Facts::default()
        };
        let b = Facts {
            tag: "B".into(),
            kw: 40.05,
            modules: 90,
            gamma_pct_per_k: -0.29,
            low_light_200: 0.976,
            light_induced_pct: 0.5,
            ageing_pct: 0.4,
            a_r: Some(0.15),
            strings: 4,
            bifaciality: 0.78,
            ..a.clone()
        };
        (a, Facts { tag: "B".into(), ..b })
    }

    #[test]
    fn summer_is_named_where_the_gain_falls() {
        let (a, b) = pair();
        let mut months_kwh = [1.75; 12];
        months_kwh[4..8].fill(6.75);
        let part = SplitPart { kwh: 41.0, months_kwh, ..SplitPart::default() };
        let text = line_sentence(Group::Temperature, false, &a, &b, &part, 4.0, None);
        let wanted = "Because its efficiency falls 0.06 %/K less, B gives 41 kWh more a year at this site, two thirds of it \
                      from May to August.";
        assert_eq!(text, wanted);
    }

    #[test]
    fn every_group_has_its_words() {
        let (a, b) = pair();
        let part = SplitPart { kwh: -1234.0, ..SplitPart::default() };
        for group in Group::ALL {
            let text = line_sentence(group, false, &a, &b, &part, 100.0, Some(25));
            assert!(text.starts_with("Because ") && text.contains("B gives 1230 kWh less over 25 years"), "{text}");
            assert!(line_sentence(group, true, &a, &b, &part, 1.0, None).ends_with("no difference."));
        }
        let text = limit_sentence("AC limit", &a, &b, &SplitPart { kwh: -80.0, ..SplitPart::default() }, None);
        assert_eq!(text, "The AC limit takes 80 kWh more a year from B than from A.");
    }

    proptest! {
        #[test]
        fn a_sentence_never_breaks(months in prop::array::uniform12(-1e5..1e5_f64), u in 0.0..1e4_f64) {
            let (a, b) = pair();
            let part = SplitPart { kwh: months.iter().sum(), months_kwh: months, ..SplitPart::default() };
            for group in Group::ALL {
                let text = line_sentence(group, false, &b, &a, &part, u, None);
                prop_assert!(text.ends_with('.') && !text.contains("NaN"));
            }
        }
    }
}
