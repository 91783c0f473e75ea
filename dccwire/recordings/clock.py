"""The times of samples: the index over the rate, rounded once, never a rounded step added up."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from dccwire.errors import Reason
from dccwire.recordings.opening import refusal

__all__ = ["SampleClock", "sample_clock"]


class SampleClock:
    """Times of samples at a rate in Hz.

    >>> SampleClock(3_000_000.0).times(0, np.array([1, 2, 3])).tolist()
    [333, 667, 1000]
    """

    def __init__(self, rate: float) -> None:
        self.period_ns = 10**9 / Fraction(rate)

    def times(self, base: int, offsets: NDArray[np.int64]) -> NDArray[np.int64]:
        """`round(index * 10**9 / rate)`, ns, of the samples `base + offsets`, offsets from 0 up."""
        step, parts = self.period_ns.as_integer_ratio()
        whole, rest = divmod(base * step, parts)
        most = int(offsets.max(initial=0))
        if max(rest + most * step, step, parts) >= 1 << 61:
            # A rate such as 44100.1 Hz has no small fraction; the error of these floats stays far
            # below 1 ns, since they only span one block.
            near = np.rint(offsets * float(self.period_ns) + rest / parts)
            rounded: NDArray[np.int64] = near.astype(np.int64)
            rounded += whole
            return rounded
        scaled = offsets * step + rest
        quotient: NDArray[np.int64] = scaled // parts
        twice = 2 * (scaled - quotient * parts)
        quotient += (twice > parts) | ((twice == parts) & ((quotient + whole) & 1 == 1))
        quotient += whole
        return quotient


def sample_clock(shown: str, rate: float | None) -> SampleClock:
    """The clock of a file of samples, or a `RecordingError` without a rate."""
    if rate is None:
        hint = "give it with --rate HZ (rate=)"
        raise refusal(shown, "the sample rate is missing", hint, reason=Reason.RATE)
    return SampleClock(rate)
