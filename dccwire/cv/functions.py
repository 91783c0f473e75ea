"""Functions: CV 13 and 14, 21 and 22, the output locations of CV 33 to 46 (S-9.2.2), consists.

A role in a consist is what a function does (`bell`, `horn`); which function number has it is the
decoder's affair, so every unit brings its own table. A decoder with more functions than F12 needs
CVs of its maker's for them: CV 21 and 22 have no bits for those (S-9.2.2).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from enum import Enum
from types import MappingProxyType
from typing import Self

from dccwire.cv.kinds import ReservedBits
from dccwire.cv.values import CvValue, cv_value
from dccwire.errors import FieldError, member
from dccwire.fields import Functions
from dccwire.formats import Fields
from dccwire.instructions.function_groups import function_names
from dccwire.wording import either

__all__ = [
    "COMMON_PRACTICE",
    "AlternatePowerFunctions",
    "Answers",
    "ConsistFunctions",
    "ConsistUnit",
    "OutputLocations",
    "UnitPosition",
    "consist_functions",
]

_LINE = "FFFFFFFF RRGGGGGG"
_MASK = Functions(
    "G F", (*function_names(1, 8), "FL-forward", "FL-reverse", *function_names(9, 12))
)
"""CV 13 and 14, CV 21 and 22, bit 0 of the first first (S-9.2.2; V8)."""

_KINDS: Fields = {"functions": _MASK, "reserved": ReservedBits("R", (6, 7))}


@dataclass(frozen=True, eq=False, repr=False)
class _FunctionMask(CvValue):
    __slots__ = ()
    functions: int = 0
    reserved: int = 0

    @classmethod
    def on(cls, *names: str) -> Self:
        """The mask with these functions, F1 to F12; `FL` is FL-forward and FL-reverse together."""
        try:
            return cls(_MASK.mask(names))
        except FieldError as error:
            cvs = " and ".join(map(str, cls.cvs))
            hint = f"CV {cvs} have no bit for another"
            raise FieldError("function", f"FL, {error.bound}", error.value, hint) from None

    @property
    def names_on(self) -> tuple[str, ...]:
        """The functions of the mask, lowest bit first."""
        return tuple(_MASK.names_of(self.functions))


@cv_value((13, 14), _LINE, "S-9.2.2, CV 13 and 14", fields=_KINDS)
class AlternatePowerFunctions(_FunctionMask):
    """CV 13 and 14: the functions that are on in alternate power mode.

    A bit of a function that can be controlled has no effect.
    """


@cv_value((21, 22), _LINE, "S-9.2.2, CV 21 and 22 (V8)", fields=_KINDS)
class ConsistFunctions(_FunctionMask):
    """CV 21 and 22: which functions listen to the consist address as well.

    >>> ConsistFunctions.on("FL", "F1", "F9").to_cvs()
    {21: 1, 22: 7}
    """


_LETTERS = "ABCDEFGHIJKLMN"
_LOWEST = (1,) * 5 + (4,) * 5 + (7,) * 4
_LOCATED = ("FL-forward", "FL-reverse", *function_names(1, 12))
_OUTPUTS = {
    name.lower().replace("-", "_"): Functions(letter, [str(lowest + bit) for bit in range(8)])
    for name, letter, lowest in zip(_LOCATED, _LETTERS, _LOWEST, strict=True)
}
"""The outputs that each function can switch, by CV 33 to 46 (S-9.2.2, Table 2)."""


@cv_value(
    range(33, 47),
    " ".join(letter * 8 for letter in _LETTERS),
    "S-9.2.2, CV 33-46 and Table 2",
    fields=_OUTPUTS,
)
class OutputLocations(CvValue):
    """CV 33 to 46: which outputs FL forward, FL reverse and F1 to F12 switch, a bit an output.

    CV 33-37 reach outputs 1 to 8, CV 38-42 outputs 4 to 11, CV 43-46 outputs 7 to 14, the lowest in
    bit 0. What is not named is at its default (Table 2): FL forward is output 1, FL reverse 2,
    F n output n + 2.

    >>> changed = OutputLocations().moved("F3", {3, 5})
    >>> changed.outputs("F3"), changed.to_cvs()[37]
    ((3, 5), 20)
    """

    fl_forward: int = 1
    fl_reverse: int = 2
    f1: int = 4
    f2: int = 8
    f3: int = 16
    f4: int = 4
    f5: int = 8
    f6: int = 16
    f7: int = 32
    f8: int = 64
    f9: int = 16
    f10: int = 32
    f11: int = 64
    f12: int = 128

    def moved(self, function: str, outputs: Collection[int]) -> Self:
        """The same, but for the outputs of one function, `FL-forward`, `FL-reverse`, `F1` on."""
        place, name = _located(function)
        lowest = _LOWEST[place]
        for output in outputs:
            if type(output) is not int or not lowest <= output <= lowest + 7:
                bound, hint = f"{lowest} to {lowest + 7}", f"CV {33 + place} reaches no other"
                raise FieldError(f"output of {function}", bound, output, hint)
        return replace(self, **{name: sum({1 << output - lowest for output in outputs})})

    def outputs(self, function: str) -> tuple[int, ...]:
        """The outputs that a function switches."""
        name = _located(function)[1]
        return tuple(map(int, _OUTPUTS[name].plain(getattr(self, name))))


def _located(function: str) -> tuple[int, str]:
    """The place of a function among CV 33 to 46, and its field."""
    names = Functions("", _LOCATED).spread(function)
    if len(names) > 1:
        raise FieldError("function", either(names), function)
    place = _LOCATED.index(names[0])
    return place, [*_OUTPUTS][place]


class UnitPosition(Enum):
    """Where a unit runs in its consist."""

    LEAD = "lead"
    MIDDLE = "middle"
    TRAILING = "trailing"


@dataclass(frozen=True, slots=True)
class Answers:
    """The roles that a unit answers at the consist address: `only` these or all, `never` those.

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
    """A unit: where it runs, its functions by role, whether it stands reversed (CV 19 bit 7).

    Functions are as if it ran alone: `{"bell": "F1", "headlight": "FL"}`; `FL` is both directions,
    `FL-forward` and `FL-reverse` one each.

    FL-forward and FL-reverse follow the direction in which the unit itself runs. A reversed one
    runs in reverse while the consist runs forward, so that its light at the consist's front is
    FL-reverse, and at the consist's rear FL-forward.
    """

    position: UnitPosition
    functions: Mapping[str, str]
    reversed: bool = False


SOUNDS = frozenset({"bell", "horn"})
LIGHTS = frozenset({"headlight", "rear light"})
"""The roles that common practice speaks of; no source."""

COMMON_PRACTICE: Mapping[UnitPosition, Answers] = MappingProxyType(
    {
        UnitPosition.LEAD: Answers(never=frozenset({"rear light"})),
        UnitPosition.MIDDLE: Answers(never=SOUNDS | LIGHTS),
        UnitPosition.TRAILING: Answers(only=frozenset({"rear light"})),
    }
)
"""A starting point (common practice, no source): the lead unit answers all but the rear light, a
middle unit no bell, no horn and no lights, the last one its rear light alone."""


def consist_functions(
    units: Iterable[ConsistUnit], practice: Mapping[UnitPosition, Answers] = COMMON_PRACTICE
) -> tuple[ConsistFunctions, ...]:
    """CV 21 and 22 of each unit, in the order given, by what a unit at its position answers.

    Of a reversed one FL-forward and FL-reverse change places.

    Raises:
        FieldError: a role to be answered has a function that CV 21 and 22 have no bit for, as those
            above F12, named with the role; or the practice is silent on a position.

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
