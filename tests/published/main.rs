//! Checks against published values, one file per source, data beside them.

mod copper;
mod iec_62548_worked;
mod inverter_weights;
mod nec_690_7;
mod sand2007_5036;
