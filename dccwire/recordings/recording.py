"""A recording: chunks of edges, and what is known of them.

Every format is a `Source` of blocks; here they become edges and gaps, by one rule for all.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import islice
from math import ceil
from typing import NamedTuple, TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

from dccwire.errors import Reason
from dccwire.recordings.looks import common_factor, doubt, head_of
from dccwire.recordings.opening import Opened, refusal
from dccwire.recordings.resolution import TOO_COARSE_NS, ResolutionEstimate
from dccwire.wording import counted

#: Times and other whole numbers; levels and characters.
Ints: TypeAlias = NDArray[np.int64]
Octets: TypeAlias = NDArray[np.uint8]
Ticks = TypeVar("Ticks", int, Ints)

#: How many ns a unit has: those of VCD timescales (IEEE 1364).
UNITS_NS = {
    "s": Fraction(10**9),
    "ms": Fraction(10**6),
    "us": Fraction(1000),
    "ns": Fraction(1),
    "ps": Fraction(1, 1000),
    "fs": Fraction(1, 10**6),
}
UNIT_HINT = f"give it with unit={'|'.join(UNITS_NS)}"
#: Times are below this many ns, 292 years.
END_OF_TIME = 1 << 63
#: A receiver is fastest with about as many edges at a time (measured).
EDGES_A_CHUNK = 1 << 18
#: The level of x and z; 0 and 1 are themselves.
UNDEFINED = 2


@dataclass(frozen=True, slots=True)
class Chunk:
    """Edges, and perhaps a gap behind them: a stretch without a defined level (x or z)."""

    edges: Ints  # ns after the recording's first time mark, non-decreasing
    gap: tuple[int, int] | None = None  # its start and end, ns
    lost: bool = False  # whether it is not the signal that is missing there, but edges of it
    turned: bool | None = None  # whether the level behind the gap is not that before it, if known


class Block(NamedTuple):
    """What a source hands on: levels that begin at times."""

    times: Ints  # ns after the first time mark, non-decreasing
    levels: Octets | None  # 0, 1 or `UNDEFINED`; None when every time is an edge
    mark: int  # the last time mark so far, ns


class Source(ABC):
    """One format's view of one file; `notes` say what a reader should know."""

    format: str  # its name as shown
    signal: str | None = None  # the signal or column taken
    tick_ns = Fraction(1)  # the unit of time of the file, or the time from sample to sample
    unit_ns = Fraction(0)  # the unit of time of the file, if it has one
    sampled = False  # whether `tick_ns` is a sampling period
    alternates = False  # whether a level twice in a row shows that edges between are missing
    head_blocks = 16  # how many blocks are looked at before the first iteration, at most
    seam: tuple[int, int] | None = None  # of a stretch that is read, and ends with nothing open
    held = 0.0, ""  # what the numbers hold at best, ns, as far as the file is read, and why

    def __init__(self, opened: Opened) -> None:
        self.opened = opened
        self.notes: list[str] = []

    def note(self, text: str) -> None:
        """Add a note, once however often the file is read."""
        if text not in self.notes:
            self.notes.append(text)

    @abstractmethod
    def blocks(self) -> Iterator[Block]:
        """Read the file anew, from its start."""

    def split(self, count: int) -> list[Source]:
        """The same file in so many stretches that can be read each by itself, if it can be cut."""
        return []


