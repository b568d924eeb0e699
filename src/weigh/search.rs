//! The best set-up within stated limits, and how flat the optimum is.

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::watch::{Tick, Watch};

/// One thing that may be varied.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Axis {
    /// For people: `tilt`, `azimuth`, `row pitch`, `DC/AC ratio`, `string length`.
    pub name: String,
    /// Unit.
    pub unit: String,
    /// Lower limit.
    pub lo: f64,
    /// Upper limit.
    pub hi: f64,
    /// Points of the first grid, 1 or more.
    pub steps: u32,
    /// Only whole numbers make sense.
    pub whole: bool,
}

impl Axis {
    fn points(&self) -> Vec<f64> {
        let n = self.steps.max(1);
        let mut points: Vec<f64> = (0..n)
            .map(|i| {
                let share = if n == 1 { 0.5 } else { f64::from(i) / f64::from(n - 1) };
                self.place(self.lo + share * (self.hi - self.lo))
            })
            .collect();
        points.dedup();
        points
    }

    fn place(&self, x: f64) -> f64 {
        let x = x.max(self.lo).min(self.hi);
        if self.whole { x.round().max(self.lo.ceil()).min(self.hi.floor()) } else { x }
    }

    fn first_step(&self) -> f64 {
        let step = (self.hi - self.lo) / f64::from(self.steps.max(2) - 1);
        if self.whole { step.ceil() } else { step }
    }
}

/// Whether small or large is good.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Best {
    /// Cost per kWh.
    Lowest,
    /// Energy.
    Highest,
}

/// What a search found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Found {
    /// The axes searched.
    pub axes: Vec<Axis>,
    /// What small or large means.
    pub best: Best,
    /// The optimum, one value an axis.
    pub at: Vec<f64>,
    /// The objective there.
    pub value: f64,
    /// How flat the optimum is along each axis.
    pub flat: Vec<Flat>,
    /// Runs it took.
    pub runs: u32,
    /// Runs that were not allowed (a string too long, a layout that does not fit).
    pub refused: u32,
}

/// How flat an optimum is along one axis, the others held.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Flat {
    /// Name of the axis.
    pub name: String,
    /// Range in which the objective stays within 1 % of the best, at the resolution of the curve.
    pub within_1_pct: [f64; 2],
    /// True when the optimum sits on a limit of the search, so that a better one may lie beyond.
    pub at_limit: bool,
    /// `[value of the axis, objective]` along it; refused points are left out.
    pub curve: Vec<[f64; 2]>,
}

/// Most runs of the first grid.
pub const MAX_GRID: usize = 50_000;

/// Scans a grid, then walks downhill from its best point with shrinking steps, then draws the curve along each axis.
///
/// `objective` gives nothing where a set-up is not allowed. Nothing is returned when no set-up is allowed, there is no
/// axis, a limit is not finite or reversed, or the grid has more than [`MAX_GRID`] points. All runs of a stage are
/// made on all threads; ties go to the first point, so threads do not change the answer.
pub fn search(axes: &[Axis], best: Best, objective: impl Fn(&[f64]) -> Option<f64> + Sync) -> Option<Found> {
    search_in_batches(axes, best, &|_| {}, |points| points.par_iter().map(|p| objective(p)).collect())
}

