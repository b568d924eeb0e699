"""Fuzzes the doors in turns and counts the processor time of each.

    cargo fuzz build --sanitizer none                # and with --features tables for the doors of Parquet, see README.md
    python3 fuzz/slices.py --minutes 60 --workers 2

The door with the least processor time so far is next, for one slice; time, executions and how the slices ended stand in
`fuzz/slices.json` and are added to by the next call. A slice that ends with a code other than 0 has left its input in
`fuzz/artifacts/`; run the target on that file alone before believing it: a slice that had to wait for the processor counts
as one that took too long.
"""

import argparse
import json
import os
import re
import subprocess
import threading
import time
from pathlib import Path

FUZZ = Path(__file__).resolve().parent
TARGETS = sorted(path.stem for path in (FUZZ / "fuzz_targets").glob("*.rs"))


def built():
    """The built targets by name."""
    folders = sorted((FUZZ / "target").glob("*/release"))
    return {name: folder / name for folder in folders for name in TARGETS if (folder / name).is_file()}


def fuzz(door, binary, seconds):
    """One slice: processor seconds, executions, exit code."""
    corpus = FUZZ / "corpus" / door
    for folder in (corpus, FUZZ / "artifacts"):
        folder.mkdir(parents=True, exist_ok=True)
    command = ["nice", "-n", "19", str(binary), str(corpus), str(FUZZ.parent / "tests/doors/corpus" / door)]
    command += ["-timeout=60", "-rss_limit_mb=1500", f"-max_total_time={seconds}", "-print_final_stats=1"]
    command += [f"-artifact_prefix={FUZZ}/artifacts/{door}."]
    with open(FUZZ / "artifacts" / f"{door}.log", "w+b") as log:
        child = subprocess.Popen(command, stdout=log, stderr=log, cwd=FUZZ.parent)
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        log.seek(0)
        done = re.findall(rb"number_of_executed_units: (\d+)", log.read())
    return usage.ru_utime + usage.ru_stime, int(done[-1]) if done else 0, child.returncode


def main():
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("doors", nargs="*", help="names of targets; all that are built when left out")
    ask.add_argument("--minutes", type=float, default=30, help="by the clock, for all together")
    ask.add_argument("--workers", type=int, default=1)
    ask.add_argument("--slice", type=int, default=100, help="seconds of a slice")
    given = ask.parse_args()
    binaries = built()
    doors = given.doors or sorted(binaries)
    missing = [door for door in doors if door not in binaries]
    if missing or not doors:
        ask.error(f"not built: {', '.join(missing) or 'any'}; run cargo fuzz build first")

    tally = FUZZ / "slices.json"
    counts = json.loads(tally.read_text()) if tally.exists() else {}
    end, lock, busy = time.monotonic() + 60 * given.minutes, threading.Lock(), set()

    def work():
        while time.monotonic() < end:
            with lock:
                free = [door for door in doors if door not in busy]
                if not free:
                    return
                door = min(free, key=lambda door: counts.get(door, {}).get("processor_s", 0))
                busy.add(door)
            seconds, executions, code = fuzz(door, binaries[door], given.slice)
            with lock:
                count = counts.setdefault(door, {"processor_s": 0, "executions": 0, "ended": {}})
                count["processor_s"] = round(count["processor_s"] + seconds, 1)
                count["executions"] += executions
                count["ended"][str(code)] = count["ended"].get(str(code), 0) + 1
                tally.write_text(json.dumps(counts, indent=1, sort_keys=True) + "\n")
                busy.discard(door)
                print(f"{door}: {count['processor_s']:.0f} s of the processor, {count['executions']} executions, code {code}")

    workers = [threading.Thread(target=work) for _ in range(given.workers)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()


if __name__ == "__main__":
    main()
