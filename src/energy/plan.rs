//! From a checked job and a weather year to setups that the chain can run.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::sync::Arc;

use super::cover::{SnowCover, dirt_of_year, power_under_snow};
use super::setup::{
    Common, Conversion, Heat, InputStrings, Mounting, Nameplate, PartShade, Rear, Setup, StringsOfInput, Wiring,
};
use super::site::{PlaneOfSite, SiteLight};
use crate::job::{Job, ResolvedOption, SnowSpec};
use crate::module::{Cell, Electrical, Glass, Matrix, ModuleError, ModuleSheet, Spectrum, Thermal, light_induced};
use crate::plane::{PlaneLight, Skyline, SkylineError};
use crate::plant::loads::{self, LoadLine};
use crate::plant::{
    AcCable, ExportLimit, InputLimits, Inverter, InverterLayout, IvCurve, ModuleConverter, PlantError, StringCable,
    StringCheck, StringQuestion, Transformer, check,
};
use crate::roof::{
    self, ArrayShade, Face, FieldUse, FitCache, GroupCurve, Orientation, RoofError, RoofFit, RoofMap, RowModules,
    SlotShade, Wanted, array_shade, field_use, row_places, row_shade,
};
use crate::sun::SunTrack;
use crate::units::{Fraction, Note};
use crate::weather::WeatherYear;

/// Share of the rear light that frames and racks leave. Common practice, no source.
pub const REAR_STRUCTURE_KEPT: f64 = 0.95;
/// Share of the rear gain that uneven light leaves. Common practice, no source.
pub const REAR_UNEVEN_KEPT: f64 = 0.97;
/// Yield per irradiation by which slots are ranked; the rank of slots hardly depends on it.
const RANK_PR: f64 = 0.85;

/// What makes a job impossible to run.
#[derive(Debug, thiserror::Error)]
pub enum EnergyError {
    /// A module cannot be fitted.
    #[error("module.{tag}: {source}")]
    Module {
        /// Tag of the module.
        tag: String,
        /// Why.
        source: ModuleError,
    },
    /// Plant.
    #[error("option {tag}: {source}")]
    Plant {
        /// Tag of the option.
        tag: String,
        /// Why.
        source: PlantError,
    },
    /// Roof.
    #[error("option {tag}: {source}")]
    Roof {
        /// Tag of the option.
        tag: String,
        /// Why.
        source: RoofError,
    },
    /// Skyline.
    #[error("skyline: {0}")]
    Skyline(#[from] SkylineError),
    /// The weather is no whole year.
    #[error(
        "weather.file: holds {days} days from {first} to {last}; expected a whole year, 1 January to 31 December.\n  \
         Use a typical year, or one year of a longer series."
    )]
    NoYear {
        /// Days found.
        days: usize,
        /// First day.
        first: String,
        /// Last day.
        last: String,
    },
    /// The load does not fit the weather.
    #[error(
        "grid.load: holds {found} values; expected {expected}, one for each step of the weather file, from 1 January \
         00:00.\n  Write the load on the same steps as the weather."
    )]
    Load {
        /// Values found.
        found: usize,
        /// Values expected.
        expected: usize,
    },
    /// Dirt by rain without rain in the weather file.
    #[error(
        "losses.dirt_model: {file} holds no rain; expected a column of rain in mm.\n  \
         Take a weather file with rain, or state the loss by losses.dirt_pct."
    )]
    NoRain {
        /// The weather file.
        file: String,
    },
    /// The number of modules is open.
    #[error(
        "option {tag}: the number of modules is open; expected target_kw, modules or strings, or fill = true with \
         size_m on its planes.\n  State one of them."
    )]
    NoCount {
        /// Tag of the option.
        tag: String,
    },
    /// Strings and planes do not fit together.
    #[error(
        "option {tag}: {modules} modules in {strings} strings cannot be shared out among {planes} planes; expected at \
         least one whole string on each.\n  Name fewer planes for the option, or use shorter strings."
    )]
    Planes {
        /// Tag of the option.
        tag: String,
        /// Modules.
        modules: u32,
        /// Strings.
        strings: usize,
        /// Planes.
        planes: usize,
    },
}

/// All options of a job, ready to run on the light of the site.
///
/// ```
/// use yearlight::energy::{Plan, Scratch};
/// use yearlight::{job, sky};
/// let job = job::load("configs/two-skies/hot.toml".as_ref())?;
/// let weather = sky::read(&job.weather_path(), &job.read_hints()?)?;
/// let plan = Plan::of(&job, &weather)?;
/// let year = plan.year(&plan.options[0], &mut Scratch::default());
/// // Every kWh has a name: the lines of the account lead from nominal to delivered energy.
/// let nominal: f64 = year.account.nominal_kwh.iter().sum();
/// let lines: f64 = year.account.lines.iter().map(|line| line.kwh()).sum();
/// assert!((nominal + lines - year.e_ac_kwh()).abs() < 1e-6 * nominal);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone)]
pub struct Plan {
    /// Light, shared by all options.
    pub site: SiteLight,
    /// Losses of the site and what lies behind the inverter.
    pub common: Common,
    /// In the order of the job.
    pub options: Vec<PlannedOption>,
    /// What the reader should know about all of them.
    pub notes: Vec<Note>,
}

/// One option, ready to run.
#[derive(Debug, Clone)]
pub struct PlannedOption {
    /// The option's tag.
    pub tag: String,
    /// Module tag.
    pub module: String,
    /// Inverter tag.
    pub inverter: String,
    /// Modules of each string; empty for a lumped array.
    pub strings: Vec<u32>,
    /// Physics.
    pub setup: Setup,
    /// Strings, voltages, margins.
    pub check: StringCheck,
    /// Slots of each plane with dimensions.
    pub roof: Vec<RoofMap>,
    /// Modules on slots that lose [`roof::UNSHADED_LOSS`] of their yearly yield or more to obstacles.
    pub on_shaded_slots: u32,
    /// Racks and land of each plane with rows, by the plane's name.
    pub field: Vec<(String, FieldUse)>,
    /// The module's design loads against the engineer's site load; empty without one.
    pub loads: Vec<LoadLine>,
    /// What the reader should know.
    pub notes: Vec<Note>,
}

