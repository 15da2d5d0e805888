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

/// The word that the register must have for a planned session of `planned.csv`.
fn word_for(planned: &Row, sessions: &[Row]) -> &'static str {
    match planned["outcome"].as_str() {
        "completed" | "said" => "done",
        "cut short" => "cut",
        "missed" => "absent",
        "excused" => "excused",
        "" => "",
        _ => {
            let is_same = |row: &&Row| row["file"] == planned["file"] && row["session"] == planned["session"];
            match sessions.iter().find(is_same).unwrap()["resolvable"].as_str() {
                "false" => "not told",
                _ => "came",
            }
        }
    }
}

#[test]
fn the_register_says_what_the_tables_say() {
    let demo = Demo::written();
    let out = demo.audited();
    let (planned, sessions) = (table(&out, "planned"), table(&out, "sessions"));
    let found = register(&page(&out, "group.html"));
    assert_eq!(found, register(&page(&out, "report.html")));
    // The demo ends on Sunday 26 April 2026: two weeks from Monday 13 April on.
    let due = planned.iter().filter(|row| ("2026-04-13".."2026-04-27").contains(&row["due_date"].as_str()));
    let mut compared = 0;
    for row in due {
        let cell = &found[&(row["athlete"].clone(), row["due_date"].clone())];
        assert_eq!(cell, word_for(row, &sessions), "{row:?}");
        compared += 1;
    }
    assert!(compared >= 40, "{compared}");
    // Nothing else stands in it, and everybody does.
    let planned: BTreeSet<(&str, &str)> =
        planned.iter().map(|row| (row["athlete"].as_str(), row["due_date"].as_str())).collect();
    for ((name, day), word) in &found {
        assert!(planned.contains(&(name, day)) || word.is_empty(), "{name}, {day}: {word}");
    }
    let names: BTreeSet<&str> = found.keys().map(|(name, _)| name.as_str()).collect();
    let athletes = table(&out, "athletes");
    assert_eq!(names, athletes.iter().map(|row| row["athlete"].as_str()).collect());
    for word in ["done", "came", "cut", "absent", "not told"] {
        assert!(found.values().any(|cell| cell == word), "nobody is {word}");
    }
}

#[test]
fn the_weeks_in_a_sentence_are_the_sums_of_the_weeks() {
    let demo = Demo::written();
    let out = demo.audited();
    let weeks = table(&out, "weeks");
    let sum = |week: &str, column: &str| -> u64 {
        let rows = weeks.iter().filter(|row| row["week"] == week);
        rows.map(|row| row[column].parse().unwrap_or(0)).sum()
    };
    // ISO 8601: Monday 20 April 2026 begins week 17.
    let [(came, due), (came_before, due_before)] =
        ["2026-W17", "2026-W16"].map(|week| (sum(week, "sessions_attempted"), sum(week, "sessions_due")));
    let sentence = text_of(between(&page(&out, "group.html"), "<p class=\"sentence\">", "</p>"));
    assert_eq!(
        sentence,
        format!(
            "Week of Mon 20 Apr 2026: came {came} of {due} due. The week before, of Mon 13 Apr: \
             came {came_before} of {due_before} due."
        )
    );
    assert!(due > 20 && due_before > 20);
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
