//! The report and the tables of an invented squad, as a whole.

use std::collections::BTreeMap;

use base64ct::{Base64, Encoding};
use boutwise_report::{PaceUnit, Pages, ReportSettings, Tables, csv_text, json_text, write_report};
use boutwise_season::Caution;
use sha2::{Digest, Sha256};

mod sample;

use sample::Squad;

fn pages(squad: &Squad, settings: &ReportSettings) -> BTreeMap<String, String> {
    let mut pages = BTreeMap::new();
    write_report(&squad.report("Harbour"), settings, |name, text| {
        pages.insert(name.to_owned(), text.to_owned());
        Ok(())
    })
    .expect("memory takes all pages");
    pages
}

fn one_page(squad: &Squad) -> String {
    pages(squad, &ReportSettings { pages: Pages::One, ..ReportSettings::default() })
        .remove("report.html")
        .expect("the one page")
}

fn two_athletes() -> Squad {
    Squad::new(&["Bram".into(), "Elka".into()], 2)
}

#[test]
fn csv_tables_look_as_a_person_read_them() {
    let tables = two_athletes().tables;
    let text = [
        csv_text(&tables.files),
        csv_text(&tables.sessions),
        csv_text(&tables.bouts[..6]),
        csv_text(&tables.intervals[..6]),
        csv_text(&tables.athletes),
        csv_text(&tables.weeks),
    ]
    .map(|table| table.expect("memory takes all rows"))
    .join("\n");
    insta::assert_snapshot!(text);
}

#[test]
fn json_tables_look_as_a_person_read_them() {
    let tables = two_athletes().tables;
    let athletes = json_text(&tables.athletes).expect("memory takes all rows");
    let session = json_text(&tables.sessions[..1]).expect("memory takes all rows");
    insta::assert_snapshot!(format!("{athletes}\n{session}"));
}

#[test]
fn all_tables_are_one_json_object() {
    let value = serde_json::to_value(Squad::small().tables).expect("rows are plain values");
    let names: Vec<_> = value.as_object().expect("an object").keys().cloned().collect();
    assert_eq!(
        names,
        ["athletes", "bouts", "events", "files", "intervals", "notes", "planned", "sessions", "weeks"]
    );
    assert!(value["sessions"].as_array().is_some_and(|rows| rows.len() > 100));
}

#[test]
fn the_same_input_gives_the_same_bytes_whatever_its_order() {
    let squad = Squad::small();
    let mut turned = Squad::small();
    turned.tables.sessions.reverse();
    turned.tables.bouts.reverse();
    turned.tables.intervals.reverse();
    turned.tables.athletes.reverse();
    turned.tables.files.reverse();
    turned.tables.weeks.reverse();
    turned.traces.reverse();
    turned.extras.reverse();
    turned.tables.sort();
    assert_eq!(turned.tables, squad.tables);
    assert_eq!(one_page(&turned), one_page(&squad));
}

#[test]
fn a_large_squad_is_an_index_and_a_page_an_athlete_below_five_megabytes() {
    let names: Vec<_> = (1..=100).map(|number| format!("Athlete {number}")).collect();
    let pages = pages(&Squad::new(&names, 60), &ReportSettings::default());
    // An index, the group sheet, and a page each.
    assert_eq!(pages.len(), 102);
    for (name, text) in &pages {
        assert!(text.len() < 5_000_000, "{name}: {} bytes", text.len());
    }
    assert!(pages["report.html"].contains("The group as a whole"));
    assert!(pages["report.html"].contains("href=\"athletes/athlete-100.html\""));
}

#[test]
fn the_user_chooses_how_a_report_is_divided() {
    let squad = two_athletes();
    let divided = pages(&squad, &ReportSettings { pages: Pages::PerAthlete, ..ReportSettings::default() });
    assert_eq!(
        divided.keys().collect::<Vec<_>>(),
        ["athletes/bram.html", "athletes/elka.html", "group.html", "report.html"]
    );
    let small_limit = ReportSettings { page_limit_bytes: 1000, ..ReportSettings::default() };
    assert_eq!(pages(&squad, &small_limit).len(), 4);
    let of_athletes = |most| ReportSettings { page_limit_athletes: most, ..ReportSettings::default() };
    assert_eq!([1, 2].map(|most| pages(&squad, &of_athletes(most)).len()), [4, 2]);
    let forced = ReportSettings { pages: Pages::One, ..small_limit };
    assert_eq!(pages(&squad, &forced).len(), 2);
}

#[test]
fn paces_are_shown_for_the_distance_that_was_asked_for() {
    let squad = two_athletes();
    let per_mile = pages(&squad, &ReportSettings { pace: PaceUnit::Mile, ..ReportSettings::default() });
    assert!(per_mile["report.html"].contains("/mi") && !per_mile["report.html"].contains("\u{202f}/km"));
    assert!(!one_page(&squad).contains("/mi<"));
}

