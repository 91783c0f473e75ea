"""What a decoder keeps, and what follows from its CVs: motion, functions, and both with the CVs.

Speed is a fraction of full, above 0 forward and below it in reverse. Momentum is a straight line
(the standard speaks of steps), through a standstill where the direction changes: down by CV 4, up
again by CV 3. FL is two switches, one a direction, since CV 22 enables them apart. Room: imports
`storage`, the CV values of momentum and consists, and the instruction of restricted speed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache
from typing import NamedTuple

from dccwire.address import BroadcastAddress, LongAddress, ShortAddress
from dccwire.cv import (
    AccelerationAdjustment,
    AccelerationRate,
    ConsistFunctions,
    adjusted_rate,
    seconds_to_full_speed,
)
from dccwire.decoder.options import Options
from dccwire.decoder.storage import Storage
from dccwire.errors import FieldError
from dccwire.instructions import RestrictedSpeedStep

FULL_STEPS_128 = 126
"""The highest step of 128 step control (S-9.2.1 §C)."""

FL_FORWARD, FL_REVERSE = 1, 2
LIGHTS = {"FL": 0b11, "F0": 0b11, "FL-forward": FL_FORWARD, "FL-reverse": FL_REVERSE}

HIGHEST = 68
"""The highest function that any format carries (from memory; F28 in the 2012 edition)."""

ALL = (1 << HIGHEST + 2) - 1
"""Every switch: FL forward, FL reverse, F1 (bit 2) to F68."""

ALL_BYTES = frozenset(bytes((byte,)) for byte in range(256))

# A decoder follows all its CVs after each change of one, so what seldom changes is remembered.


@lru_cache(maxsize=512)
def full_range_ns(rate: int, adjustment: int, steps: int) -> int:
    """From standstill to full speed by CV 3 and 23, in ns; back by CV 4 and 24 it is the same."""
    by = AccelerationAdjustment.from_cvs({23: adjustment})
    return round(seconds_to_full_speed(adjusted_rate(AccelerationRate(rate), by), steps) * 1e9)


@lru_cache(maxsize=256)
def enabled_in_consist(cv_21: int, cv_22: int) -> int:
    """The switches of functions that listen to the consist address (S-9.2.2, CV 21 and 22)."""
    return switches(ConsistFunctions.from_cvs({21: cv_21, 22: cv_22}).names_on)


@lru_cache(maxsize=1024)
def switches(names: tuple[str, ...], functions: int = -1) -> int:
    """The switches of the names whose bit is set, the first name's bit 0; F0 is FL."""
    found = 0
    for position, name in enumerate(names):
        if functions >> position & 1:
            found |= LIGHTS.get(name) or 2 << int(name[1:])
    return found


class Direction(StrEnum):
    """Which end of the locomotive goes first."""

    FORWARD = "forward"
    REVERSE = "reverse"


class Pace(NamedTuple):
    """How long the full range takes up and down, in ns; 0 is at once."""

    up_ns: int
    down_ns: int


AT_ONCE = Pace(0, 0)


def ramp(start: float, target: float, elapsed_ns: float, pace: Pace) -> float:
    """The speed some time after a change of target."""
    if start * target <= 0:
        braking_ns = abs(start) * pace.down_ns
        if elapsed_ns < braking_ns:
            return start * (1 - elapsed_ns / braking_ns)
        elapsed_ns, start = elapsed_ns - braking_ns, 0.0
    whole_ns = abs(target - start) * (pace.up_ns if abs(target) > abs(start) else pace.down_ns)
    if elapsed_ns >= whole_ns:
        return target
    return start + (target - start) * elapsed_ns / whole_ns


