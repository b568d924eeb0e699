//! The errors of the engine as Python exceptions with the same words.

use std::error::Error;

use pyo3::prelude::*;
use yearlight::fleet::FleetError;
use yearlight::job::{Fault, JobError};

/// An error on its way out of a thread: the words of the command line, and the parts of the message where they are
/// known one by one.
pub struct Words {
    text: String,
    fault: Option<Fault>,
}

impl Words {
    /// The error with what lies behind it.
    pub fn of(error: &(dyn Error + 'static)) -> Words {
        let job = error.downcast_ref::<JobError>().or_else(|| match error.downcast_ref::<FleetError>() {
            Some(FleetError::Template(job)) => Some(job),
            _ => None,
        });
        Words { text: yearlight::cli::chain(error), fault: job.map(|j| j.fault().clone()) }
    }

    /// A message that is whole already.
    pub fn text(text: impl Into<String>) -> Words {
        Words { text: text.into(), fault: None }
    }

    /// As `yearlight.InputError`.
    pub fn raise(self, py: Python<'_>) -> PyErr {
        let made = || -> PyResult<PyErr> {
            let class = py.import("yearlight._errors")?.getattr("InputError")?;
            let parts = self.fault.as_ref().map(|f| {
                let line = (f.at.line > 0).then_some(f.at.line);
                (f.at.file.as_str(), line, f.found.as_str(), f.expected.as_str(), f.mend.as_str())
            });
            Ok(PyErr::from_value(class.call_method1("_of", (self.text.as_str(), parts))?))
        };
        made().unwrap_or_else(|e| e)
    }
}
