"""Many sites: all rows and all refusals are those of the command line."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest

import yearlight
from conftest import ROOT, Cli

pyarrow = pytest.importorskip("pyarrow")
polars = pytest.importorskip("polars")
pandas = pytest.importorskip("pandas")
import pyarrow.csv  # noqa: E402
import pyarrow.dataset  # noqa: E402
import pyarrow.parquet  # noqa: E402

DEMO = Path("configs/merrowby-fleet")
HOW: dict[str, Any] = {
    "template": DEMO / "template.toml",
    "base": DEMO,
    "weather": "weather/{weather}.csv.gz",
}


def sites() -> Any:
    """The demo's table of sites; the first line is a comment."""
    from pyarrow.csv import ReadOptions, read_csv

    return read_csv(ROOT / DEMO / "fleet.csv", read_options=ReadOptions(skip_rows=1))


def rows_of(folder: Path) -> Any:
    return pyarrow.dataset.dataset(folder / "fleet.parquet").to_table()


def refusals_of(folder: Path) -> list[dict[str, str]]:
    import csv

    with open(folder / "refused.csv", newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def demo(cli: Cli, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo by the command line."""
    out = tmp_path_factory.mktemp("fleet")
    cli("fleet", DEMO / "fleet.toml", "--out", out, "--quiet", code=3)
    return out


def as_polars() -> Any:
    return polars.read_csv(ROOT / DEMO / "fleet.csv", comment_prefix="#")


def as_pandas() -> Any:
    return pandas.read_csv(ROOT / DEMO / "fleet.csv", comment="#")


def as_categories() -> Any:
    table = sites()
    for i, column in enumerate(table.columns):
        if str(column.type) == "string":
            table = table.set_column(i, table.column_names[i], column.dictionary_encode())
    return table


def as_batches() -> Any:
    table = sites()
    return pyarrow.concat_tables([table.slice(0, 5), table.slice(5, 0), table.slice(5, 1), table.slice(6)])


@pytest.mark.parametrize("make", [sites, as_polars, as_pandas, as_categories, as_batches])
def test_all_rows_are_those_of_the_command_line(demo: Path, make: Any) -> None:
    result = yearlight.fleet(make(), **HOW)
    expected = rows_of(demo)
    ours = result.to_arrow()
    assert ours.column_names == expected.column_names
    for name in expected.column_names:
        # Exactly: every digit of every number.
        assert ours[name].to_pylist() == expected[name].to_pylist(), name
    refused = refusals_of(demo)
    assert result.refused["row"] == [int(r["row"]) for r in refused]
    assert result.refused["site"] == [r["site"] for r in refused]
    for reason, theirs in zip(result.refused["reason"], refused):
        # The words after file and line.
        place = f"{DEMO}/fleet.csv:{theirs['line']}: "
        assert theirs["reason"].startswith(place)
        if theirs["site"] == "Mill":
            assert reason == f"table:row {theirs['row']}: the name Mill stands at table:row 3 already; expected each " \
                "name once. Rename or remove one of the two."
        else:
            assert reason == f"table:row {theirs['row']}: " + theirs["reason"].removeprefix(place)
    assert repr(result) == "<yearlight.Fleet: 60 rows of 20 sites, 4 sites refused>"
    assert "4 sites refused" in result._repr_html_()


def test_the_same_table_as_parquet_gives_the_same_words_and_bytes(cli: Cli, tmp_path: Path) -> None:
    table = sites()
    pyarrow.parquet.write_table(table, tmp_path / "sites.parquet")
    fleet = tmp_path / "fleet.toml"
    fleet.write_text(
        f'title = "t"\ntemplate = "{ROOT / DEMO}/template.toml"\nsites = "sites.parquet"\n'
        f'weather = "{ROOT / DEMO}/weather/{{weather}}.csv.gz"\nsplit = true\nsites_per_part = 9\n'
    )
    out = tmp_path / "out"
    cli("fleet", fleet, "--out", out, "--quiet", code=3)
    how = dict(HOW, weather=str(ROOT / DEMO / "weather" / "{weather}.csv.gz"))
    for part, start in enumerate(range(0, 24, 9)):
        earlier = table.slice(0, start)["site"].to_pylist()
        result = yearlight.fleet(
            table.slice(start, 9),
            split=True,
            first_row=start + 1,
            taken={name: i + 1 for i, name in reversed(list(enumerate(earlier)))},
            name=str(tmp_path / "sites.parquet"),
            **how,
        )
        result.rows.write(tmp_path / "part.parquet")
        assert (tmp_path / "part.parquet").read_bytes() == (out / f"fleet.parquet/part-{part:05}.parquet").read_bytes()
        theirs = [r for r in refusals_of(out) if start < int(r["row"]) <= start + 9]
        assert result.refused["reason"] == [r["reason"] for r in theirs]


def test_threads_do_not_change_a_digit() -> None:
    table = sites().slice(0, 6)
    assert yearlight.fleet(table, threads=1, **HOW).rows.to_dict() == yearlight.fleet(table, **HOW).rows.to_dict()


def test_parts_take_the_place_of_the_templates(tmp_path: Path) -> None:
    table = polars.DataFrame({"site": ["a", "b"], "plane.tilt_deg": [10.0, 20.5]})
    text = (ROOT / "configs/merrowby-parts.toml").read_text(encoding="utf-8")
    (tmp_path / "parts.toml").write_text(text, encoding="utf-8")
    job = {"title": "t", "weather": {"file": str(ROOT / "weather/merrowby.csv")},
           "plane": [{"name": "p", "tilt_deg": 12, "azimuth_deg": 180}],
           "option": [{"tag": "A", "module": "P410", "inverter": "K33", "target_kw": 40}]}
    one = yearlight.fleet(table, template=job, parts="configs/merrowby-parts.toml")
    two = yearlight.fleet(table, template=job, parts="parts.toml", base=tmp_path)
    assert len(one) == 2 and one.rows.to_dict() == two.rows.to_dict()
    if sys.version_info >= (3, 11):
        import tomllib

        sections = tomllib.loads(text)
        stronger = {k: sections[k] for k in ("module", "inverter")}
        assert yearlight.fleet(table, template=job, parts=stronger).rows.to_dict() == one.rows.to_dict()
        stronger["module"]["P410"].update(p_stc_w=420.0, v_mp=32.0, i_mp=13.125)
        more = yearlight.fleet(table, template="configs/merrowby-fleet/bench.toml", parts=stronger)
        assert more.rows["p_stc_kw"][0] == 40.32  # 96 modules of 420 W
        stronger["module"]["P410"]["gamma_pct_per_k"] = 3.5
        with pytest.raises(yearlight.InputError, match="gamma_pct_per_k"):
            yearlight.fleet(table, template="configs/merrowby-fleet/bench.toml", parts=stronger)
    text = text.replace("P410]", "Q410]")
    (tmp_path / "parts.toml").write_text(text, encoding="utf-8")
    with pytest.raises(yearlight.InputError) as caught:
        yearlight.fleet(table, template="configs/merrowby-fleet/bench.toml", parts=tmp_path / "parts.toml")
    assert (caught.value.file, caught.value.line is not None) == ("configs/merrowby-fleet/bench.toml", True)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ({"site": ["a"], "plane.tild_deg": [1]}, "tilt_deg"),
        ({"site": ["a"], "wether": ["x"]}, "Did you mean weather"),
        ({"weather": ["a"]}, "no column site"),
        ({"site": []}, "no sites"),
    ],
)
def test_what_concerns_all_sites_is_raised(table: dict[str, list[object]], words: str) -> None:
    with pytest.raises(yearlight.InputError, match=words) as caught:
        yearlight.fleet(polars.DataFrame(table, schema_overrides={"site": polars.String}), **HOW)
    assert str(caught.value).startswith("table")


def test_what_is_no_table_is_a_type_error() -> None:
    with pytest.raises(TypeError, match="the table is a list; expected a table"):
        yearlight.fleet([{"site": "a"}], **HOW)
    with pytest.raises(TypeError, match="column day holds"):
        yearlight.fleet(polars.DataFrame({"site": ["a"], "day": [None]}, schema={"site": polars.String, "day": polars.Date}), **HOW)
    with pytest.raises(TypeError, match="single column"):
        yearlight.fleet(polars.Series(["a"]), **HOW)
    with pytest.raises(yearlight.InputError, match="does not exist"):
        yearlight.fleet(sites(), template="nowhere.toml")
    with pytest.raises(ValueError, match="first_row is 0"):
        yearlight.fleet(sites(), first_row=0, **HOW)
    with pytest.raises(yearlight.InputError, match="weather_set_label"):
        yearlight.fleet(sites(), weather_set_label="end", **HOW)


def many(n: int) -> Any:
    return polars.DataFrame({"site": [f"s{i}" for i in range(n)], "plane.tilt_deg": [5 + i % 40 for i in range(n)]})


def test_two_fleets_and_a_clock_at_the_same_time() -> None:
    """Two threads run and a third ticks: the lock is free while the engine works."""
    done: list[yearlight.Fleet] = []
    started = threading.Barrier(3)

    def work() -> None:
        started.wait()
        done.append(yearlight.fleet(many(48), threads=1, template="configs/merrowby-fleet/bench.toml"))

    workers = [threading.Thread(target=work) for _ in range(2)]
    for worker in workers:
        worker.start()
    started.wait()
    start, ticks = time.perf_counter(), 0
    while any(w.is_alive() for w in workers):
        ticks += 1
        time.sleep(0.001)
    took = time.perf_counter() - start
    assert len(done) == 2 and done[0].rows.to_dict() == done[1].rows.to_dict()
    assert ticks > 5, (ticks, took)


def test_ctrl_c_ends_a_long_run() -> None:
    code = (
        "import polars, sys, yearlight\n"
        "n = 200_000\n"
        "table = polars.DataFrame({'site': [f's{i}' for i in range(n)]})\n"
        "print('ready', flush=True)\n"
        "try:\n"
        "    yearlight.fleet(table, template='configs/merrowby-fleet/bench.toml')\n"
        "except KeyboardInterrupt:\n"
        "    print('interrupted', flush=True)\n"
        "    sys.exit(7)\n"
    )
    run = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, cwd=ROOT)
    assert run.stdout is not None
    assert run.stdout.readline().strip() == "ready"
    time.sleep(1.0)
    assert run.poll() is None
    run.send_signal(signal.SIGINT)
    out, _ = run.communicate(timeout=60)
    assert (run.returncode, out.strip()) == (7, "interrupted")


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system has no fork")
def test_a_forked_child_has_threads_of_its_own() -> None:
    code = (
        "import os, polars, yearlight\n"
        "table = polars.DataFrame({'site': ['a', 'b', 'c']})\n"
        "run = lambda: yearlight.fleet(table, template='configs/merrowby-fleet/bench.toml').rows.to_dict()\n"
        "before = run()\n"
        "child = os.fork()\n"
        "if child == 0:\n"
        "    os._exit(0 if run() == before else 1)\n"
        "print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, timeout=120)
    assert done.stdout.strip() == "0", done.stderr
