//! A module's design load against the load that an engineer states for the site.

use serde::{Deserialize, Serialize};

use crate::module::ClampZone;
use crate::plant::PlantError;
use crate::plant::error::not_negative;

/// The site's load as a licensed engineer states it, on the module's face. It is never computed here.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct SiteLoadSpec {
    /// On the front (snow, wind pressure), Pa.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub front_pa: Option<f64>,
    /// On the rear (wind suction), Pa.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rear_pa: Option<f64>,
    /// The one clamp zone that will be used; all are compared when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clamp_zone: Option<String>,
    /// Engineer, document, date: on whose word.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

/// Which face carries the load.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Face {
    /// Snow and wind pressure.
    Front,
    /// Wind suction.
    Rear,
}

/// One clamp zone and face against the site load.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LoadLine {
    /// Clamp zone, in the maker's words; empty when the sheet states none.
    pub zone: String,
    /// Which face.
    pub face: Face,
    /// The module's design load in this zone, Pa.
    pub design_pa: Option<f64>,
    /// The site load stated, Pa.
    pub site_pa: Option<f64>,
    /// Design less site, Pa.
    pub margin_pa: Option<f64>,
    /// True when the module carries the stated load, false when not, none when a figure is missing.
    pub carries: Option<bool>,
    /// A sentence with the numbers.
    pub text: String,
}

/// Words that close every load comparison.
pub const REFER: &str = "The site load is the engineer's figure and is not computed or confirmed here; a licensed \
                         structural engineer must approve roof, racking and clamps.";

/// Compares each clamp zone of a sheet with the site load supplied, front and rear.
///
/// Design loads, not test loads: a test of 5400 Pa stands for a design load of 3600 Pa (IEC 61215-2 with a safety
/// factor of 1.5, from memory).
pub fn check(zones: &[ClampZone], site: &SiteLoadSpec) -> Result<Vec<LoadLine>, PlantError> {
    for (key, load) in [("loads.front_pa", site.front_pa), ("loads.rear_pa", site.rear_pa)] {
        if let Some(load) = load {
            not_negative(key, load, "Pa")?;
            if load > 0.0 && load < 20.0 {
                return Err(PlantError::value(
                    key,
                    load,
                    "a load in Pa",
                    "If it is in kPa or kN/m2, multiply by 1000.",
                ));
            }
        }
    }
    let chosen: Vec<&ClampZone> = match &site.clamp_zone {
        None => zones.iter().collect(),
        Some(name) => {
            let found: Vec<&ClampZone> = zones.iter().filter(|z| &z.name == name).collect();
            if found.is_empty() && !zones.is_empty() {
                let known: Vec<&str> = zones.iter().map(|z| z.name.as_str()).collect();
                return Err(PlantError::value(
                    "loads.clamp_zone",
                    format!("\"{name}\""),
                    format!("one of the sheet's zones: {}", known.join(", ")),
                    "Name a zone as the sheet does, or leave it out to see all.",
                ));
            }
            found
        }
    };
    if chosen.is_empty() {
        let none = |face, site_pa| line("", face, None, site_pa);
        return Ok(vec![none(Face::Front, site.front_pa), none(Face::Rear, site.rear_pa)]);
    }
    Ok(chosen
        .iter()
        .flat_map(|z| {
            let known = |pa: f64| (pa.is_finite() && pa > 0.0).then_some(pa);
            [
                line(&z.name, Face::Front, known(z.front_pa), site.front_pa),
                line(&z.name, Face::Rear, known(z.rear_pa), site.rear_pa),
            ]
        })
        .collect())
}

fn line(zone: &str, face: Face, design_pa: Option<f64>, site_pa: Option<f64>) -> LoadLine {
    let side = match face {
        Face::Front => "front",
        Face::Rear => "rear",
    };
    let place = if zone.is_empty() { side.to_string() } else { format!("{zone}, {side}") };
    let margin_pa = design_pa.zip(site_pa).map(|(d, s)| d - s);
    let text = match (design_pa, site_pa) {
        (Some(d), Some(s)) if d >= s => {
            format!("{place}: design load {d:.0} Pa against {s:.0} Pa stated, {:.0} Pa left.", d - s)
        }
        (Some(d), Some(s)) => {
            format!("{place}: design load {d:.0} Pa is {:.0} Pa below the {s:.0} Pa stated: not carried.", s - d)
        }
        (None, Some(s)) => {
            format!("{place}: not checked: the sheet states no design load to set against {s:.0} Pa.")
        }
        (Some(d), None) => {
            format!("{place}: not checked: no site load was stated; the design load is {d:.0} Pa. Ask the engineer.")
        }
        (None, None) => format!("{place}: not checked: neither a design load nor a site load was stated."),
    };
    LoadLine { zone: zone.to_string(), face, design_pa, site_pa, margin_pa, carries: margin_pa.map(|m| m >= 0.0), text }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn zone(name: &str, front_pa: f64, rear_pa: f64) -> ClampZone {
        ClampZone { name: name.to_string(), front_pa, rear_pa }
    }

    #[test]
    fn zones_are_compared_one_by_one() {
        let zones = [zone("long sides", 3200.0, 1600.0), zone("short sides", 1600.0, 1200.0)];
        let site = SiteLoadSpec { front_pa: Some(2900.0), ..SiteLoadSpec::default() };
        let lines = check(&zones, &site).unwrap();
        let carries: Vec<Option<bool>> = lines.iter().map(|l| l.carries).collect();
        assert_eq!(carries, [Some(true), None, Some(false), None]);
        assert_eq!(lines[0].margin_pa, Some(300.0));
        let one = SiteLoadSpec { clamp_zone: Some("short sides".into()), ..site.clone() };
        assert_eq!(check(&zones, &one).unwrap().len(), 2);
        let unknown = SiteLoadSpec { clamp_zone: Some("corners".into()), ..site.clone() };
        assert!(check(&zones, &unknown).unwrap_err().to_string().contains("long sides, short sides"));
        let small = SiteLoadSpec { front_pa: Some(2.9), ..site.clone() };
        assert!(check(&zones, &small).unwrap_err().to_string().contains("multiply by 1000"));
        assert_eq!(check(&[], &site).unwrap()[0].carries, None);
        // A load that the sheet does not print, or prints as none, is not known.
        for unknown in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(check(&[zone("a", unknown, 1600.0)], &site).unwrap()[0].carries, None, "{unknown}");
        }
    }

    proptest! {
        #[test]
        fn margin_and_verdict_agree(design in 500.0..9000.0_f64, site in 20.0..9000.0_f64) {
            let spec = SiteLoadSpec { front_pa: Some(site), ..SiteLoadSpec::default() };
            let line = &check(&[zone("a", design, design)], &spec).unwrap()[0];
            prop_assert_eq!(line.margin_pa, Some(design - site));
            prop_assert_eq!(line.carries, Some(design >= site));
        }
    }
}
