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

impl Stamp {
    pub fn date(&self) -> (i16, u8, u8) {
        (self.year, self.month, self.day)
    }

    pub fn minute_of_day(&self) -> i64 {
        i64::from(self.hour) * 60 + i64::from(self.minute)
    }
}

/// Rows of one date, whose hours and minutes as written grow by the same amounts from row to row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Run {
    pub first: Stamp,
    pub rows: usize,
    /// Hours and minutes from each row to the next.
    step: (u8, u8),
}

impl Run {
    /// The time of row `i` of these.
    pub fn at(&self, i: usize) -> Stamp {
        let far = |step: u8| (usize::from(step) * i) as u8;
        Stamp { hour: self.first.hour + far(self.step.0), minute: self.first.minute + far(self.step.1), ..self.first }
    }

    pub fn last(&self) -> Stamp {
        self.at(self.rows - 1)
    }

    /// Minutes from each row to the next.
    pub fn step_min(&self) -> i64 {
        i64::from(self.step.0) * 60 + i64::from(self.step.1)
    }
}

/// The times of the rows: the hours of a day take one entry.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Stamps {
    runs: Vec<Run>,
    rows: usize,
    last: Stamp,
}

impl Stamps {
    pub fn len(&self) -> usize {
        self.rows
    }

    pub fn is_empty(&self) -> bool {
        self.rows == 0
    }

    pub fn runs(&self) -> &[Run] {
        &self.runs
    }

    pub fn iter(&self) -> impl Iterator<Item = Stamp> {
        self.runs.iter().flat_map(|run| (0..run.rows).map(|i| run.at(i)))
    }

    /// The time of a row.
    pub fn at(&self, row: usize) -> Stamp {
        self.iter().nth(row).unwrap_or_default()
    }

    /// The time of the last row.
    pub fn last(&self) -> Stamp {
        self.last
    }

    /// Takes the minutes away.
    pub fn on_the_hour(&mut self) {
        for run in &mut self.runs {
            (run.first.minute, run.step.1) = (0, 0);
        }
        self.last.minute = 0;
    }

    pub fn push(&mut self, stamp: Stamp) {
        if stamp.date() == self.last.date() {
            return self.push_same_date(stamp.hour, stamp.minute);
        }
        self.begin(stamp);
    }

    /// A row one hour after the row before, of the same date.
    #[inline(always)]
    pub fn push_next_hour(&mut self) {
        self.push_same_date(self.last.hour + 1, self.last.minute);
    }

    #[inline(always)]
    fn push_same_date(&mut self, hour: u8, minute: u8) {
        let (before, step) = (self.last, (hour.wrapping_sub(self.last.hour), minute.wrapping_sub(self.last.minute)));
        match self.runs.last_mut() {
            Some(run) if run.step == step && run.rows > 1 => run.rows += 1,
            Some(run) if run.rows == 1 && hour >= before.hour && minute >= before.minute => {
                (run.step, run.rows) = (step, 2);
            }
            _ => return self.begin(Stamp { hour, minute, ..before }),
        }
        self.rows += 1;
        (self.last.hour, self.last.minute) = (hour, minute);
    }

    fn begin(&mut self, first: Stamp) {
        self.runs.push(Run { first, rows: 1, step: (0, 0) });
        self.rows += 1;
        self.last = first;
    }
}

impl FromIterator<Stamp> for Stamps {
    fn from_iter<T: IntoIterator<Item = Stamp>>(stamps: T) -> Stamps {
        let mut all = Stamps::default();
        stamps.into_iter().for_each(|stamp| all.push(stamp));
        all
    }
}

/// The rows as columns, in the order of [`Layout::columns`], in the file's own units; NaN for an empty cell.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Body {
    pub stamps: Stamps,
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
            stamps: Stamps::default(),
            values: layout.columns.iter().map(|_| Vec::with_capacity(rows)).collect(),
            lines: Vec::new(),
            first_line,
            zone_min: None,
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn runs_give_back_every_time(
            times in prop::collection::vec((1..3_u8, 0..25_u8, 0..61_u8), 0..40),
            step in 1..31_u8,
        ) {
            let stamp = |(day, hour, minute)| Stamp { year: 2003, month: 1, day, hour, minute };
            let even = (0..60).step_by(step as usize).map(|minute| stamp((1, 5, minute)));
            let hours = (0..25).map(|hour| stamp((2, hour, 30)));
            let all: Vec<Stamp> = times.into_iter().map(stamp).chain(even).chain(hours).collect();
            let stamps: Stamps = all.iter().copied().collect();
            prop_assert_eq!(stamps.len(), all.len());
            prop_assert_eq!(stamps.iter().collect::<Vec<_>>(), all.clone());
            prop_assert_eq!(stamps.last(), all[all.len() - 1]);
            prop_assert_eq!(stamps.runs()[stamps.runs().len() - 1].step_min(), 60);
            for run in stamps.runs() {
                prop_assert!(run.first.hour <= run.last().hour && run.first.minute <= run.last().minute);
            }
        }
    }
}
