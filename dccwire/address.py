"""The address kinds, and the partitions of the first byte (S-9.2.1 §A).

Short 5 and long 5 are two addresses. Values are frozen, compare by kind
and number, and know the bytes that stand for them, except where an accessory's address shares its
second byte with the instruction. Room: imports `errors` alone.
"""

from dataclasses import dataclass
from enum import Enum
from typing import ClassVar, TypeAlias, get_args

from dccwire.errors import FieldError

__all__ = [
    "BROADCAST",
    "IDLE",
    "PROGRAMMING_TRACK",
    "AccessoryAddress",
    "AccessoryByteAddress",
    "Address",
    "BroadcastAddress",
    "ExtendedAccessoryAddress",
    "IdleAddress",
    "LongAddress",
    "Mode",
    "ProgrammingTrackAddress",
    "ReservedAddress",
    "ShortAddress",
]


class Mode(Enum):
    """In which mode bytes are read; they do not say it themselves (C16)."""

    OPERATIONS = "operations"
    SERVICE = "service"

    __hash__ = object.__hash__  # members are single; the enumeration's own hash is slow Python


class Partition(Enum):
    """What the first byte of a packet announces, by the first bytes that do so.

    S-9.2.1 §A; in service mode packets of 3 and 4 bytes have the instruction `PROGRAMMING` there
    instead of short addresses (S-9.2.3 §E, C16).
    """

    BROADCAST = range(1)
    SHORT = range(1, 128)
    ACCESSORY = range(128, 192)
    LONG = range(192, 232)
    RESERVED = range(232, 255)
    IDLE = range(255, 256)
    PROGRAMMING = range(112, 128)


LATER_FIRST_BYTES = (253, 254)
"""First bytes that later additions use (from memory: S-9.2.1.1 draft, RCN-218)."""


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class _Numbered:
    """An address with a number inside `bound`; `partitions` says where its packets stand."""

    number: int
    kind: ClassVar[str]
    bound: ClassVar[range]
    partitions: ClassVar[frozenset[Partition]]

    def __init_subclass__(
        cls, kind: str = "", partition: Partition | None = None, bound: range | None = None
    ) -> None:
        if partition:
            cls.kind, cls.partitions = kind, frozenset({partition})
            cls.bound = partition.value if bound is None else bound

    def __post_init__(self) -> None:
        if type(self.number) is not int or self.number not in self.bound:
            bound = f"{self.bound[0]} to {self.bound[-1]}"
            raise FieldError(f"{self.kind} address", bound, self.number)

    def __eq__(self, other: object) -> bool:
        if type(self) is not type(other):
            return NotImplemented
        return self.number == other.number

    def __hash__(self) -> int:
        return hash((self.kind, self.number))

    def __repr__(self) -> str:
        return f"{type(self).__name__}(number={self.number})"


class _Leading(_Numbered):
    """An address with bytes of its own, before the instructions."""

    __slots__ = ()

    @property
    def header(self) -> bytes:
        """The address bytes that open a packet: the number, as one byte."""
        return bytes((self.number,))


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class BroadcastAddress(_Leading, kind="broadcast", partition=Partition.BROADCAST):
    """All multi-function decoders: first byte 0 (S-9.2.1 §B). Use the value `BROADCAST`."""

    number: int = 0


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class IdleAddress(_Leading, kind="idle", partition=Partition.IDLE):
    """No decoder: first byte 255 (S-9.2 §B). Use the value `IDLE`."""

    number: int = 255


class ShortAddress(_Leading, kind="short", partition=Partition.SHORT):
    """A multi-function decoder by its 7-bit address, 1 to 127 (S-9.2.1 §A).

    >>> ShortAddress(3).header.hex(), ShortAddress(3) == LongAddress(3)
    ('03', False)
    """

    __slots__ = ()


class LongAddress(_Leading, kind="long", partition=Partition.LONG, bound=range(10240)):
    """A multi-function decoder by its 14-bit address, 0 to 10239 (S-9.2.1 §A; 0 is open: X2).

    >>> LongAddress(3000).header.hex(" ")
    'cb b8'
    """

    __slots__ = ()

    @property
    def header(self) -> bytes:
        """The two address bytes: `11AAAAAA AAAAAAAA`."""
        return (0xC000 | self.number).to_bytes(2)


class ReservedAddress(_Leading, kind="reserved", partition=Partition.RESERVED):
    """A first byte that S-9.2.1 §A reserves, 232 to 254; the number is the byte (C7)."""

    __slots__ = ()


class AccessoryByteAddress(_Leading, kind="accessory-byte", partition=Partition.ACCESSORY):
    """The first byte, 128 to 191, of an accessory packet that no format describes."""

    __slots__ = ()


class AnyAccessory(_Numbered):
    """An accessory's address: its bits are spread over two bytes by the formats themselves."""

    __slots__ = ()

    @property
    def broadcast(self) -> bool:
        """Whether the number is the pattern of all ones that addresses every decoder (X30)."""
        return self.number == self.bound[-1]


class AccessoryAddress(
    AnyAccessory, kind="accessory", partition=Partition.ACCESSORY, bound=range(512)
):
    """A basic accessory decoder by its 9-bit address, 0 to 511; 511 is the broadcast (S-9.2.1 §D).

    >>> AccessoryAddress(512)
    Traceback (most recent call last):
    dccwire.errors.FieldError: accessory address: 0 to 511 expected, 512 given
    """

    __slots__ = ()


class ExtendedAccessoryAddress(
    AnyAccessory, kind="extended-accessory", partition=Partition.ACCESSORY, bound=range(2048)
):
    """An extended accessory decoder by its 11-bit address, 0 to 2047; 2047 is the broadcast.

    S-9.2.1 §D; the order of the bits is that of S-9.2.2, CV 1 [513] (X29).
    """

    __slots__ = ()


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class ProgrammingTrackAddress(
    _Numbered, kind="programming-track", partition=Partition.PROGRAMMING, bound=range(1)
):
    """Whatever decoder stands on the programming track: service mode packets name none (S-9.2.3).

    Use the value `PROGRAMMING_TRACK`; its packets have no address byte.
    """

    number: int = 0

    @property
    def header(self) -> bytes:
        """No bytes."""
        return b""


Address: TypeAlias = (
    BroadcastAddress
    | IdleAddress
    | ShortAddress
    | LongAddress
    | ReservedAddress
    | AccessoryByteAddress
    | AccessoryAddress
    | ExtendedAccessoryAddress
    | ProgrammingTrackAddress
)

BROADCAST = BroadcastAddress()
IDLE = IdleAddress()
PROGRAMMING_TRACK = ProgrammingTrackAddress()

ADDRESS_KINDS: dict[str, type[Address]] = {one.kind: one for one in get_args(Address)}