/// Modules that were fitted before, by tag. A fit depends on the module alone, so callers with very many jobs keep it
/// from job to job; a tag that comes with another sheet is fitted again.
#[derive(Debug, Clone, Default)]
pub struct Fits {
    known: BTreeMap<String, Fitted>,
    /// How many fits were made.
    pub made: u64,
}

/// A module as the chain needs it, and what it was made from.
#[derive(Debug, Clone)]
struct Fitted {
    sheet: ModuleSheet,
    matrix: Vec<[f64; 3]>,
    electrical: Arc<Electrical>,
    glass: Arc<Glass>,
    notes: Vec<Note>,
    points: Points,
}

/// V_oc and V_mp by light and temperature, as bits.
type Points = BTreeMap<[u64; 2], [f64; 2]>;

/// Points of a curve that are remembered: the check of strings asks for the same few temperatures at every site.
const POINTS: usize = 1000;

/// A fitted curve that remembers what it was asked.
struct Asked<'a> {
    electrical: &'a Electrical,
    known: RefCell<&'a mut Points>,
}

impl Asked<'_> {
    fn point(&self, g: f64, t: f64) -> [f64; 2] {
        let mut known = self.known.borrow_mut();
        if known.len() >= POINTS {
            known.clear();
        }
        *known.entry([g.to_bits(), t.to_bits()]).or_insert_with(|| {
            let at = self.electrical.point(g, t);
            [at.v_oc, at.v_mp]
        })
    }
}

impl IvCurve for Asked<'_> {
    fn current_at(&self, v: f64, g: f64, t: f64) -> f64 {
        IvCurve::current_at(self.electrical, v, g, t)
    }

    fn shape_at(&self, v: f64, g: f64, t: f64) -> f64 {
        IvCurve::shape_at(self.electrical, v, g, t)
    }

    fn v_oc(&self, g: f64, t: f64) -> f64 {
        self.point(g, t)[0]
    }

    fn v_mp(&self, g: f64, t: f64) -> f64 {
        self.point(g, t)[1]
    }
}

impl Fits {
    fn of(&mut self, job: &Job, tag: &str, sheet: &ModuleSheet) -> Result<&mut Fitted, ModuleError> {
        let rows = job.matrices.get(tag).map_or(&[][..], Vec::as_slice);
        if self.known.get(tag).is_some_and(|f| f.sheet != *sheet || f.matrix != rows) {
            self.known.remove(tag);
        }
        match self.known.entry(tag.to_string()) {
            Entry::Occupied(entry) => Ok(entry.into_mut()),
            Entry::Vacant(entry) => {
                self.made += 1;
                let matrix = matrix(job, tag)?;
                let (electrical, notes) = Electrical::fit(sheet, matrix.as_ref())?;
                Ok(entry.insert(Fitted {
                    sheet: sheet.clone(),
                    matrix: rows.to_vec(),
                    electrical: Arc::new(electrical),
                    glass: Arc::new(Glass::from_sheet(sheet)?),
                    notes,
                    points: Points::new(),
                }))
            }
        }
    }
}

impl Plan {
    /// Sun, sky and planes once, then every option.
    ///
    /// # Errors
    /// [`EnergyError`] when a record cannot be turned into physics, or the modules do not fit the planes.
    pub fn of(job: &Job, weather: &WeatherYear) -> Result<Plan, EnergyError> {
        Plan::under(job, weather, None, &mut Fits::default())
    }

    /// As [`Plan::of`] under a sun that is known already, that of this place and these days, and with modules that were
    /// fitted before.
    ///
    /// # Errors
    /// As [`Plan::of`].
    pub fn under(
        job: &Job,
        weather: &WeatherYear,
        sun: Option<&Arc<SunTrack>>,
        fits: &mut Fits,
    ) -> Result<Plan, EnergyError> {
        if !weather.is_whole_year() {
            let day = |d: Option<&chrono::NaiveDate>| d.map_or_else(|| "none".to_string(), ToString::to_string);
            return Err(EnergyError::NoYear {
                days: weather.days.len(),
                first: day(weather.days.first()),
                last: day(weather.days.last()),
            });
        }
        let skyline = Skyline::new(&job.skyline)?;
        let sun = sun.cloned().unwrap_or_else(|| Arc::new(SunTrack::over(weather)));
        let site = SiteLight::under(sun, weather, &job.spec.plane, &skyline, job.spec.sky_model);
        Plan::lay(job, weather, site, fits)
    }

    /// Every option on light that is known already: that of `job.spec.plane` under this weather.
    ///
    /// # Errors
    /// As [`Plan::of`].
    pub fn on(job: &Job, weather: &WeatherYear, site: SiteLight) -> Result<Plan, EnergyError> {
        Plan::lay(job, weather, site, &mut Fits::default())
    }

    fn lay(job: &Job, weather: &WeatherYear, site: SiteLight, fits: &mut Fits) -> Result<Plan, EnergyError> {
        let mut notes = job.notes.clone();
        let common = common(job, weather, &site, &mut notes)?;
        let mut cache = PlanCache { modules: std::mem::take(fits), ..PlanCache::default() };
        let options: Result<Vec<PlannedOption>, EnergyError> =
            job.options.iter().map(|option| cache.option(job, option, weather, &site)).collect();
        *fits = cache.modules;
        let options = options?;
        notes.extend(snow_note(job, weather));
        notes.extend(slots_note(&options));
        notes.extend(field_note(&options));
        Ok(Plan { site, common, options, notes })
    }
}

/// What was found when options were planned before on one site under one weather: fits of modules, roofs, shade, snow.
/// It gives the same plans, only sooner.
#[derive(Debug, Default)]
pub struct PlanCache {
    layouts: FitCache,
    fits: Vec<((usize, Face, GroupCurve, Wanted), RoofFit)>,
    modules: Fits,
    arrays: Vec<(ArrayKey, ArrayShade)>,
    rows: Vec<((usize, RowModules, GroupCurve), ArrayShade)>,
    snow: Vec<((usize, u32, SnowSpec), Vec<f64>)>,
    /// Lowest air temperature of the weather, C.
    coldest: Option<f64>,
}

