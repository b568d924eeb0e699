//! The sun over a weather year, on its daylight steps.

use super::air::zenith_and_air_mass;
use super::ephemeris::{Anchor, PARALLAX, SIDEREAL_RATE, anchor, days_since_2000, delta_t_s};
use crate::maths::acos_rough;
use crate::units::SOLAR_CONSTANT;
use crate::weather::{Place, WeatherYear};

/// The sun over a weather year, on its daylight steps only; every column has `steps.len()` values.
///
/// A daylight step is one in which the sun's centre stands above the horizon for some part of the step, or in which
/// the file holds light. The vector belongs to the middle of the step, or to the middle of its sunlit part when the
/// sun rises or sets within it. No refraction: it lifts the sun by less than 0.1 deg above 9 deg of elevation.
///
/// ```
/// use yearlight::{sky, sun::SunTrack, weather::ReadHints};
/// let year = sky::read("weather/merrowby.csv".as_ref(), &ReadHints::default())?;
/// let sun = SunTrack::over(&year);
/// // The highest sun of the year stands at 90 deg - latitude + obliquity, if the middle of a step falls on noon.
/// let highest = sun.up.iter().copied().fold(0.0, f64::max).asin().to_degrees();
/// let noon = 90.0 - year.place.latitude_deg + 23.44;
/// assert!(highest < noon + 0.01 && highest > noon - 1.0);
/// # Ok::<(), yearlight::weather::WeatherError>(())
/// ```
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SunTrack {
    /// Index of each daylight step in the weather year, ascending.
    pub steps: Vec<u32>,
    /// `month_start[m]..month_start[m + 1]` are the daylight steps of month `m` (0..=11).
    pub month_start: [usize; 13],
    /// East component of the unit vector to the sun.
    pub east: Vec<f64>,
    /// North component.
    pub north: Vec<f64>,
    /// Up component: cos of the zenith angle; may be below 0 in twilight.
    pub up: Vec<f64>,
    /// Zenith angle, rad, to 1e-7: for sky bins and limits, not for geometry.
    pub zenith: Vec<f64>,
    /// Extraterrestrial normal irradiance, W/m2.
    pub e0n: Vec<f64>,
    /// Relative optical air mass (Kasten and Young 1989, to 2e-7), held at its horizon value below the horizon.
    pub air_mass: Vec<f64>,
}

/// One day's constants of the place.
struct Day {
    anchor: Anchor,
    /// Sine and cosine of the local sidereal angle at the middle of the day.
    sin_theta: f64,
    cos_theta: f64,
    /// Transit, rise and set around it, days from local midnight; set before rise when the sun stays down.
    transit: f64,
    rise: f64,
    set: f64,
    /// Rate of the hour angle, rad per day.
    rate: f64,
}

/// The days of a year as columns, so that their loops vectorise.
struct Days {
    /// The fields of [`Anchor`], then those of [`Day`], in order.
    columns: [Vec<f64>; COLUMNS],
}

/// Columns of a day, and how many of them, the first, tell where the sun is.
const COLUMNS: usize = 14;
const OF_VECTOR: usize = 10;

impl Days {
    /// Days of a place, each anchored at its local noon.
    fn of(place: &Place, days: &[chrono::NaiveDate]) -> Days {
        let offset_d = f64::from(place.utc_offset_min) / 1440.0;
        let noons: Vec<f64> = days.iter().map(|day| days_since_2000(*day) + 0.5 - offset_d).collect();
        Days::at(&noons, place.longitude_deg.to_radians(), Latitude::of(place))
    }

    fn len(&self) -> usize {
        self.columns[0].len()
    }

    fn at(noons: &[f64], longitude: f64, latitude: Latitude) -> Days {
        let mut columns: [Vec<f64>; COLUMNS] = std::array::from_fn(|_| vec![0.0; noons.len()]);
        let [a, b, c, d, e, f, g, h, rest @ ..] = &mut columns;
        anchors_of(noons, a, b, c, d, e, f, g, h);
        let [i, j, k, l, m, n] = rest;
        horizons_of(a, b, c, d, e, f, g, [longitude, latitude.sin, latitude.cos], i, j, k, l, m, n);
        Days { columns }
    }

