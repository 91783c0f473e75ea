"""What was measured: readings of speed, the unit they are of, and the units to be matched.

Speed is in mm/s of the model. Room: values with their bounds; knows no file and no fit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from statistics import median
from typing import Self

from dccwire.address import LongAddress, ShortAddress
from dccwire.cv.cv_set import CvSet
from dccwire.cv.speed_curves import POINTS, SpeedTable
from dccwire.cv.values import within
from dccwire.decoder.state import Direction
from dccwire.errors import FieldError, member
from dccwire.notation import address_text, own_address

__all__ = ["Measurements", "Reading", "Unit", "scale_km_h"]


MOST = 1_000_000_000
"""No number of a measurement is as large; what is worked out of them stays finite."""

MOST_MM_S = 10_000
"""No model runs as fast, 36 km/h: it comes of another unit (common practice, no source)."""

SCATTER = 0.1
"""Readings of a step that differ by more than this share of their median are doubtful."""


def positive(field: str, value: object, hint: str = "", most: float = MOST) -> float:
    """A number above 0 and below `most`, or a FieldError."""
    if type(value) not in (int, float) or not 0 < value < most:  # type: ignore[operator]
        raise FieldError(field, f"a number above 0, below {most:,}", value, hint)
    return float(value)  # type: ignore[arg-type]


def speed(field: str, value: object) -> float:
    """A number of mm/s, 0 or more, or a FieldError."""
    if type(value) in (int, float) and value == 0:
        return 0.0
    return positive(field, value, "mm/s of the model; or 0 where it stands", MOST_MM_S)


def scale_km_h(mm_s: float, scale: float) -> float:
    """What the speed of a model in mm/s is at its scale of 1:`scale`, in km/h.

    >>> round(scale_km_h(319.3, 87), 1)
    100.0
    """
    return mm_s * scale * 3600 / 1e6


@dataclass(frozen=True, slots=True)
class Reading:
    """The speed of a unit at a step, 1 to 28 of 28 step control, in mm/s; 0 where it stands.

    How a decoder spreads 126 steps over 28 points no text says, so 28 step control is measured.

    Raises:
        FieldError: the step, the direction or the speed is out of bounds.

    >>> Reading.timed(14, "forward", seconds=12.5, length_mm=1000).mm_s
    80.0
    """

    step: int
    direction: Direction
    mm_s: float

    def __post_init__(self) -> None:
        within("step", self.step, 1, POINTS)
        object.__setattr__(self, "direction", member(Direction, "direction", self.direction))
        object.__setattr__(self, "mm_s", speed("mm_s", self.mm_s))

    @classmethod
    def timed(
        cls, step: int, direction: Direction | str, *, seconds: float, length_mm: float
    ) -> Self:
        """From the seconds that it took over a length in mm."""
        mm_s = positive("length_mm", length_mm) / positive("seconds", seconds)
        return cls(step, member(Direction, "direction", direction), mm_s)

    @classmethod
    def in_scale(
        cls, step: int, direction: Direction | str, *, scale_km_h: float, scale: float
    ) -> Self:
        """From the speed at a scale of 1:`scale`, in km/h.

        >>> Reading.in_scale(28, "reverse", scale_km_h=90, scale=100).mm_s
        250.0
        """
        km_h = positive("scale_km_h", scale_km_h) if scale_km_h != 0 else 0.0
        mm_s = km_h * 1e6 / 3600 / positive("scale", scale)
        return cls(step, member(Direction, "direction", direction), mm_s)


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit, its readings, and what its CVs were while they were taken.

    `cvs` are those that are known; `points` the speed table in force, where CV 29 is not among
    them. Without either the voltages are taken as linear: 255 × step / 28, rounded (common
    practice, no source).

    Raises:
        FieldError: no address of a multi-function decoder, no reading, or not 28 points.

    >>> readings = (Reading(1, "forward", 9.5), Reading(28, "forward", 290.0))
    >>> Unit(ShortAddress(3), readings).name
    'short 3'
    """

    address: ShortAddress | LongAddress
    readings: tuple[Reading, ...]
    cvs: CvSet = field(default_factory=CvSet)
    points: tuple[int, ...] | None = None

    def __post_init__(self) -> None:
        own_address(self.address)
        if not self.readings:
            raise FieldError(f"readings of {self.name}", "one or more", self.readings)
        if self.points is not None:
            SpeedTable(self.points)

    @property
    def name(self) -> str:
        """The text of its address."""
        return address_text(self.address)

    def doubts(self) -> Iterator[str]:
        """The steps whose readings differ by more than a tenth of their median, in words.

        The tenth is our choice: common practice, no source.

        >>> some = [Reading(7, "reverse", mm_s) for mm_s in (60.0, 61.0, 75.0)]
        >>> list(Unit(ShortAddress(3), tuple(some)).doubts())
        ['short 3 reverse, step 7: readings differ by 25 %; measure it again']
        """
        groups: dict[tuple[Direction, int], list[float]] = {}
        for one in self.readings:
            groups.setdefault((one.direction, one.step), []).append(one.mm_s)
        for (direction, step), speeds in groups.items():
            span, usual = max(speeds) - min(speeds), median(speeds)
            if span > SCATTER * usual:
                share = f"by {span / usual:.0%}" if usual else "from standing"
                told = f"readings differ {share.replace('%', ' %')}; measure it again"
                yield f"{self.name} {direction.value}, step {step}: {told}"

    @property
    def held(self) -> CvSet:
        """The CVs that are known, with `points` as CV 67 to 94."""
        return (
            self.cvs
            if self.points is None
            else self.cvs | CvSet(SpeedTable(self.points).to_cvs().items())
        )


@dataclass(frozen=True, slots=True)
class Measurements:
    """Two or more units, and their scale: `scale` is the N of 1:N.

    Raises:
        FieldError: fewer units, one address twice, or no scale.
    """

    scale: float
    units: tuple[Unit, ...]

    def __post_init__(self) -> None:
        positive("scale", self.scale, "87 for 1:87")
        if len(self.units) < 2:
            raise FieldError("units", "two or more", len(self.units))
        names = [one.name for one in self.units]
        for name in names:
            if names.count(name) > 1:
                raise FieldError("units", "each address once", name)
