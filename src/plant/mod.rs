//! Strings, cables, inverter, grid: from module power to energy at the meter, and what is allowed.

mod sheet;

pub use sheet::{CableSpec, EfficiencyAtVoltage, GridSpec, InverterSheet, StringBasis, StringsSpec, TransformerSpec};
