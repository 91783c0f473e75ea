"""The index page: which of many pages CV 257 to 512 show, CV 31 and 32 (S-9.2.2)."""

from __future__ import annotations

from typing import Self

from dccwire.cv.values import CvValue, cv_value, within
from dccwire.fields import Number

__all__ = ["INDEX_PAGES", "IndexPage"]

FIRST_PAGE = 16
"""The lowest CV 31 that is not reserved (S-9.2.2, CV 31)."""

INDEX_PAGES = (256 - FIRST_PAGE) * 256
"""Index pages of 256 CVs: CV 31 from 16 to 255, CV 32 from 0 to 255 (S-9.2.2, CV 31 and 32)."""


@cv_value(
    (31, 32),
    "HHHHHHHH LLLLLLLL",
    "S-9.2.2, CV 31 and 32",
    fields={"high": Number("H", legal=range(FIRST_PAGE, 256)), "low": "L"},
)
class IndexPage(CvValue):
    """CV 31 and 32: which page CV 257 to 512 show; CV 31 from 16 to 255, 0 to 15 are reserved.

    >>> IndexPage(high=16, low=0).number, IndexPage.of(INDEX_PAGES - 1)
    (0, IndexPage(high=255, low=255))
    """

    high: int
    low: int

    @classmethod
    def of(cls, number: int) -> Self:
        """The page by its number, 0 to 61439.

        Raises:
            FieldError: the number is out of bounds.
        """
        within("index page", number, 0, INDEX_PAGES - 1)
        return cls(FIRST_PAGE + number // 256, number % 256)

    @property
    def number(self) -> int:
        """The page, counted from 0: (CV 31 - 16) × 256 + CV 32."""
        return (self.high - FIRST_PAGE) * 256 + self.low

    def in_words(self) -> str:
        """The page's number."""
        return f"index page {self.number} of {INDEX_PAGES}, counted from 0"
