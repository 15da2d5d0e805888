//! The short way by layouts and the long way by the lexer give the same: points, marks, notes with their places, errors.

use boutwise_track::{ReadSettings, read_raw, read_text};
use proptest::prelude::*;

use crate::generated::{gpx, irregular_gpx, irregular_tcx, tcx};
use crate::open_recordings::{RECORDINGS, open_data};
use crate::samples::all;

/// Everything that reading tells, as text: doubles are printed so that unlike ones are unlike.
fn told(text: &[u8], without_layouts: bool) -> [String; 2] {
    let settings = ReadSettings { without_layouts, ..ReadSettings::default() };
    [format!("{:?}", read_raw(text, &settings)), format!("{:?}", read_text(text, &settings))]
}

fn assert_same(text: &[u8], what: &str) {
    let (short, long) = (told(text, false), told(text, true));
    if short != long {
        let kept = std::env::temp_dir().join("boutwise-unlike-by-layout");
        std::fs::write(&kept, text).expect("the temporary folder takes files");
        panic!("{what}: unlike by layout and by lexer; kept as {}", kept.display());
    }
}

/// Points in the ways of several writers, each text with some that lack a value.
fn written() -> Vec<String> {
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    let (gpx, tcx) = (text(gpx(40)), text(tcx(40)));
    let (mixed_gpx, mixed_tcx) = (text(irregular_gpx(40)), text(irregular_tcx(40)));
    vec![
        // Without a layout, tags are known again.
        mixed_gpx.replace("<x:atemp>21.5", "<x:atemp>a &lt; b"),
        mixed_gpx.replace("<x:atemp>", "<x:atemp unit='C'>").replace("x:hr>", "hr>"),
        mixed_gpx.replace("<x:cad>", "<x:power>200</x:power><x:cad>").replace("lat=", "lat ="),
        mixed_tcx.replace("<AltitudeMeters>", "<AltitudeMeters> ").replace("x:Watts", "Value"),
        mixed_gpx,
        mixed_tcx,
        gpx.replace("\n", ""),
        gpx.replace("\n", "\r\n"),
        gpx.replace(".000Z<", "+02:00<"),
        gpx.replace(".000Z<", "<"),
        gpx.replace("\" lon=\"", "483883314439081004821\" lon=\""),
        gpx.replace("<ns3:cad>", "<ns3:atemp>21.5</ns3:atemp>\n<ns3:cad>"),
        gpx.replace("<ele>", "<name>a &amp; b</name><sat>7</sat><ele>"),
        gpx.replace("<ele>12", "<!-- c --><ele>1<!-- 2 -->2"),
        gpx.replace("<ele>12.0", "<ele>12.0<x/>"),
        gpx.replace("</ele>", "</ele><trkpt>5</trkpt>"),
        gpx.replace("<ns3:hr>12", "<ns3:hr>299"),
        gpx.replace("</trkpt>\n      <trkpt", "</trkpt></trkseg><trkseg><trkpt"),
        gpx.replace("<extensions>", "<extensions xmlns='urn:x'><hr>77</hr>"),
        gpx.replace("lon=\"", "n=\"5\" lon='").replace("\">\n        <ele>", "'>\n        <ele>"),
        tcx.replace("</Position>", "</Position><Cadence>80</Cadence>"),
        tcx.replace(
            "</Trackpoint>\n          <Trackpoint>",
            "</Trackpoint></Track></Lap><Lap><Track><Trackpoint>",
        ),
        tcx.replace("<HeartRateBpm>", "<HeartRateBpm xsi:type=\"x\">"),
        tcx.replace("<Value>1", "<Value>-1"),
        gpx,
        tcx,
    ]
}

#[test]
fn every_sample_is_told_the_same() {
    for (name, text) in all() {
        assert_same(&text, &name);
    }
}

/// What fuzzing found, one file a fault.
#[test]
fn whatever_fuzzing_found_is_told_the_same() {
    let kept = concat!(env!("CARGO_MANIFEST_DIR"), "/fuzz/kept/layouts");
    let files: Vec<_> = std::fs::read_dir(kept).expect("kept files are checked in").collect();
    assert!(!files.is_empty());
    for file in files {
        let path = file.expect("readable").path();
        assert_same(&std::fs::read(&path).expect("readable"), &path.display().to_string());
    }
}

#[test]
fn whole_files_are_told_the_same() {
    for (index, text) in written().iter().enumerate() {
        assert_same(text.as_bytes(), &format!("way {index}"));
    }
    for text in [gpx(3000), tcx(3000), irregular_gpx(3000), irregular_tcx(3000)] {
        assert_same(&text, "generated");
    }
    for name in RECORDINGS {
        if let Some(text) = open_data(name) {
            assert_same(&text, name);
        }
    }
}

