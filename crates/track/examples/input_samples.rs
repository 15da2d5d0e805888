//! Writes the small samples of odd recordings into `testdata/inputs`, one for each kind of oddity. All invented.
//!
//! `cargo run -p boutwise-track --example input_samples`

use std::path::Path;

/// A point in the words of a file; an empty text leaves the element out.
#[derive(Clone, Debug)]
struct Written {
    latitude: String,
    longitude: String,
    elevation: String,
    time: String,
    /// Further elements of a GPX point, as they stand.
    gpx: String,
    /// Further elements of a TCX trackpoint, as they stand.
    tcx: String,
}

/// Seconds of the day at which the samples begin: 10:00.
const BEGIN_S: usize = 36_000;

/// Degrees north a second: 2.2 m/s, a slow run.
const STEP_DEG: f64 = 0.000_02;

fn time(seconds: usize) -> String {
    let seconds = BEGIN_S + seconds;
    format!("2025-03-01T{:02}:{:02}:{:02}Z", seconds / 3600 % 24, seconds / 60 % 60, seconds % 60)
}

fn latitude(seconds: usize) -> String {
    format!("{:.6}", 12.5 + STEP_DEG * seconds as f64)
}

/// The point `seconds` after the beginning of an even run to the north, out in the ocean.
fn point(seconds: usize) -> Written {
    Written {
        latitude: latitude(seconds),
        longitude: "-38.250000".into(),
        elevation: "4.5".into(),
        time: time(seconds),
        gpx: String::new(),
        tcx: String::new(),
    }
}

fn points(seconds: std::ops::Range<usize>) -> Vec<Written> {
    seconds.map(point).collect()
}

fn every_ten_seconds(tens: std::ops::Range<usize>) -> Vec<Written> {
    tens.map(|tens| point(10 * tens)).collect()
}

impl Written {
    fn sensors(mut self, heart_rate: &str, cadence: &str) -> Self {
        self.gpx = format!(
            "<extensions><t:TrackPointExtension><t:hr>{heart_rate}</t:hr><t:cad>{cadence}</t:cad>\
             </t:TrackPointExtension></extensions>"
        );
        self.tcx = format!(
            "<HeartRateBpm><Value>{heart_rate}</Value></HeartRateBpm><Extensions><x:TPX>\
             <x:RunCadence>{cadence}</x:RunCadence></x:TPX></Extensions>"
        );
        self
    }

    fn time(mut self, time: &str) -> Self {
        self.time = time.into();
        self
    }

    fn place(mut self, latitude: &str, longitude: &str) -> Self {
        self.latitude = latitude.into();
        self.longitude = longitude.into();
        self
    }

    fn elevation(mut self, elevation: &str) -> Self {
        self.elevation = elevation.into();
        self
    }

    fn with_gpx(mut self, inner: &str) -> Self {
        self.gpx.push_str(inner);
        self
    }

    fn with_tcx(mut self, inner: &str) -> Self {
        self.tcx.push_str(inner);
        self
    }

    fn to_gpx(&self) -> String {
        let optional = |name: &str, value: &str| match value {
            "" => String::new(),
            value => format!("<{name}>{value}</{name}>"),
        };
        format!(
            "      <trkpt lat=\"{}\" lon=\"{}\">{}{}{}</trkpt>\n",
            self.latitude,
            self.longitude,
            optional("ele", &self.elevation),
            optional("time", &self.time),
            self.gpx
        )
    }

    fn to_tcx(&self) -> String {
        let position = match self.latitude.as_str() {
            "" => String::new(),
            latitude => format!(
                "<Position><LatitudeDegrees>{latitude}</LatitudeDegrees><LongitudeDegrees>{}</LongitudeDegrees></Position>",
                self.longitude
            ),
        };
        let altitude = match self.elevation.as_str() {
            "" => String::new(),
            elevation => format!("<AltitudeMeters>{elevation}</AltitudeMeters>"),
        };
        format!(
            "          <Trackpoint><Time>{}</Time>{position}{altitude}{}</Trackpoint>\n",
            self.time, self.tcx
        )
    }
}

const GPX_HEAD: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<gpx version=\"1.1\" creator=\"invented\" \
     xmlns=\"http://www.topografix.com/GPX/1/1\" \
     xmlns:t=\"http://www.garmin.com/xmlschemas/TrackPointExtension/v1\">\n";

const TCX_HEAD: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<TrainingCenterDatabase \
     xmlns=\"http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2\" \
     xmlns:x=\"http://www.garmin.com/xmlschemas/ActivityExtension/v2\">\n";

const TCX_TAIL: &str = "</TrainingCenterDatabase>\n";

