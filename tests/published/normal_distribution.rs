//! Normal quantile and cumulative share against published values and a general-purpose library.

use yearlight::weigh::{Percentiles, quantile, share_below};

/// Abramowitz, M., Stegun, I. A.: Handbook of Mathematical Functions (1964), table 26.1, P(x), ten digits (from memory;
/// each agrees with the error function of a general-purpose library).
const TABLE_26_1: [(f64, f64); 7] = [
    (0.5, 0.691_462_461_3),
    (1.0, 0.841_344_746_1),
    (1.5, 0.933_192_798_7),
    (2.0, 0.977_249_868_1),
    (2.5, 0.993_790_334_7),
    (3.0, 0.998_650_102_0),
    (4.0, 0.999_968_328_8),
];

/// Wichura, M. J.: Algorithm AS 241, Applied Statistics 37 (1988) 477-484: test values of PPND16 (from memory).
const AS_241: [(f64, f64); 3] =
    [(0.25, -0.674_489_750_196_081_7), (0.001, -3.090_232_306_167_814), (1e-20, -9.262_340_089_798_408)];

/// Quantiles that yield reports use, four decimals: the same handbook, table 26.5 (from memory).
const OF_REPORTS: [(f64, f64); 4] = [(0.75, 0.6745), (0.90, 1.2816), (0.95, 1.6449), (0.99, 2.3263)];

#[test]
fn cumulative_share_of_the_handbook() {
    // Half a unit of the last printed digit.
    for (x, p) in TABLE_26_1 {
        assert!((share_below(x) - p).abs() < 5.1e-11, "{x}");
    }
}

#[test]
fn quantiles_of_the_paper_and_of_yield_reports() {
    // The paper claims about sixteen digits.
    for (p, z) in AS_241 {
        assert!((quantile(p) / z - 1.0).abs() < 1e-15, "{p}");
    }
    for (p, z) in OF_REPORTS {
        assert!((quantile(p) - z).abs() < 5e-5, "{p}");
    }
}

#[test]
fn both_agree_with_a_general_purpose_library() {
    let text = include_str!("data/normal.csv");
    let mut seen = 0;
    for line in text.lines().filter(|l| !l.starts_with('#')).skip(1) {
        let mut fields = line.split(',');
        let kind = fields.next().unwrap();
        let mut number = || fields.next().unwrap().parse::<f64>().unwrap();
        let (x, value) = (number(), number());
        match kind {
            // West's paper claims double precision; 1e-15 absolute is what it keeps here.
            "P" => assert!((share_below(x) - value).abs() < 1e-15, "P({x})"),
            _ => assert!((quantile(x) - value).abs() <= 1e-15 * value.abs(), "z({x})"),
        }
        seen += 1;
    }
    assert!(seen > 80);
}

#[test]
fn p90_over_p50() {
    // E_P90 / E_P50 = 1 - 1.2816 u, to 1e-6 for u = 6.4 % (the quantile to four decimals allows 3e-6 x 0.064).
    let p = Percentiles::around(41_238.0, 6.4);
    assert!((p.p90 / p.p50 - (1.0 - 1.281_552 * 0.064)).abs() < 1e-6);
}
