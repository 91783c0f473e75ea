"""Rules of S-9.2.1 §D and Appendix A: accessory packets, by their bytes.

Room: one declaration and one small function a rule.
"""

from __future__ import annotations

from dccwire.accessory import (
    OLD_ADDRESS_CVS,
    OUTPUT,
    BasicAccessoryBroadcast,
    ExtendedAccessoryBroadcast,
    LegacyAccessoryCvAccess,
)
from dccwire.address import Mode, Partition
from dccwire.conformance.rules import FAILED, PASSED, Force, Outcome, Sent, Verdict, of_bytes
from dccwire.formats import Provenance
from dccwire.signal import Limit

_OPEN = Outcome(
    Verdict.UNDECIDED, note="with C = 0 and an output, which the text does not describe (X31)"
)
_ALL_BITS = Outcome(Verdict.PASS, note="of an aspect above 31, as NEM 672 has")
_SEEN = Outcome(Verdict.OBSERVED)


def _is_accessory(sent: Sent, size: int) -> bool:
    return sent.right and len(sent.data) == size and sent.data[0] in Partition.ACCESSORY.value


@of_bytes(
    45,
    "output of a basic accessory's CV access",
    Limit(
        "S-9.2.1 §D, basic accessory CV access",
        words="0000, or C = 1 and the output",
        provenance=Provenance.DERIVED,
    ),
    Force.DERIVED,
    Mode.OPERATIONS,
)
def basic_cv_access(sent: Sent) -> Outcome | None:
    """What has no description, an output without C, is open (X31)."""
    if not _is_accessory(sent, 6) or sent.data[1] < 128 or sent.data[2] >> 4 != 0b1110:
        return None
    known = OUTPUT["output"].table or {}
    return PASSED if sent.data[1] & 0b1111 in known else _OPEN


@of_bytes(
    46,
    "accessory packet of four bytes",
    Limit("S-9.2.1 §D, extended accessory (X33)", words="0AAA0AA1 000XXXXX behind the first byte"),
    Force.DEFINED,
    Mode.OPERATIONS,
)
def extended_packet(sent: Sent) -> Outcome | None:
    """The eight bits that another standard gives the aspect are told, never failed."""
    if not _is_accessory(sent, 4):
        return None
    if sent.data[1] & 0b10001001 != 1:
        return FAILED
    return _ALL_BITS if sent.data[2] > 31 else PASSED


@of_bytes(
    47,
    "accessory broadcasts",
    Limit("S-9.2.1 §D, Broadcast", words="told: obeying them is the decoder's part"),
    Force.REPORT,
    Mode.OPERATIONS,
)
def accessory_broadcast(sent: Sent) -> Outcome | None:
    """Basic and extended."""
    if not sent.right or sent.data[0] != 0b10111111 or sent.packet is None:
        return None
    kinds = BasicAccessoryBroadcast, ExtendedAccessoryBroadcast
    return _SEEN if any(sent.packet.reading(kind) for kind in kinds) else None


@of_bytes(
    48,
    "CV access of the old form to CV 513 or 521",
    Limit("S-9.2.1 Appendix A", words="told: to be used with caution"),
    Force.SHOULD,
    Mode.OPERATIONS,
)
def legacy_cv_access(sent: Sent) -> Outcome | None:
    """They hold the address of the decoder."""
    if not _is_accessory(sent, 5) or sent.packet is None:
        return None
    cvs = [one.cv for one in sent.packet.instructions if isinstance(one, LegacyAccessoryCvAccess)]
    return _SEEN if OLD_ADDRESS_CVS & set(cvs) else None
