"""Which voltage the motor got at each step while it was measured, 0 to 255 of full (S-9.2.2).

Room: CVs in, voltages out; which speed came of them stands in `curves`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dccwire.cv.configuration import Configuration
from dccwire.cv.speed_curves import (
    LINEAR,
    POINTS,
    ForwardTrim,
    ReverseTrim,
    SpeedTable,
    SpeedTableChoice,
)
from dccwire.decoder.state import Direction
from dccwire.errors import FieldError
from dccwire.matching.readings import Unit

Floats = NDArray[np.float64]

TABLE_BIT = Configuration(speed_table=True).to_cvs()[29]
"""CV 29 bit 4: the table and the trims count."""

TRIMS: dict[Direction, type[ForwardTrim] | type[ReverseTrim]] = {
    Direction.FORWARD: ForwardTrim,
    Direction.REVERSE: ReverseTrim,
}
_TABLE = SpeedTable.linear(start=0, high=255).cvs


def voltages_of(unit: Unit) -> dict[Direction, Floats]:
    """The voltages of the 28 steps in each direction, trims included.

    Raises:
        FieldError: the CVs that are known do not tell them, or contradict `points`.

    >>> from dccwire.address import ShortAddress
    >>> from dccwire.matching.readings import Reading
    >>> unit = Unit(ShortAddress(3), (Reading(1, "forward", 5.0),))
    >>> voltages_of(unit)[Direction.REVERSE][13]
    np.float64(128.0)
    """
    if not has_table(unit):
        plain = _without_table(unit.cvs)
        return dict.fromkeys(Direction, plain)
    points = np.array(SpeedTable.from_cvs(unit.held).points, dtype=float)
    return {one: np.minimum(points * factor(trim_held(unit, one)), 255) for one in Direction}


def has_table(unit: Unit) -> bool:
    """Whether the table was in force.

    Raises:
        FieldError: CV 29 says otherwise than `points`, or is missing beside CV 67 to 94.
    """
    configuration = unit.cvs.get(29)
    if configuration is None:
        if unit.points is None and not unit.cvs.keys().isdisjoint(_TABLE):
            hint = "its bit 4 tells whether CV 67 to 94 counted while it was measured"
            raise FieldError("CV 29", "a value", None, hint)
        return unit.points is not None
    counts = bool(configuration & TABLE_BIT)
    if unit.points is not None and not counts:
        raise FieldError("CV 29", "bit 4 = 1", configuration, "else the points do not count")
    return counts


def trim_held(unit: Unit, direction: Direction) -> int:
    """What CV 66 or 95 holds: 128 where it is not known; 0 is not implemented."""
    return unit.cvs.get(TRIMS[direction].cvs[0], 128)


def factor(trim: int) -> float:
    """What a trim multiplies the voltage by; 1 where it is not implemented."""
    return trim / 128 if trim else 1.0


def _without_table(cvs: Mapping[Any, int]) -> Floats:
    """By CV 2, 5, 6 and 25; straight lines between are common practice, no source."""
    steps = np.arange(1, POINTS + 1)
    choice = SpeedTableChoice(cvs.get(25, 0))
    if choice.preset not in (None, LINEAR) or choice.choice == 128:
        hint = "what others stand for is the decoder's, or open (V4)"
        raise FieldError("CV 25", "0 to 2, or 129 to 255", choice.choice, hint)
    if cvs.keys().isdisjoint((2, 5, 6)):
        return np.floor(255 * steps / POINTS + 0.5)
    for cv in (2, 5, 6):
        if cv not in cvs:
            hint = "CV 2, 5 and 6 are needed together; 0 in CV 5 or 6 is not used"
            raise FieldError(f"CV {cv}", "a value", None, hint)
    corners = {1: cvs[2], POINTS: cvs[5] if cvs[5] > 1 else 255}
    if cvs[6] > 1 and choice.preset is None:
        corners[choice.mid_step(POINTS) or POINTS // 2] = cvs[6]
    places = sorted(corners)
    return np.interp(steps, places, [corners[place] for place in places])