/// What the shade on an array follows from, on one site.
#[derive(Debug)]
struct ArrayKey {
    plane: usize,
    shades: Arc<Vec<SlotShade>>,
    wiring: roof::Wiring,
    groups: u32,
    curve: GroupCurve,
}

impl PartialEq for ArrayKey {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.shades, &other.shades)
            && (self.plane, self.groups) == (other.plane, other.groups)
            && self.curve == other.curve
            && self.wiring == other.wiring
    }
}

impl PlanCache {
    /// A cache that knows the fitted modules of another and nothing of its site.
    pub fn with_models_of(&self) -> PlanCache {
        PlanCache { modules: self.modules.clone(), ..PlanCache::default() }
    }

    /// One option of a job on light that is known already. The site must be the same for all calls on one cache.
    ///
    /// # Errors
    /// As [`Plan::of`].
    pub fn option(
        &mut self,
        job: &Job,
        option: &ResolvedOption,
        weather: &WeatherYear,
        site: &SiteLight,
    ) -> Result<PlannedOption, EnergyError> {
        let t_min = *self.coldest.get_or_insert_with(|| crate::maths::lowest(&weather.t_amb));
        plan_option(job, option, weather, site, t_min, self)
    }

    fn array(&mut self, key: ArrayKey, fit: &RoofFit, light: &PlaneLight) -> ArrayShade {
        known(&mut self.arrays, key, |key| {
            array_shade(&fit.shades, &key.wiring, &fit.path, light, key.groups, &key.curve)
        })
    }

    fn row(&mut self, plane: usize, modules: RowModules, light: &PlaneLight, curve: GroupCurve) -> ArrayShade {
        known(&mut self.rows, (plane, modules, curve), |_| row_shade(&light.row_shaded, light, &modules, &curve))
    }

    fn snow(&mut self, job: &Job, weather: &WeatherYear, site: &SiteLight, plane: usize, groups: u32) -> Vec<f64> {
        let Some(spec) = &job.spec.snow else { return Vec::new() };
        known(&mut self.snow, (plane, groups, spec.clone()), |_| {
            snow_kept(job, weather, site, &site.planes[plane], groups)
        })
    }
}

/// What is known under a key, or is then.
fn known<K: PartialEq, V: Clone>(all: &mut Vec<(K, V)>, key: K, make: impl FnOnce(&K) -> V) -> V {
    if let Some((_, value)) = all.iter().find(|(k, _)| *k == key) {
        return value.clone();
    }
    let value = make(&key);
    all.push((key, value.clone()));
    value
}

/// Losses of the site and what lies behind the inverter, for all options of a job.
///
/// # Errors
/// As [`Plan::of`].
pub fn common_of(job: &Job, weather: &WeatherYear, site: &SiteLight) -> Result<Common, EnergyError> {
    common(job, weather, site, &mut Vec::new())
}

/// Says when snow is left out although it may fall.
fn snow_note(job: &Job, weather: &WeatherYear) -> Option<Note> {
    match (&job.spec.snow, &weather.snow_depth_cm) {
        (None, _) => Some(Note::quiet(
            "snow.not-modelled",
            "Snow on the modules is not modelled: the job has no [snow] section.",
        )),
        (Some(spec), None) if spec.model != "none" => Some(Note::loud(
            "snow.not-modelled",
            "Snow on the modules is not modelled although the job asks for it: the weather file holds no snow depth.",
        )),
        _ => None,
    }
}

/// Who has to take shaded slots and who has not.
fn slots_note(options: &[PlannedOption]) -> Option<Note> {
    if options.iter().all(|o| o.on_shaded_slots == 0) {
        return None;
    }
    let each = options.iter().filter(|o| !o.roof.is_empty()).map(|o| match o.on_shaded_slots {
        0 => format!("{} none", o.tag),
        n => format!("{} {n}", o.tag),
    });
    Some(Note::loud(
        "roof.shaded-slots",
        format!(
            "Modules on slots that lose {:.0} % or more of their yearly yield to obstacles: {}.",
            100.0 * roof::UNSHADED_LOSS,
            each.collect::<Vec<_>>().join(", ")
        ),
    ))
}

/// Strings, racks, cable and land side by side.
fn field_note(options: &[PlannedOption]) -> Option<Note> {
    let each: Vec<String> = options
        .iter()
        .filter(|o| !o.field.is_empty())
        .map(|o| {
            let rows: Vec<String> = o
                .field
                .iter()
                .filter(|(_, f)| f.rows > 1)
                .map(|(_, f)| format!(", {} rows of up to {} modules side by side", f.rows, f.per_row))
                .collect();
            let rack: f64 = o.field.iter().map(|(_, f)| f.rack_m).sum();
            let land: f64 = o.field.iter().map(|(_, f)| f.land_m2).sum();
            let strings = if o.strings.is_empty() { String::new() } else { format!(" in {} strings", o.strings.len()) };
            let cable = o.check.cable.dc_m.map_or(String::new(), |m| format!(", {m:.0} m of single DC cable"));
            format!(
                "{}: {} modules{strings}{}, {rack:.0} m of rack, {land:.0} m2 of land{cable}",
                o.tag,
                o.setup.nameplate.modules,
                rows.concat()
            )
        })
        .collect();
    // Where the number of rows is open the rows are no plan yet.
    let planned = options.iter().flat_map(|o| &o.field).any(|(_, f)| f.rows > 1);
    let text = format!("Field. {}.", each.join("; "));
    (!each.is_empty()).then(|| Note { loud: planned, ..Note::quiet("field.use", text) })
}

