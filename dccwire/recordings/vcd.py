"""VCD (IEEE 1364, value change dump): one bit of one signal, in a single pass of flat memory."""

import re
from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from os import SEEK_END

import numpy as np

from dccwire.errors import RecordingError
from dccwire.recordings.choice import Candidate, choose
from dccwire.recordings.opening import Opened, decoded, refusal
from dccwire.recordings.recording import UNIT_HINT, UNITS_NS, Block, Source, to_ns
from dccwire.recordings.vcd_body import MARGIN, TOKEN, State, scan, tokenise
from dccwire.signal import UNBOUNDED
from dccwire.wording import either

#: Larger pieces leave the cache, and are slower (measured). The first one is small: it holds the
#: `$dumpvars` that the fast scan leaves to the plain one.
_PIECE = 1 << 19
_FIRST_PIECE = 1 << 14
#: Looking for the track signal reads so many pieces of the file for each signal, and for all.
_MOST_BLOCKS = 16
_ALL_BLOCKS = 128
#: How far from its end a piece is searched for a line end.
_NEAR = 1 << 12
#: A time that begins a line.
_TIME = re.compile(rb"\n(#([0-9]+))\s")
_INK = bytes(range(33, 256))
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_RANGE = re.compile(r"(?<=\S)\s*\[(-?\d{1,9})(?::(-?\d{1,9}))?\]$")
_TIMESCALE = re.compile(r"(\d+)\s*(s|ms|us|ns|ps|fs)")
#: Kinds of variables that hold no level (IEEE 1364).
_NO_LEVEL = frozenset({b"real", b"realtime", b"shortreal", b"string", b"event"})
_MOST_HEADER = 1 << 26
#: Names hold all scopes around them: without a bound a small file fills the memory.
_MOST_SCOPES = 100


@dataclass(frozen=True, slots=True)
class Variable:
    """One `$var`: `name` with its scopes and dots between, `identifier`, `width`, bit numbers."""

    name: str
    identifier: bytes
    width: int
    first_bit: int
    last_bit: int


@dataclass(slots=True)
class Header:
    """What the declarations say, and where the body begins."""

    variables: list[Variable] = field(default_factory=list)  # those that hold levels
    tick_ns: Fraction | None = None  # the timescale; None when the file has none
    body: int = 0  # bytes before the body, and line ends
    lines: int = 0


