"""Time on the wire: of a packet, of what a session sends, of a course of steps.

Ones and zeros last differently, so each packet's own bits are counted. Packets follow one another
without a pause, each with a preamble of its own (S-9.2 footnote 3 would let the end bit of the
packet before count as one of its ones: C2). Room: packets and ns, no values of CVs.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple, TypeVar

from dccwire.errors import FieldError
from dccwire.packet import Packet
from dccwire.programming.session import Outgoing
from dccwire.programming.steps import Course, Kind
from dccwire.signal import LIMITS, NOMINAL, Timing

__all__ = ["TIMINGS", "Assumptions", "Cost", "packet_ns", "time_on_wire"]

T = TypeVar("T")

ONE, ZERO = LIMITS["t1"], LIMITS["t0"]

TIMINGS: Mapping[str, Timing] = MappingProxyType(
    {
        "least": Timing(one=ONE.least, zero=ZERO.least),
        "nominal": NOMINAL,
        "most": Timing(one=ONE.most, zero=NOMINAL.zero),
        "stretched": Timing(
            one=ONE.most, zero=ZERO.most, zero_last=LIMITS["t0total"].most - ZERO.most
        ),
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

    Raises:
        FieldError: a negative preamble.

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

    def walk(self, course: Course[T], *, verifies: bool = True) -> tuple[Cost, T]:
        """The cost and the result of a course, its verifies all acknowledged or all silent."""
        answers = {Kind.VERIFY: verifies, Kind.WRITE: self.writes}
        packets = ns = 0
        try:
            step = next(course)
            while True:
                acknowledged = answers.get(step.kind, False)
                count = min(self.answer, step.count) if acknowledged else step.count
                packets += count
                ns += count * packet_ns(step.packet, step.preamble, self.timing)
                step = course.send(acknowledged)
        except StopIteration as end:
            return Cost(packets, ns), end.value
