//! Does the light follow the sun, or does it come earlier or later than the labels say?

use serde::Serialize;

use crate::plane::{PlaneLight, PlaneSpec, Sky, SkyModel, Skyline};
use crate::sun::SunTrack;
use crate::sun::clear_sky::haurwitz;
use crate::units::Note;
use crate::weather::{Label, Place, Quantity, RawYear, WeatherYear};
use crate::wide;

/// Farthest shift looked for, minutes either way.
const FARTHEST_MIN: f64 = 110.0;
/// From here on a shift is a loud warning, minutes.
pub const LOUD_FROM_MIN: f64 = 15.0;
/// Bands of sun elevation in which morning and afternoon are compared: sine of elevation.
const BANDS: [(f64, f64); 7] =
    [(0.10, 0.17), (0.17, 0.26), (0.26, 0.36), (0.36, 0.47), (0.47, 0.58), (0.58, 0.70), (0.70, 0.82)];
/// Share of the brightest hours of a band that stand for a clear sky.
const CLEAR_SHARE: f64 = 0.15;

/// A shift between labels and sun.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Shift {
    /// Minutes by which the light in the file comes later than the sun at the labelled times; negative: earlier.
    pub minutes: f64,
    /// What would mend it, when it is large enough to matter.
    pub fix: Option<String>,
}

/// Finds the shift from GHI alone; `None` when there is too little clear light to tell.
///
/// Under a clear sky, light depends on the sun's elevation, not on whether it is morning. For each candidate shift the
/// clear-sky indices (GHI over Haurwitz 1945) of the brightest hours of each band of elevation are compared between
/// morning and afternoon; the shift with the least difference is taken. Good to about 5 minutes in hourly data; a
/// station behind a hill or with fog every morning may look up to 10 minutes late.
pub fn find(raw: &RawYear) -> Option<f64> {
    let light = raw.get(Quantity::Ghi).or_else(|| raw.get(Quantity::Dni))?;
    find_in(light, &raw.place, &raw.days, raw.steps_per_day)
}

/// As [`find`], for a finished year.
pub fn find_in_year(year: &WeatherYear) -> Option<f64> {
    find_in(&year.ghi, &year.place, &year.days, year.steps_per_day)
}

fn find_in(light: &[f64], place: &Place, days: &[chrono::NaiveDate], steps_per_day: usize) -> Option<f64> {
    let about = roughly(light, place, days, steps_per_day)?;
    finely(light, place, days, steps_per_day, about)
}

/// The shift by all days, near one that is known roughly.
fn finely(light: &[f64], place: &Place, days: &[chrono::NaiveDate], steps_per_day: usize, about: f64) -> Option<f64> {
    let mut search = Search::over(light, place, days, steps_per_day, 1);
    let at = (search.cost(about)?, about);
    Some(search.down(at, &[5.0, 2.0, 1.0]).1)
}

/// The shift by one day of four, to some five minutes: downhill from the labels as they stand.
fn roughly(light: &[f64], place: &Place, days: &[chrono::NaiveDate], steps_per_day: usize) -> Option<f64> {
    let mut search = Search::over(light, place, days, steps_per_day, 4);
    let mut at = |m: f64| Some((search.cost(m)?, m));
    let (early, late) = (at(-10.0), at(10.0));
    let (mut best, way) = match (early, late) {
        (Some(early), Some(late)) if early.0 < late.0 => (early, -20.0),
        (early, late) => late.map(|late| (late, 20.0)).or(early.map(|early| (early, -20.0)))?,
    };
    while let Some(next) = at(best.1 + way).filter(|next| next.0 < best.0 && next.1.abs() <= FARTHEST_MIN) {
        best = next;
    }
    Some(search.down(best, &[10.0, 5.0]).1)
}

