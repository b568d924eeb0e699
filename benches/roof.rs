//! Roof: slots, shade of a year on 100 slots with 3 bypass groups and 5 obstacles, and what strings make of it.

use yearlight::plane::{Cooling, ObstacleSpec, PlaneLight, PlaneSpec};
use yearlight::roof::{
    Face, FitCache, Frame, GroupCurve, Orientation, Slot, SlotShade, SunPath, Wanted, Wiring, array_shade, fit,
    layouts, obstacles, slot_shades,
};
use yearlight::sun::SunTrack;

fn main() {
    divan::main();
}

/// The sun of a year of 8760 hours, textbook formulas.
fn sun() -> SunTrack {
    const DAYS: [usize; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let lat = 52.3_f64.to_radians();
    let mut sun = SunTrack::default();
    let mut day = 0;
    for (month, days) in DAYS.iter().enumerate() {
        sun.month_start[month] = sun.steps.len();
        for _ in 0..*days {
            let decl = 23.45_f64.to_radians() * (std::f64::consts::TAU * (285 + day) as f64 / 365.0).sin();
            for hour in 0..24 {
                let w = (15.0 * (hour as f64 - 11.5)).to_radians();
                let up = lat.sin() * decl.sin() + lat.cos() * decl.cos() * w.cos();
                if up > 0.0 {
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
    sun
}

fn roof() -> PlaneSpec {
    let a_box = |at_m, size_m| ObstacleSpec::Box { name: None, at_m, size_m };
    let mast = |at_m, diameter_m, height_m| ObstacleSpec::Cylinder {
        name: None,
        at_m,
        diameter_m,
        height_m,
        passes_pct: None,
    };
    PlaneSpec {
        name: "south wing".into(),
        tilt_deg: 12.0,
        azimuth_deg: 180.0,
        albedo: None,
        cooling: Cooling::default(),
        size_m: Some([40.0, 7.2]),
        outline_m: Vec::new(),
        setback_m: 0.5,
        obstacle_setback_m: 0.2,
        gap_m: 0.02,
        obstacles: vec![
            a_box([12.0, 5.0], [1.2, 0.9, 2.5]),
            a_box([-0.3, 0.0], [0.3, 7.2, 0.8]),
            a_box([25.0, 6.0], [0.6, 0.6, 1.2]),
            mast([30.0, -0.5], 0.2, 9.0),
            mast([10.0, -4.0], 4.0, 6.0),
        ],
        rows: None,
        tracker: None,
    }
}

const FACE: Face = Face { length_m: 1.722, width_m: 1.134, groups: 3, halves: false };

struct Case {
    slots: Vec<Slot>,
    orientation: Orientation,
    frame: Frame,
    path: SunPath,
    light: PlaneLight,
}

fn case() -> Case {
    let (sun, spec) = (sun(), roof());
    let frame = Frame::of(spec.tilt_deg, spec.azimuth_deg);
    let mut layout = layouts(&spec, &FACE).unwrap().remove(0);
    layout.slots.truncate(100);
    assert_eq!(layout.slots.len(), 100);
    let beam = sun.up.iter().map(|u| 600.0 * u).collect();
    let light =
        PlaneLight { beam, sky: vec![120.0; sun.up.len()], ground: vec![5.0; sun.up.len()], ..PlaneLight::default() };
    Case { orientation: layout.orientation, slots: layout.slots, path: SunPath::over(&sun, &frame, 60), frame, light }
}

fn shades(case: &Case) -> Vec<SlotShade> {
    let things = obstacles(&roof()).unwrap();
    slot_shades(&case.slots, case.orientation, &FACE, &case.frame, &things, &case.path)
}

/// Goal: below 0.5 s on one core.
#[divan::bench]
fn shade_of_100_slots_3_groups_5_obstacles(bencher: divan::Bencher) {
    let case = case();
    bencher.bench_local(|| shades(&case));
}

#[divan::bench]
fn strings_of_100_modules(bencher: divan::Bencher) {
    let case = case();
    let shades = shades(&case);
    let curve = GroupCurve::of(31.25, 13.12, 37.4, 13.95, 3);
    let all: Vec<usize> = (0..100).collect();
    let wiring = Wiring::in_turn(&all, &[20, 20, 20, 20, 20]);
    bencher.bench_local(|| array_shade(&shades, &wiring, &case.path, &case.light, 3, &curve));
}

#[divan::bench]
fn two_strings_on_each_input(bencher: divan::Bencher) {
    let case = case();
    let shades = shades(&case);
    let curve = GroupCurve::of(31.25, 13.12, 37.4, 13.95, 3);
    let string = |k: usize| (k * 20..k * 20 + 20).collect::<Vec<usize>>();
    let wiring = Wiring::Strings(vec![vec![string(0), string(1)], vec![string(2)], vec![string(3), string(4)]]);
    bencher.bench_local(|| array_shade(&shades, &wiring, &case.path, &case.light, 3, &curve));
}

#[divan::bench]
fn lay_out(bencher: divan::Bencher) {
    let spec = roof();
    bencher.bench_local(|| layouts(&spec, &FACE));
}

/// The school roof: a lift housing and a mast, 98 modules.
#[divan::bench]
fn fit_98_modules_2_obstacles(bencher: divan::Bencher) {
    let (mut spec, sun) = (roof(), sun());
    spec.size_m = Some([38.0, 7.2]);
    spec.obstacles = vec![
        ObstacleSpec::Box { name: None, at_m: [12.0, 4.8], size_m: [1.2, 0.9, 2.5] },
        ObstacleSpec::Cylinder { name: None, at_m: [38.5, 7.5], diameter_m: 0.15, height_m: 9.0, passes_pct: None },
    ];
    let light = case().light;
    let curve = GroupCurve::of(31.25, 13.12, 37.4, 13.95, 3);
    bencher.bench_local(|| fit(&spec, &FACE, &sun, &light, &[0.85], 60, &curve, Wanted::Modules(98)));
}

/// The same for two modules of one size, as options of one job: layouts and shade are found once.
#[divan::bench]
fn fit_two_options_of_one_size(bencher: divan::Bencher) {
    let (mut spec, sun) = (roof(), sun());
    spec.size_m = Some([38.0, 7.2]);
    spec.obstacles = vec![
        ObstacleSpec::Box { name: None, at_m: [12.0, 4.8], size_m: [1.2, 0.9, 2.5] },
        ObstacleSpec::Cylinder { name: None, at_m: [38.5, 7.5], diameter_m: 0.15, height_m: 9.0, passes_pct: None },
    ];
    let light = case().light;
    let curves = [GroupCurve::of(31.25, 13.12, 37.4, 13.95, 3), GroupCurve::of(32.6, 13.345, 39.0, 14.1, 3)];
    bencher.bench_local(|| {
        let mut cache = FitCache::default();
        for (curve, n) in curves.iter().zip([98, 92]) {
            let wanted = Wanted::Modules(n);
            let found = cache.fit(0, &spec, &FACE, &sun, &light, &[0.85], 60, curve, wanted);
            divan::black_box(found.is_ok());
        }
    });
}
