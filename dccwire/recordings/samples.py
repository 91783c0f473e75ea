"""Raw samples of a fixed rate: one byte a sample, or eight samples to a byte."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from dccwire.errors import Reason
from dccwire.recordings.clock import SampleClock
from dccwire.recordings.opening import Opened, refusal
from dccwire.recordings.recording import Block, Source
from dccwire.recordings.units import END_OF_TIME

__all__ = ["SampleSource", "changes"]

_PIECE = 1 << 20
_PACKED_PIECE = 1 << 17


class SampleSource(Source):
    """One level of raw samples.

    Args:
        opened: the file.
        clock: the times of the samples.
        bit: 0 to 7, one byte a sample, this bit of it; "lsb" or "msb": eight samples to a byte,
            the first one in its least or most significant bit.
        piece: bytes read at a time.
    """

    format = "raw samples"
    sampled = True

    def __init__(
        self, opened: Opened, clock: SampleClock, bit: int | str, piece: int | None = None
    ) -> None:
        super().__init__(opened)
        opened.bounded = False  # silence is packed as well as anything can be, and read fast
        self.tick_ns = clock.period_ns
        self._clock, self._bit = clock, bit
        self._piece = piece or (_PIECE if isinstance(bit, int) else _PACKED_PIECE)

    def blocks(self) -> Iterator[Block]:
        """Read the samples anew."""
        room = bytearray(self._piece)
        buffer = np.frombuffer(room, np.uint8)
        base, previous = 0, None
        with self.opened.stream() as stream:
            while got := stream.readinto(memoryview(room)):
                levels = self._levels(buffer[:got])
                yield changes(levels, previous, base, self._clock, self.opened.shown)
                base += levels.size
                previous = int(levels[-1])

    def _levels(self, data: NDArray[np.uint8]) -> NDArray[np.uint8]:
        if isinstance(self._bit, int):
            return (data >> np.uint8(self._bit)) & np.uint8(1)
        return np.unpackbits(data, bitorder="little" if self._bit == "lsb" else "big")


def changes(
    levels: NDArray[np.uint8], previous: int | None, base: int, clock: SampleClock, shown: str
) -> Block:
    """The samples at which the level changes, and the very first sample of a file.

    Args:
        levels: samples, at least one.
        previous: the level of the sample before them, None if there is none.
        base: the number of samples before them.
        clock: the times of the samples.
        shown: how messages call the file.
    """
    changed = np.empty(levels.size, np.bool_)
    changed[0] = levels[0] != previous
    np.not_equal(levels[1:], levels[:-1], out=changed[1:])
    where = np.flatnonzero(changed)
    ends = (base + levels.size) * clock.period_ns
    if ends >= END_OF_TIME:
        told = "the samples last longer than 292 years (2^63 ns)"
        raise refusal(shown, told, "the sample rate is in samples a second", reason=Reason.RATE)
    mark = clock.times(base + levels.size - 1, np.zeros(1, np.int64))
    return Block(clock.times(base, where), levels[where], int(mark[0]))
