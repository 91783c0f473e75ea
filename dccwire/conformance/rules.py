"""The rules for a transmitter that this library judges, as data.

The numbers stay the same for good: reports, options and tests name a rule by its number. Room: no
measuring here, no numpy.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from dccwire.errors import FieldError

__all__ = ["RULES", "Force", "Rule", "Verdict", "choose_rules"]


class Verdict(StrEnum):
    """What a recording shows of a rule."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"
    NOT_EXERCISED = "not exercised"
    NOT_DECIDABLE = "not decidable"
    OBSERVED = "observed"


class Force(StrEnum):
    """How strongly the text demands; only a failed `SHALL` makes a recording fail."""

    SHALL = "shall"
    SHOULD = "should"
    DERIVED = "derived"
    ADVICE = "advice"


@dataclass(frozen=True, slots=True)
class Rule:
    """What is measured, the limit in words, the clause, and how strongly it is demanded."""

    number: int
    quantity: str
    limit: str
    clause: str
    force: Force = Force.SHALL


RULES: dict[int, Rule] = {
    rule.number: rule
    for rule in (
        Rule(1, "each half of a 1", "55 to 61 us", "S-9.1 §A, Table 1 t1"),
        Rule(2, "difference of the halves of a 1", "at most 3 us", "S-9.1 §A, Table 1 t1d"),
        Rule(3, "each half of a 0", "95 to 9900 us", "S-9.1 §A, Table 1 t0"),
        Rule(4, "whole stretched 0", "at most 12000 us", "S-9.1 §A, Table 1 t0total"),
        Rule(5, "half-bits of neither a 1 nor a 0", "none", "S-9.1 §A, from t1 and t0 (E5)"),
        Rule(14, "ones before a packet start bit", "at least 14", "S-9.2 §A, Preamble (C2)"),
        Rule(15, "start and end bits", "0 before a byte, 1 at the end", "S-9.2 §A"),
        Rule(16, "exclusive OR of all bytes", "0", "S-9.2 §B; S-9.2.1 §C"),
        Rule(17, "signal after the end bit", "at least 26 us", "S-9.2 §A footnote 3 (C14)"),
        Rule(18, "first byte 0, 254 or 255", "in defined packets only", "S-9.2 §A (C7)"),
        Rule(19, "first byte 255", "FF 00 FF only", "S-9.2 §B, Idle"),
        Rule(27, "bytes of a packet", "3 to 6", "S-9.2.1, introduction; §C"),
    )
}
"""The rules by number; the limits are those of the texts, exact (E4)."""


def choose_rules(text: str) -> tuple[int, ...]:
    """The rules that a text such as `1-5,14` names, in order.

    Raises:
        FieldError: no numbers, or a number that is no rule's.

    >>> choose_rules("1-3,27")
    (1, 2, 3, 27)
    """
    chosen: set[int] = set()
    for part in text.split(","):
        first, dash, last = part.strip().partition("-")
        last = last if dash else first
        if not (first.isdecimal() and last.isdecimal()):
            raise FieldError("rules", "numbers and ranges such as 1-5,14", text)
        span = range(int(first), int(last) + 1)
        named = [number for number in RULES if number in span]
        if not named:
            known = ", ".join(map(str, RULES))
            raise FieldError("rules", f"some of {known}", part.strip())
        chosen.update(named)
    return tuple(sorted(chosen))
