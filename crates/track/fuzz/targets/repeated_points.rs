//! Any text as the inside of points that repeat with other digits: the text of a file with a layout of its own.
#![no_main]

use boutwise_track_fuzz::assert_same;
use libfuzzer_sys::fuzz_target;

const GPX: [&[u8]; 3] =
    [b"<gpx><trk><trkseg>", b"<trkpt lat=\"12.5\" lon=\"-8\"><time>2025-03-01T10:00:00Z</time>", b"</trkpt>"];
const TCX: [&[u8]; 3] = [
    b"<TrainingCenterDatabase><Activities><Activity><Lap><Track>",
    b"<Trackpoint><Time>2025-03-01T10:00:00Z</Time>",
    b"</Trackpoint>",
];

/// The inside with each digit moved on, so that values differ and markup does not.
fn with_other_digits(inside: &[u8], by: u8) -> Vec<u8> {
    let moved = |byte: &u8| if byte.is_ascii_digit() { b'0' + (byte - b'0' + by) % 10 } else { *byte };
    inside.iter().map(moved).collect()
}

fuzz_target!(|data: &[u8]| {
    let Some((&way, inside)) = data.split_first() else { return };
    let [head, open, close] = if way & 1 == 0 { GPX } else { TCX };
    // The point itself may also come from the input.
    let (open, close) = if way & 2 == 0 { (open, close) } else { (&b""[..], &b""[..]) };
    // In one way, points lack a piece from time to time.
    let cut = usize::from(way >> 3).min(inside.len());
    let mut text = head.to_vec();
    for by in 0..5 {
        let inside = if way & 4 != 0 && by % 2 == 1 { &inside[cut..] } else { inside };
        text.extend([open, &with_other_digits(inside, by), close].concat());
    }
    assert_same(&text);
});
