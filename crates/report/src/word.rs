//! The fixed words of the tables, which the crates before this one define.

use std::borrow::Cow;

use boutwise_bouts::{Gait, IntervalStatus, Kind};
use boutwise_season::{Verdict, ZoneSource};
use boutwise_track::Status;

use crate::column::{Cell, Field, Holds};

macro_rules! words {
    ($($name:ident: $($word:literal),+;)+) => {
        $(impl Field for $name {
            const HOLDS: Holds = Holds::Text;
            const WORDS: &'static [&'static str] = &[$($word),+];
            fn cell(&self) -> Cell<'_> {
                Cell::Text(Cow::Borrowed(self.word()))
            }
        })+
    };
}

// A writer refuses a word that does not stand here: see the test of written tables.
words! {
    Gait: "run", "walk";
    IntervalStatus: "done", "short", "long", "missed", "not_recorded", "extra";
    Kind: "run", "walk", "stand", "gap";
    Status: "read", "partial", "failed", "ignored", "duplicate";
    Verdict: "advance", "hold", "ease", "stop";
    ZoneSource: "squad", "setting", "recording", "position", "others", "assumed";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_words_listed_are_those_that_are_written() {
        assert_eq!(Status::ALL.map(Status::word)[..], *Status::WORDS);
        assert_eq!(Verdict::ALL.map(Verdict::word)[..], *Verdict::WORDS);
        let kinds = [Kind::Run, Kind::Walk, Kind::Stand, Kind::Gap].map(Kind::word);
        assert_eq!(kinds[..], *Kind::WORDS);
        assert_eq!([Gait::Run, Gait::Walk].map(Gait::word)[..], *Gait::WORDS);
        assert_eq!(ZoneSource::ALL.map(ZoneSource::word)[..], *ZoneSource::WORDS);
        use IntervalStatus::{Done, Extra, Long, Missed, Short};
        let statuses = [Done, Short, Long, Missed, Extra].map(IntervalStatus::word);
        assert!(statuses.iter().all(|word| IntervalStatus::WORDS.contains(word)));
    }
}
