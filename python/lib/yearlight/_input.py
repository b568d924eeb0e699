"""Jobs given as values."""

from __future__ import annotations

import datetime
import json
import math
import os
from collections.abc import Mapping
from typing import Any

from ._errors import InputError


def text_of(job: Mapping[str, Any], name: str) -> str:
    """A job as the text of a JSON object: arrays as lists, paths and dates as text, ``None`` as not given.

    Raises :class:`InputError` for what has no place in a job.
    """
    return json.dumps(_plain(job, "", name), allow_nan=False)


def _wrong(name: str, field: str, found: str, expected: str, mend: str) -> InputError:
    found = f"{field} is {found}" if field else f"the {name} is {found}"
    return InputError(f"{name}: {found}; expected {expected}.\n  {mend}", name, None, field or None, found, expected, mend)


def _plain(value: Any, field: str, name: str) -> Any:
    if value is None or isinstance(value, (str, bool)):
        return value
    if isinstance(value, int):
        if not -(2**63) <= value < 2**63:
            raise _wrong(name, field, "a number of more than 64 bits", "a number", "Write a smaller number.")
        return int(value)
    if isinstance(value, float):
        if not math.isfinite(value):
            raise _wrong(name, field, str(value), "a finite number", "Leave the key out if there is no value.")
        return float(value)
    if isinstance(value, os.PathLike):
        path = os.fspath(value)
        return path if isinstance(path, str) else os.fsdecode(path)
    if isinstance(value, (datetime.date, datetime.time)):
        return value.isoformat()
    if isinstance(value, Mapping):
        plain = {}
        for key, inner in value.items():
            if not isinstance(key, str):
                raise _wrong(name, field, f"a section with the key {key!r}", "keys of text", "Put the key in quotes.")
            below = f"{field}.{key}" if field else key
            if (kept := _plain(inner, below, name)) is not None:
                plain[key] = kept
        return plain
    if isinstance(value, (list, tuple)):
        return [_plain(inner, f"{field}[{i}]", name) for i, inner in enumerate(value)]
    # Arrays and numbers of array libraries.
    for method in ("tolist", "item"):
        if callable(convert := getattr(value, method, None)):
            inner = convert()
            if not isinstance(inner, type(value)):
                return _plain(inner, field, name)
    kind = type(value).__name__
    raise _wrong(name, field, f"a {kind}", "text, a number, true or false, a list or a section", "Convert it first.")
