//! Checks against published values, one file per source, data beside them.

mod copper;
mod inverter_weights;
mod sand2007_5036;

mod normal_distribution;
mod present_value;
