"""What CVs hold, bit by bit, as text and JSON.

Nothing is refused, be it unknown or not legal. Room: chooses the formats and draws the
rows as text; what bits mean stands in the formats.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from dccwire.bit_rows import BitRow, field_rows, row_lines
from dccwire.cv.accessories import AccessoryConfiguration
from dccwire.cv.catalogue import CvEntry, entry, present
from dccwire.cv.cv_set import POINTERS, CvKey, IndexedCv, is_on_page, plain_cv
from dccwire.cv.description import DecoderDescription, KindOrDescription, kind_of
from dccwire.cv.paging import FIRST_PAGE
from dccwire.cv.value_text import value_to_plain
from dccwire.cv.values import VALUE_TYPES, CvValue, DecoderKind, check_cv, check_value, cv_name
from dccwire.formats import Provenance
from dccwire.wording import wrapped

__all__ = [
    "CvExplanation",
    "CvReading",
    "describe",
    "explain_cvs",
    "explain_value",
    "value_types",
]


@dataclass(frozen=True, slots=True)
class CvReading:
    """CVs read by one `format`: `rows`, and the `value`, or None; then `notes` say why.

    `legal` is whether the format refuses none of them: the value may be None for want of others. A
    row's byte is the place of its CV in `cvs`: those of the format, by the numbers given.

    >>> (reading,) = describe(1, 200).readings
    >>> reading.format.__name__, reading.value, reading.notes
    ('PrimaryAddress', None, ('CV 1: bit 7 = 0 expected, 200 given',))
    """

    format: type[CvValue]
    cvs: tuple[CvKey, ...]
    rows: tuple[BitRow, ...]
    value: CvValue | None
    notes: tuple[str, ...]
    legal: bool = True


@dataclass(frozen=True, slots=True)
class CvExplanation:
    """CVs that belong together, what is said of each, and every reading of them.

    `entries` are the standard's, or those of a description. An accessory decoder's CVs under old
    numbers are read as what they are today, CV 512 + n as n.
    """

    decoder: DecoderKind
    values: Mapping[CvKey, int]
    entries: tuple[CvEntry, ...]
    readings: tuple[CvReading, ...]

    @property
    def legal(self) -> bool:
        """Whether some format refuses none of the values, or none is known.

        >>> describe(1, 72).legal, describe(1, 200).legal, describe(50, 200).legal
        (True, False, True)
        """
        return not self.readings or any(one.legal for one in self.readings)

    def to_dict(self) -> dict[str, Any]:
        """As JSON holds it."""
        return {
            "decoder": self.decoder.value,
            "cvs": {str(cv): value for cv, value in self.values.items()},
            "entries": [
                {"name": one.name, "status": one.status.value, "content": one.content}
                for one in self.entries
            ],
            "readings": [
                {
                    "value": one.value and value_to_plain(one.value),
                    "words": one.value.in_words() if one.value else "",
                    "bits": [
                        {
                            "cv": _plain(one.cvs[row.byte]),
                            "bits": _numbers(row),
                            "meaning": row.meaning,
                        }
                        for row in one.rows
                    ],
                    "notes": list(one.notes),
                }
                for one in self.readings
            ],
        }

    def text(self, width: int = 80) -> str:
        """The CVs laid out for a terminal, in plain ASCII, at most `width` columns (40 or more).

        >>> print(explain_cvs({17: 196, 18: 181})[0].text())
        CV 17 = 196, CV 18 = 181: extended address (optional)
        two-byte address, a pair
        <BLANKLINE>
        cv    bits       layout     meaning
        17    1100 0100  11AA AAAA  ExtendedAddress, S-9.2.2, CV 17 and 18
                           AA AAAA  bits 5-0: address=1205 (bits 13-8 of it)
        18    1011 0101  AAAA AAAA  bits 7-0: address=1205 (bits 7-0 of it)
        = ExtendedAddress address=1205
          long 1205, while CV 29 bit 5 is 1
        """
        return "\n".join(_lines(self, max(width, 40)))

    def _repr_html_(self) -> str:
        from dccwire.drawing.cv_page import cv_part_of

        return cv_part_of(self)


def describe(
    cv: CvKey, value: int, decoder: KindOrDescription = DecoderKind.MULTI_FUNCTION
) -> CvExplanation:
    """What the value of one CV means.

    >>> print(describe(50, 7).text())
    CV 50 = 7: manufacturer unique
    the maker's manual says what it holds
    """
    return explain_cvs({cv: value}, decoder)[0]


def explain_cvs(
    values: Mapping[int, int] | Mapping[CvKey, int],
    decoder: KindOrDescription = DecoderKind.MULTI_FUNCTION,
) -> tuple[CvExplanation, ...]:
    """What the values of some CVs mean, in the order given; those of one format come together.

    Accessory decoders read CV 1 and 9 in two ways; both are told unless CV 29 is there to choose.
    CV 257 to 512 are read as those of the index page that CV 31 and 32 name, if both are there.

    >>> [list(one.values) for one in explain_cvs({17: 196, 29: 38, 18: 181})]
    [[17, 18], [29]]
    """
    kind, left = kind_of(decoder), dict[CvKey, int](values.items())
    for cv, value in left.items():
        if not isinstance(cv, IndexedCv):
            check_cv(cv)
        check_value(cv, value)
    done: list[CvExplanation] = []
    every = dict(left)
    today = {present(cv, kind): value for cv, value in every.items() if isinstance(cv, int)}
    while left:
        given = next(iter(left))
        told = on_page(given, every)
        first = present(told, kind) if isinstance(told, int) else told
        kinds = value_types(first, decoder)
        switches = AccessoryConfiguration
        if kind is DecoderKind.MULTI_FUNCTION and first == 29:
            kinds = kinds if any(switches.faults(left)) else (switches,)
        if kind is DecoderKind.ACCESSORY and first in (1, 9) and 29 in today:
            by_output = switches.layout.fields["output_addressing"].take(today[29])
            kinds = (kinds[by_output],)
        group = kinds[0].cvs if kinds else (first,)
        names = {_as_given(cv, given, first): cv for cv in group}
        names = {cv: own for cv, own in names.items() if cv in left}
        together = {cv: left.pop(cv) for cv in names}
        entries = (entry(on_page(cv, every), decoder) for cv in together)
        readings = tuple(_reading(cls, together, given, first, kind) for cls in kinds)
        done.append(CvExplanation(kind, together, tuple(dict.fromkeys(entries)), readings))
    return tuple(done)


def on_page(key: CvKey, values: Mapping[CvKey, int]) -> CvKey:
    """The indexed CV that a plain one is while `values` name its page; else the same.

    >>> on_page(257, {31: 16, 32: 0, 257: 5}), on_page(257, {31: 16})
    (IndexedCv(high=16, low=0, cv=257), 257)
    """
    high, low = (values.get(cv) for cv in POINTERS)
    if not is_on_page(key) or low is None or high is None or high < FIRST_PAGE:
        return key
    return IndexedCv(high, low, plain_cv(key))


def _as_given(key: CvKey, given: CvKey, first: CvKey) -> CvKey:
    """A CV of a format, called as those were given of which the `first` was called `given`."""
    if isinstance(key, int) and isinstance(given, int) and isinstance(first, int):
        return key + given - first
    return key if given == first else plain_cv(key)


def explain_value(value: CvValue, decoder: KindOrDescription | None = None) -> CvExplanation:
    """The CVs of a value, read by its own format, from memory or not.

    A description, if that is the `decoder`, says what it is called.

    >>> from dccwire.cv.addresses import LongConsistAddress
    >>> explain_value(LongConsistAddress.at(1205, reversed=False)).text().splitlines()[-1]
    '  in consist 1205, this unit forward'
    """
    cls, values = type(value), value.to_cvs()
    kind, first = value.decoder, value.cvs[0]
    entries = tuple(dict.fromkeys(entry(cv, decoder or kind) for cv in values))
    return CvExplanation(kind, values, entries, (_reading(cls, values, first, first, kind),))


def value_types(cv: CvKey, decoder: KindOrDescription) -> tuple[type[CvValue], ...]:
    """The formats that a CV has a part in, but for those from memory.

    >>> [one.__name__ for one in value_types(1, DecoderKind.ACCESSORY)]
    ['AccessoryDecoderAddressing', 'AccessoryOutputAddressing']
    """
    kind = kind_of(decoder)
    if isinstance(decoder, DecoderDescription) and cv in decoder.formats:
        return (decoder.formats[cv],)
    return _standard_types(cv, kind)


@cache
def _standard_types(cv: CvKey, kind: DecoderKind) -> tuple[type[CvValue], ...]:
    return tuple(
        cls
        for cls in VALUE_TYPES.values()
        if cv in cls.cvs and cls.decoder is kind and cls.provenance is not Provenance.FROM_MEMORY
    )


def _reading(
    cls: type[CvValue], given: Mapping[CvKey, int], called: CvKey, first: CvKey, kind: DecoderKind
) -> CvReading:
    """The CVs `given` by a format, one of whose CVs, `first`, is `called` so there."""
    cvs = tuple(_as_given(cv, called, first) for cv in cls.cvs)
    values = {own: given[cv] for own, cv in zip(cls.cvs, cvs, strict=True) if cv in given}
    split = cls.split_fields(values)
    every = field_rows(cls, cls.word_of(values), unknown=split)
    rows = tuple(row for row in every if cls.cvs[row.byte] in values)
    notes = []
    if cls.decoder is not kind:
        notes.append("bit 7 = 1: this is the configuration of an accessory decoder")
    missing = ", ".join(cv_name(cv) for cv in cls.cvs if cv not in values)
    for name in sorted(split & {row.name for row in rows}):
        if not cls.kinds[name].apart:
            notes.append(f"{name} has bits in {missing} too, not given here")
    faults = [str(error) for error in cls.faults(values)]
    value = None if missing or faults else cls.from_cvs(values)
    return CvReading(cls, cvs, rows, value, (*notes, *faults), not faults)


def _lines(one: CvExplanation, width: int) -> Iterator[str]:
    cvs = list(one.values)
    head = ", ".join(f"{cv_name(cv)} = {value}" for cv, value in one.values.items())
    if len(cvs) > 4:
        head = f"{cv_name(cvs[0])} to {plain_cv(cvs[-1])}, {len(cvs)} values"
    yield from wrapped(f"{head}: {'; '.join(map(_titled, one.entries))}", width)
    for each in one.entries:
        if each.content:
            yield from wrapped(each.content, width)
    for reading in one.readings:
        yield ""
        for note in reading.notes:
            yield from wrapped(note, width, "! ")
        yield "cv    bits       layout     meaning"
        yield from _row_lines(reading, one.values, width)
        if reading.value is not None:
            yield from wrapped(str(reading.value), width, "= ")
            if said := reading.value.in_words():
                yield from wrapped(said, width, "  ")


def _titled(one: CvEntry) -> str:
    status = "" if one.status.value == one.name else f" ({one.status.value})"
    return f"{one.name}{status}{', read only' if one.read_only else ''}"


def _row_lines(reading: CvReading, values: Mapping[CvKey, int], width: int) -> Iterator[str]:
    cls = reading.format
    title = f"{cls.__name__}, {cls.clause}"
    for byte, letters in enumerate(cls.layout.line.split(" ")):
        if (cv := reading.cvs[byte]) not in values:
            continue
        own = [row for row in reading.rows if row.byte == byte]
        if not title and [row.letters for row in own] == [letters]:
            title = f"bits 7-0: {own.pop().meaning}"
        yield from row_lines(title, width, letters, label=plain_cv(cv), bits=f"{values[cv]:08b}")
        for row in own:
            yield from row_lines(row.meaning, width, row.letters, first=row.first)
        title = ""


def _plain(key: CvKey) -> int | str:
    """A CV in JSON; `key_from_text` reads the words of an indexed one."""
    return key if isinstance(key, int) else str(key)


def _numbers(row: BitRow) -> str:
    return f"{row.first}" if row.first == row.last else f"{row.first}-{row.last}"
