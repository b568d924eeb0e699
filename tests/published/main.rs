//! Checks against published values, one file per source, data beside them.

mod table;

mod aguiar_1988;
mod astronomy;
mod cell_temperature;
mod clear_sky;
mod copper;
mod duffie_beckman;
mod erbs_1982;
mod fao_56;
mod iec61853;
mod iec_62548_worked;
mod incidence;
mod inverter_weights;
mod long_dutton_2002;
mod nec_690_7;
mod normal_distribution;
mod nrel_tp_463_5607;
mod nrel_tp_560_34302;
mod one_diode;
mod perez_1990;
mod present_value;
mod sand2007_5036;
mod trackers;
mod transposition;