/// The light of a run of days beside the sun, which can be turned back and forth.
///
/// Turned by an angle `w` about the pole of the sky, the sun stands at `up = a + b cos w - c sin w`, with
/// `a = sin(lat) (pole . sun)`, `b = up - a`, `c = cos(lat) east`: an observer farther west by `w` sees just that, but
/// for the declination's own way in that time (a minute of arc an hour at most).
struct Search {
    /// Of each step whose sun may count: the light, then `a`, `b`, `c`.
    light: Vec<f64>,
    turns: [Vec<f64>; 3],
    /// How far the sky turns in half a step, rad.
    half_step: f64,
    /// Least number of steps of a band, and least weight of all bands, that tell something.
    few: usize,
    enough: f64,
    bands: Bands,
}

/// Clear-sky indices by band of elevation, before and after noon.
type Bands = [[Vec<f64>; 2]; BANDS.len()];

impl Search {
    /// Takes one day of `every`.
    fn over(light: &[f64], place: &Place, days: &[chrono::NaiveDate], steps_per_day: usize, every: usize) -> Search {
        let some: Vec<chrono::NaiveDate> = days.iter().copied().step_by(every).collect();
        let [east, north, up] = SunTrack::middles(place, &some, steps_per_day);
        let light: Vec<f64> = light.chunks(steps_per_day.max(1)).step_by(every).flatten().copied().collect();
        let (sin, cos) = place.latitude_deg.to_radians().sin_cos();
        let half_step = std::f64::consts::PI / steps_per_day as f64;
        // The sun can rise by no more than it is turned.
        let lowest = (BANDS[0].0.asin() - (FARTHEST_MIN / 4.0 + 3.0).to_radians()).sin();
        let kept: Vec<usize> = (0..up.len()).filter(|&i| up[i] > lowest && light[i].is_finite()).collect();
        let a = |i: usize| sin * (cos * north[i] + sin * up[i]);
        Search {
            light: kept.iter().map(|&i| light[i]).collect(),
            turns: [
                kept.iter().map(|&i| a(i)).collect(),
                kept.iter().map(|&i| up[i] - a(i)).collect(),
                kept.iter().map(|&i| cos * east[i]).collect(),
            ],
            half_step,
            few: 20_usize.div_ceil(every),
            enough: 200.0 * (steps_per_day as f64 / 24.0).min(1.0) / every as f64,
            bands: Default::default(),
        }
    }

    /// Goes to the least cost nearby, by ever smaller steps: the difference grows evenly on both sides.
    fn down(&mut self, mut best: (f64, f64), steps: &[f64]) -> (f64, f64) {
        for step in steps {
            for m in [best.1 - step, best.1 + step] {
                if let Some(c) = self.cost(m)
                    && c < best.0
                {
                    best = (c, m);
                }
            }
        }
        best
    }

    /// Weighted square difference of clear mornings and clear afternoons when the sun is taken `minutes` later.
    fn cost(&mut self, minutes: f64) -> Option<f64> {
        let turn = (minutes / 4.0).to_radians();
        let [begin, middle, end] =
            [turn + self.half_step, turn, turn - self.half_step].map(|w| <[f64; 2]>::from(w.sin_cos()));
        let [a, b, c] = &self.turns;
        self.bands.iter_mut().flatten().for_each(Vec::clear);
        for (((light, a), b), c) in self.light.iter().zip(a).zip(b).zip(c) {
            let up = |[sin, cos]: [f64; 2]| a + b * cos - c * sin;
            let now = up(middle);
            if !(BANDS[0].0..BANDS[BANDS.len() - 1].1).contains(&now) {
                continue;
            }
            let (before, next) = (up(begin), up(end));
            // Steps in which the sun rises or sets tell little.
            if before > 0.0 && next > 0.0 {
                self.bands[band(now)][usize::from(next < before)].push(light / haurwitz(now));
            }
        }
        let (mut sum, mut weight) = (0.0, 0.0);
        for [am, pm] in &mut self.bands {
            let n = am.len().min(pm.len());
            if n < self.few {
                continue;
            }
            let (a, p) = (brightest(am), brightest(pm));
            if a <= 0.05 && p <= 0.05 {
                continue;
            }
            let difference = ((a + 0.02) / (p + 0.02)).ln();
            sum += n as f64 * difference * difference;
            weight += n as f64;
        }
        (weight > self.enough).then(|| sum / weight)
    }
}

