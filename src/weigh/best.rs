//! The best set-up of one option within the limits of `[search]`.

use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::energy::{Common, PlanCache, Setup, SiteLight, Stages, common_of};
use crate::job::{Job, ResolvedOption, SearchSpec};
use crate::plane::Skyline;
use crate::plant::Verdict;
use crate::weather::WeatherYear;
use crate::weigh::compare::{bill_of, energies_of, with_load};
use crate::weigh::error::{WeighError, range};
use crate::weigh::money::money_of;
use crate::weigh::search::{Axis, Best, Found, search_in_batches};
use crate::weigh::watch::{Tick, Watch};
use crate::weigh::years::{Passing, years_of};

/// What is searched for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Goal {
    Cost,
    Value,
    Energy,
}

/// Scans tilt, azimuth, row pitch, DC/AC ratio and string length as far as `[search]` names them.
///
/// A set-up whose strings are not allowed, or whose modules do not fit, is passed over and counted as refused.
///
/// # Errors
/// [`WeighError`] when `[search]` is missing or cannot be used, or no set-up within the limits is allowed.
pub fn best(job: &Job, weather: &WeatherYear) -> Result<Found, WeighError> {
    best_watched(job, weather, &|_| {})
}

/// As [`best`]; `watch` hears of the runs ahead and of each that is done.
///
/// # Errors
/// As [`best`].
pub fn best_watched(job: &Job, weather: &WeatherYear, watch: &Watch) -> Result<Found, WeighError> {
    let spec = job.spec.search.clone().unwrap_or_default();
    let axes = axes_of(&spec)?;
    let tag = spec.option.clone().unwrap_or_else(|| job.options.first().map_or(String::new(), |o| o.tag.clone()));
    let Some(k) = job.options.iter().position(|o| o.tag == tag) else {
        let known: Vec<&str> = job.options.iter().map(|o| o.tag.as_str()).collect();
        let expected = format!("one of {}", known.join(", "));
        return Err(range("search.option", format!("\"{tag}\""), &expected, "Name the option to be searched."));
    };
    let goal = match (spec.goal.as_deref(), &job.spec.money) {
        (Some("energy"), _) | (None, None) => Goal::Energy,
        (Some("value"), Some(_)) => Goal::Value,
        (Some("cost") | None, Some(_)) => Goal::Cost,
        (Some(goal), _) => {
            let mend = "Give [money], or search for the most energy with goal = \"energy\".";
            return Err(range("search.goal", format!("\"{goal}\" without prices"), "prices in [money]", mend));
        }
    };
    let planes = &job.options[k].planes;
    if spec.pitch_m.is_some() && planes.iter().any(|&p| job.spec.plane[p].rows.is_none()) {
        let mend = "Give the option's planes rows, or leave the pitch out of the search.";
        return Err(range("search.pitch_m", "given for a plane without rows", "planes with rows", mend));
    }
    let skyline = Skyline::new(&job.skyline).map_err(crate::energy::EnergyError::from)?;
    // Sun, sky and the losses of the site once; light, shade and heat once for each way the planes lie.
    let site = SiteLight::over(weather, &job.spec.plane, &skyline, job.spec.sky_model);
    let mut one = job.clone();
    one.options = vec![job.options[k].clone()];
    one.spec.claims = None;
    // The set-up as it stands must be sound before others are tried.
    let common = common_of(&one, weather, &site)?;
    let mut known = PlanCache::default();
    known.option(&one, &one.options[0], weather, &site)?;
    let common = with_load(&one, weather, &site, &common, &mut Vec::new());
    let ground =
        Ground { job: &one, weather, site: &site, skyline: &skyline, common: &common, known: &known, goal, watch };
    let values = |points: &[Vec<f64>]| ground.values(&axes, points);
    let wanted = if goal == Goal::Cost { Best::Lowest } else { Best::Highest };
    search_in_batches(&axes, wanted, watch, values).ok_or_else(|| {
        let mend = "Widen the limits, or look at what `string` says of the option.";
        range("search", "no set-up that is allowed and fits", "at least one within the limits", mend)
    })
}

