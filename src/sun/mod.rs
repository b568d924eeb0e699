//! Where the sun stands, and what reaches the top of the air.

mod air;
pub mod clear_sky;
mod ephemeris;
mod position;
mod track;

pub use air::{air_mass, extraterrestrial_day, extraterrestrial_normal, pressure_hpa};
pub use ephemeris::{Anchor, anchor, delta_t_s};
pub use position::{Observer, SunPosition, position, refraction_deg};
pub use track::SunTrack;
