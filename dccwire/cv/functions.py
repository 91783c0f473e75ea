"""Functions: CV 13 and 14, 21 and 22, and the output locations of CV 33 to 46 (S-9.2.2)."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Self

from dccwire.cv.kinds import CONSIST_FUNCTIONS, ReservedBits
from dccwire.cv.values import CvValue, cv_value
from dccwire.errors import FieldError
from dccwire.fields import Functions
from dccwire.formats import Fields
from dccwire.instructions.function_groups import function_names
from dccwire.wording import either

__all__ = ["AlternatePowerFunctions", "ConsistFunctions", "OutputLocations"]

_LINE = "FFFFFFFF RRGGGGGG"
_MASK = Functions("G F", CONSIST_FUNCTIONS)
_KINDS: Fields = {"functions": _MASK, "reserved": ReservedBits("R", (6, 7))}


@dataclass(frozen=True, eq=False, repr=False)
class _FunctionMask(CvValue):
    """Base of the masks of F1 to F12 and both directions of FL."""

    __slots__ = ()
    functions: int = 0
    reserved: int = 0

    @classmethod
    def on(cls, *names: str) -> Self:
        """The mask with these functions; `FL` is FL-forward and FL-reverse together.

        Raises:
            FieldError: a function that the two CVs have no bit for, such as one above F12.
        """
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

    A bit is ignored where the function can be controlled.

    >>> AlternatePowerFunctions.on("FL-forward", "F1").to_cvs()
    {13: 1, 14: 1}
    """


@cv_value((21, 22), _LINE, "S-9.2.2, CV 21 and 22 (V8)", fields=_KINDS)
class ConsistFunctions(_FunctionMask):
    """CV 21 and 22: the functions that obey the consist address as well.

    >>> ConsistFunctions.on("FL", "F1", "F9").to_cvs()
    {21: 1, 22: 7}
    >>> ConsistFunctions.from_cvs({21: 0b10, 22: 0}).names_on
    ('F2',)
    >>> ConsistFunctions.on("F13")
    Traceback (most recent call last):
    dccwire.errors.FieldError: function: FL, F1, F2, F3, F4, F5, F6, F7, F8, FL-forward, \
FL-reverse, F9, F10, F11 or F12 expected, 'F13' given; CV 21 and 22 have no bit for another
    """


_LOCATED = ("fl_forward", "fl_reverse", *(f"f{number}" for number in range(1, 13)))
"""The fields of `OutputLocations`, that of CV 33 first."""

_LOWEST = (1,) * 5 + (4,) * 5 + (7,) * 4
"""The output of bit 0 of CV 33 to 46 (S-9.2.2, Table 2)."""

_LETTERS = "ABCDEFGHIJKLMN"


def _outputs(place: int) -> Functions:
    names = tuple(str(_LOWEST[place] + bit) for bit in range(8))
    return Functions(_LETTERS[place], names)


@cv_value(
    range(33, 47),
    " ".join(letter * 8 for letter in _LETTERS),
    "S-9.2.2, CV 33-46 and Table 2",
    fields={name: _outputs(place) for place, name in enumerate(_LOCATED)},
)
class OutputLocations(CvValue):
    """CV 33 to 46: which outputs FL forward, FL reverse and F1 to F12 switch, a bit an output.

    CV 33-37 reach outputs 1 to 8, CV 38-42 outputs 4 to 11, CV 43-46 outputs 7 to 14, the lowest in
    bit 0. What is not named is at its default (Table 2): FL forward is output 1, FL reverse 2,
    F n output n + 2.

    >>> list(OutputLocations.default().to_cvs().values())
    [1, 2, 4, 8, 16, 4, 8, 16, 32, 64, 16, 32, 64, 128]
    >>> changed = OutputLocations.default().moved("F3", {3, 5})
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

    @classmethod
    def default(cls) -> Self:
        """The defaults of Table 2, by name: the same as no arguments."""
        return cls()

    def moved(self, function: str, outputs: Collection[int]) -> Self:
        """The same, but for the outputs of one function, `FL-forward`, `FL-reverse`, `F1` to `F12`.

        Raises:
            FieldError: no such function, or an output that its CV has no bit for.
        """
        place = _place(function)
        lowest = _LOWEST[place]
        for output in outputs:
            if type(output) is not int or not lowest <= output <= lowest + 7:
                bound, hint = f"{lowest} to {lowest + 7}", f"CV {33 + place} reaches no other"
                raise FieldError(f"output of {function}", bound, output, hint)
        mask = sum({1 << output - lowest for output in outputs})
        return replace(self, **{_LOCATED[place]: mask})

    def outputs(self, function: str) -> tuple[int, ...]:
        """The outputs that a function switches.

        Raises:
            FieldError: no such function.
        """
        name = _LOCATED[_place(function)]
        kind = self.kinds[name]
        assert isinstance(kind, Functions)
        return tuple(map(int, kind.names_of(getattr(self, name))))


_NAMES = ("FL-forward", "FL-reverse", *function_names(1, 12))


def _place(function: str) -> int:
    places = Functions("", _NAMES).spread(function)
    if len(places) > 1:
        raise FieldError("function", either(places), function)
    return _NAMES.index(places[0])
