//! Page, terminal and tables say the same of every squad, whatever the coach's settings: squads and settings by chance.
//! BOUTWISE_SQUADS says how many squads; a few unless given.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::fs;
use std::path::Path;

use boutwise_season::Settings;
use boutwise_truth::Random;
use boutwise_truth::files::FileFormat;
use boutwise_truth::squad::{Gear, Squad, SquadSettings};

use crate::command::{Row, audit, between, number, table};

const SQUADS: u64 = 3;

/// Rules that are drawn; the others keep their values.
const DRAWN: [&str; 8] = [
    "window_sessions",
    "complete_advance_pct",
    "overdone_good_pct",
    "drift_note_pct",
    "breaks_good_pct",
    "silent_days",
    "pain_ease",
    "gap_repeat_days",
];

/// What happens in any session, and is no remark.
const ASIDE: [&str; 2] = ["stood", "paused"];
/// Events beside which it is not said again that more was run than planned.
const MORE_RUN: [&str; 5] = ["reps_joined", "walk_short", "rep_long", "rep_extra", "ran_through"];

/// A settings file with rules by chance, and its limit of what is overdone.
fn settings_by_chance(random: &mut Random) -> (String, f64) {
    let default = Settings::default();
    let rules = default.sections().into_iter().find(|(name, _)| *name == "rules").unwrap().1;
    let mut text = "[rules]\n".to_owned();
    for setting in rules.all().iter().filter(|setting| DRAWN.contains(&setting.name)) {
        // What comes back must not rise above what goes back a block.
        let highest = if setting.name == "gap_repeat_days" { 14.0 } else { setting.highest };
        let value = random.between((setting.lowest, highest.min(10.0 * setting.value)));
        let value = if setting.is_whole { value.round() } else { (10.0 * value).round() / 10.0 };
        let _ = writeln!(text, "{} = {value}", setting.name);
    }
    let read = Settings::parse(&text, "by-chance.toml").unwrap();
    (text, read.rules.overdone_good_pct)
}

fn squad_by_chance(seed: u64) -> Squad {
    let gear = vec![Gear::watch(FileFormat::Gpx, false), Gear::phone()];
    Squad::draw(seed, &SquadSettings { athletes: 3, weeks: 2, gear, ..SquadSettings::default() })
}

fn journal_by_chance(squad: &Squad, random: &mut Random) -> String {
    let mut text = "athlete,date,pain_0_10,warning_sign\n".to_owned();
    for athlete in &squad.athletes {
        let Some(last) = athlete.outings.last() else { continue };
        let day = chrono::DateTime::from_timestamp(last.start_s, 0).unwrap().date_naive();
        let (pain, sign) = (random.between((0.0, 10.0)).round(), random.chance(0.25));
        let _ = writeln!(text, "{},{day},{pain},{}", athlete.name, if sign { "dizzy" } else { "" });
    }
    text
}

/// The rows of the squad's table on the page: name, proposal, the row itself.
fn on_the_page(page: &str) -> Vec<(&str, &str, &str)> {
    let table = between(page, "<table id=\"squad-table\"", "</table>");
    let rows = table.split("<tr data-row=\"").skip(1);
    rows.map(|row| {
        (row.split('"').next().unwrap(), between(row, "<data value=\"", "\" class=\"proposal"), row)
    })
    .collect()
}

/// The sessions of the page with their remarks, by `file#session`.
fn remarks(page: &str) -> BTreeMap<String, String> {
    let sessions = page.split("<details class=\"session\" data-session=\"").skip(1);
    sessions
        .map(|session| {
            let summary = session.split_once("</summary>").unwrap().0;
            let remarks = summary.split("<span class=\"remark\">").skip(1).collect::<String>();
            (session.split('"').next().unwrap().to_owned(), remarks)
        })
        .collect()
}

