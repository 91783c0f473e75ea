"""A format is declared once: the decorators, the registry and the arithmetic made from a layout.

`@instruction` and `@accessory` turn a class with one layout line into a frozen, slotted dataclass
that cannot hold an illegal value, and enter it in the registry. Room: imports from `fields` up.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from dataclasses import fields as dataclass_fields
from enum import Enum, StrEnum
from functools import cache, cached_property, partial
from types import MappingProxyType
from typing import Any, ClassVar, NamedTuple, TypeAlias, TypeVar, dataclass_transform

from dccwire.address import AccessoryAddress, Address, ExtendedAccessoryAddress, Mode, Partition
from dccwire.errors import LayoutError, Reason
from dccwire.fields import Data, FieldKind, Number
from dccwire.layout import BitField, Layout, Run

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


class Remark(NamedTuple):
    """What a legal instruction gives reason to say: a code, a sentence, a clause."""

    reason: Reason
    message: str
    clause: str


class Declared:
    """Base of what a layout line declares, instructions and CV values: frozen values.

    The class has its `layout`, the kind of each field by name, its `clause` and `provenance`.
    """

    __slots__ = ()
    layout: ClassVar[Layout]
    kinds: ClassVar[Mapping[str, FieldKind]]
    clause: ClassVar[str]
    provenance: ClassVar[Provenance]
    named_ways: ClassVar[tuple[Mapping[str, FieldKind], ...]] = ()
    """Fields of each form of `at` that text and JSON read as well as the constructor's."""

    def __post_init__(self) -> None:
        for name, kind in self.kinds.items():
            bits = self.layout.fields[name]
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

    def in_words(self) -> str:
        """What the whole means beside its fields; empty if nothing is to be added."""
        return ""


class PacketPart(Declared):
    """Base of instructions and their readings; their `format` says what a packet needs to know."""

    __slots__ = ()
    format: ClassVar[Format]

    def __bytes__(self) -> bytes:
        return self.format.encode(self)

    def remarks(self) -> Iterator[Remark]:
        """What gives reason for a finding although the value is legal to hold."""
        yield from ()

    def in_words_to(self, address: Address) -> str:
        """The same where the packet goes to this address."""
        return self.in_words()

    def phrase(self) -> str:
        """What it means in a few words, for a list of packets; empty if nothing to add."""
        return ""


class Instruction(PacketPart):
    """Base of all instructions: what a packet holds."""

    __slots__ = ()


class _NoInstruction(type):
    """Makes a reading that is looked for among instructions an error: it would never be found."""

    def __instancecheck__(cls, one: object) -> bool:
        if isinstance(one, Instruction) and cls is not NamedReading:
            where = f"packet.reading({cls.__name__}) gives it or None"
            raise TypeError(f"{cls.__name__} is a reading, and no instruction; {where}")
        return super().__instancecheck__(one)


class NamedReading(PacketPart, metaclass=_NoInstruction):
    """Base of the readings: narrower names for bytes that a general format decodes.

    A packet holds the general instruction, also one that was built of a reading;
    `packet.reading(BroadcastStop)` gives the reading, or None. To look for one with `isinstance` or
    `match` among instructions is a TypeError.
    """

    __slots__ = ()


@dataclass(eq=False, repr=False)
class Format:
    """A declared format of packets: its class and its place in the registry.

    `ends` says that the packet must end with it; `reading` names a second, narrower reading of
    bytes that the general format decodes; `address` is given for the whole packets of accessories;
    `mode` is the only mode in which the format stands, or None. The last four are functions:
    `build` makes the value of a word of the layout's size, or None if a field is illegal, `word`
    and `encode` the word and the bytes of a value, an accessory's address left at 0.
    """

    cls: type[PacketPart]
    partitions: frozenset[Partition]
    ends: bool
    reading: str
    address: AccessoryKind | None
    mode: Mode | None
    layout: Layout = field(init=False)
    clause: str = field(init=False)
    provenance: Provenance = field(init=False)
    build: Callable[[int], Instruction | None] = field(init=False)
    word: Callable[[PacketPart], int] = field(init=False)
    encode: Callable[[PacketPart], bytes] = field(init=False)
    take_address: Callable[[int], Address] = field(init=False)

    def __post_init__(self) -> None:
        cls = self.cls
        self.layout, self.clause, self.provenance = cls.layout, cls.clause, cls.provenance
        cls.format = self
        if self.reading:
            cls.__doc__ = f"{cls.__doc__}\n\nGiven by `packet.reading({cls.__name__})`, or None."
        FORMATS.append(self)

    def __getattr__(self, name: str) -> Any:
        # Made when the first of them is asked for: those of all formats would take 6 % more of the
        # import's time, and most programs meet few formats.
        if name not in ("build", "word", "encode", "take_address"):
            raise AttributeError(name)
        self.__dict__.update(_arithmetic(self))
        return self.__dict__[name]

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
    def put_address(self) -> Callable[[int], int]:
        """A function from an accessory's address to its bits in the packet's word."""
        return cache(self.layout.fields["address"].put)

    def construct(self) -> Any:
        """The format as a construct object (`Layout.construct`)."""
        return self.layout.construct()


FORMATS: list[Format] = []
RESERVED: list[tuple[Layout, str, frozenset[Partition]]] = []

_T = TypeVar("_T", bound=type[Declared])
_P = TypeVar("_P", bound=type[PacketPart])
Fields: TypeAlias = Mapping[str, str | FieldKind]


