//! Rows one behind the other: the step by bypass groups that their shade makes, and the land they take.

use serde::{Deserialize, Serialize};

use super::arrays::light_at;
use super::{ArrayShade, Face, GroupCurve, Orientation, RoofError, string_power, uniform_power};
use crate::plane::{PlaneLight, PlaneSpec};

/// Modules of a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RowModules {
    /// Size and groups.
    pub face: Face,
    /// How they lie.
    pub orientation: Orientation,
    /// Modules one above the other, 1 or more.
    pub high: u32,
    /// Rows, `None` for many: the first of them has no row in front of it and stays in the light.
    pub rows: Option<u32>,
    /// Whether the modules of each height form strings of their own. `false`: every string holds all heights alike.
    pub string_per_height: bool,
}

impl RowModules {
    /// How modules must lie for `high` of them to make up a slant of `slant_m`: whichever stack measures nearer to it.
    pub fn orientation_for(face: &Face, slant_m: f64, high: u32) -> Orientation {
        let off = |side: f64| (f64::from(high.max(1)) * side - slant_m).abs();
        if off(face.width_m) < off(face.length_m) { Orientation::Landscape } else { Orientation::Portrait }
    }
}

/// What shade by the row in front leaves of light and power, on columns.
///
/// `shaded` is the share of the slant in shade on each daylight step (from the lower edge), `light` the light on the
/// plane. Each group takes part with the beam of its darkest cell: in landscape the groups are strips along the row and
/// go dark one after the other; in portrait all groups of a module go dark with its lowest cells (half of the current
/// stays when its halves are parallel). A cell that is partly covered loses in proportion; a cell is taken as a sixth of
/// the module's short side, a square.
///
/// `light_kept_beam` is `1 - f` for the shaded rows, `electrical_kept` as in [`ArrayShade`]; sky views are with the
/// light, so `sky_kept` is 1. `light.beam_kept` must hold the skyline only, not the rows. Ends of rows are neglected.
pub fn row_shade(shaded: &[f64], light: &PlaneLight, modules: &RowModules, curve: &GroupCurve) -> ArrayShade {
    if shaded.iter().all(|f| *f <= 0.0) {
        return ArrayShade::none();
    }
    let behind = modules.rows.map_or(1.0, |n| 1.0 - 1.0 / f64::from(n.max(1)));
    let high = modules.high.clamp(1, 12);
    let groups = modules.face.groups.clamp(1, 6);
    let n = shaded.len();
    let mut light_kept_beam = vec![1.0; n];
    let mut electrical_kept = vec![1.0; n];
    let mut tiers: Vec<Vec<(f64, u32)>> = vec![Vec::new(); high as usize];
    let mut all: Vec<(f64, u32)> = Vec::new();
    for i in 0..n {
        let f = shaded[i].clamp(0.0, 1.0);
        // NaN and nothing alike leave the step as it is.
        if f.is_nan() || f <= 0.0 {
            continue;
        }
        light_kept_beam[i] = 1.0 - behind * f;
        let [beam, sky, ground] = light_at(light, i).map(|g| g / 1000.0);
        let diffuse = sky + ground;
        if beam < 1e-6 {
            continue;
        }
        for (tier, levels) in tiers.iter_mut().enumerate() {
            levels.clear();
            let covered = (f * f64::from(high) - tier as f64).clamp(0.0, 1.0);
            for group in 0..groups {
                let share = group_share(covered, group, groups, modules);
                levels.push((beam * share + diffuse, 1));
            }
        }
        let total = f64::from(high * groups);
        let power = if modules.string_per_height {
            tiers.iter().map(|levels| string_power(levels, curve)).sum::<f64>()
        } else {
            all.clear();
            all.extend(tiers.iter().flatten());
            string_power(&all, curve)
        };
        let open = uniform_power(beam + diffuse, curve) * total;
        let even = uniform_power(beam * light_kept_beam[i] + diffuse, curve) * total;
        let mixed = behind * power + (1.0 - behind) * open;
        electrical_kept[i] = if even > 0.0 { (mixed / even).clamp(0.0, 1.0) } else { 1.0 };
    }
    ArrayShade { light_kept_beam, sky_kept: [1.0; 12], electrical_kept }
}

