//! A panic inside somebody else's reader becomes an answer: the file is damaged, the program goes on.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};

thread_local! {
    /// How many calls of [`contained`] this thread is in.
    static DEPTH: Cell<u32> = const { Cell::new(0) };
}

/// What `read` returns; `None` where it panicked.
///
/// `read` must leave nothing half-changed behind that is looked at afterwards. An abort (memory that cannot be
/// had, a panic while panicking) is not contained.
pub fn contained<T>(read: impl FnOnce() -> T) -> Option<T> {
    DEPTH.set(DEPTH.get() + 1);
    let result = panic::catch_unwind(AssertUnwindSafe(read));
    DEPTH.set(DEPTH.get() - 1);
    result.ok()
}

/// From now on, and for the whole program, a contained panic prints nothing: who called says what it means. Every
/// other panic prints as it did before.
pub fn silence_contained_panics() {
    let usual = panic::take_hook();
    panic::set_hook(Box::new(move |info| {
        if DEPTH.get() == 0 {
            usual(info);
        }
    }));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_becomes_nothing_and_a_value_stays() {
        assert_eq!(contained(|| 7), Some(7));
        assert_eq!(contained(|| -> i32 { panic!("an assertion of a library") }), None);
        assert_eq!(DEPTH.get(), 0, "a panic outside is told again");
    }

    #[test]
    fn one_inside_another_is_counted() {
        let inner = contained(|| {
            let inner = contained(|| -> i32 { panic!("inside") });
            (inner, DEPTH.get())
        });
        assert_eq!(inner, Some((None, 1)));
    }
}
