//! Tests of the whole: the command on files, as a coach runs it.

mod again;
mod agreement;
mod bad_input;
mod carry;
mod command;
mod csv_for;
mod demo_squad;
mod group_sheet;
mod hostile_names;
mod open_recordings;
mod output;
mod owners;
mod privacy;
mod pseudonyms;
mod same_but_for_names;
mod same_result;
mod trial;
mod which_day;
