"""Rules of S-9.2.3 on single packets of service mode, by their bytes.

Room: one declaration and one small function a rule.
"""

from __future__ import annotations

from dccwire.address import Mode
from dccwire.codebook import is_query_or_lock
from dccwire.conformance.rules import FAILED, PASSED, Force, Outcome, Sent, Verdict, of_bytes
from dccwire.signal import Limit

_NO_ADDRESS = Outcome(Verdict.UNDECIDED, note="with address 0, which is no short address (P13)")


@of_bytes(
    59,
    "instructions of direct mode",
    Limit("S-9.2.3 §E, Direct Mode (P4)", words="CC is not 00; of bits, data is 111KDBBB"),
    Force.DEFINED,
    Mode.SERVICE,
)
def direct_mode(sent: Sent) -> Outcome | None:
    """Four bytes, the first of which opens with 0111."""
    if not sent.right or len(sent.data) != 4 or sent.data[0] >> 4 != 0b0111:
        return None
    code = sent.data[0] >> 2 & 0b11
    return FAILED if not code or (code == 0b10 and sent.data[2] >> 5 != 0b111) else PASSED


@of_bytes(
    79,
    "address queries",
    Limit("S-9.2.3 Appendix A (P12)", words="first byte 1 to 111"),
    Force.DEFINED,
)
def address_query(sent: Sent) -> Outcome | None:
    """With another first byte the same bytes are something else, and no query."""
    query = sent.right and len(sent.data) == 3 and is_query_or_lock(sent.data)
    return PASSED if query else None


@of_bytes(
    81,
    "decoder locks",
    Limit("S-9.2.3 Appendix B", words="00 F9 0aaaaaaa"),
    Force.DEFINED,
)
def decoder_lock(sent: Sent) -> Outcome | None:
    """To all, with a short address behind it."""
    if not sent.right or len(sent.data) != 4 or sent.data[:2] != b"\0\xf9":
        return None
    if not sent.data[2]:
        return _NO_ADDRESS
    return PASSED if is_query_or_lock(sent.data) else FAILED