/// The band of a sine of elevation that lies in one of them.
fn band(up: f64) -> usize {
    BANDS[1..].iter().map(|(low, _)| usize::from(up >= *low)).sum()
}

/// Morning against afternoon above which a year is searched for a shift: 0.06 is reached by about 8 minutes.
const SUSPECT: f64 = 0.06;

/// A loud note when the light of a year does not follow the sun.
///
/// Morning and afternoon are compared once, on the sun that is known already; only when they differ the shift itself
/// is looked for, which takes longer.
pub fn label_note(year: &WeatherYear, sun: &SunTrack) -> Option<Note> {
    let light: Vec<f64> = sun.steps.iter().map(|&step| year.ghi[step as usize]).collect();
    let mut index = vec![0.0; light.len()];
    clear_sky_index(&light, &sun.up, &mut index);
    let mut bands = Bands::default();
    for k in 1..sun.steps.len().saturating_sub(1) {
        let together = sun.steps[k + 1] - sun.steps[k - 1] == 2;
        let (before, now, next) = (sun.up[k - 1], sun.up[k], sun.up[k + 1]);
        if !together || before <= 0.0 || next <= 0.0 {
            continue;
        }
        if !(BANDS[0].0..BANDS[BANDS.len() - 1].1).contains(&now) {
            continue;
        }
        bands[band(now)][usize::from(next < before)].push(index[k]);
    }
    let (mut sum, mut weight) = (0.0, 0.0);
    for [am, pm] in &mut bands {
        let n = am.len().min(pm.len());
        if n >= 20 {
            let (a, p) = (brightest(am), brightest(pm));
            sum += n as f64 * ((a + 0.02) / (p + 0.02)).ln();
            weight += n as f64;
        }
    }
    if weight <= 0.0 || (sum / weight).abs() < SUSPECT {
        return None;
    }
    // Most of what looks suspect is hills and fog: a rough look tells.
    let (place, days, per_day) = (&year.place, &year.days, year.steps_per_day);
    let about = roughly(&year.ghi, place, days, per_day)?;
    if about.abs() < 0.5 * LOUD_FROM_MIN {
        return None;
    }
    let minutes = finely(&year.ghi, place, days, per_day, about)?;
    let label = year.provenance.label.parse().unwrap_or(Label::Beginning);
    let fix = fix(minutes, label, f64::from(year.step_min()), &year.place)?;
    let e = effect(year, minutes);
    Some(Note::loud(
        "weather.label-shift",
        format!(
            "The light in the file comes {:.0} min {} than the sun at its labelled times. {fix} Left as it is, a roof of \
             {} deg to the east gets {:+.1} % light in the year, one to the west {:+.1} %.",
            minutes.abs(),
            if minutes > 0.0 { "later" } else { "earlier" },
            e.tilt_deg,
            e.east_pct,
            e.west_pct
        ),
    ))
}

wide! {
    /// Light over that of a cloudless sky.
    fn clear_sky_index(light: &[f64], up: &[f64], out: &mut [f64]) {
        let n = out.len();
        let (light, up) = (&light[..n], &up[..n]);
        for i in 0..n { out[i] = light[i] / haurwitz(up[i]); }
    }
}

/// Mean of the brightest share.
fn brightest(values: &mut [f64]) -> f64 {
    let keep = ((values.len() as f64 * CLEAR_SHARE) as usize).max(5).min(values.len());
    let from = values.len() - keep;
    if from > 0 {
        values.select_nth_unstable_by(from, f64::total_cmp);
    }
    let top = &values[from..];
    top.iter().sum::<f64>() / keep as f64
}

