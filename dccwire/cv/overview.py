"""A set of CVs shown whole: what differs from the defaults first, each value in words.

Room: a set and a decoder in, lines and text out; what bits mean stands in `explanation`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any

from dccwire.bit_rows import BitRow
from dccwire.cv.catalogue import is_left_to_makers
from dccwire.cv.changes import CvChange
from dccwire.cv.cv_set import CvKey, CvSet, plain_cv
from dccwire.cv.description import DecoderDescription, KindOrDescription, kind_of
from dccwire.cv.explanation import (
    CvExplanation,
    CvReading,
    describe,
    explain_cvs,
    on_page,
    value_types,
)
from dccwire.cv.functions import OutputLocations
from dccwire.cv.value_text import value_to_plain
from dccwire.cv.values import CvValue, DecoderKind, cv_name
from dccwire.errors import FieldError
from dccwire.fields import Functions
from dccwire.wording import counted, wrapped

__all__ = ["CvLine", "CvOverview", "CvState", "defaults_of", "overview"]

_DEFAULTS: Mapping[DecoderKind, Mapping[int, int]] = {
    DecoderKind.MULTI_FUNCTION: {1: 3, **OutputLocations().to_cvs()},
    DecoderKind.ACCESSORY: {1: 1, 9: 0},
}
"""The defaults that S-9.2.2 has: CV 1, CV 33 to 46 (Table 2); CV 1 and 9 of accessory decoders."""


def defaults_of(decoder: KindOrDescription) -> CvSet:
    """The defaults of the standard, and over them those of a description.

    >>> defaults_of(DecoderKind.ACCESSORY)
    CvSet({1: 1, 9: 0})
    """
    standard = CvSet(_DEFAULTS[kind_of(decoder)].items())
    return standard | decoder.defaults if isinstance(decoder, DecoderDescription) else standard


class CvState(Enum):
    """What a value is beside its default: another one, the same, without one, or unknown."""

    CHANGED = "changed"
    DEFAULT = "default"
    NO_DEFAULT = "no-default"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class CvLine:
    """CVs that belong together: what they are, their `defaults` as far as known, and `words`.

    Where they differ from their defaults, the words lead from the default to the value.
    """

    explanation: CvExplanation
    defaults: Mapping[CvKey, int]
    state: CvState
    words: str

    @property
    def changes(self) -> int:
        """How many of the CVs differ from their defaults."""
        return sum(self.explanation.values[cv] != one for cv, one in self.defaults.items())

    def to_dict(self) -> dict[str, Any]:
        """As JSON holds it."""
        readings = self.explanation.readings
        values = [one.value and value_to_plain(one.value) for one in readings]
        return {
            "cvs": {str(cv): value for cv, value in self.explanation.values.items()},
            "defaults": {str(cv): value for cv, value in self.defaults.items()},
            "state": self.state.value,
            "names": [one.name for one in self.explanation.entries],
            "values": values,
            "words": self.words,
        }

    def __str__(self) -> str:
        values = self.explanation.values
        first, *others = cvs = [*values]
        names = [cv_name(first), *(f"CV {plain_cv(cv)}" for cv in others)]
        head = ", ".join(f"{name} = {values[cv]}" for name, cv in zip(names, cvs, strict=True))
        if len(cvs) > 4:
            head = f"{cv_name(first)} to {plain_cv(cvs[-1])}"
        elif self.state is CvState.CHANGED:
            head += f" (by default {', '.join(str(self.defaults.get(cv, 'none')) for cv in cvs)})"
        called = ", ".join(one.name for one in self.explanation.entries)
        return f"{head}: {called}; {self.words}"


_SECTIONS = {
    "differs from the defaults": (CvState.CHANGED,),
    "as by default, or of no known default": (CvState.DEFAULT, CvState.NO_DEFAULT),
    "unknown": (CvState.UNKNOWN,),
}


@dataclass(frozen=True, slots=True)
class CvOverview:
    """All CVs of a set, those that differ from their defaults first, those unknown last."""

    lines: tuple[CvLine, ...]

    def text(self, width: int = 80) -> str:
        """All of it for a terminal, at most `width` columns (40 or more).

        >>> print(overview(CvSet({1: 7, 29: 6, 60: 9})).text(60))
        3 CVs: 1 differs from the defaults, 1 does not or has none,
        1 is unknown
        <BLANKLINE>
        differs from the defaults
        - CV 1 = 7 (by default 3): primary address; address=3 -> 7;
          short 3, while CV 29 bit 5 is 0 -> short 7, while CV 29
          bit 5 is 0
        <BLANKLINE>
        as by default, or of no known default
        - CV 29 = 6: configuration; headlight_in_function_group=yes:
          FL in function group one: 28 steps;
          power_source_conversion=yes: sources of CV 12; all else is
          none
        <BLANKLINE>
        unknown
        - CV 60 = 9: manufacturer unique; the maker's manual says
          what it holds
        """
        return "\n".join(self._lines(max(width, 40)))

    def _lines(self, width: int) -> Iterator[str]:
        total = sum(len(one.explanation.values) for one in self.lines)
        changed = sum(one.changes for one in self.lines)
        unknown = sum(
            len(one.explanation.values) for one in self.lines if one.state is CvState.UNKNOWN
        )
        rest = total - changed - unknown
        yield from wrapped(
            f"{counted(total, 'CV')}: {changed} differ{'s' * (changed == 1)} from the defaults, "
            f"{rest} do{'es' * (rest == 1)} not or ha{'s' if rest == 1 else 've'} none, "
            f"{unknown} {'is' if unknown == 1 else 'are'} unknown",
            width,
        )
        for title, states in _SECTIONS.items():
            own = [one for one in self.lines if one.state in states]
            if own:
                yield from ("", title)
            for one in own:
                yield from wrapped(str(one), width, "- ")


def overview(
    cvs: Mapping[int, int] | Mapping[CvKey, int],
    decoder: KindOrDescription = DecoderKind.MULTI_FUNCTION,
) -> CvOverview:
    """A set shown whole, by what the standard and a description say of its CVs.

    Unknown is what the standard leaves to the maker and no description has a format for.

    Raises:
        FieldError: no such CV or value.

    >>> [one.words for one in overview({3: 0}).lines]
    ['rate=0; no delay']
    """
    values = CvSet(dict[CvKey, int](cvs.items()))
    known = defaults_of(decoder)
    made = []
    for explanation in explain_cvs(values, decoder):
        keys = {cv: on_page(cv, values) for cv in explanation.values}
        defaults = {cv: known[key] for cv, key in keys.items() if key in known}
        state = _state(explanation, defaults)
        made.append(CvLine(explanation, defaults, state, _words(explanation, defaults, state)))
    places = {state: at for at, states in enumerate(_SECTIONS.values()) for state in states}
    return CvOverview(tuple(sorted(made, key=lambda one: places[one.state])))


def _state(explanation: CvExplanation, defaults: Mapping[CvKey, int]) -> CvState:
    values = explanation.values
    if any(values[cv] != default for cv, default in defaults.items()):
        return CvState.CHANGED
    first = plain_cv(next(iter(values)))  # what no format reads stands alone
    if not explanation.readings and is_left_to_makers(first, explanation.decoder):
        return CvState.UNKNOWN
    return CvState.DEFAULT if len(defaults) == len(values) else CvState.NO_DEFAULT


def _words(explanation: CvExplanation, defaults: Mapping[CvKey, int], state: CvState) -> str:
    if not explanation.readings:
        return "; ".join(one.content for one in explanation.entries)
    before = defaults if state is CvState.CHANGED else {}
    return " or ".join(_read_words(one, before) for one in explanation.readings)


def _read_words(reading: CvReading, defaults: Mapping[CvKey, int]) -> str:
    """What a reading says, or why it says nothing; from the defaults on, if they are known."""
    if reading.value is None:
        return "; ".join((*(row.meaning for row in reading.rows), *reading.notes))
    own = dict(zip(reading.format.cvs, (defaults.get(cv) for cv in reading.cvs), strict=True))
    held = {cv: value for cv, value in own.items() if value is not None}
    try:
        return _change_words(reading.format.from_cvs(held), reading.value)
    except FieldError:  # a default is missing, or not legal
        return _value_words(reading.value)


def _value_words(value: CvValue) -> str:
    """Each field, and what the whole means; of many fields those that are not 0."""
    shown = {name: _field_words(value, name) for name in value.kinds}
    if len(shown) > 4:
        numbers = {name: kind.to_number(getattr(value, name)) for name, kind in value.kinds.items()}
        on = [shown[name] for name, number in numbers.items() if number]
        parts = [*on, *["all else is none"] * (len(on) < len(shown))]
    else:
        parts = [*shown.values()]
    return "; ".join(filter(None, (*parts, value.in_words())))


def _change_words(old: CvValue, new: CvValue) -> str:
    """The fields that differ, and what both mean as a whole."""
    parts = []
    for name in new.kinds:
        if getattr(old, name) != getattr(new, name):
            parts.append(_from_to(_field_words(old, name), _field_words(new, name)))
    said = dict.fromkeys(filter(None, (old.in_words(), new.in_words())))
    return "; ".join((*parts, *[" -> ".join(said)] * bool(said)))


def change_in_words(change: CvChange, decoder: KindOrDescription, old: CvSet, new: CvSet) -> str:
    """What changes in a CV of two sets, field by field.

    What several CVs make together is told at the last of them that differs.

    >>> old, new = CvSet({17: 192, 18: 128, 19: 5}), CvSet({17: 196, 18: 181, 19: 133})
    >>> change_in_words(CvChange(19, 5, 133), DecoderKind.MULTI_FUNCTION, old, new)
    'reversed=no -> yes'
    >>> change_in_words(CvChange(18, 128, 181), DecoderKind.MULTI_FUNCTION, old, new)[:20]
    'address=128 -> 1205;'
    """
    held = (value for value in (change.old, change.new) if value is not None)
    told = [describe(change.key, value, decoder).readings for value in held]
    formats = {reading.format for readings in told for reading in readings}
    words = ""
    if change.new is not None and len(formats) == 1:  # else none, or several ways to read it
        first, *later = [[_row_words(one, row) for row in one.rows] for (one,) in told]
        pairs = zip(first, *later, strict=True)
        words = "; ".join(_from_to(*pair) for pair in pairs if pair[0] != pair[-1] or not later)
    return words or _joint_words(change.key, decoder, old, new)


def _joint_words(key: CvKey, decoder: KindOrDescription, old: CvSet, new: CvSet) -> str:
    """What changes in a value of several CVs, of which this is the last that differs."""
    for one in value_types(key, decoder):
        differ = [cv for cv in one.cvs if old.get(cv) != new.get(cv)]
        if len(one.cvs) > 1 and differ and differ[-1] == key:
            try:
                return _change_words(one.from_cvs(old), one.from_cvs(new))
            except FieldError:  # one of the sets does not have all of it, or it is not legal
                continue
    return ""


def _row_words(reading: CvReading, row: BitRow) -> str:
    """What the bits of a row mean; of functions those that are on."""
    if isinstance(reading.format.kinds[row.name], Functions):
        return row.meaning.partition(" of ")[0]
    return row.meaning


def _from_to(old: str, new: str | None = None) -> str:
    """`name=old -> new`, of what opens with the name, or the old alone."""
    if new is None:
        return old
    return f"{old} -> {new.partition('=')[2] or new.rpartition(': ')[2]}"


def _field_words(value: CvValue, name: str) -> str:
    kind, held = value.kinds[name], getattr(value, name)
    meaning = kind.meaning(held)
    return f"{name}={kind.text(held)}{': ' * bool(meaning)}{meaning}"
