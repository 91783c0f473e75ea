"""CV values in one line of text (`Configuration extended_addressing=yes`), as JSON, bit by bit.

Bit by bit nothing is refused, be it unknown or not legal. Room: chooses the formats and draws the
rows as text; what bits mean stands in the formats.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from dccwire.bit_rows import BitRow, field_rows, row_lines
from dccwire.cv.accessories import AccessoryConfiguration
from dccwire.cv.catalogue import CvEntry, entry, present
from dccwire.cv.values import VALUE_TYPES, CvValue, DecoderKind, check_cv, check_value
from dccwire.errors import member
from dccwire.formats import Provenance
from dccwire.notation import Notation, declared_to_plain
from dccwire.wording import wrapped

__all__ = [
    "CvExplanation",
    "CvReading",
    "describe",
    "explain_cvs",
    "explain_value",
    "value_from_plain",
    "value_from_text",
    "value_to_plain",
    "value_types",
]

value_to_plain = declared_to_plain
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


def value_from_plain(plain: object, held: Mapping[int, int] | None = None) -> CvValue:
    """The value of its JSON object, `held` as for text; ShapeError where it has another shape.

    >>> value_from_plain({"type": "ExtendedAddress", "address": 1205}).to_cvs()
    {17: 196, 18: 181}
    """
    if held is not None and isinstance(plain, Mapping) and str(plain.get("type")) in VALUE_TYPES:
        stored = VALUE_TYPES[plain["type"]].from_cvs(held)
        plain = {**value_to_plain(stored), **plain}
    return CV_NOTATION.from_plain(plain, "value")


@dataclass(frozen=True, slots=True)
class CvReading:
    """CVs read by one `format`: `rows`, and the `value`, or None; then `notes` say why.

    A row's byte is the place of its CV in `cvs`: those of the format, by the numbers given.

    >>> (reading,) = describe(1, 200).readings
    >>> reading.format.__name__, reading.value, reading.notes
    ('PrimaryAddress', None, ('CV 1: bit 7 = 0 expected, 200 given',))
    """

    format: type[CvValue]
    cvs: tuple[int, ...]
    rows: tuple[BitRow, ...]
    value: CvValue | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CvExplanation:
    """CVs that belong together, what the standard says of each, and every reading of them.

    An accessory decoder's CVs under old numbers are read as what they are today, CV 512 + n as n.
    """

    decoder: DecoderKind
    values: Mapping[int, int]
    entries: tuple[CvEntry, ...]
    readings: tuple[CvReading, ...]

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
                        {"cv": one.cvs[row.byte], "bits": _numbers(row), "meaning": row.meaning}
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
    cv: int, value: int, decoder: DecoderKind = DecoderKind.MULTI_FUNCTION
) -> CvExplanation:
    """What the value of one CV means.

    >>> print(describe(50, 7).text())
    CV 50 = 7: manufacturer unique
    the maker's manual says what it holds
    """
    return explain_cvs({cv: value}, decoder)[0]


def explain_cvs(
    values: Mapping[int, int], decoder: DecoderKind = DecoderKind.MULTI_FUNCTION
) -> tuple[CvExplanation, ...]:
    """What the values of some CVs mean, in the order given; those of one format come together.

    Accessory decoders read CV 1 and 9 in two ways; both are told unless CV 29 is there to choose.

    >>> [list(one.values) for one in explain_cvs({17: 196, 29: 38, 18: 181})]
    [[17, 18], [29]]
    """
    decoder = member(DecoderKind, "decoder", decoder)
    for cv, value in values.items():
        check_value(check_cv(cv), value)
    done: list[CvExplanation] = []
    left, today = dict(values), {present(cv, decoder): value for cv, value in values.items()}
    while left:
        first = present(given := next(iter(left)), decoder)
        kinds = value_types(first, decoder)
        switches = AccessoryConfiguration
        if decoder is DecoderKind.MULTI_FUNCTION and first == 29:
            kinds = kinds if any(switches.faults(left)) else (switches,)
        if decoder is DecoderKind.ACCESSORY and first in (1, 9) and 29 in today:
            by_output = switches.layout.fields["output_addressing"].take(today[29])
            kinds = (kinds[by_output],)
        every = (cv + given - first for cv in (kinds[0].cvs if kinds else (first,)))
        together = {cv: left.pop(cv) for cv in every if cv in left}
        done.append(_explained(together, kinds, decoder))
    return tuple(done)


def explain_value(value: CvValue) -> CvExplanation:
    """The CVs of a value, read by its own format, from memory or not.

    >>> from dccwire.cv.addresses import LongConsistAddress
    >>> explain_value(LongConsistAddress.at(1205, reversed=False)).text().splitlines()[-1]
    '  in consist 1205, this unit forward'
    """
    return _explained(value.to_cvs(), (type(value),), value.decoder)


def _explained(
    values: Mapping[int, int], kinds: Iterable[type[CvValue]], decoder: DecoderKind
) -> CvExplanation:
    entries = tuple(dict.fromkeys(entry(cv, decoder) for cv in values))
    readings = tuple(_reading(cls, values, decoder) for cls in kinds)
    return CvExplanation(decoder, values, entries, readings)


@cache
def value_types(cv: int, decoder: DecoderKind) -> tuple[type[CvValue], ...]:
    """The formats that a CV has a part in, but for those from memory.

    >>> [one.__name__ for one in value_types(1, DecoderKind.ACCESSORY)]
    ['AccessoryDecoderAddressing', 'AccessoryOutputAddressing']
    """
    kind = member(DecoderKind, "decoder", decoder)
    return tuple(
        cls
        for cls in VALUE_TYPES.values()
        if cv in cls.cvs and cls.decoder is kind and cls.provenance is not Provenance.FROM_MEMORY
    )


def _reading(cls: type[CvValue], values: Mapping[int, int], decoder: DecoderKind) -> CvReading:
    old = next(given - present(given, decoder) for given in values)
    cvs, values = tuple(cv + old for cv in cls.cvs), {cv - old: values[cv] for cv in values}
    split = cls.split_fields(values)
    every = field_rows(cls, cls.word_of(values), unknown=split)
    rows = tuple(row for row in every if cls.cvs[row.byte] in values)
    notes = []
    if cls.decoder is not decoder:
        notes.append("bit 7 = 1: this is the configuration of an accessory decoder")
    missing = ", ".join(f"CV {cv}" for cv in cls.cvs if cv not in values)
    for name in sorted(split & {row.name for row in rows}):
        if not cls.kinds[name].apart:
            notes.append(f"{name} has bits in {missing} too, not given here")
    faults = [str(error) for error in cls.faults(values)]
    value = None if missing or faults else cls.from_cvs(values)
    return CvReading(cls, cvs, rows, value, (*notes, *faults))


def _lines(one: CvExplanation, width: int) -> Iterator[str]:
    cvs = list(one.values)
    head = ", ".join(f"CV {cv} = {value}" for cv, value in one.values.items())
    if len(cvs) > 4:
        head = f"CV {cvs[0]} to {cvs[-1]}, {len(cvs)} values"
    yield from wrapped(f"{head}: {'; '.join(map(_titled, one.entries))}", width)
    for each in one.entries:
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


def _row_lines(reading: CvReading, values: Mapping[int, int], width: int) -> Iterator[str]:
    cls = reading.format
    title = f"{cls.__name__}, {cls.clause}"
    for byte, letters in enumerate(cls.layout.line.split(" ")):
        if (cv := reading.cvs[byte]) not in values:
            continue
        own = [row for row in reading.rows if row.byte == byte]
        if not title and [row.letters for row in own] == [letters]:
            title = f"bits 7-0: {own.pop().meaning}"
        yield from row_lines(title, width, letters, label=cv, bits=f"{values[cv]:08b}")
        for row in own:
            yield from row_lines(row.meaning, width, row.letters, first=row.first)
        title = ""


def _numbers(row: BitRow) -> str:
    return f"{row.first}" if row.first == row.last else f"{row.first}-{row.last}"
