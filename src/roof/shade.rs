//! Rays from the cells of a slot to the sun and to the patches of the sky.

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
    rays: Rays,
    /// Suns that are followed, ascending: all, or those that shine.
    followed: Vec<u32>,
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

    fn len(&self) -> usize {
        self.along.len()
    }

    fn gather(&self, which: &[u32], into: &mut Rays) {
        let pick = |from: &[f64], to: &mut Vec<f64>| {
            to.clear();
            to.extend(which.iter().map(|&i| from[i as usize]));
        };
        pick(&self.along, &mut into.along);
        pick(&self.uphill, &mut into.uphill);
        pick(&self.per_along, &mut into.per_along);
        pick(&self.per_uphill, &mut into.per_uphill);
        pick(&self.per_up, &mut into.per_up);
        pick(&self.per_flat2, &mut into.per_flat2);
    }
}

impl SunPath {
    /// The way of the sun over a plane. `step_min` is the length of a step in minutes.
    pub fn over(sun: &SunTrack, frame: &Frame, step_min: u32) -> SunPath {
        SunPath::with_suns(sun, frame, (step_min * SUNS_PER_HOUR / 60).clamp(1, SUNS_PER_HOUR) as usize)
    }

    /// The same with one sun a step: for a first look.
    pub(crate) fn coarse(sun: &SunTrack, frame: &Frame) -> SunPath {
        SunPath::with_suns(sun, frame, 1)
    }

    /// Leaves out the suns of steps with less beam than `least` on the plane (W/m2): what they hide is nothing.
    pub(crate) fn shining(mut self, light: &PlaneLight, least: f64) -> SunPath {
        let suns = self.suns;
        self.followed.retain(|&sun| light_at(light, sun as usize / suns)[0] >= least);
        self
    }

    fn with_suns(sun: &SunTrack, frame: &Frame, suns: usize) -> SunPath {
        let n = sun.steps.len();
        let mut rays = Rays::default();
        let at = |i: usize| [sun.east[i], sun.north[i], sun.up[i]];
        for i in 0..n {
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
            }
        }
        let followed = (0..rays.len() as u32).collect();
        SunPath { suns, month_start: sun.month_start, rays, followed }
    }

    /// Number of daylight steps.
    pub fn steps(&self) -> usize {
        self.rays.len() / self.suns.max(1)
    }
}

/// The shade on one slot.
#[derive(Debug, Clone, PartialEq)]
pub struct SlotShade {
    /// Share of the beam that reaches the cells, mean over the slot and the step, on the daylight steps; empty means
    /// all of it in every step.
    pub beam_kept: Vec<f64>,
    /// Suns (index `step * suns + k`) at which any cell of the slot is in shade, ascending.
    pub shaded: Vec<u32>,
    /// For each of these the share of the beam that counts for the current of each bypass group, the groups of a sun
    /// side by side: that of the darkest cell; with parallel halves the mean of the darkest cell of each.
    pub groups: Vec<f32>,
    /// Share of the isotropic sky that the slot still sees, by month.
    pub sky_kept: [f64; 12],
}

impl SlotShade {
    /// A slot without any shade.
    pub fn none() -> SlotShade {
        SlotShade { beam_kept: Vec::new(), shaded: Vec::new(), groups: Vec::new(), sky_kept: [1.0; 12] }
    }
}

/// The shade of `obstacles` on each of `slots`, in their order.
///
/// From sample points, about one a cell, a ray goes to each sun of the path. A box is met by the slab method (Kay and
/// Kajiya 1986: the ray is inside between the latest entry and the earliest exit), an upright cylinder by the quadratic
/// of its circle in plan; the flat top bounds both. Obstacles in line multiply. Only suns at which the obstacle, grown
/// by half the slot, hides the sun from the slot's middle are followed from every point: this changes no result.
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
    shades_at(slots, orientation, face, frame, obstacles, path, false)
}

