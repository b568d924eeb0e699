use thiserror::Error;

/// Why a module record cannot be used.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ModuleError {
    /// A value of the record is impossible, alone or beside another.
    #[error("{key} is {found}; expected {expected}.\n  {mend}")]
    Value {
        /// The key, or the pair of keys that do not go together.
        key: String,
        /// What was found.
        found: String,
        /// What is expected.
        expected: String,
        /// How to mend it.
        mend: String,
    },
    /// A line of a table is wrong.
    #[error("{file}:{line}: {found}; expected {expected}.\n  {mend}")]
    Line {
        /// Name of the file as the caller gave it.
        file: String,
        /// Line, counted from 1.
        line: u64,
        /// What was found.
        found: String,
        /// What is expected.
        expected: String,
        /// How to mend it.
        mend: String,
    },
    /// A model by a name that does not exist.
    #[error("{key} is \"{found}\"; expected one of {expected}.\n  Leave {key} out to take the default.")]
    Unknown {
        /// The key.
        key: &'static str,
        /// What was found.
        found: String,
        /// The names that exist.
        expected: &'static str,
    },
}

impl ModuleError {
    pub(crate) fn value(
        key: impl Into<String>,
        found: impl Into<String>,
        expected: impl Into<String>,
        mend: impl Into<String>,
    ) -> ModuleError {
        ModuleError::Value { key: key.into(), found: found.into(), expected: expected.into(), mend: mend.into() }
    }
}
