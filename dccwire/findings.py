"""A finding, and what a well-formed packet gives reason to find; for the rest see `inspection`.

Room: imports packets.
"""

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from typing import Any, TypeAlias

from dccwire.address import (
    BROADCAST,
    LATER_FIRST_BYTES,
    AnyAccessory,
    LongAddress,
    Mode,
    Partition,
    ReservedAddress,
)
from dccwire.codebook import is_programming, is_query_or_lock, resembled, reserved_clause
from dccwire.errors import Reason
from dccwire.formats import Instruction, Kept, Provenance, Reserved
from dccwire.instructions import (
    DecoderAcknowledgementRequest,
    FactoryTest,
    RestrictedSpeedStep,
    SpeedAndDirection,
)
from dccwire.layout import Layout
from dccwire.packet import Packet, decode, readings

__all__ = ["Finding"]


@dataclass(frozen=True, slots=True)
class Finding:
    """Something to say about a packet: a code, a sentence, a clause, and which bits it is about.

    `offset` and `length` are in bits from the first one given (first sent = 0): of the bytes, or of
    the bit stream. `hint` says what follows from it, where there is more to say.
    """

    reason: Reason
    message: str
    clause: str
    offset: int
    length: int
    hint: str = ""

    def __str__(self) -> str:
        place = f"bit {self.offset}"
        if self.length > 1:
            place = f"bits {self.offset}-{self.offset + self.length - 1}"
        words = "; ".join(filter(None, (self.message, self.hint)))
        return f"{place}: {self.reason}: {words} ({self.clause})"

    def to_dict(self) -> dict[str, Any]:
        """The finding as JSON holds it."""
        return asdict(self) | {"reason": self.reason.value}


Place: TypeAlias = Callable[[int, int], tuple[int, int]]
"""Offset and length in bits of so many bytes from a certain one on."""


def remarks(packet: Packet, place: Place) -> Iterator[Finding]:
    """What a well-formed packet gives reason to say."""
    for reason, message, clause, byte, count in _about_address(packet):
        yield Finding(reason, message, clause, *place(byte, count))
    body = bytes(packet)[:-1]
    whole = isinstance(packet.address, AnyAccessory)
    at = 0 if whole else len(body) - sum(len(bytes(one)) for one in packet.instructions)
    groups: set[int] = set()
    for one in packet.instructions:
        size = len(body) if whole else len(bytes(one))
        for reason, message, clause in _about_instruction(packet, one):
            yield Finding(reason, message, clause, *place(at, size))
        if not whole and not isinstance(one, Kept) and one != DecoderAcknowledgementRequest(d=1):
            group = bytes(one)[0] >> 5
            if group in _ONCE and group in groups:
                message = f"a second instruction of group {group:03b}; a packet holds one"
                yield Finding(Reason.NOT_TOGETHER, message, "S-9.2.1 §C", *place(at, size))
            groups.add(group)
        at += size


_ONCE = (0b000, 0b001, 0b111)
"""Groups CCC of which a packet holds one instruction; the text exempts 0000 1111 alone."""

_OUTPUT_WITHOUT_C = Layout(
    "10aaaaaa 1bbb0ddd 1110CCVV VVVVVVVV DDDDDDDD", {letter: letter for letter in "abdCVD"}
)
"""Of an accessory's CV access, what names an output DDD although C is 0 (X31)."""

_About = tuple[Reason, str, str]


def _about_address(packet: Packet) -> Iterator[tuple[Reason, str, str, int, int]]:
    address, count = packet.address, len(packet.instructions)
    if isinstance(address, ReservedAddress) and address.number in LATER_FIRST_BYTES:
        message = f"first byte {address.number} has a use defined later (from memory)"
        yield Reason.FROM_MEMORY, message, "from memory: S-9.2.1.1 draft, RCN-218", 0, 1
    elif isinstance(address, ReservedAddress):
        message = f"first byte {address.number} is reserved (C7)"
        yield Reason.RESERVED, message, "S-9.2.1 §A", 0, 1
    if elsewhere := _in_service_mode(packet):
        message = f"in service mode this is {type(elsewhere).__name__}"
        yield Reason.OPEN, message, elsewhere.format.clause, 0, len(bytes(packet))
    if isinstance(address, LongAddress) and address.number == 0:
        yield Reason.OPEN, "long address 0 is not excluded anywhere (X2)", "S-9.2.1 §A", 0, 2
    if not count:
        yield Reason.UNDEFINED, "an address and no instruction", "S-9.2.1 §C", 0, 2
    if address == BROADCAST and count > 1:
        message = f"{count} instructions; a broadcast packet has exactly one"
        yield Reason.NOT_TOGETHER, message, "S-9.2.1 §B", 1, len(bytes(packet)) - 2


