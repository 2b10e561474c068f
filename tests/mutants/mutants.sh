#!/usr/bin/env bash
# Mutation testing, from anywhere:
#   tests/mutants/mutants.sh [--every N] [ROOM...]
# Tries every mutant of align, findings, rules and notation (one of N with --every) and prints survivors.
# Needs `cargo install cargo-mutants --locked`. Results are kept in target/mutants.
set -euo pipefail
cd "$(dirname "$0")/../.."
CARGO_TARGET_DIR=target/mutants/tool exec \
  cargo run --release --quiet --manifest-path tests/mutants/Cargo.toml -- "$@"