    /// The steps of the runs, `count` in all, and east, north, up and extraterrestrial irradiance at the middle of each.
    fn light(&self, runs: &[Run], latitude: Latitude, turns: &Turns, count: usize) -> (Vec<u32>, [Vec<f64>; 4]) {
        let mut steps = vec![0; count + GROUP];
        let mut columns = [(); 4].map(|()| vec![0.0; count + GROUP]);
        let [east, north, up, e0n] = &mut columns;
        vectors(runs, self, turns, latitude, &mut steps, east, north, up, e0n);
        steps.truncate(count);
        columns.iter_mut().for_each(|column| column.truncate(count));
        (steps, columns)
    }

    #[inline(always)]
    fn day(&self, d: usize) -> Day {
        Day::of(|column| self.columns[column][d])
    }
}

impl Day {
    /// From the columns of [`Days`].
    #[inline(always)]
    fn of(at: impl Fn(usize) -> f64) -> Day {
        Day {
            anchor: Anchor {
                cos_lambda: at(0),
                sin_lambda: at(1),
                lambda_rate: at(2),
                cos_eps: at(3),
                sin_eps: at(4),
                sidereal: at(5),
                distance: at(6),
                distance_rate: at(7),
            },
            sin_theta: at(8),
            cos_theta: at(9),
            transit: at(10),
            rise: at(11),
            set: at(12),
            rate: at(13),
        }
    }

    /// East, north and up of the sun at `dt` days from the anchor, when the sky has turned by an angle of this sine and
    /// cosine.
    #[inline(always)]
    fn vector(&self, dt: f64, turn_sin: f64, turn_cos: f64, latitude: Latitude) -> [f64; 3] {
        let a = &self.anchor;
        let Latitude { sin: sin_phi, cos: cos_phi } = latitude;
        // The longitude moves by less than 0.009 rad from the anchor: two terms of the series leave 1e-11.
        let d = a.lambda_rate * dt;
        let d2 = d * d;
        let s = d - d * d2 * (1.0 / 6.0);
        let c = 1.0 - d2 * (0.5 - d2 * (1.0 / 24.0));
        let x = a.cos_lambda * c - a.sin_lambda * s;
        let along = a.sin_lambda * c + a.cos_lambda * s;
        let (y, z) = (along * a.cos_eps, along * a.sin_eps);
        let c_theta = self.cos_theta * turn_cos - self.sin_theta * turn_sin;
        let s_theta = self.sin_theta * turn_cos + self.cos_theta * turn_sin;
        let u = x * c_theta + y * s_theta;
        let h = sin_phi * z + cos_phi * u;
        let lift = PARALLAX / a.distance;
        let scale = 1.0 + lift * h;
        [(y * c_theta - x * s_theta) * scale, (cos_phi * z - sin_phi * u) * scale, (h - lift) * scale]
    }
}

/// Sine and cosine of the place's latitude.
#[derive(Clone, Copy)]
struct Latitude {
    sin: f64,
    cos: f64,
}

impl Latitude {
    fn of(place: &Place) -> Latitude {
        let (sin, cos) = place.latitude_deg.to_radians().sin_cos();
        Latitude { sin, cos }
    }
}

impl SunTrack {
    /// Follows the sun over a weather year.
    ///
    /// Every day has an anchor at its local noon, with its own source year; within the day the sidereal angle and the
    /// sun's longitude turn at their rates. The middle of step `k` is, in UTC, local midnight - offset + (k + 1/2) step.
    /// Against the whole algorithm of NREL/TP-560-34302 the vector is within 0.002 deg from 1950 to 2050 at all latitudes.
    pub fn over(weather: &WeatherYear) -> SunTrack {
        let n = weather.steps_per_day.max(1);
        let latitude = Latitude::of(&weather.place);
        let days = Days::of(&weather.place, &weather.days);

        let mut track = SunTrack::default();
        let mut runs = Vec::with_capacity(days.len());
        let mut count = 0;
        let mut edges = Edges::with_room(2 * days.len());
        let mut lit = DayLight::new(n);
        let mut month = 0;
        for d in 0..days.len() {
            // Months of a typical year follow each other; should one come out of turn, it is counted with the one before.
            let this_month = weather.month_of_day(d);
            while month < this_month {
                month += 1;
                track.month_start[month] = count;
            }
            let before = runs.len();
            lit.fill(&days.day(d), latitude);
            count = lit.tell(weather, d, count, &mut runs);
            edges.add(d, &lit, &runs[before..]);
        }
        while month < 12 {
            month += 1;
            track.month_start[month] = count;
        }
        (track.steps, [track.east, track.north, track.up, track.e0n]) =
            days.light(&runs, latitude, &Turns::new(n), count);
        edges.put(&mut track, &days, latitude);
        track.zenith = vec![0.0; count];
        track.air_mass = vec![0.0; count];
        zenith_and_air_mass(&track.up, &mut track.zenith, &mut track.air_mass);
        track
    }

