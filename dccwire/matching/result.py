"""What a match comes to: tables and trims, predicted speeds, and what is left of the difference.

Room: values, and what follows from them; how they are worked out stands in `fit`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from dccwire.cv.cv_set import CvSet
from dccwire.cv.speed_curves import ForwardTrim, ReverseTrim, SpeedTable
from dccwire.decoder.state import Direction
from dccwire.matching.readings import Unit, scale_km_h
from dccwire.matching.voltages import TABLE_BIT
from dccwire.packet import Packet
from dccwire.programming.many_cvs import packets_on_main

__all__ = ["MatchedUnit", "Matching", "Run", "Shape"]


class Shape(StrEnum):
    """How the common speed rises from step 1 to step 28."""

    STRAIGHT = "straight"
    MEAN = "mean"


@dataclass(frozen=True, slots=True)
class Run:
    """The speeds of a unit in one direction, in mm/s, by step from 1 to 28.

    `before` is as measured, by the straight lines between readings; None beyond them. `after` is
    what the new table is expected to give.
    """

    direction: Direction
    before: tuple[float | None, ...]
    after: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class MatchedUnit:
    """A unit with its table and trims, and a `Run` for each direction that was measured.

    A trim of 0 is not implemented, and is not written.
    """

    unit: Unit
    table: SpeedTable
    forward_trim: int
    reverse_trim: int
    runs: tuple[Run, ...]
    falls: tuple[str, ...] = ()
    """What of its readings contradicts that speed rises with voltage, in words."""

    def to_cvs(self) -> CvSet:
        """CV 67 to 94, 66 and 95; CV 29 with bit 4 set, if its present value is known.

        Without bit 4 of CV 29 neither table nor trims count (S-9.2.2, CV 29; V5).
        """
        held = self.unit.cvs
        trims = ForwardTrim(self.forward_trim).to_cvs() | ReverseTrim(self.reverse_trim).to_cvs()
        written = {cv: trim for cv, trim in trims.items() if trim}
        if 29 in held:
            written[29] = held[29] | TABLE_BIT
        return CvSet((*self.table.to_cvs().items(), *written.items()))

    def packets_on_main(self) -> list[Packet]:
        """A write of each CV that changes, CV 29 last; they reach every decoder at the address.

        Each is to be sent twice, as `dccwire.programming.write_cvs_on_main` does, which also says
        what is refused.
        """
        return packets_on_main(self.unit.held, self.to_cvs(), self.unit.address)


@dataclass(frozen=True, slots=True)
class Matching:
    r"""The result: `target` is the common speed in mm/s by step from 1 to 28.

    `lowest_by` and `highest_by` are the names of the units that bound it.

    >>> from dccwire.matching import from_csv, match
    >>> text = "address,step,direction,mm_s" + "".join(
    ...     f"\nshort {unit},{step},forward,{speed}"
    ...     for unit, step, speed in [(3, 1, 8), (3, 28, 224), (5, 1, 4), (5, 28, 448)]
    ... )
    >>> matching = match(from_csv(text, scale=87))
    >>> matching.target[::27], matching.lowest_by, matching.highest_by
    ((8.0, 224.0), 'short 3', 'short 3')
    >>> matching.before[27], round(matching.remaining[27], 1)
    (224.0, 0.2)
    >>> str(matching.units[1].packets_on_main()[-1])
    'short 5: CvAccessLongForm operation=write cv=95 value=128'
    """

    scale: float
    shape: Shape
    target: tuple[float, ...]
    lowest_by: str
    highest_by: str
    units: tuple[MatchedUnit, ...]

    @property
    def before(self) -> tuple[float | None, ...]:
        """How far apart units and directions were at each step, in mm/s; None where not known."""
        return tuple(map(_apart, zip(*(one.before for one in self._runs), strict=True)))

    @property
    def remaining(self) -> tuple[float, ...]:
        """How far apart they are expected to be at each step, in mm/s."""
        steps = zip(*(one.after for one in self._runs), strict=True)
        return tuple(max(speeds) - min(speeds) for speeds in steps)

    @property
    def remaining_scale_km_h(self) -> tuple[float, ...]:
        """The same in km/h at the scale."""
        return tuple(scale_km_h(one, self.scale) for one in self.remaining)

    @property
    def doubts(self) -> tuple[str, ...]:
        """What of the measurements should be looked at again, in words."""
        return tuple(words for one in self.units for words in (*one.unit.doubts(), *one.falls))

    @property
    def _runs(self) -> list[Run]:
        return [run for one in self.units for run in one.runs]

    def text(self) -> str:
        """A report of 80 columns at most; of two units it fits on a screen."""
        from dccwire.matching.report import text_of

        return text_of(self)

    def svg(self) -> str:
        """A picture: speed by step, before and after."""
        from dccwire.matching.picture import svg_of

        return svg_of(self)

    def to_dict(self) -> dict[str, Any]:
        """Plain values: all of the above, speeds in mm/s."""
        return {
            "scale": self.scale,
            "shape": self.shape.value,
            "target_mm_s": list(self.target),
            "lowest_by": self.lowest_by,
            "highest_by": self.highest_by,
            "before_mm_s": list(self.before),
            "remaining_mm_s": list(self.remaining),
            "remaining_scale_km_h": list(self.remaining_scale_km_h),
            "doubts": list(self.doubts),
            "units": [_plain(one) for one in self.units],
        }

    def _repr_svg_(self) -> str:
        return self.svg()

    def _repr_html_(self) -> str:
        from dccwire.matching.picture import html_of

        return html_of(self)


def _plain(one: MatchedUnit) -> dict[str, Any]:
    runs = {
        run.direction.value: {"before_mm_s": list(run.before), "after_mm_s": list(run.after)}
        for run in one.runs
    }
    return {
        "address": one.unit.name,
        "points": list(one.table.points),
        "forward_trim": one.forward_trim,
        "reverse_trim": one.reverse_trim,
        "cvs": {str(cv): value for cv, value in one.to_cvs().items()},
        "runs": runs,
    }


def _apart(speeds: Sequence[float | None]) -> float | None:
    known = [one for one in speeds if one is not None]
    return max(known) - min(known) if len(known) == len(speeds) else None
