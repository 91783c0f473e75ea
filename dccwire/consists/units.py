"""A unit, a consist of some, and what their CV 19 to 22 hold (S-9.2.2).

Room: imports `cv`; packets, tables and what does not go together are made of these elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from dccwire.address import Address, LongAddress, ShortAddress
from dccwire.cv import (
    COMMON_PRACTICE,
    Answers,
    ConsistAddress,
    ConsistFunctions,
    ConsistUnit,
    CvSet,
    LongConsistAddress,
    UnitPosition,
    consist_functions,
)
from dccwire.cv.functions import LIGHTS, SOUNDS
from dccwire.cv.values import within
from dccwire.errors import FieldError, member
from dccwire.fields import Functions
from dccwire.instructions.function_groups import function_names
from dccwire.instructions.speed_and_direction import STEPS
from dccwire.notation import address_text, own_address
from dccwire.toml_tables import nearest
from dccwire.wording import either

__all__ = ["Consist", "Unit"]

LIT = ("FL-forward", "FL-reverse")
"""The two switches of FL."""

MASKED = (*LIT, *function_names(1, 12))
"""What CV 21 and 22 have a bit for (S-9.2.2)."""

UNMASKED = function_names(13, 28)
"""The functions that packets reach and those CVs do not (S-9.2.1 §C; S-9.2.2, CV 21 and 22)."""

_NAMES = Functions("", (*MASKED, *UNMASKED))


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of a consist, by what it is and has when it runs alone.

    - `address`: its own. `position`: a `UnitPosition`, or `lead`, `middle`, `trailing`.
    - `functions`: which function does what, by what it does: `{"bell": "F1"}`. `FL` is both
      directions, `FL-forward` and `FL-reverse` one each; F0 is read as FL.
    - `reversed`: it runs backwards while the consist runs forward (CV 19 bit 7).
    - `steps`: 14, 28 or 128.
    - `obeys`: by what it does, whether a function is obeyed at the consist's address. The rest is
      common practice, no source: `dccwire.cv.COMMON_PRACTICE`.
    - `on`: the functions that are on now, FL in both directions, as the own address switches it;
      the consist's address cannot switch all of them off.

    Raises:
        FieldError: an address of another kind, a position, a function or steps that there are not,
            or `obeys` is about what no function does.

    >>> horn = {"horn": "F2", "coupler": "F14"}
    >>> unit = Unit(ShortAddress(22), "middle", horn, obeys={"horn": True})
    >>> unit.mask.to_cvs(), unit.out_of_reach
    ({21: 2, 22: 0}, ('coupler',))
    """

    address: ShortAddress | LongAddress
    position: UnitPosition
    functions: Mapping[str, str] = field(default_factory=dict, hash=False)
    reversed: bool = False
    steps: int = 28
    obeys: Mapping[str, bool] = field(default_factory=dict, hash=False)
    on: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        own_address(self.address)
        position = member(UnitPosition, "position", self.position)
        for name, value in (("reversed", self.reversed), *self.obeys.items()):
            if type(value) is not bool:
                raise FieldError(name, "True or False", value)
        if type(self.steps) is not int or self.steps not in STEPS:
            raise FieldError("steps", either(STEPS), self.steps)
        for role, function in self.functions.items():
            if not role.strip() or not role.isprintable():
                raise FieldError("functions", "words that can be printed", role)
            if role.lower() in SOUNDS | LIGHTS and role not in SOUNDS | LIGHTS:
                raise FieldError("functions", "words in small letters", role, role.lower())
            _spread(function, f"functions.{role}")
        for role in self.obeys:
            if role not in self.functions:
                hint = nearest(role, self.functions) if self.functions else ""
                raise FieldError("obeys", "what one of its functions does", role, hint)
        on = frozenset(one for name in self.on for one in _spread(name, "on"))
        on |= {*LIT} if on & {*LIT} else set()
        for name, made in (("functions", dict(self.functions)), ("obeys", dict(self.obeys))):
            object.__setattr__(self, name, made)
        object.__setattr__(self, "position", position)
        object.__setattr__(self, "on", on)

    @property
    def name(self) -> str:
        """Its address in words: `short 21`."""
        return address_text(self.address)

    @property
    def way(self) -> str:
        """`reversed` or `forward`: how it runs while the consist runs forward."""
        return "reversed" if self.reversed else "forward"

    def answers(self, role: str) -> bool:
        """Whether it is to obey the consist's address in what a function does."""
        return self.obeys.get(role, COMMON_PRACTICE[self.position].to(role))

    @property
    def out_of_reach(self) -> tuple[str, ...]:
        """What it is to obey at the consist's address and cannot: functions above F12."""
        return tuple(
            role
            for role, function in self.functions.items()
            if self.answers(role) and function in UNMASKED
        )

    @property
    def mask(self) -> ConsistFunctions:
        """CV 21 and 22: which functions obey the consist's address.

        FL-forward and FL-reverse follow the direction of the unit itself, so of a reversed one they
        change places.
        """
        return self._masked(
            role
            for role, function in self.functions.items()
            if self.answers(role) and function not in UNMASKED
        )

    def switches(self, role: str) -> frozenset[str]:
        """The functions that do something in the consist, FL a name for each direction.

        >>> Unit(ShortAddress(3), "lead", {"headlight": "FL-forward"}, reversed=True).switches(
        ...     "headlight"
        ... )
        frozenset({'FL-reverse'})
        """
        function = self.functions[role]
        if function in UNMASKED:
            return frozenset({function})
        return frozenset(self._masked([role]).names_on)

    def _masked(self, roles: Iterable[str]) -> ConsistFunctions:
        functions = {role: self.functions[role] for role in roles}
        unit = ConsistUnit(self.position, functions, self.reversed)
        (mask,) = consist_functions([unit], {self.position: Answers()})
        return mask

    def shows(self, role: str) -> bool:
        """Whether it has a function that the consist's address switches, or that is on by now."""
        return bool(self._shown(role))

    def lit(self, role: str, *, backwards: bool) -> bool:
        """Whether it shows this while the consist runs forward, or backwards.

        >>> unit = Unit(ShortAddress(3), "trailing", {"rear light": "FL-reverse"}, reversed=True)
        >>> unit.lit("rear light", backwards=False), unit.lit("rear light", backwards=True)
        (False, True)
        """
        dark = LIT[self.reversed == backwards]
        return bool(self._shown(role) - {dark})

    def _shown(self, role: str) -> frozenset[str]:
        if role not in self.functions:
            return frozenset()
        return self.switches(role) & {*self.mask.names_on, *self.on}


