"""Numbers without text: raw samples, a byte each or eight to a byte; NumPy files of edge times."""

from collections.abc import Iterator
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dccwire.errors import Reason, RecordingError
from dccwire.recordings.opening import Opened, refusal
from dccwire.recordings.recording import (
    EDGES_A_CHUNK,
    END_OF_TIME,
    UNIT_HINT,
    UNITS_NS,
    Block,
    Ints,
    Octets,
    Source,
    changes_of,
    to_ns,
)

_PIECE = 1 << 20
_PACKED_PIECE = 1 << 17
#: So that a difference of two times is an int64, too.
_FARTHEST = END_OF_TIME >> 1
#: So many edges at one time are no signal (each takes its time to merge).
_MOST_AT_ONCE = 1 << 16


class SampleClock:
    """Times of samples at a rate in Hz.

    >>> SampleClock(3_000_000.0).times(0, np.array([1, 2, 3])).tolist()
    [333, 667, 1000]
    """

    def __init__(self, rate: float | None, shown: str = "") -> None:
        self._shown = shown  # how messages call the file
        if rate is None:
            hint = "give it with rate=HZ"
            raise refusal(shown, "the sample rate is missing", hint, reason=Reason.RATE)
        self.period_ns = 10**9 / Fraction(rate)

    def times(self, base: int, offsets: Ints) -> Ints:
        """`round(index * 10**9 / rate)`, ns, of the samples `base + offsets`, offsets from 0 up."""
        step, parts = self.period_ns.as_integer_ratio()
        whole, rest = divmod(base * step, parts)
        most = int(offsets.max(initial=0))
        if max(rest + most * step, step, parts) >= 1 << 61:
            # A rate such as 44100.1 Hz has no small fraction; the error of these floats stays far
            # below 1 ns, since they only span one block.
            rounded: Ints = np.rint(offsets * float(self.period_ns) + rest / parts).astype(np.int64)
            return rounded + whole
        scaled = offsets * step + rest
        quotient: Ints = scaled // parts
        twice = 2 * (scaled - quotient * parts)
        quotient += (twice > parts) | ((twice == parts) & ((quotient + whole) & 1 == 1))
        quotient += whole
        return quotient

    def changes(self, levels: Octets, previous: int | None, base: int) -> Block:
        """The samples at which the level changes, and the very first sample of a file.

        Before these, of which there must be one, there were `base` samples, the last at `previous`.
        """
        where = np.flatnonzero(changes_of(levels, previous))
        if (base + levels.size) * self.period_ns >= END_OF_TIME:
            told = "the samples last longer than 292 years (2^63 ns)"
            hint = "the sample rate is in samples a second"
            raise refusal(self._shown, told, hint, reason=Reason.RATE)
        mark = self.times(base + levels.size - 1, np.zeros(1, np.int64))
        return Block(self.times(base, where), levels[where], int(mark[0]))


class SampleSource(Source):
    """One level of raw samples; `bit` is that of `read`."""

    format = "raw samples"
    sampled = True

    def __init__(self, opened: Opened, clock: SampleClock, bit: int | str) -> None:
        super().__init__(opened)
        opened.bounded = False  # silence is packed as well as anything can be, and read fast
        self.tick_ns = clock.period_ns
        self._clock, self._bit = clock, bit

    def blocks(self) -> Iterator[Block]:
        room = bytearray(_PIECE if isinstance(self._bit, int) else _PACKED_PIECE)
        buffer = np.frombuffer(room, np.uint8)
        base, previous = 0, None
        with self.opened.stream() as stream:
            while got := stream.readinto(memoryview(room)):
                levels = self._levels(buffer[:got])
                yield self._clock.changes(levels, previous, base)
                base += levels.size
                previous = int(levels[-1])

    def _levels(self, data: Octets) -> Octets:
        if isinstance(self._bit, int):
            return (data >> np.uint8(self._bit)) & np.uint8(1)
        return np.unpackbits(data, bitorder="little" if self._bit == "lsb" else "big")


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
            hint = f"{UNIT_HINT}; whole numbers without one are ns"
            told = "the unit of the edge times is not known"
            raise refusal(opened.shown, told, hint, reason=Reason.TIME)
        self.unit_ns = UNITS_NS[unit or "ns"]
        if array.dtype.kind != "f":
            self.tick_ns = self.unit_ns

    def blocks(self) -> Iterator[Block]:
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

    def _times(self, part: NDArray[Any], start: int) -> Ints:
        """Whole ns, each below 2^62 so that their differences are whole ns too."""
        raw, floats = part, part.dtype.kind == "f"
        if floats:
            part = np.rint(part.astype(np.float64) * float(self.unit_ns))
            fits = np.abs(part) < _FARTHEST
        else:
            most = _FARTHEST // self.unit_ns.numerator
            fits = (part < most) & (part > -most) if part.dtype.kind == "i" else part < most
        for where in np.flatnonzero(~fits)[:1].tolist():
            hint = "146 years (2^62 ns) is the most there can be"
            raise self._no_time(start + where, f"{part[where]} is no time", hint)
        times: Ints = part.astype(np.int64)
        if not floats:
            return to_ns(times, self.unit_ns)
        spacing = float(np.spacing(np.abs(raw).max()))
        self.held = spacing * float(self.unit_ns), f"spacing of {raw.dtype}"
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
        hint = "a one-dimensional array of whole ns, or of floats with unit=UNIT, is expected"
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
