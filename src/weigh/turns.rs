//! The turns and bars of one gap: real re-runs of the chain with one input changed.

use std::sync::Arc;

use rayon::prelude::*;

use crate::energy::{Common, Plan, Setup, Stages};
use crate::job::{Job, MoneySpec};
use crate::module::{Electrical, ModuleSheet};
use crate::units::Fraction;
use crate::weigh::compare::Case;
use crate::weigh::doubt::{DoubtInput, Span};
use crate::weigh::money::{Bill, money_of};
use crate::weigh::turn::{Bar, Goal, Turn, root_near};
use crate::weigh::years::Passing;

/// A pair that can be run again.
pub(crate) struct Trial<'a> {
    pub job: &'a Job,
    pub plan: &'a Plan,
    pub common: &'a Common,
    pub a: &'a Case<'a>,
    pub b: &'a Case<'a>,
    pub n: u32,
    pub course: Passing,
}

/// What may be varied, all of the praised option but the tariff.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Input {
    Gamma,
    LowLight,
    LightInduced,
    Ageing,
    Price,
    Tariff,
    Count,
}

impl Input {
    const ALL: [Input; 7] =
        [Input::Gamma, Input::LowLight, Input::LightInduced, Input::Ageing, Input::Price, Input::Tariff, Input::Count];

    fn name(self) -> &'static str {
        match self {
            Input::Gamma => "temperature coefficient",
            Input::LowLight => "weak-light ratio at 200 W/m2",
            Input::LightInduced => "light-induced loss",
            Input::Ageing => "ageing",
            Input::Price => "module price",
            Input::Tariff => "value of a kWh",
            Input::Count => "number of modules",
        }
    }

    fn unit(self) -> &'static str {
        match self {
            Input::Gamma => "%/K",
            Input::LowLight | Input::Count => "",
            Input::LightInduced => "%",
            Input::Ageing => "%/year",
            Input::Price => "currency/W",
            Input::Tariff => "currency/kWh",
        }
    }

    fn goal(self) -> Goal {
        match self {
            Input::Gamma | Input::LowLight | Input::LightInduced => Goal::YieldPerKw,
            Input::Ageing => Goal::LifetimePerKw,
            Input::Price | Input::Tariff => Goal::PresentValue,
            Input::Count => Goal::FirstYear,
        }
    }

    /// Key of the budget of doubt, for the range of a bar.
    fn key(self) -> Option<&'static str> {
        match self {
            Input::Gamma => Some("temperature_coefficient"),
            Input::LowLight => Some("low_light"),
            Input::LightInduced => Some("light_induced"),
            Input::Ageing => Some("ageing"),
            Input::Price | Input::Tariff | Input::Count => None,
        }
    }

    fn decimals(self) -> usize {
        match self {
            Input::Ageing | Input::LightInduced => 2,
            Input::Count => 1,
            _ => 3,
        }
    }
}

/// Every turn, and every bar: four inputs re-run over two standard deviations either way, price and tariff over a fifth.
pub(crate) fn turns_and_bars(trial: &Trial, inputs: &[DoubtInput], k: usize) -> (Vec<Turn>, Vec<Bar>) {
    let found: Vec<(Option<Turn>, Option<Bar>)> = Input::ALL
        .into_par_iter()
        .map(|input| {
            // One input after the other changes one stage of the chain and what follows it.
            let mut stages = Stages::new(&trial.plan.site, trial.common);
            (trial.turn(input, &mut stages), trial.bar(input, inputs, k, &mut stages))
        })
        .collect();
    let (turns, bars): (Vec<_>, Vec<_>) = found.into_iter().unzip();
    let mut bars: Vec<Bar> = bars.into_iter().flatten().collect();
    bars.extend(shared_bars(trial, inputs, k));
    (turns.into_iter().flatten().collect(), bars)
}

/// Inputs that move both options: how far the gap per kW moves by their difference, in first order.
fn shared_bars(trial: &Trial, inputs: &[DoubtInput], k: usize) -> Vec<Bar> {
    let y_b = trial.b.year.y_f_h();
    let now = y_b - trial.a.year.y_f_h();
    inputs
        .iter()
        .filter(|i| i.key == "cell_temperature_k" || i.key == "rating")
        .map(|i| {
            let (c_a, c_b) = (i.effect_pct(0, Span::FirstYear), i.effect_pct(k, Span::FirstYear));
            let own = c_b * (1.0 - i.correlation).max(0.0).sqrt();
            let moved = y_b / 100.0 * (i.correlation.sqrt() * (c_b - c_a) + own) * 2.0;
            let u = 2.0 * i.u.get(k).copied().unwrap_or(0.0);
            Bar {
                what: i.name.clone(),
                unit: i.unit.clone(),
                range: [-u, 0.0, u],
                gap: [now - moved, now, now + moved],
                goal: Goal::YieldPerKw,
            }
        })
        .collect()
}

