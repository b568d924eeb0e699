//! Figures that make no sense, refused before anything is computed.

use super::StringQuestion;
use crate::plant::error::{maybe_positive, positive};
use crate::plant::{Inverter, ModuleConverter, PlantError};

pub(super) fn guard(q: &StringQuestion) -> Result<(), PlantError> {
    let m = &q.module;
    for (key, x, unit) in [
        ("p_stc_w", m.p_stc_w, "W"),
        ("v_mp", m.v_mp, "V"),
        ("i_mp", m.i_mp, "A"),
        ("v_oc", m.v_oc, "V"),
        ("i_sc", m.i_sc, "A"),
    ] {
        positive(key, x, unit)?;
    }
    let coefficients = [("gamma_pct_per_k", Some(m.gamma_pct_per_k)), ("beta_pct_per_k", m.beta_pct_per_k)];
    for (key, x) in coefficients {
        if let Some(x) = x
            && !(-1.0..=0.0).contains(&x)
        {
            return Err(PlantError::value(
                key,
                x,
                "a coefficient from -1 to 0 %/K",
                "Check sign and unit (percent per kelvin).",
            ));
        }
    }
    if let Some(x) = m.alpha_pct_per_k
        && !(-0.5..=0.5).contains(&x)
    {
        return Err(PlantError::value(
            "alpha_pct_per_k",
            x,
            "a coefficient from -0.5 to 0.5 %/K",
            "Check the unit (percent per kelvin).",
        ));
    }
    maybe_positive("v_system_max", m.v_system_max, "V")?;
    maybe_positive("fuse_max_a", m.fuse_max_a, "A")?;
    if q.inverters == 0 {
        return Err(PlantError::value("inverters", 0, "1 or more", "Leave it out for 1."));
    }
    if let Some(i) = q.strings.iter().position(|&n| n == 0 || n > 1000) {
        return Err(PlantError::value(
            format!("strings[{i}]"),
            q.strings[i],
            "1 to 1000 modules",
            "Take empty strings out of the list.",
        ));
    }
    if let (false, Some(n)) = (q.strings.is_empty(), q.modules)
        && q.strings.iter().sum::<u32>() != n
    {
        return Err(PlantError::value(
            "strings",
            format!("{} modules in all", q.strings.iter().sum::<u32>()),
            format!("{n}, as in `modules`"),
            "Correct one of the two, or leave `modules` out.",
        ));
    }
    if q.modules == Some(0) {
        return Err(PlantError::value("modules", 0, "1 or more", "State a number of modules, target_kw or fill."));
    }
    // Everything else an inverter's sheet can have wrong.
    Inverter::new(&q.inverter)?;
    if q.module_converters {
        ModuleConverter::of(&q.inverter)?;
    }
    Ok(())
}
