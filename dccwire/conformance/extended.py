"""Rules of S-9.2.1: extended packets, by their bytes.

What later additions use (from memory) is told and never failed (invariant of the house: what is not
known for certain is nobody's fault). Room: one declaration and one small function a rule.
"""

from __future__ import annotations

import re

from dccwire.assembly import LONGEST, SHORTEST
from dccwire.conformance.rules import Force, Outcome, Sent, Verdict, of_bytes
from dccwire.signal import Limit

__all__ = ["LATER", "is_later_form"]

LATER = "perhaps defined later (from memory)"

_LATER_FORMS = re.compile(
    rb"[\xfd\xfe].+"  # advanced extended packets and log-on
    rb"|(?:[\x00-\x7f]|[\xc0-\xe7].)"  # broadcast, a short or a long address, and then
    rb"(?:\x3c.{2,5}|[\xe4-\xef].{3,7}).",  # speed and functions; extended CV access; error byte
    re.DOTALL,
)


def is_later_form(data: bytes) -> bool:
    """Whether bytes may be a form that is longer than six bytes in later additions (from memory).

    >>> is_later_form(bytes.fromhex("033C8300000000BC")), is_later_form(bytes.fromhex("03740203"))
    (True, False)
    """
    return _LATER_FORMS.fullmatch(data) is not None


@of_bytes(
    27,
    "bytes of a packet",
    Limit("S-9.2.1, introduction; §C (C3)", SHORTEST, LONGEST, "bytes"),
    Force.DEFINED,
)
def length(sent: Sent) -> Outcome:
    """Fewer than three make no packet; that six are the most follows from the formats alone."""
    size = len(sent.data)
    if size < SHORTEST:
        return Outcome(Verdict.FAIL, size)
    if size <= LONGEST:
        return Outcome(Verdict.PASS, size)
    if is_later_form(sent.data):
        return Outcome(Verdict.UNDECIDED, size, f"of {size} bytes: {LATER}")
    return Outcome(Verdict.FAIL, size, force=Force.DERIVED)
