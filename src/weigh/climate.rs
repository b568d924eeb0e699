//! Skies side by side: where the energy lies in light and cell temperature, and what each module makes of it.
//!
//! Every number is per kW of module at its maximum power point on an open plane: no shade, dirt, wiring or inverter,
//! front side only. The energy of a module under a sky is
//!
//! `Y = sum of G_2 a(G_2) b(G_2, T) (1 - L) dt / 1000`, kWh/kW,
//!
//! with `G_1` the in-plane light after reflection, `G_2` after colour, `T` the cell temperature from `G_1`.

use rayon::prelude::*;
use serde::Serialize;

use crate::energy::SiteLight;
use crate::maths;
use crate::module::{Electrical, Glass, ModuleSheet, Rating, Spectrum, Thermal, rate};
use crate::plane::{PlaneLight, PlaneSpec, SkyModel, Skyline};
use crate::units::{Fraction, G_STC, T_STC};
use crate::weather::WeatherYear;
use crate::weigh::shapley::shapley;

/// Width of a bin of in-plane light, W/m2.
pub const LIGHT_BIN: f64 = 100.0;
/// Width of a bin of cell temperature, K.
pub const HEAT_BIN: f64 = 5.0;
/// Above this 98th-percentile module temperature, C, a module needs a higher thermal class. Source: IEC TS 63126 (from
/// memory): the temperature that is exceeded in 2 % of the hours of a year.
pub const HEAT_LIMIT_C: f64 = 70.0;
/// Light below this counts as weak in the break line, W/m2.
pub const WEAK: f64 = 400.0;

/// A module, ready to stand under any sky.
#[derive(Debug, Clone)]
pub struct ClimateModule {
    /// Its tag in the parts file.
    pub tag: String,
    /// The record.
    pub sheet: ModuleSheet,
    /// Its electrical model.
    pub electrical: Electrical,
    /// Its glass.
    pub glass: Glass,
    /// Its colour response; `None` for none.
    pub spectrum: Option<Spectrum>,
    /// First loss by light.
    pub light_induced: Fraction,
}

/// One sky with the plane that the modules stand on.
#[derive(Debug, Clone)]
pub struct ClimateSky {
    /// Short name, unique.
    pub name: String,
    /// Its year.
    pub weather: WeatherYear,
    /// The plane.
    pub plane: PlaneSpec,
}

/// Sea-level pressure by which the air mass is made absolute, hPa. Source: ISO 2533, standard atmosphere (from memory).
const ATMOSPHERE_HPA: f64 = 1013.25;

/// The causes among which a difference of yield is split, in the order of [`Difference::parts`].
pub const CAUSES: [&str; 5] = ["weak light", "temperature", "incidence", "spectrum", "light-induced loss"];

/// All skies and modules.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClimateStudy {
    /// Module tags; the first is what the others are compared with.
    pub modules: Vec<String>,
    /// In the order of the files.
    pub skies: Vec<SkyResult>,
    /// For each further module, the line at which its ranking against the first turns.
    pub breaks: Vec<BreakLine>,
}

/// One sky.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SkyResult {
    /// Short name.
    pub name: String,
    /// The file's own name of the place.
    pub place: String,
    /// Tilt, degrees, and azimuth, degrees clockwise from north.
    pub plane_deg: [f64; 2],
    /// In-plane irradiation by month, kWh/m2.
    pub months_h_i_kwh_m2: [f64; 12],
    /// The same over the year.
    pub h_i_kwh_m2: f64,
    /// Mean in-plane light, weighted by itself, W/m2.
    pub mean_light_w_m2: f64,
    /// Mean cell temperature of the reference cell, weighted by in-plane light, C. The reference cell has the plane's
    /// cooling as stated and clean glass (Martin and Ruiz, a_r 0.16), whatever modules are compared.
    pub mean_cell_c: f64,
    /// Share of the in-plane irradiation that comes below 200 W/m2.
    pub below_200: f64,
    /// Share that comes below 400 W/m2.
    pub below_400: f64,
    /// In the order of [`ClimateStudy::modules`].
    pub modules: Vec<ModuleUnderSky>,
    /// Each further module against the first.
    pub differences: Vec<Difference>,
}

