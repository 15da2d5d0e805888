//! Any text by layouts and by the lexer alone: both tell the same.
#![no_main]

use boutwise_track_fuzz::{assert_same, assert_sound};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &[u8]| {
    assert_same(text);
    assert_sound(text);
});
