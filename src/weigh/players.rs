//! Which groups of parameters differ between two options, and a setup made of some of either.

use std::sync::Arc;

use crate::energy::Setup;
use crate::module::Electrical;
use crate::weigh::study::Group;

/// The groups that differ between two setups, in the order of the report, without ageing.
///
/// Weak light and heat are compared by what the models give over the whole range of light and temperature, so that two
/// modules with the same weak light but another temperature coefficient differ in the coefficient only.
/// When the options stand on different planes, shade and strings belong to the planes and change with them.
pub fn differing(a: &Setup, b: &Setup) -> Vec<Group> {
    let joined = planes_differ(a, b);
    let differs = |group: Group| match group {
        Group::Nameplate => a.nameplate != b.nameplate,
        Group::LowLight => !same_low_light(&a.low_light, &b.low_light),
        Group::Temperature => !same_heat(&a.heat.electrical, &b.heat.electrical) || a.heat.thermal != b.heat.thermal,
        Group::Incidence => a.glass != b.glass,
        Group::RearSpectrum => a.rear != b.rear,
        Group::LightInduced => a.light_induced != b.light_induced,
        Group::Strings => !joined && !same_wiring(a, b),
        Group::Inverter => a.conversion.count != b.conversion.count || *a.conversion.inverter != *b.conversion.inverter,
        Group::Plane => a.mounting != b.mounting,
        Group::Slots => !joined && a.shade != b.shade,
        Group::Ageing => false,
    };
    Group::ALL.into_iter().filter(|g| differs(*g)).collect()
}

/// True when the two setups stand on different planes, so that what goes by the part of the mounting (shade, strings)
/// cannot be exchanged without it.
pub fn planes_differ(a: &Setup, b: &Setup) -> bool {
    a.mounting.parts.iter().map(|p| p.0).ne(b.mounting.parts.iter().map(|p| p.0))
}

/// The setup of `a` with the players whose bit is set in `mask` taken from `b`.
pub fn mix(a: &Setup, b: &Setup, players: &[Group], mask: u32) -> Setup {
    let joined = planes_differ(a, b);
    let mut mixed = a.clone();
    for (i, group) in players.iter().enumerate() {
        if mask >> i & 1 == 0 {
            continue;
        }
        match group {
            Group::Nameplate => mixed.nameplate = b.nameplate,
            Group::LowLight => mixed.low_light = b.low_light.clone(),
            Group::Temperature => mixed.heat = b.heat.clone(),
            Group::Incidence => mixed.glass = b.glass.clone(),
            Group::RearSpectrum => mixed.rear = b.rear.clone(),
            Group::LightInduced => mixed.light_induced = b.light_induced,
            Group::Strings => mixed.wiring = b.wiring.clone(),
            Group::Inverter => mixed.conversion = b.conversion.clone(),
            Group::Plane => {
                mixed.mounting = b.mounting.clone();
                if joined {
                    mixed.shade = b.shade.clone();
                    mixed.wiring = b.wiring.clone();
                }
            }
            Group::Slots => mixed.shade = b.shade.clone(),
            Group::Ageing => {}
        }
    }
    mixed
}

fn same_low_light(a: &Arc<Electrical>, b: &Arc<Electrical>) -> bool {
    let g: Vec<f64> = (1..=64).map(|i| 22.0 * f64::from(i)).collect();
    let at = |e: &Electrical| {
        let mut out = vec![0.0; g.len()];
        e.low_light(&g, &mut out);
        out
    };
    Arc::ptr_eq(a, b) || at(a) == at(b)
}

fn same_heat(a: &Arc<Electrical>, b: &Arc<Electrical>) -> bool {
    let points: Vec<(f64, f64)> =
        (1..=16).flat_map(|i| (-2..=9).map(move |j| (85.0 * f64::from(i), 10.0 * f64::from(j)))).collect();
    let (g, t): (Vec<f64>, Vec<f64>) = points.into_iter().unzip();
    let at = |e: &Electrical| {
        let mut out = vec![0.0; g.len()];
        e.heat(&g, &t, &mut out);
        out
    };
    Arc::ptr_eq(a, b) || at(a) == at(b)
}

fn same_wiring(a: &Setup, b: &Setup) -> bool {
    let (x, y) = (&a.wiring, &b.wiring);
    (Arc::ptr_eq(&x.electrical, &y.electrical) || x.electrical == y.electrical)
        && x.p_module_w == y.p_module_w
        && x.converter == y.converter
        && x.mismatch == y.mismatch
        && x.cable_at_stc == y.cable_at_stc
        && x.inputs == y.inputs
        && x.limits == y.limits
}
