"""Function groups: FL and F1 to F12 (CCC = 100, 101), F13 to F28 (feature expansion).

A group is one mask with named access. Every packet carries the whole group, so switching one
function needs the state of its neighbours.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Self

from dccwire.errors import FieldError
from dccwire.fields import Functions
from dccwire.formats import Instruction, instruction

__all__ = [
    "FunctionGroup",
    "FunctionGroupOne",
    "FunctionGroupTwoF5F8",
    "FunctionGroupTwoF9F12",
    "FunctionsF13F20",
    "FunctionsF21F28",
    "function_group",
]


def function_names(first: int, last: int) -> tuple[str, ...]:
    """`F13` to `F20`, as the standards name functions."""
    return tuple(f"F{number}" for number in range(first, last + 1))


class FunctionGroup(Instruction):
    """Base of the groups: `functions` is the mask, bit 0 the first of `names()`.

    >>> group = FunctionGroupOne.on("FL", "F2")
    >>> group["FL"], group["F1"], bytes(group).hex()
    (True, False, '92')
    >>> group.switched("FL", False).names_on
    ('F2',)
    """

    __slots__ = ()
    functions: int

    @classmethod
    def names(cls) -> tuple[str, ...]:
        """The functions of the group, that of bit 0 first."""
        return cls._kind().names

    @classmethod
    def _kind(cls) -> Functions:
        kind = cls.kinds["functions"]
        assert isinstance(kind, Functions)
        return kind

    @classmethod
    def on(cls, *names: str) -> Self:
        """The group with these functions on and the others off.

        Raises:
            FieldError: a name is not in the group.
        """
        return cls(cls._kind().mask(names))  # type: ignore[call-arg] # each group has this one field

    def __getitem__(self, name: str) -> bool:
        return bool(self.functions & self._kind().mask([name]))

    def switched(self, name: str, state: bool) -> Self:
        """The same group with one function on or off.

        Raises:
            FieldError: the name is not in the group.
        """
        bit = self._kind().mask([name])
        mask = self.functions | bit if state else self.functions & ~bit
        return replace(self, functions=mask)  # type: ignore[type-var] # groups are dataclasses

    @property
    def names_on(self) -> tuple[str, ...]:
        """The functions that are on, lowest bit first."""
        return tuple(self._kind().names_of(self.functions))


_ONE = (*function_names(1, 4), "FL")


@instruction(
    "100DDDDD", "S-9.2.1 §C, Function Group One", fields={"functions": Functions("D", _ONE)}
)
class FunctionGroupOne(FunctionGroup):
    """F1 to F4 and FL; FL counts where bit 1 of CV 29 is 1, and has no meaning elsewhere (X20)."""

    functions: int


@instruction(
    "1011DDDD",
    "S-9.2.1 §C, Function Group Two",
    fields={"functions": Functions("D", function_names(5, 8))},
)
class FunctionGroupTwoF5F8(FunctionGroup):
    """F5 to F8: function group two with S = 1."""

    functions: int


@instruction(
    "1010DDDD",
    "S-9.2.1 §C, Function Group Two",
    fields={"functions": Functions("D", function_names(9, 12))},
)
class FunctionGroupTwoF9F12(FunctionGroup):
    """F9 to F12: function group two with S = 0."""

    functions: int


@instruction(
    "11011110 DDDDDDDD",
    "S-9.2.1 §C, F13-F20 Function Control",
    fields={"functions": Functions("D", function_names(13, 20))},
)
class FunctionsF13F20(FunctionGroup):
    """F13 to F20; a station that does not refresh them sends each change at least twice (X38)."""

    functions: int


@instruction(
    "11011111 DDDDDDDD",
    "S-9.2.1 §C, F21-F28 Function Control",
    fields={"functions": Functions("D", function_names(21, 28))},
)
class FunctionsF21F28(FunctionGroup):
    """F21 to F28; a station that does not refresh them sends each change at least twice (X38)."""

    functions: int


GROUPS: tuple[type[FunctionGroup], ...] = (
    FunctionGroupOne,
    FunctionGroupTwoF5F8,
    FunctionGroupTwoF9F12,
    FunctionsF13F20,
    FunctionsF21F28,
)


def function_group(name: str) -> type[FunctionGroup]:
    """The group that carries a function: `FL` (which many call F0) or `F1` to `F28`.

    Raises:
        FieldError: no group of the 2012 edition carries it.

    >>> function_group("F17").__name__
    'FunctionsF13F20'
    """
    for group in GROUPS:
        if name in group.names():
            return group
    raise FieldError("function", "FL (for F0) or F1 to F28", name)
