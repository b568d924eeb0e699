//! Aguiar, Collares-Pereira, Conde, Solar Energy 40 (1988) 269-279: daily transition matrices (from memory).

use yearlight::sky::TRANSITIONS;

/// Each matrix is printed for a class of monthly clearness; its long-run mean must lie within that class.
#[test]
fn long_run_means_lie_in_their_classes() {
    let mut low = 0.0;
    for t in &TRANSITIONS {
        let mean = t.long_run_mean();
        assert!(mean > low && mean <= t.upto, "{mean} is not in {low}..{}", t.upto);
        low = t.upto;
    }
}

/// Rows are probabilities, printed to three digits; one row is known to sum to 1.06.
#[test]
fn rows_sum_to_one() {
    let sums: Vec<f64> = TRANSITIONS.iter().flat_map(|t| t.rows.iter().map(|r| r.iter().sum::<f64>())).collect();
    let odd = sums.iter().filter(|s| (**s - 1.0).abs() > 0.004).count();
    assert_eq!(odd, 1, "{sums:?}");
}
