"""Look at any bytes or bits, never raise, and say what gives reason to.

`decode` is strict and silent; `inspect` reads what it can and returns findings with their place.
Rules that need a recording are judged by `dccwire.conformance`. Room: imports packets and the bit
receiver.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import reduce
from operator import xor
from typing import Any

from bitstring import Bits

from dccwire.address import (
    BROADCAST,
    AccessoryAddress,
    ExtendedAccessoryAddress,
    LongAddress,
    Mode,
    Partition,
    ReservedAddress,
)
from dccwire.assembly import LONGEST, SHORTEST
from dccwire.codebook import is_query_or_lock, resembled, reserved_clause
from dccwire.errors import Reason
from dccwire.formats import Instruction, Kept, Provenance, Reserved
from dccwire.framing import LEAST_PREAMBLE, least_preamble
from dccwire.instructions import DecoderAcknowledgementRequest, SpeedAndDirection
from dccwire.packet import Packet, decode, readings
from dccwire.receiver import BitReceiver, CutOff, Event, Fault, PacketReceived
from dccwire.wording import counted

__all__ = ["Finding", "Inspection", "inspect"]


@dataclass(frozen=True, slots=True)
class Finding:
    """Something to say about a packet: a code, a sentence, a clause, and which bits it is about.

    `offset` and `length` are in bits from the first one given (first sent = 0): of the bytes, or of
    the bit stream.
    """

    reason: Reason
    message: str
    clause: str
    offset: int
    length: int

    def to_dict(self) -> dict[str, Any]:
        """The finding as JSON holds it."""
        return {
            "reason": self.reason.value,
            "message": self.message,
            "clause": self.clause,
            "offset": self.offset,
            "length": self.length,
        }


@dataclass(frozen=True, slots=True)
class Inspection:
    """What bytes or bits were found to be.

    `packet` is what `decode` returns, or None where it refuses; then `unverified` is what the bytes
    would say if only their error byte were right, or None. `data` are the bytes, as far as they
    could be read; `preamble` is the number of ones before them, None if bytes were given.
    """

    data: bytes
    packet: Packet | None
    unverified: Packet | None
    preamble: int | None
    findings: tuple[Finding, ...]

    @property
    def well(self) -> bool:
        """Whether there is a packet, and no finding but mere notes (`NOTES`)."""
        return self.packet is not None and all(one.reason in NOTES for one in self.findings)

    def to_dict(self) -> dict[str, Any]:
        """The inspection as JSON holds it."""
        return {
            "bytes": self.data.hex(" ").upper(),
            "preamble": self.preamble,
            "packet": self.packet and self.packet.to_dict(),
            "unverified": self.unverified and self.unverified.to_dict(),
            "findings": [one.to_dict() for one in self.findings],
        }


NOTES = frozenset(
    {Reason.FROM_MEMORY, Reason.OPEN, Reason.CAUTION, Reason.CUT_OFF, Reason.STRAY_BITS}
)
"""Findings that tell something and blame nobody."""


def inspect(data: bytes | Bits, *, mode: Mode = Mode.OPERATIONS) -> Inspection:
    """Look at bytes (error byte included) or at bits (preamble included); never raises on either.

    Of several packets in the bits the first is read and the others are reported as stray bits.

    >>> [f.reason.value for f in inspect(bytes.fromhex("374474")).findings]
    ['error-byte']
    >>> print(inspect(bytes.fromhex("374474")).unverified)
    short 55: SpeedAndDirection forward=no c=0 speed=4
    """
    if isinstance(data, Bits):
        return _inspect_bits(data, mode)
    whole = bytes(memoryview(data))
    return _inspect_bytes(whole, mode, None, lambda byte, count: (8 * byte, 8 * count), [])


_Place = Callable[[int, int], tuple[int, int]]


def _inspect_bytes(
    data: bytes, mode: Mode, preamble: int | None, place: _Place, before: list[Finding]
) -> Inspection:
    findings = before
    packet = unverified = None
    if not SHORTEST <= len(data) <= LONGEST:
        message = f"{counted(len(data), 'byte')}; a packet has 3 to 6, the error byte included"
        clause = "S-9.2.1, introduction"
        findings.append(Finding(Reason.LENGTH, message, clause, *place(0, len(data))))
    elif (wrong := reduce(xor, data)) != 0:
        right = data[-1] ^ wrong
        message = f"error byte {data[-1]:02X}, where the bytes before it give {right:02X}"
        where = place(len(data) - 1, 1)
        findings.append(Finding(Reason.ERROR_BYTE, message, "S-9.2 §A, Error Detection", *where))
        unverified = decode(data[:-1] + bytes((right,)), mode=mode)
    else:
        packet = decode(data, mode=mode)
    known = packet or unverified
    if known:
        findings += _remarks(known, place)
    return Inspection(data, packet, unverified, preamble, tuple(findings))


def _inspect_bits(bits: Bits, mode: Mode) -> Inspection:
    receiver = BitReceiver()
    events = receiver.feed(bits) + receiver.close()
    received = next((one for one in events if isinstance(one, PacketReceived)), None)
    findings = [_framing(one) for one in events if one is not received]
    if received is None:
        data = max((one.data for one in events if isinstance(one, (Fault, CutOff))), default=b"")
        findings += _no_preamble(bits)
        return Inspection(data, None, None, None, tuple(findings))
    start = received.start
    if received.preamble < (least := least_preamble(mode)):
        where = (received.begin, received.preamble)
        service = mode is Mode.SERVICE
        clause = "S-9.2.3 §E, Long Preamble" if service else "S-9.2 §A, Preamble"
        message = f"{counted(received.preamble, 'one')}; {least} or more are sent"
        if service:
            message += " in service mode"
        findings.append(Finding(Reason.SHORT_PREAMBLE, message, clause, *where))

    def place(byte: int, count: int) -> tuple[int, int]:
        return start + 1 + 9 * byte, 9 * count - 1

    return _inspect_bytes(received.data, mode, received.preamble, place, findings)


def _no_preamble(bits: Bits) -> Iterator[Finding]:
    """What to say where no packet begins: the longest run of ones before a 0 is too short."""
    runs = bits.bin.split("0")[:-1]
    longest = max(map(len, runs), default=0)
    if not bits:
        yield Finding(Reason.CUT_OFF, "no bits", "S-9.2 §A", 0, 0)
    elif longest < LEAST_PREAMBLE:
        message = f"no preamble: at most {counted(longest, 'one')} before a 0, 10 or more make one"
        yield Finding(Reason.SHORT_PREAMBLE, message, "S-9.2 §A, Preamble", 0, len(bits))


def _framing(event: Event) -> Finding:
    """What to say about bits that are not the packet looked at."""
    offset, length = event.begin, event.end - event.begin
    clause = "S-9.2 §A"
    match event:
        case Fault(reason=Reason.SHORT_PREAMBLE):
            message = f"{counted(event.preamble, 'one')} before a 0; a preamble has 10 or more"
            return Finding(event.reason, message, f"{clause}, Preamble", offset, length)
        case Fault():
            return Finding(event.reason, event.reason.meaning, clause, offset, length)
        case CutOff():
            read = f"{counted(len(event.data), 'byte')} and {counted(len(event.bits), 'bit')}"
            message = f"the bits end after {counted(event.preamble, 'one')}, {read}"
            return Finding(Reason.CUT_OFF, message, clause, offset, length)
        case PacketReceived():
            message = f"another packet, {event.data.hex(' ').upper()}"
            if event.packet is None:
                return Finding(Reason.ERROR_BYTE, f"{message}, wrong", clause, offset, length)
        case _:
            message = f"{counted(length, 'bit')} that belong to no packet"
    return Finding(Reason.STRAY_BITS, message, clause, offset, length)


def _remarks(packet: Packet, place: _Place) -> Iterator[Finding]:
    """What a well-formed packet gives reason to say."""
    for reason, message, clause, byte, count in _about_address(packet):
        yield Finding(reason, message, clause, *place(byte, count))
    body = bytes(packet)[:-1]
    whole = isinstance(packet.address, (AccessoryAddress, ExtendedAccessoryAddress))
    at = 0 if whole else len(body) - sum(len(bytes(one)) for one in packet.instructions)
    groups: set[int] = set()
    for one in packet.instructions:
        size = len(body) if whole else len(bytes(one))
        for reason, message, clause in _about_instruction(packet, one):
            yield Finding(reason, message, clause, *place(at, size))
        if not whole and not isinstance(one, (Kept, DecoderAcknowledgementRequest)):
            group = bytes(one)[0] >> 5
            if group in _ONCE and group in groups:
                message = f"a second instruction of group {group:03b}; a packet holds one"
                yield Finding(Reason.COMPANY, message, "S-9.2.1 §C", *place(at, size))
            groups.add(group)
        at += size


_LATER_ADDRESSES = (253, 254)
"""First bytes that later additions use (from memory: S-9.2.1.1 draft, RCN-218)."""

_ONCE = (0b000, 0b001, 0b111)
"""Groups CCC of which a packet holds one instruction, acknowledgement requests not counted."""

_About = tuple[Reason, str, str]


def _about_address(packet: Packet) -> Iterator[tuple[Reason, str, str, int, int]]:
    address, count = packet.address, len(packet.instructions)
    if isinstance(address, ReservedAddress):
        if address.number in _LATER_ADDRESSES:
            message = f"first byte {address.number} has a use defined later (from memory)"
            yield Reason.FROM_MEMORY, message, "from memory: S-9.2.1.1 draft, RCN-218", 0, 1
        else:
            message = f"first byte {address.number} is reserved (C7)"
            yield Reason.RESERVED, message, "S-9.2.1 §A", 0, 1
    if isinstance(address, LongAddress) and address.number == 0:
        yield Reason.OPEN, "long address 0 is not excluded anywhere (X2)", "S-9.2.1 §A", 0, 2
    if not count:
        yield Reason.UNDEFINED, "an address and no instruction", "S-9.2.1 §C", 0, 2
    if address == BROADCAST and count > 1:
        message = f"{count} instructions; a broadcast packet has exactly one"
        yield Reason.COMPANY, message, "S-9.2.1 §B", 1, len(bytes(packet)) - 2


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
        elsewhere = _in_service_mode(packet)
        if elsewhere:
            yield Reason.OPEN, f"in service mode this is {elsewhere}", "S-9.2.3 §E"
        if elsewhere and packet.instructions == (one,) and is_query_or_lock(bytes(packet)):
            return
        if address.number not in _LATER_ADDRESSES or not isinstance(address, ReservedAddress):
            yield _about_kept(packet, one)
        return
    if one.format.provenance is Provenance.FROM_MEMORY:
        yield Reason.FROM_MEMORY, "defined later (from memory)", one.format.clause
    for remark in one.remarks():
        yield remark.reason, remark.message, remark.clause
    if address == BROADCAST and isinstance(one, SpeedAndDirection) and not one.is_stop:
        message = "S-9.2 prints only stops for the broadcast address (C11)"
        yield Reason.OPEN, message, "S-9.2 §B, Broadcast Stop"
    if getattr(address, "broadcast", False) and "cv" in one.kinds:
        message = f"CV access to the broadcast pattern {address.number} is not described (X31)"
        yield Reason.OPEN, message, one.format.clause


def _in_service_mode(packet: Packet) -> str:
    """What a packet of operations mode is in service mode; empty if nothing that is known."""
    if packet.mode is not Mode.OPERATIONS:
        return ""
    (*_, one) = decode(bytes(packet), mode=Mode.SERVICE).instructions
    return "" if isinstance(one, Kept) else type(one).__name__


def _about_kept(packet: Packet, one: Kept) -> _About:
    """Why bytes are kept: reserved, like a known format but not quite, or unknown."""
    (partition,) = packet.address.partitions
    code = bytes(packet)[:-1] if partition is Partition.ACCESSORY else one.data
    shown = one.data.hex(" ").upper()
    if isinstance(one, Reserved):
        clause = reserved_clause(code, partition) or "S-9.2.1 §C"
        return Reason.RESERVED, f"code {shown} is reserved", clause
    form = resembled(code, partition)
    if form is None:
        return Reason.UNDEFINED, f"code {shown} is not described", "S-9.2.1: the text is silent"
    message = (
        f"code {shown} opens like {form.cls.__name__}, and is cut short or has a bit it cannot"
    )
    return Reason.UNDEFINED, message, form.clause
