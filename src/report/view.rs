//! Everything a report prints and draws, as plain records: the charts and pages know nothing else.
//!
//! All numbers are unrounded; rounding to the stated doubt happens when they are printed.

use serde::{Deserialize, Serialize};

use crate::energy::OptionYear;
use crate::units::Note;
use crate::weigh::YearOfOperation;

/// A whole proposal: what the console answer and the page are made of.
///
/// Parts whose data do not exist are `None` or empty, and their sections and charts are then left out.
///
/// ```
/// use yearlight::report::{Proposal, Source};
/// use yearlight::{energy::Plan, job, sky};
/// let job = job::load("configs/two-skies/hot.toml".as_ref())?;
/// let weather = sky::read(&job.weather_path(), &job.read_hints()?)?;
/// let plan = Plan::of(&job, &weather)?;
/// let years = plan.years();
/// let (plan, years, job, weather) = (&plan, &years[..], &job, &weather);
/// let proposal = Proposal::of(&Source { job, weather, plan, years, hours: &[], study: None, inputs: &[], command: "" });
/// assert_eq!(proposal.options.len(), years.len());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Proposal {
    /// Short name of the job, the file stem.
    pub job: String,
    /// Title of the report.
    pub title: String,
    /// For whom.
    pub customer: Option<String>,
    /// By whom.
    pub preparer: Option<String>,
    /// Date as it shall be printed.
    pub date: Option<String>,
    /// Revision.
    pub revision: Option<String>,
    /// Language tag, such as `en`.
    pub language: String,
    /// Where it stands.
    pub site: SiteView,
    /// The light that falls there.
    pub sky: SkyView,
    /// Options, the first is what the others are compared with.
    pub options: Vec<OptionView>,
    /// Every further option against the first.
    pub gaps: Vec<GapView>,
    /// Maps of the roof planes.
    pub roofs: Vec<RoofView>,
    /// Prices.
    pub money: Vec<MoneyView>,
    /// Sales sentences, tested.
    pub claims: Vec<ClaimView>,
    /// Every input with its source.
    pub ledger: Vec<LedgerLine>,
    /// The files read.
    pub files: Vec<FileView>,
    /// What the reader should know.
    pub notes: Vec<Note>,
    /// The command that makes this again.
    pub command: String,
    /// Version of the program.
    pub version: String,
}

/// The place.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct SiteView {
    /// Name of the place.
    pub name: String,
    /// Degrees, north positive.
    pub latitude_deg: f64,
    /// Degrees, east positive.
    pub longitude_deg: f64,
    /// Above sea level, m.
    pub elevation_m: f64,
    /// Hours ahead of UTC.
    pub utc_offset_h: f64,
}

/// The weather that drives the year.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct SkyView {
    /// Station or file, in a few words.
    pub name: String,
    /// Set when the file belongs to another place and only stands in.
    pub stands_in: bool,
    /// Global horizontal irradiation by month, kWh/m2.
    pub ghi_kwh_m2: Option<[f64; 12]>,
    /// Diffuse horizontal irradiation by month, kWh/m2.
    pub dhi_kwh_m2: Option<[f64; 12]>,
    /// Mean air temperature by month, C.
    pub t_amb_c: Option<[f64; 12]>,
    /// In-plane irradiation of each plane.
    pub planes: Vec<PlaneView>,
}

/// One plane.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct PlaneView {
    /// Its name in the job.
    pub name: String,
    /// Degrees from horizontal.
    pub tilt_deg: f64,
    /// Degrees clockwise from north.
    pub azimuth_deg: f64,
    /// In-plane irradiation by month, kWh/m2.
    pub h_i_kwh_m2: [f64; 12],
}

