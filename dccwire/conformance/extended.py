"""Rules of S-9.2.1: extended packets, by their bytes.

What later additions use (from memory) is told and never failed. Room: one declaration and one small
function a rule.
"""

from __future__ import annotations

from dccwire.address import LATER_FIRST_BYTES
from dccwire.assembly import LONGEST, SHORTEST
from dccwire.conformance.rules import FAILED, PASSED, Force, Outcome, Sent, Verdict, of_bytes
from dccwire.formats import Provenance
from dccwire.instructions.later import longer_form
from dccwire.signal import Limit

LATER = "perhaps defined later (from memory)"

LATER_CODES = frozenset((0x3C, 0xC1, 0xC2, *range(0xD8, 0xDD), *range(0xF4, 0xF7)))
"""First bytes of instructions that later additions use, in several lengths (from memory)."""


def judge_length(sent: Sent) -> Outcome:
    """Fewer than three make no packet; that six are the most follows from the formats alone."""
    size = len(sent.data)
    if size < SHORTEST:
        return Outcome(Verdict.FAIL, size)
    if size <= LONGEST:
        return Outcome(Verdict.PASS, size)
    if longer_form(sent.data):
        return Outcome(Verdict.UNDECIDED, size, f"of {size} bytes: {LATER}")
    return Outcome(Verdict.FAIL, size, force=Force.DERIVED)


LENGTH = of_bytes(
    27,
    "bytes of a packet",
    Limit("S-9.2.1, introduction; §C (C3)", SHORTEST, LONGEST, "bytes"),
    Force.DEFINED,
)(judge_length)


@of_bytes(
    28,
    "first byte 232 to 253",
    Limit("S-9.2.1 §A", words="none", provenance=Provenance.DERIVED),
    Force.DERIVED,
)
def reserved_first_byte(sent: Sent) -> Outcome | None:
    """Reserved; 253 has a use in later additions, and 254 is rule 18's (C7)."""
    if not sent.right:
        return None
    if sent.data[0] not in range(232, 254):
        return PASSED
    if sent.data[0] in LATER_FIRST_BYTES:
        return Outcome(Verdict.UNDECIDED, note=f"with first byte {sent.data[0]}: {LATER}")
    return FAILED
