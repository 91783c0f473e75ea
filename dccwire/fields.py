"""What the numbers of a layout's fields mean, and how they are written in text and JSON.

A field kind has a formula for the layout, a table from number to value where not every number is
legal or the value is no integer, and a plain form (what JSON holds) that the one-line text shares.
Room: imports `errors` alone.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from enum import Enum
from typing import ClassVar, TypeAlias

from dccwire.errors import FieldError, ShapeError

__all__ = ["Choice", "Data", "FieldKind", "Flag", "Functions", "Number", "Plain"]

Plain: TypeAlias = bool | int | str | list[str] | None


class FieldKind:
    """Base of the field kinds: `formula`, `unit`, and `table` from number to value (or None).

    Subclasses say which values are legal (`check`) and how they look (`plain`, `text`).
    """

    table: Mapping[int, Hashable] | None = None
    wanted: ClassVar[str]

    def __init__(self, formula: str = "", unit: str = "") -> None:
        self.formula = formula
        self.unit = unit

    def bound(self, lowest: int, highest: int) -> str:
        """The legal values in words, for an error, given what the bits can hold."""
        return f"{lowest} to {highest}"

    def holds(self, value: object, lowest: int, highest: int) -> bool:
        """Whether a value is legal, given what the bits can hold."""
        return type(value) is int and lowest <= value <= highest

    def check(self, name: str, value: object, lowest: int, highest: int) -> None:
        """Refuse an illegal value.

        Raises:
            FieldError: naming field, bound and value.
        """
        if not self.holds(value, lowest, highest):
            bound = self.bound(lowest, highest)
            plain = type(value) is not int and hasattr(value, "__index__")
            raise FieldError(name, f"a plain int, {bound}," if plain else bound, value)

    def schema(self, lowest: int, highest: int) -> dict[str, object]:
        """The JSON Schema of the plain form, given what the bits can hold; here of a table."""
        values = [self.plain(value) for value in (self.table or {}).values()]
        return {"type": "boolean"} if {*map(type, values)} == {bool} else {"enum": values}

    def plain(self, value: object) -> Plain:
        """The value as JSON holds it."""
        raise NotImplementedError  # a base, never made itself

    def value(self, name: str, plain: object) -> object:
        """The value that a plain form stands for; `check` comes later.

        Raises:
            ShapeError: the plain form has the wrong type.
        """
        raise NotImplementedError  # a base, never made itself

    def text(self, value: object) -> str:
        """The value as one word, with its unit."""
        return f"{self.plain(value)}{self.unit}"

    def from_text(self, name: str, word: str) -> object:
        """The value that a word stands for.

        Raises:
            ShapeError: the word has the wrong form.
        """
        return self.value(name, word)


class Number(FieldKind):
    """An integer; `legal` limits it to some of the numbers that its bits can hold."""

    def __init__(self, formula: str = "", unit: str = "", legal: Sequence[int] = ()) -> None:
        super().__init__(formula, unit)
        if legal:
            self.table = {number: number for number in legal}

    def bound(self, lowest: int, highest: int) -> str:
        """`1 to 127`, or the legal numbers one by one."""
        if self.table is None:
            return super().bound(lowest, highest)
        low, high = min(self.table), max(self.table)
        whole = high - low == len(self.table) - 1 > 0
        return super().bound(low, high) if whole else _either(self.table)

    def schema(self, lowest: int, highest: int) -> dict[str, object]:
        """An integer within the bounds, or one of the legal numbers where they have gaps."""
        low, high = min(self.table or (lowest,)), max(self.table or (highest,))
        if self.table is not None and high - low >= len(self.table):
            return super().schema(lowest, highest)
        return {"type": "integer", "minimum": low, "maximum": high}

    def holds(self, value: object, lowest: int, highest: int) -> bool:
        """An integer within the bits, and in the legal set if there is one."""
        return super().holds(value, lowest, highest) and (self.table is None or value in self.table)

    def plain(self, value: object) -> Plain:
        """The integer itself."""
        assert isinstance(value, int)
        return value

    def value(self, name: str, plain: object) -> object:
        """An integer, no boolean and no digits in a string."""
        if type(plain) is not int:
            raise ShapeError(name, "an integer", plain)
        return plain

    def from_text(self, name: str, word: str) -> object:
        """Decimal digits, with or without the unit."""
        digits = word.removesuffix(self.unit)
        if not (digits.isascii() and digits.isdigit() and len(digits) < 20):
            raise ShapeError(name, f"an integer{self.unit and ' in ' + self.unit}", word)
        return int(digits)


class Flag(FieldKind):
    """True or false, sent as the numbers `on` and `off`; `yes` and `no` in text."""

    def __init__(self, formula: str = "", *, on: int = 1, off: int = 0) -> None:
        super().__init__(formula)
        self.table = {off: False, on: True}

    def bound(self, lowest: int, highest: int) -> str:
        """`True or False`."""
        return "True or False"

    def holds(self, value: object, lowest: int, highest: int) -> bool:
        """A boolean, no integer."""
        return type(value) is bool

    def plain(self, value: object) -> Plain:
        """The boolean itself."""
        return bool(value)

    def value(self, name: str, plain: object) -> object:
        """A boolean."""
        if type(plain) is not bool:
            raise ShapeError(name, "true or false", plain)
        return plain

    def text(self, value: object) -> str:
        """`yes` or `no`."""
        return "yes" if value else "no"

    def from_text(self, name: str, word: str) -> object:
        """`yes` or `no`."""
        if word not in ("yes", "no"):
            raise ShapeError(name, "yes or no", word)
        return word == "yes"


class Choice(FieldKind):
    """One of a few named values: members of an enumeration, numbers, or None."""

    def __init__(self, formula: str, table: Mapping[int, Hashable]) -> None:
        super().__init__(formula)
        self.table = dict(table)
        self._values = frozenset(self.table.values())
        self._plains = {self.plain(value): value for value in self.table.values()}

    def bound(self, lowest: int, highest: int) -> str:
        """The values one by one."""
        return _either(self._values)

    def holds(self, value: object, lowest: int, highest: int) -> bool:
        """One of the values, of the same type."""
        return any(
            value is known or (type(value) is int and value == known) for known in self._values
        )

    def plain(self, value: object) -> int | str | None:  # narrower, so that it can be a key
        """The member's name in lower case with hyphens; numbers and None as they are."""
        if isinstance(value, Enum):
            return value.name.lower().replace("_", "-")
        assert value is None or isinstance(value, int)
        return value

    def value(self, name: str, plain: object) -> object:
        """The value with this plain form."""
        if type(plain) not in (int, str, type(None)) or plain not in self._plains:
            raise ShapeError(name, _either(self._plains), plain)
        return self._plains[plain]

    def text(self, value: object) -> str:
        """The plain form as a word; None is `none`."""
        return str(self.plain(value)).lower()

    def from_text(self, name: str, word: str) -> object:
        """The value with this word."""
        for plain, value in self._plains.items():
            if str(plain).lower() == word:
                return value
        raise ShapeError(name, _either(self._plains).lower(), word)


