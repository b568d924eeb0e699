"""A fleet on a Dask cluster: sites as a Parquet data set, every partition through ``yearlight.fleet``, results as one.

    python python/examples/dask_fleet.py --out run                    # 10 000 generated sites, two workers
    python python/examples/dask_fleet.py --out run --sites 400 --kill # a worker is killed in the middle
    python python/examples/dask_fleet.py --out run --scheduler tcp://HOST:8786   # a cluster that is there already
    python python/examples/dask_fleet.py --out run --check target/release/yearlight  # and the same on one machine

A partition is a task: it reads its sites, runs them, and writes its rows under a temporary name that is renamed at the
end. A task that dies with its worker is given to another and writes the same bytes. On several machines ``--out`` and the
weather must lie where all of them see them.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
TEMPLATE = ROOT / "configs" / "merrowby-fleet" / "bench.toml"
WEATHER = str(ROOT / "weather" / "{weather}.csv")


def prepare(out: Path, sites: int, per_part: int) -> list[dict[str, Any]]:
    """Generates sites and lays them down as a data set; gives the tasks.

    Names must be unique over all partitions, so that is looked at here, where all names pass by.
    """
    import pyarrow.csv
    import pyarrow.parquet

    made = out / "made"
    subprocess.run([sys.executable, ROOT / "benches" / "fleet_make.py", str(sites), made], check=True)
    table = pyarrow.csv.read_csv(made / "sites.csv")
    folder = out / "sites.parquet"
    folder.mkdir(parents=True)
    first: dict[str, int] = {}
    tasks = []
    for part, start in enumerate(range(0, len(table), per_part)):
        rows = table.slice(start, per_part)
        taken = {}
        names = rows["site"].to_pylist()
        for name in names:
            if name in first:
                taken[name] = first[name]
        for i, name in enumerate(names):
            first.setdefault(name, start + i + 1)
        pyarrow.parquet.write_table(rows, folder / f"part-{part:05}.parquet")
        tasks.append({"part": part, "first_row": start + 1, "taken": taken})
    return tasks


def run(task: dict[str, Any], out: str, template: str = str(TEMPLATE), weather: str = WEATHER) -> dict[str, Any]:
    """One partition, on a worker."""
    import pyarrow.parquet

    import yearlight

    name = f"part-{task['part']:05}.parquet"
    before, start, cpu = counters(), time.perf_counter(), time.process_time()
    result = yearlight.fleet(
        pyarrow.parquet.read_table(Path(out, "sites.parquet", name)),
        template=template,
        weather=weather,
        first_row=task["first_row"],
        taken=task["taken"],
        name="sites",
        threads=1,
    )
    # Refusals first: a part counts as done when its rows are there.
    result.refused.write(Path(out, "refused.parquet", name))
    rows = Path(out, "fleet.parquet", name)
    result.rows.write(rows)
    after = counters()
    return {
        "part": task["part"],
        "pid": os.getpid(),
        "seconds": time.perf_counter() - start,
        "cpu_s": time.process_time() - cpu,
        "rows": len(result.rows),
        "refused": len(result.refused),
        "bytes": rows.stat().st_size,
        "read": after["rchar"] - before["rchar"],
        "rss_mb": after["rss_mb"],
    }


def counters() -> dict[str, float]:
    """Bytes read by this process and the memory it holds now; nothing where the system does not tell."""
    try:
        read = int(Path("/proc/self/io").read_text().split()[1])
        rss = int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 2**20
    except OSError:
        return {"rchar": 0, "rss_mb": 0.0}
    return {"rchar": read, "rss_mb": rss}


def spread(client: Any, tasks: list[dict[str, Any]], out: Path, kill: bool, quiet: bool) -> list[dict[str, Any]]:
    """All tasks over the workers; a killed worker's tasks go to the others."""
    from distributed import as_completed

    for folder in ("fleet.parquet", "refused.parquet"):
        (out / folder).mkdir(parents=True, exist_ok=True)
    futures = client.map(run, tasks, out=str(out.resolve()), retries=5, pure=False)
    done: list[dict[str, Any]] = []
    for future, report in as_completed(futures, with_results=True):
        # Let go at once: what was reported is on disk, and is not done again when its worker dies.
        future.release()
        done.append(report)
        if kill and len(done) * 3 >= len(tasks):
            kill = False
            victim = report["pid"]
            os.kill(victim, signal.SIGKILL)
            print(f"worker {victim} killed after {len(done)} of {len(tasks)} partitions", flush=True)
        if not quiet and sys.stderr.isatty():
            print(f"\r{len(done)} of {len(tasks)} partitions", end="", file=sys.stderr, flush=True)
    return done


