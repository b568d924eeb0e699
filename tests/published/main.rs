//! Checks against published values, one file per source, data beside them.

mod table;

mod aguiar_1988;
mod astronomy;
mod copper;
mod erbs_1982;
mod iec_62548_worked;
mod inverter_weights;
mod long_dutton_2002;
mod nec_690_7;
mod nrel_tp_560_34302;
mod perez_1990;
mod sand2007_5036;
mod transposition;
