"""A format is declared once: the decorators, the registry and the arithmetic made from a layout.

`@instruction` and `@accessory` turn a class with one layout line into a frozen, slotted dataclass
that cannot hold an illegal value, and enter it in the registry. Two functions a class, made once
from the layout as source text, do the bit arithmetic: a loop over fields costs three times as much
(measured), and packets come in millions. Room: imports `errors`, `layout`, `address`, `fields`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from dataclasses import fields as dataclass_fields
from enum import Enum, StrEnum
from functools import cache, cached_property
from types import MappingProxyType
from typing import Any, ClassVar, TypeVar, dataclass_transform

from dccwire.address import AccessoryAddress, Address, ExtendedAccessoryAddress, Mode, Partition
from dccwire.errors import LayoutError, Reason
from dccwire.fields import Data, FieldKind, Number
from dccwire.layout import BitField, Layout

__all__ = [
    "FORMATS",
    "MULTI_FUNCTION",
    "RESERVED",
    "Declared",
    "Format",
    "Instruction",
    "Kept",
    "NamedReading",
    "Provenance",
    "Remark",
    "Reserved",
    "Undefined",
    "accessory",
    "instruction",
    "reserved",
]

MULTI_FUNCTION = frozenset({Partition.BROADCAST, Partition.SHORT, Partition.LONG})

_KNOWN: dict[Any, Callable[[int], Address]] = {
    AccessoryAddress: cache(AccessoryAddress),
    ExtendedAccessoryAddress: cache(ExtendedAccessoryAddress),
}
"""The accessory addresses met so far, 2560 at most: a value each, not one a packet."""

AccessoryKind = type[AccessoryAddress] | type[ExtendedAccessoryAddress]


class Provenance(StrEnum):
    """Where a format, limit, rule or check value comes from."""

    PUBLISHED = "published"
    DERIVED = "derived"
    OBSERVED = "observed"
    COMMON_PRACTICE = "common practice"
    FROM_MEMORY = "from memory"


@dataclass(frozen=True, slots=True)
class Remark:
    """What a legal instruction gives reason to say: a code, a sentence, a clause."""

    reason: Reason
    message: str
    clause: str


class Declared:
    """Base of what formats declare: frozen values with `format` and `kinds` (name to kind)."""

    __slots__ = ()
    format: ClassVar[Format]
    kinds: ClassVar[Mapping[str, FieldKind]]
    named_ways: ClassVar[tuple[Mapping[str, FieldKind], ...]] = ()
    """Fields of each form of `at` that text and JSON read as well as the constructor's."""

    def __post_init__(self) -> None:
        for name, kind in self.kinds.items():
            bits = self.format.layout.fields[name]
            kind.check(name, getattr(self, name), bits.lowest, bits.highest)

    # Written once here: made by the dataclass machinery for each class, these three would take a
    # third of the time that importing the library takes.
    def __eq__(self, other: object) -> bool:
        if type(self) is not type(other):
            return NotImplemented
        return all(getattr(self, name) == getattr(other, name) for name in self.kinds)

    def __hash__(self) -> int:
        return hash((type(self), *(getattr(self, name) for name in self.kinds)))

    def __repr__(self) -> str:
        values = ((name, getattr(self, name)) for name in self.kinds)
        # The repr of an enumeration's member is no Python, its text is.
        fields = (f"{name}={one if isinstance(one, Enum) else repr(one)}" for name, one in values)
        return f"{type(self).__name__}({', '.join(fields)})"

    def __bytes__(self) -> bytes:
        return self.format.encode(self)

    def remarks(self) -> Iterator[Remark]:
        """What gives reason for a finding although the value is legal to hold."""
        yield from ()

    def in_words(self) -> str:
        """What raw fields mean in each reading that a decoder may take; empty if nothing to add."""
        return ""

    def phrase(self) -> str:
        """The same in a few words, for a list of packets; empty if nothing to add."""
        return ""


class Instruction(Declared):
    """Base of all instructions: what a packet holds."""

    __slots__ = ()


class _NoInstruction(type):
    """Makes a reading that is looked for among instructions an error: it would never be found."""

    def __instancecheck__(cls, one: object) -> bool:
        if isinstance(one, Instruction) and cls is not NamedReading:
            where = f"packet.reading({cls.__name__}) gives it or None"
            raise TypeError(f"{cls.__name__} is a reading, and no instruction; {where}")
        return super().__instancecheck__(one)


class NamedReading(Declared, metaclass=_NoInstruction):
    """Base of the readings: narrower names for bytes that a general format decodes.

    A packet holds the general instruction, also one that was built of a reading;
    `packet.reading(BroadcastStop)` gives the reading, or None. To look for one with `isinstance` or
    `match` among instructions is a TypeError.
    """

    __slots__ = ()


