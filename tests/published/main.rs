//! Checks against published values, one file per source, data beside them.

mod table;

mod astronomy;
mod nrel_tp_560_34302;
mod perez_1990;
mod transposition;
