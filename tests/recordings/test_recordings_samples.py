"""Raw samples: which bit of which byte is which moment."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from recording_helpers import edges_of

from dccwire.errors import FieldError, Reason, RecordingError
from dccwire.recordings import read, samples
from dccwire.recordings.opening import Opened
from dccwire.recordings.samples import SampleClock, SampleSource
from refusals import refused


@given(
    base=st.integers(0, 10**12),
    offsets=st.lists(st.integers(0, 1 << 20), min_size=1, max_size=5),
    rate=st.one_of(
        st.integers(10**5, 10**10).map(float),
        st.sampled_from([2e9, 4e9, 3e6, 1e6, 24e6, 64e9]),
        st.floats(1e5, 1e9),
    ),
)
def test_times_are_rounded_once(base, offsets, rate):
    """`round(index * 10**9 / rate)`, for any rate and index.

    A rate without a small fraction of its own may be off by one where a time is close to a half.
    """
    clock = SampleClock(rate)
    times = clock.times(base, np.array(offsets, np.int64)).tolist()
    for offset, time in zip(offsets, times, strict=True):
        exact = (base + offset) * 10**9 / Fraction(rate)
        if rate.is_integer():
            assert time == round(exact)
        else:
            assert abs(time - exact) <= Fraction(1, 2) + Fraction(1, 10**4)


def test_a_bit_of_each_byte(save):
    """One byte a sample: only the bit wanted counts."""
    levels = np.arange(3000) // 60 % 2
    for bit in (0, 3, 7):
        data = (levels << bit) | (np.arange(3000) % 256 & ~(1 << bit))
        path = save("a.bin", data.astype(np.uint8).tobytes())
        recording = read(path, rate=1e6, bit=bit)
        assert edges_of(recording) == list(range(60_000, 3_000_000, 60_000))
        assert (recording.format, recording.signal) == ("raw samples", None)
        assert (recording.resolution_ns, recording.resolution_source) == (1000, "sample rate")
        assert (recording.first_level, recording.end_ns) == (1, 2_999_000)
        assert edges_of(read(path, rate=1e6, bit=str(bit))) == edges_of(recording)


@pytest.mark.parametrize(("bit", "order"), [("lsb", "little"), ("msb", "big")])
def test_eight_samples_to_a_byte(bit, order, save):
    """The first sample stands in the least or the most significant bit."""
    levels = (np.arange(4000) // 60 % 2).astype(np.uint8)
    path = save("a.bin", np.packbits(levels, bitorder=order).tobytes())
    recording = read(path, rate=1e6, bit=bit)
    assert edges_of(recording) == list(range(60_000, 4_000_000, 60_000))
    assert recording.end_ns == 3_999_000


def test_first_sample_in_time(save):
    """0x01 and 0x80 alone, the level of the other seven samples being 0."""
    for bit, byte in (("lsb", 0x80), ("msb", 0x01)):
        path = save("a.bin", bytes([byte, 0]))
        assert edges_of(read(path, rate=1e6, bit=bit)) == [7000, 8000]


def test_resolution_is_rounded_up(save):
    """The resolution is the sample's duration, or the option, rounded up to whole ns."""
    path = save("a.bin", bytes(100))
    assert read(path, rate=24e6, bit=0).resolution_ns == 42
    assert read(path, rate=5e9, bit=0).resolution_ns == 1
    recording = read(path, rate=24e6, bit=0, resolution=20.5)
    assert (recording.resolution_ns, recording.resolution_source) == (21, "option")


@pytest.mark.parametrize("piece", [1, 2, 7, 4096])
@pytest.mark.parametrize("bit", [1, "msb"])
def test_pieces_of_any_size(piece, bit, save, monkeypatch):
    """Where the file is cut into pieces makes no difference."""
    rng = np.random.default_rng(1)
    path = save("a.bin", rng.integers(0, 256, 500).astype(np.uint8).tobytes())
    clock = SampleClock(333_333.3)

    def changes():
        blocks = list(SampleSource(Opened(path), clock, bit).blocks())
        return (
            np.concatenate([block.times for block in blocks]).tolist(),
            np.concatenate([block.levels for block in blocks]).tolist(),
            blocks[-1].mark,
        )

    whole = changes()
    monkeypatch.setattr(samples, "_PIECE", piece)
    monkeypatch.setattr(samples, "_PACKED_PIECE", piece)
    assert changes() == whole


def test_rate_of_no_use(save):
    """Samples need one, and whatever is given must be one, also where it is not needed."""
    path = save("a.bin", bytes(range(256)))
    with refused(RecordingError, Reason.RATE, r"the sample rate is missing.*rate=HZ"):
        read(path, bit=0)
    for rate in (0, -1e6, math.nan, math.inf):
        for bit in (0, None):
            with refused(FieldError, match="rate: a positive number of Hz expected"):
                read(path, rate=rate, bit=bit)


def test_rate_in_the_wrong_unit(save):
    """A rate so low that the samples would last for centuries."""
    with refused(RecordingError, Reason.RATE, r"longer than 292 years"):
        read(save("a.bin", bytes(range(256))), rate=1e-9, bit=0)


@pytest.mark.parametrize("bit", [-1, "8x", 1 << 20, [], math.inf, "LSB"])
def test_bit_of_no_use(bit, save):
    """A bit is a number in bounds, lsb or msb; anything else is refused."""
    with refused(FieldError, match=r"bit: a number from 0 up, lsb or msb expected"):
        read(save("a.bin", bytes(range(256))), rate=1e6, bit=bit)


def test_a_byte_has_eight_bits(save):
    """Bit 8 of a byte is refused."""
    with refused(FieldError, match=r"bit: 0 to 7, lsb or msb, for raw samples expected, 8"):
        read(save("a.bin", bytes(range(256))), rate=1e6, bit=8)


def test_layout_of_the_samples_is_asked_for(save):
    """Samples with a rate but no bit are refused, and the option for it is named."""
    with refused(RecordingError, Reason.FORMAT, r"layout of the samples is not known.*bit="):
        read(save("a.bin", bytes(range(256))), rate=1e6)
