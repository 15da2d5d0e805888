//! The group sheet and the slips, held against the tables that lie beside them.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use crate::command::{Row, audit, between, table};
use crate::demo_squad::Demo;

/// What stands between tags, without the marks around names.
fn text_of(markup: &str) -> String {
    let mut text = String::new();
    let mut inside = true;
    for c in markup.chars() {
        match c {
            '<' => inside = false,
            '>' => inside = true,
            c if inside => text.push(c),
            _ => {}
        }
    }
    text.replace("&#39;", "'").trim().to_owned()
}

fn page(out: &Path, name: &str) -> String {
    std::fs::read_to_string(out.join(name)).unwrap()
}

/// The register: name and day to the words of the cell.
fn register(page: &str) -> BTreeMap<(String, String), String> {
    let table = between(page, "<table class=\"register\">", "</table>");
    let head = between(table, "<thead>", "</thead>");
    let days: Vec<&str> = head.split("datetime=\"").skip(1).map(|rest| &rest[..10]).collect();
    let mut cells = BTreeMap::new();
    for line in between(table, "<tbody>", "</tbody>").split("<tr").skip(1) {
        let name = text_of(between(line, "<th scope=\"row\">", "</th>"));
        let words: Vec<String> =
            line.split("<td").skip(1).map(|rest| text_of(between(rest, ">", "</td>"))).collect();
        // Two blanks follow, for effort and pain.
        assert_eq!(words.len(), days.len() + 2, "{line}");
        for (day, word) in days.iter().zip(words) {
            cells.insert((name.clone(), (*day).to_owned()), word);
        }
    }
    cells
}

/// The slips by name.
fn slips(page: &str) -> BTreeMap<String, String> {
    page.split("<article class=\"slip\"")
        .skip(1)
        .map(|rest| {
            (between(rest, "data-athlete=\"", "\"").to_owned(), between(rest, ">", "</article>").to_owned())
        })
        .collect()
}

/// Whether a planned session that fell due was done, or so the coach says.
fn is_kept(planned: &Row) -> bool {
    planned["outcome"] == "said" || planned["due"] == "true" && !planned["file"].is_empty()
}

fn is_of(session: &Row, planned: &Row) -> bool {
    ["athlete", "file", "session"].iter().all(|column| session[*column] == planned[*column])
}

/// Whether a session that was kept was so by this recording: one of its day, else one of the day of that which its row names.
fn is_kept_by(planned: &Row, session: &Row, sessions: &[Row]) -> bool {
    let of_its_day = |session: &Row| {
        ["athlete", "plan_block", "plan_session"].iter().all(|column| session[*column] == planned[*column])
            && session["start_local"].starts_with(&planned["due_date"])
    };
    match counting(sessions).any(of_its_day) {
        true => of_its_day(session),
        false => counting(sessions).filter(|other| is_of(other, planned)).any(|other| {
            ["athlete", "plan_block", "plan_session"].iter().all(|column| session[*column] == other[*column])
                && session["start_local"].get(..10) == other["start_local"].get(..10)
        }),
    }
}

/// What the recordings of a person on a day make of a cell.
fn word_of_recordings(sessions: &[&Row]) -> &'static str {
    if sessions.iter().all(|row| row["resolvable"] == "false") { "not told" } else { "came" }
}

/// The word that the register must have for a person and a day, by the planned session of that day and what was recorded
/// then.
fn word_for(planned: Option<&Row>, on_day: &[&Row], sessions: &[Row]) -> &'static str {
    let fell_due = planned.filter(|row| !row["outcome"].is_empty());
    match fell_due {
        Some(row) if is_kept(row) => match row["outcome"].as_str() {
            "completed" | "said" => "done",
            "cut short" => "cut",
            _ => {
                word_of_recordings(&sessions.iter().filter(|session| is_of(session, row)).collect::<Vec<_>>())
            }
        },
        _ if !on_day.is_empty() => word_of_recordings(on_day),
        Some(row) if row["outcome"] == "excused" => "excused",
        Some(_) => "absent",
        None => "",
    }
}

fn counting(sessions: &[Row]) -> impl Iterator<Item = &Row> {
    sessions.iter().filter(|row| row["counted"] == "true")
}

