"""FST files.

`data/track.fst` was written with libfst (through the package pylibfst 0.2.1): unit 1 ns, times from
1000 on; `track` and its second name `same` hold the edges of the fixture `track`, then x from
100 to 150 us after the last one; `bus` is 0101 from the eleventh edge, 1x10 from the 21st, 0000
from the 31st; `quiet` never changes, and `volts` is a real number.
"""

from __future__ import annotations

import io
import json
import sys
from array import array
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from recording_helpers import edges_of

from dccwire.errors import DccwireError, FieldError, MissingPartError, Reason, RecordingError
from dccwire.recordings import Recording, fst, read
from dccwire.recordings.fst_child import main, send_changes
from refusals import refused

TRACK = Path(__file__).parent / "data" / "track.fst"


def test_the_track_signal_is_found(track):
    """The track signal of a file is chosen and read, its undefined stretch as a gap."""
    recording = read(TRACK)
    assert edges_of(recording) == track
    assert edges_of(recording) == track, "a second iteration gives the same"
    assert recording.notes == (
        "signal 'top.track' taken: the only one of 2 that looks like a track signal",
    )
    assert (recording.format, recording.signal) == ("FST", "top.track")
    assert recording.first_level == 1
    assert recording.end_ns == track[-1] + 200_000
    assert [chunk.gap for chunk in recording if chunk.gap] == [
        (track[-1] + 100_000, track[-1] + 150_000)
    ]


def test_by_name(track):
    """A second name is the same signal."""
    assert edges_of(read(TRACK, signal="same")) == track
    assert edges_of(read(TRACK, signal="quiet")) == []
    with refused(RecordingError, Reason.SIGNAL, r"has no signal 'trak', but 'top.track'"):
        read(TRACK, signal="trak")
    with refused(RecordingError, Reason.SIGNAL, r"'top.bus' has the bits 0 to 3; choose one"):
        read(TRACK, signal="bus")


@pytest.mark.parametrize(
    ("bit", "edges", "gap"),
    [(0, [10, 20], None), (1, [20, 30], None), (2, [10], (20, 30)), (3, [20, 30], None)],
)
def test_bits(bit, edges, gap, track):
    """Each bit of a vector has its own edges, and a gap where that bit alone is undefined."""
    recording = read(TRACK, signal="bus", bit=bit)
    assert edges_of(recording) == [track[edge] for edge in edges]
    gaps = [chunk.gap for chunk in recording if chunk.gap]
    assert gaps == ([(track[gap[0]], track[gap[1]])] if gap else [])


def test_bit_is_a_number():
    """A bit by name is for raw samples only, and refused for FST."""
    with refused(FieldError, match=r"bit: the number of a bit, for FST"):
        read(TRACK, bit="msb")


def test_without_pywellen(monkeypatch):
    """What to install is told."""
    monkeypatch.setattr(fst, "find_spec", lambda name: None)
    with refused(MissingPartError, match=r"pywellen is not installed"):
        read(TRACK)


@pytest.mark.parametrize("size", [9, 100, 329, 330, 331, 338, 339, 400, 625])
def test_cut_off(size, save):
    """A file that ends too early is refused as such, wherever it ends; one block is no file."""
    with refused(RecordingError, Reason.FORMAT, r"the FST file is cut off"):
        read(save("a.fst", TRACK.read_bytes()[:size]))


def test_a_block_beyond_the_end(save):
    """Whether its length or the end of the file is wrong, the rest is not there."""
    with pytest.raises(RecordingError, match=r"the FST file is cut off"):
        read(save("a.fst", changed(331, 0xFF)))


def changed(at, *values):
    data = bytearray(TRACK.read_bytes())
    data[at : at + len(values)] = bytes(values)
    return bytes(data)


@pytest.mark.parametrize(
    "data",
    [
        changed(73, 100),
        changed(9, 1),
        changed(9, *(1 << 62).to_bytes(8), *(1 << 63).to_bytes(8)),
        changed(17, *(1 << 62).to_bytes(8), *TRACK.read_bytes()[25:73], 0),
        changed(331, *bytes(8)),
        changed(331, *(7).to_bytes(8)),
    ],
    ids=["unit", "start", "end", "span", "empty block", "short block"],
)
def test_damaged(data, save):
    """Whatever pywellen makes of it, the error is ours."""
    with refused(RecordingError, Reason.FORMAT, r"the FST file is damaged"):
        read(save("a.fst", data))


def edges_or_error(path):
    try:
        return edges_of(read(path, signal="track"))
    except DccwireError as error:
        return str(error)


