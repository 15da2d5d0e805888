//! An audit with a cache gives what one without gives, whatever happened to files, settings and the cache in between.

use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use boutwise_audit::{
    Audit, Cache, Configuration, ErrorKind, Inputs, ResultSink, SeasonFiles, audit, audit_into,
    recording_bouts, unwatched,
};
use boutwise_report::{Formats, NewFolder, PaceUnit, ReportSettings, write_report};
use boutwise_season::{Corrections, Settings, Squad, Zone};
use boutwise_truth::Random;

/// A recording of so many points, a second apart: walking, then so fast.
fn recording(points: usize, hour: u32, speed_m_per_s: f64) -> Vec<u8> {
    let mut north_m = 0.0;
    let point = |second: usize| {
        north_m += if second < points / 2 { 1.3 } else { speed_m_per_s };
        let latitude = 48.0 + north_m / 111_200.0;
        let (minute, second) = (second / 60, second % 60);
        format!(
            "<trkpt lat='{latitude:.7}' lon='15.5'><time>2026-03-02T{hour:02}:{minute:02}:{second:02}Z</time></trkpt>"
        )
    };
    let points: String = (0..points).map(point).collect();
    format!("<gpx version='1.1'><trk><trkseg>{points}</trkseg></trk></gpx>").into_bytes()
}

struct Place {
    scratch: tempfile::TempDir,
    configuration: Configuration,
    files: SeasonFiles,
    pace: PaceUnit,
    page_limit_bytes: usize,
}

impl Place {
    fn new() -> Self {
        let scratch = tempfile::tempdir().unwrap();
        for athlete in ["mira", "tom"] {
            fs::create_dir_all(scratch.path().join("squad").join(athlete)).unwrap();
        }
        let (configuration, files) = (Configuration::default(), SeasonFiles::default());
        let page_limit_bytes = ReportSettings::default().page_limit_bytes;
        Self { scratch, configuration, files, pace: PaceUnit::Kilometre, page_limit_bytes }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.scratch.path().join("squad").join(name)
    }

    fn cache_folder(&self) -> PathBuf {
        self.scratch.path().join("cache")
    }

    fn cache(&self) -> Cache {
        Cache::open(&self.cache_folder(), &std::env::current_exe().unwrap()).unwrap()
    }

    fn inputs(&self) -> Inputs {
        Inputs::below(&self.scratch.path().join("squad")).unwrap()
    }

    fn plain(&self) -> Audit {
        audit(&self.inputs(), &self.files, &self.configuration, &unwatched).unwrap()
    }

    /// The bytes of the result with a cache, and how many files were known.
    fn written(&self, cache: Option<Cache>) -> (Vec<(PathBuf, Vec<u8>)>, usize) {
        let out = self.scratch.path().join("out");
        let folder = NewFolder::begin(&out).unwrap();
        let (inputs, cache_of) = (self.inputs(), cache.clone());
        let configuration = Configuration { cache, ..self.configuration.clone() };
        let Self { pace, page_limit_bytes, .. } = *self;
        let settings = ReportSettings { pace, page_limit_bytes, ..ReportSettings::default() };
        let report = configuration.with_pages.then_some(settings);
        let mut sink = ResultSink::new(&folder, Formats::default(), report);
        if let Some(cache) = &cache_of {
            sink = sink.with_cache(cache, &inputs);
        }
        let found = audit_into(&inputs, &self.files, &configuration, &mut sink, &unwatched).unwrap();
        let found = found.continue_value().unwrap();
        sink.finish(&found, &self.files, &configuration).unwrap();
        folder.put_in_place().unwrap();
        let mut bytes = Vec::new();
        below(&out, &mut bytes);
        (bytes, cache_of.map_or(0, |cache| cache.told().known))
    }

    /// The pages that were written, by name.
    fn pages(&self) -> Vec<(String, String)> {
        let out = self.scratch.path().join("out");
        let mut bytes = Vec::new();
        below(&out, &mut bytes);
        let name = |path: &Path| path.strip_prefix(&out).unwrap().to_str().unwrap().to_owned();
        let text = |(path, bytes): (PathBuf, Vec<u8>)| (name(&path), String::from_utf8(bytes).unwrap());
        bytes.into_iter().map(text).filter(|(name, _)| name.ends_with(".html")).collect()
    }

