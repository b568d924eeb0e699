//! Console text, HTML, charts.
//!
//! Everything is made from a [`view::Proposal`]: plain records without any physics. Words come from the language
//! files in `words/`, numbers are rounded to their doubt by [`number::NumberStyle`].

pub mod console;
pub mod number;
pub mod view;
pub mod words;

#[cfg(test)]
pub(crate) mod sample;

pub use view::Proposal;
pub use words::Words;
