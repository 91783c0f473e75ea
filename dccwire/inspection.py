"""Look at any bytes or bits, never raise, and say what gives reason to.

`decode` is strict and silent; `inspect` reads what it can and returns findings with their place.
Rules that need a recording are judged by `dccwire.conformance`. Room: imports packets and the bit
receiver.
"""

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from functools import reduce
from operator import xor
from typing import Any

from bitstring import Bits

from dccwire.address import (
    BROADCAST,
    LATER_FIRST_BYTES,
    AnyAccessory,
    LongAddress,
    Mode,
    Partition,
    ReservedAddress,
)
from dccwire.assembly import LONGEST, SHORTEST
from dccwire.codebook import is_query_or_lock, resembled, reserved_clause
from dccwire.errors import Reason, member
from dccwire.formats import Instruction, Kept, Provenance, Reserved
from dccwire.framing import LEAST_PREAMBLE, Framed, framed, least_preamble
from dccwire.instructions import (
    DecoderAcknowledgementRequest,
    FactoryTest,
    RestrictedSpeedStep,
    SpeedAndDirection,
)
from dccwire.instructions.later import longer_form
from dccwire.layout import Layout
from dccwire.packet import Packet, decode, readings
from dccwire.receiver import BitReceiver, CutOff, Event, Fault, PacketReceived
from dccwire.wording import counted, either, wrapped

__all__ = ["Finding", "Inspection", "inspect"]


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


@dataclass(frozen=True, slots=True)
class Inspection:
    """What bytes or bits were found to be.

    `packet` is what `decode` returns, or None where it, or a receiver, refuses; then `unverified`
    is what the bytes would say if only their error byte and framing were right, or None. `data` are
    the bytes, as far as they could be read; `preamble` is the number of ones before them, None if
    bytes were given.
    """

    data: bytes
    packet: Packet | None
    unverified: Packet | None
    preamble: int | None
    findings: tuple[Finding, ...]

    def __str__(self) -> str:
        first, *others = self.headlines()
        told = [*(("", words) for words in others), *self.notes()]
        told += [] if self.findings else [("", "nothing to remark")]
        below = (line for mark, words in told for line in wrapped(words, 80, f"  {mark}"))
        return "\n".join((*wrapped(first, 80), *below))

    def headlines(self) -> Iterator[str]:
        """The bytes and what they say, and the preamble if there is one."""
        known = self.packet or self.unverified
        yield f"{self.data.hex(' ').upper() or 'no bytes'}: {known or 'no packet'}"
        if self.preamble is not None:
            yield f"after a preamble of {counted(self.preamble, 'one')}"

    def notes(self) -> Iterator[tuple[str, str]]:
        """What stands beside it, each with its mark: `# ` for words, `! ` for findings."""
        known = self.packet or self.unverified
        yield from (("# ", words) for words in (known.in_words() if known else ()))
        yield from (("! ", str(one)) for one in self.findings)

    @property
    def well(self) -> bool:
        """Whether there is a packet, or a longer one of later additions, and no blame (`NOTES`)."""
        known = self.packet or longer_form(self.data)
        return bool(known) and all(one.reason in NOTES for one in self.findings)

    def to_dict(self) -> dict[str, Any]:
        """The inspection as JSON holds it."""
        return {
            "bytes": self.data.hex(" ").upper(),
            "preamble": self.preamble,
            "packet": self.packet and self.packet.to_dict(),
            "unverified": self.unverified and self.unverified.to_dict(),
            "findings": [one.to_dict() for one in self.findings],
        }


MOST_WRONG = 2
"""Wrong bits with which all that is given is still read as one packet."""

NOTES = frozenset(
    {Reason.FROM_MEMORY, Reason.OPEN, Reason.CAUTION, Reason.CUT_OFF, Reason.STRAY_BITS}
)
"""Findings that tell something and blame nobody."""


def inspect(data: bytes | Bits, *, mode: Mode = Mode.OPERATIONS) -> Inspection:
    """Look at bytes (error byte included) or at bits (preamble included); never raises on either.

    Of several packets in the bits the first is read and the others are reported as stray bits. Bits
    that make one packet, but for one or two that are wrong, are read as that packet: framing bits
    that are wrong are named, and the rest is read as if they were right.

    >>> wrong = inspect(bytes.fromhex("374443"))
    >>> print(wrong.unverified, wrong.findings[0].message, sep=chr(10))
    short 55: SpeedAndDirection forward=no c=0 speed=4
    error byte 43, where the bytes before it give 73
    """
    mode = member(Mode, "mode", mode)
    if isinstance(data, Bits):
        return _inspect_bits(data, mode)
    whole = bytes(memoryview(data))
    return _inspect_bytes(whole, mode, None, lambda byte, count: (8 * byte, 8 * count), [])


