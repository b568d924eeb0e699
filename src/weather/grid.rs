//! From rows with labels to whole days of equal steps: here the label conventions end.

use chrono::{Datelike, NaiveDate};

use super::body::{Body, Stamp};
use super::raw::{Fault, FaultKind, when};
use super::{Label, WeatherError};

/// Rows on the grid.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Grid {
    pub days: Vec<NaiveDate>,
    pub steps_per_day: usize,
    /// Row of each step, [`NONE`] for none; `None` when step after step is row after row.
    pub row: Option<Vec<u32>>,
    pub faults: Vec<Fault>,
    /// One row fell outside the whole days at one end, and was taken at the other end.
    pub wrapped: bool,
    /// The labels stand on the edges of steps although they name middles: values are at instants.
    pub instants: bool,
}

/// No row.
pub(super) const NONE: u32 = u32::MAX;

/// The most frequent distance between neighbouring rows, minutes.
pub(super) fn step_of(file: &str, body: &Body) -> Result<i64, WeatherError> {
    let mut seen: Vec<(i64, usize)> = Vec::new();
    let minutes = || body.stamps.iter().map(|s| s.minute_of_day());
    for (before, minute) in minutes().zip(minutes().skip(1)).take(400) {
        let d = (minute - before).rem_euclid(1440);
        match seen.iter_mut().find(|(x, _)| *x == d) {
            Some((_, n)) => *n += 1,
            None => seen.push((d, 1)),
        }
    }
    let step = seen.iter().max_by_key(|(_, n)| *n).map_or(0, |(d, _)| *d);
    if step == 0 || step > 60 || 60 % step != 0 {
        return Err(WeatherError::Time {
            file: file.into(),
            line: body.line(0),
            found: if step == 0 {
                "the rows are a day apart or all at one time".into()
            } else {
                format!("the rows are {step} min apart")
            },
            expected: "steps of 60, 30, 15, 10, 5 or 1 min".into(),
            mend: "Give the file in steps of an hour or less that divide the hour.".into(),
        });
    }
    Ok(step)
}

struct Builder<'a> {
    file: &'a str,
    body: &'a Body,
    per_day: usize,
    /// Row of each step so far.
    row: Vec<u32>,
    grid: Grid,
}

/// Puts every row into the step that its label names.
pub(super) fn place(file: &str, body: &Body, label: Label, step_min: i64) -> Result<Grid, WeatherError> {
    let per_day = (1440 / step_min) as usize;
    let instants = label == Label::Middle && on_edges(body, step_min);
    let before = match label {
        Label::Ending => step_min,
        Label::Beginning => 0,
        Label::Middle if instants => 0,
        Label::Middle => step_min / 2,
    };
    let grid =
        Grid { days: Vec::new(), steps_per_day: per_day, row: None, faults: Vec::new(), wrapped: false, instants };
    if let Some(days) = whole_days(body, before, step_min, per_day) {
        return Ok(Grid { days, ..grid });
    }
    row_by_row(file, body, label, before, step_min, grid)
}

/// For any rows: each is put into its step.
fn row_by_row(
    file: &str,
    body: &Body,
    label: Label,
    before: i64,
    step_min: i64,
    grid: Grid,
) -> Result<Grid, WeatherError> {
    let per_day = grid.steps_per_day;
    let mut b = Builder { file, body, per_day, row: Vec::with_capacity(body.stamps.len()), grid };
    let mut row = 0;
    for run in body.stamps.runs() {
        let civil = date(&run.first);
        let end = row + run.rows;
        while row < end {
            let minute = run.at(run.rows - (end - row)).minute_of_day() - before;
            let day = match minute.div_euclid(1440) {
                0 => civil,
                -1 => civil.pred_opt().unwrap_or(civil),
                _ => civil.succ_opt().unwrap_or(civil),
            };
            let minute = minute.rem_euclid(1440);
            if minute % step_min != 0 {
                return Err(off_grid(file, body, row, label, step_min));
            }
            b.put(row, day, (minute / step_min) as usize)?;
            row += 1;
            // The rest of the day, when row follows row; not after a row that was left out.
            if run.step_min() == step_min && b.row.last() == Some(&(row as u32 - 1)) {
                let more = (end - row).min(((1440 - minute) / step_min - 1) as usize);
                b.row.extend((row..row + more).map(|r| r as u32));
                row += more;
            }
        }
    }
    b.finish()
}

/// The days of rows that are whole days, one after the other; `None` when a row is missing or stands there twice, or
/// when the rows of one day bear two dates.
fn whole_days(body: &Body, first_min: i64, step_min: i64, per_day: usize) -> Option<Vec<NaiveDate>> {
    let mut days = Vec::with_capacity(body.stamps.runs().len());
    for run in body.stamps.runs() {
        let whole = run.rows == per_day && run.step_min() == step_min && run.first.minute_of_day() == first_min;
        let day = date(&run.first);
        if !whole || days.last().is_some_and(|last| !follows(last, &day)) {
            return None;
        }
        days.push(day);
    }
    Some(days)
}

