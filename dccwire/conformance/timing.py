"""Rules 1 to 5 of S-9.1: how long half-bits last.

A half-bit in a decoder's window for ones is judged as a one, in that for zeros as a zero; one in
neither counts in rule 5 alone (M10), and so does a bit that is half a one and half a zero. The
windows reach as far further as a reading may be off, so what is in neither is so for certain.
Room: half-bits in, measures out.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from dccwire.conformance.means import Halves, by_half, tell_differences, tell_halves
from dccwire.conformance.measures import BESIDE, FIRST_TIMES, LimitMeasure, Readings, Tally
from dccwire.conformance.places import HalfBits
from dccwire.conformance.probe import UNSTRETCHED_NS, Polarities, doubt, least_shift
from dccwire.conformance.rules import Force, Outcome, Verdict, rule
from dccwire.errors import Reason
from dccwire.formats import Provenance
from dccwire.receiver import Fault
from dccwire.receiver.edges import Windows
from dccwire.signal import LIMITS, NOMINAL, Limit
from dccwire.wording import counted

HALF_OF_ONE = rule(1, "each half of a 1", LIMITS["t1"])
DIFFERENCE = rule(2, "difference of the halves of a 1", LIMITS["t1d"])
HALF_OF_ZERO = rule(3, "each half of a 0", LIMITS["t0"])
TOTAL = rule(4, "whole stretched 0", LIMITS["t0total"])
MEANS = rule(
    6,
    "mean of the first halves of ones, less that of the last",
    Limit("S-9.1 §A", words="told: the same nominal duration, without a tolerance"),
)
UNEQUAL = rule(
    7,
    "zeros whose halves differ",
    Limit("S-9.1 §A (E6)", words="told: normally equal, unless stretched"),
    Force.REPORT,
)
NEITHER = rule(
    5,
    "half-bits of neither a 1 nor a 0",
    Limit("S-9.1 §A, from t1 and t0 (E5)", unit="us", words="none", provenance=Provenance.DERIVED),
)

NOISE = "single ones may be noise where the probe is (E5)"

_UNREAD = "no packet was read, so which half-bits are ones is not known"
_FALLEN = "before a stretch without a level, whose edge may be of power that fell"
_NEAR = "read as of a 1 or a 0, as near to what a decoder takes for none as times are exact"
_NOISY = "beside pulses, or half-bits of no bit, that may have cut them (E5)"

_ALIKE = 0.01
"""How far the factors of ones and zeros may differ to be one (common practice, no source)."""


class TimingRules:
    """Measures of rules 1 to 5; `error_ns` is the resolution and all other uncertainty."""

    OPEN = "polarity", "_torn_open", "_torn_doubtful", "_distorted_last"
    """What comes next depends on these."""

    def __init__(self, error_ns: int, probe_ns: float = 0) -> None:
        self._probe_ns, self._windows = probe_ns, Windows(error_ns)
        # Ones and zeros by polarity, and that of the next half-bit.
        self.polarities, self.polarity = Polarities(), 0
        self.ones = LimitMeasure(HALF_OF_ONE, error_ns)
        # Both halves share their middle edge, so a difference is off by twice as much (M4).
        self.differences = LimitMeasure(DIFFERENCE, error_ns, edges=2)
        self.zeros = LimitMeasure(HALF_OF_ZERO, error_ns)
        self.totals = LimitMeasure(TOTAL, error_ns)
        self.neither = Tally(NEITHER)
        self.means, self.unequal = Tally(MEANS), Tally(UNEQUAL)
        self.means.told = True
        # By how much first halves of ones, and of zeros, are longer than the last ones, in all; how
        # many zeros have halves that surely differ.
        self._longer = self._zero_longer = self._differing = 0
        self._torn = 0
        # Whether the next half-bits begin with the last of a bit whose first is of a 1 (1) or of a
        # 0 (2), and whether distortion stands near.
        self._torn_open, self._torn_doubtful = 0, False
        # Whether the two half-bits before the next ones were distorted.
        self._distorted_last = False, False
        # How many ones and unstretched zeros there are, and how long they last together; how many
        # half-bits of all kinds; whether distortion stands among them.
        self._sums = np.zeros((2, 2), np.int64)
        self._halves = 0
        self._distorted = False

    @property
    def torn(self) -> tuple[int, ...]:
        """Whether a bit is torn at the end of what was measured, and whether that is in doubt."""
        doubtful = bool(self._torn_open) and self._torn_doubtful
        return self._torn_open, doubtful, *self._distorted_last

    def absorb(self, later: TimingRules, *, turned: bool) -> None:
        """Go on with what another one measured from here on; `turned`: with polarities changed."""
        for mine, its in zip(self._tallies(), later._tallies(), strict=True):
            mine.absorb(its)
        self.polarities.absorb(later.polarities, turned=turned)
        self._sums += later._sums
        self._longer += later._longer
        self._zero_longer += later._zero_longer
        self._differing += later._differing
        self._torn += later._torn
        self._halves += later._halves
        self._distorted |= later._distorted
        for name in self.OPEN:
            setattr(self, name, getattr(later, name))
        self.polarity ^= turned

    def add(self, some: HalfBits) -> None:
        """Measure half-bits."""
        if not len(some.lengths):
            return
        read, some = some, self._without_probe(some) if self._probe_ns else some
        lengths, edges, extra = some.lengths, some.edges, some.extra
        one, zero = some.one, some.zero
        self._halves += len(lengths)
        self._distorted |= extra is not None
        before, self._distorted_last = self._distorted_last, (False, False)
        if extra is not None:
            recent = (before[1], *(extra[-2:] > 0).tolist())
            self._distorted_last = recent[-2], recent[-1]
        polarity = self.polarity
        self.polarities.add(read.lengths, some.judged, polarity)
        self.polarity = (self.polarity + len(lengths)) % 2
        if some.cut:
            one, zero = one.copy(), zero.copy()
        for place in some.cut:
            # It may have been longer: what fails, or may fail, proves nothing.
            for measure, mask in ((self.ones, one), (self.zeros, zero)):
                mask[place] &= measure.judge(lengths[place : place + 1])[1][0]
        if some.noisy is not None:
            one, zero = (
                _spare(measure, lengths, edges, mask, some.noisy)
                for measure, mask in ((self.ones, one), (self.zeros, zero))
            )
        # What fails without the probe, and as it reads too, is where it fails for certain.
        as_read = read.lengths if self._probe_ns else None
        self._sum(0, _take(self.ones, lengths, edges[:-1], one, extra, as_read=as_read))
        self._sum(1, _take(self.zeros, lengths, edges[:-1], zero, extra, as_read=as_read))
        clean = np.count_nonzero(some.one) + np.count_nonzero(some.zero) == len(lengths)
        broken = self._torn_open or any(isinstance(one, Fault) for one in some.columns.parts)
        if clean and not broken:  # most of the time: the masks would cost a fifth of all rules
            self.neither.measured += len(lengths)
        else:
            self._add_neither(some, read.either, before)
        self._open_windows(lengths, edges, one, zero)
        for begin, end in some.bits:
            firsts, lasts = slice(begin, end, 2), slice(begin + 1, end, 2)
            first, last, starts = lengths[firsts], lengths[lasts], edges[firsts]
            both = None if extra is None else extra[firsts] + extra[lasts]
            ones = one[firsts] & one[lasts]
            zeros = ~(some.one[firsts] | some.one[lasts])
            longer, whole = first - last, first + last
            apart = np.abs(longer)
            if not self._probe_ns:
                self.polarities.add_bits(longer, ones, zeros, (polarity + begin) % 2)
            self._longer += int((longer * ones).sum())
            self._zero_longer += int((longer * zeros).sum())
            self.means.measured += int(np.count_nonzero(ones))
            self.unequal.measured += int(np.count_nonzero(zeros))
            self._differing += int(np.count_nonzero(zeros & (apart >= self.differences.error)))
            for place in some.cut:
                if begin <= place < end:
                    at = (place - begin) // 2
                    ones[at] &= self.differences.judge(apart[at : at + 1])[1][0]
            if some.noisy is not None:
                noisy = some.noisy[firsts] | some.noisy[lasts]
                ones = _spare(self.differences, apart, starts, ones, noisy)
            if both is not None or not self.differences.all_below(apart, ones):
                known = None if as_read is None else np.abs(as_read[firsts] - as_read[lasts])
                _take(self.differences, apart, starts, ones, both, as_read=known)
            if both is not None or not self.totals.all_below(whole, zeros):
                _take(self.totals, whole, starts, zeros, both)

    def _without_probe(self, some: HalfBits) -> HalfBits:
        """The half-bits as they would read without what the probe is taken to do."""
        lengths = some.lengths.copy()
        lengths[self.polarity :: 2] -= round(self._probe_ns)
        lengths[1 - self.polarity :: 2] += round(self._probe_ns)
        (one_low, one_high), (zero_low, zero_high) = self._windows.one, self._windows.zero
        one = some.judged & (lengths >= one_low) & (lengths <= one_high)
        zero = some.judged & (lengths >= zero_low) & (lengths <= zero_high)
        return replace(some, lengths=lengths, one=one, zero=zero)

    def clear_of(self, shift: float) -> bool:
        """Whether nothing would be told otherwise if halves were so much longer, or shorter."""
        halves = self.ones, self.differences, self.zeros
        return all(one.clear_of(abs(shift)) for one in halves) and not (
            self.neither.failed or self.neither.undecided
        )

    def may_misread(self, shift: float, without: TimingRules) -> bool:
        """Whether halves so much longer, or shorter, may be read as of another kind, or of none.

        `without` is what was measured with the shift taken off.
        """
        margin = abs(shift) + self.ones.error
        ones, zeros = (self.ones, LIMITS["tr1"]), (self.zeros, LIMITS["tr0"])
        return without.neither.failed < self.neither.failed or any(
            (measure.lowest or window.most) < window.least + margin
            or (measure.highest or 0) > window.most - margin
            for measure, window in (ones, zeros)
        )

    def doubt_probe(self, shift: float, without: TimingRules) -> None:
        """Leave open what is told otherwise `without` what the probe may have done."""
        for mine, other in zip(self._tallies(), without._tallies(), strict=True):
            doubt(mine, other, shift)

    def doubt_untold(self, *, levels_known: bool) -> None:
        """Leave open what a probe may have done, where zeros do not tell whether it did (M7).

        They do not where those of one polarity are all stretched, nor where the levels of some
        stretches are not known.
        """
        apart, least = 0.0, least_shift(self.ones.error)
        if not levels_known:
            apart, least = self.differences.highest or 0, max(least, self.differences.error)
        elif not self.polarities.zeros_tell:
            apart = self.polarities.of_ones()
        if apart <= 2 * least:
            return
        words = (
            f"halves differ by {apart / 1e3:.2f} us, and no zeros tell whether that is the station "
            "or the probe; reverse the probe to decide (M7)"
        )
        if self.neither.failed:  # it may have moved them out of their windows
            self.neither.leave_open(self.neither.failed, words)
        for tally in (self.ones, self.differences, self.zeros):
            near = tally is self.zeros and not tally.failed and tally.clear_of(apart)
            if tally.measured and not near:
                tally.leave_open(tally.measured - tally.undecided, words)

    def doubt_kinds(self) -> None:
        """Leave all open: where no packet was read, nothing tells ones from zeros."""
        for tally in (self.ones, self.differences, self.zeros, self.totals, self.neither):
            if tally.measured:
                tally.doubt()
                tally.remarks.append(_UNREAD)

    def _sum(self, row: int, readings: Readings) -> None:
        if (self.zeros.highest or 0) > UNSTRETCHED_NS:
            readings = readings[readings <= UNSTRETCHED_NS]
        self._sums[row] += len(readings), readings.sum()

    def _add_neither(
        self, some: HalfBits, read: NDArray[np.bool_], before: tuple[bool, bool]
    ) -> None:
        """What is of neither; `read` says what the receiver took for a half of a bit.

        `before` says whether the two half-bits before were distorted.
        """
        either, edges = some.either, some.edges
        found = some.judged & ~either
        self.neither.measured += int(some.judged.sum())
        if some.fallen is not None and found[some.fallen]:
            self._open(edges[some.fallen : some.fallen + 1], _FALLEN)
            found[some.fallen] = False
        for place in some.cut:
            self.neither.measured -= bool(found[place])
            found[place] = False
        torn, doubtful = self._find_torn(some, read, before)
        self._torn += len(torn)
        self._open(edges[doubtful], BESIDE)
        found[torn] = True
        if some.extra is not None:
            one, zero = LIMITS["tr1"], LIMITS["tr0"]
            reach = some.extra + self.ones.error
            above, below = some.lengths + reach, some.lengths - reach
            certain = ((above < one.least) | (below > one.most)) & (
                (above < zero.least) | (below > zero.most)
            )
            certain |= some.extra == 0  # the windows have the error by themselves
            certain[torn] = True
            self._open(edges[np.flatnonzero(found & ~certain)], BESIDE)
            found &= certain
        places = np.flatnonzero(found)
        if len(places):
            lengths = some.lengths[places]
            out = lengths[~either[places]]
            if len(out):
                self.neither.see(int(out.min()), int(out.max()))
            self.neither.fail(edges[places[:FIRST_TIMES]].tolist(), len(places))

    def _open_windows(
        self,
        lengths: Readings,
        edges: Readings,
        one: NDArray[np.bool_],
        zero: NDArray[np.bool_],
    ) -> None:
        """What was read as a one or a zero may be of neither, as near to a window's end as this."""
        for measure, mask, window in (
            (self.ones, one, LIMITS["tr1"]),
            (self.zeros, zero, LIMITS["tr0"]),
        ):
            least, most = window.least + measure.error, window.most - measure.error
            if measure.lowest is None or measure.highest is None:
                continue
            if measure.lowest < least or measure.highest > most:  # seldom
                near = mask & ((lengths < least) | (lengths > most))
                self._open(edges[np.flatnonzero(near)], _NEAR)

    def _open(self, times: Readings, note: str) -> None:
        """Half-bits at these times may be of neither, or be what distortion made of others."""
        self.neither.open(times[:FIRST_TIMES].tolist(), len(times))
        if len(times):
            self.neither.notes[note] += len(times)

    def _find_torn(
        self, some: HalfBits, read: NDArray[np.bool_], before: tuple[bool, bool]
    ) -> tuple[list[int], list[int]]:
        """Last halves of bits that broke a packet off, though each half is of a 1 or of a 0.

        Where distortion stands in the packet, it may have moved the halves: those are counted.
        """
        kinds = some.one + 2 * some.zero  # 0 is neither
        distorted = read != some.either
        if some.extra is not None:
            distorted |= some.extra > 0
        doubtful = self._torn_doubtful or bool(distorted[:2].any())
        goes_on = self._torn_open and read[0] and self._torn_open != kinds[0]
        found = [(0, doubtful)] if goes_on else []
        self._torn_open = 0
        for part in some.columns.parts:
            if isinstance(part, Fault) and part.reason is Reason.HALF_BITS:
                begin, place = np.searchsorted(some.edges, (part.begin, part.end)).tolist()
                doubtful = bool(distorted[max(begin - 2, 0) : place + 2].any())
                doubtful |= any(before[begin:])
                if place == len(kinds):
                    self._torn_open, self._torn_doubtful = int(kinds[-1] * read[-1]), doubtful
                elif read[place - 1] and read[place] and kinds[place - 1] != kinds[place]:
                    found.append((place, doubtful))
        found = [one for one in found if one[0] not in some.cut]
        certain = [place for place, doubtful in found if not doubtful]
        return certain, [place for place, doubtful in found if doubtful]

    @property
    def clock(self) -> float | None:
        """By what ones and unstretched zeros are off alike, on average: one clock makes both."""
        (count, one_ns), (zeros, zero_ns) = self._sums.tolist()
        if not count or not zeros:
            return None
        factor = one_ns / count / NOMINAL.one
        alike = abs(factor / (zero_ns / zeros / NOMINAL.zero) - 1) < _ALIKE
        return factor if alike and abs(factor - 1) > _ALIKE else None

    @property
    def factor(self) -> float | None:
        """By what all durations are off, if not one half of a 1 surely passes, and all are alike.

        Then the times are to be doubted: a sample rate or a unit that is not the recording's.
        """
        ones, limit, factor = self.ones, HALF_OF_ONE.limit, self.clock
        if factor is None or ones.failed + ones.undecided < ones.measured:
            return None
        return None if limit.least <= factor * NOMINAL.one <= limit.most else factor

    def tallies(self) -> tuple[Tally, ...]:
        """What was measured."""
        if self._torn:
            torn = counted(self._torn, "bit")
            self.neither.remarks = [f"{torn} of half a 1 and half a 0"]
        if self.neither.failed > self._torn and NOISE not in self.neither.remarks:
            self.neither.remarks.append(NOISE)
        if self.means.measured:
            mean, error = by_half(self._longer, self.means.measured, self.differences.error)
            told = f"{mean / 1e3:+.3f} us of {counted(self.means.measured, 'bit')}"
            self.means.remarks = [f"{told}, about +- {error / 1e3:.3f} us unless sampled in step"]
        if self.unequal.measured:
            zeros = counted(self.unequal.measured, "bit")
            self.unequal.remarks = [f"{self._differing} of {zeros}"]
        self._tell_means()
        return self._tallies()

    def _tallies(self) -> tuple[Tally, ...]:
        timing = self.ones, self.differences, self.zeros, self.totals, self.neither
        return *timing, self.means, self.unequal

    def _tell_means(self) -> None:
        """What the means say where single halves, or bits, are undecided (M6)."""
        if self._distorted or self.factor is not None:
            return
        (count, whole), (zero_count, zero_whole) = self._sums.tolist()
        ones = Halves(self.ones, count, whole, self.means.measured, self._longer)
        zeros = Halves(self.zeros, zero_count, zero_whole, self.unequal.measured, self._zero_longer)
        # Halves of one kind in a row are parted by bits of the other, or by what is neither.
        others = self._halves - self.ones.measured - self.zeros.measured + 1
        tell_halves(ones, self.zeros.measured / 2 + others, self.differences.error)
        if (self.zeros.highest or 0) <= UNSTRETCHED_NS:
            tell_halves(zeros, self.ones.measured / 2 + others, self.differences.error)
        tell_differences(ones, self.differences, self.polarities.of_ones())