/// Names the fix for a shift of a file read under a label convention.
pub fn fix(minutes: f64, label: Label, step_min: f64, place: &Place) -> Option<String> {
    if minutes.abs() < LOUD_FROM_MIN.min(0.3 * step_min.max(30.0)) {
        return None;
    }
    let near = |x: f64| (minutes - x).abs() <= 12.0_f64.min(0.25 * step_min);
    let other = match label {
        Label::Ending if near(-step_min) => Some(Label::Beginning),
        Label::Ending if near(-0.5 * step_min) => Some(Label::Middle),
        Label::Beginning if near(step_min) => Some(Label::Ending),
        Label::Beginning if near(0.5 * step_min) => Some(Label::Middle),
        Label::Middle if near(0.5 * step_min) => Some(Label::Ending),
        Label::Middle if near(-0.5 * step_min) => Some(Label::Beginning),
        _ => None,
    };
    Some(match other {
        Some(l) => format!(
            "The times look like the {} of the steps, not the {}: set weather.label = \"{}\".",
            l.word(),
            label.word(),
            l.word()
        ),
        None if minutes.abs() > 25.0 && ((minutes / 30.0).round() * 30.0 - minutes).abs() < 10.0 => format!(
            "Check the UTC offset ({:+} h) and the longitude ({}): one of them, or daylight saving, is off by {:+.1} h.",
            f64::from(place.utc_offset_min) / 60.0,
            place.longitude_deg,
            (minutes / 30.0).round() / 2.0
        ),
        None => format!(
            "No label convention explains it; check the longitude ({}), or the hills around the station.",
            place.longitude_deg
        ),
    })
}

/// What a shift does to the light of a year on two roofs, percent.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ShiftEffect {
    /// Tilt of both, degrees.
    pub tilt_deg: f64,
    /// In-plane energy of an east roof under the labels as declared, over that under the sun's time, less 1.
    pub east_pct: f64,
    /// The same for a west roof.
    pub west_pct: f64,
}

/// In-plane irradiation of a year on a tilted roof facing east and one facing west: declared labels against mended ones.
pub fn effect(year: &WeatherYear, minutes: f64) -> ShiftEffect {
    const TILT: f64 = 30.0;
    let mut mended = year.clone();
    mended.place.longitude_deg -= minutes / 4.0;
    let [east, west] = in_planes(year, TILT, [90.0, 270.0]);
    let [east_mended, west_mended] = in_planes(&mended, TILT, [90.0, 270.0]);
    let gap = |declared: f64, mended: f64| 100.0 * (declared / mended - 1.0);
    ShiftEffect { tilt_deg: TILT, east_pct: gap(east, east_mended), west_pct: gap(west, west_mended) }
}

/// In-plane irradiation of fixed planes of one tilt, kWh/m2, Perez sky.
fn in_planes<const N: usize>(year: &WeatherYear, tilt_deg: f64, azimuth_deg: [f64; N]) -> [f64; N] {
    let sun = SunTrack::over(year);
    let sky = Sky::over(year, &sun, SkyModel::Perez);
    azimuth_deg.map(|azimuth_deg| {
        let light = PlaneLight::on(&plane(tilt_deg, azimuth_deg), &sun, &sky, &Skyline::default());
        light.h_i_kwh_m2(year.step_h())
    })
}

fn plane(tilt_deg: f64, azimuth_deg: f64) -> PlaneSpec {
    PlaneSpec {
        name: String::new(),
        tilt_deg,
        azimuth_deg,
        albedo: None,
        cooling: Default::default(),
        size_m: None,
        outline_m: Vec::new(),
        setback_m: 0.0,
        obstacle_setback_m: 0.0,
        gap_m: 0.0,
        obstacles: Vec::new(),
        rows: None,
        tracker: None,
    }
}
