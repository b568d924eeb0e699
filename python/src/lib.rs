//! The Python package: the engine of the crate `yearlight` behind two functions, tables by the Arrow C interface.
//!
//! Everything that a user sees is in `lib/yearlight`, with types and documentation; this module, `yearlight._core`, is
//! what stands behind it.
#![warn(missing_docs)]

mod arrow;
mod error;
mod fleet;
mod weigh;
mod work;

use pyo3::prelude::*;

#[pymodule]
fn _core(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add("version", env!("CARGO_PKG_VERSION"))?;
    module.add_class::<arrow::Table>()?;
    module.add_class::<weigh::Weighed>()?;
    module.add_function(wrap_pyfunction!(weigh::weigh_path, module)?)?;
    module.add_function(wrap_pyfunction!(weigh::weigh_value, module)?)?;
    module.add_function(wrap_pyfunction!(fleet::fleet, module)?)?;
    Ok(())
}
