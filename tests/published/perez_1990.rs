//! Perez, Ineichen, Seals, Michalsky, Stewart, Solar Energy 44 (1990) 271-289: bins of table 1, coefficients of table 6.

use crate::table::rows;
use yearlight::plane::{PEREZ_1990, PEREZ_BINS};

#[test]
fn coefficients_are_those_of_the_table() {
    for (i, row) in rows(include_str!("data/perez1990_coefficients.csv")).iter().enumerate() {
        for (j, name) in ["f11", "f12", "f13", "f21", "f22", "f23"].iter().enumerate() {
            assert_eq!(PEREZ_1990[i][j], row.num(name), "bin {} {name}", i + 1);
        }
        if i < 7 {
            assert_eq!(PEREZ_BINS[i], row.num("epsilon_high"));
        }
    }
}

// The paper's own three digits of table 6, F11 and F21 (from memory).
#[test]
fn three_digits_of_the_paper() {
    let f11 = [-0.008, 0.130, 0.330, 0.568, 0.873, 1.132, 1.060, 0.678];
    let f21 = [-0.060, -0.019, 0.055, 0.109, 0.226, 0.288, 0.264, 0.156];
    for i in 0..8 {
        assert!((PEREZ_1990[i][0] - f11[i]).abs() < 7e-4 && (PEREZ_1990[i][3] - f21[i]).abs() < 7e-4);
    }
}
