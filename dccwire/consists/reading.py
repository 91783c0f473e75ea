"""A consist of TOML text.

Room: the keys, and who reads each; imports `units`.
"""

from __future__ import annotations

from typing import Any

from dccwire.consists.units import Consist, Unit
from dccwire.documents import (
    Keys,
    made,
    read_address,
    read_document,
    read_some,
    read_table,
)
from dccwire.errors import ShapeError
from dccwire.toml_tables import Reader, each, truth, whole_number, words

__all__ = ["consist_from_toml"]


def consist_from_toml(text: str, name: str = "the text") -> Consist:
    """The consist that TOML text describes; `name` is that of its file, for errors.

    Raises:
        RecordingError: no TOML.
        ShapeError: an unknown key, with the nearest known, a key that is missing, or a value of
            another shape.
        FieldError, TextError: as for `Unit`, `Consist` and addresses.

        All but the first say in a note on which line.

    >>> consist_from_toml('''
    ... consist = 10
    ... [[unit]]
    ... address = "short 21"
    ... position = "lead"
    ... functions = { bell = "F1" }
    ... ''').cvs
    (CvSet({19: 10, 21: 1, 22: 0}),)
    """

    def read(plain: dict[str, Any]) -> Consist:
        fields = read_table(plain, "", KEYS, "the consist", ("consist", "unit"))
        return made(Consist, fields, "", KEYS)

    return read_document(text, name, read)


def _unit(value: object, path: str) -> Unit:
    fields = read_table(value, path, UNIT_KEYS, needed=("address", "position"))
    return made(Unit, fields, path, UNIT_KEYS)


def _named(value: object, path: str, reader: Reader) -> dict[str, Any]:
    """A table of whatever keys, each value read the same way."""
    if not isinstance(value, dict):
        raise ShapeError(path, "a table", value)
    return {key: reader(one, f"{path}.{key}") for key, one in value.items()}


UNIT_KEYS: Keys = {
    "address": ("address", read_address),
    "position": ("position", words),
    "reversed": ("reversed", truth),
    "steps": ("steps", whole_number),
    "functions": ("functions", lambda value, path: _named(value, path, words)),
    "obeys": ("obeys", lambda value, path: _named(value, path, truth)),
    "on": ("on", lambda value, path: frozenset(each(words)(value, path))),
}

KEYS: Keys = {
    "consist": ("address", whole_number),
    "unit": ("units", read_some(_unit)),
    "others": ("others", lambda value, path: frozenset(each(read_address)(value, path))),
}
