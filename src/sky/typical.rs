//! A typical year from several real ones.

use chrono::{Datelike, NaiveDate};
use serde::Serialize;

use super::SkyError;
use crate::units::Note;
use crate::weather::{Provenance, Quantity, WeatherYear};

/// Months with fewer days than this share of the calendar are not taken.
const WHOLE: f64 = 0.999;
/// Hours on each side of a join over which temperature and other slow columns are smoothed.
const SMOOTH_H: usize = 8;

/// What stands for a day in the choice of months, and its weight.
///
/// ISO 15927-4 compares three quantities with equal weight, then chooses by wind among the best three. For energy from
/// light, GHI counts twice here.
const WEIGHTS: [(Daily, f64); 3] = [(Daily::Ghi, 2.0), (Daily::TAmb, 1.0), (Daily::Dni, 1.0)];

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Daily {
    Ghi,
    TAmb,
    Dni,
    Wind,
}

/// Which year a month was taken from, and how far the candidates were from the long run.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Choice {
    /// 1..=12.
    pub month: u32,
    /// Year taken.
    pub year: i32,
    /// Weighted Finkelstein-Schafer statistic of the year taken.
    pub distance: f64,
    /// Years that were candidates.
    pub candidates: usize,
    /// GHI of the month taken less the long-run mean of that month, percent.
    pub ghi_off_pct: f64,
}

/// A typical year and how its months were chosen.
#[derive(Debug, Clone, PartialEq)]
pub struct Typical {
    /// The year.
    pub year: WeatherYear,
    /// The months.
    pub choices: Vec<Choice>,
}

/// Mean absolute distance between the distribution of one month's days and that of the same month in all years.
///
/// `FS = (1/n) sum |Phi_month(x_i) - Phi_all(x_i)|` over the n days of the month; the cumulative shares are taken as
/// `rank / (N + 1)` as in ISO 15927-4 (from memory). Source: Finkelstein and Schafer, Biometrika 58 (1971) 641-645.
pub fn finkelstein_schafer(month: &[f64], all: &[f64]) -> f64 {
    let mut m = month.to_vec();
    let mut a = all.to_vec();
    m.sort_by(f64::total_cmp);
    a.sort_by(f64::total_cmp);
    let share = |sorted: &[f64], x: f64| sorted.partition_point(|v| *v <= x) as f64 / (sorted.len() as f64 + 1.0);
    m.iter().map(|&x| (share(&m, x) - share(&a, x)).abs()).sum::<f64>() / m.len().max(1) as f64
}

/// Assembles a typical year.
///
/// For each month: the days of every whole candidate month are compared with those of all years by the
/// Finkelstein-Schafer statistic of daily GHI (weight 2), mean air temperature (1) and DNI (1); of the three nearest
/// months the one whose mean wind is nearest to the long run is taken. Steps follow ISO 15927-4:2005 (from memory),
/// which names light, temperature and humidity; humidity is replaced because it does not move energy here. Air
/// temperature, wind and pressure are drawn together over eight hours on each side of a join; light is dark there.
pub fn assemble(years: &[WeatherYear]) -> Result<Typical, SkyError> {
    let first = check(years)?;
    let per_day = first.steps_per_day;
    let mut out = WeatherYear {
        days: Vec::new(),
        ghi: Vec::new(),
        dni: Vec::new(),
        dhi: Vec::new(),
        t_amb: Vec::new(),
        wind: Vec::new(),
        albedo: kept(years, Quantity::Albedo),
        pressure: kept(years, Quantity::Pressure),
        humidity_pct: kept(years, Quantity::Humidity),
        precipitable_water_cm: kept(years, Quantity::PrecipitableWater),
        rain_mm: kept(years, Quantity::Rain),
        snow_depth_cm: kept(years, Quantity::SnowDepth),
        ..first.clone()
    };
    let mut choices = Vec::new();
    let mut joins = Vec::new();
    for month in 1..=12 {
        let candidates = candidates(years, month);
        if candidates.len() < 3 {
            return Err(SkyError::Years {
                found: format!("month {month} is whole in {} years only", candidates.len()),
                expected: "at least 3 whole candidates for every month, better 10".into(),
                mend: "Give more years.".into(),
            });
        }
        let choice = choose(&candidates, month);
        let taken = &candidates[choice.0];
        if !out.days.is_empty() {
            joins.push(out.len());
        }
        taken.append(&mut out);
        choices.push(choice.1);
    }
    smooth(&mut out, &joins, SMOOTH_H * per_day / 24);
    let list: Vec<String> = choices.iter().map(|c| c.year.to_string()).collect();
    out.provenance = Provenance {
        format: "typical year".into(),
        label: "beginning".into(),
        kind: "assembled typical year".into(),
        completed: first.provenance.completed.clone(),
        notes: vec![Note::quiet(
            "weather.typical",
            format!(
                "Typical year assembled from {} years by the Finkelstein-Schafer statistic (GHI 2, temperature 1, DNI 1), then wind; months from {}.",
                count_years(years),
                list.join(", ")
            ),
        )],
        ..Provenance::default()
    };
    Ok(Typical { year: out, choices })
}

