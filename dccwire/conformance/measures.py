"""Three-valued measuring: a reading stands for a true value less than the error away.

A reading m passes an upper limit X if m + error <= X, fails if m - error >= X, and is undecided
otherwise; lower limits mirrored (M1, M2). Room: readings in, counts and worst values out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from dccwire.conformance.report import RuleResult
from dccwire.conformance.rules import Force, Outcome, Rule, Verdict
from dccwire.signal import UNBOUNDED

Readings: TypeAlias = NDArray[np.int64]

BESIDE = "beside merged pulses, known only to their width (M8)"

FIRST_TIMES = 5
"""How many times of failures a report keeps."""

_STRENGTH = list(Force)


class Tally:
    """What a recording shows of a rule: how often it was measured, where it failed, the worst.

    `lacks` says what the recording lacks where the rule is not decidable; `told` that it has no
    verdict but that something was observed.
    """

    def __init__(self, rule: Rule) -> None:
        self.rule = rule
        self.measured = self.failed = self.undecided = 0
        self.first_times: list[int] = []
        self.first_bytes = b""  # of the first packet that failed, where the rule is on bytes
        self.lowest: int | None = None
        self.highest: int | None = None
        self.force: Force | None = None
        self.notes: Counter[str] = Counter()
        self.remarks: list[str] = []
        self.lacks = ""
        self.told = rule.force is Force.REPORT
        self.doubted = False
        self.recording = ""  # whose times those of failures are
        # When the first that are undecided came, and of which recording.
        self.open_times: list[int] = []
        self.open_recording = ""
        # How far an undecided reading is from a limit, at least: a finer error would decide it.
        self.nearest: int | None = None

    def add(
        self, outcome: Outcome, times: Sequence[int], count: int | None = None, first: bytes = b""
    ) -> None:
        """Count an outcome, met `count` times (as often as there are times, if not given).

        `first` are the bytes of the packet at the first of these times.
        """
        count = len(times) if count is None else count
        self.measured += count
        if outcome.verdict is Verdict.UNDECIDED:
            self.open(times, count)
        self.told |= outcome.verdict is Verdict.OBSERVED
        if outcome.verdict is Verdict.FAIL:
            self.fail(times, count, outcome.force, first)
        if outcome.value is not None:
            self.see(outcome.value, outcome.value)
        if outcome.note:
            self.notes[outcome.note] += count

    def fail(
        self, times: Sequence[int], count: int, force: Force | None = None, first: bytes = b""
    ) -> None:
        """Count failures of what was measured; `times` are those of the first, in order."""
        self.failed += count
        if times and (not self.first_times or times[0] < self.first_times[0]):
            self.first_bytes = first
        self.first_times = sorted([*self.first_times, *times[:FIRST_TIMES]])[:FIRST_TIMES]
        forces = [force or self.rule.force, *filter(None, [self.force])]
        self.force = min(forces, key=_STRENGTH.index)

    def open(self, times: Sequence[int], count: int) -> None:
        """Count what is undecided of what was measured; `times`: of the first, in order."""
        self.undecided += count
        self.open_times = sorted([*self.open_times, *times[:FIRST_TIMES]])[:FIRST_TIMES]

    def absorb(self, other: Tally) -> None:
        """Add what another one of the same rule has counted, in the same recording or another."""
        self.measured += other.measured
        if not self.open_times:
            self.open_recording = other.open_recording
        same = self.open_recording == other.open_recording
        self.open(other.open_times if same else (), other.undecided)
        if other.failed:
            self.recording = self.recording if self.failed else other.recording
            times = other.first_times if self.recording == other.recording else []
            self.fail(times, other.failed, other.force, other.first_bytes)
        if other.lowest is not None and other.highest is not None:
            self.see(other.lowest, other.highest)
        self.notes.update(other.notes)
        self.told |= other.told
        self.lacks = self.lacks or other.lacks
        self._near(other.nearest)

    def _near(self, apart: int | None) -> None:
        """Keep how far the undecided reading nearest to a limit is from it."""
        known = [one for one in (apart, self.nearest) if one is not None]
        self.nearest = min(known, default=None)

    def doubt(self) -> None:
        """The times themselves are in doubt: nothing fails, and nothing passes."""
        self.doubted, self.undecided, self.failed = True, self.measured, 0
        self.open_times = []  # all of them
        self.first_times, self.first_bytes, self.nearest = [], b"", None

    def leave_open(self, count: int, words: str) -> None:
        """Nothing fails, and so much is undecided besides, for a reason that is told."""
        self.open(self.first_times, count)
        self.failed = 0
        self.first_times, self.first_bytes, self.nearest = [], b"", None
        self.remarks.append(words)

    def see(self, low: int, high: int) -> None:
        """Keep the outermost readings."""
        self.lowest = low if self.lowest is None else min(self.lowest, low)
        self.highest = high if self.highest is None else max(self.highest, high)

    @property
    def verdict(self) -> Verdict:
        """One failure fails; else one undecided reading leaves the rule undecided."""
        if self.told and self.measured:
            return Verdict.OBSERVED
        if self.failed:
            return Verdict.FAIL
        if self.undecided or (self.doubted and not self.lacks):
            return Verdict.UNDECIDED
        if self.lacks:
            return Verdict.NOT_DECIDABLE
        return Verdict.PASS if self.measured else Verdict.NOT_EXERCISED

    @property
    def worst(self) -> int | None:
        """The reading furthest out, or nearest to a limit; None if there was none."""
        if self.lowest is None or self.highest is None:
            return None
        limit = self.rule.limit
        outside = limit.least - self.lowest > self.highest - limit.most
        return self.lowest if outside else self.highest

    def result(self) -> RuleResult:
        """What the report says of the rule."""
        counted = (f"{count} {note}" for note, count in sorted(self.notes.items()))
        lacks = [self.lacks] * (self.verdict is Verdict.NOT_DECIDABLE)
        alike = not self.first_times or self.recording == self.open_recording
        open_times = self.open_times if alike and self.undecided else []
        recording = self.recording if self.first_times else self.open_recording * bool(open_times)
        return RuleResult(
            self.rule,
            self.verdict,
            self._in_words(),
            self.measured,
            self.failed,
            self.undecided,
            tuple(self.first_times),
            "; ".join((*lacks, *counted, *self.remarks)),
            self.force or self.rule.force,
            self.nearest,
            recording,
            self.worst if self.rule.limit.unit else None,
            self.first_bytes,
            tuple(open_times),
        )

    def _in_words(self) -> str:
        """The worst reading; of a count with two limits, all that was seen."""
        worst, limit = self.worst, self.rule.limit
        if worst is None or not limit.unit:
            return ""
        if limit.unit == "us":
            return f"{worst / 1e3:g} us"
        both = limit.least > 0 and limit.most < UNBOUNDED and self.lowest != self.highest
        return f"{self.lowest} to {self.highest} {limit.unit}" if both else f"{worst} {limit.unit}"


class LimitMeasure(Tally):
    """Readings in ns against the limits of a rule, each reading off by less than `error`.

    `edges` is how often the error of one edge counts in a reading.
    """

    def __init__(self, rule: Rule, error: int, edges: int = 1) -> None:
        super().__init__(rule)
        self.error, self._edges = edges * error, edges

    def take(
        self,
        readings: Readings,
        time_of: Callable[[NDArray[np.intp]], Readings],
        extra: Readings | None = None,
    ) -> None:
        """Take readings; `time_of` gives the times of some of them by their indices.

        `extra` is how much more each of them may be off, where some are.
        """
        if not len(readings):
            return
        low, high = int(readings.min()), int(readings.max())
        self.measured += len(readings)
        self.see(low, high)
        limit, error = self.rule.limit, self.error
        if extra is None and low - error >= limit.least and high + error <= limit.most:
            return
        fails, passes = self.judge(readings, extra)
        failed, open_ = np.flatnonzero(fails), np.flatnonzero(~(fails | passes))
        if len(open_):
            self.open(time_of(open_[:FIRST_TIMES]).tolist(), len(open_))
            beside = np.zeros(len(open_), np.bool_) if extra is None else extra[open_] > 0
            if beside.any():
                self.notes[BESIDE] += int(np.count_nonzero(beside))
        if len(open_) and not beside.all():
            some = readings[open_[~beside]]
            apart = np.minimum(np.abs(some - limit.least), np.abs(some - limit.most)).min()
            self._near(int(apart) // self._edges)
        if len(failed):
            self.fail(time_of(failed[:FIRST_TIMES]).tolist(), len(failed))

    def clear_of(self, shift: float) -> bool:
        """Whether all passes, and would if each edge were off by so much more."""
        if self.lowest is None or self.highest is None:
            return True
        limit, margin = self.rule.limit, self.error + self._edges * shift
        inside = self.lowest - margin >= limit.least and self.highest + margin <= limit.most
        return inside and not self.failed + self.undecided

    def all_below(self, readings: Readings, mask: NDArray[np.bool_]) -> bool:
        """Take those readings of the mask, if all of them pass a limit that has no lower end.

        Picking them out would take twice as long (measured), and seldom does one fail.
        """
        worst = int((readings * mask).max(initial=0))
        if worst + self.error > self.rule.limit.most:
            return False
        self.measured += int(np.count_nonzero(mask))
        self.see(worst, worst)
        return True

    def judge(
        self, readings: Readings, extra: Readings | None = None
    ) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Which readings fail for certain, and which pass for certain."""
        limit = self.rule.limit
        error = self.error if extra is None else self.error + extra
        passes = (readings >= limit.least + error) & (readings <= limit.most - error)
        fails = (readings <= limit.least - error) | (readings >= limit.most + error)
        return fails & ~passes, passes
