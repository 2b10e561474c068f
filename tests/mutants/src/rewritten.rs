//! A file with its mutants behind switches.
use std::{collections::HashMap, ops::Range};

use anyhow::{Context, Result};
use proc_macro2::LineColumn;
use syn::{spanned::Spanned, visit::Visit};

use crate::{Mutant, Place};

/// A change of the text that leaves its meaning as it was while no switch is on.
#[derive(Debug)]
struct Change {
    /// What it stands for, in bytes of the original.
    range: Range<usize>,
    /// The mutants in it.
    numbers: Vec<usize>,
    kind: Kind,
}

#[derive(Debug)]
enum Kind {
    /// `left operator right`; for each mutant its operator.
    Binary { left: Range<usize>, operator: String, right: Range<usize>, instead: Vec<String> },
    /// An operator before its operand.
    Unary { operator: String, operand: Range<usize> },
    /// The guard of an arm of `match`, if it has one: the mutant that deletes the arm, those that
    /// replace the guard.
    Guard { guard: Option<Range<usize>>, deleted: Option<usize>, instead: Vec<(usize, String)> },
    /// The beginning of a function: what it returns at once.
    Body { values: Vec<String> },
}

/// The text of a file with switches, and which mutants are where in it.
pub struct Rewritten {
    /// The text.
    pub text: String,
    /// Stretches of the new text in bytes, each with its mutants; the inner ones come first.
    pub stretches: Vec<(Range<usize>, Vec<usize>)>,
}

/// `text` with those of its `mutants` (by number) that can be put behind a switch.
pub fn rewritten(text: &str, mutants: &[(usize, &Mutant)]) -> Result<Rewritten> {
    let file = syn::parse_file(text).context("not Rust")?;
    let mut wanted: HashMap<(&str, Place), Vec<(usize, &Mutant)>> = HashMap::new();
    for (number, mutant) in mutants {
        let genre = mutant.genre.as_str();
        wanted.entry((genre, mutant.span.start)).or_default().push((*number, mutant));
    }
    let mut finder = Finder { text, wanted, changes: Vec::new() };
    finder.visit_file(&file);
    let mut changes = finder.changes;
    // What is put in comes before what begins there; outer before inner.
    changes
        .sort_by_key(|Change { range, .. }| (range.start, !range.is_empty(), std::cmp::Reverse(range.end)));
    let mut stretches = Vec::new();
    let text = written(text, 0..text.len(), &changes, 0, &mut stretches);
    Ok(Rewritten { text, stretches })
}

/// The original in `range`, with its changes; `at` is where it begins in what is written.
fn written(
    text: &str,
    range: Range<usize>,
    changes: &[Change],
    at: usize,
    stretches: &mut Vec<(Range<usize>, Vec<usize>)>,
) -> String {
    let mut out = String::new();
    let mut place = range.start;
    for (index, change) in changes.iter().enumerate() {
        if change.range.start < place || change.range.end > range.end {
            continue;
        }
        out.push_str(&text[place..change.range.start]);
        let begins = at + out.len();
        out.push_str(&switched(text, change, &changes[index + 1..], begins, stretches));
        stretches.push((begins..at + out.len(), change.numbers.clone()));
        place = change.range.end;
    }
    out.push_str(&text[place..range.end]);
    out
}

