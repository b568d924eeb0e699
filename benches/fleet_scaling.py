"""Memory, time and speed-up of fleets, measured in one run; for a quiet machine.

python3 benches/fleet_scaling.py YEARLIGHT [--quick]

Prints, for the program YEARLIGHT (target/release/yearlight):
  - peak memory and processor time per site at 100, 1,000 and 10,000 sites (--quick: without 10,000),
  - throughput in site-options per second and core, and the shares of the stages,
  - what a site with four options costs over reading its weather, every site with a file of its own,
  - speed-up of two threads over one, median of several rounds.
Runs to be compared alternate; but for the last, the least of the rounds counts. Processor time is user and system time together.
"""

import os
import re
import statistics
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from fleet_make import sites


def run(program, fleet, threads, timing=False):
    """Wall time, processor time, peak memory in MB, stage times."""
    out = os.path.join(os.path.dirname(fleet), f"out-{threads}")
    words = [program, "fleet", fleet, "--out", out, "--threads", str(threads), "--timing"]
    start = time.monotonic()
    with open(os.devnull, "w") as null:
        child = subprocess.Popen(words, stdout=null, stderr=subprocess.PIPE, text=True)
        told = child.stderr.read()
        _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode != 0:
        sys.exit(told)
    wall = time.monotonic() - start
    stages = {k: float(v) for k, v in re.findall(r"(job|weather|light and set-up|chain) ([\d.]+) s", told)}
    return wall, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024.0, stages


def side_by_side(program, fleet):
    """Wall time of two processes, each on one thread."""
    outs = [os.path.join(os.path.dirname(fleet), f"out-{side}") for side in "ab"]
    start = time.monotonic()
    both = [
        subprocess.Popen([program, "fleet", fleet, "--out", out, "--threads", "1", "--quiet"], stdout=subprocess.DEVNULL)
        for out in outs
    ]
    if any([child.wait() for child in both]):
        sys.exit("one of two processes failed")
    return time.monotonic() - start


def main(program, quick):
    sizes = [100, 1000] if quick else [100, 1000, 10000]
    with tempfile.TemporaryDirectory() as folder:
        fleets = {}
        for n in sizes:
            sites(n, os.path.join(folder, str(n)), 1)
            fleets[n] = os.path.join(folder, str(n), "fleet.toml")
        own = {n: os.path.join(folder, f"own-{n}") for n in (70, 210)}
        for n, path in own.items():
            sites(n, path, 1, own=True)

        best = {n: (9e9, 0.0, {}) for n in sizes}
        for _ in range(3):
            for n in sizes:
                _, cpu, memory, stages = run(program, fleets[n], 1)
                if cpu < best[n][0]:
                    best[n] = (cpu, max(memory, best[n][1]), stages)
        per_site = {n: best[n][0] / n for n in sizes}
        print("sites   processor ms a site   peak MB")
        for n in sizes:
            print(f"{n:<7} {1e3 * per_site[n]:>19.2f} {best[n][1]:>9.1f}")
        # The start of the program and the reading of seven skies belong to no site.
        for a, b in zip(sizes[:-1], sizes[1:]):
            slope = (best[b][0] - best[a][0]) / (b - a)
            print(f"{a} to {b}: {1e3 * slope:.2f} ms for one more site, memory {best[b][1] / best[a][1]:.3f} times")
        n = sizes[-1]
        print(f"throughput at {n} sites: {4.0 / per_site[n]:.0f} site-options a second and core")
        whole = sum(best[n][2].values())
        print("stages: " + ", ".join(f"{k} {100 * v / whole:.0f} %" for k, v in best[n][2].items()))

        # All processor time of one more site, writing its rows included, less the reading of its weather.
        least = {n: (9e9, 0.0) for n in own}
        for _ in range(9):
            for n, path in own.items():
                _, cpu, _, stages = run(program, os.path.join(path, "fleet.toml"), 1)
                least[n] = min(least[n], (cpu, stages["weather"]))
        (few, few_reading), (many, reading) = least[70], least[210]
        site, reading = (many - few) / 140, (reading - few_reading) / 140
        ratio = (site - reading) / reading
        print(f"a site with four options costs {ratio:.2f} times the reading of its weather, {1e3 * reading:.2f} ms")

        # Beside it what the machine gives to two processes that have nothing to do with each other.
        ratios = []
        for _ in range(3 if quick else 9):
            alone, both = (run(program, fleets[1000], threads)[0] for threads in (1, 2))
            ratios.append((alone / both, 2.0 * alone / side_by_side(program, fleets[1000])))
        for what, of in zip(("1,000 sites on two threads", "two processes of 1,000 sites"), zip(*ratios)):
            print(f"{what}: {statistics.median(of):.2f} times as fast as one, {min(of):.2f} to {max(of):.2f}")


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    main(os.path.abspath(sys.argv[1]), "--quick" in sys.argv)
