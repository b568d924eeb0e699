//! Places for modules on a plane.

use serde::{Deserialize, Serialize};

use super::{Obstacle, Outline, Rect, RoofError, obstacles};
use crate::plane::PlaneSpec;

/// The front of a module and how its cells are grouped.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Face {
    /// Long side, m.
    pub length_m: f64,
    /// Short side, m.
    pub width_m: f64,
    /// Bypass groups: strips along the long side, side by side over the short one. 1..=6.
    pub groups: u32,
    /// Whether the two halves of the length are wired in parallel (half cells): then shade on one half leaves half of
    /// the group's current. `false` treats a strip as one chain of cells, the harsher case.
    pub halves: bool,
}

/// How a module lies on its plane.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Orientation {
    /// Long side up the slope.
    Portrait,
    /// Long side along the eave.
    Landscape,
}

/// How the slots stand to each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Arrangement {
    /// Rows and columns aligned.
    Grid,
    /// Rows aligned, each packed on its own from left to right, so that it can dodge obstacles and slanted edges.
    Offset,
}

/// A place for one module.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Slot {
    /// From 1, row by row from the eave, left to right.
    pub number: u32,
    /// Row, from 1 at the eave.
    pub row: u32,
    /// The place.
    pub rect: Rect,
}

/// One way to lay out a plane.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Layout {
    /// How the modules lie.
    pub orientation: Orientation,
    /// How the slots stand to each other.
    pub arrangement: Arrangement,
    /// The slots, by number.
    pub slots: Vec<Slot>,
}

/// The layouts of a plane, best first: most slots, then grid before offset rows, then portrait before landscape.
///
/// For each orientation and arrangement the offsets of the pattern are tried that bring an edge of a row or column
/// against the setback, against either side of an obstacle's zone, or an eighth of the pitch further; the first offset
/// with the most slots stays. Offset rows that come out as the grid are left out. A slot lies inside the outline, keeps `setback_m` from every edge, and, grown by
/// `obstacle_setback_m`, stays clear of the foot of every obstacle. An empty list means that nothing fits.
pub fn layouts(plane: &PlaneSpec, face: &Face) -> Result<Vec<Layout>, RoofError> {
    let site = Site::of(plane, face)?;
    let mut found = Vec::new();
    for orientation in [Orientation::Portrait, Orientation::Landscape] {
        let size = match orientation {
            Orientation::Portrait => [face.width_m, face.length_m],
            Orientation::Landscape => [face.length_m, face.width_m],
        };
        for arrangement in [Arrangement::Grid, Arrangement::Offset] {
            let slots = site.best(arrangement, size);
            let new = found.iter().all(|l: &Layout| l.orientation != orientation || !same_places(&l.slots, &slots));
            if !slots.is_empty() && new {
                found.push(Layout { orientation, arrangement, slots });
            }
        }
    }
    found.sort_by_key(|l| (std::cmp::Reverse(l.slots.len()), l.arrangement, l.orientation));
    Ok(found)
}

fn same_places(a: &[Slot], b: &[Slot]) -> bool {
    a.len() == b.len()
        && a.iter().zip(b).all(|(a, b)| (a.rect.x - b.rect.x).abs() < 1e-6 && (a.rect.y - b.rect.y).abs() < 1e-6)
}

/// The checked outline of a plane.
pub(crate) fn outline(plane: &PlaneSpec) -> Result<Outline, RoofError> {
    let (key, made) = if !plane.outline_m.is_empty() {
        ("outline_m", Outline::new(&plane.outline_m))
    } else if let Some([w, h]) = plane.size_m {
        ("size_m", Outline::rectangle(w, h))
    } else {
        return Err(RoofError::NoSize { plane: plane.name.clone() });
    };
    made.map_err(|why| {
        RoofError::value(&plane.name, key, why, "corners of a simple polygon in metres, or two sides", "Correct it.")
    })
}

/// No more slots than this are looked for on one plane.
const SLOTS_MAX: f64 = 50_000.0;

struct Site {
    outline: Outline,
    obstacles: Vec<Obstacle>,
    setback: f64,
    clear: f64,
    gap: f64,
}

impl Site {
    fn of(plane: &PlaneSpec, face: &Face) -> Result<Site, RoofError> {
        let name = &plane.name;
        for (key, value) in
            [("setback_m", plane.setback_m), ("obstacle_setback_m", plane.obstacle_setback_m), ("gap_m", plane.gap_m)]
        {
            if !(0.0..=100.0).contains(&value) {
                return Err(RoofError::value(name, key, value, "0 to 100 m", "Give the free strip in metres."));
            }
        }
        for (key, value) in [("length_mm", face.length_m * 1e3), ("width_mm", face.width_m * 1e3)] {
            if !(100.0..=10_000.0).contains(&value) {
                return Err(RoofError::value(name, key, value, "100 to 10 000 mm", "Give the module's sides in mm."));
            }
        }
        if !(1..=6).contains(&face.groups) {
            return Err(RoofError::value(name, "bypass_groups", face.groups, "1 to 6", "3 is usual."));
        }
        let outline = outline(plane)?;
        if outline.area_m2() / (face.length_m * face.width_m) > SLOTS_MAX {
            let found = format!("{:.0} m2", outline.area_m2());
            let mend = "Describe a large field by rows, or split it into several planes.";
            return Err(RoofError::value(name, "size_m", found, "room for at most 50 000 modules", mend));
        }
        Ok(Site {
            outline,
            obstacles: obstacles(plane)?,
            setback: plane.setback_m,
            clear: plane.obstacle_setback_m,
            gap: plane.gap_m,
        })
    }

