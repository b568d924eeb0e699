//! Checks against published values, one file per source, data beside them.
