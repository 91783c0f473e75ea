"""An explanation as lines of text, of any width, in plain ASCII.

Room: an explanation in, lines out; what bits mean stands in `explanation`.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import reduce
from itertools import groupby, takewhile
from operator import xor

from dccwire.bit_rows import row_lines
from dccwire.drawing.explanation import Explanation
from dccwire.signal import NOMINAL
from dccwire.wording import wrapped

ODD_COLUMNS = "a column with an odd number of ones gives 1 (S-9.2 §B)"

_NARROW = 64
"""Columns below which there is no room to say which bits of those sent a row has."""


def lines_of(explanation: Explanation, width: int, *, half_bits: bool) -> Iterator[str]:
    """What was given, bit by bit; the error byte worked out; what gives reason to say something."""
    inspection = explanation.inspection
    for words in inspection.headlines():
        yield from wrapped(words, width)
    yield ""
    yield from _table(explanation, width)
    meanings = {row.meaning for row in explanation.rows}
    for mark, words in inspection.notes():
        if words not in meanings:
            yield from wrapped(words, width, mark)
    if inspection.packet or inspection.unverified:
        yield ""
        yield from _sum(inspection.data, width)
    if half_bits and explanation.bits:
        yield ""
        yield from _half_bits(explanation, width)


def span(first: int, last: int) -> str:
    """Places among the bits that are sent: `3`, or `3-7`."""
    return f"{first}" if first == last else f"{first}-{last}"


def _table(explanation: Explanation, width: int) -> Iterator[str]:
    """A row each of the bytes and of their fields; where bits were given, of the framing, too."""
    wide = width >= _NARROW
    if explanation.rows:
        yield "sent     " * wide + "byte  bits       layout     meaning"
    framed = explanation.framed and explanation.start is not None
    if framed:
        yield from _framing(explanation, 0, width)
    byte = 0
    for row in explanation.rows:
        if framed and row.byte > byte:
            byte = row.byte
            yield from _framing(explanation, explanation.sent(byte) - 1, width)
        words = ", ".join(filter(None, (row.meaning, row.clause)))
        sent = span(explanation.sent(row.byte, row.first), explanation.sent(row.byte, row.last))
        yield from row_lines(
            words,
            width,
            row.letters,
            first=row.first,
            label=row.byte if row.bits else "",
            bits=row.bits,
            sent=(sent if row.letters else "") if wide else None,
        )
    if framed and explanation.rows:
        yield from _framing(explanation, explanation.sent(byte, 0) + 1, width)


def _framing(explanation: Explanation, at: int, width: int) -> Iterator[str]:
    """The bits of the framing from a place on, those alike together; up to the next byte."""
    sent = explanation.bits.bin
    places = range(at, len(sent))
    framing = takewhile(lambda place: explanation.part(place)[1] is None, places)
    for what, group in groupby(framing, lambda place: explanation.part(place)[0]):
        first, *rest = group
        last = rest[-1] if rest else first
        some = sent[first : last + 1]
        shown = some if len(some) < 9 else f"{len(some)} bits"
        if len(some) > 8 and set(some) == {"1"}:
            shown = f"{len(some)} ones"
        head = f"{span(first, last):<7}  " if width >= _NARROW else ""
        yield from wrapped(what, width, f"{head}      {shown:<9}             ")


def _sum(data: bytes, width: int) -> Iterator[str]:
    """The error byte column by column (S-9.2 §B)."""
    yield from wrapped(f"error byte: {ODD_COLUMNS}", width)
    wide = None if width < _NARROW else ""
    for label, bits, said in sum_of(data):
        yield from row_lines(said, width, "", label=label, bits=bits, sent=wide)


def sum_of(data: bytes) -> Iterator[tuple[str, str, str]]:
    """The exclusive OR of all bytes but the last: byte, bits, and what they are."""
    for byte, value in enumerate(data[:-1]):
        yield f"{byte}", f"{value:08b}", ""
    right = reduce(xor, data[:-1])
    if right == data[-1]:
        yield "", f"{right:08b}", f"{right:02X}, as sent"
        return
    yield "", f"{right:08b}", f"{right:02X} is right"
    yield "", f"{data[-1]:08b}", f"{data[-1]:02X} was sent"
    yield "", "".join(" ^"[one == "1"] for one in f"{right ^ data[-1]:08b}"), "differs"


def _half_bits(explanation: Explanation, width: int) -> Iterator[str]:
    """Each bit with its time, nominal."""
    zero, one = (halves[0] / 1e3 for halves in NOMINAL.halves)
    words = f"half-bits, nominal: two of {one:g} us for a 1, two of {zero:g} us for a 0"
    yield from wrapped(f"{words} (S-9.1 §A, Table 1)", width)
    yield "bit  value  begins us  halves us  what it is"
    begins = 0.0
    for place, bit in enumerate(explanation.bits.bin):
        half = one if bit == "1" else zero
        what, byte = explanation.part(place)
        said = what if byte is None else f"byte {byte}, {what}"
        yield from wrapped(
            said, width, f"{place:>3}  {bit:>5}  {begins:>9.1f}  {half:>3.0f} + {half:<3.0f}  "
        )
        begins += 2 * half