/// Share of light that dirt leaves, per daylight step.
fn clean_kept(
    job: &Job,
    weather: &WeatherYear,
    site: &SiteLight,
    notes: &mut Vec<Note>,
) -> Result<Vec<f64>, EnergyError> {
    let losses = &job.spec.losses;
    let kept = |pct: f64| 1.0 - (pct / 100.0).clamp(0.0, 1.0);
    let Some(model) = &losses.dirt_model else { return Ok(site.spread(&losses.dirt_pct.months().map(kept))) };
    let Some(rain) = &weather.rain_mm else {
        return Err(EnergyError::NoRain { file: weather.provenance.file.clone() });
    };
    let per_day = weather.steps_per_day.max(1);
    let days: Vec<f64> = rain.chunks(per_day).map(|day| day.iter().sum()).collect();
    if days.iter().all(|&mm| mm < model.rain_threshold_mm) {
        notes.push(Note::loud(
            "dirt.never-washed",
            format!(
                "No day of the weather file has {} mm of rain: dirt grows from a clean 1 January to the end of December. \
                 Where the modules are cleaned by hand, state losses.dirt_pct instead.",
                model.rain_threshold_mm
            ),
        ));
    }
    let loss = dirt_of_year(&days, model.daily_pct, model.rain_threshold_mm, model.damp_days);
    Ok(site.sun.steps.iter().map(|&i| loss.get(i as usize / per_day).map_or(1.0, |&pct| kept(pct))).collect())
}

/// Share of the power that snow leaves on a plane, per daylight step; empty when none ever lies on it. `groups`: bypass
/// groups one above the other up the slant. The year follows on itself: January begins as December ends.
fn snow_kept(job: &Job, weather: &WeatherYear, site: &SiteLight, plane: &PlaneOfSite, groups: u32) -> Vec<f64> {
    let (Some(spec), Some(depth)) = (&job.spec.snow, &weather.snow_depth_cm) else { return Vec::new() };
    if spec.model == "none" || depth.iter().all(|&cm| cm <= 0.0) {
        return Vec::new();
    }
    let tilt = &plane.light.tilt_deg;
    let fixed = if tilt.len() == 1 { tilt[0].to_radians().sin() } else { 0.0 };
    let step_h = weather.step_h();
    let mut kept = vec![1.0; site.len()];
    let mut snow = SnowCover::new(0.0);
    for last in [false, true] {
        let mut k = 0;
        for i in 0..weather.len() {
            let day = site.sun.steps.get(k) == Some(&(i as u32));
            let poa = if day { plane.light.poa(k) } else { 0.0 };
            // A tracker stands level at night.
            let sin_tilt = if day && tilt.len() > 1 { tilt[k].to_radians().sin() } else { fixed };
            let covered = snow.step(depth[i], weather.t_amb[i], poa, sin_tilt, step_h, spec.fresh_cm);
            if day {
                if last {
                    kept[k] = power_under_snow(covered, groups);
                }
                k += 1;
            }
        }
    }
    if kept.iter().all(|&x| x == 1.0) { Vec::new() } else { kept }
}

/// Bypass groups one above the other up the slant of `high` modules.
fn groups_up(face: &Face, orientation: Orientation, high: u32) -> u32 {
    high.max(1)
        * match orientation {
            Orientation::Landscape => face.groups,
            Orientation::Portrait => 1 + u32::from(face.halves),
        }
}

fn common(job: &Job, weather: &WeatherYear, site: &SiteLight, notes: &mut Vec<Note>) -> Result<Common, EnergyError> {
    let tag = || "of all".to_string();
    let plant = |source| EnergyError::Plant { tag: tag(), source };
    let inverters = job.options.first().map_or(1, |o| o.inverters);
    let phases = job.options.first().and_then(|o| job.inverter(o).phases).unwrap_or(3);
    let mut load_w = Vec::new();
    if !job.load_kw.is_empty() {
        if job.load_kw.len() != weather.len() {
            return Err(EnergyError::Load { found: job.load_kw.len(), expected: weather.len() });
        }
        load_w = site.sun.steps.iter().map(|&i| job.load_kw[i as usize] * 1000.0).collect();
    }
    let transformer = job.spec.grid.transformer.as_ref().map(Transformer::new).transpose().map_err(plant)?;
    Ok(Common {
        clean_kept: clean_kept(job, weather, site, notes)?,
        outage: Fraction::from_percent(job.spec.losses.outage_pct).unwrap_or(Fraction::ZERO),
        ac_cable: Some(AcCable::of(&job.spec.cable, phases, inverters).map_err(plant)?)
            .filter(|cable| cable.per_w > 0.0),
        transformer,
        export_limit: ExportLimit::new(&job.spec.grid).map_err(plant)?,
        load_w,
    })
}

