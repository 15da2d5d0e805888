//! Numbers that decide something, declared once: name, value, unit, limits, meaning, and where the value comes from.
//!
//! [`settings!`](crate::settings) makes a struct of a declaration. What reads and writes settings (a file that people
//! write, the record of an audit) goes by [`SettingGroup`] and never by the fields.

/// One number of the settings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    /// Key in a settings file.
    pub name: &'static str,
    /// Value unless changed.
    pub value: f64,
    /// Unit; empty for none.
    pub unit: &'static str,
    /// Smallest value that is taken.
    pub lowest: f64,
    /// Largest value that is taken.
    pub highest: f64,
    /// What it decides.
    pub meaning: &'static str,
    /// Where the value comes from.
    pub basis: &'static str,
    /// Whether only whole numbers are taken.
    pub is_whole: bool,
}

/// A group of settings, by name.
pub trait SettingGroup {
    /// Every number of the group, in order.
    fn all(&self) -> &'static [Setting];

    /// The value of a setting; `None` for a name that the group does not have.
    fn get(&self, name: &str) -> Option<f64>;

    /// Changes a setting; whether the group has it. Limits are the caller's to keep.
    fn set(&mut self, name: &str, value: f64) -> bool;
}

/// A kind of number that a setting may be.
pub trait SettingNumber: Copy {
    /// Whether it holds whole numbers only.
    const IS_WHOLE: bool;
    /// The number of a value.
    fn of(value: f64) -> Self;
    /// Its value.
    fn value(self) -> f64;
}

macro_rules! numbers {
    ($($kind:ty, $is_whole:literal;)+) => {
        $(impl SettingNumber for $kind {
            const IS_WHOLE: bool = $is_whole;
            fn of(value: f64) -> Self {
                value as $kind
            }
            fn value(self) -> f64 {
                self as f64
            }
        })+
    };
}

numbers! {
    f64, false;
    u32, true;
    u64, true;
    i64, true;
    usize, true;
}

/// Declares a group of settings as a struct whose `Default` are the values given. Fields that something else than a
/// settings file decides stand last, under `not settings`.
///
/// ```
/// use boutwise_track::{SettingGroup, settings};
///
/// settings! {
///     /// When to stop.
///     Patience {
///         /// Longest wait.
///         longest_wait_s: f64 = 30.0, "s", 1..600, "own choice";
///     }
/// }
/// let mut patience = Patience::default();
/// assert!(patience.set("longest_wait_s", 45.0));
/// assert_eq!((patience.longest_wait_s, Patience::ALL[0].unit), (45.0, "s"));
/// ```
#[macro_export]
macro_rules! settings {
    ($(#[$about:meta])* $group:ident {
        $($(#[doc = $meaning:literal])+ $field:ident: $kind:ty = $value:expr, $unit:literal, $lowest:literal..$highest:literal, $basis:literal;)+
        $(not settings {
            $($(#[$other_about:meta])+ $other:ident: $other_kind:ty = $other_value:expr;)+
        })?
    }) => {
        $(#[$about])*
        #[derive(Clone, Copy, Debug, PartialEq)]
        pub struct $group {
            $($(#[doc = $meaning])+ #[doc = concat!("\n\nUnit: ", $unit, ". Basis: ", $basis, ".")] pub $field: $kind,)+
            $($($(#[$other_about])+ pub $other: $other_kind,)+)?
        }

        impl Default for $group {
            fn default() -> Self {
                Self { $($field: $value as $kind,)+ $($($other: $other_value,)+)? }
            }
        }

        impl $group {
            /// Every number of the group, in order.
            pub const ALL: &'static [$crate::Setting] = &[$($crate::Setting {
                name: stringify!($field),
                value: $value as f64,
                unit: $unit,
                lowest: $lowest as f64,
                highest: $highest as f64,
                meaning: concat!($($meaning),+),
                basis: $basis,
                is_whole: <$kind as $crate::SettingNumber>::IS_WHOLE,
            },)+];
        }

        impl $crate::SettingGroup for $group {
            fn all(&self) -> &'static [$crate::Setting] {
                Self::ALL
            }

            fn get(&self, name: &str) -> Option<f64> {
                match name {
                    $(stringify!($field) => Some($crate::SettingNumber::value(self.$field)),)+
                    _ => None,
                }
            }

            fn set(&mut self, name: &str, value: f64) -> bool {
                match name {
                    $(stringify!($field) => self.$field = $crate::SettingNumber::of(value),)+
                    _ => return false,
                }
                true
            }
        }
    };
}
