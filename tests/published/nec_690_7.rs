//! Factors and limits of NEC article 690 for strings.
//!
//! Source: NFPA 70, table 690.7(A), as quoted in PV Math (IAEI magazine, January 2009: 1.02 at the warm end) and in a
//! design document of the Florida Solar Energy Center (1.14 at -9 C). The other rows are from memory and not tested.

use yearlight::plant::cold_factor;

#[test]
fn rows_that_were_read() {
    let mut rows = 0;
    for line in include_str!("data/nec_690_7.csv").lines() {
        let cells: Vec<&str> = line.split(',').collect();
        if cells.len() == 4 && cells[3].starts_with("read") {
            let (from, to): (i32, i32) = (cells[0].parse().unwrap(), cells[1].parse().unwrap());
            for t in from..=to {
                assert_eq!(cold_factor(f64::from(t)), Some(cells[2].parse().unwrap()), "{t} C");
            }
            rows += 1;
        }
    }
    assert_eq!(rows, 2);
}

// The table is a ladder: never less in the colder, and it ends at -40 C.
#[test]
fn colder_is_never_less() {
    let mut before = 1.0;
    for tenth in 0..=650 {
        let t = 25.0 - f64::from(tenth) / 10.0;
        let factor = cold_factor(t).unwrap();
        assert!(factor >= before && factor <= 1.25, "{t} C");
        before = factor;
    }
    assert_eq!(cold_factor(-40.1), None);
    assert_eq!(cold_factor(f64::NAN), None);
}
