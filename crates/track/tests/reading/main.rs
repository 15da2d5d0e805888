//! Tests of the reader against samples, open recordings, other libraries and whatever proptest thinks of.

mod generated;
mod inputs_damage;
mod inputs_sampling;
mod inputs_sensors;
mod inputs_structure;
mod inputs_values;
mod layouts;
mod open_recordings;
mod oracles;
mod order;
mod quick_xml_peer;
mod samples;