    /// The same as they are made of everything that an audit found, one by one.
    fn pages_made_at_once(&self) -> Vec<(String, String)> {
        let settings =
            ReportSettings { page_limit_bytes: self.page_limit_bytes, ..ReportSettings::default() };
        let mut pages = Vec::new();
        write_report(&self.plain().report(), &settings, |name, text| {
            pages.push((name.to_owned(), text.to_owned()));
            Ok(())
        })
        .unwrap();
        assert!(pages.iter().filter(|(name, _)| name.starts_with("athletes/")).count() == 2);
        pages.sort();
        pages
    }

    /// Holds an audit with the cache against one without; hands over how many files were known.
    fn check(&self, what: &str) -> usize {
        let (with, known) = self.written(Some(self.cache()));
        assert!(with == self.written(None).0, "{what}");
        known
    }
}

fn below(folder: &Path, found: &mut Vec<(PathBuf, Vec<u8>)>) {
    let mut paths: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    for path in paths {
        match path.is_dir() {
            true => below(&path, found),
            false => found.push((path.clone(), fs::read(path).unwrap())),
        }
    }
}

/// inputs.md E4: times without a zone are UTC unless the user names one.
#[test]
fn times_without_a_zone_are_those_of_the_zone_that_is_named_with_a_cache_too() {
    let mut place = Place::new();
    let text = String::from_utf8(recording(240, 23, 2.6)).unwrap();
    for (name, text) in [
        ("mira/winter.gpx", text.replace("Z<", "<")),
        ("mira/summer.gpx", text.replace("Z<", "<").replace("2026-03-02", "2026-07-02")),
        ("mira/utc.gpx", text.replace("2026-03-02", "2026-03-03")),
        ("tom/winter.gpx", text.replace("Z<", "<")),
        // The same session from another device, that writes UTC.
        ("tom/winter-utc.gpx", text.replace("T23", "T21")),
    ] {
        fs::write(place.path(name), text).unwrap();
    }
    place.written(Some(place.cache()));
    let starts = |place: &Place| -> Vec<String> {
        let rows = place.plain().tables.sessions;
        let start = |row: &boutwise_report::SessionRow| {
            let utc = row.start_utc.unwrap().format("%dT%H");
            format!("{} {utc} {}", row.file, row.start_local.unwrap().format("%dT%H"))
        };
        let mut starts: Vec<String> = rows.iter().map(start).collect();
        starts.sort();
        starts
    };
    assert_eq!(starts(&place).len(), 5);
    place.configuration.time_zone = Some(Zone::parse("Europe/Athens").unwrap());
    let squad = "athlete,time_zone\nmira,Europe/Berlin\ntom,\n";
    place.files.squad = Some(Squad::read(squad.as_bytes(), "squad.csv").unwrap());
    assert_eq!(
        starts(&place),
        [
            "mira/summer.gpx 02T21 02T23",
            "mira/utc.gpx 03T23 04T00",
            "mira/winter.gpx 02T22 02T23",
            "tom/winter-utc.gpx 02T21 02T23",
        ]
    );
    let (with_cache, known) = place.written(Some(place.cache()));
    assert!(known == 5 && with_cache == place.written(None).0);
    let found = recording_bouts(&place.inputs(), &place.configuration, &unwatched).unwrap();
    let start =
        found.iter().find(|file| file.file == "tom/winter.gpx").unwrap().sessions[0].bouts[0].start_utc;
    assert_eq!(start.unwrap().to_rfc3339(), "2026-03-02T21:00:00+00:00");
}

