"""Two packets beside each other: which bits differ, and which fields.

Room: two explanations in, lines or a page out; what bits mean stands in `explanation`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import zip_longest

from dccwire.address import Mode
from dccwire.bit_rows import BitRow
from dccwire.drawing.explanation import Explanation, explain
from dccwire.layout import bits_in_words
from dccwire.wording import counted, wrapped

__all__ = ["Difference", "difference"]


_HEAD = "byte", "first", "second", "differs", "first, second"


@dataclass(frozen=True, slots=True)
class Difference:
    """What differs between two explained packets, bytes against bytes.

    `bits` are the bits that differ, as pairs of byte and number within it (7 is sent first); those
    of bytes that one of them alone has are not among them.
    """

    one: Explanation
    other: Explanation

    @property
    def bits(self) -> tuple[tuple[int, int], ...]:
        """Which bits differ, in the order in which they are sent.

        >>> difference(bytes.fromhex("377443"), bytes.fromhex("377542")).bits
        ((1, 0), (2, 0))
        """
        pairs = zip(self.one.inspection.data, self.other.inspection.data, strict=False)
        return tuple(
            (byte, number)
            for byte, (one, other) in enumerate(pairs)
            for number in range(7, -1, -1)
            if (one ^ other) >> number & 1
        )

    @property
    def framing(self) -> tuple[str, ...]:
        """What differs of the framing, in words, where bits were given of both.

        >>> from dccwire.framing import to_bits
        >>> data = bytes.fromhex("377443")
        >>> difference(explain(to_bits(data, 14)), explain(to_bits(data, 12))).framing
        ('preamble: 14 ones, 12 ones',)
        """
        if not (self.one.framed and self.other.framed):
            return ()
        return tuple(
            f"{name}: {first}, {second}"
            for (name, first), (_, second) in zip(
                _framing_of(self.one), _framing_of(self.other), strict=False
            )
            if first != second
        )

    def __str__(self) -> str:
        return self.text()

    def text(self, width: int = 80) -> str:
        """Both packets, their bits with marks where they differ, and their fields side by side.

        >>> print(difference(bytes.fromhex("377443"), bytes.fromhex("377542")).text())
        first   37 74 43: short 55: SpeedAndDirection forward=yes c=1 speed=4
        second  37 75 42: short 55: SpeedAndDirection forward=yes c=1 speed=5
        2 bits differ
        <BLANKLINE>
        byte  first      second     differs    first, second
        0     0011 0111  0011 0111             short 55
        1     0111 0100  0111 0101          ^  SpeedAndDirection
                                               bits 3-0: speed=4, speed=5
        2     0100 0011  0100 0010          ^  error byte
        """
        return "\n".join(self._lines(max(width, 60)))

    def html(self) -> str:
        """The same as a page that stands alone.

        >>> difference(bytes.fromhex("377443"), bytes.fromhex("377542")).html().count("<tr>")
        5
        """
        from dccwire.drawing.page import page

        return page(" against ".join(words for _, words in self._heads()), self._repr_html_())

    def _repr_html_(self) -> str:
        from dccwire.drawing.page import in_text, part, table

        told = (f"<p><b>{name}</b> {in_text(words)}</p>" for name, words in self._heads())
        counts = (f"<p>{words}</p>" for words in self._counts())
        return part((*told, *counts, *table("bits and fields", _HEAD, self._rows())))

    def _lines(self, width: int) -> Iterator[str]:
        for name, words in self._heads():
            yield from wrapped(words, width, f"{name:<8}")
        yield from self._counts()
        yield ""
        yield "{:<4}  {:9}  {:9}  {:9}  {}".format(*_HEAD)
        for byte, first, second, marks, words in self._rows():
            yield from wrapped(words, width, f"{byte:<4}  {first:9}  {second:9}  {marks:9}  ")

    def _heads(self) -> Iterator[tuple[str, str]]:
        for name, one in (("first", self.one), ("second", self.other)):
            yield name, next(one.inspection.headlines())

    def _counts(self) -> Iterator[str]:
        number = counted(len(self.bits), "bit") if self.bits else "no bit"
        of_bytes = " of the bytes" * self.one.framed
        yield f"{number}{of_bytes} differ{'s' * (len(self.bits) < 2)}"
        yield from self.framing
        one, other = (len(one.inspection.data) for one in (self.one, self.other))
        if one != other:
            yield f"{one} bytes against {other}"

    def _rows(self) -> Iterator[tuple[str, str, str, str, str]]:
        """A row a byte and a row a field that differs, under `_HEAD`."""
        for byte in range(max(len(one.inspection.data) for one in (self.one, self.other))):
            first, second = (_bits(one, byte) for one in (self.one, self.other))
            marks = "".join("^" if (byte, 7 - at) in self.bits else " " for at in range(8))
            told, *others = list(self._told(byte, self.bits)) or [""]
            yield f"{byte}", first, second, f"{marks[:4]} {marks[4:]}", told
            yield from (("", "", "", "", words) for words in others)

    def _told(self, byte: int, bits: tuple[tuple[int, int], ...]) -> Iterator[str]:
        """What the fields of a byte say in both, those that differ; what both say, if none does."""
        rows = [[row for row in one.rows if row.byte == byte] for one in (self.one, self.other)]
        fields = [[row for row in some if not row.bits and row.letters] for some in rows]
        heads = [next((row.meaning for row in some if row.bits), "") for some in rows]
        alike = [(row.first, row.last, row.name) for row in fields[0]] == [
            (row.first, row.last, row.name) for row in fields[1]
        ]
        if heads[0] != heads[1]:
            yield ", ".join(one or "nothing" for one in heads)
        elif heads[0]:
            yield heads[0]
        for first, second in zip_longest(*fields) if alike else ():
            if any((byte, number) in bits for number in range(first.last, first.first + 1)):
                where = bits_in_words(first.first, first.last)
                yield f"{where}: {first.meaning}, {second.meaning}"
        if not alike:
            for name, some in (("first", fields[0]), ("second", fields[1])):
                yield from (f"{name}: {_said(row)}" for row in some)


def difference(
    one: bytes | Explanation, other: bytes | Explanation, *, mode: Mode = Mode.OPERATIONS
) -> Difference:
    """Compare two packets, given as bytes or explained; never raises on any bytes.

    Raises:
        FieldError: one is neither.
    """
    first, second = (
        each if isinstance(each, Explanation) else explain(each, mode=mode) for each in (one, other)
    )
    return Difference(first, second)


def _framing_of(one: Explanation) -> Iterator[tuple[str, str]]:
    """Each part of the framing by its name, as it was given."""
    yield "preamble", counted(one.inspection.preamble or 0, "one")
    count = len(one.inspection.data)
    for byte in range(count + 1):
        at = one.sent(byte) - 1
        name = f"start bit of byte {byte}" if byte else "packet start bit"
        if at >= len(one.bits):
            yield "packet end bit", "missing"
        elif one.part(at)[1] is not None:
            yield name, "missing"
        else:
            yield one.part(at)[0], one.bits[at : at + 1].bin


def _bits(explanation: Explanation, byte: int) -> str:
    data = explanation.inspection.data
    return f"{data[byte] >> 4:04b} {data[byte] & 15:04b}" if byte < len(data) else ""


def _said(row: BitRow) -> str:
    return f"{bits_in_words(row.first, row.last)}: {row.meaning}"
