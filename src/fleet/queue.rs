//! The sites of many parts, handed out one by one to whichever thread is free.
//!
//! The thread that is through with the last site of a part gets the results of the part to write, while the others are
//! at work on the next one: no thread waits for another. Each has one site or the results of one part in hand, so there
//! are never more parts in memory than threads and one.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::site::{SiteDone, SiteRefused};
use super::sites::SiteRow;

pub(super) type SiteResult = Result<SiteDone, SiteRefused>;

/// A part whose sites are being run.
pub(super) struct Open {
    pub part: usize,
    pub rows: Vec<SiteRow>,
    results: Mutex<Results>,
}

struct Results {
    by_row: Vec<Option<SiteResult>>,
    left: usize,
}

impl Open {
    fn new(part: usize, rows: Vec<SiteRow>) -> Open {
        let results = Results { by_row: rows.iter().map(|_| None).collect(), left: rows.len() };
        Open { part, rows, results: Mutex::new(results) }
    }

    /// The result of a row; all results of the part, in order, when it is the last one.
    pub fn put(&self, row: usize, result: SiteResult) -> Option<Vec<SiteResult>> {
        let mut results = lock(&self.results);
        results.by_row[row] = Some(result);
        results.left -= 1;
        (results.left == 0).then(|| std::mem::take(&mut results.by_row).into_iter().flatten().collect())
    }
}

/// Hands out rows in the order of the parts. `F` gives the next part with its rows, nothing at the end.
pub(super) struct Queue<F>(Mutex<State<F>>);

struct State<F> {
    next_part: F,
    /// The part at hand and its next row.
    at_hand: Option<(Arc<Open>, usize)>,
    closed: bool,
}

impl<F: FnMut() -> Option<(usize, Vec<SiteRow>)>> Queue<F> {
    pub fn new(next_part: F) -> Queue<F> {
        Queue(Mutex::new(State { next_part, at_hand: None, closed: false }))
    }

    /// The next row, by its place in its part; nothing when there is none left.
    pub fn next(&self) -> Option<(Arc<Open>, usize)> {
        let mut state = lock(&self.0);
        while !state.closed {
            if let Some((open, row)) = state.at_hand.as_mut().filter(|(open, row)| *row < open.rows.len()) {
                *row += 1;
                return Some((open.clone(), *row - 1));
            }
            state.at_hand = (state.next_part)().map(|(part, rows)| (Arc::new(Open::new(part, rows)), 0));
            state.closed = state.at_hand.is_none();
        }
        None
    }

    /// No row is handed out any more.
    pub fn close(&self) {
        let mut state = lock(&self.0);
        state.closed = true;
        state.at_hand = None;
    }
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(n: usize) -> Vec<SiteRow> {
        (0..n).map(|index| SiteRow { index, line: 0, cells: Ok(Vec::new()), double_of: None }).collect()
    }

    fn refused(row: usize) -> SiteResult {
        Err(SiteRefused { row, line: 0, name: String::new(), reason: String::new() })
    }

    #[test]
    fn rows_come_in_order_and_the_last_result_gives_the_part() {
        let mut parts = [(3, rows(2)), (5, rows(1))].into_iter();
        let queue = Queue::new(|| parts.next());
        let taken: Vec<_> = std::iter::from_fn(|| queue.next()).collect();
        assert_eq!(taken.iter().map(|(open, row)| (open.part, *row)).collect::<Vec<_>>(), [(3, 0), (3, 1), (5, 0)]);
        assert_eq!(taken[1].0.put(1, refused(1)), None);
        assert_eq!(taken[2].0.put(0, refused(0)), Some(vec![refused(0)]));
        assert_eq!(taken[0].0.put(0, refused(0)), Some(vec![refused(0), refused(1)]));
    }

    #[test]
    fn a_closed_queue_gives_nothing() {
        let queue = Queue::new(|| Some((0, rows(2))));
        assert!(queue.next().is_some());
        queue.close();
        assert!(queue.next().is_none() && queue.next().is_none());
    }
}
