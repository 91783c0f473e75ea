"""Rules that no recording of levels can decide: each is named, with what it would take.

Room: declarations alone, and a tally for each that says what is missing.
"""

from __future__ import annotations

from dccwire.conformance.measures import Tally
from dccwire.conformance.rules import Force, rule
from dccwire.signal import Limit

_VOLTAGE = "the voltage at the track, recorded as such by an instrument that may be put there"
_LOG = "a log of what the operator asked for; expectations in the session check single packets"

_LACKING = (
    (8, "both levels, opposite and equal", "S-9.1 §A", "equal in size", Force.DEFINED, _VOLTAGE),
    (9, "slope between -4 V and +4 V", "S-9.1 §B, Table 2", "2.4 V/us or more", Force.SHALL,
     _VOLTAGE),
    (10, "distortion at the zero crossing", "S-9.1 §B, Table 2", "2 V or less", Force.SHALL,
     _VOLTAGE),
    (11, "highest voltage between the rails", "S-9.1 §C, Table 3 (E3)", "8.5 to 22 V", Force.SHALL,
     _VOLTAGE),
    (12, "peak voltage at any time", "S-9.1 §C", "22 V or less", Force.SHOULD, _VOLTAGE),
    (87, "speed of mobile decoders by the analog function", "S-9.2.1 §C, Analog Function Group",
     "none", Force.SHALL, _LOG),
    (90, "functions, states and speeds in 128 steps as the operator gave them", "S-9.2.1 §C",
     "codes of the text", Force.SHALL, _LOG),
)  # fmt: skip
"""Number, what is judged, clause, limit in words, force, and what a recording of levels lacks."""

RULES_LACKING = tuple(
    (rule(number, quantity, Limit(clause, words=words), force), lacks)
    for number, quantity, clause, words, force, lacks in _LACKING
)


def tallies() -> list[Tally]:
    """One for each of these rules, which stays not decidable."""
    made = []
    for one, lacks in RULES_LACKING:
        tally = Tally(one)
        tally.lacks = f"needs {lacks}"
        made.append(tally)
    return made