/// One change as text.
fn switched(
    text: &str,
    change: &Change,
    inner: &[Change],
    at: usize,
    stretches: &mut Vec<(Range<usize>, Vec<usize>)>,
) -> String {
    let on = |number: usize| format!("crate::switched::on({number})");
    let mut out = String::new();
    match &change.kind {
        Kind::Binary { left, operator, right, instead } => {
            let op = operator.as_str();
            let branches = |l: &str, r: &str| {
                let mut branches = String::new();
                for (number, other) in change.numbers.iter().zip(instead) {
                    branches += &format!("if {} {{ {l} {other} {r} }} else ", on(*number));
                }
                branches + &format!("{{ {l} {op} {r} }}")
            };
            if op == "&&" || op == "||" {
                let number = on(change.numbers[0]);
                let not = if op == "||" { "!" } else { "" };
                out += "(if ";
                out += &written(text, left.clone(), inner, at + out.len(), stretches);
                out += &format!(" {{ {not}{number} || (");
                let again = written(text, right.clone(), inner, at + out.len(), stretches);
                out += &format!("{again}) }} else {{ {not}{number} && ({again}) }})");
            } else if op.ends_with('=') && !matches!(op, "==" | "!=" | "<=" | ">=") {
                out += "{ let switched_right = ";
                out += &written(text, right.clone(), inner, at + out.len(), stretches);
                out += "; ";
                out += &branches(&text[left.clone()], "switched_right");
                out += " }";
            } else {
                let compared = matches!(op, "==" | "!=" | "<" | "<=" | ">" | ">=");
                let (open, close) = if compared { ("&(", ")") } else { ("", "") };
                out += &format!("(match ({open}");
                out += &written(text, left.clone(), inner, at + out.len(), stretches);
                out += &format!("{close}, {open}");
                out += &written(text, right.clone(), inner, at + out.len(), stretches);
                out += &format!("{close}) {{ (l, r) => {} }})", branches("l", "r"));
            }
        }
        Kind::Unary { operator, operand } => {
            let number = on(change.numbers[0]);
            out += "(match ";
            out += &written(text, operand.clone(), inner, at + out.len(), stretches);
            out += &format!(" {{ v => if {number} {{ v }} else {{ {operator}v }} }})");
        }
        Kind::Guard { guard, deleted, instead } => {
            out += if guard.is_some() { "" } else { " if " };
            if let Some(number) = deleted {
                out += &format!("!{}", on(*number));
                out += if guard.is_some() { " && " } else { "" };
            }
            if let Some(guard) = guard {
                out += "(";
                for (number, value) in instead {
                    out += &format!("if {} {{ {value} }} else ", on(*number));
                }
                out += if instead.is_empty() { "" } else { "{ " };
                out += &written(text, guard.clone(), inner, at + out.len(), stretches);
                out += if instead.is_empty() { ")" } else { " })" };
            }
            out += if guard.is_some() { "" } else { " " };
        }
        Kind::Body { values } => {
            for (number, value) in change.numbers.iter().zip(values) {
                out += &format!("if {} {{ return {value}; }} ", on(*number));
            }
        }
    }
    out
}

/// Finds the places of mutants in the tree.
struct Finder<'a> {
    text: &'a str,
    wanted: HashMap<(&'a str, Place), Vec<(usize, &'a Mutant)>>,
    changes: Vec<Change>,
}

impl<'a> Finder<'a> {
    fn at(&mut self, genre: &'static str, place: LineColumn) -> Vec<(usize, &'a Mutant)> {
        let place = Place { line: place.line, column: place.column + 1 };
        self.wanted.remove(&(genre, place)).unwrap_or_default()
    }

    fn body(&mut self, signature: &syn::Signature, block: &syn::Block) {
        let Some(first) = block.stmts.first() else { return };
        let found = self.at("FnValue", first.span().start());
        if found.is_empty() || signature.constness.is_some() {
            return;
        }
        let place = first.span().byte_range().start;
        let (numbers, values) =
            found.iter().map(|(number, mutant)| (*number, mutant.replacement.clone())).unzip();
        self.changes.push(Change { range: place..place, numbers, kind: Kind::Body { values } });
    }
}

/// Whether a condition binds with `let`.
fn binds(expr: &syn::Expr) -> bool {
    match expr {
        syn::Expr::Let(_) => true,
        syn::Expr::Binary(binary) => binds(&binary.left) || binds(&binary.right),
        _ => false,
    }
}

