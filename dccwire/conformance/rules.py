"""What a rule is: one object that the verdict, the report, its JSON and the docs are made from.

Each is declared in the file of its chapter, beside the function or class that measures it; its
number stays the same for good, since reports, options and tests name it by that. Room: no
measuring here, no numpy.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from functools import reduce
from operator import xor
from typing import NamedTuple

from dccwire.address import Address, Mode
from dccwire.assembly import SHORTEST
from dccwire.errors import FieldError
from dccwire.formats import Instruction, Provenance
from dccwire.packet import Packet, decode_or_none
from dccwire.signal import Limit


class Verdict(StrEnum):
    """What a recording shows of a rule."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"
    NOT_EXERCISED = "not exercised"
    NOT_DECIDABLE = "not decidable"
    OBSERVED = "observed"


class Force(StrEnum):
    """How strongly the text demands; what failed counts by it, the verdict does not know it."""

    SHALL = "shall"
    DEFINED = "defined"
    SHOULD = "should"
    DERIVED = "derived"
    REPORT = "report"

    @property
    def binding(self) -> bool:
        """Whether a failure counts without being strict: the text demands or defines it."""
        return self in (Force.SHALL, Force.DEFINED)


class Sent:
    """Bytes as they were sent, in a mode that may not be known.

    `check` is their exclusive OR; `right` says that they are three or more, and it is 0. Both are
    worked out once, since every rule asks for them.
    """

    __slots__ = ("_packet", "check", "data", "mode", "right")

    def __init__(self, data: bytes, mode: Mode | None = Mode.OPERATIONS) -> None:
        self.data, self.check, self.mode = data, reduce(xor, data, 0), mode
        self.right = len(data) >= SHORTEST and not self.check
        self._packet: Packet | None = None

    @property
    def packet(self) -> Packet | None:
        """The packet, or None where `decode` refuses the bytes."""
        if self._packet is None and self.right:
            self._packet = decode_or_none(self.data, self.mode or Mode.OPERATIONS)
        return self._packet


class Outcome(NamedTuple):
    """What one thing shows of a rule.

    `value` is what was read, where the rule has a number; `note` says what else there is to know,
    and is counted; `force` is that of this failure where it is less than the rule's.
    """

    verdict: Verdict
    value: int | None = None
    note: str = ""
    force: Force | None = None


PERHAPS_OPERATIONS = (
    "or packets to 112 to 127 behind a reset: what the track is for decides (say it in the session)"
)
UNKNOWN_MODE = "in packets of service mode, perhaps: what came before them does not tell"

PASSED, FAILED = Outcome(Verdict.PASS), Outcome(Verdict.FAIL)
"""The outcomes that say no more."""

MISSED = Outcome(Verdict.UNDECIDED, note="with what could not be read between")


def instructions(sent: Sent) -> Iterator[tuple[Address, Instruction]]:
    """Those of a packet that is right, each with the packet's address."""
    packet = sent.packet
    if packet is not None:
        yield from ((packet.address, one) for one in packet.instructions)


def holds(sent: Sent, *kinds: type) -> bool:
    """Whether a packet that is right has an instruction of one of these kinds."""
    return any(isinstance(one, kinds) for _, one in instructions(sent))


@dataclass(frozen=True, slots=True)
class Rule:
    """What is measured, the limit, how strongly it is demanded, what the recording must have.

    `of_bytes` judges the bytes of one packet, where that is all that the rule needs; it gives None
    for bytes that the rule is not about. `mode` is the mode that the rule holds in, None for both.

    >>> print(RULES[1].quantity, RULES[1].limit, RULES[1].clause, RULES[1].force, sep="; ")
    each half of a 1; 55 to 61 us; S-9.1 §A, Table 1 t1; shall
    """

    number: int
    quantity: str
    limit: Limit
    force: Force
    needs: str = ""
    of_bytes: Callable[[Sent], Outcome | None] | None = None
    mode: Mode | None = None

    def __reduce__(self) -> tuple[Callable[[int], Rule], tuple[int]]:
        # Its function is not found by its name, which is that of the rule.
        return _numbered, (self.number,)

    def judge(self, sent: Sent, *, track: bool | None = None) -> Outcome | None:
        """What bytes show; in a mode that is not known, what would fail is undecided.

        `track` says whether they are of a programming track, which that of service mode hangs on.
        """
        if self.of_bytes is None or self.mode not in (None, sent.mode or self.mode):
            return None
        said = self.of_bytes(sent)
        if said and said.verdict is Verdict.FAIL and self.mode:
            if sent.mode is None:
                return Outcome(Verdict.UNDECIDED, said.value, UNKNOWN_MODE)
            if self.mode is Mode.SERVICE and track is None:
                return Outcome(Verdict.UNDECIDED, said.value, PERHAPS_OPERATIONS)
        return said

    @property
    def chapter(self) -> str:
        """The standard that it is of, such as S-9.2.1."""
        return self.limit.clause.split(" ")[0].rstrip(",;")

    @property
    def clause(self) -> str:
        """Where the limit stands."""
        return self.limit.clause

    @property
    def provenance(self) -> Provenance:
        """Where the limit comes from."""
        return self.limit.provenance


RULES: dict[int, Rule] = {}
"""The rules by number, as the chapters declare them."""


def _numbered(number: int) -> Rule:
    return RULES[number]


def rule(
    number: int, quantity: str, limit: Limit, force: Force = Force.SHALL, *, needs: str = ""
) -> Rule:
    """Declare a rule; the arguments are those of `Rule`.

    Raises:
        FieldError: the number is another rule's.
    """
    return _declare(Rule(number, quantity, limit, force, needs))


def of_bytes(
    number: int, quantity: str, limit: Limit, force: Force = Force.SHALL, mode: Mode | None = None
) -> Callable[[Callable[[Sent], Outcome | None]], Rule]:
    """Declare a rule that the decorated function judges by the bytes of one packet.

    It is called once for each distinct packet of a recording, so it may take its time.
    """
    return lambda judge: _declare(Rule(number, quantity, limit, force, "", judge, mode))


def _declare(made: Rule) -> Rule:
    if made.number in RULES:
        raise FieldError("rule", "a number of its own", made.number)
    RULES[made.number] = made
    return made


KNOWN = "numbers of rules"
LISTED = "'dccwire check --list' tells them all"


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
        ends = (first, last if dash else first)
        if not all(one.isascii() and one.isdigit() and len(one) < 20 for one in ends):
            raise FieldError("rules", "numbers and ranges such as 1-5,14", text)
        named = [one for one in RULES if int(ends[0]) <= one <= int(ends[1])]
        if not named:
            raise FieldError("rules", KNOWN, part.strip(), LISTED)
        chosen.update(named)
    return tuple(sorted(chosen))


def rules_in_words() -> Iterator[tuple[str, ...]]:
    """Number, quantity, limit, clause, force and provenance of each rule, after their headings."""
    yield "rule", "what is judged", "limit", "clause", "force", "provenance"
    for number, one in sorted(RULES.items()):
        yield str(number), one.quantity, str(one.limit), one.clause, one.force, one.provenance
