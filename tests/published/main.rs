//! Checks against published values, one file per source, data beside them.

mod astronomy;
mod copper;
mod iec_62548_worked;
mod inverter_weights;
mod nec_690_7;
mod normal_distribution;
mod nrel_tp_560_34302;
mod perez_1990;
mod present_value;
mod sand2007_5036;
mod table;
mod transposition;
