//! Sales sentences, each with this site's number, its band and a verdict.

use serde::{Deserialize, Serialize};

/// What a sentence claims.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ClaimKind {
    /// Higher efficiency.
    Efficiency,
    /// Many thin wires.
    ManyWires,
    /// Milder heat loss.
    Temperature,
    /// Strong in weak light.
    WeakLight,
    /// Little loss in the first days of light.
    EarlyLoss,
    /// Slow ageing.
    Ageing,
    /// A stronger frame.
    Frame,
    /// Tolerates cracks.
    CrackTolerance,
    /// A longer product warranty.
    ProductWarranty,
    /// Lower voltage, longer strings.
    LowVoltage,
    /// Fewer modules, which miss the shade.
    FewerModules,
    /// Less racking.
    Racking,
    /// Less land.
    Land,
}

/// Whether a sentence is true here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// True at this site, and larger than its doubt.
    Holds,
    /// The number is smaller than its doubt.
    WithinDoubt,
    /// Not true at this site.
    DoesNotHold,
    /// Nothing here can tell; the sentence says whom to ask for what.
    CannotBeComputed,
}

impl Verdict {
    /// For tables.
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Holds => "holds",
            Verdict::WithinDoubt => "within doubt",
            Verdict::DoesNotHold => "does not hold",
            Verdict::CannotBeComputed => "cannot be computed here",
        }
    }
}

/// A sentence that was judged.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Claim {
    /// Kind.
    pub kind: ClaimKind,
    /// The sentence in the job.
    pub text: String,
    /// Tag of the option that is praised.
    pub option: String,
    /// Tag of the option it is compared with.
    pub against: String,
    /// This site's number.
    pub number: Option<f64>,
    /// Unit of the number.
    pub unit: String,
    /// Standard uncertainty of the number; nothing for counts and prices.
    pub u: Option<f64>,
    /// Verdict.
    pub verdict: Verdict,
    /// One or two plain sentences: the number in words, why the verdict, whom to ask.
    pub sentence: String,
}