fn agrees(scratch: &Path, seed: u64) {
    let mut random = Random::new(9_000 + seed);
    let squad = squad_by_chance(seed);
    let folder = scratch.join(format!("squad-{seed}"));
    for file in squad.recorded().unwrap().into_iter().flat_map(|outing| outing.files) {
        let path = folder.join(&file.path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, &file.bytes).unwrap();
    }
    let (settings, overdone_pct) = settings_by_chance(&mut random);
    let write = |name: &str, text: &str| {
        let path = scratch.join(format!("{seed}-{name}"));
        fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let plan = write("plan.toml", &squad.plan.toml());
    let (journal, settings) =
        (write("journal.csv", &journal_by_chance(&squad, &mut random)), write("settings.toml", &settings));
    let out = scratch.join(format!("out-{seed}"));
    let ran = audit(&folder, &out, &["--plan", &plan, "--journal", &journal, "--settings", &settings]);
    assert!(ran.status < 2, "{}", ran.stderr);

    let page = fs::read_to_string(out.join("report.html")).unwrap();
    let athletes: BTreeMap<String, Row> =
        table(&out, "athletes").into_iter().map(|row| (row["athlete"].clone(), row)).collect();
    let shown = on_the_page(&page);
    let words = |line: &str| line.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
    let lines: Vec<Vec<String>> =
        (ran.stdout.lines().skip_while(|line| !line.trim_start().starts_with("athlete")).skip(1))
            .take_while(|line| !line.is_empty())
            .map(words)
            .filter(|words| athletes.contains_key(&words[0]))
            .collect();
    let terminal: Vec<&str> = lines.iter().map(|words| words[0].as_str()).collect();
    let names: Vec<&str> = shown.iter().map(|(name, ..)| *name).collect();
    assert_eq!(terminal, names, "squad {seed}: one order\n{}", ran.stdout);
    for ((name, proposal, row), line) in shown.iter().zip(&lines) {
        assert_eq!(*proposal, athletes[*name]["proposal"], "squad {seed}, {name}");
        assert!(proposal.is_empty() || line[1] == *proposal, "squad {seed}: {line:?}");
        let is_stopped = *proposal == "stop";
        assert_eq!(row.contains("not shown while a warning sign stands"), is_stopped, "squad {seed}, {name}");
        assert!(!is_stopped || !line.iter().any(|word| word.contains(':')), "squad {seed}: {line:?}");
    }

    let remarks = remarks(&page);
    let key = |row: &Row| format!("{}#{}", row["file"], row["session"]);
    let mut events: BTreeMap<String, Vec<Row>> = BTreeMap::new();
    table(&out, "events").into_iter().for_each(|row| events.entry(key(&row)).or_default().push(row));
    for session in table(&out, "sessions") {
        let key = key(&session);
        let said = &remarks[&key];
        let where_ = format!("squad {seed}, {key}: {said}");
        let events = events.remove(&key).unwrap_or_default();
        let happened = |kinds: &[&str]| events.iter().any(|event| kinds.contains(&event["event"].as_str()));
        let told = |text: &str| said.contains(text);
        for event in events.iter().filter(|event| !ASIDE.contains(&event["event"].as_str())) {
            // What differs in the same way is told in one sentence, with the numbers or, where it has none, how many.
            let alike = events.iter().filter(|other| other["event"] == event["event"]).count();
            let number = event["number"].parse().unwrap_or(alike);
            let is_joined = alike > 1 && tells_number(said, number);
            assert!(is_joined || told(&event["text"]), "{where_}\nlacks {}", event["text"]);
        }
        // What another block asks for is told, and is no session of the plan's course. Where too little of a session was
        // recorded nobody judges it, though its end was seen.
        let is_laid = !session["plan_session"].is_empty();
        let is_judged = session["recorded_pct"].is_empty() || number(&session, "recorded_pct") >= 90.0;
        assert_eq!(
            session["outcome"] == "cut short",
            happened(&["stopped_after"]) && is_laid && is_judged,
            "{where_}\n{session:?}"
        );
        assert_eq!(told(", then walked on."), happened(&["stopped_after"]), "{where_}");
        assert_eq!(session["outcome"] == "walked", told("Walked the whole way") && is_laid, "{where_}");
        assert!(session["resolvable"] == "true" || happened(&["cannot_say"]), "{where_}");
        // The table rounds, so what lies nearest to the limit is left out.
        if !session["overdone_pct"].is_empty()
            && (number(&session, "overdone_pct") - overdone_pct).abs() > 0.06
        {
            let is_overdone = number(&session, "overdone_pct") > overdone_pct && !happened(&MORE_RUN);
            assert_eq!(told("\u{202f}% more than planned."), is_overdone, "{where_}");
        }
    }
    assert!(events.is_empty(), "squad {seed}: every event is of a session");
    let counted: BTreeSet<String> = remarks.into_keys().collect();
    assert_eq!(counted.len(), table(&out, "sessions").len(), "squad {seed}: every session is on the page");
}

/// Whether a sentence names a rep or walk, by itself ("6 and 8") or within a range ("1 to 9").
fn tells_number(said: &str, number: usize) -> bool {
    let words: Vec<&str> =
        said.split(|letter: char| !letter.is_ascii_alphanumeric() && letter != ':').collect();
    words.iter().any(|word| word.parse() == Ok(number))
        || words.windows(3).any(|three| {
            let ends = (three[0].parse::<usize>(), three[2].parse::<usize>());
            three[1] == "to" && matches!(ends, (Ok(first), Ok(last)) if (first..=last).contains(&number))
        })
}

#[test]
fn page_terminal_and_tables_never_disagree() {
    let squads =
        std::env::var("BOUTWISE_SQUADS").map_or(SQUADS, |count| count.parse().expect("a number of squads"));
    let scratch = tempfile::tempdir().unwrap();
    for seed in 0..squads {
        agrees(scratch.path(), seed);
    }
}
