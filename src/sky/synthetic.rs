//! An hourly year from twelve monthly means.

use std::path::Path;

use chrono::{Datelike, NaiveDate, TimeZone, Utc};
use serde::{Deserialize, Serialize};

use super::SkyError;
use super::chance::{Chance, normal_below};
use super::complete::separated;
use super::geometry::{StepSun, step_sun};
use super::transition::Transition;
use crate::maths;
use crate::sun::clear_sky::haurwitz;
use crate::sun::{Observer, position};
use crate::units::Note;
use crate::weather::{Place, Provenance, Separation, WeatherYear, read_words};

/// A recipe: monthly means, January first.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct SkyRecipe {
    /// Name of the place.
    pub name: String,
    /// Degrees, north positive.
    pub latitude_deg: f64,
    /// Degrees, east positive.
    pub longitude_deg: f64,
    /// Metres.
    pub elevation_m: f64,
    /// Hours ahead of UTC.
    pub utc_offset_h: f64,
    /// Calendar year of the days; 2021 when left out.
    #[serde(default = "default_year")]
    pub year: i32,
    /// The same seed gives the same sky.
    #[serde(default)]
    pub seed: u32,
    /// Global horizontal irradiation, kWh/m2 per month.
    pub ghi_kwh_m2: [f64; 12],
    /// Mean air temperature, C.
    pub t_mean_c: [f64; 12],
    /// Mean daily maximum less mean daily minimum, K.
    pub t_swing_k: [f64; 12],
    /// Spread of the daily mean temperature about the season, K; 3 when left out.
    #[serde(default = "default_spread")]
    pub t_day_sd_k: f64,
    /// Mean wind, m/s.
    pub wind_m_s: [f64; 12],
    /// Height of that wind, m; 10 when left out.
    #[serde(default = "default_height")]
    pub wind_height_m: f64,
    /// Rain, mm per month.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rain_mm: Option<[f64; 12]>,
    /// New snow, cm per month.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub new_snow_cm: Option<[f64; 12]>,
    /// `erbs` or `ridley-boland-lauret`; the former when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub separation: Option<String>,
    /// On whose word the means are.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

fn default_year() -> i32 {
    2021
}
fn default_spread() -> f64 {
    3.0
}
fn default_height() -> f64 {
    10.0
}

/// Sequences tried for each month; the one nearest to the month's mean is kept.
const TRIES: usize = 60;
/// Depth of snow from which the ground counts as white, cm, and its reflectance then and else.
const WHITE_FROM_CM: f64 = 2.0;
const WHITE: f64 = 0.6;
const BARE: f64 = 0.2;

fn clean_lines(text: &str) -> String {
    text.lines().map(crate::units::clean).collect::<Vec<_>>().join("\n")
}

impl SkyRecipe {
    /// Reads a recipe.
    pub fn read(path: &Path) -> Result<SkyRecipe, SkyError> {
        let file = path.display().to_string();
        let text = read_words(path)?;
        SkyRecipe::parse(&file, &text)
    }

    /// From text; `file` stands in messages.
    pub fn parse(file: &str, text: &str) -> Result<SkyRecipe, SkyError> {
        let recipe: SkyRecipe = toml::from_str(text)
            .map_err(|e| SkyError::Toml { file: file.into(), reason: clean_lines(e.to_string().trim_end()) })?;
        recipe.check(file)?;
        Ok(recipe)
    }

