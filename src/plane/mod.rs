//! Light on a tilted plane: orientation, trackers, sky models, ground, skyline, rows.

mod light;
mod rear;
mod rows;
mod sky;
mod skyline;
mod spec;
mod tracker;

pub use light::PlaneLight;
pub use rear::{RearLight, RearViews};
pub use rows::{RowGeometry, profile_angle_deg, row_shaded_share};
pub use sky::{PEREZ_1990, PEREZ_BINS, Sky};
pub use skyline::{Skyline, SkylineError};
pub use spec::{Cooling, ObstacleSpec, PlaneSpec, RowsSpec, SkyModel, TrackerSpec};
pub use tracker::{Tracker, backtracked_deg, true_rotation_deg};

#[cfg(test)]
mod rays;
#[cfg(test)]
mod tests;
