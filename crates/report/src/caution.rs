//! The cautions of the report. They defer to the coach and to licensed health professionals.

/// Stands in every report.
pub const ALWAYS: &str = "This report describes recordings. It is no medical advice, finds no illness and cannot \
    say that running is safe for you. Your coach's judgement comes first, and a health professional's before that.";

/// A caution that stands in a report where its reason is given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Caution {
    /// A warning sign was noted: pain or pressure in the chest, fainting, dizziness, breathlessness out of
    /// proportion, a racing or irregular heartbeat. Nothing about progress is shown beside it.
    WarningSign,
    /// Pain above 5 of 10, growing while running, or still there the next morning.
    PainRest,
    /// Pain of 1 to 5 that was gone the next morning.
    PainHold,
    /// The day was hot.
    Heat,
    /// Heart rate does not apply: medicine that lowers the pulse, or a predicted maximum.
    HeartRate,
    /// No screening was noted.
    Screening,
}

impl Caution {
    /// A few words for headings and lists.
    pub fn title(self) -> &'static str {
        match self {
            Self::WarningSign => "A warning sign was noted",
            Self::PainRest => "Pain: rest and go back",
            Self::PainHold => "Pain: hold and rest",
            Self::Heat => "Heat",
            Self::HeartRate => "Heart rate",
            Self::Screening => "Before starting or stepping up",
        }
    }

    /// The caution itself.
    ///
    /// Basis: the signs and questions of common exercise screening forms in our own words; the pain lines after
    /// the pain-monitoring model (not above 5, gone the next morning), the lower one stricter by own choice;
    /// heat after the consensus of 2021 on exertional heat illness; heart rate because predicted maxima miss
    /// by about 11 beats (Nes and others 2013).
    pub fn text(self) -> &'static str {
        match self {
            Self::WarningSign => {
                "Stop now and do not resume today. If it is chest pain, fainting or does not pass quickly, call the \
                 emergency number. See a licensed health professional before the next run."
            }
            Self::PainRest => {
                "Do not run through this. Take at least one extra rest day and go back a step; if it lasts, returns \
                 or swells, see a health professional."
            }
            Self::PainHold => "Hold the step and take one extra rest day. Stop a run in which it comes back.",
            Self::Heat => {
                "Heat raises the heart rate at the same pace and slows you: do not read slowing or a higher pulse as \
                 lost fitness. Shorten, slow down, take shade and water. Headache, nausea, chills, stumbling or \
                 confusion: stop, cool down at once, get help; confusion or collapse is an emergency."
            }
            Self::HeartRate => {
                "Heart-rate figures do not apply to you or may be off by more than 10 beats; use speech and effort."
            }
            Self::Screening => {
                "Before you start or step up: if a doctor has told you of a heart, blood-pressure or other lasting \
                 condition, if you take prescribed medicine for one, if you get chest pain at rest, in daily life or \
                 in exercise, if you have lost balance from dizziness or fainted within a year, if a joint, bone, \
                 muscle or tendon trouble could get worse, or if you were told to exercise only under supervision, \
                 speak to a licensed health professional first. Wait if you have a fever or cold; ask first if you \
                 are pregnant."
            }
        }
    }
}