_Place = Callable[[int, int], tuple[int, int]]


def _inspect_bytes(
    data: bytes,
    mode: Mode,
    preamble: int | None,
    place: _Place,
    findings: list[Finding],
    *,
    received: bool = True,
) -> Inspection:
    packet = unverified = None
    wrong = reduce(xor, data, 0)
    fits = SHORTEST <= len(data) <= LONGEST
    later = longer_form(data)
    if later:
        message = f"{len(data)} bytes, in a form that is defined later (from memory)"
        findings.append(Finding(Reason.FROM_MEMORY, message, later, *place(0, len(data))))
    elif not fits:
        message = f"{counted(len(data), 'byte')}; a packet has 3 to 6, the error byte included"
        clause = "S-9.2.1, introduction"
        findings.append(Finding(Reason.LENGTH, message, clause, *place(0, len(data))))
    if wrong and (fits or later):
        right = data[-1] ^ wrong
        message = f"error byte {data[-1]:02X}, where the bytes before it give {right:02X}"
        clause, hint = "S-9.2 §B, Byte Three", _columns(wrong, len(data), place)
        where = place(len(data) - 1, 1)
        findings.append(Finding(Reason.ERROR_BYTE, message, clause, *where, hint))
    if fits:
        known = decode(data[:-1] + bytes((data[-1] ^ wrong,)), mode=mode)
        findings += _remarks(known, place)
        packet, unverified = (None, known) if wrong or not received else (known, None)
    return Inspection(data, packet, unverified, preamble, tuple(findings))


def _columns(wrong: int, size: int, place: _Place) -> str:
    """In which columns the exclusive OR differs, and which bits stand in the only one."""
    first, *others = (number for number in range(7, -1, -1) if wrong >> number & 1)
    named = ", ".join(map(str, (first, *others)))
    differs = f"the exclusive OR differs in column{'s' * bool(others)} {named} of the bytes"
    bits = either(place(byte, 1)[0] + 7 - first for byte in range(size))
    return differs if others else f"{differs}: if one bit alone is wrong, it is bit {bits}"


def _inspect_bits(bits: Bits, mode: Mode) -> Inspection:
    receiver = BitReceiver()
    events = receiver.feed(bits) + receiver.close()
    findings: list[Finding] = []
    if (whole := _one_packet(bits, events)) is not None:
        start, data, wrong = whole
        findings += [_framing_bit(place, bits, start) for place in wrong]
        begin, ones, received = 0, len(bits[:start].bin.split("0")[-1]), data in _good(events)
        short = not wrong or wrong[0] >= start
    else:
        first = next((one for one in events if isinstance(one, PacketReceived)), None)
        findings += [_framing(one) for one in events if one is not first]
        if first is None:
            broken = (one.data for one in events if isinstance(one, (Fault, CutOff)))
            findings += _no_preamble(bits)
            return Inspection(max(broken, key=len, default=b""), None, None, None, tuple(findings))
        start, begin, ones, data = first.start, first.begin, first.preamble, first.data
        short = received = True
    if short and ones < (least := least_preamble(mode)):
        service = mode is Mode.SERVICE
        clause = "S-9.2.3 §E, Long Preamble" if service else "S-9.2 §A, Preamble"
        message = f"{counted(ones, 'one')}; {least} or more are sent"
        message += " in service mode" * service
        findings.append(Finding(Reason.SHORT_PREAMBLE, message, clause, begin, ones))

    def place(byte: int, count: int) -> tuple[int, int]:
        return start + 1 + 9 * byte, 9 * count - 1

    return _inspect_bytes(data, mode, ones, place, findings, received=received)


def _good(events: list[Event]) -> list[bytes]:
    return [one.data for one in events if isinstance(one, PacketReceived) and one.packet]


