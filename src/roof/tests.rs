//! Hand geometry, laws, and the story of the school roof.

use proptest::prelude::*;

use super::*;
use crate::plane::{Cooling, ObstacleSpec, PlaneLight, PlaneSpec};
use crate::sun::SunTrack;
use crate::units::OneOrTwelve;

/// The sun over a year of 365 days, every `every` days, hourly, from textbook formulas (Cooper 1969 declination, solar
/// time; from memory): good to a degree, which is all that shade tests need.
fn textbook_sun(latitude_deg: f64, every: usize) -> SunTrack {
    const DAYS: [usize; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let lat = latitude_deg.to_radians();
    let mut sun = SunTrack::default();
    let mut day = 0;
    for (month, days) in DAYS.iter().enumerate() {
        sun.month_start[month] = sun.steps.len();
        for _ in 0..*days {
            let decl = 23.45_f64.to_radians() * (std::f64::consts::TAU * (284 + day + 1) as f64 / 365.0).sin();
            for hour in 0..24 {
                let w = (15.0 * (hour as f64 + 0.5 - 12.0)).to_radians();
                let up = lat.sin() * decl.sin() + lat.cos() * decl.cos() * w.cos();
                if up > 0.01 && day % every == 0 {
                    sun.steps.push((day * 24 + hour) as u32);
                    sun.east.push(-decl.cos() * w.sin());
                    sun.north.push(lat.cos() * decl.sin() - lat.sin() * decl.cos() * w.cos());
                    sun.up.push(up);
                }
            }
            day += 1;
        }
    }
    sun.month_start[12] = sun.steps.len();
    sun.e0n = vec![1361.0; sun.steps.len()];
    sun.air_mass = sun.up.iter().map(|u| 1.0 / u).collect();
    sun
}

/// A clear sky after Meinel (1976), `1353 * 0.7^(AM^0.678)` W/m2 (from memory), dimmed by `clear`, with 100 W/m2 of
/// even sky.
fn plain_light(sun: &SunTrack, frame: &Frame, clear: f64) -> PlaneLight {
    let cos: Vec<f64> = (0..sun.steps.len())
        .map(|i| frame.cos_to_normal(frame.standing_sun(sun.east[i], sun.north[i], sun.up[i])).max(0.0))
        .collect();
    let dni = |i: usize| clear * 1353.0 * 0.7_f64.powf((1.0 / sun.up[i].max(0.03)).powf(0.678));
    PlaneLight {
        beam: cos.iter().enumerate().map(|(i, c)| c * dni(i)).collect(),
        sky: sun.up.iter().map(|u| 200.0 * u).collect(),
        ground: vec![2.0; cos.len()],
        cos_aoi: cos,
        ..PlaneLight::default()
    }
}

fn plane(size: [f64; 2], tilt: f64, azimuth: f64, obstacles: Vec<ObstacleSpec>) -> PlaneSpec {
    PlaneSpec {
        name: "roof".into(),
        tilt_deg: tilt,
        azimuth_deg: azimuth,
        albedo: None,
        cooling: Cooling::default(),
        size_m: Some(size),
        outline_m: Vec::new(),
        setback_m: 0.5,
        obstacle_setback_m: 0.3,
        gap_m: 0.02,
        obstacles,
        rows: None,
        tracker: None,
    }
}

fn a_box(at_m: [f64; 2], size_m: [f64; 3]) -> ObstacleSpec {
    ObstacleSpec::Box { name: None, at_m, size_m }
}

fn a_mast(at_m: [f64; 2], diameter_m: f64, height_m: f64) -> ObstacleSpec {
    ObstacleSpec::Cylinder { name: None, at_m, diameter_m, height_m, passes_pct: None }
}

const P410: Face = Face { length_m: 1.722, width_m: 1.134, groups: 3, halves: false };
const N445: Face = Face { length_m: 1.762, width_m: 1.134, groups: 3, halves: false };

fn curve() -> GroupCurve {
    GroupCurve::of(31.25, 13.12, 37.4, 13.95, 3)
}

// Hand geometry: on a level roof at noon the shadow of a box of height h under a sun of elevation a reaches h / tan a
// beyond its north side; on a slope of tilt b facing the sun, the ray from the top edge at horizontal distance d and
// height h - d tan b above the slope meets it where d (tan a + tan b) = h.
#[test]
fn the_noon_shadow_of_a_box_equals_hand_geometry_to_1_cm() {
    for (tilt, azimuth, south) in [(0.0, 180.0, true), (12.0, 180.0, true), (25.0, 180.0, true), (12.0, 0.0, false)] {
        for elevation in [14.3_f64, 30.0, 61.1] {
            let (a, b) = (elevation.to_radians(), f64::to_radians(tilt));
            let north = if south { -a.cos() } else { a.cos() };
            let sun = [0.0, north, a.sin()];
            let spec = plane([30.0, 30.0], tilt, azimuth, vec![a_box([12.0, 5.0], [1.2, 0.9, 2.5])]);
            let frame = Frame::of(tilt, azimuth);
            let shape = obstacles(&spec).unwrap()[0].shape;
            // The upper side throws the longest shadow; the flat top lies 0.9 sin b less above the slope there.
            let height = 2.5 - 0.9 * b.sin();
            let reach = (0.9 * b.cos() + height / (a.tan() + b.tan())) / b.cos();
            let tip = 5.0 + reach;
            for (y, want) in [(5.05 + 0.9, true), (tip - 0.01, true), (tip + 0.01, false), (4.99, false)] {
                assert_eq!(hides(&shape, &frame, [12.6, y], sun), want, "tilt {tilt}, sun {elevation}, y {y}");
            }
            let y = tip - 0.5;
            for (x, want) in [(11.99, false), (12.01, true), (13.19, true), (13.21, false)] {
                assert_eq!(hides(&shape, &frame, [x, y], sun), want, "tilt {tilt}, sun {elevation}, x {x}");
            }
        }
    }
}

#[test]
fn the_shadow_of_a_mast_equals_hand_geometry_to_1_cm() {
    // Sun in the south-east at 35 degrees: on a level roof the shadow runs to the north-west, 9 m / tan 35 long.
    let a = 35.0_f64.to_radians();
    let half = 0.5_f64.sqrt();
    let sun = [a.cos() * half, -a.cos() * half, a.sin()];
    let frame = Frame::of(0.0, 180.0);
    let shape = obstacles(&plane([40.0, 40.0], 0.0, 180.0, vec![a_mast([20.0, 20.0], 0.4, 9.0)])).unwrap()[0].shape;
    let length = 9.0 / a.tan() + 0.2;
    let at = |along: f64, across: f64| [20.0 - along * half + across * half, 20.0 + along * half + across * half];
    for (along, across, want) in [
        (length - 0.01, 0.0, true),
        (length + 0.01, 0.0, false),
        (5.0, 0.19, true),
        (5.0, 0.21, false),
        (5.0, -0.19, true),
        (5.0, -0.21, false),
        (-0.3, 0.0, false),
    ] {
        assert_eq!(hides(&shape, &frame, at(along, across), sun), want, "{along} {across}");
    }
}

// Hand geometry: below a screen that hides the half of the sky behind it, a point of a level plane at the foot of an
// endless wall sees half of the sky.
#[test]
fn the_sky_beside_a_long_wall_is_half() {
    let spec = plane([400.0, 4.0], 0.0, 180.0, vec![a_box([-4000.0, 4.0], [999.0, 1.0, 900.0])]);
    let mut spec = spec;
    spec.obstacles = vec![a_box([-300.0, 4.0], [999.0, 1.0, 999.0])];
    spec.obstacle_setback_m = 0.0;
    let frame = Frame::of(0.0, 180.0);
    let slot = Slot { number: 1, row: 1, rect: Rect { x: 199.0, y: 2.0, w: 1.134, h: 1.722 } };
    let things = obstacles(&spec).unwrap();
    let path = SunPath::over(&SunTrack::default(), &frame, 60);
    let shade = slot_shades(&[slot], Orientation::Portrait, &P410, &frame, &things, &path);
    assert!((shade[0].sky_kept[0] - 0.5).abs() < 0.01, "{}", shade[0].sky_kept[0]);
}

// Hand geometry (view factor algebra, crossed strings): a point at distance d from an endless wall of height h on level
// ground loses (1 - cos e)/2 of the sky, tan e = h/d.
#[test]
fn the_sky_behind_a_low_wall_equals_the_view_factor() {
    let mut spec = plane([400.0, 40.0], 0.0, 180.0, vec![a_box([-300.0, 20.0], [999.0, 1.0, 5.0])]);
    spec.obstacle_setback_m = 0.0;
    let frame = Frame::of(0.0, 180.0);
    let slot = Slot { number: 1, row: 1, rect: Rect { x: 199.0, y: 10.0, w: 0.01, h: 0.01 } };
    let things = obstacles(&spec).unwrap();
    let path = SunPath::over(&SunTrack::default(), &frame, 60);
    let shade = slot_shades(&[slot], Orientation::Portrait, &P410, &frame, &things, &path);
    let e = (5.0_f64 / 9.995).atan();
    assert!((shade[0].sky_kept[6] - (0.5 + 0.5 * e.cos())).abs() < 0.004, "{}", shade[0].sky_kept[6]);
}

#[test]
fn slots_fill_a_plain_roof_as_counted_by_hand() {
    // 10 m by 5 m, half a metre free all round: 9.0 m by 4.0 m. Portrait: 7 columns of 1.154 (8.06 of 9.02 m), 2 rows of
    // 1.742 (3.48 of 4.02 m). Landscape: 5 columns of 1.742 (8.71 of 9.02 m), 3 rows of 1.154 (3.46 of 4.02 m).
    let spec = plane([10.0, 5.0], 12.0, 180.0, vec![]);
    let found = layouts(&spec, &P410).unwrap();
    let count = |o: Orientation| found.iter().find(|l| l.orientation == o).unwrap().slots.len();
    assert_eq!(count(Orientation::Portrait), 14);
    assert_eq!(count(Orientation::Landscape), 15);
    assert_eq!((found[0].orientation, found[0].arrangement), (Orientation::Landscape, Arrangement::Grid));
    assert_eq!(found[0].slots[5].number, 6);
    assert_eq!(found[0].slots[5].row, 2);
}

#[test]
fn offset_rows_dodge_an_obstacle() {
    // One row of 7 m: 6 modules of 1.134 m in portrait. A flue in the middle leaves 3.0 and 3.0 m: 2 + 2.
    let mut spec = plane([8.0, 2.8], 12.0, 180.0, vec![a_mast([4.0, 1.4], 0.4, 1.0)]);
    let packed = |spec: &PlaneSpec| {
        let all = layouts(spec, &P410).unwrap();
        all.iter().filter(|l| l.orientation == Orientation::Portrait).map(|l| l.slots.len()).max().unwrap()
    };
    assert_eq!(packed(&spec), 4);
    spec.obstacles.clear();
    assert_eq!(packed(&spec), 6);
}

#[test]
fn a_triangle_is_filled_without_crossing_its_edges() {
    let mut spec = plane([1.0, 1.0], 30.0, 180.0, vec![]);
    spec.size_m = None;
    spec.outline_m = vec![[0.0, 0.0], [14.0, 0.0], [7.0, 8.0]];
    let found = layouts(&spec, &P410).unwrap();
    // Offset rows never hold less than the aligned grid.
    let count = |a: Arrangement| found.iter().filter(|l| l.arrangement == a).map(|l| l.slots.len()).max().unwrap();
    assert!(count(Arrangement::Offset) >= count(Arrangement::Grid));
    assert!(count(Arrangement::Grid) > 8);
}

#[test]
fn bad_figures_are_refused_by_key() {
    let mut spec = plane([10.0, 5.0], 12.0, 180.0, vec![a_box([1.0, 1.0], [1.0, f64::NAN, 1.0])]);
    let said = layouts(&spec, &P410).unwrap_err().to_string();
    assert!(said.contains("obstacles[0].size_m") && said.contains("NaN"), "{said}");
    spec.obstacles.clear();
    spec.size_m = None;
    assert!(matches!(layouts(&spec, &P410), Err(RoofError::NoSize { .. })));
    spec.outline_m = vec![[0.0, 0.0], [4.0, 4.0], [4.0, 0.0], [0.0, 4.0]];
    assert!(layouts(&spec, &P410).unwrap_err().to_string().contains("cross"));
    spec.outline_m.clear();
    spec.size_m = Some([10.0, 5.0]);
    spec.gap_m = -1.0;
    assert!(layouts(&spec, &P410).is_err());
    spec.gap_m = 0.02;
    assert!(layouts(&spec, &Face { width_m: f64::NAN, ..P410 }).is_err());
    assert!(layouts(&spec, &Face { length_m: 1722.0, ..P410 }).is_err(), "millimetres taken for metres");
}

#[test]
fn a_tree_shades_less_when_bare() {
    let mut passes = [10.0; 12];
    passes[0] = 60.0;
    let tree = ObstacleSpec::Cylinder {
        name: Some("lime".into()),
        at_m: [5.0, -3.0],
        diameter_m: 4.0,
        height_m: 8.0,
        passes_pct: Some(OneOrTwelve::Twelve(passes)),
    };
    let spec = plane([10.0, 5.0], 12.0, 180.0, vec![tree]);
    let frame = Frame::of(12.0, 180.0);
    let sun = textbook_sun(52.3, 5);
    let path = SunPath::over(&sun, &frame, 60);
    let layout = layouts(&spec, &P410).unwrap().remove(0);
    let shades = slot_shades(&layout.slots, layout.orientation, &P410, &frame, &obstacles(&spec).unwrap(), &path);
    let least = |m: usize| {
        let steps = sun.month_start[m]..sun.month_start[m + 1];
        shades.iter().flat_map(|s| steps.clone().map(|i| s.beam_kept_at(i))).fold(1.0, f64::min)
    };
    assert!((least(0) - 0.6).abs() < 1e-12, "{}", least(0));
    assert!((least(1) - 0.1).abs() < 1e-12, "{}", least(1));
    let sky = &shades[2].sky_kept;
    assert!(sky[0] > sky[1] && sky[1] == sky[6]);
}

#[test]
fn a_converter_at_every_module_never_gives_less() {
    let spec = plane([38.0, 7.2], 12.0, 180.0, vec![a_box([12.0, 5.0], [1.2, 0.9, 2.5])]);
    let frame = Frame::of(12.0, 180.0);
    let sun = textbook_sun(52.3, 10);
    let light = plain_light(&sun, &frame, 1.0);
    let done = fit(&spec, &P410, &sun, &light, &[0.85], 60, &curve(), Wanted::Modules(98)).unwrap();
    let wired = |w: &Wiring| array_shade(&done.shades, w, &done.path, &light, 3, &curve());
    let strings = wired(&Wiring::in_turn(&done.chosen, &[20, 20, 20, 19, 19]));
    let each = wired(&Wiring::EachModule(done.chosen.clone()));
    // The same strings, the first two side by side on one input.
    let Wiring::Strings(mut inputs) = Wiring::in_turn(&done.chosen, &[20, 20, 20, 19, 19]) else { unreachable!() };
    let second = inputs.remove(1).remove(0);
    inputs[0].push(second);
    let joined = wired(&Wiring::Strings(inputs));
    assert_eq!(strings.light_kept_beam, each.light_kept_beam);
    let mean = |s: &ArrayShade| crate::maths::sum(&s.electrical_kept) / s.electrical_kept.len() as f64;
    assert!(mean(&each) > mean(&strings), "{} {}", mean(&each), mean(&strings));
    assert!(mean(&joined) <= mean(&strings) + 1e-6, "{} {}", mean(&joined), mean(&strings));
    for i in 0..strings.electrical_kept.len() {
        assert!(each.electrical_kept[i] >= strings.electrical_kept[i] - 0.006, "step {i}");
    }
}

// Under opaque and half-clear obstacles, in line and apart: every group of every string at every sun by itself.
#[test]
fn an_array_gives_what_its_strings_give_sun_by_sun() {
    let tree = ObstacleSpec::Cylinder {
        name: None,
        at_m: [6.0, -1.5],
        diameter_m: 2.0,
        height_m: 4.0,
        passes_pct: Some(OneOrTwelve::One(40.0)),
    };
    let spec = plane([10.0, 5.0], 12.0, 180.0, vec![a_box([4.0, 0.6], [1.2, 0.9, 2.5]), tree]);
    let frame = Frame::of(12.0, 180.0);
    let sun = textbook_sun(52.3, 15);
    let light = plain_light(&sun, &frame, 0.7);
    let halves = Face { halves: true, ..P410 };
    let done = fit(&spec, &halves, &sun, &light, &[0.85], 60, &curve(), Wanted::Fill).unwrap();
    let lengths = [done.chosen.len() as u32 - 5, 5];
    let wiring = Wiring::in_turn(&done.chosen, &lengths);
    let got = array_shade(&done.shades, &wiring, &done.path, &light, 3, &curve());
    let patterns = shade::Patterns::of(3);
    let shares = |slot: usize, sun: usize| -> Vec<f64> {
        let s = &done.shades[slot];
        let Ok(at) = s.shaded.binary_search(&(sun as u32)) else { return vec![1.0; 3] };
        let other = |p: &&shade::Pattern| **p == shade::Pattern::OTHER;
        match patterns.shares.get(s.patterns[at].number()) {
            Some(shares) => shares.clone(),
            None => s
                .others
                .chunks(3)
                .nth(s.patterns[..at].iter().filter(other).count())
                .unwrap()
                .iter()
                .map(|&x| f64::from(x))
                .collect(),
        }
    };
    let Wiring::Strings(inputs) = &wiring else { unreachable!() };
    let mut seen = [0, 0];
    for i in 0..done.path.steps() {
        let [beam, sky, ground] = [light.beam[i], light.sky[i], light.ground[i]].map(|g| g / 1000.0);
        let month = (0..12).find(|&m| i < sun.month_start[m + 1]).unwrap();
        let diffuse = sky * got.sky_kept[month] + ground;
        if beam < 0.01 * (beam + diffuse) || got.light_kept_beam[i] == 1.0 {
            continue;
        }
        let mut power = 0.0;
        for sun in i * done.path.suns..(i + 1) * done.path.suns {
            for string in inputs.iter().flatten() {
                let groups = string.iter().flat_map(|&slot| shares(slot, sun));
                let levels: Vec<(f64, u32)> = groups.map(|share| (beam * share + diffuse, 1)).collect();
                seen[0] += usize::from(levels.iter().any(|l| l.0 == diffuse));
                seen[1] += usize::from(levels.iter().any(|l| (l.0 - diffuse - 0.4 * beam).abs() < 1e-6));
                power += string_power(&levels, &curve());
            }
        }
        let even = uniform_power(beam * got.light_kept_beam[i] + diffuse, &curve());
        let even = even * (3 * done.chosen.len() * done.path.suns) as f64;
        let want = (power / even).clamp(0.0, 1.0);
        assert!((got.electrical_kept[i] - want).abs() < 1e-9, "step {i}: {} {want}", got.electrical_kept[i]);
    }
    assert!(seen.iter().all(|&n| n > 20), "{seen:?}");
}

#[test]
fn mirrored_planes_under_a_mirrored_sun_shade_alike() {
    // A sun whose north component is negated, on a plane that faces north with x mirrored, throws the same shade.
    let sun = textbook_sun(52.3, 7);
    let mut mirrored = sun.clone();
    mirrored.north.iter_mut().for_each(|n| *n = -*n);
    let things = |x: f64| vec![a_box([x, 3.0], [1.2, 0.9, 2.5])];
    let south = plane([10.0, 5.0], 12.0, 180.0, things(4.0));
    let north = plane([10.0, 5.0], 12.0, 0.0, things(10.0 - 4.0 - 1.2));
    let run = |spec: &PlaneSpec, sun: &SunTrack, x: f64| {
        let frame = Frame::of(spec.tilt_deg, spec.azimuth_deg);
        let slot = Slot { number: 1, row: 1, rect: Rect { x, y: 2.5, w: 1.134, h: 1.722 } };
        let path = SunPath::over(sun, &frame, 60);
        slot_shades(&[slot], Orientation::Portrait, &P410, &frame, &obstacles(spec).unwrap(), &path).remove(0)
    };
    let a = run(&south, &sun, 1.5);
    let b = run(&north, &mirrored, 10.0 - 1.5 - 1.134);
    assert!(!a.beam_kept.is_empty());
    assert_eq!(a.steps, b.steps);
    for (p, q) in a.beam_kept.iter().zip(&b.beam_kept) {
        assert!((p - q).abs() < 1e-12);
    }
}

#[test]
fn row_steps_follow_the_groups() {
    let light = PlaneLight { beam: vec![800.0; 5], sky: vec![100.0; 5], ground: vec![0.0; 5], ..PlaneLight::default() };
    let face = Face { length_m: 1.722, width_m: 1.134, groups: 3, halves: false };
    let shaded = [0.0, 0.02, 0.2, 0.34, 1.0];
    let run = |orientation, halves, high| {
        let modules =
            RowModules { face: Face { halves, ..face }, orientation, high, rows: None, string_per_height: false };
        row_shade(&shaded, &light, &modules, &curve())
    };
    let total = |s: &ArrayShade, i: usize| (800.0 * s.light_kept_beam[i] + 100.0) / 900.0 * s.electrical_kept[i];
    let landscape = run(Orientation::Landscape, false, 1);
    let portrait = run(Orientation::Portrait, false, 1);
    let halves = run(Orientation::Portrait, true, 1);
    assert_eq!(landscape.electrical_kept[0], 1.0);
    // 0.2 of 1.134 m covers the first cells (0.189 m): one group of three bypassed, two stay less one diode drop.
    assert!((total(&landscape, 2) - (2.0 - 0.5 / (31.25 / 3.0)) / 3.0).abs() < 0.01, "{}", total(&landscape, 2));
    // In portrait every group is dark: what is left is the diffuse light, a ninth (less a little in weak light).
    assert!((total(&portrait, 2) - 1.0 / 9.0).abs() < 0.015, "{}", total(&portrait, 2));
    // Parallel halves keep half the current of the beam.
    assert!((total(&halves, 2) - (0.5 * 800.0 + 100.0) / 900.0).abs() < 0.02, "{}", total(&halves, 2));
    // Covered whole: the diffuse light, nothing lost by wiring.
    assert!((landscape.electrical_kept[4] - 1.0).abs() < 1e-9);
    assert!(
        row_shade(
            &[0.0; 5],
            &light,
            &RowModules { face, orientation: Orientation::Portrait, high: 1, rows: None, string_per_height: false },
            &curve()
        )
        .electrical_kept
        .is_empty()
    );
}

#[test]
fn the_slant_tells_how_modules_lie() {
    assert_eq!(RowModules::orientation_for(&P410, 2.278, 2), Orientation::Landscape);
    assert_eq!(RowModules::orientation_for(&P410, 1.722, 1), Orientation::Portrait);
    assert_eq!(RowModules::orientation_for(&P410, 3.464, 2), Orientation::Portrait);
}

#[test]
fn land_equals_hand_calculation() {
    // 1000 modules in portrait, two high: slant 2 x 1.722 + 0.02 = 3.464 m, pitch 7 m, 20 rows of 25 columns of 1.154 m.
    let field = field_use("field", 1000, &P410, Orientation::Portrait, 2, 0.02, 7.0, 20, 5.0).unwrap();
    assert_eq!((field.per_row, field.rows), (25, 20));
    assert!((field.gcr - 3.464 / 7.0).abs() < 1e-12);
    assert!((field.rack_m - 20.0 * 28.85).abs() < 1e-9);
    // (28.85 + 10) x (140 + 10)
    assert!((field.land_m2 - 38.85 * 150.0).abs() < 1e-6);
    assert!(field_use("field", 10, &P410, Orientation::Portrait, 2, 0.02, 3.0, 2, 5.0).is_err());
}

/// The south wing of the Merrowby school.
fn merrowby() -> PlaneSpec {
    let lift = a_box([12.0, 4.8], [1.2, 0.9, 2.5]);
    let mast = a_mast([38.5, 7.5], 0.15, 9.0);
    PlaneSpec { obstacle_setback_m: 0.2, ..plane([38.0, 7.2], 12.0, 180.0, vec![lift, mast]) }
}

// The story of the demo: what P410 needs for 40 kW must go into the shade, what N445 needs need not. It holds under a
// dull, a middling and a bright sky.
#[test]
fn p410_must_use_shaded_slots_and_n445_need_not() {
    let sun = textbook_sun(52.3, 5);
    let frame = Frame::of(12.0, 180.0);
    for clear in [0.25, 0.5, 0.85] {
        let light = plain_light(&sun, &frame, clear);
        let run = |face: &Face, n: u32| {
            fit(&merrowby(), face, &sun, &light, &[0.85], 60, &curve(), Wanted::Modules(n)).unwrap()
        };
        let (a, b) = (run(&P410, 98), run(&N445, 90));
        assert!(a.layout.slots.len() >= 98 && a.unshaded < 98, "{} of {}", a.unshaded, a.layout.slots.len());
        assert!(b.unshaded >= 90, "{} of {}", b.unshaded, b.layout.slots.len());
        assert!(a.shaded_in_use() > 0);
        assert_eq!(b.shaded_in_use(), 0);
        // Per kW the 98 places of A are worth less than the 90 of B.
        let mean = |f: &RoofFit| f.curve[..f.chosen.len()].iter().sum::<f64>() / f.chosen.len() as f64;
        assert!(mean(&a) < mean(&b));
        // The curve falls, and the chosen are its first N.
        for f in [&a, &b] {
            assert!(f.curve.windows(2).all(|w| w[0] >= w[1]));
            let least = f.chosen.iter().map(|&i| f.years[i].yield_kwh_per_kw).fold(f64::INFINITY, f64::min);
            assert_eq!(least, f.curve[f.chosen.len() - 1]);
        }
        let map = RoofMap::of(&merrowby(), &a, 410.0).unwrap();
        assert_eq!(map.slots.iter().filter(|s| s.used).count(), 98);
        let back: RoofMap = serde_json::from_str(&serde_json::to_string(&map).unwrap()).unwrap();
        assert_eq!(back.slots.len(), map.slots.len());
    }
}

fn an_obstacle() -> impl Strategy<Value = ObstacleSpec> {
    prop_oneof![
        ((-3.0..13.0, -4.0..9.0), (0.1..3.0, 0.1..3.0, 0.1..6.0))
            .prop_map(|((x, y), (w, d, h))| a_box([x, y], [w, d, h])),
        ((-3.0..13.0, -4.0..9.0), 0.1..3.0, 0.1..10.0).prop_map(|((x, y), d, h)| a_mast([x, y], d, h)),
    ]
}

/// A row of slots across a plane of 10 m by 5 m, wherever the obstacles are.
fn any_slots() -> Vec<Slot> {
    (0..4)
        .map(|i| Slot { number: i + 1, row: 1, rect: Rect { x: 0.5 + 2.3 * f64::from(i), y: 1.0, w: 1.134, h: 1.722 } })
        .collect()
}

fn shade_of(tilt: f64, azimuth: f64, things: &[ObstacleSpec], sun: &SunTrack) -> Vec<SlotShade> {
    let spec = plane([10.0, 5.0], tilt, azimuth, things.to_vec());
    let frame = Frame::of(tilt, azimuth);
    let path = SunPath::over(sun, &frame, 60);
    slot_shades(&any_slots(), Orientation::Portrait, &P410, &frame, &obstacles(&spec).unwrap(), &path)
}

/// Whether `more` never has more light than `less`.
fn never_more(less: &[SlotShade], more: &[SlotShade], n: usize) -> bool {
    let kept = |s: &SlotShade, i: usize| s.beam_kept_at(i);
    less.iter().zip(more).all(|(a, b)| {
        (0..n).all(|i| kept(b, i) <= kept(a, i) + 1e-12) && (0..12).all(|m| b.sky_kept[m] <= a.sky_kept[m] + 1e-12)
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn more_obstacles_never_more_light(
        things in prop::collection::vec(an_obstacle(), 1..4), tilt in 0.0..60.0, azimuth in 0.0..360.0, lat in -60.0..60.0,
    ) {
        let sun = textbook_sun(lat, 40);
        let all = shade_of(tilt, azimuth, &things, &sun);
        let fewer = shade_of(tilt, azimuth, &things[1..], &sun);
        prop_assert!(never_more(&fewer, &all, sun.steps.len()));
        // Shade vanishes with the obstacle.
        let none = shade_of(tilt, azimuth, &[], &sun);
        prop_assert!(none.iter().all(|s| s.beam_kept.is_empty() && s.shaded.is_empty() && s.sky_kept == [1.0; 12]));
    }

    #[test]
    fn taller_never_less_shade(
        thing in an_obstacle(), tilt in 0.0..60.0, azimuth in 0.0..360.0, lat in -60.0..60.0, factor in 1.0..3.0,
    ) {
        let sun = textbook_sun(lat, 40);
        let taller = match thing.clone() {
            ObstacleSpec::Box { name, at_m, size_m } => {
                ObstacleSpec::Box { name, at_m, size_m: [size_m[0], size_m[1], size_m[2] * factor] }
            }
            ObstacleSpec::Cylinder { name, at_m, diameter_m, height_m, passes_pct } => {
                ObstacleSpec::Cylinder { name, at_m, diameter_m, height_m: height_m * factor, passes_pct }
            }
        };
        let low = shade_of(tilt, azimuth, &[thing], &sun);
        let high = shade_of(tilt, azimuth, &[taller], &sun);
        prop_assert!(never_more(&low, &high, sun.steps.len()));
    }

    #[test]
    fn the_short_cut_changes_nothing(thing in an_obstacle(), tilt in 0.0..60.0, azimuth in 0.0..360.0) {
        // Every sun that the plain ray test finds at a corner region of the slot is among the shaded suns.
        let sun = textbook_sun(48.0, 60);
        let frame = Frame::of(tilt, azimuth);
        let shape = obstacles(&plane([10.0, 5.0], tilt, azimuth, vec![thing.clone()])).unwrap()[0].shape;
        let shades = shade_of(tilt, azimuth, &[thing], &sun);
        for (slot, shade) in any_slots().iter().zip(&shades) {
            let r = slot.rect;
            // The sample point of the lowest left cell.
            let at = [r.x + r.w / 12.0, r.y + r.h / 18.0];
            for i in 0..sun.steps.len() {
                if sun.up[i] > 0.02 && hides(&shape, &frame, at, [sun.east[i], sun.north[i], sun.up[i]]) {
                    prop_assert!(shade.shaded.binary_search(&((i * 5 + 2) as u32)).is_ok(), "step {i}");
                }
            }
        }
    }

    #[test]
    fn slots_lie_apart_inside_and_clear_of_obstacles(
        things in prop::collection::vec(an_obstacle(), 0..4), w in 6.0..14.0, h in 3.0..9.0, cut in 0.0..3.0, tilt in 0.0..50.0,
        length in 1.2..2.3, width in 0.9..1.2, gap in 0.0..0.1, setback in 0.0..0.8, clear in 0.0..0.6,
    ) {
        let mut spec = plane([w, h], tilt, 180.0, things);
        spec.size_m = None;
        spec.outline_m = vec![[0.0, 0.0], [w, 0.0], [w, h - cut * 0.5], [w - cut, h], [cut * 0.7, h], [0.0, h * 0.6]];
        spec.gap_m = gap;
        spec.setback_m = setback;
        spec.obstacle_setback_m = clear;
        let face = Face { length_m: length, width_m: width, groups: 3, halves: false };
        let edge = Outline::new(&spec.outline_m).unwrap();
        let feet = obstacles(&spec).unwrap();
        for layout in layouts(&spec, &face).unwrap() {
            for (i, slot) in layout.slots.iter().enumerate() {
                prop_assert_eq!(slot.number as usize, i + 1);
                let r = slot.rect;
                // Independent of `holds`: points all along the sides lie inside.
                for k in 0..=20 {
                    let t = 1e-4 + (1.0 - 2e-4) * f64::from(k) / 20.0;
                    for p in [[t, 1e-4], [t, 1.0 - 1e-4], [1e-4, t], [1.0 - 1e-4, t]] {
                        prop_assert!(edge.contains([r.x + p[0] * r.w, r.y + p[1] * r.h]));
                    }
                }
                prop_assert!(r.x >= setback - 1e-5 && r.x + r.w <= w - setback + 1e-5 && r.y >= setback - 1e-5);
                for other in &layout.slots[i + 1..] {
                    prop_assert!(!r.grown(0.5 * gap).meets(&other.rect.grown(0.5 * gap)), "{:?} {:?}", r, other.rect);
                }
                for foot in &feet {
                    if foot.round {
                        let [cx, cy] = foot.foot.centre();
                        let (dx, dy) = ((r.x - cx).max(cx - r.x - r.w).max(0.0), (r.y - cy).max(cy - r.y - r.h).max(0.0));
                        let (a, b) = (foot.foot.w * 0.5, foot.foot.h * 0.5);
                        prop_assert!((dx / a).powi(2) + (dy / b).powi(2) >= 1.0 - 1e-4, "{:?} {:?}", r, foot);
                    } else {
                        prop_assert!(!r.grown(clear).meets(&foot.foot));
                    }
                }
            }
        }
    }

    #[test]
    fn strings_never_give_more_than_their_light(
        counts in prop::collection::vec((0.0..1.2_f64, 1_u32..30), 1..5), v_oc in 33.0..41.0, i_sc in 13.3..15.0,
    ) {
        let curve = GroupCurve::of(31.25, 13.12, v_oc, i_sc, 3);
        let power = string_power(&counts, &curve);
        let alone: f64 = counts.iter().map(|&(g, n)| f64::from(n) * uniform_power(g, &curve)).sum();
        let brightest = counts.iter().fold(0.0_f64, |m, c| m.max(c.0));
        prop_assert!(power >= 0.0 && power <= alone * 1.003 + 1e-9, "{power} {alone}");
        prop_assert!(power <= f64::from(counts.iter().map(|c| c.1).sum::<u32>()) * uniform_power(brightest, &curve) + 1e-9);
        // Strings that share a voltage never give more than each by itself.
        let joined = input_power(&[counts.clone(), vec![(brightest, 30)]], &curve);
        let apart = power + string_power(&[(brightest, 30)], &curve);
        prop_assert!(joined <= apart * 1.003 + 1e-9, "{joined} {apart}");
        // A group more never gives less: it can be bypassed at the price of one diode drop.
        let mut more = counts.clone();
        more[0].1 += 1;
        prop_assert!(string_power(&more, &curve) >= power - 0.06 * brightest);
    }
}