fn plan_option(
    job: &Job,
    option: &ResolvedOption,
    weather: &WeatherYear,
    site: &SiteLight,
    t_min: f64,
    cache: &mut PlanCache,
) -> Result<PlannedOption, EnergyError> {
    let sheet = job.module(option);
    let inverter_sheet = job.inverter(option);
    let module = |source| EnergyError::Module { tag: option.module.clone(), source };
    let plant = |source| EnergyError::Plant { tag: option.tag.clone(), source };
    let mut notes = Vec::new();

    // The module.
    let fitted = cache.modules.of(job, &option.module, sheet).map_err(module)?;
    let (electrical, glass) = (fitted.electrical.clone(), fitted.glass.clone());
    notes.extend_from_slice(&fitted.notes);
    let thermal: Vec<Thermal> =
        site.planes.iter().map(|p| Thermal::new(&p.spec.cooling, sheet, site.wind_height_m)).collect();
    let (light_induced, mut more) = light_induced(sheet);
    notes.append(&mut more);
    let spectrum = if job.spec.spectrum { spectrum(sheet, weather, site, &mut notes) } else { None };

    // How many, on which slots, in which strings.
    let places = Places::of(job, option, site, weather, cache)?;
    let question = StringQuestion {
        tag: option.tag.clone(),
        module: sheet.clone(),
        inverter: inverter_sheet.clone(),
        inverters: option.inverters,
        modules: Some(places.modules),
        target_kw: option.target_kw,
        strings: option.strings.clone(),
        module_converters: option.module_converters,
        spec: job.spec.strings.clone(),
        cable: job.spec.cable.clone(),
        weather_t_min_c: t_min.is_finite().then_some(t_min),
    };
    let fitted = cache.modules.of(job, &option.module, sheet).map_err(module)?;
    let curve = Asked { electrical: &electrical, known: RefCell::new(&mut fitted.points) };
    let check = check(&question, Some(&curve)).map_err(plant)?;
    notes.extend(check.notes.iter().cloned());
    let strings = check.strings.clone();
    let dealt = places.deal(option, &check.layout.inverters, &strings)?;

    // Shade by obstacles and rows.
    let curve = group_curve(sheet);
    let face = face(sheet);
    let mut shade = Vec::new();
    let mut field = Vec::new();
    let mut roof = Vec::new();
    let mut on_shaded_slots = 0;
    let mut taken = Vec::new();
    for (k, &p) in option.planes.iter().enumerate() {
        let plane = &site.planes[p];
        let count = dealt.counts[k];
        if count == 0 {
            continue;
        }
        let mut part = PartShade::default();
        // Modules one above the other up the slant, and how they lie: alone and upright where nothing says otherwise.
        let (mut orientation, mut high) = (Orientation::Portrait, 1);
        if places.sized[k] {
            let fit = fit(cache, option, sheet, site, p, weather, &curve, Wanted::Modules(count))?;
            on_shaded_slots += fit.shaded_in_use();
            let wiring = dealt.roof_wiring(k, &fit.chosen, option.module_converters);
            let key = ArrayKey { plane: p, shades: fit.shades.clone(), wiring, groups: curve_groups(sheet), curve };
            part = PartShade::of(cache.array(key, &fit, &plane.light), &site.sun.month_start);
            orientation = fit.layout.orientation;
            high = fit.layout.slots.iter().map(|s| s.row).max().unwrap_or(1);
            roof.push(
                RoofMap::of(&plane.spec, &fit, sheet.p_stc_w)
                    .map_err(|source| EnergyError::Roof { tag: option.tag.clone(), source })?,
            );
        }
        if let Some(rows) = &plane.spec.rows {
            if !plane.spec.obstacles.is_empty() {
                notes.push(Note::loud(
                    "rows.obstacles",
                    format!(
                        "Plane \"{}\" has rows and obstacles: the shade of obstacles on rows is not computed, so the \
                         energy is too high by it.",
                        plane.spec.name
                    ),
                ));
            }
            orientation = RowModules::orientation_for(&face, rows.slant_m, rows.high);
            high = rows.high.max(1);
            notes.extend(slant_note(&option.tag, &plane.spec.name, &face, orientation, rows, plane.spec.gap_m));
            let of_field = field_use(
                &plane.spec.name,
                count,
                &face,
                orientation,
                high,
                plane.spec.gap_m,
                rows.pitch_m,
                rows.count.unwrap_or(1),
                plane.spec.setback_m,
            );
            match of_field {
                Ok(of_field) => field.push((plane.spec.name.clone(), of_field)),
                Err(e) => notes.push(Note::loud("field.not-counted", format!("Racks and land are not counted: {e}"))),
            }
            if !plane.light.row_shaded.is_empty() {
                let modules =
                    RowModules { face, orientation, high: rows.high, rows: rows.count, string_per_height: false };
                part = combine(part, cache.row(p, modules, &plane.light, curve), site);
            }
        }
        part.snow_kept = cache.snow(job, weather, site, p, groups_up(&face, orientation, high));
        taken.push((p, f64::from(count) / f64::from(places.modules)));
        shade.push(part);
    }

    // What the module carries, next to what the engineer states.
    let mut loads = Vec::new();
    if let Some(site_load) = &job.spec.loads {
        loads = loads::check(&sheet.clamp_zones, site_load).map_err(plant)?;
        for line in loads.iter().filter(|l| l.site_pa.is_some()) {
            let text = format!("Option {}: {} {}", option.tag, line.text, loads::REFER);
            notes.push(match line.carries {
                Some(true) => Note::quiet("loads.carried", text),
                Some(false) => Note::loud("loads.not-carried", text),
                None => Note::loud("loads.not-checked", text),
            });
        }
    }

    // Wiring.
    let cable = |n: u32| {
        StringCable::of(&job.spec.cable, n, sheet.v_mp, sheet.i_mp)
            .map_err(|source| EnergyError::Plant { tag: option.tag.clone(), source })
    };
    let mut inputs = Vec::new();
    for input in &dealt.inputs {
        let mut sets: Vec<StringsOfInput> = Vec::new();
        for &(part, n_series) in input {
            match sets.iter_mut().find(|s| s.part == part && s.n_series == n_series) {
                Some(set) => set.count += 1,
                None => sets.push(StringsOfInput { part, n_series, count: 1, loop_ohm: cable(n_series)?.loop_ohm }),
            }
        }
        match inputs.iter_mut().find(|i: &&mut InputStrings| i.strings == sets) {
            Some(same) => same.alike += 1,
            None => inputs.push(InputStrings { alike: 1, strings: sets }),
        }
    }
    let p_stc = sheet.p_stc_w;
    let converter = match (&inverter_sheet.module_converter, option.module_converters) {
        (Some(spec), true) => Some(Arc::new(ModuleConverter::new(spec).map_err(plant)?)),
        _ => None,
    };
    // A lumped array: the cable of a string of twenty, whose share of power hardly depends on the length. Behind
    // converters the string runs at their voltage.
    let longest = strings.iter().copied().max().unwrap_or(20);
    let amps = match converter.as_ref().and_then(|c| c.v_string()) {
        Some(v) => f64::from(longest) * p_stc / v,
        None => sheet.i_mp,
    };
    let cable_at_stc = cable(longest)?.loss_w(amps) / (f64::from(longest) * p_stc);
    let wiring = Wiring {
        electrical: electrical.clone(),
        p_module_w: p_stc,
        converter,
        mismatch: if option.module_converters {
            Fraction::ZERO
        } else {
            Fraction::from_percent(job.spec.losses.mismatch_pct).unwrap_or(Fraction::ZERO)
        },
        cable_at_stc,
        inputs: if option.module_converters { Vec::new() } else { inputs },
        limits: InputLimits { window_v: inverter_sheet.window_v, i_max: inverter_sheet.i_input_max },
    };
    let inverter = Inverter::on_grid(inverter_sheet, job.spec.cable.ac_v).map_err(plant)?;
    notes.extend(inverter.notes().iter().cloned());
    Ok(PlannedOption {
        tag: option.tag.clone(),
        module: option.module.clone(),
        inverter: option.inverter.clone(),
        strings: dealt.strings(),
        setup: Setup {
            nameplate: Nameplate { modules: places.modules, p_stc_w: p_stc },
            low_light: electrical.clone(),
            heat: Heat { electrical, thermal: Arc::new(thermal) },
            glass,
            rear: Rear {
                bifaciality: sheet.bifaciality.unwrap_or(0.0),
                kept: REAR_STRUCTURE_KEPT * REAR_UNEVEN_KEPT,
                spectrum,
            },
            light_induced,
            wiring,
            conversion: Conversion { inverter: Arc::new(inverter), count: option.inverters },
            mounting: Mounting { parts: taken },
            shade: Arc::new(shade),
        },
        check,
        roof,
        on_shaded_slots,
        field,
        loads,
        notes,
    })
}