impl<'ast> Visit<'ast> for Finder<'_> {
    // Constants are made before any switch.
    fn visit_item_const(&mut self, _: &'ast syn::ItemConst) {}
    fn visit_impl_item_const(&mut self, _: &'ast syn::ImplItemConst) {}
    fn visit_item_static(&mut self, _: &'ast syn::ItemStatic) {}

    fn visit_item_fn(&mut self, item: &'ast syn::ItemFn) {
        self.body(&item.sig, &item.block);
        if item.sig.constness.is_none() {
            syn::visit::visit_item_fn(self, item);
        }
    }

    fn visit_impl_item_fn(&mut self, item: &'ast syn::ImplItemFn) {
        self.body(&item.sig, &item.block);
        if item.sig.constness.is_none() {
            syn::visit::visit_impl_item_fn(self, item);
        }
    }

    fn visit_expr_binary(&mut self, binary: &'ast syn::ExprBinary) {
        let found = self.at("BinaryOperator", binary.op.span().start());
        let lets = binds(&binary.left) || binds(&binary.right);
        if !found.is_empty() && !lets {
            let operator = self.text[binary.op.span().byte_range()].to_owned();
            let (numbers, instead) =
                found.iter().map(|(number, mutant)| (*number, mutant.replacement.clone())).unzip();
            self.changes.push(Change {
                range: binary.span().byte_range(),
                numbers,
                kind: Kind::Binary {
                    left: binary.left.span().byte_range(),
                    operator,
                    right: binary.right.span().byte_range(),
                    instead,
                },
            });
        }
        syn::visit::visit_expr_binary(self, binary);
    }

    fn visit_expr_unary(&mut self, unary: &'ast syn::ExprUnary) {
        let found = self.at("UnaryOperator", unary.op.span().start());
        if let Some((number, _)) = found.first() {
            self.changes.push(Change {
                range: unary.span().byte_range(),
                numbers: vec![*number],
                kind: Kind::Unary {
                    operator: self.text[unary.op.span().byte_range()].to_owned(),
                    operand: unary.expr.span().byte_range(),
                },
            });
        }
        syn::visit::visit_expr_unary(self, unary);
    }

    fn visit_arm(&mut self, arm: &'ast syn::Arm) {
        let deleted = self.at("MatchArm", arm.span().start()).first().map(|(number, _)| *number);
        let guard = arm.guard.as_ref().map(|(_, guard)| guard);
        let instead: Vec<(usize, String)> = guard.map_or(Vec::new(), |guard| {
            let found = self.at("MatchArmGuard", guard.span().start());
            found.iter().map(|(number, mutant)| (*number, mutant.replacement.clone())).collect()
        });
        let numbers: Vec<usize> =
            deleted.into_iter().chain(instead.iter().map(|(number, _)| *number)).collect();
        if !numbers.is_empty() && !guard.is_some_and(|guard| binds(guard)) {
            let arrow = arm.fat_arrow_token.span().byte_range().start;
            let guard = guard.map(|guard| guard.span().byte_range());
            self.changes.push(Change {
                range: guard.clone().unwrap_or(arrow..arrow),
                numbers,
                kind: Kind::Guard { guard, deleted, instead },
            });
        }
        syn::visit::visit_arm(self, arm);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Span;

    fn mutant(genre: &str, line: usize, column: usize, replacement: &str) -> Mutant {
        Mutant {
            file: "src/align/cost.rs".into(),
            genre: genre.to_owned(),
            name: String::new(),
            replacement: replacement.to_owned(),
            span: Span { start: Place { line, column } },
        }
    }

    fn text_of(text: &str, mutants: &[Mutant]) -> String {
        let numbered: Vec<(usize, &Mutant)> = mutants.iter().enumerate().collect();
        rewritten(text, &numbered).unwrap().text
    }

    #[test]
    fn a_file_without_mutants_stays_as_it_is() {
        let text = "fn f(a: i32) -> i32 {\n    // A remark.\n    a + 1\n}\n";
        assert_eq!(text_of(text, &[]), text);
    }

    #[test]
    fn an_operand_is_evaluated_once_and_holds_its_own_mutants() {
        let text = "fn f(a: i32) -> i32 {\n    a + a * 2\n}\n";
        let mutants = [mutant("BinaryOperator", 2, 7, "-"), mutant("BinaryOperator", 2, 11, "/")];
        let inner = "(match (a, 2) { (l, r) => if crate::switched::on(1) { l / r } else { l * r } })";
        let outer = format!(
            "(match (a, {inner}) {{ (l, r) => if crate::switched::on(0) {{ l - r }} else {{ l + r }} }})"
        );
        assert_eq!(text_of(text, &mutants), format!("fn f(a: i32) -> i32 {{\n    {outer}\n}}\n"));
    }

    #[test]
    fn the_right_side_of_and_is_evaluated_only_where_it_was() {
        let text = "fn f(a: bool, b: bool) -> bool {\n    a && b\n}\n";
        let said = text_of(text, &[mutant("BinaryOperator", 2, 7, "||")]);
        assert!(
            said.contains("(if a { crate::switched::on(0) || (b) } else { crate::switched::on(0) && (b) })"),
            "{said}"
        );
    }

    #[test]
    fn what_begins_a_function_and_a_body_that_returns_at_once_both_stand() {
        let text = "fn f(a: i32) -> i32 {\n    a + 1\n}\n";
        let mutants = [mutant("FnValue", 2, 5, "0"), mutant("BinaryOperator", 2, 7, "-")];
        let said = text_of(text, &mutants);
        assert!(said.contains("{\n    if crate::switched::on(0) { return 0; } (match (a, 1)"), "{said}");
    }

    #[test]
    fn a_deleted_arm_is_one_that_never_matches() {
        let text = "fn f(a: i32) -> i32 {\n    match a {\n        1 => 2,\n        2 if a > 0 => 3,\n        _ => 0,\n    }\n}\n";
        let said = text_of(text, &[mutant("MatchArm", 3, 9, ""), mutant("MatchArmGuard", 4, 14, "true")]);
        assert!(said.contains("1  if !crate::switched::on(0) => 2"), "{said}");
        assert!(said.contains("2 if (if crate::switched::on(1) { true } else { a > 0 }) => 3"), "{said}");
    }

    #[test]
    fn constants_and_conditions_that_bind_are_left_alone() {
        let text = "const A: i32 = 1 + 1;\nfn f(a: Option<i32>) -> bool {\n    if let Some(b) = a && b == 1 {\n        return true;\n    }\n    false\n}\n";
        let mutants = [mutant("BinaryOperator", 1, 18, "-"), mutant("BinaryOperator", 3, 24, "||")];
        assert_eq!(text_of(text, &mutants), text);
    }
}
