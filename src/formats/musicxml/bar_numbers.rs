//! The numbers of the bars, as printed; bars that the file gives none.
//!
//! A short bar without a number of its own (`number="X1" implicit="yes"`) is mostly the other half of one that a repeat
//! sign cuts in two, and shares its number (MusicXML 4.0, element `measure`). A full one is a bar of its own, which gets
//! the next number; if the file has that number for the bar after it, all later numbers move on.

use crate::remark::Remark;

#[derive(Default, Clone, Copy)]
pub(super) struct BarNumbers {
    before: u32,
    /// How many of the last numbers are not the file's own.
    given: u32,
    /// How many numbers later than in the file.
    moved: u32,
}

impl BarNumbers {
    /// The number of the bar that begins at `head`, the `at`-th from 0, and a remark if it is another than in the file;
    /// `is_full` is asked where that decides.
    pub(super) fn next(
        &mut self,
        head: roxmltree::Node,
        at: usize,
        is_full: impl FnOnce() -> bool,
    ) -> (u32, Option<Remark>) {
        let said = head
            .attribute("number")
            .and_then(|number| number.trim().parse().ok())
            .filter(|&number: &u32| number < 1_000_000);
        let implicit = is_implicit(head);
        let next = self.before.saturating_add(1);
        let mut remark = None;
        let number = match said {
            Some(said) => {
                let number = said.saturating_add(self.moved);
                let taken = self.before.saturating_sub(self.given)..self.before;
                if taken.contains(&number.saturating_sub(1)) {
                    self.moved += next - number;
                    let text = format!(
                        "Bar {said} of the file is bar {next} here, and the bars after it move on as well: a bar before \
                         it has no number of its own."
                    );
                    remark = Some(Remark::new("bar-without-number", text));
                    next
                } else {
                    number
                }
            }
            None if at == 0 => u32::from(!implicit),
            None if implicit && !is_full() => self.before,
            None => next,
        };
        self.given = if said.is_none() && at > 0 && number == next { self.given + 1 } else { 0 };
        self.before = number;
        (number, remark)
    }
}

/// Whether no number is printed.
pub(super) fn is_implicit(head: roxmltree::Node) -> bool {
    head.attribute("implicit") == Some("yes")
}
