"""How long reading CVs takes: exactly, or at best, on average and at worst.

The packets of the sequences are counted, for all 256 values that a CV can hold: nothing is
simulated, and nothing is random. Room: values of CVs to time.

**The floor.** For 300 CVs, 1 to 300, at nominal timing, with the counts of the standard:

    direct mode   1.1 minutes at best, 1.4 on average, 1.8 at worst
    paged mode    0.5 minutes at best, 37 on average, 74 at worst

At best all CVs hold 255 in direct mode, where each bit is acknowledged, and 0 in paged mode. A
programmer that ends no step early takes 1.9 to 2.2 minutes in direct mode. Common practice, no
source: reading the 300-odd CVs of a sound decoder takes 10 to 13 minutes. That is far above the
floor of direct mode, and well below the average of paged mode. The difference to direct mode is
made of what programmers do beyond the minimum: they repeat more often, wait for the recovery and
for power-up, poll the current, and talk to a computer over a slow link.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from dccwire.cv.cv_set import CvKey, cv_name
from dccwire.errors import FieldError
from dccwire.programming.costs import Cost, Wire
from dccwire.programming.job import Block, Reach, course, keys, targets_of
from dccwire.programming.reading import DEFAULT
from dccwire.programming.sequencer import Sequencer, Setup
from dccwire.programming.steps import Course
from dccwire.programming.targets import DirectCv, Target
from dccwire.signal import NOMINAL, Timing

__all__ = ["Assumptions", "Estimate", "estimate", "reading_time"]


@dataclass(frozen=True, slots=True)
class Assumptions:
    """What a duration depends on beside the packets themselves.

    Args:
        timing: how long ones and zeros last; `TIMINGS` holds some.
        answer: at which packet of a step its acknowledgement is taken, and the step ended. The
            earliest is the second (S-9.2.3 §D, P17); a programmer that can look only while it sends
            the next one takes it at the third; a number beyond the counts ends no step early.
        writes: whether the decoder acknowledges writes, as it may (S-9.2.3 §D).

    Raises:
        FieldError: an answer before the second packet.
    """

    timing: Timing = NOMINAL
    answer: int = 2
    writes: bool = True

    def __post_init__(self) -> None:
        if type(self.answer) is not int or self.answer < 2:
            raise FieldError("answer", "2 or more (S-9.2.3 §D)", self.answer)


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


class _Table:
    """What reading a target costs, by the value it holds."""

    def __init__(self, packets: list[int], ns: list[int]) -> None:
        self.packets, self.ns = packets, ns
        self.best, self.worst = (self.of(ns.index(one)) for one in (min(ns), max(ns)))
        self.sums = sum(packets), sum(ns)

    def of(self, value: int) -> Cost:
        return Cost(self.packets[value], self.ns[value])


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
    count = Fraction(1, len(tables[0].ns))
    return Estimate(
        len(tables),
        _sum(fixed, (table.best for table in tables)),
        Cost(
            round(fixed.packets + count * sum(table.sums[0] for table in tables)),
            round(fixed.ns + count * sum(table.sums[1] for table in tables)),
        ),
        _sum(fixed, (table.worst for table in tables)),
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
    costs = []
    for key, table in zip(keys(blocks), tables, strict=True):
        value = values.get(key)
        if type(value) is not int or value not in range(len(table.ns)):
            raise FieldError(cv_name(key), f"0 to {len(table.ns) - 1}", value)
        costs.append(table.of(value))
    return _sum(fixed, costs)


def _sum(fixed: Cost, costs: Iterable[Cost]) -> Cost:
    packets, ns = fixed.packets, fixed.ns
    for cost in costs:
        packets += cost.packets
        ns += cost.ns
    return Cost(packets, ns)


def _plan(
    blocks: Sequence[Block], reach: Reach, setup: Setup, assumptions: Assumptions
) -> tuple[Cost, list[_Table]]:
    """What the job costs beside its verify groups, and the tables of these."""
    wire = Wire(assumptions.timing, assumptions.answer, assumptions.writes)
    sequencer = Sequencer(targets_of(blocks, reach)[0], setup)
    tables: list[_Table] = []
    known: dict[bytes, _Table] = {}

    def note(target: Target) -> Course[int]:
        yield from ()
        key = bytes(target.verify(0))
        if key not in known:
            known[key] = _table(sequencer, target, wire)
        tables.append(known[key])
        return 0

    fixed, _ = wire.whole(course(blocks, reach, sequencer, note))
    return fixed, tables


def _table(sequencer: Sequencer, target: Target, wire: Wire) -> _Table:
    if isinstance(target, DirectCv):
        return _by_bits(sequencer, target, wire)
    return _by_comparing(sequencer, target, wire)


def _by_bits(sequencer: Sequencer, target: DirectCv, wire: Wire) -> _Table:
    """Eight bits, each silent or acknowledged, then the byte: all values by doubling."""
    packets, ns = [0], [0]
    for bit in range(8):
        packet = target.verify_bit(bit, 1)
        clear = wire.group(sequencer.group(packet), acknowledged=False)
        set_ = wire.group(sequencer.group(packet), acknowledged=True)
        packets = [one + more.packets for more in (clear, set_) for one in packets]
        ns = [one + more.ns for more in (clear, set_) for one in ns]
    confirmed, _ = wire.whole(sequencer.confirm(target, 0))
    # The confirming packets of two values differ in the value and the error byte alone.
    verifies = confirmed.packets - sequencer.counts.acknowledged_resets
    shorter = verifies * wire.bit_difference
    check = bytes(target.verify(0))[-1]
    longest = confirmed.ns + check.bit_count() * shorter
    return _Table(
        [one + confirmed.packets for one in packets],
        [
            one + longest - (value.bit_count() + (value ^ check).bit_count()) * shorter
            for value, one in enumerate(ns)
        ],
    )


def _by_comparing(sequencer: Sequencer, target: Target, wire: Wire) -> _Table:
    """One value after the other, silent until the one that is acknowledged, which is confirmed."""
    packets, ns = [], []
    passed = Cost(0, 0)
    for value in target.values:
        packet = target.verify(value)
        heard = wire.group(sequencer.group(packet), acknowledged=True)
        confirmed, _ = wire.whole(sequencer.confirm(target, value))
        found = _sum(passed, (heard, confirmed))
        packets.append(found.packets)
        ns.append(found.ns)
        passed = _sum(passed, [wire.group(sequencer.group(packet), acknowledged=False)])
    return _Table(packets, ns)
