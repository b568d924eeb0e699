//! What lies on the glass: snow that slides off, dirt that rain washes off.

/// Share of a row's slant that slides off in an hour over the sine of the tilt: 1.97 tenths (Marion et al. 2013).
pub const SLIDE_PER_H: f64 = 0.197;
/// Snow slides while the air is warmer than in-plane irradiance over this, W/(m2 K) (Marion et al. 2013).
pub const SLIDE_M: f64 = -80.0;

/// Snow on a row: the share of the slant that is covered, from step to step.
///
/// - A rise of the snow depth by `fresh_cm` covers the whole row; smaller rises add up until the depth falls.
/// - In each other step with `T_a > G / m`, m = -80 W/(m2 K), the share 0.197 sin(tilt) slides off an hour: the snow
///   leaves the upper end first.
/// - No snow on the ground, no snow on the modules (our own addition: they shed it earlier).
///
/// Source: Marion, Schaefer, Caine, Sanchez, Measured and modeled photovoltaic system energy losses from snow for
/// Colorado and Wisconsin locations, Solar Energy 97 (2013) 112-121; coefficients from memory. Valid for tilts
/// above about 10 degrees on racks whose lower edge is free.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SnowCover {
    covered: f64,
    fresh: f64,
    last_cm: Option<f64>,
}

impl SnowCover {
    /// A row that is covered over this share, 0..1.
    pub fn new(covered: f64) -> SnowCover {
        SnowCover { covered: covered.clamp(0.0, 1.0), fresh: 0.0, last_cm: None }
    }

    /// Covered share at the end of a step of `step_h` hours: snow depth in cm, air in C, in-plane irradiance in W/m2.
    pub fn step(&mut self, depth_cm: f64, t_amb: f64, poa: f64, sin_tilt: f64, step_h: f64, fresh_cm: f64) -> f64 {
        let rise = self.last_cm.map_or(0.0, |last| depth_cm - last);
        self.last_cm = Some(depth_cm);
        self.fresh = if rise < 0.0 { 0.0 } else { self.fresh + rise };
        if self.fresh >= fresh_cm {
            (self.covered, self.fresh) = (1.0, 0.0);
        } else if t_amb > poa / SLIDE_M {
            self.covered = (self.covered - SLIDE_PER_H * sin_tilt.max(0.0) * step_h).max(0.0);
        }
        if depth_cm <= 0.0 {
            self.covered = 0.0;
        }
        self.covered
    }
}

/// Share of the power left when the lower `covered` of a row lies under snow: whole bypass groups fall out.
///
/// `groups` bypass groups stand one above the other up the slant; a group that is covered in part gives nothing.
pub fn power_under_snow(covered: f64, groups: u32) -> f64 {
    let groups = f64::from(groups.max(1));
    // A hair of rounding covers no group.
    1.0 - ((covered * groups - 1e-9).ceil().max(0.0) / groups).min(1.0)
}

/// Loss of light by dirt on each day, percent: grows by `daily_pct` a day, a day with at least `rain_threshold_mm` of
/// rain washes it off, and for `damp_days` days after it none settles. `start_pct` lies on the glass at the beginning.
///
/// Source: Kimber, Mitchell, Nogradi, Wenger, The effect of soiling on large grid-connected photovoltaic systems in
/// California and the Southwest region of the United States, 4th World Conference on Photovoltaic Energy Conversion,
/// 2006 (form of the model from memory).
/// ```
/// # use yearlight::energy::dirt_by_rain;
/// let rain = [0.0, 0.0, 7.0, 0.0, 0.0, 0.0];
/// assert_eq!(dirt_by_rain(&rain, 0.5, 5.0, 2, 0.0), [0.5, 1.0, 0.0, 0.0, 0.0, 0.5]);
/// ```
pub fn dirt_by_rain(
    rain_mm: &[f64],
    daily_pct: f64,
    rain_threshold_mm: f64,
    damp_days: u32,
    start_pct: f64,
) -> Vec<f64> {
    let mut loss = start_pct;
    let mut damp = 0;
    rain_mm
        .iter()
        .map(|&rain| {
            if rain >= rain_threshold_mm {
                (loss, damp) = (0.0, damp_days);
            } else if damp > 0 {
                damp -= 1;
            } else {
                loss = (loss + daily_pct).min(100.0);
            }
            loss
        })
        .collect()
}

