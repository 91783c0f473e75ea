"""Rules of S-9.2.3 on single packets of service mode, by their bytes.

Room: one declaration and one small function a rule, a class where the session must be asked.
"""

from __future__ import annotations

from dccwire.address import Mode
from dccwire.codebook import is_query_or_lock
from dccwire.conformance.history import Heard, Watch
from dccwire.conformance.measures import Tally
from dccwire.conformance.rules import (
    FAILED,
    PASSED,
    UNKNOWN_MODE,
    Force,
    Outcome,
    Sent,
    Verdict,
    of_bytes,
    rule,
)
from dccwire.conformance.session import Access, Session
from dccwire.packet import decode
from dccwire.service_mode import AddressOnlyAccess, RegisterAccess
from dccwire.signal import Limit

ADDRESS_ONLY = rule(
    65,
    "data of address-only mode",
    Limit("S-9.2.3 §E, Address-Only Mode", words="bit 7 is 0"),
    Force.DEFINED,
)

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
    """To all, with a short address behind it, and nothing more; two bytes alone are none."""
    if not sent.right or len(sent.data) < 4 or sent.data[:2] != b"\0\xf9":
        return None
    if len(sent.data) == 4 and not sent.data[2]:
        return _NO_ADDRESS
    return PASSED if is_query_or_lock(sent.data) else FAILED


class AddressOnly(Watch):
    """Rule 65: a data byte above 127 is right for register 1, which has the same bytes (P5)."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(ADDRESS_ONLY)

    def wants(self, sent: Sent) -> bool:
        if sent.mode is Mode.OPERATIONS or not sent.right:
            return False
        (one, *_) = decode(sent.data, mode=Mode.SERVICE).instructions
        known = self.session.access in (None, Access.ADDRESS_ONLY)
        return known and isinstance(one, RegisterAccess) and one.register == 1

    def take(self, heard: Heard) -> None:
        if decode(heard.sent.data, mode=Mode.SERVICE).reading(AddressOnlyAccess):
            self._tally.add(PASSED, [heard.start])
        elif self.session.access is None:
            self._tally.lacks = "needs the session's access: register 1 has the same bytes"
        elif heard.sent.mode is None:
            self._tally.add(Outcome(Verdict.UNDECIDED, note=UNKNOWN_MODE), [heard.start])
        else:
            self._tally.add(FAILED, [heard.start])
