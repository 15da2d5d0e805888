//! Remarks on a session, in a few words.

use boutwise_season::Remark;

use crate::figures::{duration, percent_text};

/// The remark in a few words.
pub(crate) fn remark_text(remark: &Remark) -> String {
    match *remark {
        Remark::NotResolvable => "running and walking could not be told apart".into(),
        Remark::AllWalked => "walked throughout".into(),
        Remark::WalksCut { walked_s, asked_s } if walked_s < 1.0 => {
            format!("walks skipped: none of {}", duration(asked_s))
        }
        Remark::WalksCut { walked_s, asked_s } => {
            format!("walks cut: {} of {}", duration(walked_s), duration(asked_s))
        }
        Remark::StoppedEarly { done, planned } => format!("stopped early: {done} of {planned} reps"),
        Remark::RepsMissing { done, planned } => format!("{done} of {planned} reps"),
        Remark::Overdone { pct } => format!("{} more running than asked", percent_text(pct)),
        Remark::MarkedSlowing { pct } => {
            format!("marked slowing ({}): fast start, heat, a climb or tiredness", percent_text(pct))
        }
    }
}
