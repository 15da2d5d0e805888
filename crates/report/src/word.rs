//! The fixed words of the tables, which the crates before this one define.

use std::borrow::Cow;

use boutwise_bouts::{EventKind, Gait, IntervalStatus, Kind};
use boutwise_season::Verdict;
use boutwise_track::Status;

use crate::column::{Cell, Field, Holds};

macro_rules! words {
    ($($name:ident),+) => {
        $(impl Field for $name {
            const HOLDS: Holds = Holds::Text;
            fn cell(&self) -> Cell<'_> {
                Cell::Text(Cow::Borrowed(self.word()))
            }
        })+
    };
}

words!(EventKind, Gait, IntervalStatus, Kind, Status, Verdict);