fn count_years(years: &[WeatherYear]) -> usize {
    let mut all: Vec<i32> = years.iter().flat_map(|y| y.days.iter().map(|d| d.year())).collect();
    all.sort_unstable();
    all.dedup();
    all.len()
}

/// One place, one step.
fn check(years: &[WeatherYear]) -> Result<&WeatherYear, SkyError> {
    let fail = |found: String, expected: &str, mend: &str| {
        Err(SkyError::Years { found, expected: expected.into(), mend: mend.into() })
    };
    let Some(first) = years.first() else {
        return fail("no file is given".into(), "several real years of one place", "Name the files.");
    };
    for y in years {
        let (a, b) = (&y.place, &first.place);
        let far = (a.latitude_deg - b.latitude_deg).abs() > 0.1 || (a.longitude_deg - b.longitude_deg).abs() > 0.15;
        if far || a.utc_offset_min != b.utc_offset_min {
            return fail(
                format!(
                    "{} stands at {}, {} and {} at {}, {}",
                    y.provenance.file,
                    a.latitude_deg,
                    a.longitude_deg,
                    first.provenance.file,
                    b.latitude_deg,
                    b.longitude_deg
                ),
                "years of one place and one clock",
                "Leave the files of other places out.",
            );
        }
        if y.steps_per_day != first.steps_per_day || y.wind_height_m != first.wind_height_m {
            return fail(
                format!(
                    "{} has steps of {} min and {} of {} min",
                    y.provenance.file,
                    y.step_min(),
                    first.provenance.file,
                    first.step_min()
                ),
                "the same step and the same wind height in all files",
                "Bring the files to one step.",
            );
        }
    }
    Ok(first)
}

/// An empty column when all years have it.
fn kept(years: &[WeatherYear], q: Quantity) -> Option<Vec<f64>> {
    years.iter().all(|y| y.column(q).is_some()).then(Vec::new)
}

/// One month of one year.
struct Month<'a> {
    year: &'a WeatherYear,
    days: std::ops::Range<usize>,
}

impl Month<'_> {
    fn daily(&self, what: Daily) -> Vec<f64> {
        let column = match what {
            Daily::Ghi => &self.year.ghi,
            Daily::Dni => &self.year.dni,
            Daily::TAmb => &self.year.t_amb,
            Daily::Wind => &self.year.wind,
        };
        let n = self.year.steps_per_day;
        self.days.clone().map(|d| column[d * n..(d + 1) * n].iter().sum::<f64>() / n as f64).collect()
    }

    /// Adds the month to a year; 29 February stays behind.
    fn append(&self, out: &mut WeatherYear) {
        let n = self.year.steps_per_day;
        let leap = |d: &NaiveDate| (d.month(), d.day()) == (2, 29);
        let days: Vec<usize> = self.days.clone().filter(|&d| !leap(&self.year.days[d])).collect();
        for &d in &days {
            out.days.push(self.year.days[d]);
        }
        let copy =
            |from: &[f64], to: &mut Vec<f64>| days.iter().for_each(|d| to.extend_from_slice(&from[d * n..(d + 1) * n]));
        copy(&self.year.ghi, &mut out.ghi);
        copy(&self.year.dni, &mut out.dni);
        copy(&self.year.dhi, &mut out.dhi);
        copy(&self.year.t_amb, &mut out.t_amb);
        copy(&self.year.wind, &mut out.wind);
        for (from, to) in [
            (&self.year.albedo, &mut out.albedo),
            (&self.year.pressure, &mut out.pressure),
            (&self.year.humidity_pct, &mut out.humidity_pct),
            (&self.year.precipitable_water_cm, &mut out.precipitable_water_cm),
            (&self.year.rain_mm, &mut out.rain_mm),
            (&self.year.snow_depth_cm, &mut out.snow_depth_cm),
        ] {
            if let (Some(from), Some(to)) = (from, to) {
                copy(from, to);
            }
        }
    }
}

fn candidates(years: &[WeatherYear], month: u32) -> Vec<Month<'_>> {
    let mut out = Vec::new();
    for year in years {
        let mut d = 0;
        while d < year.days.len() {
            let key = (year.days[d].year(), year.days[d].month());
            let to = (d..year.days.len())
                .find(|&e| (year.days[e].year(), year.days[e].month()) != key)
                .unwrap_or(year.days.len());
            let full = if month == 2 { 28.0 } else { 30.0 };
            if key.1 == month && (to - d) as f64 >= full * WHOLE {
                out.push(Month { year, days: d..to });
            }
            d = to;
        }
    }
    out
}

