//! How well found bouts agree with true ones: one session's [`SessionScore`], many sessions' [`Summary`].

pub mod agreement;
pub mod alignment;
mod calibration;
mod document;
mod edge_limit;
mod score;
mod summary;

pub use calibration::{Calibration, ReliabilityBin, TradeOff, trade_off};
pub use document::{compare_tables, fill_block, keep_tables};
pub use edge_limit::datable_share;
pub use score::{EDGE_LIMIT_S, FoundBout, IOU_LIMIT, SessionScore};
pub use summary::{Summary, quantile};