#[test]
fn after_any_edits_the_result_is_that_of_an_audit_without_it() {
    let mut random = Random::new(20_261_129);
    let mut place = Place::new();
    for file in 0..6 {
        let name = format!("{}/{file}.gpx", ["mira", "tom"][file % 2]);
        fs::write(place.path(&name), recording(240, file as u32, 2.6)).unwrap();
    }
    let (mut known, mut files) = (0, 0);
    for edit in 0..60 {
        let name = format!("{}/{}.gpx", ["mira", "tom"][random.whole(0, 1)], random.whole(0, 7));
        let (path, hour) = (place.path(&name), random.whole(0, 23) as u32);
        let what = match random.whole(0, 13) {
            0..=2 => {
                fs::write(&path, recording(random.whole(100, 400), hour, 2.6)).unwrap();
                "written"
            }
            3 => {
                // The same number of bytes, and the time of writing of the file before.
                let before = fs::metadata(&path).and_then(|metadata| metadata.modified());
                fs::write(&path, recording(240, hour, 2.2)).unwrap();
                if let Ok(before) = before {
                    File::options().write(true).open(&path).unwrap().set_modified(before).unwrap();
                }
                "written, with its old time"
            }
            4 => {
                if let Ok(file) = File::options().write(true).open(&path) {
                    file.set_modified(SystemTime::UNIX_EPOCH + Duration::from_secs(hour.into())).unwrap();
                }
                "touched"
            }
            5 => {
                fs::remove_file(&path).ok();
                "removed"
            }
            6 => {
                fs::rename(&path, place.path(&format!("tom/{}.gpx", random.whole(0, 7)))).ok();
                "renamed"
            }
            7 => {
                let text = format!("[rules]\nwindow_sessions = {}\n", random.whole(3, 5));
                place.configuration.settings = Settings::parse(&text, "settings.toml").unwrap();
                "a rule changed"
            }
            8 => {
                let text = format!("[segmentation]\nrun_min_s = {}\n", random.whole(10, 14));
                place.configuration.settings = Settings::parse(&text, "settings.toml").unwrap();
                "the way of telling apart changed"
            }
            9 => {
                let text = format!("file,from_s,to_s\n{name},{},120\n", random.whole(10, 50));
                place.files.corrections = Corrections::read(text.as_bytes(), "corrections.csv").unwrap();
                "a part counts"
            }
            10 => {
                place.files.corrections = Corrections::default();
                "all counts"
            }
            11 => {
                place.configuration.with_pages = !place.configuration.with_pages;
                "with pages or without"
            }
            12 => {
                // Too large for one page after the first athlete, at the end only, or not at all.
                place.page_limit_bytes = [100, 100_000, 5_000_000][random.whole(0, 2)];
                "another limit of a page"
            }
            _ => {
                let is_by_mile = place.pace == PaceUnit::Mile;
                place.pace = if is_by_mile { PaceUnit::Kilometre } else { PaceUnit::Mile };
                "pace by another distance"
            }
        };
        known += place.check(&format!("edit {edit}: {name} {what}"));
        files += place.inputs().len();
    }
    assert!(2 * known > files, "{known} of {files} known");
    let packs = fs::read_dir(place.cache_folder()).unwrap().count();
    assert!(packs < 12, "{packs} files in the cache");
}

/// Pages that are made again, since all together are too large for one, are those of an audit without a cache.
#[test]
fn a_report_that_is_divided_on_the_way_or_at_its_end_comes_back_as_it_was() {
    for page_limit_bytes in [100, 100_000] {
        let mut place = Place::new();
        place.page_limit_bytes = page_limit_bytes;
        for name in ["mira/1.gpx", "tom/2.gpx"] {
            fs::write(place.path(name), recording(240, 7, 2.6)).unwrap();
        }
        place.check("first");
        assert_eq!(place.pages(), place.pages_made_at_once());
        let changed = || fs::metadata(place.cache_folder().join("index")).unwrap().modified().unwrap();
        std::thread::sleep(Duration::from_millis(2_100));
        place.check("again");
        let before = changed();
        place.check("and again");
        assert_eq!(changed(), before, "nothing new was kept");
        fs::write(place.path("tom/2.gpx"), recording(300, 8, 2.6)).unwrap();
        place.check("one athlete changed");
    }
}

/// Bytes of the cache turned, cut off, taken away or put there by others: the result is the same, and the next run is well.
#[test]
fn a_damaged_cache_is_no_cache() {
    let mut random = Random::new(20_261_130);
    let place = Place::new();
    for (file, name) in ["mira/1.gpx", "mira/2.gpx", "tom/3.gpx"].into_iter().enumerate() {
        fs::write(place.path(name), recording(240, file as u32, 2.6)).unwrap();
    }
    place.check("at first");
    assert_eq!(place.check("unchanged"), 3);
    for damage in 0..60 {
        let mut kept = Vec::new();
        below(&place.cache_folder(), &mut kept);
        let (path, mut bytes) = kept.swap_remove(random.whole(0, kept.len() - 1));
        let at = random.whole(0, bytes.len().max(1) - 1);
        match random.whole(0, 5) {
            0..=2 => bytes.iter_mut().skip(at).take(1).for_each(|byte| *byte ^= 1 << random.whole(0, 7)),
            3 => bytes.truncate(at),
            4 => bytes.extend([0; 40]),
            _ => bytes[at..].fill(0),
        }
        match random.whole(0, 9) {
            0 => fs::remove_file(&path).unwrap(),
            1 => fs::write(place.cache_folder().join("pack-7"), &bytes).unwrap(),
            _ => fs::write(&path, &bytes).unwrap(),
        }
        place.check(&format!("damage {damage} of {}", path.display()));
        assert_eq!(place.check(&format!("after damage {damage}")), 3, "{damage}: {}", path.display());
    }
}