    fn free(&self, rect: &Rect) -> bool {
        self.outline.holds(rect, self.setback) && {
            let grown = rect.grown(self.clear);
            !self.obstacles.iter().any(|o| o.foot_meets(&grown))
        }
    }

    /// Offsets of a pattern along one axis (0 along the eave, 1 up the slope), ascending, within one pitch.
    fn offsets(&self, axis: usize, size: f64) -> Vec<f64> {
        let bounds = self.outline.bounds();
        let (low, extent) = if axis == 0 { (bounds.x, bounds.w) } else { (bounds.y, bounds.h) };
        let (low, extent) = (low + self.setback, extent - 2.0 * self.setback);
        let pitch = size + self.gap;
        let mut all: Vec<f64> = (0..8).map(|i| f64::from(i) / 8.0 * pitch).collect();
        let mut against = |edge: f64| all.push((edge - low).rem_euclid(pitch));
        against(low + extent - size);
        for obstacle in &self.obstacles {
            let foot = obstacle.foot.grown(self.clear);
            let (a, b) = if axis == 0 { (foot.x, foot.x + foot.w) } else { (foot.y, foot.y + foot.h) };
            if b > low && a < low + extent {
                against(b);
                against(a - size);
            }
        }
        for corner in self.outline.corners() {
            against(corner[axis] + self.setback);
            against(corner[axis] - self.setback - size);
        }
        all.retain(|o| o.is_finite());
        all.sort_by(f64::total_cmp);
        all.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
        // A remainder a hair below the pitch is the offset 0 again.
        all.retain(|o| *o < pitch - 1e-6);
        // A large plane fills either way; the search stays bounded.
        if self.outline.area_m2() / (size * size) > 2_000.0 {
            all.truncate(4);
        }
        all
    }

    fn best(&self, arrangement: Arrangement, size: [f64; 2]) -> Vec<Slot> {
        let bounds = self.outline.bounds();
        let mut best: Vec<Slot> = Vec::new();
        let columns = match arrangement {
            Arrangement::Grid => self.offsets(0, size[0]),
            Arrangement::Offset => vec![0.0],
        };
        for oy in self.offsets(1, size[1]) {
            for &ox in &columns {
                let mut slots: Vec<Slot> = Vec::new();
                let mut row = 0;
                for line in 0.. {
                    let y = bounds.y + self.setback + oy + f64::from(line) * (size[1] + self.gap);
                    if y + size[1] > bounds.y + bounds.h - self.setback + 1e-6 {
                        break;
                    }
                    let before = slots.len();
                    match arrangement {
                        Arrangement::Grid => self.grid_row(y, ox, size, &mut slots),
                        Arrangement::Offset => self.packed_row(y, size, &mut slots),
                    }
                    if slots.len() > before {
                        row += 1;
                        for slot in &mut slots[before..] {
                            slot.row = row;
                        }
                    }
                }
                if slots.len() > best.len() {
                    best = slots;
                }
            }
        }
        best
    }

    fn grid_row(&self, y: f64, ox: f64, size: [f64; 2], slots: &mut Vec<Slot>) {
        let bounds = self.outline.bounds();
        for column in 0.. {
            let x = bounds.x + self.setback + ox + f64::from(column) * (size[0] + self.gap);
            if x + size[0] > bounds.x + bounds.w - self.setback + 1e-6 {
                break;
            }
            self.take(Rect { x, y, w: size[0], h: size[1] }, slots);
        }
    }

    /// From left to right, each slot as far left as it goes: no arrangement of this row holds more.
    fn packed_row(&self, y: f64, size: [f64; 2], slots: &mut Vec<Slot>) {
        const STRIDE: f64 = 0.02;
        let bounds = self.outline.bounds();
        let end = bounds.x + bounds.w - self.setback - size[0] + 1e-6;
        let mut x = bounds.x + self.setback;
        let mut from = f64::NEG_INFINITY;
        while x <= end {
            let rect = Rect { x, y, w: size[0], h: size[1] };
            let grown = rect.grown(self.clear);
            if let Some(o) = self.obstacles.iter().find(|o| o.foot_meets(&grown)) {
                // Beyond a box at once; around a round foot in strides, since it may narrow within the row.
                let beyond = o.foot.x + o.foot.w + self.clear;
                from = x;
                x = if o.round { x + STRIDE } else { beyond.max(x + 1e-6) };
            } else if !self.outline.holds(&rect, self.setback) {
                from = x;
                x += STRIDE;
            } else {
                if x - from <= STRIDE + 1e-9 {
                    x = self.leftmost(from, x, y, size);
                }
                self.take(Rect { x, y, w: size[0], h: size[1] }, slots);
                from = f64::NEG_INFINITY;
                x += size[0] + self.gap;
            }
        }
    }

    /// Between a taken and a free position the leftmost free one, to a micrometre.
    fn leftmost(&self, mut taken: f64, mut free: f64, y: f64, size: [f64; 2]) -> f64 {
        while free - taken > 1e-6 {
            let middle = 0.5 * (free + taken);
            if self.free(&Rect { x: middle, y, w: size[0], h: size[1] }) {
                free = middle;
            } else {
                taken = middle;
            }
        }
        free
    }

    fn take(&self, rect: Rect, slots: &mut Vec<Slot>) {
        if self.free(&rect) {
            slots.push(Slot { number: slots.len() as u32 + 1, row: 0, rect });
        }
    }
}