/// Tags that are known stand where they mean something else, or nearly as they are known.
#[test]
fn known_tags_in_odd_places_are_told_the_same() {
    let gpx = "<trkpt lat=\"1\" lon=\"2\"><ele>5</ele><time>2025-03-01T10:00:00Z</time>\
        <extensions xmlns:x=\"u\"><x:a><x:hr>99</x:hr></x:a></extensions></trkpt>";
    let tcx = "<Trackpoint><Time>2025-03-01T10:00:00Z</Time>\
        <Position><LatitudeDegrees>1</LatitudeDegrees><LongitudeDegrees>2</LongitudeDegrees></Position>\
        <HeartRateBpm><Value>99</Value></HeartRateBpm></Trackpoint>";
    let inner = "<trkpt lat=\"3\" lon=\"4\"><time>2025-03-01T10:00:09Z</time></trkpt>";
    let nested = format!("<x:hr>99</x:hr>{}{}", "<x:a>".repeat(300), "</x:a>".repeat(300)) + "<x:b>5</x:b >";
    // As deep as elements are followed, and one deeper.
    let deepest = ["<x:a>", &"<x:a><x:hr>99</x:hr>".repeat(249), &"</x:a>".repeat(250)].concat();
    for (from, to) in [
        ("lon=", "lat="),
        ("<trkpt lat", "<trkptlat"),
        ("\"1\"", "x1x"),
        ("\"1\" lon", "\"1\"lon"),
        ("lat=\"1\"", "lat=\"1\" lat=\"1\""),
        ("lat=\"1\"", "lat=\"1\" n=\"5\""),
        ("<ele>5</ele>", "<ele>5<ele>6</ele></ele>"),
        ("<ele>5</ele>", "<ele>5<x:c>6</x:c></ele>"),
        ("<ele>5</ele>", "<ele> 5<!-- c --> </ele>"),
        ("<ele>5</ele>", "<x:a><ele>5</ele></x:a>"),
        ("<ele>5</ele>", "5<ele>5</ele>"),
        ("<ele>5</ele>", "<ele>5</x:a>"),
        ("<x:hr>99</x:hr></x:a></extensions>", inner),
        ("<x:hr>99</x:hr>", "<x:a>5</x:a><x:hr>99</x:hr>"),
        ("<x:hr>99</x:hr>", &nested),
        ("<x:hr>99</x:hr>", &deepest),
        ("<x:hr>99</x:hr></x:a>", "<x:hr>299</x:hr></x:a>"),
        (":00Z", ":60Z"),
        (":00Z", ":00.Z"),
        ("<Position>", "<Position>x</Position><Position>"),
        ("<Position>", "<Position> <x:a>5</x:a>"),
        ("<HeartRateBpm><Value>99</Value>", "<Value>99</Value><HeartRateBpm>"),
    ] {
        for (head, point, tail) in [
            ("<gpx><trk><trkseg>", gpx, "</trkseg></trk></gpx>"),
            ("<TrainingCenterDatabase><Activities><Activity><Lap><Track>", tcx, "</Track></Lap>"),
        ] {
            // Elements stand in another order at first, so that no layout fits.
            let other =
                point.replacen("<ele>5</ele>", "", 1).replacen("<HeartRateBpm>", "<HeartRateBpm >", 1);
            let odd = point.replacen(from, to, 1);
            let odd_again = odd.replacen("<time>", " <time>", 1).replacen("<Time>", " <Time>", 1);
            assert_same(
                [head, &other, &other, point, &odd, &other, &odd_again, point, tail].concat().as_bytes(),
                &format!("{from} as {to}"),
            );
        }
    }
}

#[test]
fn a_cut_at_any_byte_is_told_the_same() {
    for text in [gpx(6), tcx(6)] {
        for end in 0..text.len() {
            assert_same(&text[..end], &format!("cut at {end}"));
        }
    }
}

/// Damage done to a text.
#[derive(Clone, Debug)]
enum Damage {
    Flip(u8),
    Insert(&'static str),
    Remove,
    Repeat,
    Swap,
}

/// What markup and values are made of, so that damage hits more than names.
const PIECES: [&str; 24] = [
    "<",
    ">",
    "\"",
    "'",
    "&",
    "&amp;",
    "&#0;",
    "/",
    "/>",
    "<!--",
    "-->",
    "<![CDATA[",
    "]]>",
    "<x>",
    "</x>",
    "</trkpt>",
    "<trkpt lat=\"1\" lon=\"2\">",
    "<trkseg>",
    "</Trackpoint>",
    "\0",
    " ",
    "-",
    ".",
    "9",
];

fn damage() -> impl Strategy<Value = Damage> {
    prop_oneof![
        any::<u8>().prop_map(Damage::Flip),
        prop::sample::select(&PIECES[..]).prop_map(Damage::Insert),
        Just(Damage::Remove),
        Just(Damage::Repeat),
        Just(Damage::Swap),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn damaged_files_are_told_the_same(
        which in any::<prop::sample::Index>(),
        damages in proptest::collection::vec((damage(), any::<prop::sample::Index>(), 1_usize..80), 1..5),
    ) {
        let written = written();
        let mut text = which.get(&written).clone().into_bytes();
        for (damage, at, length) in damages {
            let at = at.index(text.len());
            let end = text.len().min(at + length);
            match damage {
                Damage::Flip(byte) => text[at] ^= byte,
                Damage::Insert(piece) => drop(text.splice(at..at, piece.bytes())),
                Damage::Remove if end - at < text.len() => drop(text.drain(at..end)),
                Damage::Remove => {}
                Damage::Repeat => {
                    let piece = text[at..end].to_vec();
                    text.splice(at..at, piece);
                }
                Damage::Swap => text[at..end].reverse(),
            }
        }
        assert_same(&text, "damaged");
    }
}
