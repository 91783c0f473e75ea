"""Rows of a text of numbers to times and levels: plain, and fast where the rows are clean."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from dccwire.errors import Reason, RecordingError
from dccwire.recordings.clock import SampleClock
from dccwire.recordings.recording import Block
from dccwire.recordings.samples import changes
from dccwire.recordings.table_layout import Layout, number
from dccwire.recordings.units import END_OF_TIME

__all__ = ["RowState", "fast_rows", "plain_rows"]

#: Floats hold each whole number up to here; beyond, times are computed with whole numbers.
_EXACT = 1 << 53


@dataclass(slots=True)
class RowState:
    """Where reading stands between two pieces of text.

    Attributes:
        shown: how messages call the file.
        layout: how to read a row.
        column: the column of levels wanted.
        tick_ns: the unit of the column of times.
        clock: the times of rows that have none.
        line: number of the first line of the next piece.
        rows: rows so far.
        level: the latest level, None before the first.
        zero: the first time, ns.
        time: the latest time, ns.
    """

    shown: str
    layout: Layout
    column: int
    tick_ns: Fraction
    clock: SampleClock | None
    line: int = 1
    rows: int = 0
    level: int | None = None
    zero: int | None = None
    time: int | None = None


def plain_rows(text: str, state: RowState) -> Block | None:
    """All rows of a piece of text, which must not end within a row; None if there are none.

    Raises:
        RecordingError: a row that is no number, or whose time runs backwards; with its line.
    """
    times: list[int] = []
    levels: list[int] = []
    lines = text.split("\n")
    for at, line in enumerate(lines, state.line):
        fields = state.layout.fields(line) if at != state.layout.header else None
        if fields is None:
            continue
        level = _value(state, fields, state.column, at)
        if level not in (0, 1):
            raise _unfit(state, at, f"{fields[state.column][:30]!r} is no level (0 or 1)")
        levels.append(int(level))
        if state.layout.time is not None:
            times.append(_time(state, fields, state.layout.time, at))
    state.line += len(lines) - 1
    return _block(np.array(times, np.int64), np.array(levels, np.uint8), state)


def fast_rows(text: str, state: RowState) -> Block | None:
    """The same, from rows that are nothing but numbers; None when these are not, or are late."""
    layout = state.layout
    lines = text.split("\n")
    if state.line <= layout.header or not text.strip():
        return None
    columns = (state.column,) if layout.time is None else (layout.time, state.column)
    points = [line.replace(",", ".") for line in lines] if layout.decimal_comma else lines
    try:
        numbers = np.loadtxt(
            points, delimiter=layout.delimiter, usecols=columns, comments=None, ndmin=2
        )
    except ValueError:
        return None
    levels = numbers[:, -1]
    if not ((levels == 0) | (levels == 1)).all():
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
    return _block(times, levels.astype(np.uint8), state)


def _block(times: NDArray[np.int64], levels: NDArray[np.uint8], state: RowState) -> Block | None:
    """Times and levels, or samples at the times of the clock."""
    if not levels.size:
        return None
    if state.clock is None:
        return Block(times, levels, int(times[-1]))
    block = changes(levels, state.level, state.rows, state.clock, state.shown)
    state.rows += levels.size
    state.level = int(levels[-1])
    return block


def _value(state: RowState, fields: list[str], column: int, line: int) -> float:
    found = number(fields[column]) if column < len(fields) else None
    if found is None:
        what = fields[column][:30] if column < len(fields) else ""
        raise _unfit(state, line, f"column {column + 1} holds {what!r}, which is no number")
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
        raise RecordingError(
            Reason.TIME,
            state.shown,
            f"time runs backwards, from {state.time} to {time} ns",
            f"line {line}",
            "the rows must be sorted by time",
        )
    state.time = time
    if time - state.zero >= END_OF_TIME:
        raise _unfit(state, line, "the time lies more than 292 years after the first")
    return time - state.zero


def _unfit(state: RowState, line: int, problem: str) -> RecordingError:
    return RecordingError(
        Reason.FORMAT,
        state.shown,
        problem,
        f"line {line}",
        "comments begin with #, % or //; anything else must be a row of numbers",
    )
