//! What can be wrong with the sections of a job that only weighing reads, found before anything is worked out.

use thiserror::Error;

use crate::job::{ClaimsSpec, InputDoubtSpec, MoneySpec, UncertaintySpec};

/// A key that cannot be used.
#[derive(Debug, Error)]
pub enum WeighError {
    /// An option cannot be run.
    #[error(transparent)]
    Energy(#[from] crate::energy::EnergyError),
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

pub(crate) fn range(key: &str, found: impl ToString, expected: &str, mend: &str) -> WeighError {
    WeighError::Range {
        key: key.to_string(),
        found: found.to_string(),
        expected: expected.to_string(),
        mend: mend.to_string(),
    }
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

/// What the job's own rules do not see in `[money]` and `[claims]`: lengths of lists, and names of options and zones.
///
/// `tags` are the options of the job, `zones` the clamp zones of their modules.
pub fn check(
    money: Option<&MoneySpec>,
    claims: Option<&ClaimsSpec>,
    tags: &[&str],
    zones: &[&str],
) -> Result<(), WeighError> {
    for (key, shape) in money
        .iter()
        .flat_map(|m| [("money.load_shape", &m.load_shape), ("money.load_shape_weekend", &m.load_shape_weekend)])
    {
        if !matches!(shape.len(), 0 | 24) {
            let found = format!("{} values", shape.len());
            return Err(range(key, found, "24 values", "One for each hour of the day, from midnight."));
        }
    }
    let Some(claims) = claims else { return Ok(()) };
    if let Some(tag) = claims.option.as_deref().filter(|t| !tags.contains(t)) {
        let known = format!("one of {}", tags.join(", "));
        return Err(range("claims.option", format!("\"{tag}\""), &known, "Name the option that the claims praise."));
    }
    if let (Some(tag), [first, others @ ..]) = (claims.option.as_deref(), tags)
        && tag == *first
        && !others.is_empty()
    {
        let known = format!("one of {}", others.join(", "));
        let mend = "The first option is what the others are compared with: put the praised option after it.";
        return Err(range("claims.option", format!("\"{tag}\""), &known, mend));
    }
    if let Some(zone) = claims.clamp_zone.as_deref().filter(|z| !zones.contains(z)) {
        let known = if zones.is_empty() { "no zone, since no module has any".into() } else { zones.join(", ") };
        return Err(range("claims.clamp_zone", format!("\"{zone}\""), &known, "Name a clamp zone of the modules."));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_door_has_a_message_that_mends() {
        let money = |text: &str| toml::from_str::<MoneySpec>(text).unwrap();
        let claims = |text: &str| toml::from_str::<ClaimsSpec>(text).unwrap();
        let short = money("tariff_per_kwh = 0.1\nload_shape = [1.0]");
        let text = check(Some(&short), None, &["A"], &[]).unwrap_err().to_string();
        assert!(text.starts_with("money.load_shape is 1 values; expected 24 values."), "{text}");
        let text = check(None, Some(&claims("option = \"C\"")), &["A", "B"], &[]).unwrap_err().to_string();
        assert!(text.starts_with("claims.option is \"C\"; expected one of A, B."), "{text}");
        let text = check(None, Some(&claims("option = \"A\"")), &["A", "B"], &[]).unwrap_err().to_string();
        assert!(text.starts_with("claims.option is \"A\"; expected one of B."), "{text}");
        let text = check(None, Some(&claims("clamp_zone = \"x\"")), &["A"], &["outer"]).unwrap_err().to_string();
        assert!(text.starts_with("claims.clamp_zone is \"x\"; expected outer."), "{text}");
        assert!(check(Some(&money("tariff_per_kwh = 0.1")), Some(&claims("")), &["A"], &[]).is_ok());
    }
}
