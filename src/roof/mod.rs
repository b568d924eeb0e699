//! Slots that modules fit in, obstacles, and the shade on each slot.
//!
//! # The two frames
//!
//! *Plane coordinates* (metres) are what a survey gives: `x` along the eave, **to the right for somebody who stands in
//! front of the plane and looks up the slope**, `y` up the slope. A plane that faces south has `x` to the east, one
//! that faces north (the usual one on the southern half of the earth) has `x` to the west. See [`Frame`].
//!
//! *Standing coordinates* (metres) share the origin and `x`, but the second axis is the horizontal way up the slope and
//! the third is straight up. Obstacles stand upright, so their sides are parallel to the third axis.
//!
//! # The chain
//!
//! ```text
//! PlaneSpec -> layouts() -> Layout -> SlotShade per slot -> rank() -> best N slots -> strings -> ArrayShade
//! ```
//!
//! Fire paths, edge distances and access to a roof are set by local rules; a layout made here does not prove that they
//! are kept. The structure under it is a matter for a licensed structural engineer.

mod arrays;
mod fit;
mod frame;
mod obstacles;
mod outline;
mod rank;
mod rows;
mod shade;
mod slots;
mod strings;
#[cfg(test)]
mod tests;

pub use arrays::{ArrayShade, Wiring, array_shade};
pub use fit::{FitCache, RoofFit, RoofMap, SlotRecord, Wanted, fit};
pub use frame::Frame;
pub use obstacles::{Obstacle, Shape, obstacles};
pub use outline::{Outline, Rect};
pub use rank::{SlotYear, UNSHADED_LOSS, rank, slot_curve, unshaded};
pub use rows::{FieldUse, RowModules, field_use, row_places, row_shade};
pub use shade::{SUNS_PER_HOUR, SlotShade, SunPath, hides, slot_shades};
pub use slots::{Arrangement, Face, Layout, Orientation, Slot, layouts};
pub use strings::{GroupCurve, input_power, string_power, uniform_power};

/// What makes a roof impossible to lay out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RoofError {
    /// No dimensions.
    #[error(
        "plane \"{plane}\": no size_m and no outline_m; expected one of them to fit modules.\n  \
         Add size_m = [along the eave, up the slope] in metres, or outline_m with the corners."
    )]
    NoSize {
        /// Name of the plane.
        plane: String,
    },
    /// A number outside its range.
    #[error("plane \"{plane}\": {key} is {found}; expected {expected}.\n  {mend}")]
    Value {
        /// Name of the plane.
        plane: String,
        /// Key in the job file.
        key: String,
        /// What stands there.
        found: String,
        /// What should.
        expected: &'static str,
        /// What to do.
        mend: &'static str,
    },
    /// More modules wanted than the planes hold.
    #[error(
        "plane \"{plane}\": {wanted} modules wanted, {slots} slots fit; expected at most as many modules as slots.\n  \
         Lower the number of modules, reduce setback_m, or add a plane."
    )]
    TooMany {
        /// Name of the plane.
        plane: String,
        /// Modules wanted.
        wanted: u32,
        /// Slots found.
        slots: u32,
    },
}

impl RoofError {
    pub(crate) fn value(
        plane: &str,
        key: impl Into<String>,
        found: impl ToString,
        expected: &'static str,
        mend: &'static str,
    ) -> RoofError {
        RoofError::Value { plane: plane.to_string(), key: key.into(), found: found.to_string(), expected, mend }
    }
}
