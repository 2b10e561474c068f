//! A call into the sound system with its chatter kept off the terminal.
//!
//! ALSA's library writes lines to standard error, from C, whenever a device cannot be opened. Our own
//! error says what happened, so standard error points nowhere during such a call. That holds for the
//! whole process: a line that another thread writes in these milliseconds is lost too.

/// Calls `call` with standard error pointing nowhere, where the system allows that.
#[cfg(unix)]
pub(crate) fn with_quiet_stderr<R>(call: impl FnOnce() -> R) -> R {
    let saved = rustix::io::dup(rustix::stdio::stderr());
    let nowhere = std::fs::OpenOptions::new().write(true).open("/dev/null");
    let quiet = match (&saved, &nowhere) {
        (Ok(_), Ok(nowhere)) => rustix::stdio::dup2_stderr(nowhere).is_ok(),
        _ => false,
    };
    let result = call();
    if let (true, Ok(saved)) = (quiet, &saved) {
        // Nothing can be said about a failure here: there is nowhere to say it.
        let _ = rustix::stdio::dup2_stderr(saved);
    }
    result
}

/// Calls `call`; elsewhere the sound systems are silent by themselves.
#[cfg(not(unix))]
pub(crate) fn with_quiet_stderr<R>(call: impl FnOnce() -> R) -> R {
    call()
}
