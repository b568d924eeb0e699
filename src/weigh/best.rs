//! The best set-up of one option within the limits of `[search]`.

use crate::energy::{Plan, Scratch, SiteLight, run};
use crate::job::{Job, SearchSpec};
use crate::plane::Skyline;
use crate::plant::Verdict;
use crate::weather::WeatherYear;
use crate::weigh::compare::{bill_of, energies_of, with_load};
use crate::weigh::error::{WeighError, range};
use crate::weigh::money::money_of;
use crate::weigh::search::{Axis, Best, Found, search_watched};
use crate::weigh::watch::Watch;
use crate::weigh::years::{Course, years_of};

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
    // Sun and sky once; a plane's light only where the plane moves.
    let site = SiteLight::over(weather, &job.spec.plane, &skyline, job.spec.sky_model);
    let mut one = job.clone();
    one.options = vec![job.options[k].clone()];
    one.spec.claims = None;
    // The set-up as it stands must be sound before others are tried.
    Plan::on(&one, weather, site.clone())?;
    let value = |x: &[f64]| -> Option<f64> {
        let (tried, moved) = set_up(&one, &axes, x)?;
        let mut here = site.clone();
        if moved {
            for &p in &tried.options[0].planes {
                here.planes[p] = site.plane(&tried.spec.plane[p], &skyline);
            }
        }
        worth(&tried, weather, here, goal)
    };
    let wanted = if goal == Goal::Cost { Best::Lowest } else { Best::Highest };
    search_watched(&axes, wanted, watch, value).ok_or_else(|| {
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

/// The job with one option set up as the point says; also whether its planes moved. Nothing for an empty set-up.
fn set_up(job: &Job, axes: &[Axis], x: &[f64]) -> Option<(Job, bool)> {
    let at = |name: &str| axes.iter().position(|a| a.name == name).map(|i| x[i]);
    let mut job = job.clone();
    let planes = job.options[0].planes.clone();
    let (tilt, azimuth, pitch) = (at("tilt"), at("azimuth"), at("row pitch"));
    for p in planes {
        let plane = &mut job.spec.plane[p];
        plane.tilt_deg = tilt.unwrap_or(plane.tilt_deg);
        plane.azimuth_deg = azimuth.unwrap_or(plane.azimuth_deg);
        if let (Some(rows), Some(pitch)) = (&mut plane.rows, pitch) {
            rows.pitch_m = pitch;
        }
    }
    let p_ac_w = job.inverter(&job.options[0]).p_ac_w;
    let option = &mut job.options[0];
    if let Some(ratio) = at("DC/AC ratio") {
        let modules = ratio * p_ac_w * f64::from(option.inverters) / option.p_module_w;
        option.n_modules = Some((modules.round() as u32).max(1));
        option.target_kw = None;
        option.strings = Vec::new();
    }
    if let Some(length) = at("string length") {
        let length = length.round() as u32;
        let modules = option.n_modules.unwrap_or_else(|| option.strings.iter().sum());
        let strings = modules.checked_div(length).filter(|n| *n > 0)?;
        option.strings = vec![length; strings as usize];
        option.n_modules = Some(length * strings);
        option.target_kw = None;
    }
    Some((job, tilt.is_some() || azimuth.is_some() || pitch.is_some()))
}

fn worth(job: &Job, weather: &WeatherYear, site: SiteLight, goal: Goal) -> Option<f64> {
    let plan = Plan::on(job, weather, site).ok()?;
    let planned = plan.options.first()?;
    if planned.check.verdict == Verdict::NotAllowed {
        return None;
    }
    let common = with_load(job, weather, &plan, &mut Vec::new());
    let mut scratch = Scratch::default();
    let year = plan.year_of(planned, &run(&planned.setup, &plan.site, &common, &mut scratch));
    if goal == Goal::Energy {
        return Some(year.e_ac_kwh());
    }
    let money = job.spec.money.as_ref()?;
    let option = &job.options[0];
    let sheet = job.module(option);
    let course = Course::named(&job.spec.ageing.course).unwrap_or(Course::Linear);
    let ageing = sheet.ageing_pct_per_year.unwrap_or(super::compare::AGEING_PCT);
    let years = years_of(job.spec.ageing.years.max(1), year.e_ac_kwh(), course, ageing, 0.0, &[], None);
    let energies = energies_of(&plan.site, &common, &scratch, &years);
    let got = money_of(money, &bill_of(job, planned, option, sheet, &year), &energies);
    Some(if goal == Goal::Value { got.npv } else { got.lcoe_per_kwh })
}
