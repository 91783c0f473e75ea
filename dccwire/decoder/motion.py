"""Speed as a function of time: momentum, emergency stop, restricted speed.

Speed is a fraction of full, above 0 forward and below it in reverse. Momentum is a straight line
(the standard speaks of steps), through a standstill where the direction changes: down by CV 4, up
again by CV 3. Room: imports `errors` and the instruction of restricted speed.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from dccwire.errors import FieldError
from dccwire.instructions import RestrictedSpeedStep

FULL_STEPS_128 = 126
"""The highest step of 128 step control (S-9.2.1 §C)."""


class Direction(StrEnum):
    """Which end of the locomotive goes first."""

    FORWARD = "forward"
    REVERSE = "reverse"

    @classmethod
    def of(cls, forward: bool) -> Direction:
        """The member for a direction bit."""
        return cls.FORWARD if forward else cls.REVERSE


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
    """The step asked for, and the straight line of speed towards it since `since_ns`.

    >>> motion = Motion()
    >>> motion.drive(28, 28, Direction.REVERSE, 0, Pace(2_000, 1_000))
    >>> motion.speed_at(500), motion.speed_at(2_000)
    (-0.25, -1.0)
    """

    direction: Direction = Direction.FORWARD
    step: int = 0
    steps: int = 28
    limit: RestrictedSpeedStep | None = None
    since_ns: int = 0
    start: float = 0.0
    target: float = 0.0
    pace: Pace = AT_ONCE

    def drive(self, step: int, steps: int, direction: Direction, time_ns: int, pace: Pace) -> None:
        """Head for a step of so many."""
        self.step, self.steps, self.direction = step, steps, direction
        self.aim(time_ns, pace)

    def restrict(self, limit: RestrictedSpeedStep | None, time_ns: int, pace: Pace) -> None:
        """Keep the speed at or below a limit, or lift it."""
        self.limit = limit
        self.aim(time_ns, pace)

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
        """The speed at a time, which is not before the last change; after `deadline_ns` it falls.

        Raises:
            FieldError: the time is before the last change.
        """
        if time_ns < self.since_ns:
            raise FieldError("time_ns", f"{self.since_ns} or later", time_ns)
        if deadline_ns is None or time_ns <= deadline_ns:
            return ramp(self.start, self.target, time_ns - self.since_ns, self.pace)
        then = ramp(self.start, self.target, deadline_ns - self.since_ns, self.pace)
        return ramp(then, 0.0, time_ns - deadline_ns, self.pace)