/// One module under one sky.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ModuleUnderSky {
    /// Tag.
    pub module: String,
    /// Energy at maximum power, kWh/kW, light-induced loss taken.
    pub yield_kwh_per_kw: f64,
    /// 1 for the most.
    pub rank: usize,
    /// Site rating and its four factors, after IEC 61853-3:2018 but on this file's sky; without light-induced loss.
    pub rating: Rating,
    /// Share that the light-induced loss leaves.
    pub light_induced_kept: f64,
    /// Mean cell temperature, weighted by energy, C.
    pub mean_cell_c: f64,
    /// Mean in-plane light, weighted by energy, W/m2.
    pub mean_light_w_m2: f64,
    /// 98th percentile of the module temperature over all hours of the year, C; at night that of the air.
    pub t_98_c: f64,
    /// True when that is above [`HEAT_LIMIT_C`].
    pub too_hot: bool,
    /// Where irradiation and energy lie.
    pub bins: Bins,
}

/// Irradiation and energy by in-plane light (columns) and cell temperature (rows); the bins sum to the whole.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Bins {
    /// Edges between columns, W/m2, ascending.
    pub light_edges_w_m2: Vec<f64>,
    /// Edges between rows, C, ascending.
    pub heat_edges_c: Vec<f64>,
    /// In-plane irradiation, kWh/m2.
    pub h_kwh_m2: Vec<Vec<f64>>,
    /// Energy, kWh/kW.
    pub e_kwh_per_kw: Vec<Vec<f64>>,
}

/// One module against the first under one sky.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Difference {
    /// Tag of the first module.
    pub from: String,
    /// Tag of the other.
    pub to: String,
    /// Yield of the other less that of the first, kWh/kW.
    pub kwh_per_kw: f64,
    /// The same in percent of the first's.
    pub pct: f64,
    /// By cause, in the order of [`CAUSES`], kWh/kW; they sum to the difference.
    pub parts: [f64; 5],
}

/// Where the ranking of two modules turns, in the plane of light-weighted cell temperature and share of weak light.
///
/// `gap(T, w) = constant + per_k (T - 25 C) + per_weak w`, percent of the first module's yield. `per_k` is the
/// temperature part of the exact split over `T - 25 C`, `per_weak` the weak-light part over `w`, each the least-squares
/// line through the origin over the skies of the study; `constant` is the mean of the parts that are left (incidence,
/// spectrum, light-induced loss). The ranking turns where the gap is 0: `T = 25 - (constant + per_weak w) / per_k`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BreakLine {
    /// Tag of the first module.
    pub from: String,
    /// Tag of the other.
    pub to: String,
    /// Percent.
    pub constant_pct: f64,
    /// Percent per K of light-weighted cell temperature above 25 C.
    pub per_k_pct: f64,
    /// Percent per unit of the share of light below [`WEAK`].
    pub per_weak_pct: f64,
    /// Root mean square of what the line leaves of the exact gaps, percent.
    pub residual_pct: f64,
    /// Temperature of the line at no weak light, C, and its change for a share of 1, K; `None` when temperature does
    /// not tell the two apart.
    pub turns_at_c: Option<[f64; 2]>,
    /// True when the sign of the gap changes within the temperatures and shares that the skies span.
    pub within_skies: bool,
}

impl BreakLine {
    /// The gap at a light-weighted cell temperature (C) and a share of weak light, percent of the first's yield.
    pub fn gap_pct(&self, t: f64, weak: f64) -> f64 {
        self.constant_pct + self.per_k_pct * (t - T_STC) + self.per_weak_pct * weak
    }

    /// The temperature at which the ranking turns for a share of weak light, C.
    pub fn turn_c(&self, weak: f64) -> Option<f64> {
        self.turns_at_c.map(|[at, slope]| at + slope * weak)
    }
}

