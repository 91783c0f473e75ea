"""A set of CVs as a value of its own, and as CSV and JSON text, both ways."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any, TypeAlias

from dccwire.csv_tables import csv_rows, csv_text
from dccwire.cv.catalogue import entry
from dccwire.cv.description import KindOrDescription, kind_of
from dccwire.cv.paging import IndexPage
from dccwire.cv.values import check_cv, cv_name, number_of, within
from dccwire.errors import FieldError, Reason, ShapeError, TextError
from dccwire.fields import Number
from dccwire.notation import plain_from_json

__all__ = [
    "CvKey",
    "CvSet",
    "IndexedCv",
    "from_csv",
    "from_json",
    "key_from_text",
    "to_csv",
    "to_json",
]

INDEXED = range(257, 513)
"""The CVs that show one of many index pages (S-9.2.2, CV 257-512)."""

POINTERS = (31, 32)
"""The CVs that choose the page, high byte first (S-9.2.2, CV 31 and 32)."""


@dataclass(frozen=True, slots=True)
class IndexedCv:
    """A CV, 257 to 512, of an index page: CV 31 (16 to 255) and CV 32 (0 to 255), S-9.2.2."""

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
        """Both; where both have a CV, the value of `other`."""
        return CvSet({**self, **other})

    def without(self, *keys: CvKey) -> CvSet:
        """The same without some CVs, whether it has them or not."""
        return CvSet({key: value for key, value in self.items() if key not in keys})


_INTEGER = Number()
_HINT = "as in 'cv,value' and then '29,38'"
_COLUMNS = (["cv", "value"], ["index_high", "index_low", "cv", "value"])


def from_csv(text: str) -> CvSet:
    r"""The set of CSV text: a header `cv,value` or `cv,value,comment`, then a CV a line.

    A set with CVs of index pages has `index_high,index_low` (CV 31 and 32) in front; they are empty
    for other CVs. The header's separator, comma or semicolon, counts for all lines, and cells may
    stand in quotes; comments are not kept, and blank lines and those that open with # are skipped.

    Raises:
        TextError: no header, a line that cannot be read, or a CV again; the error names the line.
        FieldError: a CV or a value out of bounds, where the field names the line.

    >>> from_csv("index_high,index_low,cv,value\n,,1,3\n16,0,257,7\n")
    CvSet({1: 3, IndexedCv(high=16, low=0, cv=257): 7})
    """
    rows = csv_rows(text)
    _, header = next(rows, (1, [""]))
    columns = [word.lower() for word in header]
    commented = columns[-1] == "comment"
    if commented:
        columns.pop()
    if columns not in _COLUMNS:
        problem = "no header 'cv,value' or 'index_high,index_low,cv,value', nor with 'comment'"
        raise TextError(Reason.TEXT, ",".join(header), 0, problem, _HINT)
    seen: dict[CvKey, int] = {}
    values: dict[CvKey, int] = {}
    for number, row in rows:
        words, extra = row[: len(columns)], row[len(columns) :]
        if len(words) < len(columns) or (not commented and any(extra)):
            problem = f"line {number}: {len(header)} columns expected"
            raise TextError(Reason.TEXT, ",".join(row), 0, problem, _HINT)
        *index, cv, value = words
        bare = number_of(cv, f"line {number}, cv", "1 to 1024")
        if any(index):
            high, low = (number_of(word, f"line {number}, index", "0 to 255") for word in index)
        key = IndexedCv(high, low, bare) if any(index) else check_cv(bare, f"line {number}, cv")
        if key in seen:
            problem = f"line {number}: {cv_name(key)} again, first on line {seen[key]}"
            raise TextError(Reason.TEXT, ",".join(row), 0, problem, "one line a CV")
        seen[key], field = number, f"{cv_name(key)}, line {number}"
        values[key] = within(field, number_of(value, field, "0 to 255"), 0, 255)
    return CvSet(values)


def to_csv(cvs: CvSet, *, separator: str = ",", decoder: KindOrDescription | None = None) -> str:
    r"""CSV text, comma or semicolon between; with a decoder, the CVs' names as comments.

    >>> to_csv(CvSet({29: 38}), separator=";", decoder="multi-function")
    'cv;value;comment\n29;38;configuration\n'
    """
    if separator not in (",", ";"):
        raise FieldError("separator", "',' or ';'", separator)
    if decoder is not None:
        kind_of(decoder)
    indexed = any(isinstance(key, IndexedCv) for key in cvs)
    rows = [[*_COLUMNS[indexed], *([] if decoder is None else ["comment"])]]
    for key, value in cvs.items():
        page = [key.high, key.low] if isinstance(key, IndexedCv) else ["", ""]
        comment = [] if decoder is None else [entry(key, decoder).name]
        rows.append([*map(str, page * indexed), str(plain_cv(key)), str(value), *comment])
    return csv_text(rows, separator)


def from_json(text: str) -> CvSet:
    """The set of JSON text, as `to_json` writes it.

    Raises:
        ShapeError: no JSON, or not of this shape; the error holds the path.

    >>> from_json('{"cvs": {"29": 38}}')
    CvSet({29: 38})
    """
    plain = plain_from_json(text, "CV set", object_pairs_hook=_Pairs)
    if not isinstance(plain, _Pairs) or plain.names not in (["cvs"], ["cvs", "indexed"]):
        raise ShapeError("CV set", "an object with cvs, and perhaps indexed", plain)
    inside, indexed = dict(plain)["cvs"], dict(plain).get("indexed", [])
    if not isinstance(inside, _Pairs):
        raise ShapeError("cvs", "an object of CV and value", inside)
    pairs: list[tuple[CvKey, int]] = []
    for name, value in inside:
        pairs.append((number_of(name, "cv", "1 to 1024"), _INTEGER.value(f"cvs.{name}", value)))
    if not isinstance(indexed, list) or isinstance(indexed, _Pairs):
        raise ShapeError("indexed", "a list of objects", indexed)
    for place, one in enumerate(indexed):
        path = f"indexed[{place}]"
        if not isinstance(one, _Pairs) or one.names != ["cv", "high", "low", "value"]:
            raise ShapeError(path, "an object with high, low, cv and value", one)
        parts = {name: _INTEGER.value(f"{path}.{name}", number) for name, number in one}
        value = parts.pop("value")
        pairs.append((IndexedCv(**parts), value))
    return CvSet(pairs)


class _Pairs(list[tuple[str, Any]]):
    """A JSON object as it stands, names that come twice included."""

    @property
    def names(self) -> list[str]:
        return sorted(name for name, _ in self)


def to_json(cvs: CvSet) -> str:
    """JSON text, in one line: `cvs` by number, and `indexed` if there are CVs of index pages.

    >>> to_json(CvSet({29: 38, IndexedCv(16, 0, 257): 7}))
    '{"cvs": {"29": 38}, "indexed": [{"high": 16, "low": 0, "cv": 257, "value": 7}]}'
    """
    plain: dict[str, Any] = {"cvs": {}}
    for key, value in cvs.items():
        if isinstance(key, IndexedCv):
            plain.setdefault("indexed", []).append({**asdict(key), "value": value})
        else:
            plain["cvs"][str(key)] = value
    return json.dumps(plain)
