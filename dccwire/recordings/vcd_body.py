"""The value changes of a VCD file: token by token, and with numpy where the text is plain.

A token is a time (`#12`), a one-character value with its identifier (`1!`), a vector (`b01 !`), a
real number or a string (two tokens each, no levels), or a keyword. The scan checks what it takes
for granted, and leaves any text that does not fit to `tokenise`: the two give the same, always.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from dccwire.errors import Reason, RecordingError
from dccwire.recordings.opening import refusal
from dccwire.recordings.recording import END_OF_TIME, UNDEFINED, Block, Ints, Octets, to_ns

#: A token: whatever lies between blanks and other control characters.
TOKEN = re.compile(rb"[^\x00-\x20]+")
_NO_LEVEL = 255
#: Characters of values. H and L (weak), U, W and - (unknown) come from nine-valued logic (common
#: practice, no source).
_LEVELS = bytearray([_NO_LEVEL] * 256)
for _characters, _level in ((b"0lL", 0), (b"1hH", 1), (b"xXzZuUwW-", UNDEFINED)):
    for _character in _characters:
        _LEVELS[_character] = _level
#: What vectors are extended by that are shorter than the wanted bit's position, by their first one.
_EXTENDED = bytes(0 if level < UNDEFINED else level for level in _LEVELS)
#: Keywords that stand around values, and are left out; what follows others is skipped to `$end`.
_AROUND_VALUES = frozenset({b"$dumpvars", b"$dumpon", b"$dumpoff", b"$dumpall", b"$end"})
_MOST_DIGITS = 40

#: Blank bytes before text to scan, so that three words of eight bytes before any token exist.
MARGIN = 32
_MOST_SCANNED_DIGITS = 18
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

_LEVEL_OF, _EXTENDED_BY = (np.frombuffer(table, np.uint8) for table in (_LEVELS, _EXTENDED))
_OTHER, _TIME, _VALUE, _NAME, _VECTOR, _WORD = range(6)
_KINDS = np.where(_LEVEL_OF == _NO_LEVEL, _OTHER, _VALUE).astype(np.uint8)
_KINDS[ord("#")] = _TIME
_KINDS[list(b"bB")] = _VECTOR
_KINDS[list(b"rRsS")] = _WORD


@dataclass(slots=True)
class State:
    """Where reading stands between two pieces of text."""

    shown: str  # how messages call the file
    tick_ns: Fraction
    identifier: bytes  # of the signal wanted
    position: int  # of the wanted bit, 0 for the last character of a vector
    line: int = 1  # on which the next piece begins
    zero: int = 0  # the first time mark, and the latest, in the file's unit
    time: int | None = None
    word: bytes | None = None  # a vector, number or string whose identifier is yet to come
    skipping: bool = False  # whether a comment is open

    @property
    def is_plain(self) -> bool:
        """Whether times have begun and nothing is left open: neither a word nor a comment."""
        return self.time is not None and self.word is None and not self.skipping

    @property
    def mark(self) -> int:
        """The latest time mark, ns after the first; 0 before it, as its values count from there."""
        return 0 if self.time is None else to_ns(self.time - self.zero, self.tick_ns)


def tokenise(text: bytes, state: State) -> Block:
    """All changes of the wanted bit in `text`, which must not end within a token."""
    times: list[int] = []
    levels: list[int] = []

    def wrong(problem: str, hint: str, reason: Reason = Reason.FORMAT) -> RecordingError:
        line = state.line + text.count(b"\n", 0, match.start())
        return refusal(state.shown, problem, hint, where=f"line {line}", reason=reason)

    for match in TOKEN.finditer(text):
        token = match.group()
        kind = token[:1]
        word = b""
        if state.skipping:
            state.skipping = token != b"$end"
        elif state.word is not None:
            if token == state.identifier and state.word[:1] in b"bB":
                word = state.word[1:] or b"?"
            state.word = None
        elif kind == b"#":
            _advance(state, token, wrong)
        elif kind in b"bBrRsS":
            state.word = token
        elif kind == b"$":
            state.skipping = token not in _AROUND_VALUES
        elif _LEVELS[token[0]] == _NO_LEVEL or len(token) == 1:
            told = f"{_shown(token)} is neither a time nor a value with its identifier"
            raise wrong(told, "the file is damaged or of another kind")
        elif token[1:] == state.identifier:
            word = kind
        if word:
            short = state.position >= len(word)
            level = _EXTENDED[word[0]] if short else _LEVELS[word[-1 - state.position]]
            if level == _NO_LEVEL:
                told = f"{_shown(word)} is no value of 0, 1, x or z"
                raise wrong(told, "the file is damaged, or the signal holds no levels")
            times.append(state.mark)
            levels.append(level)
    state.line += text.count(b"\n")
    return Block(np.array(times, np.int64), np.array(levels, np.uint8), state.mark)


def _advance(state: State, token: bytes, wrong: Callable[..., RecordingError]) -> None:
    """Go to the time of a `#` token."""
    if not token[1:].isdigit() or len(token) > _MOST_DIGITS + 1:
        told = f"{_shown(token)} is no time"
        raise wrong(told, "a whole number after # is expected", Reason.TIME)
    time = int(token[1:])
    if state.time is None:
        state.zero = time
    elif time < state.time:
        told = f"time runs backwards, from {state.time} to {time}"
        hint = "the file is damaged, or several recordings were put together"
        raise wrong(told, hint, Reason.TIME)
    state.time = time
    if state.mark >= END_OF_TIME:
        told = f"the time {_shown(token)} lies more than 292 years (2^63 ns) after the first"
        raise wrong(told, "the file is damaged, or its timescale is wrong", Reason.TIME)


def _shown(token: bytes) -> str:
    return repr(token[:30].decode("utf-8", "replace"))


def scan(buffer: Octets, state: State) -> Block | None:
    """All changes of the wanted bit in a buffer: `MARGIN` blanks, then text that ends with one.

    None, and `state` as it was, for anything but plain times, values and vectors in good order.
    """
    if not state.is_plain:
        return None
    block = scan_records(buffer, state)
    return scan_words(buffer, state) if block is None else block


def scan_words(buffer: Octets, state: State) -> Block | None:
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
    return _block_at(moments[np.cumsum(is_time, dtype=np.int32)[at]], levels, moments, state)


def scan_records(buffer: Octets, state: State) -> Block | None:
    """The same, faster still, where every record is a time and a value of this wire.

    While times have one number of digits, such text is a table of characters.
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
    levels = _LEVEL_OF[rows[:, level_at]]
    digits = rows[:, 1 : head.end(1)] - np.uint8(ord("0"))
    if digits.max() > 9 or (levels == _NO_LEVEL).any():
        return None
    # Floats hold each whole number of 15 digits, and so does every sum on the way to it.
    powers = 10.0 ** np.arange(digits.shape[1] - 1, -1, -1)
    ticks: Ints = (digits.astype(np.float64) @ powers).astype(np.int64)
    if not in_order(ticks, state):
        return None
    state.line += rows.shape[0] * head[0].count(b"\n")
    return _block_at(ticks, levels, ticks, state)


