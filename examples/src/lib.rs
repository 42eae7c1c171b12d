//! What the example programs share: reading and writing recordings, the demo voices, delivery and the report.

pub mod report;