/// [`slot_shades`]; `coarse` takes a third of the sample points.
pub(crate) fn shades_at(
    slots: &[Slot],
    orientation: Orientation,
    face: &Face,
    frame: &Frame,
    obstacles: &[Obstacle],
    path: &SunPath,
    coarse: bool,
) -> Vec<SlotShade> {
    if obstacles.is_empty() || slots.is_empty() {
        return vec![SlotShade::none(); slots.len()];
    }
    let over = Reach::of(slots, frame);
    let sky = SkyPatches::new(frame, obstacles, &over);
    let within: Vec<Near> = obstacles.iter().map(|o| Near::over(o, &over, path)).collect();
    let mut scratch = Scratch::default();
    let ground = Ground { orientation, face, frame, obstacles, within: &within, path, sky: &sky, coarse };
    slots.iter().map(|slot| ground.one_slot(&slot.rect, &mut scratch)).collect()
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

#[derive(Default)]
struct Scratch {
    hit: Vec<f64>,
    kept: Vec<f64>,
    darkest: Vec<f64>,
    mean: Vec<f64>,
    current: Vec<f64>,
    candidates: Vec<u32>,
    near: Vec<Near>,
}

/// The suns that an obstacle may hide from a place.
#[derive(Default)]
struct Near {
    obstacle: usize,
    suns: Vec<u32>,
    /// Positions of these among the candidates of the slot.
    places: Vec<u32>,
    rays: Rays,
    opacity: Vec<f64>,
}

impl Near {
    /// Suns that the obstacle may hide from any place on the plane.
    fn over(obstacle: &Obstacle, over: &Reach, path: &SunPath) -> Near {
        let mut all = Rays::default();
        path.rays.gather(&path.followed, &mut all);
        let mut hit = vec![0.0; all.len()];
        hits(&obstacle.shape.grown(over.half), over.centre, &all, &mut hit);
        let mut near = Near::default();
        near.suns.extend(path.followed.iter().zip(&hit).filter(|(_, h)| **h > 0.0).map(|(sun, _)| *sun));
        path.rays.gather(&near.suns, &mut near.rays);
        let mut month = 0;
        for &sun in &near.suns {
            while month < 11 && sun as usize / path.suns >= path.month_start[month + 1] {
                month += 1;
            }
            near.opacity.push(1.0 - obstacle.passes[month]);
        }
        near
    }

    /// Those of them that `hit` marks.
    fn narrow(&mut self, from: &Near, hit: &[f64], obstacle: usize) {
        self.obstacle = obstacle;
        self.places.clear();
        self.places.extend(hit.iter().enumerate().filter(|(_, h)| **h > 0.0).map(|(i, _)| i as u32));
        from.rays.gather(&self.places, &mut self.rays);
        self.suns.clear();
        self.suns.extend(self.places.iter().map(|&i| from.suns[i as usize]));
        self.opacity.clear();
        self.opacity.extend(self.places.iter().map(|&i| from.opacity[i as usize]));
    }
}

/// What all slots of a plane share.
struct Ground<'a> {
    orientation: Orientation,
    face: &'a Face,
    frame: &'a Frame,
    obstacles: &'a [Obstacle],
    within: &'a [Near],
    path: &'a SunPath,
    sky: &'a SkyPatches,
    coarse: bool,
}

