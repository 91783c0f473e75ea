"""NumPy files (`.npy`) of edge times."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dccwire.errors import Reason, RecordingError
from dccwire.recordings.opening import Opened, refusal
from dccwire.recordings.recording import EDGES_A_CHUNK, END_OF_TIME, UNITS_NS, Block, Source, to_ns

#: So that a difference of two times is an int64, too.
_FARTHEST = END_OF_TIME >> 1
#: So many edges at one time are no signal (each takes its time to merge).
_MOST_AT_ONCE = 1 << 16


class NumpySource(Source):
    """A one-dimensional array of edge times: whole ns, or numbers of a `unit`.

    The file is mapped, not loaded. Arrays that need pickle are refused: reading one runs code.
    """

    format = "NumPy edge times"

    def __init__(self, opened: Opened, unit: str | None) -> None:
        super().__init__(opened)
        array = self._load()
        if array.ndim != 1 or array.dtype.kind not in "iuf":
            raise self._unfit(f"an array of shape {array.shape} and type {array.dtype}")
        if array.dtype.kind == "f" and unit is None:
            raise refusal(
                opened.shown,
                "the unit of the edge times is not known",
                "give it with --unit s|ms|us|ns (unit=); whole numbers without one are ns",
                reason=Reason.TIME,
            )
        self._scale = UNITS_NS[unit or "ns"]
        if array.dtype.kind != "f":
            self.tick_ns = self._scale

    def blocks(self) -> Iterator[Block]:
        """Read the times anew."""
        array = self._load()
        zero = mark = 0
        for start, part in _parts(array):
            times = self._times(part, start)
            if start == 0:
                zero = mark = int(times[0])
            before = np.concatenate([[mark], times[:-1]])
            for where in np.flatnonzero(times < before)[:1].tolist():
                told = f"time runs backwards, from {before[where]} to {times[where]} ns"
                raise self._no_time(start + where, told, "the edge times must be sorted")
            if (times[_MOST_AT_ONCE:] == times[:-_MOST_AT_ONCE]).any():
                told = f"more than {_MOST_AT_ONCE} edges at one time"
                raise self._no_time(start, told, "these are no edge times of a signal")
            mark = int(times[-1])
            self.opened.fraction = min(1.0, (start + times.size) / array.size)
            yield Block(times - zero, None, mark - zero)

    def _times(self, part: NDArray[Any], start: int) -> NDArray[np.int64]:
        """Whole ns, each below 2^62 so that their differences are whole ns too."""
        raw = part
        if part.dtype.kind == "f":
            part = np.rint(part.astype(np.float64) * float(self._scale))
            fits = np.abs(part) < _FARTHEST
        else:
            most = _FARTHEST // self._scale.numerator
            fits = (part < most) & (part > -most) if part.dtype.kind == "i" else part < most
        for where in np.flatnonzero(~fits)[:1].tolist():
            hint = "146 years (2^62 ns) is the most there can be"
            raise self._no_time(start + where, f"{part[where]} is no time", hint)
        times: NDArray[np.int64] = part.astype(np.int64)
        if part.dtype.kind != "f":
            return to_ns(times, self._scale)
        spacing = float(np.spacing(np.abs(raw).max()))
        self.held = spacing * float(self._scale), f"spacing of {raw.dtype}"
        return times

    def _load(self) -> NDArray[Any]:
        path = self.opened.plain_path()
        try:
            return np.load(path, mmap_mode="r", allow_pickle=False)  # type: ignore[no-any-return]
        except Exception as error:  # a damaged header ends in nearly any exception of numpy
            reason = str(error).partition("\n")[0][:80]
            raise self._unfit(f"no plain array ({reason})") from error

    def _no_time(self, element: int, problem: str, hint: str) -> RecordingError:
        where = f"element {element}"
        return refusal(self.opened.shown, problem, hint, where=where, reason=Reason.TIME)

    def _unfit(self, found: str) -> RecordingError:
        hint = "a one-dimensional array of whole ns, or of floats with --unit, is expected"
        return refusal(self.opened.shown, f"{found} was found", hint)


def _parts(array: NDArray[Any]) -> Iterator[tuple[int, NDArray[Any]]]:
    """Parts of an array, with where they start; in each, floats are spaced alike."""
    for start in range(0, array.size, EDGES_A_CHUNK):
        part = array[start : start + EDGES_A_CHUNK]
        cuts = [0]
        if part.dtype.kind == "f":
            cuts += (np.flatnonzero(np.diff(np.frexp(part)[1])) + 1).tolist()
        for first, last in zip(cuts, [*cuts[1:], part.size], strict=True):
            yield start + first, part[first:last]
