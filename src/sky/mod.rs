//! The weather against the sun: completion, checks, synthesis, typical years.
//!
//! [`read`] is the door: it takes a file, refuses what cannot be trusted, completes what is missing and names what it
//! did in the notes of the [`WeatherYear`](crate::weather::WeatherYear).

mod chance;
mod complete;
mod error;
mod geometry;
pub mod separate;
mod synthetic;
mod transition;

pub use complete::{LONGEST_GAP_H, LONGEST_ROWS_H, WIND_WHEN_MISSING, complete, read, read_bytes};
pub use error::SkyError;
pub use synthetic::SkyRecipe;
pub use transition::{TRANSITIONS, Transition};
