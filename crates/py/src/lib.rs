//! The Python package: sources in, recordings and tables out. Knows nothing of its own: what is read, found and judged
//! comes from the crates below, by the same calls that the command makes.
//!
//! - `source`: what Python code may hand over, as inputs of an audit;
//! - `watched`: a call without the interpreter's lock, which asks every so often whether it is to end;
//! - `recording`, `table`, `result`: what comes out; `errors`: what is raised;
//! - `calls`: the four functions of the package.
//!
//! The interpreter is spoken to through `pyo3` alone, and tables leave through the Arrow C interface as `arrow-array`
//! makes it; no line here is unsafe.

mod calls;
mod errors;
mod recording;
mod result;
mod source;
mod table;
mod watched;

use pyo3::prelude::*;

/// What the package is made of; `boutwise/__init__.py` says what of it is public.
#[pymodule]
fn _boutwise(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add("__version__", env!("CARGO_PKG_VERSION"))?;
    module.add_class::<recording::Recording>()?;
    module.add_class::<table::Table>()?;
    module.add_class::<result::AuditResult>()?;
    module.add_function(wrap_pyfunction!(calls::read, module)?)?;
    module.add_function(wrap_pyfunction!(calls::bouts, module)?)?;
    module.add_function(wrap_pyfunction!(calls::audit_recording, module)?)?;
    module.add_function(wrap_pyfunction!(calls::audit_folder, module)?)
}
