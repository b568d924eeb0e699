//! From a checked job and a weather year to setups that the chain can run.

use std::sync::Arc;

use super::setup::{
    Common, Conversion, Heat, InputStrings, Mounting, Nameplate, PartShade, Rear, Setup, StringsOfInput, Wiring,
};
use super::site::SiteLight;
use crate::job::{Job, ResolvedOption};
use crate::module::{Cell, Electrical, Glass, Matrix, ModuleError, ModuleSheet, Thermal, light_induced};
use crate::plane::{Skyline, SkylineError};
use crate::plant::{
    AcCable, ExportLimit, InputLimits, Inverter, InverterLayout, ModuleConverter, PlantError, StringCable, StringCheck,
    StringQuestion, Transformer, check,
};
use crate::roof::{
    self, ArrayShade, Face, GroupCurve, Orientation, RoofError, RoofFit, RoofMap, RowModules, Wanted, array_shade,
    row_shade,
};
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
    /// Modules on slots that are shaded.
    pub on_shaded_slots: u32,
    /// What the reader should know.
    pub notes: Vec<Note>,
}

impl Plan {
    /// Sun, sky and planes once, then every option.
    ///
    /// # Errors
    /// [`EnergyError`] when a record cannot be turned into physics, or the modules do not fit the planes.
    pub fn of(job: &Job, weather: &WeatherYear) -> Result<Plan, EnergyError> {
        if !weather.is_whole_year() {
            let day = |d: Option<&chrono::NaiveDate>| d.map_or_else(|| "none".to_string(), ToString::to_string);
            return Err(EnergyError::NoYear {
                days: weather.days.len(),
                first: day(weather.days.first()),
                last: day(weather.days.last()),
            });
        }
        let skyline = Skyline::new(&job.skyline)?;
        let site = SiteLight::over(weather, &job.spec.plane, &skyline, job.spec.sky_model);
        Plan::on(job, weather, site)
    }

    /// Every option on light that is known already: that of `job.spec.plane` under this weather.
    ///
    /// # Errors
    /// As [`Plan::of`].
    pub fn on(job: &Job, weather: &WeatherYear, site: SiteLight) -> Result<Plan, EnergyError> {
        let common = common(job, weather, &site)?;
        let t_min = weather.t_amb.iter().copied().fold(f64::INFINITY, f64::min);
        let mut options = Vec::with_capacity(job.options.len());
        for option in &job.options {
            options.push(plan_option(job, option, weather, &site, t_min)?);
        }
        Ok(Plan { site, common, options, notes: job.notes.clone() })
    }
}

fn common(job: &Job, weather: &WeatherYear, site: &SiteLight) -> Result<Common, EnergyError> {
    let tag = || "of all".to_string();
    let plant = |source| EnergyError::Plant { tag: tag(), source };
    let inverters = job.options.first().map_or(1, |o| o.inverters);
    let phases = job.options.first().and_then(|o| job.inverter(o).phases).unwrap_or(3);
    let dirt = job.spec.losses.dirt_pct.months().map(|pct| 1.0 - (pct / 100.0).clamp(0.0, 1.0));
    let mut load_w = Vec::new();
    if !job.load_kw.is_empty() {
        if job.load_kw.len() != weather.len() {
            return Err(EnergyError::Load { found: job.load_kw.len(), expected: weather.len() });
        }
        load_w = site.sun.steps.iter().map(|&i| job.load_kw[i as usize] * 1000.0).collect();
    }
    let transformer = job.spec.grid.transformer.as_ref().map(Transformer::new).transpose().map_err(plant)?;
    Ok(Common {
        clean_kept: site.spread(&dirt),
        outage: Fraction::from_percent(job.spec.losses.outage_pct).unwrap_or(Fraction::ZERO),
        ac_cable: Some(AcCable::of(&job.spec.cable, phases, inverters).map_err(plant)?),
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
) -> Result<PlannedOption, EnergyError> {
    let sheet = job.module(option);
    let inverter_sheet = job.inverter(option);
    let module = |source| EnergyError::Module { tag: option.module.clone(), source };
    let plant = |source| EnergyError::Plant { tag: option.tag.clone(), source };
    let mut notes = Vec::new();

    // The module.
    let matrix = matrix(job, &option.module).map_err(module)?;
    let (electrical, mut more) = Electrical::fit(sheet, matrix.as_ref()).map_err(module)?;
    notes.append(&mut more);
    let electrical = Arc::new(electrical);
    let glass = Glass::from_sheet(sheet).map_err(module)?;
    let thermal: Vec<Thermal> =
        site.planes.iter().map(|p| Thermal::new(&p.spec.cooling, sheet, site.wind_height_m)).collect();
    let (light_induced, mut more) = light_induced(sheet);
    notes.append(&mut more);

    // How many, on which slots, in which strings.
    let places = Places::of(job, option, site, weather)?;
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
    let check = check(&question, Some(electrical.as_ref())).map_err(plant)?;
    notes.extend(check.notes.iter().cloned());
    let strings = check.strings.clone();
    let dealt = places.deal(option, &check.layout.inverters, &strings)?;

    // Shade by obstacles and rows.
    let curve = group_curve(sheet);
    let mut shade = Vec::new();
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
        if places.sized[k] {
            let fit = fit(option, sheet, site, p, weather, &curve, Wanted::Modules(count))?;
            on_shaded_slots += fit.shaded_in_use();
            let wiring = dealt.roof_wiring(k, &fit.chosen, option.module_converters);
            let left = array_shade(&fit.shades, &wiring, &fit.path, &plane.light, curve_groups(sheet), &curve);
            part = PartShade::of(left, &site.sun.month_start);
            roof.push(
                RoofMap::of(&plane.spec, &fit, sheet.p_stc_w)
                    .map_err(|source| EnergyError::Roof { tag: option.tag.clone(), source })?,
            );
        }
        if let Some(rows) = &plane.spec.rows
            && !plane.light.row_shaded.is_empty()
        {
            let modules = RowModules {
                face: face(sheet),
                orientation: Orientation::Landscape,
                high: rows.high,
                rows: rows.count,
                string_per_height: false,
            };
            part = combine(part, row_shade(&plane.light.row_shaded, &plane.light, &modules, &curve), site);
        }
        taken.push((p, f64::from(count) / f64::from(places.modules)));
        shade.push(part);
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
            glass: Arc::new(glass),
            rear: Rear { bifaciality: sheet.bifaciality.unwrap_or(0.0), kept: REAR_STRUCTURE_KEPT * REAR_UNEVEN_KEPT },
            light_induced,
            wiring,
            conversion: Conversion { inverter: Arc::new(inverter), count: option.inverters },
            mounting: Mounting { parts: taken },
            shade: Arc::new(shade),
        },
        check,
        roof,
        on_shaded_slots,
        notes,
    })
}

