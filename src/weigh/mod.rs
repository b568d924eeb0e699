//! Options side by side: split of the gap, doubt, money, claims.
//!
//! Each file is plain arithmetic on closures and small records; [`Study`] is the whole result.

pub mod claims;
pub mod diff;
mod doubt;
mod money;
mod normal;
pub mod search;
mod shapley;
mod study;
mod turn;
mod years;

pub use claims::{Claim, ClaimKind, Verdict};
pub use doubt::{
    DoubtEffect, DoubtInput, Drawn, GapBand, OptionDoubt, PairDoubt, Percentiles, Rounded, Span, band, pair_pct,
    round_to_doubt, spread_pct, total_pct,
};
pub use money::{
    Bill, CostLine, GapMoney, OptionMoney, YearEnergy, gap_money, money_of, own_use, present, shaped_load,
};
pub use normal::{Draws, quantile, share_below};
pub use shapley::{MAX_GROUPS, shapley, shapley_parts};
pub use study::{Gap, Group, OptionResult, Split, SplitLine, SplitPart, Study};
pub use turn::{Bar, Goal, Turn, root};
pub use years::{Course, YearOfOperation, guaranteed, guard, years_of};
