"""What can go wrong, in the words of the command line."""

from __future__ import annotations

import re

_Parts = tuple[str, "int | None", str, str, str]


class Error(Exception):
    """Anything that yearlight refuses to do."""


class InputError(Error, ValueError):
    """An input that cannot be used: a job, a parts file, a weather file, a table of sites.

    ``str(error)`` is what the command line prints. The parts of the message stand one by one, ``None`` where the message
    has no such part:

    - ``file``: the file as it was named, or ``job`` for a job given as a dict
    - ``line``: line in it, from 1
    - ``field``: the key or column, such as ``plane.tilt_deg``
    - ``found``: what stands there
    - ``expected``: what should
    - ``mend``: what to do
    """

    def __init__(
        self,
        text: str,
        file: str | None = None,
        line: int | None = None,
        field: str | None = None,
        found: str | None = None,
        expected: str | None = None,
        mend: str | None = None,
    ) -> None:
        super().__init__(text)
        self.file = file
        self.line = line
        self.field = field
        self.found = found
        self.expected = expected
        self.mend = mend

    def __reduce__(self) -> tuple[type[InputError], tuple[object, ...]]:
        # So that an error raised in another process arrives with its parts.
        parts = (self.file, self.line, self.field, self.found, self.expected, self.mend)
        return type(self), (str(self), *parts)

    @classmethod
    def _of(cls, text: str, parts: _Parts | None) -> InputError:
        """From the words of the engine, and the parts where it hands them out."""
        if parts is None:
            parts = _read(text)
        if parts is None:
            return cls(text)
        file, line, found, expected, mend = parts
        return cls(text, file or None, line, _field(found), found, expected, mend or None)


def _read(text: str) -> _Parts | None:
    """The parts of a message ``file:line: found; expected this.`` with the mend below."""
    head, _, mend = text.partition("\n")
    match = re.fullmatch(r"(?:(?P<at>[^\s:]?[^:]*?)(?::(?P<line>\d+))?: )?(?P<found>.*?); expected (?P<expected>.*)", head)
    if match is None:
        return None
    line = int(match["line"]) if match["line"] else None
    return match["at"] or "", line, match["found"], match["expected"].rstrip("."), mend.strip()


def _field(found: str) -> str | None:
    """The key in ``plane.tilt_deg is 200``, ``title is missing``, ``there is no key tilt in plane``."""
    match = re.match(r"(?:the column |column )?([a-z0-9_]+(?:\.[\w \-]+?)*(?:\[\d+\])*) (?:is|names|has|holds)\b", found)
    if match and match[1] not in {"this", "it", "there", "file", "holds"}:
        return match[1]
    match = re.match(r"(?:there is no (?:key|column) |the key )\"?([\w.\-]+)", found)
    return match[1] if match else None