impl Trial<'_> {
    fn turn(&self, input: Input, stages: &mut Stages) -> Option<Turn> {
        let now = self.now(input)?;
        let range = self.range(input, now);
        let gap_now = self.gap_now(input)?;
        let tol = 1e-9 * (range[1] - range[0]);
        // A gap that B wins vanishes where B's module is worse.
        let worse_is_low = matches!(input, Input::Gamma | Input::LowLight | Input::Count);
        let first = range[usize::from(worse_is_low != (gap_now > 0.0))];
        let found = root_near((now, gap_now), range, first, tol, |x| self.gap(input, x, stages).unwrap_or(f64::NAN));
        let (root, gap_at_root) = found.unzip();
        Some(Turn {
            what: self.named(input),
            unit: self.unit(input),
            now,
            goal: input.goal(),
            gap_now,
            range,
            root,
            gap_at_root,
            sentence: self.sentence(input, now, range, root),
        })
    }

    /// The input with its owner; the value of a kWh belongs to nobody.
    fn named(&self, input: Input) -> String {
        match input {
            Input::Tariff => input.name().to_string(),
            Input::Gamma if self.electrical().by_map() => {
                format!("{} (mean from 25 to 65 C at 1000 W/m2) of {}", input.name(), self.b.facts.tag)
            }
            _ => format!("{} of {}", input.name(), self.b.facts.tag),
        }
    }

    fn unit(&self, input: Input) -> String {
        match (input, self.money()) {
            (Input::Price, Some(m)) => format!("{}/W", m.currency),
            (Input::Tariff, Some(m)) => format!("{}/kWh", m.currency),
            _ => input.unit().to_string(),
        }
    }

    fn bar(&self, input: Input, inputs: &[DoubtInput], k: usize, stages: &mut Stages) -> Option<Bar> {
        let now = self.now(input)?;
        let u = match input.key() {
            Some(key) => 2.0 * inputs.iter().find(|i| i.key == key)?.u.get(k)?,
            None if input == Input::Count => return None,
            None => 0.2 * now,
        };
        // The budget speaks of points of the weak-light ratio.
        let u = if input == Input::LowLight { u / 100.0 } else { u };
        let least = if matches!(input, Input::LightInduced | Input::Ageing) { 0.0 } else { f64::NEG_INFINITY };
        let range = [(now - u).max(least), now, now + u];
        let gap = [self.gap(input, range[0], stages)?, self.gap_now(input)?, self.gap(input, range[2], stages)?];
        Some(Bar { what: self.named(input), unit: self.unit(input), range, gap, goal: input.goal() })
    }

    fn electrical(&self) -> &Electrical {
        &self.b.planned.setup.low_light
    }

    /// The value now; nothing where the input does not exist (no prices, a model without weak light). A measured map is
    /// asked as a whole: its mean temperature coefficient, its ratio at 200 W/m2.
    fn now(&self, input: Input) -> Option<f64> {
        match input {
            Input::Gamma if self.electrical().by_map() => Some(100.0 * self.electrical().gamma_of_map()),
            Input::Gamma => Some(self.b.sheet.gamma_pct_per_k),
            Input::LowLight => {
                let now = self.b.facts.low_light_200;
                self.electrical().with_low_light(&self.with_low_light(now), now).map(|_| now)
            }
            Input::Count => Some(f64::from(self.b.year.modules)),
            Input::LightInduced => Some(self.b.facts.light_induced_pct),
            Input::Ageing => Some(self.b.facts.ageing_pct),
            Input::Price => self.money().map(|_| self.b.bill.price_per_w),
            Input::Tariff => self.money().map(|m| m.tariff_per_kwh),
        }
    }

    fn range(&self, input: Input, now: f64) -> [f64; 2] {
        match input {
            Input::Gamma => [-0.6, -0.1],
            Input::LowLight => [0.8, 1.05],
            Input::LightInduced => [0.0, 5.0],
            Input::Ageing => [0.0, 3.0],
            Input::Price => [0.0, 5.0 * now.max(0.2)],
            Input::Tariff => [0.0, 10.0 * now.max(0.05)],
            Input::Count => [1.0, 2.0 * now],
        }
    }

    fn money(&self) -> Option<&MoneySpec> {
        self.job.spec.money.as_ref()
    }

    /// The gap as it stands, in the unit of the input's goal.
    fn gap_now(&self, input: Input) -> Option<f64> {
        match input.goal() {
            Goal::YieldPerKw => Some(self.b.year.y_f_h() - self.a.year.y_f_h()),
            Goal::LifetimePerKw => {
                let life = |c: &Case| c.year.y_f_h() * self.course.sum_left(c.facts.ageing_pct, self.n);
                Some(life(self.b) - life(self.a))
            }
            Goal::PresentValue => Some(self.b.money.as_ref()?.npv - self.a.money.as_ref()?.npv),
            Goal::FirstYear => Some(self.b.year.e_ac_kwh() - self.a.year.e_ac_kwh()),
        }
    }

    /// The gap with one input changed, in the unit of its goal.
    fn gap(&self, input: Input, x: f64, stages: &mut Stages) -> Option<f64> {
        let y_a = self.a.year.y_f_h();
        let electrical = &self.b.planned.setup.low_light;
        match input {
            Input::Gamma => Some(self.yield_of(&self.with(electrical.with_gamma(x / 100.0)?), stages) - y_a),
            Input::LowLight => {
                Some(self.yield_of(&self.with(electrical.with_low_light(&self.with_low_light(x), x)?), stages) - y_a)
            }
            Input::LightInduced => {
                let light_induced = Fraction::from_percent(x)?;
                Some(self.yield_of(&Setup { light_induced, ..self.b.planned.setup.clone() }, stages) - y_a)
            }
            Input::Count => {
                // The same slots, strings and inverters, carrying more or less power.
                let mut setup = self.b.planned.setup.clone();
                setup.nameplate.p_stc_w *= x / f64::from(setup.nameplate.modules.max(1));
                Some(stages.delivered(&setup) - self.a.year.e_ac_kwh())
            }
            Input::Ageing => {
                let life = |y: f64, d: f64| y * self.course.sum_left(d, self.n);
                Some(life(self.b.year.y_f_h(), x) - life(y_a, self.a.facts.ageing_pct))
            }
            Input::Price => {
                let money = self.money()?;
                let bill = Bill { price_per_w: x, ..self.b.bill.clone() };
                Some(money_of(money, &bill, &self.b.energies).npv - self.a.money.as_ref()?.npv)
            }
            Input::Tariff => {
                let money = self.money()?;
                // What is used on site keeps its own value where it has one.
                let money = MoneySpec { tariff_per_kwh: x, ..money.clone() };
                let npv = |c: &Case| money_of(&money, &c.bill, &c.energies).npv;
                Some(npv(self.b) - npv(self.a))
            }
        }
    }

    fn with_low_light(&self, x: f64) -> ModuleSheet {
        let now = self.b.facts.low_light_200;
        let points = &self.b.sheet.low_light;
        let low_light = if points.is_empty() || (now - 1.0).abs() < 1e-3 {
            vec![[200.0, x]]
        } else {
            let stretch = (x - 1.0) / (now - 1.0);
            points.iter().map(|[g, ratio]| [*g, 1.0 + (ratio - 1.0) * stretch]).collect()
        };
        ModuleSheet { low_light, ..self.b.sheet.clone() }
    }

    fn with(&self, electrical: Electrical) -> Setup {
        let electrical = Arc::new(electrical);
        let mut setup = self.b.planned.setup.clone();
        setup.low_light = electrical.clone();
        setup.heat.electrical = electrical.clone();
        setup.wiring.electrical = electrical;
        setup
    }

    fn yield_of(&self, setup: &Setup, stages: &mut Stages) -> f64 {
        let kwh = stages.delivered(setup);
        if self.b.facts.kw > 0.0 { kwh / self.b.facts.kw } else { 0.0 }
    }

    fn sentence(&self, input: Input, now: f64, range: [f64; 2], root: Option<f64>) -> String {
        let (a, b) = (&self.a.facts.tag, &self.b.facts.tag);
        let gap = match input.goal() {
            Goal::YieldPerKw => "energy per kW in the first year",
            Goal::FirstYear => "energy of the first year",
            Goal::LifetimePerKw => "energy per kW over the years",
            Goal::PresentValue => "net present value",
        };
        let (digits, name) = (input.decimals(), self.named(input));
        let unit = Some(self.unit(input)).filter(|u| !u.is_empty()).map(|u| format!(" {u}")).unwrap_or_default();
        match root {
            Some(x) if input == Input::Count => format!(
                "{b} needs {:.0} modules to give as much as {a} in the first year ({x:.1} by the hour, now {now:.0}), on \
                 slots, strings and inverters as they are.",
                (x - 1e-6).ceil()
            ),
            Some(x) => format!(
                "{b} and {a} come out equal in {gap} where the {name} is {x:.digits$}{unit} (now {now:.digits$})."
            ),
            None => format!(
                "No {name} from {:.digits$} to {:.digits$}{unit} makes {b} and {a} equal in {gap}: no root in range.",
                range[0], range[1]
            ),
        }
    }
}
