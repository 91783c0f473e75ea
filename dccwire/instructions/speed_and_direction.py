"""Speed and direction, CCC = 010 and 011, in both readings, and the broadcast stop.

A packet does not say whether its decoder runs 14 or 28 steps, so the value keeps the bits as sent;
steps are asked for by name. Sources: S-9.2 §B (28-step table, the same in NEM 671 table 1) and
S-9.2.1 §C (14 steps).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar, Self

from dccwire.address import Partition
from dccwire.errors import FieldError
from dccwire.fields import FieldKind, Flag, Number
from dccwire.formats import Instruction, NamedReading, instruction

__all__ = ["BroadcastStop", "SpeedAndDirection"]

EMERGENCY = 1
"""The speed bits SSSS of an emergency stop, in both readings; 0 is stop."""


def code_of_step(step: int, steps: int, headlight: bool | None = None) -> tuple[int, int]:
    """The bits C and SSSS of a step; step 0 is stop.

    28 steps: SSSSC = step + 3 (C5). 14 steps: SSSS = step + 1, C is the headlight FL (X18).

    Raises:
        FieldError: the step or the number of steps is outside its bounds, or a headlight is given
            where C is a speed bit.

    >>> code_of_step(6, 28), code_of_step(6, 14, headlight=True)
    ((1, 4), (1, 7))
    """
    _check_steps(steps)
    if type(step) is not int or not 0 <= step <= steps:
        raise FieldError("step", f"0 to {steps}", step)
    if steps == 14:
        if type(headlight) is not bool:
            raise FieldError("headlight", "True or False at 14 steps", headlight)
        return int(headlight), step + 1 if step else 0
    if headlight is not None:
        raise FieldError("headlight", "None at 28 steps", headlight, "there C is a speed bit")
    return (step + 3 & 1, step + 3 >> 1) if step else (0, 0)


def direction(forward: bool) -> str:
    """The direction as the end of a phrase."""
    return ", forward" if forward else ", reverse"


def _check_steps(steps: int) -> None:
    if type(steps) is not int or steps not in (14, 28):
        raise FieldError("steps", "14 or 28", steps)


def step_of_code(c: int, speed: int, steps: int) -> int:
    """The step that C and SSSS stand for; 0 for stop and for emergency stop.

    Raises:
        FieldError: the number of steps is neither 14 nor 28.

    >>> step_of_code(1, 4, 28), step_of_code(1, 4, 14)
    (6, 3)
    """
    _check_steps(steps)
    if speed <= EMERGENCY:
        return 0
    return speed - 1 if steps == 14 else (speed << 1 | c) - 3


@instruction(
    "01DCSSSS",
    "S-9.2.1 §C, Speed and Direction",
    fields={"forward": Flag("D"), "c": "C", "speed": "S"},
)
class SpeedAndDirection(Instruction):
    """Speed and direction as sent: D, C and SSSS.

    By bit 1 of the decoder's CV 29, C is the lowest speed bit (28 steps) or the headlight (14).

    >>> run = SpeedAndDirection.at(step=6, steps=28, forward=True)
    >>> run, bytes(run).hex()
    (SpeedAndDirection(forward=True, c=1, speed=4), '74')
    >>> run.step(28), run.step(14), run.headlight
    (6, 3, True)
    """

    forward: bool
    c: int
    speed: int

    named_ways: ClassVar[tuple[Mapping[str, FieldKind], ...]] = (
        {"step": Number(), "steps": Number(), "forward": Flag()},
        {"step": Number(), "steps": Number(), "forward": Flag(), "headlight": Flag()},
    )

    @classmethod
    def at(cls, *, step: int, steps: int, forward: bool, headlight: bool | None = None) -> Self:
        """A step of 14 or 28; at 14 steps the headlight must be given, as it shares the byte.

        Raises:
            FieldError: as `code_of_step`.
        """
        return cls(forward, *code_of_step(step, steps, headlight))

    @classmethod
    def stop(cls, *, forward: bool, c: int = 0) -> Self:
        """Stop; C = 1 says that the direction may be ignored (C6)."""
        return cls(forward, c, 0)

    @classmethod
    def emergency_stop(cls, *, forward: bool, c: int = 0) -> Self:
        """Emergency stop; C = 1 says that the direction may be ignored (C6)."""
        return cls(forward, c, EMERGENCY)

    def in_words(self) -> str:
        """Both readings.

        >>> SpeedAndDirection.at(step=6, steps=28, forward=True).in_words()
        '28 steps: step 6; 14 steps: step 3, headlight on'
        """
        headlight = "on" if self.headlight else "off"
        if self.is_stop:
            stop = "emergency stop" if self.is_emergency_stop else "stop"
            return f"{stop}; 14 steps: headlight {headlight}"
        steps = f"28 steps: step {self.step(28)}; 14 steps: step {self.step(14)}"
        return f"{steps}, headlight {headlight}"

    def phrase(self) -> str:
        """Both readings and the direction, or the kind of stop.

        >>> SpeedAndDirection.at(step=6, steps=28, forward=True).phrase()
        'step 6 of 28 or 3 of 14, forward'
        """
        if self.is_stop:
            return "emergency stop" if self.is_emergency_stop else "stop"
        return f"step {self.step(28)} of 28 or {self.step(14)} of 14{direction(self.forward)}"

    def step(self, steps: int) -> int:
        """The step in the reading asked for; 0 for stop and for emergency stop."""
        return step_of_code(self.c, self.speed, steps)

    @property
    def headlight(self) -> bool:
        """C in the reading of 14 steps: FL on."""
        return self.c == 1

    @property
    def is_stop(self) -> bool:
        """Whether this is a stop, of either kind."""
        return self.speed <= EMERGENCY

    @property
    def is_emergency_stop(self) -> bool:
        """Whether this is an emergency stop."""
        return self.speed == EMERGENCY


@instruction(
    "01DC000S",
    "S-9.2 §B, Broadcast Stop",
    partitions=frozenset({Partition.BROADCAST}),
    reading="broadcast stop",
    fields={"forward": Flag("D"), "ignore_direction": Flag("C"), "cut_power": Flag("S")},
)
class BroadcastStop(NamedReading):
    """Stop all locomotives, or cut the power to their motors: a reading of `SpeedAndDirection`.

    `ignore_direction` (C = 1): directional functions may ignore D. No packet is a safety device.

    >>> bytes(BroadcastStop(forward=True, ignore_direction=True, cut_power=False)).hex()
    '70'
    """

    forward: bool
    ignore_direction: bool
    cut_power: bool
