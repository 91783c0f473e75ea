"""Sets of CVs as CSV and JSON text, both ways; strings in, strings out."""

from __future__ import annotations

import json
from typing import Any

from dccwire.cv.catalogue import entry
from dccwire.cv.cv_set import CvKey, CvSet, IndexedCv, key_from_text
from dccwire.cv.values import DecoderKind, check_value, number_of
from dccwire.errors import FieldError, Reason, ShapeError, TextError

__all__ = ["from_csv", "from_json", "to_csv", "to_json"]

_HINT = "as in 'cv,value' and then '29,38'"


def from_csv(text: str) -> CvSet:
    r"""The set of CSV text: a header `cv,value` or `cv,value,comment`, then a CV a line.

    The header's separator, comma or semicolon, counts for all lines; comments are not kept, and
    blank lines are skipped.

    Raises:
        TextError: no header, a line that cannot be read, or a CV again; the error names the line.
        FieldError: a CV or a value out of bounds, where the field names the line; or a CV plain and
            indexed, as in `CvSet`.

    >>> from_csv("cv;value;comment\n1;3;as it came\n16.0.257;7\n")
    CvSet({1: 3, IndexedCv(high=16, low=0, cv=257): 7})
    >>> from_csv("cv,value\n7,6\n7,8\n")
    Traceback (most recent call last):
    dccwire.errors.TextError: '7,8', position 0: line 3: CV 7 again, first on line 2; one line a CV
    """
    lines = [(number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip()]
    first = lines[0][1].removeprefix("\ufeff") if lines else ""
    separator = ";" if ";" in first else ","
    header = [word.strip(' "').lower() for word in first.split(separator)]
    if header not in (["cv", "value"], ["cv", "value", "comment"]):
        problem = "no header 'cv,value' or 'cv,value,comment'"
        raise TextError(Reason.TEXT, first, 0, problem, _HINT)
    seen: dict[CvKey, int] = {}
    values: dict[CvKey, int] = {}
    for number, line in lines[1:]:
        words = [word.strip(' "') for word in line.split(separator, 2)]
        if len(words) < 2 or (len(words) == 3 and len(header) == 2 and words[2]):
            problem = f"line {number}: {len(header)} columns expected"
            raise TextError(Reason.TEXT, line, 0, problem, _HINT)
        key = key_from_text(words[0], f"line {number}, cv")
        if key in seen:
            problem = f"line {number}: CV {key} again, first on line {seen[key]}"
            raise TextError(Reason.TEXT, line, 0, problem, "one line a CV")
        value = number_of(words[1], f"CV {key}, line {number}", "0 to 255")
        seen[key] = number
        values[key] = check_value(f"{key}, line {number}", value)
    return CvSet(values)


def to_csv(cvs: CvSet, *, separator: str = ",", decoder: DecoderKind | None = None) -> str:
    r"""CSV text with a header; with a kind of decoder, the names of the CVs as comments.

    Raises:
        FieldError: the separator is neither comma nor semicolon.

    >>> to_csv(CvSet({29: 38}))
    'cv,value\n29,38\n'
    >>> to_csv(CvSet({29: 38}), separator=";", decoder=DecoderKind.MULTI_FUNCTION)
    'cv;value;comment\n29;38;configuration\n'
    """
    if separator not in (",", ";"):
        raise FieldError("separator", "',' or ';'", separator)
    rows = [["cv", "value", "comment"]]
    for key, value in cvs.items():
        cv = key.cv if isinstance(key, IndexedCv) else key
        rows.append([str(key), str(value), entry(cv, decoder).name if decoder else ""])
    columns = 3 if decoder else 2
    return "".join(separator.join(row[:columns]) + "\n" for row in rows)


def from_json(text: str) -> CvSet:
    """The set of JSON text.

    Raises:
        ShapeError: no JSON, or not of this shape; the error holds the path.
        FieldError: a CV or a value out of bounds, or a CV twice.

    >>> from_json('{"cvs": {"29": 38}}')
    CvSet({29: 38})
    """
    try:
        plain = json.loads(text, object_pairs_hook=_Pairs)
    except ValueError as error:
        raise ShapeError("CV set", f"JSON ({error})", text) from None
    if not isinstance(plain, _Pairs) or [name for name, _ in plain] != ["cvs"]:
        raise ShapeError("CV set", "an object with cvs", plain)
    inside = plain[0][1]
    if not isinstance(inside, _Pairs):
        raise ShapeError("cvs", "an object of CV and value", inside)
    for name, value in inside:
        if type(value) is not int:
            raise ShapeError(f"cvs.{name}", "an integer", value)
    return CvSet((key_from_text(name), value) for name, value in inside)


class _Pairs(list[tuple[str, Any]]):
    """A JSON object as it stands, names that come twice included."""


def to_json(cvs: CvSet) -> str:
    """JSON text, in one line: `cvs` by number, or `CV 31.CV 32.number` on index pages.

    >>> to_json(CvSet({29: 38, IndexedCv(16, 0, 257): 7}))
    '{"cvs": {"29": 38, "16.0.257": 7}}'
    """
    return json.dumps({"cvs": {str(key): value for key, value in cvs.items()}})
