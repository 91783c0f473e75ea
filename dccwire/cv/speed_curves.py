"""Which voltage a step of speed gets: three voltages, or a table (S-9.2.2, CV 2, 5, 6, 25, 66-95).

The table counts where CV 29 bit 4 is 1, with the trims of CV 66 and 95 (V5). Room: the curves and
how to work one out; how fast the motor follows stands in `motor`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Self

from dccwire.cv.kinds import Octets
from dccwire.cv.values import CvValue, cv_value, within
from dccwire.errors import FieldError

__all__ = [
    "ForwardTrim",
    "HighVoltage",
    "MidVoltage",
    "ReverseTrim",
    "SpeedTable",
    "SpeedTableChoice",
    "StartVoltage",
    "trimmed",
]


@dataclass(frozen=True, eq=False, repr=False)
class _Voltage(CvValue):
    __slots__ = ()
    voltage: int

    def in_words(self) -> str:
        if self.voltage <= 1 and self.cvs != (2,):
            return "not used in the curve"
        return f"{self.voltage / 255:.1%} of the full voltage"


@cv_value((2,), "VVVVVVVV", "S-9.2.2, CV 2")
class StartVoltage(_Voltage):
    """CV 2, V start: the motor voltage at speed step 1, 0 to 255 of full.

    >>> StartVoltage(51).in_words(), HighVoltage(1).in_words()
    ('20.0% of the full voltage', 'not used in the curve')
    """


@cv_value((5,), "VVVVVVVV", "S-9.2.2, CV 5")
class HighVoltage(_Voltage):
    """CV 5, V high: the motor voltage at full speed; 0 and 1 are not used in the curve."""


@cv_value((6,), "VVVVVVVV", "S-9.2.2, CV 6")
class MidVoltage(_Voltage):
    """CV 6, V mid: the motor voltage at the middle step (CV 25); 0 and 1 are not used."""


LINEAR = 2
"""The preset speed table that is linear (S-9.2.2, CV 25)."""


@cv_value((25,), "CCCCCCCC", "S-9.2.2, CV 25")
class SpeedTableChoice(CvValue):
    """CV 25: a preset speed table (2 to 127), or the step of V mid (128 to 154); 0, 1 are unused.

    >>> SpeedTableChoice(2).in_words(), SpeedTableChoice.mid_at(20).to_cvs()
    ('preset speed table 2, linear', {25: 148})
    """

    choice: int

    @classmethod
    def mid_at(cls, step: int) -> Self:
        """The value that puts V mid at a step, 1 to 26 of 28: step + 128 (V4)."""
        return cls(128 + within("step", step, 1, 26))

    @property
    def preset(self) -> int | None:
        """The number of the preset table, or None."""
        return self.choice if LINEAR <= self.choice <= 127 else None

    def mid_step(self, steps: int) -> int | None:
        """The step of V mid at 14 or 28 steps; None where the value names none (128 is open: V4).

        155 to 255 stand for the default, 14, or 7 at 14 steps; at 14 steps it is half, rounded
        down, but not below 1: step 0 is a stop (the text says halved; how a half is rounded it does
        not say: our choice).

        >>> SpeedTableChoice(148).mid_step(28), SpeedTableChoice(148).mid_step(14)
        (20, 10)
        """
        if steps not in (14, 28):
            raise FieldError("steps", "14 or 28", steps)
        if self.choice <= 128:
            return None
        step = self.choice - 128 if self.choice <= 154 else 14
        return step if steps == 28 else max(1, step // 2)

    def in_words(self) -> str:
        if self.preset:
            linear = ", linear" if self.preset == LINEAR else ""
            return f"preset speed table {self.preset}{linear}"
        if (step := self.mid_step(28)) is None:
            return "the meaning of 128 is open (V4)" if self.choice == 128 else "not used"
        return f"V mid at step {step} of 28{' (default)' if self.choice > 154 else ''}"


@dataclass(frozen=True, eq=False, repr=False)
class _Trim(CvValue):
    __slots__ = ()
    trim: int

    @property
    def factor(self) -> float | None:
        """What the voltage is multiplied by, trim / 128; None for 0: not implemented."""
        return self.trim / 128 if self.trim else None

    def in_words(self) -> str:
        return "not implemented" if self.factor is None else f"voltage x {self.factor:.3f}"


@cv_value((66,), "TTTTTTTT", "S-9.2.2, CV 66")
class ForwardTrim(_Trim):
    """CV 66: the factor for the forward direction is trim / 128; 0 is not implemented.

    >>> ForwardTrim(128).factor, ForwardTrim(64).in_words()
    (1.0, 'voltage x 0.500')
    """


@cv_value((95,), "TTTTTTTT", "S-9.2.2, CV 95")
class ReverseTrim(_Trim):
    """CV 95: the same for the reverse direction."""


POINTS = 28


@cv_value(
    range(67, 67 + POINTS),
    " ".join(["PPPPPPPP"] * POINTS),
    "S-9.2.2, CV 67-94",
    fields={"points": Octets("P", POINTS)},
)
class SpeedTable(CvValue):
    """CV 67 to 94: the motor voltage of each of 28 steps, 0 to 255; a quarter of full is 64 (V6).

    The standard asks for no order, so any 28 values can be held; what `linear` and `curve` work
    out never falls.

    >>> table = SpeedTable.linear(start=1, high=255)
    >>> table.points[0], table.points[-1], table.to_cvs()[67], table.falls
    (1, 255, 1, ())
    """

    points: tuple[int, ...]

    @classmethod
    def of(cls, points: Iterable[int]) -> Self:
        """The table of exactly 28 points that never fall; the error names the points that do.

        >>> SpeedTable.of([*range(26), 40, 38])
        Traceback (most recent call last):
        dccwire.errors.FieldError: point 28 (CV 94): 40 or more expected, 38 given; point 27 has it
        """
        table = cls(tuple(points))
        for point in table.falls:
            before, value = table.points[point - 2 : point]
            field, hint = f"point {point} (CV {66 + point})", f"point {point - 1} has it"
            raise FieldError(field, f"{before} or more", value, hint)
        return table

    @property
    def falls(self) -> tuple[int, ...]:
        """The points, 2 to 28, that lie below the one before."""
        pairs = enumerate(pairwise(self.points), start=2)
        return tuple(point for point, (before, value) in pairs if value < before)

    @classmethod
    def linear(
        cls, *, start: int, high: int, middle: int | None = None, middle_point: int = 14
    ) -> Self:
        """Straight from start to high, or by way of middle at a point, 2 to 27; it must not fall.

        >>> SpeedTable.linear(start=10, middle=36, high=255, middle_point=14).points[12:16]
        (34, 36, 52, 67)
        """
        corners = [(1, within("start", start, 0, 255)), (POINTS, within("high", high, 0, 255))]
        if middle is not None:
            at = within("middle_point", middle_point, 2, POINTS - 1)
            corners.insert(1, (at, within("middle", middle, 0, 255)))
        points = [start]
        for (left, low), (right, top) in pairwise(corners):
            width = right - left
            points += [_rounded(low + (top - low) * i / width) for i in range(1, width + 1)]
        return cls.of(points)

    @classmethod
    def curve(cls, *, start: int, middle: int, high: int, middle_point: int = 14) -> Self:
        """Shaped: start + (high - start) × x^g, where point i has x = (i - 1) / 27.

        g is chosen so that `middle_point`, 2 to 27, has the voltage `middle`, between the others.
        Common practice, no source: the standard leaves the shape between its three voltages to the
        decoder.

        >>> SpeedTable.curve(start=4, middle=64, high=255).points[::9]
        (4, 33, 117, 255)
        """
        low, top = within("start", start, 0, 255), within("high", high, 0, 255)
        if not low < within("middle", middle, 0, 255) < top:
            raise FieldError("middle", f"more than {low} and less than {top}", middle)
        x = (within("middle_point", middle_point, 2, POINTS - 1) - 1) / (POINTS - 1)
        power = math.log((middle - low) / (top - low)) / math.log(x)
        span = top - low
        return cls.of(_rounded(low + span * (i / (POINTS - 1)) ** power) for i in range(POINTS))

    def in_words(self) -> str:
        falls = f"; falls at point {', '.join(map(str, self.falls))}" if self.falls else ""
        return f"28 points from {self.points[0]} to {self.points[-1]}{falls}"


def trimmed(table: SpeedTable, factor: float | None) -> SpeedTable:
    """The voltages with a trim's `factor` (CV 66, 95), at most 255, rounded; the same with None.

    >>> trimmed(SpeedTable.linear(start=10, high=200), ForwardTrim(64).factor).points[-1]
    100
    """
    factor = 1.0 if factor is None else factor
    if not 0 <= factor < math.inf:
        raise FieldError("factor", "0 or more, and finite", factor)
    return SpeedTable(tuple(min(_rounded(point * factor), 255) for point in table.points))


def _rounded(number: float) -> int:
    """To the nearest integer, halves up."""
    return math.floor(number + 0.5)
