"""Edges to files and back, and files that appear whole or not at all."""

from __future__ import annotations

import os
import stat
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from recording_helpers import edges_of

from dccwire.errors import FieldError, Reason, RecordingError
from dccwire.recordings import read, write_csv, write_vcd
from dccwire.recordings.writing import _BATCH
from refusals import refused

WRITERS = [("a.vcd", write_vcd), ("a.csv", write_csv)]


@settings(max_examples=40)
@given(
    steps=st.lists(st.integers(0, 10**10), max_size=30),
    first_level=st.integers(0, 1),
    rest=st.none() | st.integers(0, 10**6),
    as_array=st.booleans(),
)
@pytest.mark.parametrize(("name", "write"), WRITERS)
def test_written_edges_are_read_back(
    *, name, write, tmp_path_factory, steps, first_level, rest, as_array
):
    """Times, first level and last time mark survive, edges at one time too."""
    edges = np.cumsum(np.array(steps, np.int64)).tolist()
    last = edges[-1] if edges else 0
    end_ns = None if rest is None else last + rest
    path = tmp_path_factory.mktemp("written") / name
    given_edges = [np.array(edges[:7], np.int64), *edges[7:]] if as_array else iter(edges)
    write(path, given_edges, first_level=first_level, end_ns=end_ns, signal="j")
    recording = read(path, signal="j", resolution=1)
    assert edges_of(recording) == edges
    assert recording.first_level == (first_level if edges else None)
    assert recording.end_ns == (last if end_ns is None else end_ns)


@pytest.mark.parametrize(("name", "write"), WRITERS)
@pytest.mark.parametrize("count", [_BATCH - 1, _BATCH, 2 * _BATCH + 1])
def test_many_edges(name, write, count, tmp_path):
    """Batches join without a seam."""
    times = np.arange(1, count + 1) * 58_001
    write(tmp_path / name, [times], end_ns=int(times[-1]) + 5)
    recording = read(tmp_path / name, signal="track", resolution=1)
    assert edges_of(recording) == times.tolist()
    assert recording.end_ns == times[-1] + 5


@pytest.mark.parametrize(("unit", "text"), [(10, "10 ns"), (1000, "1 us"), (10**9, "1 s")])
def test_timescale(unit, text, tmp_path):
    """Times are written in the unit given (IEEE 1364) and read back the same."""
    path = tmp_path / "a.vcd"
    write_vcd(path, [0, 5 * unit, 7 * unit], timescale_ns=unit, end_ns=9 * unit)
    assert path.read_text().startswith(f"$timescale {text} $end\n")
    recording = read(path, signal="track", resolution=1)
    assert edges_of(recording) == [0, 5 * unit, 7 * unit]
    assert recording.end_ns == 9 * unit


@pytest.mark.parametrize(
    ("field", "options"),
    [
        ("first_level", {"first_level": 2}),
        ("end_ns", {"end_ns": 57}),
        ("signal", {"signal": ""}),
        ("signal", {"signal": "a\nb"}),
    ],
)
@pytest.mark.parametrize(("name", "write"), WRITERS)
def test_bounds(name, write, field, options, tmp_path):
    """A value out of bounds is named, and leaves no file."""
    with refused(FieldError, field=field):
        write(tmp_path / name, [58], **options)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("field", "options"),
    [("timescale_ns", {"timescale_ns": 5}), ("end_ns", {"timescale_ns": 10, "end_ns": 65})],
)
def test_bounds_of_vcd(field, options, tmp_path):
    """The unit is a power of ten and the end a multiple of it; else no file is left."""
    with refused(FieldError, field=field):
        write_vcd(tmp_path / "a.vcd", [60], **options)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("edges", [[-1], [5, 4], [0, 15], [np.array([0, 10]), 0]])
def test_edges_that_are_none(edges, tmp_path):
    """Edges below 0, backwards or off the unit are refused, and leave no file."""
    with refused(FieldError, match=r"edges: multiples of 10 ns, from 0 up and non-decreasing"):
        write_vcd(tmp_path / "a.vcd", edges, timescale_ns=10)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "edges", [[1.5], ["58"], [np.array([0.5])], [1 << 63], [np.array([True])]], ids=str
)
def test_edges_that_are_no_whole_numbers(edges, tmp_path):
    """Nothing is rounded in silence."""
    with refused(FieldError, field="edges"):
        write_csv(tmp_path / "a.csv", edges)
    assert list(tmp_path.iterdir()) == []


def failing():
    yield from range(0, 58 * 3 * _BATCH, 58)
    raise KeyboardInterrupt


@pytest.mark.parametrize(("name", "write"), WRITERS)
def test_interrupted_writing_leaves_what_was(name, write, tmp_path):
    """Neither a partial file nor the loss of the one before."""
    path = tmp_path / name
    path.write_text("before")
    with pytest.raises(KeyboardInterrupt):
        write(path, failing())
    assert path.read_text() == "before"
    assert [entry.name for entry in tmp_path.iterdir()] == [name]


@pytest.mark.parametrize(("name", "write"), WRITERS)
def test_place_that_cannot_be_written(name, write, tmp_path):
    """A folder that is missing, or one in the file's place, is told; nothing is left behind."""
    with refused(RecordingError, Reason.FILE, r"cannot be written .No such file"):
        write(tmp_path / "none" / name, [58])
    (tmp_path / name).mkdir()
    with refused(RecordingError, Reason.FILE, r"cannot be written"):
        write(tmp_path / name, [58])
    assert [entry.name for entry in tmp_path.iterdir()] == [name]


@pytest.mark.skipif(os.name == "nt", reason="permissions of its own")
@pytest.mark.parametrize(("mask", "mode"), [(0o000, 0o666), (0o022, 0o644), (0o137, 0o640)])
def test_permissions_are_those_of_any_new_file(mask, mode, tmp_path):
    """A file written may be read and written by all whom the mask of the process leaves."""
    before = os.umask(mask)
    try:
        write_vcd(tmp_path / "a.vcd", [58])
    finally:
        os.umask(before)
    assert stat.S_IMODE(os.stat(tmp_path / "a.vcd").st_mode) == mode


def test_standard_input_of_a_process(tmp_path):
    """A pipe is as good as a file."""
    write_csv(tmp_path / "a.csv", [58_000, 116_000, 216_000])
    code = (
        "from dccwire.recordings import read\nprint([chunk.edges.tolist() for chunk in read('-')])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        input=(tmp_path / "a.csv").read_bytes(),
        capture_output=True,
        check=True,
    )
    assert done.stdout.decode().strip() == "[[58000, 116000, 216000]]"
