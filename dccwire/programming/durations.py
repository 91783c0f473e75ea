"""How long it takes on the wire: a packet, what a session sends, reading many CVs.

Ones and zeros last differently, so each packet's own bits are counted. Packets follow one another
without a pause, each with a preamble of its own (S-9.2 footnote 3 would let the end bit of the
packet before count as one of its ones: C2). Reading is counted for all 256 values that a CV can
hold: nothing is simulated, and nothing is random. What comes of it for 300 CVs stands in
`docs/programming.md`, with what programmers do beyond it. Room: packets and values of CVs to time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from operator import itemgetter
from types import MappingProxyType
from typing import NamedTuple, TypeAlias, TypeVar

from dccwire.cv.cv_set import CvKey
from dccwire.cv.values import cv_name, within
from dccwire.errors import FieldError
from dccwire.packet import Packet
from dccwire.programming.many_cvs import Block, course_of_reads, places_of
from dccwire.programming.sequencer import DEFAULT, Sequencer, Setup
from dccwire.programming.session import Course, Kind, Outgoing
from dccwire.programming.targets import DirectCv, Reach, Target
from dccwire.signal import LIMITS, NOMINAL, Timing

__all__ = [
    "TIMINGS",
    "Assumptions",
    "Cost",
    "Estimate",
    "estimate",
    "packet_ns",
    "reading_time",
    "time_on_wire",
]

T = TypeVar("T")

ONE, ZERO = LIMITS["t1"], LIMITS["t0"]
STRETCHED = LIMITS["t0total"].most - ZERO.most

TIMINGS: Mapping[str, Timing] = MappingProxyType(
    {
        "least": Timing(one=ONE.least, zero=ZERO.least),
        "nominal": NOMINAL,
        "most": Timing(one=ONE.most, zero=NOMINAL.zero),
        "stretched": Timing(one=ONE.most, zero=ZERO.most, zero_last=STRETCHED),
    }
)
"""Timings by name, at the limits of S-9.1 §A, Table 1.

