"""Measurements as text: TOML with all that is known of a unit, or CSV with a reading a line.

Room: text in, measurements out; every error names the line, and the key or column.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from dccwire.address import Address
from dccwire.csv_tables import csv_rows
from dccwire.cv.cv_set import CvSet, key_from_text
from dccwire.cv.values import number_of
from dccwire.errors import FieldError, Reason, ShapeError, TextError
from dccwire.matching.readings import Measurements, Reading, Unit, positive
from dccwire.matching.voltages import voltages_of
from dccwire.notation import address_from_text
from dccwire.toml_tables import (
    at,
    each,
    items_of,
    placed,
    read_document,
    read_table,
    whole_number,
    words,
)

__all__ = ["from_csv", "from_toml"]

SPEEDS = ("seconds", "mm_s", "scale_km_h")
"""What a reading can be: a time over the length, a speed of the model, a speed in scale."""

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
        ShapeError: no TOML; a key is unknown or missing, or its value is none for `Reading`, `Unit`
            or `Measurements`; `cvs` do not tell which voltages there were. The path has the line.

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
    return read_document(text, _measurements)


def _measurements(plain: object, path: str) -> Measurements:
    keys = {"scale": _scale, "length_mm": _length, "unit": each(lambda unit, where: (unit, where))}
    read = read_table(plain, path, keys, needed=("scale", "unit"))
    setting = _Setting(read["scale"], read.get("length_mm"))
    units = tuple(_unit(unit, where, setting) for unit, where in read["unit"])
    return placed("unit", Measurements, setting.scale, units)


def _unit(plain: object, path: str, setting: _Setting) -> Unit:
    """A unit; a length of its own goes before that of all."""
    keys = {"address": _address, "points": each(whole_number), "cvs": _cvs, "length_mm": _length}
    read = read_table(plain, path, {**keys, **dict.fromkeys(SPEEDS, _ROWS)}, needed=("address",))
    setting = setting._replace(length_mm=read.get("length_mm", setting.length_mm))
    readings = tuple(
        placed(where, setting.reading, kind, step, direction, value)
        for kind in SPEEDS
        for where, step, direction, *values in read.get(kind, ())
        for value in values
    )
    given = read["address"], readings, read.get("cvs", CvSet()), read.get("points")
    unit = placed(at(path, "points" if "points" in read else "address"), Unit, *given)
    placed(at(path, "cvs" if "cvs" in read else "points"), voltages_of, unit)
    return unit


def _scale(value: object, _: str) -> float:
    return positive("scale", value, "87 for 1:87")


def _length(value: object, _: str) -> float:
    return positive("length_mm", value)


def _address(value: object, path: str) -> Address:
    return address_from_text(words(value, path))


def _cvs(value: object, path: str) -> CvSet:
    return CvSet((key_from_text(key), one) for key, one, _ in items_of(value, path, ""))


def _row(value: object, path: str) -> list[Any]:
    if not isinstance(value, list) or len(value) < 3:
        raise ShapeError(path, "a row such as [14, 'forward', 12.5]", value)
    return [path, *value]


_ROWS = each(_row)


def from_csv(text: str, *, scale: float, length_mm: float | None = None) -> Measurements:
    r"""The measurements of CSV text: a header, then a reading a line.

    The columns, in any order: `address`, `step`, `direction`, and one of `seconds` (over
    `length_mm`), `mm_s` and `scale_km_h`. Separators are commas, or semicolons, and then a comma
    may stand for the decimal point. Blank lines and those that open with # are skipped. All units
    ran with the linear voltages of `Unit`; where other CVs were in force, `from_toml` tells them.

    Raises:
        TextError: no such header, or a line without as many columns.
        ShapeError: a column is out of bounds; the path is the line.
        FieldError: `scale` or `length_mm` is none.

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
    found: dict[Address, Unit] = {}

    def add(address: str, step: str, direction: str, value: str) -> None:
        whose = address_from_text(address)
        number = _number(value.replace(",", "."), kinds[0])
        reading = setting.reading(kinds[0], number_of(step, "step", "1 to 28"), direction, number)
        before = found[whose].readings if whose in found else ()
        found[whose] = Unit(whose, (*before, reading))  # type: ignore[arg-type] # Unit refuses it

    for number, cells in rows:
        if len(cells) != len(columns):
            problem = f"line {number}: {len(columns)} columns expected, {len(cells)} found"
            raise TextError(Reason.TEXT, ",".join(cells), 0, problem, _HINT)
        by_name = dict(zip(columns, cells, strict=True))
        in_order = [by_name[name] for name in ("address", "step", "direction", kinds[0])]
        placed(f"line {number}", add, *in_order)
    return Measurements(setting.scale, tuple(found.values()))


def _number(word: str, field: str) -> float:
    try:
        return float(word)
    except ValueError:
        raise FieldError(field, "a number", word) from None
