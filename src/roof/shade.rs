//! Rays from the cells of a slot to the sun and to the patches of the sky.

use std::ops::Range;

use super::arrays::light_at;
use super::{Face, Frame, Obstacle, Orientation, Rect, Shape, Slot};
use crate::plane::PlaneLight;
use crate::sun::SunTrack;

/// Suns per hour along the path of the sun: a shadow moves by about 15 degrees an hour, so a single one would let the
/// shadow of a mast jump over whole modules.
pub const SUNS_PER_HOUR: u32 = 5;

/// Below this the sun counts as standing on the horizon; shadows are then some thousand times the height.
const UP_MIN: f64 = 1e-4;

/// The sun's way in the standing coordinates of a plane: several suns for each daylight step.
///
/// Between the suns of neighbouring steps of one day the way is straight and brought back to unit length, within
/// 0.03 degrees of the arc; before the first and after the last step of a day it goes on as it came. A step counts as
/// split into `suns` equal parts with a sun in the middle of each.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SunPath {
    /// Suns per step.
    pub suns: usize,
    /// `month_start[m]..month_start[m + 1]` are the daylight steps of month `m`.
    pub month_start: [usize; 13],
    /// Suns that are followed, ascending: all, or those that shine.
    followed: Vec<u32>,
    /// Their directions.
    rays: Rays,
    steps: usize,
}

fn suns_per_step(step_min: u32) -> usize {
    (step_min * SUNS_PER_HOUR / 60).clamp(1, SUNS_PER_HOUR) as usize
}

/// Directions as columns, with the quotients that the ray tests need of them.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Rays {
    along: Vec<f64>,
    uphill: Vec<f64>,
    /// One over each component, and over the square of the horizontal part.
    per_along: Vec<f64>,
    per_uphill: Vec<f64>,
    per_up: Vec<f64>,
    per_flat2: Vec<f64>,
}

impl Rays {
    fn push(&mut self, direction: [f64; 3]) {
        // A component of exactly nothing would divide nothing by nothing in the slab test.
        let off_zero = |c: f64| if c.abs() < 1e-12 { 1e-12 } else { c };
        let (along, uphill) = (off_zero(direction[0]), off_zero(direction[1]));
        self.along.push(along);
        self.uphill.push(uphill);
        self.per_along.push(1.0 / along);
        self.per_uphill.push(1.0 / uphill);
        self.per_up.push(1.0 / direction[2].max(UP_MIN));
        self.per_flat2.push(1.0 / (along * along + uphill * uphill));
    }

    fn with_capacity(n: usize) -> Rays {
        let column = || Vec::with_capacity(n);
        Rays {
            along: column(),
            uphill: column(),
            per_along: column(),
            per_uphill: column(),
            per_up: column(),
            per_flat2: column(),
        }
    }

    fn len(&self) -> usize {
        self.per_up.len()
    }

    fn gather(&self, which: &[u32], into: &mut Rays) {
        self.gather_for_box(which, into);
        self.gather_for_cylinder(which, into);
    }

    fn gather_for_box(&self, which: &[u32], into: &mut Rays) {
        let from = [&self.per_along, &self.per_uphill, &self.per_up];
        pick(from, which, [&mut into.per_along, &mut into.per_uphill, &mut into.per_up]);
    }

    fn gather_for_cylinder(&self, which: &[u32], into: &mut Rays) {
        let from = [&self.along, &self.uphill, &self.per_flat2, &self.per_up];
        pick(from, which, [&mut into.along, &mut into.uphill, &mut into.per_flat2, &mut into.per_up]);
    }

    /// Only the columns that are read to follow the shadow of a shape along rows of points.
    fn gather_for(&self, shape: &Shape, which: &[u32], into: &mut Rays) {
        match shape {
            Shape::Box { .. } => {
                let from = [&self.along, &self.per_uphill, &self.per_up];
                pick(from, which, [&mut into.along, &mut into.per_uphill, &mut into.per_up]);
            }
            Shape::Cylinder { .. } => self.gather_for_cylinder(which, into),
        }
    }
}

/// The same rows of several columns.
fn pick<T: Copy + Default, const N: usize>(from: [&Vec<T>; N], which: &[u32], into: [&mut Vec<T>; N]) {
    let n = which.len();
    let from = from.map(|column| &column[..from[0].len()]);
    let into = into.map(|column| {
        column.resize(n, T::default());
        &mut column[..n]
    });
    for (k, &i) in which.iter().enumerate() {
        for c in 0..N {
            into[c][k] = from[c][i as usize];
        }
    }
}

/// Months of daylight steps that are asked for in ascending order.
pub(super) struct Months<'a> {
    start: &'a [usize; 13],
    month: usize,
}

impl Months<'_> {
    pub fn of(&mut self, step: usize) -> usize {
        while self.month < 11 && step >= self.start[self.month + 1] {
            self.month += 1;
        }
        self.month
    }
}

impl SunPath {
    /// The way of the sun over a plane. `step_min` is the length of a step in minutes.
    pub fn over(sun: &SunTrack, frame: &Frame, step_min: u32) -> SunPath {
        SunPath::with_suns(sun, frame, suns_per_step(step_min), |_| true)
    }

    /// The same without the suns of steps with less beam than `least` on the plane (W/m2): what they hide is nothing.
    /// And once more with one sun a step: for a first look.
    pub(crate) fn shining(
        sun: &SunTrack,
        frame: &Frame,
        step_min: u32,
        light: &PlaneLight,
        least: f64,
    ) -> (SunPath, SunPath) {
        let shines = |i: usize| light_at(light, i)[0] >= least;
        (SunPath::with_suns(sun, frame, suns_per_step(step_min), shines), SunPath::with_suns(sun, frame, 1, shines))
    }

