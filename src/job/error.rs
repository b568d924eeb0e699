//! What can be wrong with a job or parts file, said with place, finding, expectation and mend.

use std::fmt;

use serde::Serialize;

use crate::units::clean;

/// A place in a file; `line` counts from 1, 0 when the format has no lines worth naming (a `run.json`).
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct At {
    /// File as the user named it.
    pub file: String,
    /// Line from 1, or 0.
    pub line: u32,
}

impl fmt::Display for At {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.line == 0 { write!(f, "{}", self.file) } else { write!(f, "{}:{}", self.file, self.line) }
    }
}

/// The four parts of every message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Where.
    pub at: At,
    /// What was found, as the start of a sentence: `plane.tilt_deg is 200`.
    pub found: String,
    /// What is expected: `0 to 90 deg`.
    pub expected: String,
    /// How to mend it, one or more sentences.
    pub mend: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}; expected {}.\n  {}", self.at, self.found, self.expected, self.mend)
    }
}

/// Why a job could not be taken.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum JobError {
    /// A file that cannot be read: missing, a folder, not UTF-8, empty, too large.
    #[error("{0}")]
    Unreadable(Box<Fault>),
    /// Text that is not TOML, JSON or CSV.
    #[error("{0}")]
    Syntax(Box<Fault>),
    /// A key that does not exist.
    #[error("{0}")]
    UnknownKey(Box<Fault>),
    /// A key that has to be there.
    #[error("{0}")]
    MissingKey(Box<Fault>),
    /// Text where a number should be, and the like.
    #[error("{0}")]
    WrongType(Box<Fault>),
    /// A value out of its range.
    #[error("{0}")]
    BadValue(Box<Fault>),
    /// A module, inverter or plane that is not defined, or is defined twice.
    #[error("{0}")]
    BadName(Box<Fault>),
    /// Keys that contradict each other.
    #[error("{0}")]
    Clash(Box<Fault>),
}

impl JobError {
    /// Where, found, expected, mend.
    pub fn fault(&self) -> &Fault {
        match self {
            JobError::Unreadable(f)
            | JobError::Syntax(f)
            | JobError::UnknownKey(f)
            | JobError::MissingKey(f)
            | JobError::WrongType(f)
            | JobError::BadValue(f)
            | JobError::BadName(f)
            | JobError::Clash(f) => f,
        }
    }
}

/// Boxed fault from its parts; what may hold a text of the user is cleaned and cut.
pub(super) fn fault(
    at: At,
    found: impl Into<String>,
    expected: impl Into<String>,
    mend: impl Into<String>,
) -> Box<Fault> {
    let printable = |text: String, most: usize| {
        let text = if text.chars().nth(most).is_some() {
            text.chars().take(most).chain("...".chars()).collect()
        } else {
            text
        };
        clean(&text)
    };
    Box::new(Fault {
        at,
        found: printable(found.into(), 400),
        expected: printable(expected.into(), 1200),
        mend: printable(mend.into(), 400),
    })
}

/// The nearest of some names, when one is near enough to be a slip of the pen.
pub(super) fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let lower = word.to_lowercase();
    let mut best: Option<(f64, &'a str)> = None;
    for name in known {
        let score = strsim::normalized_damerau_levenshtein(&lower, &name.to_lowercase())
            .max(0.95 * strsim::jaro_winkler(&lower, &name.to_lowercase()));
        // One slip in a short word is near enough.
        let slip = lower.len() >= 3 && strsim::damerau_levenshtein(&lower, &name.to_lowercase()) == 1;
        let score = if slip { score.max(0.75) } else { score };
        if best.is_none_or(|(s, _)| score > s) {
            best = Some((score, name));
        }
    }
    best.filter(|(score, _)| *score >= 0.72).map(|(_, name)| name)
}

/// `a, b and c`.
pub(super) fn list<S: AsRef<str>>(words: &[S]) -> String {
    match words {
        [] => String::new(),
        [one] => one.as_ref().to_string(),
        [head @ .., last] => {
            let head: Vec<&str> = head.iter().map(AsRef::as_ref).collect();
            format!("{} and {}", head.join(", "), last.as_ref())
        }
    }
}
