"""What people write down by hand: TOML text, read by the keys that its tables may have.

Every error names the key, by its path such as `unit[1].steps`, and keeps its own kind. Room: tables
whose keys are fields of a value; what the keys mean is known to those that ask.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Collection, Mapping
from typing import Any, TypeAlias, TypeVar

from dccwire.address import Address
from dccwire.errors import DccwireError, FieldError, Reason, RecordingError, ShapeError, TextError
from dccwire.notation import address_from_text
from dccwire.toml_tables import Reader, at, each, items_of, line_of, refuse_unknown, words
from dccwire.wording import no_toml

T = TypeVar("T")

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


def read_document(text: str, name: str, reader: Callable[[dict[str, Any]], T]) -> T:
    """What a reader makes of TOML text; errors say in a note which line of `name` they are about.

    >>> read_document("consist = 10", "harbour.toml", lambda plain: plain["consist"])
    10
    """
    plain = plain_from_toml(text, name)
    try:
        return reader(plain)
    except DccwireError as error:
        error.add_note(f"line {line_of(text, path_of(error))} of {name}")
        raise


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


def read_table(
    plain: object, path: str, keys: Keys, name: str = "", needed: Collection[str] = ()
) -> dict[str, Any]:
    """The fields of a table, by the keys that it may have; `name` is that of a whole document.

    Raises:
        ShapeError: no table, an unknown key, with the nearest known, a key that is needed and not
            there, or a value of another shape.
        FieldError, TextError: as the readers, with the key as a note.
    """
    read: dict[str, Any] = {}
    given = [*items_of(plain, path, name)]
    for key, value, where in given:  # before any value is judged
        refuse_unknown(key, where, value, keys)
    for key, value, where in given:
        field, reader = keys[key]
        try:
            read[field] = reader(value, where)
        except (FieldError, TextError) as error:
            raise placed(error, where) from None
    for key in needed:
        if keys[key][0] not in read:
            raise ShapeError(path or name, f"a key {key}", [key for key, _, _ in given])
    return read


def made(cls: Callable[..., T], fields: dict[str, Any], path: str, keys: Keys) -> T:
    """The value that the fields of a table make, or its error with the path of the key it names."""
    try:
        return cls(**fields)
    except FieldError as error:
        named, *rest = error.field.split(".", 1)
        key = next((key for key, (field, _) in keys.items() if named in (key, field)), None)
        raise placed(error, at(path, ".".join([key, *rest])) if key else path) from None
    except TextError as error:
        raise placed(error, path) from None


def read_address(value: object, path: str) -> Address:
    """An address in its own words, such as `short 3`."""
    return address_from_text(words(value, path))


def read_some(reader: Reader) -> Reader:
    """A list of what a reader reads, not empty."""

    def read(value: object, path: str) -> tuple[Any, ...]:
        if value == []:
            raise ShapeError(path, "a table or more", value, "leave the key out")
        return each(reader)(value, path)  # type: ignore[no-any-return]

    return read
