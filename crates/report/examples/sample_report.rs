//! Writes the report and the tables of an invented squad, to look at and for the browser tests.
//!
//! `cargo run -p boutwise-report --example sample_report -- OUT [small | hostile | large] [ATHLETES SESSIONS]`

use std::error::Error;
use std::time::Instant;

use boutwise_report::{CarriedColumns, Formats, NewFolder, ReportSettings, write_result};

#[path = "../tests/sample/mod.rs"]
mod sample;

fn main() -> std::result::Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let out = arguments.next().ok_or("the first argument is the folder to write")?;
    let squad = match arguments.next().as_deref() {
        None | Some("small") => sample::Squad::small(),
        Some("hostile") => sample::Squad::new(&sample::hostile_names(), 10),
        Some("large") => {
            let mut number = |default| arguments.next().map_or(Ok(default), |text| text.parse());
            let (athletes, sessions) = (number(100)?, number(60)?);
            let names: Vec<_> =
                (1..=athletes).map(|n| format!("{} {n}", sample::NAMES[n % sample::NAMES.len()])).collect();
            sample::Squad::new(&names, sessions as u64)
        }
        Some(other) => return Err(format!("no squad is called {other}").into()),
    };
    let title = "Harbour <beginners> & friends";
    let started = Instant::now();
    let folder = NewFolder::begin(out.as_ref())?;
    let (settings, carried) = (ReportSettings::default(), CarriedColumns::default());
    write_result(&folder, &squad.report(title), Formats::default(), &carried, Some(settings), "")?;
    let files = folder.digests();
    folder.put_in_place()?;
    let pages = files.keys().filter(|name| name.ends_with(".html")).count();
    println!("{} files, {pages} pages, in {:.2} s", files.len(), started.elapsed().as_secs_f64());
    Ok(())
}