#[test]
fn another_program_takes_nothing_up() {
    let place = Place::new();
    fs::write(place.path("mira/1.gpx"), recording(240, 1, 2.6)).unwrap();
    let program = place.scratch.path().join("program");
    let known = |text: &str| {
        fs::write(&program, text).unwrap();
        place.written(Some(Cache::open(&place.cache_folder(), &program).unwrap())).1
    };
    assert_eq!([known("one"), known("one"), known("two"), known("two"), known("one")], [0, 1, 0, 1, 0]);
}

#[test]
fn of_two_runs_at_a_time_the_second_goes_without() {
    let place = Place::new();
    fs::write(place.path("mira/1.gpx"), recording(240, 1, 2.6)).unwrap();
    let first = place.cache();
    let second = place.cache();
    assert_eq!(second.told().fault.unwrap(), "another run has it in use");
    assert!(place.written(Some(second)).0 == place.written(None).0);
    assert_eq!(place.written(Some(first)).1, 0);
    // Both are gone.
    assert_eq!(place.check("alone again"), 1);
}

#[test]
fn a_folder_of_something_else_is_left_alone() {
    let place = Place::new();
    fs::create_dir(place.cache_folder()).unwrap();
    fs::write(place.cache_folder().join("pack-1"), "a tent").unwrap();
    let refused = Cache::open(&place.cache_folder(), &std::env::current_exe().unwrap()).unwrap_err();
    assert_eq!(refused.kind(), ErrorKind::Cache);
    assert!(refused.to_string().contains("it holds something else"), "{refused}");
    assert_eq!(fs::read(place.cache_folder().join("pack-1")).unwrap(), b"a tent");
    let below_nothing = place.scratch.path().join("no/where");
    assert!(Cache::open(&below_nothing, &std::env::current_exe().unwrap()).is_err());
}

#[test]
fn where_nothing_can_be_written_the_result_is_whole_and_the_fault_is_told() {
    let place = Place::new();
    fs::write(place.path("mira/1.gpx"), recording(240, 1, 2.6)).unwrap();
    let cache = place.cache();
    // The first pack finds its place taken.
    fs::create_dir(place.cache_folder().join("pack-0")).unwrap();
    assert!(place.written(Some(cache.clone())).0 == place.written(None).0);
    let fault = cache.told().fault.unwrap();
    assert!(fault.starts_with("it cannot be written ("), "{fault}");
}

#[cfg(unix)]
#[test]
fn others_cannot_look_into_it() {
    use std::os::unix::fs::PermissionsExt;
    let place = Place::new();
    for is_there in [false, true] {
        if is_there {
            fs::remove_dir_all(place.cache_folder()).unwrap();
            fs::create_dir(place.cache_folder()).unwrap();
        }
        drop(place.cache());
        assert_eq!(fs::metadata(place.cache_folder()).unwrap().permissions().mode() & 0o777, 0o700);
    }
}

/// What the whole of an audit is in memory is the same too.
#[test]
fn tables_pages_and_traces_come_back_as_they_were() {
    let place = Place::new();
    fs::write(place.path("mira/1.gpx"), recording(400, 1, 2.6)).unwrap();
    fs::write(place.path("mira/notes.txt"), "bananas").unwrap();
    let plain = place.plain();
    for known in [0, 2] {
        let cache = place.cache();
        let configuration = Configuration { cache: Some(cache.clone()), ..place.configuration.clone() };
        let found = audit(&place.inputs(), &place.files, &configuration, &unwatched).unwrap();
        assert_eq!(cache.told().known, known);
        assert!(found.tables == plain.tables && found.pages == plain.pages);
        assert_eq!(format!("{:?}", found.traces), format!("{:?}", plain.traces));
    }
}
