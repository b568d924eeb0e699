//! yearlight: an hourly photovoltaic energy-yield simulator that weighs competing module choices at one site.
//!
//! Data flows one way, and each folder imports only what stands above it in this list:
//!
//! ```text
//! weather -> sun -> plane -> sky -> roof -> module -> plant -> job -> energy -> weigh -> fleet -> report
//! ```
//!
//! From a job file to the energy of a year, and what makes the options differ:
//!
//! ```
//! use yearlight::{energy::Plan, job, sky, weigh};
//!
//! let job = job::load("configs/two-skies/cloudy.toml".as_ref())?;
//! let weather = sky::read(&job.weather_path(), &job.read_hints()?)?;
//! let plan = Plan::of(&job, &weather)?;
//! for year in plan.years() {
//!     println!("{}: {:.0} kWh, performance ratio {:.3}", year.tag, year.e_ac_kwh(), year.pr());
//!     assert!((0.5..1.0).contains(&year.pr()));
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
#![warn(missing_docs)]

// Lets a command file name the library as its users do.
extern crate self as yearlight;

pub mod maths;
pub mod units;

#[doc(hidden)]
pub mod cli;
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
pub mod tables;
pub mod weather;
pub mod weigh;
