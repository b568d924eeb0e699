"""Tables reach other libraries without copies."""

from __future__ import annotations

import math

import pytest

import yearlight

pyarrow = pytest.importorskip("pyarrow")
polars = pytest.importorskip("polars")
pandas = pytest.importorskip("pandas")

JOB = "configs/two-skies/cloudy.toml"


@pytest.fixture
def table() -> yearlight.Table:
    return yearlight.weigh(JOB).months


def test_the_same_buffers_everywhere(table: yearlight.Table) -> None:
    at = table._table.addresses("e_ac_kwh")
    assert len(at) == 1
    for taken in (pyarrow.table(table), table.to_arrow(), pyarrow.RecordBatchReader.from_stream(table).read_all()):
        chunks = taken["e_ac_kwh"].chunks
        assert [chunk.buffers()[1].address for chunk in chunks] == at
    for frame in (polars.DataFrame(table), table.to_polars()):
        assert frame["e_ac_kwh"].to_arrow().buffers()[1].address == at[0]
        assert frame["month"].to_arrow().buffers()[1].address == table._table.addresses("month")[0]
    shared = table.to_pandas(copy=False)
    assert shared["e_ac_kwh"].to_numpy().__array_interface__["data"][0] == at[0]
    copied = table.to_pandas()
    assert copied["e_ac_kwh"].to_numpy().__array_interface__["data"][0] != at[0]
    copied.loc[0, "e_ac_kwh"] = -1.0
    assert table["e_ac_kwh"][0] != -1.0


def test_buffers_outlive_the_result() -> None:
    frame = yearlight.weigh(JOB).months.to_arrow()
    import gc

    gc.collect()
    assert frame["e_ac_kwh"].to_pylist() == yearlight.weigh(JOB).months["e_ac_kwh"]


def test_values_and_types_are_the_same_everywhere(table: yearlight.Table) -> None:
    plain = table.to_dict()
    assert table.to_arrow().to_pydict() == plain
    assert table.to_polars().to_dict(as_series=False) == plain
    assert table.to_pandas().to_dict(orient="list") == plain
    schema = pyarrow.schema(table)
    assert schema.names == table.columns
    assert {str(t) for t in schema.types} == {"string", "int64", "double"}
    assert pyarrow.table(table).schema == schema


def test_no_number_stays_no_number() -> None:
    gap = yearlight.weigh(JOB).options.to_arrow()["gap_kwh"]
    assert gap.null_count == 0 and math.isnan(gap[0].as_py())


def test_a_table_by_rows_and_columns(table: yearlight.Table) -> None:
    rows = list(table)
    assert len(rows) == len(table)
    assert [r["month"] for r in rows] == table["month"]
    with pytest.raises(KeyError, match="no column nothing"):
        table["nothing"]


def test_an_empty_table_keeps_its_columns() -> None:
    good = polars.DataFrame({"site": ["a"]})
    refused = yearlight.fleet(good, template=JOB).refused
    assert len(refused) == 0
    assert pyarrow.table(refused).schema.names == ["row", "site", "reason"]
    assert polars.DataFrame(refused).shape == (0, 3)
