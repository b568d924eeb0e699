//! The weather against the sun: completion, checks, synthesis, typical years.
//!
//! [`read`] is the door: it takes a file, refuses what cannot be trusted, completes what is missing and names what it
//! did in the notes of the [`WeatherYear`](crate::weather::WeatherYear).

mod chance;
pub mod checks;
mod complete;
mod error;
mod geometry;
mod inspect;
pub mod separate;
pub mod shift;
mod synthetic;
mod transition;
mod typical;

pub use complete::{LONGEST_GAP_H, LONGEST_ROWS_H, WIND_WHEN_MISSING, complete, read, read_bytes};
pub use error::SkyError;
pub use inspect::{Inspection, Summary, Verdict, inspect};
pub use synthetic::SkyRecipe;
pub use transition::{TRANSITIONS, Transition};
pub use typical::{Choice, Spread, Typical, assemble, finkelstein_schafer, split_years, spread};

#[cfg(test)]
mod tests;
