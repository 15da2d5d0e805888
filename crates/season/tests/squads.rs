//! A squad made by hand, a case a person, as files that a coach can read: who did what, what was noted, and what is
//! expected, with the reasons. The answers were worked by hand from the rules of the manual.

use boutwise_bouts::{Bout, Kind};
use boutwise_season::{AthleteInput, Journal, Outing, Plan, PlanInUse, Settings, Squad, audit_athlete};
use chrono::NaiveDate;

const FOLDER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../testdata/squads/notes/");

fn text(name: &str) -> String {
    std::fs::read_to_string(format!("{FOLDER}{name}")).unwrap()
}

/// Runs such as `7 x 1:10` with 80 s of walking between, at six in the evening.
fn outing(day: NaiveDate, done: &str) -> Outing {
    let (count, each) = done.split_once(" x ").unwrap();
    let (minutes, seconds) = each.split_once(':').unwrap();
    let run_s = minutes.parse::<f64>().unwrap() * 60.0 + seconds.parse::<f64>().unwrap();
    let mut bouts: Vec<Bout> = Vec::new();
    let mut add = |kind, duration_s: f64, speed_m_per_s: f64| {
        let start_s = bouts.last().map_or(0.0, |bout| bout.end_s);
        let mut bout = Bout::new(kind, start_s, start_s + duration_s);
        bout.distance_m = Some(duration_s * speed_m_per_s);
        bouts.push(bout);
    };
    add(Kind::Walk, 360.0, 1.5);
    for _ in 0..count.parse::<u32>().unwrap() {
        add(Kind::Run, run_s, 2.4);
        add(Kind::Walk, 80.0, 1.5);
    }
    let local = day.and_hms_opt(18, 0, 0).unwrap();
    Outing::new(format!("{day}.gpx"), 1, local.and_utc(), local, true, bouts)
}

#[test]
fn every_case_of_the_squad_comes_out_as_written_beside_it() {
    let plan = Plan::parse(&text("plan.toml"), "plan.toml").unwrap();
    let settings = Settings::default();
    let squad = Squad::read(text("squad.csv").as_bytes(), "squad.csv").unwrap();
    let journal = Journal::read(text("journal.csv").as_bytes(), "journal.csv", &settings.signs).unwrap();
    journal.check_names(Some(&squad), []).unwrap();
    let sessions = text("sessions.csv");
    let mut played = 0;
    for row in text("expected.csv").lines().skip(1) {
        let cells: Vec<&str> = row.splitn(6, ',').collect();
        let [name, as_of, proposal, next, says, case] = cells[..] else { panic!("{row}") };
        let outings: Vec<Outing> = sessions
            .lines()
            .skip(1)
            .map(|row| row.split(',').collect::<Vec<_>>())
            .filter(|cells| cells[0] == name)
            .map(|cells| outing(cells[1].parse().unwrap(), cells[2]))
            .collect();
        let athlete = squad.athlete(name).unwrap();
        let notes = journal.of(name, Some(athlete));
        let audit = audit_athlete(&AthleteInput {
            outings: &outings,
            plans: &[PlanInUse { plan: &plan, start: athlete.assignments[0].start }],
            athlete: Some(athlete),
            journal: &notes,
            as_of: as_of.parse().unwrap(),
            settings: &settings,
        });
        let found = audit.shown_verdict().map_or("", |verdict| verdict.word());
        let reasons = audit.proposal.reasons.join("; ");
        assert_eq!(found, proposal, "{name}, {case}: {reasons}");
        let following =
            audit.next.map_or(String::new(), |next| format!("{} {}", next.label, next.session.number));
        assert_eq!(following, next, "{name}, {case}: {reasons}");
        for said in says.split('|') {
            assert!(reasons.contains(said), "{name}, {case}: \"{said}\" is not in: {reasons}");
        }
        assert!(!reasons.contains("care:"), "{name}, {case}: {reasons}");
        played += 1;
    }
    assert!(played >= 19, "{played}");
}