    fn with_suns(sun: &SunTrack, frame: &Frame, suns: usize, shines: impl Fn(usize) -> bool) -> SunPath {
        let n = sun.steps.len();
        let (mut rays, mut followed) = (Rays::with_capacity(n * suns), Vec::with_capacity(n * suns));
        let at = |i: usize| [sun.east[i], sun.north[i], sun.up[i]];
        for i in (0..n).filter(|&i| shines(i)) {
            let here = at(i);
            let linked = |a: usize, b: usize| b < n && sun.steps[b].wrapping_sub(sun.steps[a]) == 1;
            let before = (i > 0 && linked(i - 1, i)).then(|| at(i - 1));
            let after = linked(i, i + 1).then(|| at(i + 1));
            let onward = |from: [f64; 3], to: [f64; 3]| [to[0] - from[0], to[1] - from[1], to[2] - from[2]];
            let back = before.map(|b| onward(b, here));
            let forth = after.map(|a| onward(here, a));
            let still = [0.0; 3];
            let (back, forth) = (back.or(forth).unwrap_or(still), forth.or(back).unwrap_or(still));
            for k in 0..suns {
                let share = (k as f64 + 0.5) / suns as f64 - 0.5;
                let step = if share < 0.0 { back } else { forth };
                let v = [here[0] + share * step[0], here[1] + share * step[1], here[2] + share * step[2]];
                let length = (v[0] * v[0] + v[1] * v[1] + v[2] * v[2]).sqrt().max(1e-9);
                rays.push(frame.standing_sun(v[0] / length, v[1] / length, v[2] / length));
                followed.push((i * suns + k) as u32);
            }
        }
        SunPath { suns, month_start: sun.month_start, followed, rays, steps: n }
    }

    /// Number of daylight steps.
    pub fn steps(&self) -> usize {
        self.steps
    }

    /// The step of a sun that is followed.
    fn step_of(&self, followed: u32) -> usize {
        self.followed[followed as usize] as usize / self.suns
    }

    pub(super) fn months(&self) -> Months<'_> {
        Months { start: &self.month_start, month: 0 }
    }
}

/// The shade on one slot.
#[derive(Debug, Clone, PartialEq)]
pub struct SlotShade {
    /// Daylight steps with a shaded sun, ascending.
    pub steps: Vec<u32>,
    /// Share of the beam that reaches the cells on each of these, mean over the slot and the step.
    pub beam_kept: Vec<f64>,
    /// Suns (index `step * suns + k`) at which any cell of the slot is in shade, ascending.
    pub shaded: Vec<u32>,
    /// For each of these which groups have how much of the beam.
    pub(crate) patterns: Vec<Pattern>,
    /// The shares of the groups side by side for those without a pattern, in their order.
    pub(crate) others: Vec<f32>,
    /// Share of the isotropic sky that the slot still sees, by month.
    pub sky_kept: [f64; 12],
}

impl SlotShade {
    /// A slot without any shade.
    pub fn none() -> SlotShade {
        SlotShade {
            steps: Vec::new(),
            beam_kept: Vec::new(),
            shaded: Vec::new(),
            patterns: Vec::new(),
            others: Vec::new(),
            sky_kept: [1.0; 12],
        }
    }

    /// Share of the beam that reaches the cells on a daylight step.
    pub fn beam_kept_at(&self, step: usize) -> f64 {
        self.steps.binary_search(&(step as u32)).map_or(1.0, |at| self.beam_kept[at])
    }

    fn clear(&mut self) {
        self.steps.clear();
        self.beam_kept.clear();
        self.shaded.clear();
        self.patterns.clear();
        self.others.clear();
    }
}

/// The share of the beam that counts for the current of each bypass group: that of the darkest cell; with parallel
/// halves the mean of the darkest cell of each.
///
/// Opaque obstacles leave a group all, half or none. These are the digits 0, 1 and 2 of a number to the base of three,
/// the first group last.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Pattern(u16);

impl Pattern {
    /// Some group has another share.
    pub const OTHER: Pattern = Pattern(u16::MAX);
    /// All groups have all of it.
    pub const OPEN: Pattern = Pattern(0);
    /// More groups than these have no pattern.
    const MOST_GROUPS: usize = 6;

    pub fn number(self) -> usize {
        self.0.into()
    }
}

/// What the patterns of so many groups stand for.
#[derive(Debug, Default)]
pub(crate) struct Patterns {
    /// Share of each group.
    pub shares: Vec<Vec<f64>>,
    /// How many groups have none and how many half of the beam.
    pub counts: Vec<[u8; 2]>,
}

impl Patterns {
    pub fn of(groups: usize) -> Patterns {
        let groups = groups.min(Pattern::MOST_GROUPS) as u32;
        let digit = |number: usize, group: u32| number / 3_usize.pow(group) % 3;
        let digits = |number: usize| (0..groups).map(move |group| digit(number, group));
        let count = |number: usize, wanted: usize| digits(number).filter(|&d| d == wanted).count() as u8;
        let numbers = 0..3_usize.pow(groups);
        Patterns {
            shares: numbers.clone().map(|n| digits(n).map(|d| 1.0 - 0.5 * d as f64).collect()).collect(),
            counts: numbers.map(|n| [count(n, 2), count(n, 1)]).collect(),
        }
    }
}

/// The shade of `obstacles` on each of `slots`, in their order.
///
/// From sample points, about one a cell, a ray goes to each sun of the path. A box is met by the slab method (Kay and
/// Kajiya 1986: the ray is inside between the latest entry and the earliest exit), an upright cylinder by the quadratic
/// of its circle in plan; the flat top bounds both. Obstacles in line multiply. Only suns that may throw the
/// shadow of the obstacle on the slot are followed from every point: where along a row of slots the shadow of the
/// rectangle around the obstacle, grown by half the row's height, lies tells which; this changes no result.
///
/// The sky share is the sum over about 1000 patches of equal solid angle (a spiral by the golden angle), weighted by
/// the cosine to the plane's normal; circumsolar light goes with the beam, the horizon band with the isotropic sky.
///
/// Neglected: the size of the sun's disc, light from the faces of obstacles, the height of modules above the plane.
pub fn slot_shades(
    slots: &[Slot],
    orientation: Orientation,
    face: &Face,
    frame: &Frame,
    obstacles: &[Obstacle],
    path: &SunPath,
) -> Vec<SlotShade> {
    let (sky, mut work) = (SkyPatches::over(frame), Work::default());
    shades_at(slots, orientation, face, frame, obstacles, path, &sky, false, &mut work)
}

