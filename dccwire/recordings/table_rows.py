"""Rows of a text of numbers to times and levels: plain, and fast where the rows are clean."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import inf

import numpy as np
from numpy.typing import NDArray

from dccwire.errors import Reason, RecordingError
from dccwire.recordings.opening import refusal
from dccwire.recordings.recording import END_OF_TIME, Block
from dccwire.recordings.samples import SampleClock, changes
from dccwire.recordings.table_layout import Layout, number

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
    zero: int | None = None  # the first time, and the latest, ns
    time: int | None = None


def plain_rows(text: str, state: RowState) -> Block | None:
    """All rows of a piece of text, which must not end within a row; None if there are none.

    Raises:
        RecordingError: a row that is no number, or whose time runs backwards; with its line.
    """
    times: list[int] = []
    values: list[float] = []
    lines = text.split("\n")
    for at, line in enumerate(lines, state.line):
        fields = state.layout.fields(line) if at >= state.layout.start else None
        if fields is None:
            continue
        value = _value(state, fields, state.column, at)
        if value not in (0, 1) and state.column not in state.layout.volts:
            raise _unfit(state, at, f"{fields[state.column][:30]!r} is no level (0 or 1)")
        values.append(value)
        if state.layout.time is not None:
            times.append(_time(state, fields, state.layout.time, at))
    state.line += len(lines) - 1
    return _block(np.array(times, np.int64), np.array(values), state)


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
        zero = int(times[0]) if state.zero is None else state.zero
        late = zero if state.time is None else state.time
        if abs(zero) >= _EXACT or times[0] < late or (times[1:] < times[:-1]).any():
            return None
        state.zero, state.time = zero, int(times[-1])
        times -= zero
    state.line += len(lines) - 1
    return _block(times, values, state)


def last_digit(text: str, layout: Layout) -> float:
    """What the last digit of the times is worth in the last rows of a text; 0 without any.

    Some forms leave out zeros at the end, so the finest of many rows counts.
    """
    finest: list[float] = []
    for line in text.rsplit("\n", _ROWS_LOOKED_AT)[1:]:
        fields = layout.fields(line) or ()
        held = fields[layout.time] if layout.time is not None and layout.time < len(fields) else ""
        if number(held) is not None:
            digits, _, power = held.lower().partition("e")
            decimals = len(digits.partition(".")[2])
            finest.append(10.0 ** min(int(power or 0) - decimals, 300))
    return min(finest, default=0.0)


def _block(times: NDArray[np.int64], values: NDArray[np.float64], state: RowState) -> Block | None:
    """Times and levels, or samples at the times of the clock."""
    if not values.size:
        return None
    levels = _levels(values, state)
    previous, state.level = state.level, int(levels[-1])
    if state.clock is None:
        return Block(times, levels, int(times[-1]))
    block = changes(levels, previous, state.rows, state.clock, state.shown)
    state.rows += levels.size
    return block


def _levels(values: NDArray[np.float64], state: RowState) -> NDArray[np.uint8]:
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


def _value(state: RowState, fields: list[str], column: int, line: int) -> float:
    held = fields[column] if column < len(fields) else ""
    found = number(held)
    if found is None or abs(found) == inf or len(held) > _LONGEST_NUMBER:
        raise _unfit(state, line, f"column {column + 1} holds {held[:30]!r}, which is no number")
    return found


def _time(state: RowState, fields: list[str], column: int, line: int) -> int:
    """The time of a row, ns after the first one."""
    scaled = _value(state, fields, column, line) * float(state.tick_ns)
    if abs(scaled) < _EXACT:
        time = round(scaled)
    elif abs(scaled) < END_OF_TIME:
        time = round(Fraction(fields[column]) * state.tick_ns)
    else:
        raise _unfit(state, line, f"the time {fields[column][:30]!r} lies beyond 292 years")
    if state.zero is None:
        state.zero = time
    if state.time is not None and time < state.time:
        told = f"time runs backwards, from {state.time} to {time} ns"
        hint, where = "the rows must be sorted by time", f"line {line}"
        raise refusal(state.shown, told, hint, where=where, reason=Reason.TIME)
    state.time = time
    if time - state.zero >= END_OF_TIME:
        raise _unfit(state, line, "the time lies more than 292 years after the first")
    return time - state.zero


def _unfit(state: RowState, line: int, problem: str) -> RecordingError:
    hint = "comments begin with #, ;, % or //; anything else must be a row of numbers"
    return refusal(state.shown, problem, hint, where=f"line {line}")
