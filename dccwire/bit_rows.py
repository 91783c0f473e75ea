"""The rows of a bit-by-bit view, of packets and CVs: bits of which field, and what they say.

Room: rows from a layout, kinds and a word, and rows as lines of text.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import NamedTuple

from dccwire.formats import Declared
from dccwire.layout import bits_in_words
from dccwire.wording import wrapped


class BitRow(NamedTuple):
    """Neighbouring bits of one byte (from 0), `first` to `last` (7 is sent first), and their say.

    `bits` is their state as 0 and 1, `letters` the layout's characters. Of a packet the row that
    opens a byte has all eight `bits` and the rows of its fields have none; a row of mere words has
    no letters either.
    """

    byte: int
    first: int
    last: int
    bits: str
    letters: str
    name: str
    meaning: str
    clause: str = ""


def field_rows(
    cls: type[Declared],
    word: int,
    *,
    unknown: Collection[str] = (),
    words: Mapping[str, str] | None = None,
) -> Iterator[BitRow]:
    """A row for each part of each field, in transmission order; any word, legal or not.

    `unknown` are fields of which some bits are not known; `words` are said of fields without a
    kind, as an accessory's address.

    >>> from dccwire.instructions import CvAccessLongForm
    >>> [row.meaning for row in field_rows(CvAccessLongForm, 0xEC1C26)][1:3]
    ['cv=29 (bits 9-8 of cv - 1)', 'cv=29 (bits 7-0 of cv - 1)']
    """
    sent = f"{word:0{8 * cls.layout.size}b}"
    for part in cls.layout.parts:
        name, low = part[0].field, part[-1].weight
        field, kind = cls.layout.fields[name], cls.kinds.get(name)
        number, whole = field.take(word), cls.layout.whole_of(part)
        if kind is None:
            meaning = (words or {})[name]
        elif kind.apart:
            meaning, whole = kind.of_bits(name, number, low, len(part)), ""
        elif name in unknown:
            meaning, whole = f"{name}: {whole}", ""
        else:
            value = kind.from_number(number)
            meaning = f"{name}={kind.text(value)}"
            if said := kind.meaning(value):
                meaning += f": {said}"
        if whole:
            meaning += f" ({whole})"
        first, last = part[0], part[-1]
        bits, letters = sent[first.position : last.position + 1], first.letter * len(part)
        yield BitRow(first.byte, first.number, last.number, bits, letters, name, meaning)


def row_lines(
    words: str,
    width: int,
    letters: str,
    *,
    first: int = 7,
    label: object = "",
    bits: str = "",
    sent: str | None = None,
) -> Iterator[str]:
    """A row as text of at most `width` columns: label, eight bits, letters at their places, words.

    `sent` is put before the label, if there is such a column: which bits these are of those sent.

    Where there are no bits, the words say which ones the letters stand for.

    >>> list(row_lines("speed=4", 80, "SSSS", first=3))
    ['                      SSSS  bits 3-0: speed=4']
    """
    shown = (" " * (7 - first) + letters).ljust(8)
    if letters and not bits:
        words = f"{bits_in_words(first, first - len(letters) + 1)}: {words}"
    head = "" if sent is None else f"{sent:<7}  "
    head += f"{label:<4}  {bits[:4]:4} {bits[4:]:4}  {shown[:4]} {shown[4:]}  "
    yield from wrapped(words, width, head)
