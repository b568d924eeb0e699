#!/usr/bin/env bash
# Opens the reports in a real browser: layout at three widths, printing, console, network, accessible names.
# Pictures stay in target/browser.
set -euo pipefail
cd "$(dirname "$0")/../.."

need=()
command -v chromium >/dev/null || command -v chromium-browser >/dev/null || [ -n "${CHROMIUM:-}" ] || need+=(chromium)
command -v node >/dev/null || need+=(nodejs)
command -v npm >/dev/null || need+=(npm)
command -v pdftotext >/dev/null || need+=(poppler-utils)
if [ "${#need[@]}" -gt 0 ]; then
    apt-get update -q
    apt-get install -qy "${need[@]}"
fi

# Pages with everything a report can show, in both languages, with one option and with many, and the fleet index.
YEARLIGHT_SAMPLE_DIR="$PWD/target/sample" cargo test --release --lib report:: --quiet
npm --prefix tests/browser ci --no-audit --no-fund --silent
node tests/browser/look.mjs reports/merrowby-school/report.html target/sample/*.html --out target/browser
