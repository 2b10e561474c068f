//! Findings: what the report says, as data. The JSON report is this, serialised.

mod report;

pub use report::*;