/// [`slot_shades`] under patches of sky that are known; `coarse` takes a third of the sample points.
#[allow(clippy::too_many_arguments)]
pub(crate) fn shades_at(
    slots: &[Slot],
    orientation: Orientation,
    face: &Face,
    frame: &Frame,
    obstacles: &[Obstacle],
    path: &SunPath,
    sky: &SkyPatches,
    coarse: bool,
    work: &mut Work,
) -> Vec<SlotShade> {
    if obstacles.is_empty() || slots.is_empty() {
        return vec![SlotShade::none(); slots.len()];
    }
    let ground = Ground { orientation, face, frame, obstacles, path, sky, coarse };
    let in_row = |a: &Slot, b: &Slot| {
        let (a, b) = (a.rect, b.rect);
        (a.y, a.w, a.h) == (b.y, b.w, b.h) && a.x < b.x
    };
    let mut shades = Vec::with_capacity(slots.len());
    for row in slots.chunk_by(in_row) {
        ground.shade(row, work, &mut shades);
    }
    shades
}

/// So many slots side by side share a look at the patches of sky that may be hidden from any of them.
const NEIGHBOURS: usize = 4;

/// Memory that is filled again from slot to slot.
#[derive(Debug, Default)]
pub(crate) struct Work {
    near: RowSuns,
    picked: Picked,
    patches: HiddenPatches,
    followed: Followed,
}

/// The smallest rectangle around some places: its middle and half its extents, in standing coordinates.
struct Reach {
    centre: [f64; 3],
    half: [f64; 3],
}

impl Reach {
    fn of(slots: &[Slot], frame: &Frame) -> Reach {
        let first = slots.first().map_or(Rect { x: 0.0, y: 0.0, w: 0.0, h: 0.0 }, |s| s.rect);
        let all = slots.iter().fold(first, |all, s| {
            let (x, y) = (all.x.min(s.rect.x), all.y.min(s.rect.y));
            let (right, top) = ((all.x + all.w).max(s.rect.x + s.rect.w), (all.y + all.h).max(s.rect.y + s.rect.h));
            Rect { x, y, w: right - x, h: top - y }
        });
        Reach::around(&all, frame)
    }

    fn around(rect: &Rect, frame: &Frame) -> Reach {
        let [cx, cy] = rect.centre();
        let half = [0.5 * rect.w, 0.5 * rect.h * frame.cos_tilt(), 0.5 * rect.h * frame.sin_tilt()];
        Reach { centre: frame.standing(cx, cy), half }
    }
}

/// Positions of the directions in which an obstacle may hide something from a place.
#[derive(Debug, Default)]
struct Picked {
    hit: Vec<f64>,
    places: Vec<u32>,
}

impl Picked {
    /// Those with a hit.
    fn marked(&mut self) -> &[u32] {
        const AT_ONCE: usize = 16;
        self.places.resize(self.places.len().max(self.hit.len() + AT_ONCE), 0);
        let mut count = 0;
        for (run, hits) in self.hit.chunks(AT_ONCE).enumerate() {
            // Long runs hold none at all.
            if hits.iter().fold(0, |any, h| any | h.to_bits()) == 0 {
                continue;
            }
            let places = &mut self.places[count..count + AT_ONCE];
            let mut found = 0;
            for (i, h) in hits.iter().enumerate() {
                places[found % AT_ONCE] = (run * AT_ONCE + i) as u32;
                found += usize::from(*h > 0.0);
            }
            count += found;
        }
        &self.places[..count]
    }
}

fn refill(column: &mut Vec<f64>, n: usize, value: f64) {
    column.clear();
    column.resize(n, value);
}

/// The suns at which each obstacle may shade each slot of a row, in memory that is filled again from row to row.
#[derive(Debug, Default)]
struct RowSuns {
    /// Slot by slot and obstacle by obstacle: positions among the suns that are followed, ascending.
    lists: Vec<Vec<u32>>,
}

impl RowSuns {
    /// `row`: slots of one size side by side.
    fn find(&mut self, row: &[Slot], ground: &Ground<'_>) {
        let (Some(first), Some(last)) = (row.first(), row.last()) else { return };
        let (rays, obstacles) = (&ground.path.rays, ground.obstacles.len());
        let count = row.len() * obstacles;
        self.lists.resize_with(self.lists.len().max(count), Vec::new);
        self.lists[..count].iter_mut().for_each(Vec::clear);
        let (left, right) = (|k: usize| row[k].rect.x, |k: usize| row[k].rect.x + row[k].rect.w);
        let (row_start, row_end) = (first.rect.x, last.rect.x + last.rect.w);
        let Reach { centre, half } = Reach::of(row, ground.frame);
        let mut span = [[0.0; RUN]; 2];
        for (number, obstacle) in ground.obstacles.iter().enumerate() {
            let (a, u, top) = obstacle.shape.bounds();
            let (below, above) = (u[0] - half[1] - centre[1], u[1] + half[1] - centre[1]);
            let relative = [a[0], a[1], below, above, top + half[2] - centre[2]];
            // The slot on which the shadow starts; from one sun to the next it moves little.
            let mut at = 0;
            for from in (0..rays.len()).step_by(RUN) {
                let run = from..(from + RUN).min(rays.len());
                let ends = span.each_mut().map(|end| &mut end[..run.len()]);
                let of_run = [&rays.along[run.clone()], &rays.per_uphill[run.clone()], &rays.per_up[run.clone()]];
                box_spans(relative, of_run, ends);
                for (sun, (&start, &end)) in run.zip(span[0].iter().zip(&span[1])) {
                    if !(start < row_end && end > row_start) {
                        continue;
                    }
                    while at > 0 && right(at - 1) > start {
                        at -= 1;
                    }
                    while right(at) <= start {
                        at += 1;
                    }
                    let mut slot = at;
                    while slot < row.len() && left(slot) < end {
                        self.lists[slot * obstacles + number].push(sun as u32);
                        slot += 1;
                    }
                }
            }
        }
    }
}

