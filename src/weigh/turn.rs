//! What would have to be true: at which value of one input a gap vanishes, and how far one input alone moves it.

pub use crate::maths::root;
use serde::{Deserialize, Serialize};

/// What is to become zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Goal {
    /// Energy of the first year per kW.
    YieldPerKw,
    /// Energy of the first year per roof.
    FirstYear,
    /// Energy over all years of operation per kW.
    LifetimePerKw,
    /// Net present value.
    PresentValue,
}

/// At which value of one input the gap vanishes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Turn {
    /// Which input, for people: `temperature coefficient of B`.
    pub what: String,
    /// Its unit.
    pub unit: String,
    /// Its value now.
    pub now: f64,
    /// What is to become zero.
    pub goal: Goal,
    /// The gap now, in the unit of the goal.
    pub gap_now: f64,
    /// Range searched.
    pub range: [f64; 2],
    /// Where the gap is zero; nothing when there is no root in the range.
    pub root: Option<f64>,
    /// The gap re-run at the root, for the sceptic.
    pub gap_at_root: Option<f64>,
    /// One plain sentence.
    pub sentence: String,
}

/// How the gap moves when one input alone goes through its range.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Bar {
    /// Which input.
    pub what: String,
    /// Its unit.
    pub unit: String,
    /// Lower end, value now, upper end of the range.
    pub range: [f64; 3],
    /// The gap at these, in the unit of the goal.
    pub gap: [f64; 3],
    /// What the gap is measured in.
    pub goal: Goal,
}

/// A root of `f` in `range` and `f` there, where `f(now)` is known: between `now` and the end `first` if the sign changes
/// there, else between `now` and the other end; nothing when it changes on neither side.
pub fn root_near(
    (now, f_now): (f64, f64),
    range: [f64; 2],
    first: f64,
    x_tol: f64,
    mut f: impl FnMut(f64) -> f64,
) -> Option<(f64, f64)> {
    if f_now == 0.0 {
        return Some((now, 0.0));
    }
    // What was worked out is not worked out again.
    let mut known = vec![(now, f_now)];
    let mut value = |x: f64| match known.iter().find(|k| k.0 == x) {
        Some(k) => k.1,
        None => {
            let y = f(x);
            known.push((x, y));
            y
        }
    };
    let second = if first == range[0] { range[1] } else { range[0] };
    let x = [first, second].into_iter().find_map(|end| root(now.min(end), now.max(end), x_tol, &mut value))?;
    Some((x, value(x)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn newtons_own_cubic() {
        // x^3 - 2x - 5 = 0 at 2.0945514815423265: Newton's worked example, digits as in the handbooks (from memory).
        let x = root(2.0, 3.0, 1e-14, |x| x * x * x - 2.0 * x - 5.0).unwrap();
        assert!((x - 2.094_551_481_542_326_5).abs() < 1e-13);
    }

    #[test]
    fn a_jump_is_bracketed_and_bad_ends_are_refused() {
        let x = root(-1.0, 2.0, 1e-12, |x| if x < 0.3 { -1.0 } else { 1.0 }).unwrap();
        assert!((x - 0.3).abs() < 1e-11);
        assert!(root(0.0, 1.0, 1e-12, |_| f64::NAN).is_none());
        assert!(root(0.0, 1.0, 1e-12, |_| 1.0).is_none());
    }

    #[test]
    fn what_is_known_is_not_asked_again() {
        let mut asked = Vec::new();
        let (x, y) = root_near((3.0, 7.0), [0.0, 9.0], 0.0, 1e-12, |x| {
            asked.push(x);
            x * x - 2.0
        })
        .unwrap();
        assert!((x - 2.0_f64.sqrt()).abs() < 1e-11 && y.abs() < 1e-10);
        assert!(!asked.contains(&3.0) && !asked.contains(&9.0));
        // On the other side, on neither, and already there.
        assert!(root_near((1.0, -1.0), [0.0, 9.0], 0.0, 1e-12, |x| x * x - 2.0).is_some());
        assert!(root_near((3.0, 7.0), [2.0, 9.0], 2.0, 1e-12, |x| x * x - 2.0).is_none());
        assert_eq!(root_near((3.0, 0.0), [2.0, 9.0], 2.0, 1e-12, |_| f64::NAN), Some((3.0, 0.0)));
    }

    proptest! {
        #[test]
        fn finds_the_root_of_a_rising_curve(x0 in -5.0..5.0_f64, k in 0.01..50.0_f64) {
            let x = root(-6.0, 6.0, 1e-12, |x| (k * (x - x0)).tanh() + 0.1 * (x - x0).powi(3)).unwrap();
            prop_assert!((x - x0).abs() < 1e-9, "{} {}", x, x0);
        }
    }
}
