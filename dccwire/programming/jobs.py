"""A job and how long it takes, each part with its share: writing a set of CVs, reading one.

Room: the parts of a job and what they cost; how long a packet takes stands in `durations`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

from dccwire.address import LongAddress, ShortAddress
from dccwire.cv.changes import CvWrite, writes
from dccwire.cv.cv_set import CvSet
from dccwire.cv.description import KindOrDescription, kind_of
from dccwire.cv.values import DecoderKind, cv_name
from dccwire.programming.durations import USUAL, Assumptions, Cost, costs_of_reading, packet_ns
from dccwire.programming.many_cvs import asked_of, blocks_of, course_of_writes, packets_on_main
from dccwire.programming.operations import course_on_main
from dccwire.programming.sequencer import DEFAULT, Setup
from dccwire.programming.targets import DirectCv, Reach, reach_of

__all__ = ["Job", "Part", "reading_job", "writing_job", "writing_job_on_main"]

START, END = "power-on and start", "end"


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a job by its name, such as `CV 29 = 38`, and its cost."""

    name: str
    cost: Cost


@dataclass(frozen=True, slots=True)
class Job:
    """The parts of a job, in the order in which they are sent, without a pause between them.

    >>> job = writing_job(CvSet({29: 6}), CvSet({29: 38, 3: 12}))
    >>> [(part.name, part.cost.packets) for part in job.parts], job.total.packets
    ([('power-on and start', 20), ('CV 3 = 12', 11), ('CV 29 = 38', 11)], 42)
    """

    parts: tuple[Part, ...]

    @property
    def total(self) -> Cost:
        """All parts together."""
        costs = [part.cost for part in self.parts]
        return Cost(sum(one.packets for one in costs), sum(one.ns for one in costs))

    def share(self, part: Part) -> float:
        """What of the time a part takes, 0 to 1; 0 where nothing is sent."""
        return part.cost.ns / (self.total.ns or 1)


def writing_job(
    old: CvSet,
    new: CvSet,
    reach: Reach = DirectCv,
    setup: Setup = DEFAULT,
    assumptions: Assumptions = USUAL,
    *,
    confirm: bool = False,
    force: Collection[int] = (),
    decoder: KindOrDescription = DecoderKind.MULTI_FUNCTION,
) -> Job:
    """What `write_cvs` of the same arguments takes: the start, each CV with its page, the end.

    Raises:
        FieldError: as `write_cvs`.
    """
    kind = kind_of(decoder)
    done = writes(old, new, force=force, decoder=kind)
    asked = asked_of(done, confirm=confirm, decoder=kind)
    names, costs = [START], [Cost(0, 0)]

    def mark(one: CvWrite | None) -> None:
        names.append(END if one is None else f"CV {one.cv} = {one.value}")
        costs.append(Cost(0, 0))

    def note(cost: Cost) -> None:
        packets, ns = costs[-1]
        costs[-1] = Cost(packets + cost.packets, ns + cost.ns)

    course = course_of_writes(done, asked, reach_of(reach, kind), setup, mark)
    assumptions.walk(course, note=note)
    return _job(zip(names, costs, strict=True))


def writing_job_on_main(
    old: CvSet,
    new: CvSet,
    address: ShortAddress | LongAddress,
    assumptions: Assumptions = USUAL,
    *,
    force: Collection[int] = (),
) -> Job:
    """What `write_cvs_on_main` of the same arguments takes, the idles behind each packet with it.

    >>> job = writing_job_on_main(CvSet({29: 6}), CvSet({3: 12}), ShortAddress(3))
    >>> job.total.packets, round(job.total.ns / 1e6)
    (4, 31)
    """

    def parts() -> Iterator[tuple[str, Cost]]:
        for packet in packets_on_main(old, new, address, force=force):
            steps = list(course_on_main([packet]))
            times = (packet_ns(one.packet, one.preamble, assumptions.timing) for one in steps)
            name = str(packet).replace("CvAccessLongForm operation=write ", "")
            yield name, Cost(len(steps), sum(times))

    return _job(parts())


def reading_job(
    values: CvSet, reach: Reach = DirectCv, setup: Setup = DEFAULT, assumptions: Assumptions = USUAL
) -> Job:
    """What `read_cvs` of all CVs of a set takes where the decoder holds these values.

    What is sent beside the verifies, such as pages, is the first part.

    Raises:
        FieldError: as `reading_time`.

    >>> reading_job(CvSet({1: 3, 2: 255})).total.packets
    89
    """
    beside, costs = costs_of_reading(values, blocks_of(values), reach, setup, assumptions)
    named = ((f"{cv_name(key)} = {values[key]}", cost) for key, cost in costs)
    return _job([("power-on, resets and pages", beside), *named])


def _job(parts: Iterable[tuple[str, Cost]]) -> Job:
    return Job(tuple(Part(name, cost) for name, cost in parts if cost.packets))
