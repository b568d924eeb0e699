//! Light on the cells of one part of a mounting, kept while options are run that share it.

use std::sync::Arc;

use super::chain::{add_scaled, front_light, or, product3};
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
    /// Share of 1000 W/m2 as the models of a module read it, and its logarithm.
    s: Vec<f64>,
    ln_s: Vec<f64>,
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
        Shares { s: &self.s, ln_s: &self.ln_s }
    }

    /// Light on part `k` of the mounting.
    fn of(setup: &Setup, k: usize, site: &SiteLight, common: &Common, work: &mut Work) -> CellLight {
        let n = site.len();
        work.fit(n);
        let plane = &site.planes[setup.mounting.parts[k].0];
        let none = PartShade::default();
        let shade = setup.shade.get(k).unwrap_or(&none);
        // The skyline is in the plane's columns; shade, dirt, incidence, rear.
        setup.glass.beam(&plane.light.cos_aoi, &mut work.iam);
        setup.glass.sky_column(&plane.light.tilt_deg, &mut work.iam_sky);
        setup.glass.ground_column(&plane.light.tilt_deg, &mut work.iam_ground);
        front_light(
            &plane.beam,
            &plane.sky,
            &plane.ground,
            or(&shade.beam_kept, &work.ones),
            or(&shade.sky_kept, &work.ones),
            &common.clean_kept,
            &work.iam,
            &work.iam_sky,
            &work.iam_ground,
            &mut work.shaded,
            &mut work.clean,
            &mut work.front,
        );
        let column = || vec![0.0; n];
        let mut light = CellLight { heat: column(), s: column(), ln_s: column(), ..CellLight::default() };
        add_scaled(&work.front, or(&plane.rear, &work.ones), rear(setup, k, site), &mut light.heat);
        // Heat comes from all the light; electricity from what the cell's spectral response makes of it.
        if let Some(factor) = &setup.rear.spectrum {
            light.coloured.extend_from_slice(&light.heat);
            maths::multiply(factor, &mut light.coloured);
        }
        let (s, ln_s) = (&mut light.s, &mut light.ln_s);
        shares(if light.coloured.is_empty() { &light.heat } else { &light.coloured }, s, ln_s);

        let (kept, snow) = (shade.power_kept.as_slice(), shade.snow_kept.as_slice());
        let Work { ones, shaded, clean, front, product, colour, .. } = work;
        let mut sums = |light: &[f64], kept: &[f64], snow: &[f64]| {
            if kept.is_empty() && snow.is_empty() {
                return site.month_sums(light);
            }
            product3(light, or(kept, ones), or(snow, ones), product);
            site.month_sums(product)
        };
        let shade = sums(shaded, kept, &[]);
        let spectrum = setup.rear.spectrum.as_ref().map(|factor| {
            colour.resize(n, 0.0);
            product3(front, factor, or(kept, ones), colour);
            sums(colour, snow, &[])
        });
        light.sums = LightSums {
            shade,
            snow: if snow.is_empty() { shade } else { sums(shaded, kept, snow) },
            dirt: sums(clean, kept, snow),
            incidence: sums(front, kept, snow),
            spectrum,
            rear: sums(light.g_eff(), kept, snow),
        };
        light
    }
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

/// Columns in between.
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
    fn fit(&mut self, n: usize) {
        // Nothing ever writes another value into it.
        self.ones.resize(n, 1.0);
        for column in [
            &mut self.iam,
            &mut self.iam_sky,
            &mut self.iam_ground,
            &mut self.shaded,
            &mut self.clean,
            &mut self.front,
            &mut self.product,
        ] {
            column.resize(n, 0.0);
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
