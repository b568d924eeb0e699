//! Numbers as people read them: rounded to their doubt, grouped in thousands, in the manner of a language.

/// How a language writes numbers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NumberStyle {
    /// Between units and tenths.
    pub decimal: String,
    /// Between thousands; a space that does not break.
    pub thousands: String,
    /// Before negative numbers.
    pub minus: String,
    /// Stands for a number that does not exist.
    pub none: String,
}

/// Decimals that show two significant digits of a standard uncertainty; negative means tens, hundreds, ...
///
/// Source: JCGM 100:2008 (GUM) 7.2.6: at most two significant digits of the uncertainty, the estimate to the same place.
pub fn decimals_for(u: f64) -> i32 {
    if !u.is_finite() || u <= 0.0 {
        return 0;
    }
    (1.0 - u.log10().floor()).clamp(-9.0, 9.0) as i32
}

/// A number from 0 with so many decimals, as `format!` writes it.
///
/// That is by whole numbers where their product with a power of ten cannot be on the other side of a half than the
/// exact one: its error is below 1e-6 up to 2^30.
fn fixed(x: f64, decimals: usize) -> String {
    const TENS: [f64; 4] = [1.0, 10.0, 100.0, 1000.0];
    let scaled = x * TENS.get(decimals).copied().unwrap_or(f64::INFINITY);
    let from_half = (scaled - scaled.floor() - 0.5).abs();
    if !(scaled < (1 << 30) as f64 && from_half > 1e-6) {
        return format!("{x:.decimals$}");
    }
    let whole = (scaled + 0.5).floor() as u32;
    let mut text = (whole / 10u32.pow(decimals as u32)).to_string();
    if decimals > 0 {
        text.push('.');
    }
    text.extend((0..decimals as u32).rev().map(|place| char::from(b'0' + (whole / 10u32.pow(place) % 10) as u8)));
    text
}

impl NumberStyle {
    /// A number with so many decimals; a negative count rounds to tens, hundreds, ...
    pub fn number(&self, x: f64, decimals: i32) -> String {
        if !x.is_finite() {
            return self.none.clone();
        }
        let digits = if decimals >= 0 {
            fixed(x.abs(), decimals.min(12) as usize)
        } else {
            let step = 10f64.powi(-decimals);
            fixed((x.abs() / step).round() * step, 0)
        };
        let (whole, part) = digits.split_once('.').unwrap_or((&digits, ""));
        let zero = digits.bytes().all(|b| matches!(b, b'0' | b'.'));
        let mut out = String::with_capacity(digits.len() + 12);
        if x < 0.0 && !zero {
            out.push_str(&self.minus);
        }
        for (i, c) in whole.chars().enumerate() {
            if i > 0 && (whole.len() - i).is_multiple_of(3) {
                out.push_str(&self.thousands);
            }
            out.push(c);
        }
        if !part.is_empty() {
            out.push_str(&self.decimal);
            out.push_str(part);
        }
        out
    }

    /// As [`NumberStyle::number`] with a plus sign before gains.
    pub fn signed(&self, x: f64, decimals: i32) -> String {
        let text = self.number(x, decimals);
        let zero = !text.contains(|c: char| c.is_ascii_digit() && c != '0');
        if x > 0.0 && x.is_finite() && !zero { format!("+{text}") } else { text }
    }

    /// Rounded to the place of the second digit of its standard uncertainty; whole numbers when there is none.
    pub fn rounded(&self, x: f64, u: Option<f64>) -> String {
        self.number(x, u.map_or(0, decimals_for))
    }

    /// A gain or loss rounded to its standard uncertainty, with the uncertainty when it is known.
    pub fn with_doubt(&self, x: f64, u: Option<f64>) -> String {
        match u {
            Some(u) if u > 0.0 && u.is_finite() => {
                let d = decimals_for(u);
                format!("{} \u{b1} {}", self.number(x, d), self.number(u, d))
            }
            _ => self.number(x, 0),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn style() -> NumberStyle {
        NumberStyle { decimal: ".".into(), thousands: " ".into(), minus: "-".into(), none: "-".into() }
    }

    #[test]
    fn follows_the_guides_example() {
        // JCGM 100:2008, 7.2.2 and 7.2.6: m_S = 100.02147 g with u_c = 0.35 mg; 10.057 62 ohm with u = 27 mohm -> 10.058.
        let s = style();
        assert_eq!(s.with_doubt(100.021_47, Some(0.000_35)), "100.02147 \u{b1} 0.00035");
        assert_eq!(s.rounded(10.057_62, Some(0.027)), "10.058");
        assert_eq!(decimals_for(0.000_35), 5);
    }

    #[test]
    fn rounds_to_the_doubt() {
        let s = style();
        assert_eq!(s.rounded(41_237.84, Some(1_650.0)), "41 200");
        assert_eq!(s.with_doubt(41_237.84, Some(1_650.0)), "41 200 \u{b1} 1 700");
        assert_eq!(s.rounded(41_237.84, None), "41 238");
        assert_eq!(s.number(-0.0001, 1), "0.0");
        assert_eq!(s.signed(0.01, 1), "0.0");
        assert_eq!(s.signed(12.3, 1), "+12.3");
        assert_eq!(s.number(f64::NAN, 1), "-");
        assert_eq!(s.number(1_234_567.0, 0), "1 234 567");
        assert_eq!(s.number(1234.0, 0), "1 234");
    }

    #[test]
    fn whole_numbers_give_the_digits_of_format() {
        let halves = [0.0, 0.5, 1.5, 2.5, 0.25, 0.75, 0.35, 1.005, 2.675, 1e-7, 0.499_999_9, 0.999_5, 1_073_741_823.5];
        let near =
            halves.into_iter().flat_map(|x: f64| [x, x.next_up(), x.next_down().abs(), x + 1e-7, 1e5 * x, 1e12 * x]);
        for x in near.chain([f64::MAX, f64::MIN_POSITIVE]) {
            for decimals in 0..6 {
                assert_eq!(fixed(x, decimals), format!("{x:.decimals$}"));
            }
        }
    }

    proptest! {
        #[test]
        fn any_number_has_the_digits_of_format(x in 0.0..2e9f64, k in 0..100_000u32, decimals in 0..5usize) {
            for x in [x, x / 1e6, f64::from(k) / 1000.0, f64::from(k) / 8.0] {
                prop_assert_eq!(fixed(x, decimals), format!("{x:.decimals$}"));
            }
        }

        #[test]
        fn never_further_than_half_a_place(x in -1e9..1e9f64, d in -4..6i32) {
            let text = style().number(x, d).replace(' ', "");
            let back: f64 = text.parse().unwrap();
            prop_assert!((back - x).abs() <= 0.5 * 10f64.powi(-d) * (1.0 + 1e-6) + 1e-6);
        }
    }
}
