//! The 22 cells that IEC 61853-1:2011 asks for (from memory) through the matrix models.

use yearlight::module::{Cell, Electrical, Matrix};

use crate::cell_temperature::sheet;
use crate::table::rows;

/// A matrix on the standard's 22 cells with a smooth invented surface.
fn matrix() -> Matrix {
    let mut text = String::from("g,t,p\n");
    let mut cells = 0;
    for r in rows(include_str!("data/iec61853_matrix.csv")) {
        let g = r.num("irradiance_w_m2");
        for t in [15.0, 25.0, 50.0, 75.0] {
            if r.text(&format!("t{t}")) == "yes" {
                let s = g / 1000.0;
                let eta = 1.0 + 0.03 * s.ln() - 0.01 * (s - 1.0) - 0.0035 * (t - 25.0);
                text.push_str(&format!("{g},{t},{}\n", 410.0 * s * eta));
                cells += 1;
            }
        }
    }
    assert_eq!(cells, 22);
    Matrix::parse(&text, "matrix.csv").unwrap()
}

#[test]
fn all_22_cells_come_back_from_interpolation() {
    let matrix = matrix();
    let (model, _) = Electrical::fit(&sheet("electrical = \"matrix-bilinear\""), Some(&matrix)).unwrap();
    for c in matrix.cells() {
        assert!((model.power(c.g, c.t) / c.p - 1.0).abs() < 1e-12, "{c:?}");
    }
    // Efficiency, not power, is linear between cells: the middle of four.
    let eta = |g: f64, t: f64| matrix.bilinear(g, t);
    let middle = 0.25 * (eta(600.0, 25.0) + eta(800.0, 25.0) + eta(600.0, 50.0) + eta(800.0, 50.0));
    assert!((eta(700.0, 37.5) - middle).abs() < 1e-12);
    // Held below the lowest irradiance.
    assert_eq!(eta(20.0, 25.0), eta(100.0, 25.0));
}

#[test]
fn the_fitted_form_stays_near_all_22_cells() {
    let matrix = matrix();
    let (model, notes) = Electrical::fit(&sheet(""), Some(&matrix)).unwrap();
    assert!(notes[0].text.contains("Driesse"), "{notes:?}");
    for c in matrix.cells() {
        assert!((model.power(c.g, c.t) / c.p - 1.0).abs() < 0.006, "{c:?} {}", model.power(c.g, c.t));
    }
    assert!((model.power(1000.0, 25.0) / 410.0 - 1.0).abs() < 1e-12);
}

#[test]
fn a_bad_matrix_is_refused_with_its_line() {
    let refuse = |text: &str, word: &str| {
        let e = Matrix::parse(text, "m.csv").unwrap_err().to_string();
        assert!(e.contains(word) && e.contains("m.csv:"), "{e}");
    };
    refuse("", "columns named");
    refuse("a,b,c\n1,2,3\n", "columns named");
    refuse("g,t,p\n1000,25,x\n", "m.csv:2");
    refuse("g,t,p\n1000,25,NaN\n", "m.csv:2");
    refuse("g,t,p\n1000,25,410\n1000,25,411\n", "m.csv:3");
    refuse("g,t,p\n25,1000,410\n", "m.csv:2");
    refuse("g,t,p\n1000,50,370\n800,25,330\n", "none at 1000");
    refuse("g,t,p\n1000,25,410\n800,25,330\n", "six cells");
    refuse("g,t,p\n1000,25,410\n1000,50,370\n800,25,33\n800,50,290\n600,25,250\n600,50,220\n", "0.3 to 1.6");
    assert!(Matrix::new(vec![Cell { g: f64::NAN, t: 25.0, p: 1.0 }]).is_err());
}
