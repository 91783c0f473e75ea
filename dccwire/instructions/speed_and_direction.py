"""Speeds: advanced operations, CCC = 001, speed and direction, CCC = 010 and 011 (S-9.2.1 §C).

A packet does not say whether its decoder runs 14 or 28 steps, so a value keeps the bits as sent;
steps are asked for by name. Sources: S-9.2 §B (28-step table, the same in NEM 671 table 1) and
S-9.2.1 §C (14 steps).
"""

from typing import Self

from dccwire.address import BROADCAST, Address, Partition
from dccwire.errors import FieldError
from dccwire.fields import Flag, Number
from dccwire.formats import Instruction, NamedReading, Provenance, instruction, reserved

__all__ = [
    "AnalogFunctionGroup",
    "BroadcastStop",
    "RestrictedSpeedStep",
    "SpeedAndDirection",
    "SpeedStepControl128",
]

STEPS = (14, 28, 128)
"""How many speed steps there may be (S-9.2 §B; S-9.2.1 §C)."""

EMERGENCY = 1
"""The speed code of an emergency stop, in all readings; 0 is stop."""

VOLUME = 1
"""The only analog output that the 2012 edition defines (S-9.2.1 §C, Analog Function Group)."""


STEPS = (14, 28, 128)
"""How many speed steps there may be (S-9.2 §B; S-9.2.1 §C)."""


def code_of_step(step: int, steps: int, headlight: bool | None = None) -> tuple[int, int]:
    """The bits C and SSSS of a step; step 0 is stop.

    28 steps: SSSSC = step + 3 (C5). 14 steps: SSSS = step + 1, C is the headlight FL (X18).
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


def _check_steps(steps: int) -> None:
    if type(steps) is not int or steps not in (14, 28):
        raise FieldError("steps", "14 or 28", steps, "SpeedStepControl128 has 126")


def step_of_code(c: int, speed: int, steps: int) -> int:
    """The step that C and SSSS stand for; 0 for stop and for emergency stop."""
    _check_steps(steps)
    if speed <= EMERGENCY:
        return 0
    return speed - 1 if steps == 14 else (speed << 1 | c) - 3


class _Speed(Instruction):
    """Base of the instructions to run or to stop."""

    __slots__ = ()
    forward: bool
    speed: int

    @property
    def is_stop(self) -> bool:
        """Whether this is a stop, of either kind."""
        return self.speed <= EMERGENCY

    @property
    def is_emergency_stop(self) -> bool:
        """Whether this is an emergency stop."""
        return self.speed == EMERGENCY

    def _stop(self) -> str:
        return "emergency stop" if self.is_emergency_stop else "stop"

    def _run(self, step: str) -> str:
        direction = "forward" if self.forward else "reverse"
        return self._stop() if self.is_stop else f"{step}, {direction}"


_STEP = {"step": Number(), "steps": Number(), "forward": Flag()}


@instruction(
    "01DCSSSS",
    "S-9.2.1 §C, Speed and Direction",
    fields={"forward": Flag("D"), "c": "C", "speed": "S"},
)
class SpeedAndDirection(_Speed):
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

    named_ways = (_STEP, _STEP | {"headlight": Flag()})

    @classmethod
    def at(cls, *, step: int, steps: int, forward: bool, headlight: bool | None = None) -> Self:
        """A step of 14 or 28; at 14 steps the headlight must be given, as it shares the byte."""
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
        headlight = "on" if self.headlight else "off"
        if self.is_stop:
            return f"{self._stop()}; 14 steps: headlight {headlight}"
        steps = f"28 steps: step {self.step(28)}; 14 steps: step {self.step(14)}"
        return f"{steps}, headlight {headlight}"

    def in_words_to(self, address: Address) -> str:
        """To all, C of a stop is no headlight: 1 says that the direction may be ignored (C6)."""
        if address == BROADCAST and self.is_stop:
            return self._stop() + "; the direction may be ignored (C6)" * self.c
        return self.in_words()

    def phrase(self) -> str:
        """Both readings and the direction, or the kind of stop.

        >>> SpeedAndDirection.at(step=6, steps=28, forward=True).phrase()
        'step 6 of 28 or 3 of 14, forward'
        """
        return self._run(f"step {self.step(28)} of 28 or {self.step(14)} of 14")

    def step(self, steps: int) -> int:
        """The step in the reading asked for; 0 for stop and for emergency stop."""
        return step_of_code(self.c, self.speed, steps)

    @property
    def headlight(self) -> bool:
        """C in the reading of 14 steps: FL on."""
        return self.c == 1


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


@instruction(
    "00111111 DSSSSSSS",
    "S-9.2.1 §C, 128 Speed Step Control",
    fields={"forward": Flag("D"), "speed": "S"},
)
class SpeedStepControl128(_Speed):
    """128 speed step control as sent: 0 stop, 1 emergency stop, 2 to 127 for steps 1 to 126.

    The text prints the stops and how many steps there are; which code is which step is derived.

    >>> SpeedStepControl128.at(step=126, forward=True)
    SpeedStepControl128(forward=True, speed=127)
    """

    forward: bool
    speed: int

    named_ways = ({"step": Number(), "forward": Flag()},)

    @classmethod
    def at(cls, *, step: int, forward: bool) -> Self:
        """A step 1 to 126, or 0 for stop."""
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
        return self._stop() if self.is_stop else f"step {self.step} of 126"

    def phrase(self) -> str:
        return self._run(self.in_words())

    @property
    def step(self) -> int:
        """The step, 1 to 126; 0 for stop and for emergency stop."""
        return max(self.speed - 1, 0)


@instruction(
    "00111110 E00CSSSS",
    "S-9.2.1 §C, Restricted Speed Step",
    provenance=Provenance.DERIVED,  # its two zeros: the text gives them to a step of six bits (X15)
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

    named_ways = ({"step": Number(), "steps": Number(), "enabled": Flag()},)

    @classmethod
    def at(cls, *, step: int, steps: int, enabled: bool) -> Self:
        """A limit of 14 or 28 steps (at 128 steps the decoder scales one of 28: footnote 2)."""
        return cls(enabled, *code_of_step(step, steps, False if steps == 14 else None))

    def in_words(self) -> str:
        if self.speed <= EMERGENCY:
            return "no step: the code of a stop"
        return f"28 steps: step {self.step(28)}; 14 steps: step {self.step(14)}"

    def phrase(self) -> str:
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
