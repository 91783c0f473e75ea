"""Speed over voltage, as measured: medians, made to rise, straight in between.

Room: pairs of numbers in, curves out; knows no CV.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from dccwire.errors import FieldError
from dccwire.matching.voltages import Floats


def rising(values: Floats, weights: Floats) -> Floats:
    """The values that never fall and are nearest to those given, by weighted squares.

    Isotonic regression by its closed form: value i is the greatest, over all begins up to i, of the
    least mean over all ends from i on. All means at once are few here: at most 28 voltages.

    >>> rising(np.array([1.0, 4.0, 2.0, 5.0]), np.ones(4)).tolist()
    [1.0, 3.0, 3.0, 5.0]
    """
    count = np.concatenate(([0.0], np.cumsum(weights)))
    total = np.concatenate(([0.0], np.cumsum(values * weights)))
    begin, end = np.triu_indices(len(values))
    means = np.full((len(values), len(values)), np.inf)
    means[begin, end] = (total[end + 1] - total[begin]) / (count[end + 1] - count[begin])
    least = np.minimum.accumulate(means[:, ::-1], axis=1)[:, ::-1]
    most: Floats = np.where(np.tri(len(values), dtype=bool).T, least, -np.inf).max(axis=0)
    return most


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Speeds in mm/s by voltages, 0 to 255; both rise, the speeds perhaps not everywhere."""

    voltages: Floats
    speeds: Floats

    @property
    def first(self) -> float:
        """The lowest voltage at which it was seen to move."""
        return float(self.voltages[self.speeds > 0][0])

    @property
    def last(self) -> float:
        """The highest voltage measured."""
        return float(self.voltages[-1])

    def at(self, voltages: Floats) -> Floats:
        """The speeds at some voltages; NaN outside what was measured."""
        return np.interp(voltages, self.voltages, self.speeds, left=np.nan, right=np.nan)

    def voltages_for(self, speeds: Floats) -> Floats:
        """The lowest voltages with some speeds, which lie between the least and the most."""
        known, places = np.unique(self.speeds, return_index=True)
        return np.interp(speeds, known, self.voltages[places])


def curve_of(pairs: Iterable[tuple[float, float]], name: str) -> Curve:
    """The curve of pairs of voltage and speed, in any order; several of a voltage count by median.

    Raises:
        FieldError: it moves at fewer than two voltages, or at one speed alone; `name` says whose.

    >>> curve = curve_of([(9, 4.0), (255, 300.0), (9, 5.0), (9, 40.0)], "short 3 forward")
    >>> curve.at(np.array([9, 132, 256])).tolist()
    [5.0, 152.5, nan]
    """
    groups: dict[float, list[float]] = {}
    for voltage, speed in pairs:
        groups.setdefault(voltage, []).append(speed)
    voltages = sorted(groups)
    medians = np.array([np.median(groups[one]) for one in voltages])
    counts = np.array([len(groups[one]) for one in voltages], dtype=float)
    curve = Curve(np.array(voltages, dtype=float), rising(medians, counts))
    moving = len(np.unique(curve.speeds[curve.speeds > 0]))
    if moving < 2:
        hint = "measure slow, middle and fast steps, or leave this direction out"
        raise FieldError(f"readings of {name}", "two steps or more of rising speed", moving, hint)
    return curve
