"""Field kinds that CVs need beside those of packets: reserved bits, bytes in a row."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dccwire.errors import FieldError, ShapeError
from dccwire.fields import FieldKind, Functions, Number


class ReservedBits(Functions):
    """Bits that the standard reserves: kept as they are found, so that nothing is lost.

    `bits` are their numbers within the CV, the lowest first; with `cv` where a value has two.

    >>> kind = ReservedBits("R", (3, 6))
    >>> kind.text(kind.mask(["bit-6"]))
    'bit-6'
    """

    def __init__(self, formula: str, bits: Sequence[int], cv: int | None = None) -> None:
        where = "" if cv is None else f"cv-{cv}-"
        super().__init__(formula, tuple(f"{where}bit-{bit}" for bit in bits))

    def of_bits(self, name: str, number: int, low: int, width: int) -> str:
        own = number & ((1 << width) - 1) << low
        return f"{name}={self.text(own)}{' (kept)' if own else ''}"


class Octets(FieldKind):
    """A row of bytes, as a tuple of integers; a list in JSON, joined by commas in text.

    >>> kind = Octets("D", 3)
    >>> kind.text((1, 2, 3)), kind.from_text("points", "4,5,6"), kind.to_number((0, 1, 2))
    ('1,2,3', (4, 5, 6), 258)
    """

    apart = True

    def __init__(self, formula: str, count: int) -> None:
        super().__init__(formula)
        self.count = count

    def to_number(self, value: Any) -> int:
        return int.from_bytes(value)

    def from_number(self, number: int) -> object:
        return tuple(number.to_bytes(self.count))

    def of_bits(self, name: str, number: int, low: int, width: int) -> str:
        return f"number {self.count - low // 8} of {name}: {number >> low & 255}"

    def bound(self, lowest: int, highest: int) -> str:
        return f"a tuple of {self.count} numbers from 0 to 255"

    def allowed(self, lowest: int, highest: int) -> str:
        return f"{self.count} numbers from 0 to 255, joined by commas"

    def check(self, name: str, value: object, lowest: int, highest: int) -> None:
        """Refuse an illegal value, and name the number that is out of bounds."""
        if not isinstance(value, tuple):
            raise FieldError(name, self.bound(lowest, highest), value)
        if len(value) != self.count:
            raise FieldError(f"count of {name}", str(self.count), len(value))
        for place, one in enumerate(value, 1):
            if type(one) is not int or not 0 <= one <= 255:
                raise FieldError(f"{name}, number {place}", "0 to 255", one)

    def plain(self, value: Any) -> list[int]:
        return list(value)

    def value(self, name: str, plain: object) -> object:
        if not isinstance(plain, list):
            raise ShapeError(name, "a list of integers", plain)
        return tuple(plain)

    def text(self, value: Any) -> str:
        return ",".join(map(str, value))

    def from_text(self, name: str, word: str) -> object:
        return tuple(Number().from_text(name, digits) for digits in word.split(","))
