//! The first metered months against the model: ratio with its doubt, availability split off, and the smallest fault
//! that the readings could reveal by now.
//!
//! Source of the idea: IEC TS 61724-3 (energy evaluation against a model on measured weather; from memory).

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Datelike, Duration, NaiveDate, NaiveDateTime};
use serde::Serialize;

use crate::units::{shown, shown_list};
use crate::weather::{Label, WeatherYear};
use crate::weigh::normal::quantile;

/// One-sided confidence of "detectable", and of either end of the band that is printed (which then holds 90 %).
pub const CONFIDENCE: f64 = 0.95;
/// A reading at or below this share of what the model expects counts as no output.
pub const DEAD_SHARE: f64 = 0.005;

/// What is wrong with a table of readings.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{file}:{line}: {found}; expected {expected}.\n  {mend}")]
pub struct MeterError {
    /// The file.
    pub file: String,
    /// Line, from 1.
    pub line: u64,
    /// What was found.
    pub found: String,
    /// What is expected.
    pub expected: String,
    /// How to mend it.
    pub mend: String,
}

/// How often the meter was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rhythm {
    /// Every hour or more often; minutes between readings.
    Minutes(u32),
    /// Once a day.
    Days,
    /// Once a month.
    Months,
}

/// Energy of one interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Line in the file.
    pub line: u64,
    /// Begin, local standard time.
    pub from: NaiveDateTime,
    /// End.
    pub to: NaiveDateTime,
    /// Energy, kWh.
    pub kwh: f64,
}

/// A table of readings.
#[derive(Debug, Clone, PartialEq)]
pub struct Readings {
    /// Name of the file.
    pub file: String,
    /// How often.
    pub rhythm: Rhythm,
    /// In time order; intervals without a value are left out.
    pub readings: Vec<Reading>,
}

#[derive(Clone, Copy, PartialEq)]
enum Stamp {
    Month(NaiveDate),
    Day(NaiveDate),
    Time(NaiveDateTime),
}

impl Stamp {
    fn parse(text: &str) -> Option<Stamp> {
        // The parser below would pass over blanks and signs.
        let plain = |(i, c): (usize, u8)| match i {
            4 | 7 => c == b'-',
            10 => c == b'T' || c == b' ',
            13 | 16 => c == b':',
            _ => c.is_ascii_digit(),
        };
        if !text.bytes().enumerate().all(plain) {
            return None;
        }
        let day = |t: &str| NaiveDate::parse_from_str(t, "%Y-%m-%d").ok();
        let time = text.replacen(' ', "T", 1);
        match text.len() {
            7 => day(&format!("{text}-01")).map(Stamp::Month),
            10 => day(text).map(Stamp::Day),
            16 => NaiveDateTime::parse_from_str(&time, "%Y-%m-%dT%H:%M").ok().map(Stamp::Time),
            19 => NaiveDateTime::parse_from_str(&time, "%Y-%m-%dT%H:%M:%S").ok().map(Stamp::Time),
            _ => None,
        }
    }

    fn at(self) -> NaiveDateTime {
        match self {
            Stamp::Month(d) | Stamp::Day(d) => d.and_time(chrono::NaiveTime::MIN),
            Stamp::Time(t) => t,
        }
    }
}

