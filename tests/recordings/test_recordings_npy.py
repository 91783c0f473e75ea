"""NumPy files of edge times."""

from __future__ import annotations

import io
import pickle

import numpy as np
import pytest
from recording_helpers import edges_of

from dccwire.errors import Reason, RecordingError
from dccwire.recordings import read, samples
from refusals import refused


def npy_bytes(array, **options):
    buffer = io.BytesIO()
    np.save(buffer, array, **options)
    return buffer.getvalue()


@pytest.mark.parametrize(
    ("array", "unit"),
    [
        (np.array([0, 58_000, 116_000]), None),
        (np.array([1000, 59_000, 117_000], np.uint32), None),
        (np.array([0, 58_000, 116_000], ">i8"), "ns"),
        (np.array([-58, 0, 58], np.int16), "us"),
        (np.array([7, 65, 123], np.uint64), "us"),
        (np.array([0.0, 5.8e-5, 1.16e-4]), "s"),
        (np.array([1.0, 1.058, 1.116]), "ms"),
        (np.array([0, 58_000_000, 116_000_000]), "ps"),
        (np.array([0, 58e6, 116e6], np.float32), "ps"),
    ],
)
def test_types_and_units(array, unit, save):
    """Whole numbers are ns, or of the unit given; floats need one. The first edge is at 0."""
    recording = read(save("a.npy", npy_bytes(array)), unit=unit)
    assert edges_of(recording) == [0, 58_000, 116_000]
    assert edges_of(recording) == [0, 58_000, 116_000]
    assert (recording.format, recording.signal) == ("NumPy edge times", None)
    assert (recording.first_level, recording.end_ns) == (None, 116_000)


def test_no_edges(save):
    """An empty array is a recording without edges and without an end."""
    recording = read(save("a.npy", npy_bytes(np.empty(0, np.int64))))
    assert edges_of(recording) == []
    assert recording.end_ns is None


def test_many_edges_come_in_chunks(save, monkeypatch):
    """No chunk is larger than it should be, and the order holds across them."""
    monkeypatch.setattr(samples, "EDGES_A_CHUNK", 10)
    times = np.arange(95) * 58_000
    path = save("a.npy", npy_bytes(times))
    recording = read(path)
    fractions = [recording.fraction for _ in recording]
    assert edges_of(recording) == times.tolist()
    assert fractions[0] < 0.2
    assert len(fractions) == 10
    times[40] -= 58_001
    with refused(RecordingError, Reason.TIME, r"element 40: time runs backwards, from 2262000 to"):
        edges_of(read(save("b.npy", npy_bytes(times)), resolution=1))


def test_runs_backwards(save):
    """An edge before the one ahead of it is refused, with its element and both times."""
    path = save("a.npy", npy_bytes(np.array([0, 5, 4])))
    with refused(RecordingError, Reason.TIME, r"element 2: time runs backwards, from 5 to 4"):
        read(path)


FARTHEST = 1 << 62


@pytest.mark.parametrize(
    ("kind", "time", "fits"),
    [
        (np.int64, FARTHEST - 1, True),
        (np.int64, FARTHEST, False),
        (np.int64, FARTHEST + 1, False),
        (np.uint64, FARTHEST - 1, True),
        (np.uint64, FARTHEST, False),
        (np.uint64, FARTHEST + 1, False),
        (np.int64, 1 - FARTHEST, True),
        (np.int64, -FARTHEST, False),
        (np.int64, -FARTHEST - 1, False),
    ],
)
def test_the_farthest_time(kind, time, fits, save):
    """Below 2^62 ns either way, so that the distance of any two is below 2^63."""
    path = save("a.npy", npy_bytes(np.array(sorted([0, time]), kind)))
    if fits:
        assert edges_of(read(path, resolution=1)) == [0, abs(time)]
        return
    with refused(RecordingError, Reason.TIME, r"element [01]: .* is no time"):
        read(path)


@pytest.mark.parametrize(("time", "fits"), [(4.611e18, True), (float(FARTHEST), False)])
def test_the_farthest_float(time, fits, save):
    """Floats have the bound of whole numbers: below 2^62 ns."""
    path = save("a.npy", npy_bytes(np.array([0, time])))
    if fits:
        assert edges_of(read(path, unit="ns", resolution=1)) == [0, int(time)]
    else:
        with refused(RecordingError, Reason.TIME, r"element 1: .* is no time"):
            read(path, unit="ns")


@pytest.mark.parametrize(("edges", "fits"), [(1 << 16, True), ((1 << 16) + 1, False)])
def test_edges_at_one_time_are_bounded(edges, fits, save):
    """Zeros without end are no edges."""
    path = save("a.npy", npy_bytes(np.zeros(edges, np.int64)))
    if fits:
        assert len(edges_of(read(path))) == edges
        return
    with refused(RecordingError, Reason.TIME, "more than 65536 edges at one time"):
        read(path)


@pytest.mark.parametrize(
    ("array", "unit"),
    [
        (np.array([0, 1 << 62]), None),
        (np.array([-(1 << 62), 0]), None),
        (np.array([0, 1 << 63], np.uint64), None),
        (np.array([0, 1 << 40]), "s"),
        (np.array([0, np.nan]), "s"),
        (np.array([0, np.inf]), "s"),
        (np.array([0, 1e300]), "ns"),
    ],
)
def test_no_time(array, unit, save):
    """Times too far away, infinite or not a number are refused with their element."""
    with refused(RecordingError, Reason.TIME, r"element [01]: .* is no time"):
        read(save("a.npy", npy_bytes(array)), unit=unit)


def test_floats_need_a_unit(save):
    """Floats without a unit are refused, and the option for it is named."""
    with refused(RecordingError, Reason.TIME, r"unit of the edge times is not known.*unit="):
        read(save("a.npy", npy_bytes(np.array([0.0, 1.0]))))


class Trap:
    """Reading this from a pickle would tell."""

    def __reduce__(self):
        return (pytest.fail, ("the pickle was run",))


UNFIT = {
    "two dimensions": npy_bytes(np.zeros((2, 2), np.int64)),
    "no dimension": npy_bytes(np.int64(5)),
    "complex numbers": npy_bytes(np.array([1j])),
    "text": npy_bytes(np.array(["a"])),
    "truth": npy_bytes(np.array([True])),
    "pickle": npy_bytes(np.array([Trap()], object), allow_pickle=True),
    "pickle without an array": b"\x93NUMPY" + pickle.dumps(5),
    "cut off": npy_bytes(np.arange(50))[:-5],
    "header alone": npy_bytes(np.arange(50))[:40],
    "magic alone": b"\x93NUMPY",
    "a later version": b"\x93NUMPY\x09\x00" + bytes(100),
}


@pytest.mark.parametrize("case", UNFIT)
def test_unfit(case, save):
    """Anything but a plain row of numbers is refused, and no pickle is run."""
    with refused(RecordingError, Reason.FORMAT, r"a one-dimensional array of whole ns"):
        read(save("a.npy", UNFIT[case]), unit="ns")
