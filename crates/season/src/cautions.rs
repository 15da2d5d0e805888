//! The usual cautions, in the project's own words, each shown when its trigger is present.
//!
//! Hard rules for every sentence, kept by tests: no diagnosis, no "normal" and "abnormal", no injury probability for a
//! person, no praise for running through pain, no threat for a missed session.

use serde::Serialize;

/// A caution.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
pub enum Caution {
    /// Always shown.
    NoAdvice,
    /// No screening was noted.
    Screening,
    /// A warning sign was noted.
    WarningSign,
    /// Pain above the line, growing while running, or still there next morning.
    StrongPain,
    /// Other pain.
    MildPain,
    /// Heat was noted.
    Heat,
    /// A medicine that lowers the pulse was noted.
    PulseMedicine,
    /// The largest heart rate is predicted from age.
    PredictedHeartRate,
    /// The next session is a large step in distance, larger than the plan's own.
    LargeStep,
    /// A session of the last days went far beyond those before it, and beyond what the plan asked for.
    RanFar,
    /// The run distance of two weeks rose fast.
    FastRise,
}

/// What may trigger cautions.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Triggers {
    /// Whether a health screening was noted.
    pub screened: bool,
    /// Whether an unanswered warning sign was noted.
    pub warning_sign: bool,
    /// Whether pain above the line, lasting or growing was noted with the newest session.
    pub strong_pain: bool,
    /// Whether other pain was noted with the newest session.
    pub mild_pain: bool,
    /// Whether heat was noted lately.
    pub heat: bool,
    /// Whether heart-rate figures are shown.
    pub heart_rate_shown: bool,
    /// Whether a medicine that lowers the pulse was noted.
    pub pulse_medicine: bool,
    /// Whether the largest heart rate is predicted from age.
    pub predicted_heart_rate: bool,
    /// Whether the next session is a large step in distance.
    pub large_step: bool,
    /// Whether a session of the last days went far beyond those before it, and beyond what the plan asked for.
    pub ran_far: bool,
    /// Whether the run distance of two weeks rose fast.
    pub fast_rise: bool,
}

impl Caution {
    /// All of them, in the order in which they are shown.
    pub const ALL: [Self; 11] = [
        Self::WarningSign,
        Self::StrongPain,
        Self::MildPain,
        Self::Heat,
        Self::PulseMedicine,
        Self::PredictedHeartRate,
        Self::LargeStep,
        Self::RanFar,
        Self::FastRise,
        Self::Screening,
        Self::NoAdvice,
    ];

    /// The cautions that triggers bring, the gravest first.
    ///
    /// ```
    /// use boutwise_season::{Caution, Triggers};
    /// assert_eq!(Caution::of(&Triggers { screened: true, ..Triggers::default() }), [Caution::NoAdvice]);
    /// ```
    pub fn of(triggers: &Triggers) -> Vec<Self> {
        let shown = |caution: &Self| match caution {
            Self::NoAdvice => true,
            Self::Screening => !triggers.screened,
            Self::WarningSign => triggers.warning_sign,
            Self::StrongPain => triggers.strong_pain,
            Self::MildPain => triggers.mild_pain && !triggers.strong_pain,
            Self::Heat => triggers.heat,
            Self::PulseMedicine => triggers.pulse_medicine && triggers.heart_rate_shown,
            Self::PredictedHeartRate => {
                triggers.predicted_heart_rate && triggers.heart_rate_shown && !triggers.pulse_medicine
            }
            // Beside a warning sign nothing about progress is shown.
            Self::LargeStep => triggers.large_step && !triggers.warning_sign,
            Self::RanFar => triggers.ran_far && !triggers.warning_sign,
            Self::FastRise => triggers.fast_rise && !triggers.warning_sign,
        };
        Self::ALL.into_iter().filter(shown).collect()
    }

