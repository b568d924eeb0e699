//! Console text, HTML, charts, JSON.
//!
//! Everything is made from a [`view::Proposal`]: plain records without any physics. Words come from the language
//! files in `words/`, numbers are rounded to their doubt by [`number::NumberStyle`].

mod build;
pub mod chart;
mod climate_page;
pub mod console;
mod fleet_page;
mod html;
mod json;
mod lexicon;
pub mod number;
pub mod phrases;
pub mod progress;
pub mod tables;
pub mod view;
pub mod words;

#[cfg(test)]
pub(crate) mod sample;

pub use build::{Source, hours};
pub use climate_page::{climate_lines, climate_page};
pub use fleet_page::{SiteRow, fleet_page};
#[cfg(test)]
pub(crate) use html::tests::well_formed;
pub use html::{ReportError, page};
pub use json::json_text;
#[cfg(test)]
pub(crate) use phrases::tests::{english_in, unlisted};
pub use view::Proposal;
pub use words::Words;
