"""Whatever is in a file: a recording, or one clear error of ours."""

from __future__ import annotations

import gzip
import io
import random
import tempfile
from functools import cache
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from recording_helpers import track_edges

from dccwire.errors import DccwireError
from dccwire.recordings import read, write_csv, write_vcd


@cache
def seeds() -> dict[str, bytes]:
    """One good file of each kind; FST has a test of its own, since each costs two processes."""
    buffer = io.BytesIO()
    np.save(buffer, np.array(track_edges()))
    files = {"npy": buffer.getvalue(), "bin": bytes(range(256))}
    with tempfile.TemporaryDirectory() as folder:
        for kind, write in (("vcd", write_vcd), ("csv", write_csv)):
            path = Path(folder, kind)
            write(path, track_edges())
            files[kind] = path.read_bytes()
    files["gz"] = gzip.compress(files["vcd"])
    files["bus"] = (
        b"$timescale 1 ns $end\n$var wire 8 ! bus [7:0] $end\n$var real 64 r v $end\n"
        b"$enddefinitions $end\n#0\nb0 !\nr0.1 r\n#58\nb10101 !\n$dumpoff bx ! $end\n#99 b1 !\n"
    )
    return files


OPTIONS = st.fixed_dictionaries(
    {},
    optional={
        "signal": st.sampled_from(["track", "bus", "recording.track", "", "column 2"]),
        "rate": st.sampled_from([1e6, 0.0, float("nan"), 1e-300, 1e300, 44100.1]),
        "unit": st.sampled_from(["s", "ns", "fs"]),
        "bit": st.sampled_from([0, 7, "lsb", "msb", 9]),
        "resolution": st.sampled_from([1, 500, 0.5, 1e9]),
    },
)


@settings(max_examples=400)
@given(
    kind=st.sampled_from(["vcd", "csv", "npy", "gz", "bin", "bus"]),
    seed=st.integers(0, 2**32),
    changes=st.integers(0, 6),
    options=OPTIONS,
)
def test_any_file_gives_a_recording_or_our_error(kind, seed, changes, options):
    """Bytes changed, lost, doubled or added anywhere."""
    rng = random.Random(seed)
    data = bytearray(seeds()[kind])
    for _ in range(changes):
        # The head of a file is where the most can go wrong.
        at = rng.randrange(min(len(data), rng.choice([64, 400, len(data) or 1])) or 1)
        match rng.randrange(4):
            case 0:
                data[at : at + 1] = bytes([rng.randrange(256)])
            case 1:
                del data[at : at + rng.randrange(40)]
            case 2:
                data[at:at] = data[at : at + rng.randrange(300)]
            case _:
                data[at:at] = rng.choice([b"\0", b"\n", b"$end ", b"-", b"9" * 30, b"\xff", b" #1"])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "a." + kind)
        path.write_bytes(data)
        found = edges_or_error(path, options)
    assert isinstance(found, list) or ("\n" not in found and len(found) < 1000)


def edges_or_error(path, options):
    """The edges, checked for their order among themselves and with the gaps, or the message."""
    edges, last = [], 0
    try:
        recording = read(path, **options)
        for chunk in recording:
            assert chunk.edges.dtype == np.int64
            edges += chunk.edges.tolist()
            assert edges == sorted(edges)
            last = max([last, *edges[-1:]])
            if chunk.gap:
                assert last <= chunk.gap[0] < chunk.gap[1]
                last = chunk.gap[1]
        assert last <= (recording.end_ns or 0)
    except DccwireError as error:
        return str(error)
    return edges