/// Columns of one slot.
#[derive(Debug, Default)]
struct Followed {
    candidates: Vec<Candidate>,
    /// Suns that more than one obstacle may hide.
    crossed: Vec<u32>,
    /// Directions of the suns in hand.
    rays: Rays,
    /// What is left at the suns of each obstacle by itself, then at the crossed ones.
    left: Vec<Left>,
    /// By obstacle: what it hides at each of the suns in hand.
    opacity: Vec<Vec<f64>>,
    hit: Vec<f64>,
    kept: Vec<f64>,
    shade: Option<SlotShade>,
}

/// A sun that may be hidden, and where in [`Followed::left`] it stands.
#[derive(Debug, Clone, Copy)]
struct Candidate {
    sun: u32,
    left: u32,
    at: u32,
}

/// What obstacles leave of the beam at some suns.
#[derive(Debug, Default)]
struct Left {
    /// Share on the darkest point, field by field.
    darkest: Vec<f64>,
    /// Sum of the shares on all points, then what is lost of the step by their mean.
    sum: Vec<f64>,
    /// Share for the current, group by group, and the number of its pattern.
    groups: Vec<f64>,
    pattern: Vec<f64>,
}

impl Left {
    fn fresh(&mut self, suns: usize, fields: usize, darkest: f64) {
        refill(&mut self.sum, suns, 0.0);
        refill(&mut self.darkest, suns * fields, darkest);
    }

    /// From points and fields to steps and groups.
    fn settle(&mut self, samples: &Samples, suns_per_step: usize) {
        let n = self.sum.len();
        let Samples { groups, parts, .. } = *samples;
        sum_to_loss(samples.count() as f64, suns_per_step as f64, &mut self.sum);
        let other = f64::from(Pattern::OTHER.0);
        let unknown = if groups > Pattern::MOST_GROUPS { other } else { 0.0 };
        refill(&mut self.pattern, n, unknown);
        self.groups.resize(n * groups, 0.0);
        let mut digit = 1.0;
        for (group, share) in self.groups.chunks_exact_mut(n).enumerate() {
            let part = |k: usize| &self.darkest[(group * parts + k) * n..][..n];
            parts_to_group(part(0), part(parts - 1), digit, other, share, &mut self.pattern);
            digit *= 3.0;
        }
    }
}

/// What all slots of a plane share.
struct Ground<'a> {
    orientation: Orientation,
    face: &'a Face,
    frame: &'a Frame,
    obstacles: &'a [Obstacle],
    path: &'a SunPath,
    sky: &'a SkyPatches,
    coarse: bool,
}

