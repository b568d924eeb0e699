//! How many strings, how long, and on which input.

use serde::{Deserialize, Serialize};

/// The strings of every input of every inverter.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Layout {
    /// One per inverter.
    pub inverters: Vec<InverterLayout>,
}

/// The strings of one inverter.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct InverterLayout {
    /// Modules of each string, input by input; inputs without strings are left out.
    pub inputs: Vec<Vec<u32>>,
}

impl InverterLayout {
    /// Modules on this inverter.
    pub fn modules(&self) -> u32 {
        self.inputs.iter().flatten().sum()
    }

    /// In words: `20/20, 20, 19/19`.
    pub fn words(&self) -> String {
        let input = |strings: &Vec<u32>| strings.iter().map(u32::to_string).collect::<Vec<_>>().join("/");
        self.inputs.iter().map(input).collect::<Vec<_>>().join(", ")
    }
}

impl Layout {
    /// All strings, inverter by inverter and input by input.
    pub fn strings(&self) -> Vec<u32> {
        self.inverters.iter().flat_map(|i| i.inputs.iter().flatten().copied()).collect()
    }

    /// Most strings on one input.
    pub fn most_parallel(&self) -> usize {
        self.inverters.iter().flat_map(|i| i.inputs.iter().map(Vec::len)).max().unwrap_or(0)
    }

    /// Inputs whose strings differ in length.
    pub fn unequal_inputs(&self) -> usize {
        let unequal = |input: &&Vec<u32>| input.iter().any(|n| *n != input[0]);
        self.inverters.iter().flat_map(|i| &i.inputs).filter(unequal).count()
    }
}

/// Smallest number of modules of `p_stc_w` watts that reaches `target_kw` kilowatts.
///
/// ```
/// assert_eq!(yearlight::plant::modules_for(40.0, 410.0), 98);
/// assert_eq!(yearlight::plant::modules_for(40.0, 400.0), 100);
/// ```
pub fn modules_for(target_kw: f64, p_stc_w: f64) -> u32 {
    // A hair below a whole number is that number: 40 kW of 400 W modules are 100.
    let n = (target_kw * 1000.0 / p_stc_w - 1e-9).ceil();
    if n.is_finite() && n > 0.0 { n.min(1e9) as u32 } else { 0 }
}

/// Cuts `modules` into the fewest strings of `n_min` to `n_max` modules, as equal as they can be, longest first.
///
/// `None` when no number of strings makes it.
/// ```
/// use yearlight::plant::string_lengths;
/// assert_eq!(string_lengths(98, 9, 23), Some(vec![20, 20, 20, 19, 19]));
/// assert_eq!(string_lengths(8, 9, 23), None);
/// ```
pub fn string_lengths(modules: u32, n_min: u32, n_max: u32) -> Option<Vec<u32>> {
    if modules == 0 || n_max == 0 || n_min > n_max {
        return None;
    }
    let count = modules.div_ceil(n_max);
    let (short, longer) = (modules / count, modules % count);
    (short >= n_min.max(1)).then(|| (0..count).map(|i| if i < longer { short + 1 } else { short }).collect())
}

/// Places strings on inverters and inputs.
///
/// Inverters get as equal a number of modules as they can. On an inverter, strings of one length share inputs before
/// strings of different length do, and inputs left over take over part of the fullest. `inputs` and `per_input` left
/// out: one input that takes everything. Strings beyond all terminals still appear, on the last input; the string
/// check refuses them.
pub fn assign(strings: &[u32], inverters: u32, inputs: Option<u32>, per_input: Option<u32>) -> Layout {
    let mut longest_first = strings.to_vec();
    longest_first.sort_unstable_by(|a, b| b.cmp(a));
    let count = inverters.max(1) as usize;
    let terminals = match (inputs, per_input) {
        (Some(i), Some(p)) => (i as usize).saturating_mul(p as usize),
        _ => usize::MAX,
    };
    let mut dealt: Vec<Vec<u32>> = vec![Vec::new(); count];
    let mut modules = vec![0u64; count];
    for n in longest_first {
        let has_room = |k: &usize| dealt[*k].len() < terminals;
        let pick = (0..count).filter(has_room).min_by_key(|&k| (modules[k], dealt[k].len()));
        let pick = pick.or_else(|| (0..count).min_by_key(|&k| modules[k])).unwrap_or(0);
        dealt[pick].push(n);
        modules[pick] += u64::from(n);
    }
    let inputs = inputs.unwrap_or(1).max(1) as usize;
    Layout { inverters: dealt.iter().map(|s| InverterLayout { inputs: on_inputs(s, inputs, per_input) }).collect() }
}