    /// East, north and up of the sun at the middle of every step of a run of days, night included.
    pub(crate) fn middles(place: &Place, days: &[chrono::NaiveDate], steps_per_day: usize) -> [Vec<f64>; 3] {
        let n = steps_per_day.max(1);
        let runs: Vec<Run> = (0..days.len()).map(|day| Run { day, first: 0, len: n, at: day * n }).collect();
        let count = days.len() * n;
        let (_, [east, north, up, _]) = Days::of(place, days).light(&runs, Latitude::of(place), &Turns::new(n), count);
        [east, north, up]
    }

    /// Number of daylight steps.
    pub fn len(&self) -> usize {
        self.steps.len()
    }

    /// True when there is no daylight at all.
    pub fn is_empty(&self) -> bool {
        self.steps.is_empty()
    }
}

crate::wide! {
    /// The anchors of many days.
    fn anchors_of(
        days: &[f64],
        cos_lambda: &mut [f64],
        sin_lambda: &mut [f64],
        lambda_rate: &mut [f64],
        cos_eps: &mut [f64],
        sin_eps: &mut [f64],
        sidereal: &mut [f64],
        distance: &mut [f64],
        distance_rate: &mut [f64],
    ) {
        let n = days.len();
        let (cos_lambda, sin_lambda, lambda_rate) = (&mut cos_lambda[..n], &mut sin_lambda[..n], &mut lambda_rate[..n]);
        let (cos_eps, sin_eps, sidereal) = (&mut cos_eps[..n], &mut sin_eps[..n], &mut sidereal[..n]);
        let (distance, distance_rate) = (&mut distance[..n], &mut distance_rate[..n]);
        for i in 0..n {
            let a = anchor(days[i], delta_t_s(days[i]));
            cos_lambda[i] = a.cos_lambda;
            sin_lambda[i] = a.sin_lambda;
            lambda_rate[i] = a.lambda_rate;
            cos_eps[i] = a.cos_eps;
            sin_eps[i] = a.sin_eps;
            sidereal[i] = a.sidereal;
            distance[i] = a.distance;
            distance_rate[i] = a.distance_rate;
        }
    }
}

crate::wide! {
    /// Sine and cosine of the local sidereal angle, transit, rise and set of many days; see [`Crossing`].
    fn horizons_of(
        cos_lambda: &[f64],
        sin_lambda: &[f64],
        lambda_rate: &[f64],
        cos_eps: &[f64],
        sin_eps: &[f64],
        sidereal: &[f64],
        distance: &[f64],
        place: [f64; 3],
        sin_theta: &mut [f64],
        cos_theta: &mut [f64],
        transit: &mut [f64],
        rise: &mut [f64],
        set: &mut [f64],
        rate: &mut [f64],
    ) {
        let n = cos_lambda.len();
        let (sin_lambda, lambda_rate, cos_eps) = (&sin_lambda[..n], &lambda_rate[..n], &cos_eps[..n]);
        let (sin_eps, sidereal, distance) = (&sin_eps[..n], &sidereal[..n], &distance[..n]);
        let (sin_theta, cos_theta) = (&mut sin_theta[..n], &mut cos_theta[..n]);
        let (transit, rise, set, rate) = (&mut transit[..n], &mut rise[..n], &mut set[..n], &mut rate[..n]);
        for i in 0..n {
            let angle = sidereal[i] + place[0];
            let (s, c) = crate::maths::sin_cos(angle);
            let (x, y) = (cos_lambda[i], sin_lambda[i] * cos_eps[i]);
            // Hour angle at the anchor, rad, west positive, and its rate per day.
            let (west, south) = (x * s - y * c, x * c + y * s);
            let size = acos_rough(south / (west * west + south * south).sqrt());
            let hour_angle = if west < 0.0 { -size } else { size };
            let sin_delta = sin_lambda[i] * sin_eps[i];
            let turning = SIDEREAL_RATE - lambda_rate[i] * cos_eps[i] / (1.0 - sin_delta * sin_delta);
            let crossing = Crossing {
                sin_delta,
                sin_delta_rate: cos_lambda[i] * sin_eps[i] * lambda_rate[i],
                lift: PARALLAX / distance[i],
                latitude: Latitude { sin: place[1], cos: place[2] },
                rate: turning,
            };
            let noon = 0.5 - hour_angle / turning;
            let [up, down] = crossing.around(noon);
            sin_theta[i] = s;
            cos_theta[i] = c;
            transit[i] = noon;
            rise[i] = up;
            set[i] = down;
            rate[i] = turning;
        }
    }
}

