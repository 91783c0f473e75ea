"""How long reading CVs takes: exactly, or at best, on average and at worst.

The packets of the sequences are counted, for all 256 values that a CV can hold: nothing is
simulated, and nothing is random. What comes of it for 300 CVs stands in `docs/programming.md`, with
what programmers do beyond it. Room: values of CVs to time.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from operator import itemgetter
from typing import TypeAlias

from dccwire.cv.cv_set import CvKey, cv_name
from dccwire.cv.values import within
from dccwire.programming.costs import Assumptions, Cost
from dccwire.programming.job import Block, course, places_of
from dccwire.programming.sequencer import DEFAULT, Sequencer, Setup
from dccwire.programming.steps import Course
from dccwire.programming.targets import DirectCv, Reach, Target

__all__ = ["Estimate", "estimate", "reading_time"]

USUAL = Assumptions()


@dataclass(frozen=True, slots=True)
class Estimate:
    """How long reading so many `cvs` takes at `best`, on average (`mean`), and at `worst`.

    Each CV holds any value with the same chance; the mean is rounded. The packets of the best and
    worst case are those of the fastest and slowest values.
    """

    cvs: int
    best: Cost
    mean: Cost
    worst: Cost


Pair: TypeAlias = tuple[int, int]
"""A `Cost` without its names: with those, planning 300 CVs took half as long again."""


class _Table:
    """What reading a target costs, by the value it holds."""

    def __init__(self, costs: list[Pair]) -> None:
        self.costs = costs
        self.best, self.worst = (which(costs, key=itemgetter(1)) for which in (min, max))
        self.sums = _sum((0, 0), costs)


def _sum(first: Pair, costs: Iterable[Pair]) -> Pair:
    packets, ns = (sum(part) for part in zip(first, *costs, strict=True))
    return packets, ns


def estimate(
    blocks: Sequence[Block],
    reach: Reach = DirectCv,
    setup: Setup = DEFAULT,
    assumptions: Assumptions = USUAL,
) -> Estimate:
    """How long `read_cvs` of the same blocks takes if the decoder has all these CVs.

    One that it does not have takes a little longer than the slowest value: nothing is acknowledged,
    the confirming verify of direct mode neither.

    Raises:
        FieldError: a CV that the mode does not reach, or no CV.

    >>> found = estimate([Block(1, 300)])
    >>> [round(case.ns / 60e9, 1) for case in (found.best, found.mean, found.worst)]
    [1.1, 1.4, 1.8]
    """
    fixed, tables = _plan(blocks, reach, setup, assumptions)
    share = Fraction(1, len(tables[0].costs))
    mean = (share * part for part in _sum((0, 0), (table.sums for table in tables)))
    return Estimate(
        len(tables),
        Cost(*_sum(fixed, (table.best for table in tables))),
        Cost(*(round(one + more) for one, more in zip(fixed, mean, strict=True))),
        Cost(*_sum(fixed, (table.worst for table in tables))),
    )


def reading_time(
    values: Mapping[CvKey, int],
    blocks: Sequence[Block],
    reach: Reach = DirectCv,
    setup: Setup = DEFAULT,
    assumptions: Assumptions = USUAL,
) -> Cost:
    """How long `read_cvs` takes exactly if the decoder holds these values.

    Raises:
        FieldError: a CV of the blocks has no value, or one that the mode cannot read; a CV that
            the mode does not reach; no CV.

    >>> reading_time({1: 3, 2: 255}, [Block(1, 2)]).packets
    89
    """
    fixed, tables = _plan(blocks, reach, setup, assumptions)
    costs: list[Pair] = []
    for (key, _), table in zip(places_of(blocks, reach), tables, strict=True):
        value = within(cv_name(key), values.get(key), 0, len(table.costs) - 1)
        costs.append(table.costs[value])
    return Cost(*_sum(fixed, costs))


def _plan(
    blocks: Sequence[Block], reach: Reach, setup: Setup, assumptions: Assumptions
) -> tuple[Cost, list[_Table]]:
    """What the job costs beside its verify groups, and the tables of these."""
    places = places_of(blocks, reach)
    sequencer = Sequencer(places[0][1], setup)
    tables: list[_Table] = []
    known: dict[bytes, _Table] = {}

    def note(sequencer: Sequencer, target: Target) -> Course[int]:
        yield from sequencer.approach(target)
        key = bytes(target.verify(0))
        if key not in known:
            known[key] = _Table(_table(sequencer, target, assumptions))
        tables.append(known[key])
        return 0

    fixed, _ = assumptions.walk(sequencer.whole(course(places, reach, sequencer, note)))
    return fixed, tables


def _table(sequencer: Sequencer, target: Target, under: Assumptions) -> list[Pair]:
    if isinstance(target, DirectCv):
        return _by_bits(sequencer, target, under)
    return _by_comparing(sequencer, target, under)


def _by_bits(sequencer: Sequencer, target: DirectCv, under: Assumptions) -> list[Pair]:
    """Eight bits, each silent or acknowledged, then the byte: all values by doubling."""
    # To walk the confirming groups of 256 values for 300 CVs would take seconds. Those of two
    # values differ in the ones of the value and of the error byte alone.
    confirmed = under.walk(sequencer.confirm(target, 0))[0]
    verifies = confirmed.packets - sequencer.counts.acknowledged_resets
    shorter = verifies * (under.timing.duration_ns(0, 1) - under.timing.duration_ns(1, 0))
    rest = bytes(target.verify(0))[-1]
    costs = [(confirmed.packets, confirmed.ns + rest.bit_count() * shorter)]
    ask = sequencer.ask
    for bit in range(8):
        packet = target.verify_bit(bit, 1)
        both = [under.walk(ask(target, packet), verifies=heard)[0] for heard in (False, True)]
        costs = [(count + more.packets, ns + more.ns) for more in both for count, ns in costs]
    return [
        (count, ns - (value.bit_count() + (value ^ rest).bit_count()) * shorter)
        for value, (count, ns) in enumerate(costs)
    ]


def _by_comparing(sequencer: Sequencer, target: Target, under: Assumptions) -> list[Pair]:
    """One value after the other, silent until the one that is acknowledged, which is confirmed."""
    costs, passed, passed_ns, ask = [], 0, 0, sequencer.ask
    for value in target.procedure.values:
        packet = target.verify(value)
        silent, heard = (under.walk(ask(target, packet), verifies=so)[0] for so in (False, True))
        sure = under.walk(sequencer.confirm(target, value))[0]
        costs.append((passed + heard.packets + sure.packets, passed_ns + heard.ns + sure.ns))
        passed, passed_ns = passed + silent.packets, passed_ns + silent.ns
    return costs
