"""Look at any bytes or bits, never raise, and say what gives reason to.

`decode` is strict and silent; `inspect` reads what it can and returns findings with their place.
Rules that need a recording are judged by `dccwire.conformance`. Room: imports packets and the bit
receiver.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import reduce
from itertools import product
from operator import attrgetter, xor
from typing import Any

from bitstring import BitArray, Bits

from dccwire.address import Mode
from dccwire.assembly import LONGEST, SHORTEST
from dccwire.errors import Reason, member, plain_bytes
from dccwire.findings import Finding, Place, remarks
from dccwire.framing import LEAST_PREAMBLE, Framed, Slip, framed, least_preamble, to_bits
from dccwire.instructions.later import longer_form
from dccwire.packet import Packet, decode, decode_or_none
from dccwire.receiver import BitReceiver, CutOff, Event, Fault, PacketReceived
from dccwire.wording import counted, either, wrapped

__all__ = ["Inspection", "inspect"]


@dataclass(frozen=True, slots=True)
class Inspection:
    """What bytes or bits were found to be.

    `packet` is what `decode` returns, or None where it, or a receiver, refuses; then `unverified`
    is what the bytes would say if only their error byte and framing were right, or None. `data` are
    the bytes, as far as they could be read; `preamble` is the number of ones before them, None if
    bytes were given, and `start` the position of the packet start bit, None if none was found. The
    findings are in order of their places. With a `slip`, `start` is what it would be without.
    """

    data: bytes
    packet: Packet | None
    unverified: Packet | None
    preamble: int | None
    findings: tuple[Finding, ...]
    start: int | None = None
    slip: Slip | None = None

    def __str__(self) -> str:
        first, *others = self.headlines()
        told = [*(("", words) for words in others), *self.notes()]
        told += [] if self.findings else [("", "nothing to remark")]
        below = (line for mark, words in told for line in wrapped(words, 80, f"  {mark}"))
        return "\n".join((*wrapped(first, 80), *below))

    def headlines(self) -> Iterator[str]:
        """The bytes and what they say, and the preamble if there is one."""
        known = self.packet or self.unverified
        faults = ", with faults" if self.unverified else ""
        yield f"{self.data.hex(' ').upper() or 'no bytes'}{faults}: {known or 'no packet'}"
        if self.preamble is not None:
            yield f"after a preamble of {counted(self.preamble, 'one')}"

    def notes(self) -> Iterator[tuple[str, str]]:
        """What stands beside it, each with its mark: `#` for words, `!` for findings."""
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
    """Look at bytes (error byte included) or at bits (preamble included); never raises on any.

    Of several packets in the bits the first is read and the others are reported as stray bits. Bits
    that make one packet, but for one or two that are wrong, are read as that packet: framing bits
    that are wrong are named, and the rest is read as if they were right; the same with a bit too
    many at a start bit, or a start bit that is missing.

    Raises:
        FieldError: these are neither bytes nor bits.

    >>> wrong = inspect(bytes.fromhex("374443"))
    >>> print(wrong.unverified, wrong.findings[0].message, sep=chr(10))
    short 55: SpeedAndDirection forward=no c=0 speed=4
    error byte 43, where the bytes before it give 73
    """
    mode = member(Mode, "mode", mode)
    if isinstance(data, Bits):
        found = _inspect_bits(data, mode)
        if not found.packet:
            found = _slipped(data, mode, found)
    else:
        whole = plain_bytes(data, "bytes or Bits")
        found = _inspect_bytes(
            whole, mode, None, lambda byte, count: (8 * byte, 8 * count), [], received=True
        )
    return replace(found, findings=tuple(sorted(found.findings, key=attrgetter("offset"))))


def _inspect_bytes(
    data: bytes, mode: Mode, ones: int | None, place: Place, said: list[Finding], *, received: bool
) -> Inspection:
    packet = unverified = None
    wrong = reduce(xor, data, 0)
    fits = SHORTEST <= len(data) <= LONGEST
    later = longer_form(data)
    if later:
        message = f"{len(data)} bytes, in a form that is defined later (from memory)"
        said.append(Finding(Reason.FROM_MEMORY, message, later, *place(0, len(data))))
    elif not fits:
        message = f"{counted(len(data), 'byte')}; a packet has 3 to 6, the error byte included"
        clause = "S-9.2.1, introduction"
        said.append(Finding(Reason.LENGTH, message, clause, *place(0, len(data))))
    if wrong and (fits or later):
        right = data[-1] ^ wrong
        message = f"error byte {data[-1]:02X}, where the bytes before it give {right:02X}"
        clause, hint = "S-9.2 §B, Byte Three", _columns(wrong, len(data))
        where = place(len(data) - 1, 1)
        said.append(Finding(Reason.ERROR_BYTE, message, clause, *where, hint))
    if fits:
        known = decode(data[:-1] + bytes((data[-1] ^ wrong,)), mode=mode)
        said += remarks(known, place)
        packet, unverified = (None, known) if wrong or not received else (known, None)
    return Inspection(data, packet, unverified, ones, tuple(said))


def _columns(wrong: int, size: int) -> str:
    """In which columns the exclusive OR differs, and which bits stand in the only one."""
    first, *others = (number for number in range(7, -1, -1) if wrong >> number & 1)
    named = ", ".join(map(str, (first, *others)))
    differs = f"the exclusive OR differs in column{'s' * bool(others)} {named} of the bytes"
    alone = f"bit {first} of byte {either(range(size))}, nobody can tell which"
    return differs if others else f"{differs}: if one bit alone is wrong, it is {alone}"


def _inspect_bits(bits: Bits, mode: Mode) -> Inspection:
    events = (receiver := BitReceiver()).feed(bits) + receiver.close()
    match events:
        case [CutOff(data=data, bits="", preamble=ones)] if ones + 9 * len(data) == len(
            bits
        ) and decode_or_none(data):
            message, clause = "the packet end bit, a 1, is missing", "S-9.2 §A, Packet End Bit"
            hint = "the rest is read as if it stood there"
            lack = Finding(Reason.CUT_OFF, message, clause, len(bits), 0, hint)
            one = _inspect_bits(bits + "0b1", mode)
            return replace(one, packet=None, unverified=one.packet, findings=(lack, *one.findings))
    findings: list[Finding] = []
    short = received = True
    if (whole := _one_packet(bits, events)) is not None:
        start, data, wrong, end = whole
        findings += [_framing_bit(place, bits, whole) for place in wrong]
        begin, ones = 0, len(bits[:start].bin.split("0")[-1])
        short = not wrong or wrong[0] >= start
        received = ones >= LEAST_PREAMBLE and max(wrong, default=0) < start
        (right := BitArray(bits)).invert(wrong)
        events = (receiver := BitReceiver()).feed(right) + receiver.close()
        events = [one for one in events if one.begin >= end]
    elif first := next((one for one in events if isinstance(one, PacketReceived)), None):
        start, begin, ones, data = first.start, first.begin, first.preamble, first.data
        events.remove(first)
    else:
        broken = [one for one in events if isinstance(one, (Fault, CutOff))]
        longest = max(broken, key=lambda one: len(one.data), default=None)
        said = *_no_preamble(bits), *(said for one in events for said in _framing(one, mode))
        if longest is None or not longest.data:
            return Inspection(b"", None, None, None, said)
        begun = longest.begin + longest.preamble
        return Inspection(longest.data, None, None, None, said, begun)
    findings += (said for one in events for said in _framing(one, mode))
    if short:
        findings += _short_preamble(begin, ones, mode)

    def place(byte: int, count: int) -> tuple[int, int]:
        return start + 1 + 9 * byte, 9 * count - 1

    found = _inspect_bytes(data, mode, ones, place, findings, received=received)
    return replace(found, start=start)


def _short_preamble(begin: int, ones: int, mode: Mode, ends: bool = False) -> Iterator[Finding]:
    """What to say of too few ones; an end bit counts if the packet before `ends` at them (C2)."""
    if ones + ends < (least := least_preamble(mode)):
        service = mode is Mode.SERVICE
        clause = "S-9.2.3 §E, Long Preamble" if service else "S-9.2 §A, Preamble"
        message = counted(ones, "one") + " and the end bit before them" * ends
        message += f"; {least} or more are sent" + " in service mode" * service
        yield Finding(Reason.SHORT_PREAMBLE, message, clause, begin, ones)


def _one_packet(bits: Bits, events: list[Event]) -> Framed | None:
    """All the bits, or those before a later right packet's ones, as the packet with few wrong bits.

    It has the fewest, and a preamble most like that of the later one. A packet that was received
    well is not read otherwise, and a preamble that was received is no byte. What ends with a 0 may
    be cut off in a longer packet, so it is whole only if its error byte is right; of bits that are
    cut off, though none need be wrong, one may be.
    """

    def faults(one: Framed) -> tuple[int, int]:
        short = one.preamble < LEAST_PREAMBLE
        unlike = later and abs(one.preamble + one.end - later)
        return len(one.wrong) + reduce(xor, one.data).bit_count() + short, unlike

    known = [one for one in events if isinstance(one, (PacketReceived, Fault))]
    starts = (one.begin + one.preamble for one in known if decode_or_none(one.data))
    later = next((at for at in starts if at > LEAST_PREAMBLE + 9 * SHORTEST), 0)
    run = len(bits[:later].bin.rstrip("1"))  # of ones, the first of which may be an error byte's
    sizes, ends = range(SHORTEST, LONGEST + 1), (len(bits), *range(run, min(run + 10, later)))
    received = [one for one in known if isinstance(one, PacketReceived)]
    begun = {one.end: one.start for one in received if len(one.data) in sizes}
    least = dict.fromkeys(ends[1:], LEAST_PREAMBLE) | begun
    every = (framed(bits[:end], size) for end in ends for size in sizes if end > 9 * size + 1)
    candidates = (one for one in every if one.preamble >= least.get(one.end, 0))
    most = MOST_WRONG - all(isinstance(one, CutOff) for one in events)
    best = min(candidates, key=faults, default=None)
    if best is None or faults(best)[0] > most:
        return None
    good = {one.data for one in received if one.end <= best.end and one.packet}
    whole = bits[best.end - 1] or not reduce(xor, best.data)
    return best if whole and good <= {best.data} else None


def _framing_bit(at: int, bits: Bits, packet: Framed) -> Finding:
    """What to say of a bit of the framing that has the wrong value."""
    start = packet.preamble
    name, clause = "a bit of the preamble", "Preamble"
    if at == packet.end - 1:
        name, clause = "the packet end bit", "Packet End Bit"
    elif at >= start:
        name, clause = _start_bit((at - start) // 9)
    message = f"{name} is {bits[at]:d}, {not bits[at]:d} is expected"
    hint = "the rest is read as if it were right"
    if at < start < at + 1 + LEAST_PREAMBLE:
        hint += ", but a decoder needs ten ones and would not take it"
    return Finding(Reason.FRAMING_BIT, message, f"S-9.2 §A, {clause}", at, 1, hint)


def _start_bit(byte: int) -> tuple[str, str]:
    """What the bit before a byte is called, and where S-9.2 §A has it."""
    if not byte:
        return "the packet start bit", "Packet Start Bit"
    return f"the start bit of byte {byte}", "Data Byte Start Bit"


def _slipped(bits: Bits, mode: Mode, found: Inspection) -> Inspection:
    """All the bits as the one right packet that they are with a bit less, or with a start bit more.

    What was found stands if there is no such packet, or more than one, or if a wrong bit alone says
    as much: it leaves another length than a slip, but at the end of a preamble, and one that would
    be too short has rather a wrong bit.
    """
    slips = list(_slips(bits, mode))
    if len({data for _, _, data in slips}) != 1:
        return found
    (slip, first, data), *_ = slips
    one = _inspect_bits(to_bits(data, slip.at - 9 * first), mode)
    received = (found.preamble or 0) >= LEAST_PREAMBLE
    if found.unverified and received and len(found.findings) <= len(one.findings) + 1:
        return found
    if not first and slip.at < least_preamble(mode):
        return found
    names, clauses = zip(*(_start_bit(byte) for _, byte, _ in slips), strict=True)
    offset, length = slip.at, 0
    message = f"{either(names)} may be missing before this bit"
    hint = "the rest is read as if a 0 stood there"
    if slip.step > 0:
        alike = bits.bin[slip.at]
        offset = len(bits.bin[: slip.at].rstrip(alike))
        length = len(bits) - len(bits.bin[slip.at :].lstrip(alike)) - offset
        message = f"one {alike} may be too many at {either(names)}"
        hint = "the rest is read as if it were not there"
    said = [Finding(Reason.FRAMING_BIT, message, f"S-9.2 §A, {clauses[0]}", offset, length, hint)]
    for each in one.findings:
        begin, end = (slip.given(each.offset + more) for more in (0, each.length - 1))
        said.append(replace(each, offset=begin, length=end + 1 - begin))
    return replace(one, packet=None, unverified=one.packet, findings=tuple(said), slip=slip)


def _slips(bits: Bits, mode: Mode) -> Iterator[tuple[Slip, int, bytes]]:
    """Slips at start bits, of which bytes, without which all is a right packet, and its bytes."""
    run = len(bits) - len(bits.bin.lstrip("1"))
    for size, step in product(range(SHORTEST, LONGEST + 1), (1, -1)):
        ones = len(bits) - step - 9 * size - 1
        for byte in range(size) if LEAST_PREAMBLE <= ones <= run else ():
            at = ones + 9 * byte
            one = framed(bits[:at] + (bits[at + 1 :] if step > 0 else "0b0" + bits[at:]), size)
            if not one.wrong and decode_or_none(one.data, mode):
                yield Slip(at, step), byte, one.data


def _no_preamble(bits: Bits) -> Iterator[Finding]:
    """What to say where no packet begins: the longest run of ones before a 0 is too short."""
    longest = max(map(len, bits.bin.split("0")[:-1]), default=LEAST_PREAMBLE)
    if not bits:
        yield Finding(Reason.CUT_OFF, "no bits", "S-9.2 §A", 0, 0)
    elif longest < LEAST_PREAMBLE:
        runs = f"at most {counted(longest, 'one')} in a row" if longest else "no ones"
        message = f"no preamble: {runs} before a 0, 10 or more make one"
        yield Finding(Reason.SHORT_PREAMBLE, message, "S-9.2 §A, Preamble", 0, len(bits))


def _framing(event: Event, mode: Mode) -> Iterator[Finding]:
    """What to say about bits that are not the packet looked at."""
    offset, length = event.begin, event.end - event.begin
    reason, clause, hint = Reason.STRAY_BITS, "S-9.2 §A", ""
    match event:
        case Fault(reason=Reason.SHORT_PREAMBLE as reason):
            message = f"{counted(event.preamble, 'one')} before a 0; a preamble has 10 or more"
            clause += ", Preamble"
        case Fault(reason=reason):
            message = reason.meaning
        case CutOff():
            reason = Reason.CUT_OFF
            behind = offset and length == event.preamble
            begun = "a start bit" * (length > event.preamble + 9 * len(event.data))
            counts = (event.preamble, "one"), (len(event.data), "byte"), (len(event.bits), "bit")
            ones, whole, rest = (counted(number, what) * bool(number) for number, what in counts)
            message = f"the bits end after {', '.join(filter(None, (ones, whole, begun, rest)))}"
            if behind:
                message = f"{ones} at the end, which may open the next preamble"
            error = reduce(xor, event.data, 0)
            known = decode_or_none(event.data + bytes((error,)), mode)
            if known and f"{error:08b}".startswith(event.bits):
                hint = f"if the next byte is the error byte, they say {known}"
            if begun and not event.bits and len(event.data) >= SHORTEST and error:
                right = event.data[-1] ^ error
                ends = f"the last bit, its end bit, must be 1, and its error byte {right:02X}"
                hint = "; ".join(filter(None, (hint, f"if the packet ends here, {ends}")))
        case PacketReceived():
            message = f"another packet, {event.data.hex(' ').upper()}"
            if not event.error_byte_right:
                reason, message = Reason.ERROR_BYTE, f"{message}, wrong"
                clause = "S-9.2 §B, Byte Three"
            elif event.packet is None and not longer_form(event.data):
                reason, clause = Reason.LENGTH, "S-9.2.1, introduction"
        case _:
            message = f"{counted(length, 'bit')} of no packet"
    yield Finding(reason, message, clause, offset, length, hint)
    if isinstance(event, PacketReceived):
        yield from _short_preamble(offset, event.preamble, mode, event.adjoining)
