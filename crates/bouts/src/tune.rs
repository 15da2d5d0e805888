//! dev only
use std::collections::HashMap;
use std::sync::{Mutex, OnceLock};
pub(crate) fn tune(name: &'static str, default: f64) -> f64 {
    static M: OnceLock<Mutex<HashMap<&'static str, f64>>> = OnceLock::new();
    *M.get_or_init(Default::default).lock().unwrap().entry(name).or_insert_with(|| {
        std::env::var(name).ok().and_then(|v| v.parse().ok()).unwrap_or(default)
    })
}
#[doc(hidden)]
pub static ORACLE: Mutex<Option<(f64, f64)>> = Mutex::new(None);
