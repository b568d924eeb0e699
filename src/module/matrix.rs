//! A measured table of power over light and heat (IEC 61853-1).

use serde::Serialize;

use super::ModuleError;
use crate::units::{G_STC, T_STC};

/// One measured cell.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Cell {
    /// Irradiance, W/m2.
    pub g: f64,
    /// Cell temperature, C.
    pub t: f64,
    /// Maximum power, W.
    pub p: f64,
}

/// A measured power matrix, checked; its efficiencies are relative to the cell at 1000 W/m2 and 25 C.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Matrix {
    cells: Vec<Cell>,
    p_stc: f64,
    g: Vec<f64>,
    t: Vec<f64>,
    /// Efficiency over that at STC, row by row of `g`; blanks are extrapolated.
    eta: Vec<f64>,
}

impl Matrix {
    /// Reads `irradiance, temperature, power` from CSV text with a header; `file` only names it in messages.
    ///
    /// Columns are found by name: one that begins with `g` or `irr`, one with `t` or holding `temp`, one with `p`; further
    /// columns are passed over, lines that begin with `#` are comments. At least the cell at 1000 W/m2 and 25 C and six
    /// cells over three irradiances are needed.
    pub fn parse(text: &str, file: &str) -> Result<Matrix, ModuleError> {
        let line_error = |line: u64, found: String, expected: &str, mend: &str| ModuleError::Line {
            file: file.to_string(),
            line,
            found,
            expected: expected.to_string(),
            mend: mend.to_string(),
        };
        let mut reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .trim(csv::Trim::All)
            .flexible(true)
            .from_reader(text.as_bytes());
        let header = reader
            .headers()
            .map_err(|e| line_error(1, e.to_string(), "a header line of a CSV", "Write g,t,p as the first line."))?
            .clone();
        let find = |names: &[&str]| {
            header.iter().position(|h| {
                let h = h.trim_start_matches('\u{feff}').to_ascii_lowercase();
                names.iter().any(|n| h == *n)
            })
        };
        let columns = (
            find(&["g", "irradiance", "irradiance_w_m2", "g_w_m2"]),
            find(&["t", "temperature", "cell_temperature_c", "t_cell", "t_c", "temperature_c", "t_mod"]),
            find(&["p", "power", "pmp_w", "p_mp", "p_w", "pmax_w", "p_max", "p_mp_w", "power_w"]),
        );
        let (Some(cg), Some(ct), Some(cp)) = columns else {
            return Err(line_error(
                1,
                format!("columns {}", header.iter().collect::<Vec<_>>().join(", ")),
                "columns named g (W/m2), t (C) and p (W)",
                "Name the three columns g,t,p in the first line.",
            ));
        };
        let mut cells: Vec<Cell> = Vec::new();
        for record in reader.records() {
            let record = record.map_err(|e| {
                let line = e.position().map_or(0, csv::Position::line);
                line_error(line, e.to_string(), "one row g,t,p", "Save the table as plain UTF-8 CSV.")
            })?;
            let line = record.position().map_or(0, csv::Position::line);
            let number = |column: usize, name: &str| -> Result<f64, ModuleError> {
                let field = record.get(column).unwrap_or("");
                match field.parse::<f64>() {
                    Ok(x) if x.is_finite() => Ok(x),
                    _ => Err(line_error(
                        line,
                        format!("{name} is \"{field}\""),
                        "a number",
                        "Leave the whole row out when the cell was not measured.",
                    )),
                }
            };
            let cell = Cell { g: number(cg, "g")?, t: number(ct, "t")?, p: number(cp, "p")? };
            if !(1.0..=2000.0).contains(&cell.g) || !(-60.0..=120.0).contains(&cell.t) || cell.p <= 0.0 {
                return Err(line_error(
                    line,
                    format!("g {} W/m2, t {} C, p {} W", cell.g, cell.t, cell.p),
                    "g 1 to 2000 W/m2, t -60 to 120 C, p above 0 W",
                    "Check the order of the columns and their units.",
                ));
            }
            if cells.iter().any(|c| c.g == cell.g && c.t == cell.t) {
                return Err(line_error(
                    line,
                    format!("a second cell at {} W/m2 and {} C", cell.g, cell.t),
                    "each cell once",
                    "Keep one of the two.",
                ));
            }
            cells.push(cell);
        }
        Matrix::new(cells).map_err(|e| match e {
            ModuleError::Value { found, expected, mend, .. } => {
                ModuleError::Line { file: file.to_string(), line: 1, found, expected, mend }
            }
            other => other,
        })
    }