/// Grid points an axis, by the number of axes: some thousand runs at most.
const STEPS: [u32; 5] = [41, 17, 11, 7, 5];

fn axes_of(spec: &SearchSpec) -> Result<Vec<Axis>, WeighError> {
    let all = [
        ("tilt_deg", "tilt", "deg", spec.tilt_deg, false),
        ("azimuth_deg", "azimuth", "deg", spec.azimuth_deg, false),
        ("pitch_m", "row pitch", "m", spec.pitch_m, false),
        ("dc_ac", "DC/AC ratio", "-", spec.dc_ac, false),
        ("string_length", "string length", "modules", spec.string_length, true),
    ];
    let given = all.iter().filter(|a| a.3.is_some()).count();
    if given == 0 {
        let mend = "Write a section [search] with at least one of tilt_deg, azimuth_deg, pitch_m, dc_ac, string_length, \
                    each as [from, to].";
        return Err(range("search", "empty", "limits to search within", mend));
    }
    let steps = STEPS[given - 1];
    all.into_iter()
        .filter_map(|(key, name, unit, limits, whole)| limits.map(|l| (key, name, unit, l, whole)))
        .map(|(key, name, unit, [lo, hi], whole)| {
            let sane = lo.is_finite() && hi.is_finite() && lo <= hi && (!whole || lo.ceil() <= hi.floor());
            if !sane {
                let mend = "Write the lower limit first.";
                return Err(range(&format!("search.{key}"), format!("[{lo}, {hi}]"), "[from, to]", mend));
            }
            // Every whole number where there are few.
            let steps = if whole { steps.max(((hi - lo) as u32 + 1).min(21)) } else { steps };
            Ok(Axis { name: name.into(), unit: unit.into(), lo, hi, steps, whole })
        })
        .collect()
}

/// What all points of a search stand on.
struct Ground<'a> {
    job: &'a Job,
    weather: &'a WeatherYear,
    site: &'a SiteLight,
    skyline: &'a Skyline,
    common: &'a Common,
    known: &'a PlanCache,
    goal: Goal,
    watch: &'a Watch<'a>,
}

/// Kinds of inverter inputs kept while strings vary on one lie of the planes.
const INPUTS_KEPT: usize = 48;

