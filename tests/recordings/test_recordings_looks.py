"""What a signal looks like, and recordings whose times are all one factor off."""

from __future__ import annotations

import gzip
import io
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from recording_helpers import edges_of, vcd_of, vcd_text

from dccwire.conformance import check
from dccwire.conformance.rules import Verdict
from dccwire.errors import RecordingError
from dccwire.recordings import read
from dccwire.recordings.looks import common_factor, look
from dccwire.signal import Timing
from dccwire.synthesis import Sending, synthesize

UNDECIDED = Verdict.UNDECIDED


@pytest.mark.parametrize(("odd", "is_track"), [(9, True), (10, True), (11, False)])
def test_look_allows_for_a_tenth_of_other_durations(odd, is_track, track):
    """A share of exactly 0.9 is a track signal; with one more no packet is sought."""
    right = np.array(track)[:91]
    seen = look(np.concatenate([right, right[-1] + 20_000 * np.arange(1, odd + 1)]), 1)
    assert (seen.share >= 0.9, seen.packet, seen.is_track) == (is_track,) * 3
    assert seen.may_be_track


@pytest.mark.parametrize(("odd", "may_be"), [(9, True), (10, True), (11, False)])
def test_the_only_signal_may_hold_half_of_other_durations(odd, may_be):
    """A share of exactly 0.5 is enough for a file's only signal."""
    right = np.arange(11) * 58_000
    seen = look(np.concatenate([right, right[-1] + 20_000 * np.arange(1, odd + 1)]), 1)
    assert seen.may_be_track is may_be


@pytest.mark.parametrize("before", [0, 938, 939, 940, 16298, 16299, 16300])
def test_a_packet_is_seen_wherever_it_ends(before):
    """The signal may end with it, and so may what is looked at: of 84 halves, 16,384 edges."""
    packet = np.array(list(synthesize([IDLE])))
    edges = np.concatenate([np.arange(-before, 0) * 58_000, packet])
    assert look(edges, 1).packet is (before <= 16299)


def test_look_merges_short_pulses(track):
    """Pulses that a receiver merges say nothing against a signal (M8)."""
    spikes = [(edge + 20_000, edge + 21_000) for edge in track[::10]]
    edges = np.sort(np.array(track + [time for spike in spikes for time in spike]))
    seen = look(edges, 1)
    assert (seen.share, seen.is_track) == (1.0, True)
    assert seen.durations is not None
    assert seen.durations[0] == 1_000
    assert look(np.arange(2) * 3_999, 1).share == 0
    assert look(np.concatenate([[0, 4_000], 4_000 + np.array(track)]), 1).share < 1


IDLE = Sending(bytes.fromhex("FF00FF"))
IDLES = np.array(list(synthesize([IDLE] * 30)))
HARBOUR = Path(__file__).parents[2] / "vectors" / "recordings" / "harbour-morning.vcd"


def rows(times, levels=None) -> str:
    """Rows of a time and a level."""
    levels = np.arange(len(times)) % 2 if levels is None else levels
    return "".join(f"{time},{level}\n" for time, level in zip(times, levels, strict=True))


def csv(edges: np.ndarray) -> bytes:
    return f"Time [ns],track\n{rows([0, *edges])}".encode()


def vcd(edges: np.ndarray, timescale: str = "1 ns") -> bytes:
    body = "".join(f"#{edge}\n{at % 2}!\n" for at, edge in enumerate(edges, 1))
    return vcd_text(f"#0\n0!\n{body}", timescale=f"$timescale {timescale} $end\n").encode()


def npy(edges: np.ndarray) -> bytes:
    file = io.BytesIO()
    np.save(file, edges)
    return file.getvalue()


def levels_each_us() -> np.ndarray:
    """What samples of 1 MHz hold of `IDLES`."""
    return (np.searchsorted(IDLES, np.arange(IDLES[-1] + 5_000, step=1000)) % 2).astype(np.uint8)


FILES = {"a.csv": csv, "a.vcd": vcd, "a.vcd.gz": lambda edges: gzip.compress(vcd(edges))}
FILES |= {"a.npy": npy}


def asked(path: Path, **options: Any) -> tuple[float | None, str]:
    """The factor, and what is asked, of a recording of which nothing is blamed on the station."""
    recording = read(path, **options)
    (note,) = (note for note in recording.notes if "a common factor" in note)
    report = check(recording)
    assert (report.verdict, report.failed_strictly, report.packets) == (UNDECIDED, False, 0)
    assert report.notes.count(note) == 1
    assert f"{recording.factor:.4g} times what they should, a common factor: is the " in note
    return recording.factor, note


