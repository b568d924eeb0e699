//! What can be wrong with a weather file, in words that say where and how to mend it.

/// Every message names the file and line or key, what was found, what is expected and how to mend it.
#[derive(Debug, thiserror::Error)]
pub enum WeatherError {
    /// The file cannot be opened or read.
    #[error(
        "{file}: {reason}; expected a readable weather file.\n  Check the path; it is taken relative to the file that names it."
    )]
    Open {
        /// As the user gave it.
        file: String,
        /// The system's words.
        reason: String,
    },
    /// More than the machine should be asked to hold.
    #[error("{file}: {found}; expected {expected}.\n  Cut the file into years, or give fewer columns or longer steps.")]
    Large {
        /// File.
        file: String,
        /// How large it is.
        found: String,
        /// The limit.
        expected: String,
    },
    /// No bytes, or no rows.
    #[error("{file}: {found}; expected a weather file with a row per step.\n  Fetch or write the file again.")]
    Empty {
        /// File.
        file: String,
        /// What was there.
        found: String,
    },
    /// Bytes that are no text.
    #[error("{file}:{line}: {found}; expected UTF-8 text.\n  {mend}")]
    NotText {
        /// File.
        file: String,
        /// Line of the first such byte, 1 when unknown.
        line: usize,
        /// What was found.
        found: String,
        /// How to mend.
        mend: String,
    },
    /// A layout no reader knows.
    #[error(
        "{file}:1: the first line is \"{found}\"; expected EPW, TMY3 CSV, a CSV with two header lines, or yearlight's own CSV.\n  For any other CSV say in [weather.columns] what its columns are, for example ghi = \"ghi [W/m2]\", and give weather.label."
    )]
    Layout {
        /// File.
        file: String,
        /// Beginning of the first line.
        found: String,
    },
    /// A header that is not as its layout asks.
    #[error("{file}:{line}: {found}; expected {expected}.\n  {mend}")]
    Header {
        /// File.
        file: String,
        /// Line.
        line: usize,
        /// What was found.
        found: String,
        /// What is expected.
        expected: String,
        /// How to mend.
        mend: String,
    },
    /// A row with too few or too many cells.
    #[error(
        "{file}:{line}: {found} cells; expected {expected}.\n  The row may be cut off or hold a stray comma; fetch the file again or mend the row."
    )]
    Cells {
        /// File.
        file: String,
        /// Line.
        line: usize,
        /// Number found.
        found: usize,
        /// Number expected.
        expected: usize,
    },
    /// A cell that is no number, or no possible one.
    #[error("{file}:{line}: {column} is {found}; expected {expected}.\n  {mend}")]
    Cell {
        /// File.
        file: String,
        /// Line.
        line: usize,
        /// Name of the column.
        column: String,
        /// What was found.
        found: String,
        /// What is expected.
        expected: String,
        /// How to mend.
        mend: String,
    },
    /// A row whose time does not follow from the row before.
    #[error("{file}:{line}: {found}; expected {expected}.\n  {mend}")]
    Time {
        /// File.
        file: String,
        /// Line.
        line: usize,
        /// What was found.
        found: String,
        /// What is expected.
        expected: String,
        /// How to mend.
        mend: String,
    },
    /// A gap that is too long to fill.
    #[error("{file}:{line}: {found}; expected gaps of at most {expected}.\n  {mend}")]
    Gap {
        /// File.
        file: String,
        /// Line after which the gap begins.
        line: usize,
        /// Column, beginning and length.
        found: String,
        /// The limit.
        expected: String,
        /// How to mend.
        mend: String,
    },
    /// The file covers another span of time than asked for.
    #[error("{file}: holds {found}; expected {expected}.\n  {mend}")]
    Span {
        /// File.
        file: String,
        /// What it covers.
        found: String,
        /// What is expected.
        expected: String,
        /// How to mend.
        mend: String,
    },
    /// A quantity that the chain cannot do without.
    #[error("{file}: {found}; expected {expected}.\n  {mend}")]
    Content {
        /// File.
        file: String,
        /// What is wrong.
        found: String,
        /// What is expected.
        expected: String,
        /// How to mend.
        mend: String,
    },
    /// A key of the job file that says something about the weather file.
    #[error("{key} is {found}; expected {expected}.\n  {mend}")]
    Hint {
        /// Key.
        key: String,
        /// What was found.
        found: String,
        /// What is expected.
        expected: String,
        /// How to mend.
        mend: String,
    },
}