impl Ground<'_> {
    /// Shades the slots of a row.
    fn shade(&self, row: &[Slot], work: &mut Work, shades: &mut Vec<SlotShade>) {
        work.near.find(row, self);
        let mut near = work.near.lists.chunks_exact(self.obstacles.len());
        for group in row.chunks(NEIGHBOURS) {
            work.patches.find(self.sky, self.obstacles, &Reach::of(group, self.frame), &mut work.picked);
            for (slot, near) in group.iter().zip(&mut near) {
                let sky_kept = work.patches.kept(&slot.rect, self.frame, self.obstacles, self.sky.total);
                shades.push(self.follow(&slot.rect, near, sky_kept, &mut work.followed));
            }
        }
    }

    /// Follows the rays of every sample point at the suns that each obstacle may hide.
    fn follow(&self, rect: &Rect, near: &[Vec<u32>], sky_kept: [f64; 12], work: &mut Followed) -> SlotShade {
        if near.iter().all(Vec::is_empty) {
            return SlotShade { sky_kept, ..SlotShade::none() };
        }
        let samples = Samples::of(rect, self.orientation, self.face, self.coarse);
        work.left.resize_with(work.left.len().max(near.len() + 1), Left::default);
        work.opacity.resize(work.opacity.len().max(near.len()), Vec::new());
        self.each(&samples, near, work);
        self.cross(&samples, near, work);
        self.gather(samples.groups, sky_kept, work)
    }

    /// What an obstacle hides at some suns, ascending.
    fn opacity(&self, obstacle: usize, suns: &[u32], into: &mut Vec<f64>) {
        let (passes, mut months) = (&self.obstacles[obstacle].passes, self.path.months());
        into.clear();
        if self.obstacles[obstacle].seasonal() {
            into.extend(suns.iter().map(|&sun| 1.0 - passes[months.of(self.path.step_of(sun))]));
        } else {
            into.resize(suns.len(), 1.0 - passes[0]);
        }
    }

    /// What each obstacle leaves by itself: the points in its shade are counted.
    fn each(&self, samples: &Samples, near: &[Vec<u32>], work: &mut Followed) {
        let Followed { left, opacity, hit, rays, .. } = work;
        let opacity = &mut opacity[0];
        let [columns, rows] = samples.grid();
        let along_eave: Vec<f64> = (0..columns).map(|column| samples.at(column, 0)[0]).collect();
        let mut span = [[0.0; RUN]; 2];
        for (obstacle, (suns, left)) in near.iter().zip(left).enumerate().filter(|(_, (suns, _))| !suns.is_empty()) {
            let n = suns.len();
            left.fresh(n, samples.fields(), 0.0);
            refill(hit, n, 0.0);
            self.opacity(obstacle, suns, opacity);
            let shape = &self.obstacles[obstacle].shape;
            self.path.rays.gather_for(shape, suns, rays);
            // Run by run of suns, which stays at hand while all points are gone through.
            for start in (0..n).step_by(RUN) {
                let run = start..(start + RUN).min(n);
                for row in 0..rows {
                    let [x, y] = samples.at(0, row);
                    let from = self.frame.standing(x, y);
                    if let Shape::Box { along: a, uphill: b, top } = *shape {
                        let relative = [a[0], a[1], b[0] - from[1], b[1] - from[1], top - from[2]];
                        let Rays { along, per_uphill, per_up, .. } = &*rays;
                        let ends = span.each_mut().map(|end| &mut end[..run.len()]);
                        let of_run = [&along[run.clone()], &per_uphill[run.clone()], &per_up[run.clone()]];
                        box_spans(relative, of_run, ends);
                    }
                    for (column, &x) in along_eave.iter().enumerate() {
                        let field = samples.field(column, row) * n;
                        let hit = &mut left.darkest[field + run.start..field + run.end];
                        match shape {
                            Shape::Box { .. } => count_within(x, &span[0], &span[1], hit),
                            Shape::Cylinder { .. } => {
                                count_hits_in(run.clone(), shape, [x, from[1], from[2]], rays, hit);
                            }
                        }
                    }
                }
            }
            for field in left.darkest.chunks_exact_mut(n) {
                count_to_share(opacity, field, hit);
            }
            points_to_share(samples.count() as f64, hit, opacity, &mut left.sum);
            left.settle(samples, self.path.suns);
        }
    }

    /// Suns that several obstacles may hide: what they leave multiplies, point by point.
    fn cross(&self, samples: &Samples, near: &[Vec<u32>], work: &mut Followed) {
        let Followed { candidates, crossed, rays, left, opacity, hit, kept, .. } = work;
        candidates.clear();
        crossed.clear();
        for (left, suns) in (0..).zip(near) {
            candidates.extend((0..).zip(suns).map(|(at, &sun)| Candidate { sun, left, at }));
        }
        let met = |obstacle: &usize| !near[*obstacle].is_empty();
        if (0..near.len()).filter(met).count() == 1 {
            return;
        }
        // Stable, because it joins what is in order already.
        candidates.sort_by_key(|c| c.sun);
        candidates.dedup_by(|next, first| {
            let same = next.sun == first.sun;
            if same && first.left != near.len() as u32 {
                (first.left, first.at) = (near.len() as u32, crossed.len() as u32);
                crossed.push(first.sun);
            }
            same
        });
        if crossed.is_empty() {
            return;
        }
        let (n, left) = (crossed.len(), &mut left[near.len()]);
        left.fresh(n, samples.fields(), 1.0);
        self.path.rays.gather(crossed, rays);
        for obstacle in (0..near.len()).filter(met) {
            self.opacity(obstacle, crossed, &mut opacity[obstacle]);
        }
        let points: Vec<[f64; 3]> = samples.points().map(|[x, y]| self.frame.standing(x, y)).collect();
        for (darkest, points) in left.darkest.chunks_exact_mut(n).zip(points.chunks(samples.per_field())) {
            for from in points {
                refill(kept, n, 1.0);
                for obstacle in (0..near.len()).filter(met) {
                    refill(hit, n, 0.0);
                    count_hits(&self.obstacles[obstacle].shape, *from, rays, hit);
                    dim(hit, &opacity[obstacle], kept);
                }
                lower_and_add(kept, darkest, &mut left.sum);
            }
        }
        left.settle(samples, self.path.suns);
    }

    /// What is left, sun by sun.
    fn gather(&self, groups: usize, sky_kept: [f64; 12], work: &mut Followed) -> SlotShade {
        let path = self.path;
        let shade = work.shade.get_or_insert_with(SlotShade::none);
        shade.clear();
        shade.sky_kept = sky_kept;
        let (mut next_step, mut kept) = (0, 1.0);
        for c in &work.candidates {
            let (left, at) = (&work.left[c.left as usize], c.at as usize);
            let loss = left.sum[at];
            if loss <= 0.0 {
                continue;
            }
            let number = path.followed[c.sun as usize];
            if number >= next_step {
                close(&mut shade.beam_kept, kept);
                let step = number / path.suns as u32;
                next_step = (step + 1) * path.suns as u32;
                shade.steps.push(step);
                shade.beam_kept.push(1.0);
                kept = 1.0;
            }
            kept -= loss;
            shade.shaded.push(number);
            let pattern = Pattern(left.pattern[at] as u16);
            shade.patterns.push(pattern);
            if pattern == Pattern::OTHER {
                let n = left.sum.len();
                shade.others.extend((0..groups).map(|group| left.groups[group * n + at] as f32));
            }
        }
        close(&mut shade.beam_kept, kept);
        // A copy takes no more room than it needs.
        shade.clone()
    }
}

/// Suns in a run.
const RUN: usize = 512;

/// Writes down what the step in hand keeps.
fn close(beam_kept: &mut [f64], kept: f64) {
    if let Some(last) = beam_kept.last_mut() {
        *last = kept.clamp(0.0, 1.0);
    }
}

/// Sample points of a slot: one in the middle of each cell, six cells over the module's short side. Each part of each
/// group is a field of its own.
struct Samples {
    rect: Rect,
    portrait: bool,
    groups: usize,
    parts: usize,
    across: usize,
    lengthwise: usize,
}

impl Samples {
    fn of(rect: &Rect, orientation: Orientation, face: &Face, coarse: bool) -> Samples {
        let groups = face.groups as usize;
        let parts = if face.halves { 2 } else { 1 };
        let across = 6_usize.div_ceil(groups).max(1);
        let cells = (6.0 * face.length_m / face.width_m).round().clamp(2.0, 30.0) as usize;
        let lengthwise = cells.div_ceil(parts);
        let (across, lengthwise) = if coarse { (1, lengthwise.div_ceil(2)) } else { (across, lengthwise) };
        Samples { rect: *rect, portrait: orientation == Orientation::Portrait, groups, parts, across, lengthwise }
    }

    fn fields(&self) -> usize {
        self.groups * self.parts
    }

    fn per_field(&self) -> usize {
        self.across * self.lengthwise
    }

    fn count(&self) -> usize {
        self.fields() * self.per_field()
    }

    /// The points stand in so many columns and rows.
    fn grid(&self) -> [usize; 2] {
        let (short, long) = (self.groups * self.across, self.parts * self.lengthwise);
        if self.portrait { [short, long] } else { [long, short] }
    }

    /// The point in a column and row.
    fn at(&self, column: usize, row: usize) -> [f64; 2] {
        let [columns, rows] = self.grid();
        let (fx, fy) = ((column as f64 + 0.5) / columns as f64, (row as f64 + 0.5) / rows as f64);
        [self.rect.x + fx * self.rect.w, self.rect.y + fy * self.rect.h]
    }

