//! The whole result of weighing the options of one site: what the console, the report and `run.json` are made from.

use serde::{Deserialize, Serialize};

use crate::energy::OptionYear;
use crate::units::Note;
use crate::weigh::claims::Claim;
use crate::weigh::doubt::{DoubtInput, OptionDoubt, PairDoubt};
use crate::weigh::money::{GapMoney, OptionMoney};
use crate::weigh::turn::{Bar, Turn};
use crate::weigh::years::YearOfOperation;

/// All options of one site, weighed against the first.
///
/// ```
/// use yearlight::{energy::Plan, job, sky, weigh};
/// let job = job::load("configs/two-skies/cloudy.toml".as_ref())?;
/// let weather = sky::read(&job.weather_path(), &job.read_hints()?)?;
/// let study = weigh::study(&job, &weather, &Plan::of(&job, &weather)?)?;
/// // The gap is split into causes that add up to it.
/// for gap in &study.gaps {
///     let split = gap.first_year.as_ref().expect("a split");
///     assert!(split.residual_kwh().abs() < 1e-6);
/// }
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Study {
    /// In the order of the job.
    pub options: Vec<OptionResult>,
    /// Each further option against the first, in the order of the job.
    pub gaps: Vec<Gap>,
    /// The budget of doubt: every input with its uncertainty and source.
    pub doubt_inputs: Vec<DoubtInput>,
    /// Sales sentences with their numbers and verdicts.
    pub claims: Vec<Claim>,
    /// What the reader should know.
    pub notes: Vec<Note>,
}

/// One option with all that was worked out for it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OptionResult {
    /// The first year.
    pub year: OptionYear,
    /// Years 1..N of operation.
    pub years: Vec<YearOfOperation>,
    /// P50, P90 and the like.
    pub doubt: Option<OptionDoubt>,
    /// Cost and value; only with prices.
    pub money: Option<OptionMoney>,
    /// Strings, voltages and margins, as the string check writes them.
    pub string_check: Option<serde_json::Value>,
    /// Slots and obstacles, as the roof layer writes them.
    pub roof: Option<serde_json::Value>,
}

impl OptionResult {
    /// Energy delivered over all years of operation, kWh.
    pub fn lifetime_kwh(&self) -> f64 {
        self.years.iter().map(|y| y.e_ac_kwh).sum()
    }
}

/// One option against the first.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Gap {
    /// Tag of the first option.
    pub from: String,
    /// Tag of the option compared with it.
    pub to: String,
    /// Energy of the first year, the option's less the first's, kWh.
    pub kwh: f64,
    /// The same in percent of the first's.
    pub pct: f64,
    /// Final yield of the first year, the option's less the first's, kWh/kW.
    pub kwh_per_kw: f64,
    /// The same in percent of the first's.
    pub pct_per_kw: f64,
    /// Why, in the first year.
    pub first_year: Option<Split>,
    /// Why, over all years of operation, with ageing as a cause of its own.
    pub lifetime: Option<Split>,
    /// How sure.
    pub doubt: Option<PairDoubt>,
    /// The price at which it stops paying; only with prices.
    pub money: Option<GapMoney>,
    /// What would have to be true for the gap to vanish.
    pub turns: Vec<Turn>,
    /// How the gap moves when one input alone goes through its range.
    pub bars: Vec<Bar>,
}

/// The difference between two options, cause by cause.
///
/// The lines and the two limits sum to `kwh`, and by the kW to `kwh_per_kw`, to 1e-9 relative. The lines are Shapley
/// values on the energy with the AC limit and the export limit lifted and outage kept; what the limits take is counted
/// as it is missing at the meter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Split {
    /// Whole difference, kWh (per roof).
    pub kwh: f64,
    /// Whole difference of final yield, kWh/kW.
    pub kwh_per_kw: f64,
    /// Causes in the order of [`Group::ALL`]; groups that do not differ have 0 exactly.
    pub lines: Vec<SplitLine>,
    /// What the AC limit takes from the gap.
    pub clipping: SplitPart,
    /// What the export limit takes from the gap.
    pub export: SplitPart,
    /// One plain sentence on the AC limit.
    pub clipping_sentence: String,
    /// One plain sentence on the export limit.
    pub export_sentence: String,
    /// Annual runs of the hourly chain that this took.
    pub runs: u32,
}

impl Split {
    /// What the lines fail to explain, kWh.
    pub fn residual_kwh(&self) -> f64 {
        let lines: f64 = self.lines.iter().map(|l| l.part.kwh).sum();
        lines + self.clipping.kwh + self.export.kwh - self.kwh
    }

    /// What the lines fail to explain per kW, kWh/kW.
    pub fn residual_kwh_per_kw(&self) -> f64 {
        let lines: f64 = self.lines.iter().map(|l| l.part.kwh_per_kw).sum();
        lines + self.clipping.kwh_per_kw + self.export.kwh_per_kw - self.kwh_per_kw
    }

    /// The line of a group.
    pub fn line(&self, group: Group) -> Option<&SplitLine> {
        self.lines.iter().find(|l| l.group == group)
    }
}

/// One cause of a gap.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SplitLine {
    /// Which group of parameters.
    pub group: Group,
    /// True when the two options have the same parameters here; the part is then 0 exactly.
    pub equal: bool,
    /// How much.
    pub part: SplitPart,
    /// One plain sentence.
    pub sentence: String,
}

/// A part of a gap.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct SplitPart {
    /// Per roof, kWh.
    pub kwh: f64,
    /// Of the final yield, kWh/kW.
    pub kwh_per_kw: f64,
    /// By month, per roof, kWh.
    pub months_kwh: [f64; 12],
    /// By month, of the final yield, kWh/kW.
    pub months_kwh_per_kw: [f64; 12],
}

/// The groups of parameters among which a gap is split.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Group {
    /// Rated power and number of modules.
    Nameplate,
    /// Efficiency away from 1000 W/m2.
    LowLight,
    /// Efficiency away from 25 C, with the mounting's heat loss where the module decides it.
    Temperature,
    /// Reflection at the glass.
    Incidence,
    /// Light on the rear and its colour.
    RearSpectrum,
    /// First loss by light.
    LightInduced,
    /// Strings, mismatch and cable.
    Strings,
    /// Inverter.
    Inverter,
    /// Plane and mounting.
    Plane,
    /// Slots and shade.
    Slots,
    /// Ageing; only over the years.
    Ageing,
}

impl Group {
    /// All groups, in the order of the report.
    pub const ALL: [Group; 11] = [
        Group::Nameplate,
        Group::LowLight,
        Group::Temperature,
        Group::Incidence,
        Group::RearSpectrum,
        Group::LightInduced,
        Group::Strings,
        Group::Inverter,
        Group::Plane,
        Group::Slots,
        Group::Ageing,
    ];

    /// Name for tables.
    pub fn name(self) -> &'static str {
        match self {
            Group::Nameplate => "nameplate and count",
            Group::LowLight => "weak light",
            Group::Temperature => "temperature",
            Group::Incidence => "incidence",
            Group::RearSpectrum => "rear light and spectrum",
            Group::LightInduced => "light-induced loss",
            Group::Strings => "strings, mismatch and cable",
            Group::Inverter => "inverter",
            Group::Plane => "plane and mounting",
            Group::Slots => "slots and shade",
            Group::Ageing => "ageing",
        }
    }
}
