"""Many sites: one table in, one table out."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from . import _core
from ._input import text_of
from ._table import Table

if TYPE_CHECKING:
    import pandas
    import polars
    import pyarrow


class Fleet:
    """Results of many sites: :attr:`rows`, and :attr:`refused` for the sites that cannot be run.

    It is a table itself: ``polars.DataFrame(fleet)`` and ``pyarrow.table(fleet)`` take its rows without copying numbers.
    """

    __slots__ = ("_refused", "_rows")

    def __init__(self, rows: Table, refused: Table) -> None:
        self._rows = rows
        self._refused = refused

    @property
    def rows(self) -> Table:
        """A row per site and option, in the order of the sites: the columns of ``fleet.parquet`` (kWh, kWh/m2, h, kW, deg)."""
        return self._rows

    @property
    def refused(self) -> Table:
        """A row per refused site: ``row`` of the table (from 1), ``site``, ``reason``."""
        return self._refused

    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object:
        """The Arrow C stream of the rows."""
        return self.rows.__arrow_c_stream__(requested_schema)

    def __arrow_c_schema__(self) -> object:
        """The Arrow C schema of the rows."""
        return self.rows.__arrow_c_schema__()

    def to_polars(self) -> polars.DataFrame:
        """The rows as a polars data frame."""
        return self.rows.to_polars()

    def to_arrow(self) -> pyarrow.Table:
        """The rows as a pyarrow table."""
        return self.rows.to_arrow()

    def to_pandas(self, *, copy: bool = True) -> pandas.DataFrame:
        """The rows as a pandas data frame."""
        return self.rows.to_pandas(copy=copy)

    def __len__(self) -> int:
        return len(self.rows)

    def __repr__(self) -> str:
        sites = len(set(self.rows["row"])) if self.rows.columns else 0
        return f"<yearlight.Fleet: {len(self.rows)} rows of {sites} sites, {len(self.refused)} sites refused>"

    def _repr_html_(self) -> str:
        refused = f"<p>{len(self.refused)} sites refused, see .refused</p>" if len(self.refused) else ""
        return self.rows._repr_html_() + refused


def fleet(
    table: object,
    *,
    template: Mapping[str, Any] | str | os.PathLike[str],
    parts: Mapping[str, Any] | str | os.PathLike[str] | None = None,
    base: str | os.PathLike[str] | None = None,
    weather: str = "{weather}",
    weather_set: str | os.PathLike[str] | None = None,
    weather_set_label: str = "beginning",
    split: bool = False,
    first_row: int = 1,
    taken: Mapping[str, int] | None = None,
    name: str = "table",
    threads: int | None = None,
) -> Fleet:
    """Runs one job at many sites, as ``yearlight fleet`` does.

    ``table`` is any table that gives Arrow data (polars, pyarrow, pandas) with a row per site; it is read where it lies.
    Its columns take the place of keys of the template: ``site`` (a name, each once), ``weather``, ``latitude_deg``,
    ``longitude_deg``, ``elevation_m``, ``utc_offset_h`` (h), ``label``, ``light_scale`` (0.5 to 1.5), ``country``,
    ``climate``, and keys with a dot such as ``plane.tilt_deg`` or ``option.A.target_kw``. An empty cell (null or NaN) leaves
    the template's value.

    - ``template``: a job, as a path or a dict as for :func:`weigh`
    - ``parts``: a parts file, or a dict with ``module`` and ``inverter``, in place of the template's
    - ``base``: folder that ``weather``, ``weather_set``, ``parts`` and the paths of a dict are relative to; the working
      directory when left out
    - ``weather``: path of a site's weather file, with columns of the table in braces; where such a cell is empty, the
      template's file is taken
    - ``weather_set``: one Parquet file with the years of many sites, whose times are ``beginning``, ``middle`` or
      ``ending`` of their steps by ``weather_set_label``
    - ``split``: also why every option differs from the first, cause by cause; takes many runs a site
    - ``first_row``: number of the first row, and ``taken``: names that stand in earlier rows, with those rows, where the
      table is a part of a larger one
    - ``name``: what messages call the table
    - ``threads``: limit of threads

    A site that cannot be run stands in :attr:`Fleet.refused` with its reason; what concerns all sites raises
    :class:`InputError`. Other Python threads go on meanwhile, and Ctrl-C is heard.
    """
    if first_row < 1:
        raise ValueError(f"first_row is {first_row}; expected 1 or more")
    folder = "" if base is None else os.fspath(base)
    over: str | None = None
    if isinstance(template, Mapping):
        sections = dict(template)
        if isinstance(parts, Mapping):
            sections.pop("parts", None)
            sections.update(parts)
        elif parts is not None:
            sections["parts"] = os.fspath(parts)
            for key in ("module", "inverter"):
                sections.pop(key, None)
        text = text_of(sections, "job")
    else:
        text = os.fspath(template)
        if isinstance(parts, Mapping):
            over = text_of(parts, "parts")
        elif parts is not None:
            over = json.dumps({"parts": os.path.abspath(os.path.join(folder, os.fspath(parts)))})
    rows, refused = _core.fleet(
        table,
        text,
        isinstance(template, Mapping),
        over,
        folder,
        weather,
        None if weather_set is None else os.fspath(weather_set),
        weather_set_label,
        split,
        first_row - 1,
        dict(taken or {}),
        name,
        threads,
    )
    return Fleet(Table(rows), Table(refused))
