"""A CV value as one line of text and as JSON, both ways: `Configuration extended_addressing=yes`.

The form is that of a packet's instructions; fields that have a default (a flag that is off,
reserved bits that are 0) may be left out.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import MISSING
from dataclasses import fields as dataclass_fields
from typing import Any

from dccwire.cv import accessories, addresses, configuration, functions, memory, momentum, motor
from dccwire.cv import speed_table as _speed_table
from dccwire.cv.values import CV_VALUES, CvValue
from dccwire.errors import FieldError, Reason, ShapeError, TextError

__all__ = ["VALUE_TYPES", "value_from_plain", "value_from_text", "value_to_plain"]

_FILES = (addresses, configuration, momentum, motor, functions, _speed_table, memory, accessories)
"""Imported so that all of their values are declared."""

VALUE_TYPES: dict[str, type[CvValue]] = {cls.__name__: cls for cls in CV_VALUES}
"""Every value class by its name, which is its type in text and JSON."""


def value_from_text(text: str) -> CvValue:
    """The value of its text.

    Raises:
        TextError: no such type, a field unknown, missing or given twice.
        FieldError: a value of the wrong form, or outside the bounds of its field.

    >>> value_from_text("Configuration headlight_in_function_group=yes").to_cvs()
    {29: 2}
    >>> value_from_text("ConsistFunctions functions=F29")
    Traceback (most recent call last):
    dccwire.errors.FieldError: functions: a list of F1, F2, F3, F4, F5, F6, F7, F8, FL-forward, \
FL-reverse, F9, F10, F11, F12 expected, 'F29' given
    """
    words = list(re.finditer(r"\S+", text))
    cls = _type(words[0][0] if words else "", text)
    given: dict[str, object] = {}
    for word in words[1:]:
        name, equals, value = word[0].partition("=")
        if not equals or name in given or name not in cls.kinds:
            problem = "FIELD=VALUE expected" if not equals else "no such field"
            problem = "given twice" if name in given else problem
            place, hint = word.start(), _takes(cls)
            raise TextError(Reason.TEXT, text, place, f"{word[0]!r}: {problem}", hint)
        try:
            given[name] = cls.kinds[name].from_text(name, value)
        except ShapeError as error:
            raise FieldError(name, error.expected, value) from None
    for name in sorted(_needed(cls) - set(given)):
        raise TextError(Reason.TEXT, text, len(text), f"field {name!r} is missing", _takes(cls))
    return cls(**given)


def value_to_plain(one: CvValue) -> dict[str, Any]:
    """`{"type": ..., field: value, ...}`.

    >>> from dccwire.cv.addresses import ConsistAddress
    >>> value_to_plain(ConsistAddress(reversed=True, address=73))
    {'type': 'ConsistAddress', 'reversed': True, 'address': 73}
    """
    fields = {name: kind.plain(getattr(one, name)) for name, kind in one.kinds.items()}
    return {"type": type(one).__name__, **fields}


def value_from_plain(plain: object) -> CvValue:
    """The value of its JSON object.

    Raises:
        ShapeError: the object does not have the shape.
        FieldError: a value outside the bounds of its field.

    >>> value_from_plain({"type": "ExtendedAddress", "address": 1205}).to_cvs()
    {17: 196, 18: 181}
    """
    if not isinstance(plain, Mapping) or plain.get("type") not in VALUE_TYPES:
        raise ShapeError("value", "an object with the type of a CV value", plain)
    cls = VALUE_TYPES[plain["type"]]
    given = {name: value for name, value in plain.items() if name != "type"}
    if not _needed(cls) <= set(given) <= set(cls.kinds):
        raise ShapeError("value", _takes(cls), dict(plain))
    return cls(**{name: cls.kinds[name].value(name, value) for name, value in given.items()})


def _type(name: str, text: str) -> type[CvValue]:
    if name in VALUE_TYPES:
        return VALUE_TYPES[name]
    from difflib import get_close_matches

    near = get_close_matches(name, VALUE_TYPES, n=3, cutoff=0.4)
    hint = f"near it: {', '.join(near)}" if near else "a type opens the text, as in 'StartVoltage'"
    raise TextError(Reason.TEXT, text, 0, f"no CV value {name!r}", hint)


def _needed(cls: type[CvValue]) -> set[str]:
    """The fields without a default."""
    every = dataclass_fields(cls)  # type: ignore[arg-type] # every declared value is a dataclass
    return {one.name for one in every if one.default is MISSING}


def _takes(cls: type[CvValue]) -> str:
    return f"{cls.__name__} takes {', '.join(cls.kinds)}"
