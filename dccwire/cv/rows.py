"""A CV laid out bit by bit: which bits belong to which field, and what they say.

Room: rows of data from a layout and the values of its CVs; nothing is refused here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from dccwire.cv.kinds import Bit, Octets, ReservedBits, field_value
from dccwire.cv.values import CvValue
from dccwire.fields import FieldKind, Functions
from dccwire.layout import BitField, Run

__all__ = ["CvRow", "rows_of", "split_fields"]


@dataclass(frozen=True, slots=True)
class CvRow:
    """A few bits of one CV and what they say.

    `first` and `last` are bit numbers, 7 to 0; `bits` their state as 0 and 1; `letters` the
    layout's characters; `name` the field; `meaning` words; `clause` where it stands.

    >>> from dccwire.cv.addresses import ConsistAddress
    >>> row = rows_of(ConsistAddress, {19: 201})[1]
    >>> row.cv, row.first, row.last, row.letters, row.clause
    (19, 6, 0, 'AAAAAAA', 'S-9.2.2, CV 19')
    """

    cv: int
    first: int
    last: int
    bits: str
    letters: str
    name: str
    meaning: str
    clause: str


def rows_of(cls: type[CvValue], values: Mapping[int, int]) -> tuple[CvRow, ...]:
    """A row for each field within each CV given; CVs of the layout may be missing.

    >>> from dccwire.cv.addresses import ConsistAddress
    >>> [(row.bits, row.meaning) for row in rows_of(ConsistAddress, {19: 201})]
    [('1', 'reversed=yes'), ('1001001', 'address=73')]
    """
    return tuple(_rows(cls, values))


def split_fields(cls: type[CvValue], values: Mapping[int, int]) -> frozenset[str]:
    """The fields of one number that reach into a CV that is not given.

    >>> from dccwire.cv.addresses import ExtendedAddress
    >>> split_fields(ExtendedAddress, {17: 196}), split_fields(ExtendedAddress, {17: 196, 18: 181})
    (frozenset({'address'}), frozenset())
    """
    missing = [place for place, cv in enumerate(cls.cvs) if cv not in values]
    return frozenset(
        name
        for name, field in cls.layout.fields.items()
        for place in missing
        for run in field.runs
        if any(_within(run, place, len(cls.cvs)))
    )


def _rows(cls: type[CvValue], values: Mapping[int, int]) -> Iterator[CvRow]:
    data = bytes(values.get(cv, 0) for cv in cls.cvs)
    word = int.from_bytes(data)
    letters = cls.layout.line.replace(" ", "")
    split = split_fields(cls, values)
    for place, cv in enumerate(cls.cvs):
        if cv not in values:
            continue
        found = []
        for name, field in cls.layout.fields.items():
            for run in field.runs:
                for first, last in _within(run, place, len(data)):
                    start = 8 * place + 7 - first
                    weight = run.weight + 8 * (len(data) - 1 - place) + last - run.shift
                    part = _Part(name, field, cls.kinds[name], weight, first - last + 1)
                    bits = f"{data[place]:08b}"[7 - first : 8 - last]
                    meaning = part.meaning(word, bits, whole=name not in split)
                    own = letters[start : start + first - last + 1]
                    found.append(CvRow(cv, first, last, bits, own, name, meaning, cls.clause))
        yield from sorted(found, key=lambda row: -row.first)


def _within(run: Run, place: int, size: int) -> Iterator[tuple[int, int]]:
    """The highest and lowest bit of a run within the byte at a place, if it reaches there."""
    low = 8 * (size - 1 - place)
    first = min(run.shift + run.width - 1, low + 7) - low
    last = max(run.shift, low) - low
    if first >= last:
        yield first, last


@dataclass(frozen=True, slots=True)
class _Part:
    """The bits of a field that one CV holds: `weight` of the lowest, and how many."""

    name: str
    field: BitField
    kind: FieldKind
    weight: int
    width: int

    def meaning(self, word: int, bits: str, *, whole: bool) -> str:
        """What they say; `whole` tells whether the rest of the field is known."""
        number = self.field.take(word)
        if isinstance(self.kind, Octets):
            return f"number {self.kind.count - self.weight // 8} of {self.name}: {int(bits, 2)}"
        if isinstance(self.kind, Functions):
            own = number & ((1 << self.width) - 1) << self.weight
            kept = " (kept)" if isinstance(self.kind, ReservedBits) and own else ""
            return f"{self.name}={self.kind.text(own)}{kept}"
        text = self.kind.text(field_value(self.kind, number))
        if isinstance(self.kind, Bit):
            text += f": {self.kind.meaning(bool(number))}"
        if self.width == self.field.width:
            return f"{self.name}={text}"
        part = f"bits {self.weight + self.width - 1}-{self.weight} of it"
        return f"{self.name}={text} ({part})" if whole else f"{self.name}: {part}"