impl Ground<'_> {
    fn one_slot(&self, rect: &Rect, scratch: &mut Scratch) -> SlotShade {
        let sky_kept = self.sky.kept(rect, self.frame, self.obstacles, scratch);
        let place = Reach::around(rect, self.frame);
        let mut count = 0;
        for (at, (obstacle, within)) in self.obstacles.iter().zip(self.within).enumerate() {
            let n = within.suns.len();
            scratch.hit.resize(n.max(scratch.hit.len()), 0.0);
            let hit = &mut scratch.hit[..n];
            hits(&obstacle.shape.grown(place.half), place.centre, &within.rays, hit);
            if crate::maths::sum(hit) > 0.0 {
                if scratch.near.len() == count {
                    scratch.near.push(Near::default());
                }
                scratch.near[count].narrow(within, hit, at);
                count += 1;
            }
        }
        if count == 0 {
            return SlotShade { sky_kept, ..SlotShade::none() };
        }
        scratch.candidates.clear();
        for near in &scratch.near[..count] {
            scratch.candidates.extend_from_slice(&near.suns);
        }
        if count > 1 {
            scratch.candidates.sort_unstable();
            scratch.candidates.dedup();
            for near in &mut scratch.near[..count] {
                near.places.clear();
                let mut place = 0;
                for &sun in &near.suns {
                    while scratch.candidates[place] < sun {
                        place += 1;
                    }
                    near.places.push(place as u32);
                }
            }
        }
        self.follow(rect, count, sky_kept, scratch)
    }

    /// Follows the rays of every sample point at the candidate suns.
    fn follow(&self, rect: &Rect, count: usize, sky_kept: [f64; 12], scratch: &mut Scratch) -> SlotShade {
        let path = self.path;
        let m = scratch.candidates.len();
        let groups = self.face.groups as usize;
        scratch.current.clear();
        scratch.current.resize(m * groups, 0.0);
        scratch.mean.clear();
        scratch.mean.resize(m, 0.0);
        scratch.hit.resize(m.max(scratch.hit.len()), 0.0);
        let samples = Samples::of(rect, self.orientation, self.face, self.coarse);
        for group in 0..groups {
            for part in 0..samples.parts {
                scratch.darkest.clear();
                scratch.darkest.resize(m, 1.0);
                for point in samples.points(group, part) {
                    let from = self.frame.standing(point[0], point[1]);
                    if let [near] = &scratch.near[..count] {
                        let hit = &mut scratch.hit[..m];
                        hits(&self.obstacles[near.obstacle].shape, from, &near.rays, hit);
                        dim_lower_and_add(hit, &near.opacity, &mut scratch.darkest, &mut scratch.mean);
                        continue;
                    }
                    scratch.kept.clear();
                    scratch.kept.resize(m, 1.0);
                    for near in &scratch.near[..count] {
                        let hit = &mut scratch.hit[..near.suns.len()];
                        hits(&self.obstacles[near.obstacle].shape, from, &near.rays, hit);
                        for ((h, o), place) in hit.iter().zip(&near.opacity).zip(&near.places) {
                            scratch.kept[*place as usize] *= 1.0 - h * o;
                        }
                    }
                    lower_and_add(&scratch.kept, &mut scratch.darkest, &mut scratch.mean);
                }
                for (i, d) in scratch.darkest.iter().enumerate() {
                    scratch.current[i * groups + group] += d / samples.parts as f64;
                }
            }
        }
        let points = (groups * samples.parts * samples.per_part()) as f64;
        let mut shade =
            SlotShade { beam_kept: vec![1.0; path.steps()], shaded: Vec::new(), groups: Vec::new(), sky_kept };
        for (i, &c) in scratch.candidates.iter().enumerate() {
            let light = scratch.mean[i] / points;
            if scratch.mean[i] < points {
                shade.beam_kept[c as usize / path.suns] -= (1.0 - light) / path.suns as f64;
                shade.shaded.push(c);
                shade.groups.extend(scratch.current[i * groups..(i + 1) * groups].iter().map(|&x| x as f32));
            }
        }
        if shade.shaded.is_empty() {
            shade.beam_kept.clear();
        }
        for kept in &mut shade.beam_kept {
            *kept = kept.clamp(0.0, 1.0);
        }
        shade
    }
}

/// Sample points of a slot: one in the middle of each cell, six cells over the module's short side.
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

    fn per_part(&self) -> usize {
        self.across * self.lengthwise
    }

    fn points(&self, group: usize, part: usize) -> impl Iterator<Item = [f64; 2]> + '_ {
        (0..self.per_part()).map(move |i| {
            let (a, l) = (i % self.across, i / self.across);
            let over = ((group * self.across + a) as f64 + 0.5) / (self.groups * self.across) as f64;
            let along = ((part * self.lengthwise + l) as f64 + 0.5) / (self.parts * self.lengthwise) as f64;
            let (fx, fy) = if self.portrait { (over, along) } else { (along, over) };
            [self.rect.x + fx * self.rect.w, self.rect.y + fy * self.rect.h]
        })
    }
}

/// Patches of equal solid angle over the upper half of the sky, for each obstacle those that it may hide.
struct SkyPatches {
    /// Patches that some obstacle may hide, and their weights.
    rays: Rays,
    weight: Vec<f64>,
    total: f64,
}

impl SkyPatches {
    const COUNT: usize = 1024;

    fn new(frame: &Frame, obstacles: &[Obstacle], over: &Reach) -> SkyPatches {
        let golden = std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
        let mut all = Rays::default();
        let mut weight = Vec::new();
        for i in 0..Self::COUNT {
            let up = 1.0 - (i as f64 + 0.5) / Self::COUNT as f64;
            let flat = (1.0 - up * up).sqrt();
            let (s, c) = crate::maths::sin_cos(golden * i as f64);
            let direction = [flat * s, flat * c, up];
            let cos = frame.cos_to_normal(direction);
            if cos > 0.0 {
                all.push(direction);
                weight.push(cos);
            }
        }
        let total = crate::maths::sum(&weight);
        let mut any = vec![0.0; all.len()];
        let mut hit = vec![0.0; all.len()];
        for obstacle in obstacles {
            hits(&obstacle.shape.grown(over.half), over.centre, &all, &mut hit);
            any.iter_mut().zip(&hit).for_each(|(a, h)| *a += h);
        }
        let which: Vec<u32> = (0..all.len() as u32).filter(|&i| any[i as usize] > 0.0).collect();
        let mut rays = Rays::default();
        all.gather(&which, &mut rays);
        SkyPatches { rays, weight: which.iter().map(|&i| weight[i as usize]).collect(), total }
    }

