//! Files to time the command on.

use std::io;
use std::path::Path;

use boutwise_truth::Random;
use boutwise_truth::files::FileFormat;
use boutwise_truth::squad::{BeginnersPlan, Gear, Rhythm, Squad, SquadSettings};
use rayon::prelude::*;

/// Athletes, and recordings of each.
const SIZE: (u64, usize) = (100, 60);
const SEED: u64 = 8_000_000;

/// Writes `plan.toml` and `recordings/ATHLETE/*`, 60 recordings for each of 100 athletes.
pub(crate) fn write(folder: &Path) -> io::Result<()> {
    let settings = SquadSettings {
        athletes: 1,
        weeks: 12,
        plan: BeginnersPlan::draw(Rhythm::TuesdayThursdaySunday, &mut Random::new(SEED)),
        gear: vec![Gear::watch(FileFormat::Gpx, true), Gear::watch(FileFormat::Tcx, false)],
        missed_share: 0.0,
        break_share: 0.0,
        late_start_share: 0.0,
        between_walk_share: 1.0,
        ..SquadSettings::default()
    };
    std::fs::create_dir_all(folder)?;
    std::fs::write(folder.join("plan.toml"), settings.plan.toml())?;
    (0..SIZE.0).into_par_iter().try_for_each(|number| {
        let mut squad = Squad::draw(SEED + number, &settings);
        let athlete = &mut squad.athletes[0];
        athlete.name = format!("runner-{number:03}");
        athlete.outings.truncate(SIZE.1);
        for file in squad.recorded()?.into_iter().flat_map(|recorded| recorded.files) {
            let path = folder.join("recordings").join(file.path);
            if let Some(parent) = path.parent() {
                std::fs::create_dir_all(parent)?;
            }
            std::fs::write(path, file.bytes)?;
        }
        Ok(())
    })
}
