"""The examples for clusters, small: two workers, one of them killed."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from conftest import PROGRAM, ROOT

EXAMPLES = ROOT / "python" / "examples"


def example(name: str, *words: object) -> str:
    command = [sys.executable, str(EXAMPLES / name), *map(str, words)]
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=400)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_dask_with_a_worker_killed_gives_the_bytes_of_one_machine(tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    out = tmp_path / "run"
    told = example("dask_fleet.py", "--out", out, "--sites", 42, "--per-part", 4, "--kill", "--check", PROGRAM, "--json")
    lines = told.splitlines()
    assert "killed after 4 of 11 partitions" in lines[0]
    figures = json.loads(lines[1])
    assert (figures["sites"], figures["rows"], figures["refused"]) == (42, 168, 0)
    assert lines[2].startswith("the same 11 files, byte for byte")
    again = subprocess.run(
        [sys.executable, str(EXAMPLES / "dask_fleet.py"), "--out", str(out)], capture_output=True, text=True
    )
    assert again.returncode == 2 and "there already" in again.stderr


def test_spark_gives_the_rows_of_one_machine(tmp_path: Path) -> None:
    pytest.importorskip("pyspark", reason="pyspark is not installed: pip install './python[spark]'")
    told = example("spark_fleet.py", "--out", tmp_path / "run", "--sites", 42, "--per-part", 8, "--check", PROGRAM)
    assert "the same 168 rows as yearlight fleet" in told