def _one_packet(bits: Bits, events: list[Event]) -> Framed | None:
    """All the bits as the one packet that has the fewest wrong bits, if these are few; or None.

    A packet that was received well is not read otherwise, and a preamble that was received is no
    byte. What ends with a 0 may be cut off in a longer packet, so that it is a whole one only if
    its error byte is right.
    """

    def faults(one: Framed) -> int:
        return len(one.wrong) + reduce(xor, one.data).bit_count() + (one.preamble < LEAST_PREAMBLE)

    sizes = (size for size in range(SHORTEST, LONGEST + 1) if len(bits) > 9 * size + 1)
    received = (one for one in events if isinstance(one, PacketReceived) and one.end == len(bits))
    least = max((one.start for one in received if SHORTEST <= len(one.data) <= LONGEST), default=0)
    candidates = (one for one in (framed(bits, size) for size in sizes) if one.preamble >= least)
    best = min(candidates, key=faults, default=None)
    if best is None or faults(best) > MOST_WRONG or set(_good(events)) - {best.data}:
        return None
    return best if bits[-1] or not reduce(xor, best.data) else None


def _framing_bit(at: int, bits: Bits, start: int) -> Finding:
    """What to say of a bit of the framing that has the wrong value."""
    name, clause = "a bit of the preamble", "Preamble"
    if at == start:
        name, clause = "the packet start bit", "Packet Start Bit"
    elif at == len(bits) - 1:
        name, clause = "the packet end bit", "Packet End Bit"
    elif at > start:
        name, clause = f"the start bit of byte {(at - start) // 9}", "Data Byte Start Bit"
    message = f"{name} is {bits[at]:d}, {not bits[at]:d} is expected"
    hint = "the rest is read as if it were right"
    if at < start < at + 1 + LEAST_PREAMBLE:
        hint += ", but a decoder needs ten ones and would not take it"
    return Finding(Reason.FRAMING_BIT, message, f"S-9.2 §A, {clause}", at, 1, hint)


def _no_preamble(bits: Bits) -> Iterator[Finding]:
    """What to say where no packet begins: the longest run of ones before a 0 is too short."""
    runs = bits.bin.split("0")[:-1]
    longest = max(map(len, runs), default=0)
    if not bits:
        yield Finding(Reason.CUT_OFF, "no bits", "S-9.2 §A", 0, 0)
    elif runs and longest < LEAST_PREAMBLE:
        message = f"no preamble: at most {counted(longest, 'one')} before a 0, 10 or more make one"
        yield Finding(Reason.SHORT_PREAMBLE, message, "S-9.2 §A, Preamble", 0, len(bits))


def _framing(event: Event) -> Finding:
    """What to say about bits that are not the packet looked at."""
    offset, length = event.begin, event.end - event.begin
    reason, clause = Reason.STRAY_BITS, "S-9.2 §A"
    match event:
        case Fault(reason=Reason.SHORT_PREAMBLE as reason):
            message = f"{counted(event.preamble, 'one')} before a 0; a preamble has 10 or more"
            clause += ", Preamble"
        case Fault(reason=reason):
            message = reason.meaning
        case CutOff():
            reason = Reason.CUT_OFF
            read = f"{counted(len(event.data), 'byte')} and {counted(len(event.bits), 'bit')}"
            message = f"the bits end after {counted(event.preamble, 'one')}, {read}"
        case PacketReceived():
            message = f"another packet, {event.data.hex(' ').upper()}"
            if event.packet is None:
                reason, message = Reason.ERROR_BYTE, f"{message}, wrong"
                clause = "S-9.2 §B, Byte Three"
        case _:
            message = f"{counted(length, 'bit')} that belong to no packet"
    return Finding(reason, message, clause, offset, length)


def _remarks(packet: Packet, place: _Place) -> Iterator[Finding]:
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
        elsewhere = _in_service_mode(packet)
        if elsewhere:
            message = f"in service mode this is {type(elsewhere).__name__}"
            yield Reason.OPEN, message, elsewhere.format.clause
        lone = packet.instructions == (one,) and is_query_or_lock(bytes(packet))
        if elsewhere and (lone or one.data == b"\xf9"):  # to 112 to 127: P12
            return
        if not isinstance(address, ReservedAddress):
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


def _in_service_mode(packet: Packet) -> Instruction | None:
    """The last instruction of a packet of operations mode in service mode, if that is known."""
    if packet.mode is not Mode.OPERATIONS:
        return None
    (*_, one) = decode(bytes(packet), mode=Mode.SERVICE).instructions
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
    return Reason.UNDEFINED, f"code {shown} {message}", form.clause
