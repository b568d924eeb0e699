//! Many sites: a table of sites and one template to a table of results; streaming, resume, shares.
//!
//! ```text
//! fleet.toml + fleet.csv + template.toml
//!   -> parts of 256 sites -> on all threads, in order -> fleet.parquet/part-00000.parquet, refused/part-00000.csv, ...
//!   -> joined: refused.csv, summary.json, fleet.csv, index
//! ```
//!
//! Every part is written to a temporary name and renamed, so that a killed run leaves whole parts only, and the bytes
//! of a part depend on its sites alone: not on threads, on interruptions, or on how the parts were shared out.

mod error;
mod sites;
mod spec;

#[cfg(feature = "tables")]
mod finish;
#[cfg(feature = "tables")]
mod manifest;
#[cfg(feature = "tables")]
mod overrides;
#[cfg(feature = "tables")]
mod queue;
#[cfg(feature = "tables")]
mod rows;
#[cfg(feature = "tables")]
mod run;
#[cfg(feature = "tables")]
mod set;
#[cfg(feature = "tables")]
mod site;
#[cfg(feature = "tables")]
mod skies;
#[cfg(feature = "tables")]
mod stamp;

pub use error::FleetError;
pub use sites::{Cells, GROUP_COLUMNS, PLAIN_COLUMNS, SITES_PER_PART, SiteRow, SiteTable, Sites};
pub use spec::FleetSpec;

#[cfg(feature = "tables")]
pub use finish::{GroupSummary, INDEX_SITES, IndexLine, Joined, Quantiles, Summary, gather, index_of};
#[cfg(feature = "tables")]
pub use manifest::{Manifest, PAGES};
#[cfg(feature = "tables")]
pub use run::{Fleet, How, Ran, Share};
#[cfg(feature = "tables")]
pub use set::WeatherSet;
#[cfg(feature = "tables")]
pub use site::{OneSite, OptionDone, SiteDone, SiteRefused, Stages, page_stem};
#[cfg(feature = "tables")]
pub use skies::{Skies, YEARS_KEPT};