/// The value below which a share `p` (0..1) of the values lies: linear between the two nearest ranks, the rank of the
/// smallest being 0 and of the largest 1. `None` without values.
///
/// Source: Hyndman, R. J., Fan, Y.: Sample quantiles in statistical packages, The American Statistician 50 (1996)
/// 361-365, definition 7 (from memory).
/// ```
/// let x: Vec<f64> = (0..=100).rev().map(f64::from).collect();
/// assert_eq!(yearlight::weigh::climate::percentile(&x, 0.98), Some(98.0));
/// ```
pub fn percentile(values: &[f64], p: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let last = sorted.len().checked_sub(1)?;
    let at = p.clamp(0.0, 1.0) * last as f64;
    let low = (at.floor() as usize).min(last);
    let high = (low + 1).min(last);
    Some(sorted[low] + (sorted[high] - sorted[low]) * (at - low as f64))
}

/// What one sky offers, on the daylight steps.
struct Light<'a> {
    plane: &'a PlaneLight,
    poa: Vec<f64>,
    t_amb: &'a [f64],
    wind: &'a [f64],
    step_h: f64,
}

/// Columns of one module, or of a mix of two.
struct Columns {
    t: Vec<f64>,
    /// Power over rated power.
    rel: Vec<f64>,
}

impl Light<'_> {
    fn after_glass(&self, glass: &Glass) -> Vec<f64> {
        let n = self.poa.len();
        let mut k = vec![0.0; n];
        glass.beam(&self.plane.cos_aoi, &mut k);
        let tilt = self.plane.tilt_deg.first().copied().unwrap_or(0.0);
        let (sky, ground) = (glass.sky(tilt), glass.ground(tilt));
        let light = self.plane;
        (0..n).map(|j| light.beam[j] * k[j] + light.sky[j] * sky + light.ground[j] * ground).collect()
    }

    fn run(&self, cool: &Electrical, heat: (&Electrical, &Thermal), g_1: &[f64], colour: &[f64]) -> Columns {
        let n = self.poa.len();
        let g_2: Vec<f64> = (0..n).map(|j| g_1[j] * colour.get(j).copied().unwrap_or(1.0)).collect();
        let (mut t, mut a, mut b) = (vec![0.0; n], vec![0.0; n], vec![0.0; n]);
        heat.1.t_cell(g_1, self.t_amb, self.wind, &mut t);
        cool.low_light(&g_2, &mut a);
        heat.0.heat(&g_2, &t, &mut b);
        let rel = (0..n).map(|j| g_2[j] * a[j] * b[j] / G_STC).collect();
        Columns { t, rel }
    }

    fn bins(&self, t: &[f64], rel: &[f64]) -> Bins {
        let (mut lo, mut hi) = (f64::INFINITY, f64::NEG_INFINITY);
        let mut most = 0.0_f64;
        for (g, t) in self.poa.iter().zip(t).filter(|(g, _)| **g > 0.0) {
            (lo, hi, most) = (lo.min(*t), hi.max(*t), most.max(*g));
        }
        if lo > hi {
            (lo, hi) = (0.0, 0.0);
        }
        let columns = (most / LIGHT_BIN).floor() as usize + 1;
        let bottom = (lo / HEAT_BIN).floor();
        let rows = ((hi / HEAT_BIN).floor() - bottom) as usize + 1;
        let mut h = vec![vec![0.0; columns]; rows];
        let mut e = h.clone();
        for j in (0..self.poa.len()).filter(|j| self.poa[*j] > 0.0) {
            let c = ((self.poa[j] / LIGHT_BIN).floor() as usize).min(columns - 1);
            let r = ((t[j] / HEAT_BIN).floor() - bottom).clamp(0.0, (rows - 1) as f64) as usize;
            h[r][c] += self.poa[j] * self.step_h / G_STC;
            e[r][c] += rel[j] * self.step_h;
        }
        Bins {
            light_edges_w_m2: (0..=columns).map(|c| LIGHT_BIN * c as f64).collect(),
            heat_edges_c: (0..=rows).map(|r| HEAT_BIN * (bottom + r as f64)).collect(),
            h_kwh_m2: h,
            e_kwh_per_kw: e,
        }
    }
}

