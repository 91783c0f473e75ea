"""Measurements as text: TOML with all that is known of a unit, or CSV with a reading a line.

Room: text in, measurements out; every error names the line, and the key or column.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

from dccwire.csv_tables import csv_rows
from dccwire.cv.cv_set import CvSet, key_from_text
from dccwire.cv.values import number_of
from dccwire.errors import FieldError, Reason, ShapeError, TextError
from dccwire.matching.readings import Measurements, Reading, Unit, positive
from dccwire.matching.voltages import voltages_of
from dccwire.notation import address_from_text
from dccwire.toml_tables import nearest
from dccwire.wording import no_toml

__all__ = ["from_csv", "from_toml"]

SPEEDS = ("seconds", "mm_s", "scale_km_h")
"""What a reading can be: a time over the length, a speed of the model, a speed in scale."""

_TOP = ("scale", "length_mm", "unit")
_UNIT = ("address", "points", "cvs", "length_mm", *SPEEDS)
_HINT = "as in 'address,step,direction,seconds' and then 'short 3,14,forward,12.5'"


class _Setting(NamedTuple):
    """What turns a number into a speed."""

    scale: float
    length_mm: float | None

    def reading(self, kind: str, step: Any, direction: Any, value: Any) -> Reading:
        """The reading of a number of this kind."""
        if kind == "mm_s":
            return Reading(step, direction, value)
        if kind == "scale_km_h":
            return Reading.in_scale(step, direction, scale_km_h=value, scale=self.scale)
        if self.length_mm is None:
            raise FieldError("length_mm", "a length", None, "seconds are over a length in mm")
        return Reading.timed(step, direction, seconds=value, length_mm=self.length_mm)


def from_toml(text: str) -> Measurements:
    """The measurements of a TOML document.

    `scale` is the N of 1:N, `length_mm` the length that times are over, for all units or one. A
    `[[unit]]` has its `address`, the `points` in force or the `cvs` that are known by number, and
    under `seconds`, `mm_s` or `scale_km_h` rows of a step, a direction, and one value or more.

    Raises:
        TextError: no TOML.
        ShapeError: a key is unknown or missing, or holds something else; the path has the line.
        FieldError: as for `Reading`, `Unit` and `Measurements`, or `cvs` do not tell which voltages
            there were; the field has line and key.

    >>> found = from_toml('''
    ... scale = 87
    ... length_mm = 1000
    ... [[unit]]
    ... address = "short 3"
    ... seconds = [[1, "forward", 100, 104], [28, "forward", 4]]
    ... [[unit]]
    ... address = "short 5"
    ... cvs = { 2 = 9, 5 = 255, 6 = 0, 29 = 6 }
    ... mm_s = [[1, "reverse", 9], [28, "reverse", 320]]
    ... ''')
    >>> [len(unit.readings) for unit in found.units], found.units[1].cvs[29]
    ([3, 2], 6)
    """
    try:
        plain = tomllib.loads(text.removeprefix("\ufeff"))
    except (RecursionError, ValueError) as error:  # brackets too deep, numbers too long, or no TOML
        begin = text.strip().partition("\n")[0]
        raise TextError(Reason.TEXT, begin, 0, no_toml(text, error), "see the docs") from None
    lines = text.splitlines()
    top = _Table(lines, None, plain)
    top.check_keys(_TOP, ("scale", "unit"))
    setting = _Setting(positive(top.place("scale"), plain["scale"], "87 for 1:87"), top.length)
    units = top.rows("unit", dict, "tables that begin with [[unit]]")
    every = [_Table(lines, number, unit).unit(setting) for number, unit in enumerate(units)]
    return Measurements(setting.scale, tuple(every))


class _Table(NamedTuple):
    """A table of the document, and where it stands: the number of the unit, None at the top."""

    lines: list[str]
    number: int | None
    values: dict[str, Any]

    def place(self, key: str, row: str = "") -> str:
        """Line and key, as far as the line can be found."""
        line = self._line(key)
        where = f"line {line}, " if line else ""
        return f"{where}{'' if self.number is None else f'unit[{self.number}].'}{key}{row}"

    def _line(self, key: str) -> int | None:
        """The line of the key, or else the one with which the unit begins."""
        unit, begin = None, None
        for number, line in enumerate(self.lines, 1):
            if re.match(r"\s*\[\[\s*unit\s*\]\]", line):
                unit = 0 if unit is None else unit + 1
                begin = number if unit == self.number else begin
            elif unit == self.number and re.match(rf"\s*\"?{re.escape(key)}\"?\s*[=.]", line):
                return number
        return begin

    def check_keys(self, known: tuple[str, ...], needed: tuple[str, ...]) -> None:
        """Refuse keys that are not known, and a table without those that are needed."""
        for key in self.values:
            if key not in known:
                hint = nearest(key, known)
                raise ShapeError(self.place(key), "a known key", self.values[key], hint)
        for key in needed:
            if key not in self.values:
                raise ShapeError(self.place(key), "a value", None, "the key is missing")

    def rows(self, key: str, kind: type, expected: str) -> list[Any]:
        """A list of such; an empty one if the key is not there."""
        rows = self.values.get(key, [])
        if not isinstance(rows, list) or not all(isinstance(row, kind) for row in rows):
            raise ShapeError(self.place(key), expected, rows)
        return rows

    @property
    def length(self) -> float | None:
        if "length_mm" not in self.values:
            return None
        return positive(self.place("length_mm"), self.values["length_mm"])

    def unit(self, setting: _Setting) -> Unit:
        """The unit; a length of its own goes before that of all."""
        self.check_keys(_UNIT, ("address",))
        setting = setting._replace(length_mm=self.length or setting.length_mm)
        points = self.values.get("points")
        given = {
            "address": self._read("address", _address),
            "cvs": self._read("cvs", _cvs) if "cvs" in self.values else CvSet(),
            "points": None if points is None else tuple(self.rows("points", int, "28 numbers")),
        }
        readings = tuple(reading for kind in SPEEDS for reading in self._readings(kind, setting))
        with _placed(self.place("points" if points else "address")):
            unit = Unit(readings=readings, **given)
        with _placed(self.place("cvs" if "cvs" in self.values else "points")):
            voltages_of(unit)
        return unit

    def _read(self, key: str, read: Callable[[Any], Any]) -> Any:
        with _placed(self.place(key)):
            return read(self.values[key])

    def _readings(self, kind: str, setting: _Setting) -> Iterator[Reading]:
        for number, row in enumerate(self.rows(kind, list, "rows such as [14, 'forward', 12.5]")):
            place = self.place(kind, f"[{number}]")
            if len(row) < 3:
                raise ShapeError(place, "a step, a direction, and one value or more", row)
            step, direction, *values = row
            with _placed(place):
                yield from [setting.reading(kind, step, direction, value) for value in values]


@contextmanager
def _placed(where: str) -> Iterator[None]:
    """What is refused meanwhile is told with its place."""
    try:
        yield
    except FieldError as error:
        field = f"{where}: {error.field}"
        raise FieldError(field, error.bound, error.value, error.hint) from None
    except TextError as error:
        raise ShapeError(where, "an address", error.text, error.hint) from None


def _address(value: object) -> Any:
    if not isinstance(value, str):
        raise FieldError("address", "a text such as 'short 3'", value)
    return address_from_text(value)


def _cvs(value: object) -> CvSet:
    if not isinstance(value, dict):
        raise FieldError("cvs", "a table such as { 29 = 6 }", value)
    return CvSet((key_from_text(key), one) for key, one in value.items())


def from_csv(text: str, *, scale: float, length_mm: float | None = None) -> Measurements:
    r"""The measurements of CSV text: a header, then a reading a line.

    The columns, in any order: `address`, `step`, `direction`, and one of `seconds` (over
    `length_mm`), `mm_s` and `scale_km_h`. Separators are commas, or semicolons, and then a comma
    may stand for the decimal point. Blank lines and those that open with # are skipped. All units
    ran with the linear voltages of `Unit`; where other CVs were in force, `from_toml` tells them.

    Raises:
        TextError: no such header, or a line without as many columns.
        FieldError: a column is out of bounds; the field has the line.

    >>> text = "address;step;direction;seconds\nshort 3;14;forward;12,5\nlong 900;1;reverse;90"
    >>> [unit.readings[0].mm_s for unit in from_csv(text, scale=87, length_mm=900).units]
    [72.0, 10.0]
    """
    rows = csv_rows(text)
    first, header = next(rows, (1, [""]))
    columns = [word.lower() for word in header]
    kinds = [one for one in columns if one in SPEEDS]
    if len(kinds) != 1 or sorted(columns) != sorted(["address", "direction", "step", *kinds]):
        problem = f"line {first}: no header of address, step, direction and one of the speeds"
        raise TextError(Reason.TEXT, ",".join(header), 0, problem, _HINT)
    setting = _Setting(positive("scale", scale, "87 for 1:87"), length_mm)
    found: dict[Any, Unit] = {}
    for number, words in rows:
        if len(words) != len(columns):
            problem = f"line {number}: {len(columns)} columns expected, {len(words)} found"
            raise TextError(Reason.TEXT, ",".join(words), 0, problem, _HINT)
        cells = dict(zip(columns, words, strict=True))
        with _placed(f"line {number}"):
            address: Any = address_from_text(cells["address"])
            step = number_of(cells["step"], "step", "1 to 28")
            value = _number(cells[kinds[0]].replace(",", "."), kinds[0])
            reading = setting.reading(kinds[0], step, cells["direction"], value)
            before = found[address].readings if address in found else ()
            found[address] = Unit(address, (*before, reading))
    return Measurements(setting.scale, tuple(found.values()))


def _number(word: str, field: str) -> float:
    try:
        return float(word)
    except ValueError:
        raise FieldError(field, "a number", word) from None