/// The same over a typical year that follows on itself: the year begins with the dirt that December leaves. Without a
/// washing rain in the whole year it begins clean.
pub fn dirt_of_year(rain_mm: &[f64], daily_pct: f64, rain_threshold_mm: f64, damp_days: u32) -> Vec<f64> {
    let Some(last) = rain_mm.iter().rposition(|&r| r >= rain_threshold_mm) else {
        return dirt_by_rain(rain_mm, daily_pct, rain_threshold_mm, damp_days, 0.0);
    };
    // From the day after the last washing rain round to it again.
    let turned: Vec<f64> = rain_mm[last..].iter().chain(&rain_mm[..last]).copied().collect();
    let mut loss = dirt_by_rain(&turned, daily_pct, rain_threshold_mm, damp_days, 0.0);
    loss.rotate_right(last);
    loss
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Ten days by hand: 0.4 % a day, rain of 6 mm or more washes, 2 damp days.
    #[test]
    fn ten_days_of_dirt_by_hand() {
        let rain = [0.0, 0.0, 5.9, 6.0, 0.0, 12.0, 0.0, 0.0, 0.0, 0.0];
        let want = [0.4, 0.8, 1.2, 0.0, 0.0, 0.0, 0.0, 0.0, 0.4, 0.8];
        let got = dirt_by_rain(&rain, 0.4, 6.0, 2, 0.0);
        assert!(got.iter().zip(want).all(|(g, w)| (g - w).abs() < 1e-12), "{got:?}");
        // Round the year: two dry days at the end and three at the beginning add up.
        let want = [1.2, 1.6, 2.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.4, 0.8];
        let got = dirt_of_year(&rain, 0.4, 6.0, 2);
        assert!(got.iter().zip(want).all(|(g, w)| (g - w).abs() < 1e-12), "{got:?}");
        // Never washed: a clean start.
        assert_eq!(dirt_of_year(&[0.0; 3], 0.5, 6.0, 2), [0.5, 1.0, 1.5]);
    }

    /// Ten days of six-hour steps by hand, tilt 30 degrees (sine 0.5): 0.0985 an hour, 0.591 a step.
    #[test]
    fn ten_days_of_snow_by_hand() {
        let sin_tilt = 0.5;
        let mut snow = SnowCover::new(0.0);
        // (depth, air, light) to covered share.
        let story = [
            (0.0, -5.0, 0.0, 0.0),     // bare
            (4.0, -5.0, 0.0, 1.0),     // fresh snow
            (4.0, -5.0, 300.0, 1.0),   // -5 C is below -300/80 = -3.75 C: it holds
            (4.0, -5.0, 500.0, 0.409), // -5 C is above -6.25 C: 0.591 slides
            (4.0, -5.0, 0.0, 0.409),   // night
            (4.4, -5.0, 0.0, 0.409),   // a dusting
            (4.9, -5.0, 0.0, 0.409),   // and more of it: 0.9 cm
            (5.0, -5.0, 0.0, 1.0),     // 1 cm together
            (4.0, 2.0, 0.0, 0.409),    // thaw
            (0.0, -5.0, 0.0, 0.0),     // nothing on the ground
        ];
        for (at, (depth, air, light, want)) in story.into_iter().enumerate() {
            let got = snow.step(depth, air, light, sin_tilt, 6.0, 1.0);
            assert!((got - want).abs() < 1e-12, "step {at}: {got} {want}");
        }
    }

    #[test]
    fn whole_groups_fall_out() {
        let left = |covered| power_under_snow(covered, 3);
        assert_eq!([left(0.0), left(1.0)], [1.0, 0.0]);
        for (covered, want) in [(1.0 / 3.0, 2.0 / 3.0), (0.34, 1.0 / 3.0), (0.01, 2.0 / 3.0), (0.7, 0.0)] {
            assert!((left(covered) - want).abs() < 1e-12, "{covered}");
        }
        assert_eq!([power_under_snow(0.01, 1), power_under_snow(0.5, 0)], [0.0, 0.0]);
    }

    proptest! {
        #[test]
        fn cover_and_dirt_stay_in_bounds(
            days in prop::collection::vec((0.0..30.0_f64, -30.0..30.0_f64, 0.0..1200.0_f64, 0.0..20.0_f64), 1..60),
            sin_tilt in 0.0..1.0_f64, daily in 0.0..1.0_f64, threshold in 0.1..10.0_f64, damp in 0_u32..20,
        ) {
            let mut snow = SnowCover::new(0.3);
            for &(depth, air, light, _) in &days {
                let covered = snow.step(depth, air, light, sin_tilt, 1.0, 1.0);
                prop_assert!((0.0..=1.0).contains(&covered));
                prop_assert!((0.0..=1.0).contains(&power_under_snow(covered, 3)));
            }
            let rain: Vec<f64> = days.iter().map(|d| d.3).collect();
            let loss = dirt_of_year(&rain, daily, threshold, damp);
            prop_assert_eq!(loss.len(), rain.len());
            for (l, r) in loss.iter().zip(&rain) {
                prop_assert!((0.0..=100.0).contains(l) && (*r < threshold || *l == 0.0));
            }
            // More rain never leaves more dirt.
            let wetter: Vec<f64> = rain.iter().map(|r| r * 2.0).collect();
            let less = dirt_by_rain(&wetter, daily, threshold, damp, 0.0);
            let more = dirt_by_rain(&rain, daily, threshold, damp, 0.0);
            prop_assert!(less.iter().zip(&more).all(|(a, b)| a <= &(b + 1e-12)));
        }
    }
}
