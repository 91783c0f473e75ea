"""From path to stream: standard input, gzip, and files that cannot be read."""

from __future__ import annotations

import gc
import gzip
import importlib
import io
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from recording_helpers import edges_of

import dccwire.recordings
from dccwire.errors import FieldError, MissingPartError, Reason, RecordingError
from dccwire.recordings import opening, read, recording, write_vcd
from dccwire.recordings.reading import kind_of
from refusals import refused

CSV = "time_us,track\n0,0\n58,1\n116,0\n"


@pytest.fixture
def spool(tmp_path, monkeypatch):
    """A folder for temporary files, empty so far."""
    folder = tmp_path / "spool"
    folder.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    return folder


def test_standard_input(spool, monkeypatch):
    """It can be read again and again, and its copy goes with the recording."""
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(CSV.encode())))
    found = read("-", signal="track")
    assert found.path == "-"
    assert edges_of(found) == edges_of(found) == [58_000, 116_000]
    assert len(list(spool.iterdir())) == 1
    del found
    gc.collect()
    assert list(spool.iterdir()) == []


def test_standard_input_that_is_closed(monkeypatch):
    """Python then has none at all."""
    monkeypatch.setattr(sys, "stdin", None)
    with refused(RecordingError, Reason.FILE, r"standard input: is closed; give a file"):
        read("-")


@pytest.mark.parametrize(("more", "fits"), [(-1, True), (0, True), (1, False)])
def test_standard_input_has_a_bound(more, fits, spool, monkeypatch):
    """What is copied must not fill the disk; beyond the bound nothing is left of the copy."""
    monkeypatch.setattr(opening, "MOST_SPOOLED", 1 << 21)
    rows = "".join(f"{n * 58 + 200:08d},{n % 2}\n" for n in range(200_000)).encode()
    data = (CSV.encode() + rows)[: (1 << 21) + more - 10] + b"\n" * 10
    assert len(data) == (1 << 21) + more
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(data)))
    if fits:
        assert read("-", signal="track", unit="us").path == "-"
        return
    told = r"more than 0 GiB.*; save it and give the file"
    with refused(RecordingError, Reason.FILE, told) as kept:
        read("-")
    assert list(spool.iterdir()) == [], kept


@pytest.mark.parametrize(
    "name",
    [
        "SIGTERM",
        pytest.param("SIGHUP", marks=pytest.mark.skipif(os.name == "nt", reason="no such")),
    ],
)
def test_a_signal_leaves_no_copy(name, spool):
    """The command ends by it, with the status that shells give, and tidies up."""
    code = f"import tempfile; tempfile.tempdir = {str(spool)!r}\n"
    code += f"import signal; signal.signal(signal.{name}, signal.SIG_DFL)  # not as under nohup\n"
    code += "import sys; from dccwire.cli import main; sys.exit(main(['packets', '-']))"
    with subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE) as child:
        assert child.stdin is not None
        child.stdin.write(bytes(3 << 20))
        while not list(spool.iterdir()) and child.poll() is None:
            time.sleep(0.01)
        child.send_signal(getattr(signal, name))
        assert child.wait(30) == 128 + getattr(signal, name)
    assert list(spool.iterdir()) == []


def test_gzip_that_unpacks_to_nothing_but_blanks(save):
    """A few kilobytes of gzip may be gigabytes of blanks: not for a recording, which varies."""
    blanks = gzip.compress(CSV.encode() + b"\n" * (70 << 20))
    with refused(RecordingError, Reason.FORMAT, r"more than 200 times its size.*unpack it first"):
        edges_of(read(save("a.csv", blanks), signal="track"))
    array = io.BytesIO()
    np.save(array, np.zeros(9 << 20, np.int64))
    with refused(RecordingError, Reason.FORMAT, "more than 200 times its size"):
        read(save("a.npy", gzip.compress(array.getvalue())))
    silence = gzip.compress(bytes(70 << 20) + b"\1")
    assert len(edges_of(read(save("a.bin", silence), rate=1e6, bit=0))) == 1


@pytest.mark.parametrize(("times", "fits"), [(199, True), (200, True), (201, False)])
def test_gzip_is_bounded_beyond_some_megabytes_alone(times, fits, save, monkeypatch):
    """The bound is on what is unpacked, against what was read of the packed bytes."""
    monkeypatch.setattr(opening, "_LEAST_UNPACKED", 0)
    size = 100
    stream = opening.Opened(save("a.gz", gzip.compress(b""))).stream()
    monkeypatch.setattr(stream, "_raw", SimpleNamespace(tell=lambda: size, close=stream._raw.close))
    monkeypatch.setattr(stream, "_plain", io.BytesIO(bytes(times * size)))
    with stream:
        if fits:
            assert len(stream.read(times * size)) == times * size
        else:
            with refused(RecordingError, Reason.FORMAT, "more than 200 times"):
                stream.read(times * size)


