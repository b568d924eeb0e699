//! How the years pass.

use serde::{Deserialize, Serialize};

use crate::job::{CleaningSpec, JobSpec};
use crate::units::Note;

/// How power falls after the first year.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Course {
    /// `E_t = E_1 (1 - d (t - 1))`.
    Linear,
    /// `E_t = E_1 (1 - d)^(t - 1)`.
    Compound,
}

impl Course {
    /// From the word of `[ageing] course`.
    pub fn named(word: &str) -> Option<Course> {
        match word {
            "linear" => Some(Course::Linear),
            "compound" => Some(Course::Compound),
            _ => None,
        }
    }

    /// Share of the first year's output that is left in year `t` (1, 2, ...) at `d_pct` percent a year; never below 0.
    ///
    /// Source: arithmetic of Jordan, D. C., Kurtz, S. R.: Photovoltaic Degradation Rates - an Analytical Review,
    /// Prog. Photovolt. 21 (2013) 12-29.
    /// ```
    /// use yearlight::weigh::Course;
    /// assert!((Course::Linear.left(0.5, 25) - 0.88).abs() < 1e-12);
    /// ```
    pub fn left(self, d_pct: f64, t: u32) -> f64 {
        let (d, n) = (d_pct / 100.0, f64::from(t.saturating_sub(1)));
        match self {
            Course::Linear => (1.0 - d * n).max(0.0),
            Course::Compound => (1.0 - d).max(0.0).powf(n),
        }
    }

    /// Sum of [`Course::left`] over years 1..=n.
    pub fn sum_left(self, d_pct: f64, n: u32) -> f64 {
        (1..=n).map(|t| self.left(d_pct, t)).sum()
    }

    /// For a sentence.
    pub fn words(self) -> &'static str {
        match self {
            Course::Linear => "linear, in percent of the first year",
            Course::Compound => "compound, each year in percent of the one before",
        }
    }
}

/// Dirt that rain leaves: it builds up from clean modules, evenly up to a limit, until they are cleaned.
///
/// A time `x` (years) after a cleaning the loss is `min(b x, m)`; the loss of a year is its mean over the year.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cleaning {
    /// Growth of the loss `b`, percent of energy a year.
    pub buildup_pct_per_year: f64,
    /// Limit of the loss `m`, percent of energy.
    pub most_pct: f64,
    /// Years from one cleaning to the next.
    pub every_years: f64,
}

impl Cleaning {
    /// From a job's record.
    pub fn of(spec: &CleaningSpec) -> Cleaning {
        Cleaning {
            buildup_pct_per_year: spec.buildup_pct_per_year.max(0.0),
            most_pct: spec.most_pct.clamp(0.0, 100.0),
            every_years: spec.every_years.max(0.01),
        }
    }

    /// Loss summed from a cleaning to `x` years after it, percent years: `b x^2 / 2`, from `m / b` on `m x - m^2 / 2 b`.
    fn summed(&self, x: f64) -> f64 {
        let (b, m) = (self.buildup_pct_per_year, self.most_pct);
        if b * x <= m { 0.5 * b * x * x } else { m * x - 0.5 * m * m / b }
    }

    /// Mean loss of year `t` (1, 2, ...) in percent, with the cleanings or without any.
    /// ```
    /// use yearlight::weigh::Cleaning;
    /// let c = Cleaning { buildup_pct_per_year: 2.0, most_pct: 5.0, every_years: 2.0 };
    /// // By hand: the loss runs 0 to 2 in year 1, 2 to 4 in year 2, and begins again.
    /// assert_eq!([1, 2, 3, 4].map(|t| c.lost_pct(t, true)), [1.0, 3.0, 1.0, 3.0]);
    /// // Without cleaning it meets 5 % halfway through year 3: 0.5 x 4.5 + 0.5 x 5.
    /// assert_eq!([1, 2, 3, 4].map(|t| c.lost_pct(t, false)), [1.0, 3.0, 4.75, 5.0]);
    /// ```
    pub fn lost_pct(&self, t: u32, cleaned: bool) -> f64 {
        let until = |x: f64| {
            if !cleaned {
                return self.summed(x);
            }
            let times = (x / self.every_years + 1e-9).floor();
            times * self.summed(self.every_years) + self.summed((x - times * self.every_years).max(0.0))
        };
        (until(f64::from(t)) - until(f64::from(t.saturating_sub(1)))).clamp(0.0, 100.0)
    }

