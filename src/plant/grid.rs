//! Behind the inverter: transformer, outage, export limit.

use serde::{Deserialize, Serialize};

use crate::plant::error::{not_negative, positive};
use crate::plant::{GridSpec, PlantError, TransformerSpec};

/// A transformer: `loss = P0 + Pk (S/S_r)^2`, at power factor 1.
///
/// P0 is lost at night as well. Ignores temperature and voltage. Source: the usual split into no-load and load loss,
/// IEC 60076-1 (from memory).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Transformer {
    no_load_w: f64,
    per_w: f64,
}

impl Transformer {
    /// From the job's record.
    pub fn new(spec: &TransformerSpec) -> Result<Transformer, PlantError> {
        let rating_w = 1000.0 * positive("grid.transformer.rating_kva", spec.rating_kva, "kVA")?;
        let no_load_w = not_negative("grid.transformer.no_load_w", spec.no_load_w, "W")?;
        let load_w = not_negative("grid.transformer.load_w", spec.load_w, "W")?;
        for (key, loss) in [("grid.transformer.no_load_w", no_load_w), ("grid.transformer.load_w", load_w)] {
            if loss > 0.2 * rating_w {
                return Err(PlantError::value(
                    key,
                    loss,
                    format!("a loss far below the rating of {rating_w} W"),
                    "rating_kva is in kVA, the losses in W.",
                ));
            }
        }
        Ok(Transformer { no_load_w, per_w: load_w / (rating_w * rating_w) })
    }

    /// Loss in W at a power of `p` W in either direction.
    ///
    /// ```
    /// use yearlight::plant::{Transformer, TransformerSpec};
    /// let t = Transformer::new(&TransformerSpec { rating_kva: 100.0, no_load_w: 200.0, load_w: 1200.0 })?;
    /// assert!((t.loss_w(50_000.0) - 500.0).abs() < 1e-9);
    /// # Ok::<(), yearlight::plant::PlantError>(())
    /// ```
    pub fn loss_w(&self, p: f64) -> f64 {
        self.no_load_w + self.per_w * (p * p)
    }

    /// Takes the loss out of a column of power, W, and writes it to `loss`; the result may fall below zero.
    pub fn apply(&self, p: &mut [f64], loss: &mut Vec<f64>) {
        loss.resize(p.len(), 0.0);
        take_transformer(self.no_load_w, self.per_w, p, loss);
    }
}

/// Takes the share 0..1 of `p` (W) that is lost out of service and writes it to `lost`; draw is left as it is.
pub fn take_outage(share: f64, p: &mut [f64], lost: &mut Vec<f64>) {
    lost.resize(p.len(), 0.0);
    take_share(share, p, lost);
}

/// A limit on what is fed into the grid.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ExportLimit {
    limit_w: f64,
}

impl ExportLimit {
    /// From the job's record; `None` when there is no limit.
    pub fn new(spec: &GridSpec) -> Result<Option<ExportLimit>, PlantError> {
        spec.export_limit_kw
            .map(|kw| Ok(ExportLimit { limit_w: 1000.0 * not_negative("grid.export_limit_kw", kw, "kW")? }))
            .transpose()
    }

    /// Holds a column of power, W, to `load + limit` and writes what is lost to `lost`.
    ///
    /// `E_exp = min(P - load, limit)`: the load on site is served first. `load` is in W on the same steps, none for 0.
    pub fn apply(&self, load: Option<&[f64]>, p: &mut [f64], lost: &mut Vec<f64>) {
        lost.resize(p.len(), 0.0);
        match load {
            Some(load) => take_above_load(self.limit_w, load, p, lost),
            None => take_above(self.limit_w, p, lost),
        }
    }
}

crate::wide! {
    fn take_transformer(no_load: f64, per: f64, p: &mut [f64], loss: &mut [f64]) {
        for (p, loss) in p.iter_mut().zip(loss.iter_mut()) {
            *loss = no_load + per * (*p * *p);
            *p -= *loss;
        }
    }
}

crate::wide! {
    fn take_share(share: f64, p: &mut [f64], lost: &mut [f64]) {
        for (p, lost) in p.iter_mut().zip(lost.iter_mut()) {
            let gone = share * *p;
            let gone = if gone > 0.0 { gone } else { 0.0 };
            *lost = gone;
            *p -= gone;
        }
    }
}

crate::wide! {
    fn take_above(limit: f64, p: &mut [f64], lost: &mut [f64]) {
        for (p, lost) in p.iter_mut().zip(lost.iter_mut()) {
            let kept = if *p < limit { *p } else { limit };
            *lost = *p - kept;
            *p = kept;
        }
    }
}

crate::wide! {
    fn take_above_load(limit: f64, load: &[f64], p: &mut [f64], lost: &mut [f64]) {
        for ((p, lost), load) in p.iter_mut().zip(lost.iter_mut()).zip(load) {
            let most = limit + load;
            let kept = if *p < most { *p } else { most };
            *lost = *p - kept;
            *p = kept;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn load_is_served_before_the_limit_bites() {
        let limit =
            ExportLimit::new(&GridSpec { export_limit_kw: Some(30.0), ..GridSpec::default() }).unwrap().unwrap();
        let (mut p, mut lost) = ([20e3, 33e3, 33e3, -5.0], Vec::new());
        limit.apply(Some(&[0.0, 0.0, 2e3, 0.0]), &mut p, &mut lost);
        assert_eq!(p, [20e3, 30e3, 32e3, -5.0]);
        assert_eq!(lost, [0.0, 3e3, 1e3, 0.0]);
        assert!(ExportLimit::new(&GridSpec::default()).unwrap().is_none());
        let text = ExportLimit::new(&GridSpec { export_limit_kw: Some(-30.0), ..GridSpec::default() }).unwrap_err();
        assert!(text.to_string().starts_with("grid.export_limit_kw is -30"));
    }

    proptest! {
        #[test]
        fn what_is_taken_is_what_is_missing(
            p in proptest::collection::vec(-10.0..5e4_f64, 1..60), share in 0.0..1.0_f64, limit in 0.0..40.0_f64,
        ) {
            let limit = ExportLimit::new(&GridSpec { export_limit_kw: Some(limit), ..GridSpec::default() }).unwrap().unwrap();
            let transformer =
                Transformer::new(&TransformerSpec { rating_kva: 50.0, no_load_w: 100.0, load_w: 700.0 }).unwrap();
            let mut after = p.clone();
            let (mut a, mut b, mut c) = (Vec::new(), Vec::new(), Vec::new());
            transformer.apply(&mut after, &mut a);
            take_outage(share, &mut after, &mut b);
            limit.apply(None, &mut after, &mut c);
            for i in 0..p.len() {
                prop_assert!((p[i] - a[i] - b[i] - c[i] - after[i]).abs() < 1e-9);
                prop_assert!(a[i] > 0.0 && b[i] >= 0.0 && c[i] >= 0.0);
            }
        }
    }
}