/// Factor of the colour of the light on each daylight step, or a note why there is none.
fn spectrum(
    sheet: &ModuleSheet,
    weather: &WeatherYear,
    site: &SiteLight,
    notes: &mut Vec<Note>,
) -> Option<Arc<Vec<f64>>> {
    let Some(water) = &weather.precipitable_water_cm else {
        notes.push(Note::loud(
            "energy.no-spectrum",
            "spectrum = true, but the weather file holds no precipitable water: the colour of the light is not corrected for.",
        ));
        return None;
    };
    let Some(model) = Spectrum::of(sheet.technology) else {
        notes.push(Note::loud(
            "energy.no-spectrum",
            "spectrum = true, but no published coefficients are known here for the module's technology (or the sheet \
             states none): the colour of the light is not corrected for.",
        ));
        return None;
    };
    let steps = &site.sun.steps;
    let sea_level = crate::sun::pressure_hpa(0.0);
    let usual = crate::sun::pressure_hpa(weather.place.elevation_m);
    let mass: Vec<f64> = steps
        .iter()
        .zip(&site.sun.air_mass)
        .map(|(&i, m)| m * weather.pressure.as_ref().map_or(usual, |p| p[i as usize]) / sea_level)
        .collect();
    let water: Vec<f64> = steps.iter().map(|&i| water[i as usize]).collect();
    let mut factor = vec![1.0; steps.len()];
    model.factor(&mass, &water, &mut factor);
    notes.push(Note::quiet(
        "energy.spectrum",
        "Colour of the light: first-order correction by air mass and precipitable water after Lee and Panchula (2016), \
         coefficients from memory; a line of the account.",
    ));
    Some(Arc::new(factor))
}

fn matrix(job: &Job, tag: &str) -> Result<Option<Matrix>, ModuleError> {
    job.matrices
        .get(tag)
        .map(|rows| Matrix::new(rows.iter().map(|r| Cell { g: r[0], t: r[1], p: r[2] }).collect()))
        .transpose()
}

fn face(sheet: &ModuleSheet) -> Face {
    let (a, b) = (sheet.length_mm / 1000.0, sheet.width_mm / 1000.0);
    Face {
        length_m: a.max(b),
        width_m: a.min(b),
        groups: curve_groups(sheet),
        halves: sheet.half_cells.unwrap_or(false),
    }
}

/// Rows whose slant is not that of the modules in them: shade and land would not fit together.
fn slant_note(
    tag: &str,
    plane: &str,
    face: &Face,
    orientation: Orientation,
    rows: &crate::plane::RowsSpec,
    gap_m: f64,
) -> Option<Note> {
    let (side, lie) = match orientation {
        Orientation::Portrait => (face.length_m, "upright"),
        Orientation::Landscape => (face.width_m, "lying"),
    };
    let high = f64::from(rows.high.max(1));
    let slant = high * side + (high - 1.0) * gap_m;
    ((slant - rows.slant_m).abs() > 0.05 * slant).then(|| {
        Note::loud(
            "rows.slant",
            format!(
                "Option {tag}: {} {lie} one above the other measure {slant:.3} m up the slope, while \
                 plane \"{plane}\" has rows.slant_m = {}. Shade counts slant_m, land the modules: correct slant_m \
                 or high.",
                if rows.high == 1 { "one module".to_string() } else { format!("{} modules", rows.high) },
                rows.slant_m
            ),
        )
    })
}

fn curve_groups(sheet: &ModuleSheet) -> u32 {
    sheet.bypass_groups.unwrap_or(3).clamp(1, 6)
}

fn group_curve(sheet: &ModuleSheet) -> GroupCurve {
    GroupCurve::of(sheet.v_mp, sheet.i_mp, sheet.v_oc, sheet.i_sc, curve_groups(sheet))
}

fn fit(
    cache: &mut PlanCache,
    option: &ResolvedOption,
    sheet: &ModuleSheet,
    site: &SiteLight,
    p: usize,
    weather: &WeatherYear,
    curve: &GroupCurve,
    wanted: Wanted,
) -> Result<RoofFit, EnergyError> {
    let plane = &site.planes[p];
    let (pr, step_min) = ([RANK_PR], weather.step_min());
    let key = (p, face(sheet), *curve, wanted);
    if let Some((_, fit)) = cache.fits.iter().find(|(k, _)| *k == key) {
        return Ok(fit.clone());
    }
    let fit = cache
        .layouts
        .fit(p, &plane.spec, &key.1, &site.sun, &plane.light, &pr, step_min, curve, wanted)
        .map_err(|source| EnergyError::Roof { tag: option.tag.clone(), source })?;
    cache.fits.push((key, fit.clone()));
    Ok(fit)
}

