"""Which findings follow from another: one wrong packet, or one wrong clock, is one cause.

A rule follows from another only where that is known: each of its failures stands at one of the
other's, of which all or the first are told with their times. What does not is a cause of its own,
so that nothing hides behind another finding. Room: results in, causes out; nothing is judged here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from dccwire.conformance.report import RuleResult
from dccwire.conformance.rules import Verdict
from dccwire.receiver.tracking import STAY_NS
from dccwire.signal import LIMITS, UNBOUNDED
from dccwire.wording import counted


@dataclass(frozen=True, slots=True)
class Cause:
    """A finding and what follows from it.

    `rule` is the number of the rule that leads, None where all times are off by one factor; `count`
    is how often it failed, or how many half-bits were measured; `follows` are the numbers of the
    rules whose findings come of it; `words` tell it; `amount` says by what all times are off, where
    they are alike.
    """

    rule: int | None
    count: int
    follows: tuple[int, ...]
    words: str
    amount: str = ""

    def to_dict(self) -> dict[str, Any]:
        """The cause as the summary of the JSON holds it."""
        return {
            "rule": self.rule,
            "count": self.count,
            "follows": list(self.follows),
            "words": self.words,
        }


class _Link(NamedTuple):
    """That failures of one rule, or of some, bring those of another, told so much later, in ns.

    Of a `run` what follows may stand as near behind another that follows already. Those that are
    `paired` come one for one, however much later. Where each failure of the leader is sure to bring
    one of the follower's, equal counts show that there is no other.
    """

    leaders: tuple[int, ...]
    follower: int
    least_ns: int = 0
    most_ns: int = 0
    run: bool = False
    paired: bool = False
    sure: bool = False


# Rules 2 and 4 are told where the bit begins. Halves of ones are shorter than any of a 0, and whole
# ones longer; likewise a half of a 0 and a 0 that is too long in all.
_HALF_OF_ONE_NS, _HALF_OF_ZERO_NS = LIMITS["tr0"].least, LIMITS["tr0"].most
# From its start bit on the shortest packet has 28 bits (S-9.2 §A), each of 52 us twice at least.
_PACKET_NS = 28 * 2 * LIMITS["tr1"].least

_LINKS = (
    # A half of a bit, and the bit or the packet that it is in.
    _Link((1,), 2, -_HALF_OF_ONE_NS),
    _Link((3,), 4, -_HALF_OF_ZERO_NS),
    *(_Link((5,), other, -_PACKET_NS) for other in (15, 16)),
    # The bytes of one packet.
    _Link((19,), 18, sure=True),
    _Link((81,), 18),
    *(_Link((18,), other) for other in (30, 31, 32, 33, 34)),
    _Link((30,), 34),
    *(_Link((group,), 88) for group in (35, 36, 37)),
    # One packet that comes too early, or too late.
    _Link((21,), 38),
    _Link((22,), 43),
    _Link((81,), 24),
    # One sequence of service mode, which is not led by resets, or pauses, or breaks off.
    *(_Link((52,), other) for other in (51, 54, 55, 57, 92)),
    _Link((94,), 51, 0, STAY_NS),
    _Link((53,), 51),
    *(_Link((51,), other) for other in (54, 62, 66, 70)),
    *(_Link((short,), other, paired=True) for short in (58, 64, 69, 72) for other in (75, 76)),
    _Link((76,), 53),
    *(_Link((short,), 53, 0, STAY_NS) for short in (55, 63, 67)),
    # Its packets are then read as those to 112 to 127, which neither repeat so soon nor mean this.
    *(_Link((lead,), other, 0, STAY_NS, run=True) for lead in (51, 52, 53) for other in (38, 23)),
    _Link((23, 38, 92), 30),
)
"""In this order: the first of two rules from which a third may follow leads it."""


def causes_of(
    results: Sequence[RuleResult], factor: float | None = None, clock: float | None = None
) -> tuple[Cause, ...]:
    """The causes of all that fails; of all that a common factor of the times leaves undecided, one.

    By the factor `clock` ones and zeros are off alike on average: where many of them fail, that is
    their cause.

    >>> from dccwire.conformance.rules import RULES
    >>> how = {"verdict": Verdict.FAIL, "failed": 1, "first_times_ns": (5,)}
    >>> wrong = [RuleResult(RULES[number], **how) for number in (18, 19, 24)]
    >>> [(cause.rule, cause.follows) for cause in causes_of(wrong)]
    [(19, (18,)), (24, ())]
    """
    failing = {one.rule.number: one for one in results if one.verdict is Verdict.FAIL}
    leader_of: dict[int, int] = {}
    for link in _LINKS:
        follower = failing.get(link.follower)
        some = (failing[number] for number in link.leaders if number in failing)
        leaders = [one for one in some if follower and one.recording == follower.recording]
        if leaders and follower and _goes_with(link, leaders, follower):
            leader_of.setdefault(link.follower, leaders[0].rule.number)
    made = list(_doubt(results, factor))
    of_clock = [one for one in (1, 3) if clock and one in failing and _many(failing[one])]
    if len(of_clock) > 1:
        leader_of[3] = 1
    for number, one in failing.items():
        if number not in leader_of:
            follows = tuple(other for other in failing if number in _leaders(other, leader_of))
            amount = f"{_off(clock)} on average" if clock and number in of_clock else ""
            words = f"{one.rule.quantity}: {one.rule.limit}{'; ' * bool(amount)}{amount}"
            made.append(Cause(number, one.failed, follows, words, amount))
    return tuple(made)


_MANY = 0.1
"""The share of halves that fail for one clock, where so many do (common practice, no source)."""


def _many(one: RuleResult) -> bool:
    return one.failed >= _MANY * one.measured


def _off(factor: float) -> str:
    """A factor in words."""
    if not 0.5 < factor < 2:
        return f"all times {factor:.4g} times what they should be"
    return f"all times {abs(factor - 1) * 100:.1f} % too {'long' if factor > 1 else 'short'}"


def _doubt(results: Iterable[RuleResult], factor: float | None) -> Iterator[Cause]:
    """All times off by one factor, which leaves every limit in µs undecided."""
    some = [
        one
        for one in results
        if one.verdict is Verdict.UNDECIDED and one.rule.limit.unit == "us" and factor is not None
    ]
    if factor is None or not some:
        return
    count = max(one.measured for one in some)
    whose = "the clock of the station, or the rate or unit of the recording"
    words = f"{_off(factor)}, of {counted(count, 'half-bit')}: {whose}"
    yield Cause(None, count, tuple(one.rule.number for one in some), words, _off(factor))


def _leaders(number: int, leader_of: dict[int, int]) -> Iterator[int]:
    """The rule that leads this one, and those that lead that; links never lead round (a test)."""
    while number in leader_of:
        number = leader_of[number]
        yield number


def _goes_with(link: _Link, leaders: Sequence[RuleResult], follower: RuleResult) -> bool:
    """Whether all failures of a rule stand at failures of those that may lead it."""
    times = sorted(time for one in leaders for time in one.first_times_ns)
    others = sorted(follower.first_times_ns)
    alike = len(leaders) == 1 and leaders[0].failed == follower.failed
    if link.paired:
        ends = [*times[1:], UNBOUNDED]
        between = zip(times, others, ends, strict=False)
        return alike and all(time <= other < end for time, other, end in between)
    if follower.failed > len(others):  # of which not all are told
        return link.sure and alike and times == others
    for place, one in enumerate(others):
        before = others[:place] if link.run else []
        if not any(_near(link, time, one) for time in (*times, *before)):
            return False
    return True


def _near(link: _Link, time: int, other: int) -> bool:
    return link.least_ns <= other - time <= link.most_ns
