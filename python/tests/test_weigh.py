"""One site: the same as the command line, to the last digit and the last word."""

from __future__ import annotations

import csv
import datetime
import json
import math
import pickle
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest

import yearlight
from conftest import Cli

JOB = "configs/two-skies/cloudy.toml"
FILES = ["months.csv", "years.csv", "account.csv", "gap.csv", "run.json", "report.html"]


@pytest.fixture(scope="module")
def result() -> yearlight.Result:
    # Before the folder is changed for each test.
    import os

    from conftest import ROOT

    os.chdir(ROOT)
    return yearlight.weigh(JOB)


@pytest.fixture(scope="module")
def told(cli: Cli, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The folder that the command line writes, and what it prints."""
    out = tmp_path_factory.mktemp("cli") / "out"
    return out, cli("weigh", JOB, "--out", out, "--quiet", "--hours").stdout


def cells(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def same(table: yearlight.Table, path: Path) -> None:
    expected = cells(path)
    assert table.columns == list(expected[0])
    assert len(table) == len(expected)
    for ours, theirs in zip(table, expected):
        for name, text in theirs.items():
            value = ours[name]
            if isinstance(value, float):
                # Equal bits, or no number on both sides.
                assert value == float(text) or (math.isnan(value) and text == "NaN"), (name, value, text)
            else:
                assert str(value) == text, name


def test_every_table_is_that_of_the_command_line(result: yearlight.Result, told: tuple[Path, str]) -> None:
    out, _ = told
    same(result.months, out / "months.csv")
    same(result.years, out / "years.csv")
    same(result.account, out / "account.csv")
    same(result.gaps, out / "gap.csv")
    assert result.run == json.loads((out / "run.json").read_text(encoding="utf-8"))
    assert result.html() == (out / "report.html").read_text(encoding="utf-8")
    assert str(result).strip() == told[1].strip()


def test_write_gives_the_files_of_the_command_line(
    result: yearlight.Result, told: tuple[Path, str], tmp_path: Path
) -> None:
    result.write(tmp_path / "new" / "folder", hours=True)
    for name in [*FILES, "hours.parquet"]:
        assert (tmp_path / "new" / "folder" / name).read_bytes() == (told[0] / name).read_bytes(), name
    result.months.write(tmp_path / "months.csv")
    assert (tmp_path / "months.csv").read_bytes() == (told[0] / "months.csv").read_bytes()
    result.hours.write(tmp_path / "hours.parquet")
    assert (tmp_path / "hours.parquet").read_bytes() == (told[0] / "hours.parquet").read_bytes()
    with pytest.raises(yearlight.InputError, match="cannot be written"):
        result.months.write(tmp_path / "nowhere" / "months.csv")


def test_options_agree_with_the_other_tables(result: yearlight.Result) -> None:
    for option in result.options:
        months = [m for m in result.months if m["option"] == option["option"]]
        assert math.isclose(sum(m["e_ac_kwh"] for m in months), option["e_ac_kwh"], rel_tol=1e-12)
        years = [y["e_ac_kwh"] for y in result.years if y["option"] == option["option"]]
        assert math.isclose(sum(years), option["lifetime_kwh"], rel_tol=1e-12)
        assert option["string_check"] in {"allowed", "allowed-thin", "partly-checked", "not-allowed"}
    first, second = list(result.options)[:2]
    assert math.isnan(first["gap_kwh"])
    assert math.isclose(second["gap_kwh"], second["e_ac_kwh"] - first["e_ac_kwh"], rel_tol=1e-9)


def job() -> dict[str, Any]:
    import tomllib

    with open(JOB, "rb") as file:
        return tomllib.load(file)


needs_toml = pytest.mark.skipif(sys.version_info < (3, 11), reason="the standard library reads TOML from 3.11 on")


@needs_toml
def test_a_dict_gives_the_same_as_the_file(result: yearlight.Result) -> None:
    again = yearlight.weigh(job(), base="configs/two-skies")
    for name in ("months", "years", "account", "gaps", "options", "hours"):
        ours, theirs = getattr(again, name).to_dict(), getattr(result, name).to_dict()
        assert repr(ours) == repr(theirs), name
    assert again.run["study"] == result.run["study"]
    given = [line["path"] for line in again.run["inputs"] if line["given"]]
    assert given == [line["path"] for line in result.run["inputs"] if line["given"]]


@needs_toml
def test_values_of_other_libraries_are_taken() -> None:
    numpy = pytest.importorskip("numpy")
    plain, other = job(), job()
    other["plane"][0]["tilt_deg"] = numpy.float64(plain["plane"][0]["tilt_deg"])
    other["weather"]["file"] = Path("configs/two-skies").resolve() / plain["weather"]["file"]
    other["skyline"] = numpy.array([[200, 3], [225, 6]])
    plain["skyline"] = [[200, 3], [225, 6]]
    other["grid"] = None
    other["proposal"] = dict(plain.get("proposal", {}), date=datetime.date(2030, 1, 2))
    one = yearlight.weigh(plain, base="configs/two-skies")
    two = yearlight.weigh(other, base=Path("configs/two-skies"))
    assert one.months["e_ac_kwh"] == two.months["e_ac_kwh"]


def test_a_record_repeats_its_run(result: yearlight.Result, told: tuple[Path, str]) -> None:
    again = yearlight.weigh(told[0] / "run.json")
    assert again.months.to_dict() == result.months.to_dict()


GOOD = """title = "Roof"
parts = "{root}/configs/merrowby-parts.toml"
[weather]
file = "{root}/weather/merrowby.csv"
[[plane]]
name = "roof"
tilt_deg = 12
azimuth_deg = 180
[[option]]
tag = "A"
module = "P410"
inverter = "K33"
target_kw = 40
"""

# An edit of the good file, and line, field and beginnings of the parts of its message.
EDITS = [
    ("tilt_deg = 12", "tilt_deg = 200", 7, "plane.tilt_deg", "200", "0 to 90 deg"),
    ("tilt_deg = 12", "tilt_dge = 12", 7, None, "tilt_dge", None),
    ("tilt_deg = 12", 'tilt_deg = "flat"', 7, "plane.tilt_deg", "flat", "a number"),
    ("title =", "titel =", 1, None, "titel", None),
    ("target_kw = 40", "target_kw = -3", 13, None, "-3", None),
    ('module = "P410"', 'module = "P411"', 11, None, "P411", None),
    ("[weather]", "[weather", 3, None, None, None),
    ("merrowby.csv", "nowhere.csv", None, None, None, None),
    ("merrowby-parts.toml", "nowhere.toml", 2, None, "nowhere.toml", None),
    ("azimuth_deg = 180", "", 5, None, "azimuth_deg", None),
]


@pytest.mark.parametrize(("old", "new", "line", "field", "found", "expected"), EDITS)
def test_errors_have_the_words_of_the_command_line(
    cli: Cli,
    tmp_path: Path,
    old: str,
    new: str,
    line: int | None,
    field: str | None,
    found: str | None,
    expected: str | None,
) -> None:
    from conftest import ROOT

    path = tmp_path / "job.toml"
    path.write_text(GOOD.format(root=ROOT).replace(old, new), encoding="utf-8")
    words = cli("weigh", path, "--out", tmp_path / "out", code=1).stderr.strip()
    with pytest.raises(yearlight.InputError) as caught:
        yearlight.weigh(path)
    error = caught.value
    assert str(error) == words
    assert isinstance(error, (yearlight.Error, ValueError))
    assert error.file and error.found and error.expected and error.mend
    if line is not None:
        assert (error.file, error.line) == (str(path), line)
    if field is not None:
        assert error.field == field
    if found is not None:
        assert found in error.found
    if expected is not None:
        assert error.expected.startswith(expected)
    assert error.mend in words


def test_errors_of_weather_have_the_words_of_the_command_line(cli: Cli, tmp_path: Path) -> None:
    from conftest import ROOT

    good = (ROOT / "weather" / "merrowby.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    good[4000] = good[4000].rsplit(",", 1)[0] + ",x\n"
    (tmp_path / "bad.csv").write_text("".join(good), encoding="utf-8")
    path = tmp_path / "job.toml"
    path.write_text(GOOD.format(root=ROOT).replace(f"{ROOT}/weather/merrowby.csv", "bad.csv"), encoding="utf-8")
    words = cli("weigh", path, "--out", tmp_path / "out", code=1).stderr.strip()
    with pytest.raises(yearlight.InputError) as caught:
        yearlight.weigh(path)
    assert str(caught.value) == words
    assert (caught.value.file, caught.value.line) == (str(tmp_path / "bad.csv"), 4001)


def test_an_error_crosses_processes() -> None:
    with pytest.raises(yearlight.InputError) as caught:
        yearlight.weigh({"title": "x", "plane": [{"tilt_deg": 200}]})
    again = pickle.loads(pickle.dumps(caught.value))
    assert str(again) == str(caught.value)
    assert vars(again) == vars(caught.value)
    assert again.file == "job" and again.line is None


@pytest.mark.parametrize(
    ("job", "words"),
    [
        ({"plane": [{"tilt_deg": math.nan}]}, "job: plane[0].tilt_deg is nan; expected a finite number"),
        ({"plane": [{"tilt_deg": 1 << 70}]}, "job: plane[0].tilt_deg is a number of more than 64 bits"),
        ({"site": {3: 1}}, "job: site is a section with the key 3"),
        ({"site": {"name": object()}}, "job: site.name is a object"),
        ({}, "job: "),
    ],
)
def test_what_has_no_place_in_a_job_is_named(job: dict[str, Any], words: str) -> None:
    with pytest.raises(yearlight.InputError) as caught:
        yearlight.weigh(job)
    assert str(caught.value).startswith(words)


def test_wrong_use_is_a_type_error() -> None:
    with pytest.raises(TypeError):
        yearlight.weigh(3)  # type: ignore[arg-type]
    with pytest.raises(TypeError, match="base goes with"):
        yearlight.weigh(JOB, base="configs")
    with pytest.raises(ValueError, match="threads is 0"):
        yearlight.weigh(JOB, threads=0)


def test_shown_in_a_notebook_and_on_a_console(result: yearlight.Result) -> None:
    assert repr(result).startswith("<yearlight.Result '") and "kWh" in repr(result)
    page = result._repr_html_()
    assert page.startswith("<table>") and page.count("<tr>") == len(result.options) + 1
    assert "not a guarantee" in page
    assert repr(result.months).startswith("<yearlight.Table: 36 rows") or "rows" in repr(result.months)
    html = result.hours._repr_html_()
    assert html.count("<tr>") == 25 and "more rows" in html
    dangerous = yearlight.Table.__new__(yearlight.Table)
    assert "<script>" not in yearlight._table._html({"<script>": ["<script>"]}, 1)  # type: ignore[attr-defined]
    del dangerous
    assert not hasattr(result, "__dict__") or "_weighed" in vars(result)


def test_one_thread_and_all_give_the_same(result: yearlight.Result) -> None:
    assert yearlight.weigh(JOB, threads=1).run == result.run


def test_other_threads_go_on_meanwhile() -> None:
    """While one thread weighs, the other ticks; with the lock held it could not."""
    ticks: list[float] = []
    done = threading.Event()

    def work() -> None:
        yearlight.weigh(JOB)
        done.set()

    worker = threading.Thread(target=work)
    start = time.perf_counter()
    worker.start()
    while not done.is_set():
        ticks.append(time.perf_counter())
        time.sleep(0.0005)
    worker.join()
    took = time.perf_counter() - start
    # A run of the whole job takes tens of milliseconds at least.
    assert len(ticks) > 5, (len(ticks), took)
    longest = max(b - a for a, b in zip(ticks, ticks[1:]))
    assert longest < 0.5 * took, (longest, took)
