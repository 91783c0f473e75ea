"""What the numbers of a layout's fields mean, and how they are written in text and JSON.

Instructions and CV values use the same kinds. Room: imports `wording` and `errors` alone.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from enum import Enum
from functools import cached_property
from typing import Any, ClassVar, TypeAlias

from dccwire.errors import FieldError, ShapeError
from dccwire.wording import either

Plain: TypeAlias = bool | int | str | list[str] | list[int] | None


class FieldKind:
    """Base of the field kinds: a `formula` for the layout, a `unit`, perhaps a `table`.

    The table leads from number to value where not every number is legal or the value is no integer;
    the plain form is what JSON holds, and the text shares it.
    """

    table: Mapping[int, Hashable] | None = None
    apart: ClassVar[bool] = False
    """Whether some bits of the field say something without the others."""

    def __init__(self, formula: str = "", unit: str = "") -> None:
        self.formula = formula
        self.unit = unit

    @cached_property
    def numbers(self) -> Mapping[Hashable, int]:
        """The table the other way: from value to number."""
        return {value: number for number, value in (self.table or {}).items()}

    def to_number(self, value: Any) -> int:
        """The number that the bits hold for a legal value."""
        number: int = value if self.table is None else self.numbers[value]
        return number

    def from_number(self, number: int) -> object:
        """The value of the number that the bits hold; it may yet be illegal."""
        return number if self.table is None else self.table.get(number, number)

    def meaning(self, value: object) -> str:
        """What the value says beside its text; empty if that is all."""
        return ""

    def bound(self, lowest: int, highest: int) -> str:
        """The legal values in words, for an error, given what the bits can hold."""
        return f"{lowest} to {highest}"

    def allowed(self, lowest: int, highest: int) -> str:
        """The same as text has them."""
        return self.bound(lowest, highest) + self.unit

    def holds(self, value: object, lowest: int, highest: int) -> bool:
        """Whether a value is legal, given what the bits can hold."""
        legal = type(value) is int and lowest <= value <= highest
        return legal and (self.table is None or value in self.table)

    def check(self, name: str, value: object, lowest: int, highest: int) -> None:
        """Refuse an illegal value by a FieldError that names field, bound and value."""
        if not self.holds(value, lowest, highest):
            other = type(value) is not int and hasattr(value, "__index__")
            hint = "a plain int is needed" if other else ""
            raise FieldError(name, self.bound(lowest, highest), value, hint)

    def schema(self, lowest: int, highest: int) -> dict[str, object]:
        """The JSON Schema of the plain form, given what the bits can hold; here of a table."""
        values = [self.plain(value) for value in (self.table or {}).values()]
        return {"type": "boolean"} if {*map(type, values)} == {bool} else {"enum": values}

    def plain(self, value: object) -> Plain:
        """The value as JSON holds it."""
        raise NotImplementedError  # a base, never made itself

    def value(self, name: str, plain: object) -> object:
        """The value that a plain form stands for, or a ShapeError; `check` comes later."""
        raise NotImplementedError  # a base, never made itself

    def text(self, value: object) -> str:
        """The value as one word, with its unit."""
        return f"{self.plain(value)}{self.unit}"

    def from_text(self, name: str, word: str) -> object:
        """The value that a word stands for, or a ShapeError."""
        return self.value(name, word)

    def of_bits(self, name: str, number: int, low: int, width: int) -> str:
        """What `width` bits say from weight `low` on, where the kind's bits stand `apart`."""
        raise NotImplementedError  # of kinds whose bits do


class Number(FieldKind):
    """An integer; `legal` limits it to some of the numbers that its bits can hold."""

    def __init__(self, formula: str = "", unit: str = "", legal: Iterable[int] = ()) -> None:
        super().__init__(formula, unit)
        self.table = {number: number for number in legal} or None

    def bound(self, lowest: int, highest: int) -> str:
        if self.table is None:
            return super().bound(lowest, highest)
        low, high = min(self.table), max(self.table)
        whole = high - low == len(self.table) - 1 > 0
        return super().bound(low, high) if whole else either(sorted(self.table))

    def schema(self, lowest: int, highest: int) -> dict[str, object]:
        low, high = min(self.table or (lowest,)), max(self.table or (highest,))
        if self.table is not None and high - low >= len(self.table):
            return super().schema(lowest, highest)
        return {"type": "integer", "minimum": low, "maximum": high}

    def plain(self, value: object) -> Plain:
        assert isinstance(value, int)
        return value

    def value(self, name: str, plain: object) -> int:
        if type(plain) is not int:
            raise ShapeError(name, "an integer", plain)
        return plain

    def from_text(self, name: str, word: str) -> object:
        digits = word.removesuffix(self.unit)
        if not (digits.isascii() and digits.isdigit() and len(digits) < 20):
            raise ShapeError(name, f"an integer{self.unit and ' in ' + self.unit}", word)
        return int(digits)


