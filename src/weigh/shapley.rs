//! The exact split of a difference among the things that were changed.

use rayon::prelude::*;

/// Most groups that a split can tell apart: 2^11 runs at most.
pub const MAX_GROUPS: usize = 11;

/// Splits `v(all) - v(none)` among `n` groups, each switched on or off by a bit of the mask, by Shapley values.
///
/// `phi_i = sum over S without i of |S|! (n - |S| - 1)! / n! (v(S + i) - v(S))`
///
/// The value of a run has `K` parts (twelve months, say), each split on its own; `v` is called once for each of the
/// 2^n masks, on all threads. The order of every sum is fixed and its terms are paired with those of the complement,
/// so the result has the same bits for any number of threads, a group that changes nothing gets exactly 0, and
/// swapping the two sides flips every sign exactly. The parts sum to the whole difference up to rounding.
/// Returns an empty list for no group; groups beyond [`MAX_GROUPS`] are refused by returning `None`.
/// Source: Shapley, L. S.: A value for n-person games, Contributions to the Theory of Games II (1953) 307-317.
pub fn shapley_parts<const K: usize>(n: usize, v: impl Fn(u32) -> [f64; K] + Sync) -> Option<Vec<[f64; K]>> {
    if n > MAX_GROUPS {
        return None;
    }
    let values: Vec<[f64; K]> = (0..1_u32 << n).into_par_iter().map(&v).collect();
    Some((0..n).map(|i| share_of(n, i, &values)).collect())
}

/// [`shapley_parts`] for a run with one value.
/// ```
/// // Two groups that add up simply: each gets its own.
/// let phi = yearlight::weigh::shapley(2, |s| f64::from(s & 1) * 3.0 + f64::from(s >> 1) * 4.0).unwrap();
/// assert_eq!(phi, [3.0, 4.0]);
/// ```
pub fn shapley(n: usize, v: impl Fn(u32) -> f64 + Sync) -> Option<Vec<f64>> {
    shapley_parts(n, |mask| [v(mask)]).map(|parts| parts.into_iter().map(|[x]| x).collect())
}

fn share_of<const K: usize>(n: usize, i: usize, values: &[[f64; K]]) -> [f64; K] {
    let me = 1_usize << i;
    let others = (values.len() - 1) & !me;
    let gain = |s: usize, k: usize| values[s | me][k] - values[s][k];
    let mut phi = [0.0; K];
    if others == 0 {
        for (k, phi) in phi.iter_mut().enumerate() {
            *phi = gain(0, k);
        }
        return phi;
    }
    // Each pair of a set and its complement is taken once: by the member without the lowest other group.
    let lowest = others & others.wrapping_neg();
    for s in (0..values.len()).filter(|s| s & me == 0 && s & lowest == 0) {
        let weight = weight(n, s.count_ones() as usize);
        for (k, phi) in phi.iter_mut().enumerate() {
            *phi += weight * (gain(s, k) + gain(others & !s, k));
        }
    }
    phi
}

/// `|S|! (n - |S| - 1)! / n!`, the same for a set and its complement, bit for bit.
fn weight(n: usize, size: usize) -> f64 {
    let small = size.min(n - 1 - size);
    let choose = (0..small).fold(1.0, |c, j| c * (n - 1 - j) as f64 / (j + 1) as f64);
    1.0 / (n as f64 * choose)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The definition itself: the mean, over all orders of switching, of what each group adds at its turn.
    fn by_orders(v: &[f64; 8]) -> [f64; 3] {
        let orders = [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]];
        let mut phi = [0.0; 3];
        for order in orders {
            let mut set = 0_usize;
            for i in order {
                phi[i] += (v[set | 1 << i] - v[set]) / 6.0;
                set |= 1 << i;
            }
        }
        phi
    }

    #[test]
    fn the_glove_game_of_the_textbooks() {
        // One left glove (player 0), two right gloves; a pair is worth 1. Textbook answer: 2/3, 1/6, 1/6 (from memory).
        let phi = shapley(3, |s| if s & 1 == 1 && s & 6 != 0 { 1.0 } else { 0.0 }).unwrap();
        assert!((phi[0] - 2.0 / 3.0).abs() < 1e-15);
        assert!((phi[1] - 1.0 / 6.0).abs() < 1e-15 && (phi[2] - 1.0 / 6.0).abs() < 1e-15);
    }

    #[test]
    fn none_and_one_and_too_many() {
        assert!(shapley(0, |_| 5.0).unwrap().is_empty());
        assert_eq!(shapley(1, |s| [2.5, 7.0][s as usize]).unwrap(), [4.5]);
        assert!(shapley(12, |_| 0.0).is_none());
    }

    #[test]
    fn threads_do_not_change_a_bit() {
        let v = |s: u32| (f64::from(s) * 0.77).sin() * 1e5;
        let run = |threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| shapley(9, v).unwrap())
        };
        let one: Vec<u64> = run(1).iter().map(|x| x.to_bits()).collect();
        let eight: Vec<u64> = run(8).iter().map(|x| x.to_bits()).collect();
        assert_eq!(one, eight);
    }

    proptest! {
        #[test]
        fn three_groups_by_brute_force(v in prop::array::uniform8(-1e6..1e6_f64)) {
            let phi = shapley(3, |s| v[s as usize]).unwrap();
            for (a, b) in phi.iter().zip(by_orders(&v)) {
                prop_assert!((a - b).abs() < 1e-9);
            }
        }

        #[test]
        fn parts_sum_to_the_whole(n in 1_usize..=8, seed in any::<u64>()) {
            let v = table(n, seed);
            let phi = shapley(n, |s| v[s as usize]).unwrap();
            let whole = v[v.len() - 1] - v[0];
            prop_assert!((phi.iter().sum::<f64>() - whole).abs() < 1e-9);
        }

        #[test]
        fn swapping_sides_flips_every_sign_exactly(n in 1_usize..=8, seed in any::<u64>()) {
            let v = table(n, seed);
            let all = (v.len() - 1) as u32;
            let there = shapley(n, |s| v[s as usize]).unwrap();
            let back = shapley(n, |s| v[(all ^ s) as usize]).unwrap();
            for (a, b) in there.iter().zip(&back) {
                prop_assert_eq!(*a, -*b);
            }
        }

        #[test]
        fn a_group_that_changes_nothing_gets_exactly_0(n in 2_usize..=8, seed in any::<u64>(), dummy in 0_usize..8) {
            let (v, dummy) = (table(n, seed), dummy % n);
            let phi = shapley(n, |s| v[(s & !(1 << dummy)) as usize]).unwrap();
            prop_assert_eq!(phi[dummy], 0.0);
        }

        #[test]
        fn groups_that_do_the_same_get_the_same(n in 2_usize..=8, seed in any::<u64>()) {
            // Groups 0 and 1 count only by how many of them are switched.
            let v = table(n, seed);
            let fold = |s: u32| (s & !3) | ((s & 1) + (s >> 1 & 1) > 0) as u32 | (((s & 3) == 3) as u32) << 1;
            let phi = shapley(n, |s| v[fold(s) as usize]).unwrap();
            prop_assert!((phi[0] - phi[1]).abs() < 1e-9);
        }
    }

    fn table(n: usize, seed: u64) -> Vec<f64> {
        let mut draws = crate::weigh::Draws::seeded(seed);
        (0..1 << n).map(|_| draws.normal() * 1e4).collect()
    }
}
