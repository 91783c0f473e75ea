"""How long half-bits last: counts by duration, and a small picture of them for a terminal.

Room: counts and characters, no verdicts.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count as counter

import numpy as np
from numpy.typing import NDArray

_LAST = 141
"""Durations from 140 µs on share one count: stretched zeros."""


class Histogram:
    """Durations in ns, counted by whole microseconds; those of 140 µs and more together.

    >>> histogram = Histogram()
    >>> histogram.add(np.array([58_000, 58_400, 100_000, 5_000_000]))
    >>> histogram.counts()
    {58: 2, 100: 1, 140: 1}
    """

    def __init__(self) -> None:
        self._bins = np.zeros(_LAST, np.int64)

    def add(self, lengths: NDArray[np.int64]) -> None:
        """Count durations."""
        bins = np.minimum(lengths, (_LAST - 1) * 1000).astype(np.int32) // 1000
        self._bins += np.bincount(bins, minlength=_LAST)

    def absorb(self, other: Histogram) -> None:
        """Add what another one has counted."""
        self._bins += other._bins

    def counts(self) -> dict[int, int]:
        """Microseconds to how many durations are that long or less than 1 µs longer."""
        filled = np.flatnonzero(self._bins).tolist()
        return {place: int(self._bins[place]) for place in filled}

    def runs(self) -> Iterator[str]:
        """Neighbouring counts together: from, to, how many."""
        counts = self.counts()
        for place in counts:
            if place - 1 not in counts:
                beyond = next(one for one in counter(place) if one not in counts)
                last = "" if place == _LAST - 1 else f" to {beyond}"
                number = sum(counts[one] for one in range(place, beyond))
                yield f"{place}{last or '+'} us {number}"

    def lines(self, width: int = 80) -> Iterator[str]:
        """A line for each count, with a bar as long as its share of the largest."""
        counts = self.counts()
        most = max(counts.values(), default=1)
        digits = len(str(most))
        room = max(width - 10 - digits, 10)
        for place, count in counts.items():
            more = "+" if place == _LAST - 1 else " "
            bar = "#" * max(round(count / most * room), 1)
            yield f"{place:>4}{more} us {count:>{digits}} {bar}"