/// Edge steps of all days, whose vectors belong to the middle of their sunlit part.
struct Edges {
    /// Where they stand in the track.
    at: Vec<usize>,
    day: Vec<usize>,
    /// Time from the day's anchor, days.
    dt: Vec<f64>,
}

impl Edges {
    fn with_room(room: usize) -> Edges {
        Edges { at: Vec::with_capacity(room), day: Vec::with_capacity(room), dt: Vec::with_capacity(room) }
    }

    /// The edges of a day, each within one of its runs.
    fn add(&mut self, day: usize, lit: &DayLight, runs: &[Run]) {
        for &(k, middle) in &lit.edges[..lit.edge_count] {
            if let Some(run) = runs.iter().find(|run| (run.first..run.first + run.len).contains(&k)) {
                self.at.push(run.at + k - run.first);
                self.day.push(day);
                self.dt.push(middle - 0.5);
            }
        }
    }

    fn put(&mut self, track: &mut SunTrack, days: &Days, latitude: Latitude) {
        let whole = self.at.len().next_multiple_of(GROUP);
        self.day.resize(whole, 0);
        self.dt.resize(whole, 0.0);
        let [mut east, mut north, mut up] = [(); 3].map(|()| vec![0.0; whole]);
        vectors_at(days, &self.day, &self.dt, latitude, &mut east, &mut north, &mut up);
        for (k, &at) in self.at.iter().enumerate() {
            (track.east[at], track.north[at], track.up[at]) = (east[k], north[k], up[k]);
        }
    }
}

crate::wide! {
    /// The sun's vector at `dt` days from the anchor of a day, in whole groups.
    fn vectors_at(
        days: &Days, day: &[usize], dt: &[f64], place: Latitude, east: &mut [f64], north: &mut [f64], up: &mut [f64],
    ) {
        for at in (0..day.len()).step_by(GROUP) {
            let (day, dt) = (&day[at..at + GROUP], &dt[at..at + GROUP]);
            let (east, north, up) = (&mut east[at..at + GROUP], &mut north[at..at + GROUP], &mut up[at..at + GROUP]);
            let mut of = [[0.0; GROUP]; COLUMNS];
            for (of, column) in of.iter_mut().zip(&days.columns).take(OF_VECTOR) {
                for i in 0..GROUP {
                    of[i] = column[day[i]];
                }
            }
            for i in 0..GROUP {
                let (s, c) = crate::maths::sin_cos(SIDEREAL_RATE * dt[i]);
                let day = Day::of(|column| of[column][i]);
                [east[i], north[i], up[i]] = day.vector(dt[i], s, c, place);
            }
        }
    }
}

/// Daylight steps that follow each other within one day.
#[derive(Debug, Clone, Copy)]
struct Run {
    day: usize,
    /// First of them, counted from midnight.
    first: usize,
    len: usize,
    /// Where the first stands in the track.
    at: usize,
}

/// Steps that are worked out together; a column is longer than asked for by up to a group, so that no loop has a slow end.
const GROUP: usize = 8;

/// How far the sky has turned at the middle of each step, counted from the middle of the day; the same for every day.
struct Turns {
    cos: Vec<f64>,
    sin: Vec<f64>,
    days: Vec<f64>,
}

