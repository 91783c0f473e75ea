"""VCD (IEEE 1364, value change dump): one bit of one signal, in a single pass of flat memory."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

import numpy as np

from dccwire.errors import RecordingError
from dccwire.recordings.choice import Candidate, choose
from dccwire.recordings.opening import Opened, Stream, refusal
from dccwire.recordings.recording import Block, Source
from dccwire.recordings.units import UNITS_NS
from dccwire.recordings.vcd_body import State, tokenise
from dccwire.recordings.vcd_header import Header, read_header
from dccwire.recordings.vcd_scan import MARGIN, scan

__all__ = ["VcdSource", "open_vcd"]

#: Larger pieces leave the cache, and are slower (measured). The first one is small: it holds the
#: `$dumpvars` that the fast scan leaves to the plain one.
_PIECE = 1 << 18
_FIRST_PIECE = 1 << 14
#: Looking for the track signal reads so many pieces of the file for each signal, and for all.
_MOST_BLOCKS = 32
_ALL_BLOCKS = 256
#: How far from its end a piece is searched for a line end.
_NEAR = 1 << 12
_INK = bytes(range(33, 256))


class VcdSource(Source):
    """One bit of one identifier: `position` is that of its character in a value, 0 for the last."""

    format = "VCD"

    def __init__(
        self,
        opened: Opened,
        header: Header,
        tick_ns: Fraction,
        identifier: bytes,
        position: int = 0,
        *,
        piece: int = _PIECE,
    ) -> None:
        super().__init__(opened)
        self.tick_ns = tick_ns
        self._header, self._identifier, self._position = header, identifier, position
        self._piece = piece

    def blocks(self) -> Iterator[Block]:
        """Read the body anew."""
        wanted = self.tick_ns, self._identifier, self._position
        state = State(self.opened.shown, *wanted, line=self._header.lines + 1)
        with self.opened.stream() as stream:
            stream.skip(self._header.body)
            yield from self._pieces(stream, state)

    def _pieces(self, stream: Stream, state: State) -> Iterator[Block]:
        text = bytearray(b" ") * (MARGIN + 2 * self._piece)
        room, buffer = memoryview(text), np.frombuffer(text, np.uint8)
        size, kept = min(_FIRST_PIECE, self._piece), 0
        while got := stream.readinto(room[MARGIN + kept : MARGIN + kept + size]):
            end = MARGIN + kept + got
            cut = _cut(room, MARGIN, end, at_end=got < size)
            size = self._piece
            if cut == MARGIN and end - MARGIN > self._piece:
                told = f"a word of more than {self._piece} characters in the VCD body"
                hint, where = "the file is damaged or of another kind", f"line {state.line}"
                raise refusal(state.shown, told, hint, where=where)
            block = scan(buffer[:cut], state)
            yield tokenise(bytes(room[MARGIN:cut]), state) if block is None else block
            kept = end - cut
            room[MARGIN : MARGIN + kept] = bytes(room[cut:end])
        rest = bytes(room[MARGIN : MARGIN + kept])
        whole = rest.rstrip(_INK)
        yield tokenise(whole, state)
        yield self._last(rest[len(whole) :], state)

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


def open_vcd(
    opened: Opened, signal: str | None = None, unit: str | None = None, bit: int | None = None
) -> VcdSource:
    """The track signal of a VCD file; the arguments are those of `read`.

    Raises:
        RecordingError: no header, no timescale, no or more than one signal that could be meant.
    """
    header = read_header(opened)
    tick_ns = header.tick_ns or (UNITS_NS[unit] if unit else None)
    if tick_ns is None:
        hint = "give the unit of its times with --unit s|ms|us|ns (unit=)"
        raise refusal(opened.shown, "the VCD file has no timescale", hint)

    def open_source(key: tuple[bytes, int]) -> VcdSource:
        source = VcdSource(opened, header, tick_ns, *key)
        source.head_blocks = 1 + min(_MOST_BLOCKS, _ALL_BLOCKS // len(candidates))
        return source

    candidates, wide = _candidates(header, bit)
    found = choose(opened.shown, candidates, wide, signal, open_source)
    if unit and header.tick_ns:
        found.note("the unit given is not used: the file has a timescale of its own")
    return found


def _candidates(
    header: Header, bit: int | None
) -> tuple[list[Candidate[tuple[bytes, int]]], list[Candidate[tuple[int, int]]]]:
    """The bits that may be meant, several names of one being one; and the other signals."""
    found: dict[tuple[bytes, int], list[str]] = {}
    wide = []
    for variable in header.variables:
        only = 0 if variable.width == 1 else None
        position = only if bit is None else variable.position(bit)
        if position is None:
            low, high = sorted((variable.first_bit, variable.last_bit))
            wide.append(Candidate((variable.name,), (low, high)))
        else:
            found.setdefault((variable.identifier, position), []).append(variable.name)
    return [Candidate(tuple(dict.fromkeys(names)), key) for key, names in found.items()], wide


def _cut(room: memoryview, start: int, end: int, *, at_end: bool) -> int:
    """Where to cut `room[start:end]`: before its last time, else behind its last line end or blank.

    Before a time is the best place: records stay whole, and no vector parts from its identifier.
    At the end of the file only the last blank counts.
    """
    near = max(start, end - _NEAR)
    text = bytes(room[near:end])
    for mark in () if at_end else (b"\n#", b"\n"):
        if (cut := text.rfind(mark)) >= 0:
            return near + cut + 1
    return start + len(bytes(room[start:end]).rstrip(_INK))