    fn check(&self, file: &str) -> Result<(), SkyError> {
        let wrong = |key: &str, found: f64, expected: &str| SkyError::Value {
            file: file.into(),
            key: key.into(),
            found: found.to_string(),
            expected: expected.into(),
            mend: "Correct the recipe.".into(),
        };
        let within = |key: &str, x: f64, low: f64, high: f64| {
            if (low..=high).contains(&x) { Ok(()) } else { Err(wrong(key, x, &format!("{low} to {high}"))) }
        };
        within("latitude_deg", self.latitude_deg, -90.0, 90.0)?;
        within("longitude_deg", self.longitude_deg, -180.0, 180.0)?;
        within("elevation_m", self.elevation_m, -500.0, 6500.0)?;
        within("utc_offset_h", self.utc_offset_h, -14.0, 14.0)?;
        within("year", f64::from(self.year), 1901.0, 2099.0)?;
        within("t_day_sd_k", self.t_day_sd_k, 0.0, 15.0)?;
        within("wind_height_m", self.wind_height_m, 1.0, 200.0)?;
        for m in 0..12 {
            within(&format!("t_mean_c[{m}]"), self.t_mean_c[m], -60.0, 45.0)?;
            within(&format!("t_swing_k[{m}]"), self.t_swing_k[m], 0.0, 30.0)?;
            within(&format!("wind_m_s[{m}]"), self.wind_m_s[m], 0.0, 30.0)?;
            within(&format!("rain_mm[{m}]"), self.rain_mm.map_or(0.0, |r| r[m]), 0.0, 2000.0)?;
            within(&format!("new_snow_cm[{m}]"), self.new_snow_cm.map_or(0.0, |r| r[m]), 0.0, 500.0)?;
            within(&format!("ghi_kwh_m2[{m}]"), self.ghi_kwh_m2[m], 0.0, 400.0)?;
        }
        self.separation()?;
        Ok(())
    }

    fn separation(&self) -> Result<Separation, SkyError> {
        Ok(self.separation.as_deref().unwrap_or("erbs").parse()?)
    }

    /// Makes the year.
    ///
    /// Light: daily clearness by the transition matrices of Aguiar, Collares-Pereira and Conde (1988), cut into hours
    /// by the profile of Collares-Pereira and Rabl (1979), with hourly swings of the size and persistence of Aguiar
    /// and Collares-Pereira (1992), then separated into beam and diffuse. Monthly sums are met exactly before values
    /// are rounded to 0.1 W/m2. Temperature: the season, a first-order random course of the daily mean tied to the
    /// clearness, and the daily shape of Erbs (1983). Wind: Rayleigh distribution with persistence. Rain and snow fall
    /// on dull days. Ignores heat waves, fronts and every tie between wind and light.
    pub fn make(&self, file: &str) -> Result<WeatherYear, SkyError> {
        self.check(file)?;
        let place = Place {
            name: self.name.clone(),
            latitude_deg: self.latitude_deg,
            longitude_deg: self.longitude_deg,
            elevation_m: self.elevation_m,
            utc_offset_min: (self.utc_offset_h * 60.0).round() as i32,
        };
        let first = NaiveDate::from_ymd_opt(self.year, 1, 1).unwrap_or_default();
        // 29 February is left out: a typical year has 365 days.
        let days: Vec<NaiveDate> = first
            .iter_days()
            .take_while(|d| d.year() == self.year)
            .filter(|d| (d.month(), d.day()) != (2, 29))
            .collect();
        let sun = step_sun(&place, &days, 24);
        let year = Draft { recipe: self, file, place, days, sun };
        year.finish(self.separation()?)
    }
}

struct Draft<'a> {
    recipe: &'a SkyRecipe,
    file: &'a str,
    place: Place,
    days: Vec<NaiveDate>,
    sun: StepSun,
}

