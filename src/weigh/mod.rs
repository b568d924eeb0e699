//! Options side by side: split of the gap, doubt, money, claims.
//!
//! Each file is plain arithmetic on closures and small records; [`Study`] is the whole result.

mod best;
mod budget;
pub mod claims;
pub mod climate;
mod compare;
pub mod diff;
mod doubt;
mod error;
mod facts;
pub mod meter;
mod money;
mod normal;
mod players;
pub mod search;
mod sentences;
mod shapley;
mod split;
mod study;
mod turn;
mod turns;
mod watch;
mod years;

#[cfg(test)]
mod tests;

pub use best::{best, best_watched};
pub use budget::{budget, line_pct};
pub use claims::{Claim, ClaimKind, Verdict};
pub use compare::{AGEING_PCT, Brief, brief, common_with_load, load_of, site_load_w, study, study_with_spread, yields};
pub use doubt::{
    DoubtEffect, DoubtInput, Drawn, GapBand, OptionDoubt, PairDoubt, Percentiles, Rounded, Span, band, pair_pct,
    round_to_doubt, spread_pct, total_pct,
};
pub use error::{WeighError, check};
pub use facts::Facts;
pub use money::{
    Bill, CostLine, GapMoney, OptionMoney, YearEnergy, gap_money, money_of, own_use, present, shaped_load,
};
pub use normal::{Draws, quantile, share_below};
pub use players::{differing, mix};
pub use sentences::{limit_sentence, line_sentence};
pub use shapley::{MAX_GROUPS, shapley, shapley_parts};
pub use split::{End, Mixes};
pub use study::{Gap, Group, OptionResult, Split, SplitLine, SplitPart, Study};
pub use turn::{Bar, Goal, Turn, root};
pub use watch::{Tick, Watch};
pub use years::{Cleaning, Course, Passing, YearOfOperation, cleaning_costs, guaranteed, guard, years_of};
