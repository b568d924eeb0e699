//! The sun over a weather year, on its daylight steps.

use super::air::zenith_and_air_mass;
use super::ephemeris::{Anchor, PARALLAX, SIDEREAL_RATE, anchor, days_since_2000, delta_t_s};
use super::position::vector;
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
    /// Local sidereal angle at the middle of the day, rad, its sine and cosine.
    theta: f64,
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
    columns: [Vec<f64>; 15],
}

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
        let mut columns: [Vec<f64>; 15] = std::array::from_fn(|_| vec![0.0; noons.len()]);
        let [a, b, c, d, e, f, g, h, rest @ ..] = &mut columns;
        anchors_of(noons, a, b, c, d, e, f, g, h);
        let [i, j, k, l, m, n, o] = rest;
        horizons_of(a, b, c, d, e, f, g, [longitude, latitude.sin, latitude.cos], i, j, k, l, m, n, o);
        Days { columns }
    }

    fn day(&self, d: usize) -> Day {
        let at = |column: usize| self.columns[column][d];
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
            theta: at(8),
            sin_theta: at(9),
            cos_theta: at(10),
            transit: at(11),
            rise: at(12),
            set: at(13),
            rate: at(14),
        }
    }
}

impl Day {
    /// The sun at the middle of steps `low..high` (multiples of eight) into the scratch columns of the day.
    fn vectors(&self, latitude: Latitude, turns: &Turns, lit: &mut DayLight, low: usize, high: usize) {
        let a = &self.anchor;
        vectors(
            &turns.cos[low..high],
            &turns.sin[low..high],
            &turns.days[low..high],
            [a.cos_lambda, a.sin_lambda, a.lambda_rate, a.cos_eps, a.sin_eps, self.cos_theta, self.sin_theta],
            [latitude.sin, latitude.cos, PARALLAX / a.distance],
            &mut lit.east[low..high],
            &mut lit.north[low..high],
            &mut lit.up[low..high],
        );
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

        let turns = Turns::new(n);
        let room = weather.len() / 2 + weather.len() / 16 + n;
        let mut track = SunTrack::with_room(room);
        let mut lit = DayLight::new(n);
        let mut edges = Edges::default();
        let mut month = 0;
        for d in 0..days.len() {
            // Months of a typical year follow each other; should one come out of turn, it is counted with the one before.
            let this_month = weather.month_of_day(d);
            while month < this_month {
                month += 1;
                track.month_start[month] = track.steps.len();
            }
            let day = days.day(d);
            lit.fill(&day, latitude);
            lit.add_light_of_file(weather, d * n);
            track.push_day(&day, latitude, &turns, &mut lit, d * n, &mut edges);
        }
        while month < 12 {
            month += 1;
            track.month_start[month] = track.steps.len();
        }
        edges.put(&mut track, latitude);
        let count = track.steps.len();
        track.zenith.resize(count, 0.0);
        track.air_mass.resize(count, 0.0);
        zenith_and_air_mass(&track.up, &mut track.zenith, &mut track.air_mass);
        track
    }

    /// East, north and up of the sun at the middle of every step of a run of days, night included.
    pub(crate) fn middles(place: &Place, days: &[chrono::NaiveDate], steps_per_day: usize) -> [Vec<f64>; 3] {
        let n = steps_per_day.max(1);
        let latitude = Latitude::of(place);
        let days = Days::of(place, days);
        let turns = Turns::new(n);
        let mut lit = DayLight::new(n);
        let mut columns: [Vec<f64>; 3] = std::array::from_fn(|_| Vec::with_capacity(days.len() * n));
        for d in 0..days.len() {
            days.day(d).vectors(latitude, &turns, &mut lit, 0, n.next_multiple_of(8));
            for (column, day) in columns.iter_mut().zip([&lit.east, &lit.north, &lit.up]) {
                column.extend_from_slice(&day[..n]);
            }
        }
        columns
    }