`least`: 55 µs and 95 µs; `nominal`: 58 µs and 100 µs; `most`: 61 µs for a one, and for a zero the
nominal 100 µs, since only stretching makes it longer, and on a programming track there is no motor
to run by it; `stretched`: each zero as long as a transmitter may make it, 12 ms in all, which no
programmer does.
"""


class Cost(NamedTuple):
    """So many packets that take so many ns."""

    packets: int
    ns: int


def packet_ns(packet: Packet | bytes, preamble: int, timing: Timing = NOMINAL) -> int:
    """The time of a packet, or of its bytes, from the first preamble bit to the end bit, in ns.

    >>> from dccwire.programming import DirectCv
    >>> packet = DirectCv(29).verify(38)
    >>> packet_ns(packet, preamble=20), packet.duration_ns(preamble=20)
    (8460000, 8460000)
    """
    if preamble < 0:
        raise FieldError("preamble", "0 or more", preamble)
    data = bytes(packet)
    set_bits = int.from_bytes(data).bit_count()
    # A start bit 0 before each byte, an end bit 1 after the last (S-9.2 §A).
    return timing.duration_ns(ones=preamble + set_bits + 1, zeros=9 * len(data) - set_bits)


def time_on_wire(sent: Iterable[Outgoing], timing: Timing = NOMINAL) -> Cost:
    """The packets and the time of what was sent, the time without power not counted.

    >>> from dccwire.programming import Answer, conversation, find_direct_mode
    >>> talk = conversation(find_direct_mode(), lambda sent: Answer.SILENCE)
    >>> time_on_wire(sending for sending, _ in talk)
    Cost(packets=33, ns=263148000)
    """
    times = [packet_ns(one.packet, one.preamble, timing) for one in sent]
    return Cost(len(times), sum(times))


@dataclass(frozen=True, slots=True)
class Assumptions:
    """What a duration depends on beside the packets themselves."""

    timing: Timing = NOMINAL
    """How long ones and zeros last; `TIMINGS` holds some."""
    answer: int = 2
    """At which packet of a step its acknowledgement is taken, and the step ended: 2 or more.

    The earliest is the second (S-9.2.3 §D, P17); a programmer that can look only while it sends the
    next one takes it at the third; a number beyond the counts ends no step early.
    """
    writes: bool = True
    """Whether the decoder acknowledges writes, as it may (S-9.2.3 §D)."""

    def __post_init__(self) -> None:
        if type(self.answer) is not int or self.answer < 2:
            raise FieldError("answer", "2 or more (S-9.2.3 §D)", self.answer)

    def walk(
        self,
        course: Course[T],
        *,
        verifies: bool = True,
        note: Callable[[Cost], object] = lambda cost: None,
    ) -> tuple[Cost, T]:
        """The cost and the result of a course, its verifies all acknowledged or all silent.

        `note` is told the cost of each step, before the next one is asked for.
        """
        answers = {Kind.VERIFY: verifies, Kind.WRITE: self.writes}
        packets = ns = 0
        try:
            step = next(course)
            while True:
                acknowledged = answers.get(step.kind, False)
                count = min(self.answer, step.count) if acknowledged else step.count
                lasted = count * packet_ns(step.packet, step.preamble, self.timing)
                note(Cost(count, lasted))
                packets, ns = packets + count, ns + lasted
                step = course.send(acknowledged)
        except StopIteration as end:
            return Cost(packets, ns), end.value


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
        self.sums = _sum(costs)


def _sum(costs: Iterable[Pair]) -> Pair:
    packets, ns = map(sum, zip(*costs, strict=True))
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
    fixed, tables, _ = _plan(blocks, reach, setup, assumptions)
    values, sums = len(tables[0].costs), _sum(table.sums for table in tables)
    return Estimate(
        len(tables),
        Cost(*_sum([fixed, *(table.best for table in tables)])),
        Cost(*(round(one + Fraction(more, values)) for one, more in zip(fixed, sums, strict=True))),
        Cost(*_sum([fixed, *(table.worst for table in tables)])),
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
        FieldError: as `estimate`; a CV of the blocks has no value, or one that the mode cannot
            read.

    >>> reading_time({1: 3, 2: 255}, [Block(1, 2)]).packets
    89
    """
    fixed, costs = costs_of_reading(values, blocks, reach, setup, assumptions)
    return Cost(*_sum([fixed, *(cost for _, cost in costs)]))


def costs_of_reading(
    values: Mapping[CvKey, int],
    blocks: Sequence[Block],
    reach: Reach,
    setup: Setup,
    assumptions: Assumptions,
) -> tuple[Cost, list[tuple[CvKey, Cost]]]:
    """What reading costs beside the verifies, and those of each CV; errors as `reading_time`."""
    fixed, tables, keys = _plan(blocks, reach, setup, assumptions)
    costs = list[tuple[CvKey, Cost]]()
    for key, table in zip(keys, tables, strict=True):
        value = within(cv_name(key), values.get(key), 0, len(table.costs) - 1)
        costs.append((key, Cost(*table.costs[value])))
    return fixed, costs


def _plan(
    blocks: Sequence[Block], reach: Reach, setup: Setup, under: Assumptions
) -> tuple[Cost, list[_Table], list[CvKey]]:
    """What the job costs beside its verify groups, the tables of these, and whose they are."""
    places = places_of(blocks, reach)
    sequencer = Sequencer(places[0][1], setup)
    tables: list[_Table] = []
    known: dict[bytes, _Table] = {}

    def note(sequencer: Sequencer, target: Target) -> Course[int]:
        yield from sequencer.approach(target)
        packet = bytes(target.verify(0))
        if packet not in known:
            if isinstance(target, DirectCv):
                known[packet] = _Table(_by_bits(sequencer, target, under))
            else:
                known[packet] = _Table(_by_comparing(sequencer, target, under))
        tables.append(known[packet])
        return 0

    fixed, _ = under.walk(sequencer.whole(course_of_reads(places, reach, sequencer, note)))
    return fixed, tables, [key for key, _ in places]


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
