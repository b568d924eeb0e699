//! What can be wrong with `[uncertainty]`, `[money]`, `[claims]` and `[ageing]`, found before anything is worked out.

use thiserror::Error;

use crate::job::{AgeingSpec, ClaimsSpec, InputDoubtSpec, MoneySpec, UncertaintySpec};

/// A key that cannot be used.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum WeighError {
    /// A number outside its range.
    #[error("{key} is {found}; expected {expected}.\n  {mend}")]
    Range {
        /// Key in the job file.
        key: String,
        /// What was found.
        found: String,
        /// What is expected.
        expected: String,
        /// How to mend it.
        mend: String,
    },
}

fn range(key: &str, found: impl ToString, expected: &str, mend: &str) -> WeighError {
    WeighError::Range {
        key: key.to_string(),
        found: found.to_string(),
        expected: expected.to_string(),
        mend: mend.to_string(),
    }
}

fn within(key: &str, x: f64, lo: f64, hi: f64, mend: &str) -> Result<(), WeighError> {
    if x.is_finite() && (lo..=hi).contains(&x) { Ok(()) } else { Err(range(key, x, &format!("{lo} to {hi}"), mend)) }
}

/// Checks `[uncertainty]`.
pub fn check_uncertainty(spec: &UncertaintySpec) -> Result<(), WeighError> {
    for (key, input) in inputs_of(spec) {
        let Some(input) = input else { continue };
        if let Some(u) = input.u {
            within(
                &format!("uncertainty.{key}.u"),
                u,
                0.0,
                50.0,
                "Give one standard deviation in percent of energy (K for the cell temperature).",
            )?;
        }
        if let Some(rho) = input.correlation {
            within(
                &format!("uncertainty.{key}.correlation"),
                rho,
                0.0,
                1.0,
                "1 when all options share the error, 0 when each has its own.",
            )?;
        }
    }
    if spec.draws > 10_000_000 {
        return Err(range("uncertainty.draws", spec.draws, "0 to 10000000", "10000 is enough for two digits."));
    }
    if let Some(n) = spec.mean_years {
        within("uncertainty.mean_years", f64::from(n), 1.0, 100.0, "Give the years of the mean.")?;
    }
    Ok(())
}