/// Obstacles and rows on the same plane: the shares multiply.
fn combine(part: PartShade, rows: ArrayShade, site: &SiteLight) -> PartShade {
    let rows = PartShade::of(rows, &site.sun.month_start);
    let times = |a: Vec<f64>, b: Vec<f64>| {
        if a.is_empty() {
            b
        } else if b.is_empty() {
            a
        } else {
            a.iter().zip(&b).map(|(x, y)| x * y).collect()
        }
    };
    PartShade {
        beam_kept: times(part.beam_kept, rows.beam_kept),
        sky_kept: times(part.sky_kept, rows.sky_kept),
        power_kept: times(part.power_kept, rows.power_kept),
        snow_kept: part.snow_kept,
    }
}

/// How many modules on which plane.
struct Places {
    modules: u32,
    /// Whether each plane of the option has dimensions.
    sized: Vec<bool>,
    /// Modules wanted on each plane of the option.
    wanted: Vec<u32>,
    /// Most modules each plane takes.
    most: Vec<u32>,
}

impl Places {
    fn of(
        job: &Job,
        option: &ResolvedOption,
        site: &SiteLight,
        weather: &WeatherYear,
        cache: &mut PlanCache,
    ) -> Result<Places, EnergyError> {
        let sheet = job.module(option);
        let curve = group_curve(sheet);
        let sized: Vec<bool> = option
            .planes
            .iter()
            .map(|&p| {
                let spec = &site.planes[p].spec;
                spec.rows.is_none() && (spec.size_m.is_some() || !spec.outline_m.is_empty())
            })
            .collect();
        let all_sized = sized.iter().all(|s| *s);
        // Rows on a rectangle: how many modules they hold.
        let in_rows: Vec<Option<u32>> =
            option.planes.iter().map(|&p| row_places(&site.planes[p].spec, &face(sheet))).collect();
        if let (Some(n), 1) = (option.n_modules, option.planes.len()) {
            if let Some(slots) = in_rows[0].filter(|&most| most < n) {
                let plane = site.planes[option.planes[0]].spec.name.clone();
                let source = RoofError::TooMany { plane, wanted: n, slots };
                return Err(EnergyError::Roof { tag: option.tag.clone(), source });
            }
            return Ok(Places { modules: n, sized, wanted: vec![n], most: vec![u32::MAX] });
        }
        if !all_sized {
            let held = || in_rows.iter().copied().sum::<Option<u32>>().filter(|&n| n > 0);
            if let (None, Some(n)) = (option.n_modules, held()) {
                let wanted: Vec<u32> = in_rows.iter().flatten().copied().collect();
                return Ok(Places { modules: n, sized, most: wanted.clone(), wanted });
            }
            let Some(n) = option.n_modules else { return Err(EnergyError::NoCount { tag: option.tag.clone() }) };
            let planes = option.planes.len() as u32;
            let wanted = (0..planes).map(|k| n / planes + u32::from(k < n % planes)).collect();
            return Ok(Places { modules: n, sized, wanted, most: vec![u32::MAX; planes as usize] });
        }
        // Every plane has dimensions: the best slots of all of them.
        let mut slots: Vec<(f64, usize)> = Vec::new();
        let mut most = Vec::new();
        for (k, &p) in option.planes.iter().enumerate() {
            let fit = fit(cache, option, sheet, site, p, weather, &curve, Wanted::Fill)?;
            most.push(fit.curve.len() as u32);
            slots.extend(fit.curve.iter().map(|&y| (y, k)));
        }
        slots.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let n = option.n_modules.unwrap_or(slots.len() as u32);
        if n == 0 {
            return Err(EnergyError::NoCount { tag: option.tag.clone() });
        }
        if n as usize > slots.len() {
            let name = option.planes.iter().map(|&p| site.planes[p].spec.name.as_str()).collect::<Vec<_>>().join(", ");
            let source = RoofError::TooMany { plane: name, wanted: n, slots: slots.len() as u32 };
            return Err(EnergyError::Roof { tag: option.tag.clone(), source });
        }
        let mut wanted = vec![0; option.planes.len()];
        for &(_, k) in &slots[..n as usize] {
            wanted[k] += 1;
        }
        Ok(Places { modules: n, sized, wanted, most })
    }

    /// Whole strings to planes: the longest first, each to the plane that is furthest from what it wants.
    fn deal(
        &self,
        option: &ResolvedOption,
        inverters: &[InverterLayout],
        strings: &[u32],
    ) -> Result<Dealt, EnergyError> {
        if strings.is_empty() {
            let parts = self.wanted.iter().filter(|&&n| n > 0).count();
            return Ok(Dealt { counts: self.wanted.clone(), inputs: Vec::new(), lengths: vec![Vec::new(); parts] });
        }
        let mut counts = vec![0_u32; self.wanted.len()];
        // Inputs in order; a string goes where most is still wanted, so that strings of one input stay together.
        let mut inputs = Vec::new();
        let mut lengths = vec![Vec::new(); self.wanted.len()];
        for input in inverters.iter().flat_map(|i| &i.inputs) {
            let mut here = Vec::new();
            for &n in input {
                let room = |k: usize| i64::from(self.wanted[k]) - i64::from(counts[k]);
                let fits = |k: &usize| counts[*k] + n <= self.most[*k];
                let Some(k) = (0..counts.len()).filter(fits).max_by_key(|&k| (room(k), std::cmp::Reverse(k))) else {
                    return Err(EnergyError::Planes {
                        tag: option.tag.clone(),
                        modules: self.modules,
                        strings: strings.len(),
                        planes: counts.len(),
                    });
                };
                counts[k] += n;
                lengths[k].push(n);
                here.push((k, n));
            }
            inputs.push(here);
        }
        // Number the parts as the mounting will: planes without modules are left out.
        let mut index = vec![0; counts.len()];
        let mut next = 0;
        for (k, &n) in counts.iter().enumerate() {
            index[k] = next;
            next += usize::from(n > 0);
        }
        for input in &mut inputs {
            for string in input {
                string.0 = index[string.0];
            }
        }
        Ok(Dealt { counts, inputs, lengths })
    }
}