    /// Share of the isotropic sky seen by a slot, by month: mean of four points.
    fn kept(&self, rect: &Rect, frame: &Frame, obstacles: &[Obstacle], scratch: &mut Scratch) -> [f64; 12] {
        let n = self.weight.len();
        scratch.hit.resize(n.max(scratch.hit.len()), 0.0);
        let months = if obstacles.iter().any(Obstacle::seasonal) { 12 } else { 1 };
        let mut hidden = [0.0; 12];
        let mut hit = Vec::with_capacity(n * obstacles.len());
        for (fx, fy) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
            let from = frame.standing(rect.x + fx * rect.w, rect.y + fy * rect.h);
            hit.clear();
            for obstacle in obstacles {
                hits(&obstacle.shape, from, &self.rays, &mut scratch.hit[..n]);
                hit.extend_from_slice(&scratch.hit[..n]);
            }
            for (month, sum) in hidden.iter_mut().enumerate().take(months) {
                scratch.kept.clear();
                scratch.kept.extend_from_slice(&self.weight);
                for (k, obstacle) in obstacles.iter().enumerate() {
                    let opacity = 1.0 - obstacle.passes[month];
                    for (w, h) in scratch.kept.iter_mut().zip(&hit[k * n..(k + 1) * n]) {
                        *w *= 1.0 - h * opacity;
                    }
                }
                let lost: f64 = self.weight.iter().zip(&scratch.kept).map(|(w, k)| w - k).sum();
                *sum += 0.25 * lost / self.total;
            }
        }
        if months == 1 {
            hidden = [hidden[0]; 12];
        }
        hidden.map(|h| (1.0 - h).clamp(0.0, 1.0))
    }
}

/// 1 where a ray from `from` meets the solid, else 0.
fn hits(shape: &Shape, from: [f64; 3], rays: &Rays, hit: &mut [f64]) {
    match *shape {
        Shape::Box { along: a, uphill: b, top } => box_hits(
            [a[0] - from[0], a[1] - from[0], b[0] - from[1], b[1] - from[1], top - from[2]],
            &rays.per_along,
            &rays.per_uphill,
            &rays.per_up,
            hit,
        ),
        Shape::Cylinder { centre, radius, top } => {
            let (cx, cy) = (centre[0] - from[0], centre[1] - from[1]);
            cylinder_hits(
                [cx, cy, cx * cx + cy * cy - radius * radius, top - from[2]],
                &rays.along,
                &rays.uphill,
                &rays.per_flat2,
                &rays.per_up,
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
            hit[i] = if enter < leave { 1.0 } else { 0.0 };
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
            // a t^2 - 2 b t + c = 0, divided by a.
            let b = (c[0] * along[i] + c[1] * uphill[i]) * per_flat2[i];
            let d = b * b - c[2] * per_flat2[i];
            let root = (if d > 0.0 { d } else { 0.0 }).sqrt();
            let enter = b - root;
            let enter = if enter > 0.0 { enter } else { 0.0 };
            let leave = b + root;
            let above = c[3] * per_up[i];
            let leave = if leave < above { leave } else { above };
            hit[i] = if (d > 0.0) & (enter < leave) { 1.0 } else { 0.0 };
        }
    }
}

crate::wide! {
    /// As [`lower_and_add`] for the light that one obstacle leaves: `1 - hit * opacity`.
    fn dim_lower_and_add(hit: &[f64], opacity: &[f64], darkest: &mut [f64], sum: &mut [f64]) {
        let n = hit.len();
        let (opacity, darkest, sum) = (&opacity[..n], &mut darkest[..n], &mut sum[..n]);
        for i in 0..n {
            let kept = 1.0 - hit[i] * opacity[i];
            darkest[i] = if kept < darkest[i] { kept } else { darkest[i] };
            sum[i] += kept;
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
    hits(shape, frame.standing(at[0], at[1]), &rays, &mut hit);
    hit[0] > 0.0
}
