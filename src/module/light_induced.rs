use super::{ModuleSheet, RatingBasis};
use crate::units::{Fraction, Note};

/// The first loss by light that is still to come, and what was assumed about it.
///
/// Counted only when the rating is that of a new module: a rating after stabilisation (IEC 61215-2 MQT 19) holds it
/// already. A loss without a rating basis is taken as still to come, with a loud note.
pub fn light_induced(sheet: &ModuleSheet) -> (Fraction, Vec<Note>) {
    let pct = sheet.light_induced_pct.unwrap_or(0.0);
    let share = Fraction::from_percent(pct).unwrap_or(Fraction::ZERO);
    match sheet.rating_basis {
        Some(RatingBasis::Stabilised) if pct > 0.0 => {
            let text = format!(
                "Light-induced loss of {pct} % is not taken: the rating is given as stabilised and holds it already."
            );
            (Fraction::ZERO, vec![Note::quiet("module.light-induced-in-rating", text)])
        }
        Some(RatingBasis::Initial) if sheet.light_induced_pct.is_none() => {
            let text = "The rating is that of a new module and no light_induced_pct is given: no first loss is taken. \
                        Give light_induced_pct, or rating_basis = \"stabilised\" if the power was measured after it.";
            (share, vec![Note::loud("module.light-induced-missing", text)])
        }
        None if pct > 0.0 => {
            let text = format!(
                "light_induced_pct = {pct} is given without rating_basis: taken as still to come. If the rated power was \
                 measured after stabilisation it is counted twice; say rating_basis = \"stabilised\" or \"initial\"."
            );
            (share, vec![Note::loud("module.rating-basis-missing", text)])
        }
        _ => (share, Vec::new()),
    }
}
