"""What the pages show runs; the stubs are those of the compiled part."""

from __future__ import annotations

import doctest
import importlib
import subprocess
import sys
from pathlib import Path

import pytest

import yearlight
from conftest import ROOT

PAGES = [ROOT / "python" / "README.md", ROOT / "docs" / "cluster.md"]
FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_the_examples_of_a_page(page: Path) -> None:
    pytest.importorskip("polars")
    result = doctest.testfile(str(page), module_relative=False, optionflags=FLAGS, encoding="utf-8")
    assert result.attempted > 0 or page.name != "README.md"
    assert result.failed == 0


def test_the_examples_of_the_code() -> None:
    attempted = 0
    for name in ("yearlight", "yearlight._weigh", "yearlight._table", "yearlight._fleet"):
        result = doctest.testmod(importlib.import_module(name), optionflags=FLAGS)
        assert result.failed == 0, name
        attempted += result.attempted
    assert attempted >= 4


def test_everything_public_is_documented() -> None:
    for name in yearlight.__all__:
        thing = getattr(yearlight, name)
        if name == "__version__":
            continue
        assert thing.__doc__, name
        if isinstance(thing, type):
            for member, value in vars(thing).items():
                if not member.startswith("_") and callable(getattr(value, "__get__", None)):
                    assert getattr(value, "__doc__", None), f"{name}.{member}"


def test_types() -> None:
    pytest.importorskip("mypy")
    package = Path(yearlight.__file__).parent
    assert (package / "py.typed").exists()
    checked = subprocess.run(
        [sys.executable, "-m", "mypy", "--no-incremental", str(ROOT / "python" / "lib" / "yearlight")],
        capture_output=True,
        text=True,
        cwd=ROOT / "python",
    )
    assert checked.returncode == 0, checked.stdout
    stubs = subprocess.run(
        [sys.executable, "-m", "mypy.stubtest", "yearlight._core"], capture_output=True, text=True, cwd=ROOT / "python"
    )
    assert stubs.returncode == 0, stubs.stdout
