//! The fixed words of the tables: status of a file, status of an interval, proposal.

use std::borrow::Cow;

use crate::column::{Cell, Field, Holds};

macro_rules! words {
    ($(#[$attribute:meta])* $name:ident { $($(#[$doc:meta])* $variant:ident = $word:literal,)+ }) => {
        $(#[$attribute])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum $name {
            $($(#[$doc])* $variant,)+
        }

        impl $name {
            /// All of them, in order.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// The word as it stands in the tables.
            pub fn word(self) -> &'static str {
                match self {
                    $(Self::$variant => $word,)+
                }
            }
        }

        impl Field for $name {
            const HOLDS: Holds = Holds::Text;
            fn cell(&self) -> Cell<'_> {
                Cell::Text(Cow::Borrowed(self.word()))
            }
        }
    };
}

words! {
    /// What became of an input file.
    FileStatus {
        /// Read as a whole.
        Read = "read",
        /// Read in part; the notes say what is missing.
        Partial = "partial",
        /// Nothing could be read; the notes say why.
        Failed = "failed",
        /// Not a recording.
        Ignored = "ignored",
        /// The same session as in another file, which the notes name.
        Duplicate = "duplicate",
    }
}

words! {
    /// What became of a planned interval.
    IntervalStatus {
        /// In full.
        Done = "done",
        /// Less than asked.
        Short = "short",
        /// In full and clearly more than asked.
        Long = "long",
        /// Nothing of it.
        Missed = "missed",
        /// A run that no planned rep asked for.
        Extra = "extra",
    }
}

words! {
    /// What the figures suggest; the coach decides.
    Proposal {
        /// Go on with the plan as written.
        Advance = "advance",
        /// Repeat the block.
        Hold = "hold",
        /// Go back a block; on the first, shorter.
        Ease = "ease",
        /// A warning sign was noted: no running.
        Stop = "stop",
    }
}