fn matrix(job: &Job, tag: &str) -> Result<Option<Matrix>, ModuleError> {
    job.matrices
        .get(tag)
        .map(|rows| Matrix::new(rows.iter().map(|r| Cell { g: r[0], t: r[1], p: r[2] }).collect()))
        .transpose()
}

fn face(sheet: &ModuleSheet) -> Face {
    let (a, b) = (sheet.length_mm / 1000.0, sheet.width_mm / 1000.0);
    Face { length_m: a.max(b), width_m: a.min(b), groups: curve_groups(sheet), halves: halves(sheet) }
}

/// Half cells are the rule from 100 cells in series-parallel count on; a sheet with fewer cells in series than 80 and a
/// voltage per cell that fits them is taken as halves when its area says so. Unknown: the harsher case.
fn halves(_sheet: &ModuleSheet) -> bool {
    false
}

fn curve_groups(sheet: &ModuleSheet) -> u32 {
    sheet.bypass_groups.unwrap_or(3).clamp(1, 6)
}

fn group_curve(sheet: &ModuleSheet) -> GroupCurve {
    GroupCurve::of(sheet.v_mp, sheet.i_mp, sheet.v_oc, sheet.i_sc, curve_groups(sheet))
}

fn fit(
    option: &ResolvedOption,
    sheet: &ModuleSheet,
    site: &SiteLight,
    p: usize,
    weather: &WeatherYear,
    curve: &GroupCurve,
    wanted: Wanted,
) -> Result<RoofFit, EnergyError> {
    let plane = &site.planes[p];
    roof::fit(&plane.spec, &face(sheet), &site.sun, &plane.light, &[RANK_PR], weather.step_min(), curve, wanted)
        .map_err(|source| EnergyError::Roof { tag: option.tag.clone(), source })
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
    fn of(job: &Job, option: &ResolvedOption, site: &SiteLight, weather: &WeatherYear) -> Result<Places, EnergyError> {
        let sheet = job.module(option);
        let curve = group_curve(sheet);
        let sized: Vec<bool> = option
            .planes
            .iter()
            .map(|&p| site.planes[p].spec.size_m.is_some() || !site.planes[p].spec.outline_m.is_empty())
            .collect();
        let all_sized = sized.iter().all(|s| *s);
        if let (Some(n), 1) = (option.n_modules, option.planes.len()) {
            return Ok(Places { modules: n, sized, wanted: vec![n], most: vec![u32::MAX] });
        }
        if !all_sized {
            let Some(n) = option.n_modules else { return Err(EnergyError::NoCount { tag: option.tag.clone() }) };
            let planes = option.planes.len() as u32;
            let wanted = (0..planes).map(|k| n / planes + u32::from(k < n % planes)).collect();
            return Ok(Places { modules: n, sized, wanted, most: vec![u32::MAX; planes as usize] });
        }
        // Every plane has dimensions: the best slots of all of them.
        let mut slots: Vec<(f64, usize)> = Vec::new();
        let mut most = Vec::new();
        for (k, &p) in option.planes.iter().enumerate() {
            let fit = fit(option, sheet, site, p, weather, &curve, Wanted::Fill)?;
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
