"""Three-valued measuring: a reading stands for a true value less than the error away.

A reading m passes an upper limit X if m + error <= X, fails if m - error >= X, and is undecided
otherwise; lower limits mirrored (M1, M2). Room: arrays of readings in, counts and worst values out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from dccwire.conformance.rules import Verdict

__all__ = ["FIRST_TIMES", "NO_LIMIT", "Counter", "LimitMeasure", "Readings"]

Readings: TypeAlias = NDArray[np.int64]
NO_LIMIT = -(1 << 62)
"""A lower limit that no reading comes near."""

FIRST_TIMES = 5
"""How many times of failures a report keeps."""


@dataclass(slots=True)
class Counter:
    """How often something was measured, and where it failed."""

    measured: int = 0
    failed: int = 0
    undecided: int = 0
    first_times: list[int] = field(default_factory=list)

    def fail(self, times: list[int], count: int | None = None) -> None:
        """Count failures; `times` are the first of them, in order."""
        self.failed += len(times) if count is None else count
        self.first_times += times[: FIRST_TIMES - len(self.first_times)]

    @property
    def verdict(self) -> Verdict:
        """One failure fails; else one undecided reading leaves the rule undecided."""
        if self.failed:
            return Verdict.FAIL
        if self.undecided:
            return Verdict.UNDECIDED
        return Verdict.PASS if self.measured else Verdict.NOT_EXERCISED


@dataclass(slots=True)
class LimitMeasure:
    """Readings in ns against limits `least` and `most`, each reading off by less than `error`."""

    least: int
    most: int
    error: int
    counter: Counter = field(default_factory=Counter)
    lowest: int | None = None
    highest: int | None = None

    def add(self, readings: Readings, time_of: Callable[[NDArray[np.intp]], Readings]) -> None:
        """Take readings; `time_of` gives the times of some of them by their indices."""
        if not len(readings):
            return
        low, high = int(readings.min()), int(readings.max())
        self.counter.measured += len(readings)
        self.lowest = low if self.lowest is None else min(self.lowest, low)
        self.highest = high if self.highest is None else max(self.highest, high)
        if low - self.error >= self.least and high + self.error <= self.most:
            return
        fails, passes = self.judge(readings)
        failed = np.flatnonzero(fails)
        self.counter.undecided += len(readings) - len(failed) - int(passes.sum())
        if len(failed):
            self.counter.fail(time_of(failed[:FIRST_TIMES]).tolist(), len(failed))

    def judge(self, readings: Readings) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Which readings fail for certain, and which pass for certain.

        >>> both = LimitMeasure(55_000, 61_000, error=1_000).judge(np.arange(54, 63) * 1000)
        >>> [each.astype(int).tolist() for each in both]
        [[1, 0, 0, 0, 0, 0, 0, 0, 1], [0, 0, 1, 1, 1, 1, 1, 0, 0]]
        """
        passes = (readings >= self.least + self.error) & (readings <= self.most - self.error)
        fails = (readings <= self.least - self.error) | (readings >= self.most + self.error)
        return fails & ~passes, passes

    @property
    def worst(self) -> int | None:
        """The reading furthest out, or nearest to a limit; None if there was none."""
        if self.lowest is None or self.highest is None:
            return None
        return self.lowest if self.least - self.lowest > self.highest - self.most else self.highest