#[test]
fn the_register_says_what_the_tables_say() {
    let demo = Demo::written();
    let out = demo.audited();
    let (planned, sessions) = (table(&out, "planned"), table(&out, "sessions"));
    let found = register(&page(&out, "group.html"));
    assert_eq!(found, register(&page(&out, "report.html")));
    // The demo ends on Sunday 26 April 2026: two weeks from Monday 13 April on.
    for ((name, day), word) in &found {
        let of_day = |row: &&Row| row["athlete"] == *name && row["due_date"] == *day;
        let on_day: Vec<&Row> = counting(&sessions)
            .filter(|row| row["athlete"] == *name && row["start_local"].starts_with(day.as_str()))
            .collect();
        let expected = word_for(planned.iter().find(of_day), &on_day, &sessions);
        assert_eq!(word, expected, "{name}, {day}");
        assert!(on_day.is_empty() || word != "absent", "{name}, {day}");
    }
    let days: BTreeSet<&str> = (planned.iter().map(|row| row["due_date"].as_str()))
        .filter(|day| ("2026-04-13".."2026-04-27").contains(day))
        .collect();
    assert_eq!(days, found.keys().map(|(_, day)| day.as_str()).collect());
    let names: BTreeSet<&str> = found.keys().map(|(name, _)| name.as_str()).collect();
    let athletes = table(&out, "athletes");
    assert_eq!(names, athletes.iter().map(|row| row["athlete"].as_str()).collect());
    for word in ["done", "came", "cut", "absent", "excused"] {
        assert!(found.values().any(|cell| cell == word), "nobody is {word}");
    }
}

/// Of a week: sessions due, those done then, those on whose day somebody was absent by name, and days of another session.
struct Week<'a> {
    due: usize,
    came: usize,
    absent: Vec<&'a str>,
    more_days: usize,
}

impl<'a> Week<'a> {
    fn of(week: &str, planned: &'a [Row], sessions: &[Row]) -> Self {
        let due: Vec<&Row> =
            planned.iter().filter(|row| row["due"] == "true" && iso_week(&row["due_date"]) == week).collect();
        let kept: Vec<&Row> = planned.iter().filter(|row| is_kept(row)).collect();
        let is_out = |row: &Row| {
            counting(sessions).any(|session| {
                session["athlete"] == row["athlete"] && session["start_local"].starts_with(&row["due_date"])
            })
        };
        let absent = due.iter().filter(|row| !is_kept(row) && !is_out(row));
        let others: BTreeSet<(&str, &str)> = counting(sessions)
            .filter(|row| !row["start_local"].is_empty() && iso_week(&row["start_local"][..10]) == week)
            .filter(|session| {
                let fell_due = |row: &&&Row| {
                    row["athlete"] == session["athlete"]
                        && session["start_local"].starts_with(&row["due_date"])
                };
                let is_other = !kept.iter().any(|row| is_kept_by(row, session, sessions));
                due.iter().find(fell_due).is_some_and(|row| !is_kept(row))
                    || is_other && !session["plan_session"].is_empty()
            })
            .map(|row| (row["athlete"].as_str(), &row["start_local"][..10]))
            .collect();
        Self {
            due: due.len(),
            came: due.iter().filter(|row| is_kept(row)).count(),
            absent: absent.map(|row| row["athlete"].as_str()).collect(),
            more_days: others.len(),
        }
    }

    fn more(&self, which: &str) -> String {
        match self.more_days {
            0 => String::new(),
            1 => format!(", and 1 more day{which}"),
            days => format!(", and {days} more days{which}"),
        }
    }
}

#[test]
fn the_weeks_in_a_sentence_are_the_sums_of_the_days() {
    let demo = Demo::written();
    let out = demo.audited();
    let (planned, sessions) = (table(&out, "planned"), table(&out, "sessions"));
    // ISO 8601: Monday 20 April 2026 begins week 17.
    let [this, before] = ["2026-W17", "2026-W16"].map(|week| Week::of(week, &planned, &sessions));
    let which = " on which another session was done";
    let sentence = text_of(between(&page(&out, "group.html"), "<p class=\"sentence\">", "</p>"));
    assert_eq!(
        sentence,
        format!(
            "Week of Mon 20 Apr 2026: came {} of {} due{}. The week before, of Mon 13 Apr: came {} of {} due{}.",
            this.came,
            this.due,
            this.more(which),
            before.came,
            before.due,
            before.more(which)
        )
    );
    assert!(this.due > 20 && before.due > 20 && this.more_days + before.more_days > 0);
}

