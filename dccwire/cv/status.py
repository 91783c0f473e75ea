"""What a decoder tells of itself: CV 30, 105, 106, 892 to 895 (S-9.2.2)."""

from __future__ import annotations

from dataclasses import dataclass

from dccwire.cv.values import CvValue, cv_value

__all__ = [
    "DecoderLoad",
    "DynamicFlags",
    "ErrorInformation",
    "FuelLevel",
    "UserIdentification",
    "WaterLevel",
]


@cv_value((30,), "EEEEEEEE", "S-9.2.2, CV 30", fields={"error": "E"})
class ErrorInformation(CvValue):
    """CV 30: 0 is no error; other numbers are the maker's.

    >>> ErrorInformation(0).in_words()
    'no error'
    """

    error: int

    def in_words(self) -> str:
        """Whether there is an error."""
        return "an error, by the maker's numbers" if self.error else "no error"


@cv_value(
    (105, 106), "AAAAAAAA BBBBBBBB", "S-9.2.2, CV 105 and 106", fields={"first": "A", "second": "B"}
)
class UserIdentification(CvValue):
    """CV 105 and 106: two bytes that are the user's own.

    >>> UserIdentification(first=1, second=2).to_cvs()
    {105: 1, 106: 2}
    """

    first: int
    second: int


@cv_value((892,), "SLLLLLLL", "S-9.2.2, CV 892", fields={"sign": "S", "amount": "L"})
class DecoderLoad(CvValue):
    """CV 892: the amount of the load, 0 to 127, and a bit that tells positive from negative.

    Which value of the bit is which the text does not say (V21), so the load has no sign here.

    >>> DecoderLoad.from_cvs({892: 0x85})
    DecoderLoad(sign=1, amount=5)
    """

    sign: int
    amount: int

    def in_words(self) -> str:
        """The amount, and the bit as it is."""
        return f"load {self.amount}, positive or negative by bit 7 = {self.sign} (V21)"


@cv_value((893,), "FFFFFFFF", "S-9.2.2, CV 893", fields={"flags": "F"})
class DynamicFlags(CvValue):
    """CV 893: dynamic flags, as they stand.

    >>> DynamicFlags(3).to_cvs()
    {893: 3}
    """

    flags: int


@dataclass(frozen=True, eq=False, repr=False)
class _Level(CvValue):
    """Base of the levels."""

    __slots__ = ()
    level: int

    @property
    def fraction(self) -> float | None:
        """0 empty to 1 full; None if not supported."""
        return None if self.level == 255 else self.level / 254

    def in_words(self) -> str:
        """How full."""
        return "not supported" if self.fraction is None else f"{self.fraction:.0%} full"


@cv_value((894,), "LLLLLLLL", "S-9.2.2, CV 894", fields={"level": "L"})
class FuelLevel(_Level):
    """CV 894: 0 empty, 254 full, 255 not supported.

    >>> FuelLevel(127).fraction, FuelLevel(255).in_words()
    (0.5, 'not supported')
    """


@cv_value((895,), "LLLLLLLL", "S-9.2.2, CV 895", fields={"level": "L"})
class WaterLevel(_Level):
    """CV 895: 0 empty, 254 full, 255 not supported.

    >>> WaterLevel(254).in_words()
    '100% full'
    """
