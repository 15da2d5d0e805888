//! What opening and reading many small recordings costs, against reading their bytes alone:
//! `cargo bench -p boutwise-track --bench small_files`.
//!
//! Files are invented, written to a temporary folder, and read once beforehand so that all are cached alike.

use std::fs;
use std::hint::black_box;
use std::path::Path;
use std::time::{Duration, Instant};

use boutwise_track::{InputPath, ReadSettings, Status, find_inputs, read_input};

const FILES: usize = 10_000;
const ROUNDS: usize = 7;

fn main() -> std::io::Result<()> {
    println!("{FILES} files, median of {ROUNDS} rounds");
    println!("points  bytes  fs::read ms  listing ms  find_inputs and read_input ms  ratio");
    for points in [5, 10, 24, 40, 100] {
        let folder = tempfile::tempdir()?;
        let bytes = write_files(folder.path(), points)?;
        read_bytes_alone(folder.path())?;
        let (mut alone, mut listing, mut read) = (Vec::new(), Vec::new(), Vec::new());
        for _ in 0..ROUNDS {
            alone.push(timed(|| read_bytes_alone(folder.path()))?);
            listing.push(timed(|| Ok(black_box(list(folder.path())?.len())))?);
            read.push(timed(|| read_all(folder.path()))?);
        }
        let [alone, listing, read] = [alone, listing, read].map(median_ms);
        println!("{points:6}  {bytes:5}  {alone:11.1}  {listing:10.1}  {read:29.1}  {:5.2}", read / alone);
    }
    Ok(())
}

fn write_files(folder: &Path, points: usize) -> std::io::Result<usize> {
    let mut bytes = 0;
    for file in 0..FILES {
        let mut text = String::from(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<gpx version=\"1.1\">\n <trk>\n  <trkseg>\n",
        );
        for point in 0..points {
            let latitude = 52.0 + (file + point) as f64 * 2.5e-5;
            text += &format!(
                "   <trkpt lat=\"{latitude:.7}\" lon=\"4.0000000\">\n    <ele>3.2</ele>\n    \
                 <time>2024-03-04T18:{:02}:{:02}Z</time>\n   </trkpt>\n",
                point / 60,
                point % 60
            );
        }
        text += "  </trkseg>\n </trk>\n</gpx>\n";
        bytes = text.len();
        let athlete = folder.join(format!("athlete-{:02}", file % 50));
        fs::create_dir_all(&athlete)?;
        fs::write(athlete.join(format!("{file:05}.gpx")), text)?;
    }
    Ok(bytes)
}

/// The least that any reader must do: list the folders, read each file.
fn read_bytes_alone(folder: &Path) -> std::io::Result<usize> {
    let mut bytes = 0;
    for athlete in fs::read_dir(folder)? {
        for file in fs::read_dir(athlete?.path())? {
            bytes += black_box(fs::read(file?.path())?).len();
        }
    }
    Ok(bytes)
}

fn read_all(folder: &Path) -> std::io::Result<usize> {
    let settings = ReadSettings::default();
    let mut points = 0;
    for input in list(folder)? {
        read_input(&input, &settings, &mut |reading| {
            assert_eq!(reading.status, Status::Read);
            points += reading.points_kept;
        });
    }
    Ok(points)
}

fn list(folder: &Path) -> std::io::Result<Vec<InputPath>> {
    find_inputs(folder).map_err(std::io::Error::other)
}

fn timed(work: impl FnOnce() -> std::io::Result<usize>) -> std::io::Result<Duration> {
    let start = Instant::now();
    black_box(work()?);
    Ok(start.elapsed())
}

fn median_ms(mut rounds: Vec<Duration>) -> f64 {
    rounds.sort_unstable();
    rounds[rounds.len() / 2].as_secs_f64() * 1e3
}
