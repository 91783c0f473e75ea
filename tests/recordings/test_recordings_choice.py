"""Which signal is taken: by name, or by its looks."""

from __future__ import annotations

import numpy as np
import pytest
from recording_helpers import edges_of, vcd_of

from dccwire.errors import Reason, RecordingError
from dccwire.recordings import read
from refusals import refused


def csv_of(signals):
    """The same as rows of text."""
    levels = dict.fromkeys(signals, 0)
    rows = [(time, name) for name, edges in signals.items() for time in edges]
    lines = ["time_ns," + ",".join(signals), "0," + ",".join(map(str, levels.values()))]
    for time, name in sorted(rows):
        levels[name] ^= 1
        lines.append(f"{time}," + ",".join(map(str, levels.values())))
    return "\n".join(lines) + "\n"


CLOCK = list(range(500, 20_000_000, 500_00))
SLOW = [1_000_000, 3_000_000]
ENDINGS = [("a.vcd", vcd_of), ("a.csv", csv_of)]


@pytest.mark.parametrize(("name", "write"), ENDINGS)
def test_the_only_track_signal_is_taken(name, write, track, save):
    """Of several signals, the only one that looks like a track signal is taken, with a note."""
    recording = read(save(name, write({"clock": CLOCK, "dcc": track, "slow": SLOW})))
    assert recording.signal in ("dcc", "top.dcc")
    assert recording.notes == (
        f"signal {recording.signal!r} taken: the only one of 3 that looks like a track signal",
    )
    assert np.concatenate([chunk.edges for chunk in recording]).tolist() == track


@pytest.mark.parametrize(("name", "write"), ENDINGS)
def test_two_track_signals_are_listed(name, write, track, save):
    """Two signals that change together make no guess."""
    listed = "2 signals look like a track signal: .*k'; choose one with signal=NAME"
    with refused(RecordingError, Reason.SIGNAL, listed):
        read(save(name, write({"j": track, "k": track, "slow": SLOW})))


@pytest.mark.parametrize("factor", [1, 1.3])
def test_two_rails_are_one_signal(factor, track, save):
    """Of complements the first is taken, and told; one other edge, or a third one, asks again."""
    j = [round(edge * factor) for edge in track]
    rails = vcd_of({"j": j, "k": j, "slow": SLOW}).replace("0B", "2B").replace("1B", "0B")
    rails = rails.replace("2B", "1B")
    recording = read(save("a.vcd", rails))
    assert recording.signal == "top.j"
    assert recording.notes[0] == "signal 'top.j' taken: 'top.k' is its complement, the other rail"
    assert edges_of(recording) == j
    before, _, after = rails.rpartition(f"#{j[-1]}")
    late = f"{before}#{j[-1] + 1}{after}"
    third = vcd_of({"j": j, "k": j, "l": j})
    for other in (late, third):
        with refused(RecordingError, Reason.SIGNAL, r"[23] signals look like a track signal: "):
            read(save("a.vcd", other))


@pytest.mark.parametrize(("name", "write"), ENDINGS)
def test_no_track_signal_says_what_was_seen(name, write, save):
    """The edges of each signal and their distances are told."""
    seen = r"edges 50 to 50 us apart, median 50\).*\(1 edge\)"
    with refused(RecordingError, Reason.SIGNAL, f"none of 2 signals looks like a track.*{seen}"):
        read(save(name, write({"clock": CLOCK, "slow": SLOW[:1]})))


def test_right_durations_without_a_packet_are_no_track_signal(save):
    """Half-bits of the right lengths, but all alike, hold no packet (S-9.2 §A)."""
    ones = list(range(58_000, 10_000_000, 58_000))
    with refused(RecordingError, Reason.SIGNAL, r"none of 2 signals"):
        read(save("a.vcd", vcd_of({"ones": ones, "slow": SLOW})))


def test_a_single_signal_is_taken_without_a_packet(save):
    """The only signal of a file is taken as it is: perhaps every packet in it is wrong."""
    recording = read(save("a.vcd", vcd_of({"ones": [58_000, 116_000, 174_000]})))
    assert (recording.signal, recording.notes) == ("top.ones", ())
    assert recording.resolution_ns == 1, "durations all alike say nothing of the resolution"


@pytest.mark.parametrize(
    ("edges", "seen"),
    [(CLOCK, "400 edges 50 to 50 us apart, median 50"), ([], "0 edges"), ([5], "1 edge")],
)
def test_a_single_signal_of_another_kind_is_refused(edges, seen, save):
    """A file's only signal is refused with what was seen of it, and taken when it is named."""
    path = save("a.vcd", vcd_of({"clock": edges}))
    takes = r"signal='top.clock' takes it nevertheless"
    with refused(RecordingError, Reason.SIGNAL, f"look like a track signal: {seen}.*{takes}"):
        read(path)
    assert read(path, signal="clock", resolution=1).signal == "top.clock"