/// Index of the month taken, and what to say of it.
fn choose(candidates: &[Month], month: u32) -> (usize, Choice) {
    let mut distance = vec![0.0; candidates.len()];
    let total: f64 = WEIGHTS.iter().map(|(_, w)| w).sum();
    for (what, weight) in WEIGHTS {
        let each: Vec<Vec<f64>> = candidates.iter().map(|c| c.daily(what)).collect();
        let all: Vec<f64> = each.concat();
        for (d, days) in distance.iter_mut().zip(&each) {
            *d += weight / total * finkelstein_schafer(days, &all);
        }
    }
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len().max(1) as f64;
    let winds: Vec<f64> = candidates.iter().map(|c| mean(&c.daily(Daily::Wind))).collect();
    let light: Vec<f64> = candidates.iter().map(|c| mean(&c.daily(Daily::Ghi))).collect();
    let mut order: Vec<usize> = (0..candidates.len()).collect();
    order.sort_by(|&a, &b| distance[a].total_cmp(&distance[b]));
    let long_run_wind = mean(&winds);
    let best = order
        .iter()
        .take(3)
        .copied()
        .min_by(|&a, &b| (winds[a] - long_run_wind).abs().total_cmp(&(winds[b] - long_run_wind).abs()))
        .unwrap_or(0);
    let choice = Choice {
        month,
        year: candidates[best].year.days[candidates[best].days.start].year(),
        distance: distance[best],
        candidates: candidates.len(),
        ghi_off_pct: 100.0 * (light[best] / mean(&light).max(1e-9) - 1.0),
    };
    (best, choice)
}

/// Draws slow columns together over `half` steps on each side of every join: half of the step at the join is taken from
/// either side, fading out linearly.
fn smooth(year: &mut WeatherYear, joins: &[usize], half: usize) {
    let draw = |c: &mut Vec<f64>, floor: f64| {
        for &j in joins {
            if j == 0 || j >= c.len() || half == 0 {
                continue;
            }
            let gap = c[j] - c[j - 1];
            for k in 0..half.min(j).min(c.len() - j) {
                let share = 0.5 * gap * (1.0 - (k as f64 + 0.5) / half as f64);
                c[j - 1 - k] = (c[j - 1 - k] + share).max(floor);
                c[j + k] = (c[j + k] - share).max(floor);
            }
        }
    };
    draw(&mut year.t_amb, f64::NEG_INFINITY);
    draw(&mut year.wind, 0.0);
    if let Some(p) = &mut year.pressure {
        draw(p, 0.0);
    }
}

/// Spread of annual sums between years.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Spread {
    /// Number of years.
    pub years: usize,
    /// Smallest.
    pub min: f64,
    /// Exceeded in 90 of 100 years, by rank with straight interpolation at `(n - 1) / 10`.
    pub p90_rank: f64,
    /// Exceeded in 90 of 100 years, by a normal distribution of the same mean and spread: `mean - 1.2816 s`.
    pub p90_fit: f64,
    /// Mean.
    pub mean: f64,
    /// Largest.
    pub max: f64,
    /// Standard deviation of single years, percent of the mean; with n - 1.
    pub sd_pct: f64,
}

/// Spread of the values of several years; `None` for fewer than two.
pub fn spread(values: &[f64]) -> Option<Spread> {
    let n = values.len();
    if n < 2 || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let mean = values.iter().sum::<f64>() / n as f64;
    let sd = (values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n - 1) as f64).sqrt();
    let at = 0.1 * (n - 1) as f64;
    let low = at as usize;
    let p90_rank = sorted[low] + (sorted[(low + 1).min(n - 1)] - sorted[low]) * (at - low as f64);
    let sd_pct = if mean > 0.0 { 100.0 * sd / mean } else { 0.0 };
    Some(Spread { years: n, min: sorted[0], p90_rank, p90_fit: mean - 1.2816 * sd, mean, max: sorted[n - 1], sd_pct })
}

