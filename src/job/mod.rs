//! Job and parts files to checked records of the folders above, and where each number came from.

mod spec;
mod weighing;

pub use spec::{
    AgeingSpec, JobSpec, LossSpec, OptionSpec, PartsSpec, ProposalSpec, SiteSpec, SkylineSpec, WeatherSpec,
};
pub use weighing::{ClaimsSpec, InputDoubtSpec, MoneySpec, UncertaintySpec};
