//! Rectangles in plane coordinates and the outline of a plane.

use serde::{Deserialize, Serialize};

/// Slack of every fit test, m: far below any tape measure, far above rounding.
const SLACK: f64 = 1e-6;

/// A rectangle parallel to the eave: lower left corner, extent along the eave and up the slope, m.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Rect {
    /// Left side, m.
    pub x: f64,
    /// Lower side, m.
    pub y: f64,
    /// Extent along the eave, m.
    pub w: f64,
    /// Extent up the slope, m.
    pub h: f64,
}

impl Rect {
    /// Grown by the same margin on all four sides (shrunk when negative).
    pub fn grown(&self, by: f64) -> Rect {
        Rect { x: self.x - by, y: self.y - by, w: self.w + 2.0 * by, h: self.h + 2.0 * by }
    }

    /// Whether the insides meet; rectangles that touch within a micrometre do not.
    pub fn meets(&self, other: &Rect) -> bool {
        self.x + SLACK < other.x + other.w
            && other.x + SLACK < self.x + self.w
            && self.y + SLACK < other.y + other.h
            && other.y + SLACK < self.y + self.h
    }

    /// Whether it lies within another, a micrometre of slack allowed.
    fn within(&self, outer: &Rect) -> bool {
        self.x >= outer.x - SLACK
            && self.y >= outer.y - SLACK
            && self.x + self.w <= outer.x + outer.w + SLACK
            && self.y + self.h <= outer.y + outer.h + SLACK
    }

    /// Middle, m.
    pub fn centre(&self) -> [f64; 2] {
        [self.x + 0.5 * self.w, self.y + 0.5 * self.h]
    }

    fn corners(&self) -> [[f64; 2]; 4] {
        let (x1, y1) = (self.x + self.w, self.y + self.h);
        [[self.x, self.y], [x1, self.y], [x1, y1], [self.x, y1]]
    }

    fn distance_to_point(&self, p: [f64; 2]) -> f64 {
        let dx = (self.x - p[0]).max(0.0).max(p[0] - self.x - self.w);
        let dy = (self.y - p[1]).max(0.0).max(p[1] - self.y - self.h);
        dx.hypot(dy)
    }

    /// Distance to a segment, m; 0 when they meet.
    fn distance_to_segment(&self, a: [f64; 2], b: [f64; 2]) -> f64 {
        if self.cuts(a, b) {
            return 0.0;
        }
        let ends = self.distance_to_point(a).min(self.distance_to_point(b));
        self.corners().iter().fold(ends, |least, &c| least.min(point_to_segment(c, a, b)))
    }

    /// Whether a segment meets the rectangle (Liang and Barsky 1984: clip the segment by the four sides).
    fn cuts(&self, a: [f64; 2], b: [f64; 2]) -> bool {
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
        for (step, room) in
            [(-dx, a[0] - self.x), (dx, self.x + self.w - a[0]), (-dy, a[1] - self.y), (dy, self.y + self.h - a[1])]
        {
            if step == 0.0 {
                if room < 0.0 {
                    return false;
                }
            } else if step < 0.0 {
                enter = enter.max(room / step);
            } else {
                leave = leave.min(room / step);
            }
        }
        enter <= leave
    }
}

fn point_to_segment(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let length2 = dx * dx + dy * dy;
    let along = (p[0] - a[0]) * dx + (p[1] - a[1]) * dy;
    let t = if length2 > 0.0 { (along / length2).clamp(0.0, 1.0) } else { 0.0 };
    (p[0] - a[0] - t * dx).hypot(p[1] - a[1] - t * dy)
}

/// The edge of a plane: a simple polygon, in either sense, m.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Outline {
    corners: Vec<[f64; 2]>,
}