/// Mean of a column with weights; 0 where all weights are 0.
fn weighted(x: &[f64], weights: &[f64]) -> f64 {
    let sum: f64 = maths::sum(weights);
    let product: Vec<f64> = x.iter().zip(weights).map(|(x, w)| x * w).collect();
    if sum > 0.0 { maths::sum(&product) / sum } else { 0.0 }
}

/// All modules under all skies.
///
/// A sky without any light on the plane, and an empty list of modules, are left to the caller to refuse: such a sky is
/// left out here.
pub fn climate(skies: &[ClimateSky], modules: &[ClimateModule]) -> ClimateStudy {
    let skies: Vec<SkyResult> = skies.par_iter().filter_map(|sky| under(sky, modules)).collect();
    let breaks = (1..modules.len()).map(|k| break_line(&skies, k - 1, &modules[0].tag, &modules[k].tag)).collect();
    ClimateStudy { modules: modules.iter().map(|m| m.tag.clone()).collect(), skies, breaks }
}

fn under(sky: &ClimateSky, modules: &[ClimateModule]) -> Option<SkyResult> {
    let weather = &sky.weather;
    let site = SiteLight::over(weather, std::slice::from_ref(&sky.plane), &Skyline::default(), SkyModel::Perez);
    let plane = &site.planes[0];
    let light = Light {
        plane: &plane.light,
        poa: plane.light.poa_column(),
        t_amb: &site.sky.t_amb,
        wind: &site.sky.wind,
        step_h: site.step_h,
    };
    let first = modules.first()?;
    let h: f64 = plane.h_i.iter().sum();
    if h <= 0.0 {
        return None;
    }

    // The sky by itself, with the reference cell.
    let bare = ModuleSheet {
        nmot_c: None,
        noct_c: None,
        temperature: None,
        cell_above_back_k: None,
        heat_capacity_j_m2_k: None,
        ..first.sheet.clone()
    };
    let mut reference = vec![0.0; light.poa.len()];
    let clean = light.after_glass(&Glass::MartinRuiz { a_r: crate::module::A_R });
    thermal_of(sky, &bare).t_cell(&clean, light.t_amb, light.wind, &mut reference);
    let below = |limit: f64| {
        let weak: Vec<f64> = light.poa.iter().map(|g| if *g < limit { *g } else { 0.0 }).collect();
        maths::sum(&weak) / maths::sum(&light.poa)
    };

    // Each module.
    let thermals: Vec<Thermal> = modules.iter().map(|m| thermal_of(sky, &m.sheet)).collect();
    let glazed: Vec<Vec<f64>> = modules.iter().map(|m| light.after_glass(&m.glass)).collect();
    let colours: Vec<Vec<f64>> = modules.iter().map(|m| colour(m, weather, &site)).collect();
    let mut results = Vec::with_capacity(modules.len());
    for (k, m) in modules.iter().enumerate() {
        let run = light.run(&m.electrical, (&m.electrical, &thermals[k]), &glazed[k], &colours[k]);
        let kept = m.light_induced.kept();
        let rel: Vec<f64> = run.rel.iter().map(|p| p * kept).collect();
        let rating = rate(
            &m.electrical,
            &m.glass,
            &thermals[k],
            light.plane,
            light.t_amb,
            light.wind,
            &colours[k],
            light.step_h,
        )?;
        let mut all_hours = weather.t_amb.clone();
        for (step, t) in site.sun.steps.iter().zip(&run.t) {
            all_hours[*step as usize] = *t;
        }
        let t_98_c = percentile(&all_hours, 0.98)?;
        results.push(ModuleUnderSky {
            module: m.tag.clone(),
            yield_kwh_per_kw: maths::sum(&rel) * light.step_h,
            rank: 0,
            rating,
            light_induced_kept: kept,
            mean_cell_c: weighted(&run.t, &rel),
            mean_light_w_m2: weighted(&light.poa, &rel),
            t_98_c,
            too_hot: t_98_c > HEAT_LIMIT_C,
            bins: light.bins(&run.t, &rel),
        });
    }
    let yields: Vec<f64> = results.iter().map(|r| r.yield_kwh_per_kw).collect();
    for r in &mut results {
        r.rank = 1 + yields.iter().filter(|y| **y > r.yield_kwh_per_kw).count();
    }

    let differences = (1..modules.len())
        .map(|k| {
            // Bits: weak light, temperature, incidence, spectrum, light-induced loss; set means the other module's.
            let energy = |mask: u32| {
                let pick = |bit: u32| if mask >> bit & 1 == 1 { k } else { 0 };
                let heat = pick(1);
                let run = light.run(
                    &modules[pick(0)].electrical,
                    (&modules[heat].electrical, &thermals[heat]),
                    &glazed[pick(2)],
                    &colours[pick(3)],
                );
                maths::sum(&run.rel) * light.step_h * modules[pick(4)].light_induced.kept()
            };
            let parts = shapley(CAUSES.len(), energy).unwrap_or_default();
            let gap = yields[k] - yields[0];
            Difference {
                from: first.tag.clone(),
                to: modules[k].tag.clone(),
                kwh_per_kw: gap,
                pct: 100.0 * gap / yields[0],
                parts: std::array::from_fn(|i| parts.get(i).copied().unwrap_or(0.0)),
            }
        })
        .collect();
    Some(SkyResult {
        name: sky.name.clone(),
        place: weather.place.name.clone(),
        plane_deg: [sky.plane.tilt_deg, sky.plane.azimuth_deg],
        months_h_i_kwh_m2: plane.h_i,
        h_i_kwh_m2: h,
        mean_light_w_m2: weighted(&light.poa, &light.poa),
        mean_cell_c: weighted(&reference, &light.poa),
        below_200: below(200.0),
        below_400: below(WEAK),
        modules: results,
        differences,
    })
}

