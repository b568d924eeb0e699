//! Light on the cells of one part of a mounting, kept while options are run that share it.

use std::ops::Range;
use std::sync::Arc;

use super::chain::{add_scaled, front_light, product3};
use super::setup::{Common, PartShade, Setup};
use super::site::SiteLight;
use crate::maths;
use crate::module::{Glass, Shares, Thermal, shares};

/// Light on the cells over the daylight steps, with what the account asks of it.
#[derive(Debug, Default)]
pub(super) struct CellLight {
    /// What warms the cells, W/m2.
    pub heat: Vec<f64>,
    /// The same with the colour's factor; empty without one.
    coloured: Vec<f64>,
    /// Share of 1000 W/m2 as the models of a module read it, its logarithm and its eighth root.
    s: Vec<f64>,
    ln_s: Vec<f64>,
    root: Vec<f64>,
    /// Sums by month, W/m2.
    pub sums: LightSums,
}

/// Sums of light by month after each effect, times the shares of power that bypass groups and snow leave from that
/// effect on.
#[derive(Debug, Default)]
pub(super) struct LightSums {
    pub shade: [f64; 12],
    pub snow: [f64; 12],
    pub dirt: [f64; 12],
    pub incidence: [f64; 12],
    pub spectrum: Option<[f64; 12]>,
    pub rear: [f64; 12],
}

impl CellLight {
    /// Light that makes electricity, W/m2.
    pub fn g_eff(&self) -> &[f64] {
        if self.coloured.is_empty() { &self.heat } else { &self.coloured }
    }

    /// The same as the models of a module read it.
    pub fn shares(&self) -> Shares<'_> {
        Shares { s: &self.s, ln_s: &self.ln_s, root: &self.root }
    }

    /// Light on part `k` of the mounting, month by month: what stands between the columns stays in the nearest cache.
    fn of(setup: &Setup, k: usize, site: &SiteLight, common: &Common, work: &mut Work) -> CellLight {
        let n = site.len();
        let plane = &site.planes[setup.mounting.parts[k].0];
        let none = PartShade::default();
        let shade = setup.shade.get(k).unwrap_or(&none);
        let rear = rear(setup, k, site);
        let spectrum = setup.rear.spectrum.as_ref().map_or(&[][..], |factor| factor.as_slice());
        let months = site.sun.month_start.windows(2).map(|ends| ends[0]..ends[1]);
        let longest = months.clone().map(|month| month.len()).max().unwrap_or(0);
        let tilts = &plane.light.tilt_deg;
        work.fit(longest, if tilts.len() > 1 { n } else { longest });
        let Work { ones, iam, iam_sky, iam_ground, shaded, clean, front, product, colour } = work;
        setup.glass.sky_column(tilts, iam_sky);
        setup.glass.ground_column(tilts, iam_ground);
        let column = |len: usize| vec![0.0; len];
        let mut light = CellLight {
            heat: column(n),
            coloured: column(spectrum.len()),
            s: column(n),
            ln_s: column(n),
            root: column(n),
            sums: LightSums { spectrum: setup.rear.spectrum.as_ref().map(|_| [0.0; 12]), ..LightSums::default() },
        };
        for (m, month) in months.enumerate() {
            let len = month.len();
            let ones = &ones[..len];
            let of_tilt = if tilts.len() > 1 { month.clone() } else { 0..len };
            let (shaded, clean, front) = (&mut shaded[..len], &mut clean[..len], &mut front[..len]);
            // The skyline is in the plane's columns; shade, dirt, incidence, rear.
            setup.glass.beam(&plane.light.cos_aoi[month.clone()], &mut iam[..len]);
            front_light(
                part(&plane.beam, &month, ones),
                part(&plane.sky, &month, ones),
                part(&plane.ground, &month, ones),
                part(&shade.beam_kept, &month, ones),
                part(&shade.sky_kept, &month, ones),
                part(&common.clean_kept, &month, ones),
                &iam[..len],
                &iam_sky[of_tilt.clone()],
                &iam_ground[of_tilt],
                shaded,
                clean,
                front,
            );
            let heat = &mut light.heat[month.clone()];
            add_scaled(front, part(&plane.rear, &month, ones), rear, heat);
            // Heat comes from all the light; electricity from what the cell's spectral response makes of it.
            let g_eff: &[f64] = match light.coloured.get_mut(month.clone()) {
                Some(coloured) if !spectrum.is_empty() => {
                    coloured.copy_from_slice(heat);
                    maths::multiply(part(spectrum, &month, ones), coloured);
                    coloured
                }
                _ => heat,
            };
            let (s, ln_s) = (&mut light.s[month.clone()], &mut light.ln_s[month.clone()]);
            shares(g_eff, s, ln_s, &mut light.root[month.clone()]);

            let (kept, snow) = (&shade.power_kept, &shade.snow_kept);
            let mut sum = |light: &[f64], kept: &[f64], snow: &[f64]| {
                if kept.is_empty() && snow.is_empty() {
                    return maths::sum(light);
                }
                product3(light, part(kept, &month, ones), part(snow, &month, ones), &mut product[..len]);
                maths::sum(&product[..len])
            };
            let sums = &mut light.sums;
            sums.shade[m] = sum(shaded, kept, &[]);
            if let Some(spectrum_sums) = &mut sums.spectrum {
                product3(front, part(spectrum, &month, ones), part(kept, &month, ones), &mut colour[..len]);
                spectrum_sums[m] = sum(&colour[..len], snow, &[]);
            }
            sums.snow[m] = if snow.is_empty() { sums.shade[m] } else { sum(shaded, kept, snow) };
            sums.dirt[m] = sum(clean, kept, snow);
            sums.incidence[m] = sum(front, kept, snow);
            sums.rear[m] = sum(g_eff, kept, snow);
        }
        light
    }
}