impl Ground<'_> {
    /// The objective at each point; nothing where a set-up is not allowed or does not fit.
    fn values(&self, axes: &[Axis], points: &[Vec<f64>]) -> Vec<Option<f64>> {
        // Points on one lie of the planes share its light.
        let lie = |x: &[f64]| -> [Option<u64>; 3] {
            ["tilt", "azimuth", "row pitch"].map(|name| coordinate(axes, x, name).map(f64::to_bits))
        };
        let mut groups: BTreeMap<[Option<u64>; 3], Vec<usize>> = BTreeMap::new();
        for (i, x) in points.iter().enumerate() {
            groups.entry(lie(x)).or_default().push(i);
        }
        let groups: Vec<Vec<usize>> = groups.into_values().collect();
        let found: Vec<(usize, Option<f64>)> =
            groups.par_iter().flat_map_iter(|group| self.on_one_lie(axes, points, group)).collect();
        let mut values = vec![None; points.len()];
        for (i, value) in found {
            values[i] = value;
        }
        values
    }

    fn on_one_lie(&self, axes: &[Axis], points: &[Vec<f64>], group: &[usize]) -> Vec<(usize, Option<f64>)> {
        let Some(&first) = group.first() else { return Vec::new() };
        let (mut job, moved) = self.lie_of(axes, &points[first]);
        let mut here = None;
        if moved {
            let mut site = self.site.clone();
            for &p in &job.options[0].planes {
                site.planes[p] = self.site.plane(&job.spec.plane[p], self.skyline);
            }
            here = Some(site);
        }
        let site = here.as_ref().unwrap_or(self.site);
        let mut cache = self.known.with_models_of();
        let mut stages = Stages::new(site, self.common).with_inputs(INPUTS_KEPT);
        let mut shared = None;
        group
            .iter()
            .map(|&i| {
                let value = set_up(self.job, axes, &points[i]).and_then(|option| {
                    job.options[0] = option;
                    self.worth(&job, site, &mut cache, &mut stages, &mut shared)
                });
                (self.watch)(Tick::Done);
                (i, value)
            })
            .collect()
    }

    /// The job with the option's planes as the point says; also whether they moved.
    fn lie_of(&self, axes: &[Axis], x: &[f64]) -> (Job, bool) {
        let mut job = self.job.clone();
        let [tilt, azimuth, pitch] = ["tilt", "azimuth", "row pitch"].map(|name| coordinate(axes, x, name));
        for &p in &self.job.options[0].planes {
            let plane = &mut job.spec.plane[p];
            plane.tilt_deg = tilt.unwrap_or(plane.tilt_deg);
            plane.azimuth_deg = azimuth.unwrap_or(plane.azimuth_deg);
            if let (Some(rows), Some(pitch)) = (&mut plane.rows, pitch) {
                rows.pitch_m = pitch;
            }
        }
        (job, tilt.is_some() || azimuth.is_some() || pitch.is_some())
    }

    fn worth(
        &self,
        job: &Job,
        site: &SiteLight,
        cache: &mut PlanCache,
        stages: &mut Stages,
        shared: &mut Option<Setup>,
    ) -> Option<f64> {
        let option = &job.options[0];
        let mut planned = cache.option(job, option, self.weather, site).ok()?;
        if planned.check.verdict == Verdict::NotAllowed {
            return None;
        }
        // The same glass and shade under the same name, so that what follows from them is known.
        if let Some(last) = shared {
            let setup = &mut planned.setup;
            if setup.glass == last.glass {
                setup.glass = last.glass.clone();
            }
            if setup.shade == last.shade {
                setup.shade = last.shade.clone();
            }
        }
        let e_1 = stages.delivered(&planned.setup);
        *shared = Some(planned.setup.clone());
        if self.goal == Goal::Energy {
            return Some(e_1);
        }
        let money = job.spec.money.as_ref()?;
        let sheet = job.module(option);
        let course = Passing::of(&job.spec);
        let ageing = sheet.ageing_pct_per_year.unwrap_or(super::compare::AGEING_PCT);
        let years = years_of(job.spec.ageing.years.max(1), e_1, course, ageing, 0.0, &[], None);
        let energies = energies_of(site, self.common, stages.p_delivered(), &years);
        let got = money_of(money, &bill_of(job, &planned, option, sheet), &energies);
        Some(if self.goal == Goal::Value { got.npv } else { got.lcoe_per_kwh })
    }
}

fn coordinate(axes: &[Axis], x: &[f64], name: &str) -> Option<f64> {
    axes.iter().position(|a| a.name == name).map(|i| x[i])
}

/// The option with the strings that the point says. Nothing for an empty set-up.
fn set_up(job: &Job, axes: &[Axis], x: &[f64]) -> Option<ResolvedOption> {
    let mut option = job.options[0].clone();
    if let Some(ratio) = coordinate(axes, x, "DC/AC ratio") {
        let modules = ratio * job.inverter(&option).p_ac_w * f64::from(option.inverters) / option.p_module_w;
        option.n_modules = Some((modules.round() as u32).max(1));
        option.target_kw = None;
        option.strings = Vec::new();
    }
    if let Some(length) = coordinate(axes, x, "string length") {
        let length = length.round() as u32;
        let modules = option.n_modules.unwrap_or_else(|| option.strings.iter().sum());
        let strings = modules.checked_div(length).filter(|n| *n > 0)?;
        option.strings = vec![length; strings as usize];
        option.n_modules = Some(length * strings);
        option.target_kw = None;
    }
    Some(option)
}