impl Turns {
    fn new(n: usize) -> Turns {
        let days: Vec<f64> = (0..n + GROUP).map(|k| (k as f64 + 0.5) / n as f64 - 0.5).collect();
        let (sin, cos) = days.iter().map(|d| crate::maths::sin_cos(SIDEREAL_RATE * d)).unzip();
        Turns { cos, sin, days }
    }
}

crate::wide! {
    /// The steps of the runs, which follow each other in the columns, and east, north, up and extraterrestrial irradiance at
    /// the middle of each. What a run's last group writes too much is the next run's to write, or nobody's.
    fn vectors(
        runs: &[Run],
        days: &Days,
        turns: &Turns,
        place: Latitude,
        steps: &mut [u32],
        east: &mut [f64],
        north: &mut [f64],
        up: &mut [f64],
        e0n: &mut [f64],
    ) {
        let n = (turns.days.len() - GROUP) as u32;
        for run in runs {
            let day = days.day(run.day);
            let a = &day.anchor;
            // 1/R^2 over the day by its rate.
            let normal = SOLAR_CONSTANT / (a.distance * a.distance);
            let slope = -2.0 * normal * a.distance_rate / a.distance;
            for k in (0..run.len).step_by(GROUP) {
                let (from, at) = (run.first + k, run.at + k);
                let (turn_cos, turn_sin) = (&turns.cos[from..from + GROUP], &turns.sin[from..from + GROUP]);
                let dt = &turns.days[from..from + GROUP];
                let (east, north) = (&mut east[at..at + GROUP], &mut north[at..at + GROUP]);
                let (up, e0n) = (&mut up[at..at + GROUP], &mut e0n[at..at + GROUP]);
                let first = run.day as u32 * n + from as u32;
                for (i, step) in steps[at..at + GROUP].iter_mut().enumerate() {
                    *step = first + i as u32;
                }
                for i in 0..GROUP {
                    [east[i], north[i], up[i]] = day.vector(dt[i], turn_sin[i], turn_cos[i], place);
                    e0n[i] = normal + slope * dt[i];
                }
            }
        }
    }
}

/// Which steps of one day have light.
struct DayLight {
    n: usize,
    /// First and last step of each sunlit span, in no order; they may touch or overlap.
    spans: [(usize, usize); 3],
    span_count: usize,
    /// Steps with a sunrise or a sunset, and the middle of their sunlit part, days.
    edges: [(usize, f64); 6],
    edge_length: [f64; 6],
    edge_count: usize,
    /// Scratch for days with more than one span, or with light at night.
    wanted: Vec<bool>,
}

impl DayLight {
    fn new(n: usize) -> DayLight {
        DayLight {
            n,
            spans: [(0, 0); 3],
            span_count: 0,
            edges: [(0, 0.0); 6],
            edge_length: [0.0; 6],
            edge_count: 0,
            wanted: vec![false; n],
        }
    }

    /// The spans in which the sun's centre is above the horizon, and the sunlit middle of their edge steps.
    fn fill(&mut self, day: &Day, latitude: Latitude) {
        (self.span_count, self.edge_count) = (0, 0);
        let (rise, set) = (day.rise, day.set);
        let turn = std::f64::consts::TAU / day.rate;
        if set - rise >= turn * 0.999_999 {
            self.add_span(0, self.n - 1);
            return;
        }
        self.add(rise, set);
        // Far from its zone's meridian, or near the midnight sun, the day before or after reaches into this one. On such a
        // day the transit may also be the only one without a rise.
        let dark = set <= rise;
        for (near, other) in
            [(dark || set - turn > -0.02, day.transit - turn), (dark || rise + turn < 1.02, day.transit + turn)]
        {
            if near {
                let [rise, set] = Crossing::of(day, latitude).around(other);
                self.add(rise, set);
            }
        }
    }

    /// Adds the sunlit span `rise..set`, days from local midnight.
    fn add(&mut self, rise: f64, set: f64) {
        let (rise, set) = (rise.max(0.0), set.min(1.0));
        if set <= rise {
            return;
        }
        let n = self.n as f64;
        let first = ((rise * n) as usize).min(self.n - 1);
        let last = ((set * n) as usize).min(self.n - 1);
        self.add_span(first, last);
        let begin = |k: usize| k as f64 / n;
        if first == last {
            self.add_edge(first, rise, set);
        } else {
            self.add_edge(first, rise, begin(first + 1));
            self.add_edge(last, begin(last), set);
        }
    }

