//! Named checks of a weather file: each counted and located.

use chrono::{Datelike, NaiveDate};
use serde::Serialize;

use super::geometry::{StepSun, step_sun, step_up};
use super::shift;
use crate::sun::clear_sky::haurwitz;
use crate::sun::pressure_hpa;
use crate::weather::{FaultKind, Quantity, RawYear};

/// How much a finding matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Weight {
    /// Nothing found.
    Fine,
    /// Worth knowing.
    Note,
    /// Moves the result.
    Loud,
    /// The file must not be used as it is.
    Refuse,
}

/// A place in the file where a check struck.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// Line of the file.
    pub line: usize,
    /// Beginning of the step.
    pub when: String,
    /// What stands there.
    pub found: String,
}

/// What one check found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Check {
    /// Stable name.
    pub name: &'static str,
    /// What it looks for, and by whose limits.
    pub about: &'static str,
    /// How much it matters.
    pub weight: Weight,
    /// Steps (or days, or columns) that it struck.
    pub count: usize,
    /// Steps (or days) that it looked at.
    pub of: usize,
    /// The first few.
    pub first: Vec<Finding>,
    /// What to do; empty when nothing is wrong.
    pub mend: String,
}

const FIRST: usize = 3;

struct Tally {
    count: usize,
    of: usize,
    first: Vec<Finding>,
}

impl Tally {
    fn new() -> Tally {
        Tally { count: 0, of: 0, first: Vec::new() }
    }

    fn hit(&mut self, raw: &RawYear, step: usize, found: impl FnOnce() -> String) {
        self.count += 1;
        if self.first.len() < FIRST {
            self.first.push(Finding { line: raw.line_near(step), when: raw.when(step), found: found() });
        }
    }

    /// The weight is that of the first threshold that the share of strikes exceeds.
    fn done(self, name: &'static str, about: &'static str, limits: [f64; 3], mend: &str) -> Check {
        let share = if self.of > 0 { self.count as f64 / self.of as f64 } else { 0.0 };
        let weight = match self.count {
            0 => Weight::Fine,
            _ if share > limits[2] => Weight::Refuse,
            _ if share > limits[1] => Weight::Loud,
            _ if share > limits[0] => Weight::Note,
            _ => Weight::Fine,
        };
        let mend = if weight == Weight::Fine { String::new() } else { mend.to_string() };
        Check { name, about, weight, count: self.count, of: self.of, first: self.first, mend }
    }
}

/// Everything the checks look at.
struct Looked<'a> {
    raw: &'a RawYear,
    sun: StepSun,
    ghi: Option<&'a [f64]>,
    dni: Option<&'a [f64]>,
    dhi: Option<&'a [f64]>,
    per_day: usize,
}

/// Runs all checks.
pub fn run(raw: &RawYear) -> Vec<Check> {
    let l = Looked {
        raw,
        sun: step_sun(&raw.place, &raw.days, raw.steps_per_day),
        ghi: raw.get(Quantity::Ghi),
        dni: raw.get(Quantity::Dni),
        dhi: raw.get(Quantity::Dhi),
        per_day: raw.steps_per_day,
    };
    let mut out = vec![l.duplicates(), l.missing_rows(), l.missing_values(), l.leap_day()];
    out.extend([l.impossible(), l.possible(), l.rare(), l.closure(), l.diffuse_share()]);
    out.extend([l.night(), l.noon(), l.flat(), l.repeated(), l.spikes()]);
    out.extend([l.light_unit(), l.temperature_unit(), l.wind_unit()]);
    out.extend([l.light_season(), l.temperature_season(), l.pressure()]);
    out.extend([l.label(), l.saving()]);
    out
}

