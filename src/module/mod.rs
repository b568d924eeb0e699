//! From light and air to what a module gives.
//!
//! - [`Glass`]: reflection away from normal incidence
//! - [`Thermal`]: how warm the cells run
//! - [`Electrical`]: power, voltage and current
//! - [`light_induced`]: the first loss
//! - [`validate`]: what is wrong with a record

mod curve;
mod diode;
mod efficiency;
mod electrical;
mod error;
mod incidence;
mod light_induced;
mod matrix;
#[cfg(test)]
mod samples;
mod sheet;
mod smooth;
mod thermal;
pub mod typical;
mod validate;

pub use curve::{Curve, HeatLaw};
pub use diode::{OneDiode, OperatingPoint};
pub use efficiency::Efficiency;
pub use electrical::{Electrical, MODELS, Power};
pub use error::ModuleError;
pub use incidence::{A_R, Glass, K_L, N_COATED, N_GLASS};
pub use light_induced::light_induced;
pub use matrix::{Cell, Matrix};
pub use sheet::{ClampZone, GivenDiode, ModuleSheet, RatingBasis, Technology};
pub use thermal::{KING_MOUNTS, Law, OPEN_RACK, Thermal};
pub use validate::{Finding, validate};

pub(crate) use validate::refuse_impossible;
