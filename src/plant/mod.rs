//! Strings, cables, inverter, grid: from module power to energy at the meter, and what is allowed.

mod cable;
mod curve;
mod error;
mod inverter;
mod sheet;

pub use cable::{AcCable, COPPER_PER_K, COPPER_RESISTIVITY, StringCable, loop_ohm, ohm_per_km};
pub use error::PlantError;
pub use inverter::{AcColumns, CALIFORNIA, EUROPEAN, Inverter};
pub use sheet::{
    CableSpec, Conductor, ConverterSpec, EfficiencyAtVoltage, GridSpec, Installation, InverterSheet, StringBasis,
    StringsSpec, TransformerSpec,
};
