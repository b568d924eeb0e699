"""The whole process of `weigh --yield-only`, three options on an open plane, against start-up and the `csv` crate.

    cargo build --release
    cargo bench --no-default-features --bench energy --no-run
    python3 benches/process.py target/release/yearlight target/release/deps/energy-* --epw FILE [--windows 9]

Everything is pinned to one core and taken in turns, so that all figures are of the same windows: start to exit of
`--version` (start-up), of `weigh` into a new folder and over the files of the run before, and the median of the bench
`read_by_csv_crate`. What is held to the limit of three is (weigh - start-up) / csv. Beside it `weigh` into a new folder
on all cores, and, with NumPy and pandas installed, the process of benches/numpy_chain.py that works out three options
once: how many times as fast `weigh` is, on one core and on all.

What is timed is a copy of the program, as an installation makes it: the system keeps a file that was written in one go
in larger pieces than the one that a linker wrote, and maps it in less time.
"""

import argparse
import os
import re
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

JOB = """title = "Three on a plane"
parts = "{parts}"
[weather]
file = "{epw}"
[[plane]]
name = "roof"
tilt_deg = 12
azimuth_deg = 180
[cable]
one_way_m = 60
area_mm2 = 4
[strings]
t_cold_c = -19
v_limit = 1000
"""
OPTION = """[[option]]
tag = "{tag}"
module = "{module}"
inverter = "K33"
target_kw = 40
"""


def timed(command, runs, remove=None, cores=None):
    """Median milliseconds from start to exit; a folder to remove before each run; cores other than the one of all else."""
    times = []
    usual = os.sched_getaffinity(0)
    os.sched_setaffinity(0, cores or usual)
    for _ in range(runs):
        if remove:
            shutil.rmtree(remove, ignore_errors=True)
        begun = time.perf_counter()
        subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=True)
        times.append(1e3 * (time.perf_counter() - begun))
    os.sched_setaffinity(0, usual)
    return statistics.median(times)


def faults(command):
    """Page faults of one run."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_minflt
    subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=True)
    return resource.getrusage(resource.RUSAGE_CHILDREN).ru_minflt - before


def csv_ms(bench):
    """Median of the bench, milliseconds."""
    said = subprocess.run([bench, "--bench", "read_by_csv_crate"], capture_output=True, text=True, check=True,
                          cwd=Path(__file__).parent.parent).stdout
    numbers = re.search(r"read_by_csv_crate\s+(.*)", said).group(1).split("│")
    value, unit = numbers[2].split()
    return float(value) * {"ms": 1, "µs": 1e-3, "s": 1e3}[unit]


def main():
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("program", type=Path)
    ask.add_argument("bench", type=Path, help="the built bench `energy`")
    ask.add_argument("--epw", type=Path, required=True)
    ask.add_argument("--windows", type=int, default=9)
    ask.add_argument("--runs", type=int, default=60, help="processes of each kind in a window")
    ask.add_argument("--numpy", action="store_true", help="time the NumPy process too")
    given = ask.parse_args()
    cores = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {max(cores)})
    parts = Path(__file__).parent.parent / "configs/merrowby-parts.toml"
    with tempfile.TemporaryDirectory() as folder:
        program = str(Path(folder) / "yearlight")
        Path(program).write_bytes(given.program.read_bytes())
        Path(program).chmod(0o755)
        job = Path(folder) / "plain.toml"
        text = JOB.format(parts=parts.resolve(), epw=given.epw.resolve())
        text += "".join(OPTION.format(tag=tag, module=module) for tag, module in zip("ABC", ["P410", "N445", "N435B"]))
        job.write_text(text)
        out = str(Path(folder) / "out")
        weigh = [program, "weigh", str(job), "--yield-only", "--quiet", "--out", out]
        start = [program, "--version"]
        print(f"page faults: weigh {faults(weigh)}, start-up {faults(start)}")
        ratios = []
        for _ in range(given.windows):
            csv, up = csv_ms(str(given.bench.resolve())), timed(start, given.runs)
            new, over = timed(weigh, given.runs, out), timed(weigh, given.runs)
            free = timed(weigh, given.runs, out, cores)
            ratios.append(((new - up) / csv, (over - up) / csv))
            print(f"csv {csv:5.2f} ms  start-up {up:5.2f} ms  weigh, new folder {new:5.2f} ms: {ratios[-1][0]:4.2f}  "
                  f"over files {over:5.2f} ms: {ratios[-1][1]:4.2f}  on all cores, new folder {free:5.2f} ms")
            if given.numpy:
                script = Path(__file__).parent / "numpy_chain.py"
                numpy = timed([sys.executable, str(script), str(given.epw.resolve()), "0"], 7)
                print(f"NumPy {numpy:5.0f} ms: {numpy / new:4.0f} times the process into a new folder, "
                      f"{numpy / free:4.0f} times on all cores")
        new, over = (statistics.median(column) for column in zip(*ratios))
        print(f"median ratios: {new:.2f} into a new folder, {over:.2f} over files")


main()