fn thermal_of(sky: &ClimateSky, sheet: &ModuleSheet) -> Thermal {
    Thermal::new(&sky.plane.cooling, sheet, sky.weather.wind_height_m)
}

/// The colour factor on the daylight steps; empty where the module has none or the file holds no water and pressure.
fn colour(module: &ClimateModule, weather: &WeatherYear, site: &SiteLight) -> Vec<f64> {
    let (Some(spectrum), Some(water)) = (&module.spectrum, &weather.precipitable_water_cm) else { return Vec::new() };
    let n = site.len();
    let (mut mass, mut cm) = (vec![0.0; n], vec![0.0; n]);
    for (j, step) in site.sun.steps.iter().enumerate() {
        let i = *step as usize;
        let pressure = weather.pressure.as_ref().map_or(ATMOSPHERE_HPA, |p| p[i]);
        mass[j] = site.sun.air_mass[j] * pressure / ATMOSPHERE_HPA;
        cm[j] = water[i];
    }
    let mut out = vec![0.0; n];
    spectrum.factor(&mass, &cm, &mut out);
    out
}

fn break_line(skies: &[SkyResult], k: usize, from: &str, to: &str) -> BreakLine {
    let rows: Vec<(f64, f64, [f64; 5], f64)> = skies
        .iter()
        .map(|s| {
            let base = s.modules[0].yield_kwh_per_kw;
            let d = &s.differences[k];
            (s.mean_cell_c - T_STC, s.below_400, d.parts.map(|p| 100.0 * p / base), d.pct)
        })
        .collect();
    let n = rows.len().max(1) as f64;
    let slope = |x: &dyn Fn(usize) -> f64, y: &dyn Fn(usize) -> f64| {
        let (mut xy, mut xx) = (0.0, 0.0);
        for i in 0..rows.len() {
            xy += x(i) * y(i);
            xx += x(i) * x(i);
        }
        if xx > 1e-12 { xy / xx } else { 0.0 }
    };
    let per_k_pct = slope(&|i| rows[i].0, &|i| rows[i].2[1]);
    let per_weak_pct = slope(&|i| rows[i].1, &|i| rows[i].2[0]);
    let constant_pct = rows.iter().map(|r| r.2[2] + r.2[3] + r.2[4]).sum::<f64>() / n;
    let mut line = BreakLine {
        from: from.to_string(),
        to: to.to_string(),
        constant_pct,
        per_k_pct,
        per_weak_pct,
        residual_pct: 0.0,
        turns_at_c: (per_k_pct.abs() > 1e-6).then(|| [T_STC - constant_pct / per_k_pct, -per_weak_pct / per_k_pct]),
        within_skies: false,
    };
    let rest = rows.iter().map(|r| (r.3 - line.gap_pct(r.0 + T_STC, r.1)).powi(2)).sum::<f64>() / n;
    line.residual_pct = rest.sqrt();
    let span = |f: &dyn Fn(&SkyResult) -> f64| {
        let all = || skies.iter().map(f);
        [all().fold(f64::INFINITY, f64::min), all().fold(f64::NEG_INFINITY, f64::max)]
    };
    let (t, w) = (span(&|s| s.mean_cell_c), span(&|s| s.below_400));
    let corners = [(t[0], w[0]), (t[0], w[1]), (t[1], w[0]), (t[1], w[1])].map(|(t, w)| line.gap_pct(t, w));
    line.within_skies = corners.iter().any(|g| *g > 0.0) && corners.iter().any(|g| *g < 0.0);
    line
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::job;
    use crate::plane::Cooling;
    use proptest::prelude::*;

    pub(crate) fn modules() -> Vec<ClimateModule> {
        let parts = job::load_parts(std::path::Path::new("configs/merrowby-parts.toml")).unwrap();
        ["P410", "N445", "N435B"]
            .into_iter()
            .map(|tag| {
                let sheet = parts.modules[tag].clone();
                ClimateModule {
                    tag: tag.into(),
                    electrical: Electrical::fit(&sheet, None).unwrap().0,
                    glass: Glass::from_sheet(&sheet).unwrap(),
                    spectrum: Spectrum::of(sheet.technology),
                    light_induced: crate::module::light_induced(&sheet).0,
                    sheet,
                }
            })
            .collect()
    }

    pub(crate) fn sky(file: &str) -> ClimateSky {
        let path = std::path::PathBuf::from("weather").join(file);
        let weather = crate::sky::read(&path, &Default::default()).unwrap();
        ClimateSky { name: file.trim_end_matches(".csv").into(), weather, plane: plane(20.0, 180.0) }
    }

    fn plane(tilt_deg: f64, azimuth_deg: f64) -> PlaneSpec {
        PlaneSpec {
            name: "plane".into(),
            tilt_deg,
            azimuth_deg,
            albedo: None,
            cooling: Cooling::default(),
            size_m: None,
            outline_m: Vec::new(),
            setback_m: 0.0,
            obstacle_setback_m: 0.0,
            gap_m: 0.02,
            obstacles: Vec::new(),
            rows: None,
            tracker: None,
        }
    }

    #[test]
    fn bins_factors_and_causes_close() {
        let skies = [sky("davis-monthan-az.csv"), sky("port-angeles-wa.csv")];
        let study = climate(&skies, &modules());
        for s in &study.skies {
            let months: f64 = s.months_h_i_kwh_m2.iter().sum();
            assert!((months / s.h_i_kwh_m2 - 1.0).abs() < 1e-12);
            assert!(0.0 < s.below_200 && s.below_200 < s.below_400 && s.below_400 < 1.0);
            for m in &s.modules {
                let h: f64 = m.bins.h_kwh_m2.iter().flatten().sum();
                let e: f64 = m.bins.e_kwh_per_kw.iter().flatten().sum();
                assert!((h / s.h_i_kwh_m2 - 1.0).abs() < 1e-9 && (e / m.yield_kwh_per_kw - 1.0).abs() < 1e-9);
                let r = &m.rating;
                assert!((r.ratio * m.light_induced_kept * s.h_i_kwh_m2 / m.yield_kwh_per_kw - 1.0).abs() < 1e-9);
            }
            for d in &s.differences {
                assert!((d.parts.iter().sum::<f64>() - d.kwh_per_kw).abs() < 1e-9, "{d:?}");
            }
        }
        // The desert is the hotter and clearer of the two, and there the milder coefficient is worth more.
        let [hot, dull] = &study.skies[..] else { panic!("two skies") };
        assert!(hot.mean_cell_c > dull.mean_cell_c && hot.below_400 < dull.below_400);
        assert!(
            hot.differences[0].parts[1] / hot.modules[0].yield_kwh_per_kw
                > dull.differences[0].parts[1] / dull.modules[0].yield_kwh_per_kw
        );
        // The same bits for any number of threads.
        let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
        assert_eq!(pool.install(|| climate(&skies, &modules())), study);
    }

    #[test]
    fn the_same_module_twice_differs_in_nothing_and_one_cause_gets_all() {
        let mut pair = modules();
        pair.truncate(1);
        pair.push(ClimateModule { tag: "twin".into(), ..pair[0].clone() });
        let skies = [sky("merrowby.csv")];
        let study = climate(&skies, &pair);
        assert_eq!((study.skies[0].differences[0].kwh_per_kw, study.skies[0].differences[0].parts), (0.0, [0.0; 5]));
        assert!(study.breaks[0].turns_at_c.is_none() && !study.breaks[0].within_skies);
        pair[1].light_induced = Fraction::from_percent(50.0).unwrap();
        let d = climate(&skies, &pair).skies[0].differences[0].clone();
        assert!(d.parts[..4] == [0.0; 4] && (d.parts[4] - d.kwh_per_kw).abs() < 1e-9 && d.pct < -45.0);
        assert!(climate(&skies, &[]).skies.is_empty());
    }

    #[test]
    fn the_line_turns_where_heat_and_weak_light_weigh_the_same() {
        // Made gaps: +0.1 %/K above 25 C, -5 % per share of weak light, -1 % at once: zero at T = 35 + 50 w.
        let study = climate(&[sky("davis-monthan-az.csv"), sky("port-angeles-wa.csv")], &modules());
        let mut skies = study.skies;
        for s in &mut skies {
            let base = s.modules[0].yield_kwh_per_kw / 100.0;
            let (t, w) = (s.mean_cell_c - 25.0, s.below_400);
            let d = &mut s.differences[0];
            d.parts = [-5.0 * w * base, 0.1 * t * base, -base, 0.0, 0.0];
            d.pct = d.parts.iter().sum::<f64>() / base;
        }
        let line = break_line(&skies, 0, "A", "B");
        let [at, slope] = line.turns_at_c.unwrap();
        assert!((at - 35.0).abs() < 1e-9 && (slope - 50.0).abs() < 1e-9 && line.residual_pct < 1e-12);
        assert!(line.gap_pct(line.turn_c(0.2).unwrap(), 0.2).abs() < 1e-12);
    }

    #[test]
    fn percentiles_by_hand() {
        // 50 values 1..=50: rank 0.98 x 49 = 48.02, between 49 and 50.
        let x: Vec<f64> = (1..=50).map(f64::from).collect();
        assert!((percentile(&x, 0.98).unwrap() - 49.02).abs() < 1e-12);
        assert_eq!(percentile(&[7.0], 0.98), Some(7.0));
        assert_eq!(percentile(&[], 0.98), None);
    }

    proptest! {
        #[test]
        fn a_percentile_lies_between_its_neighbours(x in prop::collection::vec(-50.0..100.0f64, 1..200), p in 0.0..=1.0f64) {
            let at = percentile(&x, p).unwrap();
            let below = x.iter().filter(|v| **v <= at).count() as f64;
            prop_assert!(below >= p * (x.len() - 1) as f64);
            prop_assert!(x.iter().any(|v| *v <= at) && x.iter().any(|v| *v >= at));
        }
    }
}