    /// From measured cells, among them the one at standard test conditions.
    pub fn new(cells: Vec<Cell>) -> Result<Matrix, ModuleError> {
        match cells.iter().find(|c| (c.g - G_STC).abs() < 0.5 && (c.t - T_STC).abs() < 0.05).map(|c| c.p) {
            Some(p_stc) => Matrix::relative_to(cells, p_stc),
            None => Err(ModuleError::value(
                "matrix",
                format!("{} cells, none at 1000 W/m2 and 25 C", cells.len()),
                "the cell at standard test conditions among them",
                "Add the row 1000,25,<power>.",
            )),
        }
    }

    /// From measured cells and the power at standard test conditions that they are relative to, W.
    pub fn relative_to(mut cells: Vec<Cell>, p_stc_w: f64) -> Result<Matrix, ModuleError> {
        let bad = |found: String, expected: &str, mend: &str| Err(ModuleError::value("matrix", found, expected, mend));
        let above = |x: f64| x.is_finite() && x > 0.0;
        if !above(p_stc_w) || cells.iter().any(|c| !(above(c.g) && above(c.p) && c.t.is_finite())) {
            return bad("a cell that is not above 0".into(), "light and power above 0", "Leave blank cells out.");
        }
        cells.sort_by(|a, b| a.g.total_cmp(&b.g).then(a.t.total_cmp(&b.t)));
        let mut g: Vec<f64> = cells.iter().map(|c| c.g).collect();
        g.dedup();
        let mut t: Vec<f64> = cells.iter().map(|c| c.t).collect();
        t.sort_by(f64::total_cmp);
        t.dedup();
        if g.len() < 3 || t.len() < 2 || cells.len() < 6 {
            return bad(
                format!("{} cells, {} irradiances, {} temperatures", cells.len(), g.len(), t.len()),
                "six cells or more, at least three irradiances and two temperatures",
                "Give the whole table of the test report (22 cells in IEC 61853-1), or low_light points instead.",
            );
        }
        for c in &cells {
            let eta = c.p / p_stc_w * G_STC / c.g;
            if !(0.3..=1.6).contains(&eta) {
                return bad(
                    format!("{} W at {} W/m2 and {} C, efficiency {eta:.3} of that at STC", c.p, c.g, c.t),
                    "0.3 to 1.6 of the efficiency at STC",
                    "Check the row for a slip of the pen or swapped columns.",
                );
            }
        }
        let mut matrix = Matrix { cells, p_stc: p_stc_w, eta: Vec::new(), g, t };
        matrix.fill();
        Ok(matrix)
    }

    /// The measured cells, by rising irradiance and temperature.
    pub fn cells(&self) -> &[Cell] {
        &self.cells
    }

    /// Power of the cell at standard test conditions, W.
    pub fn p_stc_w(&self) -> f64 {
        self.p_stc
    }

    /// Measured efficiency over that at STC.
    pub fn relative_efficiency(&self, cell: &Cell) -> f64 {
        cell.p / self.p_stc * G_STC / cell.g
    }

