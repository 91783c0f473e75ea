"""The tables that make units run alike, and what is left of their difference.

How to choose them is common practice, no source: the least speed that all can hold at step 1, the
most of the slowest at step 28, a straight line between, or the mean shape that the units had. Room:
measurements in, tables and predicted speeds out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from statistics import median
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from dccwire.cv.speed_curves import POINTS, SpeedTable
from dccwire.decoder.state import Direction
from dccwire.errors import FieldError, member
from dccwire.matching.curves import Curve, curve_of
from dccwire.matching.readings import SCATTER, Measurements, Unit
from dccwire.matching.result import MatchedUnit, Matching, Run, Shape
from dccwire.matching.voltages import Floats, factor, has_table, trim_held, voltages_of

__all__ = ["match"]


class _Candidates(NamedTuple):
    """What a unit can be given: whole voltages within what was measured, and the speeds of each."""

    unit: Unit
    curves: dict[Direction, Curve]
    before: dict[Direction, Floats]
    trims: dict[Direction, int]
    points: NDArray[np.intp]
    speeds: dict[Direction, Floats]

    @property
    def mean(self) -> Floats:
        """The mean speed of both directions by candidate, which rises."""
        speeds: Floats = np.mean(list(self.speeds.values()), axis=0)
        return speeds


def match(measurements: Measurements, shape: Shape | str = Shape.STRAIGHT) -> Matching:
    """The tables and trims that bring all units as near to one another as whole voltages can.

    A unit's speed is taken as a function of the voltage, another in each direction, known only
    between the lowest voltage at which it was seen to move and the highest that was measured. Each
    point is the voltage, 0 to 255, whose speed is nearest to the target by squares over both
    directions. Where both were measured, the faster one gets a trim below 128 that brings it
    nearest to the other, up to the speed that all units reach.

    Raises:
        FieldError: too few readings of a unit, CVs that do not tell its voltages, or units with no
            range of speed in common.
    """
    shape = member(Shape, "shape", shape)
    every = [_candidates(unit) for unit in measurements.units]
    # Trims are to fit where all units run, and no faster than that.
    top = min(float(one.mean[-1]) for one in every)
    every = [_candidates(unit, top) for unit in measurements.units]
    fast = max(every, key=lambda one: one.mean[0])
    slow = min(every, key=lambda one: one.mean[-1])
    low, high = fast.mean[0], slow.mean[-1]
    if low >= high:
        bound = f"less than the {high:.1f} mm/s that {slow.unit.name} did at most"
        hint = f"measure {fast.unit.name} at slower steps"
        raise FieldError(f"least speed of {fast.unit.name}", bound, round(float(low), 1), hint)
    rise = np.linspace(0, 1, POINTS) if shape is Shape.STRAIGHT else _mean_shape(every)
    target = low + (high - low) * rise
    units = tuple(_matched(one, target) for one in every)
    speeds = _plain_speeds(target)
    return Matching(measurements.scale, shape, speeds, fast.unit.name, slow.unit.name, units)


def _candidates(unit: Unit, top: float = np.inf) -> _Candidates:
    try:
        voltages = voltages_of(unit)
    except FieldError as error:
        field = f"{unit.name}: {error.field}"
        raise FieldError(field, error.bound, error.value, error.hint) from None
    measured = [one for one in Direction if any(each.direction is one for each in unit.readings)]
    curves = {
        one: curve_of(
            (
                (float(voltages[one][each.step - 1]), each.mm_s)
                for each in unit.readings
                if each.direction is one
            ),
            f"{unit.name} {one.value}",
        )
        for one in measured
    }
    before = {one: curve.at(voltages[one]) for one, curve in curves.items()}
    trims = _trims(unit, curves, top)
    given = {one: np.arange(256, dtype=float) * factor(trims[one]) for one in curves}
    within = np.logical_and.reduce(
        [(curve.first <= given[one]) & (given[one] <= curve.last) for one, curve in curves.items()]
    )
    if not within.any():
        bound = "a whole voltage that both directions, or two steps, have in common"
        raise FieldError(
            f"readings of {unit.name}", bound, len(unit.readings), "measure more steps"
        )
    speeds = {one: curve.at(given[one][within]) for one, curve in curves.items()}
    return _Candidates(unit, curves, before, trims, np.flatnonzero(within), speeds)


def _trims(unit: Unit, curves: dict[Direction, Curve], top: float) -> dict[Direction, int]:
    """Those in force if one direction was measured, or a trim is not implemented; else the best.

    Where the table did not count, neither did they: then they are 128.
    """
    held = {one: trim_held(unit, one) for one in Direction}
    if 0 in held.values():
        return held
    if len(curves) < 2:
        return held if has_table(unit) else dict.fromkeys(Direction, 128)
    best, trims = np.inf, dict.fromkeys(Direction, 128)
    for faster, slower in (tuple(Direction), tuple(Direction)[::-1]):
        apart, trim = _trim(curves[faster], curves[slower], top)
        if apart < best:
            best, trims = apart, {faster: trim, slower: 128}
    return trims


def _trim(faster: Curve, slower: Curve, top: float) -> tuple[float, int]:
    """How far apart the two stay by squares with the best trim of the first, 1 to 128; and it."""
    least = max(one.at(np.array(one.first)) for one in (faster, slower))
    most = min(faster.speeds[-1], slower.speeds[-1])
    speeds = np.concatenate((faster.speeds, slower.speeds))
    if least < top < most:
        most, speeds = top, np.append(speeds, top)
    speeds = np.unique(speeds)
    common = speeds[(least <= speeds) & (speeds <= most)]
    trims = np.arange(128, 0, -1)
    given = np.outer(trims / 128, slower.voltages_for(common))
    reached = np.interp(given, faster.voltages, faster.speeds)
    apart = np.square(reached - common).sum(axis=1)
    at = int(np.argmin(apart))
    return float(apart[at]), int(trims[at])


def _mean_shape(every: Sequence[_Candidates]) -> Floats:
    """From 0 at step 1 to 1 at step 28: the mean of what the units had, each within its range."""
    shapes = []
    for one in every:
        voltages = voltages_of(one.unit)
        for direction, curve in one.curves.items():
            speeds = curve.at(np.clip(np.sort(voltages[direction]), curve.first, curve.last))
            shapes.append((speeds - speeds[0]) / (speeds[-1] - speeds[0]))
    mean: Floats = np.mean(shapes, axis=0)
    return mean


def _matched(one: _Candidates, target: Floats) -> MatchedUnit:
    # A step's best candidate never lies below that of the step before: the squares are a sum of a
    # term of the candidate and of -2 × target × its speeds, which rise with the candidate.
    apart = [np.square(np.subtract.outer(speeds, target)) for speeds in one.speeds.values()]
    chosen = np.argmin(np.sum(apart, axis=0), axis=0)
    runs = tuple(
        Run(direction, _known(one.before[direction]), _plain_speeds(speeds[chosen]))
        for direction, speeds in one.speeds.items()
    )
    table = SpeedTable.of(one.points[chosen].tolist())
    forward, reverse = (one.trims[each] for each in Direction)
    return MatchedUnit(one.unit, table, forward, reverse, runs, tuple(_falls(one)))


def _falls(one: _Candidates) -> Iterator[str]:
    """Steps whose readings lie far from what rises with the voltage, in words."""
    voltages, speeds = voltages_of(one.unit), defaultdict[tuple[Direction, int], list[float]](list)
    for each in one.unit.readings:
        speeds[each.direction, each.step].append(each.mm_s)
    for (direction, step), some in speeds.items():
        fitted = float(one.curves[direction].at(voltages[direction][step - 1 : step])[0])
        usual = median(some)
        if fitted and abs(fitted - usual) > SCATTER * max(fitted, usual):
            told = f"{usual:.1f} mm/s, though a lower step is faster or a higher one slower"
            yield f"{one.unit.name} {direction.value}, step {step}: {told}; measure again"


def _plain_speeds(speeds: Floats) -> tuple[float, ...]:
    return tuple(speeds.tolist())


def _known(speeds: Floats) -> tuple[float | None, ...]:
    return tuple(None if np.isnan(each) else each for each in speeds.tolist())
