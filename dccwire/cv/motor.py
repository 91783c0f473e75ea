"""How the motor is driven: momentum, pulses, feedback, kick (S-9.2.2, CV 3, 4, 9-11, 23, 24, 65).

The number of speed steps in the formula of momentum is the caller's choice: 14, 28, and 126 or 128
where 128 steps are used, since the text does not say which (V2). Room: values and what follows from
them; which voltage a step gets stands in `speed_curves`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

from dccwire.cv.values import CvValue, cv_value, within
from dccwire.errors import FieldError
from dccwire.fields import Flag
from dccwire.formats import Fields
from dccwire.wording import either

__all__ = [
    "AccelerationAdjustment",
    "AccelerationRate",
    "DecelerationAdjustment",
    "DecelerationRate",
    "EmfFeedbackCutout",
    "KickStart",
    "PacketTimeOut",
    "PwmPeriod",
    "adjusted_rate",
    "seconds_per_step",
    "seconds_to_full_speed",
]

UNIT_MS = 896
"""A rate of 1 in milliseconds times the speed steps in use (S-9.2.2, CV 3)."""


def seconds_per_step(rate: int, steps: int) -> float:
    """How long a decoder takes for a speed step: rate × 0.896 / steps, in seconds.

    Args:
        rate: CV 3 or 4, or `adjusted_rate`, 0 to 255; 0 is no delay.
        steps: the speed steps in use in the formula: 14, 28, 126 or 128 (V2).

    >>> seconds_per_step(2, 28)
    0.064
    """
    return within("rate", rate, 0, 255) * UNIT_MS / _check_steps(steps) / 1000


def seconds_to_full_speed(rate: int, steps: int) -> float:
    """From stop to the highest step (14, 28 or 126 increments), in seconds; arguments as above.

    >>> [seconds_to_full_speed(10, steps) for steps in (14, 28, 126, 128)]
    [8.96, 8.96, 8.96, 8.82]
    """
    return within("rate", rate, 0, 255) * UNIT_MS * min(_check_steps(steps), 126) / steps / 1000


def _check_steps(steps: object) -> int:
    if type(steps) is not int or steps not in (14, 28, 126, 128):
        raise FieldError("steps", "14, 28, 126 or 128", steps)
    return steps


@dataclass(frozen=True, eq=False, repr=False)
class _Rate(CvValue):
    __slots__ = ()
    rate: int

    def in_words(self) -> str:
        if not self.rate:
            return "no delay"
        steps = ", ".join(f"{seconds_per_step(self.rate, n):.3f} s at {n} steps" for n in (14, 28))
        whole = "full speed" if self.cvs == (3,) else "from full speed to a stop"
        return f"a step takes {steps}; {whole} after {seconds_to_full_speed(self.rate, 28)} s"


@cv_value((3,), "RRRRRRRR", "S-9.2.2, CV 3")
class AccelerationRate(_Rate):
    """CV 3: seconds for each speed step up are rate × 0.896 / speed steps in use; 0 is none.

    >>> AccelerationRate(2).in_words()
    'a step takes 0.128 s at 14 steps, 0.064 s at 28 steps; full speed after 1.792 s'
    """


@cv_value((4,), "RRRRRRRR", "S-9.2.2, CV 4")
class DecelerationRate(_Rate):
    """CV 4: the same for each speed step down."""


_SIGN: Fields = {"subtract": Flag("S", "subtracted from the rate", "added to the rate")}


@dataclass(frozen=True, eq=False, repr=False)
class _Adjustment(CvValue):
    __slots__ = ()
    subtract: bool
    amount: int

    @classmethod
    def by(cls, amount: int) -> Self:
        """The adjustment by an amount with its sign, -127 to 127."""
        return cls(amount < 0, abs(within("amount", amount, -127, 127)))

    @property
    def signed(self) -> int:
        """The amount with its sign."""
        return -self.amount if self.subtract else self.amount

    def in_words(self) -> str:
        return f"{self.signed:+d} to the rate of CV {self.cvs[0] - 20}, kept within 0 to 255 (V3)"


@cv_value((23,), "SAAAAAAA", "S-9.2.2, CV 23", fields=_SIGN)
class AccelerationAdjustment(_Adjustment):
    """CV 23: added to CV 3, or subtracted; the sum stays within 0 to 255 (V3).

    >>> AccelerationAdjustment.by(-5), AccelerationAdjustment.by(-5).to_cvs()
    (AccelerationAdjustment(subtract=True, amount=5), {23: 133})
    """


@cv_value((24,), "SAAAAAAA", "S-9.2.2, CV 24", fields=_SIGN)
class DecelerationAdjustment(_Adjustment):
    """CV 24: the same for CV 4."""


def adjusted_rate(
    rate: AccelerationRate | DecelerationRate,
    adjustment: AccelerationAdjustment | DecelerationAdjustment,
) -> int:
    """CV 3 with CV 23, or CV 4 with CV 24, no other pair: the sum, kept within 0 to 255 (V3).

    >>> adjusted_rate(DecelerationRate(200), DecelerationAdjustment.by(100))
    255
    """
    if adjustment.cvs[0] != rate.cvs[0] + 20:
        raise FieldError("adjustment", f"that of CV {rate.cvs[0] + 20}", adjustment)
    return min(max(rate.rate + adjustment.signed, 0), 255)


@cv_value((9,), "EEEMMMMM", "S-9.2.2, CV 9")
class PwmPeriod(CvValue):
    """CV 9: total PWM period in µs = (131 + mantissa × 4) × 2^exponent (V1; a recommended formula).

    >>> PwmPeriod(exponent=1, mantissa=3).period_us
    286
    """

    exponent: int
    mantissa: int

    @property
    def period_us(self) -> int:
        """The period in µs, 131 to 32640."""
        return (131 + self.mantissa * 4) << self.exponent

    @classmethod
    def of(cls, period_us: int) -> Self:
        """The value with exactly this period in µs; of several, that of the lowest exponent.

        Raises:
            FieldError: no value has this period; the bound names the nearest below and above.

        >>> PwmPeriod.of(200)
        Traceback (most recent call last):
        dccwire.errors.FieldError: period_us: 199 or 203 expected, 200 given
        """
        all_of_them = [cls(exponent, mantissa) for exponent in range(8) for mantissa in range(32)]
        for one in all_of_them:
            if one.period_us == period_us:
                return one
        below = [one.period_us for one in all_of_them if one.period_us < period_us]
        above = [one.period_us for one in all_of_them if one.period_us > period_us]
        raise FieldError("period_us", either(sorted(below)[-1:] + sorted(above)[:1]), period_us)

    def in_words(self) -> str:
        return f"period {self.period_us} us, {1e6 / self.period_us:.0f} Hz"


@cv_value((10,), "SSSSSSSS", "S-9.2.2, CV 10")
class EmfFeedbackCutout(CvValue):
    """CV 10: the speed step, 1 to 128, above which EMF feedback is cut; as it stands (V16).

    At 14 and 28 steps the least significant bits are dropped.

    >>> EmfFeedbackCutout(200).in_words()
    'outside the speed steps 1 to 128 of the text'
    """

    step: int

    def in_words(self) -> str:
        if 1 <= self.step <= 128:
            return f"no feedback above step {self.step} of 128, of which 126 exist (V16)"
        return "outside the speed steps 1 to 128 of the text"


@cv_value((11,), "TTTTTTTT", "S-9.2.2, CV 11")
class PacketTimeOut(CvValue):
    """CV 11: the time that a speed lasts when no more packets come; the standard gives no unit.

    >>> PacketTimeOut(20).seconds(unit_s=0.5)
    10.0
    """

    time_out: int

    def seconds(self, *, unit_s: float) -> float:
        """The time, with the seconds that the decoder's maker gives for a unit."""
        return self.time_out * unit_s

    def in_words(self) -> str:
        return "in units that the decoder's maker gives"


@cv_value((65,), "KKKKKKKK", "S-9.2.2, CV 65")
class KickStart(CvValue):
    """CV 65: the extra kick when the motor starts."""

    kick: int
