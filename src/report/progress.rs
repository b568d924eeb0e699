//! A bar for anything longer than a second.

use std::io::IsTerminal;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::words::Words;

/// How long a job must last before a bar appears.
pub const PATIENCE: Duration = Duration::from_secs(1);

/// Counts steps from any thread; shows a bar on standard error once the work has lasted a second, and only there when
/// that is a terminal and nobody asked for quiet.
#[derive(Debug)]
pub struct Progress {
    total: AtomicU64,
    done: AtomicU64,
    start: Instant,
    shown: bool,
    left: String,
    bar: Mutex<Option<ProgressBar>>,
}

impl Progress {
    /// For so many steps.
    pub fn new(total: u64, quiet: bool, words: &Words) -> Progress {
        Progress {
            total: AtomicU64::new(total),
            done: AtomicU64::new(0),
            start: Instant::now(),
            shown: !quiet && std::io::stderr().is_terminal(),
            left: words.t("progress.left").to_string(),
            bar: Mutex::new(None),
        }
    }

    /// More steps are done.
    pub fn add(&self, steps: u64) {
        let done = self.done.fetch_add(steps, Ordering::Relaxed) + steps;
        if !self.shown || self.start.elapsed() < PATIENCE {
            return;
        }
        // A thread that finds the bar in use leaves the drawing to the other.
        let Ok(mut bar) = self.bar.try_lock() else { return };
        let bar = bar.get_or_insert_with(|| self.draw());
        bar.set_length(self.total.load(Ordering::Relaxed));
        bar.set_position(done);
    }

    /// More steps lie ahead than was known.
    pub fn expect(&self, steps: u64) {
        self.total.fetch_add(steps, Ordering::Relaxed);
    }

    /// All steps that are known of.
    pub fn total(&self) -> u64 {
        self.total.load(Ordering::Relaxed)
    }

    /// Steps done so far.
    pub fn done(&self) -> u64 {
        self.done.load(Ordering::Relaxed)
    }

    /// Whether a bar may be drawn at all.
    pub fn may_show(&self) -> bool {
        self.shown
    }

    /// Takes the bar away.
    pub fn finish(self) {}

    fn draw(&self) -> ProgressBar {
        let bar = ProgressBar::with_draw_target(Some(self.total()), ProgressDrawTarget::stderr_with_hz(10));
        let line = format!("{{bar:40}} {{pos}}/{{len}}  {{eta}} {}", self.left);
        if let Ok(style) = ProgressStyle::with_template(&line) {
            bar.set_style(style.progress_chars("\u{2501}\u{2578}\u{2500}"));
        }
        bar.with_elapsed(self.start.elapsed())
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        let bar = match self.bar.get_mut() {
            Ok(bar) => bar.take(),
            Err(poisoned) => poisoned.into_inner().take(),
        };
        if let Some(bar) = bar {
            bar.finish_and_clear();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_from_many_threads_and_stays_silent_when_quiet() {
        let p = Progress::new(400, true, Words::english());
        std::thread::scope(|s| {
            for _ in 0..4 {
                s.spawn(|| (0..100).for_each(|_| p.add(1)));
            }
        });
        assert_eq!(p.done(), 400);
        p.expect(100);
        assert_eq!(p.total(), 500);
        assert!(!p.may_show());
        p.finish();
    }
}