    /// Cleanings in year `t` of `n`; one at the end of the last year would serve nobody.
    pub fn cleanings(&self, t: u32, n: u32) -> u32 {
        let until = |x: f64| (x / self.every_years + 1e-9).floor();
        let last = until(f64::from(n)) * self.every_years;
        let useless = if t == n && last >= f64::from(n) - 1e-9 { 1.0 } else { 0.0 };
        (until(f64::from(t)) - until(f64::from(t.saturating_sub(1))) - useless).max(0.0) as u32
    }
}

/// How the years pass: ageing, and dirt that builds up between cleanings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Passing {
    /// Ageing.
    pub course: Course,
    /// Dirt that rain leaves; none without `[cleaning]`.
    pub cleaning: Option<Cleaning>,
}

impl From<Course> for Passing {
    fn from(course: Course) -> Passing {
        Passing { course, cleaning: None }
    }
}

impl Passing {
    /// As the job states it.
    pub fn of(spec: &JobSpec) -> Passing {
        Passing {
            course: Course::named(&spec.ageing.course).unwrap_or(Course::Linear),
            cleaning: spec.cleaning.as_ref().map(Cleaning::of),
        }
    }

    /// Share of a year's energy that built-up dirt leaves, 0..1.
    pub fn clean(self, t: u32) -> f64 {
        self.cleaning.map_or(1.0, |c| 1.0 - c.lost_pct(t, true) / 100.0)
    }

    /// Sum over years 1..=n of the share of the first year's output that ageing and dirt leave.
    pub fn sum_left(self, d_pct: f64, n: u32) -> f64 {
        (1..=n).map(|t| self.course.left(d_pct, t) * self.clean(t)).sum()
    }
}

/// Cost of the cleanings of each year 1..=n of a plant of so many kW, in the currency of `[money]`.
pub fn cleaning_costs(spec: &JobSpec, kw: f64, n: u32) -> Vec<f64> {
    let Some(cleaning) = &spec.cleaning else { return Vec::new() };
    let each = cleaning.cost_per_visit + cleaning.cost_per_kw * kw;
    let passing = Cleaning::of(cleaning);
    (1..=n).map(|t| each * f64::from(passing.cleanings(t, n))).collect()
}

/// One year of operation of an option.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct YearOfOperation {
    /// 1, 2, ...
    pub year: u32,
    /// Energy delivered, kWh.
    pub e_ac_kwh: f64,
    /// Share of the first year's output that is left, 0..1 (the light-induced loss is in the first year already).
    pub left: f64,
    /// Forecast module power at the end of the year, percent of the rating: light-induced loss and ageing.
    pub forecast_pct: f64,
    /// What the maker guarantees at the end of the year, percent of the rating. A promise, never the forecast.
    pub guarantee_pct: Option<f64>,
    /// True when the inverters are replaced at the end of this year.
    pub inverter_replaced: bool,
    /// Share of the year's energy that dirt which rain leaves does not take, 0..1; 1 without `[cleaning]`.
    #[serde(default = "all")]
    pub clean: f64,
    /// Cleanings in the year.
    #[serde(default)]
    pub cleanings: u32,
    /// Energy lost to that dirt with the cleanings, kWh.
    #[serde(default)]
    pub dirt_lost_kwh: f64,
    /// The same if the modules were never cleaned, kWh.
    #[serde(default)]
    pub dirt_lost_uncleaned_kwh: f64,
    /// Energy lost out of service, kWh; it is not in `e_ac_kwh`.
    #[serde(default)]
    pub outage_lost_kwh: f64,
}