    fn add_span(&mut self, first: usize, last: usize) {
        self.spans[self.span_count] = (first, last);
        self.span_count += 1;
    }

    /// Keeps the longer sunlit part when the sun sets and rises within one step.
    fn add_edge(&mut self, k: usize, from: f64, to: f64) {
        let (middle, length) = (0.5 * (from + to), to - from);
        for i in 0..self.edge_count {
            if self.edges[i].0 == k {
                if length > self.edge_length[i] {
                    self.edges[i].1 = middle;
                    self.edge_length[i] = length;
                }
                return;
            }
        }
        if self.edge_count < self.edges.len() {
            self.edges[self.edge_count] = (k, middle);
            self.edge_length[self.edge_count] = length;
            self.edge_count += 1;
        }
    }

    /// Adds the day's runs: the sunlit spans, and the steps in which the file holds light. `at` is where the first stands in
    /// the track; the answer is where the next will.
    fn tell(&mut self, weather: &WeatherYear, day: usize, at: usize, runs: &mut Vec<Run>) -> usize {
        let n = self.n;
        let columns = [&weather.ghi, &weather.dni, &weather.dhi].map(|column| &column[day * n..(day + 1) * n]);
        // Hardly any night has light, and most days have one span.
        let (first, end) = match &self.spans[..self.span_count] {
            [] => (0, 0),
            [(first, last), ..] => (*first, last + 1),
        };
        let lit = |night: std::ops::Range<usize>| columns.iter().any(|column| any_above_zero(&column[night.clone()]));
        if self.span_count <= 1 && !lit(0..first) && !lit(end..n) {
            if end > first {
                runs.push(Run { day, first, len: end - first, at });
            }
            return at + end - first;
        }
        for (k, wanted) in self.wanted.iter_mut().enumerate() {
            let sunlit = self.spans[..self.span_count].iter().any(|(first, last)| (*first..=*last).contains(&k));
            *wanted = sunlit || columns[0][k] + columns[1][k] + columns[2][k] > 0.0;
        }
        let (mut at, mut first) = (at, 0);
        for run in self.wanted.chunk_by(|a, b| a == b) {
            if run[0] {
                runs.push(Run { day, first, len: run.len(), at });
                at += run.len();
            }
            first += run.len();
        }
        at
    }
}

/// Whether a short column holds anything above zero.
fn any_above_zero(x: &[f64]) -> bool {
    x.iter().fold(0.0, |most, x| if *x > most { *x } else { most }) > 0.0
}

/// When the sun's centre crosses the horizon.
struct Crossing {
    sin_delta: f64,
    sin_delta_rate: f64,
    lift: f64,
    latitude: Latitude,
    rate: f64,
}

impl Crossing {
    fn of(day: &Day, latitude: Latitude) -> Crossing {
        let a = &day.anchor;
        Crossing {
            sin_delta: a.sin_lambda * a.sin_eps,
            sin_delta_rate: a.cos_lambda * a.sin_eps * a.lambda_rate,
            lift: PARALLAX / a.distance,
            latitude,
            rate: day.rate,
        }
    }

    /// Rise and set around a transit, days from local midnight; set not after rise when the sun stays down.
    ///
    /// `cos w = (lift - sin phi sin delta) / (cos phi cos delta)`, with the declination at the crossing itself.
    #[inline(always)]
    fn around(&self, transit: f64) -> [f64; 2] {
        let half = |time: f64| {
            let s = self.sin_delta + self.sin_delta_rate * (time - 0.5);
            let c2 = 1.0 - s * s;
            let c = (if c2 > 0.0 { c2 } else { 0.0 }).sqrt() * self.latitude.cos;
            let c = if c > 1e-12 { c } else { 1e-12 };
            acos_rough((self.lift - s * self.latitude.sin) / c) / self.rate
        };
        let guess = half(transit);
        [transit - half(transit - guess), transit + half(transit + guess)]
    }
}
