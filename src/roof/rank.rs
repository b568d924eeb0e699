//! What each slot yields in a year, and in which order to take them.

use serde::{Deserialize, Serialize};

use super::arrays::light_at;
use super::{Face, GroupCurve, Slot, SlotShade, SunPath, Wiring, array_shade};
use crate::plane::PlaneLight;

/// A slot counts as unshaded while obstacles take less than this share of the yearly yield of a module there.
///
/// Our own choice, 3 %: what the power tolerance of a module may hide. The loss counts light from sun and sky and the
/// group rule for one module. [`unshaded`] takes any other share.
pub const UNSHADED_LOSS: f64 = 0.03;

/// One slot over the year.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SlotYear {
    /// Number of the slot.
    pub number: u32,
    /// Light on it after shade, kWh/m2.
    pub light_kwh_m2: f64,
    /// Light on the same plane without obstacles, kWh/m2.
    pub open_kwh_m2: f64,
    /// Share of the yearly beam that obstacles take, 0..1.
    pub beam_lost: f64,
    /// Share of the yearly beam lost to the current of each bypass group (its darkest cell), 0..1.
    pub group_lost: Vec<f64>,
    /// Yield of a module here that runs at its own maximum power point, kWh/kW.
    pub yield_kwh_per_kw: f64,
    /// What shade takes from it, kWh/kW.
    pub lost_kwh_per_kw: f64,
    /// Place in the order of yields, from 1 for the best.
    pub rank: u32,
}

impl SlotYear {
    /// Share of the yearly yield that shade takes from a module here on its own, 0..1.
    pub fn lost_share(&self) -> f64 {
        let open = self.yield_kwh_per_kw + self.lost_kwh_per_kw;
        if open > 0.0 { self.lost_kwh_per_kw / open } else { 0.0 }
    }
}

/// The year of each slot, in the order of `slots`.
///
/// `conversion` is the yield in kWh/kW per kWh/m2 of light on each daylight step (a performance ratio), or one value
/// for all; `step_h` the length of a step in hours.
///
/// Slots of equal yield rank in the order of their numbers. The yield of a slot takes the light after shade and the
/// group rule for a single module; what a string adds to that is a matter of [`array_shade`].
#[allow(clippy::too_many_arguments)]
pub fn rank(
    slots: &[Slot],
    shades: &[SlotShade],
    face: &Face,
    path: &SunPath,
    light: &PlaneLight,
    conversion: &[f64],
    step_h: f64,
    curve: &GroupCurve,
) -> Vec<SlotYear> {
    let n = path.steps();
    let converts =
        |i: usize| if conversion.len() == 1 { conversion[0] } else { conversion.get(i).copied().unwrap_or(0.0) };
    // Light and yield of the open plane, by part, once for all slots.
    let parts: Vec<[f64; 3]> = (0..n).map(|i| light_at(light, i)).collect();
    let mut open = [0.0; 3];
    let mut open_yield = 0.0;
    let mut sky_by_month = [0.0; 12];
    let mut sky_yield_by_month = [0.0; 12];
    for month in 0..12 {
        for i in path.month_start[month]..path.month_start[month + 1].min(n) {
            for k in 0..3 {
                open[k] += parts[i][k] * step_h / 1000.0;
            }
            open_yield += (parts[i][0] + parts[i][1] + parts[i][2]) * converts(i) * step_h / 1000.0;
            sky_by_month[month] += parts[i][1] * step_h / 1000.0;
            sky_yield_by_month[month] += parts[i][1] * converts(i) * step_h / 1000.0;
        }
    }
    let open_kwh_m2 = open[0] + open[1] + open[2];
    let mut years: Vec<SlotYear> = slots
        .iter()
        .zip(shades)
        .map(|(slot, shade)| {
            let mut lost_light = 0.0;
            let mut lost_yield = 0.0;
            for month in 0..12 {
                lost_light += (1.0 - shade.sky_kept[month]) * sky_by_month[month];
                lost_yield += (1.0 - shade.sky_kept[month]) * sky_yield_by_month[month];
            }
            let mut lost_beam = 0.0;
            let mut group_lost = vec![0.0; face.groups as usize];
            if !shade.shaded.is_empty() {
                let alone = array_shade(
                    std::slice::from_ref(shade),
                    &Wiring::EachModule(vec![0]),
                    path,
                    light,
                    face.groups,
                    curve,
                );
                let sky = alone.sky_column(&path.month_start);
                for i in 0..n {
                    let kept = alone.light_kept_beam[i];
                    if kept < 1.0 {
                        let after = parts[i][0] * kept + parts[i][1] * sky[i] + parts[i][2];
                        let even = parts[i][0] + parts[i][1] * sky[i] + parts[i][2];
                        lost_beam += parts[i][0] * (1.0 - kept) * step_h / 1000.0;
                        lost_yield += (even - after * alone.electrical_kept[i]) * converts(i) * step_h / 1000.0;
                    }
                }
                for (at, &sun) in shade.shaded.iter().enumerate() {
                    let beam = parts[sun as usize / path.suns][0] * step_h / 1000.0 / path.suns as f64;
                    for (lost, share) in group_lost.iter_mut().zip(&shade.groups[at * face.groups as usize..]) {
                        *lost += beam * (1.0 - f64::from(*share));
                    }
                }
            }
            let of_beam = |x: f64| if open[0] > 0.0 { (x / open[0]).clamp(0.0, 1.0) } else { 0.0 };
            SlotYear {
                number: slot.number,
                light_kwh_m2: (open_kwh_m2 - lost_light - lost_beam).max(0.0),
                open_kwh_m2,
                beam_lost: of_beam(lost_beam),
                group_lost: group_lost.iter().map(|&x| of_beam(x)).collect(),
                yield_kwh_per_kw: (open_yield - lost_yield).max(0.0),
                lost_kwh_per_kw: lost_yield.max(0.0),
                rank: 0,
            }
        })
        .collect();
    let mut order: Vec<usize> = (0..years.len()).collect();
    order.sort_by(|&a, &b| years[b].yield_kwh_per_kw.total_cmp(&years[a].yield_kwh_per_kw).then(a.cmp(&b)));
    for (place, &at) in order.iter().enumerate() {
        years[at].rank = place as u32 + 1;
    }
    years
}

/// The slot curve: yield of the n-th best slot, kWh/kW, falling.
pub fn slot_curve(years: &[SlotYear]) -> Vec<f64> {
    let mut curve: Vec<f64> = years.iter().map(|y| y.yield_kwh_per_kw).collect();
    curve.sort_by(|a, b| b.total_cmp(a));
    curve
}

/// How many slots lose less than the given share of their yearly yield ([`UNSHADED_LOSS`] is usual).
pub fn unshaded(years: &[SlotYear], loss: f64) -> u32 {
    years.iter().filter(|y| y.lost_share() < loss).count() as u32
}