/// Whether a day is the next one of the calendar, whatever its year: the months of a typical year may come from different
/// years, and it may leave 29 February out.
fn follows(last: &NaiveDate, day: &NaiveDate) -> bool {
    let day = (day.month(), day.day());
    last.succ_opt().map(|next| (next.month(), next.day())).is_some_and(|next| next == day || (next, day) == LEAP)
}

/// The leap day, and the day that comes instead.
const LEAP: ((u32, u32), (u32, u32)) = ((2, 29), (3, 1));

fn on_edges(body: &Body, step_min: i64) -> bool {
    body.stamps.runs().first().is_some_and(|run| i64::from(run.first.minute) % step_min == 0)
}

fn date(s: &Stamp) -> NaiveDate {
    // The readers let no other date through.
    NaiveDate::from_ymd_opt(i32::from(s.year), u32::from(s.month), u32::from(s.day)).unwrap_or(NaiveDate::MIN)
}

fn off_grid(file: &str, body: &Body, row: usize, label: Label, step_min: i64) -> WeatherError {
    let s = body.stamps.at(row);
    WeatherError::Time {
        file: file.into(),
        line: body.line(row),
        found: format!("the time {:02}:{:02} is off the grid of {step_min} min steps", s.hour, s.minute),
        expected: format!("times that name the {} of their steps", label.word()),
        mend: "Set weather.label to what the file's times mean, or mend the row.".into(),
    }
}

impl Builder<'_> {
    fn put(&mut self, row: usize, day: NaiveDate, slot: usize) -> Result<(), WeatherError> {
        let Some(&last_day) = self.grid.days.last() else {
            self.grid.days.push(day);
            self.gap_to(row, slot);
            self.row.push(row as u32);
            return Ok(());
        };
        let filled = self.row.len() - (self.grid.days.len() - 1) * self.per_day;
        let same = (day.month(), day.day()) == (last_day.month(), last_day.day());
        if same && slot >= filled {
            self.gap_to(row, slot);
            self.row.push(row as u32);
            return Ok(());
        }
        if same {
            let step = (self.grid.days.len() - 1) * self.per_day + slot;
            let known = self.row[step];
            if known == NONE {
                return Err(self.backwards(row));
            }
            self.grid.faults.push(Fault {
                kind: FaultKind::Duplicate,
                line: self.body.line(row),
                found: format!(
                    "{} stands there twice, first in line {}",
                    when(&self.grid.days, self.per_day, step),
                    self.body.line(known as usize)
                ),
                step,
                steps: 1,
            });
            return Ok(());
        }
        self.next_day(row, day, slot)
    }

    /// Goes on to another day; the months of a typical year may come from different years.
    fn next_day(&mut self, row: usize, day: NaiveDate, slot: usize) -> Result<(), WeatherError> {
        let from = self.row.len();
        let mut last = self.grid.days[self.grid.days.len() - 1];
        let full = self.grid.days.len() * self.per_day;
        let mut skipped = Vec::new();
        loop {
            let Some(next) = last.succ_opt() else { return Err(self.backwards(row)) };
            if follows(&last, &day) {
                break;
            }
            skipped.push(next);
            last = next;
            if skipped.len() > 200 {
                return Err(self.backwards(row));
            }
        }
        // Rows far apart would blow a small file up to very many empty steps.
        let (steps, rows) = ((self.grid.days.len() + skipped.len() + 1) * self.per_day, self.body.stamps.len());
        if steps > 4 * rows + 400 * self.per_day {
            return Err(WeatherError::Gap {
                file: self.file.into(),
                line: self.body.line(row.saturating_sub(1)),
                found: format!("{rows} rows stand for more than {steps} steps"),
                expected: "a year in all, or three steps of four".into(),
                mend: "Give a row for every step.".into(),
            });
        }
        self.row.resize(full, NONE);
        for d in &skipped {
            self.grid.days.push(*d);
            self.row.resize(self.grid.days.len() * self.per_day, NONE);
        }
        self.grid.days.push(day);
        self.row.resize((self.grid.days.len() - 1) * self.per_day + slot, NONE);
        self.note_gap(from, row);
        self.row.push(row as u32);
        Ok(())
    }

    fn gap_to(&mut self, row: usize, slot: usize) {
        let from = self.row.len();
        self.row.resize((self.grid.days.len() - 1) * self.per_day + slot, NONE);
        self.note_gap(from, row);
    }

    fn note_gap(&mut self, from: usize, row: usize) {
        let steps = self.row.len() - from;
        if steps > 0 {
            self.grid.faults.push(Fault {
                kind: FaultKind::Gap,
                line: self.body.line(row.saturating_sub(1)),
                found: format!("{steps} rows from {} on are missing", when(&self.grid.days, self.per_day, from)),
                step: from,
                steps,
            });
        }
    }

    fn backwards(&self, row: usize) -> WeatherError {
        let show = |s: &Stamp| format!("{:04}-{:02}-{:02} {:02}:{:02}", s.year, s.month, s.day, s.hour, s.minute);
        WeatherError::Time {
            file: self.file.into(),
            line: self.body.line(row),
            found: format!(
                "{} comes after {}",
                show(&self.body.stamps.at(row)),
                show(&self.body.stamps.at(row.saturating_sub(1)))
            ),
            expected: "rows in the order of time".into(),
            mend: "Sort the rows by time; the months of a typical year may come from different years.".into(),
        }
    }

    /// Fills the last day, and brings a single row that falls outside the whole days at one end to the other end.
    fn finish(mut self) -> Result<Grid, WeatherError> {
        let per_day = self.per_day;
        let (g, rows) = (&mut self.grid, &mut self.row);
        let only_last_step = rows.len() > per_day
            && rows[..per_day - 1].iter().all(|&r| r == NONE)
            && rows[per_day - 1] != NONE
            && rows.len() == g.days.len() * per_day - 1;
        if only_last_step {
            let first = rows[per_day - 1];
            rows.drain(..per_day);
            g.days.remove(0);
            rows.push(first);
            g.faults.retain_mut(|f| {
                f.step = f.step.saturating_sub(per_day);
                f.steps < per_day - 1 || f.step > 0
            });
            g.wrapped = true;
        }
        let only_first_step =
            g.days.len() > 1 && rows.len() == (g.days.len() - 1) * per_day + 1 && rows[0] == NONE && rows[1] != NONE;
        if only_first_step {
            rows[0] = rows.pop().unwrap_or(NONE);
            g.days.pop();
            g.faults.retain(|f| !(f.kind == FaultKind::Gap && f.step == 0 && f.steps == 1));
            g.wrapped = true;
        }
        let from = self.row.len();
        self.row.resize(self.grid.days.len() * per_day, NONE);
        if from < self.row.len() {
            let rows = self.body.stamps.len();
            self.note_gap(from, rows);
        }
        let in_turn = self.row.len() == self.body.stamps.len() && (0..).zip(&self.row).all(|(i, &row)| row == i);
        Ok(Grid { row: (!in_turn).then_some(self.row), ..self.grid })
    }
}