impl Looked<'_> {
    fn n(&self) -> usize {
        self.raw.len()
    }

    fn faults(&self, kind: FaultKind) -> Tally {
        let mut t = Tally::new();
        t.of = self.n();
        for f in self.raw.faults.iter().filter(|f| f.kind == kind) {
            t.count += f.steps;
            if t.first.len() < FIRST {
                t.first.push(Finding { line: f.line, when: self.raw.when(f.step), found: f.found.clone() });
            }
        }
        t
    }

    fn duplicates(&self) -> Check {
        let mend =
            "Delete the rows that stand there twice; clock time with daylight saving makes one such hour a year.";
        self.faults(FaultKind::Duplicate).done("duplicates", "times that stand there twice", [0.0, 0.0, 0.0], mend)
    }

    fn missing_rows(&self) -> Check {
        let longest = self.raw.faults.iter().filter(|f| f.kind == FaultKind::Gap).map(|f| f.steps).max().unwrap_or(0);
        let hours = longest as f64 * 24.0 / self.per_day as f64;
        let limit = if hours > super::LONGEST_ROWS_H { 0.0 } else { 0.02 };
        let mend = "Short gaps are filled and named; longer ones need data.";
        self.faults(FaultKind::Gap).done("missing-rows", "times left out", [0.0, 0.002, limit], mend)
    }

    fn missing_values(&self) -> Check {
        let mut t = Tally::new();
        for q in [Quantity::Ghi, Quantity::Dni, Quantity::Dhi, Quantity::TAmb, Quantity::Wind] {
            let Some(c) = self.raw.get(q) else { continue };
            t.of += c.len();
            for i in (0..c.len()).filter(|&i| c[i].is_nan() && self.raw.lines.of(i) > 0) {
                t.hit(self.raw, i, || format!("{} is empty or a code for a missing value", q.name()));
            }
        }
        let mend = "Gaps of at most three hours of daylight are filled and named; longer ones are refused.";
        t.done("missing-values", "empty cells and codes such as 9999 and -999", [0.0, 0.005, 0.05], mend)
    }

    fn leap_day(&self) -> Check {
        let mut t = Tally::new();
        t.of = 1;
        let leap = |d: &NaiveDate| (d.month(), d.day()) == (2, 29);
        let missing = self.raw.days.windows(2).position(|w| {
            (w[0].month(), w[0].day()) == (2, 28)
                && (w[1].month(), w[1].day()) == (3, 1)
                && w[0].leap_year()
                && w[0].year() == w[1].year()
        });
        if let Some(d) = self.raw.days.iter().position(leap) {
            t.hit(self.raw, d * self.per_day, || "29 February is in the file: 366 days".into());
        } else if let Some(d) = missing {
            t.hit(self.raw, d * self.per_day, || "29 February is left out of a leap year".into());
        }
        t.done("leap-day", "29 February", [0.0, 2.0, 2.0], "Nothing to mend; annual sums are of the days in the file.")
    }

    fn impossible(&self) -> Check {
        let mut t = Tally::new();
        for q in Quantity::ALL {
            let Some(c) = self.raw.get(q) else { continue };
            let (low, high) = q.possible();
            let light = matches!(q, Quantity::Ghi | Quantity::Dni | Quantity::Dhi);
            let low = if light { -10.0 } else { low };
            t.of += c.len();
            for i in (0..c.len()).filter(|&i| c[i] < low || c[i] > high) {
                t.hit(self.raw, i, || format!("{} is {} {}", q.name(), c[i], q.unit()));
            }
        }
        let mend = "Leave cells of missing values empty; name the file's units in [weather.columns].";
        t.done("impossible", "values beyond anything measured on earth", [0.0, 0.0, 0.0], mend)
    }

    /// Light against the limits of Long and Dutton, with the whole step sunlit.
    fn limits(&self, name: &'static str, about: &'static str, rare: bool, thresholds: [f64; 3]) -> Check {
        let mut t = Tally::new();
        for q in [Quantity::Ghi, Quantity::Dni, Quantity::Dhi] {
            let Some(c) = self.raw.get(q) else { continue };
            for i in 0..self.n() {
                if c[i].is_nan() || self.sun.lit[i] < 0.99 {
                    continue;
                }
                t.of += 1;
                let (low, most) = bsrn_limits(q, self.sun.e0n[i], self.sun.up[i], rare);
                if c[i] > most || c[i] < low {
                    t.hit(self.raw, i, || format!("{} is {} W/m2, the limit {most:.0}", q.name(), c[i]));
                }
            }
        }
        t.done(name, about, thresholds, "Look at these rows; many of them mean a wrong unit, position or label.")
    }

    fn possible(&self) -> Check {
        self.limits(
            "physically-possible",
            "light against that above the air; limits of Long and Dutton, BSRN recommended tests V2.0 (2002)",
            false,
            [0.0, 0.002, 0.02],
        )
    }

    fn rare(&self) -> Check {
        self.limits(
            "extremely-rare",
            "light that is seldom seen; limits of Long and Dutton, BSRN recommended tests V2.0 (2002)",
            true,
            [0.001, 0.01, 0.05],
        )
    }

    fn closure(&self) -> Check {
        let mut t = Tally::new();
        if let (Some(g), Some(b), Some(d)) = (self.ghi, self.dni, self.dhi) {
            for i in 0..self.n() {
                let up = self.sun.up[i];
                let sum = b[i] * up + d[i];
                if self.sun.lit[i] < 0.99 || !sum.is_finite() || sum <= 50.0 || !g[i].is_finite() {
                    continue;
                }
                t.of += 1;
                // Zenith below 75 deg: 8 %; below 93 deg: 15 %.
                let allowed = if up > 0.258_819 { 0.08 } else { 0.15 };
                let off = g[i] / sum - 1.0;
                if off.abs() > allowed {
                    t.hit(self.raw, i, || {
                        format!("GHI {} against DNI cos z + DHI {sum:.0} W/m2 ({:+.0} %)", g[i], 100.0 * off)
                    });
                }
            }
        }
        t.done(
            "closure",
            "GHI = DNI cos z + DHI within 8 % (zenith below 75 deg) or 15 %; Long and Dutton, BSRN V2.0 (2002)",
            [0.01, 0.10, 0.40],
            "Many of them mean a shift between labels and sun, a wrong position, or components from different sources.",
        )
    }

    fn diffuse_share(&self) -> Check {
        let mut t = Tally::new();
        if let (Some(g), Some(d)) = (self.ghi, self.dhi) {
            for i in 0..self.n() {
                if self.sun.lit[i] < 0.99 || !g[i].is_finite() || g[i] <= 50.0 || !d[i].is_finite() {
                    continue;
                }
                t.of += 1;
                let allowed = if self.sun.up[i] > 0.258_819 { 1.05 } else { 1.10 };
                if d[i] > allowed * g[i] {
                    t.hit(self.raw, i, || format!("DHI {} W/m2 exceeds GHI {} W/m2", d[i], g[i]));
                }
            }
        }
        t.done(
            "diffuse-share",
            "DHI at most 1.05 GHI (zenith below 75 deg) or 1.10 GHI; Long and Dutton, BSRN V2.0 (2002)",
            [0.001, 0.01, 0.05],
            "Look whether the columns of GHI and DHI were swapped.",
        )
    }

    fn light(&self, i: usize) -> f64 {
        let of = |c: Option<&[f64]>| c.map_or(0.0, |c| if c[i].is_finite() { c[i] } else { 0.0 });
        of(self.ghi).max(of(self.dhi)).max(of(self.dni))
    }

    fn night(&self) -> Check {
        let mut t = Tally::new();
        let n = self.n();
        // Twilight lies in the steps beside the day.
        let margin = (self.per_day / 24).max(1);
        for i in 0..n {
            let lit = (i.saturating_sub(margin)..(i + margin + 1).min(n)).any(|j| self.sun.lit[j] > 0.0);
            if lit {
                continue;
            }
            t.of += 1;
            if self.light(i) > 10.0 {
                t.hit(self.raw, i, || format!("{} W/m2 with the sun below the horizon for an hour", self.light(i)));
            }
        }
        let mend = "The labels, the UTC offset or the longitude do not fit the light.";
        t.done("light-at-night", "more than 10 W/m2 an hour or more from sunrise and sunset", [0.0, 0.002, 0.01], mend)
    }

    fn noon(&self) -> Check {
        let mut t = Tally::new();
        if let Some(g) = self.ghi {
            for i in (0..self.n()).filter(|&i| self.sun.up[i] > 0.2 && self.sun.lit[i] > 0.99 && g[i].is_finite()) {
                t.of += 1;
                if g[i] < 0.003 * self.sun.e0h[i] {
                    t.hit(self.raw, i, || {
                        format!("GHI is {} W/m2 with the sun {:.0} deg high", g[i], self.sun.up[i].asin().to_degrees())
                    });
                }
            }
        }
        let mend = "A dead instrument, zeros written for missing values, or labels that do not fit.";
        t.done(
            "dark-by-day",
            "GHI below 0.3 % of that above the air with the sun above 11 deg",
            [0.0, 0.001, 0.01],
            mend,
        )
    }

    fn flat(&self) -> Check {
        let mut t = Tally::new();
        let least = 5 * self.per_day / 24;
        let mut run = |c: &[f64], q: &str, least: usize, counts: &dyn Fn(usize) -> bool| {
            let mut from = 0;
            for i in 1..=c.len() {
                if i < c.len() && c[i] == c[from] && counts(i) && counts(from) {
                    continue;
                }
                if i - from >= least && counts(from) {
                    t.count += i - from - 1;
                    t.hit(self.raw, from, || format!("{q} stays at {} for {} steps", c[from], i - from));
                }
                from = i;
            }
        };
        if let Some(light) = self.ghi {
            let by_day = |i: usize| self.sun.up[i] > 0.17 && light[i] > 0.0;
            run(light, "GHI", least, &by_day);
        }
        if let Some(x) = self.raw.get(Quantity::TAmb) {
            run(x, "air temperature", 36 * self.per_day / 24, &|_| true);
        }
        if let Some(x) = self.raw.get(Quantity::Wind) {
            run(x, "wind", 48 * self.per_day / 24, &|i| x[i] > 0.0);
        }
        t.of = self.n();
        let mend = "An instrument may have stuck, or a filler repeated a value.";
        t.done(
            "flat-lined",
            "GHI the same for 5 h of day, temperature for 36 h, wind for 48 h",
            [0.0, 0.01, 0.10],
            mend,
        )
    }

    fn repeated(&self) -> Check {
        let mut t = Tally::new();
        let Some(g) = self.ghi else { return t.done("repeated-days", "days of equal light", [0.0; 3], "") };
        let days = self.raw.days.len();
        t.of = days;
        let print = |d: usize| -> Vec<u64> {
            g[d * self.per_day..(d + 1) * self.per_day].iter().map(|v| v.to_bits()).collect()
        };
        let mut seen = std::collections::HashMap::new();
        for d in 0..days {
            let day = &g[d * self.per_day..(d + 1) * self.per_day];
            let lit: Vec<f64> = day.iter().copied().filter(|v| *v > 0.0).collect();
            // Short polar days of small whole numbers may repeat by chance.
            if lit.len() < 6 * self.per_day / 24 || lit.iter().sum::<f64>() < 200.0 * self.per_day as f64 / 24.0 {
                continue;
            }
            if let Some(first) = seen.insert(print(d), d) {
                let of: usize = first;
                t.hit(self.raw, d * self.per_day, || {
                    format!("the light is that of {}", self.raw.days[of].format("%-d %b %Y"))
                });
            }
        }
        let mend = "A filler copied days; annual sums may hold, the spread does not.";
        t.done("repeated-days", "days whose GHI equals another day's in every step", [0.0, 0.01, 0.15], mend)
    }

    fn spikes(&self) -> Check {
        let mut t = Tally::new();
        if let Some(x) = self.raw.get(Quantity::TAmb) {
            for i in 1..x.len().saturating_sub(1) {
                t.of += 1;
                let (a, b) = (x[i] - x[i - 1], x[i] - x[i + 1]);
                if a.abs() > 12.0 && b.abs() > 12.0 && a.signum() == b.signum() {
                    t.hit(self.raw, i, || {
                        format!("air temperature is {} C between {} and {} C", x[i], x[i - 1], x[i + 1])
                    });
                }
            }
        }
        if let Some(w) = self.raw.get(Quantity::Wind) {
            for i in (0..w.len()).filter(|&i| w[i] > 45.0) {
                t.hit(self.raw, i, || format!("wind is {} m/s", w[i]));
            }
        }
        if let Some(g) = self.ghi {
            for i in (0..self.n()).filter(|&i| self.sun.up[i] > 0.35 && self.sun.lit[i] > 0.99) {
                let most = if self.per_day <= 24 { 1.0 } else { 1.3 };
                if g[i] > most * self.sun.e0h[i] {
                    t.hit(self.raw, i, || format!("GHI is {} W/m2, {:.0} above the air", g[i], self.sun.e0h[i]));
                }
            }
        }
        let mend = "Single wrong values; leave the cells empty.";
        t.done(
            "spikes",
            "temperature up and down by 12 K, wind above 45 m/s, GHI above that over the air",
            [0.0, 0.001, 0.01],
            mend,
        )
    }

    /// Mean clearness index of the file.
    fn clearness(&self) -> Option<f64> {
        let g = self.ghi?;
        let (mut light, mut above) = (0.0, 0.0);
        for i in (0..self.n()).filter(|&i| g[i].is_finite()) {
            light += g[i];
            above += self.sun.e0h[i];
        }
        (above > 0.0).then(|| light / above)
    }

    fn light_unit(&self) -> Check {
        let mut t = Tally::new();
        t.of = 1;
        let mut mend = String::new();
        if let (Some(k), Some(g)) = (self.clearness(), self.ghi) {
            // The clearest places on earth reach 0.75 in the annual mean, the dullest 0.25.
            let most = (0..self.n())
                .filter(|&i| self.sun.up[i] > 0.3 && g[i].is_finite())
                .map(|i| g[i] / haurwitz(self.sun.up[i]))
                .fold(0.0, f64::max);
            if k > 0.82 || (k < 0.15 && most < 0.5) {
                let guess = [
                    ("kJ/m2", 3.6),
                    ("Wh/m2 per quarter of an hour or MJ/m2 x 1000", 0.25),
                    ("kWh/m2", 0.001),
                    ("MJ/m2", 0.0036),
                    ("J/cm2", 0.36),
                ]
                .into_iter()
                .find(|(_, f)| (0.2..0.82).contains(&(k / f)) && (0.5..1.45).contains(&(most / f)));
                mend = match guess {
                    Some((unit, _)) => {
                        format!("The column looks like {unit} read as W/m2; name its unit in [weather.columns].")
                    }
                    None => "No common unit explains it; look at the column and the position.".into(),
                };
                t.hit(self.raw, self.per_day / 2, || format!("GHI is {:.0} % of the light above the air", 100.0 * k));
            }
        }
        t.done("light-unit", "annual GHI between 15 and 82 % of that above the air", [0.0, 0.0, 0.0], &mend)
    }

    fn mean(c: &[f64]) -> f64 {
        let good: Vec<f64> = c.iter().copied().filter(|v| v.is_finite()).collect();
        if good.is_empty() { f64::NAN } else { good.iter().sum::<f64>() / good.len() as f64 }
    }

    fn temperature_unit(&self) -> Check {
        let mut t = Tally::new();
        t.of = 1;
        let mut mend = "";
        if let Some(c) = self.raw.get(Quantity::TAmb) {
            let mean = Looked::mean(c);
            let most = c.iter().copied().filter(|v| v.is_finite()).fold(f64::MIN, f64::max);
            if mean > 200.0 {
                mend = "The column looks like K read as C; map it as t_amb = \"column [K]\".";
            } else if mean > 33.0 || most > 58.0 {
                mend = "The column looks like F read as C; map it as t_amb = \"column [F]\".";
            }
            if !mend.is_empty() {
                t.hit(self.raw, 0, || format!("air temperature has a mean of {mean:.0} and a maximum of {most:.0} C"));
            }
        }
        t.done("temperature-unit", "annual mean up to 33 C, maximum up to 58 C", [0.0, 0.0, 0.0], mend)
    }

    fn wind_unit(&self) -> Check {
        let mut t = Tally::new();
        t.of = 1;
        if let Some(c) = self.raw.get(Quantity::Wind) {
            let mean = Looked::mean(c);
            if mean > 11.0 {
                t.hit(self.raw, 0, || format!("wind has a mean of {mean:.1} m/s"));
            }
        }
        let mend = "The column looks like km/h or knots read as m/s; map it with its unit.";
        t.done("wind-unit", "annual mean wind up to 11 m/s", [0.0, 0.0, 2.0], mend)
    }

    /// Correlation of daily light with what falls on top of the air at a latitude.
    fn season_fit(&self, latitude_deg: f64, longitude_deg: f64) -> f64 {
        let Some(g) = self.ghi else { return f64::NAN };
        let mut place = self.raw.place.clone();
        place.latitude_deg = latitude_deg;
        place.longitude_deg = longitude_deg;
        let up = step_up(&place, &self.raw.days, self.per_day);
        // By step and not only by day: a wrong longitude shows too.
        let pairs: Vec<(f64, f64)> = (0..self.n()).filter(|&i| g[i].is_finite()).map(|i| (g[i], up[i])).collect();
        correlation(&pairs)
    }

    fn light_season(&self) -> Check {
        let mut t = Tally::new();
        t.of = 1;
        let p = &self.raw.place;
        let (lat, lon) = (p.latitude_deg, p.longitude_deg);
        let now = self.season_fit(lat, lon);
        let mut mend = String::new();
        if now.is_finite() {
            let rivals = [
                ("the latitude has the wrong sign", -lat, lon),
                ("the longitude has the wrong sign", lat, -lon),
                ("both signs are wrong", -lat, -lon),
                ("latitude and longitude are swapped", lon.clamp(-90.0, 90.0), lat),
            ];
            let best = rivals.iter().map(|r| (self.season_fit(r.1, r.2), r)).max_by(|a, b| a.0.total_cmp(&b.0));
            if let Some((fit, (what, ..))) = best
                && fit > now + 0.05
            {
                mend = format!("The light fits better if {what}; correct the position.");
                t.hit(self.raw, self.per_day / 2, || {
                    format!("GHI follows the sun at {lat}, {lon} with a correlation of {now:.2}; {what}: {fit:.2}")
                });
            }
        }
        t.done(
            "position",
            "light against the sun at the stated position, and with signs changed or swapped",
            [0.0, 0.0, 0.0],
            &mend,
        )
    }

    fn temperature_season(&self) -> Check {
        let mut t = Tally::new();
        t.of = 1;
        let lat = self.raw.place.latitude_deg;
        if let Some(c) = self.raw.get(Quantity::TAmb)
            && lat.abs() > 20.0
            && self.raw.days.len() >= 360
        {
            let half = |from: u32, to: u32| -> f64 {
                let s: Vec<f64> = (0..self.n())
                    .filter(|&i| (from..=to).contains(&self.raw.days[i / self.per_day].month()))
                    .map(|i| c[i])
                    .collect();
                Looked::mean(&s)
            };
            let north_summer = half(6, 8) - 0.5 * (half(1, 2) + half(12, 12));
            if north_summer * lat.signum() < -1.0 {
                t.hit(self.raw, 0, || {
                    format!("June to August is {north_summer:+.1} K against December to February at latitude {lat}")
                });
            }
        }
        let mend =
            "The temperature belongs to the other hemisphere; check the latitude's sign and the order of months.";
        t.done("temperature-season", "summer warmer than winter beyond 20 deg of latitude", [0.0, 0.0, 0.0], mend)
    }

    fn pressure(&self) -> Check {
        let mut t = Tally::new();
        t.of = 1;
        if let Some(c) = self.raw.get(Quantity::Pressure) {
            let (mean, expected) = (Looked::mean(c), pressure_hpa(self.raw.place.elevation_m));
            if (mean - expected).abs() > 40.0 {
                t.hit(self.raw, 0, || {
                    format!(
                        "mean pressure is {mean:.0} hPa; {expected:.0} is usual at {} m",
                        self.raw.place.elevation_m
                    )
                });
            }
        }
        let mend = "The elevation may be in feet, or the pressure reduced to sea level.";
        t.done("pressure", "mean pressure within 40 hPa of the standard atmosphere", [0.0, 2.0, 2.0], mend)
    }

    fn label(&self) -> Check {
        let mut t = Tally::new();
        t.of = 1;
        let mut mend = String::new();
        let mut loud = 2.0;
        if let Some(minutes) = shift::find(self.raw) {
            let step_min = 1440.0 / self.per_day as f64;
            if let Some(fix) = shift::fix(minutes, self.raw.label, step_min, &self.raw.place) {
                mend = fix;
                loud = 0.0;
                t.hit(self.raw, self.per_day / 2, || {
                    format!(
                        "the light comes {:.0} min {} than the sun at the labelled times",
                        minutes.abs(),
                        if minutes > 0.0 { "later" } else { "earlier" }
                    )
                });
            } else if minutes.abs() > 10.0 {
                mend = "Small; hills or morning fog can look like this.".into();
                t.hit(self.raw, self.per_day / 2, || format!("the light is {minutes:+.0} min off the sun"));
            }
        }
        t.done("label-shift", "clear mornings against clear afternoons", [0.0, loud, 2.0], &mend)
    }

    /// Summer against winter: an hour between them is clock time with daylight saving.
    fn saving(&self) -> Check {
        let mut t = Tally::new();
        t.of = 1;
        let part = |months: &[u32]| -> Option<f64> {
            let keep: Vec<usize> =
                (0..self.raw.days.len()).filter(|&d| months.contains(&self.raw.days[d].month())).collect();
            let mut raw = self.raw.clone();
            raw.days = keep.iter().map(|&d| self.raw.days[d]).collect();
            let cut =
                |c: &[f64]| keep.iter().flat_map(|&d| c[d * self.per_day..(d + 1) * self.per_day].to_vec()).collect();
            raw.columns = Default::default();
            raw.columns[Quantity::Ghi as usize] = self.ghi.map(cut);
            shift::find(&raw)
        };
        if self.raw.days.len() > 300
            && let (Some(a), Some(b)) = (part(&[5, 6, 7, 8]), part(&[1, 2, 11, 12]))
            && ((a - b).abs() - 60.0).abs() < 18.0
        {
            t.hit(self.raw, 0, || {
                format!(
                    "the light is {a:+.0} min off the sun from May to August and {b:+.0} min from November to February"
                )
            });
        }
        let mend = "The times look like clock time with daylight saving; write local standard time all year.";
        t.done("daylight-saving", "the same clock in summer and winter", [0.0, 0.0, 0.0], mend)
    }
}

