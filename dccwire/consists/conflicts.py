"""What does not go together in a consist, and what should be known of it.

Room: imports `units`; one small function for each reason.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Self

from dccwire.address import LongAddress, ShortAddress
from dccwire.consists.units import LIT, Consist, Unit
from dccwire.cv import UnitPosition
from dccwire.cv.functions import LIGHTS, SOUNDS
from dccwire.notation import address_to_plain

__all__ = ["Conflict", "ConflictReason", "conflicts"]

PRACTICE = "common practice, no source"


class ConflictReason(StrEnum):
    """Stable codes; `blames` says whether the consist should not be made so.

    >>> ConflictReason("middle-lit").blames, ConflictReason("middle-lit").clause
    (True, 'common practice, no source')
    """

    meaning: str
    clause: str
    blames: bool

    def __new__(cls, code: str, meaning: str, clause: str, blames: bool) -> Self:
        """Make a code that carries its one-line meaning, its clause, and whether it blames."""
        one = str.__new__(cls, code)
        one._value_, one.meaning, one.clause, one.blames = code, meaning, clause, blames
        return one

    NO_CONSIST = "no-consist", "address 0 is no consist", "S-9.2.2, CV 19", True
    LONG_CONSIST = (
        "long-consist",
        "an address above 127 needs CV 20",
        "from memory: RCN-225",
        False,
    )
    ADDRESS_IN_USE = (
        "address-in-use",
        "the consist's address is also a decoder's own",
        "S-9.2.1 §C, Consist Control; CV access long form",
        True,
    )
    UNIT_TWICE = (
        "unit-twice",
        "two decoders have the own address of a unit",
        "S-9.2.1 §A",
        True,
    )
    NO_LEAD = "no-lead", "no unit is the lead", PRACTICE, True
    TWO_LEADS = "two-leads", "more than one unit is the lead", PRACTICE, True
    TWO_TRAILING = "two-trailing", "more than one unit is the trailing one", PRACTICE, True
    SOUNDED_TWICE = "sounded-twice", "two units sound the bell, or the horn", PRACTICE, True
    MIDDLE_LIT = "middle-lit", "a middle unit shows a headlight or a rear light", PRACTICE, True
    TRAILING_LIT = (
        "trailing-lit",
        "the trailing unit shows a headlight at the consist's address",
        PRACTICE,
        True,
    )
    LIT_TWICE = (
        "lit-twice",
        "two units show a headlight, or a rear light, in one direction of the consist",
        PRACTICE,
        True,
    )
    STEPS_DIFFER = (
        "steps-differ",
        "a unit at 14 steps among others: FL is a bit of the speed there",
        "S-9.2.1 §C, Speed and Direction (X18)",
        True,
    )
    ABOVE_F12 = (
        "above-f12",
        "a function above F12 obeys the own address alone",
        "S-9.2.2, CV 21 and 22",
        False,
    )
    MIXED_FUNCTION = (
        "mixed-function",
        "one number does different things in different units",
        PRACTICE,
        False,
    )
    LEFT_ON = (
        "left-on",
        "what is on now stays on, whatever the consist's address says",
        "S-9.2.2, CV 21 and 22",
        False,
    )
    TRAILING_FORWARD = (
        "trailing-forward",
        "the trailing unit is not reversed, as it often is",
        PRACTICE,
        False,
    )
    NEARLY_KNOWN = (
        "nearly-known",
        "a word that counts as the rest is nearly one of the four that do not",
        PRACTICE,
        False,
    )


@dataclass(frozen=True, slots=True)
class Conflict:
    """A reason, the units that it is about, a sentence, and what would help."""

    reason: ConflictReason
    units: tuple[ShortAddress | LongAddress, ...]
    message: str
    hint: str

    def __str__(self) -> str:
        return f"{self.reason}: {self.message}; {self.hint} ({self.reason.clause})"

    def to_dict(self) -> dict[str, Any]:
        """As JSON holds it."""
        return {
            "reason": self.reason.value,
            "blames": self.reason.blames,
            "units": [address_to_plain(one) for one in self.units],
            "message": self.message,
            "hint": self.hint,
            "clause": self.reason.clause,
        }


def conflicts(consist: Consist) -> tuple[Conflict, ...]:
    """Everything that there is to say of a consist, what blames it first.

    >>> lead = Unit(ShortAddress(21), "lead", {"bell": "F1"})
    >>> other = Unit(ShortAddress(22), "trailing", {"bell": "F4"}, True, obeys={"bell": True})
    >>> print(*conflicts(Consist(10, (lead, other))))  # doctest: +NORMALIZE_WHITESPACE
    sounded-twice: short 21 and short 22 sound the bell; let one alone obey it: obeys bell =
    false (common practice, no source)
    """
    found = [one for check in _CHECKS for one in check(consist)]
    return tuple(sorted(found, key=lambda one: not one.reason.blames))


def _said(
    reason: ConflictReason, units: Iterable[Unit], message: str, hint: str
) -> Iterator[Conflict]:
    """The conflict, with the names of the units in place of `{}`."""
    units = tuple(units)
    names = " and ".join(unit.name for unit in units)
    message = message.replace("{}", names)  # which no `format` reads: words may hold braces
    yield Conflict(reason, tuple(unit.address for unit in units), message, hint)


def _no_consist(consist: Consist) -> Iterator[Conflict]:
    if consist.packets_to is None:
        message = "address 0 takes {} out of a consist"
        yield from _said(ConflictReason.NO_CONSIST, consist.units, message, "1 to 127 is one")


def _long(consist: Consist) -> Iterator[Conflict]:
    if consist.is_long:
        message = f"consist {consist.address} needs CV 20, which the edition of 2012 reserves"
        hint = "1 to 127 is known to every decoder that has CV 19"
        yield from _said(ConflictReason.LONG_CONSIST, (), message, hint)


def _in_use(consist: Consist) -> Iterator[Conflict]:
    same = [unit for unit in consist.units if unit.address == consist.packets_to]
    hint = "take an address that no decoder has"
    if same:
        message = "the consist's address is that of {} too, which obeys all that is sent there"
        yield from _said(ConflictReason.ADDRESS_IN_USE, same, message, hint)
    elif consist.packets_to in consist.others:
        message = "the consist's address is another decoder's, which would run with it"
        yield from _said(ConflictReason.ADDRESS_IN_USE, (), message, hint)


def _twice(consist: Consist) -> Iterator[Conflict]:
    counts = Counter(unit.address for unit in consist.units)
    for address in counts:
        same = [unit for unit in consist.units if unit.address == address]
        others = address in consist.others
        if len(same) > 1 or others:
            whose = "that of another decoder, too" if others else f"that of {len(same)} units"
            message = f"the address {{}} is {whose}: what is written there reaches all of them"
            hint = "give each decoder an address of its own"
            yield from _said(ConflictReason.UNIT_TWICE, same[:1], message, hint)


def _placed(consist: Consist, position: UnitPosition) -> list[Unit]:
    return [unit for unit in consist.units if unit.position is position]


def _leads(consist: Consist) -> Iterator[Conflict]:
    leads = _placed(consist, UnitPosition.LEAD)
    hint = "one unit is the lead"
    if not leads:
        message = "no unit is the lead, which answers nearly all functions"
        yield from _said(ConflictReason.NO_LEAD, (), message, hint)
    if len(leads) > 1:
        yield from _said(ConflictReason.TWO_LEADS, leads, "{} are both the lead", hint)


def _last(consist: Consist) -> Iterator[Conflict]:
    last = _placed(consist, UnitPosition.TRAILING)
    if len(last) > 1:
        hint = "one unit is the last, those between are middle ones"
        message = "{} are both the trailing unit"
        yield from _said(ConflictReason.TWO_TRAILING, last, message, hint)


def _sounds(consist: Consist) -> Iterator[Conflict]:
    for role in sorted(SOUNDS):
        heard = [unit for unit in consist.units if unit.shows(role)]
        if len(heard) > 1:
            hint = f"let one alone obey it: obeys {role} = false"
            yield from _said(ConflictReason.SOUNDED_TWICE, heard, f"{{}} sound the {role}", hint)


def _middle(consist: Consist) -> Iterator[Conflict]:
    for unit in _placed(consist, UnitPosition.MIDDLE):
        lit = [role for role in sorted(LIGHTS) if unit.shows(role)]
        if lit:
            message = f"{{}}, a middle unit, shows its {' and '.join(lit)}"
            hint = "switch it off at its own address, and let it not obey: obeys = false"
            yield from _said(ConflictReason.MIDDLE_LIT, [unit], message, hint)


def _trailing_lit(consist: Consist) -> Iterator[Conflict]:
    for unit in _placed(consist, UnitPosition.TRAILING):
        ahead, behind = (
            unit.switches(role) if role in unit.functions else frozenset[str]()
            for role in sorted(LIGHTS)
        )
        if (ahead - behind) & {*unit.mask.names_on}:
            message = "{}, the trailing unit, shows its headlight at the consist's address"
            hint = "it shines at the unit ahead; let it not obey: obeys headlight = false"
            yield from _said(ConflictReason.TRAILING_LIT, [unit], message, hint)


def _lit_twice(consist: Consist) -> Iterator[Conflict]:
    """Lights of one kind that shine at one time; a middle unit's are told by themselves."""
    ends = [unit for unit in consist.units if unit.position is not UnitPosition.MIDDLE]
    for role in sorted(LIGHTS):
        lit: dict[tuple[Unit, ...], list[str]] = {}
        for way, backwards in (("forward", False), ("in reverse", True)):
            units = tuple(unit for unit in ends if unit.lit(role, backwards=backwards))
            lit.setdefault(units, []).append(way)
        for units, ways in lit.items():
            if len(units) > 1:
                message = f"{{}} show a {role} while the consist runs {' and '.join(ways)}"
                hint = f"let one alone obey it: obeys {role} = false"
                yield from _said(ConflictReason.LIT_TWICE, units, message, hint)


