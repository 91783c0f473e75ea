"""An explanation as lines of text, of any width, in plain ASCII.

Room: an explanation in, lines out; what is shown stands in `rows`, what bits mean in `explanation`.
"""

from __future__ import annotations

from collections.abc import Iterator

from dccwire.bit_rows import row_lines
from dccwire.drawing.explanation import Explanation
from dccwire.drawing.rows import (
    HALF_BIT_HEAD,
    ODD_COLUMNS,
    half_bit_rows,
    half_bits_in_words,
    sum_rows,
    table_rows,
)
from dccwire.wording import wrapped

_NARROW = 64
"""Columns below which there is no room to say which bits of those sent a row has."""


def lines_of(explanation: Explanation, width: int, *, half_bits: bool) -> Iterator[str]:
    """What was given, bit by bit; the error byte worked out; what gives reason to say something."""
    inspection = explanation.inspection
    for words in inspection.headlines():
        yield from wrapped(words, width)
    yield ""
    yield from _table(explanation, width)
    for mark, words in explanation.notes():
        yield from wrapped(words, width, mark)
    if inspection.packet or inspection.unverified:
        yield ""
        yield from _sum(inspection.data, width)
    if half_bits and explanation.bits:
        yield ""
        yield from _half_bits(explanation, width)


def _table(explanation: Explanation, width: int) -> Iterator[str]:
    wide = width >= _NARROW
    if explanation.rows:
        yield "sent     " * wide + "byte  bits       layout     meaning"
    for row in table_rows(explanation):
        sent = row.sent if wide else None
        if not (row.byte or row.letters) and row.bits:  # of the framing
            place = "" if sent is None else f"{sent:<7}  "
            yield from wrapped(row.words, width, f"{place}      {row.bits:<9}             ")
            continue
        words = ", ".join(filter(None, (row.words, row.clause)))
        yield from row_lines(
            words, width, row.letters, first=row.first, label=row.byte, bits=row.bits, sent=sent
        )


def _sum(data: bytes, width: int) -> Iterator[str]:
    """The error byte column by column (S-9.2 §B)."""
    yield from wrapped(f"error byte: {ODD_COLUMNS}", width)
    wide = None if width < _NARROW else ""
    for label, bits, said in sum_rows(data):
        yield from row_lines(said, width, "", label=label, bits=bits, sent=wide)


def _half_bits(explanation: Explanation, width: int) -> Iterator[str]:
    yield from wrapped(half_bits_in_words(), width)
    yield "  ".join(HALF_BIT_HEAD)
    for bit, value, begins, halves, said in half_bit_rows(explanation):
        yield from wrapped(said, width, f"{bit:>3}  {value:>5}  {begins:>9}  {halves}  ")
