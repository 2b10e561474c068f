#!/usr/bin/env bash
# Fuzzes one reader, or makes its corpus small again. From anywhere:
#   tests/fuzz/fuzz.sh run TARGET [SECONDS]    what is found goes to tests/fuzz/artifacts/TARGET
#   tests/fuzz/fuzz.sh minimise TARGET         the corpus becomes the fewest inputs of the same coverage
# Needs the nightly toolchain and `cargo install cargo-fuzz --locked`.
set -euo pipefail
cd "$(dirname "$0")/../.."
if [ $# -lt 2 ]; then sed -n '2,5s/^# //p' "$0"; exit 2; fi
what=$1 target=$2 seconds=${3:-1230}
case $target in
  audio) longest=16384 ;;
  musicxml | kept_files) longest=8192 ;;
  *) longest=4096 ;;
esac
export CARGO_TARGET_DIR=target/fuzz
fuzz=(cargo +nightly fuzz)
flags=(-max_len="$longest" -rss_limit_mb=2048 -timeout=20)
dictionary=tests/fuzz/dictionaries/$target.dict
corpus=tests/fuzz/corpus/$target
case $what in
  run)
    if [ -f "$dictionary" ]; then flags+=(-dict="$dictionary"); fi
    # What is new goes beside the committed corpus, until it is minimised.
    mkdir -p "target/fuzz/grown/$target"
    "${fuzz[@]}" run --fuzz-dir tests/fuzz "$target" "target/fuzz/grown/$target" "$corpus" -- \
      "${flags[@]}" -max_total_time="$seconds" -print_final_stats=1
    ;;
  minimise)
    if [ -d "target/fuzz/grown/$target" ]; then cp -n "target/fuzz/grown/$target/"* "$corpus/"; fi
    "${fuzz[@]}" cmin --fuzz-dir tests/fuzz "$target" "$corpus" -- "${flags[@]}" -use_counters=0
    du -sh --apparent-size "$corpus"
    ;;
  *) sed -n '2,5s/^# //p' "$0"; exit 2 ;;
esac
