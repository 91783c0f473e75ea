"""How a text of numbers is laid out: delimiter, header, columns, unit of time."""

import csv
import re
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction

from dccwire.recordings.opening import refusal
from dccwire.recordings.recording import UNITS_NS

#: Lines that begin like this are comments.
_COMMENT = re.compile(r"\s*(#|;|%|//)")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,4})?", re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+([eE][+-]?\d+)?", re.ASCII)
_TIME_NAME = re.compile(r"\W*(time|timestamp|t|(milli|micro|nano)?seconds)(\b|_)")
_INDEX_NAME = re.compile(r"\W*(sample|samples|index|n)\b")
#: What logic levels are called, beside 0 and 1.
_WORDS = dict.fromkeys(("true", "high", "h", "on"), "1")
_WORDS |= dict.fromkeys(("false", "low", "l", "off"), "0")
_ANY_WORD = re.compile(rf"\b({'|'.join(_WORDS)})\b", re.IGNORECASE)
_UNIT_NAMES = {
    name + plural: unit
    for unit, *names in (
        (60 * UNITS_NS["s"], "min", "minute"),
        (UNITS_NS["s"], "s", "sec", "second"),
        (UNITS_NS["ms"], "ms", "msec", "millisecond"),
        (UNITS_NS["us"], "us", "µs", "μs", "usec", "microsecond"),
        (UNITS_NS["ns"], "ns", "nsec", "nanosecond"),
    )
    for name in names
    for plural in ("", "s")
}
#: What may stand in a row of units, that of time aside.
_OTHER_UNITS = frozenset({"", "v", "mv", "volt", "volts", "a", "ma", "logic", "bit", "level"})
#: So many rows must hold a level in a column of levels, those few that do not being told when they
#: are read; where there are fewer rows than show what volts are high and low, half of them.
_SHARE = 0.9
_FEWEST_VOLTS = 8
EXPECTED = "rows of a time and a level, or of levels, with a comma or semicolon are expected"


@dataclass(frozen=True, slots=True)
class Layout:
    """How to read a row."""

    delimiter: str  # a comma, a semicolon or a tab
    decimal_comma: bool
    start: int  # the number of the line that holds the first row
    time: int | None  # the column of times; None when rows are samples without one
    indexed: bool  # whether it counts samples
    levels: dict[int, str]  # the columns of levels, and their names
    volts: dict[int, tuple[float, float]]  # of volts: where the level falls to 0, and rises to 1
    words: bool  # whether levels are words
    width: int  # the number of columns
    unit_ns: Fraction | None = None  # the unit of time, if the header tells it
    mark_bytes: int = 0  # the length of the byte-order mark
    returns: bool = False  # whether lines end with a carriage return alone

    def fields(self, line: str) -> list[str] | None:
        """The fields of a line, with points for commas; None for blank lines and comments."""
        fields = _fields(line, self.delimiter)
        return _with_points(fields) if fields and self.decimal_comma else fields

    def plain(self, text: str) -> str:
        """The text with 0 and 1 for words."""
        return _ANY_WORD.sub(lambda word: _WORDS[word[0].lower()], text) if self.words else text


def number(text: str) -> float | None:
    """The number that a field holds, or None."""
    return float(text) if _NUMBER.fullmatch(text) else None


def _with_points(fields: list[str]) -> list[str]:
    return [field.replace(",", ".") for field in fields]


def _fields(line: str, delimiter: str) -> list[str] | None:
    if not line.strip() or _COMMENT.match(line):
        return None
    parts = line.split(delimiter)
    if '"' in line:
        # What csv cannot take apart is no number either, and is told with its line.
        with suppress(csv.Error):
            parts = next(csv.reader([line], delimiter=delimiter))
    return [part.strip() for part in parts]


def _is_row(line: str) -> bool:
    """Whether the first field and half of all hold numbers or levels, whatever the delimiter is."""
    fields = [part.strip('" ') for part in re.split(r"[;\t,]", line.strip())]
    held = [_value(field) is not None for field in fields]
    return held[0] and 2 * sum(held) >= len(held)