/// Reads a CSV with the columns `time` (or `month`) and `kwh`; `#` begins a comment, an empty cell is no reading.
///
/// `time`: `2026-03-01T13:00` (one value every hour or more often, `label` says which end of the interval it names),
/// `2026-03-01` (a day) or `2026-03` (a month), in local standard time. `most_kw`: the most that the plant can give.
///
/// # Errors
/// [`MeterError`] with the line: unknown columns, times and numbers that do not read, are doubled or out of order,
/// intervals of changing length, more energy than the plant can give, negative energy.
pub fn read(file: &str, text: &str, label: Label, most_kw: f64) -> Result<Readings, MeterError> {
    let fault = |line: u64, found: String, expected: &str, mend: &str| MeterError {
        file: file.to_string(),
        line,
        found,
        expected: expected.to_string(),
        mend: mend.to_string(),
    };
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader =
        csv::ReaderBuilder::new().trim(csv::Trim::All).comment(Some(b'#')).flexible(true).from_reader(text.as_bytes());
    let broken = |e: csv::Error| {
        let line = e.position().map_or(1, csv::Position::line);
        fault(
            line,
            "this does not read as CSV".into(),
            "a header and one reading a row",
            "Check the quotes of this row.",
        )
    };
    let header = reader.headers().map_err(broken)?.clone();
    let find = |names: &[&str]| header.iter().position(|h| names.iter().any(|n| h.eq_ignore_ascii_case(n)));
    let head_line = header.position().map_or(1, csv::Position::line);
    let (Some(time), Some(kwh)) = (find(&["time", "month"]), find(&["kwh"])) else {
        let found = format!("the header has the columns {}", shown_list(&header));
        return Err(fault(
            head_line,
            found,
            "the columns time (or month) and kwh",
            "Rename the columns; kwh is the energy of each interval, not the state of the counter.",
        ));
    };
    let mut rows: Vec<(u64, Stamp, Option<f64>)> = Vec::new();
    for row in reader.records() {
        let row = row.map_err(broken)?;
        let line = row.position().map_or(0, csv::Position::line);
        let (cell, value) = (row.get(time).unwrap_or(""), row.get(kwh).unwrap_or(""));
        let Some(stamp) = Stamp::parse(cell) else {
            return Err(fault(
                line,
                format!("time is \"{}\"", shown(cell)),
                "2026-03-01T13:00, 2026-03-01 or 2026-03, in local standard time without a zone",
                "Write the time so; shift daylight saving time back by an hour.",
            ));
        };
        let number = match value {
            "" => None,
            text => match text.parse::<f64>() {
                Ok(x) if x.is_finite() => Some(x),
                _ => {
                    return Err(fault(
                        line,
                        format!("kwh is \"{}\"", shown(text)),
                        "a number with a decimal point, or an empty cell for a missing reading",
                        "Write 12.5, without unit and without marks between thousands.",
                    ));
                }
            },
        };
        if let Some((_, before, _)) = rows.last() {
            if std::mem::discriminant(before) != std::mem::discriminant(&stamp) {
                return Err(fault(
                    line,
                    format!("time is \"{}\", in another form than in the rows above", shown(cell)),
                    "one rhythm in the whole file",
                    "Give hours, days or months, each in a file of its own.",
                ));
            }
            if stamp.at() <= before.at() {
                return Err(fault(
                    line,
                    format!("time {} comes after {}", shown(cell), before.at().format("%Y-%m-%dT%H:%M")),
                    "rising times, each once",
                    "Sort the rows and remove doubles; an hour that comes twice in autumn is daylight saving time.",
                ));
            }
        }
        rows.push((line, stamp, number));
    }
    let Some((_, first, _)) = rows.first() else {
        return Err(fault(head_line, "there is no row".into(), "one reading or more", "Fill the table."));
    };
    let steps = rows.windows(2).map(|w| (w[1].0, (w[1].1.at() - w[0].1.at()).num_minutes()));
    let rhythm = match first {
        Stamp::Month(_) => Rhythm::Months,
        Stamp::Day(_) => Rhythm::Days,
        Stamp::Time(_) => match steps.clone().map(|s| s.1).min().unwrap_or(60) {
            1440 => Rhythm::Days,
            step if (1..=60).contains(&step) && 60 % step == 0 => {
                if let Some((line, odd)) = steps.clone().find(|s| s.1 % step != 0) {
                    return Err(fault(
                        line,
                        format!("this row comes {odd} minutes after the one before"),
                        &format!("a multiple of the {step} minutes of the file"),
                        "Leave cells empty where readings are missing, and keep the rhythm.",
                    ));
                }
                Rhythm::Minutes(step as u32)
            }
            step => {
                let line = steps.clone().find(|s| s.1 == step).map_or(head_line, |s| s.0);
                return Err(fault(
                    line,
                    format!("the readings are {step} minutes apart"),
                    "an hour, a part of it that divides it evenly, a day or a month",
                    "Sum the readings to hours, days or months.",
                ));
            }
        },
    };
    let mut readings = Vec::with_capacity(rows.len());
    for (line, stamp, number) in rows {
        let Some(kwh) = number else { continue };
        let at = stamp.at();
        let (from, to) = match rhythm {
            Rhythm::Months => (at, next_month(at.date()).and_time(chrono::NaiveTime::MIN)),
            Rhythm::Days => {
                let from = at.date().and_time(chrono::NaiveTime::MIN);
                (from, from + Duration::days(1))
            }
            Rhythm::Minutes(step) => {
                let step = Duration::minutes(i64::from(step));
                let from = match label {
                    Label::Beginning => at,
                    Label::Ending => at - step,
                    Label::Middle => at - step / 2,
                };
                (from, from + step)
            }
        };
        let hours = (to - from).num_minutes() as f64 / 60.0;
        let most = most_kw * hours;
        if kwh > most * 1.02 {
            return Err(fault(
                line,
                format!("kwh is {kwh}, and the plant can give {most:.1} kWh in this time"),
                "the energy of the interval in kWh",
                "Wh taken for kWh, a running counter instead of differences, or the meter of another plant?",
            ));
        }
        if kwh < -0.02 * most {
            return Err(fault(
                line,
                format!("kwh is {kwh}"),
                "0 or more (the small draw at night aside)",
                "Use the meter of what the plant gives, not the balance with the house.",
            ));
        }
        readings.push(Reading { line, from, to, kwh });
    }
    if readings.is_empty() {
        return Err(fault(head_line, "no row has a value".into(), "one reading or more", "Fill the column kwh."));
    }
    Ok(Readings { file: file.to_string(), rhythm, readings })
}

fn next_month(day: NaiveDate) -> NaiveDate {
    let (year, month) = if day.month() == 12 { (day.year() + 1, 1) } else { (day.year(), day.month() + 1) };
    NaiveDate::from_ymd_opt(year, month, 1).unwrap_or(day)
}

/// What the model expects while the plant is in service, by calendar day.
#[derive(Debug, Clone, PartialEq)]
pub struct Expected {
    /// Steps of a day, all of the same length.
    pub steps_per_day: usize,
    /// kWh of each step.
    pub days: BTreeMap<NaiveDate, Vec<f64>>,
    /// True when the weather is a typical year's and not that of the readings.
    pub typical: bool,
}

impl Expected {
    /// Energy from one time to another, kWh; `None` when a day is missing. Times lie on the edges of steps.
    fn between(&self, from: NaiveDateTime, to: NaiveDateTime) -> Option<f64> {
        let step = 1440 / self.steps_per_day as i64;
        let mut at = from;
        let mut sum = 0.0;
        while at < to {
            let day = self.days.get(&at.date())?;
            let minute = (at - at.date().and_time(chrono::NaiveTime::MIN)).num_minutes();
            sum += day.get((minute / step) as usize)?;
            at += Duration::minutes(step);
        }
        Some(sum)
    }
}

