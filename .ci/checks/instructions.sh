#!/usr/bin/env bash
# Counts the instructions of parse, chain and the whole against benches/instructions.txt; more than 3 % over fails.
# The plain level is asked for, so that the count does not depend on the processor. `--write` stores new counts.
set -euo pipefail
cd "$(dirname "$0")/../.."

if ! command -v valgrind >/dev/null; then
    apt-get update -q
    apt-get install -qy valgrind
fi
cargo build --release --no-default-features --example count --quiet
count="${CARGO_TARGET_DIR:-target}/release/examples/count"
stored=benches/instructions.txt
scratch="$(mktemp -d)"
trap 'rm -rf "$scratch"' EXIT

total() {
    YEARLIGHT_LEVEL=plain valgrind --tool=callgrind --callgrind-out-file="$scratch/out" "$count" "$1" "$2" 2>&1 |
        sed -n 's/.*Collected : \([0-9]*\).*/\1/p'
}

# Two runs less one, so that start-up and preparation fall out.
per_run() {
    local few many
    few="$(total "$1" 1)"
    many="$(total "$1" 5)"
    echo $(((many - few) / 4))
}

failed=0
written=""
for part in parse sun sky plane option chain all; do
    now="$(per_run "$part")"
    written+="$part $now"$'\n'
    if [ "${1:-}" != --write ]; then
        before="$(sed -n "s/^$part \([0-9]*\)$/\1/p" "$stored")"
        [ -n "$before" ] || { echo "$stored has no line for $part"; exit 1; }
        echo "$part $now instructions, stored $before"
        if [ $((now * 100)) -gt $((before * 103)) ]; then
            echo "$part: more than 3 % over the stored count; make it faster, or store the new count with --write and say why"
            failed=1
        fi
    fi
done
if [ "${1:-}" = --write ]; then
    {
        echo "# Instructions of one run of each part of examples/count.rs at the plain level (valgrind callgrind)."
        printf '%s' "$written"
    } >"$stored"
    cat "$stored"
fi
exit "$failed"
