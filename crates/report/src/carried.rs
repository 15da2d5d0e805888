//! Columns that somebody keeps in the squad file and wants beside every session: a trial's arm, a site.

use std::fmt;
use std::sync::Arc;

use crate::column::{Column, Holds, Unit};
use crate::tables::DECLARED;

/// Names of the columns of the squad file that are carried, as text, behind the own columns of the tables that have a row for
/// each athlete, session or planned session.
///
/// ```
/// use boutwise_report::CarriedColumns;
///
/// let carried = CarriedColumns::new(["arm", "site"]).expect("names that no table has");
/// assert_eq!(carried.names(), ["arm", "site"]);
/// assert!(CarriedColumns::new(["plan"]).is_err());
/// ```
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CarriedColumns(Vec<String>);

/// An athlete's cells of the columns that are carried, in their order; `None` where the squad file has nothing. Empty where
/// no column is carried.
pub type CarriedCells = Arc<[Option<String>]>;

impl CarriedColumns {
    /// Takes names, without the spaces around them.
    ///
    /// # Errors
    /// The first name that is empty, stands twice, or is that of a column which a table has already; capital letters are no
    /// difference.
    pub fn new<N: AsRef<str>>(names: impl IntoIterator<Item = N>) -> Result<Self, CannotBeCarried> {
        let mut taken = Self::default();
        for name in names {
            let name = name.as_ref().trim();
            let same = |other: &str| other.to_lowercase() == name.to_lowercase();
            let why = if name.is_empty() {
                Some("a name is empty".to_owned())
            } else if taken.0.iter().any(|other| same(other)) {
                Some(format!("\"{name}\" stands twice"))
            } else {
                let tables = DECLARED.iter().filter(|table| table.carries);
                let has = |table: &&crate::Declared| table.columns.iter().any(|column| same(column.name));
                tables.into_iter().find(has).map(|table| {
                    format!(
                        "\"{name}\" is a column of the table {} already: call yours something else",
                        table.name
                    )
                })
            };
            match why {
                Some(why) => return Err(CannotBeCarried(why)),
                None => taken.0.push(name.to_owned()),
            }
        }
        Ok(taken)
    }

    /// The names, in the order in which they were given.
    pub fn names(&self) -> &[String] {
        &self.0
    }

    /// The cells of somebody of whom the squad file says nothing.
    pub fn nothing(&self) -> CarriedCells {
        self.0.iter().map(|_| None).collect()
    }

    /// The columns behind those of a table; none where it carries none.
    pub(crate) fn behind(&self, carries: bool) -> impl Iterator<Item = Column<'_>> {
        let names = if carries { self.0.as_slice() } else { &[] };
        names.iter().map(|name| Column {
            name,
            holds: Holds::Text,
            optional: true,
            unit: Unit::None,
            meaning: "Carried from the column of this name in the squad file, as it stands there",
            source: "squad file",
            empty: "the squad file has no row of the athlete, or an empty cell",
            words: &[],
        })
    }
}

/// Why columns cannot be carried.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CannotBeCarried(String);

impl fmt::Display for CannotBeCarried {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.0)
    }
}

impl std::error::Error for CannotBeCarried {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_that_a_table_has_or_that_stands_twice_is_refused_and_named() {
        let refused = |names: &[&str]| CarriedColumns::new(names).unwrap_err().to_string();
        assert!(refused(&["arm", "Plan"]).contains("\"Plan\" is a column of the table sessions"));
        assert!(refused(&["days_late"]).contains("planned"));
        assert!(refused(&["goal_m"]).contains("athletes"));
        assert!(refused(&["arm", "ARM"]).contains("\"ARM\" stands twice"));
        assert!(refused(&["arm", " "]).contains("empty"));
        // A column of a table that carries none stands in nobody's way.
        assert!(CarriedColumns::new(["week"]).is_ok());
    }
}
