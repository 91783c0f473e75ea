"""Text of numbers (CSV): transitions with their times, or samples, a row each."""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from functools import partial

import numpy as np

from dccwire.errors import Reason
from dccwire.recordings.choice import Candidate, choose, look_at
from dccwire.recordings.opening import Opened, refusal
from dccwire.recordings.recording import UNITS_NS, Block, Source
from dccwire.recordings.samples import SampleClock, sample_clock
from dccwire.recordings.table_layout import Layout, read_layout
from dccwire.recordings.table_rows import RowState, fast_rows, last_digit, plain_rows

_PIECE = 1 << 20
_HEAD_BYTES = 1 << 16
#: The first piece is small: it holds the header, which the fast reader leaves to the plain one.
_FIRST_PIECE = 1 << 14
_LONGEST_ROW = 1 << 20
_USUAL_UNITS = ("s", "ms", "us", "ns")
#: Fewer rows do not show that their spacing is equal.
_FEWEST_SAMPLES = 8


class TableSource(Source):
    """One column of levels; `tick_ns` is the unit of times, `clock` those of rows without any."""

    def __init__(
        self,
        opened: Opened,
        layout: Layout,
        column: int,
        tick_ns: Fraction,
        clock: SampleClock | None,
        *,
        piece: int = _PIECE,
    ) -> None:
        super().__init__(opened)
        self.thresholds = layout.volts.get(column)
        self._layout, self._column, self._clock = layout, column, clock
        self._unit_ns, self._piece = tick_ns, piece
        self.format, self.sampled = "CSV of transitions", clock is not None
        if clock is not None:
            self.format, self.tick_ns = "CSV of samples", clock.period_ns

    def tell_samples(self) -> None:
        """Tell samples from transitions: rows of equal spacing that repeat a level are samples.

        The edges are the same either way, but the resolution of samples is their spacing.
        """
        block = next(self.blocks(), None)
        if block is None or block.levels is None or block.times.size < _FEWEST_SAMPLES:
            return
        steps = block.times.size - 1
        span = int(block.times[-1] - block.times[0])
        even = np.arange(steps + 1) * (span / steps) + block.times[0]
        repeats = bool((block.levels[1:] == block.levels[:-1]).any())
        # Times are often printed with fewer digits than they need.
        if repeats and span and np.abs(block.times - even).max() <= span / steps / 4:
            self.format, self.sampled = "CSV of samples", True
            self.tick_ns = Fraction(span, steps)

    def blocks(self) -> Iterator[Block]:
        """Read the rows anew."""
        state = RowState(self.opened.shown, self._layout, self._column, self._unit_ns, self._clock)
        size, kept = min(_FIRST_PIECE, self._piece), b""
        with self.opened.stream() as stream:
            stream.skip(self._layout.mark_bytes)
            while piece := stream.read(size):
                size = self._piece
                piece = kept + (piece.replace(b"\r", b"\n") if self._layout.returns else piece)
                rows, end, kept = piece.rpartition(b"\n")
                yield from self._rows(rows + end, state)
                if len(kept) > _LONGEST_ROW:
                    break
            yield from self._rows(kept, state)

    def _rows(self, text: bytes, state: RowState) -> Iterator[Block]:
        if text.isspace():
            state.line += text.count(b"\n")
            return
        # Numbers are the same in any encoding that may be met here.
        characters = self._layout.plain(text.decode("latin-1"))
        block = fast_rows(characters, state) or plain_rows(characters, state)
        if block is not None:
            held = last_digit(characters, self._layout) * float(self._unit_ns)
            self.held = max(self.held, (held, "digits of the times"))
            yield block


def open_table(
    opened: Opened, signal: str | None, rate: float | None, unit: str | None
) -> TableSource:
    """The track signal in a text of numbers; the arguments are those of `read`.

    Raises:
        RecordingError: no rows, no unit, no rate; no or more than one column that could be meant.
    """
    layout = _layout(opened)
    if not layout.levels:
        raise refusal(
            opened.shown,
            "no column of the text holds levels (0 or 1, or volts that change)",
            "rows of a time and a level, or of levels, with a comma or semicolon are expected",
        )
    clock, note = None, ""
    tick_ns = UNITS_NS[unit] if unit else layout.unit_ns
    if layout.time is None or layout.indexed:
        clock = sample_clock(opened.shown, rate)
        tick_ns = clock.period_ns
    clock = None if layout.indexed else clock

    def open_source(column: int, tick_ns: Fraction) -> TableSource:
        return TableSource(opened, layout, column, tick_ns, clock)

    candidates = [Candidate((name,), column) for column, name in layout.levels.items()]
    if tick_ns is None:
        wanted = [one.key for one in candidates if signal is None or one.called(signal)]
        fitting = [
            name
            for name in _USUAL_UNITS
            if any(look_at(open_source(one, UNITS_NS[name])).is_track for one in wanted)
        ]
        if len(fitting) != 1:
            raise refusal(
                opened.shown,
                "the unit of the times is not known",
                "give it with --unit s|ms|us|ns (unit=), or in the header, such as Time [s]",
                reason=Reason.TIME,
            )
        tick_ns = UNITS_NS[fitting[0]]
        note = f"times taken in {fitting[0]}: the only unit in which this is a track signal"
    with_unit = partial(open_source, tick_ns=tick_ns)
    found = choose(opened.shown, candidates, (), signal, with_unit)
    found.notes[:0] = [note] if note else []
    if found.thresholds:
        low, high = found.thresholds
        found.note(f"levels taken from volts: 0 below {low:.3g}, 1 above {high:.3g}")
    if layout.indexed:
        found.sampled, found.tick_ns = True, tick_ns
    elif clock is None:
        found.tell_samples()
    if rate is not None and clock is None and not layout.indexed:
        found.note("the sample rate given is not used: the rows have times of their own")
    return found


def _layout(opened: Opened) -> Layout:
    with opened.stream() as stream:
        head = stream.read(_HEAD_BYTES)
    mark = len(codecs.BOM_UTF8) if head.startswith(codecs.BOM_UTF8) else 0
    try:
        text = head[mark:].decode("utf-8")
    except UnicodeDecodeError:
        text = head[mark:].decode("latin-1")
    returns = "\n" not in text
    lines = text.split("\r" if returns else "\n")
    if len(head) == _HEAD_BYTES:
        # The last line may go on.
        lines = lines[: max(1, len(lines) - 1)]
    return replace(read_layout(opened.shown, lines), mark_bytes=mark, returns=returns)
