"""Addresses and instructions as text and JSON, both ways; knows the registry, no packet.

Text: `KIND NUMBER: TYPE FIELD=VALUE ...; TYPE ...`. JSON: objects with `kind` and `number`, and
with `type` and the fields. A type's named way (`SpeedAndDirection.at`) reads as well as its fields.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import MISSING, dataclass
from dataclasses import fields as dataclass_fields
from typing import Any, Generic, TypeVar, cast

from dccwire import codebook as _codebook  # noqa: F401 - enters all formats, which are listed here
from dccwire.address import (
    ADDRESS_KINDS,
    BROADCAST,
    IDLE,
    PROGRAMMING_TRACK,
    Address,
    LongAddress,
    ShortAddress,
)
from dccwire.errors import FieldError, Reason, ShapeError, TextError
from dccwire.fields import FieldKind, Plain
from dccwire.formats import FORMATS, Declared, PacketPart, Reserved, Undefined
from dccwire.wording import wrapped

_D = TypeVar("_D", bound=Declared)


@dataclass(frozen=True)
class Notation(Generic[_D]):
    """Reads declared values of some types, by name, as text and JSON; `listing` is a command."""

    types: Mapping[str, type[_D]]
    noun: str
    listing: str

    def from_text(self, text: str) -> _D:
        """The value of `TYPE FIELD=VALUE ...`; a field that has a default may be left out.

        Raises:
            TextError: no such type, a field unknown, missing, given twice or of the wrong form.
            FieldError: a value outside the bounds of its field.

        >>> instruction_from_text("SpeedAndDirection step=6 steps=28 forward=yes")
        SpeedAndDirection(forward=True, c=1, speed=4)
        """
        words = list(re.finditer(r"\S+", text))
        name = words[0][0] if words else ""
        cls = self._known(name, text)
        given: dict[str, str] = {}
        places: dict[str, int] = {}
        for word in words[1:]:
            name, equals, value = word[0].partition("=")
            if not equals or name in given:
                problem = f"{word[0]!r}: {'given twice' if equals else 'FIELD=VALUE expected'}"
                raise TextError(Reason.TEXT, text, word.start(), problem, _takes(cls))
            given[name], places[name] = value, word.start()
        kinds, make, unknown, missing = _way(cls, given)
        if unknown:
            problem = f"unknown field {unknown[0]!r}"
            raise TextError(Reason.TEXT, text, places[unknown[0]], problem, _takes(cls))
        if missing:
            names = f"field{'s' * (len(missing) > 1)} {', '.join(map(repr, missing))}"
            problem = f"{names} {'are' if len(missing) > 1 else 'is'} missing"
            raise TextError(Reason.TEXT, text, len(text), problem, _takes(cls))
        values = {}
        for name, word_value in given.items():
            try:
                values[name] = kinds[name].from_text(name, word_value)
            except ShapeError as error:
                problem, hint = f"{name}={word_value}", f"{error.expected} expected"
                raise TextError(Reason.TEXT, text, places[name], problem, hint) from None
        return make(**values)

    def from_plain(self, plain: object, path: str) -> _D:
        """The value of its JSON object, or a ShapeError with the path of the field."""
        if not isinstance(plain, Mapping) or not isinstance(plain.get("type"), str):
            raise ShapeError(path, "an object with a type", plain)
        cls = self.types.get(plain["type"])
        if cls is None:
            near = self._near(plain["type"])
            raise ShapeError(f"{path}.type", f"a type of {self.noun}", plain["type"], near)
        given = {name: value for name, value in plain.items() if name != "type"}
        kinds, make, unknown, missing = _way(cls, given)
        if unknown or missing:
            raise ShapeError(path, f"the fields of {cls.__name__}", dict(plain), _takes(cls))
        values = {name: kinds[name].value(f"{path}.{name}", value) for name, value in given.items()}
        return make(**values)

    def lines(self, names: Collection[str] = (), width: int = 80) -> Iterator[str]:
        """Each type (or those named): its name, its fields with what they allow, its clause."""
        for name in names or self.types:
            cls = self._known(name, name)
            ways = "; or ".join(
                ", ".join(_with_bounds(cls, field, kind) for field, kind in way.items())
                for way in (cls.kinds, *cls.named_ways)
            )
            clause = f" [{cls.clause}]" if hasattr(cls, "clause") else ""
            yield from wrapped(f"{ways or 'no fields'}{clause}", width, f"{name}: ")

    def _known(self, name: str, text: str) -> type[_D]:
        if name not in self.types:
            raise TextError(Reason.TEXT, text, 0, f"no {self.noun} {name!r}", self._near(name))
        return self.types[name]

    def _near(self, name: str) -> str:
        from difflib import get_close_matches

        near = get_close_matches(name[:40], self.types, n=3, cutoff=0.4)
        return f"near it: {', '.join(near)}" if near else f"{self.listing!r} lists all"


INSTRUCTION_TYPES: dict[str, type[PacketPart]] = {
    cls.__name__: cls for cls in (*(each.cls for each in FORMATS), Reserved, Undefined)
}
"""Every instruction class by its name, which is its type in text and JSON."""

_INSTRUCTIONS = Notation(INSTRUCTION_TYPES, "instruction", "dccwire encode --types")
instruction_from_text = _INSTRUCTIONS.from_text
instruction_from_plain = _INSTRUCTIONS.from_plain
types_in_words = _INSTRUCTIONS.lines

_LONELY: dict[str, Address] = {
    address.kind: address for address in (BROADCAST, IDLE, PROGRAMMING_TRACK)
}


def address_text(address: Address) -> str:
    """`short 3`; `broadcast` and `idle` need no number."""
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
        raise TextError(
            Reason.TEXT,
            text,
            0,
            f"no address kind {kind!r}",
            f"such as 'short 3'; the kinds: {known}",
        )
    if kind in _LONELY and not number:
        return _LONELY[kind]
    if len(number) != 1 or not re.fullmatch("[0-9]{1,19}", number[0]):
        raise TextError(Reason.TEXT, text, len(kind), "one number expected", f"as in '{kind} 3'")
    return ADDRESS_KINDS[kind](int(number[0]))


def own_address(address: object) -> ShortAddress | LongAddress:
    """The same, if a multi-function decoder can have it as its own; else a FieldError.

    >>> own_address(ShortAddress(3))
    ShortAddress(number=3)
    """
    if not isinstance(address, ShortAddress | LongAddress):
        given = address_text(address) if isinstance(address, Address) else address
        raise FieldError("address", "a short or a long address", given)
    return address


def address_to_plain(address: Address) -> dict[str, Plain]:
    """`{"kind": "short", "number": 3}`."""
    return {"kind": address.kind, "number": address.number}


def address_from_plain(plain: object, path: str) -> Address:
    """The address of its JSON object, or a ShapeError with the path; FieldError for the number."""
    if not isinstance(plain, Mapping) or set(plain) != {"kind", "number"}:
        raise ShapeError(path, "an object with kind and number", plain)
    kind, number = plain["kind"], plain["number"]
    if not isinstance(kind, str) or kind not in ADDRESS_KINDS:
        raise ShapeError(f"{path}.kind", " or ".join(ADDRESS_KINDS), kind)
    if type(number) is not int:
        raise ShapeError(f"{path}.number", "an integer", number)
    return ADDRESS_KINDS[kind](number)


def plain_from_json(text: str, path: str, **options: Any) -> object:
    """What JSON text holds; `options` are those of `json.loads`.

    A ShapeError if it is none, as with NaN, numbers of 20 digits or what is nested too deep.

    >>> plain_from_json('{"kind": NaN}', "address")
    Traceback (most recent call last):
    dccwire.errors.ShapeError: address: JSON (NaN is none) expected, '{"kind": NaN}' given
    """

    def refuse(constant: str) -> int:
        raise ValueError(f"{constant} is none")

    def number(digits: str) -> int:
        return int(digits) if len(digits) < 20 else refuse("a number of so many digits")

    import json  # only where JSON text is read: `import dccwire` does without

    try:
        return json.loads(text, parse_constant=refuse, parse_int=number, **options)
    except RecursionError:
        raise ShapeError(path, "JSON that is not nested so deep", text) from None
    except ValueError as error:
        raise ShapeError(path, f"JSON ({error})", text) from None


def declared_text(one: Declared) -> str:
    """The type and each field with its unit: `SpeedAndDirection forward=yes c=1 speed=4`."""
    fields = [f"{name}={kind.text(getattr(one, name))}" for name, kind in one.kinds.items()]
    return " ".join([type(one).__name__, *fields])


def declared_to_plain(one: Declared) -> dict[str, Plain]:
    """`{"type": ..., field: value, ...}`."""
    fields = {name: kind.plain(getattr(one, name)) for name, kind in one.kinds.items()}
    return {"type": type(one).__name__, **fields}


def _way(
    cls: type[_D], given: Collection[str]
) -> tuple[Mapping[str, FieldKind], Callable[..., _D], list[str], list[str]]:
    """The fields and the maker that the names given fit best, the unknown names, the missing."""
    names, make, optional = {*given}, cast(Any, cls), set[str]()
    way = max((cls.kinds, *cls.named_ways), key=lambda kinds: -len(names ^ {*kinds}))
    if way is cls.kinds:
        optional = {one.name for one in dataclass_fields(make) if one.default is not MISSING}
    else:
        make = make.at
    return way, make, sorted(names - {*way}), [name for name in way if name not in names | optional]


def _with_bounds(cls: type[Declared], name: str, kind: FieldKind) -> str:
    if kind is not cls.kinds.get(name):
        # What a named way allows depends on its other fields.
        return name if kind.table is None else f"{name} ({kind.allowed(0, 0)})"
    bits = cls.layout.fields[name] if hasattr(cls, "layout") else None
    return f"{name} ({kind.allowed(bits.lowest, bits.highest) if bits else kind.allowed(0, 0)})"


def _takes(cls: type[Declared]) -> str:
    ways = (", ".join(way) or "none" for way in (cls.kinds, *cls.named_ways))
    return f"{cls.__name__} takes the fields {'; or '.join(ways)}"


_NO_DIGITS = re.compile(r"\b0[xX](?=[0-9A-Fa-f])|,")


def parse_hex(text: str) -> bytes:
    """Bytes written as hex digits, with or without blanks, commas and 0x between the bytes.

    Raises:
        TextError: another character, no byte, or half of one.

    >>> parse_hex("37 74 43").hex(), parse_hex("377443").hex(), parse_hex("0x37, 0x74").hex()
    ('377443', '377443', '3774')
    """
    hint = "as in '37 74 43'"
    plain = _NO_DIGITS.sub(lambda found: " " * len(found[0]), text)
    if found := re.search(r"[^0-9A-Fa-f\s]", plain):
        raise TextError(Reason.HEX, text, found.start(), f"{found[0]!r} is no hex digit", hint)
    for word in re.finditer(r"\S+", plain):
        if len(word[0]) % 2:
            problem = f"odd number of hex digits in {word[0]!r}"
            raise TextError(Reason.HEX, text, word.start(), problem, "two digits a byte")
    data = bytes.fromhex("".join(plain.split()))
    if not data:
        raise TextError(Reason.HEX, text, 0, "no bytes", hint)
    return data
