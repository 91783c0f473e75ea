"""Rules 49 to 94 of S-9.2.3, as they are declared, and the counts of each mode's sequence.

The numbers are those of `dccwire.counts`. Room: declarations; what they are judged by stands in
`demands`.
"""

from __future__ import annotations

from typing import NamedTuple

from dccwire.conformance.rules import Force, Rule, rule
from dccwire.conformance.service.groups import Target
from dccwire.conformance.session import Access
from dccwire.counts import Counts, DirectCounts, HardResetCounts, RegisterCounts
from dccwire.formats import Provenance
from dccwire.receiver.tracking import STAY_NS
from dccwire.service_mode import PAGE_REGISTER
from dccwire.signal import Limit

CURRENT = "the track current"
INTENT = "what the programmer meant to do"

_DIRECT, _COMMON, _REGISTER = DirectCounts(), Counts(), RegisterCounts()


def _least(clause: str, count: int, unit: str = "packets") -> Limit:
    return Limit(f"S-9.2.3 {clause}", least=count, unit=unit)


def _words(clause: str, words: str, provenance: Provenance = Provenance.PUBLISHED) -> Limit:
    return Limit(f"S-9.2.3 {clause}", words=words, provenance=provenance)


def _opening(clause: str, counts: Counts) -> Limit:
    page = f"{counts.page_writes} and {counts.page_recovery}"
    return _words(clause, f"{counts.resets} resets; {page} for the page; {counts.resets} resets")


_DERIVED = Provenance.DERIVED

RULES_OF_GROUPS: list[Rule] = []
"""The rules that are judged by groups of packets."""


def _rule(
    number: int, quantity: str, limit: Limit, force: Force = Force.SHALL, *, needs: str = ""
) -> Rule:
    made = rule(number, quantity, limit, force, needs=needs)
    RULES_OF_GROUPS.append(made)
    return made


