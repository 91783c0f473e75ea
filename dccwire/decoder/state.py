"""What a decoder keeps, and what follows from its CVs. Room: imports the rooms of its parts."""

from __future__ import annotations

from functools import lru_cache
from typing import Any, TypeAlias

from dccwire.cv import (
    AccelerationAdjustment,
    AccelerationRate,
    ConsistFunctions,
    CvSet,
    DecelerationAdjustment,
    DecelerationRate,
    adjusted_rate,
    seconds_to_full_speed,
)
from dccwire.decoder.addressing import others, roles
from dccwire.decoder.functions import Switches, switches
from dccwire.decoder.motion import FULL_STEPS_128, Direction, Motion, Pace
from dccwire.decoder.options import Options
from dccwire.decoder.storage import Storage

Adjustment: TypeAlias = AccelerationAdjustment | DecelerationAdjustment
RATES: dict[int, tuple[type[AccelerationRate | DecelerationRate], type[Adjustment]]] = {
    3: (AccelerationRate, AccelerationAdjustment),
    4: (DecelerationRate, DecelerationAdjustment),
}

# A decoder follows all its CVs after each change of one, so what seldom changes is remembered.


@lru_cache(maxsize=512)
def full_range_ns(cv: int, rate: int, adjustment: int, steps: int) -> int:
    """From standstill to full speed by CV 3 and 23, or back by CV 4 and 24, in ns.

    >>> full_range_ns(3, 2, 0, 28) // 28
    64000000
    """
    kind, adjusting = RATES[cv]
    by = adjusting.from_cvs({cv + 20: adjustment})
    return round(seconds_to_full_speed(adjusted_rate(kind(rate), by), steps) * 1e9)


@lru_cache(maxsize=256)
def enabled_in_consist(cv_21: int, cv_22: int) -> int:
    """The switches of the functions that obey the consist address (S-9.2.2, CV 21 and 22)."""
    return switches(ConsistFunctions.from_cvs({21: cv_21, 22: cv_22}).names_on)


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
        self.roles = roles(self.storage)
        self.others = others(self.roles)
        self.steps = 28 if read(29) & 0b10 else 14
        fine = self.options.steps_in_use
        self.paces = {
            steps: Pace(*(full_range_ns(cv, read(cv), read(cv + 20), in_use) for cv in RATES))
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
        return Direction.of(forward ^ bool(self.storage.read(29) & 1) ^ reversed)

    def drive(self, step: int, steps: int, direction: Direction, time_ns: int) -> None:
        """Head for a step of so many, with the momentum of the CVs."""
        self.motion.drive(step, steps, direction, time_ns, self.paces[steps])

    def plain(self) -> dict[str, Any]:
        """All of it but times, as plain values."""
        motion, storage, functions = self.motion, self.storage, self.functions
        return {
            "cvs": CvSet(storage.values),
            "extended": storage.extended,
            "resetting": storage.resetting,
            "motion": (motion.direction, motion.step, motion.steps, motion.limit, motion.target),
            "functions": (functions.on, functions.binary, dict(functions.analog)),
        }
