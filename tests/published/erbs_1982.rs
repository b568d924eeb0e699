//! Erbs, Klein, Duffie, Solar Energy 28 (1982) 293-302: diffuse share by hourly clearness.

use crate::table::rows;
use yearlight::sky::separate::erbs;

/// To 1e-8, the digits of the table.
#[test]
fn diffuse_share() {
    for row in rows(include_str!("data/erbs.csv")) {
        let kt = row.num("clearness_kt");
        assert!((erbs(kt) - row.num("diffuse_fraction")).abs() < 1.1e-8, "{kt}");
    }
}

/// The curve has small jumps at 0.22 and 0.80; both sides belong to the paper.
#[test]
fn joints() {
    assert!((erbs(0.22) - erbs(0.220_000_1)).abs() < 2e-3);
    assert!((erbs(0.80) - erbs(0.800_000_1)).abs() < 1e-3);
}
