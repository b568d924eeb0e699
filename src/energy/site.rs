//! Light of one site, worked out once and shared by all options.

use std::sync::Arc;

use crate::plane::{PlaneLight, PlaneSpec, RearLight, Sky, SkyModel, Skyline};
use crate::sun::SunTrack;
use crate::units::G_STC;
use crate::weather::WeatherYear;
use crate::{maths, wide};

/// Sun, sky and planes of one site; every column is over the daylight steps.
#[derive(Debug, Clone)]
pub struct SiteLight {
    /// Where the sun stands.
    pub sun: Arc<SunTrack>,
    /// What comes from the sky, and the air near the ground.
    pub sky: Sky,
    /// Light on each plane of the job.
    pub planes: Vec<PlaneOfSite>,
    /// Hours in a step.
    pub step_h: f64,
    /// Hours of each month that are no daylight steps.
    pub night_h: [f64; 12],
    /// Month 0..=11 of each daylight step.
    pub month: Vec<u8>,
    /// Steps in the whole weather year.
    pub year_steps: usize,
    /// Height of the wind measurement, m.
    pub wind_height_m: f64,
}

/// One plane with what every option on it shares.
#[derive(Debug, Clone)]
pub struct PlaneOfSite {
    /// The plane as the job states it.
    pub spec: PlaneSpec,
    /// The open plane and the shares kept.
    pub light: PlaneLight,
    /// Beam after skyline, W/m2.
    pub beam: Vec<f64>,
    /// Sky light after skyline and rows, W/m2.
    pub sky: Vec<f64>,
    /// Ground light after skyline and rows, W/m2.
    pub ground: Vec<f64>,
    /// Light on the rear, W/m2; empty when none reaches it.
    pub rear: Vec<f64>,
    /// In-plane irradiation of the open plane by month, kWh/m2.
    pub h_i: [f64; 12],
    /// The same after the skyline, before rows.
    pub h_skyline: [f64; 12],
}

impl SiteLight {
    /// Sun once, sky once, every plane once.
    pub fn over(weather: &WeatherYear, planes: &[PlaneSpec], skyline: &Skyline, model: SkyModel) -> SiteLight {
        SiteLight::under(SunTrack::over(weather), weather, planes, skyline, model)
    }

    /// The same under a sun that was worked out before.
    pub fn under(
        sun: impl Into<Arc<SunTrack>>,
        weather: &WeatherYear,
        planes: &[PlaneSpec],
        skyline: &Skyline,
        model: SkyModel,
    ) -> SiteLight {
        let sun = sun.into();
        let sky = Sky::over(weather, &sun, model);
        let step_h = weather.step_h();
        let mut night_h = [0.0; 12];
        for day in 0..weather.days.len() {
            night_h[weather.month_of_day(day)] += 24.0;
        }
        let mut month = vec![0_u8; sun.steps.len()];
        for m in 0..12 {
            let (from, to) = (sun.month_start[m], sun.month_start[m + 1]);
            night_h[m] -= (to - from) as f64 * step_h;
            month[from..to].fill(m as u8);
        }
        let mut site = SiteLight {
            sun,
            sky,
            planes: Vec::new(),
            step_h,
            night_h,
            month,
            year_steps: weather.len(),
            wind_height_m: weather.wind_height_m,
        };
        for spec in planes {
            site.planes.push(site.plane(spec, skyline));
        }
        site
    }

    /// Light on one more plane of the same site.
    pub fn plane(&self, spec: &PlaneSpec, skyline: &Skyline) -> PlaneOfSite {
        let light = PlaneLight::on(spec, &self.sun, &self.sky, skyline);
        let mut total = vec![0.0; self.sun.steps.len()];
        add3(&light.beam, &light.sky, &light.ground, &mut total);
        let h_i = self.month_sums(&total).map(|x| x * self.step_h / G_STC);
        let beam = kept_of(&light.beam, &light.beam_kept);
        let mut h_skyline = h_i;
        if !(light.beam_kept.is_empty() && light.skyline_sky.is_empty()) {
            // What rows take of sky and ground is shade, not skyline.
            add3(&beam, &kept_of(&light.sky, &light.skyline_sky), &light.ground, &mut total);
            h_skyline = self.month_sums(&total).map(|x| x * self.step_h / G_STC);
        }
        let (sky, ground) = (kept_of(&light.sky, &light.sky_kept), kept_of(&light.ground, &light.ground_kept));
        let rear = RearLight::on(spec, &self.sun, &self.sky).irradiance;
        PlaneOfSite { spec: spec.clone(), light, beam, sky, ground, rear, h_i, h_skyline }
    }

    /// Number of daylight steps.
    pub fn len(&self) -> usize {
        self.sun.steps.len()
    }

    /// True when the sun never shines.
    pub fn is_empty(&self) -> bool {
        self.sun.steps.is_empty()
    }

    /// Sums of a column by month, in a fixed order of addition.
    pub fn month_sums(&self, column: &[f64]) -> [f64; 12] {
        let mut sums = [0.0; 12];
        for (m, sum) in sums.iter_mut().enumerate() {
            *sum = maths::sum(&column[self.sun.month_start[m]..self.sun.month_start[m + 1]]);
        }
        sums
    }

    /// A column of one value a month.
    pub fn spread(&self, months: &[f64; 12]) -> Vec<f64> {
        self.month.iter().map(|&m| months[m as usize]).collect()
    }
}

/// Light times the share kept: none given (all kept), one value, or a column.
fn kept_of(light: &[f64], kept: &[f64]) -> Vec<f64> {
    let mut out = light.to_vec();
    match kept {
        [] => {}
        [one] if light.len() != 1 => maths::scale(*one, &mut out),
        column => maths::multiply(column, &mut out),
    }
    out
}

wide! {
    fn add3(x: &[f64], y: &[f64], z: &[f64], out: &mut [f64]) {
        let n = out.len();
        let (x, y, z) = (&x[..n], &y[..n], &z[..n]);
        for i in 0..n { out[i] = x[i] + y[i] + z[i]; }
    }
}
