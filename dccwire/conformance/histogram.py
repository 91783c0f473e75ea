"""How long half-bits last: counts by duration, and a small picture of them for a terminal.

Room: counts and characters, no verdicts.
"""

from __future__ import annotations

from collections.abc import Iterator

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

    def runs(self, apart: int = 1) -> Iterator[str]:
        """Counts up to so many µs apart together: from, to, how many; 140 µs and more alone."""
        counts = self.counts()
        number, begin = 0, -1
        for place in counts:
            begin = place if begin < 0 else begin
            number += counts[place]
            near = range(place + 1, min(place + apart + 1, _LAST - 1))
            if not any(one in counts for one in near):
                yield f"{begin}{'+' if begin == _LAST - 1 else f' to {place + 1}'} us {number}"
                number, begin = 0, -1

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