/// The keys of `[uncertainty]` with what the job gives for them.
pub(crate) fn inputs_of(spec: &UncertaintySpec) -> [(&'static str, Option<&InputDoubtSpec>); 13] {
    [
        ("year_to_year", spec.year_to_year.as_ref()),
        ("long_term", spec.long_term.as_ref()),
        ("plane_of_array", spec.plane_of_array.as_ref()),
        ("cell_temperature_k", spec.cell_temperature_k.as_ref()),
        ("temperature_coefficient", spec.temperature_coefficient.as_ref()),
        ("rating", spec.rating.as_ref()),
        ("low_light", spec.low_light.as_ref()),
        ("incidence", spec.incidence.as_ref()),
        ("light_induced", spec.light_induced.as_ref()),
        ("ageing", spec.ageing.as_ref()),
        ("dirt", spec.dirt.as_ref()),
        ("snow", spec.snow.as_ref()),
        ("other", spec.other.as_ref()),
    ]
}

/// Checks `[money]`.
pub fn check_money(spec: &MoneySpec) -> Result<(), WeighError> {
    let prices = [
        ("per_w", spec.per_w),
        ("per_module", spec.per_module),
        ("per_m2", spec.per_m2),
        ("per_string", spec.per_string),
        ("per_cable_m", spec.per_cable_m),
        ("fixed", spec.fixed),
        ("om_per_kw_year", spec.om_per_kw_year),
        ("tariff_per_kwh", spec.tariff_per_kwh),
        ("own_use_per_kwh", spec.own_use_per_kwh.unwrap_or(0.0)),
        ("inverter_replacement", spec.inverter_replacement.unwrap_or(0.0)),
        ("load_kwh", spec.load_kwh.unwrap_or(0.0)),
    ];
    for (key, x) in prices {
        within(&format!("money.{key}"), x, 0.0, 1e12, "Prices and loads are not negative.")?;
    }
    within("money.discount_pct", spec.discount_pct, 0.0, 50.0, "Give percent a year, such as 4.")?;
    within("money.om_pct", spec.om_pct, 0.0, 50.0, "Give percent of the first cost a year, such as 1.")?;
    for (key, x) in [("tariff_growth_pct", spec.tariff_growth_pct), ("om_growth_pct", spec.om_growth_pct)] {
        within(&format!("money.{key}"), x, -50.0, 50.0, "Give percent a year, such as 2.")?;
    }
    for (key, shape) in [("load_shape", &spec.load_shape), ("load_shape_weekend", &spec.load_shape_weekend)] {
        let key = format!("money.{key}");
        if !matches!(shape.len(), 0 | 24) {
            let found = format!("{} values", shape.len());
            return Err(range(&key, found, "24 values", "One for each hour of the day, from midnight."));
        }
        for x in shape {
            within(&key, *x, 0.0, 1e9, "A load is not negative.")?;
        }
    }
    Ok(())
}

/// Checks `[claims]` against the options of the job.
pub fn check_claims(spec: &ClaimsSpec, tags: &[&str]) -> Result<(), WeighError> {
    if let Some(tag) = spec.option.as_deref().filter(|t| !tags.contains(t)) {
        let known = format!("one of {}", tags.join(", "));
        return Err(range("claims.option", format!("\"{tag}\""), &known, "Name the option that the claims praise."));
    }
    if let Some(per) = spec.efficiency_per.as_deref().filter(|p| !["m2", "kw", "roof"].contains(p)) {
        let mend = "Say what the efficiency claim is about: energy per m2 of module, per kW, or per roof.";
        return Err(range("claims.efficiency_per", format!("\"{per}\""), "\"m2\", \"kw\" or \"roof\"", mend));
    }
    for (key, x) in [("site_load_front_pa", spec.site_load_front_pa), ("site_load_rear_pa", spec.site_load_rear_pa)] {
        let mend = "Give the design load that the structural engineer supplied, in Pa.";
        within(&format!("claims.{key}"), x.unwrap_or(0.0), 0.0, 50_000.0, mend)?;
    }
    Ok(())
}

/// Checks `[ageing]`.
pub fn check_ageing(spec: &AgeingSpec) -> Result<(), WeighError> {
    within("ageing.years", f64::from(spec.years), 1.0, 100.0, "Give the years of operation, such as 25.")?;
    if super::Course::named(&spec.course).is_none() {
        let mend = "linear is E1 (1 - d (t - 1)), compound is E1 (1 - d)^(t - 1).";
        return Err(range("ageing.course", format!("\"{}\"", spec.course), "\"linear\" or \"compound\"", mend));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_door_has_a_message_that_mends() {
        let bad = |text: &str| check_uncertainty(&toml::from_str(text).unwrap()).unwrap_err().to_string();
        assert!(bad("rating = { u = -1.0 }").starts_with("uncertainty.rating.u is -1; expected 0 to 50."));
        assert!(bad("dirt = { correlation = 1.5 }").contains("uncertainty.dirt.correlation is 1.5"));
        assert!(bad("mean_years = 0").contains("uncertainty.mean_years is 0"));
        let money = |text: &str| check_money(&toml::from_str(text).unwrap()).unwrap_err().to_string();
        assert!(money("tariff_per_kwh = -0.1").contains("money.tariff_per_kwh"));
        assert!(money("tariff_per_kwh = nan").contains("money.tariff_per_kwh"));
        assert!(money("tariff_per_kwh = 0.1\nload_shape = [1.0]").contains("1 values; expected 24 values"));
        assert!(money("tariff_per_kwh = 0.1\ndiscount_pct = -100").contains("money.discount_pct"));
        let claims = |text: &str| check_claims(&toml::from_str(text).unwrap(), &["A", "B"]).unwrap_err().to_string();
        assert!(claims("option = \"C\"").contains("one of A, B"));
        assert!(claims("efficiency_per = \"acre\"").contains("\"m2\", \"kw\" or \"roof\""));
        let odd = AgeingSpec { course: "steep".into(), ..AgeingSpec::default() };
        assert!(check_ageing(&odd).unwrap_err().to_string().contains("ageing.course is \"steep\""));
        assert!(check_uncertainty(&UncertaintySpec::default()).is_ok());
        assert!(check_ageing(&AgeingSpec::default()).is_ok());
    }
}
