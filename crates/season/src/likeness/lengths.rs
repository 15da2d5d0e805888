//! How likely a length of time is, where one was meant and where any is as likely as another.

/// Widest range of a length, from 10 s to an hour, in which nothing is known of it beforehand (own choice): ln 360.
pub(super) const RANGE_LN: f64 = 5.886;
/// The same of a whole walk, from 10 minutes to an hour (own choice): ln 6.
const WHOLE_RANGE_LN: f64 = 1.792;
/// How far a length that was meant lies off, in seconds and as a share of it, as the scale of a
/// Laplace distribution (own choice).
pub(super) const OFF_S: f64 = 2.5;
pub(super) const OFF_SHARE: f64 = 0.02;
/// The same of a rest, where people start late or stop at a crossing (own choice).
pub(super) const REST_OFF_SHARE: f64 = 0.05;
/// The same of a whole session (own choice).
const TOTAL_OFF_S: f64 = 15.0;
/// Share of the lengths that are anything, for a stop or a bout that was not found (own choice).
pub(super) const ANYTHING: f64 = 0.05;

pub(super) fn off_s(asked_s: f64) -> f64 {
    OFF_S + OFF_SHARE * asked_s
}

/// How much more likely a length is where one was meant than where any is as likely as another.
pub(super) fn near(done_s: f64, meant_s: f64, off_s: f64) -> f64 {
    done_s * RANGE_LN * (-(done_s - meant_s).abs() / off_s).exp() / (2.0 * off_s)
}

/// The same of a whole walk.
pub(super) fn near_whole(done_s: f64, meant_s: f64) -> f64 {
    near(done_s, meant_s, TOTAL_OFF_S + OFF_SHARE * meant_s) * WHOLE_RANGE_LN / RANGE_LN
}

/// The same where it is anything between two shares of what was meant.
pub(super) fn within(done_s: f64, meant_s: f64, (least, most): (f64, f64)) -> f64 {
    let range_s = (most - least) * meant_s;
    if range_s > 0.0 && (least * meant_s..=most * meant_s).contains(&done_s) {
        done_s * RANGE_LN / range_s
    } else {
        0.0
    }
}
