//! Options side by side: split of the gap, doubt, money, claims.

mod normal;
mod shapley;

pub use normal::{Draws, quantile, share_below};
pub use shapley::{MAX_GROUPS, shapley, shapley_parts};
