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
from dccwire.errors import FieldError

__all__ = ["COMMON_PRACTICE", "Answers", "UnitPosition", "consist_functions"]


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
    units: Iterable[tuple[UnitPosition, Mapping[str, str]]],
    practice: Mapping[UnitPosition, Answers] = COMMON_PRACTICE,
) -> tuple[ConsistFunctions, ...]:
    """CV 21 and 22 of each unit, in the order given.

    Args:
        units: the position of each and its functions by role: `{"bell": "F1", "headlight": "FL"}`;
            `FL` is both directions, `FL-forward` and `FL-reverse` one each.
        practice: what a unit at each position answers.

    Raises:
        FieldError: a role that a unit is to answer has a function that CV 21 and 22 have no bit
            for, as those above F12; the error names role and function. Or the practice is silent
            on a position.

    >>> roles = {"headlight": "FL-forward", "rear light": "FL-reverse", "bell": "F1", "horn": "F2"}
    >>> lead, trailing = consist_functions(
    ...     [(UnitPosition.LEAD, roles), (UnitPosition.TRAILING, roles)]
    ... )
    >>> lead.to_cvs(), trailing.to_cvs()
    ({21: 3, 22: 1}, {21: 0, 22: 2})
    """
    return tuple(_of_unit(position, roles, practice) for position, roles in units)


def _of_unit(
    position: UnitPosition, roles: Mapping[str, str], practice: Mapping[UnitPosition, Answers]
) -> ConsistFunctions:
    if position not in practice:
        known = " or ".join(one.value for one in practice)
        raise FieldError("position", known, position.value)
    answered = {role: name for role, name in roles.items() if practice[position].to(role)}
    for role, name in answered.items():
        try:
            ConsistFunctions.on(name)
        except FieldError as error:
            raise FieldError(f"function of {role!r}", error.bound, name) from None
    return ConsistFunctions.on(*answered.values())
