"""Text of numbers (CSV): transitions with their times, or samples, a row each."""

import codecs
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from math import inf

import numpy as np
from numpy.typing import NDArray

from dccwire.errors import Reason, RecordingError
from dccwire.recordings.choice import Candidate, choose
from dccwire.recordings.looks import look
from dccwire.recordings.opening import Opened, decoded, refusal
from dccwire.recordings.recording import (
    END_OF_TIME,
    UNIT_HINT,
    UNITS_NS,
    Block,
    Ints,
    Octets,
    Source,
    first_edges,
)
from dccwire.recordings.samples import SampleClock
from dccwire.recordings.table_layout import EXPECTED, Layout, number, read_layout

_PIECE = 1 << 20
_HEAD_BYTES = 1 << 16
#: The first piece is small: it holds the header, which the fast reader leaves to the plain one.
_FIRST_PIECE = 1 << 14
_LONGEST_ROW = 1 << 20
_USUAL_UNITS = ("s", "ms", "us", "ns")
#: Fewer rows do not show that their spacing is equal.
_FEWEST_SAMPLES = 8
#: Floats hold each whole number up to here; beyond, times are computed with whole numbers.
_EXACT = 1 << 53
#: Longer numbers are none of a recording, and take long to work with.
_LONGEST_NUMBER = 400
#: So many of the last rows tell how fine times are written.
_ROWS_LOOKED_AT = 64


@dataclass(slots=True)
class RowState:
    """Where reading stands between two pieces of text."""

    shown: str  # how messages call the file
    layout: Layout
    column: int  # of the levels wanted
    tick_ns: Fraction  # the unit of the column of times
    clock: SampleClock | None  # the times of rows that have none
    line: int = 1  # on which the next piece begins
    rows: int = 0  # so far
    level: int | None = None  # the latest
    zero: int = 0  # the first time, and the latest, ns
    time: int | None = None


class TableSource(Source):
    """The levels of a column; `tick_ns` is the unit of times, `clock` those of rows without any."""

    def __init__(
        self, opened: Opened, layout: Layout, at: int, tick_ns: Fraction, clock: SampleClock | None
    ) -> None:
        super().__init__(opened)
        self._layout, self._column, self._clock = layout, at, clock
        self.unit_ns = tick_ns
        self.thresholds = layout.volts.get(at)
        self.format = "CSV of transitions"
        if clock is not None:
            self._sampled_every(clock.period_ns)

    def _sampled_every(self, period_ns: Fraction) -> None:
        self.format, self.sampled, self.tick_ns = "CSV of samples", True, period_ns

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
        repeats = int(np.count_nonzero(block.levels[1:] == block.levels[:-1]))
        # Times are often printed with fewer digits than they need.
        if repeats and span and np.abs(block.times - even).max() <= span / steps / 4:
            self._sampled_every(Fraction(span, steps))
        elif self._layout.width == 2 and not self.thresholds:  # nothing else changed in a row
            self.alternates = repeats * 10 < steps  # more of them are no mistake of the file

    def blocks(self) -> Iterator[Block]:
        state = RowState(self.opened.shown, self._layout, self._column, self.unit_ns, self._clock)
        size, kept = min(_FIRST_PIECE, _PIECE), b""
        with self.opened.stream() as stream:
            stream.read(self._layout.mark_bytes)
            while piece := stream.read(size):
                size = _PIECE
                piece = kept + (piece.replace(b"\r", b"\n") if self._layout.returns else piece)
                rows, end, kept = piece.rpartition(b"\n")
                yield from self._rows(rows + end, state)
                if len(kept) > _LONGEST_ROW:
                    break
            try:
                yield from self._rows(kept, state)
            except RecordingError:
                if piece:  # it is not the end
                    raise
                self.note(
                    f"line {state.line}, the last, is left out: it is no row, and may be cut off"
                )

    def _rows(self, text: bytes, state: RowState) -> Iterator[Block]:
        if text.isspace():
            state.line += text.count(b"\n")
            return
        # Numbers are the same in any encoding that may be met here.
        characters = self._layout.plain(text.decode("latin-1"))
        block = fast_rows(characters, state) or plain_rows(characters, state)
        if block is not None:
            held = _last_digit(characters, self._layout) * float(self.unit_ns)
            self.held = max(self.held, (held, "digits of the times"))
            yield block