    /// The field of the point in a column and row; the parts of a group stand side by side.
    fn field(&self, column: usize, row: usize) -> usize {
        let (short, long) = if self.portrait { (column, row) } else { (row, column) };
        short / self.across * self.parts + long / self.lengthwise
    }

    /// Field by field.
    fn points(&self) -> impl Iterator<Item = [f64; 2]> + '_ {
        (0..self.count()).map(move |i| {
            let (field, i) = (i / self.per_field(), i % self.per_field());
            let (group, part) = (field / self.parts, field % self.parts);
            let (short, long) = (group * self.across + i % self.across, part * self.lengthwise + i / self.across);
            if self.portrait { self.at(short, long) } else { self.at(long, short) }
        })
    }
}

/// Patches of equal solid angle over the upper half of the sky, those in front of a plane.
#[derive(Debug)]
pub(crate) struct SkyPatches {
    rays: Rays,
    /// Cosine to the plane's normal.
    weight: Vec<f64>,
    total: f64,
}

impl SkyPatches {
    const COUNT: usize = 1024;

    pub(crate) fn over(frame: &Frame) -> SkyPatches {
        let golden = std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
        let mut rays = Rays::with_capacity(Self::COUNT);
        let mut weight = Vec::with_capacity(Self::COUNT);
        for i in 0..Self::COUNT {
            let up = 1.0 - (i as f64 + 0.5) / Self::COUNT as f64;
            let flat = (1.0 - up * up).sqrt();
            let (s, c) = crate::maths::sin_cos(golden * i as f64);
            let direction = [flat * s, flat * c, up];
            let cos = frame.cos_to_normal(direction);
            if cos > 0.0 {
                rays.push(direction);
                weight.push(cos);
            }
        }
        let total = crate::maths::sum(&weight);
        SkyPatches { rays, weight, total }
    }
}

/// Patches that some obstacle may hide from a place, and their weights.
#[derive(Debug, Default)]
struct HiddenPatches {
    rays: Rays,
    weight: Vec<f64>,
    hit: Vec<f64>,
    kept: Vec<f64>,
}

impl HiddenPatches {
    fn find(&mut self, sky: &SkyPatches, obstacles: &[Obstacle], place: &Reach, picked: &mut Picked) {
        refill(&mut picked.hit, sky.rays.len(), 0.0);
        for obstacle in obstacles {
            count_hits(&obstacle.shape.grown(place.half), place.centre, &sky.rays, &mut picked.hit);
        }
        let places = picked.marked();
        sky.rays.gather(places, &mut self.rays);
        pick([&sky.weight], places, [&mut self.weight]);
    }

    /// Share of the isotropic sky, all of which weighs `total`, that a slot sees, by month: mean of four points.
    fn kept(&mut self, rect: &Rect, frame: &Frame, obstacles: &[Obstacle], total: f64) -> [f64; 12] {
        let n = self.weight.len();
        if n == 0 {
            return [1.0; 12];
        }
        let months = if obstacles.iter().any(Obstacle::seasonal) { 12 } else { 1 };
        let mut hidden = [0.0; 12];
        for (fx, fy) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
            let from = frame.standing(rect.x + fx * rect.w, rect.y + fy * rect.h);
            refill(&mut self.hit, n * obstacles.len(), 0.0);
            for (obstacle, hit) in obstacles.iter().zip(self.hit.chunks_exact_mut(n)) {
                count_hits(&obstacle.shape, from, &self.rays, hit);
            }
            for (month, sum) in hidden.iter_mut().enumerate().take(months) {
                self.kept.clear();
                self.kept.extend_from_slice(&self.weight);
                for (obstacle, hit) in obstacles.iter().zip(self.hit.chunks_exact(n)) {
                    let opacity = 1.0 - obstacle.passes[month];
                    for (w, h) in self.kept.iter_mut().zip(hit) {
                        *w *= 1.0 - h * opacity;
                    }
                }
                let lost: f64 = self.weight.iter().zip(&self.kept).map(|(w, k)| w - k).sum();
                *sum += 0.25 * lost / total;
            }
        }
        if months == 1 {
            hidden = [hidden[0]; 12];
        }
        hidden.map(|h| (1.0 - h).clamp(0.0, 1.0))
    }
}

/// Adds 1 where a ray from `from` meets the solid.
fn count_hits(shape: &Shape, from: [f64; 3], rays: &Rays, hit: &mut [f64]) {
    count_hits_in(0..rays.len(), shape, from, rays, hit);
}

/// The same for a run of the rays.
fn count_hits_in(run: Range<usize>, shape: &Shape, from: [f64; 3], rays: &Rays, hit: &mut [f64]) {
    match *shape {
        Shape::Box { along: a, uphill: b, top } => box_hits(
            [a[0] - from[0], a[1] - from[0], b[0] - from[1], b[1] - from[1], top - from[2]],
            &rays.per_along[run.clone()],
            &rays.per_uphill[run.clone()],
            &rays.per_up[run],
            hit,
        ),
        Shape::Cylinder { centre, radius, top } => {
            let (cx, cy) = (centre[0] - from[0], centre[1] - from[1]);
            cylinder_hits(
                [cx, cy, cx * cx + cy * cy - radius * radius, top - from[2]],
                &rays.along[run.clone()],
                &rays.uphill[run.clone()],
                &rays.per_flat2[run.clone()],
                &rays.per_up[run],
                hit,
            );
        }
    }
}

