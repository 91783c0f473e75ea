"""Where half-bits stand: in packets and their preambles, between them, or cut by silence.

What is framed as packets is judged. Between packets S-9.2 §C allows a cutout, a pause and other
protocols: what has the shape of one of the first two is a pause, all else is foreign, and neither
is judged. A half-bit that the begin or the end of the signal cuts may be too short through no fault
of the station, and those beside a merged pulse are known only to its width (M8). Room: columns in,
the same half-bits with masks out; no rule is judged here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from dccwire.errors import Reason
from dccwire.framing import LEAST_PREAMBLE
from dccwire.receiver import CutOff, Fault, Gap, PacketReceived
from dccwire.receiver.columns import Columns, PacketColumns, Times
from dccwire.receiver.edges import SHORTEST_NS, Windows
from dccwire.signal import LIMITS, UNBOUNDED

GOES_ON_NS = 26_000
"""So long the signal goes on behind an end bit, at least (S-9.2 §A footnote 3, C14)."""

CUTOUT_BEGINS_NS = 32_000
"""So long the signal may last behind an end bit until a cutout comes (from memory: 26-32 µs)."""

PAUSE_LASTS_NS = 400_000
"""How long after an end bit a pause ends at the earliest (from memory: a cutout, 454 to 488 µs)."""

BESIDE_NS = 2 * SHORTEST_NS
"""A merged pulse so near to an edge is distortion at that crossing (common practice, no source)."""

REMEMBERED_NS = 1_000_000
"""Merged pulses are of no more use when the last eight may lie further back (our choice)."""

DOUBTFUL = 4
"""Half-bits that may be those of another protocol before, or of a bouncing contact (our choice)."""

LONGEST_PACKET = 2 * (9 * 6 + 1)
"""Half-bits of six bytes: as far as a packet that broke off may have reached."""


@dataclass(slots=True, eq=False)
class HalfBits:
    """Half-bits of some events, all arrays with an element a half-bit but for `edges` (one more).

    `one`, `zero`: in which window a length falls, where it is judged; `judged`: neither silent nor
    between packets; `bits`: stretches of whole bits, as positions; `cut`: positions of half-bits
    that may be cut, and `fallen` the last one, where the edge behind it may be of power that fell;
    `extra`: how much more a length may be off than others, and `rings` an edge, None where nothing
    is; `noisy`: which may be what noise left of others, None where none may.
    """

    columns: Columns
    lengths: Times
    one: NDArray[np.bool_]
    zero: NDArray[np.bool_]
    judged: NDArray[np.bool_]
    bits: list[tuple[int, int]] = field(default_factory=list)
    cut: list[int] = field(default_factory=list)
    fallen: int | None = None
    extra: Times | None = None
    noisy: NDArray[np.bool_] | None = None
    rings: Times | None = None

    def rings_at(self, times: Times) -> Times:
        """How far edges at these times may be off, beside merged pulses."""
        if self.rings is None:
            return np.zeros(len(times), np.int64)
        found: Times = self.rings[np.searchsorted(self.edges, times)]
        return found

    @property
    def edges(self) -> Times:
        """The times that bound them."""
        return self.columns.edges

    @property
    def either(self) -> NDArray[np.bool_]:
        """Which are in the window of a 1 or of a 0, where they are judged."""
        return self.one | self.zero


class Places:
    """Columns in, `HalfBits` out; counts of what is not judged.

    `pauses` and `foreign` count half-bits between packets; of the latter, `shortest` and `longest`
    are lengths in ns, and `foreign_at` is where the first begins.
    """

    OPEN = "_after_packet", "_reach", "_spoiled", "_resumed", "_doubtful", "_pulses", "_tail"
    """What comes next depends on these."""

    def __init__(self, error_ns: int) -> None:
        self.pauses = self.foreign = 0
        self.shortest, self.longest, self.foreign_at = UNBOUNDED, 0, 0
        self._error = error_ns
        self._windows = Windows(error_ns)
        # Whether a packet came before, with nothing but stray half-bits since; else how many
        # half-bits more a packet that broke off may have reached; else nothing is known.
        self._after_packet = False
        self._reach = 0
        # Whether it is known by now what broke it off.
        self._spoiled = False
        # Whether a stretch without a level came since the last packet.
        self._resumed = False
        # How many of the next half-bits may be cut, or another protocol's.
        self._doubtful = DOUBTFUL
        self._pulses = np.empty((0, 2), np.int64)
        self._tail = np.empty(0, np.int64)  # the last three edges

    def absorb(self, later: Places) -> None:
        """Go on with what another one found from here on."""
        self.pauses += later.pauses
        self.foreign_at = self.foreign_at if self.foreign else later.foreign_at
        self.foreign += later.foreign
        self.shortest = min(self.shortest, later.shortest)
        self.longest = max(self.longest, later.longest)
        for name in self.OPEN:
            setattr(self, name, getattr(later, name))

    def take(
        self, columns: Columns, following: Columns | None, *, undefined: bool = False
    ) -> HalfBits:
        """The half-bits of these columns; `following` are the next ones, None at the signal's end.

        After the end of a signal the next is one of its own. Where a stretch without a level ends
        it (`undefined`), no edge of its own cuts the last half-bit.
        """
        edges = columns.edges
        lengths = np.diff(edges)
        (one_low, one_high), (zero_low, zero_high) = self._windows.one, self._windows.zero
        one = (lengths >= one_low) & (lengths <= one_high)
        zero = (lengths >= zero_low) & (lengths <= zero_high)
        some = HalfBits(columns, lengths, one, zero, lengths <= zero_high)
        silent = self._find_cut(some, following, undefined=undefined)
        some.cut += range(min(self._doubtful, len(lengths)))
        self._doubtful = max(self._doubtful - len(lengths), 0)
        for begin, end, paused in list(self._not_judged(some)):
            some.judged[begin:end] = one[begin:end] = zero[begin:end] = False
            self._count(some, begin, end, paused=paused)
            # A cutout may end in the middle of a half-bit, and another protocol with some that look
            # like ones.
            doubtful = end + (1 if paused else DOUBTFUL)
            some.cut += range(end, min(doubtful, len(lengths)))
            self._doubtful = max(self._doubtful, doubtful - len(lengths))
        distortions = self._find_extra(some, following)
        self._find_noisy(some, following, distortions)
        gap = columns.parts[-1] if columns.parts else None
        if undefined and isinstance(gap, Gap) and gap.end - gap.begin <= zero_high:
            self._doubtful = max(self._doubtful, 1)  # a cutout may end in a half-bit
        elif following is None:
            self._doubtful = DOUBTFUL
        elif silent:  # however the edges are portioned, so many behind it
            behind = len(lengths) - 1 - silent[-1]
            self._doubtful = max(self._doubtful, DOUBTFUL - behind)
        return some

    def _count(self, some: HalfBits, begin: int, end: int, *, paused: bool) -> None:
        if paused:
            self.pauses += end - begin
            return
        self.foreign_at = self.foreign_at if self.foreign else int(some.edges[begin])
        self.foreign += end - begin
        lengths = some.lengths[begin:end]
        self.shortest = min(self.shortest, int(lengths.min()))
        self.longest = max(self.longest, int(lengths.max()))

    def _find_cut(self, some: HalfBits, following: Columns | None, *, undefined: bool) -> list[int]:
        """The first half-bits behind silence and the last one before it; where silence is."""
        count, longest = len(some.lengths), self._windows.zero[1]
        silent = np.flatnonzero(~some.judged).tolist()
        cut = {place + side for place in silent for side in (-1, *range(1, DOUBTFUL + 1))}
        silence = np.diff(following.edges[:2]).max(initial=0) > longest if following else True
        gap = some.columns.parts[-1] if undefined else None
        if not isinstance(gap, Gap):
            cut |= {count - 1} if silence else set()
        # The station's signal goes on behind an edge (S-9.2 §A footnote 3); power that falls makes
        # one, too.
        elif count and gap.begin - int(some.edges[-1]) < GOES_ON_NS:
            some.fallen = count - 1
            cut.add(some.fallen)
        some.cut = sorted(place for place in cut if 0 <= place < count)
        return silent

    def _not_judged(self, some: HalfBits) -> Iterator[tuple[int, int, bool]]:
        """Stretches between packets, as positions, and whether each is a pause."""
        edges = some.edges
        for part in some.columns.parts:
            if isinstance(part, PacketColumns):
                times = int(part.begin[0]), int(part.end[-1])
            else:
                times = part.begin, part.end
            begin, end = np.searchsorted(edges, times).tolist()
            short = isinstance(part, Fault) and part.reason is Reason.SHORT_PREAMBLE
            if short or isinstance(part, (PacketColumns, PacketReceived)):
                # An end bit that no edge closed is no whole bit.
                closed = end < len(edges) and edges[end] == times[1]
                some.bits.append((begin, end if closed else end - 2))
                self._after_packet, self._reach, self._resumed = True, 0, False
            elif isinstance(part, Fault):
                self._after_packet = False
                self._reach = 2 * part.preamble + LONGEST_PACKET - (end - begin)
                pulses = np.concatenate((self._pulses, some.columns.pulses))
                self._spoiled = bool(((pulses >= part.begin) & (pulses <= part.end)).any())
            elif isinstance(part, Gap):
                if part.end - part.begin > self._windows.zero[1]:
                    self._after_packet = False
                self._reach, self._resumed = 0, True
            else:
                end = min(end, len(edges) - 1)
                if not isinstance(part, CutOff):
                    yield from self._stray(some, min(begin, end), end, times[0])
                elif part.data or part.bits:  # a start bit told which half-bits belong together
                    some.bits.append((begin, end - (end - begin) % 2))

    def _stray(
        self, some: HalfBits, begin: int, end: int, since: int
    ) -> Iterator[tuple[int, int, bool]]:
        lengths = some.lengths
        if self._after_packet:
            if self._resumed and end - begin == 1 and lengths[begin] <= self._windows.one[1]:
                yield begin, end, True  # the rest of a half-bit behind a stretch without a level
                return
            if some.edges[begin] > since:
                # The rest of an end bit that no edge closed. What follows at once may be another
                # protocol's on the same level; before a preamble less than a zero's is its own.
                begin -= int(begin < end or lengths[begin - 1] >= self._windows.zero[0])
            if begin < end and self._is_pause(lengths[begin:end], since - int(some.edges[begin])):
                yield begin, end, True
                return
        elif self._reach:
            judged = min(end - begin, self._reach)
            self._reach -= judged
            yield from self._broken_off(some, begin, begin + judged)
            begin += judged
        elif _reads_as_bits(some, begin, end):
            return
        # From a preamble's worth of ones on it is a packet that was spoiled.
        breaks = np.flatnonzero(~some.one[begin:end])
        runs = np.diff(breaks, prepend=-1, append=end - begin) - 1
        framed = np.flatnonzero(runs >= 2 * LEAST_PREAMBLE)
        if len(framed):
            end = begin + (int(breaks[framed[0] - 1]) + 1 if framed[0] else 0)
        if begin < end:
            yield begin, end, False

    def _broken_off(self, some: HalfBits, begin: int, end: int) -> Iterator[tuple[int, int, bool]]:
        """What may be left of a packet that broke off, where half-bits of no bit are foreign.

        But for the first in a row: those broke it off, unless distortion did.
        """
        places = begin + np.flatnonzero(~some.either[begin:end])
        for row in np.split(places, np.flatnonzero(np.diff(places) > 1) + 1):
            if len(row) and self._spoiled:
                yield int(row[0]), int(row[-1]) + 1, False
            self._spoiled |= len(row) > 0

    def _is_pause(self, lengths: Times, before: int) -> bool:
        """Whether a stretch is one long level, with what a cutout leaves of a half-bit around it.

        `before` is how much of the first level belongs to the end bit.
        """
        if len(lengths) > 3:
            return False
        levels = lengths.tolist()
        place = levels.index(max(levels))
        first, last = levels[:place], levels[place + 1 :]
        return (
            sum(levels[: place + 1]) - before >= PAUSE_LASTS_NS - self._error
            and len(first) <= 1
            and len(last) <= 1
            and max(first, default=0) <= CUTOUT_BEGINS_NS + self._error
            and max(last, default=0) <= self._windows.one[1]
        )

    def _find_extra(self, some: HalfBits, following: Columns | None) -> Times:
        """How much more the half-bits beside merged pulses may be off; where others begin.

        Those lie within half-bits, far from what is read as their edges.
        """
        own, edges = some.columns.pulses, some.edges
        after = following.pulses[:8] if following is not None else own[:0]
        pulses = np.concatenate((self._pulses, own, after))
        known = pulses[: len(self._pulses) + len(own)][-8:]
        self._pulses = known[known[:, 1] > edges[-1] - REMEMBERED_NS] if len(edges) else known
        if not len(pulses) or not len(some.lengths):
            return np.empty(0, np.int64)
        # Pulses nearer to each other than that are one distortion.
        split = np.flatnonzero(pulses[1:, 0] - pulses[:-1, 1] >= BESIDE_NS) + 1
        begins = pulses[np.concatenate(([0], split)), 0]
        ends = pulses[np.concatenate((split - 1, [len(pulses) - 1])), 1]
        extra = np.zeros(len(edges) + 1, np.int64)  # the half-bit before each edge, and the last
        beside, rings = np.zeros(len(begins), np.bool_), np.zeros(len(edges), np.int64)
        for shift in (-1, 0):  # the edge before the distortion, and the one after it
            at = np.searchsorted(edges, begins, side="right") + shift
            inside = (at >= 0) & (at < len(edges))
            at, low, high = at[inside], begins[inside], ends[inside]
            low, high = np.minimum(low, edges[at]), np.maximum(high, edges[at])
            apart = (high - low) - (ends[inside] - begins[inside])
            near, width = apart < BESIDE_NS, high - low
            beside[np.flatnonzero(inside)[near]] = True
            np.maximum.at(rings, at[near], width[near])
            for side in (0, 1):
                np.maximum.at(extra, at[near] + side, width[near])
        some.extra = extra[1:-1] if extra[1:-1].any() else None
        some.rings = rings if rings.any() else None
        others: Times = begins[~beside]
        return others

    def _find_noisy(self, some: HalfBits, following: Columns | None, distortions: Times) -> None:
        """Half-bits that may be what noise left of others: a pulse moves edges, or makes more.

        It leaves a half-bit of neither a 1 nor a 0 among three in a row; or, begun beside an edge,
        merges with that (one of the `distortions`), and its end is read as the edge.
        """
        edges, count = some.edges, len(some.lengths)
        if not count:
            return
        tail = self._tail if len(self._tail) and self._tail[-1] == edges[0] else edges[:1]
        after = edges[-1:] if following is None else np.append(edges[-1:], following.edges[1:3])
        self._tail = np.concatenate((tail, edges[1:]))[-3:]
        clean = np.count_nonzero(some.one) + np.count_nonzero(some.zero) == count
        beyond = self._strange(np.diff(tail)).any() or self._strange(np.diff(after)).any()
        if clean and not beyond and not len(distortions):  # most of the time
            return
        own = slice(len(tail) - 1, len(tail) - 1 + count)
        edges = np.concatenate((tail[:-1], edges, after[1:]))
        lengths = np.diff(edges)
        noisy = _beside(self._strange(lengths), 2)
        if len(distortions):
            # Of a 1 at most as long as is read as one, less than half a 0 is left to move an edge.
            one, zero = LIMITS["t1"], LIMITS["t0"].least
            long = 2 * zero - LIMITS["tr1"].most - self._error
            plain = (lengths >= one.least - self._error) & (lengths <= one.most + self._error)
            plain |= (lengths >= zero - self._error) & (lengths < long)
            within = np.zeros(len(lengths), np.bool_)
            places = np.searchsorted(edges, distortions, side="right") - 1
            within[places[(places >= 0) & (places < len(within))]] = True
            noisy |= _beside(within & _beside(~plain, 1), 1)
        some.noisy = noisy[own] if noisy[own].any() else None

    def _strange(self, lengths: Times) -> NDArray[np.bool_]:
        """Which are of neither a 1 nor a 0, nor silence, wherever they stand."""
        (low, high), (zero_low, _) = self._windows.one, self._windows.zero
        found: NDArray[np.bool_] = (lengths < low) | ((lengths > high) & (lengths < zero_low))
        return found


def _beside(mask: NDArray[np.bool_], reach: int) -> NDArray[np.bool_]:
    """Which are so near to one of the mask, or one of it."""
    found = mask.copy()
    for shift in range(1, reach + 1):
        found[shift:] |= mask[:-shift]
        found[:-shift] |= mask[shift:]
    return found


def _reads_as_bits(some: HalfBits, begin: int, end: int) -> bool:
    """Whether half-bits of which nothing is known may be a packet's end, the first pair aside.

    They stand before a run of ones, so they end with a whole bit, a 0; the signal may have begun
    anywhere. From the end bit back there is a 0 before each byte, up to six, and ones before those;
    the run begins with as many ones as the last byte ends with, which nobody knows.
    """
    skipped = slice(begin + 1, min(begin := begin + (end - begin) % 2 + 2, end))
    if not (some.one | some.zero)[skipped].all():
        return False
    one, zero = some.one[begin:end], some.zero[begin:end]
    alike = (one[::2] == one[1::2]).all() and (zero[::2] == zero[1::2]).all()
    if not (alike and (one | zero).all()):
        return False
    bits = one[::2].tolist()
    for ones in range(9):
        start = len(bits) + ones
        for _ in range(6):
            if start < 9 or (start - 9 < len(bits) and bits[start - 9]):
                break
            start -= 9
        if start < 9 or all(bits[:start]):
            return True
    return False