fn all() -> f64 {
    1.0
}

/// Years 1..=n of an option from its first year.
///
/// `e_1_kwh` is the first year with light-induced loss, outage and dirt already in it; `light_induced_pct` only serves
/// the power forecast. `guarantee` holds the maker's points.
pub fn years_of(
    n: u32,
    e_1_kwh: f64,
    passing: impl Into<Passing>,
    ageing_pct: f64,
    light_induced_pct: f64,
    guarantee: &[[f64; 2]],
    inverter_year: Option<u32>,
) -> Vec<YearOfOperation> {
    let passing = passing.into();
    let course = passing.course;
    (1..=n)
        .map(|t| {
            let left = course.left(ageing_pct, t);
            let clean = passing.clean(t);
            let lost =
                |cleaned: bool| e_1_kwh * left * passing.cleaning.map_or(0.0, |c| c.lost_pct(t, cleaned)) / 100.0;
            YearOfOperation {
                year: t,
                e_ac_kwh: e_1_kwh * left * clean,
                left,
                clean,
                cleanings: passing.cleaning.map_or(0, |c| c.cleanings(t, n)),
                dirt_lost_kwh: lost(true),
                dirt_lost_uncleaned_kwh: lost(false),
                outage_lost_kwh: 0.0,
                forecast_pct: (100.0 - light_induced_pct) * course.left(ageing_pct, t + 1),
                guarantee_pct: guaranteed(guarantee, f64::from(t)),
                inverter_replaced: inverter_year == Some(t) && t < n,
            }
        })
        .collect()
}

/// The maker's guarantee at the end of a year: straight between the points given, none before the first point and
/// after the last.
pub fn guaranteed(points: &[[f64; 2]], year: f64) -> Option<f64> {
    points.iter().find(|p| p[0] == year).map(|p| p[1]).or_else(|| {
        points.windows(2).find(|w| w[0][0] < year && year < w[1][0]).map(|w| {
            let share = (year - w[0][0]) / (w[1][0] - w[0][0]);
            w[0][1] + share * (w[1][1] - w[0][1])
        })
    })
}

/// Notes on things that are counted twice, or may be.
pub mod guard {
    use super::Note;

    /// A first-year guarantee that looks like the light-induced loss put into the ageing rate, or ageing that holds it.
    pub fn ageing_from_guarantee(module: &str, ageing_pct: f64, guarantee: &[[f64; 2]]) -> Option<Note> {
        let (first, last) = (guarantee.first()?, guarantee.last()?);
        let slope = (first[1] - last[1]) / (last[0] - first[0]);
        (last[0] > first[0] && (slope - ageing_pct).abs() < 1e-9 && ageing_pct > 0.0).then(|| {
            Note::quiet(
                "years.ageing-is-guarantee",
                format!(
                    "{module}: ageing of {ageing_pct} % a year equals the slope of the maker's guarantee. A guarantee is \
                     a promise, not a measured rate."
                ),
            )
        })
    }

    /// Dirt taken off although the light was measured by sensors as dirty as the modules.
    pub fn dirt_in_light(dirt_in_light: bool, dirt_taken: bool) -> Option<Note> {
        (dirt_in_light && dirt_taken).then(|| {
            Note::loud(
                "years.dirt-twice",
                "weather.dirt_in_light says that the light was measured by dirty sensors, so dirt is in it already, and \
                 [losses] takes dirt off again. Set losses.dirt_pct = 0 without a dirt_model, or take a file from clean \
                 sensors.",
            )
        })
    }

    /// Dirt that builds up between cleanings beside dirt that builds up between rains.
    pub fn dirt_and_cleaning(dirt_model: bool, buildup_pct_per_year: f64) -> Option<Note> {
        (dirt_model && buildup_pct_per_year > 0.0).then(|| {
            Note::loud(
                "years.dirt-twice",
                format!(
                    "losses.dirt_model lets dirt build up between rains, and [cleaning] lets it build up by \
                     {buildup_pct_per_year} % a year between cleanings. Both are taken off: cleaning.buildup_pct_per_year \
                     must hold only what rain leaves. If it is all dirt, remove dirt_model and set losses.dirt_pct = 0."
                ),
            )
        })
    }

