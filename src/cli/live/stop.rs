//! What ends a session from outside.

use crate::cli::shared::failure::Failure;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// A flag that Ctrl-C, or a closed terminal, sets.
pub fn stop_on_ctrl_c() -> miette::Result<Arc<AtomicBool>> {
    let stop = Arc::new(AtomicBool::new(false));
    let flag = Arc::clone(&stop);
    ctrlc::set_handler(move || flag.store(true, Ordering::Relaxed)).map_err(|error| {
        Failure::new(
            format!("Ctrl-C cannot be caught: {error}"),
            "start the command from a terminal of its own",
        )
    })?;
    Ok(stop)
}
