//! The weather against the sun: completion, checks, synthesis, typical years.
//!
//! [`read`] is the door: it takes a file, refuses what cannot be trusted, completes what is missing and names what it
//! did in the notes of the [`WeatherYear`](crate::weather::WeatherYear).

mod complete;
mod geometry;
pub mod separate;

pub use complete::{LONGEST_GAP_H, LONGEST_ROWS_H, WIND_WHEN_MISSING, complete, read, read_bytes};
