"""The command packets on many files, and on a stream that is still written."""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from dccwire.errors import RecordingError
from dccwire.recordings import follow, live, read, write_csv, write_vcd
from dccwire.synthesis import Sending, synthesize

RECORDINGS = Path(__file__).parent.parent / "vectors" / "recordings"
MORNING, STORM = RECORDINGS / "harbour-morning.vcd", RECORDINGS / "harbour-storm.vcd"
PACKETS = ["37 74 43", "FF 00 FF", "03 90 93", "FF 00 FF"]


def edges(count: int = 12) -> list[int]:
    """Edges of so many packets in turn."""
    sent = [Sending(bytes.fromhex(PACKETS[place % 4])) for place in range(count)]
    return list(synthesize(sent, start_ns=1_000_000))


def content(kind: str, tmp_path: Path, times: list[int]) -> tuple[bytes, list[str]]:
    """A recording of a format as bytes, and the options that it needs."""
    path = tmp_path / f"a.{kind}"
    if kind == "raw":
        levels = np.zeros(times[-1] // 1000 + 100, np.uint8)
        for time in times:
            levels[time // 1000 :] ^= 1
        return levels.tobytes(), ["--rate", "1e6", "--bit", "0"]
    (write_vcd if kind == "vcd" else write_csv)(path, times)
    return path.read_bytes(), []


@pytest.fixture
def following(tmp_path: Path) -> Iterator[SimpleNamespace]:
    """The command in a process of its own, fed by hand; temporary files go to `tmp_path`."""
    process: subprocess.Popen[bytes] | None = None

    def start(*options: str) -> subprocess.Popen[bytes]:
        nonlocal process
        # Where the tests run in the background Ctrl-C is ignored, and the command would inherit it.
        before = signal.signal(signal.SIGINT, signal.default_int_handler)
        process = subprocess.Popen(
            [sys.executable, "-m", "dccwire", "packets", "-", "--json", *options],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=os.environ | {"TMPDIR": str(tmp_path)},
            bufsize=0,
        )
        signal.signal(signal.SIGINT, before)
        return process

    yield SimpleNamespace(start=start)
    if process is not None:
        process.kill()
        for pipe in (process.stdin, process.stdout, process.stderr):
            assert pipe is not None
            pipe.close()
        process.wait()


@pytest.mark.parametrize("kind", ["vcd", "csv", "raw"])
def test_each_packet_is_shown_as_it_ends(following, tmp_path: Path, kind: str) -> None:
    """While the writer waits: with the second edge behind its end bit, and its time."""
    times = edges(6)
    whole, options = content(kind, tmp_path, times)
    process = following.start(*options)
    assert process.stdin is not None
    assert process.stdout is not None
    written = 0
    for number in range(5):
        # The preamble of the next packet has begun: nothing of it is needed but three edges.
        behind = len(edges(number + 1)) + 3
        upto = len(content(kind, tmp_path, times[:behind])[0])
        process.stdin.write(whole[written:upto])
        written = upto
        told = json.loads(process.stdout.readline())
        while told["event"] != "packet":
            told = json.loads(process.stdout.readline())
        assert told["bytes"] == PACKETS[number % 4]
    process.stdin.write(whole[written:])
    out, err = process.communicate()
    assert process.returncode == 0
    assert json.loads(out.splitlines()[0])["bytes"] == PACKETS[1]
    assert (b"resolution" in err) is True
    assert [*tmp_path.glob("dccwire-*")] == []


def test_ctrl_c_ends_with_what_was_seen(following, tmp_path: Path) -> None:
    """One line, no traceback, and status 130."""
    process = following.start()
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(content("vcd", tmp_path, edges(3))[0])
    assert json.loads(process.stdout.readline())["event"] in ("packet", "stray")
    process.stdout.readline()
    process.send_signal(signal.SIGINT)
    process.wait(timeout=20)  # of itself: that its input ends is another thing
    _, err = process.communicate()
    assert process.returncode == 130
    assert err.splitlines()[-1] == b"dccwire: interrupted"
    assert b"Traceback" not in err
    assert [*tmp_path.glob("dccwire-*")] == []


@pytest.mark.parametrize("behind", [0.01, 0.5])
def test_ctrl_c_while_it_waits(run, monkeypatch, behind: float) -> None:
    """Before the head holds a packet, and behind: what was seen is told, and what was taken."""
    whole = MORNING.read_bytes()
    portions = stdin_of(monkeypatch, whole[: int(len(whole) * behind)], 500)
    given = portions.read1

    def read1(most: int) -> bytes:
        if portions.at == len(portions.whole):
            raise KeyboardInterrupt
        return given(most)

    monkeypatch.setattr(portions, "read1", read1)
    status, out, err = run("packets", "-", "--json")
    assert (status, err.splitlines()[-1]) == (130, "dccwire: interrupted")
    assert bool(out) is (behind > 0.1)
    expected = run("packets", str(MORNING), "--json")[1].splitlines()
    assert out.splitlines() == expected[: len(out.splitlines())]


def test_levels_in_volts_are_followed(run, monkeypatch, tmp_path: Path) -> None:
    """By the thresholds that the head tells."""
    levels = np.frombuffer(content("raw", tmp_path, edges())[0], np.uint8)
    rows = [
        f"{at / 1e6:.6f},{3.3 * level + 0.01 * (at % 7):.2f}" for at, level in enumerate(levels)
    ]
    whole = ("Time [s],track\n" + "\n".join(rows) + "\n").encode()
    path = tmp_path / "b.csv"
    path.write_bytes(whole)
    stdin_of(monkeypatch, whole, 2000)
    status, out, err = run("packets", "-")
    assert (status, out) == run("packets", str(path))[:2]
    assert err.count("levels taken from volts") == 1


def test_who_reads_no_further_ends_it_quietly(following, tmp_path: Path) -> None:
    """As `head` does."""
    process = following.start()
    assert process.stdin is not None
    assert process.stdout is not None
    whole = content("vcd", tmp_path, edges(40))[0]
    process.stdin.write(whole[: len(whole) // 2])
    process.stdout.readline()
    process.stdout.close()
    process.stdin.write(whole[len(whole) // 2 :])
    process.stdin.close()
    assert process.stderr is not None
    assert b"Traceback" not in process.stderr.read()
    assert process.wait() == 0


class Portions(io.RawIOBase):
    """Standard input that gives so many bytes at a time."""

    def __init__(self, whole: bytes, size: int) -> None:
        self.whole, self.size, self.at = whole, size, 0

    def read1(self, most: int) -> bytes:
        """The next bytes."""
        start, self.at = self.at, min(len(self.whole), self.at + min(most, self.size))
        return self.whole[start : self.at]


def stdin_of(monkeypatch: pytest.MonkeyPatch, whole: bytes, size: int) -> Portions:
    """Let standard input be these bytes, in portions."""
    portions = Portions(whole, size)
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=portions))
    return portions


@pytest.mark.parametrize("size", [1, 7, 64, 1000, 70_000])
@pytest.mark.parametrize("path", [MORNING, STORM], ids=lambda path: path.stem)
def test_a_stream_tells_what_the_file_tells(run, monkeypatch, path: Path, size: int) -> None:
    """Whatever portions it comes in."""
    stdin_of(monkeypatch, path.read_bytes()[: 9_000 if size < 64 else None], size)
    cut = read(path) if size >= 64 else None
    status, out, err = run("packets", "-", "--json")
    assert status == 0
    expected = run("packets", str(path), "--json")[1]
    if cut is not None:
        assert out == expected
    else:
        lines = out.splitlines()
        assert lines[:-1] == expected.splitlines()[: len(lines) - 1]
        assert len(lines) > 3
    assert "resolution" in err


@pytest.mark.parametrize("kind", ["vcd", "csv", "raw"])
@pytest.mark.parametrize("size", [50, 500, 70_000])
def test_each_format_is_followed(run, monkeypatch, tmp_path: Path, kind: str, size: int) -> None:
    """With the times and the packets of the file."""
    whole, options = content(kind, tmp_path, edges())
    path = tmp_path / "b"
    path.write_bytes(whole)
    stdin_of(monkeypatch, whole, size)
    status, out, _ = run("packets", "-", "--json", *options)
    assert (status, out) == run("packets", str(path), "--json", *options)[:2]


def test_what_was_taken_is_told_at_once_and_once(run, monkeypatch) -> None:
    """The signal, and the resolution with where it comes from."""
    stdin_of(monkeypatch, MORNING.read_bytes(), 500)
    err = run("packets", "-")[2]
    assert err.count("resolution 100 ns taken (greatest common divisor of the edge times)") == 1
    assert "from the head alone; --resolution says it better" in err
    stdin_of(monkeypatch, MORNING.read_bytes(), 500)
    err = run("packets", "-", "--resolution", "2000")[2]
    assert "dccwire: resolution 2000 ns taken (option)\n" in err


def test_what_is_read_as_a_whole_says_so(run, monkeypatch, tmp_path: Path) -> None:
    """Edge times in a NumPy file, and what is packed."""
    path = tmp_path / "a.npy"
    np.save(path, np.array(edges()))
    stdin_of(monkeypatch, path.read_bytes(), 500)
    status, out, err = run("packets", "-")
    assert (status, out) == run("packets", str(path))[:2]
    assert "dccwire: standard input: NumPy is read as a whole, when it has ended\n" in err
    stdin_of(monkeypatch, path.read_bytes(), 500)
    monkeypatch.setattr(live, "MOST_SPOOLED", 600)
    assert "more than 0 GiB" in run("packets", "-")[2]


@pytest.mark.parametrize(
    ("whole", "told"),
    [
        (b"", "is empty"),
        (b"\xff\xfea\0\n\0" * 90, "the text is UTF-16"),
        (b"a,b\nc,d\n" * 50, "standard input"),
        (b"$timescale 1 ns $end\n", "the VCD header has no end"),
    ],
)
def test_a_stream_that_is_none(run, monkeypatch, whole: bytes, told: str) -> None:
    """One line, when it has ended."""
    stdin_of(monkeypatch, whole, 5)
    status, out, err = run("packets", "-")
    assert (status, out) == (2, "")
    assert told in err.splitlines()[-1]


def test_what_cannot_be_read_is_not_waited_for_without_end(monkeypatch) -> None:
    """Behind the bytes that a head may have, it is refused."""
    monkeypatch.setattr(live, "_MOST_HEAD", 1 << 17)
    portions = stdin_of(monkeypatch, b"no recording 1\n" * 60_000, 1 << 15)
    with pytest.raises(RecordingError):
        follow()
    assert 1 << 17 < portions.at <= 1 << 19
    monkeypatch.setattr(sys, "stdin", None)
    with pytest.raises(RecordingError, match="is closed"):
        follow()


def test_a_signal_without_packets_is_followed_all_the_same(monkeypatch) -> None:
    """Behind so many bytes as tell the format of a file."""
    rows = "".join(f"{time},{time // 500 % 2}\n" for time in range(0, 10_000_000, 500))
    portions = stdin_of(monkeypatch, b"Time [us],track\n" + rows.encode(), 1 << 14)
    chunks = iter(follow(signal="track", unit="us"))
    assert len(next(chunks).edges) > 1000
    assert portions.at < 1 << 17


def test_many_files_are_named(run, tmp_path: Path) -> None:
    """In text above what each holds, in JSON in each line; times are each file's own."""
    write_csv(tmp_path / "a.csv", edges())
    one, two = str(MORNING), str(tmp_path / "a.csv")
    status, out, _ = run("packets", one, two)
    alone = [run("packets", each)[1] for each in (one, two)]
    assert (status, out) == (0, f"{one}:\n{alone[0]}{two}:\n{alone[1]}")
    lines = [json.loads(line) for line in run("packets", one, two, "--json")[1].splitlines()]
    assert list(dict.fromkeys(line["file"] for line in lines)) == [one, two]
    alone = [run("packets", each, "--json")[1] for each in (one, two)]
    expected = [json.loads(line) for each in alone for line in each.splitlines()]
    assert [{key: line[key] for key in line if key != "file"} for line in lines] == expected


def test_what_changes_is_asked_of_each_file_alone(run) -> None:
    """The first packet of the second file is no repetition of one in the first."""
    once = run("packets", str(MORNING), "--changes", "--json")[1].splitlines()
    twice = run("packets", str(MORNING), str(MORNING), "--changes", "--json")[1].splitlines()
    assert len(twice) == 2 * len(once)


def test_a_file_without_a_packet_among_many(run, tmp_path: Path) -> None:
    """It is named, and the status is 1; one that is missing keeps all from being read."""
    path = tmp_path / "a.csv"
    path.write_text("Time [us],track\n" + "".join(f"{58 * at},{at % 2}\n" for at in range(50)))
    status, out, err = run("packets", str(path), str(MORNING), "--signal", "track")
    if status == 2:  # each file has signals of its own
        status, out, err = run("packets", str(path), str(MORNING))
    assert status == 1
    assert f"{path}: no packet" in err
    assert "idle: Idle" in out
    status, out, err = run("packets", str(MORNING), str(tmp_path / "b.vcd"))
    assert (status, out) == (2, "")
    assert "b.vcd: no such file" in err


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--from", "2", "--until", "1"], "until: 2 s or more, as --from has it expected, 1.0"),
        (["--to", "locomotive 3"], "locomotive 3"),
        (["-", "-"], "file: - once expected"),
    ],
)
def test_what_cannot_be_chosen(run, options: list[str], told: str) -> None:
    """One line, before anything is read."""
    status, out, err = run("packets", str(MORNING), *options)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert told in err
