//! Obstacles in standing coordinates, and the zones they take from a plane.

use super::{Frame, Rect, RoofError};
use crate::plane::{ObstacleSpec, PlaneSpec};

/// An upright solid in standing coordinates, m. It reaches from far below the plane to `top`.
///
/// What lies below the plane cannot shade it, so the lower end needs no figure, and a solid beside the plane is
/// treated like one on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// A box with sides along the eave and across it.
    Box {
        /// Low and high end along the eave.
        along: [f64; 2],
        /// Low and high end of the horizontal way up the slope.
        uphill: [f64; 2],
        /// Level of the flat top.
        top: f64,
    },
    /// An upright cylinder.
    Cylinder {
        /// Centre, along the eave and horizontally up the slope.
        centre: [f64; 2],
        /// Radius.
        radius: f64,
        /// Level of the flat top.
        top: f64,
    },
}

impl Shape {
    /// Grown so that a ray from the middle of a slot hits it whenever a ray from any point of the slot hits the
    /// original: by half the slot's extents, in standing coordinates.
    pub(crate) fn grown(&self, half: [f64; 3]) -> Shape {
        match *self {
            Shape::Box { along, uphill, top } => Shape::Box {
                along: [along[0] - half[0], along[1] + half[0]],
                uphill: [uphill[0] - half[1], uphill[1] + half[1]],
                top: top + half[2],
            },
            Shape::Cylinder { centre, radius, top } => {
                Shape::Cylinder { centre, radius: radius + half[0].hypot(half[1]), top: top + half[2] }
            }
        }
    }

    /// Ends along the eave and horizontally up the slope of the rectangle around it, and the level of its top.
    pub(crate) fn bounds(&self) -> ([f64; 2], [f64; 2], f64) {
        match *self {
            Shape::Box { along, uphill, top } => (along, uphill, top),
            Shape::Cylinder { centre, radius, top } => {
                let ends = |c: f64| [c - radius, c + radius];
                (ends(centre[0]), ends(centre[1]), top)
            }
        }
    }
}

/// One obstacle of a plane, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct Obstacle {
    /// Name for the report.
    pub name: String,
    /// The solid.
    pub shape: Shape,
    /// Share of light that passes in each month, 0..1.
    pub passes: [f64; 12],
    /// Smallest rectangle around its foot in plane coordinates, m.
    pub foot: Rect,
    /// Whether the foot is an ellipse within that rectangle.
    pub round: bool,
}

impl Obstacle {
    /// Whether the foot meets a rectangle; for a round foot the nearest point of the rectangle is looked at.
    ///
    /// The foot of a cylinder on a plane of tilt `b` is an ellipse with the half axes `r` and `r / cos b`.
    pub(crate) fn foot_meets(&self, rect: &Rect) -> bool {
        if !self.foot.meets(rect) {
            return false;
        }
        if !self.round {
            return true;
        }
        let [cx, cy] = self.foot.centre();
        let dx = (rect.x - cx).max(0.0).max(cx - rect.x - rect.w) / (0.5 * self.foot.w);
        let dy = (rect.y - cy).max(0.0).max(cy - rect.y - rect.h) / (0.5 * self.foot.h);
        dx * dx + dy * dy < 1.0 - 1e-9
    }

    /// Whether the light that passes changes over the year.
    pub(crate) fn seasonal(&self) -> bool {
        self.passes.iter().any(|p| *p != self.passes[0])
    }
}

/// The checked obstacles of a plane, in the order of the job file.
pub fn obstacles(plane: &PlaneSpec) -> Result<Vec<Obstacle>, RoofError> {
    let tilt = plane.tilt_deg;
    if !(0.0..=89.0).contains(&tilt) && !plane.obstacles.is_empty() {
        return Err(RoofError::value(
            &plane.name,
            "tilt_deg",
            tilt,
            "0 to 89 on a plane with obstacles",
            "Leave the obstacles out on an upright plane.",
        ));
    }
    let frame = Frame::of(tilt, plane.azimuth_deg);
    plane.obstacles.iter().enumerate().map(|(i, spec)| one(&plane.name, i, spec, &frame)).collect()
}

fn one(plane: &str, index: usize, spec: &ObstacleSpec, frame: &Frame) -> Result<Obstacle, RoofError> {
    let key = |word: &str| format!("obstacles[{index}].{word}");
    let place = |at: &[f64; 2]| {
        let good = at.iter().all(|c| c.is_finite() && c.abs() <= 1e4);
        good.then_some(()).ok_or_else(|| {
            let found = format!("[{}, {}]", at[0], at[1]);
            RoofError::value(plane, key("at_m"), found, "metres within 10 000 of the origin", "Correct the position.")
        })
    };
    let length = |word: &str, value: f64| {
        (value > 0.0 && value <= 1e3).then_some(value).ok_or_else(|| {
            RoofError::value(plane, key(word), value, "above 0 and at most 1000 m", "Give every length in metres.")
        })
    };
    match spec {
        ObstacleSpec::Box { name, at_m, size_m } => {
            place(at_m)?;
            let width = length("size_m", size_m[0])?;
            let depth = length("size_m", size_m[1])?;
            let height = length("size_m", size_m[2])?;
            let [x, low, level] = frame.standing(at_m[0], at_m[1]);
            let high = frame.standing(at_m[0], at_m[1] + depth)[1];
            Ok(Obstacle {
                name: name.clone().unwrap_or_else(|| format!("box {}", index + 1)),
                shape: Shape::Box { along: [x, x + width], uphill: [low, high], top: level + height },
                passes: [0.0; 12],
                foot: Rect { x: at_m[0], y: at_m[1], w: width, h: depth },
                round: false,
            })
        }
        ObstacleSpec::Cylinder { name, at_m, diameter_m, height_m, passes_pct } => {
            place(at_m)?;
            let diameter = length("diameter_m", *diameter_m)?;
            let height = length("height_m", *height_m)?;
            let percent = passes_pct.as_ref().map_or([0.0; 12], |p| p.months());
            if let Some(bad) = percent.iter().find(|p| !(0.0..=100.0).contains(*p)) {
                return Err(RoofError::value(
                    plane,
                    key("passes_pct"),
                    bad,
                    "0 to 100 percent, one value or twelve",
                    "0 is opaque, 100 is clear.",
                ));
            }
            let [x, v, level] = frame.standing(at_m[0], at_m[1]);
            let tall = diameter / frame.cos_tilt();
            Ok(Obstacle {
                name: name.clone().unwrap_or_else(|| format!("cylinder {}", index + 1)),
                shape: Shape::Cylinder { centre: [x, v], radius: 0.5 * diameter, top: level + height },
                passes: percent.map(|p| p / 100.0),
                foot: Rect { x: at_m[0] - 0.5 * diameter, y: at_m[1] - 0.5 * tall, w: diameter, h: tall },
                round: true,
            })
        }
    }
}