def _steps(consist: Consist) -> Iterator[Conflict]:
    few = [unit for unit in consist.units if unit.steps == 14]
    if few and len(few) < len(consist.units):
        message = "{} at 14 steps takes a bit of the others' speed for FL"
        hint = "set CV 29 bit 1 alike in all"
        yield from _said(ConflictReason.STEPS_DIFFER, few, message, hint)


def _above(consist: Consist) -> Iterator[Conflict]:
    for unit in consist.units:
        if unit.out_of_reach:
            told = ", ".join(f"{role} ({unit.functions[role]})" for role in unit.out_of_reach)
            message = f"{{}} obeys {told} at its own address alone"
            hint = "CV 21 and 22 end at F12; its maker may have more CVs"
            yield from _said(ConflictReason.ABOVE_F12, [unit], message, hint)


def _mixed(consist: Consist) -> Iterator[Conflict]:
    """One function of the consist's address that does different things in different units."""
    does: dict[str, dict[str, list[Unit]]] = {}
    for unit in consist.units:
        masked = {*unit.mask.names_on}
        for role in unit.functions:
            for name in unit.switches(role) & masked:
                if name not in LIT:
                    does.setdefault(name, {}).setdefault(role, []).append(unit)
    for name, roles in sorted(does.items(), key=lambda one: int(one[0][1:])):
        units = tuple(dict.fromkeys(unit for each in roles.values() for unit in each))
        if len(roles) > 1 and len(units) > 1:
            message = f"{name} at the consist's address is {' and '.join(roles)} in {{}}"
            hint = "give it one meaning, or let one unit not obey: obeys = false"
            yield from _said(ConflictReason.MIXED_FUNCTION, units, message, hint)


