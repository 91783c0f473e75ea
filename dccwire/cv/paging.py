"""Pages: register pages of paged mode (S-9.2.3 §E), and the index pages of CV 31 and 32."""

from __future__ import annotations

from typing import NamedTuple, Self

from dccwire.cv.values import CvValue, check_cv, cv_value, within
from dccwire.fields import Number

__all__ = ["INDEX_PAGES", "IndexPage", "RegisterPage", "cv_of", "page_of"]

FIRST_PAGE = 16
"""The lowest CV 31 that is not reserved (S-9.2.2, CV 31)."""

INDEX_PAGES = (256 - FIRST_PAGE) * 256
"""Index pages, 256 CVs each: CV 31 is 16 to 255, CV 32 is 0 to 255 (S-9.2.2, CV 31 and 32)."""

_HIGH = Number("H", legal=range(FIRST_PAGE, 256))


@cv_value((31, 32), "HHHHHHHH LLLLLLLL", "S-9.2.2, CV 31 and 32", fields={"high": _HIGH})
class IndexPage(CvValue):
    """CV 31 and 32: which page CV 257 to 512 show; CV 31 from 16 to 255, 0 to 15 are reserved.

    >>> IndexPage(high=16, low=0).number, IndexPage.of(INDEX_PAGES - 1)
    (0, IndexPage(high=255, low=255))
    """

    high: int
    low: int

    @classmethod
    def of(cls, number: int) -> Self:
        """The page by its number, 0 to 61439."""
        within("index page", number, 0, INDEX_PAGES - 1)
        return cls(FIRST_PAGE + number // 256, number % 256)

    @property
    def number(self) -> int:
        """The page, counted from 0: (CV 31 - 16) × 256 + CV 32."""
        return (self.high - FIRST_PAGE) * 256 + self.low

    def in_words(self) -> str:
        return f"index page {self.number} of {INDEX_PAGES}, counted from 0"


class RegisterPage(NamedTuple):
    """A register page as it is sent, 0 to 255, and a data register of it, 0 to 3."""

    page: int
    register: int


def page_of(cv: int) -> RegisterPage:
    """The page register's value and the data register of a CV.

    page = (CV - 1) div 4 + 1, register = (CV - 1) mod 4. CV 1021 to 1024 are on page 256, which is
    sent as 0 (P7, open).

    >>> page_of(65), page_of(1024)
    (RegisterPage(page=17, register=0), RegisterPage(page=0, register=3))
    """
    page, register = divmod(check_cv(cv) - 1, 4)
    return RegisterPage((page + 1) % 256, register)


def cv_of(page: int, register: int) -> int:
    """The CV of a data register while the page register has a value; 0 is page 256 (P7).

    >>> cv_of(17, 0), cv_of(0, 3)
    (65, 1024)
    """
    number = within("page", page, 0, 255) or 256
    return (number - 1) * 4 + within("register", register, 0, 3) + 1
