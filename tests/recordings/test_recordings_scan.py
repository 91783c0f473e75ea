"""The fast scan of VCD text against the plain one and against pywellen."""

from __future__ import annotations

import copy
import os
import random
import tempfile
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import pywellen
from hypothesis import given, settings
from hypothesis import strategies as st
from recording_helpers import edges_of, vcd_text

from dccwire.errors import RecordingError
from dccwire.recordings import read, vcd
from dccwire.recordings.opening import Opened
from dccwire.recordings.vcd import VcdSource, read_header
from dccwire.recordings.vcd_body import (
    MARGIN,
    State,
    in_order,
    scan,
    scan_records,
    scan_words,
    tokenise,
)


@pytest.mark.parametrize("layout", ["#{0}\n{1}!\n", "#{0} {1}! x%\n", "#{0}\r\nb{1} !\r\n"])
def test_plain_files_are_scanned(layout, save, monkeypatch):
    """But for the first piece and what follows the last line end, nothing is read word by word."""
    sizes = []
    plain = vcd.tokenise
    monkeypatch.setattr(vcd, "tokenise", lambda *a: (sizes.append(len(a[0])), plain(*a))[1])
    body = "".join(layout.format(58 * n, n % 2) for n in range(20_000))
    assert edges_of(read(save("a.vcd", vcd_text(body)), signal="track")) == [
        58 * n for n in range(1, 20_000)
    ]
    assert max(sizes) <= 1 << 14
    assert len(body) > 10 << 14


def state_at(time=1000, **others):
    return State("a.vcd", Fraction(1), b"!", 0, zero=0, time=time, **others)


def scanned(text, state):
    buffer = np.frombuffer(b" " * MARGIN + text, np.uint8)
    return scan_words(buffer, state) if state.is_plain else scan(buffer, state)


@pytest.mark.parametrize(
    "text",
    [
        b"$dumpoff\n",
        b"?!\n",
        b"1\n",
        b"#12x4\n",
        b"#1004 #\n",
        b"#999\n",
        b"#1005 #1004\n",
        b"#9999999999999999999\n",
        b"b0 b1 !\n",
        b"b0\n",
        b"b !\n",
        b"b02 !\n",
    ],
)
def test_what_is_left_to_the_plain_reader(text):
    """Whatever is not plain, or is wrong, is left alone, and so is the state."""
    state = state_at()
    assert scanned(b"#1001 1!\n" + text if b"b" in text else text, state) is None
    assert state == state_at()


def test_text_without_a_time():
    """Values go on at the latest time."""
    block = scanned(b"1!\n1%\n0!\n", state_at())
    assert (block.times.tolist(), block.levels.tolist()) == ([1000, 1000], [1, 0])


@pytest.mark.parametrize(
    "state",
    [
        State("a.vcd", Fraction(1), b"!", 0),
        state_at(word=b"b0"),
        state_at(skipping=True),
        State("a.vcd", Fraction(10**18), b"!", 0, zero=0, time=0),
    ],
    ids=["no time", "a vector without its identifier", "a comment", "an end of time that is near"],
)
def test_where_the_plain_reader_goes_on(state):
    """In a state that is not plain, plain text too is left alone, and so is the state."""
    before = copy.copy(state)
    assert scanned(b"#1001 1!\n", state) is None
    assert not in_order(np.array([1001]), State("a.vcd", Fraction(1), b"!", 0))
    assert state == before


PLAIN_WORDS = ["0!", "1!", "x!", '1"', "0!!", "b0 !", "b110 !", 'bx "', "bz !", "bx0 !", "r1 !"]
ODD_WORDS = ["$dumpvars", "$end", "$comment", "#", "#1x", "?", "1", "s0 b", "b", "b0", "#7", '"']


@st.composite
def texts(draw):
    """Times in order, plain words, and sometimes an odd one, with any blanks between."""
    rng = random.Random(draw(st.integers(0, 2**32)))
    start = draw(st.sampled_from([0, 99_990, 10**8 - 50, 10**17, 10**18 - 9, 2**63 - 99]))
    words, time = [], start
    for _ in range(draw(st.integers(5, 60))):
        time += rng.choice([0, 1, 9, 58, 1000, 10**6])
        words.append(f"#{time}")
        words += rng.choices(PLAIN_WORDS, k=rng.choice([0, 1, 1, 2]))
    for _ in range(draw(st.sampled_from([0, 0, 0, 1, 3]))):
        words.insert(rng.randrange(len(words) + 1), rng.choice([*ODD_WORDS, f"#{time}"]))
    text = "".join(word + rng.choice(["\n", " ", "\r\n", "\n\n\t"]) for word in words)
    return start, text if draw(st.booleans()) else text.rstrip()


TICKS = st.sampled_from([Fraction(1), Fraction(1, 1000), Fraction(30), Fraction(10**9)])


@settings(max_examples=300)
@given(written=texts(), tick=TICKS, position=st.integers(0, 2))
def test_scan_is_plain(written, tick, position):
    """One piece of text: the same times, levels and state, or it is left to the plain reader."""
    first, text = written
    state = State("a.vcd", tick, b"!", position, line=3, zero=first, time=first)
    other = copy.copy(state)
    found = scanned(text.encode() + b"\n", state)
    if found is None:
        assert state == other
        return
    true = tokenise(text.encode() + b"\n", other)
    assert found.times.tolist() == true.times.tolist()
    assert found.levels.tolist() == true.levels.tolist()
    assert found.mark == true.mark
    assert state == other


RECORDS = st.sampled_from(["#{0}\n{1}!\n", "#{0} {1}!\r\n", "#{0}\t\n {1}!\n\n", "#{0}\n{1}!0\n"])


