"""Makes fleets: thousands of sites from the shipped skies, and the weather files of the demo fleet.

python3 benches/fleet_make.py SITES DIR [SEED]
    DIR/fleet.toml and DIR/sites.csv: SITES sites, each on one of the shipped years, at a position shifted by up to half
    a degree, its light scaled by 0.85 to 1.05, with a tilt and an azimuth of its own. Seeded: the same arguments give the
    same bytes. Four options of configs/merrowby-fleet/bench.toml.
python3 benches/fleet_make.py skies YEARLIGHT
    The weather files in configs/merrowby-fleet/weather, by the program YEARLIGHT and from weather/merrowby.csv.
"""

import gzip
import os
import random
import shutil
import subprocess
import sys
import tempfile

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
SHIPPED = [
    ("aurora-co", "US", "dry"),
    ("chicago-il", "US", "continental"),
    ("davis-monthan-az", "US", "desert"),
    ("greyling-quay", "invented", "marine"),
    ("merrowby", "invented", "marine"),
    ("northway-ak", "US", "subarctic"),
    ("port-angeles-wa", "US", "marine"),
]


def header(name):
    with open(os.path.join(ROOT, "weather", name + ".csv")) as f:
        lines = [line[2:].split(": ", 1) for line in f if line.startswith("# ") and ": " in line]
    return {key: value.strip() for key, value in lines}


def sites(n, folder, seed, own=False):
    """A fleet; with `own` every site has a weather file of its own, as a grid of satellite data has."""
    os.makedirs(folder, exist_ok=True)
    up = os.path.relpath(ROOT, folder)
    rng = random.Random(seed)
    heads = {name: header(name) for name, _, _ in SHIPPED}
    with open(os.path.join(folder, "fleet.toml"), "w") as f:
        f.write('title = "Generated fleet"\n')
        f.write(f'template = "{up}/configs/merrowby-fleet/bench.toml"\n')
        f.write('sites = "sites.csv"\n')
        f.write('weather = "weather/{site}.csv"\n' if own else f'weather = "{up}/weather/{{weather}}.csv"\n')
    if own:
        os.makedirs(os.path.join(folder, "weather"), exist_ok=True)
    with open(os.path.join(folder, "sites.csv"), "w") as f:
        f.write("site,weather,latitude_deg,longitude_deg,light_scale,plane.tilt_deg,plane.azimuth_deg,country,climate\n")
        for i in range(n):
            name, country, climate = rng.choice(SHIPPED)
            if own:
                shutil.copyfile(os.path.join(ROOT, "weather", name + ".csv"), os.path.join(folder, "weather", f"S{i:05d}.csv"))
            lat, lon = float(heads[name]["latitude_deg"]), float(heads[name]["longitude_deg"])
            facing = rng.uniform(120, 240) if lat > 0 else rng.uniform(-60, 60) % 360
            f.write(
                f"S{i:05d},{name},{lat + rng.uniform(-0.5, 0.5):.4f},{lon + rng.uniform(-0.5, 0.5):.4f},"
                f"{rng.uniform(0.85, 1.05):.4f},{rng.uniform(5, 45):.1f},{facing:.1f},{country},{climate}\n"
            )


RECIPE = """name = "{name}"
latitude_deg = {lat}
longitude_deg = {lon}
elevation_m = {height}
utc_offset_h = {utc}
year = 2021
seed = {seed}
ghi_kwh_m2 = {ghi}
t_mean_c = {t}
t_swing_k = [4.6, 5.2, 6.8, 8.4, 9.2, 9.4, 9.6, 9.0, 7.8, 6.2, 5.0, 4.5]
wind_m_s = [5.0, 4.8, 4.7, 4.3, 4.1, 3.8, 3.7, 3.6, 3.8, 4.2, 4.4, 4.7]
t_day_sd_k = 3.4
separation = "ridley-boland-lauret"
source = "invented for the demo fleet"
"""
GHI = [20.0, 34.0, 71.0, 111.0, 144.0, 151.0, 149.0, 125.0, 86.0, 51.0, 25.0, 15.0]
T = [2.3, 2.5, 4.9, 7.6, 10.8, 13.7, 15.6, 15.3, 12.8, 9.3, 5.3, 3.0]


