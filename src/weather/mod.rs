//! Weather files to columns on a plain grid.
//!
//! This folder reads and writes; it knows no sun. Whatever the file's layout, units and label convention, what comes
//! out is a [`RawYear`]: whole local-standard-time days, each cut into equal steps, with NaN where a value is missing.
//! [`crate::sky`] completes and checks it and makes the [`WeatherYear`] that every later stage reads.

mod body;
mod careful;
mod decimal;
mod error;
mod fast;
mod formats;
mod grid;
mod hints;
mod raw;
mod read;
mod scan;
mod write;
mod year;

pub use error::WeatherError;
pub use hints::{Label, Period, ReadHints, Separation};
pub use raw::{Fault, FaultKind, Lines, Quantity, RawYear, when};
pub use read::{MAX_BYTES, MAX_LINE, MAX_ROWS, read_raw, read_raw_bytes, read_up_to, read_words};
pub(crate) use read::{beside, hex, read_whole};
pub use write::write_tidy;
pub use year::{Place, Provenance, WeatherYear};

#[cfg(test)]
pub(crate) mod specimen;
#[cfg(test)]
mod tests;