@settings(max_examples=300)
@given(
    record=RECORDS,
    count=st.integers(1, 40),
    digits=st.integers(1, 17),
    tick=TICKS,
    change=st.none() | st.tuples(st.integers(0, 500), st.sampled_from(b"0129 #x-!\n\0b$")),
    position=st.sampled_from([0, 0, 0, 1]),
)
def test_records_are_plain(*, record, count, digits, tick, change, position):
    """Records of one length, perhaps with a wrong character: the same, or left alone."""
    times = [10**digits // 2 + n * (10**digits // 100) for n in range(count)]
    text = bytearray("".join(record.format(t, "10x"[n % 3]) for n, t in enumerate(times)).encode())
    if change is not None:
        text[change[0] % len(text)] = change[1]
    data = bytes(text)
    state = State("a.vcd", tick, b"!", position, zero=0, time=0)
    other = copy.copy(state)
    buffer = np.frombuffer(b" " * MARGIN + data, np.uint8)
    if data[-1] > 32:
        return
    found = scan_records(buffer, state)
    if found is None:
        assert state == other
        return
    true = tokenise(data, other)
    assert found.times.tolist() == true.times.tolist()
    assert found.levels.tolist() == true.levels.tolist()
    assert state == other


def records(text, state):
    return scan_records(np.frombuffer(b" " * MARGIN + text, np.uint8), state)


def test_records_of_one_length_are_read():
    """Records of one length give times, levels, the last mark and the line reached."""
    state = state_at()
    block = records(b"#1005\n1!\n#1006\nx!\n#9999\n0!\n", state)
    assert block.times.tolist() == [1005, 1006, 9999]
    assert block.levels.tolist() == [1, 2, 0]
    assert (block.mark, state.time, state.line) == (9999, 9999, 7)


@pytest.mark.parametrize(
    "text",
    [
        b"1!\n#1005\n1!\n",
        b"#1005\n1%\n#1006\n0%\n",
        b"#1005\n1!\n#10006\n0!\n",
        b"#1005\n1!\n#1006\n0%\n",
        b"#1005\n1!\n#1o06\n0!\n",
        b"#1005\n1!\n#1006\nb!\n",
        b"#1005\n1!\n#1004\n0!\n",
        b"#0999\n1!\n",
        b"#1005",
    ],
)
def test_other_records_are_left_alone(text):
    """A wrong beginning, wire, length, character, digit, level or order; an end within a record."""
    state = state_at()
    assert records(text, state) is None
    assert state == state_at()


def outcome(source):
    """All blocks put together, or the error."""
    try:
        blocks = list(source.blocks())
    except RecordingError as error:
        return str(error)
    times = np.concatenate([block.times for block in blocks]).tolist()
    levels = np.concatenate([block.levels for block in blocks]).tolist()
    return times, levels, blocks[-1].mark, source.notes


@settings(max_examples=150)
@given(written=texts(), tick=TICKS, piece=st.sampled_from([64, 65, 100, 333]))
def test_pieces_of_any_size(written, tick, piece):
    """Where the text is cut changes nothing, with the scan or without."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "a.vcd")
        path.write_text(vcd_text(written[1]), newline="")
        opened = Opened(path)
        header = read_header(opened)
        source = VcdSource(opened, header, tick, b"!")
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(vcd, "_PIECE", piece)
            pieces = outcome(source)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(vcd, "scan", lambda *_: None)
            assert outcome(source) == pieces


@settings(max_examples=40)
@given(
    steps=st.lists(st.tuples(st.integers(1, 10**6), st.integers(0, 7)), min_size=1, max_size=200),
    layout=st.sampled_from(["#{0}\n{1}\n", "#{0} {1}\n", "#{0}\r\n{1}\r\n", " #{0}\n {1}\n"]),
    start=st.integers(0, 10**12),
)
def test_same_as_another_reader(steps, layout, start):
    """Files in good order give the changes that pywellen finds."""
    body, time = "", start
    for number, (step, kind) in enumerate([(0, 0), *steps]):
        values = [f"{kind & 1}!", f'{kind >> 1 & 1}"', f"b{kind:03b} &", "x!" if kind == 7 else ""]
        time += step
        body += layout.format(time, " ".join(values[: 1 + number % 4]))
    more = '$var wire 1 " other $end\n$var wire 3 & bus [2:0] $end\n'
    descriptor, name = tempfile.mkstemp(suffix=".vcd")
    try:
        with os.fdopen(descriptor, "w", newline="") as file:
            file.write(vcd_text(body, more=more))
        opened = Opened(name)
        header = read_header(opened)
        variables = {v.name: v for v in pywellen.Waveform(name, multi_threaded=False).all_vars()}
        for signal, code, position in (("track", b"!", 0), ("other", b'"', 0), ("bus", b"&", 1)):
            source = VcdSource(opened, header, Fraction(1), code, position)
            with pytest.MonkeyPatch.context() as patch:
                patch.setattr(vcd, "_PIECE", 256)
                times, levels, *_ = outcome(source)
            ours = {}
            for moment, level in zip(times, levels, strict=True):
                ours[moment + start] = level
            theirs = {
                moment: 2 if isinstance(value, str) else value >> position & 1
                for moment, value in variables[signal].signal
            }
            assert squeezed(ours) == squeezed(theirs)
    finally:
        os.unlink(name)


def squeezed(changes):
    """The last level of each time, without repeats."""
    kept = []
    for moment, level in sorted(changes.items()):
        if not kept or kept[-1][1] != level:
            kept.append((moment, level))
    return kept
