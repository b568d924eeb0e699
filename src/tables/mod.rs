//! Named columns in and out: CSV, Parquet. The only folder that knows polars; no physics.

mod files;
#[cfg(feature = "tables")]
mod footer;
#[cfg(feature = "tables")]
mod frame;
#[cfg(feature = "tables")]
mod groups;
#[cfg(feature = "tables")]
mod trust;

pub use files::{Bundle, TableError, csv_bytes, write_csv, write_whole};
#[cfg(feature = "tables")]
pub use frame::{
    from_frame, group_rows, parquet_as_csv, parquet_bytes, read_parquet, read_parquet_columns, to_frame, write_parquet,
};
#[cfg(feature = "tables")]
pub use groups::RowGroups;

/// One column of a table.
#[derive(Debug, Clone, PartialEq)]
pub enum Column {
    /// Words.
    Text(Vec<String>),
    /// Real numbers.
    Number(Vec<f64>),
    /// Whole numbers.
    Whole(Vec<i64>),
}

impl Column {
    /// Number of rows.
    pub fn len(&self) -> usize {
        match self {
            Column::Text(x) => x.len(),
            Column::Number(x) => x.len(),
            Column::Whole(x) => x.len(),
        }
    }

    /// True when the column has no row.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// Named columns of equal length, in the order in which they are written.
///
/// ```
/// use yearlight::tables::Table;
/// let table = Table::new().whole("month", vec![1, 2]).number("e_ac_kwh", vec![10.5, 20.25]);
/// assert_eq!(table.rows(), 2);
/// ```
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Table {
    columns: Vec<(String, Column)>,
}

impl Table {
    /// No column yet.
    pub fn new() -> Table {
        Table::default()
    }

    /// Adds a column of words.
    pub fn text(self, name: &str, values: Vec<String>) -> Table {
        self.with(name, Column::Text(values))
    }

    /// Adds a column of real numbers.
    pub fn number(self, name: &str, values: Vec<f64>) -> Table {
        self.with(name, Column::Number(values))
    }

    /// Adds a column of whole numbers.
    pub fn whole(self, name: &str, values: Vec<i64>) -> Table {
        self.with(name, Column::Whole(values))
    }

    /// Adds a column. A column of another length than the first is a mistake of the caller.
    pub fn with(mut self, name: &str, column: Column) -> Table {
        debug_assert!(self.columns.is_empty() || self.rows() == column.len(), "column {name} has another length");
        self.columns.push((name.to_string(), column));
        self
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.columns.first().map_or(0, |(_, c)| c.len())
    }

    /// The columns in order.
    pub fn columns(&self) -> &[(String, Column)] {
        &self.columns
    }

    /// The columns themselves, in order.
    pub fn into_columns(self) -> Vec<(String, Column)> {
        self.columns
    }

    /// The rows of another table with the same columns below the own.
    pub fn below(mut self, other: Table) -> Table {
        for ((name, own), (_, more)) in self.columns.iter_mut().zip(other.columns) {
            match (own, more) {
                (Column::Text(x), Column::Text(y)) => x.extend(y),
                (Column::Number(x), Column::Number(y)) => x.extend(y),
                (Column::Whole(x), Column::Whole(y)) => x.extend(y),
                _ => debug_assert!(false, "column {name} is of another kind"),
            }
        }
        self
    }

    /// A column of words by name.
    pub fn words(&self, name: &str) -> Option<&[String]> {
        self.columns.iter().find_map(|(n, c)| match c {
            Column::Text(x) if n == name => Some(x.as_slice()),
            _ => None,
        })
    }

    /// A column of whole numbers by name.
    pub fn wholes(&self, name: &str) -> Option<&[i64]> {
        self.columns.iter().find_map(|(n, c)| match c {
            Column::Whole(x) if n == name => Some(x.as_slice()),
            _ => None,
        })
    }

    /// A column of real numbers by name.
    pub fn numbers(&self, name: &str) -> Option<&[f64]> {
        self.columns.iter().find_map(|(n, c)| match c {
            Column::Number(x) if n == name => Some(x.as_slice()),
            _ => None,
        })
    }
}

/// A small table with each kind of column and a word that CSV must quote.
#[cfg(test)]
fn sample() -> Table {
    Table::new()
        .text("option", vec!["A".into(), "B, \"x\"".into()])
        .whole("month", vec![1, -2])
        .number("e_ac_kwh", vec![0.1, 1_234.567_890_123_4])
}
