//! From a plane and a module to the slots an option uses.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::rank::{PowerTable, Powers, rank_with};
use super::shade::{SkyPatches, Work, shades_at};
use super::slots::outline;
use super::{
    Arrangement, Face, Frame, GroupCurve, Layout, Orientation, Outline, Rect, RoofError, SlotShade, SlotYear, SunPath,
    UNSHADED_LOSS, layouts, obstacles, slot_curve, unshaded,
};
use crate::plane::{PlaneLight, PlaneSpec};
use crate::sun::SunTrack;

/// How many modules an option wants on a plane.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wanted {
    /// This many.
    Modules(u32),
    /// As many as fit.
    Fill,
}

/// A plane laid out for one module.
#[derive(Debug, Clone, PartialEq)]
pub struct RoofFit {
    /// The layout taken.
    pub layout: Layout,
    /// Bypass groups and size of the module.
    pub face: Face,
    /// The sun's path the shade was followed along.
    pub path: Arc<SunPath>,
    /// Shade on each slot, in the order of `layout.slots`.
    pub shades: Arc<Vec<SlotShade>>,
    /// Year of each slot, in the order of `layout.slots`.
    pub years: Vec<SlotYear>,
    /// Positions in `layout.slots` of the slots taken, ascending: neighbours stay neighbours when strings are cut.
    pub chosen: Vec<usize>,
    /// Slots that lose less than [`UNSHADED_LOSS`] of their yearly yield.
    pub unshaded: u32,
    /// Yield of the n-th best slot, kWh/kW.
    pub curve: Vec<f64>,
}

impl RoofFit {
    /// How many of the chosen slots are not unshaded.
    pub fn shaded_in_use(&self) -> u32 {
        self.chosen.iter().filter(|&&i| self.years[i].lost_share() >= UNSHADED_LOSS).count() as u32
    }
}

/// Layouts and shade that were found before: options with modules of one size share them.
#[derive(Debug, Default)]
pub struct FitCache {
    layouts: Vec<(usize, Face, Vec<Layout>)>,
    paths: Vec<KnownPath>,
    shades: Vec<KnownShade>,
    powers: PowerTable,
    work: Work,
}

/// The sun's way over one plane, in full and for a first look, and the patches of its sky.
#[derive(Debug)]
struct KnownPath {
    plane: usize,
    full: Arc<SunPath>,
    coarse: SunPath,
    sky: SkyPatches,
}

/// The shade on the slots of one layout of one plane.
#[derive(Debug)]
struct KnownShade {
    plane: usize,
    face: Face,
    layout: usize,
    coarse: bool,
    shades: Arc<Vec<SlotShade>>,
}

/// Lays out a plane and takes the best slots.
///
/// Every layout that holds enough modules is followed through the year with one sun an hour and a third of the sample
/// points; the one whose chosen slots then yield most is taken (the first of equals in the order of [`layouts`]) and
/// followed in full. With [`Wanted::Fill`] only layouts with the most slots count. `conversion` and `step_min` as in
/// [`super::rank`]. Suns of steps without beam on the plane are passed over.
#[allow(clippy::too_many_arguments)]
pub fn fit(
    plane: &PlaneSpec,
    face: &Face,
    sun: &SunTrack,
    light: &PlaneLight,
    conversion: &[f64],
    step_min: u32,
    curve: &GroupCurve,
    wanted: Wanted,
) -> Result<RoofFit, RoofError> {
    FitCache::default().fit(0, plane, face, sun, light, conversion, step_min, curve, wanted)
}

