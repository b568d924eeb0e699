//! Strings, cables, inverter, grid: from module power to energy at the meter, and what is allowed.

mod cable;
pub mod cautions;
mod converter;
mod curve;
mod error;
mod grid;
mod inverter;
mod layout;
pub mod loads;
mod operate;
mod sheet;
pub mod strings;

pub use cable::{AcCable, COPPER_PER_K, COPPER_RESISTIVITY, StringCable, loop_ohm, ohm_per_km};
pub use converter::ModuleConverter;
pub use error::PlantError;
pub use grid::{ExportLimit, Transformer, take_outage};
pub use inverter::{AcColumns, CALIFORNIA, EUROPEAN, Inverter};
pub use layout::{InverterLayout, Layout, assign, modules_for, string_lengths};
pub use loads::SiteLoadSpec;
pub(crate) use operate::{Extremes, StringKind};
pub use operate::{InputColumns, InputLimits, IvCurve, StringSet, operate};
pub use sheet::{
    CableSpec, Conductor, ConverterSpec, EfficiencyAtVoltage, GridSpec, Installation, InverterSheet, StringBasis,
    StringsSpec, TransformerSpec,
};
pub use strings::{
    CheckLine, ColdVoltage, Fuses, Standing, StringCheck, StringQuestion, Verdict, check, cold_factor, v_at,
};