/// A span of time with both energies.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Pair {
    from: NaiveDateTime,
    metered: f64,
    expected: f64,
}

/// One month of the comparison.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeterMonth {
    /// Year and month, `2026-03`.
    pub month: String,
    /// Metered, kWh.
    pub metered_kwh: f64,
    /// Expected by the model in the same hours or days, kWh.
    pub expected_kwh: f64,
    /// Expected in the time without output, kWh.
    pub lost_kwh: f64,
    /// Metered over expected while there was output.
    pub ratio: Option<f64>,
    /// Standard uncertainty of the ratio, scatter and model together, percent of 1.
    pub u_pct: Option<f64>,
    /// Why the month is flagged.
    pub flags: Vec<String>,
}

/// The metered months against the model.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeterStudy {
    /// Spans that were compared.
    pub compared: usize,
    /// First day compared, `2026-03-01`.
    pub from: String,
    /// Day on which the last span begins.
    pub to: String,
    /// Metered, kWh.
    pub metered_kwh: f64,
    /// Expected by the model while in service, kWh.
    pub expected_kwh: f64,
    /// Expected in the time without output, kWh.
    pub lost_kwh: f64,
    /// Spans without output while the model expects some.
    pub dead: usize,
    /// Unit of those spans: hours or days; none for monthly readings, which cannot tell.
    pub dead_unit: Option<&'static str>,
    /// Share of the expected energy that fell into time with output; `None` when the readings cannot tell.
    pub availability: Option<f64>,
    /// Metered over expected, all time.
    pub ratio_all: f64,
    /// Metered over expected while there was output.
    pub ratio: f64,
    /// Standard uncertainty of the ratio from the scatter of the readings alone, percent of 1.
    pub u_scatter_pct: Option<f64>,
    /// Standard uncertainty of model, sky and rating, percent.
    pub u_model_pct: f64,
    /// Both together; the model's alone when the scatter is unknown.
    pub u_pct: f64,
    /// The band that holds the true ratio in nine cases of ten.
    pub band: [f64; 2],
    /// Scatter of one day (or month) about the ratio, percent.
    pub u_one_pct: Option<f64>,
    /// How many of them.
    pub n: usize,
    /// The same, less what follows from the one before.
    pub n_free: f64,
    /// Smallest later fault that these readings would reveal against their own level, percent: `z u / sqrt(n)`.
    pub detectable_change_pct: Option<f64>,
    /// Smallest fault present from the start that they would reveal against the model, percent.
    pub detectable_pct: f64,
    /// Months in order.
    pub months: Vec<MeterMonth>,
    /// What the reader should know.
    pub notes: Vec<String>,
}

/// Smallest fault that `n` independent readings reveal, in the unit of `u`: `z u / sqrt(n)`.
///
/// - `u`: standard deviation of one reading about its expectation (white noise)
/// - `confidence`: one-sided, 0.5..1; z is its normal quantile
/// ```
/// // z(0.95) = 1.6449: 100 days that scatter by 10 % reveal 1.6 %.
/// assert!((yearlight::weigh::meter::detectable(10.0, 100.0, 0.95) - 1.6449).abs() < 1e-4);
/// ```
pub fn detectable(u: f64, n: f64, confidence: f64) -> f64 {
    if n > 0.0 { quantile(confidence) * u / n.sqrt() } else { f64::INFINITY }
}

/// Uncertainties of a comparison, percent, and sizes of the plant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeterDoubt {
    /// Model, rating and sky, of any length of time.
    pub u_model_pct: f64,
    /// One year against the long run; only where the weather is a typical year's.
    pub year_to_year_pct: f64,
    /// Installed power, kW.
    pub p_stc_kw: f64,
    /// Below this share of installed power in an hour, nothing is called dead.
    pub dead_from: f64,
}

