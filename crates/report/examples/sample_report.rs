//! Writes the report and the tables of an invented squad, to look at and for the browser tests.
//!
//! `cargo run -p boutwise-report --example sample_report -- OUT [small | hostile | large] [ATHLETES SESSIONS]`

use std::error::Error;
use std::time::Instant;

use boutwise_report::{NewFolder, ReportSettings, Result, write_report};

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
    folder.tables(&squad.tables)?;
    let tables_written = Instant::now();
    let mut sizes = Vec::new();
    write_report(&squad.report(title), &ReportSettings::default(), |name, text| -> Result<()> {
        sizes.push((text.len(), name.to_owned()));
        folder.write(name, text.as_bytes())
    })?;
    folder.put_in_place()?;
    sizes.sort();
    if let Some((bytes, name)) = sizes.last() {
        println!(
            "{} pages, the largest {name} with {bytes} bytes; tables {:.2} s, report {:.2} s",
            sizes.len(),
            (tables_written - started).as_secs_f64(),
            tables_written.elapsed().as_secs_f64()
        );
    }
    Ok(())
}
