#!/usr/bin/env bash
# The Python package: an environment of its own, the wheel, its tests. Reuses what `cargo build --release` has compiled.
set -euo pipefail
cd "$(dirname "$0")/../.."

python="${PYTHON:-python3}"
if ! "$python" -c 'import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 10))' 2>/dev/null; then
    apt-get update -q
    apt-get install -qy python3 python3-venv python3-dev
    python=python3
fi
cargo fmt --check -p yearlight-python
cargo build --release --quiet
cargo clippy --release --quiet --no-deps -p yearlight-python -- -D warnings

work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT
"$python" -m venv "$work/venv"
bin="$work/venv/bin"
"$bin/pip" install --quiet './python[test]'
# From the tests' folder, so that only the installed package can be found. The environment's own pages of code, too, are
# not to be left in the clone.
PYTHONDONTWRITEBYTECODE=1 "$bin/python" -m pytest -c python/pyproject.toml --rootdir python python/tests "$@"