/// [`search`] with an objective that is asked for many points at once, so that it can share work among them.
///
/// `watch` hears how many runs lie ahead when a stage begins; the objective tells it of every run that is done.
pub fn search_in_batches(
    axes: &[Axis],
    best: Best,
    watch: &Watch,
    objective: impl Fn(&[Vec<f64>]) -> Vec<Option<f64>>,
) -> Option<Found> {
    let sane = axes.iter().all(|a| a.lo.is_finite() && a.hi.is_finite() && a.lo <= a.hi);
    let grid: Vec<Vec<f64>> = axes.iter().map(Axis::points).collect();
    let size = grid.iter().try_fold(1_usize, |n, g| n.checked_mul(g.len()))?;
    if axes.is_empty() || !sane || size > MAX_GRID {
        return None;
    }
    let (mut runs, mut refused) = (0, 0);
    // Lower is better from here on.
    let mut try_all = |points: &[Vec<f64>]| -> Vec<Option<f64>> {
        watch(Tick::Ahead(points.len() as u64));
        let values: Vec<Option<f64>> = objective(points).into_iter().map(|v| v.filter(|v| v.is_finite())).collect();
        runs += values.len() as u32;
        refused += values.iter().filter(|v| v.is_none()).count() as u32;
        values.iter().map(|v| v.map(|v| if best == Best::Highest { -v } else { v })).collect()
    };
    let points: Vec<Vec<f64>> = (0..size).map(|i| point_of(i, &grid)).collect();
    let (mut at, mut value) = lowest(&points, &try_all(&points))?;
    let mut step: Vec<f64> = axes.iter().map(Axis::first_step).collect();
    for _ in 0..60 {
        let around: Vec<Vec<f64>> = (0..axes.len())
            .flat_map(|k| [-1.0, 1.0].map(|sign| moved(&at, k, axes[k].place(at[k] + sign * step[k]))))
            .filter(|p| *p != at)
            .collect();
        match lowest(&around, &try_all(&around)).filter(|(_, v)| *v < value) {
            Some(better) => (at, value) = better,
            None => {
                let done =
                    axes.iter().zip(&step).all(|(a, s)| if a.whole { *s <= 1.0 } else { *s <= 1e-3 * (a.hi - a.lo) });
                if done {
                    break;
                }
                step.iter_mut().zip(axes).for_each(|(s, a)| *s = if a.whole { (*s / 2.0).ceil() } else { *s / 2.0 });
            }
        }
    }
    let flat = axes
        .iter()
        .enumerate()
        .map(|(k, axis)| {
            let mut line = Axis { steps: 41, ..axis.clone() }.points();
            line.push(at[k]);
            line.sort_by(f64::total_cmp);
            line.dedup();
            let points: Vec<Vec<f64>> = line.iter().map(|x| moved(&at, k, *x)).collect();
            let curve: Vec<[f64; 2]> =
                line.iter().zip(try_all(&points)).filter_map(|(x, v)| v.map(|v| [*x, v])).collect();
            flat_of(axis, at[k], value, &curve, best)
        })
        .collect();
    let value = if best == Best::Highest { -value } else { value };
    Some(Found { axes: axes.to_vec(), best, at, value, flat, runs, refused })
}

fn point_of(index: usize, grid: &[Vec<f64>]) -> Vec<f64> {
    let mut rest = index;
    grid.iter()
        .map(|g| {
            let x = g[rest % g.len()];
            rest /= g.len();
            x
        })
        .collect()
}

fn moved(at: &[f64], k: usize, x: f64) -> Vec<f64> {
    let mut p = at.to_vec();
    p[k] = x;
    p
}

fn lowest(points: &[Vec<f64>], values: &[Option<f64>]) -> Option<(Vec<f64>, f64)> {
    let mut best: Option<(usize, f64)> = None;
    for (i, v) in values.iter().enumerate().filter_map(|(i, v)| v.map(|v| (i, v))) {
        if best.is_none_or(|(_, b)| v < b) {
            best = Some((i, v));
        }
    }
    best.map(|(i, v)| (points[i].clone(), v))
}

