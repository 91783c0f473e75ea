"""Which functions each unit of a consist obeys at the consist address: roles to CV 21 and 22.

A role is what a function does (`bell`, `horn`); which function number has it is the decoder's
affair, so every unit brings its own table. A decoder with more functions than F12 needs CVs of its
maker's for them: CV 21 and 22 have no bits for those (S-9.2.2).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType

from dccwire.cv.functions import ConsistFunctions
from dccwire.errors import FieldError, member
from dccwire.wording import either

__all__ = ["COMMON_PRACTICE", "Answers", "ConsistUnit", "UnitPosition", "consist_functions"]


class UnitPosition(Enum):
    """Where a unit runs in its consist.

    >>> sorted(COMMON_PRACTICE[UnitPosition.MIDDLE].never)
    ['bell', 'horn']
    """

    LEAD = "lead"
    MIDDLE = "middle"
    TRAILING = "trailing"


@dataclass(frozen=True, slots=True)
class Answers:
    """The roles that a unit answers at the consist address.

    Args:
        only: these alone; None: all that the unit has.
        never: these not.

    >>> Answers(never=frozenset({"bell"})).to("bell"), Answers(only=frozenset({"bell"})).to("bell")
    (False, True)
    """

    only: frozenset[str] | None = None
    never: frozenset[str] = frozenset()

    def to(self, role: str) -> bool:
        """Whether it answers a role."""
        return role not in self.never and (self.only is None or role in self.only)


@dataclass(frozen=True, slots=True)
class ConsistUnit:
    """A unit of a consist.

    Args:
        position: where it runs.
        functions: its functions by role, as if it ran alone: `{"bell": "F1", "headlight": "FL"}`;
            `FL` is both directions, `FL-forward` and `FL-reverse` one each.
        reversed: whether it stands reversed in the consist, as bit 7 of CV 19 tells its decoder
            (S-9.2.2).

    FL-forward and FL-reverse follow the direction in which the unit itself runs. A reversed one
    runs in reverse while the consist runs forward, so that its light at the consist's front is
    FL-reverse, and at the consist's rear FL-forward.
    """

    position: UnitPosition
    functions: Mapping[str, str]
    reversed: bool = False


COMMON_PRACTICE: Mapping[UnitPosition, Answers] = MappingProxyType(
    {
        UnitPosition.LEAD: Answers(never=frozenset({"rear light"})),
        UnitPosition.MIDDLE: Answers(never=frozenset({"bell", "horn"})),
        UnitPosition.TRAILING: Answers(only=frozenset({"rear light"})),
    }
)
"""A starting point (common practice, no source): the lead unit answers all but the rear light, a
middle unit neither bell nor horn, the trailing unit its rear light alone."""


def consist_functions(
    units: Iterable[ConsistUnit],
    practice: Mapping[UnitPosition, Answers] = COMMON_PRACTICE,
) -> tuple[ConsistFunctions, ...]:
    """CV 21 and 22 of each unit, in the order given.

    Args:
        units: each with its position and functions; of a reversed one FL-forward and FL-reverse
            change places.
        practice: what a unit at each position answers.

    Raises:
        FieldError: a role that a unit is to answer has a function that CV 21 and 22 have no bit
            for, as those above F12; the error names role and function. Or the practice is silent
            on a position.

    >>> roles = {"headlight": "FL-forward", "rear light": "FL-reverse", "bell": "F1", "horn": "F2"}
    >>> lead = ConsistUnit(UnitPosition.LEAD, roles)
    >>> trailing = ConsistUnit(UnitPosition.TRAILING, roles, reversed=True)
    >>> [mask.to_cvs() for mask in consist_functions([lead, trailing])]
    [{21: 3, 22: 1}, {21: 0, 22: 1}]
    """
    return tuple(_of_unit(one, practice) for one in units)


_TURNED = {"FL-forward": "FL-reverse", "FL-reverse": "FL-forward"}


def _of_unit(unit: ConsistUnit, practice: Mapping[UnitPosition, Answers]) -> ConsistFunctions:
    position = member(UnitPosition, "position", unit.position)
    if position not in practice:
        raise FieldError("position", either(one.value for one in practice), position.value)
    obeyed: list[str] = []
    for role, name in unit.functions.items():
        if practice[position].to(role):
            try:
                own = ConsistFunctions.on(name).names_on
            except FieldError as error:
                raise FieldError(f"function of {role!r}", error.bound, name, error.hint) from None
            obeyed += (_TURNED.get(one, one) if unit.reversed else one for one in own)
    return ConsistFunctions.on(*obeyed)