def open_table(opened: Opened, signal: str | None, rate: float | None, unit: str | None) -> Source:
    """The track signal in a text of numbers; the arguments and errors are those of `read`."""
    layout = _layout(opened)
    if not layout.levels:
        told = "no column of the text holds levels (0 or 1, or volts that change)"
        raise refusal(opened.shown, told, EXPECTED)
    clock, note = None, ""
    tick_ns = UNITS_NS[unit] if unit else layout.unit_ns
    if layout.time is None or layout.indexed:
        clock = SampleClock(rate, opened.shown)
        tick_ns = clock.period_ns
    of_rows = None if layout.indexed else clock
    open_source = partial(TableSource, opened, layout, clock=of_rows)
    candidates = [Candidate((name,), column) for column, name in layout.levels.items()]
    if tick_ns is None:
        wanted = [one.key for one in candidates if signal is None or one.called(signal)]

        def fits(unit: str) -> bool:
            heads = (first_edges(open_source(one, UNITS_NS[unit])) for one in wanted)
            return any(look(edges, 1).is_track for edges, _ in heads)

        fitting = [*filter(fits, _USUAL_UNITS)]
        if len(fitting) != 1:
            hint = f"{UNIT_HINT}, or in the header, such as Time [s]"
            told = "the unit of the times is not known"
            raise refusal(opened.shown, told, hint, reason=Reason.TIME)
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
        if rate is not None:
            found.note("the sample rate given is not used: the rows have times of their own")
    return found


def _layout(opened: Opened) -> Layout:
    with opened.stream() as stream:
        head = stream.read(_HEAD_BYTES)
    mark = len(codecs.BOM_UTF8) if head.startswith(codecs.BOM_UTF8) else 0
    text = decoded(head[mark:])
    returns = "\n" not in text
    lines = text.split("\r" if returns else "\n")
    if len(head) == _HEAD_BYTES:
        lines[1:] = lines[1:-1]  # the last one may go on
    return replace(read_layout(opened.shown, lines), mark_bytes=mark, returns=returns)


def plain_rows(text: str, state: RowState) -> Block | None:
    """All rows of a piece of text, which must not end within a row; None if there are none."""
    times: list[int] = []
    values: list[float] = []
    layout, lines = state.layout, text.split("\n")

    def wrong(problem: str, hint: str = "", reason: Reason = Reason.FORMAT) -> RecordingError:
        usual = "comments begin with #, ;, % or //; anything else must be a row of numbers"
        return refusal(state.shown, problem, hint or usual, where=f"line {at}", reason=reason)

    def value(fields: list[str], column: int) -> float:
        if column >= len(fields):
            raise wrong(f"there is no column {column + 1}")
        held = fields[column]
        found = number(held)
        if found is None or abs(found) == inf or len(held) > _LONGEST_NUMBER:
            raise wrong(f"column {column + 1} holds {held[:30]!r}, which is no number")
        return found

    for at, line in enumerate(lines, state.line):
        fields = layout.fields(line) if at >= layout.start else None
        if fields is None:
            continue
        values.append(value(fields, state.column))
        if values[-1] not in (0, 1) and state.column not in layout.volts:
            raise wrong(f"{fields[state.column][:30]!r} is no level (0 or 1)")
        if layout.time is not None:
            seen = value(fields, layout.time)
            times.append(_time(state, seen, fields[layout.time], wrong))
    state.line += len(lines) - 1
    return _block(np.array(times, np.int64), np.array(values), state)