/// Compares readings with the model; `None` when no span is in both.
pub fn compare(readings: &Readings, expected: &Expected, doubt: &MeterDoubt) -> Option<MeterStudy> {
    let mut notes = Vec::new();
    let mut pairs = pairs(readings, expected, &mut notes);
    let by_minutes = matches!(readings.rhythm, Rhythm::Minutes(_));
    if expected.typical && by_minutes {
        pairs = by_day(&pairs);
    }
    let hourly = by_minutes && !expected.typical;
    let monthly = readings.rhythm == Rhythm::Months;
    // Without output while the model expects some.
    let hours = if hourly { span_h(readings, expected) } else { 10.0 };
    // A typical year's day may be dull by chance; there a whole day without output is always counted.
    let least = if expected.typical { 0.0 } else { doubt.p_stc_kw * doubt.dead_from * hours };
    let is_dead = |p: &Pair| !monthly && p.expected > least && p.metered <= DEAD_SHARE * p.expected;
    let (from, to) = (pairs.first()?.from.date(), pairs.last()?.from.date());
    let sum = |f: &dyn Fn(&Pair) -> f64| pairs.iter().map(f).sum::<f64>();
    let metered_kwh = sum(&|p| p.metered);
    let expected_kwh = sum(&|p| p.expected);
    let lost_kwh = sum(&|p| if is_dead(p) { p.expected } else { 0.0 });
    let live: Vec<Pair> = pairs.iter().copied().filter(|p| !is_dead(p)).collect();
    let live_expected: f64 = live.iter().map(|p| p.expected).sum();
    if expected_kwh <= 0.0 {
        return None;
    }
    let live_metered: f64 = live.iter().map(|p| p.metered).sum();
    let ratio = if live_expected > 0.0 { live_metered / live_expected } else { 0.0 };

    // Scatter of days (months) about the ratio.
    let units = if hourly { by_day(&live) } else { live.clone() };
    let units: Vec<Pair> = units.into_iter().filter(|p| p.expected > 0.0).collect();
    let n = units.len();
    let scatter = scatter(&units, ratio);
    let u_one_pct = scatter.map(|s| 100.0 * s.u_one);
    let n_free = scatter.map_or(n as f64, |s| s.n_free);
    // A typical year's days say nothing about this year's: there the doubt of a year, brought to this length of time.
    let months_long = f64::max((to - from).num_days() as f64 + if monthly { 30.0 } else { 1.0 }, 1.0) / 30.44;
    let year_part = doubt.year_to_year_pct * (12.0 / months_long).max(1.0).sqrt();
    let u_model_pct = doubt.u_model_pct.hypot(if expected.typical { year_part } else { 0.0 });
    let u_scatter_pct = u_one_pct.filter(|_| !expected.typical).map(|u| u / n_free.sqrt());
    let u_pct = u_model_pct.hypot(u_scatter_pct.unwrap_or(0.0));
    let z = quantile(CONFIDENCE);
    if expected.typical {
        notes.push(format!(
            "Compared with a typical year: no year is like it. The doubt of one year, {:.1} %, counts as {year_part:.1} % \
             over {months_long:.1} months (months taken as independent). Give the measured weather with --weather to \
             narrow the band.",
            doubt.year_to_year_pct
        ));
    }
    if !expected.typical && n_free < 0.9 * n as f64 {
        notes.push(format!(
            "Days follow the days before them: {n} of them tell as much as {n_free:.0} independent ones."
        ));
    }
    if monthly {
        notes.push(
            "Monthly readings cannot tell time without output from low output: availability is not split off.".into(),
        );
    }

    let months =
        months(&pairs, &is_dead, ratio, u_one_pct.filter(|_| !expected.typical), doubt, expected.typical, hourly);
    Some(MeterStudy {
        compared: pairs.len(),
        from: from.to_string(),
        to: to.to_string(),
        metered_kwh,
        expected_kwh,
        lost_kwh,
        dead: pairs.iter().filter(|p| is_dead(p)).count(),
        dead_unit: if monthly { None } else { Some(if hourly { "hours" } else { "days" }) },
        availability: (!monthly).then_some(1.0 - lost_kwh / expected_kwh),
        ratio_all: metered_kwh / expected_kwh,
        ratio,
        u_scatter_pct,
        u_model_pct,
        u_pct,
        band: [ratio - z * u_pct / 100.0, ratio + z * u_pct / 100.0],
        u_one_pct,
        n,
        n_free,
        detectable_change_pct: u_one_pct.filter(|_| !expected.typical).map(|u| detectable(u, n_free, CONFIDENCE)),
        detectable_pct: z * u_pct,
        months,
        notes,
    })
}

fn span_h(readings: &Readings, expected: &Expected) -> f64 {
    let step = 1440 / expected.steps_per_day.max(1) as u32;
    match readings.rhythm {
        Rhythm::Minutes(m) => f64::from(m.max(step)) / 60.0,
        _ => 24.0,
    }
}

/// Readings and model over the same spans: hours of readings are joined to the model's steps where these are longer.
fn pairs(readings: &Readings, expected: &Expected, notes: &mut Vec<String>) -> Vec<Pair> {
    let step = 1440 / expected.steps_per_day.max(1) as i64;
    let mut pairs = Vec::new();
    let mut outside = 0_usize;
    match readings.rhythm {
        Rhythm::Minutes(minutes) => {
            let minutes = i64::from(minutes);
            let width = minutes.max(step);
            let mut bins: BTreeMap<NaiveDateTime, (i64, f64)> = BTreeMap::new();
            for r in &readings.readings {
                let midnight = r.from.date().and_time(chrono::NaiveTime::MIN);
                let at = midnight + Duration::minutes((r.from - midnight).num_minutes() / width * width);
                let bin = bins.entry(at).or_default();
                *bin = (bin.0 + minutes, bin.1 + r.kwh);
            }
            for (from, (covered, metered)) in bins {
                let whole = covered == width;
                match expected.between(from, from + Duration::minutes(width)).filter(|_| whole) {
                    Some(expected) => pairs.push(Pair { from, metered, expected }),
                    None => outside += 1,
                }
            }
        }
        Rhythm::Days | Rhythm::Months => {
            for r in &readings.readings {
                match expected.between(r.from, r.to) {
                    Some(expected) => pairs.push(Pair { from: r.from, metered: r.kwh, expected }),
                    None => outside += 1,
                }
            }
        }
    }
    if outside > 0 {
        notes
            .push(format!("{outside} of the readings are not covered by the weather, or not whole, and are left out."));
    }
    pairs
}