def _spare(
    measure: LimitMeasure,
    readings: Readings,
    times: Readings,
    mask: NDArray[np.bool_],
    noisy: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """Leave open what fails and is noisy; the mask of all others."""
    places = np.flatnonzero(mask & noisy)
    places = places[measure.judge(readings[places])[0]]
    if not len(places):
        return mask
    first = times[places[:FIRST_TIMES]].tolist()
    measure.add(Outcome(Verdict.UNDECIDED, note=_NOISY), first, len(places))
    mask = mask.copy()
    mask[places] = False
    return mask


def _take(
    measure: LimitMeasure,
    readings: Readings,
    times: Readings,
    mask: NDArray[np.bool_],
    extra: Readings | None,
    *,
    as_read: Readings | None = None,
) -> Readings:
    """Measure some of the readings, and give them back; times are of those that fail `as_read`."""
    places = np.flatnonzero(mask)  # by place it takes a third of the time (measured)
    readings = readings[places]
    extra = None if extra is None else extra[places]
    if as_read is None:
        measure.take(readings, lambda some: times[places[some]], extra)
        return readings
    fails = measure.judge(as_read[places])[0]
    for some, here in ((fails, times[places[fails]]), (~fails, times[:0])):
        more = None if extra is None else extra[some]
        measure.take(readings[some], partial(_first, here), more)
    return readings


def _first(times: Readings, places: NDArray[np.intp]) -> Readings:
    """The times at some places, as far as they are told."""
    return times[places[: len(times)]]