    /// Fills the blanks of the grid: between two measured cells of the same temperature linear over irradiance; else
    /// parallel to the nearest row that holds this temperature and that of the row's nearest cell; else linear over
    /// temperature in the row from its two nearest cells.
    fn fill(&mut self) {
        let (n_g, n_t) = (self.g.len(), self.t.len());
        let mut rows: Vec<Vec<(f64, f64)>> = vec![Vec::new(); n_g];
        let mut columns: Vec<Vec<(f64, f64)>> = vec![Vec::new(); n_t];
        for c in &self.cells {
            let eta = self.relative_efficiency(c);
            if let (Some(j), Some(k)) = (self.g.iter().position(|g| *g == c.g), self.t.iter().position(|t| *t == c.t)) {
                rows[j].push((c.t, eta));
                columns[k].push((c.g, eta));
            }
        }
        let in_row = |j: usize, t: f64| rows[j].iter().find(|c| c.0 == t).map(|c| c.1);
        let parallel = |j: usize, t: f64| -> Option<f64> {
            let anchor = rows[j].iter().min_by(|a, b| (a.0 - t).abs().total_cmp(&(b.0 - t).abs()))?;
            let other = (0..n_g)
                .filter(|i| in_row(*i, t).is_some() && in_row(*i, anchor.0).is_some())
                .min_by_key(|i| i.abs_diff(j))?;
            Some(anchor.1 + in_row(other, t)? - in_row(other, anchor.0)?)
        };
        let mut eta = vec![0.0; n_g * n_t];
        for j in 0..n_g {
            for k in 0..n_t {
                let (g, t, column) = (self.g[j], self.t[k], &columns[k]);
                let between = column.first().is_some_and(|c| c.0 < g) && column.last().is_some_and(|c| c.0 > g);
                eta[j * n_t + k] = in_row(j, t)
                    .or_else(|| between.then(|| along(column, g)))
                    .or_else(|| parallel(j, t))
                    .unwrap_or_else(|| along(&rows[j], t));
            }
        }
        self.eta = eta;
    }

    /// Efficiency over that at STC by bilinear interpolation of efficiency.
    ///
    /// Outside: over temperature linear from the two nearest columns, above the highest irradiance linear from the two
    /// nearest rows, below the lowest irradiance held; never below 0.05. After IEC 61853-3, which interpolates
    /// efficiency and not power; the hold at low light is our choice.
    pub fn bilinear(&self, g: f64, t: f64) -> f64 {
        let n_t = self.t.len();
        let (j, x) = cell_of(&self.g, g.max(self.g[0]));
        let (k, y) = cell_of(&self.t, t);
        let at = |j: usize, k: usize| self.eta[j * n_t + k];
        let low = at(j, k) + (at(j, k + 1) - at(j, k)) * y;
        let high = at(j + 1, k) + (at(j + 1, k + 1) - at(j + 1, k)) * y;
        (low + (high - low) * x).max(0.05)
    }
}

/// The interval that holds `x` (or the end interval) and the place in it, beyond 0..1 outside.
fn cell_of(knots: &[f64], x: f64) -> (usize, f64) {
    let j = knots.partition_point(|k| *k <= x).clamp(1, knots.len() - 1) - 1;
    (j, (x - knots[j]) / (knots[j + 1] - knots[j]))
}

