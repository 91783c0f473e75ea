"""The CVs that S-9.2.2 names, for both kinds of decoder: name, status, content.

Every number from 1 to 1024 has exactly one entry; a description of a decoder puts its own in place
of those that say nothing.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import Enum
from functools import cache
from operator import attrgetter, itemgetter
from typing import TYPE_CHECKING

from dccwire.accessory import OLD_NUMBERS
from dccwire.cv.description import DecoderDescription, KindOrDescription, kind_of
from dccwire.cv.values import DecoderKind, check_cv

if TYPE_CHECKING:
    from dccwire.cv.cv_set import CvKey

__all__ = ["READ_ONLY", "CvEntry", "CvStatus", "catalogue", "entry"]

READ_ONLY = frozenset({7, 8})
"""Manufacturer's version and number of a multi-function decoder (S-9.2.2, CV 7 and 8).

A write of 8 to CV 8 is a factory reset (P11).
"""

_RENUMBERED = frozenset({*range(1, 10), 28, 29})
"""The CVs of an accessory decoder that have an old number (S-9.2.2, Table 3, in brackets)."""


class CvStatus(Enum):
    """Whether a decoder must have a CV: M, R and O of S-9.2.2, and what lies beside them."""

    MANDATORY = "mandatory"
    CONDITIONAL = "mandatory where any of its features exists"
    RECOMMENDED = "recommended"
    OPTIONAL = "optional"
    RESERVED = "reserved"
    MANUFACTURER = "manufacturer unique"


@dataclass(frozen=True, slots=True)
class CvEntry:
    """A CV, or a range, `first` to `last`: name, status, content, whether it is read-only.

    `page` is CV 31 and 32 of a described CV on an index page, else None.
    """

    first: int
    last: int
    name: str
    status: CvStatus
    content: str
    read_only: bool = False
    page: tuple[int, int] | None = None


_M, _C, _R, _O, _NONE, _UNIQUE = CvStatus
_RESERVED = ("reserved", _NONE, "reserved by the standard")
_MAKER = ("manufacturer unique", _UNIQUE, "the maker's manual says what it holds")
_MAKER_NUMBER = "manufacturer's number; 255 until a factory reset is complete"
_INDEXED = ("indexed area", _O, "CVs of the index page that CV 31 and 32 name")
_INDEX = ("index page", _O, "page of CV 257 to 512: high byte, 0 to 15 reserved, and low byte")

_ENTRIES: dict[DecoderKind, tuple[tuple[int, int, str, CvStatus, str], ...]] = {
    DecoderKind.MULTI_FUNCTION: (
        (1, 1, "primary address", _M, "short address, by default 3"),
        (2, 2, "V start", _R, "motor voltage at speed step 1"),
        (3, 3, "acceleration rate", _R, "seconds a step are value x 0.896 / steps in use"),
        (4, 4, "deceleration rate", _R, "seconds a step are value x 0.896 / steps in use"),
        (5, 5, "V high", _O, "motor voltage at full speed"),
        (6, 6, "V mid", _O, "motor voltage at the middle step"),
        (7, 7, "manufacturer version", _M, "version of the decoder"),
        (8, 8, "manufacturer ID", _M, f"{_MAKER_NUMBER}; 238: 16 bits in CV 107, 108"),
        (9, 9, "total PWM period", _O, "period of the motor's voltage"),
        (10, 10, "EMF feedback cutout", _O, "the step above which feedback is cut"),
        (11, 11, "packet time-out", _R, "the time that a speed lasts when no more packets come"),
        (12, 12, "power source conversion", _O, "power sources that it turns to"),
        (13, 14, "alternate power mode functions", _O, "functions on in alternate power mode"),
        (15, 16, "decoder lock", _O, "writes are ignored while the two differ, but to CV 15"),
        (17, 18, "extended address", _O, "two-byte address, a pair"),
        (19, 19, "consist address", _O, "consist and direction in it"),
        (20, 20, *_RESERVED[:2], f"{_RESERVED[2]}; from memory: LongConsistAddress, with CV 19"),
        (21, 22, "consist address active functions", _O, "functions that obey the consist"),
        (23, 23, "acceleration adjustment", _O, "added to CV 3 or subtracted"),
        (24, 24, "deceleration adjustment", _O, "added to CV 4 or subtracted"),
        (25, 25, "speed table or mid-range step", _O, "a preset table, or where V mid stands"),
        (26, 26, *_RESERVED),
        (27, 27, "automatic stopping", _O, "what makes it stop by itself"),
        (28, 28, "bidirectional configuration", _O, "when it transmits by itself"),
        (29, 29, "configuration", _C, "switches of the decoder"),
        (30, 30, "error information", _O, "0 is no error"),
        (31, 32, *_INDEX),
        (33, 46, "output location", _O, "outputs of FL forward, FL reverse, F1 to F12"),
        (47, 64, *_MAKER),
        (65, 65, "kick start", _O, "extra kick when the motor starts"),
        (66, 66, "forward trim", _O, "factor of the voltage, value / 128"),
        (67, 94, "speed table", _O, "motor voltage of each of 28 steps"),
        (95, 95, "reverse trim", _O, "factor of the voltage, value / 128"),
        (96, 104, *_RESERVED),
        (105, 106, "user identification", _O, "the user's own"),
        (107, 108, "manufacturer ID, 16 bits", _NONE, f"if CV 8 is 238; else {_RESERVED[2]}"),
        (109, 111, *_RESERVED),
        (112, 256, *_MAKER),
        (257, 512, *_INDEXED),
        (513, 879, *_MAKER),
        (880, 891, *_RESERVED[:2], "reserved for the use of makers, called dynamic (V17)"),
        (892, 892, "decoder load", _O, "amount of the load, and a bit: positive or negative (V21)"),
        (893, 893, "dynamic flags", _O, "flags"),
        (894, 894, "fuel", _O, "0 empty, 254 full, 255 not supported"),
        (895, 895, "water", _O, "0 empty, 254 full, 255 not supported"),
        (896, 1024, "sound and function modules", _O, "CVs of modules beside the decoder"),
    ),
    DecoderKind.ACCESSORY: (
        (1, 1, "decoder address, low", _M, "low part of the address, by default 1"),
        (2, 2, "auxiliary activation", _O, "what inputs activate"),
        (3, 6, "on-time of F1 to F4", _O, "how long an output stays on; 0 is continuous"),
        (7, 7, "manufacturer version", _M, "version of the decoder"),
        (8, 8, "manufacturer ID", _M, _MAKER_NUMBER),
        (9, 9, "decoder address, high", _M, "high part of the address, by default 0"),
        (10, 27, *_RESERVED),
        (28, 28, "bidirectional configuration", _O, "whether it transmits by itself"),
        (29, 29, "configuration", _C, "switches of the decoder"),
        (30, 30, *_RESERVED),
        (31, 32, *_INDEX),
        (33, 81, *_MAKER),
        (82, 111, *_RESERVED),
        (112, 256, *_MAKER),
        (257, 512, *_INDEXED),
        (522, 539, *_MAKER),
        (542, 895, *_MAKER),
        (896, 1024, *_RESERVED),
    ),
}


def catalogue(decoder: KindOrDescription = DecoderKind.MULTI_FUNCTION) -> tuple[CvEntry, ...]:
    """All entries of a kind of decoder, by number; of a description, its own in their places.

    Those of index pages come last, by page.

    >>> [one.name for one in catalogue()][:3]
    ['primary address', 'V start', 'acceleration rate']
    """
    rows = _standard(kind_of(decoder))
    if not isinstance(decoder, DecoderDescription):
        return rows
    own = dict.fromkeys(decoder.entries.values())
    taken = {n for one in own if one.page is None for n in range(one.first, one.last + 1)}
    left = (part for row in rows for part in _without(row, taken))
    return tuple(sorted((*left, *own), key=lambda one: (one.page or (), one.first)))


def _without(row: CvEntry, taken: set[int]) -> Iterator[CvEntry]:
    """What is left of an entry where some of its CVs have one of their own."""
    start = row.first
    for number in (*sorted(taken & {*range(row.first, row.last + 1)}), row.last + 1):
        if start < number:
            yield replace(row, first=start, last=number - 1)
        start = number + 1


@cache
def _standard(decoder: DecoderKind) -> tuple[CvEntry, ...]:
    rows, read_only = list(_ENTRIES[decoder]), READ_ONLY
    if decoder is DecoderKind.ACCESSORY:
        # Table 3 prints CV 8 alone as read-only, and each old number as optional.
        read_only = frozenset({8, OLD_NUMBERS + 8})
        for first, last, name, _, content in _ENTRIES[decoder]:
            if first in _RENUMBERED:
                cvs = f"{first} to {last}" if last > first else f"{first}"
                words = f"old number of CV {cvs}: {content}"
                rows.append((first + OLD_NUMBERS, last + OLD_NUMBERS, name, _O, words))
    return tuple(
        CvEntry(*row, read_only=row[0] in read_only) for row in sorted(rows, key=itemgetter(0))
    )


def entry(cv: CvKey, decoder: KindOrDescription = DecoderKind.MULTI_FUNCTION) -> CvEntry:
    """What the standard says of a CV, 1 to 1024 or indexed, or the description of a decoder.

    >>> entry(29).name, entry(29).status.value, entry(50).name, entry(7).read_only
    ('configuration', 'mandatory where any of its features exists', 'manufacturer unique', True)
    """
    kind = kind_of(decoder)
    if isinstance(decoder, DecoderDescription) and cv in decoder.entries:
        return decoder.entries[cv]
    entries, number = _standard(kind), check_cv(getattr(cv, "cv", cv))
    return entries[bisect_left(entries, number, key=attrgetter("last"))]


def is_left_to_makers(cv: int, kind: DecoderKind) -> bool:
    """Whether the standard says nothing of what a CV holds: it is the maker's, or reserved.

    The indexed area and the CVs of modules beside the decoder are the maker's, too.

    >>> [is_left_to_makers(cv, DecoderKind.MULTI_FUNCTION) for cv in (29, 112, 257, 900)]
    [False, True, True, True]
    """
    one = entry(cv, kind)
    return one.status in (_NONE, _UNIQUE) or one.first in _MAKERS


_MAKERS = frozenset({257, 896})
"""Where areas begin that are optional, and whose content is the maker's (S-9.2.2, Table 1)."""


def present(cv: int, decoder: DecoderKind) -> int:
    """The number that a CV has today: that of an accessory decoder's old one, or its own."""
    old = decoder is DecoderKind.ACCESSORY and cv - OLD_NUMBERS in _RENUMBERED
    return cv - OLD_NUMBERS if old else cv
