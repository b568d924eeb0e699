//! Checks against published values, one file per source, data beside them.

mod astronomy;
mod clear_sky;
mod cell_temperature;
mod copper;
mod iec61853;
mod incidence;
mod iec_62548_worked;
mod inverter_weights;
mod nec_690_7;
mod duffie_beckman;
mod fao_56;
mod nrel_tp_463_5607;
mod nrel_tp_560_34302;
mod one_diode;
mod normal_distribution;
mod perez_1990;
mod present_value;
mod sand2007_5036;
mod trackers;
mod table;
mod transposition;