def test_coarse_timescale_is_told_as_such(track, save):
    """A signal of a coarse unit is looked at with wide limits, then refused for its unit."""
    coarse = [round(edge / 10_000) for edge in track]
    path = save("a.vcd", vcd_of({"dcc": coarse}, timescale="10 us"))
    with refused(RecordingError, Reason.RESOLUTION, r"10000 ns .unit of the times. is too coarse"):
        read(path)


def test_unknown_name_lists_the_close_ones_first(save):
    """A name that no signal has is answered with the nearest name, then others up to a bound."""
    names = {f"net{number}": SLOW for number in range(9)} | {"booster": SLOW}
    near = "has no signal 'boster', but 'top.booster', 'top.net0'"
    rest = "and 2 more; choose one of them with signal=NAME"
    with refused(RecordingError, Reason.SIGNAL, f"{near}.*{rest}"):
        read(save("a.vcd", vcd_of(names)), signal="boster")


def test_last_part_of_a_name_may_be_ambiguous(save):
    """Two scopes with one name each: the whole name decides."""
    text = (
        "$timescale 1 ns $end $scope module a $end $var wire 1 ! t $end $upscope $end "
        "$scope module b $end $var wire 1 % t $end $upscope $end $enddefinitions $end\n"
        "#0 0! 0%\n#5 1%\n#6 0%\n"
    )
    path = save("a.vcd", text)
    with refused(
        RecordingError, Reason.SIGNAL, r"2 signals are called 't': 'a.t', 'b.t'; give the"
    ):
        read(path, signal="t")
    assert read(path, signal="b.t").signal == "b.t"


def test_equal_whole_names(save):
    """Nothing can tell the two apart, so the message says that the file may be changed."""
    path = save("a.csv", "time_us,D0,D0\n0,0,1\n58,1,0\n116,0,1\n")
    with refused(
        RecordingError, Reason.SIGNAL, r"called 'D0': 'D0', 'D0'; give the .* or rename one"
    ):
        read(path, signal="D0")


def test_wide_signals_ask_for_a_bit(save):
    """A signal of several bits is only read with one of its own bit numbers."""
    text = (
        "$timescale 1 ns $end $var wire 4 ! bus [7:4] $end $var real 64 r volts $end "
        "$enddefinitions $end\n#0 b0 !\n"
    )
    path = save("a.vcd", text)
    with refused(RecordingError, Reason.SIGNAL, r"no signal of one bit, but 'bus'; choose a bit"):
        read(path)
    for bit in (None, 3, 8):
        with refused(
            RecordingError, Reason.SIGNAL, r"'bus' has the bits 4 to 7; choose one with bit=N"
        ):
            read(path, signal="bus", bit=bit)


def test_no_signal_at_all(save):
    """A real variable is no signal, neither by itself nor by name."""
    text = "$timescale 1 ns $end $var real 64 r volts $end $enddefinitions $end\n#0 r1 r\n"
    path = save("a.vcd", text)
    with refused(RecordingError, Reason.SIGNAL, r"has no signal$"):
        read(path)
    with refused(RecordingError, Reason.SIGNAL, r"has no signal$"):
        read(path, signal="volts")


def test_a_signal_with_spikes_is_taken_beside_an_idle_one(track, save):
    """Spikes of 1 us in a twentieth of the halves."""
    spikes = [time for edge in track[::20] for time in (edge + 20_000, edge + 21_000)]
    text = vcd_of({"dcc": sorted(track + spikes), "idle": [5_000]})
    assert read(save("a.vcd", text)).signal == "top.dcc"


@pytest.mark.parametrize(("wires", "fits"), [(255, True), (256, True), (257, False)])
def test_too_many_signals_to_look_at(wires, fits, track, save):
    """With more than any recording of a track has, a name is asked for."""
    head = "$timescale 1 ns $end\n$var wire 1 ! dcc $end\n"
    head += "".join(f"$var wire 1 n{n} w{n} $end\n" for n in range(1, wires))
    body = "".join(f"#{edge}\n{n % 2}!\n" for n, edge in enumerate(track, 1))
    path = save("a.vcd", head + "$enddefinitions $end\n#0\n0!\n" + body)
    assert read(path, signal="dcc").signal == "dcc"
    if fits:
        assert read(path).signal == "dcc"
        return
    with refused(RecordingError, Reason.SIGNAL, "has 257 signals, too many to look at"):
        read(path)


def test_long_names_are_cut(save):
    """No message is longer than can be read."""
    names = [f"{n}{'x' * 9_000}" for n in range(20)]
    path = save("a.vcd", vcd_of({name: [5] for name in names}))
    for options in ({}, {"signal": "y" * 500_000}):
        with refused(RecordingError, Reason.SIGNAL) as caught:
            read(path, **options)
        assert len(str(caught.value)) < 1_000