def _about_instruction(packet: Packet, one: Instruction) -> Iterator[_About]:
    address = packet.address
    for reading in readings(packet):
        if isinstance(one, Kept):
            yield Reason.OPEN, f"only {reading.name} describes it", reading.clause
            return
        if reading.instruction.format.provenance is Provenance.FROM_MEMORY:
            message = f"also {reading.name}, defined later (from memory)"
            yield Reason.FROM_MEMORY, message, reading.clause
    if isinstance(one, Kept):
        query_or_lock = is_query_or_lock(bytes(packet)) or one.data == b"\xf9"
        if query_or_lock and _in_service_mode(packet):  # to 112 to 127: P12
            return
        if not isinstance(address, ReservedAddress):
            yield _about_kept(packet, one)
        return
    if one.format.provenance is Provenance.FROM_MEMORY:
        yield Reason.FROM_MEMORY, "defined later (from memory)", one.format.clause
    yield from one.remarks()
    if address == BROADCAST and isinstance(one, SpeedAndDirection) and not one.is_stop:
        message = "S-9.2 prints only stops for the broadcast address (C11)"
        yield Reason.OPEN, message, "S-9.2 §B, Broadcast Stop"
    if getattr(address, "broadcast", False) and "cv" in one.kinds:
        message = f"CV access to the broadcast pattern {address.number} is not described (X31)"
        yield Reason.OPEN, message, one.format.clause


def _in_service_mode(packet: Packet) -> Instruction | None:
    """What a packet of operations mode is in service mode (P10, P12), if that is known."""
    data = bytes(packet)
    if packet.mode is not Mode.OPERATIONS or not (is_programming(data) or is_query_or_lock(data)):
        return None
    (one,) = decode(data, mode=Mode.SERVICE).instructions
    return None if isinstance(one, Kept) else one


def _about_kept(packet: Packet, one: Kept) -> _About:
    """Why bytes are kept: reserved, like a known format but not quite, or unknown."""
    (partition,) = packet.address.partitions
    accessory = partition is Partition.ACCESSORY
    code = bytes(packet)[:-1] if accessory else one.data
    shown = one.data.hex(" ").upper()
    if isinstance(one, Reserved):
        clause = reserved_clause(code, partition)
        if one.data[0] == 0b11110000 and clause.endswith("CV access short form"):
            message = f"code {shown} is not available for use (X25)"
            return Reason.NOT_AVAILABLE, message, clause
        return Reason.RESERVED, f"code {shown} is reserved", clause
    if accessory and _OUTPUT_WITHOUT_C.matches(code) and code[1] & 0b111:
        message = "CV access with C = 0 and an output DDD is not described (X31)"
        return Reason.OPEN, message, "S-9.2.1 §D, basic accessory CV access"
    if partition is Partition.PROGRAMMING and len(code) == 3 and not code[0] & 0b1100:
        message = "direct mode with CC = 00 is not described (P4)"
        return Reason.UNDEFINED, message, "S-9.2.3 §E, Direct Mode"
    if code[:1] == b"\xf9" and len(code) == 2 and packet.address != BROADCAST:
        message = "a CV access in the short form 1001 to one address (X24)"
        return Reason.OPEN, message, "S-9.2.1 §C, CV access short form"
    if code == b"\xf9\0":
        message = "a decoder lock with address 0, which is no short address (P13)"
        return Reason.OPEN, message, "S-9.2.3 Appendix B, Decoder Lock"
    near = resembled(code, partition)
    if near is None:
        return Reason.UNDEFINED, f"code {shown} is not described", "S-9.2.1: the text is silent"
    _, form, difference = near
    if form is FactoryTest.format:
        message = "a factory test of more than one byte, of which nothing more is said (X9)"
        return Reason.OPEN, message, form.clause
    if form is RestrictedSpeedStep.format and len(code) > 1:
        message = "a restricted speed step with bit 5 or 6 set, which have no meaning (X15)"
        return Reason.OPEN, message, form.clause
    message = f"opens like {form.cls.__name__}, but {difference}"
    return Reason.UNDEFINED, f"code {code.hex(' ').upper()} {message}", form.clause
