"""Measures how a fleet scales: one worker and two, in turn, on sites that read a weather file each.

    python python/examples/scaling.py --out scaling                # 2000 sites, about a minute on a quiet machine
    python python/examples/scaling.py --out scaling --sites 200 --shared

Prints the table of docs/scaling.md. Every site reads a file of its own (links to the shipped years, so that the disk's
cache holds them: what is measured is reading and checking, not the disk); with ``--shared`` sites share the seven shipped
files, as the sites of a district do. A site has four options.
"""

from __future__ import annotations

import argparse
import os
import statistics
import time
from pathlib import Path
from typing import Any

from dask_fleet import ROOT, WEATHER, memory, prepare, run, verify

MOST_CELLS = 2_000_000
YEARS = 20


def own_weather(out: Path) -> str:
    """A weather file for every site, by link; gives the path of a site's file."""
    import pyarrow.csv

    table = pyarrow.csv.read_csv(out / "made" / "sites.csv")
    folder = out / "weather"
    folder.mkdir()
    for site, name in zip(table["site"].to_pylist(), table["weather"].to_pylist()):
        os.symlink(ROOT / "weather" / f"{name}.csv", folder / f"{site}.csv")
    return str(folder.resolve() / "{site}.csv")


def measure(workers: int, tasks: list[dict[str, Any]], out: Path, weather: str) -> tuple[float, list[dict[str, Any]]]:
    """Seconds for all tasks, workers started and warm, and their reports."""
    from distributed import Client, LocalCluster, as_completed

    for folder in ("fleet.parquet", "refused.parquet"):
        (out / folder).mkdir(exist_ok=True)
    with LocalCluster(
        n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster, Client(cluster) as client:
        client.wait_for_workers(workers, timeout=120)
        client.run(lambda: __import__("yearlight") and __import__("pyarrow.parquet") and None)
        start = time.perf_counter()
        futures = client.map(run, tasks, out=str(out.resolve()), weather=weather, pure=False)
        reports = [report for _, report in as_completed(futures, with_results=True)]
        return time.perf_counter() - start, reports


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True, help="folder of the run; must not be there yet")
    parser.add_argument("--sites", type=int, default=2000, help="number of generated sites")
    parser.add_argument("--per-part", type=int, default=64, help="sites in a partition")
    parser.add_argument("--rounds", type=int, default=3, help="each number of workers this often, in turn")
    parser.add_argument("--shared", action="store_true", help="sites share the shipped weather files")
    args = parser.parse_args()
    if args.out.exists():
        parser.error(f"{args.out} is there already; name a new folder")
    tasks = prepare(args.out, args.sites, args.per_part)
    weather = WEATHER if args.shared else own_weather(args.out)
    seconds: dict[int, list[float]] = {1: [], 2: []}
    last: dict[int, list[dict[str, Any]]] = {}
    for _ in range(args.rounds):
        for workers in seconds:
            took, last[workers] = measure(workers, tasks, args.out, weather)
            seconds[workers].append(took)
    rows = verify(args.out, args.sites)

    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    print(f"{args.sites} sites, {rows // args.sites} options each, load {load:.1f} at the end, {os.cpu_count()} cores\n")
    print("| workers | s, median of rounds | sites/s | sites/s per core | against one worker |")
    print("|---|---|---|---|---|")
    base = statistics.median(seconds[1])
    for workers, took in seconds.items():
        s = statistics.median(took)
        rate = args.sites / s
        print(f"| {workers} | {s:.2f} | {rate:.0f} | {rate / workers:.0f} | {base / s:.2f} |")
    print()
    print("\n".join(memory(last[2])))
    read = sum(r["read"] for r in last[2]) / args.sites
    written = sum(r["bytes"] for r in last[2]) / args.sites
    # Processor time, which other programs on the machine move less than the clock.
    cores = sum(r["cpu_s"] for r in last[1]) / args.sites
    total = MOST_CELLS * YEARS
    print(f"\nread {read / 1e3:.0f} kB a site-year, written {written / 1e3:.2f} kB, {1e3 * cores:.2f} ms of one core")
    print(
        f"{MOST_CELLS:,} cells x {YEARS} years: {total * cores / 3600:,.0f} core-hours, "
        f"{total * read / 1e12:,.1f} TB read, {total * written / 1e9:,.0f} GB written"
    )
    for n in (64, 256, 1024):
        print(f"{n} cores: {total * cores / 3600 / n:,.1f} h, reading {total * read / (total * cores / n) / 1e9:,.2f} GB/s")


if __name__ == "__main__":
    main()
