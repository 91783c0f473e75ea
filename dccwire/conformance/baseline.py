"""Rules 16, 18 and 19 of S-9.2: the error byte, and the first bytes with a meaning of their own.

Room: one declaration and one small function a rule.
"""

from __future__ import annotations

from dccwire.address import BROADCAST, LATER_FIRST_BYTES
from dccwire.codebook import IDLE_PACKET, RESET_PACKET, is_query_or_lock
from dccwire.conformance.extended import LATER, LATER_CODES
from dccwire.conformance.rules import FAILED, PASSED, Force, Outcome, Sent, Verdict, of_bytes
from dccwire.errors import Reason
from dccwire.formats import Kept, Provenance
from dccwire.instructions import HardReset
from dccwire.instructions.later import is_extended_cv_access, longer_form
from dccwire.packet import Packet
from dccwire.signal import Limit


@of_bytes(16, "exclusive OR of all bytes", Limit("S-9.2 §B; S-9.2.1 §C", words="0"))
def error_byte(sent: Sent) -> Outcome:
    """The last byte makes the exclusive OR of all of them 0."""
    return FAILED if sent.check else PASSED


@of_bytes(18, "first byte 0, 254 or 255", Limit("S-9.2 §A (C7)", words="in defined packets only"))
def special_first_byte(sent: Sent) -> Outcome | None:
    """Broadcasts that a format describes, the idle packet, and nothing else."""
    first = sent.data[0]
    if not sent.right or first not in (0, 254, 255):
        return None
    if first in LATER_FIRST_BYTES or longer_form(sent.data):
        return Outcome(Verdict.UNDECIDED, note=f"with first byte {first}: {LATER}")
    if first == 255:
        return PASSED if sent.data == IDLE_PACKET else FAILED
    packet = sent.packet
    if packet is None:
        return FAILED
    if not any(isinstance(one, Kept) for one in packet.instructions):
        formats = [one.format for one in packet.instructions]
        told = any(one.provenance is Provenance.FROM_MEMORY for one in formats)
        return Outcome(Verdict.PASS, note=f"of a form {LATER}") if told else PASSED
    if is_query_or_lock(sent.data):
        return PASSED
    if sent.data[1] in LATER_CODES or is_extended_cv_access(sent.data[1:-1]):
        return Outcome(Verdict.UNDECIDED, note=f"of a form {LATER}")
    from dccwire.inspection import inspect  # seldom needed, and slow to load

    found = {one.reason for one in inspect(sent.data).findings}
    return (
        Outcome(Verdict.UNDECIDED, note="that the texts leave open")
        if Reason.OPEN in found
        else FAILED
    )


_HARD_RESET = bytes(Packet(BROADCAST, HardReset()))


@of_bytes(
    20,
    "packets that reset all decoders",
    Limit("S-9.2 §B, Reset", words="told"),
    Force.REPORT,
)
def resets(sent: Sent) -> Outcome | None:
    """00 00 00, and the hard reset of all; what is longer is told by rule 35."""
    if sent.data == _HARD_RESET:
        return Outcome(Verdict.OBSERVED, note="hard resets")
    return Outcome(Verdict.OBSERVED) if sent.data == RESET_PACKET else None


@of_bytes(19, "first byte 255", Limit("S-9.2 §B, Idle", words="FF 00 FF only"))
def idle(sent: Sent) -> Outcome | None:
    """The idle packet alone."""
    if not sent.right or sent.data[0] != 255:
        return None
    return PASSED if sent.data == IDLE_PACKET else FAILED
