"""NumPy files (`.npy`) of edge times."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dccwire.errors import Reason, RecordingError
from dccwire.recordings.opening import Opened
from dccwire.recordings.recording import EDGES_A_CHUNK, Block, Source
from dccwire.recordings.units import END_OF_TIME, UNITS_NS, scale

__all__ = ["NumpySource"]

#: So that a difference of two times is an int64, too.
_FARTHEST = END_OF_TIME >> 1


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
            raise RecordingError(
                Reason.TIME,
                opened.shown,
                "the unit of the edge times is not known",
                hint="give it with --unit s|ms|us|ns (unit=); whole numbers without one are ns",
            )
        self._scale = UNITS_NS[unit or "ns"]

    def blocks(self) -> Iterator[Block]:
        """Read the times anew."""
        array = self._load()
        zero = mark = 0
        for start in range(0, array.size, EDGES_A_CHUNK):
            times = self._times(array[start : start + EDGES_A_CHUNK], start)
            if start == 0:
                zero = mark = int(times[0])
            before = np.concatenate([[mark], times[:-1]])
            backwards = np.flatnonzero(times < before)
            if backwards.size:
                where = int(backwards[0])
                raise RecordingError(
                    Reason.TIME,
                    self.opened.shown,
                    f"time runs backwards, from {before[where]} to {times[where]} ns",
                    f"element {start + where}",
                    "the edge times must be sorted",
                )
            mark = int(times[-1])
            self.opened.fraction = min(1.0, (start + times.size) / array.size)
            yield Block(times - zero, None, mark - zero)

    def _times(self, part: NDArray[Any], start: int) -> NDArray[np.int64]:
        """Whole ns, each below 2^62 so that their differences are whole ns too."""
        if part.dtype.kind == "f":
            part = np.rint(part.astype(np.float64) * float(self._scale))
            fits = np.abs(part) < _FARTHEST
        else:
            most = _FARTHEST // self._scale.numerator
            fits = (part < most) & (part > -most) if part.dtype.kind == "i" else part < most
        if not fits.all():
            where = int(np.flatnonzero(~fits)[0])
            raise RecordingError(
                Reason.TIME,
                self.opened.shown,
                f"{part[where]} is no time",
                f"element {start + where}",
                "146 years (2^62 ns) is the most there can be",
            )
        times: NDArray[np.int64] = part.astype(np.int64)
        return times if part.dtype.kind == "f" else scale(times, self._scale)

    def _load(self) -> NDArray[Any]:
        path = self.opened.plain_path()
        try:
            array: NDArray[Any] = np.load(path, mmap_mode="r", allow_pickle=False)
        except Exception as error:  # a damaged header ends in nearly any exception of numpy
            reason = str(error).partition("\n")[0][:80]
            raise self._unfit(f"no plain array ({reason})") from error
        return array

    def _unfit(self, found: str) -> RecordingError:
        return RecordingError(
            Reason.FORMAT,
            self.opened.shown,
            f"{found} was found",
            hint="a one-dimensional array of whole ns, or of floats with --unit, is expected",
        )
