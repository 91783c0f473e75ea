"""Edges to files: VCD and CSV. A file appears whole, or not at all."""

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from itertools import islice
from operator import index
from typing import SupportsIndex, TextIO, TypeAlias

import numpy as np
from numpy.typing import NDArray

from dccwire.errors import FieldError, Reason
from dccwire.recordings.opening import refusal

#: Times one by one, or arrays of them.
Edges: TypeAlias = Iterable[SupportsIndex | NDArray[np.int64]]

_BATCH = 1 << 14
_UNITS = ("ns", "us", "ms", "s")
_SCALES = {10**power: f"{10 ** (power % 3)} {_UNITS[power // 3]}" for power in range(10)}


def write_vcd(
    path: str | os.PathLike[str],
    edges: Edges,
    *,
    first_level: int = 1,
    end_ns: int | None = None,
    signal: str = "track",
    timescale_ns: int = 1,
) -> None:
    """Write edges as a VCD file (IEEE 1364) of one wire.

    Args:
        path: the file; one that exists is replaced once the new one is whole.
        edges: times of level changes, ns, from 0 up and non-decreasing, or arrays of such times.
        first_level: the level after the first edge, 0 or 1.
        end_ns: the last time mark; the last edge if not given.
        signal: the name of the wire, without blanks.
        timescale_ns: 1, 10, 100 and so on up to 10^9; every time must be a multiple of it.

    Raises:
        RecordingError: the file cannot be written.

    >>> import tempfile, dccwire.recordings as recordings
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     recordings.write_vcd(f"{folder}/a.vcd", [58_000, 116_000, 174_000])
    ...     recording = recordings.read(f"{folder}/a.vcd", signal="track")
    ...     [chunk.edges.tolist() for chunk in recording]
    [[58000, 116000, 174000]]
    """
    if timescale_ns not in _SCALES:
        raise FieldError("timescale_ns", "a power of ten from 1 to 10^9", timescale_ns)
    if not signal or any(character.isspace() for character in signal):
        raise FieldError("signal", "a name without blanks", signal)
    levels = _levels(first_level)
    head = (
        f"$timescale {_SCALES[timescale_ns]} $end\n$scope module recording $end\n"
        f"$var wire 1 ! {signal} $end\n$upscope $end\n$enddefinitions $end\n"
        f"#0\n$dumpvars\n{levels[1]}!\n$end\n"
    )
    rows = [f"#%d\n{level}!\n" for level in levels]
    _write(path, head, rows, edges, end_ns=end_ns, unit=timescale_ns)


def write_csv(
    path: str | os.PathLike[str],
    edges: Edges,
    *,
    first_level: int = 1,
    end_ns: int | None = None,
    signal: str = "track",
) -> None:
    """Write edges as text: a row for each transition, its time in seconds and the level from then.

    Arguments are those of `write_vcd`; a last row with the level as it was marks `end_ns`.
    """
    if not signal or any(character in '",;\t\r\n' for character in signal):
        raise FieldError("signal", "a name without quotes, delimiters and line ends", signal)
    levels = _levels(first_level)
    rows = [f"%d.%09d,{level}\n" for level in levels]
    _write(path, f"Time [s],{signal}\n{rows[1] % (0, 0)}", rows, edges, end_ns=end_ns)


def _levels(first_level: int) -> tuple[int, int]:
    if first_level not in (0, 1):
        raise FieldError("first_level", "0 or 1", first_level)
    return first_level, 1 - first_level


def _write(
    path: str | os.PathLike[str],
    head: str,
    rows: list[str],
    edges: Edges,
    *,
    end_ns: int | None,
    unit: int = 1,
) -> None:
    """A file of two rows in turn, one for each level; the first line of either has the time."""
    split = rows[0].startswith("%d.")  # a time in seconds has two whole numbers

    def numbers(times: NDArray[np.int64]) -> tuple[int, ...]:
        parts = np.stack(np.divmod(times, 10**9), 1) if split else times
        return tuple(parts.ravel().tolist())

    with _whole(path) as file:
        file.write(head)
        last, count = 0, 0
        for times in _batches(edges, unit):
            text = "".join(rows) * (times.size // 2) + rows[0] * (times.size % 2)
            file.write(text % numbers(times))
            last, count = int(times[-1]), count + times.size
        if end_ns is not None:
            if end_ns % unit or end_ns // unit < last:
                bound = f"a multiple of {unit} ns, from {last * unit} up"
                raise FieldError("end_ns", bound, end_ns)
            mark = rows[(count - 1) % 2].splitlines(keepends=True)[0]
            file.write(mark % numbers(np.array([end_ns // unit])))


def _batches(edges: Edges, unit: int) -> Iterator[NDArray[np.int64]]:
    """Times in units, checked, an even number at a time but for the last."""
    last = 0
    times = _one_by_one(edges)
    while batch := list(islice(times, _BATCH)):
        try:
            array = np.array(batch, np.int64)
        except OverflowError:
            raise FieldError("edges", "times below 2^63 ns", max(batch, key=abs)) from None
        wrong = np.flatnonzero((np.diff(array, prepend=last) < 0) | (array % unit != 0))
        if wrong.size:
            bound = f"multiples of {unit} ns, from 0 up and non-decreasing"
            raise FieldError("edges", bound, batch[int(wrong[0])])
        last = batch[-1]
        yield array // unit


def _one_by_one(edges: Edges) -> Iterator[int]:
    for item in edges:
        if not isinstance(item, np.ndarray):
            try:
                yield index(item)
            except TypeError:
                raise FieldError("edges", "whole numbers of ns", item) from None
        elif item.dtype.kind in "iu":
            yield from item.tolist()
        else:
            raise FieldError("edges", "arrays of whole numbers of ns", item.dtype.name)


@contextmanager
def _whole(path: str | os.PathLike[str]) -> Iterator[TextIO]:
    """A new file beside `path` that takes its place at the end, and is removed after an error."""
    shown = os.fspath(path)
    folder, name = os.path.split(shown)
    partial = os.path.join(folder, f".{name}.{os.getpid()}.part")
    try:
        with open(partial, "x", encoding="utf-8", newline="\n") as file:
            yield file
        os.replace(partial, shown)
    except OSError as error:
        told = f"cannot be written ({error.strerror})"
        hint = "check the folder and the room left"
        raise refusal(shown, told, hint, reason=Reason.FILE) from error
    finally:
        with suppress(OSError):
            os.unlink(partial)
