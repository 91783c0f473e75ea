"""The motor: CV 2, 5, 6, 9, 10, 11, 25, 65, 66, 95 (S-9.2.2); the table itself is beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

from dccwire.cv.values import CvValue, cv_value, within
from dccwire.errors import FieldError

__all__ = [
    "EmfFeedbackCutout",
    "ForwardTrim",
    "HighVoltage",
    "KickStart",
    "MidVoltage",
    "PacketTimeOut",
    "PwmPeriod",
    "ReverseTrim",
    "SpeedTableChoice",
    "StartVoltage",
]


@dataclass(frozen=True, eq=False, repr=False)
class _Voltage(CvValue):
    """Base of the three voltages."""

    __slots__ = ()
    voltage: int

    def in_words(self) -> str:
        """The share of the full voltage; 0 and 1 in CV 5 and 6 are not used in the curve."""
        if self.voltage <= 1 and self.cvs != (2,):
            return "not used in the curve"
        return f"{self.voltage / 255:.1%} of the full voltage"


@cv_value((2,), "VVVVVVVV", "S-9.2.2, CV 2", fields={"voltage": "V"})
class StartVoltage(_Voltage):
    """CV 2, V start: the motor voltage at speed step 1, 0 to 255 of full.

    >>> StartVoltage(51).in_words()
    '20.0% of the full voltage'
    """


@cv_value((5,), "VVVVVVVV", "S-9.2.2, CV 5", fields={"voltage": "V"})
class HighVoltage(_Voltage):
    """CV 5, V high: the motor voltage at full speed; 0 and 1 are not used in the curve.

    >>> HighVoltage(1).in_words()
    'not used in the curve'
    """


@cv_value((6,), "VVVVVVVV", "S-9.2.2, CV 6", fields={"voltage": "V"})
class MidVoltage(_Voltage):
    """CV 6, V mid: the motor voltage at the middle step (CV 25); 0 and 1 are not used.

    >>> MidVoltage(128).to_cvs()
    {6: 128}
    """


@cv_value((9,), "EEEMMMMM", "S-9.2.2, CV 9", fields={"exponent": "E", "mantissa": "M"})
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

        >>> PwmPeriod.of(286).to_cvs()
        {9: 35}
        >>> PwmPeriod.of(200)
        Traceback (most recent call last):
        dccwire.errors.FieldError: period_us: 199 or 203 expected, 200 given
        """
        all_of_them = [cls(exponent, mantissa) for exponent in range(8) for mantissa in range(32)]
        for one in all_of_them:
            if one.period_us == period_us:
                return one
        below = max((o.period_us for o in all_of_them if o.period_us < period_us), default=None)
        above = min((o.period_us for o in all_of_them if o.period_us > period_us), default=None)
        near = " or ".join(str(one) for one in (below, above) if one is not None)
        raise FieldError("period_us", near, period_us)

    def in_words(self) -> str:
        """Period and frequency."""
        return f"period {self.period_us} us, {1e6 / self.period_us:.0f} Hz"


@cv_value((10,), "SSSSSSSS", "S-9.2.2, CV 10", fields={"step": "S"})
class EmfFeedbackCutout(CvValue):
    """CV 10: the speed step, 1 to 128, above which EMF feedback is cut; as it stands (V16).

    At 14 and 28 steps the least significant bits are dropped.

    >>> EmfFeedbackCutout(200).in_words()
    'outside the speed steps 1 to 128 of the text'
    """

    step: int

    def in_words(self) -> str:
        """Where feedback is cut."""
        if 1 <= self.step <= 128:
            return f"no feedback above step {self.step} of 128"
        return "outside the speed steps 1 to 128 of the text"


@cv_value((11,), "TTTTTTTT", "S-9.2.2, CV 11", fields={"time_out": "T"})
class PacketTimeOut(CvValue):
    """CV 11: how long speed is kept without a valid packet; the standard gives no unit.

    >>> PacketTimeOut(20).seconds(unit_s=0.5)
    10.0
    """

    time_out: int

    def seconds(self, *, unit_s: float) -> float:
        """The time, with the seconds that the decoder's maker gives for a unit."""
        return self.time_out * unit_s

    def in_words(self) -> str:
        """The unit."""
        return "in units that the decoder's maker gives"


LINEAR = 2
"""The preset speed table that is linear (S-9.2.2, CV 25)."""


@cv_value((25,), "CCCCCCCC", "S-9.2.2, CV 25", fields={"choice": "C"})
class SpeedTableChoice(CvValue):
    """CV 25: a preset speed table (2 to 127), or the step of V mid (128 to 154); 0, 1 are unused.

    >>> SpeedTableChoice(2).in_words(), SpeedTableChoice.mid_at(20).to_cvs()
    ('preset speed table 2, linear', {25: 148})
    >>> SpeedTableChoice(148).mid_step(28), SpeedTableChoice(148).mid_step(14)
    (20, 10)
    """

    choice: int

    @classmethod
    def mid_at(cls, step: int) -> Self:
        """The value that puts V mid at a step, 1 to 26 of 28: step + 128 (V4).

        Raises:
            FieldError: the step is out of bounds.
        """
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

        Raises:
            FieldError: the number of steps is neither 14 nor 28.

        >>> SpeedTableChoice(255).mid_step(28), SpeedTableChoice(255).mid_step(14)
        (14, 7)
        """
        if steps not in (14, 28):
            raise FieldError("steps", "14 or 28", steps)
        if self.choice <= 128:
            return None
        step = self.choice - 128 if self.choice <= 154 else 14
        return step if steps == 28 else max(1, step // 2)

    def in_words(self) -> str:
        """Which table, or where V mid stands."""
        if self.preset:
            linear = ", linear" if self.preset == LINEAR else ""
            return f"preset speed table {self.preset}{linear}"
        if (step := self.mid_step(28)) is None:
            return "the meaning of 128 is open (V4)" if self.choice == 128 else "not used"
        return f"V mid at step {step} of 28{' (default)' if self.choice > 154 else ''}"


@cv_value((65,), "KKKKKKKK", "S-9.2.2, CV 65", fields={"kick": "K"})
class KickStart(CvValue):
    """CV 65: the extra kick when the motor starts.

    >>> KickStart(40).to_cvs()
    {65: 40}
    """

    kick: int


@dataclass(frozen=True, eq=False, repr=False)
class _Trim(CvValue):
    """Base of the trims."""

    __slots__ = ()
    trim: int

    @property
    def factor(self) -> float | None:
        """What the voltage is multiplied by, trim / 128; None for 0: not implemented."""
        return self.trim / 128 if self.trim else None

    def in_words(self) -> str:
        """The factor."""
        return "not implemented" if self.factor is None else f"voltage x {self.factor:.3f}"


@cv_value((66,), "TTTTTTTT", "S-9.2.2, CV 66", fields={"trim": "T"})
class ForwardTrim(_Trim):
    """CV 66: the factor for the forward direction is trim / 128; 0 is not implemented.

    >>> ForwardTrim(128).factor, ForwardTrim(64).in_words()
    (1.0, 'voltage x 0.500')
    """


@cv_value((95,), "TTTTTTTT", "S-9.2.2, CV 95", fields={"trim": "T"})
class ReverseTrim(_Trim):
    """CV 95: the same for the reverse direction.

    >>> ReverseTrim(0).factor is None
    True
    """