/// The unbroken stretch around the optimum in which the objective stays within 1 %.
fn flat_of(axis: &Axis, at: f64, value: f64, curve: &[[f64; 2]], best: Best) -> Flat {
    let good = |c: &[f64; 2]| c[1] <= value + 0.01 * value.abs();
    let above = curve.iter().filter(|c| c[0] >= at).take_while(|c| good(c)).last();
    let below = curve.iter().rev().filter(|c| c[0] <= at).take_while(|c| good(c)).last();
    let sign = if best == Best::Highest { -1.0 } else { 1.0 };
    Flat {
        name: axis.name.clone(),
        within_1_pct: [below.map_or(at, |c| c[0]), above.map_or(at, |c| c[0])],
        at_limit: axis.lo < axis.hi && (at == axis.place(axis.lo) || at == axis.place(axis.hi)),
        curve: curve.iter().map(|c| [c[0], sign * c[1]]).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn axis(name: &str, lo: f64, hi: f64, steps: u32, whole: bool) -> Axis {
        Axis { name: name.into(), unit: String::new(), lo, hi, steps, whole }
    }

    #[test]
    fn limits_and_refusals() {
        let axes = [axis("tilt", 0.0, 60.0, 7, false), axis("length", 2.0, 30.0, 5, true)];
        // Lengths above 23 are not allowed; longer is better, tilt is best at 36.
        let found =
            search(&axes, Best::Highest, |x| (x[1] <= 23.0).then(|| 1000.0 - (x[0] - 36.0).powi(2) + x[1])).unwrap();
        assert!((found.at[0] - 36.0).abs() < 0.1 && found.at[1] == 23.0, "{:?}", found.at);
        assert!(found.refused > 0 && found.value > 1022.9);
        assert!(!found.flat[0].at_limit);
        // 1 % of 1023 is 10.23, so tilt may leave 36 by 3.2.
        let [lo, hi] = found.flat[0].within_1_pct;
        assert!((31.0..=36.0).contains(&lo) && (36.0..=41.0).contains(&hi), "{lo} {hi}");
        assert!(search(&axes, Best::Lowest, |_| None).is_none());
        assert!(search(&axes, Best::Lowest, |_| Some(f64::NAN)).is_none());
        assert!(search(&[], Best::Lowest, |_| Some(1.0)).is_none());
        assert!(search(&[axis("x", 1.0, 0.0, 3, false)], Best::Lowest, |_| Some(1.0)).is_none());
        assert!(search(&[axis("x", 0.0, 9.0, 60_000, false)], Best::Lowest, |_| Some(1.0)).is_none());
    }

    #[test]
    fn an_optimum_on_the_limit_is_said() {
        let found = search(&[axis("pitch", 2.0, 8.0, 4, false)], Best::Highest, |x| Some(x[0])).unwrap();
        assert_eq!(found.at, [8.0]);
        assert!(found.flat[0].at_limit);
    }

    #[test]
    fn a_watcher_hears_of_every_run() {
        use std::sync::atomic::{AtomicU64, Ordering::Relaxed};
        let (ahead, done) = (AtomicU64::new(0), AtomicU64::new(0));
        let watch = |tick| match tick {
            Tick::Ahead(n) => drop(ahead.fetch_add(n, Relaxed)),
            Tick::Done => drop(done.fetch_add(1, Relaxed)),
        };
        let axes = [axis("x", -4.0, 4.0, 9, false), axis("y", -4.0, 4.0, 9, false)];
        let bowl = |points: &[Vec<f64>]| {
            points
                .iter()
                .map(|x| {
                    watch(Tick::Done);
                    Some(x[0] * x[0] + x[1] * x[1])
                })
                .collect()
        };
        let found = search_in_batches(&axes, Best::Lowest, &watch, bowl).unwrap();
        let runs = u64::from(found.runs);
        assert!(runs > 81 && ahead.load(Relaxed) == runs && done.load(Relaxed) == runs);
    }

    proptest! {
        #[test]
        fn finds_the_bottom_of_a_bowl(x0 in -3.0..3.0_f64, y0 in -3.0..3.0_f64, k in 0.2..5.0_f64) {
            let axes = [axis("x", -4.0, 4.0, 9, false), axis("y", -4.0, 4.0, 9, false)];
            let bowl = |x: &[f64]| Some(5.0 + (x[0] - x0).powi(2) + k * (x[1] - y0).powi(2));
            let found = search(&axes, Best::Lowest, bowl).unwrap();
            prop_assert!((found.at[0] - x0).abs() < 0.02 && (found.at[1] - y0).abs() < 0.02);
            prop_assert!(found.flat.iter().zip(&found.at).all(|(f, x)| f.within_1_pct[0] <= *x && *x <= f.within_1_pct[1]));
        }
    }
}