/// Cuts a series of whole years into single ones; parts of years at either end are left out.
pub fn split_years(series: &WeatherYear) -> Vec<WeatherYear> {
    let n = series.steps_per_day;
    let mut out = Vec::new();
    let starts: Vec<usize> = (0..series.days.len()).filter(|&d| series.days[d].ordinal() == 1).collect();
    for (k, &from) in starts.iter().enumerate() {
        let to = starts.get(k + 1).copied().unwrap_or(series.days.len());
        let whole =
            (series.days[to - 1].month(), series.days[to - 1].day()) == (12, 31) && (365..=366).contains(&(to - from));
        if !whole {
            continue;
        }
        let cut = |c: &Vec<f64>| c[from * n..to * n].to_vec();
        out.push(WeatherYear {
            place: series.place.clone(),
            days: series.days[from..to].to_vec(),
            steps_per_day: n,
            ghi: cut(&series.ghi),
            dni: cut(&series.dni),
            dhi: cut(&series.dhi),
            t_amb: cut(&series.t_amb),
            wind: cut(&series.wind),
            wind_height_m: series.wind_height_m,
            albedo: series.albedo.as_ref().map(cut),
            pressure: series.pressure.as_ref().map(cut),
            humidity_pct: series.humidity_pct.as_ref().map(cut),
            precipitable_water_cm: series.precipitable_water_cm.as_ref().map(cut),
            rain_mm: series.rain_mm.as_ref().map(cut),
            snow_depth_cm: series.snow_depth_cm.as_ref().map(cut),
            provenance: series.provenance.clone(),
        });
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weather::specimen;

    fn years(count: i32) -> Vec<WeatherYear> {
        (0..count)
            .map(|k| {
                let first = NaiveDate::from_ymd_opt(2001 + k, 1, 1).unwrap();
                let mut y = specimen::on_days(first.iter_days().take_while(|d| d.year() == 2001 + k).collect(), 24);
                // Years of more and less light; the middle one is the long run.
                let factor = 1.0 + 0.02 * f64::from(k - count / 2);
                y.ghi.iter_mut().chain(&mut y.dni).for_each(|v| *v *= factor);
                y.t_amb.iter_mut().for_each(|v| *v += f64::from(k - count / 2));
                y
            })
            .collect()
    }

    #[test]
    fn the_middle_year_is_typical() {
        let all = years(9);
        let t = assemble(&all).unwrap();
        assert_eq!(t.year.days.len(), 365);
        assert!(t.year.is_whole_year());
        for c in &t.choices {
            assert!((c.year - 2005).abs() <= 1, "{c:?}");
            assert!(c.ghi_off_pct.abs() < 2.5 && c.candidates == 9);
        }
        let sum = |y: &WeatherYear| y.ghi.iter().sum::<f64>();
        assert!((sum(&t.year) / sum(&all[4]) - 1.0).abs() < 0.02);
    }

    #[test]
    fn joins_are_drawn_together() {
        let mut y = specimen::year(24);
        y.t_amb = (0..y.len()).map(|i| if i < 744 { 0.0 } else { 10.0 }).collect();
        smooth(&mut y, &[744], 8);
        let largest = y.t_amb.windows(2).map(|w| (w[1] - w[0]).abs()).fold(0.0, f64::max);
        assert!(largest < 0.7, "{largest}");
        assert_eq!((y.t_amb[730], y.t_amb[760]), (0.0, 10.0));
    }

    #[test]
    fn statistic_by_hand() {
        // Two days, 1 and 3, against four, 1 2 3 4: shares 1/3, 2/3 against 1/5, 3/5: (2/15 + 1/15) / 2 = 0.1.
        assert!((finkelstein_schafer(&[1.0, 3.0], &[1.0, 2.0, 3.0, 4.0]) - 0.1).abs() < 1e-12);
        assert!(finkelstein_schafer(&[5.0; 30], &[1.0; 300]) > 0.9 * 30.0 / 31.0 - 0.9 + 0.01);
    }

    #[test]
    fn spread_by_hand() {
        let s = spread(&[100.0, 90.0, 110.0, 105.0, 95.0]).unwrap();
        assert_eq!((s.min, s.mean, s.max), (90.0, 100.0, 110.0));
        assert!((s.p90_rank - 92.0).abs() < 1e-12);
        assert!((s.p90_fit - (100.0 - 1.2816 * 62.5_f64.sqrt())).abs() < 1e-9);
        assert!(spread(&[1.0]).is_none());
    }

    #[test]
    fn too_little_is_refused() {
        assert!(assemble(&years(2)).unwrap_err().to_string().contains("at least 3"));
        assert!(assemble(&[]).unwrap_err().to_string().contains("no file"));
        let mut all = years(3);
        all[1].place.latitude_deg += 5.0;
        assert!(assemble(&all).unwrap_err().to_string().contains("one place"));
    }

    #[test]
    fn a_series_is_cut_at_new_year() {
        let first = NaiveDate::from_ymd_opt(2003, 1, 1).unwrap();
        let series = specimen::on_days(first.iter_days().take(365 + 366 + 10).collect(), 24);
        let cut = split_years(&series);
        assert_eq!(cut.iter().map(|y| y.days.len()).collect::<Vec<_>>(), [365, 366]);
        assert_eq!(cut[1].ghi[12], series.ghi[365 * 24 + 12]);
    }
}
