"""What people write down by hand: TOML text, read by the keys that its tables may have.

Every error names the key, by its path such as `unit[1].steps`, and for keys that nobody knows the
nearest known one; `line_of` says on which line a path stands. Room: readers for one value each, and
for a table of them; what the keys mean is known to those that ask.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from difflib import get_close_matches
from typing import Any, TypeAlias, TypeVar

from dccwire.address import Address
from dccwire.errors import DccwireError, FieldError, Reason, RecordingError, ShapeError, TextError
from dccwire.notation import address_from_text
from dccwire.wording import no_toml

T = TypeVar("T")

Reader: TypeAlias = Callable[[Any, str], Any]
"""What makes a value of a plain one; the path is for its errors."""

Keys: TypeAlias = Mapping[str, tuple[str, Reader]]
"""The keys that a table may have: whose field each is, and how to read it."""


def plain_from_toml(text: str, name: str) -> dict[str, Any]:
    """What TOML text holds; a `RecordingError` with the name of its file if it is none.

    >>> plain_from_toml("consist = 10", "harbour.toml")
    {'consist': 10}
    """
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except (RecursionError, ValueError) as error:  # also brackets too deep, a number too long
        raise RecordingError(Reason.FORMAT, name, no_toml(text, error)) from None


def line_of(text: str, path: str) -> int:
    r"""The line, from 1, on which the key of a path stands in TOML text; as near as can be found.

    >>> line_of("consist = 10\n[[unit]]\nsteps = 28\n[[unit]]\nsteps = 27\n", "unit[1].steps")
    5
    """
    at, end = 0, len(text)
    for name, index in re.findall(r"([^.\[\]]+)(?:\[(\d+)\])?", path):
        key = rf"""["']?{re.escape(name)}["']?[ \t]*"""
        tables = [*re.finditer(rf"^[ \t]*\[\[[ \t]*{key}\]\]", text, re.MULTILINE)]
        if index and len(tables) > int(index):
            at = tables[int(index)].start()
            end = min((one.start() for one in tables if one.start() > at), default=end)
        elif found := re.compile(rf"(?:^|[{{,.\[])[ \t]*{key}[=.\]]", re.MULTILINE).search(
            text, at, end
        ):
            at = found.start()
    return text.count("\n", 0, at) + 1


def placed(error: DccwireError, where: str) -> DccwireError:
    """The error, with the key that it is about, once."""
    if not hasattr(error, "__notes__"):
        error.add_note(f"in {where}")
    return error


def path_of(error: DccwireError) -> str:
    """The path of the key that an error of this room is about; empty if it tells none."""
    if isinstance(error, ShapeError):
        return error.path
    notes: list[str] = getattr(error, "__notes__", ["in "])
    return notes[0].removeprefix("in ")


def read_table(plain: object, path: str, keys: Keys, name: str = "") -> dict[str, Any]:
    """The fields of a table, by the keys that it may have; `name` is that of a whole document.

    Raises:
        ShapeError: no table, an unknown key, with the nearest known, or a value of another shape.
        FieldError, TextError: as the readers, with the key as a note.
    """
    if not isinstance(plain, dict):
        raise ShapeError(path or name, "a table", plain)
    read: dict[str, Any] = {}
    for key, value in plain.items():
        where = f"{path}{'.' * bool(path)}{key}"
        if key not in keys:
            raise ShapeError(where, "a known key", value, nearest(str(key), keys))
        field, reader = keys[key]
        try:
            read[field] = reader(value, where)
        except (FieldError, TextError) as error:
            raise placed(error, where) from None
    return read


def nearest(name: str, known: Mapping[str, object]) -> str:
    """What may have been meant by a name that is not known, or all that are.

    >>> nearest("stesp", {"steps": 0, "address": 0}), nearest("?", {"steps": 0, "address": 0})
    ('perhaps steps', 'known are steps, address')
    """
    near = get_close_matches(name[:40], known, n=1, cutoff=0.4)
    return f"perhaps {near[0]}" if near else f"known are {', '.join(known)}"


def made(cls: Callable[..., T], fields: dict[str, Any], path: str) -> T:
    """The value that the fields of a table make, or its error with the table's path."""
    try:
        return cls(**fields)
    except (FieldError, TextError) as error:
        raise placed(error, path) from None


def read_truth(value: object, path: str) -> bool:
    """True or false."""
    if not isinstance(value, bool):
        raise ShapeError(path, "true or false", value)
    return value


def read_count(value: object, path: str) -> int:
    """A whole number."""
    if type(value) is not int:
        raise ShapeError(path, "a whole number", value)
    return value


def read_text(value: object, path: str) -> str:
    """A text."""
    if not isinstance(value, str):
        raise ShapeError(path, "a text", value)
    return value


def read_address(value: object, path: str) -> Address:
    """An address in its own words, such as `short 3`."""
    return address_from_text(read_text(value, path))


def read_each(reader: Reader) -> Reader:
    """A list of what a reader reads."""

    def read(value: object, path: str) -> tuple[Any, ...]:
        if not isinstance(value, list):
            hint = f"a table in it begins with [[{path}]]" if isinstance(value, dict) else ""
            raise ShapeError(path, "a list", value, hint)
        return tuple(reader(one, f"{path}[{place}]") for place, one in enumerate(value))

    return read


def read_some(reader: Reader) -> Reader:
    """The same, not empty."""

    def read(value: object, path: str) -> tuple[Any, ...]:
        if value == []:
            raise ShapeError(path, "a table or more", value, "leave the key out")
        return read_each(reader)(value, path)  # type: ignore[no-any-return]

    return read