    /// A few words for headings and lists.
    pub fn title(self) -> &'static str {
        match self {
            Self::NoAdvice => "No medical advice",
            Self::Screening => "Before starting or stepping up",
            Self::WarningSign => "A warning sign was noted",
            Self::StrongPain => "Pain: rest and go back",
            Self::MildPain => "Pain: hold and rest",
            Self::Heat => "Heat",
            Self::PulseMedicine | Self::PredictedHeartRate => "Heart rate",
            Self::LargeStep => "A large step",
            Self::RanFar => "Much more than before",
            Self::FastRise => "A fast rise",
        }
    }

    /// The text.
    pub fn text(self) -> &'static str {
        match self {
            // Common practice, no source.
            Self::NoAdvice => {
                "This report describes recordings. It is no medical advice, finds no illness and cannot say that \
                 running is safe for you. Your coach's judgement comes first, and a health professional's before that."
            }
            // The seven questions of the screening form PAR-Q+, in own words.
            Self::Screening => {
                "Before you start or step up: if a doctor has told you of a heart, blood-pressure or other lasting \
                 condition, if you take prescribed medicine for one, if you get chest pain at rest, in daily life or in \
                 exercise, if you have lost balance from dizziness or fainted within a year, if a joint, bone, muscle \
                 or tendon trouble could get worse, or if you were told to exercise only under supervision, speak to a \
                 licensed health professional first. Wait if you have a fever or cold; ask first if you are pregnant."
            }
            // Signs as in the ACSM screening recommendations (list from memory).
            Self::WarningSign => {
                "Stop now and do not resume today. If it is chest pain, fainting or does not pass quickly, call the \
                 emergency number. See a licensed health professional before the next run."
            }
            // Pain-monitoring model: not above 5, gone next morning (second-hand; Silbernagel 2007).
            Self::StrongPain => {
                "Do not run through this. Take at least one extra rest day and go back a step; if it lasts, returns or \
                 swells, see a health professional."
            }
            // Own choice, stricter than that model because no therapist is present.
            Self::MildPain => {
                "Hold the step and take one extra rest day. Stop a run in which the pain comes back."
            }
            // ACSM 2021 consensus on heat (Roberts and others, Curr Sports Med Rep 20).
            Self::Heat => {
                "Heat raises the heart rate at the same pace and slows you: do not read slowing or a higher pulse as \
                 lost fitness. Shorten, slow down, take shade and water. Headache, nausea, chills, stumbling or \
                 confusion: stop, cool down at once, get help; confusion or collapse is an emergency."
            }
            // From memory: such medicine lowers the pulse.
            Self::PulseMedicine => "Heart-rate figures do not apply to you; use speech and effort.",
            // Standard error of predictions: Nes and others 2013.
            Self::PredictedHeartRate => {
                "The largest heart rate is estimated from age and may be off by more than 10 beats; use speech and effort."
            }
            // The study behind it (Frandsen and others 2025, doi 10.1136/bjsports-2024-109380) and its figures stand in the
            // manual: no figure of injuries is put before a beginner.
            Self::LargeStep => {
                "The next session asks for clearly more running than any session of the last weeks, and for a larger step than \
                 the plan's own. Take it easy and shorten it if in doubt."
            }
            // The same study, of a session already run.
            Self::RanFar => {
                "A session of the last days had clearly more running than any of the weeks before it. Take the next sessions \
                 easy, and the days of rest between them."
            }
            // Nielsen and others 2014, likewise.
            Self::FastRise => {
                "The running distance of the last two weeks rose fast. Keep to the plan's sessions and take \
                 the days of rest between them."
            }
        }
    }

    /// The text for a slip that is handed to one person: the same in short sentences.
    pub fn in_short(self) -> &'static str {
        match self {
            Self::NoAdvice | Self::PredictedHeartRate => {
                "This is no medical advice. Stop if something hurts or feels wrong, and ask."
            }
            Self::Screening => {
                "Have you a heart, blood-pressure or joint problem, chest pain, or did you ever faint? \
                 Then speak to a licensed health professional before you go on."
            }
            Self::Heat => {
                "Heat makes everybody slower. Take shade and water, and shorten the run. Feeling sick, chilled or \
                 confused? Stop, cool down and get help at once."
            }
            Self::LargeStep => "The next session is a large step. Take it easy, and shorten it if in doubt.",
            Self::RanFar => {
                "You ran clearly more in one session than in the weeks before. Take it easy now, and take the days of rest."
            }
            Self::FastRise => {
                "You ran clearly more in the last two weeks. Keep to the plan, and take the days of rest."
            }
            Self::WarningSign | Self::StrongPain | Self::MildPain | Self::PulseMedicine => self.text(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_text_diagnoses_threatens_praises_or_foretells() {
        for caution in Caution::ALL {
            let text = format!("{} {}", caution.text(), caution.in_short()).to_lowercase();
            for word in [
                "normal",
                "diagnos",
                "risk of",
                "your risk",
                "probability",
                "well done",
                "great",
                "must run",
                "failed",
                "injur",
                "hazard",
            ] {
                assert!(!text.contains(word), "{caution:?} says {word}");
            }
            // No judgement by the fall of the heart rate, and no promise beside a weekly percentage.
            assert!(!text.contains("12 b"), "{caution:?}");
            assert!(!(text.contains("10 %") && text.contains("safe")), "{caution:?}");
            assert!(text.ends_with('.'), "{caution:?}");
        }
    }

    #[test]
    fn the_first_caution_is_always_there_and_screening_until_noted() {
        assert_eq!(Caution::of(&Triggers::default()), [Caution::Screening, Caution::NoAdvice]);
        let all = Triggers {
            warning_sign: true,
            strong_pain: true,
            mild_pain: true,
            heat: true,
            heart_rate_shown: true,
            pulse_medicine: true,
            predicted_heart_rate: true,
            large_step: true,
            ran_far: true,
            fast_rise: true,
            screened: true,
        };
        let shown = Caution::of(&all);
        assert_eq!(shown[0], Caution::WarningSign);
        for of_progress in [Caution::LargeStep, Caution::RanFar, Caution::FastRise] {
            assert!(!shown.contains(&of_progress));
        }
        assert!(!shown.contains(&Caution::MildPain) && !shown.contains(&Caution::PredictedHeartRate));
    }

    #[test]
    fn grave_signs_send_to_a_professional() {
        for caution in [Caution::WarningSign, Caution::StrongPain, Caution::Screening] {
            assert!(caution.text().contains("health professional"), "{caution:?}");
        }
    }
}
