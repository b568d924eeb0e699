//! From light and air to what a module gives.

mod sheet;

pub use sheet::{ClampZone, ModuleSheet, RatingBasis, Technology};
