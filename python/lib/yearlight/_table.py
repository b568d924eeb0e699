"""Tables of results, for whichever library the reader prefers."""

from __future__ import annotations

import html
import math
import os
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from . import _core

if TYPE_CHECKING:
    import pandas
    import polars
    import pyarrow


class Table:
    """Named columns of equal length, held by the engine and shared by the Arrow C interface.

    ``polars.DataFrame(table)`` and ``pyarrow.table(table)`` take the columns of numbers without copying them, and so does
    :meth:`to_pandas`. Numbers that were not worked out are NaN.

    >>> import yearlight
    >>> table = yearlight.weigh("configs/merrowby-school.toml").options
    >>> table["option"]
    ['A', 'B', 'C']
    """

    __slots__ = ("_table",)

    def __init__(self, table: _core.Table) -> None:
        self._table = table

    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object:
        """The Arrow C stream, see the Arrow PyCapsule interface."""
        return self._table.__arrow_c_stream__(requested_schema)

    def __arrow_c_schema__(self) -> object:
        """The Arrow C schema."""
        return self._table.__arrow_c_schema__()

    @property
    def columns(self) -> list[str]:
        """Names of the columns, in order."""
        return self._table.columns

    def __len__(self) -> int:
        return len(self._table)

    def __iter__(self) -> Iterator[dict[str, Any]]:
        """Row by row, as dicts."""
        columns = self.to_dict()
        return (dict(zip(columns, row)) for row in zip(*columns.values()))

    def __getitem__(self, name: str) -> list[Any]:
        """The values of a column. ``KeyError`` for a name that is not there."""
        return self._table.column(name)

    def to_dict(self) -> dict[str, list[Any]]:
        """All columns as lists, by name."""
        return {name: self._table.column(name) for name in self.columns}

    def write(self, path: str | os.PathLike[str]) -> None:
        """Writes the table as Parquet, or as CSV where the name ends in ``.csv``: the same bytes as the command line.

        Under a temporary name first, so that the file is whole or not there.
        """
        self._table.write(os.fspath(path))

    def to_polars(self) -> polars.DataFrame:
        """As a polars data frame; numbers are not copied."""
        import polars

        return polars.DataFrame(self)

    def to_arrow(self) -> pyarrow.Table:
        """As a pyarrow table; nothing is copied."""
        import pyarrow

        return pyarrow.table(self)

    def to_pandas(self, *, copy: bool = True) -> pandas.DataFrame:
        """As a pandas data frame.

        ``copy=False`` shares the columns of numbers with the engine: they can be read, joined and summed, but not
        written into. Texts become pandas' own in both cases.
        """
        import pyarrow

        frame = pyarrow.table(self).to_pandas(split_blocks=True)
        return frame.copy() if copy else frame

    def __repr__(self) -> str:
        return f"<yearlight.Table: {len(self)} rows, {len(self.columns)} columns: {', '.join(self.columns)}>"

    def _repr_html_(self) -> str:
        return _html(self.to_dict(), len(self))


def _html(columns: dict[str, list[Any]], rows: int, most: int = 24) -> str:
    """A table for a notebook: the first rows."""
    head = "".join(f"<th>{html.escape(name)}</th>" for name in columns)
    body = []
    for i in range(min(rows, most)):
        cells = []
        for values in columns.values():
            value = values[i]
            side = "left" if isinstance(value, str) else "right"
            cells.append(f'<td style="text-align:{side}">{html.escape(_shown(value))}</td>')
        body.append(f"<tr>{''.join(cells)}</tr>")
    rest = f"<p>{rows - most} more rows</p>" if rows > most else ""
    return f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(body)}</tbody></table>{rest}"


def _shown(value: object) -> str:
    """For a reader: five significant digits; the full ones are in the table."""
    if isinstance(value, float):
        return "" if math.isnan(value) else f"{value:.5g}" if abs(value) < 1e5 else f"{value:.0f}"
    return str(value)
