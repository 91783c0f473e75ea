"""How a text of numbers is laid out: delimiter, header, columns, unit of time."""

from __future__ import annotations

import csv
import re
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction

from dccwire.errors import Reason, RecordingError
from dccwire.recordings.units import UNITS_NS

__all__ = ["Layout", "number", "read_layout"]

#: Lines that begin like this are comments.
_COMMENT = re.compile(r"\s*(#|%|//)")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_TIME_NAME = re.compile(
    r"\W*(time|timestamp|t|seconds|milliseconds|microseconds|nanoseconds)(\b|_)"
)
_INDEX_NAME = re.compile(r"\W*(sample|samples|index|n)\b")
_UNIT_NAMES = {
    "s": "s",
    "sec": "s",
    "second": "s",
    "seconds": "s",
    "ms": "ms",
    "msec": "ms",
    "millisecond": "ms",
    "milliseconds": "ms",
    "us": "us",
    "µs": "us",
    "μs": "us",
    "usec": "us",
    "microsecond": "us",
    "microseconds": "us",
    "ns": "ns",
    "nsec": "ns",
    "nanosecond": "ns",
    "nanoseconds": "ns",
}


@dataclass(frozen=True, slots=True)
class Layout:
    """How to read a row.

    Attributes:
        delimiter: "," or ";" or a tab.
        decimal_comma: whether numbers have a comma for the point.
        header: the number of the line that holds the names, 0 without one.
        time: the column of times; None when rows are samples without one.
        indexed: whether `time` counts samples.
        levels: the columns of levels, and their names.
        unit_ns: the unit of time, if the header tells it.
        mark_bytes: the length of the byte-order mark.
    """

    delimiter: str
    decimal_comma: bool
    header: int
    time: int | None
    indexed: bool
    levels: dict[int, str]
    unit_ns: Fraction | None
    mark_bytes: int

    def fields(self, line: str) -> list[str] | None:
        """The fields of a line, with points for commas; None for blank lines and comments."""
        return _fields(line, self.delimiter, self.decimal_comma)


def number(text: str) -> float | None:
    """The number that a field holds, or None."""
    return float(text) if _NUMBER.fullmatch(text) else None


def _fields(line: str, delimiter: str, decimal_comma: bool = False) -> list[str] | None:
    if not line.strip() or _COMMENT.match(line):
        return None
    parts = line.split(delimiter)
    if '"' in line:
        # What csv cannot take apart is no number either, and is told with its line.
        with suppress(csv.Error):
            parts = next(csv.reader([line], delimiter=delimiter))
    parts = [part.strip() for part in parts]
    return [part.replace(",", ".") for part in parts] if decimal_comma else parts


def read_layout(shown: str, lines: list[str], mark_bytes: int = 0) -> Layout:
    """Tell the layout from the first lines of a file.

    Raises:
        RecordingError: there are no rows.
    """
    content = [
        (at, line) for at, line in enumerate(lines, 1) if line.strip() and not _COMMENT.match(line)
    ]
    if not content:
        raise RecordingError(Reason.FORMAT, shown, "there are no rows of numbers in the file")
    sample = content[min(1, len(content) - 1)][1]
    delimiter = next((mark for mark in ";\t," if mark in sample), ",")
    decimal_comma = delimiter != "," and bool(re.search(r"\d,\d", sample))
    rows = [_fields(line, delimiter, decimal_comma) or [] for _, line in content]
    names: list[str] = []
    header = 0
    if number(rows[0][0]) is None:
        names, header = _fields(content[0][1], delimiter) or [], content[0][0]
        del rows[0]
    width = max(map(len, rows), default=len(names))
    level_like = [_is_level(rows, column) for column in range(width)]
    lower = [name.lower() for name in names]
    named = [column for column, name in enumerate(lower) if _TIME_NAME.match(name)]
    indexed = [column for column, name in enumerate(lower) if _INDEX_NAME.match(name)]
    time = next(iter(named + indexed), 0 if not level_like[0] else None)
    levels = {
        column: names[column] if column < len(names) and names[column] else f"column {column + 1}"
        for column in range(width)
        if column != time and level_like[column]
    }
    return Layout(
        delimiter,
        decimal_comma,
        header,
        time,
        not named and bool(indexed),
        levels,
        _unit(lower[time]) if time is not None and time < len(lower) else None,
        mark_bytes,
    )


def _is_level(rows: list[list[str]], column: int) -> bool:
    """Whether most rows hold 0 or 1 there; a row that does not is told when it is read."""
    held = sum(column < len(row) and number(row[column]) in (0, 1) for row in rows)
    return 2 * held > len(rows)


def _unit(name: str) -> Fraction | None:
    """The unit in the name of a column, such as `Time [s]`, `time_us`, `Time(ms)`.

    >>> _unit("time_us")
    Fraction(1000, 1)
    """
    for word in reversed(re.findall("[a-zµμ]+", name)):
        if word in _UNIT_NAMES:
            return UNITS_NS[_UNIT_NAMES[word]]
    return None