/// `strings` are longest first.
fn on_inputs(strings: &[u32], inputs: usize, per_input: Option<u32>) -> Vec<Vec<u32>> {
    if strings.is_empty() {
        return Vec::new();
    }
    let fair = strings.len().div_ceil(inputs);
    let most = per_input.map_or(fair, |p| (p as usize).max(1));
    let mut chunks: Vec<Vec<u32>> =
        strings.chunk_by(|a, b| a == b).flat_map(|equal| equal.chunks(most).map(<[u32]>::to_vec)).collect();
    if chunks.len() > inputs {
        // Lengths must mix: neighbours in length, at most what the terminals hold as long as that is possible.
        return strings.chunks(fair.max(1)).map(<[u32]>::to_vec).collect();
    }
    while chunks.len() < inputs {
        let Some(fullest) =
            (0..chunks.len()).rev().max_by_key(|&k| (chunks[k].len(), k)).filter(|&k| chunks[k].len() > 1)
        else {
            break;
        };
        let half = chunks[fullest].len().div_ceil(2);
        let rest = chunks[fullest].split_off(half);
        chunks.insert(fullest + 1, rest);
    }
    chunks
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn words(strings: &[u32], inverters: u32, inputs: u32, per: u32) -> Vec<String> {
        assign(strings, inverters, Some(inputs), Some(per)).inverters.iter().map(InverterLayout::words).collect()
    }

    #[test]
    fn equal_strings_share_an_input() {
        assert_eq!(words(&[20, 20, 20, 19, 19], 1, 3, 2), ["20/20, 20, 19/19"]);
        assert_eq!(words(&[23, 23, 22, 22], 1, 3, 2), ["23/23, 22, 22"]);
        assert_eq!(words(&[23, 23, 23, 23], 1, 3, 2), ["23/23, 23, 23"]);
        assert_eq!(words(&[20, 19, 18, 17], 1, 2, 2), ["20/19, 18/17"]);
        assert_eq!(words(&[20, 20, 19, 19], 2, 2, 2), ["20, 19", "20, 19"]);
        assert_eq!(words(&[20, 20, 20], 1, 1, 2), ["20/20/20"]);
        assert_eq!(assign(&[20, 20], 1, None, None).inverters[0].words(), "20/20");
        let unequal = |strings: &[u32], inputs| assign(strings, 1, Some(inputs), Some(2)).unequal_inputs();
        assert_eq!(
            (unequal(&[23, 23, 23, 23], 3), unequal(&[20, 19, 18, 17], 2), unequal(&[20, 20, 18, 17], 2)),
            (0, 2, 1)
        );
    }

    #[test]
    fn a_power_that_is_none_needs_no_modules() {
        for (target_kw, p_stc_w) in
            [(0.0, 400.0), (-5.0, 400.0), (f64::NAN, 400.0), (40.0, 0.0), (f64::INFINITY, 400.0)]
        {
            assert_eq!(modules_for(target_kw, p_stc_w), 0, "{target_kw} {p_stc_w}");
        }
        assert_eq!((modules_for(1e15, 400.0), modules_for(0.3, 400.0)), (1_000_000_000, 1));
    }

    #[test]
    fn strings_are_as_few_and_as_equal_as_can_be() {
        assert_eq!(string_lengths(90, 9, 26), Some(vec![23, 23, 22, 22]));
        assert_eq!(string_lengths(92, 9, 23), Some(vec![23; 4]));
        assert_eq!(string_lengths(23, 9, 23), Some(vec![23]));
        // 24 need two strings of 12; with at least 15 a string there is no way.
        assert_eq!(string_lengths(24, 15, 23), None);
        assert_eq!(string_lengths(0, 1, 23), None);
    }

    proptest! {
        #[test]
        fn nothing_is_lost_in_the_layout(
            strings in proptest::collection::vec(1u32..40, 1..60), inverters in 1u32..6,
            inputs in 1u32..6, per in 1u32..4,
        ) {
            let layout = assign(&strings, inverters, Some(inputs), Some(per));
            let mut there = layout.strings();
            let mut given = strings.clone();
            there.sort_unstable();
            given.sort_unstable();
            prop_assert_eq!(there, given);
            prop_assert_eq!(layout.inverters.len(), inverters as usize);
            prop_assert!(layout.inverters.iter().all(|i| i.inputs.len() <= inputs as usize));
            if strings.len() <= (inverters * inputs * per) as usize {
                prop_assert!(layout.most_parallel() <= per as usize);
            }
        }

        #[test]
        fn lengths_sum_and_differ_by_one(modules in 1u32..3000, n_min in 1u32..12, extra in 0u32..20) {
            if let Some(lengths) = string_lengths(modules, n_min, n_min + extra) {
                prop_assert_eq!(lengths.iter().sum::<u32>(), modules);
                prop_assert!(lengths.iter().all(|n| (n_min..=n_min + extra).contains(n)));
                prop_assert!(lengths[0] - lengths[lengths.len() - 1] <= 1);
            }
        }
    }
}
