"""The addresses that a multi-function decoder answers to: CV 1, 17 and 18, 19, 20 (S-9.2.2).

A write to CV 1, whatever the mode, also sets bit 5 of CV 29 and all of CV 19 to 0. Writing on the
main changes every decoder at that address.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Self

from dccwire.address import LongAddress, Partition, ShortAddress
from dccwire.cv.values import CvValue, cv_value, off, within
from dccwire.errors import FieldError
from dccwire.fields import Flag, Number

__all__ = ["ConsistAddress", "ExtendedAddress", "LongConsistAddress", "PrimaryAddress"]


@cv_value((1,), "0AAAAAAA", "S-9.2.2, CV 1")
class PrimaryAddress(CvValue):
    """CV 1: the short address, 1 to 127, 3 by default; 0 turns to the power source of CV 12.

    >>> PrimaryAddress(3).to_cvs(), PrimaryAddress(3).to_address()
    ({1: 3}, ShortAddress(number=3))
    """

    address: int = 3

    def to_address(self) -> ShortAddress:
        """The address of packets to it; FieldError where it is 0, which is none."""
        return ShortAddress(self.address)

    def in_words(self) -> str:
        if self.address:
            return f"short {self.address}, while CV 29 bit 5 is 0"
        return "no address: converts to the power source of CV 12, still answers service mode (V20)"


_LONG = Number("A", legal=range(0, 10240))


@cv_value((17, 18), "11AAAAAA AAAAAAAA", "S-9.2.2, CV 17 and 18", fields={"address": _LONG})
class ExtendedAddress(CvValue):
    """CV 17 and 18: the long address, 0 to 10239; CV 17 runs from 192 to 231.

    The pair takes effect with the write of CV 18. In the trade they go from 128 to 9999, or
    from 1 to 10239 (common practice, no source).

    >>> ExtendedAddress(1205).to_cvs(), ExtendedAddress.from_cvs({17: 231, 18: 255}).address
    ({17: 196, 18: 181}, 10239)
    """

    address: int

    def to_address(self) -> LongAddress:
        """The address of packets to it."""
        return LongAddress(self.address)

    @classmethod
    def faults(cls, values: Mapping[Any, int]) -> Iterator[FieldError]:
        """CV 17 out of its range: no CV 18 makes an address of it."""
        legal = Partition.LONG.value
        if (high := values.get(17, legal[0])) not in legal:
            hint = "192 + address div 256 (S-9.2.2, CV 17 and 18)"
            if high > legal[-1]:
                hint += "; S-9.2.1 §A reserves 232 to 254, and 255 is the idle packet's"
            yield FieldError("CV 17", f"{legal[0]} to {legal[-1]}", high, hint)

    def in_words(self) -> str:
        open_ = "" if self.address else " (0 is not excluded anywhere: X2)"
        return f"long {self.address}, while CV 29 bit 5 is 1{open_}"


@cv_value((19,), "RAAAAAAA", "S-9.2.2, CV 19")
class ConsistAddress(CvValue):
    """CV 19: the consist address, 1 to 127, and whether the unit runs reversed; 0 is no consist.

    >>> ConsistAddress(reversed=True, address=73).to_cvs()
    {19: 201}
    """

    reversed: bool = off(Flag("R"))
    address: int = 0

    def in_words(self) -> str:
        if not self.address:
            return "in no consist (bit 7 has no meaning then: X13)"
        return f"in consist {self.address}, this unit {'reversed' if self.reversed else 'forward'}"


@cv_value((19, 20), "RLLLLLLL 0HHHHHHH", "from memory: RCN-225")
class LongConsistAddress(CvValue):
    """CV 19 and 20, from memory: a consist address above 127 is CV 20 × 100 + CV 19 bits 6-0.

    The edition of 2012 reserves CV 20.

    >>> LongConsistAddress.at(1205, reversed=False).to_cvs()
    {19: 5, 20: 12}
    """

    reversed: bool = off(Flag("R"))
    rest: int = off(Number("L", legal=range(0, 100)))
    hundreds: int = off(Number("H", legal=range(0, 103)))

    def __post_init__(self) -> None:
        """Refuse an address that no packet can carry."""
        CvValue.__post_init__(self)  # the class is made anew for its slots: no plain `super` here
        within("address", self.address, 0, 10239)

    @classmethod
    def at(cls, address: int, *, reversed: bool) -> Self:
        """The value for an address, 0 to 10239 (from memory)."""
        within("address", address, 0, 10239)
        return cls(reversed, address % 100, address // 100)

    @classmethod
    def faults(cls, values: Mapping[Any, int]) -> Iterator[FieldError]:
        found = [*super(LongConsistAddress, cls).faults(values)]  # noqa: UP008 - made anew
        yield from found
        if not found and not cls.split_fields(values):
            address = values[20] * 100 + values[19] % 128
            if address > 10239:
                yield FieldError("address", "0 to 10239", address)

    @property
    def address(self) -> int:
        """The consist address."""
        return self.hundreds * 100 + self.rest

    def in_words(self) -> str:
        way = "reversed" if self.reversed else "forward"
        return f"in consist {self.address}, this unit {way}" if self.address else "in no consist"