fn gpx(body: &str) -> String {
    format!("{GPX_HEAD}{body}</gpx>\n")
}

fn segment(points: &[Written]) -> String {
    let points: String = points.iter().map(Written::to_gpx).collect();
    format!("    <trkseg>\n{points}    </trkseg>\n")
}

fn track(segments: &str) -> String {
    format!("  <trk>\n{segments}  </trk>\n")
}

/// A GPX file of one track with one segment.
fn one(points: &[Written]) -> String {
    gpx(&track(&segment(points)))
}

fn tcx_track(points: &[Written]) -> String {
    let points: String = points.iter().map(Written::to_tcx).collect();
    format!("        <Track>\n{points}        </Track>\n")
}

fn lap(tracks: &str) -> String {
    format!(
        "      <Lap StartTime=\"{}\">\n        <TotalTimeSeconds>60</TotalTimeSeconds>\n        \
         <DistanceMeters>132</DistanceMeters>\n{tracks}      </Lap>\n",
        time(0)
    )
}

fn activity(sport: &str, laps: &str) -> String {
    format!("    <Activity Sport=\"{sport}\">\n      <Id>{}</Id>\n{laps}    </Activity>\n", time(0))
}

fn tcx(activities: &str) -> String {
    format!("{TCX_HEAD}  <Activities>\n{activities}  </Activities>\n{TCX_TAIL}")
}

/// A TCX file of one activity with one lap.
fn one_tcx(points: &[Written]) -> String {
    tcx(&activity("Running", &lap(&tcx_track(points))))
}

fn edited(count: usize, edit: impl Fn(usize, Written) -> Written) -> Vec<Written> {
    (0..count).map(|seconds| edit(seconds, point(seconds))).collect()
}

fn main() -> std::io::Result<()> {
    let folder = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../testdata/inputs"));
    std::fs::create_dir_all(folder)?;
    let sections = [
        structure(),
        versions(),
        sensors(),
        tcx_files(),
        times(),
        numbers(),
        encodings(),
        hostile(),
        cut(),
        sampling(),
    ];
    for (name, content) in sections.into_iter().flatten() {
        std::fs::write(folder.join(name), content)?;
    }
    Ok(())
}

