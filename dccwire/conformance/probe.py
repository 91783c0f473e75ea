"""What a probe of one rail does to half-bits, and what is left open for it (M7).

Such a probe, or an opto-coupler, delays edges of one direction more than those of the other, so
that halves of one polarity read too long and those of the other too short, of ones and zeros alike.
Room: half-bits by their polarity in, shifts out.
"""

from __future__ import annotations

from math import ceil
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from dccwire.conformance.measures import Readings, Tally

UNSTRETCHED_NS = 140_000
"""Zeros up to here are taken for such as are not stretched (common practice, no source)."""

_ABOUT_NS = (39_000, 77_000), (77_000, UNSTRETCHED_NS + 1)
"""Halves about a one, and about a zero: 13 us from 52 to 64 and from 90, where a decoder takes them
for one (S-9.1 §A), which is midway between both; that they tell of a probe is common practice, no
source."""

_REACH_NS = 13_000
"""So far the halves of one bit may differ by what a probe does; zeros that differ by more are
stretched (common practice, no source)."""

_BIN_BITS = 2
"""Differences are counted by 4 ns (our choice)."""

_FEWEST, _SHARE = 4, 0.3
"""Bits that are enough to be plain ones, at least, and as a share of those that differ alike most
often (our choice)."""

_MOST = 0.5
"""So many of those zeros tell by themselves, and not on average (our choice)."""

_JITTER_NS = 1_000
"""Differences of plain bits lie this near to each other, and what the error adds (our choice)."""

_LEAST_NS = 20
"""Less of a shift by polarity is not looked at (common practice, no source)."""

_APART_NS, _APART_SHARE = 200, 0.1
"""So far, or by so much of it, the shifts of ones and zeros may differ and be one probe's (common
practice, no source)."""


class Shift(NamedTuple):
    """By how much halves of one polarity read too long, and how far that may be off, in ns.

    `scattered`: bits differ as they come, so what is sampled is not in step with the station;
    `share`: how many of those do so whose halves differ by no more than a probe may add.
    """

    by: float
    error: float
    scattered: bool = False
    share: float = 0

    def surely(self, least: float) -> bool:
        """Whether it is more than so much; or, if nothing is in step, than chance makes it."""
        by, error = abs(self.by), self.error
        return (
            by > min(least + error, _LEAST_NS + 2 * error) if self.scattered else by > least + error
        )


