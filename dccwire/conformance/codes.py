"""Rules of S-9.2.1 §B and §C: addresses and instruction codes of multi-function decoders, by bytes.

What later additions use (from memory) is told and never failed; bytes behind a code that is not
described may be anything, so what follows it is undecided. Room: one declaration and one small
function a rule.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from dccwire.address import BROADCAST, Mode, Partition
from dccwire.codebook import is_query_or_lock, reserved_clause
from dccwire.conformance.extended import LATER, LATER_CODES
from dccwire.conformance.rules import (
    FAILED,
    PASSED,
    Force,
    Outcome,
    Rule,
    Sent,
    Verdict,
    of_bytes,
)
from dccwire.formats import MULTI_FUNCTION, Instruction, Kept, Provenance
from dccwire.instructions import (
    AnalogFunctionGroup,
    BinaryStateLongForm,
    ConsistControl,
    CvBitManipulation,
    SetDecoderFlags,
)
from dccwire.instructions.later import is_extended_cv_access
from dccwire.signal import Limit

_TOLD = Outcome(Verdict.PASS, note=f"of a form {LATER}")
_LATER = Outcome(Verdict.UNDECIDED, note=LATER)
_CUT_SHORT = Outcome(
    Verdict.UNDECIDED,
    note="that open as a defined one does and are none: cut short, or with a value not described",
)
_UNKNOWN = Outcome(
    Verdict.UNDECIDED, note="behind an instruction of unknown length, whose bytes may be more"
)


def _rule(
    number: int, quantity: str, clause: str, words: str = "", most: int = 0, *,
    force: Force = Force.DERIVED, derived: bool = False,
) -> Callable[[Callable[[Sent], Outcome | None]], Rule]:  # fmt: skip
    """Declare a rule of operations mode; where a later form ends (from memory) never fails one."""
    provenance = Provenance.DERIVED if derived else Provenance.PUBLISHED
    limit = Limit(clause, words=words, provenance=provenance)
    if most:
        limit = Limit(clause, most=most, unit="instructions", provenance=provenance)
    declare = of_bytes(number, quantity, limit, force, Mode.OPERATIONS)

    def guard(judge: Callable[[Sent], Outcome | None]) -> Rule:
        def told(sent: Sent) -> Outcome | None:
            said = judge(sent)
            failed = said is not None and said.verdict is Verdict.FAIL
            return _LATER if failed and _holds_later(sent) else said

        return declare(told)

    return guard


def _is_longer_cv_access(data: bytes) -> bool:
    """Whether a packet that `decode` reads as several instructions may be a single later one."""
    return data[0] < 128 and is_extended_cv_access(data[1:-1])


def _holds_later(sent: Sent) -> bool:
    """Whether a later form may be in a packet, so that nobody knows what stands behind it."""
    known = parts[0] if (parts := _parts(sent)) else ()
    return _is_longer_cv_access(sent.data) or any(map(_is_later, known))


@lru_cache(maxsize=1)  # nine rules ask for the same in a row
def _parts(sent: Sent) -> tuple[tuple[Instruction, ...], Kept | None] | None:
    """The instructions of a packet to multi-function decoders, and what is kept as it came.

    A decoder lock is a packet of its own, and holds none (X24).
    """
    packet = sent.packet
    if packet is None or not packet.address.partitions <= MULTI_FUNCTION:
        return None
    if packet.address == BROADCAST and is_query_or_lock(sent.data):
        return None
    known = tuple(one for one in packet.instructions if not isinstance(one, Kept))
    kept = packet.instructions[len(known) :]
    return known, kept[0] if kept and isinstance(kept[0], Kept) else None


@_rule(29, "first byte 192 to 231", "S-9.2.1 §C, Address Byte", "two address bytes and more",
       force=Force.DEFINED)  # fmt: skip
def long_address(sent: Sent) -> Outcome | None:
    """Its second byte is one of address, and there is something behind."""
    if not sent.right or sent.data[0] not in Partition.LONG.value:
        return None
    return PASSED if len(sent.data) > 3 else FAILED


@_rule(30, "reserved instruction codes", "S-9.2.1 §C", "none", derived=True)
def reserved_codes(sent: Sent) -> Outcome | None:
    """Codes that are reserved or not available; those of consist control are demanded."""
    if (parts := _parts(sent)) is None:
        return _accessory_code(sent)
    known, kept = parts
    if _is_longer_cv_access(sent.data):
        return _TOLD
    if kept is None:
        return (_TOLD if any(map(_is_later, known)) else PASSED) if known else None
    code = kept.data[0]
    if code in LATER_CODES:
        return _LATER
    if not reserved_clause(kept.data[:1], Partition.SHORT):
        return _CUT_SHORT
    return Outcome(Verdict.FAIL, force=Force.SHALL if code >> 4 == 0b0001 else None)


def _is_later(one: Instruction) -> bool:
    return not isinstance(one, Kept) and one.format.provenance is Provenance.FROM_MEMORY


def _accessory_code(sent: Sent) -> Outcome | None:
    """CC = 00 of the six bytes of an accessory's CV access; a later form is told."""
    if not sent.right or sent.data[0] not in Partition.ACCESSORY.value:
        return None
    if len(sent.data) != 6:
        return _TOLD if sent.packet and any(map(_is_later, sent.packet.instructions)) else None
    return None if sent.data[2] >> 4 != 0b1110 else PASSED if sent.data[2] & 0b1100 else FAILED


