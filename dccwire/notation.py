"""Addresses and instructions as text and JSON, both ways.

Text: `KIND NUMBER: TYPE FIELD=VALUE ...; TYPE ...`. JSON: objects with `kind` and `number`, and
with `type` and the fields. A type's named way (`SpeedAndDirection.at`) reads as well as its fields.
Room: knows the registry, no packet.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from dccwire.address import ADDRESS_KINDS, BROADCAST, IDLE, PROGRAMMING_TRACK, Address
from dccwire.errors import Reason, ShapeError, TextError
from dccwire.fields import FieldKind, Plain
from dccwire.formats import FORMATS, Instruction, Reserved, Undefined

__all__ = [
    "INSTRUCTION_TYPES",
    "address_from_plain",
    "address_from_text",
    "address_text",
    "address_to_plain",
    "instruction_from_plain",
    "instruction_from_text",
    "instruction_text",
    "instruction_to_plain",
    "types_in_words",
]

INSTRUCTION_TYPES: dict[str, type[Instruction]] = {
    cls.__name__: cls for cls in (*(each.cls for each in FORMATS), Reserved, Undefined)
}
"""Every instruction class by its name, which is its type in text and JSON."""

_LONELY: dict[str, Address] = {
    address.kind: address for address in (BROADCAST, IDLE, PROGRAMMING_TRACK)
}


def address_text(address: Address) -> str:
    """`short 3`; `broadcast` and `idle` need no number.

    >>> address_text(BROADCAST)
    'broadcast'
    """
    return address.kind if address.kind in _LONELY else f"{address.kind} {address.number}"


def address_from_text(text: str) -> Address:
    """The address of its text.

    Raises:
        TextError: no such kind, or no number where one is needed.
        FieldError: the number is outside the bounds of its kind.

    >>> address_from_text("long 3000")
    LongAddress(number=3000)
    """
    kind, *number = text.split() or [""]
    if kind not in ADDRESS_KINDS:
        known = ", ".join(ADDRESS_KINDS)
        raise TextError(Reason.TEXT, text, 0, f"no address kind {kind!r}", f"the kinds: {known}")
    if kind in _LONELY and not number:
        return _LONELY[kind]
    if len(number) != 1 or not re.fullmatch("[0-9]{1,19}", number[0]):
        raise TextError(Reason.TEXT, text, len(kind), "one number expected", f"as in '{kind} 3'")
    return ADDRESS_KINDS[kind](int(number[0]))


def address_to_plain(address: Address) -> dict[str, Plain]:
    """`{"kind": "short", "number": 3}`."""
    return {"kind": address.kind, "number": address.number}


def address_from_plain(plain: object, path: str) -> Address:
    """The address of its JSON object.

    Raises:
        ShapeError: the object does not have the shape.
        FieldError: the number is outside the bounds of its kind.
    """
    if not isinstance(plain, Mapping) or set(plain) != {"kind", "number"}:
        raise ShapeError(path, "an object with kind and number", plain)
    kind, number = plain["kind"], plain["number"]
    if not isinstance(kind, str) or kind not in ADDRESS_KINDS:
        raise ShapeError(f"{path}.kind", " or ".join(ADDRESS_KINDS), kind)
    if type(number) is not int:
        raise ShapeError(f"{path}.number", "an integer", number)
    return ADDRESS_KINDS[kind](number)


def instruction_text(one: Instruction) -> str:
    """The type and each field with its unit.

    >>> from dccwire.instructions import SpeedAndDirection
    >>> instruction_text(SpeedAndDirection.at(step=6, steps=28, forward=True))
    'SpeedAndDirection forward=yes c=1 speed=4'
    """
    fields = [f"{name}={kind.text(getattr(one, name))}" for name, kind in one.kinds.items()]
    return " ".join([type(one).__name__, *fields])


def instruction_from_text(text: str) -> Instruction:
    """The instruction of its text.

    Raises:
        TextError: no such type, a field unknown, missing, given twice or of the wrong form.
        FieldError: a value outside the bounds of its field.

    >>> instruction_from_text("SpeedAndDirection step=6 steps=28 forward=yes")
    SpeedAndDirection(forward=True, c=1, speed=4)
    """
    words = list(re.finditer(r"\S+", text))
    cls = _type(words[0][0] if words else "", text)
    given: dict[str, str] = {}
    places: dict[str, int] = {}
    for word in words[1:]:
        name, equals, value = word[0].partition("=")
        if not equals or name in given:
            problem = "given twice" if equals else "FIELD=VALUE expected"
            hint = _ways(cls)
            raise TextError(Reason.TEXT, text, word.start(), f"{word[0]!r}: {problem}", hint)
        given[name], places[name] = value, word.start()
    kinds, make = _way(cls, set(given))
    if set(given) != set(kinds):
        odd = sorted(set(given) ^ set(kinds))[0]
        problem = f"unknown field {odd!r}" if odd in given else f"field {odd!r} is missing"
        place = places.get(odd, len(text))
        raise TextError(Reason.TEXT, text, place, problem, _ways(cls))
    values = {}
    for name, word_value in given.items():
        try:
            values[name] = kinds[name].from_text(name, word_value)
        except ShapeError as error:
            problem = f"{name}={word_value}"
            hint = f"{error.expected} expected"
            raise TextError(Reason.TEXT, text, places[name], problem, hint) from None
    return make(**values)


def instruction_to_plain(one: Instruction) -> dict[str, Plain]:
    """`{"type": ..., field: value, ...}`."""
    fields = {name: kind.plain(getattr(one, name)) for name, kind in one.kinds.items()}
    return {"type": type(one).__name__, **fields}


def instruction_from_plain(plain: object, path: str) -> Instruction:
    """The instruction of its JSON object.

    Raises:
        ShapeError: the object does not have the shape; the error holds the path of the field.
        FieldError: a value outside the bounds of its field.
    """
    if not isinstance(plain, Mapping) or not isinstance(plain.get("type"), str):
        raise ShapeError(path, "an object with a type", plain)
    cls = INSTRUCTION_TYPES.get(plain["type"])
    if cls is None:
        raise ShapeError(f"{path}.type", "a type of instruction", plain["type"])
    given = {name: value for name, value in plain.items() if name != "type"}
    kinds, make = _way(cls, set(given))
    if set(given) != set(kinds):
        raise ShapeError(path, _ways(cls), dict(plain))
    values = {name: kinds[name].value(f"{path}.{name}", value) for name, value in given.items()}
    return make(**values)


def types_in_words() -> Iterator[str]:
    """A line for each type of instruction: its name, its fields in each way, its clause."""
    for name, cls in INSTRUCTION_TYPES.items():
        ways = ("; or ".join(", ".join(way) for way in (cls.kinds, *cls.named_ways))) or "no fields"
        clause = f" [{cls.format.clause}]" if hasattr(cls, "format") else ""
        yield f"{name}: {ways}{clause}"


def _type(name: str, text: str) -> type[Instruction]:
    if name in INSTRUCTION_TYPES:
        return INSTRUCTION_TYPES[name]
    from difflib import get_close_matches

    near = get_close_matches(name, INSTRUCTION_TYPES, n=3, cutoff=0.4)
    hint = f"near it: {', '.join(near)}" if near else "'dccwire encode --types' lists all"
    raise TextError(Reason.TEXT, text, 0, f"no instruction {name!r}", hint)


def _way(
    cls: type[Instruction], names: set[str]
) -> tuple[Mapping[str, FieldKind], Callable[..., Instruction]]:
    """The fields of the constructor or of a named way, whichever the names fit best."""
    way = max((cls.kinds, *cls.named_ways), key=lambda kinds: -len(names ^ set(kinds)))
    maker: Any = cls
    return way, maker if way is cls.kinds else maker.at


def _ways(cls: type[Instruction]) -> str:
    """What fields the type takes, in words."""
    ways = (", ".join(way) or "none" for way in (cls.kinds, *cls.named_ways))
    return f"{cls.__name__} takes the fields {'; or '.join(ways)}"