def in_order(ticks: Ints, state: State) -> bool:
    """Whether times go on from where `state` stands, and all ns from then on fit an int64."""
    if state.time is None:
        return False
    last = int(ticks[-1]) if ticks.size else state.time
    ns = (last - state.zero) * state.tick_ns.numerator + state.tick_ns.denominator
    if max(last, ns) >= END_OF_TIME or (ticks.size and ticks[0] < state.time):
        return False
    return not (ticks[1:] < ticks[:-1]).any()


def _block_at(ticks: Ints, levels: Octets, marks: Ints, state: State) -> Block:
    """Levels at times in units; `state` goes on to the last of `marks`."""
    state.time = int(marks[-1])
    return Block(to_ns(ticks - state.zero, state.tick_ns), levels, state.mark)


def _wanted(
    buffer: Octets, state: State, starts: Ints, ends: Ints, kinds: Octets
) -> tuple[Ints, Octets] | None:
    """Which tokens are values of the wanted signal, and the levels of its wanted bit."""
    size = len(state.identifier)
    fits = ends - starts == size + 1
    fits &= kinds == _VALUE
    at = np.flatnonzero(fits)
    at = at[_equal(buffer, starts[at] + 1, state.identifier)]
    levels = (_EXTENDED_BY if state.position else _LEVEL_OF)[buffer[starts[at]]]
    names = np.flatnonzero(kinds[:-1] == _VECTOR) + 1
    if names.size:
        names = names[ends[names] - starts[names] == size]
        names = names[_equal(buffer, starts[names], state.identifier)]
    if names.size:
        head, tail = starts[names - 1] + 1, ends[names - 1]
        where = tail - 1 - state.position
        more = np.where(
            where >= head, _LEVEL_OF[buffer[np.maximum(where, head)]], _EXTENDED_BY[buffer[head]]
        )
        if (head == tail).any() or (more == _NO_LEVEL).any():
            return None
        at, levels = np.concatenate([at, names - 1]), np.concatenate([levels, more])
        order = np.argsort(at, kind="stable")
        at, levels = at[order], levels[order]
    return at, levels


def _equal(buffer: Octets, starts: Ints, expected: bytes) -> NDArray[np.bool_]:
    """Whether `expected` stands at each of `starts`."""
    same = np.ones(starts.size, np.bool_)
    for offset, character in enumerate(expected):
        same &= buffer[starts + offset] == character
    return same


def _numbers(buffer: Octets, ends: Ints, digits: Ints) -> Ints | None:
    """Decimal numbers of `digits` characters before each of `ends`; None if one is not."""
    if not ends.size:
        return np.empty(0, np.int64)
    fewest, most = int(digits.min()), int(digits.max())
    if fewest < 1 or most > _MOST_SCANNED_DIGITS:
        return None
    # Eight digits are one little-endian word.
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
