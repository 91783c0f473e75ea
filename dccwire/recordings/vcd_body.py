"""The value changes of a VCD file, token by token: plain, and the truth for the fast scan.

A token is a time (`#12`), a one-character value with its identifier (`1!`), a vector (`b01 !`), a
real number or a string (two tokens each, no levels), or a keyword. Times and levels come out, in
the file's unit of time after its first time mark.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np

from dccwire.errors import Reason, RecordingError
from dccwire.recordings.opening import refusal
from dccwire.recordings.recording import UNDEFINED, Block
from dccwire.recordings.units import END_OF_TIME, to_ns
from dccwire.recordings.vcd_header import TOKEN

__all__ = ["LEVELS", "NO_LEVEL", "State", "tokenise"]

NO_LEVEL = 255
#: Characters of values. H and L (weak), U, W and - (unknown) come from nine-valued logic (common
#: practice, no source).
LEVELS = bytearray([NO_LEVEL] * 256)
for _characters, _level in ((b"0lL", 0), (b"1hH", 1), (b"xXzZuUwW-", UNDEFINED)):
    for _character in _characters:
        LEVELS[_character] = _level
#: Keywords that stand around values, and are left out; what follows others is skipped to `$end`.
_AROUND_VALUES = frozenset({b"$dumpvars", b"$dumpon", b"$dumpoff", b"$dumpall", b"$end"})
_MOST_DIGITS = 40


@dataclass(slots=True)
class State:
    """Where reading stands between two pieces of text."""

    shown: str  # how messages call the file
    tick_ns: Fraction
    identifier: bytes  # of the signal wanted
    position: int  # of the wanted bit, 0 for the last character of a vector
    line: int = 1  # on which the next piece begins
    zero: int | None = None  # the first time mark, and the latest, in the file's unit
    time: int | None = None
    early: list[int] = field(default_factory=list)  # levels before the first time mark
    word: bytes | None = None  # a vector, number or string whose identifier is yet to come
    skipping: bool = False  # whether a comment is open

    @property
    def is_plain(self) -> bool:
        """Whether times have begun and nothing is left open: neither a word nor a comment."""
        return self.time is not None and self.word is None and not self.skipping

    @property
    def mark(self) -> int:
        """The latest time mark, ns after the first."""
        if self.time is None or self.zero is None:
            return 0
        return to_ns(self.time - self.zero, self.tick_ns)


def tokenise(text: bytes, state: State) -> Block:
    """All changes of the wanted bit in `text`, which must not end within a token.

    Raises:
        RecordingError: a token that cannot be read, or a time that runs backwards; with its line.
    """
    times: list[int] = []
    levels: list[int] = []
    for match in TOKEN.finditer(text):
        token = match.group()
        kind = token[:1]
        word = b""
        try:
            if state.skipping:
                state.skipping = token != b"$end"
            elif state.word is not None:
                if token == state.identifier and state.word[:1] in b"bB":
                    word = state.word[1:] or b"?"
                state.word = None
            elif kind == b"#":
                _advance(state, token)
                times += [0] * len(state.early)
                levels += state.early
                state.early = []
            elif kind in b"bBrRsS":
                state.word = token
            elif kind == b"$":
                state.skipping = token not in _AROUND_VALUES
            elif LEVELS[token[0]] == NO_LEVEL or len(token) == 1:
                told = f"{_shown(token)} is neither a time nor a value with its identifier"
                raise refusal(state.shown, told, "the file is damaged or of another kind")
            elif token[1:] == state.identifier:
                word = kind
            if word and state.time is None:
                state.early.append(_bit(word, state))
            elif word:
                times.append(state.mark)
                levels.append(_bit(word, state))
        except RecordingError as error:
            line = state.line + text.count(b"\n", 0, match.start())
            words = error.path, error.problem, error.hint
            raise refusal(*words, where=f"line {line}", reason=error.reason) from None
    state.line += text.count(b"\n")
    return Block(np.array(times, np.int64), np.array(levels, np.uint8), state.mark)


def _advance(state: State, token: bytes) -> None:
    """Go to the time of a `#` token."""
    digits = token[1:]
    problem, hint = "", "the file is damaged, or several recordings were put together"
    if not digits.isdigit() or len(digits) > _MOST_DIGITS:
        problem, hint = f"{_shown(token)} is no time", "a whole number after # is expected"
    else:
        time = int(digits)
        state.zero = time if state.zero is None else state.zero
        if state.time is not None and time < state.time:
            problem = f"time runs backwards, from {state.time} to {time}"
        state.time = time
        if not problem and state.mark >= END_OF_TIME:
            problem = f"the time {_shown(token)} lies more than 292 years (2^63 ns) after the first"
            hint = "the file is damaged, or its timescale is wrong"
    if problem:
        raise refusal(state.shown, problem, hint, reason=Reason.TIME)


def _bit(word: bytes, state: State) -> int:
    """The level of one bit; a short vector is extended by 0, or by x or z if it begins so."""
    if state.position < len(word):
        level = LEVELS[word[-1 - state.position]]
    else:
        level = LEVELS[word[0]] & UNDEFINED if LEVELS[word[0]] != NO_LEVEL else NO_LEVEL
    if level == NO_LEVEL:
        told = f"{_shown(word)} is no value of 0, 1, x or z"
        raise refusal(state.shown, told, "the file is damaged, or the signal holds no levels")
    return level


def _shown(token: bytes) -> str:
    return repr(token[:30].decode("utf-8", "replace"))