def read_layout(shown: str, lines: list[str]) -> Layout:
    """Tell the layout from the first lines of a file; a `RecordingError` if they hold no rows.

    Lines of other data may stand above the header, and a row of units below it.
    """
    content = [
        (at, line) for at, line in enumerate(lines, 1) if line.strip() and not _COMMENT.match(line)
    ]
    row_like = [_is_row(line) for _, line in content]
    # A single line of numbers may be something else; two are rows.
    pairs = zip(row_like, [*row_like[1:], True], strict=False)
    first = next((place for place, pair in enumerate(pairs) if all(pair)), None)
    if first is None:
        raise refusal(shown, "there are no rows of numbers in the file", EXPECTED)
    sample = content[min(first + 1, len(content) - 1)][1]
    delimiter = next((mark for mark in ";\t," if mark in re.sub('"[^"]*"', "", sample)), ",")
    start = content[first][0]
    rows = [_fields(line, delimiter) or [] for _, line in content[first:]]
    decimal_comma = any(_DECIMAL_COMMA.fullmatch(field) for row in rows for field in row)
    if decimal_comma:
        rows = [*map(_with_points, rows)]
    above = [_fields(line, delimiter) or [] for _, line in content[max(0, first - 2) : first]]
    units = above.pop() if len(above) > 1 and all(map(_is_unit, above[-1])) else []
    names = above[-1] if above else []
    width = max(map(len, rows))
    if len(names) == 1 < width:
        names = []  # a line of other data
    more = (row[1] for row in rows if names and any(row[len(names) :]))
    if delimiter == "," and any(field.isdigit() and field not in ("0", "1") for field in more):
        told = "there are more columns than in the header: is the comma a decimal point, too?"
        raise refusal(shown, told, "save it with semicolons or points", where=f"line {start}")
    words = any(field.lower() in _WORDS for row in rows for field in row)
    columns = [[_value(row[at]) for row in rows if at < len(row)] for at in range(width)]
    most = _SHARE if len(rows) >= _FEWEST_VOLTS else 0.5
    level_like = [sum(value in (0, 1) for value in one) > most * len(rows) for one in columns]
    lower = [name.lower() for name in names]
    named = [column for column, name in enumerate(lower) if _TIME_NAME.match(name)]
    indexed = [column for column, name in enumerate(lower) if _INDEX_NAME.match(name)]
    time = next(iter(named + indexed), 0 if width > 1 and not level_like[0] else None)
    unlike = (at for at in range(width) if at != time and not level_like[at])
    volts = {at: found for at in unlike if (found := _thresholds(columns[at]))}
    held = (at for at in range(width) if at != time and (level_like[at] or at in volts))
    called = dict(enumerate(names))
    levels = {at: called.get(at) or f"column {at + 1}" for at in held}
    texts = [row[time] for row in (names, units) if time is not None and time < len(row)]
    unit = next(filter(None, (_unit(text.lower()) for text in reversed(texts))), None)
    how = delimiter, decimal_comma, start, time, not named and bool(indexed)
    return Layout(*how, levels, volts, words, width, unit)


def _value(text: str) -> float | None:
    return number(_WORDS.get(text.lower(), text))


def _thresholds(values: list[float | None]) -> tuple[float, float] | None:
    """Where volts count as low and as high: an eighth of their span below and above the middle.

    None where they stay on one level. The tenth part at either end may be spikes.
    """
    volts = sorted(value for value in values if value is not None)
    if len(volts) < _FEWEST_VOLTS:
        return None
    low, high = volts[len(volts) // 10], volts[-1 - len(volts) // 10]
    middle, reach = (low + high) / 2, (high - low) / 8
    return (middle - reach, middle + reach) if reach else None


def _is_unit(text: str) -> bool:
    return _unit(text.lower()) is not None or text.lower().strip("[]() ") in _OTHER_UNITS


def _unit(name: str) -> Fraction | None:
    """The unit in the name of a column, such as `Time [s]`, `time_us`, `Time(ms)`."""
    found = [word for word in re.findall("[a-zµμ]+", name) if word in _UNIT_NAMES]
    return _UNIT_NAMES[found[-1]] if found else None
