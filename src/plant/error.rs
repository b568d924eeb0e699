//! What can be wrong with the parts of a plant.

/// A plant that cannot be computed. The message names the key, what was found, what is expected and how to mend it.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PlantError {
    /// A value of a data sheet or job that makes no sense.
    #[error("{key} is {found}; expected {expected}.\n  {mend}")]
    Value {
        /// The key as the user wrote it, for example `efficiency[2]`.
        key: String,
        /// What stands there.
        found: String,
        /// What would be right.
        expected: String,
        /// What to do.
        mend: String,
    },
    /// A value that is needed and missing.
    #[error("{key} is missing; expected {expected}.\n  {mend}")]
    Missing {
        /// The key.
        key: String,
        /// What would be right.
        expected: String,
        /// What to do.
        mend: String,
    },
}

impl PlantError {
    pub(crate) fn value(
        key: impl Into<String>,
        found: impl ToString,
        expected: impl Into<String>,
        mend: impl Into<String>,
    ) -> PlantError {
        PlantError::Value { key: key.into(), found: found.to_string(), expected: expected.into(), mend: mend.into() }
    }

    pub(crate) fn missing(key: impl Into<String>, expected: impl Into<String>, mend: impl Into<String>) -> PlantError {
        PlantError::Missing { key: key.into(), expected: expected.into(), mend: mend.into() }
    }
}

/// `x` when it is finite and above zero.
pub(crate) fn positive(key: &str, x: f64, unit: &str) -> Result<f64, PlantError> {
    if x.is_finite() && x > 0.0 {
        Ok(x)
    } else {
        Err(PlantError::value(key, x, format!("a number above 0 {unit}"), "Take it from the data sheet."))
    }
}

/// `x` when it is finite and not below zero.
pub(crate) fn not_negative(key: &str, x: f64, unit: &str) -> Result<f64, PlantError> {
    if x.is_finite() && x >= 0.0 {
        Ok(x)
    } else {
        Err(PlantError::value(key, x, format!("0 {unit} or more"), "Leave it out if it is not known."))
    }
}

/// `x`, when given, as [`positive`].
pub(crate) fn maybe_positive(key: &str, x: Option<f64>, unit: &str) -> Result<Option<f64>, PlantError> {
    x.map(|x| positive(key, x, unit)).transpose()
}