def test_messages_are_cut(tmp_path):
    """Half a megabyte of path is no message."""
    with refused(RecordingError, Reason.FILE) as caught:
        read(tmp_path / ("x" * 500_000))
    assert len(str(caught.value)) < 1_000


def test_named_pipe(tmp_path, spool):
    """What a shell offers as a path may be a pipe that can be read only once."""
    path = tmp_path / "pipe"
    os.mkfifo(path)
    writer = threading.Thread(target=path.write_text, args=(CSV,))
    writer.start()
    found = read(path, signal="track")
    writer.join()
    assert edges_of(found) == edges_of(found) == [58_000, 116_000]
    assert len(list(spool.iterdir())) == 1


def test_standard_input_with_an_error(spool, monkeypatch):
    """The copy is removed at once."""
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(b"")))
    with refused(RecordingError, Reason.FILE, r"standard input: is empty"):
        read("-")
    assert list(spool.iterdir()) == []


def test_copy_that_is_gone_already(spool, monkeypatch):
    """Someone else may have tidied up."""
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(CSV.encode())))
    found = read("-", signal="track")
    next(spool.iterdir()).unlink()
    del found
    gc.collect()
    assert list(spool.iterdir()) == []


@pytest.mark.parametrize("name", ["a.csv", "a.vcd", "a.npy", "a.bin", "a.fst"])
def test_gzip_of_any(name, save, spool, track):
    """Packed or not makes no difference, whatever the name."""
    options = {"signal": "track"}
    if name == "a.csv":
        data = CSV.encode()
    elif name == "a.vcd":
        path = save(name, "")
        write_vcd(path, track)
        data = path.read_bytes()
    elif name == "a.npy":
        buffer = io.BytesIO()
        np.save(buffer, np.array(track))
        data = buffer.getvalue()
    elif name == "a.fst":
        data = (Path(__file__).parent / "data" / "track.fst").read_bytes()
    else:
        data, options = bytes(range(256)), {"rate": 1e6, "bit": 5}
    plain = read(save("plain", data), **options)
    for packed_name in (name, name + ".gz", "b"):
        packed = read(save(packed_name, gzip.compress(data)), **options)
        assert edges_of(packed) == edges_of(plain)
        assert edges_of(packed) == edges_of(plain)
        assert (packed.format, packed.end_ns) == (plain.format, plain.end_ns)
        del packed
    gc.collect()
    assert list(spool.iterdir()) == []


def test_cut_off_gzip(save):
    """The edges before the cut, then one clear error."""
    rows = "time_us,track\n" + "".join(f"{n * 58 + n % 3},{n % 2}\n" for n in range(300_000))
    packed = gzip.compress(rows.encode())
    found = read(save("a.csv.gz", packed[: len(packed) - 20]), signal="track")
    seen = []
    with refused(RecordingError, Reason.FORMAT, r"the gzip data is cut off"):
        seen.extend(chunk.edges.size for chunk in found)
    assert sum(seen) > 100_000
    with refused(RecordingError, Reason.FORMAT, r"the gzip data is cut off"):
        read(save("b.csv.gz", packed[:5]))


def test_damaged_gzip(save):
    """A wrong checksum and rubbish after a gzip header are refused as gzip data."""
    packed = bytearray(gzip.compress(CSV.encode()))
    packed[-5] ^= 1
    with refused(RecordingError, Reason.FORMAT, r"the gzip data is damaged"):
        read(save("a.csv", bytes(packed)), signal="track")
    with refused(RecordingError, Reason.FORMAT, r"the gzip data is"):
        read(save("b.csv", b"\x1f\x8b\x08" + b"\xff" * 100))


def test_files_that_cannot_be_opened(tmp_path, monkeypatch):
    """No such file, a folder, no permission, an impossible name."""
    cases = [
        (tmp_path / "none.vcd", "none.vcd: no such file; check the path"),
        (tmp_path, "is a directory; name a file inside it"),
        ("a\0b", "cannot be opened or read .*embedded null"),
    ]
    for path, message in cases:
        with refused(RecordingError, Reason.FILE, message):
            read(path)

    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    (tmp_path / "a.vcd").touch()
    monkeypatch.setattr("builtins.open", refuse)
    with refused(RecordingError, Reason.FILE, r"may not be read; check its permissions"):
        read(tmp_path / "a.vcd")


def test_device_error(tmp_path, monkeypatch):
    """What the system says is passed on in one line."""

    def fail(*_):
        raise OSError(5, "Input/output error")

    (tmp_path / "a.vcd").touch()
    monkeypatch.setattr("builtins.open", fail)
    with refused(RecordingError, Reason.FILE, r"cannot be opened or read \(Input/output error\)"):
        read(tmp_path / "a.vcd")