/// Smallest and largest value of GHI, DNI or DHI, W/m2.
///
/// - `e0n`: Sa, extraterrestrial normal irradiance, W/m2
/// - `cos_zenith`: mu0
/// - `rare`: the extremely rare limits instead of the physically possible ones
///
/// | | possible | rare |
/// |---|---|---|
/// | GHI | -4 .. 1.5 Sa mu0^1.2 + 100 | -2 .. 1.2 Sa mu0^1.2 + 50 |
/// | DHI | -4 .. 0.95 Sa mu0^1.2 + 50 | -2 .. 0.75 Sa mu0^1.2 + 30 |
/// | DNI | -4 .. Sa | -2 .. 0.95 Sa mu0^0.2 + 10 |
///
/// Made for one-minute values, so hourly means keep them with ease. Source: Long and Dutton, BSRN Global Network
/// recommended QC tests, V2.0 (2002) (from memory). Any other quantity has no limit.
pub fn bsrn_limits(q: Quantity, e0n: f64, cos_zenith: f64, rare: bool) -> (f64, f64) {
    let mu0 = cos_zenith.max(0.0);
    let (factor, power, offset) = match (q, rare) {
        (Quantity::Ghi, false) => (1.5, 1.2, 100.0),
        (Quantity::Ghi, true) => (1.2, 1.2, 50.0),
        (Quantity::Dhi, false) => (0.95, 1.2, 50.0),
        (Quantity::Dhi, true) => (0.75, 1.2, 30.0),
        (Quantity::Dni, false) => (1.0, 0.0, 0.0),
        (Quantity::Dni, true) => (0.95, 0.2, 10.0),
        _ => return (f64::NEG_INFINITY, f64::INFINITY),
    };
    (if rare { -2.0 } else { -4.0 }, factor * e0n * mu0.powf(power) + offset)
}

fn correlation(pairs: &[(f64, f64)]) -> f64 {
    let n = pairs.len() as f64;
    let (mx, my) = (pairs.iter().map(|p| p.0).sum::<f64>() / n, pairs.iter().map(|p| p.1).sum::<f64>() / n);
    let (mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0);
    for (x, y) in pairs {
        xx += (x - mx) * (x - mx);
        yy += (y - my) * (y - my);
        xy += (x - mx) * (y - my);
    }
    if xx > 0.0 && yy > 0.0 { xy / (xx * yy).sqrt() } else { f64::NAN }
}