/// A column's steps of a month; ones for a column that takes nothing.
fn part<'a>(column: &'a [f64], month: &Range<usize>, ones: &'a [f64]) -> &'a [f64] {
    if column.is_empty() { ones } else { &column[month.clone()] }
}

/// Share of the light on the rear of the plane that counts.
pub(super) fn rear(setup: &Setup, k: usize, site: &SiteLight) -> f64 {
    let plane = &site.planes[setup.mounting.parts[k].0];
    if plane.rear.is_empty() { 0.0 } else { setup.rear.bifaciality * setup.rear.kept }
}

/// Cell temperature under the light that warms the cells, C.
pub(super) fn warm(thermal: &Thermal, site: &SiteLight, heat: &[f64], t_cell: &mut [f64]) {
    let (t_amb, wind) = (&site.sky.t_amb, &site.sky.wind);
    thermal.t_cell(heat, t_amb, wind, t_cell);
    let step_s = site.step_h * 3600.0;
    if step_s < 3600.0 {
        thermal.settle(&site.sun.steps, step_s, t_amb, wind, t_cell);
    }
}

/// Columns in between, of the longest month.
#[derive(Debug, Default)]
pub(super) struct Work {
    ones: Vec<f64>,
    iam: Vec<f64>,
    iam_sky: Vec<f64>,
    iam_ground: Vec<f64>,
    shaded: Vec<f64>,
    clean: Vec<f64>,
    front: Vec<f64>,
    product: Vec<f64>,
    colour: Vec<f64>,
}

impl Work {
    /// Room for so many steps, and for so many of the glass by tilt.
    fn fit(&mut self, n: usize, by_tilt: usize) {
        // Nothing ever writes another value into it.
        self.ones.resize(n, 1.0);
        for column in
            [&mut self.iam, &mut self.shaded, &mut self.clean, &mut self.front, &mut self.product, &mut self.colour]
        {
            column.resize(n, 0.0);
        }
        for column in [&mut self.iam_sky, &mut self.iam_ground] {
            column.resize(by_tilt, 0.0);
        }
    }
}

/// What the light of a part depends on, at one site and under the same dirt.
#[derive(Debug)]
struct Key {
    plane: usize,
    part: usize,
    glass: Arc<Glass>,
    shade: Arc<Vec<PartShade>>,
    rear: f64,
    spectrum: Option<Arc<Vec<f64>>>,
}