#[cfg(test)]
mod tests {
    use super::super::body::Stamp;
    use super::*;

    /// Whole days, taken over or put together row by row, are the same; a day that is not whole is no matter of the first.
    #[test]
    fn whole_days_are_those_of_the_rows() {
        let days: Vec<NaiveDate> = [(2003, 1, 31), (1990, 2, 1), (1990, 2, 2)]
            .into_iter()
            .chain((3..=28).map(|d| (1990, 2, d)))
            .chain([(1988, 3, 1), (1988, 3, 2)])
            .filter_map(|(y, m, d)| NaiveDate::from_ymd_opt(y, m, d))
            .collect();
        for (label, first_hour) in [(Label::Ending, 1), (Label::Beginning, 0)] {
            let stamps: Vec<Stamp> = days
                .iter()
                .flat_map(|d| (0..24).map(move |h| (d, h)))
                .map(|(d, h)| Stamp {
                    year: d.year() as i16,
                    month: d.month() as u8,
                    day: d.day() as u8,
                    hour: h + first_hour,
                    minute: 0,
                })
                .collect();
            let before = 60 * i64::from(first_hour);
            let body = Body { stamps: stamps.iter().copied().collect(), ..Body::default() };
            let grid = place("x", &body, label, 60).unwrap();
            assert_eq!((&grid.days, &grid.row), (&days, &None));
            assert_eq!(whole_days(&body, before, 60, 24).as_ref(), Some(&days));
            let empty = Grid { days: Vec::new(), ..grid.clone() };
            assert_eq!(row_by_row("x", &body, label, before, 60, empty.clone()).unwrap(), grid);
            for (row, gone) in [(30, true), (24 * 7, true), (24 * 9 - 1, true), (30, false)] {
                let mut stamps = stamps.clone();
                if gone {
                    stamps.remove(row);
                } else {
                    stamps.insert(row, stamps[row]);
                }
                let body = Body { stamps: stamps.into_iter().collect(), ..Body::default() };
                assert_eq!(whole_days(&body, before, 60, 24), None);
                assert_eq!(place("x", &body, label, 60).unwrap().faults.len(), 1, "{row}");
            }
        }
    }
}
