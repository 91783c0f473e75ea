"""How far the times of a recording may be off (M9): the one place where q is worked out.

What samples a signal puts every edge on its clock, so durations lie on a grid of sampling periods;
rounding to the unit of the file then smears each point of that grid over two units. Room: edge
times in, a number of ns out; knows nothing of files.
"""

from __future__ import annotations

from math import ceil, log

import numpy as np
from numpy.typing import NDArray

#: From here on a half of a one (52 to 64 us) cannot be told from that of a zero (90 us and more):
#: each duration is known to plus or minus one unit (S-9.1 §A, Table 1).
TOO_COARSE_NS = 10_000
#: Which durations occur is noted for those below this many ns, a byte each: it stays in the cache.
_LONGEST = 1 << 17
#: Fewer different durations say little about a clock: a signal without jitter may have four of its
#: own, both halves of a one and of a zero. Two say nothing; of three or four the divisor counts as
#: far as it may be a sampling period that is in use. A clock whose period is no whole number of
#: units shows in fewer, as it leaves no other divisor.
_FEW = 5
_NOTHING = 2
_USUAL = 8_000
_FEWEST = 3
#: To look at all edges would take a tenth of the time in which they are judged (measured): all of
#: the first two seconds are looked at, then an eighth of each second, in ns; where does not depend
#: on how the edges are portioned.
_ALL = 1 << 31
_CYCLE = 1 << 30
#: A stretch of so many edges is enough to judge by: with jitter each point of the grid near the
#: usual durations is then met several times.
_ENOUGH = 1_000
#: Sampling periods from so many ns on are sought, and so many units: rounding hides shorter ones.
_SHORTEST = 16
_LEAST_PERIODS = 3.2
#: What the longest duration is off by, in units, is tried in these steps; so close all others fit,
#: since a duration is the difference of two rounded times.
_OFF = np.linspace(-1, 1, 9)
_REACH = 1.15
#: How certain a period must be: the logarithm of the odds that durations of no clock fit it (the
#: periods tried are worth some 10^4 of independent ones), or so many neighbours of one distance.
_CERTAIN = 14
_NEIGHBOURS = 3


