//! What keeps a session from being good, one thing at a time: each alone turns an advance into something else, and the
//! reasons name it (rules of the project; the figures are its defaults).

use boutwise_season::{Proposal, Rules, SessionEvidence, Situation, Verdict};

fn good() -> SessionEvidence {
    SessionEvidence {
        dose_pct: 95.0,
        breaks_pct: Some(90.0),
        reps_done: 8,
        reps_planned: 9,
        effort_0_10: Some(4.0),
        ..SessionEvidence::default()
    }
}

fn weighed(sessions: &[SessionEvidence]) -> Proposal {
    let situation =
        Situation { sessions: sessions.to_vec(), days_since_run: Some(2), ..Situation::default() };
    Proposal::weigh(&situation, &Rules::default())
}

#[test]
fn two_good_sessions_advance() {
    assert_eq!(weighed(&[good(), good()]).verdict, Some(Verdict::Advance));
}

#[test]
fn what_keeps_the_newest_session_from_being_good_is_named() {
    for (session, named) in [
        (SessionEvidence { walked: true, dose_pct: 0.0, ..good() }, "the newest session was walked"),
        (SessionEvidence { dose_pct: 89.0, ..good() }, "did 89 % of what was planned, 90 % is asked for"),
        (SessionEvidence { overdone_pct: 15.5, ..good() }, "more than planned"),
        (SessionEvidence { breaks_pct: Some(59.0), ..good() }, "walks between the runs were not kept"),
        (SessionEvidence { effort_0_10: Some(5.0), ..good() }, "effort in the newest session was 5 of 10"),
        (
            SessionEvidence { effort_0_10: None, talkable: Some(false), ..good() },
            "they could not speak in sentences",
        ),
    ] {
        let proposal = weighed(&[good(), good(), session]);
        assert_eq!(proposal.verdict, Some(Verdict::Hold), "{named}");
        assert!(
            proposal.reasons.iter().any(|reason| reason.contains(named)),
            "{named}: {:?}",
            proposal.reasons
        );
    }
    // The lines themselves still are good.
    for session in [
        SessionEvidence { dose_pct: 90.0, ..good() },
        SessionEvidence { overdone_pct: 15.0, ..good() },
        SessionEvidence { breaks_pct: Some(60.0), ..good() },
        SessionEvidence { breaks_pct: None, ..good() },
        SessionEvidence { effort_0_10: Some(9.0), talkable: Some(true), ..good() },
    ] {
        let verdict = weighed(&[good(), session.clone()]).verdict;
        let is_hard = session.effort_0_10 == Some(9.0);
        assert_eq!(verdict == Some(Verdict::Advance), !is_hard, "{session:?}");
    }
}

#[test]
fn too_few_good_sessions_are_counted_in_the_reason() {
    let poor = SessionEvidence { dose_pct: 70.0, ..good() };
    let reason = |sessions: &[SessionEvidence]| {
        let proposal = weighed(sessions);
        assert_eq!(proposal.verdict, Some(Verdict::Hold));
        proposal.reasons[0].clone()
    };
    assert!(reason(&[good()]).starts_with("one session of this block so far, 2 good ones are needed"));
    assert!(
        reason(&[poor.clone(), poor, good()]).starts_with("1 of the last 3 sessions were good, 2 are needed")
    );
}

#[test]
fn a_session_with_pain_is_not_good_however_well_it_was_run() {
    let painful = SessionEvidence { pain_0_10: Some(2.0), ..good() };
    assert!(!painful.is_good(&Rules::default()));
    assert_eq!(weighed(&[painful, good()]).verdict, Some(Verdict::Hold));
    let none = SessionEvidence { pain_0_10: Some(0.0), pain_worse_running: Some(false), ..good() };
    assert!(none.is_good(&Rules::default()));
}

#[test]
fn pain_that_grew_or_stayed_sends_back_with_rest() {
    for session in [
        SessionEvidence { pain_worse_running: Some(true), ..good() },
        SessionEvidence { pain_next_morning: Some(true), ..good() },
        SessionEvidence { pain_0_10: Some(5.5), ..good() },
    ] {
        let proposal = weighed(&[good(), good(), session]);
        assert_eq!((proposal.verdict, proposal.rest_days > 0), (Some(Verdict::Ease), true));
    }
    let mild = weighed(&[good(), good(), SessionEvidence { pain_0_10: Some(5.0), ..good() }]);
    assert_eq!((mild.verdict, mild.rest_days > 0), (Some(Verdict::Hold), true));
}