def _spread(function: str, where: str) -> tuple[str, ...]:
    try:
        return _NAMES.spread(function)
    except FieldError as error:
        bound = "FL, FL-forward, FL-reverse or F1 to F28"
        raise FieldError(where, bound, error.value) from None


@dataclass(frozen=True, slots=True)
class Consist:
    """A consist's address, its units, and the addresses of other decoders that are in use.

    `address` is 1 to 127. From memory alone (RCN-225) it can go up to 10239, with CV 20, which the
    edition of 2012 reserves. 0 is no consist (S-9.2.2, CV 19), which `conflicts` tells.

    Raises:
        FieldError: an address outside of 0 to 10239, or no unit.

    >>> Consist(1205, (Unit(ShortAddress(3), "lead", {"horn": "F2"}),)).cvs
    (CvSet({19: 5, 20: 12, 21: 2, 22: 0}),)
    """

    address: int
    units: tuple[Unit, ...]
    others: frozenset[Address] = frozenset()

    def __post_init__(self) -> None:
        within("consist", self.address, 0, LongAddress.bound[-1])
        if not self.units:
            raise FieldError("units", "one or more", self.units)
        object.__setattr__(self, "units", tuple(self.units))
        object.__setattr__(self, "others", frozenset(self.others))

    @property
    def is_long(self) -> bool:
        """Whether its address is above 127, which CV 19 alone cannot hold."""
        return self.address not in range(128)

    @property
    def packets_to(self) -> ShortAddress | LongAddress | None:
        """The address of packets to it; None if there is no consist (0)."""
        if self.is_long:
            return LongAddress(self.address)
        return ShortAddress(self.address) if self.address else None

    @property
    def cvs(self) -> tuple[CvSet, ...]:
        """CV 19, 21 and 22 of each unit, CV 20 too where the address is above 127."""
        return tuple(
            CvSet({**self._place(unit), **unit.mask.to_cvs()}.items()) for unit in self.units
        )

    def _place(self, unit: Unit) -> dict[int, int]:
        if self.is_long:
            return LongConsistAddress.at(self.address, reversed=unit.reversed).to_cvs()
        return ConsistAddress(unit.reversed, self.address).to_cvs()