def declare(
    line: str,
    clause: str,
    fields: Fields,
    provenance: Provenance,
    *,
    enter: Callable[[Any], object],
    address: str = "",
) -> Callable[[_T], _T]:
    """What makes a declared value of a class: frozen, slotted, with layout, kinds and clause.

    A field's kind may be a string, a `Number` of that formula. `address` is the formula of an
    address in the layout, which is no field; `enter` is called with the class once it is made.

    Raises:
        LayoutError: the line cannot be read, no clause is cited, or the class has other fields.
    """
    kinds = {name: Number(kind) if isinstance(kind, str) else kind for name, kind in fields.items()}
    spread = {"address": address} if address else {}
    layout = Layout(line, spread | {name: kind.formula for name, kind in kinds.items()})
    if not clause:
        raise LayoutError(line, "no clause is cited")
    if clause.startswith("from memory: "):
        provenance = Provenance.FROM_MEMORY

    def decorate(plain: _T) -> _T:
        cls = dataclass(frozen=True, slots=True, eq=False, repr=False)(plain)
        if [one.name for one in dataclass_fields(cls)] != list(kinds):  # type: ignore[arg-type] # is one
            raise LayoutError(line, f"the fields of {cls.__name__} differ from the kinds given")
        cls.layout, cls.kinds, cls.clause, cls.provenance = layout, kinds, clause, provenance
        enter(cls)
        return cls  # type: ignore[return-value] # the same class, with slots

    return decorate


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
    fields: Fields = MappingProxyType({}),
) -> Callable[[_P], _P]:
    """Declare an instruction: the layout of its own bytes, its clause, its fields."""
    enter = partial(
        Format, partitions=partitions, ends=ends, reading=reading, address=None, mode=mode
    )
    return declare(line, clause, fields, provenance, enter=enter)


@dataclass_transform(frozen_default=True)
def accessory(
    line: str,
    clause: str,
    address: AccessoryKind,
    address_formula: str,
    *,
    provenance: Provenance = Provenance.PUBLISHED,
    reading: str = "",
    fields: Fields = MappingProxyType({}),
) -> Callable[[_P], _P]:
    """Declare an accessory packet: the layout of the whole packet but for its error byte.

    `address_formula` makes the address of its bits; empty: the pattern of the broadcast.
    """
    own = frozenset({Partition.ACCESSORY})
    enter = partial(Format, partitions=own, ends=True, reading=reading, address=address, mode=None)
    return declare(line, clause, fields, provenance, enter=enter, address=address_formula)


def reserved(*lines: str, clause: str, partitions: frozenset[Partition] = MULTI_FUNCTION) -> None:
    """Declare patterns that the standards reserve: what matches no format decodes to `Reserved`."""
    for line in lines:
        letters = sorted(set(line) - set("01 "))
        layout = Layout(line, {letter: letter for letter in letters})
        RESERVED.append((layout, clause, partitions))


def _arithmetic(form: Format) -> dict[str, Callable[..., Any]]:
    """The functions of a format; `build` needs no checks: layout and tables have made them."""
    # Source text, since packets come in millions: a loop over fields and runs takes 2.8 times as
    # long (1.3 against 0.46 µs a value, mean over all formats, in one run). What is put into it are
    # the layout's numbers and the names of fields, never input.
    cls, layout, kinds = form.cls, form.layout, form.cls.kinds
    names: dict[str, Any] = {"new": object.__new__, "cls": cls, "make": _KNOWN.get(form.address)}
    build = ["def build(word):"]
    word = ["def word(one):", f" word = {layout.fixed}"]
    for name, kind in kinds.items():
        bits = layout.fields[name]
        names[f"set_{name}"] = getattr(cls, name).__set__
        number, raw = _take(bits), f"one.{name}"
        if kind.table is not None:
            names[f"values_{name}"] = kind.table
            names[f"numbers_{name}"] = kind.numbers
            number = f"values_{name}[{number}]"
            raw = f"numbers_{name}[{raw}]"
            if len(kind.table) < 1 << bits.width:
                build.append(f" if {_take(bits)} not in values_{name}: return None")
        build.append(f" {name} = {number}")
        word.append(f" number = {raw} - {bits.lowest}")
        word += [f" word |= {_put(run)}" for run in bits.runs]
    build.append(" made = new(cls)")
    build += [f" set_{name}(made, {name})" for name in kinds]
    spread = layout.fields.get("address")
    number = _take(spread) if spread else str(form.address and form.address.bound[-1])
    encode = ["def encode(one):", *word[1:], f" return word.to_bytes({layout.size})"]
    whose = ["def take_address(word):", f" return make({number})"]
    source = [*build, " return made", *word, " return word", *encode, *whose]
    exec("\n".join(source), names)
    return {name: names[name] for name in ("build", "encode", "word", "take_address")}


def _take(field: BitField) -> str:
    terms = (f"((word >> {s} & {mask}{_turned(turn)}) << {w})" for s, mask, w, turn in field.runs)
    number = " | ".join(terms)
    return f"({number}) + {field.lowest}" if field.lowest else number


def _put(run: Run) -> str:
    return f"(number >> {run.weight} & {run.mask}{_turned(run.turn)}) << {run.shift}"


def _turned(turn: int) -> str:
    return f" ^ {turn}" if turn else ""


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