class Functions(FieldKind):
    """A mask of functions; the plain form lists the names of those that are on.

    Args:
        formula: the letters of the mask.
        names: the function of bit 0, bit 1 and so on.
    """

    def __init__(self, formula: str, names: Sequence[str]) -> None:
        super().__init__(formula)
        self.names = tuple(names)

    def plain(self, value: object) -> Plain:
        """The names of the functions that are on, lowest bit first."""
        return [*self.names_of(value)]

    def names_of(self, mask: object) -> list[str]:
        """The names of the functions that a mask has on, lowest bit first."""
        assert isinstance(mask, int)
        return [name for bit, name in enumerate(self.names) if mask >> bit & 1]

    def value(self, name: str, plain: object) -> object:
        """The mask of a list of names."""
        if not isinstance(plain, list) or not all(one in self.names for one in plain):
            raise ShapeError(name, f"a list of {', '.join(self.names)}", plain)
        return self.mask(plain)

    def mask(self, names: Sequence[str]) -> int:
        """The mask in which these functions are on.

        Raises:
            FieldError: a name is not among the mask's.
        """
        for one in names:
            if one not in self.names:
                raise FieldError("function", " or ".join(self.names), one)
        return sum({1 << self.names.index(one) for one in names})

    def text(self, value: object) -> str:
        """The names joined by commas, or `none`."""
        return ",".join(self.names_of(value)) or "none"

    def schema(self, lowest: int, highest: int) -> dict[str, object]:
        """A list of names, each of them once."""
        return {"type": "array", "items": {"enum": [*self.names]}, "uniqueItems": True}

    def from_text(self, name: str, word: str) -> object:
        """The mask of names joined by commas, or of `none`."""
        return self.value(name, [] if word == "none" else word.split(","))


class Data(FieldKind):
    """Bytes kept as they came; hex in text and JSON."""

    def bound(self, lowest: int, highest: int) -> str:
        """`one byte or more`."""
        return "one byte or more"

    def holds(self, value: object, lowest: int, highest: int) -> bool:
        """Bytes, not none."""
        return type(value) is bytes and len(value) > 0

    def schema(self, lowest: int, highest: int) -> dict[str, object]:
        """A string of so many bytes in hex."""
        return {"type": "string", "pattern": f"^([0-9A-F]{{2}}){{{lowest},{highest}}}$"}

    def plain(self, value: object) -> Plain:
        """Hex digits, two a byte, in upper case."""
        assert isinstance(value, bytes)
        return value.hex().upper()

    def value(self, name: str, plain: object) -> object:
        """The bytes of a string of hex digits."""
        try:
            return bytes.fromhex(plain)  # type: ignore[arg-type] # TypeError is caught
        except (TypeError, ValueError):
            raise ShapeError(name, "bytes as hex digits", plain) from None


def _either(values: object) -> str:
    """Values in words: `1, 2 or 3`."""
    assert isinstance(values, (Mapping, frozenset))
    words = sorted((str(value) for value in values), key=lambda word: (len(word), word))
    return " or ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