@pytest.mark.parametrize("factor", [0.001, 0.5, 0.77, 1.15, 1.3, 2, 2.4, 1000])
@pytest.mark.parametrize("name", FILES)
def test_a_recording_one_factor_off_is_read_and_asked_about(name, factor, save, run):
    """Its times are those of the file; the factor is told by both commands, once."""
    edges = np.rint(IDLES * factor).astype(np.int64)
    path = save(name, FILES[name](edges))
    assert edges_of(read(path)) == (edges - edges[0] * (name == "a.npy")).tolist()
    found, note = asked(path)
    assert found == pytest.approx(factor, rel=1e-3)
    status, out, err = run("packets", str(path))
    assert (status, err.count(note), "no packet; it begins with 2521 edges" in err) == (1, 1, True)
    assert "FF 00 FF" not in out


@pytest.mark.parametrize(
    ("rate", "factor"), [(1.2e6, 0.833), (8e5, 1.25), (1e9, 0.001), (1e3, 1e3)]
)
def test_samples_at_a_wrong_rate_are_read_and_asked_about(rate, factor, save):
    """Bytes, and rows of levels, of 1 MHz; no unit of times is named."""
    levels = levels_each_us()
    text = "track\n" + "".join(f"{level}\n" for level in levels)
    for path, options in ((save("a.bin", levels.tobytes()), {"bit": 0}), (save("a.csv", text), {})):
        found, note = asked(path, rate=rate, **options)
        assert found == pytest.approx(factor, rel=1e-3)
        assert note.endswith("a common factor: is the sample rate, or the unit of times, right?")


