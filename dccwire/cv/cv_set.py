"""A set of CVs as a value of its own: immutable, comparable, hashable, picklable."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TypeAlias

from dccwire.cv.paging import IndexPage
from dccwire.cv.values import check_cv, number_of, within
from dccwire.errors import FieldError

__all__ = ["CvKey", "CvSet", "IndexedCv", "key_from_text"]

INDEXED = range(257, 513)
"""The CVs that show one of many index pages (S-9.2.2, CV 257-512)."""

POINTERS = (31, 32)
"""The CVs that choose the page, high byte first (S-9.2.2, CV 31 and 32)."""


@dataclass(frozen=True, slots=True)
class IndexedCv:
    """A CV, 257 to 512, of an index page: CV 31 (16 to 255) and CV 32 (0 to 255), S-9.2.2.

    >>> print(IndexedCv(high=16, low=0, cv=257))
    index 16 0, CV 257
    """

    high: int
    low: int
    cv: int

    def __post_init__(self) -> None:
        IndexPage(self.high, self.low)
        within("indexed cv", self.cv, INDEXED[0], INDEXED[-1])

    def __str__(self) -> str:
        return f"index {self.high} {self.low}, CV {self.cv}"


CvKey: TypeAlias = int | IndexedCv
"""A CV of a set: its number, or page and number where the set holds several index pages."""


def key_from_text(text: str, field: str = "cv") -> CvKey:
    """A CV's number, or an indexed CV in its own words: CV 31, CV 32 and the number.

    >>> key_from_text("29"), key_from_text("index 16 0, CV 257")
    (29, IndexedCv(high=16, low=0, cv=257))
    """
    match = re.fullmatch(r"index (\S+) (\S+), CV (\S+)", text)
    bound = "a number such as 29, or words such as 'index 16 0, CV 257'"
    numbers = [number_of(part, field, bound) for part in (match.groups() if match else (text,))]
    return IndexedCv(*numbers) if match else check_cv(numbers[0], field)


def cv_name(key: CvKey) -> str:
    """What messages call a CV: `CV 29`, `index 16 0, CV 257`."""
    return str(key) if isinstance(key, IndexedCv) else f"CV {key}"


def plain_cv(key: CvKey) -> int:
    """The number that packets have for a CV, whatever its index page."""
    return key.cv if isinstance(key, IndexedCv) else key


def is_on_page(key: CvKey) -> bool:
    """Whether it is a plain number of a CV that is on whatever page CV 31 and 32 name."""
    return isinstance(key, int) and key in INDEXED


def refuse_twice(values: Mapping[CvKey, int]) -> None:
    """Refuse one CV under two names: plain, and indexed on the page that CV 31 and 32 name."""
    page = values.get(31), values.get(32)
    for key in values:
        if isinstance(key, IndexedCv) and (key.high, key.low) == page and key.cv in values:
            hint = f"it is {key} while CV 31 and 32 name that page"
            raise FieldError(f"CV {key.cv}", "no second value", values[key.cv], hint)


def key_order(key: CvKey) -> tuple[int, int, int]:
    """What sorts CVs by number, those of index pages after the plain ones."""
    return (key.high, key.low, key.cv) if isinstance(key, IndexedCv) else (0, 0, key)


@dataclass(frozen=True, slots=True, init=False, repr=False, eq=False)
class CvSet(Mapping[CvKey, int]):
    """CVs and their values, 0 to 255, by number; those of index pages by `IndexedCv`.

    A plain number from 257 to 512 is a CV of whatever page CV 31 and 32 name; `IndexedCv` says the
    page, so that one set can hold many. It is made of a mapping, or of pairs of CV and value.

    Raises:
        FieldError: no such CV, no such value, or a CV twice: among pairs, or plain and indexed on
            the page that CV 31 and 32 of the set name.

    >>> cvs = CvSet({29: 38, 1: 3, IndexedCv(16, 0, 257): 7})
    >>> list(cvs)[:2], cvs[29], cvs == CvSet(cvs.items()), len({cvs, CvSet(cvs)})
    ([1, 29], 38, True, 1)
    """

    _values: Mapping[CvKey, int]

    def __init__(self, values: Mapping[CvKey, int] | Iterable[tuple[CvKey, int]] = ()) -> None:
        pairs = values.items() if isinstance(values, Mapping) else values
        made: dict[CvKey, int] = {}
        for key, value in pairs:
            if not isinstance(key, IndexedCv):
                check_cv(key)
            if key in made:
                raise FieldError(cv_name(key), "one value", value)
            made[key] = within(cv_name(key), value, 0, 255)
        refuse_twice(made)
        object.__setattr__(self, "_values", {key: made[key] for key in sorted(made, key=key_order)})

    def __getitem__(self, key: CvKey) -> int:
        return self._values[key]

    def __iter__(self) -> Iterator[CvKey]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)

    def __eq__(self, other: object) -> bool:
        return self._values == other._values if isinstance(other, CvSet) else NotImplemented

    def __hash__(self) -> int:
        return hash(tuple(self._values.items()))

    def __repr__(self) -> str:
        return f"CvSet({self._values!r})"

    def __or__(self, other: Mapping[CvKey, int]) -> CvSet:
        """Both; where both have a CV, the value of `other`.

        >>> CvSet({1: 3, 29: 6}) | {29: 38}
        CvSet({1: 3, 29: 38})
        """
        return CvSet({**self, **other})

    def without(self, *keys: CvKey) -> CvSet:
        """The same without some CVs, whether it has them or not.

        >>> CvSet({1: 3, 7: 12, 8: 99}).without(7, 8)
        CvSet({1: 3})
        """
        return CvSet({key: value for key, value in self.items() if key not in keys})