/// Share of the beam that counts for a group's current when the module is covered from below over `covered` of its
/// extent up the slope.
fn group_share(covered: f64, group: u32, groups: u32, modules: &RowModules) -> f64 {
    let cell = modules.face.width_m / 6.0;
    let lit = |depth: f64| 1.0 - (depth / cell).clamp(0.0, 1.0);
    match modules.orientation {
        Orientation::Landscape => {
            let strip = modules.face.width_m / f64::from(groups);
            lit(covered * modules.face.width_m - f64::from(group) * strip)
        }
        Orientation::Portrait => {
            let depth = covered * modules.face.length_m;
            if modules.face.halves {
                0.5 * lit(depth) + 0.5 * lit(depth - 0.5 * modules.face.length_m)
            } else {
                lit(depth)
            }
        }
    }
}

/// How many modules rows hold on a level rectangle (`size_m`: along the rows, across them) with the free strip
/// `setback_m` all round; `None` without rows or without `size_m`.
///
/// Rows of depth `L cos b` stand a pitch apart, `rows.count` of them at most; `rows.high` modules above each other.
/// Obstacles are not looked at. Geometry only.
pub fn row_places(plane: &PlaneSpec, face: &Face) -> Option<u32> {
    let (rows, [along, across]) = (plane.rows.as_ref()?, plane.size_m?);
    let side = match RowModules::orientation_for(face, rows.slant_m, rows.high) {
        Orientation::Portrait => face.width_m,
        Orientation::Landscape => face.length_m,
    };
    // A tracker is at its widest when it lies level.
    let tilt_deg = if plane.tracker.is_some() { 0.0 } else { plane.tilt_deg };
    let depth = rows.slant_m * tilt_deg.to_radians().cos();
    let fits = |room: f64, first: f64, pitch: f64| {
        if room + 1e-6 < first || pitch <= 0.0 { 0.0 } else { ((room - first + 1e-6) / pitch).floor() + 1.0 }
    };
    let free = |extent: f64| extent - 2.0 * plane.setback_m;
    let per_row = fits(free(along), side, side + plane.gap_m);
    let count = fits(free(across), depth, rows.pitch_m).min(rows.count.map_or(f64::INFINITY, f64::from));
    Some((per_row * count * f64::from(rows.high.max(1))).min(1e9) as u32)
}

/// Land and racks of a field of rows on level ground.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FieldUse {
    /// Modules side by side in a row (rounded up).
    pub per_row: u32,
    /// Number of rows.
    pub rows: u32,
    /// Ground coverage ratio: slant over pitch.
    pub gcr: f64,
    /// Total length of the racks, m.
    pub rack_m: f64,
    /// Land with edges, m2.
    pub land_m2: f64,
}

/// Land of a field: `N A / GCR + edges`.
///
/// `N` modules of area `A` (with their gaps) in rows of slant `L` at pitch `P`, GCR = L/P; the edges are a free strip of
/// `edge_m` all round. `high` modules of extent `along_m` stand above each other. The slant counts what the modules and
/// gaps in it measure, whatever `pitch_m` allows; a pitch below it is refused.
#[allow(clippy::too_many_arguments)]
pub fn field_use(
    plane: &str,
    modules: u32,
    face: &Face,
    orientation: Orientation,
    high: u32,
    gap_m: f64,
    pitch_m: f64,
    rows: u32,
    edge_m: f64,
) -> Result<FieldUse, RoofError> {
    let (along, up) = match orientation {
        Orientation::Portrait => (face.width_m, face.length_m),
        Orientation::Landscape => (face.length_m, face.width_m),
    };
    let (high, rows) = (high.max(1), rows.max(1));
    let slant = f64::from(high) * up + f64::from(high - 1) * gap_m;
    if !(pitch_m >= slant && pitch_m <= 1e3) {
        let mend = "Rows may not overlap: raise pitch_m or stack fewer modules.";
        return Err(RoofError::value(
            plane,
            "rows.pitch_m",
            pitch_m,
            "at least the slant of a row, up to 1000 m",
            mend,
        ));
    }
    if !(0.0..=1e3).contains(&edge_m) || !(0.0..=10.0).contains(&gap_m) {
        let mend = "Give the free strip round the field and the gap between modules in metres.";
        return Err(RoofError::value(plane, "edge or gap", edge_m, "0 to 1000 m and 0 to 10 m", mend));
    }
    let per_row = modules.div_ceil(rows * high);
    let row_m = f64::from(per_row) * (along + gap_m);
    let field = f64::from(rows) * pitch_m;
    let gcr = slant / pitch_m;
    let edges = 2.0 * edge_m * (row_m + field) + 4.0 * edge_m * edge_m;
    Ok(FieldUse { per_row, rows, gcr, rack_m: f64::from(rows) * row_m, land_m2: row_m * field + edges })
}