crate::wide! {
    /// Slab method; `b` holds the sides and the top relative to the start of the ray.
    fn box_hits(b: [f64; 5], per_along: &[f64], per_uphill: &[f64], per_up: &[f64], hit: &mut [f64]) {
        let n = hit.len();
        let (per_along, per_uphill, per_up) = (&per_along[..n], &per_uphill[..n], &per_up[..n]);
        for i in 0..n {
            let (a0, a1) = (b[0] * per_along[i], b[1] * per_along[i]);
            let (u0, u1) = (b[2] * per_uphill[i], b[3] * per_uphill[i]);
            let (a_in, a_out) = if a0 < a1 { (a0, a1) } else { (a1, a0) };
            let (u_in, u_out) = if u0 < u1 { (u0, u1) } else { (u1, u0) };
            let enter = if a_in > u_in { a_in } else { u_in };
            let enter = if enter > 0.0 { enter } else { 0.0 };
            let leave = if a_out < u_out { a_out } else { u_out };
            // Above the top: up * t > top.
            let above = b[4] * per_up[i];
            let leave = if leave < above { leave } else { above };
            hit[i] += if enter < leave { 1.0 } else { 0.0 };
        }
    }
}

crate::wide! {
    /// From where to where along the eave, without the ends, a row of points lies in the shade of a box: `b` holds the
    /// sides along the eave, and those uphill and the top relative to the row.
    ///
    /// The slab method solved for the place: the ray is within the other sides and below the top from `enter` to
    /// `leave`, and on the way there it passes between the sides along the eave.
    fn box_spans(b: [f64; 5], rays: [&[f64]; 3], ends: [&mut [f64]; 2]) {
        let [start, end] = ends;
        let n = start.len();
        let [along, per_uphill, per_up] = rays;
        let (along, per_uphill, per_up, end) = (&along[..n], &per_uphill[..n], &per_up[..n], &mut end[..n]);
        for i in 0..n {
            let (u0, u1) = (b[2] * per_uphill[i], b[3] * per_uphill[i]);
            let (u_in, u_out) = if u0 < u1 { (u0, u1) } else { (u1, u0) };
            let enter = if u_in > 0.0 { u_in } else { 0.0 };
            let above = b[4] * per_up[i];
            let leave = if u_out < above { u_out } else { above };
            let (first, last) = (enter * along[i], leave * along[i]);
            let (less, more) = if first < last { (first, last) } else { (last, first) };
            start[i] = if enter < leave { b[0] - more } else { f64::INFINITY };
            end[i] = b[1] - less;
        }
    }
}

crate::wide! {
    /// Adds 1 where a place lies between two ends.
    fn count_within(x: f64, start: &[f64], end: &[f64], hit: &mut [f64]) {
        let n = hit.len();
        let (start, end) = (&start[..n], &end[..n]);
        for i in 0..n {
            hit[i] += if (x > start[i]) & (x < end[i]) { 1.0 } else { 0.0 };
        }
    }
}

crate::wide! {
    /// Circle in plan, bounded by the top; `c` holds the centre, its squared distance less the squared radius, and the
    /// top, relative to the start of the ray.
    fn cylinder_hits(c: [f64; 4], along: &[f64], uphill: &[f64], per_flat2: &[f64], per_up: &[f64], hit: &mut [f64]) {
        let n = hit.len();
        let (along, uphill, per_flat2, per_up) = (&along[..n], &uphill[..n], &per_flat2[..n], &per_up[..n]);
        for i in 0..n {
            // a t^2 - 2 b t + c = 0, divided by a: the ray is inside from b - sqrt(d) to b + sqrt(d). Squares tell
            // what the roots would: whether it leaves behind the start and enters below the top.
            let b = (c[0] * along[i] + c[1] * uphill[i]) * per_flat2[i];
            let d = b * b - c[2] * per_flat2[i];
            let above = c[3] * per_up[i];
            let late = b - above;
            let ahead = (b > 0.0) | (c[2] < 0.0);
            let below = (above > 0.0) & ((late < 0.0) | (d > late * late));
            hit[i] += if (d > 0.0) & ahead & below { 1.0 } else { 0.0 };
        }
    }
}

crate::wide! {
    /// Turns the points of a field in shade into the share on its darkest point, and adds them to those of the slot.
    fn count_to_share(opacity: &[f64], field: &mut [f64], hit: &mut [f64]) {
        let n = field.len();
        let (opacity, hit) = (&opacity[..n], &mut hit[..n]);
        for i in 0..n {
            hit[i] += field[i];
            let dark = 1.0 - opacity[i];
            field[i] = if field[i] > 0.0 { dark } else { 1.0 };
        }
    }
}

crate::wide! {
    /// Sum of the shares on all points, of which one obstacle hides some.
    fn points_to_share(points: f64, hit: &[f64], opacity: &[f64], sum: &mut [f64]) {
        let n = sum.len();
        let (hit, opacity) = (&hit[..n], &opacity[..n]);
        for i in 0..n {
            sum[i] = points - hit[i] + hit[i] * (1.0 - opacity[i]);
        }
    }
}

crate::wide! {
    /// What the mean over all points takes from a step.
    fn sum_to_loss(points: f64, suns: f64, sum: &mut [f64]) {
        for s in sum.iter_mut() {
            *s = (1.0 - *s / points) / suns;
        }
    }
}

crate::wide! {
    /// Share of a group from those of its parts, the same when it has one, and its part in the number of the pattern.
    fn parts_to_group(first: &[f64], last: &[f64], digit: f64, other: f64, share: &mut [f64], pattern: &mut [f64]) {
        let n = share.len();
        let (first, last, pattern) = (&first[..n], &last[..n], &mut pattern[..n]);
        for i in 0..n {
            let s = 0.5 * first[i] + 0.5 * last[i];
            share[i] = s;
            // Rounded to the numbers that are kept.
            let s = s as f32;
            let of_three = if s == 0.0 { 2.0 } else if s == 0.5 { 1.0 } else { 0.0 };
            let more = if (s == 0.0) | (s == 0.5) | (s == 1.0) { digit * of_three } else { other };
            let sum = pattern[i] + more;
            pattern[i] = if sum < other { sum } else { other };
        }
    }
}

crate::wide! {
    /// Takes what an obstacle hides: the rest is `1 - hit * opacity`.
    fn dim(hit: &[f64], opacity: &[f64], kept: &mut [f64]) {
        let n = kept.len();
        let (hit, opacity) = (&hit[..n], &opacity[..n]);
        for i in 0..n {
            kept[i] *= 1.0 - hit[i] * opacity[i];
        }
    }
}

