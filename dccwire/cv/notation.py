"""A CV value as one line of text and as JSON, both ways: `Configuration extended_addressing=yes`.

The form is that of a packet's instructions; fields that have a default (a flag that is off,
reserved bits that are 0) may be left out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dccwire.cv import accessories, addresses, configuration, functions, motor, paging
from dccwire.cv.values import CV_VALUES, CvValue
from dccwire.notation import Notation, declared_to_plain

__all__ = ["VALUE_TYPES", "value_from_plain", "value_from_text", "value_to_plain"]

_FILES = (accessories, addresses, configuration, functions, motor, paging)
"""Imported so that all of their values are declared."""

VALUE_TYPES: dict[str, type[CvValue]] = {cls.__name__: cls for cls in CV_VALUES}
"""Every value class by its name, which is its type in text and JSON."""

CV_NOTATION = Notation(VALUE_TYPES, "CV value", "dccwire cv --types")


def value_from_text(text: str, held: Mapping[int, int] | None = None) -> CvValue:
    """The value of its text; what the text does not name stays as the CVs `held` have it.

    Raises:
        TextError: no such type, a field unknown, missing, given twice or of the wrong form.

    >>> value_from_text("Configuration extended_addressing=yes", {29: 6}).to_cvs()
    {29: 38}
    """
    words = text.split()
    if held is not None and words and words[0] in VALUE_TYPES:
        named = {word.partition("=")[0] for word in words}
        stored = str(VALUE_TYPES[words[0]].from_cvs(held)).split()
        text = " ".join([*words, *(w for w in stored[1:] if w.partition("=")[0] not in named)])
    return CV_NOTATION.from_text(text)


def value_to_plain(one: CvValue) -> dict[str, Any]:
    """`{"type": "ConsistAddress", "reversed": True, "address": 73}`."""
    return declared_to_plain(one)


def value_from_plain(plain: object, held: Mapping[int, int] | None = None) -> CvValue:
    """The value of its JSON object, `held` as for text; ShapeError where it has another shape.

    >>> value_from_plain({"type": "ExtendedAddress", "address": 1205}).to_cvs()
    {17: 196, 18: 181}
    """
    if held is not None and isinstance(plain, Mapping) and str(plain.get("type")) in VALUE_TYPES:
        stored = VALUE_TYPES[plain["type"]].from_cvs(held)
        plain = {**value_to_plain(stored), **plain}
    return CV_NOTATION.from_plain(plain, "value")