    /// Number of daylight steps.
    pub fn len(&self) -> usize {
        self.steps.len()
    }

    /// True when there is no daylight at all.
    pub fn is_empty(&self) -> bool {
        self.steps.is_empty()
    }

    fn with_room(room: usize) -> SunTrack {
        SunTrack {
            steps: Vec::with_capacity(room),
            month_start: [0; 13],
            east: Vec::with_capacity(room),
            north: Vec::with_capacity(room),
            up: Vec::with_capacity(room),
            zenith: Vec::with_capacity(room),
            e0n: Vec::with_capacity(room),
            air_mass: Vec::with_capacity(room),
        }
    }

    fn push_day(
        &mut self,
        day: &Day,
        latitude: Latitude,
        turns: &Turns,
        lit: &mut DayLight,
        first_step: usize,
        edges: &mut Edges,
    ) {
        let Some((from, to)) = lit.range() else { return };
        // Whole groups of eight around the wanted steps keep the loop free of remainders.
        let (low, high) = (from & !7, (to + 8) & !7);
        let a = &day.anchor;
        day.vectors(latitude, turns, lit, low, high);
        for &(k, middle) in &lit.edges[..lit.edge_count] {
            let before = if lit.unbroken { k - from } else { lit.wanted[from..k].iter().filter(|w| **w).count() };
            edges.push(self.steps.len() + before, day, middle - 0.5);
        }
        // 1/R^2 over the day by its rate.
        let e0n = SOLAR_CONSTANT / (a.distance * a.distance);
        let slope = -2.0 * e0n * a.distance_rate / a.distance;
        let e0n_at = |k: usize| e0n + slope * turns.days[k];
        if lit.unbroken {
            self.steps.extend((from..=to).map(|k| (first_step + k) as u32));
            self.e0n.extend((from..=to).map(e0n_at));
            self.east.extend_from_slice(&lit.east[from..=to]);
            self.north.extend_from_slice(&lit.north[from..=to]);
            self.up.extend_from_slice(&lit.up[from..=to]);
        } else {
            for k in (from..=to).filter(|k| lit.wanted[*k]) {
                self.steps.push((first_step + k) as u32);
                self.e0n.push(e0n_at(k));
                self.east.push(lit.east[k]);
                self.north.push(lit.north[k]);
                self.up.push(lit.up[k]);
            }
        }
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
    /// Local sidereal angle, transit, rise and set of many days; see [`Crossing`].
    fn horizons_of(
        cos_lambda: &[f64],
        sin_lambda: &[f64],
        lambda_rate: &[f64],
        cos_eps: &[f64],
        sin_eps: &[f64],
        sidereal: &[f64],
        distance: &[f64],
        place: [f64; 3],
        theta: &mut [f64],
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
        let (theta, sin_theta, cos_theta) = (&mut theta[..n], &mut sin_theta[..n], &mut cos_theta[..n]);
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
            theta[i] = angle;
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
#[derive(Default)]
struct Edges {
    /// Where they stand in the track.
    at: Vec<usize>,
    /// Of each its day's `cos_lambda, sin_lambda, lambda_rate, cos_eps, sin_eps, distance`, `theta`, and the time from the
    /// day's anchor, days.
    columns: [Vec<f64>; 8],
}

impl Edges {
    fn push(&mut self, at: usize, day: &Day, dt: f64) {
        self.at.push(at);
        let a = &day.anchor;
        let of = [a.cos_lambda, a.sin_lambda, a.lambda_rate, a.cos_eps, a.sin_eps, a.distance, day.theta, dt];
        for (column, value) in self.columns.iter_mut().zip(of) {
            column.push(value);
        }
    }

    fn put(&self, track: &mut SunTrack, latitude: Latitude) {
        let [mut east, mut north, mut up] = [(); 3].map(|()| vec![0.0; self.at.len()]);
        let [cos_lambda, sin_lambda, rate, cos_eps, sin_eps, distance, theta, dt] = &self.columns;
        let place = [latitude.sin, latitude.cos];
        vectors_at(
            cos_lambda, sin_lambda, rate, cos_eps, sin_eps, distance, theta, dt, place, &mut east, &mut north, &mut up,
        );
        for (k, &at) in self.at.iter().enumerate() {
            (track.east[at], track.north[at], track.up[at]) = (east[k], north[k], up[k]);
        }
    }
}

crate::wide! {
    /// The sun's vector at `dt` days from a day's anchor.
    fn vectors_at(
        cos_lambda: &[f64],
        sin_lambda: &[f64],
        rate: &[f64],
        cos_eps: &[f64],
        sin_eps: &[f64],
        distance: &[f64],
        theta: &[f64],
        dt: &[f64],
        place: [f64; 2],
        east: &mut [f64],
        north: &mut [f64],
        up: &mut [f64],
    ) {
        let n = dt.len();
        let (cos_lambda, sin_lambda, rate) = (&cos_lambda[..n], &sin_lambda[..n], &rate[..n]);
        let (cos_eps, sin_eps, distance, theta) = (&cos_eps[..n], &sin_eps[..n], &distance[..n], &theta[..n]);
        let (east, north, up) = (&mut east[..n], &mut north[..n], &mut up[..n]);
        for i in 0..n {
            let (s, c) = crate::maths::sin_cos(rate[i] * dt[i]);
            let moved = Anchor {
                cos_lambda: cos_lambda[i] * c - sin_lambda[i] * s,
                sin_lambda: sin_lambda[i] * c + cos_lambda[i] * s,
                lambda_rate: rate[i],
                cos_eps: cos_eps[i],
                sin_eps: sin_eps[i],
                sidereal: 0.0,
                distance: distance[i],
                distance_rate: 0.0,
            };
            let here = vector(&moved, theta[i] + SIDEREAL_RATE * dt[i], place[0], place[1]);
            [east[i], north[i], up[i]] = here;
        }
    }
}

/// How far the sky has turned at the middle of each step, counted from the middle of the day; the same for every day.
struct Turns {
    cos: Vec<f64>,
    sin: Vec<f64>,
    days: Vec<f64>,
}

impl Turns {
    fn new(n: usize) -> Turns {
        let padded = n.next_multiple_of(8);
        let days: Vec<f64> = (0..padded).map(|k| (k as f64 + 0.5) / n as f64 - 0.5).collect();
        let (sin, cos) = days.iter().map(|d| crate::maths::sin_cos(SIDEREAL_RATE * d)).unzip();
        Turns { cos, sin, days }
    }
}

crate::wide! {
    /// East, north and up at the middle of each step of one day.
    fn vectors(
        turn_cos: &[f64],
        turn_sin: &[f64],
        dt: &[f64],
        sun: [f64; 7],
        place: [f64; 3],
        east: &mut [f64],
        north: &mut [f64],
        up: &mut [f64],
    ) {
        let n = turn_cos.len();
        let (turn_sin, dt) = (&turn_sin[..n], &dt[..n]);
        let (east, north, up) = (&mut east[..n], &mut north[..n], &mut up[..n]);
        let [cos_lambda, sin_lambda, rate, cos_eps, sin_eps, cos_theta, sin_theta] = sun;
        let [sin_phi, cos_phi, lift] = place;
        for i in 0..n {
            // The longitude moves by less than 0.009 rad from the anchor: two terms of the series leave 1e-11.
            let d = rate * dt[i];
            let d2 = d * d;
            let s = d - d * d2 * (1.0 / 6.0);
            let c = 1.0 - d2 * (0.5 - d2 * (1.0 / 24.0));
            let x = cos_lambda * c - sin_lambda * s;
            let along = sin_lambda * c + cos_lambda * s;
            let (y, z) = (along * cos_eps, along * sin_eps);
            let c_theta = cos_theta * turn_cos[i] - sin_theta * turn_sin[i];
            let s_theta = sin_theta * turn_cos[i] + cos_theta * turn_sin[i];
            let u = x * c_theta + y * s_theta;
            let h = sin_phi * z + cos_phi * u;
            let scale = 1.0 + lift * h;
            east[i] = (y * c_theta - x * s_theta) * scale;
            north[i] = (cos_phi * z - sin_phi * u) * scale;
            up[i] = (h - lift) * scale;
        }
    }
}

/// Which steps of one day have light, and the scratch columns of that day.
struct DayLight {
    n: usize,
    wanted: Vec<bool>,
    /// Sunlit part of each edge step, days.
    edges: [(usize, f64); 6],
    edge_length: [f64; 6],
    edge_count: usize,
    /// First and last wanted step; empty when first is beyond last.
    first: usize,
    last: usize,
    unbroken: bool,
    east: Vec<f64>,
    north: Vec<f64>,
    up: Vec<f64>,
}

impl DayLight {
    fn new(n: usize) -> DayLight {
        let padded = n.next_multiple_of(8);
        DayLight {
            n,
            wanted: vec![false; n],
            edges: [(0, 0.0); 6],
            edge_length: [0.0; 6],
            edge_count: 0,
            first: n,
            last: 0,
            unbroken: true,
            east: vec![0.0; padded],
            north: vec![0.0; padded],
            up: vec![0.0; padded],
        }
    }

    /// First and last wanted step.
    fn range(&self) -> Option<(usize, usize)> {
        (self.first <= self.last).then_some((self.first, self.last))
    }

    /// Marks the steps in which the sun's centre is above the horizon, and finds the sunlit middle of the edge steps.
    fn fill(&mut self, day: &Day, latitude: Latitude) {
        self.wanted.fill(false);
        self.edge_count = 0;
        (self.first, self.last, self.unbroken) = (self.n, 0, true);
        let (rise, set) = (day.rise, day.set);
        let turn = std::f64::consts::TAU / day.rate;
        if set - rise >= turn * 0.999_999 {
            self.wanted.fill(true);
            (self.first, self.last) = (0, self.n - 1);
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
        self.wanted[first..=last].fill(true);
        self.widen(first, last);
        let begin = |k: usize| k as f64 / n;
        if first == last {
            self.add_edge(first, rise, set);
        } else {
            self.add_edge(first, rise, begin(first + 1));
            self.add_edge(last, begin(last), set);
        }
    }

    /// Takes in a run of wanted steps.
    fn widen(&mut self, first: usize, last: usize) {
        let joined = self.first > self.last || (first <= self.last + 1 && last + 1 >= self.first);
        self.unbroken &= joined;
        self.first = self.first.min(first);
        self.last = self.last.max(last);
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

    fn add_light_of_file(&mut self, weather: &WeatherYear, first: usize) {
        let span = first..first + self.n;
        let columns = (&weather.ghi[span.clone()], &weather.dni[span.clone()], &weather.dhi[span]);
        let (from, to) = if self.first <= self.last { (self.first, self.last + 1) } else { (0, 0) };
        for night in [0..from, to..self.n] {
            // Hardly any night has light: that takes one look at all of it.
            let cut = [columns.0, columns.1, columns.2].map(|column| &column[night.clone()]);
            let lit = cut.map(|column| column.iter().fold(false, |lit, x| lit | (*x > 0.0)));
            if lit == [false; 3] {
                continue;
            }
            for k in night {
                if columns.0[k] + columns.1[k] + columns.2[k] > 0.0 {
                    self.wanted[k] = true;
                    self.widen(k, k);
                }
            }
        }
        if !self.unbroken {
            // Steps between two runs may have been filled since.
            for k in self.first..=self.last {
                self.wanted[k] |= columns.0[k] + columns.1[k] + columns.2[k] > 0.0;
            }
            self.unbroken = self.wanted[self.first..=self.last].iter().all(|w| *w);
        }
    }
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
