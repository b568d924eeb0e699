//! The JSON Schema of job and parts files, as `configs/` keeps it.

use std::sync::OnceLock;

use serde_json::Value;

use super::node;

/// JSON Schema (2020-12) of a job file, with the ranges and words that the program checks.
///
/// The file of `configs/` is part of the program; a test holds it against what structs and rules make.
pub fn job_schema() -> &'static Value {
    static SCHEMA: OnceLock<Value> = OnceLock::new();
    SCHEMA.get_or_init(|| kept(node::JOB))
}

/// JSON Schema (2020-12) of a parts file.
pub fn parts_schema() -> &'static Value {
    static SCHEMA: OnceLock<Value> = OnceLock::new();
    SCHEMA.get_or_init(|| kept(node::PARTS))
}

/// The kept text as a schema; a test reads both.
fn kept(text: &str) -> Value {
    serde_json::from_str(text).unwrap_or_default()
}
