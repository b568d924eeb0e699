#!/usr/bin/env bash
# The year of the NumPy script in benches/ against the program's on the same sky, module by module. The script has a sun of
# almanac precision, whole steps at sunrise and sunset, a curve of its own through the weak light and the plain factor
# of temperature, so that the two agree to a tenth of a percent and not to the last digit.
set -euo pipefail
cd "$(dirname "$0")/../.."

command -v python3 >/dev/null || { apt-get update -q; apt-get install -qy python3 python3-venv; }
python=python3
if ! python3 -c 'import numpy' 2>/dev/null; then
    [ -x .venv/bin/python ] || python3 -m venv .venv || { apt-get update -q; apt-get install -qy python3-venv; python3 -m venv .venv; }
    .venv/bin/python -c 'import numpy' 2>/dev/null || .venv/bin/pip install --quiet numpy
    python=.venv/bin/python
fi
cargo build --release --quiet
work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT
YEARLIGHT="${CARGO_TARGET_DIR:-target}/release/yearlight" WORK="$work" PYTHONPATH=benches "$python" - <<'PY'
import csv, os, subprocess
from datetime import date

import numpy as np

import numpy_chain as n

SKIES = ["weather/chicago-il.csv", "weather/greyling-quay.csv"]
# Voltage and current at maximum power, open and short circuit: what the script's one-diode figures were made for.
SHEETS = [(31.25, 13.12, 37.4, 13.95), (29.30, 15.19, 34.6, 16.10), (32.60, 13.345, 39.0, 14.10)]


def job(sky):
    """Twenty of each module in one string; the script's losses."""
    ac = [330.0 * x - 330.0 * (0.003 + 0.008 * x + 0.012 * x * x) for x in (0.1, 0.5, 1.0)]
    points = [[100.0 * a / 330.0, 100.0 * a / (330.0 * x)] for a, x in zip(ac, (0.1, 0.5, 1.0))]
    text = f'title = "t"\n[weather]\nfile = "{os.path.abspath(sky)}"\n'
    text += '[[plane]]\nname = "p"\ntilt_deg = 12\nazimuth_deg = 180\nalbedo = 0.2\ncooling = { u0 = 25.0, u1 = 6.84 }\n'
    text += "[losses]\ndirt_pct = 2.0\nmismatch_pct = 0\noutage_pct = 0\n"
    text += "[cable]\none_way_m = 85.0\narea_mm2 = 16\nohm_per_km = 1.0\nt_c = 20\n"
    text += f"[inverter.I]\np_ac_w = 6600\nefficiency = {points}\n"
    for k, ((gamma, low, p0, *_), (v_mp, i_mp, v_oc, i_sc)) in enumerate(zip(n.OPTIONS, SHEETS)):
        weak = [[g, 1.0 + low[0] * np.log(g / 1000) + low[1] * np.log(g / 1000) ** 2] for g in (50, 100, 200, 400, 600, 800)]
        weak = [[g, float(eta)] for g, eta in weak]
        text += f'[[option]]\ntag = "{k}"\nmodule = "M{k}"\ninverter = "I"\nstrings = [20]\n'
        text += f"[module.M{k}]\np_stc_w = {p0}\nv_mp = {v_mp}\ni_mp = {i_mp}\nv_oc = {v_oc}\ni_sc = {i_sc}\n"
        text += f"gamma_pct_per_k = {100 * gamma:.3f}\nlow_light = {weak}\na_r = 0.16\nlength_mm = 1722\nwidth_mm = 1134\n"
    return text


worst = 0.0
for sky in SKIES:
    with open(sky, encoding="utf-8") as file:
        lines = [line.strip() for line in file]
    head = dict(line[1:].split(":", 1) for line in lines if line.startswith("#") and ":" in line)
    head = {key.strip(): value.strip() for key, value in head.items()}
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    day = [date.fromisoformat(r["time"][:10]) for r in rows]
    number = lambda name: np.array([float(r[name]) for r in rows])
    shift = {"beginning": 1.0, "ending": 0.0}[head.get("label", "beginning")]
    hour = np.array([float(r["time"][11:13]) for r in rows]) + shift
    columns = (float(head["latitude_deg"]), float(head["longitude_deg"]), float(head["utc_offset_min"]) / 60.0,
               np.array([(d - date(2000, 1, 1)).days for d in day], float), np.array([d.month for d in day]), hour,
               number("ghi"), number("dni"), number("dhi"), number("t_amb"), number("wind"))
    script = [float(months.sum()) / 1000.0 for months in n.chain(columns)]
    path = os.path.join(os.environ["WORK"], "job.toml")
    out = os.path.join(os.environ["WORK"], "out")
    with open(path, "w", encoding="utf-8") as file:
        file.write(job(sky))
    subprocess.run([os.environ["YEARLIGHT"], "weigh", path, "--quiet", "--out", out], check=True, stdout=subprocess.DEVNULL)
    program = [0.0, 0.0, 0.0]
    with open(os.path.join(out, "months.csv"), encoding="utf-8") as file:
        for row in csv.DictReader(file):
            program[int(row["option"])] += float(row["e_ac_kwh"]) / 20.0
    for k, (a, b) in enumerate(zip(program, script)):
        off = 100.0 * (a / b - 1.0)
        worst = max(worst, abs(off))
        print(f"{sky} option {k}: program {a:.2f} kWh, script {b:.2f} kWh, {off:+.2f} %")
if worst > 0.2:
    raise SystemExit(f"the two differ by {worst:.2f} %, more than 0.2 %")
PY
