"""Function groups: FL and F1 to F12 (CCC = 100, 101); feature expansion (110): more, and states.

A group is one mask with named access. Every packet carries the whole group, so switching one
function needs the state of its neighbours.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Self, TypeVar, dataclass_transform

from dccwire.errors import FieldError, Reason
from dccwire.fields import Flag, Functions
from dccwire.formats import Instruction, Remark, instruction, reserved

__all__ = [
    "BinaryStateLongForm",
    "BinaryStateShortForm",
    "FunctionGroup",
    "FunctionGroupOne",
    "FunctionGroupTwoF5F8",
    "FunctionGroupTwoF9F12",
    "FunctionsF13F20",
    "FunctionsF21F28",
    "function_group",
]

_T = TypeVar("_T", bound=type[Instruction])


def function_names(first: int, last: int) -> tuple[str, ...]:
    """`F13` to `F20`, as the standards name functions."""
    return tuple(f"F{number}" for number in range(first, last + 1))


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class FunctionGroup(Instruction):
    """Base of the groups: `functions` is the mask, bit 0 the first of `names()`.

    As a collection it holds the names of the functions that are on.

    >>> group = FunctionGroupOne.on("FL", "F2")
    >>> group["FL"], group["F1"], bytes(group).hex()
    (True, False, '92')
    >>> "F1" in group, list(group)
    (False, ['F2', 'FL'])
    >>> group.switched("FL", False).names_on
    ('F2',)
    """

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
        """The group with these functions on and the others off; refuses other groups' names."""
        return cls(cls._kind().mask(names))

    def __getitem__(self, name: str) -> bool:
        return bool(self.functions & self._kind().mask([name]))

    def __contains__(self, name: object) -> bool:
        return ("FL" if name == "F0" else name) in self.names_on

    def __iter__(self) -> Iterator[str]:
        return iter(self.names_on)

    def switched(self, name: str, state: bool) -> Self:
        """The same group with one function on or off."""
        if type(state) is not bool:
            raise FieldError(name, "True or False", state)
        bit = self._kind().mask([name])
        mask = self.functions | bit if state else self.functions & ~bit
        return replace(self, functions=mask)

    @property
    def names_on(self) -> tuple[str, ...]:
        """The functions that are on, lowest bit first."""
        return tuple(self._kind().names_of(self.functions))


@dataclass_transform(frozen_default=True)
def group(line: str, clause: str, first: int, last: int) -> Callable[[_T], _T]:
    """Declare a group of the functions `first` to `last`: `instruction` with this one field."""
    return instruction(
        line, clause, fields={"functions": Functions("D", function_names(first, last))}
    )


_ONE = (*function_names(1, 4), "FL")


@instruction(
    "100DDDDD", "S-9.2.1 §C, Function Group One", fields={"functions": Functions("D", _ONE)}
)
class FunctionGroupOne(FunctionGroup):
    """F1 to F4 and FL; FL counts where bit 1 of CV 29 is 1, and has no meaning elsewhere (X20)."""


@group("1011DDDD", "S-9.2.1 §C, Function Group Two", 5, 8)
class FunctionGroupTwoF5F8(FunctionGroup):
    """F5 to F8: function group two with S = 1."""


@group("1010DDDD", "S-9.2.1 §C, Function Group Two", 9, 12)
class FunctionGroupTwoF9F12(FunctionGroup):
    """F9 to F12: function group two with S = 0."""


@group("11011110 DDDDDDDD", "S-9.2.1 §C, F13-F20 Function Control", 13, 20)
class FunctionsF13F20(FunctionGroup):
    """F13 to F20; without a refresh, each change is to be sent twice or more (X38)."""


@group("11011111 DDDDDDDD", "S-9.2.1 §C, F21-F28 Function Control", 21, 28)
class FunctionsF21F28(FunctionGroup):
    """F21 to F28; without a refresh, each change is to be sent twice or more (X38)."""


def function_group(name: str) -> type[FunctionGroup]:
    """The group that carries a function: `FL`, also by its usual name `F0`, or `F1` to `F28`.

    >>> function_group("F17").__name__
    'FunctionsF13F20'
    """
    for cls in (
        FunctionGroupOne,
        FunctionGroupTwoF5F8,
        FunctionGroupTwoF9F12,
        FunctionsF13F20,
        FunctionsF21F28,
    ):
        if ("FL" if name == "F0" else name) in cls.names():
            return cls
    raise FieldError("function", "FL (for F0) or F1 to F28", name)


@instruction(
    "11000000 DLLLLLLL HHHHHHHH",
    "S-9.2.1 §C, Binary State Control, long form",
    fields={"on": Flag("D"), "state": "H L"},
)
class BinaryStateLongForm(Instruction):
    """Binary state H × 128 + L (X23), 1 to 32767; 0 means all of them.

    >>> bytes(BinaryStateLongForm(on=True, state=300)).hex(" ")
    'c0 ac 02'
    """

    on: bool
    state: int

    def remarks(self) -> Iterator[Remark]:
        if 1 <= self.state <= 127:
            message = "the short form is the one for binary states 1 to 127 (X21)"
            yield Remark(Reason.DISCOURAGED, message, self.clause)


@instruction(
    "11011101 DLLLLLLL",
    "S-9.2.1 §C, Binary State Control, short form",
    fields={"on": Flag("D"), "state": "L"},
)
class BinaryStateShortForm(Instruction):
    """Binary state 1 to 127; 0 means all 127 of them.

    >>> bytes(BinaryStateShortForm(on=False, state=0)).hex(" ")
    'dd 00'
    """

    on: bool
    state: int


reserved("110CCCCC", clause="S-9.2.1 §C, Feature Expansion")
