"""Acceleration and deceleration: CV 3, 4, 23, 24 and the seconds they mean (S-9.2.2).

The number of speed steps in the formula is the caller's choice: 14, 28, and 126 or 128 where 128
steps are used, since the text does not say which (V2).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

from dccwire.cv.values import CvValue, cv_value, within
from dccwire.errors import FieldError
from dccwire.fields import Flag
from dccwire.formats import Fields

__all__ = [
    "AccelerationAdjustment",
    "AccelerationRate",
    "DecelerationAdjustment",
    "DecelerationRate",
    "adjusted_rate",
    "seconds_per_step",
    "seconds_to_full_speed",
]

UNIT_MS = 896
"""A rate of 1 in milliseconds times the speed steps in use (S-9.2.2, CV 3)."""

_INCREMENTS = {14: 14, 28: 28, 126: 126, 128: 126}
"""Steps in the formula, and how many steps there are from stop to full speed."""


def seconds_per_step(rate: int, steps: int) -> float:
    """How long a decoder takes for a speed step: rate × 0.896 / steps, in seconds.

    Args:
        rate: CV 3 or 4, or `adjusted_rate`, 0 to 255; 0 is no delay.
        steps: the speed steps in use in the formula: 14, 28, 126 or 128 (V2).

    Raises:
        FieldError: an argument is out of bounds.

    >>> seconds_per_step(2, 28)
    0.064
    """
    return within("rate", rate, 0, 255) * UNIT_MS / _check_steps(steps) / 1000


def seconds_to_full_speed(rate: int, steps: int) -> float:
    """From stop to the highest step (14, 28 or 126 increments), in seconds; arguments as above.

    Raises:
        FieldError: an argument is out of bounds.

    >>> [seconds_to_full_speed(10, steps) for steps in (14, 28, 126, 128)]
    [8.96, 8.96, 8.96, 8.82]
    """
    return within("rate", rate, 0, 255) * UNIT_MS * _INCREMENTS[_check_steps(steps)] / steps / 1000


def _check_steps(steps: object) -> int:
    if type(steps) is not int or steps not in _INCREMENTS:
        raise FieldError("steps", "14, 28, 126 or 128", steps)
    return steps


@dataclass(frozen=True, eq=False, repr=False)
class _Rate(CvValue):
    """Base of the rates."""

    __slots__ = ()
    rate: int

    def in_words(self) -> str:
        """Seconds a step in 14 and 28 steps, and to full speed."""
        if not self.rate:
            return "no delay"
        steps = ", ".join(f"{seconds_per_step(self.rate, n):.3f} s at {n} steps" for n in (14, 28))
        return f"a step takes {steps}; full speed after {seconds_to_full_speed(self.rate, 28)} s"


@cv_value((3,), "RRRRRRRR", "S-9.2.2, CV 3", fields={"rate": "R"})
class AccelerationRate(_Rate):
    """CV 3: seconds for each speed step up are rate × 0.896 / speed steps in use; 0 is none.

    >>> AccelerationRate(2).in_words()
    'a step takes 0.128 s at 14 steps, 0.064 s at 28 steps; full speed after 1.792 s'
    """


@cv_value((4,), "RRRRRRRR", "S-9.2.2, CV 4", fields={"rate": "R"})
class DecelerationRate(_Rate):
    """CV 4: the same for each speed step down.

    >>> DecelerationRate(0).in_words()
    'no delay'
    """


_ADJUSTMENT: Fields = {
    "subtract": Flag("S", "subtracted from the rate", "added to the rate"),
    "amount": "A",
}


@dataclass(frozen=True, eq=False, repr=False)
class _Adjustment(CvValue):
    """Base of the adjustments."""

    __slots__ = ()
    subtract: bool
    amount: int

    @classmethod
    def by(cls, amount: int) -> Self:
        """The adjustment by an amount with its sign, -127 to 127.

        Raises:
            FieldError: the amount is out of bounds.
        """
        return cls(amount < 0, abs(within("amount", amount, -127, 127)))

    @property
    def signed(self) -> int:
        """The amount with its sign."""
        return -self.amount if self.subtract else self.amount

    def in_words(self) -> str:
        """What it does to the rate."""
        return f"{self.signed:+d} to the rate of CV {self.cvs[0] - 20}, kept within 0 to 255 (V3)"


@cv_value((23,), "SAAAAAAA", "S-9.2.2, CV 23", fields=_ADJUSTMENT)
class AccelerationAdjustment(_Adjustment):
    """CV 23: added to CV 3, or subtracted; the sum stays within 0 to 255 (V3).

    >>> AccelerationAdjustment.by(-5), AccelerationAdjustment.by(-5).to_cvs()
    (AccelerationAdjustment(subtract=True, amount=5), {23: 133})
    """


@cv_value((24,), "SAAAAAAA", "S-9.2.2, CV 24", fields=_ADJUSTMENT)
class DecelerationAdjustment(_Adjustment):
    """CV 24: the same for CV 4.

    >>> DecelerationAdjustment.from_cvs({24: 12}).signed
    12
    """


def adjusted_rate(
    rate: AccelerationRate | DecelerationRate,
    adjustment: AccelerationAdjustment | DecelerationAdjustment,
) -> int:
    """CV 3 with CV 23, or CV 4 with CV 24: the sum, kept within 0 to 255 (V3).

    Raises:
        FieldError: the adjustment is the other rate's.

    >>> adjusted_rate(AccelerationRate(2), AccelerationAdjustment.by(-5))
    0
    >>> adjusted_rate(DecelerationRate(200), DecelerationAdjustment.by(100))
    255
    """
    if adjustment.cvs[0] != rate.cvs[0] + 20:
        raise FieldError("adjustment", f"that of CV {rate.cvs[0] + 20}", adjustment)
    return min(max(rate.rate + adjustment.signed, 0), 255)
