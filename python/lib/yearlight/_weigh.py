"""One site: all options of a job."""

from __future__ import annotations

import html
import json
import math
import os
from collections.abc import Mapping
from functools import cached_property
from typing import Any

from . import _core
from ._input import text_of
from ._table import Table


class Result:
    """A job, weighed: the options of one site side by side.

    Every table is made when it is first asked for, and then kept.
    """

    def __init__(self, weighed: _core.Weighed) -> None:
        self._weighed = weighed

    @property
    def title(self) -> str:
        """Title of the job."""
        return self._weighed.title

    @property
    def site(self) -> str:
        """Name of the site."""
        return self._weighed.site

    @cached_property
    def options(self) -> Table:
        """A row per option.

        First year: ``p_stc_kw`` installed at STC and ``p_ac_kw`` of the inverters (kW), ``h_i_kwh_m2`` light in the plane
        (kWh/m2), ``y_r_h`` and ``y_f_h`` reference and final yield (h, that is kWh/kW), ``pr`` performance ratio (0..1),
        ``e_dc_kwh``, ``e_ac_kwh``, ``clipped_kwh`` (kWh). Doubt: ``u_pct`` standard uncertainty (percent), ``p50_kwh``,
        ``p90_kwh``. ``lifetime_kwh`` over all years. Against the first option: ``gap_kwh``, ``gap_pct`` with
        ``gap_u_pct``, and ``gap_probability`` (0..1) that it is real. ``string_check`` says ``allowed``,
        ``allowed-thin``, ``partly-checked`` or ``not-allowed``.
        """
        return Table(self._weighed.options())

    @cached_property
    def months(self) -> Table:
        """A row per option and month of the first year: what ``months.csv`` holds (kWh, kWh/m2, h)."""
        return Table(self._weighed.months())

    @cached_property
    def years(self) -> Table:
        """A row per option and year of operation, from 1: what ``years.csv`` holds (kWh, percent)."""
        return Table(self._weighed.years())

    @cached_property
    def account(self) -> Table:
        """A row per option and effect, from nominal energy to energy delivered: what ``account.csv`` holds (kWh)."""
        return Table(self._weighed.account())

    @cached_property
    def gaps(self) -> Table:
        """A row per further option and cause: what ``gap.csv`` holds (kWh, kWh/kW)."""
        return Table(self._weighed.gaps())

    @cached_property
    def hours(self) -> Table:
        """A row per option and step: light (W/m2), temperatures (C), powers (W), voltage (V)."""
        return Table(self._weighed.hours())

    @cached_property
    def run(self) -> dict[str, Any]:
        """Everything that went in and came out: what ``run.json`` holds."""
        record: dict[str, Any] = json.loads(self._weighed.record())
        return record

    def html(self) -> str:
        """The report as one HTML page."""
        return self._weighed.html()

    def write(self, folder: str | os.PathLike[str], *, hours: bool = False) -> None:
        """Writes the files of the command line into a folder; ``hours=True`` adds ``hours.parquet``."""
        self._weighed.write(os.fspath(folder), hours)

    def __str__(self) -> str:
        """What the command line prints."""
        return self._weighed.answer()

    def __repr__(self) -> str:
        energy = zip(self.options["option"], self.options["e_ac_kwh"])
        shown = ", ".join(f"{tag} {kwh:.0f} kWh" for tag, kwh in energy)
        return f"<yearlight.Result {self.title!r}: {shown} in the first year>"

    def _repr_html_(self) -> str:
        """The options side by side, for a notebook; rounded to the doubt of the energy."""
        names = ["Option", "Module", "Power, kW", "Energy, kWh", "± kWh", "Yield, kWh/kW", "PR, %", "Gap, %", "Strings"]
        head = "".join(f'<th style="text-align:right">{name}</th>' for name in names)
        body = []
        for o in self.options:
            doubt = o["e_ac_kwh"] * o["u_pct"] / 100
            step = 10 ** (math.floor(math.log10(doubt)) - 1) if doubt > 0 else 1
            gap = "" if math.isnan(o["gap_pct"]) else f"{o['gap_pct']:+.1f}"
            if gap and not math.isnan(o["gap_u_pct"]):
                gap += f" ± {o['gap_u_pct']:.1f}"
            cells = [
                html.escape(o["option"]),
                html.escape(o["module"]),
                f"{o['p_stc_kw']:.2f}",
                f"{round(o['e_ac_kwh'] / step) * step:.0f}",
                "" if math.isnan(doubt) else f"{round(doubt / step) * step:.0f}",
                f"{o['y_f_h']:.0f}",
                f"{100 * o['pr']:.1f}",
                gap,
                html.escape(o["string_check"]),
            ]
            body.append("<tr>" + "".join(f'<td style="text-align:right">{cell}</td>' for cell in cells) + "</tr>")
        title = f"<caption>{html.escape(self.title)}, first year; an estimate, not a guarantee</caption>"
        return f"<table>{title}<thead><tr>{head}</tr></thead><tbody>{''.join(body)}</tbody></table>"


def weigh(
    job: Mapping[str, Any] | str | os.PathLike[str],
    *,
    base: str | os.PathLike[str] | None = None,
    threads: int | None = None,
) -> Result:
    """Weighs the options of one job against each other, as ``yearlight weigh`` does.

    ``job`` is the path of a job file (or of the ``run.json`` of an earlier run), or the same keys as a dict: units stand in
    the names of the keys (``tilt_deg``, ``target_kw``), azimuth is clockwise from north. Values may be array scalars and
    arrays, paths and dates; ``None`` is a key left out.

    ``base`` is the folder that paths inside a dict are relative to, the working directory when left out; paths inside a job
    file are relative to that file. ``threads`` limits the threads. Other Python threads go on meanwhile, and Ctrl-C is
    heard.

    Raises :class:`InputError` with the words of the command line.

    >>> import yearlight
    >>> result = yearlight.weigh("configs/merrowby-school.toml")
    >>> len(result.months)
    36
    """
    if isinstance(job, Mapping):
        folder = os.curdir if base is None else os.fspath(base)
        folder = "" if folder == os.curdir else folder
        return Result(_core.weigh_value(text_of(job, "job"), folder, threads))
    if base is not None:
        raise TypeError("base goes with a job given as a dict; paths in a job file are relative to that file")
    return Result(_core.weigh_path(os.fspath(job), threads))