class _Edges:
    """The state between levels and edges.

    No edge is the first defined level, before which nothing is known, nor the end of a gap, unless
    the gap has no length. A recording may begin with a gap.
    """

    def __init__(
        self, source: Source, estimate: ResolutionEstimate | None, *, later: bool = False
    ) -> None:
        self.source, self.estimate = source, estimate
        self.level: int | None = None
        # Of a stretch that is not the first: the level that it is taken to begin with, since its
        # first one is taken for an edge.
        self.later, self.taken = later, UNDEFINED
        self.gap_start: int | None = None
        self.first_level: int | None = None
        self.mark: int | None = None
        self.latest = 0  # the time of the level
        self.repeated: tuple[int, int] | None = None  # from there to a repetition, which may be
        self.lost: list[int] = []  # the mark of the end, or the end of a lost stretch

    def chunks(self, most: int | None = None, *, last: bool = True) -> Iterator[Chunk]:
        """The edges of so many blocks, told to the estimate; a gap may last until the end."""
        for block in islice(self.source.blocks(), most):
            for chunk in self._add(block):
                if self.estimate is not None:
                    self.estimate.holds(*self.source.held)
                    self.estimate.add(chunk.edges)
                yield chunk
        if not last:
            return
        if self.gap_start is not None and self.mark is not None and self.mark > self.gap_start:
            yield Chunk(np.empty(0, np.int64), (self.gap_start, self.mark), turned=False)
        if self.lost:
            rows = f"{counted(len(self.lost), 'row')}, the first at {self.lost[0] / 1e6:.3f} ms"
            told = "with the level of the row before: an edge between is missing, or the row wrong"
            self.source.note(f"{rows}, {told}")

    def _add(self, block: Block) -> Iterator[Chunk]:
        """The edges in a block; a chunk for each gap, and one for what is left."""
        self.mark = block.mark
        times, levels = block.times, block.levels
        if levels is None or not times.size:
            yield from _portions(times)
            return
        if self.later and self.taken == UNDEFINED:
            self.taken = int(levels[0]) ^ 1
            self.level = self.taken if levels[0] != UNDEFINED else None
        changed = changes_of(levels, self.level)
        plain = self.gap_start is None and self.repeated is None and levels.max() != UNDEFINED
        if self.level is None or not plain or (self.source.alternates and not changed.all()):
            yield from self._one_by_one(times.tolist(), levels.tolist())
        else:
            edges = times if changed.all() else times[changed]
            if self.first_level is None and edges.size:
                self.first_level = 1 - self.level
            self.level, self.latest = int(levels[-1]), int(times[-1])
            yield from _portions(edges)

    def _one_by_one(self, times: list[int], levels: list[int]) -> Iterator[Chunk]:
        edges: list[int] = []
        for time, level in zip(times, levels, strict=True):
            if self.repeated is not None:
                yield Chunk(np.array(edges, np.int64), self.repeated, lost=True, turned=False)
                self.lost.append(self.repeated[1])
                edges, self.repeated = [], None
            if level == UNDEFINED:
                if self.gap_start is None and not (self.level is None and self.later):
                    self.gap_start = time
                continue
            start, self.gap_start = self.gap_start, None
            if start is not None and start < time:
                turned = self.level is not None and level != self.level
                yield Chunk(np.array(edges, np.int64), (start, time), turned=turned)
                edges = []
            elif self.level is not None and level != self.level:
                edges.append(time)
                if self.first_level is None:
                    self.first_level = level
            elif level == self.level and self.source.alternates and self.latest < time:
                self.repeated = self.latest, time
            self.level, self.latest = level, time
        yield from _portions(np.array(edges, np.int64))


def changes_of(levels: Octets, previous: int | None) -> NDArray[np.bool_]:
    """Which levels differ from the one before."""
    changed = np.empty(levels.size, np.bool_)
    changed[0] = levels[0] != previous
    np.not_equal(levels[1:], levels[:-1], out=changed[1:])
    return changed


def _portions(edges: Ints) -> Iterator[Chunk]:
    for start in range(0, edges.size, EDGES_A_CHUNK):
        yield Chunk(edges[start : start + EDGES_A_CHUNK])