class Polarities:
    """What halves of the two polarities tell: halves as they come, and those of one bit.

    Of halves about ones and about unstretched zeros their number, sum and squares; of bits, how
    often their halves differ by how much.
    """

    def __init__(self) -> None:
        self._sums = np.zeros((2, 2, 3))
        self._apart = np.zeros((2, (2 * _REACH_NS >> _BIN_BITS) + 1), np.int64)

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

    def add_bits(
        self, longer: Readings, ones: NDArray[np.bool_], zeros: NDArray[np.bool_], polarity: int
    ) -> None:
        """Take bits whose first halves, of this polarity, are so much longer than the last ones."""
        size = self._apart.shape[1]
        for row, mask in enumerate((ones, zeros)):
            some = longer[mask & (np.abs(longer) < _REACH_NS)]
            places = (_REACH_NS - some if polarity else _REACH_NS + some) >> _BIN_BITS
            self._apart[row] += np.bincount(places, minlength=size)

    def absorb(self, later: Polarities, *, turned: bool) -> None:
        """Add what another one took; `turned`: with polarities changed."""
        self._sums += later._sums[:, :: -1 if turned else 1]
        self._apart += later._apart[:, :: -1 if turned else 1]

    def of_ones(self) -> float:
        """By how much ones of one polarity are longer than those of the other, on average."""
        counts, sums, _ = self._sums[0].T
        return abs(float(np.subtract(*(sums / counts)))) if counts.all() else 0.0

    @property
    def zeros_tell(self) -> bool:
        """Whether there are zeros that are not stretched."""
        return bool(self._sums[1, :, 0].all()) and int(self._apart[1].sum()) >= _FEWEST

    def shifts(self, error_ns: int, resolution_ns: int) -> tuple[tuple[float, int], ...]:
        """What a probe may have done, each with how far that may be off, in ns."""
        least = least_shift(resolution_ns)
        one, zero = (self._plain(row, error_ns) for row in (0, 1))
        if one is not None and zero is not None:
            found = _causes(one, zero, error_ns, least)
            if zero.share >= _MOST:
                return found
        elif one is not None and one.surely(least):
            found = ((one.by, ceil(one.error) + error_ns),)  # no zeros tell otherwise
        else:
            found = ()
        return *found, *self._of_halves(error_ns, least)

    def _plain(self, row: int, error_ns: int) -> Shift | None:
        """By how much the halves of most bits differ that are alike; of zeros, of the most equal.

        A zero may be stretched by more than a probe does, many of them by the same.
        """
        width = (4 * error_ns + _JITTER_NS) >> _BIN_BITS | 1
        counts = self._apart[row]
        sums = np.convolve(counts, np.ones(width, np.int64), "same")
        if sums.max() < _FEWEST:
            return None
        middle = _REACH_NS >> _BIN_BITS
        enough = np.flatnonzero(sums >= max(sums.max() * _SHARE, _FEWEST))
        at = int(enough[np.abs(enough - middle).argmin()]) if row else int(sums.argmax())
        while True:  # to the middle of those that are about here
            low = max(at - width, 0)
            best = low + int(sums[low : at + width + 1].argmax())
            if sums[best] <= sums[at]:
                break
            at = best
        about = slice(max(at - width // 2, 0), at + width // 2 + 1)
        number = counts[about].sum()
        places = np.arange(about.start, about.start + len(counts[about]))
        apart = (places << _BIN_BITS) + ((1 << _BIN_BITS) - 1) / 2 - _REACH_NS
        mean = float((apart * counts[about]).sum() / number)
        spread = float(((apart - mean) ** 2 * counts[about]).sum() / number)
        # How far a mean may be off, if bits differ as they come (M6): thrice what is usual.
        error = 3 * (spread / number) ** 0.5 / 2 + (1 << _BIN_BITS)
        return Shift(mean / 2, error, spread > (1 << _BIN_BITS) ** 2, number / counts.sum())

    def _of_halves(self, error_ns: int, least: float) -> tuple[tuple[float, int], ...]:
        """What all halves tell on average, where no bits do, or zeros scatter."""
        counts = self._sums[:, :, 0]
        if not counts.all():
            return ()
        means, squares = (self._sums[:, :, at] / counts for at in (1, 2))
        one, zero = ((means[:, 0] - means[:, 1]) / 2).tolist()
        one_error, zero_error = 3 * ((squares - means**2) / counts).max(axis=1) ** 0.5
        # Where ones show nothing, zeros that are stretched one by one show it all by themselves.
        spread = float((squares[1] - means[1] ** 2).max()) ** 0.5
        if abs(one) <= max(least, one_error) and abs(zero) <= spread:
            return ()
        return _causes(Shift(one, one_error), Shift(zero, zero_error), error_ns, least)


def _causes(one: Shift, zero: Shift, error_ns: int, least: float) -> tuple[tuple[float, int], ...]:
    """What a probe may have done, given what ones and zeros show, and how far that may be off.

    Where they differ otherwise, and zeros are surely shifted, it may have done what zeros show, or
    what ones do. Where zeros show nothing, it did nothing.
    """
    apart, known = abs(one.by - zero.by), ceil(one.error + zero.error)
    alike = apart <= max(_APART_NS, _APART_SHARE * abs(one.by), error_ns)
    # What is sampled in step shifts ones or zeros alone, mostly.
    both = one.by * zero.by > 0 and one.surely(_LEAST_NS) and zero.surely(_LEAST_NS)
    if alike and (both or one.surely(least)):
        return ((one.by, ceil(apart) + known),)
    if zero.surely(least):
        known += 0 if one.scattered and zero.scattered else error_ns
        return (zero.by, known), (one.by, known)
    return ()


def least_shift(resolution_ns: int) -> float:
    """Less than this shows no probe: what is sampled in step reads half a period too long."""
    return max(_LEAST_NS, resolution_ns / 2)


def doubt(mine: Tally, other: Tally, shift: float) -> None:
    """Leave open what is told otherwise by another tally, which knows of the probe.

    What both fail fails: so much of it as the one that fails less often says, where both do if
    that is known.
    """
    if mine.failed and other.failed:
        if (doubtful := mine.failed - other.failed) > 0:
            leave_open(mine, doubtful, shift)
            mine.fail(other.first_times, other.failed, other.force, other.first_bytes)
        return
    doubtful = mine.failed or other.failed
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
