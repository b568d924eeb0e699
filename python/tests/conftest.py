"""What the tests share: the program that they compare with, and the folder of its examples."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TARGET = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
PROGRAM = Path(os.environ.get("YEARLIGHT_PROGRAM", ROOT / TARGET / "release" / "yearlight"))

Cli = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture(autouse=True)
def at_root(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Files are named as a user in the clone names them."""
    monkeypatch.chdir(ROOT)
    yield


@pytest.fixture(scope="session")
def cli() -> Cli:
    """Runs the command line."""
    assert PROGRAM.exists(), f"{PROGRAM} is missing: cargo build --release first"

    def run(*words: object, code: int = 0) -> subprocess.CompletedProcess[str]:
        command = [str(PROGRAM), *map(str, words)]
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, encoding="utf-8")
        assert done.returncode == code, done.stderr
        return done

    return run
