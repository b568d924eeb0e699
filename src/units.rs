//! Physical constants with their sources, and the few angle and unit helpers that every layer shares.

/// Irradiance of the standard test conditions, W/m2. Source: IEC TS 61836, standard test conditions.
pub const G_STC: f64 = 1000.0;
/// Cell temperature of the standard test conditions, C. Source: IEC TS 61836, standard test conditions.
pub const T_STC: f64 = 25.0;
/// Zero of the Celsius scale, K. Exact by definition (SI brochure, 9th edition).
pub const ZERO_CELSIUS_K: f64 = 273.15;
/// Boltzmann constant, J/K. Exact by definition (SI 2019).
pub const BOLTZMANN: f64 = 1.380_649e-23;
/// Elementary charge, C. Exact by definition (SI 2019).
pub const ELEMENTARY_CHARGE: f64 = 1.602_176_634e-19;
/// Solar constant, W/m2. Source: Gueymard, Solar Energy 169 (2018) 434-440: 1361.1.
pub const SOLAR_CONSTANT: f64 = 1361.1;

/// Text of a file without control characters, which would reach the terminal: each becomes a blank.
pub fn clean(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

/// The first 40 characters of a text of a file, clean, as a message may show them.
///
/// ```
/// assert_eq!(yearlight::units::shown("ghi\u{1b}[31m"), "ghi [31m");
/// assert_eq!(yearlight::units::shown(&"x".repeat(99)).len(), 43);
/// ```
pub fn shown(text: &str) -> String {
    first(text, 40)
}

fn first(text: &str, most: usize) -> String {
    let short = clean(&text.chars().take(most).collect::<String>());
    if text.chars().nth(most).is_some() { short + "..." } else { short }
}

/// A path as a message may show it: clean, and at most 300 characters of it.
pub fn shown_path(path: &std::path::Path) -> String {
    first(&path.display().to_string(), 300)
}

/// The first 24 of some names, as a message may show them.
pub fn shown_list<'a>(names: impl IntoIterator<Item = &'a str>) -> String {
    let mut names = names.into_iter();
    let first: Vec<String> = names.by_ref().take(24).map(shown).collect();
    match names.count() {
        0 => first.join(", "),
        more => format!("{} and {more} more", first.join(", ")),
    }
}

/// Hours in a step of `step_min` minutes.
pub fn step_hours(step_min: u32) -> f64 {
    f64::from(step_min) / 60.0
}

/// A share from 0 to 1, never percent.
///
/// The newtype exists because a percentage taken for a share is silent and a hundred times too large.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, serde::Serialize)]
#[serde(transparent)]
pub struct Fraction(f64);

impl Fraction {
    /// Nothing.
    pub const ZERO: Fraction = Fraction(0.0);

    /// From percent; `None` outside 0..100 or when not finite.
    pub fn from_percent(percent: f64) -> Option<Fraction> {
        (0.0..=100.0).contains(&percent).then_some(Fraction(percent / 100.0))
    }

    /// The share, 0..1.
    pub fn share(self) -> f64 {
        self.0
    }

    /// What is left when this share is taken away, 0..1.
    pub fn kept(self) -> f64 {
        1.0 - self.0
    }
}

/// An azimuth in degrees clockwise from north, always in `[0, 360)`.
///
/// The newtype exists because conventions differ (from south, west positive, ...) and a mix-up is silent.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[serde(transparent)]
pub struct Azimuth(f64);

impl Azimuth {
    /// Degrees clockwise from north; any finite number is brought into `[0, 360)`.
    pub fn from_north_clockwise(deg: f64) -> Azimuth {
        Azimuth(deg.rem_euclid(360.0))
    }

    /// Degrees from south, positive towards west (the convention of many textbooks).
    pub fn from_south_west_positive(deg: f64) -> Azimuth {
        Azimuth::from_north_clockwise(deg + 180.0)
    }

    /// Degrees clockwise from north, `[0, 360)`.
    pub fn deg(self) -> f64 {
        self.0
    }
}

/// One value for the whole year, or twelve, January first.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(untagged)]
pub enum OneOrTwelve {
    /// The same all year.
    One(f64),
    /// January to December.
    Twelve([f64; 12]),
}

impl OneOrTwelve {
    /// Twelve values, January first.
    pub fn months(&self) -> [f64; 12] {
        match self {
            OneOrTwelve::One(x) => [*x; 12],
            OneOrTwelve::Twelve(x) => *x,
        }
    }
}

/// Something the reader of a result should know: a default taken, a gap filled, a margin that is thin.
///
/// Every layer returns its notes beside its result; they end in the console answer, the report and `run.json`.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Note {
    /// A stable word for programs, such as `weather.gap-filled`.
    pub code: String,
    /// Loud notes are printed with every answer; quiet ones are listed in the report.
    pub loud: bool,
    /// One plain sentence or two: what was found, what was done, how to mend it.
    pub text: String,
}

impl Note {
    /// A note that is printed with every answer.
    pub fn loud(code: &str, text: impl Into<String>) -> Note {
        Note { code: code.to_string(), loud: true, text: text.into() }
    }

    /// A note that is listed in the report.
    pub fn quiet(code: &str, text: impl Into<String>) -> Note {
        Note { code: code.to_string(), loud: false, text: text.into() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn azimuth_conventions_meet() {
        assert_eq!(Azimuth::from_south_west_positive(-90.0).deg(), 90.0);
        assert_eq!(Azimuth::from_south_west_positive(90.0).deg(), 270.0);
        assert_eq!(Azimuth::from_north_clockwise(-10.0).deg(), 350.0);
    }

    #[test]
    fn percent_is_not_a_share() {
        assert_eq!(Fraction::from_percent(2.0).unwrap().share(), 0.02);
        assert!(Fraction::from_percent(120.0).is_none());
        assert!(Fraction::from_percent(f64::NAN).is_none());
    }
}
