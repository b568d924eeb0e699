//! The hourly table of one option.

use super::chain::Scratch;
use super::plan::Plan;
use super::setup::Setup;
use crate::weather::WeatherYear;

/// Every step of the year for one option, night included; all columns have the weather year's length.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct HourColumns {
    /// Month 1..=12.
    pub month: Vec<i64>,
    /// Day of the month.
    pub day: Vec<i64>,
    /// Minute of the local standard day at which the step begins.
    pub minute: Vec<i64>,
    /// Global horizontal irradiance, W/m2.
    pub ghi: Vec<f64>,
    /// Air temperature, C.
    pub t_amb: Vec<f64>,
    /// In-plane irradiance of the open plane, W/m2, weighted by installed power.
    pub poa: Vec<f64>,
    /// Light on the cells, W/m2, weighted alike.
    pub g_eff: Vec<f64>,
    /// Cell temperature, C, weighted alike; air temperature at night.
    pub t_cell: Vec<f64>,
    /// DC power at the inverters' input, W.
    pub p_dc: Vec<f64>,
    /// DC voltage, V; 0 for a lumped array and at night.
    pub v_dc: Vec<f64>,
    /// AC power delivered, W: outage taken evenly, the inverter's draw negative.
    pub p_ac: Vec<f64>,
    /// AC power lost at the inverter's limit, W.
    pub p_clipped: Vec<f64>,
    /// Load on site, W; empty without one.
    pub load: Vec<f64>,
    /// AC power used on site, W; empty without a load.
    pub own_use: Vec<f64>,
    /// AC power fed in, W, draw negative; empty without a load.
    pub exported: Vec<f64>,
}

impl HourColumns {
    /// Spreads the columns of the option that was run last in `scratch` over the whole year.
    pub fn of(plan: &Plan, setup: &Setup, weather: &WeatherYear, scratch: &Scratch) -> HourColumns {
        use chrono::Datelike;
        let n = weather.len();
        let per_day = weather.steps_per_day;
        let kept = plan.common.outage.kept();
        let night = setup.conversion.inverter.night_w() * f64::from(setup.conversion.count);
        let no_load = plan.common.transformer.as_ref().map_or(0.0, |t| t.loss_w(0.0));
        let mut hours = HourColumns {
            month: (0..n).map(|i| weather.month_of(i) as i64 + 1).collect(),
            day: (0..n).map(|i| i64::from(weather.days[i / per_day].day())).collect(),
            minute: (0..n).map(|i| (i % per_day) as i64 * i64::from(weather.step_min())).collect(),
            ghi: weather.ghi.clone(),
            t_amb: weather.t_amb.clone(),
            poa: vec![0.0; n],
            g_eff: vec![0.0; n],
            t_cell: weather.t_amb.clone(),
            p_dc: vec![0.0; n],
            v_dc: vec![0.0; n],
            p_ac: vec![-(night + no_load) * kept; n],
            p_clipped: vec![0.0; n],
            ..HourColumns::default()
        };
        for (k, &step) in plan.site.sun.steps.iter().enumerate() {
            let i = step as usize;
            let (mut poa, mut g_eff, mut t_cell) = (0.0, 0.0, 0.0);
            for (part, &(p, share)) in scratch.parts.iter().zip(&setup.mounting.parts) {
                poa += share * plan.site.planes[p].light.poa(k);
                g_eff += share * part.g_eff()[k];
                t_cell += share * part.t_cell()[k];
            }
            hours.poa[i] = poa;
            hours.g_eff[i] = g_eff;
            hours.t_cell[i] = t_cell;
            hours.p_dc[i] = scratch.p_dc[k];
            hours.v_dc[i] = scratch.v_dc[k];
            hours.p_ac[i] = (scratch.p_delivered[k] - scratch.ac.draw[k]) * kept;
            hours.p_clipped[i] = scratch.ac.before_limit[k] - scratch.ac.ac[k];
        }
        hours
    }

    /// Adds what is used on site and what is fed in, for a load in W at every step. Power out of service is counted as
    /// missing evenly, as the rest of the table has it: `own use = share in service x min(P, load)`.
    pub fn against_load(&mut self, load_w: Vec<f64>, in_service: f64) {
        if load_w.len() != self.p_ac.len() || in_service <= 0.0 {
            return;
        }
        self.own_use =
            self.p_ac.iter().zip(&load_w).map(|(p, load)| in_service * (p / in_service).min(*load).max(0.0)).collect();
        self.exported = self.p_ac.iter().zip(&self.own_use).map(|(p, own)| p - own).collect();
        self.load = load_w;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // By hand: 90 % in service. 900 W left of 1000 W against 300 W are 270 W used (0.9 x 300) and 630 W fed in; a draw
    // at night is no own use.
    #[test]
    fn own_use_is_what_the_load_takes_while_in_service() {
        let mut hours = HourColumns { p_ac: vec![900.0, 180.0, -5.0], ..HourColumns::default() };
        hours.against_load(vec![300.0, 300.0, 300.0], 0.9);
        let near = |found: &[f64], want: [f64; 3]| found.iter().zip(want).all(|(f, w)| (f - w).abs() < 1e-9);
        assert!(near(&hours.own_use, [270.0, 180.0, 0.0]), "{:?}", hours.own_use);
        assert!(near(&hours.exported, [630.0, 0.0, -5.0]), "{:?}", hours.exported);
        assert_eq!(hours.load, [300.0; 3]);
        // A load of another length, or a plant that is never in service, changes nothing.
        let before = hours.clone();
        hours.against_load(vec![300.0; 2], 0.9);
        hours.against_load(vec![100.0; 3], 0.0);
        assert_eq!(hours, before);
    }
}