    /// A stated dirt loss beside dirt that builds up between cleanings.
    pub fn dirt_loss_and_cleaning(dirt_pct: [f64; 12], buildup_pct_per_year: f64) -> Option<Note> {
        (dirt_pct.iter().any(|x| *x > 0.0) && buildup_pct_per_year > 0.0).then(|| {
            Note::quiet(
                "years.dirt-and-cleaning",
                "losses.dirt_pct and [cleaning] are both taken off: dirt_pct is what lies on cleaned modules in the mean of \
                 a year, buildup_pct_per_year what rain leaves on top. If dirt_pct holds that too, lower it.",
            )
        })
    }

    /// The cost of cleaning although the operation price already pays for it.
    pub fn cleaning_cost(cost: f64, om_covers_cleaning: bool) -> Option<Note> {
        (cost > 0.0 && om_covers_cleaning).then(|| {
            Note::loud(
                "years.cleaning-twice",
                "[cleaning] has a cost although money.om_covers_cleaning says that the operation price pays for cleaning; \
                 both were counted. Set cleaning.cost_per_kw and cost_per_visit to 0, or om_covers_cleaning = false.",
            )
        })
    }

    /// Outage taken off the energy although the operation price already pays for it.
    pub fn outage(outage_pct: f64, om_covers_outage: bool) -> Option<Note> {
        (outage_pct > 0.0 && om_covers_outage).then(|| {
            Note::loud(
                "years.outage-twice",
                format!(
                    "Outage of {outage_pct} % is taken off the energy although money.om_covers_outage says that the \
                     operation price pays for lost service. Set losses.outage_pct = 0 or om_covers_outage = false."
                ),
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_usual_arithmetic_of_ageing() {
        // Median 0.5 %/year (Jordan and Kurtz 2013, abstract). By hand: linear, year 25: 1 - 24 x 0.005 = 0.88 and a
        // sum of 25 - 0.005 x 300 = 23.5 first years; compound: the geometric sum (1 - 0.995^25) / 0.005 = 23.5545...
        assert!((Course::Linear.sum_left(0.5, 25) - 23.5).abs() < 1e-12);
        let geometric = (1.0 - 0.995_f64.powi(25)) / 0.005;
        assert!((Course::Compound.sum_left(0.5, 25) - geometric).abs() < 1e-11);
        assert_eq!(Course::Linear.left(0.8, 1), 1.0);
    }

    #[test]
    fn the_guarantee_is_not_the_forecast() {
        let years = years_of(25, 1000.0, Course::Linear, 0.4, 0.5, &[[1.0, 99.0], [25.0, 87.0]], Some(12));
        assert_eq!(years.len(), 25);
        assert_eq!(years[0].guarantee_pct, Some(99.0));
        assert!((years[12].guarantee_pct.unwrap() - 93.0).abs() < 1e-12);
        assert!((years[0].forecast_pct - 99.5 * 0.996).abs() < 1e-12);
        assert_eq!(years[0].e_ac_kwh, 1000.0);
        assert_eq!(years.iter().filter(|y| y.inverter_replaced).count(), 1);
        assert!(guaranteed(&[[1.0, 99.0], [25.0, 87.0]], 26.0).is_none());
        assert!(guaranteed(&[], 3.0).is_none());
    }

    #[test]
    fn planted_duplicates_are_flagged() {
        assert!(guard::dirt_in_light(true, true).is_some_and(|n| n.loud && n.text.contains("Set losses.dirt_pct = 0")));
        assert!(guard::dirt_in_light(true, false).is_none() && guard::dirt_in_light(false, true).is_none());
        assert!(guard::dirt_and_cleaning(true, 1.0).is_some_and(|n| n.text.contains("remove dirt_model")));
        assert!(guard::dirt_and_cleaning(true, 0.0).is_none() && guard::dirt_and_cleaning(false, 1.0).is_none());
        assert!(guard::dirt_loss_and_cleaning([2.0; 12], 1.0).is_some_and(|n| n.text.contains("lower it")));
        assert!(guard::dirt_loss_and_cleaning([0.0; 12], 1.0).is_none());
        assert!(guard::cleaning_cost(3.0, true).is_some_and(|n| n.text.contains("om_covers_cleaning = false")));
        assert!(guard::cleaning_cost(3.0, false).is_none() && guard::cleaning_cost(0.0, true).is_none());
        assert!(guard::outage(1.0, true).is_some());
        assert!(guard::outage(1.0, false).is_none());
        assert!(guard::ageing_from_guarantee("X", 0.5, &[[1.0, 99.0], [25.0, 87.0]]).is_some());
    }

    #[test]
    fn cleanings_and_their_cost_by_hand() {
        let c = Cleaning { buildup_pct_per_year: 1.0, most_pct: 100.0, every_years: 2.0 };
        // At the ends of years 2, 4, 6, 8; one at the end of year 10 would serve nobody.
        assert_eq!((1..=10).map(|t| c.cleanings(t, 10)).collect::<Vec<_>>(), [0, 1, 0, 1, 0, 1, 0, 1, 0, 0]);
        let twice = Cleaning { every_years: 0.5, ..c };
        // Half a year apart: 1, then 2 a year, and 1 in the last.
        assert_eq!((1..=3).map(|t| twice.cleanings(t, 3)).collect::<Vec<_>>(), [2, 2, 1]);
        // The loss runs 0 to 0.5 % twice a year: 0.25 % in the mean.
        assert!((twice.lost_pct(2, true) - 0.25).abs() < 1e-12);
        let passing = Passing { course: Course::Linear, cleaning: Some(c) };
        let years = years_of(4, 1000.0, passing, 0.5, 0.0, &[], None);
        // Mean losses 0.5, 1.5, 0.5, 1.5 %; ageing 1, 0.995, 0.99, 0.985.
        let by_hand = [995.0, 980.075, 985.05, 970.225];
        assert!(years.iter().zip(by_hand).all(|(y, e)| (y.e_ac_kwh - e).abs() < 1e-9), "{years:?}");
        let saved: f64 = years.iter().map(|y| y.dirt_lost_uncleaned_kwh - y.dirt_lost_kwh).sum();
        // Uncleaned 2.5 and 3.5 % in years 3 and 4.
        assert!((saved - (9.9 * 2.0 + 9.85 * 2.0)).abs() < 1e-9, "{saved}");
        assert!((passing.sum_left(0.5, 4) * 1000.0 - by_hand.iter().sum::<f64>()).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn cleaning_never_costs_energy(b in 0.0..20.0_f64, m in 0.0..60.0_f64, every in 0.05..30.0_f64, t in 1_u32..40) {
            let c = Cleaning { buildup_pct_per_year: b, most_pct: m, every_years: every };
            let (with, without) = (c.lost_pct(t, true), c.lost_pct(t, false));
            prop_assert!(with <= without + 1e-9 && without <= m + 1e-9 && with >= 0.0);
        }

        #[test]
        fn output_falls_and_stays_within_bounds(d in 0.0..5.0_f64, n in 1_u32..60) {
            for course in [Course::Linear, Course::Compound] {
                let left: Vec<f64> = (1..=n).map(|t| course.left(d, t)).collect();
                prop_assert!(left.iter().all(|x| (0.0..=1.0).contains(x)));
                prop_assert!(left.windows(2).all(|w| w[1] <= w[0]));
            }
            // Compound never falls below linear at the same rate.
            prop_assert!(Course::Compound.left(d, n) >= Course::Linear.left(d, n) - 1e-12);
        }
    }
}
