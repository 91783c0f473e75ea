"""What a probe of one rail does to half-bits, and what is left open for it (M7).

Such a probe, or an opto-coupler, delays edges of one direction more than those of the other, so
that halves of one polarity read too long and those of the other too short, of ones and zeros alike.
Room: half-bits by their polarity in, shifts out.
"""

from __future__ import annotations

from math import ceil

import numpy as np
from numpy.typing import NDArray

from dccwire.conformance.measures import Readings, Tally

UNSTRETCHED_NS = 140_000
"""Zeros up to here are taken for such as are not stretched (common practice, no source)."""

_ABOUT_NS = (39_000, 77_000), (77_000, UNSTRETCHED_NS + 1)
"""Halves about a one, and about a zero: 13 us from 52 to 64 and from 90, where a decoder takes them
for one (S-9.1 §A), which is midway between both; that they tell of a probe is common practice, no
source."""

_LEAST_NS = 20
"""Less of a shift by polarity is not looked at (common practice, no source)."""

_APART_NS, _APART_SHARE = 200, 0.1
"""So far, or by so much of it, the shifts of ones and zeros may differ and be one probe's (common
practice, no source)."""


class Polarities:
    """Halves about ones and about unstretched zeros, by polarity: their number, sum and squares."""

    def __init__(self) -> None:
        self._sums = np.zeros((2, 2, 3))

    def add(self, lengths: Readings, judged: NDArray[np.bool_], polarity: int) -> None:
        """Take half-bits in turn, the first of this polarity, and those that a probe moved too."""
        for row, (least, most) in enumerate(_ABOUT_NS):
            mask = judged & (lengths >= least) & (lengths < most)
            held = lengths * mask
            for of_them in (0, 1):
                some = slice((polarity + of_them) % 2, None, 2)
                half = held[some]
                counted = np.count_nonzero(mask[some]), half.sum(), np.dot(half, half)
                self._sums[row, of_them] += counted

    def absorb(self, later: Polarities, *, turned: bool) -> None:
        """Add what another one took; `turned`: with polarities changed."""
        self._sums += later._sums[:, :: -1 if turned else 1]

    def of_ones(self) -> float:
        """By how much ones of one polarity are longer than those of the other, on average."""
        counts, sums, _ = self._sums[0].T
        return abs(float(np.subtract(*(sums / counts)))) if counts.all() else 0.0

    @property
    def zeros_tell(self) -> bool:
        """Whether there are unstretched zeros of both polarities."""
        return bool(self._sums[1, :, 0].all())

    def shifts(self, error_ns: int) -> tuple[tuple[float, int], ...]:
        """What a probe may have done, and how far that may be off, in ns.

        Where ones and zeros differ otherwise, and the mean of zeros is surely shifted, it may have
        done what zeros show, or what ones do. Where zeros show nothing, it did nothing.
        """
        counts = self._sums[:, :, 0]
        if not counts.all():
            return ()
        means, squares = (self._sums[:, :, at] / counts for at in (1, 2))
        one, zero = ((means[:, 0] - means[:, 1]) / 2).tolist()
        apart, least = abs(one - zero), least_shift(error_ns)
        # How far a mean may be off, if halves differ as they come (M6): thrice what is usual.
        one_error, zero_error = 3 * ((squares - means**2) / counts).max(axis=1) ** 0.5
        known = ceil(one_error + zero_error)
        # Without a probe halves of one length read alike in step, or by one period apart.
        shifted = abs(one) > max(least, one_error)
        if apart <= max(_APART_NS, _APART_SHARE * abs(one), error_ns) and shifted:
            return ((one, ceil(apart) + known),)
        # Where ones show nothing, zeros that are stretched one by one show it all by themselves.
        spread = float((squares[1] - means[1] ** 2).max()) ** 0.5
        if abs(zero) <= max(least, zero_error if shifted else spread):
            return ()
        return ((zero, error_ns + known), (one, error_ns + known))


def least_shift(error_ns: int) -> float:
    """Less than this shows no probe: what is sampled in step reads half a period too long."""
    return max(_LEAST_NS, error_ns / 2)


def doubt(mine: Tally, other: Tally, shift: float) -> None:
    """Leave a rule open that is told otherwise by another tally, which knows of the probe."""
    doubtful = mine.failed if not other.failed else 0 if mine.failed else other.failed
    if not mine.failed and not mine.undecided:
        doubtful += other.undecided
    if doubtful:
        leave_open(mine, doubtful, shift)


def leave_open(tally: Tally, count: int, shift: float) -> None:
    """Leave a rule open that the probe may have broken, or have hidden that it is broken."""
    words = (
        f"halves of one polarity last {abs(shift) / 1e3:.2f} us too long, those of the other too "
        "short: the station, or the probe; reverse the probe to decide (M7)"
    )
    tally.leave_open(count, words)