fn by_day(pairs: &[Pair]) -> Vec<Pair> {
    let mut days: BTreeMap<NaiveDate, (f64, f64)> = BTreeMap::new();
    for p in pairs {
        let day = days.entry(p.from.date()).or_default();
        *day = (day.0 + p.metered, day.1 + p.expected);
    }
    let pair = |(day, (metered, expected)): (NaiveDate, (f64, f64))| Pair {
        from: day.and_time(chrono::NaiveTime::MIN),
        metered,
        expected,
    };
    days.into_iter().map(pair).collect()
}

#[derive(Debug, Clone, Copy)]
struct Scatter {
    u_one: f64,
    n_free: f64,
}

/// Scatter of a ratio of sums: `u_R^2 = n/(n-1) sum of (M_i - R E_i)^2 / (sum of E_i)^2`, and for one unit
/// `u_one = u_R sqrt(n)`.
///
/// Where neighbours resemble each other (lag-1 correlation r above 2/sqrt(n)), n counts as `n (1 - r)/(1 + r)`.
/// Sources: Cochran, W. G., Sampling Techniques (1977), 2.11, variance of a ratio; von Storch, H., Zwiers, F. W.,
/// Statistical Analysis in Climate Research (1999), 6.6.8, equivalent sample size (both from memory).
fn scatter(units: &[Pair], ratio: f64) -> Option<Scatter> {
    let n = units.len() as f64;
    if units.len() < 3 {
        return None;
    }
    let rest: Vec<f64> = units.iter().map(|p| p.metered - ratio * p.expected).collect();
    let total: f64 = units.iter().map(|p| p.expected).sum();
    let squares: f64 = rest.iter().map(|e| e * e).sum();
    let u_one = (n / (n - 1.0) * squares).sqrt() / total * n.sqrt();
    let mut n_free = n;
    if squares > 0.0 {
        let r = rest.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / squares;
        if r > 2.0 / n.sqrt() {
            n_free = (n * (1.0 - r) / (1.0 + r)).max(2.0);
        }
    }
    Some(Scatter { u_one, n_free })
}

fn months(
    pairs: &[Pair],
    is_dead: &dyn Fn(&Pair) -> bool,
    ratio: f64,
    u_one_pct: Option<f64>,
    doubt: &MeterDoubt,
    typical: bool,
    hourly: bool,
) -> Vec<MeterMonth> {
    let mut groups: BTreeMap<(i32, u32), Vec<Pair>> = BTreeMap::new();
    for p in pairs {
        groups.entry((p.from.year(), p.from.month())).or_default().push(*p);
    }
    // One chance in twenty that any month is flagged by chance, whatever their number.
    let z = quantile(1.0 - (1.0 - CONFIDENCE) / (2.0 * groups.len().max(1) as f64));
    let count = groups.len();
    let mut out = Vec::with_capacity(count);
    for ((year, month), pairs) in groups {
        let sum = |f: &dyn Fn(&Pair) -> f64| pairs.iter().map(f).sum::<f64>();
        let lost_kwh = sum(&|p| if is_dead(p) { p.expected } else { 0.0 });
        let (metered_kwh, expected_kwh) = (sum(&|p| p.metered), sum(&|p| p.expected));
        let live = expected_kwh - lost_kwh;
        let live_metered = sum(&|p| if is_dead(p) { 0.0 } else { p.metered });
        let here = (live > 0.0).then(|| live_metered / live);
        let units =
            if hourly { pairs.iter().map(|p| p.from.date()).collect::<BTreeSet<_>>().len() } else { pairs.len() };
        let u_scatter = u_one_pct.map(|u| u / (units.max(1) as f64).sqrt());
        let u_year = if typical { doubt.year_to_year_pct * 12f64.sqrt() } else { 0.0 };
        let u_pct = doubt.u_model_pct.hypot(u_year).hypot(u_scatter.unwrap_or(0.0));
        let mut flags = Vec::new();
        if let Some(here) = here {
            let off = 100.0 * (here - 1.0);
            if off.abs() > z * u_pct {
                flags.push(format!("{off:+.1} % off the model, beyond its doubt of {:.1} %", z * u_pct));
            }
            if let Some(u) = u_scatter.filter(|_| count > 1) {
                let off = 100.0 * (here - ratio);
                if off.abs() > z * u {
                    flags.push(format!("{off:+.1} points off the other months, beyond the scatter of {:.1}", z * u));
                }
            }
        }
        if expected_kwh > 0.0 && lost_kwh > 0.02 * expected_kwh {
            flags.push(format!("{:.1} % of the energy lost without output", 100.0 * lost_kwh / expected_kwh));
        }
        out.push(MeterMonth {
            month: format!("{year:04}-{month:02}"),
            metered_kwh,
            expected_kwh,
            lost_kwh,
            ratio: here,
            u_pct: here.map(|_| u_pct),
            flags,
        });
    }
    out
}

/// A typical year's days, spread over the calendar days of the readings.
pub fn on_calendar(typical: &WeatherYear, kwh: &[f64], readings: &Readings) -> Expected {
    let per_day = typical.steps_per_day;
    let mut by_date: BTreeMap<(u32, u32), Vec<f64>> = BTreeMap::new();
    for (d, day) in typical.days.iter().enumerate() {
        by_date.insert((day.month(), day.day()), kwh[d * per_day..(d + 1) * per_day].to_vec());
    }
    if let Some(day) = by_date.get(&(2, 28)).cloned() {
        by_date.entry((2, 29)).or_insert(day);
    }
    let mut days = BTreeMap::new();
    for r in &readings.readings {
        let mut day = r.from.date();
        while day.and_time(chrono::NaiveTime::MIN) < r.to {
            if let Some(steps) = by_date.get(&(day.month(), day.day())) {
                days.insert(day, steps.clone());
            }
            day += Duration::days(1);
        }
    }
    Expected { steps_per_day: per_day, days, typical: true }
}