class ResolutionEstimate:
    """The resolution of edge times in units of `tick_ns`, from all of them.

    It is the largest of: the unit, what the numbers of the file can hold, the greatest common
    divisor of the durations, and the least distance by which they differ. Times are judged apart
    in each octave, since floating-point numbers get coarser with time. A sampling period of one to
    three units is hidden by rounding.

    >>> clock = np.rint(np.arange(1, 10**6) * 1000 / 3).astype(np.int64)
    >>> estimate = ResolutionEstimate()
    >>> estimate.add(clock[np.cumsum(np.random.default_rng(1).integers(172, 177, 2000))])
    >>> estimate.result()
    (334, 'distances of the durations')
    """

    def __init__(self, tick_ns: int = 1, first: int | None = None) -> None:
        self._unit, self._why = max(1, tick_ns), "unit of the times"
        # Where the times begin; by octave, which durations occur, among how many edges, and in what
        # unit; the first edge, and the latest, and whether they are looked at.
        self._first = first
        self._octaves: dict[int, tuple[NDArray[np.bool_], int, int]] = {}
        self._begin: tuple[int, bool] | None = None
        self._end: tuple[int, bool] | None = None

    def holds(self, least_ns: float, why: str) -> None:
        """Say that the numbers of the file, so far, hold no less than this, and why."""
        if least_ns > self._unit:
            self._unit, self._why = ceil(least_ns), why

    def add(self, edges: NDArray[np.int64]) -> None:
        """Take edge times, ns, in any portions."""
        if not edges.size:
            return
        if self._first is None:
            self._first = int(edges[0])
        begin = edges[:1] if self._end is None else np.array([self._end[0]])
        all_edges = np.concatenate((begin, edges))
        since = all_edges - self._first
        looked = ((since & (_CYCLE - 1)) < _CYCLE // 8) | (since < _ALL)
        if self._end is None:
            all_edges, looked = all_edges[1:], looked[1:]
            self._begin = int(edges[0]), bool(looked[0])
        self._end = int(edges[-1]), bool(looked[-1])
        self._look(all_edges, looked)

    def absorb(self, later: ResolutionEstimate) -> None:
        """Go on with what another one was told, which began where this one stands."""
        if later._begin is None:
            return
        if self._end is not None:
            edges, looked = zip(self._end, later._begin, strict=True)
            self._look(np.array(edges), np.array(looked))
        for octave, (seen, count, unit) in later._octaves.items():
            mine, number, _ = self._octaves.get(octave, (np.zeros_like(seen), 0, 0))
            self._octaves[octave] = mine | seen, number + count, unit
        self._begin, self._end = self._begin or later._begin, later._end

    def _look(self, edges: NDArray[np.int64], looked: NDArray[np.bool_]) -> None:
        """Note the durations between edges that are looked at."""
        pairs = looked[1:] & looked[:-1]
        # Without a sign a time that runs backwards is a long way on: all longer ones share the last
        # place. (Clipping takes seven times as long.)
        places = np.flatnonzero(pairs)
        lengths = (edges[places + 1] - edges[places]).view(np.uint64)
        np.minimum(lengths, _LONGEST, out=lengths)
        ends = edges[places + 1]
        while ends.size:
            octave = int(ends[0]).bit_length()
            size = int(np.searchsorted(ends, 1 << octave)) if ends[-1] >> octave else ends.size
            size = max(size, 1)  # times may run backwards
            seen, count, _ = self._octaves.get(octave) or (np.zeros(_LONGEST + 1, np.bool_), 0, 0)
            seen[lengths[:size].view(np.int64)] = True
            self._octaves[octave] = seen, count + size, self._unit
            ends, lengths = ends[size:], lengths[size:]

    def result(self) -> tuple[int, str]:
        """The resolution in ns, rounded up, at least 1; and where it comes from."""
        best, seen, count = (0, ""), np.zeros(_LONGEST + 1, np.bool_), 0
        octaves = [one for _, one in sorted(self._octaves.items())]
        for number, (some, more, unit) in enumerate(octaves):
            seen, count = seen | some, count + more
            last = number == len(octaves) - 1
            if count >= _ENOUGH or (last and not best[0]):
                best = max(best, _judged(seen, unit))
                seen, count = np.zeros_like(seen), 0
        return max((self._unit, self._why), best, key=lambda one: one[0])


def _judged(seen: NDArray[np.bool_], least: int) -> tuple[int, str]:
    """What the durations noted tell: 0 where it is nothing."""
    values = np.flatnonzero(seen[1:_LONGEST]) + 1
    divisor = int(np.gcd.reduce(values))
    best = divisor, "greatest common divisor of the edge times"
    if values.size < _FEW:
        if divisor > least:
            usual = max(one for one in range(1, _USUAL + 1) if divisor % one == 0)
            return (0, "") if values.size <= _NOTHING else (usual, best[1])
        best = 0, ""
    # Numbers of floating point have a grid of their own, on which that of the clock is rounded:
    # so the period of that grid may be followed by a longer one.
    unit: float = max(least, divisor)
    enough = _NEIGHBOURS if unit == least else values.size
    while period := _period(values, unit, enough):
        best, enough = (ceil(period), "distances of the durations"), values.size
        unit = period
    return best


def _period(values: NDArray[np.int64], unit: float, enough: int) -> float | None:
    """The longest sampling period that all durations are multiples of, but for rounding, if any.

    It is found where durations of no clock would not fit by chance, or where `enough` of them are
    neighbours with nothing between.
    """
    if values.size < _FEWEST:
        return None
    # Four in a row, one unit apart, leave no room: mostly there are some, and it is soon known.
    steps = np.diff(values)
    row = np.abs(np.stack((steps[:-2], steps[1:-1], steps[2:])) - unit) < 0.5
    if row.all(0).any():
        return None
    last = values[-1]
    # Candidates: the longest duration, less what it may be off by, over each whole number.
    counts = np.arange(last // TOO_COARSE_NS + 1, last / max(_LEAST_PERIODS * unit, _SHORTEST))
    periods = ((last - unit * _OFF) / counts[:, None]).ravel()
    for value in values:
        periods = periods[np.abs(value - np.rint(value / periods) * periods) <= _REACH * unit]
        if not periods.size:
            return None
    period = float(periods.max())
    points = np.unique(np.rint(values / period))
    against_chance = points.size * log(period / (2 * _REACH * unit))
    neighbours = np.count_nonzero(np.diff(points) == 1)
    return period if against_chance > _CERTAIN or neighbours >= enough else None
