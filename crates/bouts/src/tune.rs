//! dev only
use std::sync::Mutex;
pub(crate) fn lookup(name: &'static str, default: f64) -> f64 {
    std::env::var(name).ok().and_then(|v| v.parse().ok()).unwrap_or(default)
}
macro_rules! tune_macro {
    ($name:expr, $default:expr) => {{
        static V: std::sync::OnceLock<f64> = std::sync::OnceLock::new();
        *V.get_or_init(|| crate::tune::lookup($name, $default))
    }};
}
pub(crate) use tune_macro as tune;
#[doc(hidden)]
pub static ORACLE: Mutex<Option<(f64, f64)>> = Mutex::new(None);
#[doc(hidden)]
pub static FEATURES: Mutex<Vec<f64>> = Mutex::new(Vec::new());