@dataclass(slots=True)
class Motion:
    """The step asked for, and the straight line of speed towards it since `since_ns`."""

    direction: Direction = Direction.FORWARD
    step: int = 0
    steps: int = 28
    limit: RestrictedSpeedStep | None = None
    since_ns: int = 0
    start: float = 0.0
    target: float = 0.0
    pace: Pace = AT_ONCE

    def aim(self, time_ns: int, pace: Pace) -> None:
        """Begin a line at the present speed, unless the one under way does the same."""
        fraction = self.step / self.steps
        if self.limit is not None:
            # Footnote 2 of S-9.2.1 §C: for 128 steps the limit is scaled from 28.
            of = 14 if self.steps == 14 else 28
            fraction = min(fraction, self.limit.step(of) / of)
        target = fraction if self.direction is Direction.FORWARD else -fraction
        if target != self.target or pace != self.pace:
            self.start = self.speed_at(time_ns)
            self.since_ns, self.target, self.pace = time_ns, target, pace

    def halt(self, direction: Direction, time_ns: int) -> None:
        """Stop at once."""
        self.direction, self.step = direction, 0
        self.start, self.target, self.since_ns = 0.0, 0.0, time_ns

    def speed_at(self, time_ns: int, deadline_ns: int | None = None) -> float:
        """The speed at a time not before the last change; after `deadline_ns` it falls."""
        if time_ns < self.since_ns:
            raise FieldError("time_ns", f"{self.since_ns} or later", time_ns)
        if deadline_ns is None or time_ns <= deadline_ns:
            return ramp(self.start, self.target, time_ns - self.since_ns, self.pace)
        then = ramp(self.start, self.target, deadline_ns - self.since_ns, self.pace)
        return ramp(then, 0.0, time_ns - deadline_ns, self.pace)


@dataclass(slots=True)
class Switches:
    """The switches that are on, as bits; binary state n is bit n; analog outputs by number."""

    on: int = 0
    binary: int = 0
    analog: dict[int, int] = field(default_factory=dict)

    def switch(self, names: tuple[str, ...], functions: int, enabled: int = ALL) -> None:
        """Set the functions of a group, as far as they are enabled."""
        covered = switches(names) & enabled
        self.on = self.on & ~covered | switches(names, functions) & covered

    def set_binary(self, state: int, highest: int, on: bool) -> None:
        """Set a binary state, or with 0 all of them up to `highest`."""
        changed = 1 << state if state else (2 << highest) - 2
        self.binary = self.binary | changed if on else self.binary & ~changed

    def names(self, direction: Direction) -> frozenset[str]:
        """The functions that are on; FL if that of the direction is."""
        light = FL_FORWARD if direction is Direction.FORWARD else FL_REVERSE
        numbered = {f"F{number}" for number in range(1, HIGHEST + 1) if self.on & 2 << number}
        return frozenset(numbered | {"FL"} if self.on & light else numbered)


class Condition:
    """CVs, functions and motion; `refresh` works out the rest after every change of a CV.

    `roles`: the addresses it listens to. `others`: first bytes that never concern it. `steps`: 14
    or 28. `paces`: momentum for 14, 28 and 126 steps. `enabled`: the functions at the consist
    address. `time_out_ns`: that of CV 11; 0 for none.
    """

    def __init__(self, options: Options) -> None:
        self.options = options
        self.storage = Storage(options)
        self.refresh()
        self.clear(0)

    def refresh(self) -> None:
        """Follow the CVs."""
        read = self.storage.read
        self.roles = self.storage.roles()
        own = BroadcastAddress | ShortAddress | LongAddress
        self.others = ALL_BYTES - {one.header[:1] for one in self.roles if isinstance(one, own)}
        self.steps = 28 if read(29) & 0b10 else 14
        fine = self.options.steps_in_use
        self.paces = {
            steps: Pace(*(full_range_ns(read(cv), read(cv + 20), in_use) for cv in (3, 4)))
            for steps, in_use in ((14, 14), (28, 28), (FULL_STEPS_128, fine))
        }
        self.enabled = enabled_in_consist(read(21), read(22))
        self.time_out_ns = read(11) * self.options.time_out_unit_ns

    def clear(self, time_ns: int) -> None:
        """Decoder reset: volatile state gone, a stop at once (S-9.2.1 §C, Digital Decoder Reset).

        Which state is volatile is not listed: here speed, direction, limit, functions, binary
        states and analog outputs.
        """
        self.motion = Motion(self.direction(True, False), since_ns=time_ns)
        self.functions = Switches()

    def direction(self, forward: bool, reversed: bool) -> Direction:
        """As sent, turned by CV 29 bit 0, and once more where the consist has the unit reversed."""
        turned = bool(self.storage.read(29) & 1) ^ reversed
        return Direction.FORWARD if forward ^ turned else Direction.REVERSE

    def drive(self, step: int, steps: int, direction: Direction, time_ns: int) -> None:
        """Head for a step of so many, with the momentum of the CVs."""
        motion = self.motion
        motion.step, motion.steps, motion.direction = step, steps, direction
        motion.aim(time_ns, self.paces[steps])
