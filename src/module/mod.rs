//! From light and air to what a module gives.
//!
//! - [`Glass`]: reflection away from normal incidence
//! - [`Thermal`]: how warm the cells run
//! - [`Electrical`]: power, voltage and current
//! - [`light_induced`]: the first loss
//! - [`Spectrum`]: colour of the light, off unless asked for
//! - [`rate`]: energy rating by climate
//! - [`validate`], [`vet`]: what is wrong with a record, and what its model says

mod curve;
mod diode;
mod efficiency;
mod electrical;
mod error;
mod incidence;
#[cfg(test)]
mod laws;
mod light_induced;
mod matrix;
mod rating;
#[cfg(test)]
mod samples;
mod sheet;
mod smooth;
mod spectrum;
mod thermal;
pub mod typical;
mod validate;
mod vet;

pub use curve::{Curve, HeatLaw};
pub(crate) use curve::{Shares, shares};
pub use diode::{Near, OneDiode, OperatingPoint};
pub use efficiency::Efficiency;
pub use electrical::{Electrical, MODELS, Power};
pub use error::ModuleError;
pub use incidence::{A_R, Glass, K_L, N_COATED, N_GLASS};
pub use light_induced::light_induced;
pub use matrix::{Cell, Matrix};
pub use rating::{Rating, rate};
pub use sheet::{ClampZone, GivenDiode, ModuleSheet, RatingBasis, Technology};
pub use spectrum::Spectrum;
pub use thermal::{KING_MOUNTS, Law, OPEN_RACK, Thermal};
pub use validate::{Finding, validate};
pub use vet::{MAP_G, MAP_T, Vet, VetDiode, VetModel, vet};

pub(crate) use validate::refuse_impossible;
