"""The speed table, CV 67 to 94: 28 motor voltages, and ways to work them out (S-9.2.2).

It counts where CV 29 bit 4 is 1, with the trims of CV 66 and 95 (V5).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import pairwise
from typing import Self

from dccwire.cv.kinds import Octets
from dccwire.cv.values import CvValue, cv_value, within
from dccwire.errors import FieldError

__all__ = ["SpeedTable", "trimmed"]

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
    >>> SpeedTable((0,) * 27)
    Traceback (most recent call last):
    dccwire.errors.FieldError: count of points: 28 expected, 27 given
    """

    points: tuple[int, ...]

    @classmethod
    def of(cls, points: Iterable[int]) -> Self:
        """The table of exactly 28 points that never fall.

        Raises:
            FieldError: another count, a point outside 0 to 255, or one below the point before it;
                the error names the points.

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
        """Straight from start to high, or from start to middle at a point and on to high.

        Args:
            start: the voltage of point 1.
            high: the voltage of point 28.
            middle: the voltage of `middle_point`, or None.
            middle_point: 2 to 27.

        Raises:
            FieldError: an argument is out of bounds, or the line would fall.

        >>> SpeedTable.linear(start=10, middle=36, high=255, middle_point=14).points[12:16]
        (34, 36, 52, 67)
        """
        corners = [(1, within("start", start, 0, 255)), (POINTS, within("high", high, 0, 255))]
        if middle is not None:
            place = (
                within("middle_point", middle_point, 2, POINTS - 1),
                within("middle", middle, 0, 255),
            )
            corners.insert(1, place)
        points = [start]
        for (left, low), (right, top) in pairwise(corners):
            width = right - left
            points += [_rounded(low + (top - low) * i / width) for i in range(1, width + 1)]
        return cls.of(points)

    @classmethod
    def curve(cls, *, start: int, middle: int, high: int, middle_point: int = 14) -> Self:
        """Shaped: start + (high - start) × x^g, where point i has x = (i - 1) / 27.

        g is chosen so that `middle_point`, 2 to 27, has the voltage `middle`. Common practice, no
        source: the standard leaves the shape between its three voltages to the decoder.

        Raises:
            FieldError: a voltage or the point is out of bounds, or not start < middle < high.

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
        """From where to where, and which points fall."""
        falls = f"; falls at point {', '.join(map(str, self.falls))}" if self.falls else ""
        return f"28 points from {self.points[0]} to {self.points[-1]}{falls}"


def trimmed(table: SpeedTable, factor: float) -> SpeedTable:
    """The voltages with a trim of CV 66 or 95 (factor value / 128), at most 255, rounded.

    Raises:
        FieldError: the factor is negative, infinite or no number.

    >>> trimmed(SpeedTable.linear(start=10, high=200), 64 / 128).points[-1]
    100
    """
    if not 0 <= factor < math.inf:
        raise FieldError("factor", "0 or more, and finite", factor)
    return SpeedTable(tuple(min(_rounded(point * factor), 255) for point in table.points))


def _rounded(number: float) -> int:
    """To the nearest integer, halves up."""
    return math.floor(number + 0.5)
