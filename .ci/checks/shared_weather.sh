#!/usr/bin/env bash
# Weighs the demo under every real file beside the project; passes over when there are none.
set -euo pipefail
cd "$(dirname "$0")/../.."
shopt -s nullglob
files=("${YEARLIGHT_SHARED_WEATHER:-../shared/weather}"/*.epw)
if [ "${#files[@]}" -eq 0 ]; then
    echo "no shared weather here: passed over"
    exit 0
fi
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cp configs/merrowby-parts.toml "$work/"
for file in "${files[@]}"; do
    cp "$file" "$work/site.epw"
    cat >"$work/job.toml" <<JOB
title = "$(basename "$file")"
parts = "merrowby-parts.toml"
[weather]
file = "site.epw"
[[plane]]
name = "roof"
tilt_deg = 25
azimuth_deg = 180
[[option]]
tag = "A"
module = "P410"
inverter = "K33"
target_kw = 40
[[option]]
tag = "B"
module = "N445"
inverter = "K33"
target_kw = 40
[strings]
t_cold_c = -30
JOB
    cargo run --release --quiet -- inspect "$work/site.epw" --json >"$work/inspect.json"
    cargo run --release --quiet -- weigh "$work/job.toml" --quiet --out "$work/out" >"$work/answer.txt"
    grep -E "^(Final yield|Performance ratio|Gap to A, %)" "$work/answer.txt" | sed "s|^|$(basename "$file" .epw | cut -c1-24): |"
    longest=$(awk '{ gsub(/[^ -~]/, ""); if (length > n) n = length } END { print n }' "$work/answer.txt")
    [ "$longest" -le 80 ] || { echo "a line of $longest characters"; exit 1; }
done
