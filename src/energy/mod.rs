//! The hourly chain, the account of every kWh, months and years.

mod account;
mod chain;
mod cover;
mod hours;
mod light;
mod plan;
mod setup;
mod site;
mod stages;

pub use account::{Account, AccountLine, Effect};
pub use chain::{PartColumns, Scratch, YearSums, open_energy, run, run_under};
pub use cover::{SLIDE_M, SLIDE_PER_H, SnowCover, dirt_by_rain, dirt_of_year, power_under_snow};
pub use hours::HourColumns;
pub use light::Lights;
pub use plan::{EnergyError, Fits, Plan, PlanCache, PlannedOption, REAR_STRUCTURE_KEPT, REAR_UNEVEN_KEPT, common_of};
pub use setup::{
    Common, Conversion, Heat, InputStrings, Mounting, Nameplate, PartShade, Rear, Setup, StringsOfInput, Wiring,
};
pub use site::{PlaneOfSite, SiteLight};
pub use stages::Stages;

/// Sums of one month of the first year of operation (with the light-induced loss, without ageing).
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize, serde::Deserialize)]
pub struct MonthSums {
    /// In-plane irradiation of the open plane, kWh/m2, the mean over the planes weighted by installed power.
    pub h_i_kwh_m2: f64,
    /// DC energy at the inverter's input, kWh.
    pub e_dc_kwh: f64,
    /// AC energy delivered, kWh, after night draw, outage and export limit.
    pub e_ac_kwh: f64,
    /// Energy lost at the inverter's AC limit, kWh, 0 or more.
    pub clipped_kwh: f64,
    /// Energy lost at the export limit, kWh, 0 or more.
    pub export_lost_kwh: f64,
}

/// One option over the first year of operation.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct OptionYear {
    /// The option's tag in the job.
    pub tag: String,
    /// Module tag.
    pub module: String,
    /// Inverter tag.
    pub inverter: String,
    /// Number of inverters.
    pub inverters: u32,
    /// Number of modules.
    pub modules: u32,
    /// Modules of each string; empty for one lumped array.
    pub strings: Vec<u32>,
    /// Installed power at standard test conditions, kW.
    pub p_stc_kw: f64,
    /// Rated AC power, kW.
    pub p_ac_kw: f64,
    /// January to December.
    pub months: [MonthSums; 12],
    /// Where the light went.
    pub account: Account,
}

impl OptionYear {
    /// Delivered AC energy of the year, kWh.
    pub fn e_ac_kwh(&self) -> f64 {
        self.months.iter().map(|m| m.e_ac_kwh).sum()
    }

    /// DC energy of the year, kWh.
    pub fn e_dc_kwh(&self) -> f64 {
        self.months.iter().map(|m| m.e_dc_kwh).sum()
    }

    /// Energy lost at the AC limit, kWh.
    pub fn clipped_kwh(&self) -> f64 {
        self.months.iter().map(|m| m.clipped_kwh).sum()
    }

    /// In-plane irradiation of the year, kWh/m2.
    pub fn h_i_kwh_m2(&self) -> f64 {
        self.months.iter().map(|m| m.h_i_kwh_m2).sum()
    }

    /// Reference yield Y_r = H_i / (1 kW/m2), h (IEC 61724-1).
    pub fn y_r_h(&self) -> f64 {
        self.h_i_kwh_m2()
    }

    /// Final yield Y_f = E_AC / P_0, kWh/kW (IEC 61724-1).
    pub fn y_f_h(&self) -> f64 {
        self.e_ac_kwh() / self.p_stc_kw
    }

    /// Performance ratio Y_f / Y_r (IEC 61724-1).
    pub fn pr(&self) -> f64 {
        self.y_f_h() / self.y_r_h()
    }
}

impl PlannedOption {
    /// The first year from a run of the setup.
    pub fn year_of(&self, sums: &YearSums) -> OptionYear {
        let setup = &self.setup;
        OptionYear {
            tag: self.tag.clone(),
            module: self.module.clone(),
            inverter: self.inverter.clone(),
            inverters: setup.conversion.count,
            modules: setup.nameplate.modules,
            strings: self.strings.clone(),
            p_stc_kw: setup.nameplate.p0_w() / 1000.0,
            p_ac_kw: setup.conversion.inverter.p_ac_w() * f64::from(setup.conversion.count) / 1000.0,
            months: sums.months,
            account: sums.account.clone(),
        }
    }
}

impl Plan {
    /// The first year of one option; its columns stay in `scratch`.
    pub fn year(&self, option: &PlannedOption, scratch: &mut Scratch) -> OptionYear {
        self.year_of(option, &run(&option.setup, &self.site, &self.common, scratch))
    }

    /// The first year of one option from a run of its setup.
    pub fn year_of(&self, option: &PlannedOption, sums: &YearSums) -> OptionYear {
        option.year_of(sums)
    }

    /// The first year of every option, in the order of the job.
    pub fn years(&self) -> Vec<OptionYear> {
        let (mut lights, mut scratch) = (Lights::new(&self.site, &self.common), Scratch::brief());
        let mut year = |option: &PlannedOption| option.year_of(&run_under(&option.setup, &mut lights, &mut scratch));
        self.options.iter().map(&mut year).collect()
    }
}