class VcdSource(Source):
    """One bit of one identifier: `position` is that of its character in a value, 0 for the last."""

    format = "VCD"

    def __init__(
        self, opened: Opened, header: Header, tick_ns: Fraction, code: bytes, position: int = 0
    ) -> None:
        super().__init__(opened)
        self.tick_ns = self.unit_ns = tick_ns
        self._header, self._identifier, self._position = header, code, position
        # Of a stretch: where it begins, and ends, in the file; the first time mark of all, and of
        # it, in units of the file; how reading it ended.
        self._span = header.body, UNBOUNDED
        self._zero = self._first = 0
        self._state: State | None = None

    def split(self, count: int) -> list[Source]:
        """Stretches of like size, cut before times; none if the file is packed, or has no times."""
        if self.opened.zipped or self._state is None or self._state.time is None:
            return []
        cuts, firsts = [self._header.body], [self._state.zero]
        with open(self.opened.path, "rb") as file:
            size = file.seek(0, SEEK_END)
            for number in range(1, count):
                file.seek(self._header.body + (size - self._header.body) * number // count)
                found = _TIME.search(near := file.read(_NEAR))
                if found is None:
                    return []
                cuts.append(file.tell() - len(near) + found.start(1))
                firsts.append(int(found[2]))
        parts = list[Source]()
        for span, first in zip(pairwise((*cuts, UNBOUNDED)), firsts, strict=True):
            part = copy(self)
            part.notes, part._span, part._zero, part._first = [], span, firsts[0], first
            parts.append(part)
        return parts

    def blocks(self) -> Iterator[Block]:
        wanted = self.tick_ns, self._identifier, self._position
        state = State(self.opened.shown, *wanted, line=self._header.lines + 1)
        text = bytearray(b" ") * (MARGIN + 2 * _PIECE)
        room, buffer = memoryview(text), np.frombuffer(text, np.uint8)
        size, end = min(_FIRST_PIECE, _PIECE), MARGIN
        begin, beyond = self._span
        self._state = state
        if begin > self._header.body:
            state.zero = state.time = self._zero
        with self.opened.stream(begin) as stream:
            while got := stream.readinto(room[end : end + min(size, beyond - begin)]):
                end += got
                begin += got
                cut = _cut(room[:end], at_end=got < size)
                size = _PIECE
                if cut == MARGIN and end - MARGIN > size:
                    told = f"a word of more than {size} characters in the VCD body"
                    hint, where = "the file is damaged or of another kind", f"line {state.line}"
                    raise refusal(state.shown, told, hint, where=where)
                block = scan(buffer[:cut], state)
                yield tokenise(bytes(room[MARGIN:cut]), state) if block is None else block
                kept = bytes(room[cut:end])
                end = MARGIN + len(kept)
                room[MARGIN:end] = kept
        rest = bytes(room[MARGIN:end])
        whole = rest.rstrip(_INK)
        yield tokenise(whole, state)
        if beyond == UNBOUNDED:
            yield self._last(rest[len(whole) :], state)
        if state.is_plain:
            self.seam = to_ns(self._first - state.zero, self.tick_ns), state.mark

    def _last(self, word: bytes, state: State) -> Block:
        """What stands behind the last blank may be cut off anywhere."""
        try:
            block = tokenise(word, state)
        except RecordingError:
            block = Block(np.empty(0, np.int64), np.empty(0, np.uint8), state.mark)
            self.note("the file is cut off within a time or a value, which is left out")
        if state.word is not None or state.skipping:
            self.note("the file is cut off within a value or a comment")
        return block


def open_vcd(opened: Opened, signal: str | None, unit: str | None, bit: int | None) -> VcdSource:
    """The track signal of a VCD file; the arguments and errors are those of `read`."""
    header = read_header(opened)
    tick_ns = header.tick_ns or (UNITS_NS[unit] if unit else None)
    if tick_ns is None:
        raise refusal(opened.shown, "the VCD file has no timescale", UNIT_HINT)
    # Several names of one bit are one candidate; signals without the wanted bit are named too.
    found: dict[tuple[bytes, int], list[str]] = {}
    wide = []
    for variable in header.variables:
        low, high = sorted((variable.first_bit, variable.last_bit))
        if bit is not None and low <= bit <= high:
            key = variable.identifier, abs(bit - variable.last_bit)
        elif bit is None and variable.width == 1:
            key = variable.identifier, 0
        else:
            wide.append(Candidate((variable.name,), (low, high)))
            continue
        found.setdefault(key, []).append(variable.name)
    candidates = [Candidate(tuple(dict.fromkeys(names)), key) for key, names in found.items()]

    def open_source(key: tuple[bytes, int]) -> VcdSource:
        source = VcdSource(opened, header, tick_ns, *key)
        source.head_blocks = 1 + min(_MOST_BLOCKS, _ALL_BLOCKS // len(candidates))
        return source

    source = choose(opened.shown, candidates, wide, signal, open_source)
    if unit and header.tick_ns:
        source.note("the unit given is not used: the file has a timescale of its own")
    return source


def _cut(room: memoryview, *, at_end: bool) -> int:
    """Where to cut a piece: before its last time, else behind its last line end or blank.

    Before a time is the best place: records stay whole, and no vector parts from its identifier.
    At the end of the file only the last blank counts.
    """
    near = max(MARGIN, len(room) - _NEAR)
    text = bytes(room[near:])
    for mark in () if at_end else (b"\n#", b"\n"):
        if (cut := text.rfind(mark)) >= 0:
            return near + cut + 1
    return MARGIN + len(bytes(room[MARGIN:]).rstrip(_INK))


def read_header(opened: Opened) -> Header:
    """Read the declarations up to the end of `$enddefinitions`."""
    size = 1 << 14
    while True:
        with opened.stream() as stream:
            text = stream.read(size)
        if header := _parse(opened.shown, text):
            return header
        if len(text) < size or size >= _MOST_HEADER:
            told = "the VCD header has no end ($enddefinitions $end)"
            raise refusal(opened.shown, told, "the file is cut off or damaged; export it again")
        size *= 16


def _parse(shown: str, text: bytes) -> Header | None:
    """The header, or None if `text` ends before it does."""
    header, scopes = Header(), list[str]()
    section: list[bytes] = []
    start = len(_BYTE_ORDER_MARK) if text.startswith(_BYTE_ORDER_MARK) else 0
    for match in TOKEN.finditer(text, start):
        token = match.group()
        if not section and not token.startswith(b"$"):
            line = text.count(b"\n", 0, match.start()) + 1
            told = f"{_text([token[:20]])!r} stands in the VCD header outside any $keyword"
            hint = "$enddefinitions $end must come before the first time; export it again"
            raise refusal(shown, told, hint, where=f"line {line}")
        if token != b"$end":
            section.append(token)
            continue
        match section:
            case [b"$enddefinitions"]:
                header.body, header.lines = match.end(), text.count(b"\n", 0, match.end())
                return header
            case [b"$scope", _, *name]:
                if len(scopes) == _MOST_SCOPES:
                    raise refusal(shown, f"more than {_MOST_SCOPES} scopes in one another")
                scopes.append(_text(name))
            case [b"$upscope"]:
                del scopes[-1:]
            case [b"$timescale", *words]:
                header.tick_ns = _timescale(shown, _text(words))
            case [b"$var", kind, *_] if kind not in _NO_LEVEL:
                header.variables.append(_variable(shown, scopes, section))
        section = []
    return None


def _text(words: list[bytes]) -> str:
    return decoded(b" ".join(words))


def _timescale(shown: str, text: str) -> Fraction:
    match = _TIMESCALE.fullmatch(text)
    if match is None or int(match[1]) == 0:
        told = f"the timescale {text[:40]!r} cannot be read"
        raise refusal(shown, told, f"a whole number and {either(UNITS_NS)} is expected, as in 1 ns")
    return int(match[1]) * UNITS_NS[match[2]]


def _variable(shown: str, scopes: list[str], section: list[bytes]) -> Variable:
    """The variable; `[7:0]` at the end of a name is its range, and no part of the name."""
    match section:
        case [_, _, width, identifier, *words] if words and width.isdigit() and len(width) < 7:
            bits, name = int(width), _text(words)
        case _:
            told = f"the declaration {_text(section)[:60]!r} cannot be read"
            raise refusal(shown, told, "export the recording again")
    first, last = bits - 1, 0
    if found := _RANGE.search(name):
        stem = name[: found.start()]
        if found[2] is None:
            name = f"{stem}[{found[1]}]"
        elif abs(int(found[1]) - int(found[2])) == bits - 1:
            first, last, name = int(found[1]), int(found[2]), stem
    return Variable(".".join([*scopes, name]), identifier, bits, first, last)
