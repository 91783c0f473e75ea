"""What every view of an explanation shows, row by row: bits with their framing, sums, half-bits.

Room: an explanation in, rows out, the same for text and page; how a row looks is theirs.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import reduce
from itertools import groupby, takewhile
from operator import xor
from typing import NamedTuple

from dccwire.drawing.explanation import Explanation
from dccwire.signal import NOMINAL

ODD_COLUMNS = "a column with an odd number of ones gives 1 (S-9.2 §B)"


class Row(NamedTuple):
    """Neighbouring bits: which of those sent, of which byte, their values or letters, their say.

    `first` is the number of the first within its byte; a row of the framing has no letters, and one
    of mere words has no place either.
    """

    sent: str
    byte: str
    bits: str
    letters: str
    first: int
    words: str
    clause: str


def table_rows(explanation: Explanation) -> Iterator[Row]:
    """A row each of the bytes and of their fields; where bits were given, of the framing, too."""
    framed = explanation.framed and explanation.start is not None
    if framed:
        yield from _framing(explanation, 0)
    byte = 0
    for row in explanation.rows:
        if framed and row.byte > byte:
            yield from _framing(explanation, explanation.sent(byte, 0) + 1)
            byte = row.byte
        sent = _span(explanation.sent(row.byte, row.first), explanation.sent(row.byte, row.last))
        yield Row(
            sent if row.letters else "",
            f"{row.byte}" if row.bits else "",
            row.bits,
            row.letters,
            row.first,
            row.meaning,
            row.clause,
        )
    if framed and explanation.rows:
        yield from _framing(explanation, explanation.sent(byte, 0) + 1)


def _framing(explanation: Explanation, at: int) -> Iterator[Row]:
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
        yield Row(_span(first, last), "", shown, "", 7, what, "")


def _span(first: int, last: int) -> str:
    """Places among the bits that are sent: `3`, or `3-7`."""
    return f"{first}" if first == last else f"{first}-{last}"


def sum_rows(data: bytes) -> Iterator[tuple[str, str, str]]:
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


def half_bits_in_words() -> str:
    """How long half-bits last, and that each bit has two."""
    zero, one = (halves[0] / 1e3 for halves in NOMINAL.halves)
    words = f"half-bits, nominal: two of {one:g} us for a 1, two of {zero:g} us for a 0"
    return f"{words} (S-9.1 §A, Table 1)"


HALF_BIT_HEAD = ("bit", "value", "begins us", "halves us", "what it is")


def half_bit_rows(explanation: Explanation) -> Iterator[tuple[str, str, str, str, str]]:
    """Each bit with its time, nominal, under `HALF_BIT_HEAD`."""
    begins = 0
    for place, bit in enumerate(explanation.bits.bin):
        one, other = NOMINAL.halves[bit == "1"]
        what, byte = explanation.part(place)
        said = what if byte is None else f"byte {byte}, {what}"
        said = ", ".join(filter(None, (said, explanation.marks.get(place))))
        halves = f"{one / 1e3:>3g} + {other / 1e3:<3g}"
        yield f"{place}", bit, f"{begins / 1e3:.1f}", halves, said
        begins += one + other