#[test]
fn a_page_without_recordings_has_the_style_that_it_needs_and_little_else() {
    let mut squad = two_athletes();
    squad.tables.sessions.retain(|row| row.athlete != "Elka");
    let pages = pages(&squad, &ReportSettings { pages: Pages::PerAthlete, ..ReportSettings::default() });
    let (page, other) = (&pages["athletes/elka.html"], &pages["athletes/bram.html"]);
    let (style, whole) = (texts_of(page, "style")[0], texts_of(other, "style")[0]);
    assert!(
        style.contains("@media print") && !style.contains(".strips {") && !style.contains(".questions dt {")
    );
    assert!(whole.contains(".strips {") && whole.contains(".questions dt {"));
    let tags = tags(page);
    let classes = tags.iter().filter_map(|tag| tag.split_once("class=\"")?.1.split('"').next());
    let mut rules = 0;
    for class in classes.flat_map(str::split_whitespace) {
        for rule in whole.lines().filter(|line| line.trim_start().starts_with(&format!(".{class} {{"))) {
            assert!(style.contains(rule.trim_start()), "{rule}");
            rules += 1;
        }
    }
    assert!(rules > 5, "{rules}");
}

/// The tags of a page, each without its brackets; what stands inside style and script is none.
fn tags(page: &str) -> Vec<String> {
    let mut tags = Vec::new();
    let mut rest = page;
    while let Some(at) = rest.find('<') {
        let end = at + rest[at..].find('>').expect("the end of a tag");
        tags.push(rest[at + 1..end].to_owned());
        let raw = ["style", "script"].iter().find(|name| &rest[at + 1..end] == **name);
        rest = &rest[end + 1..];
        if let Some(name) = raw {
            rest = &rest[rest.find(&format!("</{name}>")).expect("its end")..];
        }
    }
    tags
}

/// The texts of the elements of a name that stand without attributes.
fn texts_of<'p>(page: &'p str, name: &str) -> Vec<&'p str> {
    let (begin, end) = (format!("<{name}>"), format!("</{name}>"));
    page.split(begin.as_str()).skip(1).filter_map(|rest| rest.split(end.as_str()).next()).collect()
}

/// Content Security Policy Level 3: a digest allows an element's text; attributes for style and events need more.
#[test]
fn a_page_allows_its_own_style_and_script_and_needs_nothing_else() {
    let mut squad = Squad::small();
    squad.extras[0].athlete = "<b style='x' onclick='y'>".into();
    let divided = ReportSettings { pages: Pages::PerAthlete, ..ReportSettings::default() };
    let mut all = pages(&squad, &divided);
    all.insert("one page".to_owned(), one_page(&squad));
    assert!(all.len() > 10);
    for (name, page) in &all {
        let tags = tags(page);
        let allows = |text: &&str| format!("'sha256-{}'", Base64::encode_string(&Sha256::digest(text)));
        let digests = |of: &str| match &texts_of(page, of).iter().map(allows).collect::<Vec<_>>()[..] {
            [] => "'none'".to_owned(),
            digests => digests.join(" "),
        };
        let policy = format!(
            "meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src {}; script-src {}; \
             base-uri 'none'; form-action 'none'\"",
            digests("style"),
            digests("script")
        );
        let written: Vec<String> = tags.iter().map(|tag| tag.replace("&#39;", "'")).collect();
        let at = written.iter().position(|tag| *tag == policy);
        let first_style = tags.iter().position(|tag| tag == "style").expect("a style");
        assert!(at.is_some_and(|at| at < first_style), "{name}: {policy}\n{:?}", &written[..8]);
        for tag in &tags {
            let element = tag.split([' ', '/']).next().unwrap_or_default();
            let loads =
                ["link", "img", "image", "iframe", "form", "object", "embed", "base", "video", "audio"];
            assert!(!loads.contains(&element), "{name}: <{tag}>");
            // What stands between quotes is a value.
            let names: String = tag.split('"').step_by(2).collect::<Vec<_>>().join(" ");
            let blocked = names.split([' ', '\n']).find(|attribute| {
                attribute.starts_with("style=") || attribute.starts_with("on") || attribute.starts_with("src")
            });
            assert_eq!(blocked, None, "{name}: <{tag}>");
            assert!(
                !tag.contains("javascript:") && !tag.contains("http:") && !tag.contains("https:"),
                "<{tag}>"
            );
        }
    }
}

