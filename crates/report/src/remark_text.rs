//! Remarks on a session, in a few words.

use boutwise_season::Remark;

use crate::figures::{duration, percent_text};

/// The remark in a few words.
pub(crate) fn remark_text(remark: &Remark) -> String {
    match remark {
        Remark::Happened { text, .. } => text.clone(),
        Remark::Overdone { pct } => format!("Ran {} more than planned.", percent_text(*pct)),
        Remark::RanBeside { run_s } => {
            format!("Ran {} more that day, in a recording on no session.", duration(*run_s))
        }
        Remark::MarkedSlowing { pct } => {
            format!("Slowed markedly ({}): fast start, heat, a climb or tiredness.", percent_text(*pct))
        }
    }
}