#[test]
fn a_slip_speaks_to_one_person_in_short_sentences() {
    let demo = Demo::written();
    let out = demo.audited();
    let athletes = table(&out, "athletes");
    let slips = slips(&page(&out, "group.html"));
    assert_eq!(slips.len(), athletes.len());
    let names: Vec<&String> = athletes.iter().map(|row| &row["athlete"]).collect();
    for row in &athletes {
        let (name, text) = (&row["athlete"], text_of(&slips[&row["athlete"]].replace("</p>", "\n")));
        for other in names.iter().filter(|other| **other != name) {
            assert!(!text.contains(other.as_str()), "the slip of {name} names {other}");
        }
        if row["proposal"] == "stop" {
            assert!(text.contains("Stop now") && !text.contains("Next") && !text.contains("km"), "{text}");
            continue;
        }
        let weekdays = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"];
        let next = text.lines().find(|line| line.contains("Next is")).unwrap_or_else(|| panic!("{text}"));
        assert!(weekdays.iter().any(|day| next.contains(day)), "{next}");
        assert!(text.contains(" km"), "how far it is: {text}");
        // The plan's own notation is no sentence.
        let sentences: Vec<usize> = text
            .lines()
            .skip(1)
            .filter(|line| line.ends_with(['.', '?']))
            .flat_map(|line| line.split_inclusive(['.', '?']))
            .filter(|sentence| sentence.split_whitespace().count() > 1)
            .map(|sentence| sentence.split_whitespace().count())
            .collect();
        assert!(sentences.len() >= 3, "{text}");
        let mean = sentences.iter().sum::<usize>() as f64 / sentences.len() as f64;
        assert!(mean <= 15.0, "{mean} words a sentence: {text}");
    }
}

#[test]
fn the_page_of_an_athlete_begins_with_the_slip_and_another_recording_elsewhere_leaves_it() {
    let demo = Demo::written();
    let (squad, journal) = (demo.path("squad.csv"), demo.path("journal.csv"));
    let further =
        ["--squad", squad.to_str().unwrap(), "--journal", journal.to_str().unwrap(), "--pages", "athlete"];
    let audited = |out: &str| {
        let out = demo.path(out);
        assert_eq!(audit(&demo.path("recordings"), &out, &further).status, 1);
        let slips = slips(&page(&out, "group.html"));
        (page(&out, "athletes/frida.html"), slips["Frida"].clone(), slips["Alma"].clone())
    };
    let (whole, slip, of_alma) = audited("before");
    let main = between(&whole, "<main id=\"main\">", "</main>");
    assert!(main.trim_start().starts_with("<article class=\"slip\""), "{}", &main[..200]);
    assert!(whole.contains(&slip));
    // Alma's newest recording of the day that others recorded on too, so that the day of the report stays.
    let files = std::fs::read_dir(demo.path("recordings/Alma")).unwrap().map(|entry| entry.unwrap().path());
    std::fs::remove_file(files.max().unwrap()).unwrap();
    let (whole_after, slip_after, of_alma_after) = audited("after");
    assert_ne!(of_alma, of_alma_after);
    assert_eq!((whole, slip), (whole_after, slip_after));
}

/// `m:ss`, from an hour on `h:mm:ss`.
fn clock(cell: &str) -> String {
    let total = cell.parse::<f64>().unwrap().round() as u64;
    match (total / 3600, total / 60 % 60, total % 60) {
        (0, minutes, seconds) => format!("{minutes}:{seconds:02}"),
        (hours, minutes, seconds) => format!("{hours}:{minutes:02}:{seconds:02}"),
    }
}

fn iso_week(day: &str) -> String {
    day.parse::<chrono::NaiveDate>().unwrap().format("%G-W%V").to_string()
}

fn sum(rows: &[&Row], column: &str) -> f64 {
    rows.iter().map(|row| row[column].parse::<f64>().unwrap_or(0.0)).sum()
}

/// Running done of what was asked, in whole per cent, of planned sessions that can be told.
fn dose_pct(planned: &[&Row]) -> String {
    let told = |row: &&&Row| row["outcome"] == "missed" || !row["run_done_s"].is_empty();
    let told: Vec<&Row> = planned.iter().filter(told).copied().collect();
    format!("{:.0}\u{202f}%", 100.0 * sum(&told, "run_done_s") / sum(&told, "run_planned_s"))
}

/// Lengths of the longest runs in seconds, in order.
fn longest_s(weeks: &[&Row]) -> Vec<f64> {
    let mut all: Vec<f64> = weeks.iter().filter_map(|row| row["longest_run_s"].parse().ok()).collect();
    all.retain(|&s| s > 0.0);
    all.sort_by(f64::total_cmp);
    all
}

