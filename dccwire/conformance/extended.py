"""Rules of S-9.2.1: extended packets, by their bytes.

What later additions use (from memory) is told and never failed. Room: one declaration and one small
function a rule.
"""

from __future__ import annotations

from dccwire.assembly import LONGEST, SHORTEST
from dccwire.conformance.rules import Force, Outcome, Sent, Verdict, of_bytes
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