class Choice(FieldKind):
    """One of a few named values: members of an enumeration, numbers, lower-case words, or None."""

    def __init__(self, formula: str, table: Mapping[int, Hashable]) -> None:
        super().__init__(formula)
        self.table = dict(table)
        self.words = {self.text(value): value for value in self.table.values()}
        self._types = {*map(type, self.table.values())}  # True is no 1, nor 1 True

    def bound(self, lowest: int, highest: int) -> str:
        return _in_order(self.numbers)

    def allowed(self, lowest: int, highest: int) -> str:
        return _in_order(self.words)

    def holds(self, value: object, lowest: int, highest: int) -> bool:
        return type(value) in self._types and value in self.numbers

    def plain(self, value: object) -> Plain:
        """The member's name in lower case with hyphens; numbers, words and None as they are."""
        if isinstance(value, Enum):
            return value.name.lower().replace("_", "-")
        assert value is None or isinstance(value, int | str)
        return value

    def value(self, name: str, plain: object) -> object:
        for value in self.numbers:
            known = self.plain(value)
            if type(plain) is type(known) and plain == known:
                return value
        raise ShapeError(name, _in_order(map(self.plain, self.numbers)).lower(), plain)

    def text(self, value: object) -> str:
        return str(self.plain(value)).lower()

    def from_text(self, name: str, word: str) -> object:
        if word not in self.words:
            raise ShapeError(name, self.allowed(0, 0), word)
        return self.words[word]


class Flag(Choice):
    """True or false, sent as the numbers `on` and `off`; what they mean is told by `yes` and `no`.

    >>> Flag("A", "two-byte address", "one-byte address").meaning(True)
    'two-byte address'
    """

    def __init__(
        self, formula: str = "", yes: str = "", no: str = "", *, on: int = 1, off: int = 0
    ) -> None:
        super().__init__(formula, {on: True, off: False})
        self._meanings = {True: yes, False: no}

    def meaning(self, value: object) -> str:
        return self._meanings[bool(value)]

    def allowed(self, lowest: int, highest: int) -> str:
        return either(self.words)

    def text(self, value: object) -> str:
        return "yes" if value else "no"


_OTHER_NAME = {"F0": "FL", "FL": "F0"}
"""The headlight's two names: the standards', which is printed, and the trade's."""


class Functions(FieldKind):
    """A mask of functions; the plain form lists the names of those that are on.

    `names` are the functions of bit 0, bit 1 and so on. F0, the trade's name of FL, is read as FL
    (F0-forward too), and FL as both directions where a mask has a bit for each.

    >>> Functions("D", ("F1", "FL")).mask(["F0"])
    2
    """

    apart = True

    def __init__(self, formula: str, names: Sequence[str]) -> None:
        super().__init__(formula)
        self.names = tuple(names)

    def allowed(self, lowest: int, highest: int) -> str:
        return f"none, or some, joined by commas, of {' '.join(self.names)}"

    def plain(self, value: object) -> list[str]:
        """The names of the functions that are on, lowest bit first."""
        assert isinstance(value, int)
        return [name for bit, name in enumerate(self.names) if value >> bit & 1]

    names_of = plain

    def value(self, name: str, plain: object) -> object:
        try:
            if isinstance(plain, list) and all(isinstance(one, str) for one in plain):
                return self.mask(plain)
        except FieldError:
            pass
        raise ShapeError(name, f"a list of {', '.join(self.names)}", plain)

    def mask(self, names: Iterable[str]) -> int:
        """The mask in which these functions are on; FieldError for one that it has no name of."""
        return sum({1 << self.names.index(own) for one in names for own in self.spread(one)})

    def spread(self, name: str) -> tuple[str, ...]:
        """The names that the mask has for a function, or a FieldError."""
        if not isinstance(name, str):
            raise FieldError("function", either(self.names), name)
        other = _OTHER_NAME.get(name[:2], name[:2]) + name[2:]
        both = ("FL-forward", "FL-reverse") if name in _OTHER_NAME else (name,)
        for names in ((name,), (other,), both):
            if {*names} <= {*self.names}:
                return names
        raise FieldError("function", either(self.names), name)

    def text(self, value: object) -> str:
        return ",".join(self.names_of(value)) or "none"

    def schema(self, lowest: int, highest: int) -> dict[str, object]:
        return {"type": "array", "items": {"enum": [*self.names]}, "uniqueItems": True}

    def from_text(self, name: str, word: str) -> object:
        return self.value(name, [] if word == "none" else word.split(","))

    def of_bits(self, name: str, number: int, low: int, width: int) -> str:
        """Which of the functions are on, and the function of each bit, the first sent first."""
        on = self.text(number & ((1 << width) - 1) << low)
        return f"{name}={on} of {' '.join(self.names[low : low + width][::-1])}"


class Data(FieldKind):
    """Bytes kept as they came; hex in text and JSON."""

    def bound(self, lowest: int, highest: int) -> str:
        return "one byte or more"

    def allowed(self, lowest: int, highest: int) -> str:
        return "hex digits, two a byte"

    def holds(self, value: object, lowest: int, highest: int) -> bool:
        return isinstance(value, bytes) and len(value) > 0

    def schema(self, lowest: int, highest: int) -> dict[str, object]:
        return {"type": "string", "pattern": f"^([0-9A-F]{{2}}){{{lowest},{highest}}}$"}

    def plain(self, value: object) -> Plain:
        assert isinstance(value, bytes)
        return value.hex().upper()

    def value(self, name: str, plain: object) -> object:
        try:
            return bytes.fromhex(plain)  # type: ignore[arg-type] # TypeError is caught
        except (TypeError, ValueError):
            raise ShapeError(name, "bytes as hex digits", plain) from None


def _in_order(values: Iterable[object]) -> str:
    """Values in words: the shorter first, which puts `none` before `write` and 9 before 10."""
    words = [str(value) for value in values]
    words.sort(key=lambda word: (len(word), word))
    return either(words)
