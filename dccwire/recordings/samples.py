"""Samples of a fixed rate: their clock, and raw ones, a byte each or eight to a byte."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

import numpy as np

from dccwire.errors import Reason
from dccwire.recordings.opening import Opened, refusal
from dccwire.recordings.recording import END_OF_TIME, Block, Ints, Octets, Source, changes_of

_PIECE = 1 << 20
_PACKED_PIECE = 1 << 17


class SampleClock:
    """Times of samples at a rate in Hz.

    >>> SampleClock(3_000_000.0).times(0, np.array([1, 2, 3])).tolist()
    [333, 667, 1000]
    """

    def __init__(self, rate: float) -> None:
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

    def changes(self, levels: Octets, previous: int | None, base: int, shown: str) -> Block:
        """The samples at which the level changes, and the very first sample of a file.

        Before these, of which there must be one, there were `base` samples, the last at `previous`.
        """
        where = np.flatnonzero(changes_of(levels, previous))
        if (base + levels.size) * self.period_ns >= END_OF_TIME:
            told = "the samples last longer than 292 years (2^63 ns)"
            raise refusal(shown, told, "the sample rate is in samples a second", reason=Reason.RATE)
        mark = self.times(base + levels.size - 1, np.zeros(1, np.int64))
        return Block(self.times(base, where), levels[where], int(mark[0]))


def sample_clock(shown: str, rate: float | None) -> SampleClock:
    """The clock of a file of samples, or a `RecordingError` without a rate."""
    if rate is None:
        hint = "give it with --rate HZ (rate=)"
        raise refusal(shown, "the sample rate is missing", hint, reason=Reason.RATE)
    return SampleClock(rate)


class SampleSource(Source):
    """One level of raw samples; `bit` is that of `read`."""

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
                yield self._clock.changes(levels, previous, base, self.opened.shown)
                base += levels.size
                previous = int(levels[-1])

    def _levels(self, data: Octets) -> Octets:
        if isinstance(self._bit, int):
            return (data >> np.uint8(self._bit)) & np.uint8(1)
        return np.unpackbits(data, bitorder="little" if self._bit == "lsb" else "big")
