//! The rows of a text file as columns: what is asked for, and what both readers return.

use super::Quantity;

/// How a row says its time.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum TimeColumns {
    /// Whole numbers in separate columns.
    Parts { year: usize, month: usize, day: usize, hour: usize, minute: Option<usize> },
    /// `MM/DD/YYYY` and `HH:MM` (TMY3).
    DateClock { date: usize, clock: usize },
    /// `2003-01-31T24:00`, with a space or `T`, seconds and zone if need be.
    Iso { at: usize },
}

/// One column that is wanted.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Column {
    pub quantity: Quantity,
    /// Place in the row, from 0.
    pub at: usize,
    /// Name in the file, for messages.
    pub name: String,
    /// Codes that mean a missing value, before scaling.
    pub missing: &'static [f64],
    /// Value = file value times this ...
    pub times: f64,
    /// ... plus this.
    pub plus: f64,
    /// The file's number is an amount per step that is still to be divided by the step's hours.
    pub per_step: bool,
}

/// What is asked of the rows.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Layout {
    pub fields: usize,
    pub delimiter: u8,
    pub time: TimeColumns,
    pub columns: Vec<Column>,
}

/// A row's time as written: the hour may be 24 and the minute 60.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Stamp {
    pub year: i16,
    pub month: u8,
    pub day: u8,
    pub hour: u8,
    pub minute: u8,
}

/// The rows as columns, in the order of [`Layout::columns`], in the file's own units; NaN for an empty cell.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Body {
    pub stamps: Vec<Stamp>,
    pub values: Vec<Vec<f64>>,
    /// Line of each row; empty when row `i` stands in line `first_line + i`.
    pub lines: Vec<u32>,
    pub first_line: usize,
    /// Zone written with the times, minutes ahead of UTC.
    pub zone_min: Option<i32>,
}

impl Body {
    pub fn line(&self, row: usize) -> usize {
        self.lines.get(row).map_or(self.first_line + row, |&l| l as usize)
    }

    pub fn with_room(layout: &Layout, rows: usize, first_line: usize) -> Body {
        Body {
            stamps: Vec::with_capacity(rows),
            values: layout.columns.iter().map(|_| Vec::with_capacity(rows)).collect(),
            lines: Vec::new(),
            first_line,
            zone_min: None,
        }
    }
}
