#!/usr/bin/env bash
# Every crate of the program and of its tests must carry a licence of the list in deny.toml and come from the registry.
set -euo pipefail
cd "$(dirname "$0")/../.."
command -v python3 >/dev/null || { apt-get update -q; apt-get install -qy python3; }
mkdir -p target
cargo metadata --format-version 1 --locked --all-features >target/metadata.json
python3 - <<'PY'
import json, re, sys

allowed = set(re.findall(r'^    "([^"]+)",$', open("deny.toml").read(), re.M))
metadata = json.load(open("target/metadata.json"))
own = set(metadata["workspace_members"])
packages = [p for p in metadata["packages"] if p["id"] not in own]


def fits(words):
    """True when an SPDX expression of AND, OR and brackets can be met with the allowed licences."""
    words = re.findall(r"\(|\)|[^\s()]+(?:\s+WITH\s+[^\s()]+)?", words.replace("/", " OR "))
    terms = [{"AND": "and", "OR": "or", "(": "(", ")": ")"}.get(w) or str(re.sub(r"\s+", " ", w) in allowed) for w in words]
    return bool(terms) and eval(" ".join(terms))


wrong = []
for p in packages:
    if not fits(p["license"] or ""):
        wrong.append(f'{p["name"]} {p["version"]}: licence {p["license"]}')
    if not (p["source"] or "").startswith("registry+"):
        wrong.append(f'{p["name"]} {p["version"]}: comes from {p["source"]}')
names = [p["name"] for p in packages]
doubled = sorted({n for n in names if names.count(n) > 1})
print(f"{len(packages)} crates, {len(wrong)} refused; in several versions: {', '.join(doubled) or 'none'}")
for line in wrong:
    print(line)
sys.exit(bool(wrong))
PY