@pytest.mark.parametrize(
    ("content", "factor", "unit", "resolution"),
    [
        ("time_ms,track\n" + rows(IDLES // 1000), 1000, "us", 1000),
        ("time_s,track\n" + rows(IDLES), 1e9, "ns", 1),
        ("time_ns,track\n" + rows(IDLES // 1000), 0.001, "us", 1),
        ("time_us,track\n" + rows(IDLES / 1e6), 0.001, "ms", 1),
        ("time_us,track\n" + rows(IDLES * 13 / 1e4), 1.3, None, 77),
        (vcd(IDLES // 1000, "1 ms"), 1000, "us", 1000),
        (vcd(IDLES // 1000, "10 ns"), 0.01, "us", 10),
        (vcd(IDLES // 1000, "100 ns"), 0.1, "us", 100),
        (vcd(IDLES // 1000, "20 ns"), 0.02, "us", 20),
    ],
)
def test_a_unit_is_named_if_the_factor_leads_to_one(content, factor, unit, resolution, save):
    """In which the times would be right; the resolution, in that unit, is fine enough to read."""
    path = save("a.txt", content)
    found, note = asked(path)
    assert found == pytest.approx(factor, rel=1e-9)
    assert note.endswith(f" In {unit} they would be." if unit else "right?")
    assert read(path).resolution_ns == resolution


@pytest.mark.parametrize(
    ("one", "off", "factor"),
    [(55, 1000, 1000), (61, 0.01, 0.01), (61.5, 1000, 1060), (54.5, 1000, 940), (54.5, 2, 1.88)],
)
def test_a_whole_factor_is_meant_whatever_right_ones_last(one, off, factor):
    """They last 55 to 61 us (S-9.1 §A, Table 1 t1); powers of ten go before other whole numbers."""
    sending = Sending(IDLE.data, timing=Timing(round(one * 1000), 100_000))
    edges = np.rint(np.array(list(synthesize([sending] * 3))) * off).astype(np.int64)
    assert common_factor(edges, 1) == pytest.approx(factor, rel=1e-9)


def test_fst_of_a_wrong_unit(save):
    """The header of an FST file holds its unit, a power of ten, in byte 73."""
    data = bytearray((Path(__file__).parent / "data" / "track.fst").read_bytes())
    data[73] = 256 - 6
    factor, note = asked(save("a.fst", bytes(data)))
    assert (factor, note[-22:]) == (1000, "? In ns they would be.")


@pytest.mark.parametrize("factor", [0.5, 1.3, 1000])
def test_a_real_looking_recording_one_factor_off(factor, save):
    """Ones and zeros of a whole plan, with jitter."""
    edges = np.rint(np.array(edges_of(read(HARBOUR))) * factor).astype(np.int64)
    assert asked(save("a.vcd", vcd(edges)))[0] == pytest.approx(factor, rel=0.02)


def test_of_several_signals_the_only_one_a_factor_off_is_taken(save):
    """A clock beside it is none; a second one is asked about; a right one goes before."""
    slow, fast = (np.rint(IDLES * factor).astype(int).tolist() for factor in (1.3, 0.5))
    clock = list(range(500, 20_000_000, 50_000))
    recording = read(save("a.vcd", vcd_of({"clock": clock, "dcc": slow})))
    assert (recording.signal, recording.factor) == ("top.dcc", 1.3)
    assert recording.notes[0].endswith("the only one of 2 that looks like a track signal")
    with pytest.raises(RecordingError, match="2 signals look like a track signal"):
        read(save("a.vcd", vcd_of({"slow": slow, "fast": fast})))
    recording = read(save("a.vcd", vcd_of({"slow": slow, "right": IDLES.tolist()})))
    assert (recording.signal, recording.factor) == ("top.right", None)


def halves(*lengths: float) -> np.ndarray:
    return np.rint(np.cumsum(lengths)).astype(np.int64)


def no_track_signals() -> Iterator[tuple[str, np.ndarray]]:
    """Signals of other kinds, of any speed."""
    for seed in range(10):
        random = np.random.default_rng(seed)
        unit = float(random.integers(2_000, 400_000))
        yield "pulses of any length", halves(*random.integers(5, 90_000, 3000))
        yield "noise", halves(*random.exponential(unit, 3000))
        yield "clock", halves(*[unit] * 3000)
        duty = random.uniform(0.05, 0.95)
        yield "half of the time high", halves(*[unit / 2, unit / 2] * 1500)
        yield "pulses of one width", halves(*[unit * duty, unit * (1 - duty)] * 1500)
        duties = random.uniform(0.1, 0.9, 1500)
        yield (
            "pulses of many widths",
            halves(*np.ravel([(unit * d, unit * (1 - d)) for d in duties])),
        )
        bits = random.integers(0, 2, 3000)
        yield "levels", np.flatnonzero(np.diff(bits)) * round(unit)
        yield (
            "an edge in each bit",
            np.flatnonzero(np.diff(np.ravel([bits, 1 - bits], "F"))) * 5_000,
        )
        # Ones and zeros in pairs of halves as of a track, whose bytes are none.
        halved = np.repeat(np.where(bits, unit, unit * random.uniform(1.7, 2.5)), 2)
        yield "bits", halves(*halved)


def test_no_factor_makes_a_track_signal_of_another(save):
    """None is found, and the file is refused as long as the signal is not named."""
    for kind, edges in no_track_signals():
        assert common_factor(edges, 1) is None, kind
    for kind, edges in [*no_track_signals()][:9]:
        seen = look(edges, 1)
        if not seen.may_be_track:
            with pytest.raises(RecordingError, match="does not look like a track signal"):
                read(save("a.vcd", vcd(edges)))
        assert read(save("a.vcd", vcd(edges)), signal="track", resolution=1).notes == (), kind


@pytest.mark.parametrize("bad", [Sending(bytes.fromhex("FF00FE")), replace(IDLE, drop=3)])
@pytest.mark.parametrize(("right", "wrong", "factor"), [(3, 2, 2), (2, 2, None), (2, 3, None)])
def test_a_factor_makes_most_packets_right(right, wrong, factor, bad):
    """Where a signal is of another kind, now and then a packet is right by chance."""
    edges = np.array(list(synthesize([bad] * wrong + [IDLE] * right)))
    assert common_factor(edges * 2, 1) == factor


def test_right_ones_and_wrong_zeros_are_no_factor():
    """Zeros of 89.2 us would be read if all times were longer, but the ones are right."""
    edges = np.array(list(synthesize([Sending(IDLE.data, timing=Timing(57_000, 89_200))] * 3)))
    assert not look(edges, 1).packet
    assert common_factor(edges, 1) is None


@pytest.mark.parametrize("factor", [0.04, 0.5, 2, 2.4, 3, 24, 1000])
def test_common_factor_of_a_wrong_rate(factor, track):
    """All durations a factor off is told; whole factors and one over them exactly."""
    edges = np.rint(np.array(track) * factor).astype(np.int64)
    assert common_factor(edges, max(1, round(factor))) == pytest.approx(factor, rel=1e-3)


def test_no_common_factor(track):
    """None where packets can be read, and where no factor makes them readable."""
    times = np.array(track)
    assert common_factor(times, 1) is None
    assert common_factor(np.arange(500) * 29_000, 1) is None
    assert common_factor(np.cumsum(np.random.default_rng(1).integers(5, 90_000, 500)), 1) is None
    for few in (times[:0], times[:1], np.zeros(5, np.int64)):
        assert common_factor(few, 1) is None


def test_look_widens_its_limits_by_the_resolution():
    """51 us may be 52 us when each time is known to 1 us (S-9.1 §A, Table 1)."""
    times = np.arange(10) * 51_000
    assert look(times, 999).share == 0
    assert look(times, 1000).share == 1