/// Value of a row at `t`: linear between its points and beyond its ends; held when it has one point.
fn along(row: &[(f64, f64)], t: f64) -> f64 {
    match row {
        [] => 1.0,
        [one] => one.1,
        many => {
            let knots: Vec<f64> = many.iter().map(|p| p.0).collect();
            let (j, x) = cell_of(&knots, t);
            many[j].1 + (many[j + 1].1 - many[j].1) * x
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(rows: &[[f64; 3]]) -> Vec<Cell> {
        rows.iter().map(|&[g, t, p]| Cell { g, t, p }).collect()
    }

    const SIX: [[f64; 3]; 6] = [
        [200.0, 25.0, 80.0],
        [200.0, 50.0, 72.0],
        [600.0, 25.0, 242.0],
        [600.0, 50.0, 220.0],
        [1000.0, 25.0, 400.0],
        [1000.0, 50.0, 364.0],
    ];

    #[test]
    fn a_table_has_three_lights_two_temperatures_and_six_cells() {
        let told = |rows: &[[f64; 3]]| Matrix::new(cells(rows)).err().map(|e| e.to_string());
        assert!(told(&SIX).is_none());
        let two_lights: Vec<[f64; 3]> =
            [600.0, 1000.0].iter().flat_map(|g| [25.0, 40.0, 60.0].map(|t| [*g, t, 0.4 * g])).collect();
        let one_temperature: Vec<[f64; 3]> =
            (1..=8).map(|k| [125.0 * f64::from(k), 25.0, 50.0 * f64::from(k)]).collect();
        for rows in [&two_lights[..], &one_temperature, &SIX[1..]] {
            assert!(told(rows).unwrap().contains("six cells or more"), "{rows:?}");
        }
        // Efficiencies of 0.29 and 1.61 of that at STC are slips, and so are light or power of nothing.
        for (cell, expected) in [
            ([200.0, 25.0, 23.0], "0.3 to 1.6"),
            ([200.0, 25.0, 129.0], "0.3 to 1.6"),
            ([0.0, 25.0, 80.0], "above 0"),
            ([200.0, f64::NAN, 80.0], "above 0"),
            ([200.0, 25.0, 0.0], "above 0"),
            ([200.0, 25.0, f64::INFINITY], "above 0"),
        ] {
            let mut rows = SIX;
            rows[0] = cell;
            assert!(told(&rows).unwrap().contains(expected), "{cell:?}");
        }
        for power in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert!(Matrix::relative_to(cells(&SIX), power).is_err());
        }
    }

    // By hand: efficiencies over that of 400 W are 1, 0.9; 242/240, 220/240; 1, 0.91.
    #[test]
    fn efficiency_between_and_beyond_the_cells() {
        let matrix = Matrix::new(cells(&SIX)).unwrap();
        let (mid, hot) = (242.0 / 240.0, 220.0 / 240.0);
        for (g, t, want) in [
            (600.0, 25.0, mid),
            (400.0, 25.0, 0.5 * (1.0 + mid)),
            (400.0, 37.5, 0.25 * (1.0 + mid + 0.9 + hot)),
            // Held below the least light, straight on above the most and over temperature.
            (50.0, 25.0, 1.0),
            (1200.0, 25.0, 1.0 + 0.5 * (1.0 - mid)),
            (1000.0, 75.0, 0.82),
            (1000.0, 0.0, 1.09),
        ] {
            assert!((matrix.bilinear(g, t) - want).abs() < 1e-12, "{g} {t}: {} {want}", matrix.bilinear(g, t));
        }
        // Never below a twentieth.
        assert_eq!(matrix.bilinear(1000.0, 400.0), 0.05);
    }

    // A blank between two lights of its temperature is straight; one at the edge is parallel to the nearest row.
    #[test]
    fn blanks_are_filled_from_their_neighbours() {
        let full = Matrix::new(cells(&SIX)).unwrap();
        let without = |at: usize| {
            let mut rows: Vec<[f64; 3]> = SIX.to_vec();
            rows.extend([[800.0, 25.0, 322.0], [800.0, 50.0, 292.0]]);
            rows.remove(at);
            Matrix::new(cells(&rows)).unwrap()
        };
        assert!((without(3).bilinear(600.0, 50.0) - (0.9 + (292.0 / 320.0 - 0.9) * 400.0 / 600.0)).abs() < 1e-12);
        assert!((without(1).bilinear(200.0, 50.0) - (1.0 + 220.0 / 240.0 - 242.0 / 240.0)).abs() < 1e-12);
        assert_eq!(full.bilinear(200.0, 50.0), 0.9);
    }
}