#[test]
fn the_weeks_of_the_group_are_those_of_the_tables() {
    let demo = Demo::written();
    let out = demo.audited();
    let (weeks, planned, athletes) = (table(&out, "weeks"), table(&out, "planned"), table(&out, "athletes"));
    let sessions = table(&out, "sessions");
    let stopped: BTreeSet<&str> = (athletes.iter())
        .filter(|row| row["proposal"] == "stop")
        .map(|row| row["athlete"].as_str())
        .collect();
    let report = page(&out, "report.html");
    let section = between(&report, "<section id=\"group-weeks\"", "</section>");
    let shown: Vec<&str> = section.split("<tr data-row=\"").skip(1).collect();
    let all: BTreeSet<&str> = weeks.iter().map(|row| row["week"].as_str()).collect();
    assert_eq!(shown.len(), all.len(), "a row a week");
    for row in shown {
        let week = row.split('"').next().unwrap();
        let cell = |label: &str| between(row, &format!("data-label=\"{label}\">"), "</td>");
        let of_week: Vec<&Row> = weeks.iter().filter(|row| row["week"] == week).collect();
        let due: Vec<&Row> =
            planned.iter().filter(|row| row["due"] == "true" && iso_week(&row["due_date"]) == week).collect();
        let counted = Week::of(week, &planned, &sessions);
        assert_eq!(counted.due as f64, sum(&of_week, "sessions_due"));
        let came = format!("{} of {}{}", counted.came, counted.due, counted.more(""));
        assert_eq!(text_of(cell("Came of due")), came, "{week}");
        let missing = cell("Missing");
        let count =
            if missing.contains("<summary>") { between(missing, "<summary>", "</summary>") } else { missing };
        assert_eq!(count, counted.absent.len().to_string(), "{week}");
        for row in &of_week {
            let is_absent = counted.absent.contains(&row["athlete"].as_str());
            assert_eq!(missing.contains(&row["athlete"]), is_absent, "{week}: {}", row["athlete"]);
        }
        assert_eq!(cell("Dose"), dose_pct(&due), "{week}");
        let told: Vec<&Row> =
            of_week.iter().filter(|row| !stopped.contains(row["athlete"].as_str())).copied().collect();
        let longest = longest_s(&told);
        let median = (longest[(longest.len() - 1) / 2] + longest[longest.len() / 2]) / 2.0;
        let most = longest[longest.len() - 1];
        let expected = format!("{}, up to {}", clock(&median.to_string()), clock(&most.to_string()));
        assert_eq!(cell("Longest run"), expected, "{week}");
        let blocks: BTreeSet<&str> = due.iter().map(|row| row["plan_block"].as_str()).collect();
        for block in blocks {
            let names: BTreeSet<&str> = (due.iter())
                .filter(|row| row["plan_block"] == block)
                .map(|row| row["athlete"].as_str())
                .collect();
            let line = cell("Block")
                .split("<p>")
                .skip(1)
                .map(text_of)
                .find(|line| line.starts_with(&format!("{block}: ")));
            let line = line.unwrap_or_else(|| panic!("{week}: block {block}"));
            assert_eq!(
                line[block.len() + 2..].split(", ").collect::<BTreeSet<_>>(),
                names,
                "{week}, {block}"
            );
        }
    }
}

#[test]
fn this_week_against_the_one_before_is_what_the_tables_say() {
    let demo = Demo::written();
    let out = demo.audited();
    let (weeks, planned, athletes) = (table(&out, "weeks"), table(&out, "planned"), table(&out, "athletes"));
    let sessions = table(&out, "sessions");
    let is_stopped =
        |name: &str| athletes.iter().any(|row| row["athlete"] == name && row["proposal"] == "stop");
    let sheet = page(&out, "group.html");
    let compared = between(&sheet, "<h3>This week against the one before</h3>", "</table>");
    let row = |what: &str| -> Vec<String> {
        let rest = between(compared, &format!(">{what}</th>"), "</tr>");
        rest.split("<td").skip(1).map(|cell| text_of(between(cell, ">", "</td>"))).collect()
    };
    for (place, week) in ["2026-W17", "2026-W16"].into_iter().enumerate() {
        let of_week: Vec<&Row> = weeks.iter().filter(|row| row["week"] == week).collect();
        let due: Vec<&Row> =
            planned.iter().filter(|row| row["due"] == "true" && iso_week(&row["due_date"]) == week).collect();
        let told: Vec<&Row> = of_week.iter().filter(|row| !is_stopped(&row["athlete"])).copied().collect();
        let counted = Week::of(week, &planned, &sessions);
        let came = format!("{} of {}{}", counted.came, counted.due, counted.more(""));
        assert_eq!(row("Came")[place], came);
        assert_eq!(row("Running done of what was asked")[place], dose_pct(&due));
        assert_eq!(row("Time run by all")[place], clock(&sum(&of_week, "run_s").to_string()));
        let longest = longest_s(&told);
        assert_eq!(row("Longest run without a break")[place], clock(&longest[longest.len() - 1].to_string()));
    }
}

