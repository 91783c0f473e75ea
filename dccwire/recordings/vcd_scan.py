"""The value changes of a VCD file, with numpy: fast where the text is plain.

The scan checks what it takes for granted, and leaves any text that does not fit to `tokenise`:
the two give the same, always.
"""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from dccwire.recordings.recording import Block
from dccwire.recordings.units import END_OF_TIME, to_ns
from dccwire.recordings.vcd_body import LEVELS, NO_LEVEL, State

__all__ = ["MARGIN", "in_order", "scan", "scan_records", "scan_words"]

#: Blank bytes before the text, so that three words of eight bytes before any token exist.
MARGIN = 32
_MOST_DIGITS = 18
#: In eight characters at once: the digit 0; what carries all but digits into the highest bits.
_ZEROS = np.uint64(0x3030303030303030)
_CARRY = np.uint64(0x7676767676767676)
_HIGH = np.uint64(0x8080808080808080)
#: Neighbours are added up: single digits, then pairs, then fours.
_PAIRS = (
    (np.uint64(10), np.uint64(8), np.uint64(0x00FF00FF00FF00FF)),
    (np.uint64(100), np.uint64(16), np.uint64(0x0000FFFF0000FFFF)),
    (np.uint64(10000), np.uint64(32), np.uint64(0x00000000FFFFFFFF)),
)

#: A record, and the longest that is looked at.
_RECORD = re.compile(rb"#([0-9]{1,15})[\x01-\x20]+([01xXzZ])([^\x00-\x20]+)[\x01-\x20]*\n")
_LONGEST = 64

_OTHER, _TIME, _VALUE, _NAME, _VECTOR, _WORD = range(6)
_KINDS = np.full(256, _OTHER, np.uint8)
_KINDS[np.frombuffer(bytes(LEVELS), np.uint8) != NO_LEVEL] = _VALUE
_KINDS[ord("#")] = _TIME
_KINDS[list(b"bB")] = _VECTOR
_KINDS[list(b"rRsS")] = _WORD
_LEVELS = np.frombuffer(bytes(LEVELS), np.uint8)
#: Vectors that are shorter than the wanted bit's position are extended by this.
_EXTENDED = np.where(_LEVELS < 2, 0, _LEVELS).astype(np.uint8)


def scan(buffer: NDArray[np.uint8], state: State) -> Block | None:
    """All changes of the wanted bit in a buffer: `MARGIN` blanks, then text that ends with one.

    None when it holds anything but plain times, values and vectors in good order: `state` then
    stays as it was.
    """
    if not state.is_plain:
        return None
    block = scan_records(buffer, state)
    return scan_words(buffer, state) if block is None else block


def scan_words(buffer: NDArray[np.uint8], state: State) -> Block | None:
    """The same, token by token."""
    ink = buffer > 32
    bounds = np.flatnonzero(ink[1:] != ink[:-1])
    bounds += 1
    starts, ends = bounds[0::2], bounds[1::2]
    kinds = _KINDS[buffer[starts]]
    vectors = kinds >= _VECTOR
    if vectors.any():
        # Each of these words is followed by an identifier, which may begin with anything.
        if vectors[-1] or (vectors[1:] & vectors[:-1]).any():
            return None
        kinds[1:][vectors[:-1]] = _NAME
    lengths = ends - starts
    is_time = kinds == _TIME
    if not kinds.all() or ((kinds == _VALUE) & (lengths == 1)).any():
        return None
    marks = np.flatnonzero(is_time)
    ticks = _numbers(buffer, ends[marks], lengths[marks] - 1)
    if ticks is None or not in_order(ticks, state):
        return None
    found = _wanted(buffer, state, starts, ends, kinds)
    if found is None:
        return None
    at, levels = found
    moments = np.empty(ticks.size + 1, np.int64)
    moments[0], moments[1:] = state.time or 0, ticks
    state.line += int(np.count_nonzero(buffer == ord("\n")))
    return block_at(moments[np.cumsum(is_time, dtype=np.int32)[at]], levels, moments, state)


def scan_records(buffer: NDArray[np.uint8], state: State) -> Block | None:
    """The same, faster still, where every record is a time and a value of this wire.

    A file of one wire is a column of such records, and for as long as times have one number of
    digits all are of one length: so a piece of text is a table of characters.
    """
    text = buffer[MARGIN:]
    head = _RECORD.match(bytes(text[:_LONGEST]))
    if head is None or head[3] != state.identifier or state.position:
        return None
    length = head.end()
    if text.size % length:
        return None
    rows = text.reshape(-1, length)
    level_at = head.start(2)
    # Whatever is neither a digit nor a level is the same in all records.
    for column in (0, *range(head.end(1), level_at), *range(level_at + 1, length)):
        if (rows[:, column] != rows[0, column]).any():
            return None
    levels = _LEVELS[rows[:, level_at]]
    digits = rows[:, 1 : head.end(1)] - np.uint8(ord("0"))
    if digits.max() > 9 or (levels == NO_LEVEL).any():
        return None
    # Floats hold each whole number of 15 digits, and so does every sum on the way to it.
    powers = 10.0 ** np.arange(digits.shape[1] - 1, -1, -1)
    ticks: NDArray[np.int64] = (digits.astype(np.float64) @ powers).astype(np.int64)
    if not in_order(ticks, state):
        return None
    state.line += rows.shape[0] * head[0].count(b"\n")
    return block_at(ticks, levels, ticks, state)