impl Draft<'_> {
    fn finish(self, model: Separation) -> Result<WeatherYear, SkyError> {
        let solar = self.solar_clock();
        let clearness = self.daily_clearness()?;
        let ghi = self.hours_of_light(&clearness, &solar);
        let (dni, dhi) = separated(&ghi, &self.sun, &self.place, &self.days, 24, model);
        let t_day = self.daily_temperature(&clearness);
        let t_amb = self.hours_of_temperature(&t_day, &clearness, &solar);
        let wind = self.wind(&solar);
        let snow = self.recipe.new_snow_cm.map(|s| self.snow(&s, &t_day, &clearness));
        let rain = self.recipe.rain_mm.map(|r| self.rain(&r, &t_day, &clearness));
        let albedo = snow.as_ref().map(|s| s.iter().map(|d| if *d >= WHITE_FROM_CM { WHITE } else { BARE }).collect());
        let round = |v: Vec<f64>| v.into_iter().map(|x| (x * 10.0).round() / 10.0).collect::<Vec<f64>>();
        let name = match model {
            Separation::Erbs => "Erbs 1982",
            Separation::RidleyBolandLauret => "Ridley, Boland and Lauret 2010",
        };
        Ok(WeatherYear {
            place: self.place,
            days: self.days,
            steps_per_day: 24,
            ghi: round(ghi),
            dni: round(dni),
            dhi: round(dhi),
            t_amb: round(t_amb),
            wind: round(wind),
            wind_height_m: self.recipe.wind_height_m,
            albedo,
            pressure: None,
            humidity_pct: None,
            precipitable_water_cm: None,
            rain_mm: rain.map(round),
            snow_depth_cm: snow.map(round),
            provenance: Provenance {
                file: String::new(),
                sha256: String::new(),
                format: "monthly means".into(),
                label: "beginning".into(),
                kind: "synthetic".into(),
                completed: vec![
                    ("ghi".into(), "from monthly means: Aguiar 1988, Collares-Pereira and Rabl 1979".into()),
                    ("dni".into(), name.into()),
                    ("dhi".into(), name.into()),
                ],
                notes: vec![Note::loud(
                    "weather.synthetic",
                    format!(
                        "{} is a sky made from twelve monthly means (seed {}), not a measured year.",
                        self.recipe.name, self.recipe.seed
                    ),
                )],
            },
        })
    }

    fn month(&self, day: usize) -> usize {
        self.days[day].month0() as usize
    }

    fn days_of(&self, month: usize) -> Vec<usize> {
        (0..self.days.len()).filter(|&d| self.month(d) == month).collect()
    }

    /// Per day: minutes that solar time is ahead of the clock, and the declination in radians.
    fn solar_clock(&self) -> Vec<(f64, f64)> {
        let p = &self.place;
        let observer = Observer {
            latitude_deg: p.latitude_deg,
            longitude_deg: p.longitude_deg,
            pressure_hpa: 1013.0,
            air_temp_c: 10.0,
        };
        let at_noon = |d: &NaiveDate| {
            let utc =
                d.and_hms_opt(12, 0, 0).unwrap_or_default() - chrono::Duration::minutes(i64::from(p.utc_offset_min));
            let sun = position(Utc.from_utc_datetime(&utc), &observer);
            let ahead = p.longitude_deg * 4.0 - f64::from(p.utc_offset_min) + sun.equation_of_time_min;
            (ahead, sun.declination_deg.to_radians())
        };
        self.days.iter().map(at_noon).collect()
    }

    fn e0h_day(&self, d: usize) -> f64 {
        self.sun.e0h[24 * d..24 * (d + 1)].iter().sum()
    }

    fn daily_clearness(&self) -> Result<Vec<f64>, SkyError> {
        let mut chance = Chance::new(u64::from(self.recipe.seed), 1);
        let mut out = vec![0.0; self.days.len()];
        let mut yesterday = f64::NAN;
        for m in 0..12 {
            let days = self.days_of(m);
            let above: f64 = days.iter().map(|&d| self.e0h_day(d)).sum();
            let wanted = self.recipe.ghi_kwh_m2[m] * 1000.0;
            if above <= 0.0 {
                if wanted > 0.0 {
                    return Err(self.too_much(m, wanted, above));
                }
                continue;
            }
            let mean = wanted / above;
            if mean > 0.78 || (mean > 0.0 && mean < 0.02) {
                return Err(self.too_much(m, wanted, above));
            }
            let t = Transition::of(mean);
            if yesterday.is_nan() {
                yesterday = mean;
            }
            let mut best: Option<(f64, Vec<f64>)> = None;
            for _ in 0..TRIES {
                let mut k = yesterday;
                let run: Vec<f64> = days
                    .iter()
                    .map(|_| {
                        k = t.next(k, chance.even());
                        k
                    })
                    .collect();
                let sum: f64 = days.iter().zip(&run).map(|(&d, k)| k * self.e0h_day(d)).sum();
                let factor = wanted / sum;
                let miss = (factor - 1.0).abs();
                if best.as_ref().is_none_or(|(b, _)| miss < (b - 1.0).abs()) {
                    best = Some((factor, run));
                }
            }
            let (factor, run) = best.unwrap_or((1.0, vec![mean; days.len()]));
            for (&d, k) in days.iter().zip(&run) {
                out[d] = k * factor;
            }
            yesterday = run.last().copied().unwrap_or(mean);
        }
        Ok(out)
    }

    fn too_much(&self, m: usize, wanted: f64, above: f64) -> SkyError {
        SkyError::Value {
            file: self.file.into(),
            key: format!("ghi_kwh_m2[{m}]"),
            found: format!("{} kWh/m2", wanted / 1000.0),
            expected: format!(
                "2 to 78 % of the {:.1} kWh/m2 that reach the top of the air in that month",
                above / 1000.0
            ),
            mend: "Check the unit (kWh/m2 per month, not per day), the latitude and its sign.".into(),
        }
    }

    fn hours_of_light(&self, clearness: &[f64], solar: &[(f64, f64)]) -> Vec<f64> {
        let mut chance = Chance::new(u64::from(self.recipe.seed), 2);
        let mut ghi = vec![0.0; self.days.len() * 24];
        for (d, &k_day) in clearness.iter().enumerate() {
            let span = 24 * d..24 * (d + 1);
            let wanted = k_day * self.e0h_day(d);
            if wanted <= 0.0 {
                continue;
            }
            let (ahead_min, declination) = solar[d];
            let latitude = self.place.latitude_deg.to_radians();
            let cos_sunset = (-latitude.tan() * declination.tan()).clamp(-1.0, 1.0);
            let sunset = cos_sunset.acos();
            // Collares-Pereira and Rabl, Solar Energy 22 (1979) 155-164: share of the day's light in an hour.
            let a = 0.4090 + 0.5016 * (sunset - std::f64::consts::FRAC_PI_3).sin();
            let b = 0.6609 - 0.4767 * (sunset - std::f64::consts::FRAC_PI_3).sin();
            // Aguiar and Collares-Pereira, Solar Energy 49 (1992) 167-174: size and persistence of hourly swings.
            let phi = 0.38 + 0.06 * (7.4 * k_day - 2.5).cos();
            let size_a = 0.14 * (-20.0 * (k_day - 0.35).powi(2)).exp();
            let size_b = 3.0 * (k_day - 0.45).powi(2) + 16.0 * k_day.powi(5);
            let mut swing = 0.0;
            let mut limit = [0.0; 24];
            for i in span.clone() {
                if self.sun.e0h[i] <= 0.0 {
                    continue;
                }
                let hour = (i - span.start) as f64 + 0.5 + ahead_min / 60.0;
                let omega = ((hour - 12.0) * std::f64::consts::PI / 12.0).clamp(-sunset, sunset);
                let up = self.sun.up[i].max(0.01);
                let share = (a + b * omega.cos()).max(0.05);
                // Shares of the day's mean clearness, near 1.
                let base = k_day * share / (a + b * (0.6 + 0.4 * cos_sunset)).max(0.05);
                swing = phi * swing + (1.0 - phi * phi).sqrt() * chance.normal();
                let sigma = (size_a * (size_b * (1.0 - up)).exp()).min(0.25);
                let most = (1.05 * haurwitz(up) / (self.sun.e0n[i] * up)).clamp(0.1, 0.82);
                limit[i - span.start] = most * self.sun.e0h[i];
                ghi[i] = (base + sigma * swing).clamp(0.02, most) * self.sun.e0h[i];
            }
            // Back to the day's sum, within what a clear sky lets through as long as that is possible.
            for _ in 0..12 {
                let sum: f64 = ghi[span.clone()].iter().sum();
                let factor = wanted / sum;
                if (factor - 1.0).abs() < 1e-9 {
                    break;
                }
                for i in span.clone() {
                    ghi[i] = (ghi[i] * factor).min(limit[i - span.start]);
                }
            }
            let sum: f64 = ghi[span.clone()].iter().sum();
            ghi[span.clone()].iter_mut().for_each(|g| *g *= wanted / sum);
        }
        ghi
    }

    fn daily_temperature(&self, clearness: &[f64]) -> Vec<f64> {
        let mut chance = Chance::new(u64::from(self.recipe.seed), 3);
        let t = &self.recipe.t_mean_c;
        let (coldest, warmest) = t.iter().fold((f64::MAX, f64::MIN), |(a, b), x| (a.min(*x), b.max(*x)));
        let mut swing = 0.0;
        let mut out: Vec<f64> = (0..self.days.len())
            .map(|d| {
                // Straight between the middles of the months.
                let m = self.month(d);
                let at = (f64::from(self.days[d].day()) - 0.5) / self.days_of_month(m) - 0.5;
                let other = if at < 0.0 { (m + 11) % 12 } else { (m + 1) % 12 };
                let season = t[m] + (t[other] - t[m]) * at.abs();
                swing = 0.75 * swing + 0.661_437_8 * chance.normal();
                // A clear day is warm in summer and cold in winter.
                let summer = if warmest > coldest { 2.0 * (t[m] - coldest) / (warmest - coldest) - 1.0 } else { 0.0 };
                let tie = 0.6 * summer * ((clearness[d] - 0.4) / 0.17).clamp(-2.0, 2.0);
                season + self.recipe.t_day_sd_k * (0.8 * swing + tie)
            })
            .collect();
        for m in 0..12 {
            let days = self.days_of(m);
            let mean: f64 = days.iter().map(|&d| out[d]).sum::<f64>() / days.len() as f64;
            days.iter().for_each(|&d| out[d] += t[m] - mean);
        }
        out
    }

    fn days_of_month(&self, m: usize) -> f64 {
        [31.0, 28.0, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0][m]
    }

    fn hours_of_temperature(&self, t_day: &[f64], clearness: &[f64], solar: &[(f64, f64)]) -> Vec<f64> {
        // Erbs, Klein, Beckman, ASHRAE Journal 25 (1983) 60-65 (from memory): shape of the average day.
        let shape = |hour: f64| {
            let t = std::f64::consts::TAU * (hour - 1.0) / 24.0;
            0.4632 * (t - 3.805).cos()
                + 0.0984 * (2.0 * t - 0.360).cos()
                + 0.0168 * (3.0 * t - 0.822).cos()
                + 0.0138 * (4.0 * t - 3.513).cos()
        };
        let table: Vec<f64> = (0..24).map(|h| shape(f64::from(h) + 1.0)).collect();
        let (low, high) = table.iter().fold((f64::MAX, f64::MIN), |(a, b), x| (a.min(*x), b.max(*x)));
        let range = high - low;
        let n = t_day.len();
        let mut out = Vec::with_capacity(n * 24);
        for d in 0..n {
            let m = self.month(d);
            let days = self.days_of(m);
            let mean: f64 = days.iter().map(|&d| clearness[d]).sum::<f64>() / days.len() as f64;
            let lively = |k: f64| if mean > 0.0 { (0.5 + 0.5 * k / mean).clamp(0.4, 1.6) } else { 1.0 };
            let mean_lively: f64 = days.iter().map(|&d| lively(clearness[d])).sum::<f64>() / days.len() as f64;
            let swing = self.recipe.t_swing_k[m] * lively(clearness[d]) / mean_lively / range;
            for h in 0..24 {
                // The daily mean goes over from day to day without a step at midnight.
                let at = (f64::from(h) + 0.5) / 24.0 - 0.5;
                let other = if at < 0.0 { t_day[d.saturating_sub(1)] } else { t_day[(d + 1).min(n - 1)] };
                let mean = t_day[d] + 0.5 * (other - t_day[d]) * at.abs();
                out.push(mean + swing * shape(f64::from(h) + 1.0 + solar[d].0 / 60.0 - 0.0));
            }
        }
        for m in 0..12 {
            let days = self.days_of(m);
            let hours = || days.iter().flat_map(|&d| 24 * d..24 * (d + 1));
            let mean = hours().map(|i| out[i]).sum::<f64>() / (days.len() * 24) as f64;
            let add = self.recipe.t_mean_c[m] - mean;
            hours().for_each(|i| out[i] += add);
        }
        out
    }

    fn wind(&self, solar: &[(f64, f64)]) -> Vec<f64> {
        let mut chance = Chance::new(u64::from(self.recipe.seed), 4);
        let mut z = chance.normal();
        let mut out: Vec<f64> = (0..self.days.len() * 24)
            .map(|i| {
                z = 0.92 * z + (1.0_f64 - 0.92 * 0.92).sqrt() * chance.normal();
                let hour = (i % 24) as f64 + 0.5 + solar[i / 24].0 / 60.0;
                let day = 1.0 + 0.18 * ((hour - 14.0) * std::f64::consts::PI / 12.0).cos();
                let u = normal_below(z).min(0.9999);
                day * (-maths::ln(1.0 - u)).max(0.0).sqrt()
            })
            .collect();
        for m in 0..12 {
            let days = self.days_of(m);
            let hours = || days.iter().flat_map(|&d| 24 * d..24 * (d + 1));
            let mean = hours().map(|i| out[i]).sum::<f64>() / (days.len() * 24) as f64;
            hours().for_each(|i| out[i] *= self.recipe.wind_m_s[m] / mean);
        }
        out
    }

    /// Amounts of the month on its dullest days that a rule allows; the share of a day grows with its dullness.
    fn falls(&self, monthly: &[f64; 12], clearness: &[f64], allowed: &dyn Fn(usize) -> bool, stream: u64) -> Vec<f64> {
        let mut chance = Chance::new(u64::from(self.recipe.seed), stream);
        let mut out = vec![0.0; self.days.len()];
        for m in 0..12 {
            let mut days = self.days_of(m);
            days.retain(|&d| allowed(d));
            if days.is_empty() {
                continue;
            }
            days.sort_by(|&a, &b| clearness[a].total_cmp(&clearness[b]));
            // About one day in twenty-five millimetres or five centimetres: between a sixth and a half of the days.
            let count = days.len().min(((monthly[m] / 5.0).ceil() as usize).clamp(2, 15));
            let shares: Vec<f64> = (0..count).map(|_| 0.2 + chance.exponential()).collect();
            let total: f64 = shares.iter().sum();
            for (&d, share) in days.iter().zip(&shares) {
                out[d] = monthly[m] * share / total;
            }
        }
        out
    }

    fn rain(&self, monthly: &[f64; 12], t_day: &[f64], clearness: &[f64]) -> Vec<f64> {
        let _ = t_day;
        let per_day = self.falls(monthly, clearness, &|_| true, 5);
        let mut chance = Chance::new(u64::from(self.recipe.seed), 6);
        let mut out = vec![0.0; per_day.len() * 24];
        for (d, mm) in per_day.iter().enumerate().filter(|(_, mm)| **mm > 0.0) {
            let first = (chance.even() * 18.0) as usize;
            let hours = 1 + (chance.even() * 5.0) as usize;
            for h in first..first + hours {
                out[24 * d + h] = mm / hours as f64;
            }
        }
        out
    }

    /// Depth of snow: falls on the coldest dull days, settles by a tenth a day and melts by 0.5 cm per degree and day.
    fn snow(&self, monthly: &[f64; 12], t_day: &[f64], clearness: &[f64]) -> Vec<f64> {
        let fresh = self.falls(monthly, clearness, &|d| t_day[d] < 1.0, 7);
        let mut depth: f64 = 0.0;
        let mut out = Vec::with_capacity(fresh.len() * 24);
        for (d, cm) in fresh.iter().enumerate() {
            for _ in 0..24 {
                let melt = 0.5 * (t_day[d] - 0.0).max(0.0) / 24.0;
                depth = (depth * (1.0 - 0.1 / 24.0) - melt + cm / 24.0).max(0.0);
                out.push(depth);
            }
        }
        out
    }
}