crate::wide! {
    /// Keeps the darkest and adds to the sum.
    fn lower_and_add(kept: &[f64], darkest: &mut [f64], sum: &mut [f64]) {
        for ((k, d), s) in kept.iter().zip(darkest.iter_mut()).zip(sum.iter_mut()) {
            *d = if *k < *d { *k } else { *d };
            *s += *k;
        }
    }
}

/// Whether a single ray from a point of the plane to the sun meets a solid: for checks by hand and for drawings.
///
/// `sun` is (east, north, up), `at` in plane coordinates.
pub fn hides(shape: &Shape, frame: &Frame, at: [f64; 2], sun: [f64; 3]) -> bool {
    let mut rays = Rays::default();
    rays.push(frame.standing_sun(sun[0], sun[1], sun[2]));
    let mut hit = [0.0];
    count_hits(shape, frame.standing(at[0], at[1]), &rays, &mut hit);
    hit[0] > 0.0
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// One ray and a box by the slab method, one ray and a cylinder by the roots of its quadratic: the least distance
    /// over all conditions that a hit has to keep.
    fn slack(shape: &Shape, from: [f64; 3], ray: [f64; 3]) -> f64 {
        let above = |top: f64| (top - from[2]) / ray[2];
        match *shape {
            Shape::Box { along, uphill, top } => {
                let slab = |sides: [f64; 2], k: usize| {
                    let (t0, t1) = ((sides[0] - from[k]) / ray[k], (sides[1] - from[k]) / ray[k]);
                    [t0.min(t1), t0.max(t1)]
                };
                let (a, u) = (slab(along, 0), slab(uphill, 1));
                a[1].min(u[1]).min(above(top)) - a[0].max(u[0]).max(0.0)
            }
            Shape::Cylinder { centre, radius, top } => {
                let c = [centre[0] - from[0], centre[1] - from[1]];
                let flat2 = ray[0] * ray[0] + ray[1] * ray[1];
                let b = (c[0] * ray[0] + c[1] * ray[1]) / flat2;
                let d = b * b - (c[0] * c[0] + c[1] * c[1] - radius * radius) / flat2;
                let root = d.max(0.0).sqrt();
                let way = (b + root).min(above(top)) - (b - root).max(0.0);
                if d > 0.0 { way } else { d }
            }
        }
    }

    fn a_shape() -> impl Strategy<Value = Shape> {
        let place = || (-8.0..8.0, -8.0..8.0);
        prop_oneof![
            (place(), (0.1..4.0, 0.1..4.0), -1.0..6.0).prop_map(
                |((x, y), (w, d), top): ((f64, f64), (f64, f64), f64)| {
                    Shape::Box { along: [x, x + w], uphill: [y, y + d], top }
                }
            ),
            (place(), 0.05..3.0, -1.0..9.0).prop_map(|((x, y), radius, top): ((f64, f64), f64, f64)| Shape::Cylinder {
                centre: [x, y],
                radius,
                top
            }),
        ]
    }

    proptest! {
        #[test]
        fn rays_meet_solids_as_the_exact_forms_say(
            shape in a_shape(), from in (-5.0..5.0, -5.0..5.0, 0.0..2.0),
            rays in prop::collection::vec((-1.0..1.0_f64, -1.0..1.0_f64, 1e-3..1.0_f64), 1..40),
        ) {
            let from: [f64; 3] = [from.0, from.1, from.2];
            let mut columns = Rays::default();
            rays.iter().for_each(|r| columns.push([r.0, r.1, r.2]));
            let mut hit = vec![0.0; rays.len()];
            count_hits(&shape, from, &columns, &mut hit);
            let mut within = hit.clone();
            if let Shape::Box { along, uphill, top } = shape {
                let relative = [along[0], along[1], uphill[0] - from[1], uphill[1] - from[1], top - from[2]];
                let (mut start, mut end) = (vec![0.0; rays.len()], vec![0.0; rays.len()]);
                let of = [&columns.along[..], &columns.per_uphill[..], &columns.per_up[..]];
                box_spans(relative, of, [&mut start, &mut end]);
                within.fill(0.0);
                count_within(from[0], &start, &end, &mut within);
            }
            for (k, r) in rays.iter().enumerate() {
                let slack = slack(&shape, from, [r.0, r.1, r.2]);
                if slack.abs() > 1e-9 {
                    prop_assert_eq!(hit[k] > 0.0, slack > 0.0, "{:?} {:?}", shape, r);
                    prop_assert_eq!(within[k] > 0.0, slack > 0.0, "{:?} {:?}", shape, r);
                }
            }
        }

        #[test]
        fn fields_are_the_points_in_their_order(
            groups in 1_u32..6, halves: bool, length in 1.0..2.4, portrait: bool, coarse: bool,
        ) {
            let face = Face { length_m: length, width_m: 1.1, groups, halves };
            let orientation = if portrait { Orientation::Portrait } else { Orientation::Landscape };
            let rect = Rect { x: 1.0, y: 2.0, w: 1.1, h: 1.7 };
            let samples = Samples::of(&rect, orientation, &face, coarse);
            let points: Vec<[f64; 2]> = samples.points().collect();
            let [columns, rows] = samples.grid();
            prop_assert_eq!(points.len(), columns * rows);
            for row in 0..rows {
                for column in 0..columns {
                    let field = samples.field(column, row) * samples.per_field();
                    prop_assert!(points[field..field + samples.per_field()].contains(&samples.at(column, row)));
                }
            }
        }
    }

    #[test]
    fn patterns_are_numbers_to_the_base_of_three() {
        let patterns = Patterns::of(3);
        // 2 + 1 * 3 + 0 * 9: the first group in the dark, half for the second, all for the third.
        assert_eq!((patterns.shares[5].as_slice(), patterns.counts[5]), ([0.0, 0.5, 1.0].as_slice(), [1, 1]));
        assert_eq!((patterns.shares.len(), patterns.counts[26], patterns.counts[0]), (27, [3, 0], [0, 0]));
    }
}