def _time(state: RowState, value: float, held: str, wrong: Callable[..., RecordingError]) -> int:
    """The time of a row, ns after the first one."""
    scaled = value * float(state.tick_ns)
    if abs(scaled) >= END_OF_TIME:
        raise wrong(f"the time {held[:30]!r} lies beyond 292 years")
    time = round(scaled) if abs(scaled) < _EXACT else round(Fraction(held) * state.tick_ns)
    if state.time is None:
        state.zero = time
    elif time < state.time:
        told = f"time runs backwards, from {state.time} to {time} ns"
        raise wrong(told, "the rows must be sorted by time", Reason.TIME)
    state.time = time
    if time - state.zero >= END_OF_TIME:
        raise wrong("the time lies more than 292 years after the first")
    return time - state.zero


def fast_rows(text: str, state: RowState) -> Block | None:
    """The same, from rows that are nothing but numbers; None when these are not, or are late."""
    layout = state.layout
    lines = text.split("\n")
    if state.line < layout.start or not text.strip():
        return None
    columns = (state.column,) if layout.time is None else (layout.time, state.column)
    points = [line.replace(",", ".") for line in lines] if layout.decimal_comma else lines
    try:
        numbers = np.loadtxt(
            points, delimiter=layout.delimiter, usecols=columns, comments=None, ndmin=2
        )
    except ValueError:
        return None
    values = numbers[:, -1]
    known = np.isfinite(values) if state.column in layout.volts else (values == 0) | (values == 1)
    if not known.all():
        return None
    times = np.empty(0, np.int64)
    if layout.time is not None:
        seconds = numbers[:, 0] * float(state.tick_ns)
        if not (np.abs(seconds) < _EXACT).all():
            return None
        times = np.rint(seconds).astype(np.int64)
        first = int(times[0])
        zero, late = (first, first) if state.time is None else (state.zero, state.time)
        if abs(zero) >= _EXACT or first < late or (times[1:] < times[:-1]).any():
            return None
        state.zero, state.time = zero, int(times[-1])
        times -= zero
    state.line += len(lines) - 1
    return _block(times, values, state)


def _block(times: Ints, values: NDArray[np.float64], state: RowState) -> Block | None:
    """Times and levels, or samples at the times of the clock."""
    if not values.size:
        return None
    levels = _levels(values, state)
    previous, state.level = state.level, int(levels[-1])
    if state.clock is None:
        return Block(times, levels, int(times[-1]))
    block = state.clock.changes(levels, previous, state.rows)
    state.rows += levels.size
    return block


def _levels(values: NDArray[np.float64], state: RowState) -> Octets:
    """Levels, from volts with a hysteresis: between the two thresholds a level stays as it was."""
    if state.column not in state.layout.volts:
        return values.astype(np.uint8)
    low, high = state.layout.volts[state.column]
    levels = (values > high).astype(np.uint8)
    known = (values > high) | (values < low)
    if not known[0]:
        levels[0] = values[0] > (low + high) / 2 if state.level is None else state.level
    # Each row takes the level of the latest row whose level is known.
    latest = np.maximum.accumulate(np.where(known, np.arange(values.size), 0))
    return levels[latest]


def _last_digit(text: str, layout: Layout) -> float:
    """What the last digit of the times is worth in the last rows of a text; 0 without any."""
    # Some forms leave out zeros at the end, so the finest of many rows counts.
    finest: list[float] = []
    for line in text.rsplit("\n", _ROWS_LOOKED_AT)[1:] if layout.time is not None else ():
        held = (layout.fields(line) or [])[layout.time :][:1]
        if held and number(held[0]) is not None:
            digits, _, power = held[0].lower().partition("e")
            decimals = len(digits.partition(".")[2])
            finest.append(10.0 ** min(int(power or 0) - decimals, 300))
    return min(finest, default=0.0)
