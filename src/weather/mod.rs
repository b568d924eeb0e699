//! Weather files to a checked year of columns.
//!
//! Whatever the file's layout, units and label convention, what comes out is a [`WeatherYear`] on a plain grid: whole
//! local-standard-time days, each cut into equal steps, every column finite.

mod year;

pub use year::{Place, Provenance, WeatherYear};