impl Key {
    fn is(&self, setup: &Setup, part: usize, rear: f64) -> bool {
        let same_spectrum = match (&self.spectrum, &setup.rear.spectrum) {
            (None, None) => true,
            (Some(a), Some(b)) => Arc::ptr_eq(a, b),
            _ => false,
        };
        let same_shade = Arc::ptr_eq(&self.shade, &setup.shade)
            && self.part == part
            // Without shade the parts of a mounting differ in their planes only.
            || self.shade.get(self.part).is_none_or(PartShade::is_none)
                && setup.shade.get(part).is_none_or(PartShade::is_none);
        self.plane == setup.mounting.parts[part].0
            && self.rear == rear
            && same_spectrum
            && same_shade
            && self.glass == setup.glass
    }
}

/// Lights kept: those of a few mountings behind a few kinds of glass.
const MOST: usize = 8;

/// The light on the cells at one site, under one plant's dirt: worked out once for all options that share it.
///
/// ```
/// use yearlight::energy::{Lights, Plan, Scratch, run, run_under};
/// use yearlight::{job, sky};
/// let job = job::load("configs/two-skies/cloudy.toml".as_ref())?;
/// let weather = sky::read(&job.weather_path(), &job.read_hints()?)?;
/// let plan = Plan::of(&job, &weather)?;
/// let (mut lights, mut scratch) = (Lights::new(&plan.site, &plan.common), Scratch::default());
/// for option in &plan.options {
///     let shared = run_under(&option.setup, &mut lights, &mut scratch);
///     assert_eq!(shared, run(&option.setup, &plan.site, &plan.common, &mut scratch));
/// }
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct Lights<'a> {
    pub(super) site: &'a SiteLight,
    common: &'a Common,
    kept: Vec<(Key, Arc<CellLight>)>,
    warm: Vec<Warm>,
}

/// Cell temperature under a light.
#[derive(Debug)]
struct Warm {
    light: Arc<CellLight>,
    plane: usize,
    thermal: Thermal,
    t_cell: Arc<Vec<f64>>,
}

/// Light on the cells of one part of a mounting, and their temperature, C.
pub(super) type LitPart = (Arc<CellLight>, Arc<Vec<f64>>);

impl<'a> Lights<'a> {
    /// Nothing kept yet.
    pub fn new(site: &'a SiteLight, common: &'a Common) -> Lights<'a> {
        Lights { site, common, kept: Vec::new(), warm: Vec::new() }
    }

    /// The plant whose dirt lies on the glass.
    pub fn common(&self) -> &'a Common {
        self.common
    }

    /// Light and temperature on every part of a mounting.
    pub(super) fn on(&mut self, setup: &Setup, work: &mut Work) -> Vec<LitPart> {
        let parts = 0..setup.mounting.parts.len();
        parts
            .map(|part| {
                let light = self.on_part(setup, part, work);
                let t_cell = self.warmed(&light, setup, part);
                (light, t_cell)
            })
            .collect()
    }

    fn warmed(&mut self, light: &Arc<CellLight>, setup: &Setup, part: usize) -> Arc<Vec<f64>> {
        let plane = setup.mounting.parts[part].0;
        let thermal = setup.heat.thermal[plane];
        let same = |w: &&Warm| w.plane == plane && w.thermal == thermal && Arc::ptr_eq(&w.light, light);
        if let Some(warm) = self.warm.iter().find(same) {
            return warm.t_cell.clone();
        }
        let mut t_cell = vec![0.0; self.site.len()];
        warm(&thermal, self.site, &light.heat, &mut t_cell);
        let t_cell = Arc::new(t_cell);
        if self.warm.len() == MOST {
            self.warm.remove(0);
        }
        self.warm.push(Warm { light: light.clone(), plane, thermal, t_cell: t_cell.clone() });
        t_cell
    }

    fn on_part(&mut self, setup: &Setup, part: usize, work: &mut Work) -> Arc<CellLight> {
        let rear = rear(setup, part, self.site);
        if let Some((_, light)) = self.kept.iter().find(|(key, _)| key.is(setup, part, rear)) {
            return light.clone();
        }
        let light = Arc::new(CellLight::of(setup, part, self.site, self.common, work));
        let key = Key {
            plane: setup.mounting.parts[part].0,
            part,
            glass: setup.glass.clone(),
            shade: setup.shade.clone(),
            rear,
            spectrum: setup.rear.spectrum.clone(),
        };
        if self.kept.len() == MOST {
            self.kept.remove(0);
        }
        self.kept.push((key, light.clone()));
        light
    }
}