/// The four questions of a coach's Monday, and two more.
#[test]
fn the_page_says_first_who_needs_a_word_and_why() {
    let page = one_page(&Squad::small());
    let section = &page[page.find("id=\"attention\"").expect("the first part")..];
    let section = &section[..section.find("</section>").expect("its end")];
    let answers: Vec<_> = section
        .split("<dt>")
        .skip(1)
        .map(|question| {
            let title = question.split(" <span").next().expect("a title");
            let names = question.split("<bdi>").skip(1).filter_map(|rest| rest.split("</bdi></a>").next());
            (title, names.filter(|name| sample::NAMES.contains(name)).collect::<Vec<_>>())
        })
        .collect();
    assert_eq!(
        answers,
        [
            ("Not to run now", vec!["Rui", "Yara"]),
            ("Walks run through, or more run than planned", vec!["Ines"]),
            ("Stopped early, or less run than planned", vec!["Bram", "Elka", "Rui", "Sanna"]),
            ("Not heard of", vec!["Sanna"]),
            ("Not all could be told", vec!["Noor"]),
            ("Longest run grew most", vec!["Wim", "Tomas", "Sanna"]),
        ]
    );
}

#[test]
fn the_last_session_is_the_newest_that_counts_and_shows_the_year_of_another_year() {
    let mut squad = Squad::new(&[sample::NAMES[0].to_string()], 3);
    let last = |squad: &Squad| {
        let page = one_page(squad);
        let cell = &page[page.find("<td data-label=\"Last session\"").expect("the cell")..];
        let cell = &cell[..cell.find("</td>").expect("its end")];
        let between = |begin: &str, end: &str| {
            let rest = cell.split_once(begin).expect("its begin").1;
            rest.split_once(end).expect("its end").0.to_owned()
        };
        (
            between("\">", "</data>").rsplit('>').next().unwrap_or_default().to_owned(),
            between("href=\"", "\""),
        )
    };
    let days: Vec<String> = (squad.tables.sessions.iter())
        .map(|row| row.start_local.expect("a start").format("%a %-d %b").to_string())
        .collect();
    let [.., before, newest] = days.as_slice() else { panic!("{days:?}") };
    let (text, link) = last(&squad);
    assert!(text.starts_with(newest), "{text}");
    for (row, day) in squad.tables.sessions.iter_mut().zip(&days) {
        row.counted = Some(day != newest);
    }
    let (text, other_link) = last(&squad);
    assert!(text.starts_with(before) && other_link != link, "{text}");
    squad.as_of = squad.as_of.map(|day| day + chrono::Days::new(366));
    let (text, _) = last(&squad);
    let year = squad.tables.sessions[0].start_local.expect("a start").format("%Y").to_string();
    assert!(text.starts_with(before) && text.ends_with(&year), "{text}");
}

#[test]
fn nothing_about_progress_is_shown_beside_a_warning_sign() {
    let squad = Squad::new(&[sample::NAMES[8].to_string()], 6);
    let story_of_first = one_page(&squad);
    assert!(story_of_first.contains("Over the weeks"), "the story of the first place has no warning sign");
    let mut stopped = squad;
    stopped.extras[0].cautions = vec![Caution::WarningSign];
    stopped.extras[0].is_stopped = true;
    let page = one_page(&stopped);
    let article = &page[page.find("<article").expect("the athlete's part")..];
    assert!(article.contains(Caution::WarningSign.text()));
    for progress in ["Next:", "Target:", "its trend", "class=\"plot tall\"", "Pace drift (above"] {
        assert!(story_of_first.contains(progress) && !article.contains(progress), "{progress}");
    }
    assert!(page.contains("not shown while a warning sign stands"));
}

/// The tool judges no health and frightens nobody.
#[test]
fn no_text_judges_health_or_promises_safety() {
    let page = one_page(&Squad::small()).to_lowercase();
    for word in [
        "abnormal",
        "normal range",
        "healthy",
        "diagnos",
        "injury risk",
        "streak",
        "well done",
        "failed session",
    ] {
        assert!(!page.contains(word), "{word}");
    }
    assert!(page.contains(&Caution::NoAdvice.text().to_lowercase().replace('\'', "&#39;")));
}

#[test]
fn an_empty_audit_still_gives_a_page_that_says_so() {
    let tables = Tables::default();
    let squad = Squad { tables, ..Squad::default() };
    let page = one_page(&squad);
    assert!(page.contains("no recording was found"));
    assert!(page.contains("No files."));
}

#[test]
fn foreign_text_never_becomes_markup() {
    let squad = Squad::new(&sample::hostile_names(), 6);
    let page = one_page(&squad);
    assert_eq!(page.matches("<script>").count(), 1, "only the page's own script");
    assert!(!page.contains("<b>bold"));
    let isolated = page.split("<bdi>").skip(1).filter_map(|rest| rest.split("</bdi>").next());
    assert!(isolated.clone().count() > 100);
    for text in isolated {
        assert!(!text.contains(['\u{202e}', '\u{2067}', '<']), "{text}");
    }
    assert!(!page.contains(['\u{0}', '\u{9f}', '\u{ffff}']));
}