impl FitCache {
    /// [`fit`]; `number` tells the planes of one job apart, each with its one sun, light and step.
    #[allow(clippy::too_many_arguments)]
    pub fn fit(
        &mut self,
        number: usize,
        plane: &PlaneSpec,
        face: &Face,
        sun: &SunTrack,
        light: &PlaneLight,
        conversion: &[f64],
        step_min: u32,
        curve: &GroupCurve,
        wanted: Wanted,
    ) -> Result<RoofFit, RoofError> {
        let known = self.layouts.iter().position(|(n, f, _)| *n == number && f == face);
        let found = match known {
            Some(at) => &self.layouts[at].2,
            None => {
                self.layouts.push((number, *face, layouts(plane, face)?));
                &self.layouts[self.layouts.len() - 1].2
            }
        };
        let most = found.first().map_or(0, |l| l.slots.len() as u32);
        let want = match wanted {
            Wanted::Modules(n) => n,
            Wanted::Fill => most,
        };
        if want > most || most == 0 {
            return Err(RoofError::TooMany { plane: plane.name.clone(), wanted: want.max(1), slots: most });
        }
        let frame = Frame::of(plane.tilt_deg, plane.azimuth_deg);
        let things = obstacles(plane)?;
        if !self.paths.iter().any(|p| p.plane == number) {
            // What is hidden below a thousandth of a W/m2 is nothing.
            let (full, coarse) = SunPath::shining(sun, &frame, step_min, light, 1e-3);
            self.paths.push(KnownPath { plane: number, full: Arc::new(full), coarse, sky: SkyPatches::over(&frame) });
        }
        let at = self.paths.iter().position(|p| p.plane == number).unwrap_or(0);
        let KnownPath { full, coarse, sky, .. } = &self.paths[at];
        let step_h = crate::units::step_hours(step_min);
        let (kept, work) = (&mut self.shades, &mut self.work);
        let mut shades_of = |which: usize, rough: bool| {
            let same = |k: &&KnownShade| (k.plane, k.layout, k.coarse) == (number, which, rough) && k.face == *face;
            if let Some(known) = kept.iter().find(same) {
                return Arc::clone(&known.shades);
            }
            let (layout, path): (_, &SunPath) = (&found[which], if rough { coarse } else { full });
            let shades = shades_at(&layout.slots, layout.orientation, face, &frame, &things, path, sky, rough, work);
            let shades = Arc::new(shades);
            let known = Arc::clone(&shades);
            kept.push(KnownShade { plane: number, face: *face, layout: which, coarse: rough, shades: known });
            shades
        };
        let chosen_of =
            |years: &[SlotYear]| -> Vec<usize> { (0..years.len()).filter(|&i| years[i].rank <= want).collect() };
        // Without obstacles all slots of all layouts are alike: the first will do.
        let enough = found.iter().take_while(|l| l.slots.len() as u32 >= want).count();
        let mut best = (0, f64::NEG_INFINITY);
        if !things.is_empty() && enough > 1 {
            // One share of the sky for all of them: how much of it a slot sees hardly bends the group rule.
            let mut powers = Powers::between([0.95; 2], true, face.groups, coarse, light, curve, &mut self.powers);
            for which in 0..enough {
                let shades = shades_of(which, true);
                let years = rank_with(&mut powers, &found[which].slots, &shades, face, conversion, step_h, false);
                let sum: f64 = chosen_of(&years).iter().map(|&i| years[i].yield_kwh_per_kw).sum();
                if sum > best.1 + 1e-9 * best.1.abs() || which == 0 {
                    best = (which, sum);
                }
            }
        }
        let shades = shades_of(best.0, false);
        let layout = found[best.0].clone();
        let mut powers = Powers::over(&shades, face.groups, full, light, curve, &mut self.powers);
        let years = rank_with(&mut powers, &layout.slots, &shades, face, conversion, step_h, true);
        Ok(RoofFit {
            unshaded: unshaded(&years, UNSHADED_LOSS),
            curve: slot_curve(&years),
            chosen: chosen_of(&years),
            layout,
            face: *face,
            path: Arc::clone(full),
            shades,
            years,
        })
    }
}

/// One slot of a roof map.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SlotRecord {
    /// Number of the slot.
    pub number: u32,
    /// Place, m.
    pub rect: Rect,
    /// Whether a module of the option lies here.
    pub used: bool,
    /// Place in the order of yields, from 1.
    pub rank: u32,
    /// Share of the yearly beam lost, 0..1.
    pub beam_lost: f64,
    /// The same for the current of each bypass group.
    pub group_lost: Vec<f64>,
    /// Yield of a module here on its own, kWh/kW.
    pub yield_kwh_per_kw: f64,
    /// What shade takes from a module here on its own, kWh a year.
    pub lost_kwh: f64,
}

/// All that a scaled drawing of the roof needs, in plane coordinates, m.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RoofMap {
    /// Name of the plane.
    pub plane: String,
    /// Corners of the plane.
    pub outline: Outline,
    /// Name and foot of each obstacle, and whether the foot is round (an ellipse within the rectangle).
    pub obstacles: Vec<(String, Rect, bool)>,
    /// How the modules lie.
    pub orientation: Orientation,
    /// How the slots stand to each other.
    pub arrangement: Arrangement,
    /// By number.
    pub slots: Vec<SlotRecord>,
    /// Slots that lose less than [`UNSHADED_LOSS`] of their yearly yield.
    pub unshaded: u32,
    /// Yield of the n-th best slot, kWh/kW.
    pub curve: Vec<f64>,
}

impl RoofMap {
    /// The record of a fit; `p_stc_w` is the rated power of one module.
    pub fn of(plane: &PlaneSpec, fit: &RoofFit, p_stc_w: f64) -> Result<RoofMap, RoofError> {
        let slots = fit.layout.slots.iter().zip(&fit.years).enumerate().map(|(i, (slot, year))| SlotRecord {
            number: slot.number,
            rect: slot.rect,
            used: fit.chosen.binary_search(&i).is_ok(),
            rank: year.rank,
            beam_lost: year.beam_lost,
            group_lost: year.group_lost.clone(),
            yield_kwh_per_kw: year.yield_kwh_per_kw,
            lost_kwh: year.lost_kwh_per_kw * p_stc_w / 1000.0,
        });
        Ok(RoofMap {
            plane: plane.name.clone(),
            outline: outline(plane)?,
            obstacles: obstacles(plane)?.into_iter().map(|o| (o.name, o.foot, o.round)).collect(),
            orientation: fit.layout.orientation,
            arrangement: fit.layout.arrangement,
            slots: slots.collect(),
            unshaded: fit.unshaded,
            curve: fit.curve.clone(),
        })
    }
}
