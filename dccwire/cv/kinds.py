"""Field kinds that CVs need beside those of packets: reserved bits, bytes in a row, quantities."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Any, Self

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


_DECIMAL = r"(\d{1,9}(?:\.\d{1,9})?)"
_FORMULA = re.compile(
    rf"value(?: x {_DECIMAL})?(?: / {_DECIMAL})?(?: ([+-]) {_DECIMAL})?", re.ASCII
)


_QUANTITY = re.compile(r"-?\d{1,19}(\.\d{1,9})?", re.ASCII)


class Scaled(Number):
    """A number that stands for a quantity in its unit: number x `factor` + `offset`.

    The number is what text and JSON hold; text gives the quantity beside it, and reads it as well.

    >>> kind = Scaled.of("A", "ms", "value x 20 + 5")
    >>> kind.meaning(4), kind.from_text("attack", "85ms"), kind.from_text("attack", "4")
    ('85ms', 4, 4)
    """

    def __init__(
        self,
        formula: str,
        unit: str,
        legal: Iterable[int] = (),
        *,
        factor: Fraction,
        offset: Fraction = Fraction(0),
    ) -> None:
        super().__init__(formula, unit, legal)
        self.factor, self.offset = factor, offset

    @classmethod
    def of(cls, formula: str, unit: str, linear: str, legal: Iterable[int] = ()) -> Self:
        """By words such as `value x 20`, `value x 100 / 255`, `value / 4 - 10`; else a FieldError.

        >>> Scaled.of("A", "%", "value x 100 / 255").meaning(128)
        '50.1961%'
        """
        match = _FORMULA.fullmatch(linear)
        times, by, sign, plus = match.groups() if match else (None, "0", None, None)
        if not (Fraction(by or 1) and Fraction(times or 1)):
            hint = "a factor, a divisor and a sum, in this order, or some of them; none of them 0"
            raise FieldError("formula", "words such as 'value x 20 / 3 + 5'", linear, hint)
        factor, offset = Fraction(times or 1) / Fraction(by or 1), Fraction(plus or 0)
        return cls(formula, unit, legal, factor=factor, offset=-offset if sign == "-" else offset)

    def meaning(self, value: object) -> str:
        assert isinstance(value, int)
        return _shown(value * self.factor + self.offset) + self.unit

    def allowed(self, lowest: int, highest: int) -> str:
        low, high = (min(self.table), max(self.table)) if self.table else (lowest, highest)
        return f"{self.bound(lowest, highest)}, or {self.meaning(low)} to {self.meaning(high)}"

    def text(self, value: object) -> str:
        return f"{self.plain(value)}"

    def from_text(self, name: str, word: str) -> object:
        quantity = word.removesuffix(self.unit)
        if quantity == word and word.isascii() and word.isdigit():
            return super().from_text(name, word)
        if quantity == word or not _QUANTITY.fullmatch(quantity):
            raise ShapeError(name, f"an integer, or a quantity in {self.unit}", word)
        exact = (Fraction(quantity) - self.offset) / self.factor
        number = round(exact)
        if self.meaning(number) != _shown(Fraction(quantity)) + self.unit:
            low = exact.numerator // exact.denominator
            near = f"{self.meaning(low)} for {low}, {self.meaning(low + 1)} for {low + 1}"
            raise ShapeError(name, f"what a number stands for ({near})", word)
        return number


def _shown(quantity: Fraction) -> str:
    """With at most four decimals."""
    return f"{float(quantity):.4f}".rstrip("0").rstrip(".")