impl Outline {
    /// From corners; `Err` holds a plain reason when they do not enclose an area or the edges cross.
    pub fn new(corners: &[[f64; 2]]) -> Result<Outline, &'static str> {
        let mut corners = corners.to_vec();
        if corners.len() > 1 && corners.first() == corners.last() {
            corners.pop();
        }
        if corners.len() < 3 {
            return Err("fewer than three corners");
        }
        if corners.iter().flatten().any(|c| !c.is_finite() || c.abs() > 1e5) {
            return Err("a corner that is not a number of metres below 100 000");
        }
        let outline = Outline { corners };
        let n = outline.corners.len();
        for i in 0..n {
            for j in i + 1..n {
                if j == i + 1 || (i == 0 && j == n - 1) {
                    continue;
                }
                let (a, b) = outline.edge(i);
                let (c, d) = outline.edge(j);
                if segments_meet(a, b, c, d) {
                    return Err("edges that cross or touch");
                }
            }
        }
        if outline.area_m2() < 1e-3 { Err("an area of nothing") } else { Ok(outline) }
    }

    /// A rectangle from the origin.
    pub fn rectangle(width: f64, height: f64) -> Result<Outline, &'static str> {
        if !(width > 0.0 && height > 0.0) {
            return Err("a side that is not above 0 m");
        }
        Outline::new(&[[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
    }

    /// Corners, m.
    pub fn corners(&self) -> &[[f64; 2]] {
        &self.corners
    }

    /// Area by the shoelace formula, m2.
    pub fn area_m2(&self) -> f64 {
        let twice: f64 = (0..self.corners.len())
            .map(|i| {
                let (a, b) = self.edge(i);
                a[0] * b[1] - b[0] * a[1]
            })
            .sum();
        0.5 * twice.abs()
    }

    /// The smallest rectangle around it.
    pub fn bounds(&self) -> Rect {
        let mut low = [f64::INFINITY; 2];
        let mut high = [f64::NEG_INFINITY; 2];
        for c in &self.corners {
            for k in 0..2 {
                low[k] = low[k].min(c[k]);
                high[k] = high[k].max(c[k]);
            }
        }
        Rect { x: low[0], y: low[1], w: high[0] - low[0], h: high[1] - low[1] }
    }

    /// Whether a rectangle lies inside and keeps a distance of at least `setback` metres from every edge.
    pub fn holds(&self, rect: &Rect, setback: f64) -> bool {
        let bounds = self.bounds();
        if !rect.within(&bounds.grown(-setback)) {
            return false;
        }
        // A rectangular outline is its own bounds.
        if self.corners.len() == 4 && self.corners.iter().all(|c| bounds.corners().contains(c)) {
            return true;
        }
        let inner = rect.grown(-SLACK);
        (0..self.corners.len()).all(|i| {
            let (a, b) = self.edge(i);
            inner.distance_to_segment(a, b) >= setback + 0.999 * SLACK
        }) && self.contains(rect.centre())
    }

    /// Whether a point lies inside: even-odd count of the edges that a ray to the right crosses.
    pub fn contains(&self, p: [f64; 2]) -> bool {
        let mut inside = false;
        for i in 0..self.corners.len() {
            let (a, b) = self.edge(i);
            if (a[1] > p[1]) != (b[1] > p[1]) && p[0] < a[0] + (p[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0]) {
                inside = !inside;
            }
        }
        inside
    }

    fn edge(&self, i: usize) -> ([f64; 2], [f64; 2]) {
        (self.corners[i], self.corners[(i + 1) % self.corners.len()])
    }
}

fn segments_meet(a: [f64; 2], b: [f64; 2], c: [f64; 2], d: [f64; 2]) -> bool {
    let side = |p: [f64; 2], q: [f64; 2], r: [f64; 2]| (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]);
    let on = |p: [f64; 2], q: [f64; 2], r: [f64; 2]| {
        r[0] >= p[0].min(q[0]) && r[0] <= p[0].max(q[0]) && r[1] >= p[1].min(q[1]) && r[1] <= p[1].max(q[1])
    };
    let (s1, s2, s3, s4) = (side(a, b, c), side(a, b, d), side(c, d, a), side(c, d, b));
    if ((s1 > 0.0 && s2 < 0.0) || (s1 < 0.0 && s2 > 0.0)) && ((s3 > 0.0 && s4 < 0.0) || (s3 < 0.0 && s4 > 0.0)) {
        return true;
    }
    (s1 == 0.0 && on(a, b, c)) || (s2 == 0.0 && on(a, b, d)) || (s3 == 0.0 && on(c, d, a)) || (s4 == 0.0 && on(c, d, b))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rectangle_holds_what_fits() {
        let roof = Outline::rectangle(10.0, 5.0).unwrap();
        assert!(roof.holds(&Rect { x: 0.5, y: 0.5, w: 9.0, h: 4.0 }, 0.5));
        assert!(!roof.holds(&Rect { x: 0.499, y: 0.5, w: 9.0, h: 4.0 }, 0.5));
        assert!(roof.holds(&Rect { x: 0.0, y: 0.0, w: 10.0, h: 5.0 }, 0.0));
        assert!(!roof.holds(&Rect { x: 0.0, y: 0.0, w: 10.001, h: 5.0 }, 0.0));
        assert!(!roof.holds(&Rect { x: 20.0, y: 1.0, w: 1.0, h: 1.0 }, 0.0), "outside, far from every edge");
        assert!((roof.area_m2() - 50.0).abs() < 1e-12);
    }

    #[test]
    fn an_oblique_edge_keeps_its_distance() {
        // Right triangle with legs 10: the hypotenuse x + y = 10. The corner (4, 4) of a square lies 2 / sqrt 2 away.
        let roof = Outline::new(&[[0.0, 0.0], [10.0, 0.0], [0.0, 10.0]]).unwrap();
        let square = Rect { x: 2.0, y: 2.0, w: 2.0, h: 2.0 };
        let distance = 2.0 / 2.0_f64.sqrt();
        assert!(roof.holds(&square, distance - 1e-5));
        assert!(!roof.holds(&square, distance + 1e-5));
    }

    #[test]
    fn a_notch_that_reaches_into_the_rectangle_is_seen() {
        // A thin notch from above ends in the middle of the rectangle, whose four corners are all inside.
        let roof =
            Outline::new(&[[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [5.1, 10.0], [5.0, 5.0], [4.9, 10.0], [0.0, 10.0]])
                .unwrap();
        assert!(!roof.holds(&Rect { x: 2.0, y: 2.0, w: 6.0, h: 5.0 }, 0.0));
        assert!(roof.holds(&Rect { x: 2.0, y: 2.0, w: 6.0, h: 2.9 }, 0.0));
    }

    #[test]
    fn bad_outlines_are_refused() {
        assert!(Outline::new(&[[0.0, 0.0], [1.0, 0.0]]).is_err());
        assert!(Outline::new(&[[0.0, 0.0], [1.0, 1.0], [1.0, 0.0], [0.0, 1.0]]).is_err(), "bow tie");
        assert!(Outline::new(&[[0.0, 0.0], [1.0, 0.0], [2.0, 0.0]]).is_err(), "flat");
        assert!(Outline::new(&[[0.0, 0.0], [f64::NAN, 0.0], [2.0, 1.0]]).is_err());
        assert!(Outline::rectangle(0.0, 4.0).is_err());
    }
}