def _form(
    kind: type[Instruction], opens: Callable[[int], bool], size: int
) -> Callable[[Sent], Outcome | None]:
    """Judge a form: bytes that open as it does, no fewer than it has, and are not it, fail."""

    def judge(sent: Sent) -> Outcome | None:
        """What opens as the form does is one."""
        parts = _parts(sent)
        if parts is None:
            return None
        known, kept = parts
        if kept is not None and opens(kept.data[0]) and len(kept.data) >= size:
            return FAILED
        return PASSED if any(isinstance(one, kind) for one in known) else None

    return judge


consist_bit = _rule(
    31, "second byte of consist control, bit 7", "S-9.2.1 §C, Consist Control", "0",
    force=Force.DEFINED,
)(_form(ConsistControl, lambda code: code >> 1 == 0b0001001, 2))  # fmt: skip

flags = _rule(
    32, "second byte of set decoder flags", "S-9.2.1 §C, Set Decoder Flags (X12)",
    "bit 3 is 0, CCCC is one of six", derived=True,
)(_form(SetDecoderFlags, lambda code: code >> 1 == 0b0000011, 2))  # fmt: skip

analog_output = _rule(
    33, "output of the analog function group", "S-9.2.1 §C, Analog Function Group", "1",
    derived=True,
)(_form(AnalogFunctionGroup, lambda code: code == 0b00111101, 3))  # fmt: skip

_bit = _form(CvBitManipulation, lambda code: code >> 2 == 0b111010, 3)

bit_data = _rule(
    34, "data byte of bit manipulation, upper bits", "S-9.2.1 §C, CV access long form", "111",
    force=Force.DEFINED,
)(lambda sent: _accessory_bit(sent) or _bit(sent))  # fmt: skip


def _accessory_bit(sent: Sent) -> Outcome | None:
    """The same in an accessory's CV access, which only §C describes."""
    if _accessory_code(sent) is not PASSED or sent.data[2] >> 2 != 0b111010:
        return None
    if sent.data[1] < 128 and sent.data[1] & 0b1001 != 1:
        return None
    return PASSED if sent.data[4] >> 5 == 0b111 else Outcome(Verdict.FAIL, force=Force.DERIVED)


_ACKNOWLEDGEMENT_REQUEST = bytes((0b00001111,))
"""The one instruction of group 000 that does not count (S-9.2.1 §C)."""

_PERHAPS_A_REQUEST = bytes((0b00001110,))
"""What it means is open (X10)."""

_OPEN_REQUEST = Outcome(
    Verdict.UNDECIDED, note="with 0000 1110, which may be an acknowledgement request (X10)"
)


def _once(group: int) -> Callable[[Sent], Outcome | None]:
    """Judge how many instructions of a group stand in a packet; what is unknown may hide more."""

    def judge(sent: Sent) -> Outcome | None:
        """At most one, the acknowledgement request not counted."""
        parts = _parts(sent)
        if parts is None:
            return None
        known, kept = parts
        count = sum(
            bytes(one)[0] >> 5 == group and bytes(one) != _ACKNOWLEDGEMENT_REQUEST for one in known
        )
        hidden = 0 if kept is None else len(kept.data) - 1
        count += kept is not None and kept.data[0] >> 5 == group
        later = kept is not None and kept.data[0] in LATER_CODES
        asked = sum(bytes(one) == _PERHAPS_A_REQUEST for one in known)
        if count > 1 and count - asked <= 1:
            return _OPEN_REQUEST
        if count > 1:
            return _LATER if later else Outcome(Verdict.FAIL, count)
        if count + hidden > 1:
            return _UNKNOWN
        return Outcome(Verdict.PASS, count) if count else None

    return judge


for _number, _group, _name in (
    (35, 0b000, "decoder and consist control"),
    (36, 0b001, "advanced operations"),
    (37, 0b111, "CV access"),
):
    _rule(_number, f"instructions of {_name} in a packet", "S-9.2.1 §C", most=1, force=Force.SHALL)(
        _once(_group)
    )


@_rule(40, "binary states 1 to 127 in the long form", "S-9.2.1 §C, Binary State Control (X21)",
       "none", force=Force.SHALL)  # fmt: skip
def long_states(sent: Sent) -> Outcome | None:
    """The short form is for them; 0, all states, may be either."""
    parts = _parts(sent)
    states = (
        [one.state for one in parts[0] if isinstance(one, BinaryStateLongForm)] if parts else []
    )
    if not states:
        return None
    return FAILED if any(1 <= state <= 127 for state in states) else PASSED


@_rule(88, "instructions in a packet to all decoders", "S-9.2.1 §B", most=1, derived=True)
def broadcast_instructions(sent: Sent) -> Outcome | None:
    """Exactly one."""
    if sent.data[0] or (parts := _parts(sent)) is None:
        return None
    known, kept = parts
    count = len(known) + (kept is not None)
    if count > 1:
        return Outcome(Verdict.FAIL, count)
    return _UNKNOWN if kept is not None and len(kept.data) > 1 else Outcome(Verdict.PASS, count)