class Recording:
    """The edges of one signal; each iteration reads the file anew, in `Chunk` objects.

    Made by `dccwire.recordings.read`.

    Attributes:
        path: as given; "-" for standard input.
        format: told by content, such as "VCD" or "CSV of transitions".
        signal: the signal or column taken; None where the format has only one without a name.
        factor: how many times too long all durations are, if no packet in the head of the file can
            be read for that; a note asks whether the sample rate or the unit is right.
        resolution_ns: how far a time may be off, rounded up, at least 1 (M9): from the head of the
            file, and after an iteration from the whole of it; a factor above 1 is taken off it.
        resolution_source: "option", "sample rate", or what `ResolutionEstimate` tells.
        first_level: the level after the first edge; None where it is not known, or not yet. After
            a gap the level may be either, whatever the number of edges before it.
        end_ns: the last time mark; known after an iteration.
    """

    def __init__(self, source: Source, resolution: float | None) -> None:
        self._source, self._option = source, resolution
        self._first_edge: int | None = None
        self.path, self.format, self.signal = source.opened.given, source.format, source.signal
        estimate = self._estimate()
        edges, self.first_level = first_edges(source, estimate=estimate)
        self._first_edge = int(edges[0]) if edges.size else None
        self.factor: float | None = None
        self.resolution_ns, self.resolution_source = self._resolution(estimate)
        self.factor = common_factor(edges, self.resolution_ns)
        if self.factor is not None:
            self.resolution_ns, _ = self._resolution(estimate)
            true = source.unit_ns / Fraction(self.factor).limit_denominator(10**9)
            units = () if source.sampled else UNITS_NS.items()
            right = (f" In {name} they would be." for name, unit_ns in units if unit_ns == true)
            source.note(doubt(self.factor) + next(right, ""))
        self.end_ns: int | None = None
        source.opened.fraction = 0.0
        self.check_resolution()

    def check_resolution(self) -> None:
        """Refuse a recording too coarse to be judged; a whole file may be coarser than its head."""
        if self.resolution_ns >= TOO_COARSE_NS:
            raise refusal(
                self._source.opened.shown,
                f"a resolution of {self.resolution_ns} ns ({self.resolution_source}) is too coarse "
                "to tell a one (halves of 52 to 64 us) from a zero (90 us and more)",
                "record at 1 us or finer (0.1 us for bit timing), or give the true resolution "
                "with resolution=NS",
                reason=Reason.RESOLUTION,
            )

    def _estimate(self) -> ResolutionEstimate | None:
        """What will tell the resolution, if neither an option nor a sample rate does."""
        if self._option is not None or self._source.sampled:
            return None
        return ResolutionEstimate(ceil(self._source.tick_ns), self._first_edge)

    def _resolution(self, estimate: ResolutionEstimate | None) -> tuple[int, str]:
        if self._option is not None:
            return ceil(self._option), "option"
        told = estimate.result() if estimate else (self._source.tick_ns, "sample rate")
        return ceil(told[0] / max(1, self.factor or 1)), told[1]

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader of the edges should know, a sentence each; iterating may add to them."""
        return tuple(self._source.notes)

    @property
    def fraction(self) -> float:
        """0 to 1: how much of the file the latest iteration has read."""
        return self._source.opened.fraction

    @fraction.setter
    def fraction(self, read: float) -> None:
        self._source.opened.fraction = read

    def parts(self, count: int) -> list[RecordingPart]:
        """The recording in so many stretches, or none if its format is read as a whole alone."""
        return [
            RecordingPart(source, self._estimate(), number, count)
            for number, source in enumerate(self._source.split(count))
        ]

    def join(self, parts: Sequence[RecordingPart]) -> None:
        """Take what reading all parts has shown, in order, as if read at once."""
        estimate = self._estimate()
        for part in parts:
            if estimate is not None and part.estimate is not None:
                estimate.absorb(part.estimate)
            for note in part.notes:
                self._source.note(note)
        self.resolution_ns, self.resolution_source = self._resolution(estimate)
        self.end_ns, self.fraction = parts[-1].mark, 1.0

    def _repr_html_(self) -> str:
        from dccwire.drawing.page import part, table

        facts = {
            "file": self.path,
            "format": self.format,
            "signal": self.signal or "",
            "resolution": f"{self.resolution_ns} ns ({self.resolution_source})",
        } | {f"note {number}": note for number, note in enumerate(self.notes, 1)}
        return part(table("the recording", ("what", "is"), facts.items()))

    def __repr__(self) -> str:
        what = f"{self.path!r}, {self.format}, signal {self.signal!r}"
        return f"<Recording {what}, resolution {self.resolution_ns} ns>"

    def __iter__(self) -> Iterator[Chunk]:
        state = _Edges(self._source, self._estimate())
        self._source.opened.fraction = 0.0
        yield from state.chunks()
        self._source.opened.fraction = 1.0
        self.resolution_ns, self.resolution_source = self._resolution(state.estimate)
        self.end_ns = state.mark
        self.first_level = state.first_level


class RecordingPart:
    """A stretch of a recording, read by itself: an iterable of chunks.

    What stands at its ends is known when it has been read; `follows` tells whether it was read as
    it would have been with those before it.
    """

    def __init__(
        self, source: Source, estimate: ResolutionEstimate | None, number: int, count: int
    ) -> None:
        self._source, self.estimate, self._number, self._count = source, estimate, number, count
        self._taken = self._level = UNDEFINED
        self.mark = 0
        self._seam: tuple[int, int] | None = None

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader of the edges should know."""
        return tuple(self._source.notes)

    def __iter__(self) -> Iterator[Chunk]:
        state = _Edges(self._source, self.estimate, later=self._number > 0)
        yield from state.chunks(last=self._number == self._count - 1)
        self._seam, self.mark = self._source.seam, state.mark or 0
        self._taken = state.taken
        gap = state.gap_start is not None or state.level is None
        self._level = UNDEFINED if gap else state.level or 0

    def follows(self, before: RecordingPart) -> bool:
        """Whether levels and times go on from the one to the other."""
        if before._seam is None or self._seam is None:
            return False
        in_order = before._seam[1] <= self._seam[0]
        return in_order and self._taken == before._level != UNDEFINED


def to_ns(ticks: Ticks, tick_ns: Fraction) -> Ticks:
    """Whole ns, rounded to the nearest, a half up; nothing may overflow.

    >>> to_ns(1499, Fraction(1, 1000)), to_ns(1500, Fraction(1, 1000))
    (1, 2)
    """
    if tick_ns == 1:
        return ticks
    return (ticks * tick_ns.numerator + tick_ns.denominator // 2) // tick_ns.denominator


def first_edges(
    source: Source, estimate: ResolutionEstimate | None = None
) -> tuple[Ints, int | None]:
    """The first edges, from a few blocks at the head of a file, and the level after the first."""
    state = _Edges(source, estimate)
    head = head_of(chunk.edges for chunk in state.chunks(source.head_blocks))
    return head, state.first_level