def test_empty_file(save):
    """A file of no bytes is refused as empty, packed or not."""
    for name, data in (("a.vcd", b""), ("a.vcd.gz", gzip.compress(b""))):
        with refused(RecordingError, Reason.FILE, r"is empty"):
            read(save(name, data))


RUBBISH = bytes(range(256)) * 10


@pytest.mark.parametrize(
    ("name", "data", "options", "message"),
    [
        ("a.vcd", RUBBISH, {}, r"is not VCD \(it does not begin with a \$keyword\)"),
        ("a.vcd.gz", gzip.compress(RUBBISH), {}, "is not VCD"),
        ("a.vcd", b"0,0\n1,1\n", {}, "is not VCD"),
        ("a.fst", RUBBISH, {}, "is not FST"),
        ("a.npy", RUBBISH, {"rate": 1e6}, "is not a NumPy file"),
        ("a.CSV", RUBBISH, {}, "is not text of numbers"),
        ("a", RUBBISH, {}, "is not VCD, FST, NumPy or text of numbers; if it holds raw samples"),
        ("a.csv", "a,b\n".encode("utf-16"), {}, "the text is UTF-16; save it as UTF-8"),
    ],
)
def test_formats_that_are_none(name, data, options, message, save):
    """Content that is not what the name says is refused, with the format expected."""
    with refused(RecordingError, Reason.FORMAT, message):
        read(save(name, data), **options)


def test_content_comes_before_the_name(save):
    """A name and options only count where the content cannot tell."""
    assert read(save("a.fst", CSV), signal="track").format == "CSV of transitions"
    assert read(save("a.vcd", RUBBISH), rate=1e6, bit=0).format == "raw samples"
    assert kind_of(b"\n \xef\xbb") == "unknown"


def test_options_out_of_bounds(save):
    """A unit that is none and a resolution that is not positive and finite are refused."""
    path = save("a.csv", CSV)
    with refused(FieldError, match=r"unit: s, ms, us, ns, ps or fs expected, 'min'"):
        read(path, unit="min")
    for resolution in (0, -1, float("nan"), float("inf")):
        with refused(FieldError, match=r"resolution: a positive number of ns expected"):
            read(path, signal="track", resolution=resolution)


def test_fraction_goes_from_0_to_1(tmp_path):
    """For a progress bar: it never falls within an iteration, and starts again with the next."""
    path = tmp_path / "a.vcd"
    write_vcd(path, [np.arange(1, 500_000) * 58_000])
    found = read(path)
    for _ in range(2):
        fractions = [found.fraction for _ in found]
        assert fractions == sorted(fractions)
        assert 0 < fractions[0] < 0.1
        assert found.fraction == 1.0
    assert (
        repr(found) == f"<Recording {str(path)!r}, VCD, signal 'recording.track', resolution 1 ns>"
    )


def test_memory_stays_flat(tmp_path):
    """Chunks are no larger than said."""
    path = tmp_path / "a.vcd"
    write_vcd(path, [np.arange(1, 300_000) * 58_000])
    found = read(path)
    assert max(chunk.edges.size for chunk in found) <= recording.EDGES_A_CHUNK
    assert all(chunk.edges.dtype == np.int64 for chunk in found)


def test_long_silence_before_the_first_edge(save):
    """Looking ahead is bounded; the first level is then known after an iteration."""
    data = bytes(20 << 20) + b"\1\0"
    found = read(save("a.bin", data), rate=1e6, bit=0)
    assert found.first_level is None
    assert edges_of(found) == [(20 << 20) * 1000, ((20 << 20) + 1) * 1000]
    assert found.first_level == 1


def test_without_numpy():
    """What to install is told, in one line."""
    code = (
        "import sys, importlib.util as u; find = u.find_spec\n"
        "u.find_spec = lambda name, *a: None if name == 'numpy' else find(name, *a)\n"
        "from dccwire.errors import MissingPartError\n"
        "try:\n    import dccwire.recordings\nexcept MissingPartError as error:\n    print(error)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    told = "pip install 'dccwire[capture]', in a clone '.[capture]', brings it"
    assert done.stdout == f"numpy is not installed; {told}\n"


def test_without_numpy_here(monkeypatch):
    """The error is raised before anything else is loaded."""
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with refused(MissingPartError, match=r"numpy is not installed"):
        importlib.reload(dccwire.recordings)


def test_path_like_and_str_are_alike(save):
    """A path object and its text read the same edges."""
    path = save("a.csv", CSV)
    assert edges_of(read(path, signal="track")) == edges_of(read(os.fspath(path), signal="track"))
