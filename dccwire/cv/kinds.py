"""Field kinds that CVs need beside those of packets: bits in words, reserved bits, bytes in a row.

Room: what one field of a CV means.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dccwire.errors import FieldError, ShapeError
from dccwire.fields import FieldKind, Flag, Functions, Number
from dccwire.instructions.function_groups import function_names

__all__ = [
    "CONSIST_FUNCTIONS",
    "Bit",
    "Octets",
    "Range",
    "ReservedBits",
    "field_number",
    "field_value",
]

CONSIST_FUNCTIONS = (*function_names(1, 8), "FL-forward", "FL-reverse", *function_names(9, 12))
"""The functions of CV 13 and 14, of CV 21 and 22, bit 0 of the first first (S-9.2.2; V8)."""


class Bit(Flag):
    """One bit, with words for both of its states.

    >>> Bit("A", "two-byte address", "one-byte address").meaning(True)
    'two-byte address'
    """

    def __init__(self, formula: str, set_: str, clear: str) -> None:
        super().__init__(formula)
        self.words = {True: set_, False: clear}

    def meaning(self, value: bool) -> str:
        """What the state says."""
        return self.words[value]


class ReservedBits(Functions):
    """Bits that the standard reserves: kept as they are found, so that nothing is lost.

    Args:
        formula: their letter.
        bits: their numbers within the CV, the lowest first; with `cv` where a value has two.

    >>> kind = ReservedBits("R", (3, 6))
    >>> kind.text(kind.mask(["bit-6"]))
    'bit-6'
    """

    def __init__(self, formula: str, bits: Sequence[int], cv: int | None = None) -> None:
        where = "" if cv is None else f"cv-{cv}-"
        super().__init__(formula, tuple(f"{where}bit-{bit}" for bit in bits))


class Range(Number):
    """An integer that may not use all that its bits can hold.

    >>> Range("A", 0, 10239).bound(0, 16383)
    '0 to 10239'
    """

    def __init__(self, formula: str, lowest: int, highest: int, unit: str = "") -> None:
        super().__init__(formula, unit)
        self.lowest, self.highest = lowest, highest

    def bound(self, lowest: int, highest: int) -> str:
        """The narrower bounds."""
        return super().bound(self.lowest, self.highest)

    def holds(self, value: object, lowest: int, highest: int) -> bool:
        """An integer within the narrower bounds."""
        return super().holds(value, self.lowest, self.highest)


class Octets(FieldKind):
    """A row of bytes, as a tuple of integers; a list in JSON, joined by commas in text.

    >>> kind = Octets("D", 3)
    >>> kind.text((1, 2, 3)), kind.from_text("points", "4,5,6")
    ('1,2,3', (4, 5, 6))
    """

    def __init__(self, formula: str, count: int) -> None:
        super().__init__(formula)
        self.count = count

    def bound(self, lowest: int, highest: int) -> str:
        """How many numbers, and of which size."""
        return f"a tuple of {self.count} numbers from 0 to 255"

    def holds(self, value: object, lowest: int, highest: int) -> bool:
        """So many integers, each a byte."""
        return (
            isinstance(value, tuple)
            and len(value) == self.count
            and all(type(one) is int and 0 <= one <= 255 for one in value)
        )

    def check(self, name: str, value: object, lowest: int, highest: int) -> None:
        """Refuse an illegal value, and name the number that is out of bounds.

        Raises:
            FieldError: naming field, bound and value.
        """
        if isinstance(value, tuple) and len(value) != self.count:
            raise FieldError(f"count of {name}", str(self.count), len(value))
        for place, one in enumerate(value if isinstance(value, tuple) else ()):
            if type(one) is not int or not 0 <= one <= 255:
                raise FieldError(f"{name}, number {place + 1}", "0 to 255", one)
        super().check(name, value, lowest, highest)

    def plain(self, value: object) -> Any:  # wider than its base's: a list of integers
        """The numbers as a list."""
        assert isinstance(value, tuple)
        return list(value)

    def value(self, name: str, plain: object) -> object:
        """The tuple of a list."""
        if not isinstance(plain, list):
            raise ShapeError(name, "a list of integers", plain)
        return tuple(plain)

    def text(self, value: object) -> str:
        """The numbers joined by commas."""
        assert isinstance(value, tuple)
        return ",".join(map(str, value))

    def from_text(self, name: str, word: str) -> object:
        """The tuple of numbers joined by commas."""
        number = Number()
        return tuple(number.from_text(name, digits) for digits in word.split(","))


def field_number(kind: FieldKind, value: object) -> int:
    """The number that the bits of a field hold for a legal value.

    >>> field_number(Flag("A"), True), field_number(Octets("D", 2), (1, 2))
    (1, 258)
    """
    if isinstance(kind, Octets):
        assert isinstance(value, tuple)
        return int.from_bytes(value)
    if kind.table is not None:
        return next(number for number, known in kind.table.items() if known == value)
    assert isinstance(value, int)
    return value


def field_value(kind: FieldKind, number: int) -> object:
    """The value of the number that the bits of a field hold; it may yet be illegal.

    >>> field_value(Flag("A"), 1), field_value(Octets("D", 2), 258)
    (True, (1, 2))
    """
    if isinstance(kind, Octets):
        return tuple(number.to_bytes(kind.count))
    if kind.table is not None:
        return kind.table.get(number, number)
    return number