@settings(max_examples=15)
@given(at=st.integers(330, 625), value=st.integers(0, 255))
def test_one_wrong_byte(at, value, tmp_path_factory):
    """A recording or an error of ours, even where pywellen would end the process."""
    path = tmp_path_factory.mktemp("fst") / "a.fst"
    path.write_bytes(changed(at, value))
    found = edges_or_error(path)
    assert isinstance(found, list) or "\n" not in found


def test_what_the_child_lists():
    """Each variable by whole name, signal and width; a second name shares the signal."""
    target = io.BytesIO()
    main([str(TRACK)], target)
    names, signals, widths = zip(*map(json.loads, target.getvalue().splitlines()), strict=True)
    assert names == ("top.track", "top.bus", "top.volts", "top.same", "top.quiet")
    assert signals[0] == signals[3]
    assert widths == (1, 4, 0, 1, 1)


def test_what_the_child_sends(track):
    """For one bit: the number of its changes, their times, their levels; 2 is undefined."""
    target = io.BytesIO()
    main([str(TRACK), "1", "2"], target)
    count = int.from_bytes(target.getvalue()[:8], sys.byteorder)
    assert array("Q", target.getvalue()[8 : 8 + 8 * count]).tolist() == [
        1000,
        *(1000 + track[edge] for edge in (10, 20, 30)),
    ]
    assert list(target.getvalue()[8 + 8 * count :]) == [0, 1, 2, 0]


def test_levels_of_nine_valued_logic():
    """Weak levels count as strong ones; of the nine values, the other five are undefined."""
    target = io.BytesIO()
    send_changes(iter(enumerate("01lhxzuw-")), 0, target)
    assert list(target.getvalue()[-9:]) == [0, 1, 0, 1, 2, 2, 2, 2, 2]


def test_values_of_two_valued_logic_are_whole_numbers():
    """A value without an undefined bit may come as a whole number, of which one bit is taken."""
    for bit, level in enumerate([1, 0, 1, 0]):
        target = io.BytesIO()
        send_changes(iter([(4, 5)]), bit, target)
        assert list(target.getvalue()[-1:]) == [level]


def fake(*blocks, end=0):
    """A child that sends these bytes and ends with this status."""
    return f"import sys; sys.stdout.buffer.write({b''.join(blocks)!r}); sys.exit({end})"


def block(times, levels):
    parts = array("Q", [len(times)]).tobytes(), array("Q", times).tobytes(), bytes(levels)
    return b"".join(parts)


@pytest.mark.parametrize(
    "child",
    [
        fake(block([1000, 999], [0, 1])),
        fake(block([1000, 1 << 63], [0, 1])),
        fake(block([1005, 1004], [0, 1])),
        fake(block([1005, 1006], [0, 1])[:-1], end=1),
        fake(block([1005, 1006], [0, 1]), end=3),
    ],
    ids=["before the start", "after the end", "backwards", "cut off", "ends badly"],
)
def test_what_the_child_may_not_send(child, monkeypatch):
    """Times out of range or order, a block cut off and a bad end are all a damaged file."""
    source = fst.FstSource(fst.Opened(TRACK), 0, 0)
    monkeypatch.setattr(fst, "_CHILD", child)
    with refused(RecordingError, Reason.FORMAT, r"the FST file is damaged"):
        list(source.blocks())


def test_what_the_child_may_send(monkeypatch):
    """Two changes in one ns are a pulse of no length; the first and last time mark are inside."""
    source = fst.FstSource(fst.Opened(TRACK), 0, 0)
    end = int.from_bytes(TRACK.read_bytes()[17:25])
    sent = fake(block([1000, 1005, 1005], [0, 1, 0]), block([1005, end], [1, 0]))
    monkeypatch.setattr(fst, "_CHILD", sent)
    blocks = list(source.blocks())
    assert [one.times.tolist() for one in blocks] == [[0, 5, 5], [5, end - 1000], []]
    assert [one.levels.tolist() for one in blocks] == [[0, 1, 0], [1, 0], []]
    assert edges_of(Recording(source, 1)) == [5, 5, 5, end - 1000]
    for outside in (999, end + 1):
        monkeypatch.setattr(fst, "_CHILD", fake(block([outside], [0])))
        with refused(RecordingError, Reason.FORMAT, r"the FST file is damaged"):
            list(source.blocks())


@pytest.mark.parametrize(("exponent", "fits"), [(-18, True), (-19, False), (2, True), (3, False)])
def test_units_of_the_header(exponent, fits, save):
    """1 fs to 100 s (IEEE 1364 has no others)."""
    opened = fst.Opened(save("a.fst", changed(73, exponent % 256)))
    if fits:
        assert fst.FstSource(opened, 0, 0).tick_ns == Fraction(10) ** (exponent + 9)
    else:
        with refused(RecordingError, Reason.FORMAT, r"the FST file is damaged"):
            fst.FstSource(opened, 0, 0)