@dataclass(frozen=True, eq=False, repr=False)
class Format:
    """A declared format: its class, layout, clause, provenance and place in the registry.

    `ends` says that the packet must end with it; `reading` names a second, narrower reading of
    bytes that the general format decodes; `address` is given for the whole packets of accessories;
    `mode` is the only mode in which the format stands, or None.
    """

    cls: type[Declared]
    layout: Layout
    clause: str
    provenance: Provenance
    partitions: frozenset[Partition]
    ends: bool
    reading: str
    address: AccessoryKind | None
    mode: Mode | None

    def __repr__(self) -> str:
        return f"<Format {self.cls.__name__} {self.layout.line!r}, {self.clause}>"

    def stands_in(self, mode: Mode) -> bool:
        """Whether the format counts in this mode."""
        return self.mode in (None, mode)

    @property
    def fixed_bits(self) -> int:
        """How many bits are fixed: of two formats that match, the one with more wins."""
        return self.layout.fixed_mask.bit_count()

    @cached_property
    def _arithmetic(self) -> Mapping[str, Callable[..., Any]]:
        return _arithmetic(self)

    @property
    def build(self) -> Callable[[int], Instruction | None]:
        """A function from a word of the layout's size to the value; None if a field is illegal."""
        return self._arithmetic["build"]

    @property
    def word(self) -> Callable[[Declared], int]:
        """A function from the value to its word, an accessory's address left at 0."""
        return self._arithmetic["word"]

    @property
    def encode(self) -> Callable[[Declared], bytes]:
        """A function from the value to its bytes, an accessory's address left at 0."""
        return self._arithmetic["encode"]

    @property
    def take_address(self) -> Callable[[int], Address]:
        """A function from the word of an accessory's packet to its address."""
        return self._arithmetic["whose"]

    @cached_property
    def put_address(self) -> Callable[[int], int]:
        """A function from an accessory's address to its bits in the packet's word."""
        return cache(self.layout.fields["address"].put)

    def construct(self) -> Any:
        """The format as a construct object (`Layout.construct`)."""
        return self.layout.construct()


FORMATS: list[Format] = []
RESERVED: list[tuple[Layout, str, frozenset[Partition]]] = []

_T = TypeVar("_T", bound=type[Declared])


@dataclass_transform(frozen_default=True)
def instruction(
    line: str,
    clause: str,
    *,
    partitions: frozenset[Partition] = MULTI_FUNCTION,
    provenance: Provenance = Provenance.PUBLISHED,
    ends: bool = False,
    reading: str = "",
    mode: Mode | None = None,
    fields: Mapping[str, str | FieldKind] = MappingProxyType({}),
) -> Callable[[_T], _T]:
    """Declare an instruction: the layout of its own bytes, its clause, its fields.

    `fields` has the kind of each field by name; a string is a `Number` with that formula.
    """
    return _declare(
        line,
        fields,
        clause=clause,
        partitions=partitions,
        provenance=provenance,
        ends=ends,
        reading=reading,
        address=None,
        mode=mode,
    )


@dataclass_transform(frozen_default=True)
def accessory(
    line: str,
    clause: str,
    address: AccessoryKind,
    address_formula: str,
    *,
    provenance: Provenance = Provenance.PUBLISHED,
    reading: str = "",
    fields: Mapping[str, str | FieldKind] = MappingProxyType({}),
) -> Callable[[_T], _T]:
    """Declare an accessory packet: the layout of the whole packet but for its error byte.

    `address_formula` makes the address of its bits; empty: the pattern of the broadcast.
    """
    spread: dict[str, str | FieldKind] = {"address": address_formula} if address_formula else {}
    return _declare(
        line,
        {**spread, **fields},
        clause=clause,
        partitions=frozenset({Partition.ACCESSORY}),
        provenance=provenance,
        ends=True,
        reading=reading,
        address=address,
        mode=None,
    )


def reserved(*lines: str, clause: str, partitions: frozenset[Partition] = MULTI_FUNCTION) -> None:
    """Declare patterns that the standards reserve: what matches no format decodes to `Reserved`.

    Those of accessories describe the whole packet but for its error byte, as their formats do.
    """
    for line in lines:
        letters = sorted(set(line) - set("01 "))
        layout = Layout(line, {letter: letter for letter in letters})
        RESERVED.append((layout, clause, partitions))


