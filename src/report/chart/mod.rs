//! Charts as inline SVG, each drawn twice: wide for screens and paper, narrow for small screens.
//!
//! Colours are classes that the page's style sheet fills, so that dark mode and print change them; series differ by
//! pattern, dash and marker as well. Text widths are estimated from the advance widths of a wide sans-serif, so that
//! labels of narrower fonts fit too.

mod bars;
mod climate;
mod heat;
mod lines;
mod roof;
mod rows;
mod svg;

pub use bars::{months, sky};
pub use climate::{climate_bins, climate_gaps, climate_plane};
pub use heat::{clipping, light_heat, output};
pub use lines::{light, years};
pub use roof::roof;
pub use rows::{account, bands, gap_bands, gap_split, ladder, price};

use serde::Serialize;

/// A chart with its words: title, description, two drawings, and the same numbers as a table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figure {
    /// Identifier in the page.
    pub id: String,
    /// What the chart shows: the finding.
    pub title: String,
    /// SVG for wide screens and paper, well-formed and escaped.
    pub wide: String,
    /// SVG for small screens, well-formed and escaped.
    pub narrow: String,
    /// The numbers.
    pub table: Table,
}

/// A table; the first column heads its row. Plain text, not escaped.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Table {
    /// Heads of the columns.
    pub head: Vec<String>,
    /// Rows.
    pub rows: Vec<Vec<String>>,
}

/// The two layouts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Size {
    Wide,
    Narrow,
}

impl Size {
    pub(crate) fn width(self) -> f64 {
        match self {
            Size::Wide => 720.0,
            Size::Narrow => 328.0,
        }
    }

    pub(crate) fn pick<T>(self, wide: T, narrow: T) -> T {
        match self {
            Size::Wide => wide,
            Size::Narrow => narrow,
        }
    }
}

pub(crate) fn figure(id: &str, title: String, desc: &str, table: Table, draw: impl Fn(Size) -> svg::Svg) -> Figure {
    Figure {
        wide: draw(Size::Wide).finish(&format!("{id}-w"), &title, desc, "wide"),
        narrow: draw(Size::Narrow).finish(&format!("{id}-n"), &title, desc, "narrow"),
        id: id.to_string(),
        title,
        table,
    }
}

/// Round ticks that cover `lo..hi`, about `count` of them, and the decimals that tell them apart.
///
/// Steps are 1, 2 or 5 times a power of ten (Heckbert, "Nice numbers for graph labels", Graphics Gems, 1990).
pub(crate) fn ticks(lo: f64, hi: f64, count: usize) -> (Vec<f64>, i32) {
    let (lo, hi) = if lo.is_finite() && hi.is_finite() && hi > lo { (lo, hi) } else { (0.0, 1.0) };
    let raw = (hi - lo) / count.max(1) as f64;
    let power = 10f64.powf(raw.log10().floor());
    let step = match raw / power {
        f if f < 1.5 => power,
        f if f < 3.5 => 2.0 * power,
        f if f < 7.5 => 5.0 * power,
        _ => 10.0 * power,
    };
    let (first, last) = ((lo / step).floor() as i64, (hi / step).ceil() as i64);
    let ticks = (first..=last.min(first + 50)).map(|k| k as f64 * step).collect();
    (ticks, (-step.log10().floor()).clamp(0.0, 9.0) as i32)
}

pub(crate) fn finite(x: f64) -> f64 {
    if x.is_finite() { x } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn ticks_of_the_papers_example() {
        // Heckbert 1990, figure 1 (from memory): 105 to 543 with about five ticks: 100, 200, ... 600.
        assert_eq!(ticks(105.0, 543.0, 5).0, vec![100.0, 200.0, 300.0, 400.0, 500.0, 600.0]);
        assert_eq!(ticks(0.0, 0.7, 5).1, 1);
        assert_eq!(ticks(f64::NAN, 1.0, 5).0.len(), 6);
    }

    proptest! {
        #[test]
        fn ticks_cover_and_rise(lo in -1e6..1e6f64, span in 1e-3..1e6f64, n in 2..9usize) {
            let (t, _) = ticks(lo, lo + span, n);
            prop_assert!(t[0] <= lo + 1e-6 && t[t.len() - 1] >= lo + span - 1e-6 && t.len() <= 2 * n + 3);
            prop_assert!(t.windows(2).all(|w| w[1] > w[0]));
        }
    }
}