def verify(out: Path, sites: int) -> int:
    """Every site once, as a result or a refusal; gives the number of rows."""
    import pyarrow.dataset

    rows = pyarrow.dataset.dataset(out / "fleet.parquet").to_table(columns=["row"])["row"].to_pylist()
    refused = pyarrow.dataset.dataset(out / "refused.parquet").to_table(columns=["row"])["row"].to_pylist()
    seen = sorted(set(rows)) + refused
    if sorted(seen) != list(range(1, sites + 1)):
        raise SystemExit(f"{out}: {len(set(seen))} sites stand in the results; expected each of {sites} once.")
    if halves := list(out.rglob("*.part")):
        raise SystemExit(f"{halves[0]}: a half-written file is left.")
    return len(rows)


def check(out: Path, program: str, per_part: int) -> None:
    """Holds the data set against ``yearlight fleet`` on one machine: the same files, byte for byte."""
    alone = out / "alone"
    fleet = out / "made" / "fleet.toml"
    fleet.write_text(fleet.read_text() + f"sites_per_part = {per_part}\n")
    start = time.perf_counter()
    code = subprocess.run([program, "fleet", fleet, "--out", alone, "--quiet"], stdout=subprocess.DEVNULL).returncode
    if code not in (0, 3):
        raise SystemExit(f"{program} fleet ended with code {code}")
    seconds = time.perf_counter() - start
    ours = {p.name: p.read_bytes() for p in (out / "fleet.parquet").iterdir()}
    theirs = {p.name: p.read_bytes() for p in (alone / "fleet.parquet").iterdir() if p.suffix == ".parquet"}
    if ours != theirs:
        wrong = sorted(name for name in ours.keys() | theirs.keys() if ours.get(name) != theirs.get(name))
        raise SystemExit(f"{wrong[0]} differs from what yearlight fleet writes, and {len(wrong) - 1} more")
    print(f"the same {len(ours)} files, byte for byte, as yearlight fleet on one machine ({seconds:.1f} s, all threads)")


def memory(reports: list[dict[str, Any]]) -> list[str]:
    """Memory of each worker after its first tasks and at its end, MB."""
    lines = []
    for pid in sorted({r["pid"] for r in reports}):
        held = [r["rss_mb"] for r in reports if r["pid"] == pid]
        quarter = held[max(len(held) // 4 - 1, 0)]
        lines.append(f"worker {pid}: {len(held)} partitions, {quarter:.0f} MB after a quarter, {held[-1]:.0f} MB at the end")
    return lines


def main() -> None:
    from distributed import Client, LocalCluster

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True, help="folder of the run; must not be there yet")
    parser.add_argument("--sites", type=int, default=10_000, help="number of generated sites")
    parser.add_argument("--per-part", type=int, default=64, help="sites in a partition")
    parser.add_argument("--workers", type=int, default=2, help="worker processes")
    parser.add_argument("--scheduler", help="address of a cluster in place of a local one")
    parser.add_argument("--kill", action="store_true", help="kill a worker in the middle")
    parser.add_argument("--check", metavar="PROGRAM", help="run the same by the command line and compare")
    parser.add_argument("--json", action="store_true", help="print the figures as JSON")
    args = parser.parse_args()
    if args.out.exists():
        parser.error(f"{args.out} is there already; name a new folder")
    tasks = prepare(args.out, args.sites, args.per_part)
    cluster = None
    if args.scheduler is None:
        cluster = LocalCluster(n_workers=args.workers, threads_per_worker=1, processes=True, dashboard_address=None)
    with Client(cluster if cluster is not None else args.scheduler) as client:
        client.wait_for_workers(args.workers, timeout=120)
        start = time.perf_counter()
        reports = spread(client, tasks, args.out, args.kill, args.json)
        seconds = time.perf_counter() - start
    if cluster is not None:
        cluster.close()
    rows = verify(args.out, args.sites)
    figures = {
        "sites": args.sites,
        "rows": rows,
        "refused": sum(r["refused"] for r in reports),
        "seconds": round(seconds, 2),
        "sites_per_s": round(args.sites / seconds, 1),
        "bytes_per_row": round(sum(r["bytes"] for r in reports) / max(rows, 1), 1),
        "bytes_read_per_site": round(sum(r["read"] for r in reports) / args.sites),
        "cpu_ms_per_site": round(1e3 * sum(r["cpu_s"] for r in reports) / args.sites, 2),
    }
    if args.json:
        print(json.dumps(figures | {"memory": memory(reports)}))
    else:
        print("  ".join(f"{key} {value}" for key, value in figures.items()))
        print("\n".join(memory(reports)))
    if args.check:
        check(args.out, args.check, args.per_part)
    shutil.rmtree(args.out / "alone", ignore_errors=True)


if __name__ == "__main__":
    main()