/// A measured stretch of days made whole years: days that were not measured are the typical year's, on the steps of the
/// measured file. One year for each calendar year, with the measured days; only these are to be compared.
///
/// Columns that only the typical year has are left out; ground reflectance that only the measured file has is 0.2 on
/// the other days. `None` when the steps of one do not divide those of the other.
pub fn completed(measured: &WeatherYear, typical: &WeatherYear) -> Option<Vec<(WeatherYear, Vec<NaiveDate>)>> {
    let (fine, coarse) = (measured.steps_per_day, typical.steps_per_day);
    if fine == 0 || coarse == 0 || !(fine.is_multiple_of(coarse) || coarse.is_multiple_of(fine)) {
        return None;
    }
    let years: BTreeSet<i32> = measured.days.iter().map(|d| d.year()).collect();
    let mut out = Vec::with_capacity(years.len());
    for year in years {
        let rows: BTreeMap<(u32, u32), usize> = measured
            .days
            .iter()
            .enumerate()
            .filter(|(_, d)| d.year() == year)
            .map(|(i, d)| ((d.month(), d.day()), i))
            .collect();
        let others: BTreeMap<(u32, u32), usize> =
            typical.days.iter().enumerate().map(|(i, d)| ((d.month(), d.day()), i)).collect();
        let dates: BTreeSet<(u32, u32)> = rows.keys().chain(others.keys()).copied().collect();
        let mut days = Vec::with_capacity(dates.len());
        let mut measured_days = Vec::with_capacity(rows.len());
        for date in &dates {
            match (rows.get(date), others.get(date)) {
                (Some(i), _) => {
                    days.push(measured.days[*i]);
                    measured_days.push(measured.days[*i]);
                }
                (None, Some(i)) => days.push(typical.days[*i]),
                (None, None) => {}
            }
        }
        let column = |have: &[f64], rest: Option<&[f64]>, fill: f64| -> Vec<f64> {
            let mut column = Vec::with_capacity(dates.len() * fine);
            for date in &dates {
                match (rows.get(date), rest, others.get(date)) {
                    (Some(i), _, _) => column.extend_from_slice(&have[i * fine..(i + 1) * fine]),
                    (None, Some(rest), Some(i)) => {
                        column.extend(resampled(&rest[i * coarse..(i + 1) * coarse], fine));
                    }
                    _ => column.extend(std::iter::repeat_n(fill, fine)),
                }
            }
            column
        };
        let whole = WeatherYear {
            place: measured.place.clone(),
            days,
            steps_per_day: fine,
            ghi: column(&measured.ghi, Some(&typical.ghi), 0.0),
            dni: column(&measured.dni, Some(&typical.dni), 0.0),
            dhi: column(&measured.dhi, Some(&typical.dhi), 0.0),
            t_amb: column(&measured.t_amb, Some(&typical.t_amb), 0.0),
            wind: column(&measured.wind, Some(&typical.wind), 0.0),
            wind_height_m: measured.wind_height_m,
            albedo: measured.albedo.as_ref().map(|a| column(a, typical.albedo.as_deref(), 0.2)),
            pressure: None,
            humidity_pct: None,
            precipitable_water_cm: None,
            rain_mm: None,
            snow_depth_cm: None,
            provenance: measured.provenance.clone(),
        };
        out.push((whole, measured_days));
    }
    Some(out)
}

