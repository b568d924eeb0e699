//! yearlight: an hourly photovoltaic energy-yield simulator that weighs competing module choices at one site.
//!
//! Data flows one way, and each folder imports only what stands above it in this list:
//!
//! ```text
//! weather -> sun -> plane -> sky -> roof -> module -> plant -> job -> energy -> weigh -> fleet -> report
//! ```
#![warn(missing_docs)]

pub mod maths;
pub mod units;

pub mod energy;
pub mod fleet;
pub mod job;
pub mod module;
pub mod plane;
pub mod plant;
pub mod report;
pub mod roof;
pub mod sky;
pub mod sun;
#[cfg(feature = "tables")]
pub mod tables;
pub mod weather;
pub mod weigh;