def in_order(ticks: NDArray[np.int64], state: State) -> bool:
    """Whether times go on from where `state` stands, and all ns from then on fit an int64."""
    if state.time is None or state.zero is None:
        return False
    last = int(ticks[-1]) if ticks.size else state.time
    ns = (last - state.zero) * state.tick_ns.numerator + state.tick_ns.denominator
    if max(last, ns) >= END_OF_TIME or (ticks.size and ticks[0] < state.time):
        return False
    return not (ticks[1:] < ticks[:-1]).any()


def block_at(
    ticks: NDArray[np.int64], levels: NDArray[np.uint8], marks: NDArray[np.int64], state: State
) -> Block:
    """Levels at times in units; `state` goes on to the last of `marks`."""
    state.time = int(marks[-1])
    return Block(to_ns(ticks - (state.zero or 0), state.tick_ns), levels, state.mark)


def _wanted(
    buffer: NDArray[np.uint8],
    state: State,
    starts: NDArray[np.int64],
    ends: NDArray[np.int64],
    kinds: NDArray[np.uint8],
) -> tuple[NDArray[np.int64], NDArray[np.uint8]] | None:
    """Which tokens are values of the wanted signal, and the levels of its wanted bit."""
    size = len(state.identifier)
    fits = ends - starts == size + 1
    fits &= kinds == _VALUE
    at = np.flatnonzero(fits)
    at = at[_equal(buffer, starts[at] + 1, state.identifier)]
    levels = (_EXTENDED if state.position else _LEVELS)[buffer[starts[at]]]
    names = np.flatnonzero(kinds[:-1] == _VECTOR) + 1
    if names.size:
        names = names[ends[names] - starts[names] == size]
        names = names[_equal(buffer, starts[names], state.identifier)]
    if names.size:
        head, tail = starts[names - 1] + 1, ends[names - 1]
        where = tail - 1 - state.position
        more = np.where(
            where >= head, _LEVELS[buffer[np.maximum(where, head)]], _EXTENDED[buffer[head]]
        )
        if (head == tail).any() or (more == NO_LEVEL).any():
            return None
        at, levels = np.concatenate([at, names - 1]), np.concatenate([levels, more])
        order = np.argsort(at, kind="stable")
        at, levels = at[order], levels[order]
    return at, levels


def _equal(
    buffer: NDArray[np.uint8], starts: NDArray[np.int64], expected: bytes
) -> NDArray[np.bool_]:
    """Whether `expected` stands at each of `starts`."""
    same = np.ones(starts.size, np.bool_)
    for offset, character in enumerate(expected):
        same &= buffer[starts + offset] == character
    return same


def _numbers(
    buffer: NDArray[np.uint8], ends: NDArray[np.int64], digits: NDArray[np.int64]
) -> NDArray[np.int64] | None:
    """Decimal numbers of `digits` characters before each of `ends`; None if one is not.

    Eight digits are one little-endian word.
    """
    if not ends.size:
        return np.empty(0, np.int64)
    fewest, most = int(digits.min()), int(digits.max())
    if fewest < 1 or most > _MOST_DIGITS:
        return None
    words = np.ndarray(buffer.size - 7, "<u8", buffer, strides=(1,))
    total = np.zeros(ends.size, np.uint64)
    wrong = np.zeros(ends.size, np.uint64)
    # Mostly all numbers have one length; a single one is faster than an array of the same.
    lengths = digits if fewest < most else np.array(most)
    for done in range(0, most, 8):
        word = words[ends - (done + 8)]
        word ^= _ZEROS
        if fewest < done + 8:
            # Characters before the number are shifted out, in two steps since a word that lies
            # wholly before it is shifted by 64.
            spare = np.clip(done + 8 - lengths, 0, 8).astype(np.uint64) * np.uint64(4)
            for _ in range(2):
                word >>= spare
            for _ in range(2):
                word <<= spare
        wrong |= word
        wrong |= word + _CARRY
        for factor, bits, mask in _PAIRS:
            right = word >> bits
            word *= factor
            word += right
            word &= mask
        if done:
            word *= np.uint64(10**done)
        total += word
    if (wrong & _HIGH).any():
        return None
    return total.view(np.int64)