/// Means over the steps of a day, on another number of steps.
pub fn resampled(day: &[f64], steps: usize) -> Vec<f64> {
    let n = day.len();
    if n == 0 || steps == 0 {
        return vec![0.0; steps];
    }
    if steps.is_multiple_of(n) {
        return (0..steps).map(|i| day[i / (steps / n)]).collect();
    }
    let each = (n / steps).max(1);
    (0..steps).map(|i| day[i * each..(i + 1) * each].iter().sum::<f64>() / each as f64).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weigh::normal::Draws;
    use proptest::prelude::*;

    fn day(d: i64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 1, 1).unwrap() + Duration::days(d)
    }

    /// A made model: 8 bright hours a day, 1 to 4 kW.
    fn model(days: i64) -> Expected {
        let of =
            |d: i64| (0..24).map(|h| if (8..16).contains(&h) { 1.0 + ((d * 7) % 4) as f64 } else { 0.0 }).collect();
        Expected { steps_per_day: 24, days: (0..days).map(|d| (day(d), of(d))).collect(), typical: false }
    }

    fn csv(model: &Expected, mut kwh: impl FnMut(NaiveDate, usize, f64) -> f64) -> String {
        let mut text = String::from("# a made meter\ntime,kwh\n");
        for (day, steps) in &model.days {
            for (h, e) in steps.iter().enumerate() {
                text += &format!("{day}T{h:02}:00,{}\n", kwh(*day, h, *e));
            }
        }
        text
    }

    const DOUBT: MeterDoubt = MeterDoubt { u_model_pct: 4.0, year_to_year_pct: 3.9, p_stc_kw: 5.0, dead_from: 0.05 };

    #[test]
    fn a_planted_fault_of_3_percent_is_found_with_its_band() {
        let model = model(120);
        let mut draws = Draws::seeded(7);
        let mut today = (day(-1), 0.0);
        let text = csv(&model, |d, h, e| {
            if today.0 != d {
                today = (d, 0.02 * draws.normal());
            }
            // Out of service on two days from noon on.
            if (d == day(30) || d == day(31)) && h >= 12 { 0.0 } else { e * 0.97 * (1.0 + today.1) }
        });
        let readings = read("m.csv", &text, Label::Beginning, 6.0).unwrap();
        let s = compare(&readings, &model, &DOUBT).unwrap();
        let u = s.u_scatter_pct.unwrap();
        assert!((0.1..0.4).contains(&u), "2 % of a day over 120 days: {u}");
        assert!((100.0 * s.ratio - 97.0).abs() < 3.0 * u, "{s:?}");
        assert!(100.0 * (1.0 - s.ratio) > s.detectable_change_pct.unwrap());
        assert!(s.band[0] < 0.97 && 0.97 < s.band[1] && (s.u_pct - u.hypot(4.0)).abs() < 1e-12);
        assert_eq!((s.dead, s.dead_unit), (8, Some("hours")));
        assert!((s.lost_kwh + s.expected_kwh * s.availability.unwrap() - s.expected_kwh).abs() < 1e-9);
        assert!(s.ratio_all < s.ratio && s.months.iter().map(|m| m.expected_kwh).sum::<f64>() - s.expected_kwh < 1e-9);
    }

    #[test]
    fn a_month_that_falls_behind_is_flagged_and_no_other() {
        let model = model(120);
        let mut draws = Draws::seeded(3);
        let text = csv(&model, |d, _, e| e * if d.month() == 3 { 0.93 } else { 1.0 } * (1.0 + 0.05 * draws.normal()));
        let readings = read("m.csv", &text, Label::Beginning, 9.0).unwrap();
        let s = compare(&readings, &model, &DOUBT).unwrap();
        let flagged: Vec<&str> = s
            .months
            .iter()
            .filter(|m| m.flags.iter().any(|f| f.contains("other months")))
            .map(|m| m.month.as_str())
            .collect();
        assert!(flagged.contains(&"2026-03"), "{s:?}");
        assert!(s.months.iter().all(|m| m.flags.iter().all(|f| !f.contains("off the model"))), "4 % of doubt hide 7 %");
    }

    #[test]
    fn the_closed_form_for_white_noise() {
        // z(0.95) = 1.644854 (normal tables); sigma 10 % over 25 readings: 3.2897 %.
        assert!((detectable(10.0, 25.0, 0.95) - 3.289_707).abs() < 1e-5);
        // Days that scatter by sigma about equal expectations: the study gives the same, within what n days can know.
        let flat =
            Expected { days: (0..400).map(|d| (day(d), vec![10.0])).collect(), steps_per_day: 1, typical: false };
        let mut draws = Draws::seeded(11);
        let mut text = String::from("time,kwh\n");
        flat.days.keys().for_each(|d| text += &format!("{d},{}\n", 10.0 * (1.0 + 0.08 * draws.normal())));
        let s = compare(&read("m.csv", &text, Label::Beginning, 2.0).unwrap(), &flat, &DOUBT).unwrap();
        let exact = detectable(8.0, 400.0, 0.95);
        assert_eq!(s.n_free, 400.0);
        assert!((s.detectable_change_pct.unwrap() / exact - 1.0).abs() < 0.1, "{s:?} {exact}");
    }

    #[test]
    fn the_same_energies_by_hours_days_and_months_agree() {
        let model = model(90);
        let hours = csv(&model, |_, h, e| 0.95 * e + 0.01 * (h % 3) as f64);
        let by_hours = read("h.csv", &hours, Label::Beginning, 6.0).unwrap();
        let (mut days, mut months) = (BTreeMap::new(), BTreeMap::new());
        for r in &by_hours.readings {
            *days.entry(r.from.format("%Y-%m-%d").to_string()).or_insert(0.0) += r.kwh;
            *months.entry(r.from.format("%Y-%m").to_string()).or_insert(0.0) += r.kwh;
        }
        let table = |head: &str, rows: &BTreeMap<String, f64>| {
            rows.iter().fold(format!("{head},kwh\n"), |t, (k, v)| t + &format!("{k},{v}\n"))
        };
        let by_days = read("d.csv", &table("time", &days), Label::Beginning, 6.0).unwrap();
        let by_months = read("m.csv", &table("month", &months), Label::Beginning, 6.0).unwrap();
        let all = [by_hours, by_days, by_months].map(|r| compare(&r, &model, &DOUBT).unwrap());
        for s in &all {
            assert!((s.ratio_all - all[0].ratio_all).abs() < 1e-12 && s.months.len() == 3, "{s:?}");
        }
        assert!(all[2].availability.is_none() && all[1].availability == Some(1.0));
        // Hour-ending labels of the same intervals give the same.
        let ending: String = hours
            .lines()
            .map(|l| match l.split_once(',') {
                Some((t, v)) if t.starts_with('2') => {
                    let at = NaiveDateTime::parse_from_str(t, "%Y-%m-%dT%H:%M").unwrap() + Duration::hours(1);
                    format!("{},{v}\n", at.format("%Y-%m-%dT%H:%M"))
                }
                _ => format!("{l}\n"),
            })
            .collect();
        let ended = read("e.csv", &ending, Label::Ending, 6.0).unwrap();
        assert_eq!(compare(&ended, &model, &DOUBT).unwrap(), all[0]);
    }

    #[test]
    fn readings_that_cannot_be_are_refused_with_their_line() {
        let cases = [
            ("when,kwh\n2026-01-01,3\n", "m.csv:1: the header has the columns when, kwh; expected"),
            ("time,kwh\n1/2/26,3\n", "m.csv:2: time is \"1/2/26\"; expected"),
            ("time,kwh\n2026-01-01T10:00+01:00,3\n", "without a zone"),
            ("time,kwh\n2026-01-01,three\n", "m.csv:2: kwh is \"three\"; expected a number"),
            ("time,kwh\n2026-01-01,NaN\n", "m.csv:2: kwh is \"NaN\""),
            ("time,kwh\n2026-01-02,3\n2026-01-01,3\n", "m.csv:3: time 2026-01-01 comes after 2026-01-02"),
            ("time,kwh\n2026-01-01,3\n2026-01-01,3\n", "rising times, each once"),
            ("time,kwh\n2026-01-01,3\n2026-02,3\n", "m.csv:3: time is \"2026-02\", in another form"),
            (
                "time,kwh\n2026-01-01T10:00,1\n2026-01-01T11:00,1\n2026-01-01T12:30,1\n",
                "readings are 60 minutes|90 minutes",
            ),
            ("time,kwh\n2026-01-01T10:00,1\n2026-01-01T10:07,1\n", "m.csv:3: the readings are 7 minutes apart"),
            ("time,kwh\n2026-01-01T10:00,900\n", "m.csv:2: kwh is 900, and the plant can give 6.0 kWh"),
            ("time,kwh\n2026-01-01T10:00,-3\n", "m.csv:2: kwh is -3"),
            ("time,kwh\n", "there is no row"),
            ("time,kwh\n2026-01-01,\n", "no row has a value"),
            ("", "expected the columns time"),
        ];
        for (text, expected) in cases {
            let error = read("m.csv", text, Label::Beginning, 6.0).unwrap_err().to_string();
            assert!(expected.split('|').any(|e| error.contains(e)), "{text}: {error}");
        }
        assert!(
            compare(&read("m.csv", "time,kwh\n2031-01-01,3\n", Label::Beginning, 6.0).unwrap(), &model(10), &DOUBT)
                .is_none()
        );
    }

    #[test]
    fn a_typical_year_widens_the_band_and_a_stretch_is_made_whole() {
        let typical = crate::sky::read(std::path::Path::new("weather/merrowby.csv"), &Default::default()).unwrap();
        let text = (1..=60).fold("time,kwh\n".to_string(), |t, d| t + &format!("{},12\n", day(365 * 2 + d)));
        let readings = read("m.csv", &text, Label::Beginning, 6.0).unwrap();
        let expected = on_calendar(&typical, &vec![0.5; typical.len()], &readings);
        let s = compare(&readings, &expected, &DOUBT).unwrap();
        assert!((s.ratio - 1.0).abs() < 1e-12 && s.detectable_change_pct.is_none());
        // 60 days: 3.9 % x sqrt(12 / (60 / 30.44)) = 9.62 %.
        assert!((s.u_pct - 4.0_f64.hypot(3.9 * (12.0 * 30.44 / 60.0_f64).sqrt())).abs() < 1e-9);
        // A stretch over the turn of a leap year, half-hourly.
        let mut part = typical.clone();
        part.days = (0..400).map(|d| NaiveDate::from_ymd_opt(2027, 12, 1).unwrap() + Duration::days(d)).collect();
        part.steps_per_day = 48;
        for column in [&mut part.ghi, &mut part.dni, &mut part.dhi, &mut part.t_amb, &mut part.wind] {
            *column = (0..400 * 48).map(|i| i as f64).collect();
        }
        part.albedo = None;
        let years = completed(&part, &typical).unwrap();
        assert_eq!(years.len(), 3);
        assert!(years.iter().all(|(y, _)| y.is_whole_year() && y.ghi.len() == y.len() && y.wind.len() == y.len()));
        assert_eq!(years.iter().map(|(_, d)| d.len()).sum::<usize>(), 400);
        assert_eq!(years[1].0.days.len(), 366);
        assert_eq!(years[1].0.ghi[0], (31 * 48) as f64, "1 January 2028 is the 32nd day measured");
        part.steps_per_day = 25;
        assert!(completed(&part, &typical).is_none());
    }

    proptest! {
        #[test]
        fn no_text_breaks_the_reader(text in "(time|month|kwh|,|\n|2026-0[1-9]|-[0-3][0-9]|T1[0-9]:00|[0-9.]{1,3}|\\PC){0,40}") {
            if let Ok(readings) = read("m.csv", &text, Label::Ending, 6.0) {
                let s = compare(&readings, &model(40), &DOUBT);
                prop_assert!(s.is_none_or(|s| s.ratio.is_finite() && s.u_pct.is_finite()));
            }
        }

        #[test]
        fn a_factor_on_all_readings_is_the_ratio(f in 0.1..1.2f64, days in 5..60i64) {
            let model = model(days);
            let text = csv(&model, |_, _, e| e * f);
            let s = compare(&read("m.csv", &text, Label::Beginning, 6.0).unwrap(), &model, &DOUBT).unwrap();
            prop_assert!((s.ratio - f).abs() < 1e-12 && s.availability == Some(1.0) && s.u_scatter_pct.unwrap() < 1e-6);
        }
    }
}
