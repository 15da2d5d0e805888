//! The method of this project and its peers, under one roof.

use boutwise_bouts::{SegmentSettings, Segmentation, segment};
use boutwise_track::Recording;
use boutwise_truth::evaluation::{FoundBout, SessionScore};
use boutwise_truth::{SyntheticSession, peers};

/// A way to find bouts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum Method {
    PlanAlone,
    FixedSpeed,
    ChangePoints,
    HiddenMarkov,
    HiddenMarkovTold,
    CadenceThreshold,
    Boutwise,
}

impl Method {
    /// In the order of the tables.
    pub(crate) const ALL: [Self; 7] = [
        Self::PlanAlone,
        Self::FixedSpeed,
        Self::ChangePoints,
        Self::HiddenMarkov,
        Self::HiddenMarkovTold,
        Self::CadenceThreshold,
        Self::Boutwise,
    ];

    /// Name in the tables.
    pub(crate) fn title(self) -> &'static str {
        match self {
            Self::PlanAlone => "the plan, printed",
            Self::FixedSpeed => "fixed 2.1 / 1.8 m/s on a 10 s mean",
            Self::ChangePoints => "change points (PELT), two levels",
            Self::HiddenMarkov => "HMM that learns its levels",
            Self::HiddenMarkovTold => "HMM told the true levels",
            Self::CadenceThreshold => "fixed 140 / 130 steps a minute",
            Self::Boutwise => "**Boutwise**",
        }
    }

    /// Whether it can use cadence.
    pub(crate) fn uses_cadence(self) -> bool {
        matches!(self, Self::CadenceThreshold | Self::Boutwise)
    }

    /// Whether it can do without cadence.
    pub(crate) fn needs_cadence(self) -> bool {
        self == Self::CadenceThreshold
    }

    /// Finds the bouts of a session and scores them.
    pub(crate) fn score(self, session: &SyntheticSession) -> SessionScore {
        let recording = &session.recording;
        let found: Vec<FoundBout> = match self {
            Self::PlanAlone => peers::plan_alone(&session.plan, recording.duration_s()),
            Self::FixedSpeed => peers::hysteresis(recording, peers::SpeedCut::default()),
            Self::ChangePoints => peers::change_points(recording),
            Self::HiddenMarkov => peers::hidden_markov(recording),
            Self::HiddenMarkovTold => peers::hidden_markov_told(recording, &session.person),
            Self::CadenceThreshold => peers::cadence_threshold(recording, peers::CadenceCut::default()),
            Self::Boutwise => return judged(session, &boutwise(recording)),
        };
        SessionScore::of(&session.truth, session.as_planned(), &found)
    }
}

/// The segmentation under test.
pub(crate) fn boutwise(recording: &Recording) -> Segmentation {
    segment(recording, &SegmentSettings::default())
}

/// Its score.
pub(crate) fn judged(session: &SyntheticSession, segmentation: &Segmentation) -> SessionScore {
    SessionScore::of_segmentation(&session.truth, session.as_planned(), segmentation)
}
