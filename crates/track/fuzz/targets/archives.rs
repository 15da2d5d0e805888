//! Recordings in a stream or an archive that is damaged on the way: caps hold, and nothing is lost without a word.
#![no_main]

use std::io::{Cursor, Write};

use arbitrary::{Arbitrary, Unstructured};
use boutwise_track::{ArchiveSettings, ReadSettings, read_bytes};
use flate2::{Compression, write::GzEncoder};
use libfuzzer_sys::fuzz_target;
use zip::write::SimpleFileOptions;

#[derive(Arbitrary, Debug)]
enum Packing {
    Stream,
    Archive { deflated: bool, twice: bool },
}

const RECORDING: &[u8] = b"<gpx><trk><trkseg><trkpt lat='1' lon='2'><time>2025-03-01T10:00:00Z</time></trkpt></trkseg></trk></gpx>";

/// Far below the defaults, so that caps are met.
const MAX_FILE_BYTES: u64 = 4096;

fn packed(content: &[u8], packing: &Packing) -> Vec<u8> {
    match packing {
        Packing::Stream => {
            let mut stream = GzEncoder::new(Vec::new(), Compression::fast());
            stream.write_all(content).expect("vectors take everything");
            stream.finish().expect("vectors take everything")
        }
        Packing::Archive { deflated, twice } => {
            let method =
                if *deflated { zip::CompressionMethod::Deflated } else { zip::CompressionMethod::Stored };
            let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
            for name in ["a.gpx", "b.gpx"].iter().take(1 + usize::from(*twice)) {
                archive
                    .start_file(*name, SimpleFileOptions::default().compression_method(method))
                    .expect("a plain name");
                archive.write_all(content).expect("vectors take everything");
            }
            archive.finish().expect("vectors take everything").into_inner()
        }
    }
}

fuzz_target!(|data: &[u8]| {
    let mut input = Unstructured::new(data);
    let (Ok(layers), Ok(damages)) =
        (<Vec<Packing>>::arbitrary(&mut input), <Vec<(u16, u8)>>::arbitrary(&mut input))
    else {
        return;
    };
    let rest = input.take_rest();
    let mut bytes = if rest.is_empty() { RECORDING.to_vec() } else { rest.to_vec() };
    for packing in layers.iter().take(4) {
        bytes = packed(&bytes, packing);
    }
    for (at, byte) in damages {
        let at = usize::from(at) % bytes.len();
        bytes[at] ^= byte;
    }
    let archive = ArchiveSettings {
        max_file_bytes: MAX_FILE_BYTES,
        max_total_bytes: 4 * MAX_FILE_BYTES,
        max_members: 16,
        ..ArchiveSettings::default()
    };
    let settings = ReadSettings { archive, ..ReadSettings::default() };
    let mut handed_over = 0;
    read_bytes("a.zip", &bytes, &settings, &mut |reading| {
        handed_over += 1;
        assert!(reading.points_kept as u64 <= MAX_FILE_BYTES);
        assert!(reading.points_kept > 0 || reading.error.is_some());
    });
    assert!(handed_over > 0 && handed_over <= 64);
});
