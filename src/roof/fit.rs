//! From a plane and a module to the slots an option uses.

use serde::{Deserialize, Serialize};

use super::slots::outline;
use super::{
    Arrangement, Face, Frame, GroupCurve, Layout, Orientation, Outline, Rect, RoofError, SlotShade, SlotYear, SunPath,
    UNSHADED_LOSS, layouts, obstacles, rank, slot_curve, slot_shades, unshaded,
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
    pub path: SunPath,
    /// Shade on each slot, in the order of `layout.slots`.
    pub shades: Vec<SlotShade>,
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

/// Lays out a plane and takes the best slots.
///
/// Every layout that holds enough modules is followed through the year; the one whose chosen slots yield most is taken
/// (the first of equals in the order of [`layouts`]). With [`Wanted::Fill`] only layouts with the most slots count.
/// `conversion` and `step_min` as in [`rank`].
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
    let found = layouts(plane, face)?;
    let most = found.first().map_or(0, |l| l.slots.len() as u32);
    let want = match wanted {
        Wanted::Modules(n) => n,
        Wanted::Fill => most,
    };
    if want > most {
        return Err(RoofError::TooMany { plane: plane.name.clone(), wanted: want, slots: most });
    }
    let frame = Frame::of(plane.tilt_deg, plane.azimuth_deg);
    let things = obstacles(plane)?;
    // Without obstacles all slots of all layouts are alike: the first will do.
    let looked_at = if things.is_empty() { 1 } else { found.len() };
    let path = SunPath::over(sun, &frame, step_min);
    let step_h = crate::units::step_hours(step_min);
    let mut best: Option<(f64, RoofFit)> = None;
    for layout in found.into_iter().take(looked_at).filter(|l| l.slots.len() as u32 >= want) {
        let shades = slot_shades(&layout.slots, layout.orientation, face, &frame, &things, &path);
        let years = rank(&layout.slots, &shades, face, &path, light, conversion, step_h, curve);
        let chosen: Vec<usize> = (0..years.len()).filter(|&i| years[i].rank <= want).collect();
        let sum: f64 = chosen.iter().map(|&i| years[i].yield_kwh_per_kw).sum();
        if best.as_ref().is_none_or(|(top, _)| sum > *top * (1.0 + 1e-9)) {
            let fit = RoofFit {
                unshaded: unshaded(&years, UNSHADED_LOSS),
                curve: slot_curve(&years),
                layout,
                face: *face,
                path: path.clone(),
                shades,
                years,
                chosen,
            };
            best = Some((sum, fit));
        }
    }
    best.map(|(_, fit)| fit).ok_or(RoofError::TooMany { plane: plane.name.clone(), wanted: want.max(1), slots: most })
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
