//! Checks against published values, one file per source, data beside them.

mod table;

mod astronomy;
mod copper;
mod inverter_weights;
mod nrel_tp_560_34302;
mod perez_1990;
mod sand2007_5036;
mod transposition;
