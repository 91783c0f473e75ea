"""Motors that a test knows, the readings they give, and a second computation of what is best."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import pairwise

from dccwire.address import ShortAddress
from dccwire.matching import Measurements, Reading, Unit

Motor = Callable[[float], float]
"""Speed in mm/s by voltage, 0 to 255."""

LINEAR = (
    *(9, 18, 27, 36, 46, 55, 64, 73, 82, 91, 100, 109, 118, 128),
    *(137, 146, 155, 164, 173, 182, 191, 200, 209, 219, 228, 237, 246, 255),
)
"""255 × step / 28 to the nearest whole number, worked out by hand."""

FORWARD, REVERSE = "forward", "reverse"


def readings(
    motor: Motor,
    direction: str = FORWARD,
    steps: Iterable[int] = range(1, 29),
    voltages: Iterable[float] = LINEAR,
) -> tuple[Reading, ...]:
    """What is read at steps, each of which gets its voltage."""
    by_step = dict(enumerate(voltages, 1))
    return tuple(Reading(step, direction, motor(by_step[step])) for step in steps)


def unit(number: int, forward: Motor | None, reverse: Motor | None = None, **held) -> Unit:
    """A unit at a short address, measured at all steps in the directions that have a motor."""
    found = []
    for direction, motor in ((FORWARD, forward), (REVERSE, reverse)):
        if motor is not None:
            found += readings(motor, direction)
    return Unit(ShortAddress(number), tuple(found), **held)


def pair(first: Motor, second: Motor) -> Measurements:
    """Two units that were measured forward, at 1:87."""
    return Measurements(87, (unit(3, first), unit(5, second)))


def straight(low: float, high: float) -> list[float]:
    """28 speeds on a straight line."""
    return [low + (high - low) * step / 27 for step in range(28)]


def nearest(motor: Motor, target: float, voltages: Iterable[int]) -> int:
    """The lowest voltage whose speed is nearest to the target, by looking at all of them."""
    return min(voltages, key=lambda voltage: abs(motor(voltage) - target))


def between(corners: Iterable[tuple[float, float]]) -> Motor:
    """A motor that is straight between corners of voltage and speed."""
    points = sorted(corners)

    def motor(voltage: float) -> float:
        for (left, low), (right, high) in pairwise(points):
            if left <= voltage <= right:
                return low + (high - low) * (voltage - left) / (right - left)
        raise AssertionError(voltage)

    return motor