/// One option.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OptionView {
    /// Its first year of operation.
    pub year: OptionYear,
    /// Maker and model of the module.
    pub module_name: String,
    /// Maker and model of the inverter.
    pub inverter_name: String,
    /// Standard uncertainty of the year's energy, share of it (0.05 is 5 %).
    pub u_rel: Option<f64>,
    /// Delivered energy of year 1, 2, ..., kWh; empty when no lifetime was asked for.
    pub years_kwh: Vec<f64>,
    /// What happens in each of them; empty when no lifetime was asked for.
    #[serde(default)]
    pub years: Vec<YearOfOperation>,
    /// Irradiance in W/m2 and efficiency over that at standard conditions, at 25 C.
    pub light_curve: Vec<[f64; 2]>,
    /// Output and clipping by hour and month.
    pub hours: Option<HourMap>,
    /// DC energy by light and cell temperature.
    pub light_heat: Option<LightHeat>,
    /// The string check.
    pub strings: Option<StringsView>,
}

/// Twelve months by twenty-four hours of local standard time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HourMap {
    /// Mean AC power, kW.
    pub mean_kw: [[f64; 24]; 12],
    /// Energy above the AC limit, kWh in the year.
    pub clipped_kwh: [[f64; 24]; 12],
}

/// Energy by in-plane light and cell temperature.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct LightHeat {
    /// Edges of the light bins, W/m2, rising.
    pub light_edges_w_m2: Vec<f64>,
    /// Edges of the temperature bins, C, rising.
    pub heat_edges_c: Vec<f64>,
    /// A row for each temperature bin, a value for each light bin, kWh in the year.
    pub kwh: Vec<Vec<f64>>,
}

/// What a check says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// All limits hold.
    Allowed,
    /// A limit is broken.
    NotAllowed,
    /// A limit is not known.
    #[default]
    NotChecked,
}

/// The string check of an option.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct StringsView {
    /// Standard or code.
    pub basis: String,
    /// What the check says of the whole.
    pub verdict: Verdict,
    /// Lowest of the voltage limits, V.
    pub v_limit: Option<f64>,
    /// Inverter's input window, V.
    pub window_v: Option<[f64; 2]>,
    /// Design temperatures, cold air and hot cell, C.
    pub cold_c: Option<f64>,
    /// Hot cell, C.
    pub hot_c: Option<f64>,
    /// Fewest and most modules in a string.
    pub allowed: Option<[u32; 2]>,
    /// One row for every different length.
    pub rows: Vec<StringRow>,
    /// Sentences of the check.
    pub findings: Vec<String>,
}

/// Strings of one length.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct StringRow {
    /// Modules in series.
    pub modules: u32,
    /// How many such strings.
    pub count: u32,
    /// Open-circuit voltage in cold sun, V.
    pub v_oc_cold: f64,
    /// Voltage at maximum power, hot, V.
    pub v_mp_hot: f64,
    /// Voltage at maximum power at standard conditions, V.
    pub v_mp_stc: f64,
}

/// An option against the first.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct GapView {
    /// The option.
    pub tag: String,
    /// What it is compared with.
    pub against: String,
    /// More energy in year one, kWh.
    pub kwh: f64,
    /// Standard uncertainty of the gap, kWh, with shared errors cancelled.
    pub u_kwh: Option<f64>,
    /// Likelihood 0..1 that the gap is really above zero (or below, if it is negative).
    pub likely: Option<f64>,
    /// Causes that add up to the gap.
    pub causes: Vec<CauseView>,
    /// The causes in plain sentences, in English; a page translates them.
    pub sentences: Vec<String>,
    /// What would have to be true for the gap to vanish, in English; a page translates it.
    pub turns: Vec<String>,
}

/// A cause and its part of the gap.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct CauseView {
    /// Key under `[cause]` of the language file, or plain text.
    pub name: String,
    /// Its part, kWh.
    pub kwh: f64,
}

/// The map of one plane for one option.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct RoofView {
    /// The option.
    pub tag: String,
    /// The plane.
    pub plane: String,
    /// Degrees clockwise from north that the plane faces.
    pub azimuth_deg: f64,
    /// Corners, m, x along the eave, y up the slope.
    pub outline_m: Vec<[f64; 2]>,
    /// Places for modules.
    pub slots: Vec<SlotView>,
    /// Things that stand on it.
    pub obstacles: Vec<ObstacleView>,
}