PREAMBLE = _rule(
    49,
    "ones before service mode instructions",
    _least("§E, Long Preamble (P16, C2)", _COMMON.preamble, "ones"),
    Force.DEFINED,
)
LEAD = _rule(
    51,
    "packet right before those of service mode",
    _words("§C", "a reset", _DERIVED),
    Force.DERIVED,
)
PAUSE = _rule(
    52,
    "end bit to start bit within a step",
    Limit("S-9.2.3 §C 2.", most=STAY_NS, unit="us", provenance=_DERIVED),
    Force.DERIVED,
)
INTRUDERS = _rule(
    53, "other packets within a step", _words("§C 1.; §E", "none", _DERIVED), Force.DERIVED
)
DIRECT_RESETS = _rule(
    54, "direct mode: resets before a group", _least("§E, Direct Mode", _DIRECT.resets)
)
DIRECT_VERIFIES = _rule(
    55, "direct mode: verifies of a CV", _least("§E, Direct Mode (P1)", _DIRECT.verifies)
)
AFTER_ANSWER = _rule(
    56,
    "direct mode: resets behind verifies, if acknowledged",
    Limit(
        "S-9.2.3 §E, Direct Mode (P2)",
        least=_DIRECT.acknowledged_resets,
        unit="packets",
        words="at least one packet",
    ),
    Force.REPORT,
    needs=CURRENT,
)
DIRECT_WRITES = _rule(57, "direct mode: writes to a CV", _least("§E, Direct Mode", _DIRECT.writes))
DIRECT_RECOVERY = _rule(
    58,
    "direct mode: the write or resets behind it",
    _least("§E, Direct Mode; Decoder Recovery Time", _DIRECT.recovery),
)
DIRECT_KINDS = _rule(
    60,
    "direct mode: its three kinds of access are sent",
    _words("§E, Direct Mode", "all three"),
    needs=INTENT,
)
DIRECT_FOUND = _rule(
    61,
    "direct mode is found by verifies of CV 8 bit 7",
    _words("§E, Direct Mode", "an example"),
    Force.REPORT,
)
ADDRESS_RESETS = _rule(
    62,
    "address-only mode: what opens it, and leads its groups",
    _opening("§E, Address-Only Mode (P6)", _COMMON),
    Force.DEFINED,
)
ADDRESS_ACCESS = _rule(
    63,
    "address-only mode: verifies of CV 1, or writes to it",
    _least("§E, Address-Only Mode", _COMMON.verifies),
    Force.DEFINED,
)
ADDRESS_RECOVERY = _rule(
    64,
    "address-only mode: the write or resets behind it",
    _least("§E, Address-Only Mode", _COMMON.long_recovery),
)
REGISTER_RESETS = _rule(
    66,
    "register mode: what opens it, and leads its groups",
    _opening("§E, Physical Register Addressing (P6)", _REGISTER),
    Force.DEFINED,
)
REGISTER_VERIFIES = _rule(
    67,
    "register mode: verifies of a register",
    _least("§E, Physical Register Addressing (P1)", _REGISTER.verifies),
    Force.DEFINED,
)
REGISTER_WRITES = _rule(
    68,
    "register mode: writes to a register",
    _least("§E, Physical Register Addressing", _REGISTER.writes),
    Force.DEFINED,
)
REGISTER_RECOVERY = _rule(
    69,
    "register mode: the write or resets behind it",
    _words(
        "§E, Physical Register Addressing (P21)",
        f"at least {_REGISTER.recovery} packets; register 1: {_REGISTER.long_recovery}",
    ),
)
PAGED_RESETS = _rule(
    70,
    "paged mode: page groups, and what leads all groups",
    _opening("§E, Paged CV Addressing (P6)", _COMMON),
    Force.DEFINED,
)
PAGED_ACCESS = _rule(
    71,
    "paged mode: verifies of data registers, or writes",
    _least("§E, Paged CV Addressing (P1)", _COMMON.verifies),
    Force.DEFINED,
)
PAGED_RECOVERY = _rule(
    72,
    "paged mode: the write or resets behind it",
    _least("§E, Paged CV Addressing (P21)", _COMMON.recovery),
)
LAST_PAGE = _rule(
    73,
    "page register at the end of programming",
    _words("§E, Paged CV Addressing", "1"),
    Force.SHOULD,
)
POWER_CYCLE = _rule(
    74,
    "paged mode: data register used behind a power cycle, page not set anew",
    _words("§E footnote 3", "never"),
)
STOPPED = _rule(
    75, "packets stop before the recovery time ends", _words("§D; §E", "never"), needs=CURRENT
)
IN_RECOVERY = _rule(
    76,
    "other packets in the recovery time",
    _words("§E, Decoder Recovery Time", "none"),
    needs=CURRENT,
)
FACTORY_RESET = _rule(
    77,
    "factory reset by the sequence of register mode",
    _words("§E, Decoder Factory Reset, footnote 6 (P11)", "7F 08 77"),
    Force.DEFINED,
    needs=INTENT,
)
HARD_RESET = rule(
    78,
    "idles and resets behind a hard reset",
    _least("§E, Hard-Reset-Cycle (P14)", HardResetCounts().after),
    Force.REPORT,
)
QUERY = _rule(
    80,
    "address query",
    _words("Appendix A", "where direct and paged mode failed"),
    Force.SHOULD,
    needs=CURRENT,
)
ANSWERS = _rule(
    82,
    "acknowledgements",
    _words("§D, Basic Acknowledgment", "60 mA more, for 5 to 7 ms"),
    Force.REPORT,
    needs=CURRENT,
)
WINDOW = _rule(
    83,
    "when acknowledgements come",
    _words("§D (P17)", "from the second packet on"),
    Force.REPORT,
    needs=CURRENT,
)
LIMITED = _rule(
    84,
    "time that the track carries more than 250 mA",
    _words("§B 3.", "100 ms or less"),
    Force.SHOULD,
    needs=CURRENT,
)
OVERLOAD = _rule(
    85,
    "current once 100 ms have passed since the first packet with power",
    _words("§E, Power-On Cycle", "at most 250 mA"),
    Force.SHOULD,
    needs=CURRENT,
)
REGISTER_5 = _rule(
    93,
    "register 5 restored, if used otherwise",
    _words("§E footnote 4", "behind page 1"),
    Force.SHOULD,
    needs=INTENT,
)
ZEROS = _rule(94, "resets that count", _words("§E", "00 00 00"), Force.DEFINED)


class Sequence(NamedTuple):
    """The rules of a mode's sequence, by what they count, and how many are demanded."""

    resets: Rule
    verifies: Rule
    writes: Rule
    recovery: Rule
    counts: Counts

    def least_recovery(self, target: Target) -> int:
        """The packets behind a write to a target."""
        if target == PAGE:
            return self.counts.page_recovery
        long = self is not SEQUENCES[Access.PAGED] and target == Target(False, 1)
        return self.counts.long_recovery if long else self.counts.recovery


PAGE = Target(False, PAGE_REGISTER)

SEQUENCES = {
    Access.DIRECT: Sequence(
        DIRECT_RESETS, DIRECT_VERIFIES, DIRECT_WRITES, DIRECT_RECOVERY, _DIRECT
    ),
    Access.ADDRESS_ONLY: Sequence(
        ADDRESS_RESETS, ADDRESS_ACCESS, ADDRESS_ACCESS, ADDRESS_RECOVERY, _COMMON
    ),
    Access.REGISTER: Sequence(
        REGISTER_RESETS, REGISTER_VERIFIES, REGISTER_WRITES, REGISTER_RECOVERY, _REGISTER
    ),
    Access.PAGED: Sequence(PAGED_RESETS, PAGED_ACCESS, PAGED_ACCESS, PAGED_RECOVERY, _COMMON),
}
"""The demands of each mode; those on the page register count by the rule of the resets."""