/// Strings on planes and inputs.
struct Dealt {
    /// Modules on each plane of the option.
    counts: Vec<u32>,
    /// Part and length of the strings of each input.
    inputs: Vec<Vec<(usize, u32)>>,
    /// Lengths of the strings on each plane of the option.
    lengths: Vec<Vec<u32>>,
}

impl Dealt {
    fn strings(&self) -> Vec<u32> {
        self.inputs.iter().flatten().map(|s| s.1).collect()
    }

    /// The chosen slots of a plane, neighbours first, cut into its strings.
    fn roof_wiring(&self, plane: usize, chosen: &[usize], converters: bool) -> roof::Wiring {
        match self.lengths.get(plane) {
            _ if converters => roof::Wiring::EachModule(chosen.to_vec()),
            Some(lengths) if !lengths.is_empty() => roof::Wiring::in_turn(chosen, lengths),
            // A lumped array says nothing about strings; each module counts on its own.
            _ => roof::Wiring::EachModule(chosen.to_vec()),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    // Counted by hand: strips lie along the long side, the halves of half cells one above the other.
    #[test]
    fn groups_stand_one_above_the_other() {
        let face = |halves| Face { length_m: 1.7, width_m: 1.1, groups: 3, halves };
        let up = |halves, orientation, high| groups_up(&face(halves), orientation, high);
        assert_eq!((up(false, Orientation::Portrait, 1), up(true, Orientation::Portrait, 1)), (1, 2));
        assert_eq!((up(true, Orientation::Portrait, 2), up(true, Orientation::Landscape, 1)), (4, 3));
        assert_eq!((up(false, Orientation::Landscape, 2), up(false, Orientation::Landscape, 0)), (6, 3));
    }

    #[test]
    fn a_module_is_fitted_once_and_gives_the_same_plan() {
        let mut job = crate::job::load(Path::new("configs/two-skies/cloudy.toml")).unwrap();
        let weather = crate::sky::read(&job.weather_path(), &job.read_hints().unwrap()).unwrap();
        let sun = Arc::new(SunTrack::over(&weather));
        let mut fits = Fits::default();
        let alone = Plan::of(&job, &weather).unwrap();
        let modules = alone.options.iter().map(|o| &o.module).collect::<std::collections::BTreeSet<_>>().len() as u64;
        for _ in 0..3 {
            let shared = Plan::under(&job, &weather, Some(&sun), &mut fits).unwrap();
            assert_eq!(shared.years(), alone.years());
            for (a, b) in shared.options.iter().zip(&alone.options) {
                assert_eq!((&a.check, &a.notes), (&b.check, &b.notes));
            }
        }
        assert_eq!(fits.made, modules);
        // Another sheet under the same tag is another module.
        let tag = job.options[0].module.clone();
        job.modules.get_mut(&tag).unwrap().gamma_pct_per_k -= 0.01;
        let shared = Plan::under(&job, &weather, Some(&sun), &mut fits).unwrap();
        assert_eq!(shared.years(), Plan::of(&job, &weather).unwrap().years());
        assert_ne!(shared.years(), alone.years());
        assert_eq!(fits.made, modules + 1);
    }

    // By hand: two modules of 1.7 m upright with 0.02 m between them measure 3.42 m, of which 5 % are 0.171 m.
    #[test]
    fn rows_of_another_slant_than_their_modules_are_told_of() {
        let face = Face { length_m: 1.7, width_m: 1.1, groups: 3, halves: false };
        let told = |orientation, high, slant_m: f64| {
            let rows = crate::plane::RowsSpec { pitch_m: 6.0, slant_m, high, clearance_m: 0.5, count: None };
            slant_note("A", "field", &face, orientation, &rows, 0.02).map(|note| note.text)
        };
        for slant in [3.42, 3.26, 3.58] {
            assert_eq!(told(Orientation::Portrait, 2, slant), None, "{slant}");
        }
        for slant in [3.24, 3.60] {
            assert!(told(Orientation::Portrait, 2, slant).unwrap().contains("2 modules upright"), "{slant}");
        }
        assert!(told(Orientation::Portrait, 1, 3.42).unwrap().contains("measure 1.700 m"));
        assert!(told(Orientation::Landscape, 3, 3.42).is_none() && told(Orientation::Landscape, 3, 3.34).is_none());
        assert!(told(Orientation::Landscape, 2, 3.42).unwrap().contains("measure 2.220 m"));
    }

    #[test]
    fn shares_of_obstacles_and_rows_multiply() {
        let job = crate::job::load(Path::new("configs/two-skies/cloudy.toml")).unwrap();
        let weather = crate::sky::read(&job.weather_path(), &job.read_hints().unwrap()).unwrap();
        let site = Plan::of(&job, &weather).unwrap().site;
        let n = site.len();
        let shade = |beam: f64, sky: f64, power: f64| ArrayShade {
            light_kept_beam: vec![beam; n],
            sky_kept: [sky; 12],
            electrical_kept: vec![power; n],
        };
        let part = |shade| PartShade::of(shade, &site.sun.month_start);
        let both = combine(part(shade(0.9, 0.8, 0.7)), shade(0.5, 0.5, 0.5), &site);
        for (column, want) in [(&both.beam_kept, 0.45), (&both.sky_kept, 0.4), (&both.power_kept, 0.35)] {
            assert!(column.len() == n && column.iter().all(|x| (x - want).abs() < 1e-12));
        }
        // One alone stays what it is.
        for alone in [
            combine(part(ArrayShade::none()), shade(0.9, 0.8, 0.7), &site),
            combine(part(shade(0.9, 0.8, 0.7)), ArrayShade::none(), &site),
        ] {
            assert!(alone.beam_kept == vec![0.9; n] && alone.power_kept == vec![0.7; n]);
            assert!(alone.sky_kept.iter().all(|x| (x - 0.8).abs() < 1e-12));
        }
    }
}
