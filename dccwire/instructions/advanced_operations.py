"""Advanced operations, CCC = 001 (S-9.2.1 §C)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar, Self

from dccwire.errors import FieldError
from dccwire.fields import FieldKind, Flag, Number
from dccwire.formats import Instruction, Provenance, instruction, reserved
from dccwire.instructions.speed_and_direction import (
    EMERGENCY,
    code_of_step,
    direction,
    step_of_code,
)

__all__ = ["AnalogFunctionGroup", "RestrictedSpeedStep", "SpeedStepControl128"]

VOLUME = 1
"""The only analog output that the 2012 edition defines (S-9.2.1 §C, Analog Function Group)."""


@instruction(
    "00111111 DSSSSSSS",
    "S-9.2.1 §C, 128 Speed Step Control",
    fields={"forward": Flag("D"), "speed": "S"},
)
class SpeedStepControl128(Instruction):
    """128 speed step control as sent: 0 stop, 1 emergency stop, 2 to 127 for steps 1 to 126.

    The text prints the stops and the number of steps; that 2 is step 1 and 127 step 126 is derived.

    >>> SpeedStepControl128.at(step=126, forward=True)
    SpeedStepControl128(forward=True, speed=127)
    """

    forward: bool
    speed: int

    named_ways: ClassVar[tuple[Mapping[str, FieldKind], ...]] = (
        {"step": Number(), "forward": Flag()},
    )

    @classmethod
    def at(cls, *, step: int, forward: bool) -> Self:
        """A step 1 to 126, or 0 for stop.

        Raises:
            FieldError: the step is outside its bounds.
        """
        if type(step) is not int or not 0 <= step <= 126:
            raise FieldError("step", "0 to 126", step)
        return cls(forward, step + 1 if step else 0)

    @classmethod
    def stop(cls, *, forward: bool) -> Self:
        """Stop; either direction is acceptable (X17)."""
        return cls(forward, 0)

    @classmethod
    def emergency_stop(cls, *, forward: bool) -> Self:
        """Emergency stop; either direction is acceptable (X17)."""
        return cls(forward, EMERGENCY)

    def in_words(self) -> str:
        """The step of 126."""
        if self.is_emergency_stop:
            return "emergency stop"
        return f"step {self.step} of 126" if self.step else "stop"

    def phrase(self) -> str:
        """The step and the direction, or the kind of stop."""
        return self.in_words() + ("" if self.is_stop else direction(self.forward))

    @property
    def step(self) -> int:
        """The step, 1 to 126; 0 for stop and for emergency stop."""
        return max(self.speed - 1, 0)

    @property
    def is_stop(self) -> bool:
        """Whether this is a stop, of either kind."""
        return self.speed <= EMERGENCY

    @property
    def is_emergency_stop(self) -> bool:
        """Whether this is an emergency stop."""
        return self.speed == EMERGENCY


@instruction(
    "00111110 E00CSSSS",
    "S-9.2.1 §C, Restricted Speed Step",
    provenance=Provenance.DERIVED,
    fields={"enabled": Flag("E", on=0, off=1), "c": "C", "speed": "S"},
)
class RestrictedSpeedStep(Instruction):
    """Limit the speed; bit 7 is sent as 0 to enable (X16), the limit as a speed code (X15).

    That bits 6 and 5 are 0 is derived: the text leaves six bits for a code of five.

    >>> limit = RestrictedSpeedStep.at(step=12, steps=28, enabled=True)
    >>> bytes(limit).hex(" "), limit.step(28)
    ('3e 17', 12)
    """

    enabled: bool
    c: int
    speed: int

    named_ways: ClassVar[tuple[Mapping[str, FieldKind], ...]] = (
        {"step": Number(), "steps": Number(), "enabled": Flag()},
    )

    @classmethod
    def at(cls, *, step: int, steps: int, enabled: bool) -> Self:
        """A limit of 14 or 28 steps (at 128 steps the decoder scales one of 28: footnote 2).

        Raises:
            FieldError: the step or the number of steps is outside its bounds.
        """
        return cls(enabled, *code_of_step(step, steps, False if steps == 14 else None))

    def in_words(self) -> str:
        """Both readings."""
        if self.speed <= EMERGENCY:
            return "no step: the code of a stop"
        return f"28 steps: step {self.step(28)}; 14 steps: step {self.step(14)}"

    def phrase(self) -> str:
        """Both readings of a limit, or that there is none."""
        if not self.enabled:
            return "no limit"
        return f"at most step {self.step(28)} of 28 or {self.step(14)} of 14"

    def step(self, steps: int) -> int:
        """The limit in the reading asked for."""
        return step_of_code(self.c, self.speed, steps)


@instruction(
    "00111101 VVVVVVVV DDDDDDDD",
    "S-9.2.1 §C, Analog Function Group",
    fields={"output": Number("V", legal=(VOLUME,)), "value": "D"},
)
class AnalogFunctionGroup(Instruction):
    """Set an analog output, 0 to 255; output 1 is the volume, the others are reserved (X19)."""

    output: int
    value: int


reserved("001CCCCC", "00111101 VVVVVVVV", clause="S-9.2.1 §C, Advanced Operations")
