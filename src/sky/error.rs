//! What can be wrong with a recipe for a sky or a set of years.

use crate::weather::WeatherError;

/// Messages say the key or file, what was found, what is expected and how to mend it.
#[derive(Debug, thiserror::Error)]
pub enum SkyError {
    /// A weather file.
    #[error(transparent)]
    Weather(#[from] WeatherError),
    /// The recipe is no TOML or has wrong keys.
    #[error("{file}: {reason}\n  Compare it with the recipes in weather/.")]
    Toml {
        /// File.
        file: String,
        /// The parser's words, with line and column.
        reason: String,
    },
    /// A value in the recipe.
    #[error("{file}: {key} is {found}; expected {expected}.\n  {mend}")]
    Value {
        /// File.
        file: String,
        /// Key.
        key: String,
        /// What was found.
        found: String,
        /// What is expected.
        expected: String,
        /// How to mend.
        mend: String,
    },
    /// Years that do not serve for a typical year.
    #[error("{found}; expected {expected}.\n  {mend}")]
    Years {
        /// What was found.
        found: String,
        /// What is expected.
        expected: String,
        /// How to mend.
        mend: String,
    },
}
