"""Register pages of paged mode (S-9.2.3 §E, Paged CV Addressing), not the index pages of CV 31."""

from __future__ import annotations

from typing import NamedTuple

from dccwire.cv.values import check_cv, within

__all__ = ["RegisterPage", "cv_of", "page_of"]


class RegisterPage(NamedTuple):
    """A register page as it is sent, 0 to 255, and a data register of it, 0 to 3.

    >>> page, register = page_of(29)
    >>> page, register
    (8, 0)
    """

    page: int
    register: int


def page_of(cv: int) -> RegisterPage:
    """The page register's value and the data register of a CV.

    page = (CV - 1) div 4 + 1, register = (CV - 1) mod 4. CV 1021 to 1024 are on page 256, which is
    sent as 0 (P7, open).

    Raises:
        FieldError: no such CV.

    >>> page_of(65), page_of(1024)
    (RegisterPage(page=17, register=0), RegisterPage(page=0, register=3))
    """
    page, register = divmod(check_cv(cv) - 1, 4)
    return RegisterPage((page + 1) % 256, register)


def cv_of(page: int, register: int) -> int:
    """The CV of a data register while the page register has a value; 0 is page 256 (P7).

    Raises:
        FieldError: the page or the register is out of bounds.

    >>> cv_of(17, 0), cv_of(0, 3)
    (65, 1024)
    """
    number = within("page", page, 0, 255) or 256
    return (number - 1) * 4 + within("register", register, 0, 3) + 1
