//! Room: report.
