//! What is stated of recordings as real ones are, whose positions drift in a stop and freeze in a walk.

use boutwise_bouts::{Kind, SegmentSettings, segment};
use boutwise_truth::{Sensors, SessionSettings, SyntheticSession};

#[test]
fn no_stand_is_stated_by_positions_alone_that_is_likelier_none() {
    let drawn = SessionSettings::as_recorded();
    let sensors = Sensors { cadence: false, ..drawn.sensors };
    let drawn = drawn.with_sensors(sensors);
    let mut stands = 0;
    for seed in 0..60 {
        let session = SyntheticSession::draw(seed, &drawn);
        let found = segment(&session.recording, &SegmentSettings::default());
        for stand in found.bouts.iter().filter(|bout| bout.kind == Kind::Stand) {
            stands += 1;
            assert!(stand.confidence >= 0.5, "seed {seed}: {stand:?}");
        }
    }
    assert!(stands > 30, "{stands}");
}