#[test]
fn the_figures_of_a_slip_are_those_of_the_tables() {
    let demo = Demo::written();
    let out = demo.audited();
    let (athletes, sessions) = (table(&out, "athletes"), table(&out, "sessions"));
    let slips = slips(&page(&out, "group.html"));
    let (mut runs, mut longest, mut far) = (0, 0, 0);
    for row in athletes.iter().filter(|row| row["proposal"] != "stop") {
        let text = text_of(&slips[&row["athlete"]].replace("</p>", "\n"));
        let last = sessions.iter().filter(|session| session["athlete"] == row["athlete"]);
        let last = last.max_by_key(|session| session["start_utc"].clone()).unwrap();
        let after =
            |from: &str| text.split_once(from).map(|(_, rest)| rest.split(' ').next().unwrap().to_owned());
        if let Some(done) = after("You ran all ") {
            assert_eq!((&done, &done), (&last["reps_done"], &last["reps_planned"]));
            runs += 1;
        }
        let before =
            |to: &str| text.split_once(to).map(|(from, _)| from.rsplit(' ').next().unwrap().to_owned());
        if let Some(planned) = before(" runs in full.").filter(|_| !text.contains("You ran all ")) {
            let done = before(" of ").unwrap();
            assert_eq!((done, planned), (last["reps_done"].clone(), last["reps_planned"].clone()));
            runs += 1;
        }
        if let Some(found) =
            after("Your longest run without a break is ").or_else(|| after("That day you ran "))
        {
            assert_eq!(found.trim_end_matches('.'), clock(&row["longest_run_s"]));
            longest += 1;
        }
        if let Some((_, rest)) = text.split_once(" km it is ") {
            let goal: f64 = before(" km it is ").unwrap().parse().unwrap();
            let (figure, unit) = rest.split_once('\u{202f}').unwrap();
            let more_m = figure.parse::<f64>().unwrap() * if unit.starts_with("km") { 1000.0 } else { 1.0 };
            // The run that went farthest, not the longest in time.
            let own = counting(&sessions).filter(|session| session["athlete"] == row["athlete"]);
            let farthest_m = own.filter_map(|session| session["longest_run_m"].parse().ok());
            let expected_m = 1000.0 * goal - farthest_m.fold(0.0, f64::max);
            assert!((more_m - expected_m).abs() <= 5.1, "{}: {more_m} {expected_m}", row["athlete"]);
            far += 1;
        }
        if !row["next_block"].is_empty() {
            let place = format!("session {}, {}", row["next_block"], row["next_session"]);
            assert!(text.contains(&place), "{place}: {text}");
        }
    }
    assert!(runs >= 3 && longest >= 5 && far >= 5, "{runs} {longest} {far}");
}

/// Names that lie within each other, and words that a slip says itself: what a person gets is the same, byte for byte, when
/// nobody else is there.
#[test]
fn a_slip_and_a_page_hold_that_persons_data_alone() {
    let demo = Demo::written();
    let people = [("An", "Cato"), ("Anna", "Dagny"), ("Run", "Jorid")];
    let (all, plan) = (demo.path("all"), demo.path("plan.toml"));
    let further = ["--plan", plan.to_str().unwrap(), "--as-of", "2026-04-26", "--pages", "athlete"];
    for (name, of) in people {
        for folder in [all.join(name), demo.path(&format!("only-{name}")).join(name)] {
            std::fs::create_dir_all(&folder).unwrap();
            for entry in std::fs::read_dir(demo.path("recordings").join(of)).unwrap() {
                let path = entry.unwrap().path();
                std::fs::copy(&path, folder.join(path.file_name().unwrap())).unwrap();
            }
        }
    }
    let audited = |folder: &Path| {
        let out = folder.with_extension("out");
        assert!(audit(folder, &out, &further).status < 2);
        out
    };
    let together = audited(&all);
    for (name, _) in people {
        let alone = audited(&demo.path(&format!("only-{name}")));
        let own = format!("athletes/{}.html", name.to_lowercase());
        assert_eq!(page(&together, &own), page(&alone, &own), "the page of {name}");
        let [slip, of_alone] = [&together, &alone].map(|out| slips(&page(out, "group.html"))[name].clone());
        assert_eq!(slip, of_alone, "the slip of {name}");
    }
}