type Samples = Vec<(&'static str, Vec<u8>)>;

fn text_samples(samples: Vec<(&'static str, String)>) -> Samples {
    samples.into_iter().map(|(name, text)| (name, text.into_bytes())).collect()
}

fn structure() -> Samples {
    let ten = points(0..10);
    let route = "  <rte><rtept lat=\"1\" lon=\"2\"><time>2024-01-01T00:00:00Z</time></rtept></rte>\n";
    let waypoint = "  <wpt lat=\"1\" lon=\"2\"><time>2024-01-01T00:00:00Z</time></wpt>\n";
    let foreign = "<extensions><f:note xmlns:f=\"urn:invented\"><f:time>1999-01-01T00:00:00Z</f:time><f:ele>900</f:ele>\
         <f:trkpt lat=\"1\" lon=\"2\"><f:time>1999-01-01T00:00:00Z</f:time></f:trkpt></f:note>\
         <trkpt xmlns=\"urn:invented\" lat=\"3\" lon=\"4\"/></extensions>";
    text_samples(vec![
        ("A1-one-track.gpx", one(&ten)),
        ("A2-segments.gpx", gpx(&track(&(segment(&points(0..5)) + &segment(&points(8..13)))))),
        (
            "A3-tracks-hours-apart.gpx",
            gpx(&(track(&segment(&points(0..10))) + &track(&segment(&points(10_800..10_820))))),
        ),
        (
            "A4-tracks-seconds-apart.gpx",
            gpx(&(track(&segment(&points(0..10))) + &track(&segment(&points(12..20))))),
        ),
        ("A5-route-only.gpx", gpx(route)),
        ("A6-waypoints-only.gpx", gpx(waypoint)),
        ("A7-waypoint-and-route-beside.gpx", gpx(&format!("{waypoint}{route}{}", track(&segment(&ten))))),
        ("A8-metadata-only.gpx", gpx("  <metadata><time>2025-03-01T10:00:00Z</time></metadata>\n")),
        ("A8-empty-root.gpx", "<gpx/>".into()),
        ("A9-empty.gpx", String::new()),
        ("A9-blanks.gpx", " \r\n\t \n".into()),
        (
            "A10-empty-tracks-beside.gpx",
            gpx(&format!(
                "  <trk/>\n  <trk><trkseg/><trkseg></trkseg></trk>\n{}",
                track(&format!("<trkseg/>{}", segment(&ten)))
            )),
        ),
        ("A11-single-point.gpx", one(&points(0..1))),
        (
            "A12-one-line.gpx",
            one(&edited(10, |s, p| if s == 4 { p.elevation("--") } else { p })).replace('\n', ""),
        ),
        (
            "A13-quotes-and-blanks.gpx",
            gpx(
                "<trk><trkseg><trkpt  lon = '-38.25'\n lat\t=\t'12.5' ><time>2025-03-01T10:00:00Z</time></trkpt >\
                 <trkpt lon='-38.25' lat='12.50002'><time>2025-03-01T10:00:01Z</time></trkpt></trkseg></trk>",
            ),
        ),
        (
            "A14-pieces-of-a-value.gpx",
            one(&edited(3, |_, p| p.elevation("<![CDATA[1]]>2<!-- no -->.<?pi?>5").clone()))
                .replace("T10:00:01Z", "T10:<!-- x -->00:<![CDATA[01]]>Z"),
        ),
        (
            "A15-commented-point.gpx",
            gpx(&track(&format!("<!-- {} -->{}", segment(&points(20..30)), segment(&ten)))),
        ),
        (
            "A16-extensions-first.gpx",
            gpx("<trk><trkseg><trkpt lat=\"12.5\" lon=\"-38.25\"><extensions><hr>140</hr></extensions>\
                 <time>2025-03-01T10:00:00Z</time><ele>7</ele></trkpt></trkseg></trk>"),
        ),
        ("A17-foreign-elements.gpx", one(&edited(10, |_, p| p.with_gpx(foreign)))),
    ])
}

fn versions() -> Samples {
    let ten = points(0..10);
    let with_sensors = edited(10, |_, p| p.sensors("140", "160"));
    text_samples(vec![
        (
            "B1-version-1.0.gpx",
            one(&edited(10, |_, p| p.with_gpx("<course>0</course><speed>2.2</speed>")))
                .replace("version=\"1.1\"", "version=\"1.0\"")
                .replace("GPX/1/1", "GPX/1/0"),
        ),
        ("B2-speed-in-1.1.gpx", one(&edited(10, |_, p| p.with_gpx("<speed>2.2</speed>")))),
        ("B3-no-version.gpx", one(&ten).replace(" version=\"1.1\"", "")),
        ("B3-version-2.0.gpx", one(&ten).replace("version=\"1.1\"", "version=\"2.0\"")),
        ("B4-no-namespace.gpx", one(&ten).replace(" xmlns=\"http://www.topografix.com/GPX/1/1\"", "")),
        (
            "B5-all-prefixed.gpx",
            one(&with_sensors)
                .replace("xmlns=", "xmlns:g=")
                .replace("</t:", "\u{1}")
                .replace("<t:", "\u{2}")
                .replace("</", "</g:")
                .replace('<', "<g:")
                .replace("<g:/g:", "</g:")
                .replace("<g:?", "<?")
                .replace('\u{1}', "</t:")
                .replace('\u{2}', "<t:"),
        ),
        ("B6-unusual-prefix.gpx", one(&with_sensors).replace("t:", "zz9:")),
        (
            "B7-other-uri.gpx",
            one(&with_sensors)
                .replace("http://www.garmin.com/xmlschemas/TrackPointExtension/v1", "urn:invented"),
        ),
        (
            "B8-undeclared-prefix.gpx",
            one(&with_sensors)
                .replace(" xmlns:t=\"http://www.garmin.com/xmlschemas/TrackPointExtension/v1\"", ""),
        ),
        (
            "B9-default-namespace-switched.gpx",
            one(&edited(10, |_, p| {
                p.with_gpx(
                    "<extensions><TrackPointExtension xmlns=\"http://www.garmin.com/xmlschemas/TrackPointExtension/v2\">\
                     <hr>140</hr></TrackPointExtension></extensions>",
                )
            })),
        ),
        (
            "B10-both-extension-versions.gpx",
            one(&edited(10, |s, p| {
                match s % 2 {
                0 => p.sensors("140", "160"),
                _ => p.with_gpx(
                    "<extensions><u:TrackPointExtension xmlns:u=\"http://www.garmin.com/xmlschemas/TrackPointExtension/v2\">\
                     <u:hr>141</u:hr><u:speed>2.2</u:speed><u:course>0</u:course><u:bearing>0</u:bearing>\
                     </u:TrackPointExtension></extensions>",
                ),
            }
            })),
        ),
        ("B11-other-root.gpx", "<?xml version=\"1.0\"?>\n<playlist><track>1</track></playlist>\n".into()),
    ])
}

fn sensors() -> Samples {
    let minute = |edit: &dyn Fn(usize, Written) -> Written| one(&edited(60, edit));
    text_samples(vec![
        ("C1-heart-rate-fills.gpx", minute(&|s, p| p.sensors(["0", "255", "140"][s.min(2)], "160"))),
        ("C2-some-heart-rate.gpx", minute(&|s, p| if s % 4 == 0 { p.sensors("140", "160") } else { p })),
        (
            "C3-cadence-zero.gpx",
            // Stands for the first 30 s, then runs with one dropout.
            one(&(0..60_usize)
                .map(|s| {
                    let p = point(s).place(&latitude(s.saturating_sub(30)), "-38.250000");
                    p.sensors("140", if s < 25 || s == 50 { "0" } else { "160" })
                })
                .collect::<Vec<_>>()),
        ),
        ("C4-cadence-255.gpx", minute(&|s, p| p.sensors("140", if s == 7 { "255" } else { "160" }))),
        ("C5-one-leg.gpx", minute(&|_, p| p.sensors("140", "80"))),
        (
            "C5-one-leg-walking.gpx",
            one(&(0..60)
                .map(|s| {
                    point(s)
                        .place(&format!("{:.6}", 12.5 + 0.000_012_7 * s as f64), "-38.25")
                        .sensors("105", "55")
                })
                .collect::<Vec<_>>()),
        ),
        ("C6-both-legs.gpx", minute(&|_, p| p.sensors("140", "160"))),
        (
            "C7-two-cadences.tcx",
            one_tcx(&edited(60, |_, p| p.with_tcx("<Cadence>62</Cadence>").sensors_after("140", "80"))),
        ),
        ("C8-too-little-movement.gpx", one(&edited(6, |_, p| p.sensors("140", "80")))),
        (
            "C9-recorded-speed-zero.tcx",
            one_tcx(&edited(60, |_, p| {
                p.with_tcx("<Extensions><x:TPX><x:Speed>0</x:Speed></x:TPX></Extensions>")
            })),
        ),
        (
            "C10-other-sensors.gpx",
            minute(&|_, p| {
                p.with_gpx("<extensions><power>n/a</power><t:TrackPointExtension><t:atemp>??</t:atemp><t:hr>140</t:hr></t:TrackPointExtension></extensions>")
            }),
        ),
        ("C11-no-numbers.gpx", minute(&|s, p| p.sensors(["--", "", "n/a", "140"][s.min(3)], "160"))),
        ("C12-heart-rate-decimal.gpx", minute(&|_, p| p.sensors(" 140.0\n", "160"))),
        (
            "C13-elevation-zero-and-missing.gpx",
            minute(&|s, p| p.elevation(if s % 2 == 0 { "0" } else { "" })),
        ),
        ("C14-elevation-fills.gpx", minute(&|s, p| p.elevation(["-32768", "99999", "NaN", "3"][s.min(3)]))),
    ])
}

impl Written {
    /// TCX sensors behind what was added before.
    fn sensors_after(self, heart_rate: &str, cadence: &str) -> Self {
        let before = self.tcx.clone();
        let mut written = self.sensors(heart_rate, cadence);
        written.tcx.insert_str(0, &before);
        written
    }
}

fn tcx_files() -> Samples {
    let minute = points(0..60);
    let without_position = |seconds: usize, total_m: f64| {
        point(seconds).place("", "").with_tcx(&format!("<DistanceMeters>{total_m}</DistanceMeters>"))
    };
    let running = |laps: &str| tcx(&activity("Running", laps));
    text_samples(vec![
        ("D1-laps.tcx", running(&(lap(&tcx_track(&points(0..30))) + &lap(&tcx_track(&points(30..60)))))),
        (
            "D2-two-tracks-in-a-lap.tcx",
            running(&lap(&(tcx_track(&points(0..30)) + &tcx_track(&points(33..60))))),
        ),
        (
            "D3-gap-between-laps.tcx",
            running(&(lap(&tcx_track(&points(0..30))) + &lap(&tcx_track(&points(90..120))))),
        ),
        (
            "D4-no-position.tcx",
            one_tcx(&(0..60).map(|s| without_position(s, 2.5 * s as f64)).collect::<Vec<_>>()),
        ),
        (
            "D5-some-positions-missing.tcx",
            one_tcx(&edited(60, |s, p| if (20..25).contains(&s) { p.place("", "") } else { p })),
        ),
        (
            "D6-totals-restart.tcx",
            running(
                &(lap(&tcx_track(&(0..30).map(|s| without_position(s, 2.5 * s as f64)).collect::<Vec<_>>()))
                    + &lap(&tcx_track(
                        &(30..60).map(|s| without_position(s, 2.5 * (s - 30) as f64)).collect::<Vec<_>>(),
                    ))),
            ),
        ),
        (
            "D7-distance-differs.tcx",
            one_tcx(&edited(60, |s, p| p.with_tcx(&format!("<DistanceMeters>{}</DistanceMeters>", 3 * s)))),
        ),
        (
            "D8-time-alone.tcx",
            one_tcx(&edited(60, |s, p| if s == 0 || s == 30 { p.place("", "").elevation("") } else { p })),
        ),
        ("D9-totals-only.tcx", running(&lap(""))),
        ("D9-one-lap-of-totals.tcx", running(&(lap(&tcx_track(&minute)) + &lap("")))),
        (
            "D10-course.tcx",
            format!(
                "{TCX_HEAD}  <Courses><Course><Name>Loop</Name>{}</Course></Courses>\n{TCX_TAIL}",
                tcx_track(&minute)
            ),
        ),
        (
            "D11-multi-sport.tcx",
            tcx(&format!(
                "<MultiSportSession><Id>{0}</Id><FirstSport>{1}</FirstSport><NextSport><Transition StartTime=\"{0}\">{2}\
                 </Transition>{3}</NextSport></MultiSportSession>",
                time(0),
                activity("Running", &lap(&tcx_track(&points(0..60)))),
                tcx_track(&points(60..70)),
                activity("Biking", &lap(&tcx_track(&points(70..130)))),
            )),
        ),
        (
            "D12-activities.tcx",
            tcx(&(activity("Running", &lap(&tcx_track(&points(0..60))))
                + &activity("Running", &lap(&tcx_track(&points(90..150)))))),
        ),
        ("D13-biking.tcx", tcx(&activity("Biking", &lap(&tcx_track(&minute))))),
        ("D14-other-sport.tcx", tcx(&activity("Other", &lap(&tcx_track(&minute))))),
        ("D14-word-off-the-list.tcx", tcx(&activity("Gardening", &lap(&tcx_track(&minute))))),
        ("D15-before-the-declaration.tcx", format!("\u{feff}\r\n\n  {}", one_tcx(&minute))),
        (
            "D16-no-tpx.tcx",
            one_tcx(&edited(60, |_, p| {
                p.with_tcx(
                    "<Extensions><own:RunCadence>80</own:RunCadence><own:Speed>2.2</own:Speed></Extensions>",
                )
            })),
        ),
        (
            "D16-own-prefix.tcx",
            one_tcx(&edited(60, |_, p| {
                p.with_tcx("<Extensions><own:TPX><own:RunCadence>80</own:RunCadence></own:TPX></Extensions>")
            })),
        ),
    ])
}

fn times() -> Samples {
    let replaced = |from: &str, to: &str| {
        one(&edited(10, |_, p| {
            let time = p.time.replace(from, to);
            p.time(&time)
        }))
    };
    let each = |count: usize, times: &dyn Fn(usize) -> String| one(&edited(count, |s, p| p.time(&times(s))));
    text_samples(vec![
        ("E1-zulu.gpx", one(&points(0..10))),
        ("E2-offset.gpx", replaced("T10", "T12").replace("Z</time>", "+02:00</time>")),
        ("E2-negative-offset.gpx", replaced("T10:00", "T06:30").replace("Z</time>", "-03:30</time>")),
        ("E3-offset-without-colon.gpx", replaced("T10", "T12").replace("Z</time>", "+0200</time>")),
        ("E3-offset-of-hours.gpx", replaced("T10", "T12").replace("Z</time>", "+02</time>")),
        ("E4-no-zone.gpx", replaced("Z", "")),
        (
            "E5-fractions.gpx",
            each(5, &|s| {
                [
                    "2025-03-01T10:00:00Z",
                    "2025-03-01T10:00:00.5Z",
                    "2025-03-01T10:00:01.125Z",
                    "2025-03-01T10:00:02,000000001Z",
                    "2025-03-01T10:00:03.123456Z",
                ][s]
                    .into()
            }),
        ),
        (
            "E6-blank-and-lower-case.gpx",
            each(4, &|s| {
                [
                    "2025-03-01 10:00:00Z",
                    "2025-03-01t10:00:01z",
                    "2025-03-01 10:00:02z",
                    "2025-03-01T10:00:03Z",
                ][s]
                    .into()
            }),
        ),
        (
            "E7-hour-24.gpx",
            each(3, &|s| ["2025-02-28T23:59:59Z", "2025-02-28T24:00:00Z", "2025-03-01T00:00:01Z"][s].into()),
        ),
        (
            "E8-second-60.gpx",
            each(3, &|s| ["2016-12-31T23:59:59Z", "2016-12-31T23:59:60Z", "2017-01-01T00:00:01Z"][s].into()),
        ),
        (
            "E9-impossible-times.gpx",
            each(10, &|s| match s {
                3 => "2025-13-01T10:00:03Z".into(),
                4 => "2025-03-01T25:00:04Z".into(),
                5 => "2021-02-30T10:00:05Z".into(),
                6 => "2025-03-01".into(),
                _ => time(s),
            }),
        ),
        (
            "E9-other-forms-of-one-meaning.gpx",
            each(10, &|s| match s {
                2 => "20250301T100002Z".into(),
                4 => "1740823204".into(),
                5 => "1740823205000".into(),
                7 => "03/01/2025 10:00:07".into(),
                _ => time(s),
            }),
        ),
        ("E10-some-times-missing.gpx", each(10, &|s| if s % 3 == 1 { String::new() } else { time(s) })),
        ("E11-times-of-two-meanings.gpx", each(10, &|s| format!("03/01/2025 10:00:{s:02}"))),
        ("E11-no-times.gpx", each(10, &|_| String::new())),
        ("E12-same-time-same-place.gpx", one(&[points(0..5), points(4..10)].concat())),
        ("E13-same-time-other-place.gpx", each(10, &|s| time(if s == 5 { 4 } else { s }))),
        (
            "E14-neighbours-swapped.gpx",
            one(&[points(0..4), points(5..6), points(4..5), points(6..10)].concat()),
        ),
        (
            "E14-segments-newest-first.gpx",
            gpx(&track(&[60..90, 30..60, 0..30].map(|tens| segment(&every_ten_seconds(tens))).concat())),
        ),
        ("E14-one-time-far-back.gpx", {
            let mut points = every_ten_seconds(0..90);
            points[50].time = time(100);
            one(&points)
        }),
        (
            "E15-clock-an-hour-back.gpx",
            each(120, &|s| if (40..60).contains(&s) { time(s).replace("T10", "T09") } else { time(s) }),
        ),
        (
            "E16-first-points-years-off.gpx",
            each(60, &|s| if s < 5 { format!("2006-08-20T00:00:{s:02}Z") } else { time(s) }),
        ),
        (
            "E17-over-new-year.gpx",
            each(60, &|s| {
                if s < 30 {
                    format!("2024-12-31T23:59:{:02}Z", 30 + s)
                } else {
                    format!("2025-01-01T00:00:{:02}Z", s - 30)
                }
            }),
        ),
        ("E18-clock-not-set.gpx", replaced("2025-03-01", "1980-01-06")),
        ("E19-future.gpx", replaced("2025-03-01", "2099-03-01")),
        (
            "E20-summer-time-begins.gpx",
            each(60, &|s| {
                if s < 30 {
                    format!("2025-03-30T01:59:{:02}+01:00", 30 + s)
                } else {
                    format!("2025-03-30T03:00:{:02}+02:00", s - 30)
                }
            }),
        ),
        ("E21-local-day-is-another.gpx", each(10, &|s| format!("2025-03-02T00:30:{s:02}+02:00"))),
    ])
}

fn numbers() -> Samples {
    let first = |latitude: &str, longitude: &str| {
        one(&edited(10, |s, p| if s == 3 { p.place(latitude, longitude) } else { p }))
    };
    let all = |place: &dyn Fn(usize) -> (String, String)| {
        one(&edited(10, |s, p| {
            let (latitude, longitude) = place(s);
            p.place(&latitude, &longitude)
        }))
    };
    text_samples(vec![
        (
            "F1-decimal-comma.gpx",
            one(&edited(10, |_, p| {
                let (a, o) = (p.latitude.replace('.', ","), p.longitude.replace('.', ","));
                p.place(&a, &o).elevation("4,5")
            })),
        ),
        ("F2-exponent.gpx", first("1.250006e1", "-3.825e1")),
        (
            "F3-signs-and-zeros.gpx",
            first("+012.50006", "-0038.25").replace("<ele>4.5</ele>", "<ele>+.5</ele>").replacen(
                "<ele>+.5</ele>",
                "<ele>5.</ele>",
                1,
            ),
        ),
        ("F4-blanks-round-a-number.gpx", first(" 12.50006 ", "\n-38.25\t")),
        (
            "F5-no-finite-number.gpx",
            one(&edited(10, |s, p| match s {
                3 => p.place("NaN", "-38.25"),
                4 => p.place("12.5", "inf"),
                5 => p.elevation("1e999"),
                _ => p,
            })),
        ),
        (
            "F6-empty-and-word.gpx",
            one(&edited(10, |s, p| match s {
                3 => p.place("", "-38.25"),
                4 => p.place("north", "-38.25"),
                _ => p,
            })),
        ),
        (
            "F7-out-of-range.gpx",
            one(&edited(10, |s, p| match s {
                3 => p.place("90.5", "-38.25"),
                4 => p.place("12.5", "181"),
                _ => p,
            })),
        ),
        ("F7-not-one-in-range.gpx", all(&|s| (format!("151.20{s:04}"), "-33.9".into()))),
        (
            "F8-longitude-180.gpx",
            all(&|s| (latitude(s), if s % 2 == 0 { "180".into() } else { "-180".into() })),
        ),
        (
            "F9-across-the-date-line.gpx",
            all(&|s| {
                (
                    "12.5".into(),
                    format!(
                        "{:.6}",
                        if s < 5 {
                            179.9999 + STEP_DEG * s as f64
                        } else {
                            -180.0 + STEP_DEG * (s - 5) as f64
                        }
                    ),
                )
            }),
        ),
        (
            "F10-minus-zero.gpx",
            all(&|s| (format!("{:.6}", STEP_DEG * s as f64), "-0.0".into()))
                .replace("<ele>4.5</ele>", "<ele>-0</ele>"),
        ),
        ("F11-null-before-the-fix.gpx", one(&edited(20, |s, p| if s < 4 { p.place("0", "0") } else { p }))),
        ("F12-on-the-equator.gpx", all(&|s| ("0".into(), format!("{:.6}", 20.0 + STEP_DEG * s as f64)))),
        ("F13-half-a-position.gpx", first("12.50006", "?").replace(" lon=\"?\"", "")),
    ])
}

fn encodings() -> Samples {
    let ten = one(&points(0..10));
    let named = gpx(&format!("  <trk><name>Früh</name>{}</trk>\n", segment(&points(0..10))));
    text_samples(vec![
        ("G1-byte-order-mark.gpx", format!("\u{feff}{ten}")),
        (
            "G7-control-bytes.gpx",
            named
                .replace("Früh", "Fr\u{1}h")
                .replacen("</trkpt>\n", "</trkpt>\n\u{0}\u{0}\u{2}\n", 5)
                .replace(
                    "<ele>4.5</ele><time>2025-03-01T10:00:05Z",
                    "<ele>4\u{3}5</ele><time>2025-03-01T10:00:05Z",
                ),
        ),
        ("G8-carriage-returns.gpx", ten.replace('\n', "\r").replace("10:00:05Z", "10:00:5Z")),
        ("G8-both-line-ends.gpx", ten.replace('\n', "\r\n").replace("10:00:05Z", "10:00:5Z")),
    ])
}

fn hostile() -> Samples {
    let ten = points(0..10);
    let body = segment(&ten);
    let entities = "<!DOCTYPE gpx [\n<!ENTITY a \"aaaaaaaaaa\">\n<!ENTITY b \"&a;&a;&a;&a;&a;&a;&a;&a;\">\n<!ENTITY c \"&b;&b;&b;&b;&b;&b;&b;&b;\">\n]>\n";
    let with_type = |document_type: &str| one(&ten).replacen("<gpx", &format!("{document_type}<gpx"), 1);
    let double = |latitude: &str| {
        one(&ten).replace("lat=\"12.500060\"", &format!("lat=\"12.500060\" lat=\"{latitude}\""))
    };
    text_samples(vec![
        ("H1-nested-entities.gpx", with_type(entities).replacen("<trk>", "<trk><name>&c;</name>", 1).replacen("<ele>4.5</ele>", "<ele>&a;</ele>", 1)),
        ("H2-external-entity.gpx", with_type("<!DOCTYPE gpx SYSTEM \"http://localhost:9/never.dtd\" [<!ENTITY f SYSTEM \"file:///etc/hostname\">]>").replacen("<trk>", "<trk><name>&f;</name>", 1)),
        ("H3-harmless-document-type.gpx", with_type("<!DOCTYPE gpx>")),
        ("H7-attribute-twice.gpx", double("12.6")),
        ("H8-bare-markup-in-title.gpx", gpx(&format!("<trk><name>Tom & Ann <3 a 5 < 6 km & more &</name><desc>a<b km <i>x</desc>{body}</trk>"))),
        ("H9-wrong-end-tag.gpx", one(&ten).replace("<time>2025-03-01T10:00:04Z</time></trkpt>", "<time>2025-03-01T10:00:04Z</time></trkpoint>")),
        ("H9-wrong-end-of-segment.gpx", gpx(&track(&segment(&points(0..5)).replace("</trkseg>", "</seg>"))).replace("</trk>", &format!("{}</trk>", segment(&points(5..10))))),
        ("H10-control-reference.gpx", one(&edited(10, |s, p| if s == 3 { p.elevation("4&#0;5") } else { p })).replacen("<trk>", "<trk><name>a&#1;b</name>", 1)),
    ])
}

fn cut() -> Samples {
    let ten = one(&points(0..10));
    let at =
        |text: &str, mark: &str| text[..text.find(mark).expect("the mark stands in the sample")].to_owned();
    let laps =
        tcx(&activity("Running", &(lap(&tcx_track(&points(0..10))) + &lap(&tcx_track(&points(10..20))))));
    let mut zeros = at(&ten, "<time>2025-03-01T10:00:07").into_bytes();
    zeros.extend([0; 600]);
    let (begin, end) = (ten.find("0:00:03Z").expect("there"), ten.find("12.500140").expect("there"));
    let missing = format!("{}{}", &ten[..begin], &ten[end..]);
    let mut samples = text_samples(vec![
        ("I1-inside-a-point.gpx", at(&ten, "<time>2025-03-01T10:00:07")),
        ("I2-after-a-point.gpx", at(&ten, "      <trkpt lat=\"12.500140")),
        ("I3-root-end-missing.gpx", at(&ten, "</gpx>")),
        ("I4-inside-an-attribute.gpx", at(&ten, "0140\" lon")),
        ("I5-before-the-first-point.gpx", at(&ten, "<ele>")),
        ("I6-inside-a-later-lap.tcx", at(&laps, "<LatitudeDegrees>12.500300")),
        (
            "I8-rubbish-after-the-root.gpx",
            format!("{ten}</trkseg></trk></gpx>\n<trkpt lat=\"1\" lon=\"2\"/> & more"),
        ),
        ("I9-block-missing.gpx", missing),
    ]);
    samples.push(("I7-tail-of-zeros.gpx", zeros));
    samples
}

fn sampling() -> Samples {
    let at = |seconds: &[usize]| one(&seconds.iter().map(|&s| point(s)).collect::<Vec<_>>());
    let shifted = |count: usize, place: &dyn Fn(usize) -> (f64, f64)| {
        one(&edited(count, |s, p| {
            let (latitude, longitude) = place(s);
            p.place(&format!("{latitude:.6}"), &format!("{longitude:.6}"))
        }))
    };
    let on_track = |s: usize| 12.5 + STEP_DEG * s as f64;
    text_samples(vec![
        ("L1-irregular-steps.gpx", at(&[0, 1, 4, 14, 15, 20, 29, 30, 40, 50, 60])),
        (
            "L2-pause-at-one-place.gpx",
            one(&[points(0..30), (330..360).map(|s| point(s).place(&latitude(s - 300), "-38.25")).collect()]
                .concat()),
        ),
        ("L3-lost-signal.gpx", one(&[points(0..30), points(330..360)].concat())),
        (
            "L4-wild-before-the-fix.gpx",
            shifted(60, &|s| if s < 3 { (12.53 + 0.004 * s as f64, -38.27) } else { (on_track(s), -38.25) }),
        ),
        (
            "L5-one-point-far-off.gpx",
            shifted(60, &|s| if s == 30 { (12.53, -38.25) } else { (on_track(s), -38.25) }),
        ),
        (
            "L6-standing-with-drift.gpx",
            shifted(120, &|s| {
                (12.5 + 0.000_02 * (s as f64 / 9.0).sin(), -38.25 + 0.000_02 * (s as f64 / 7.0).cos())
            }),
        ),
        ("L7-treadmill.gpx", one(&edited(60, |_, p| p.place("12.5", "-38.25").sensors("140", "160")))),
        ("L8-few-decimals.gpx", one(&edited(60, |s, p| p.place(&format!("{:.4}", on_track(s)), "-38.2500")))),
        (
            "L9-two-devices.gpx",
            one(&(0..120)
                .map(|half| {
                    let seconds = half / 2;
                    let p = point(seconds)
                        .time(&time(seconds).replace('Z', if half % 2 == 0 { ".0Z" } else { ".5Z" }));
                    if half % 2 == 0 {
                        p.sensors("140", "160")
                    } else {
                        let latitude = p.latitude.clone();
                        p.place(&latitude, "-38.250300")
                    }
                })
                .collect::<Vec<_>>()),
        ),
        ("L10-one-point-a-minute.gpx", at(&(0..20).map(|minute| 60 * minute).collect::<Vec<_>>())),
        (
            "L11-drive-home.gpx",
            shifted(420, &|s| {
                if s < 240 {
                    (on_track(s), -38.25)
                } else {
                    (on_track(240), -38.25 + 0.000_15 * (s - 240) as f64)
                }
            }),
        ),
    ])
}
