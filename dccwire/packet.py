"""Packets: bytes to values and back, strictly.

`decode` refuses a wrong length and a wrong error byte, nothing else: what no format describes
becomes `Reserved` or `Undefined` and keeps its bytes, so encoding gives them back. The tables that
choose a format by its first byte are made once, at import. Room: knows every format, no bits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache, reduce
from itertools import count
from operator import xor
from typing import TYPE_CHECKING, Any, NamedTuple, Self, TypeVar

from dccwire import codebook, notation  # in this order: the first enters all formats
from dccwire.accessory import BasicAccessory, number_in_words
from dccwire.address import (
    BROADCAST,
    AccessoryAddress,
    Address,
    ExtendedAccessoryAddress,
    LongAddress,
    Mode,
    Partition,
)
from dccwire.assembly import LONGEST, SHORTEST, assemble
from dccwire.codebook import NO_TABLE, OPENINGS, PROGRAMMING, WHOLE_PACKETS
from dccwire.errors import (
    DecodeError,
    ErrorByteError,
    FieldError,
    LengthError,
    ShapeError,
    member,
    plain_bytes,
)
from dccwire.formats import (
    FORMATS,
    Format,
    Instruction,
    Kept,
    NamedReading,
    PacketPart,
    Provenance,
    Reserved,
    Undefined,
)
from dccwire.packet_text import parts_from_text

if TYPE_CHECKING:
    from bitstring import Bits

__all__ = ["Packet", "Reading", "decode", "encode", "readings"]

_R = TypeVar("_R", bound=NamedReading)


@dataclass(frozen=True, slots=True, init=False, eq=False, repr=False)
class Packet:
    """An address and its instructions; equal to another if mode and bytes are.

    A packet built of a named reading holds what is decoded from its bytes: the general instruction.

    Raises:
        PacketError, LengthError: these make no packet of 3 to 6 bytes, the error byte included.

    >>> from dccwire import Packet, ShortAddress, SpeedAndDirection
    >>> packet = Packet(ShortAddress(55), SpeedAndDirection.at(step=6, steps=28, forward=True))
    >>> bytes(packet).hex(" "), str(packet)
    ('37 74 43', 'short 55: SpeedAndDirection forward=yes c=1 speed=4')
    """

    address: Address
    instructions: tuple[Instruction, ...]
    mode: Mode
    _bytes: bytes

    __match_args__ = ("address", "instructions", "mode")

    def __init__(
        self, address: Address, *instructions: PacketPart, mode: Mode = Mode.OPERATIONS
    ) -> None:
        if mode is not Mode.OPERATIONS and mode is not Mode.SERVICE:
            mode = member(Mode, "mode", mode)
        body, of_reading = assemble(address, instructions, mode)
        check = 0
        for byte in body:
            check ^= byte
        data = body + check.to_bytes()
        if of_reading:
            general = decode(data, mode=mode)
            address, instructions = general.address, general.instructions
        _set_address(self, address)
        _set_instructions(self, instructions)
        _set_mode(self, mode)
        _set_bytes(self, data)

    def __bytes__(self) -> bytes:
        return self._bytes

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Packet):
            return NotImplemented
        return self._bytes == other._bytes and self.mode is other.mode

    def __hash__(self) -> int:
        return hash((self._bytes, self.mode))

    def __repr__(self) -> str:
        mode = "" if self.mode is Mode.OPERATIONS else f", mode={self.mode}"
        inside = ", ".join(map(repr, (self.address, *self.instructions)))
        return f"Packet({inside}{mode})"

    def _repr_html_(self) -> str:
        from dccwire.drawing import explain

        return explain(self._bytes, mode=self.mode)._repr_html_()

    def _repr_svg_(self) -> str:
        from dccwire.drawing import explain

        return explain(self._bytes, mode=self.mode).svg()

    def __str__(self) -> str:
        mode = "" if self.mode is Mode.OPERATIONS else f"{self.mode.value} "
        inside = "; ".join(map(notation.declared_text, self.instructions))
        return f"{mode}{notation.address_text(self.address)}: {inside}".rstrip()

    @classmethod
    def from_text(cls, text: str) -> Self:
        """The packet of its one-line text.

        Raises:
            TextError, FieldError, PacketError, LengthError: it is the text of no packet.

        >>> Packet.from_text("short 3: FunctionGroupOne functions=FL,F1").instructions
        (FunctionGroupOne(functions=17),)
        """
        mode, address, inside = parts_from_text(text)
        return cls(address, *inside, mode=mode)

    def to_dict(self) -> dict[str, Any]:
        """Mode, address, instructions and bytes, as JSON holds them.

        >>> from dccwire import LongAddress, HardReset
        >>> Packet(LongAddress(3000), HardReset()).to_dict()["address"]
        {'kind': 'long', 'number': 3000}
        """
        return {
            "mode": self.mode.value,
            "address": notation.address_to_plain(self.address),
            "instructions": [notation.declared_to_plain(one) for one in self.instructions],
            "bytes": self._bytes.hex(" ").upper(),
        }

    @classmethod
    def from_dict(cls, plain: object) -> Self:
        """The packet of its JSON object; `mode` and `bytes` may be left out.

        Raises:
            ShapeError, FieldError, PacketError, LengthError: it is no packet, or has other bytes.
        """
        if not isinstance(plain, Mapping) or not {"address", "instructions"} <= set(plain):
            raise ShapeError("packet", "an object with address and instructions", plain)
        for odd in set(plain) - {"mode", "address", "instructions", "bytes"}:
            raise ShapeError(str(odd), "no such field", plain[odd])
        mode = plain.get("mode", Mode.OPERATIONS.value)
        if not isinstance(mode, str) or mode not in _MODES:
            raise ShapeError("mode", " or ".join(_MODES), mode)
        listed = plain["instructions"]
        if not isinstance(listed, list):
            raise ShapeError("instructions", "a list", listed)
        address = notation.address_from_plain(plain["address"], "address")
        read, places = notation.instruction_from_plain, map("instructions[{}]".format, count())
        packet = cls(address, *map(read, listed, places), mode=_MODES[mode])
        written = packet._bytes.hex(" ").upper()
        given = plain.get("bytes", written)
        if not isinstance(given, str) or given.upper() != written:
            raise ShapeError("bytes", repr(written), given, "the fields say so")
        return packet

    def reading(self, kind: type[_R]) -> _R | None:
        """The packet's bytes in a named reading, or None where they have another meaning.

        >>> from dccwire import BroadcastStop, Reset
        >>> packet = decode(bytes.fromhex("00 71 71"))
        >>> packet.reading(BroadcastStop), packet.reading(Reset)
        (BroadcastStop(forward=True, ignore_direction=True, cut_power=True), None)
        """
        form = getattr(kind, "format", None)
        if not (isinstance(form, Format) and form.reading):
            raise FieldError("reading", "a class of named readings", kind, "as in BroadcastStop")
        found = _read_as(self, form)
        return found.instruction if found else None  # type: ignore[return-value] # its format's own

    def in_words(self) -> tuple[str, ...]:
        """What stands beside the text for people: steps, operators' numbers, other readings.

        >>> Packet.from_text("broadcast: DigitalDecoderReset").in_words()
        ('also reset (S-9.2 §B, Reset)',)
        """
        said = []
        for one in self.instructions:
            said.append(one.in_words_to(self.address))
            if not isinstance(one, Kept) and one.format.provenance is Provenance.FROM_MEMORY:
                said.append(f"{type(one).__name__} is defined later (from memory)")
        said += [_numbers(self), *(f"also {one.name} ({one.clause})" for one in readings(self))]
        return tuple(filter(None, said))

    def phrase(self) -> str:
        """What its text does not say, in at most 45 characters, for a list of packets.

        >>> decode(bytes.fromhex("00 71 71")).phrase(), decode(bytes(3)).phrase()
        ('emergency stop to all', 'also reset')
        """
        told = "; ".join(filter(None, (one.phrase() for one in self.instructions)))
        if told and self.address == BROADCAST:
            told += " to all"
        told = _numbers(self) or told
        if not told and (named := readings(self)):
            narrowest = max(named, key=lambda one: one.instruction.format.fixed_bits)
            told = f"also {narrowest.name}"
        return told if len(told) <= 45 else f"{told[:42]}..."

    def to_bits(self, preamble: int | None = None) -> Bits:
        """The bits on the wire: preamble, start bits, bytes, packet end bit (S-9.2 §A).

        A preamble not given has the ones that its mode asks for: 14, in service mode 20
        (S-9.2.3 §E).

        >>> Packet.from_text("broadcast: DigitalDecoderReset").to_bits().bin
        '111111111111110000000000000000000000000001'
        """
        from dccwire.framing import least_preamble, to_bits

        return to_bits(self._bytes, least_preamble(self.mode) if preamble is None else preamble)

    def duration_ns(self, preamble: int | None = None) -> int:
        """Nominal time on the wire, preamble and end bit included (S-9.1 §A, Table 1).

        >>> Packet.from_text("idle: Idle").duration_ns()
        5796000
        """
        from dccwire.signal import NOMINAL

        bits = self.to_bits(preamble)
        return NOMINAL.duration_ns(bits.count(1), bits.count(0))


_MODES = {mode.value: mode for mode in Mode}
_new = object.__new__
_set_address = vars(Packet)["address"].__set__
_set_instructions = vars(Packet)["instructions"].__set__
_set_mode = vars(Packet)["mode"].__set__
_set_bytes = vars(Packet)["_bytes"].__set__


def encode(packet: Packet) -> bytes:
    """The packet's bytes, error byte included: 3 to 6.

    >>> encode(Packet.from_text("short 2: FunctionGroupOne functions=FL")).hex(" ")
    '02 90 92'
    """
    if not isinstance(packet, Packet):
        raise FieldError("packet", "a Packet", packet)
    return bytes(packet)


def decode(data: bytes, *, mode: Mode = Mode.OPERATIONS) -> Packet:
    """The packet of 3 to 6 bytes, error byte included.

    In service mode three- and four-byte packets from 112 to 127 are instructions to whatever stands
    on the programming track (S-9.2.3 §E), the rest reads as in operations. Where bytes have two
    readings this is the more general one; `readings` lists the others.

    Raises:
        LengthError: fewer than 3 bytes or more than 6.
        ErrorByteError: the exclusive OR over all bytes is not 0 (S-9.2 §B, Byte Three).
        FieldError: these are no bytes.

    >>> decode(bytes.fromhex("37 74 43")).address
    ShortAddress(number=55)
    >>> print(decode(bytes.fromhex("7C 1C 26 46"), mode=Mode.SERVICE))
    service programming-track: DirectByteAccess operation=write cv=29 value=38
    """
    if type(data) is not bytes:
        data = plain_bytes(data)
    size = len(data)
    if not SHORTEST <= size <= LONGEST:
        raise LengthError(size)
    word = int.from_bytes(data)
    check = (word ^ word >> 24) & 0xFFFFFF
    check ^= check >> 16
    if (check ^ check >> 8) & 0xFF:
        raise ErrorByteError(reduce(xor, data[:-1]), data[-1])
    word >>= 8
    left = size - 2
    if mode is Mode.OPERATIONS:
        address, table, partition = OPENINGS[data[0]]
    elif mode is not Mode.SERVICE:
        return decode(data, mode=member(Mode, "mode", mode))
    else:
        opening = codebook.service_opening(data)
        left += opening is PROGRAMMING
        address, table, partition = opening
    if table is None:
        for _, _, mask, fixed, build, take_address in WHOLE_PACKETS[size - 1]:
            if word & mask == fixed and (one := build(word)) is not None:
                return _trusted(take_address(word), (one,), mode, data)
        table = NO_TABLE
    if address is None:
        left -= 1
        address = _long(word >> 8 * left & 0x3FFF)
    found: tuple[Instruction, ...] = ()
    while left:
        for length, ends, mask, fixed, build, _ in table[word >> 8 * left - 8 & 0xFF]:
            if length == left or (length < left and not ends):
                part = word >> 8 * (left - length)
                if part & mask == fixed and (one := build(part)) is not None:
                    found += (one,)
                    left -= length
                    break
        else:
            rest = data[-1 - left : -1]
            code = data[:-1] if partition is Partition.ACCESSORY else rest
            kept = Reserved if codebook.reserved_clause(code, partition) else Undefined
            found += (kept(rest),)
            left = 0
    return _trusted(address, found, mode, data)


@lru_cache(maxsize=4096)
def decode_or_none(data: bytes, mode: Mode = Mode.OPERATIONS) -> Packet | None:
    """What `decode` says of bytes that may come again and again; None if it refuses them."""
    try:
        return decode(data, mode=mode)
    except DecodeError:
        return None


_long = cache(LongAddress)


def _trusted(
    address: Address, instructions: tuple[Instruction, ...], mode: Mode, data: bytes
) -> Packet:
    """A packet of parts that the bytes vouch for: no checks."""
    packet: Packet = _new(Packet)
    _set_address(packet, address)
    _set_instructions(packet, instructions)
    _set_mode(packet, mode)
    _set_bytes(packet, data)
    return packet


class Reading(NamedTuple):
    """A narrower reading of a packet: its name, clause, address, and its own `instruction`."""

    name: str
    clause: str
    address: Address
    instruction: PacketPart


def readings(packet: Packet) -> tuple[Reading, ...]:
    """The named readings of a packet's bytes beside the general one that `decode` returns.

    >>> [one.name for one in readings(Packet.from_text("broadcast: DigitalDecoderReset"))]
    ['reset']
    """
    found = (_read_as(packet, form) for form in FORMATS if form.reading)
    return tuple(one for one in found if one)


def _numbers(packet: Packet) -> str:
    """The numbers that operators give to what an accessory packet is for."""
    (one, *_) = packet.instructions or (None,)
    if isinstance(packet.address, ExtendedAccessoryAddress):
        return number_in_words(packet.address)
    if isinstance(packet.address, AccessoryAddress) and isinstance(one, BasicAccessory):
        return number_in_words(packet.address, one.pair)
    return ""


def _read_as(packet: Packet, form: Format) -> Reading | None:
    """A packet's bytes as a format has them, if it stands there and every value is legal."""
    if not (form.stands_in(packet.mode) and form.partitions & packet.address.partitions):
        return None
    header: bytes = b"" if form.address else getattr(packet.address, "header", b"")
    body = bytes(packet)[len(header) : -1]
    word = int.from_bytes(body)
    if not form.layout.matches(body) or (one := form.build(word)) is None:
        return None
    address = form.take_address(word) if form.address else packet.address
    return Reading(form.reading, form.clause, address, one)