def _declare(
    line: str,
    given: Mapping[str, str | FieldKind],
    *,
    clause: str,
    partitions: frozenset[Partition],
    provenance: Provenance,
    ends: bool,
    reading: str,
    address: AccessoryKind | None,
    mode: Mode | None,
) -> Callable[[_T], _T]:
    kinds = {name: Number(kind) if isinstance(kind, str) else kind for name, kind in given.items()}
    layout = Layout(line, {name: kind.formula for name, kind in kinds.items()})
    if not clause:
        raise LayoutError(line, "no clause is cited")
    kinds.pop("address", None)
    if clause.startswith("from memory: "):
        provenance = Provenance.FROM_MEMORY

    def decorate(plain: _T) -> _T:
        cls = dataclass(frozen=True, slots=True, eq=False, repr=False)(plain)
        if [one.name for one in dataclass_fields(cls)] != list(kinds):  # type: ignore[arg-type] # is one
            raise LayoutError(line, f"the fields of {cls.__name__} differ from the kinds given")
        if reading:
            cls.__doc__ = f"{cls.__doc__}\n\nGiven by `packet.reading({cls.__name__})`, or None."
        cls.kinds = kinds
        cls.format = Format(
            cls, layout, clause, provenance, partitions, ends, reading, address, mode
        )
        FORMATS.append(cls.format)
        return cls  # type: ignore[return-value] # the same class, with slots

    return decorate


def _arithmetic(form: Format) -> dict[str, Callable[..., Any]]:
    """The functions `build`, `encode`, `word` and `whose` of a format, made when it is first met.

    The first makes the value without its checks: the layout and the tables have made them already.
    """
    cls, layout, kinds = form.cls, form.layout, form.cls.kinds
    names: dict[str, Any] = {"new": object.__new__, "cls": cls, "make": _KNOWN.get(form.address)}
    build = ["def build(word):"]
    word = ["def word(one):", f" word = {layout.fixed}"]
    for name, kind in kinds.items():
        field = layout.fields[name]
        names[f"set_{name}"] = getattr(cls, name).__set__
        number, raw = _take(field), f"one.{name}"
        if kind.table is not None:
            names[f"values_{name}"] = kind.table
            names[f"numbers_{name}"] = {value: key for key, value in kind.table.items()}
            number = f"values_{name}[{number}]"
            raw = f"numbers_{name}[{raw}]"
            if len(kind.table) < 1 << field.width:
                build.append(f" if {_take(field)} not in values_{name}: return None")
        build.append(f" {name} = {number}")
        word.append(f" number = {raw} - {field.offset}")
        word += [f" word |= {_put(run_word)}" for run_word in _runs(field)]
    build.append(" made = new(cls)")
    build += [f" set_{name}(made, {name})" for name in kinds]
    spread = layout.fields.get("address")
    number = _take(spread) if spread else str(form.address and form.address.bound[-1])
    encode = ["def encode(one):", *word[1:], f" return word.to_bytes({layout.size})"]
    whose = ["def whose(word):", f" return make({number})"]
    source = [*build, " return made", *word, " return word", *encode, *whose]
    exec("\n".join(source), names)
    return {name: names[name] for name in ("build", "encode", "word", "whose")}


def _runs(field: BitField) -> list[tuple[int, int, int, int]]:
    return [(run.shift, run.mask, run.weight, run.inverted * run.mask) for run in field.runs]


def _take(field: BitField) -> str:
    """Source text of a field's number in `word`."""
    terms = [
        f"((word >> {shift} & {mask}{f' ^ {turn}' if turn else ''}) << {weight})"
        for shift, mask, weight, turn in _runs(field)
    ]
    return f"{' | '.join(terms)}" if not field.offset else f"({' | '.join(terms)}) + {field.offset}"


def _put(run: tuple[int, int, int, int]) -> str:
    """Source text of the bits of `number` at the place of a run."""
    shift, mask, weight, turn = run
    return f"(number >> {weight} & {mask}{f' ^ {turn}' if turn else ''}) << {shift}"


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Kept(Instruction):
    """Base of what no format describes: the bytes, kept as they came, to the packet's end."""

    data: bytes
    kinds: ClassVar[Mapping[str, FieldKind]] = {"data": Data()}

    def __post_init__(self) -> None:
        self.kinds["data"].check("data", self.data, 0, 0)

    def __bytes__(self) -> bytes:
        return self.data


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Reserved(Kept):
    r"""Bytes from a code on that the standards reserve, to the end of the packet.

    >>> Reserved(b"\x20\x01")
    Reserved(data=b' \x01')
    """


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Undefined(Kept):
    """Bytes from a code on that the standards do not describe, to the end of the packet."""