/// A place for one module.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct SlotView {
    /// Lower left corner, m.
    pub at_m: [f64; 2],
    /// Width along the eave and height up the slope, m.
    pub size_m: [f64; 2],
    /// Whether a module stands there.
    pub used: bool,
    /// Energy lost to shade in a year, kWh.
    pub lost_kwh: f64,
    /// Whether that is enough to call the slot shaded.
    pub shaded: bool,
}

/// An obstacle as drawn.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct ObstacleView {
    /// What it is.
    pub name: String,
    /// Drawn round.
    pub round: bool,
    /// Lower left corner of its box, m.
    pub at_m: [f64; 2],
    /// Width and depth of its box, m.
    pub size_m: [f64; 2],
    /// Height, m, where it is known.
    pub height_m: Option<f64>,
}

/// The price of an option and where it stops paying.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct MoneyView {
    /// The option.
    pub tag: String,
    /// Currency, such as `EUR`.
    pub currency: String,
    /// Asked price of the module, per W.
    pub price_per_w: Option<f64>,
    /// Price at which the option pays no better than the first, per W.
    pub break_even_per_w: Option<f64>,
    /// Cost of energy over the lifetime, per kWh.
    pub lcoe_per_kwh: Option<f64>,
    /// Net present value over that of the first, in the currency.
    pub npv_gap: Option<f64>,
}

/// What a claim comes to at this site.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ClaimVerdict {
    /// It holds here.
    Holds,
    /// Smaller than the doubt.
    WithinDoubt,
    /// It does not hold here.
    Fails,
    /// It cannot be computed here.
    #[default]
    CannotSay,
}

/// A sales sentence, tested.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct ClaimView {
    /// The sentence.
    pub claim: String,
    /// What it comes to here.
    pub finding: String,
    /// Its number, when it has one.
    pub number: Option<f64>,
    /// Unit of the number.
    pub unit: String,
    /// Standard uncertainty of the number.
    pub u: Option<f64>,
    /// Holds, within doubt, fails, cannot say.
    pub verdict: ClaimVerdict,
}

/// One input.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct LedgerLine {
    /// Its key, such as `losses.dirt_pct`.
    pub key: String,
    /// Its value.
    pub value: String,
    /// Its unit.
    pub unit: String,
    /// On whose word.
    pub source: String,
    /// Given in a file; otherwise a default.
    pub given: bool,
}

/// A file that was read.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct FileView {
    /// Path as the job names it.
    pub path: String,
    /// SHA-256, hexadecimal.
    pub sha256: String,
    /// Size, bytes.
    pub bytes: Option<u64>,
}

impl Proposal {
    /// The gap of an option to the first: as given, or from the years alone.
    pub fn gap_of(&self, index: usize) -> Option<GapView> {
        let first = self.options.first()?;
        let option = self.options.get(index).filter(|_| index > 0)?;
        let known = self.gaps.iter().find(|g| g.tag == option.year.tag);
        Some(known.cloned().unwrap_or_else(|| GapView {
            tag: option.year.tag.clone(),
            against: first.year.tag.clone(),
            kwh: option.year.e_ac_kwh() - first.year.e_ac_kwh(),
            ..GapView::default()
        }))
    }

    /// Index of the option with the most energy in year one; the earliest of equals.
    pub fn best(&self) -> usize {
        let mut best = 0;
        for (i, o) in self.options.iter().enumerate() {
            if o.year.e_ac_kwh() > self.options[best].year.e_ac_kwh() {
                best = i;
            }
        }
        best
    }
}

impl OptionView {
    /// An option of which only the year is known.
    pub fn of(year: OptionYear) -> OptionView {
        OptionView {
            module_name: year.module.clone(),
            inverter_name: year.inverter.clone(),
            year,
            u_rel: None,
            years_kwh: Vec::new(),
            years: Vec::new(),
            light_curve: Vec::new(),
            hours: None,
            light_heat: None,
            strings: None,
        }
    }

    /// Standard uncertainty of a part of this option's energy, kWh.
    pub fn u_of(&self, kwh: f64) -> Option<f64> {
        self.u_rel.map(|u| (u * kwh).abs())
    }
}