def _left_on(consist: Consist) -> Iterator[Conflict]:
    for unit in consist.units:
        left = sorted(unit.on - {*unit.mask.names_on})
        if left and consist.packets_to not in (None, unit.address):
            how = "goes off at its own address alone"
            if unit.steps == 14 and {*left} <= {*LIT}:
                how = "stays on, as it comes with the speed"
            message = f"{', '.join(left)} of {{}}, on now, {how}"
            yield from _said(
                ConflictReason.LEFT_ON, [unit], message, "switch off what should not stay on"
            )


def _trailing(consist: Consist) -> Iterator[Conflict]:
    for unit in _placed(consist, UnitPosition.TRAILING):
        if not unit.reversed:
            message = "{}, the trailing unit, is not reversed, as it often is"
            hint = "look which way it stands"
            yield from _said(ConflictReason.TRAILING_FORWARD, [unit], message, hint)


def _nearly(consist: Consist) -> Iterator[Conflict]:
    from difflib import get_close_matches

    known = SOUNDS | LIGHTS
    for unit in consist.units:
        for role, function in unit.functions.items():
            near = get_close_matches(role[:40].lower(), sorted(known), n=1, cutoff=0.75)
            if near and role not in known:
                message = f"{role} ({function}) of {{}} counts as any other word"
                yield from _said(ConflictReason.NEARLY_KNOWN, [unit], message, f"perhaps {near[0]}")


_CHECKS: tuple[Callable[[Consist], Iterator[Conflict]], ...] = (
    _no_consist,
    _long,
    _in_use,
    _twice,
    _leads,
    _last,
    _sounds,
    _middle,
    _trailing_lit,
    _lit_twice,
    _steps,
    _above,
    _mixed,
    _left_on,
    _trailing,
    _nearly,
)