def skies(program):
    folder = os.path.join(ROOT, "configs", "merrowby-fleet", "weather")
    os.makedirs(folder, exist_ok=True)

    def save(name, text):
        with open(os.path.join(folder, name + ".csv.gz"), "wb") as f:
            f.write(gzip.compress(text.encode(), 9, mtime=0))

    half = lambda x: x[6:] + x[:6]
    made = [
        # The same months half a year later, on the other side of the equator.
        dict(file="south", name="South Merrowby", lat=-52.3, lon=-1.1, height=300, utc=0, seed=7, ghi=half(GHI), t=half(T)),
        dict(file="quarter-clock", name="Merrowby Gap", lat=27.9, lon=85.1, height=1300, utc=5.75, seed=11,
             ghi=[112, 124, 165, 180, 188, 162, 140, 138, 130, 142, 120, 108], t=[10, 12, 16, 19, 21, 23, 23, 23, 22, 19, 15, 11]),
        dict(file="polar-night", name="Merrowby North", lat=69.0, lon=19.0, height=20, utc=1, seed=13,
             ghi=[0.6, 10, 48, 98, 132, 145, 138, 96, 54, 20, 2, 0], t=[-4, -4, -3, 1, 5, 9, 12, 11, 7, 3, -1, -3]),
    ]
    for m in made:
        with tempfile.TemporaryDirectory() as temp:
            recipe, out = os.path.join(temp, "r.toml"), os.path.join(temp, "o.csv")
            with open(recipe, "w") as f:
                f.write(RECIPE.format(**m))
            subprocess.run([program, "sky", recipe, "--write", out, "--quiet"], check=True)
            with open(out) as f:
                save(m["file"], f.read())

    with open(os.path.join(ROOT, "weather", "merrowby.csv")) as f:
        lines = f.read().splitlines()
    head = [line for line in lines if line.startswith("#")]
    names = next(line for line in lines if not line.startswith("#")).split(",")
    rows = [line.split(",") for line in lines if not line.startswith("#")][1:]
    col = {name: i for i, name in enumerate(names)}
    get = lambda row, name: row[col[name]]

    # A leap year: 29 February repeats the day before.
    leap = []
    for row in rows:
        time = row[0].replace("2021-", "2020-")
        leap.append([time] + row[1:])
        if time.startswith("2020-02-28T23"):
            leap += [[r[0].replace("2021-02-28", "2020-02-29")] + r[1:] for r in rows if r[0].startswith("2021-02-28")]
    save("leap-year", "\n".join(head + [",".join(names)] + [",".join(r) for r in leap]) + "\n")

    def mapped(name, columns, factor=1.0):
        text = ["time," + ",".join(columns)]
        for row in rows:
            cells = [get(row, c) if c in ("t_amb", "wind") else f"{float(get(row, c)) * factor:g}" for c in columns]
            text.append(",".join([row[0]] + cells))
        save(name, "\n".join(text) + "\n")

    mapped("no-dhi", ["ghi", "dni", "t_amb", "wind"])
    mapped("beginning", ["ghi", "dni", "dhi", "t_amb", "wind"])
    mapped("watt-hours", ["ghi", "dni", "dhi", "t_amb", "wind"])
    mapped("kilojoules", ["ghi", "dni", "dhi", "t_amb", "wind"], factor=3.6)

    # Light half an hour late against the clock: each value is the mean of its own hour and the one before.
    text = ["time,ghi,dni,dhi,t_amb,wind"]
    for i, row in enumerate(rows):
        before = rows[i - 1]
        light = [f"{(float(get(row, c)) + float(get(before, c))) / 2:g}" for c in ("ghi", "dni", "dhi")]
        text.append(",".join([row[0]] + light + [get(row, "t_amb"), get(row, "wind")]))
    save("half-hour-late", "\n".join(text) + "\n")


if __name__ == "__main__":
    if len(sys.argv) == 3 and sys.argv[1] == "skies":
        skies(sys.argv[2])
    elif len(sys.argv) >= 3 and sys.argv[1].isdigit():
        sites(int(sys.argv[1]), sys.argv[2], int(sys.argv[3]) if len(sys.argv) > 3 else 1)
    else:
        sys.exit(__doc__)
