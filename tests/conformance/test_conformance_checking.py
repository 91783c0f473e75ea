"""Checking recordings, files and edges; what must change nothing; what must never fail."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np
import pytest
from conformance_helpers import (
    COARSE,
    PLAIN,
    check_signal,
    edges_of,
    failing,
    lengths_of,
    result,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from dccwire.conformance import Expectation, Report, Session, Verdict, check
from dccwire.errors import FieldError, Reason, RecordingError
from dccwire.recordings import Chunk, read, write_vcd
from dccwire.signal import Timing
from dccwire.synthesis import Sending, synthesize
from refusals import refused

IDLE = bytes.fromhex("FF00FF")
LONG = bytes.fromhex("C3E8EC0603C2")


def judge_bare(lengths: list[int]) -> Report:
    """The report on half-bits of which nothing else is known."""
    return check([edges_of(lengths)])


def test_nothing_shows_nothing() -> None:
    """No chunk, no edge, one edge, edges all at one time: no verdict, and no error."""
    empty = np.empty(0, np.int64)
    for chunks in ([], [empty], [empty, empty], [np.array([5])], [np.array([7] * 1000)]):
        report = check(chunks)
        assert (report.verdict, report.packets) == (Verdict.NOT_EXERCISED, 0)
        assert (report.duration_ns, report.histogram.counts()) == (0, {})
    assert report.edges == 1000
    assert report.notes[0].startswith("500 pulses shorter than 4 us merged")


def test_ones_alone_show_no_packet() -> None:
    """Nor that they are ones: they may be of anything, as no packet tells them from zeros."""
    report = check([np.arange(1000) * 58_000])
    assert (result(report, 1).verdict, result(report, 1).measured) == (Verdict.UNDECIDED, 999)
    assert (report.verdict, report.packets, report.well()) == (Verdict.UNDECIDED, 0, False)


def test_the_resolution_of_bare_edges(eventful: list[Chunk]) -> None:
    """Told by all of them (M9), however they are cut, or by the caller."""
    steady = judge_bare(Sending(PLAIN, timing=COARSE).lengths())
    assert (steady.resolution_ns, steady.resolution_source) == (1, "unit of the times")
    found = check(eventful)
    assert found.resolution_ns == 500
    assert found.resolution_source == "greatest common divisor of the edge times"
    claimed = check(eventful, resolution_ns=700)
    assert (claimed.resolution_ns, claimed.resolution_source) == (700, "option")


def test_a_file_whose_end_tells_another_resolution_is_judged_by_it(tmp_path: Path) -> None:
    """Exact to 1 ns at its head, after 30000 edges, in another octave, on a grid of 1 µs."""
    sendings = [Sending(PLAIN)] * 360
    head = list(
        synthesize(sendings, start_ns=2**47 - 2_300_000_000, jitter_ns=900, sampling_ns=1, seed=1)
    )
    start = (2**47 // 1000 + 1) * 1000
    tail = list(synthesize(sendings, start_ns=start, jitter_ns=900, sampling_ns=1000, seed=2))
    path = tmp_path / "track.vcd"
    write_vcd(path, head + tail)
    recording = read(path)
    assert recording.resolution_ns == 1
    report = check(recording)
    assert (report.resolution_ns, report.packets) == (1000, 720)
    again = check([np.array(head + tail)], resolution_ns=1000)
    assert [one.undecided for one in report.results] == [one.undecided for one in again.results]


@pytest.mark.parametrize("value", [-1, 12_000, 10**9])
def test_an_uncertainty_out_of_bounds(value: int) -> None:
    """Below 0, or so large that ones and zeros mix: with q = 1 µs, 11999 ns is the most."""
    edges = edges_of(lengths_of(PLAIN))
    with refused(FieldError, field="uncertainty_ns", value=value, bound="0 to 11999 ns"):
        check([edges], uncertainty_ns=value, resolution_ns=1000)
    assert check([edges], uncertainty_ns=11_999, resolution_ns=1000).uncertainty_ns == 11_999


def test_a_number_that_is_no_rule() -> None:
    """It is told before anything is read."""
    with refused(FieldError, field="rules", value=96):
        check("no such file", rules=[1, 96])


def test_edges_that_go_back() -> None:
    """Refused, within a chunk and between two."""
    for chunks in ([np.array([0, 100_000, 50_000])], [np.array([0, 100_000]), np.array([50_000])]):
        with refused(FieldError, bound="100000 ns or later", value=50_000):
            check(chunks)


def test_a_file_by_its_path_and_as_a_recording(tmp_path: Path) -> None:
    """With the file's resolution, name, notes and end; progress is called for each chunk."""
    path = tmp_path / "track.vcd"
    write_vcd(path, edges_of(lengths_of(PLAIN, PLAIN), 58_000).tolist())
    called: list[int] = []
    reports = [check_signal(path), check_signal(str(path))]
    reports.append(check_signal(read(path), progress=lambda: called.append(1)))
    for report in reports:
        assert (report.source, report.packets, report.resolution_ns) == (str(path), 2, 1)
        assert (report.verdict, report.edges) == (Verdict.PASS, 169)
    assert called
    assert check(read(path, resolution=250)).resolution_source == "option"
    assert check(read(path, resolution=250)).resolution_ns == 250
    with refused(RecordingError, Reason.FILE):
        check(tmp_path / "none.vcd")


def test_polarity_changes_nothing(tmp_path: Path) -> None:
    """The same recording with all levels inverted gives the same report (S-9.1 footnote 1)."""
    halves = lengths_of(PLAIN, "033F3D", LONG, PLAIN)
    halves[130] = 75_000
    reports = []
    for name, levels in (("one.vcd", "01"), ("other.vcd", "10")):
        path = tmp_path / name
        changes = (
            f"#{edge}\n{levels[at % 2]}!" for at, edge in enumerate(edges_of(halves, 58_000))
        )
        head = "$timescale 1 ns $end\n$var wire 1 ! track $end\n$enddefinitions $end\n"
        path.write_text(head + f"#0\n{levels[1]}!\n" + "\n".join(changes) + "\n")
        lines = list(check(path).to_dicts())
        assert lines[-1].pop("source") == str(path)
        reports.append(lines)
    assert reports[0] == reports[1]
    assert reports[0][-1]["verdict"] == "fail"


@pytest.fixture(scope="module")
def eventful() -> list[Chunk]:
    """A signal in which everything happens, undefined levels included."""
    random = Random(5)
    chunks, at = [], 0
    for part in range(4):
        sendings = []
        for _ in range(30):
            data = random.choice([PLAIN, IDLE, LONG, bytes(3), b"\x5a\x5a", PLAIN + b"\x01"])
            bits = 9 * len(data) + 1
            odd = random.random()
            sendings.append(
                Sending(
                    data,
                    preamble=random.choice([9, 12, 13, 14, 14, 16, 20]),
                    timing=random.choice(
                        [Timing(62_500, 93_500, one_last=56_000), Timing(57_000, 7_000_000)]
                    )
                    if odd < 0.1
                    else COARSE,
                    flip=random.randrange(bits) if 0.1 < odd < 0.2 else None,
                    drop=random.randrange(2 * bits) if 0.2 < odd < 0.3 else None,
                    pulse_ns=random.choice([2000, 5000, 20_000]) if 0.3 < odd < 0.4 else 0,
                    gap_ns=random.choice([17_000, 400_000, 12_000_000]) if 0.4 < odd < 0.6 else 0,
                )
            )
        edges = np.fromiter(
            synthesize(sendings, start_ns=at + 1000, jitter_ns=900, sampling_ns=500, seed=part),
            np.int64,
        )
        start = int(edges[-1]) + 10_000 * part
        at = start + 300_000
        chunks.append(Chunk(edges, (start, at), turned=False))
    return chunks


@settings(max_examples=25)
@given(data=st.data())
def test_chunks_change_nothing(eventful: list[Chunk], data: st.DataObject) -> None:
    """However the edges are cut, the report is the same, to the last word."""
    whole = check(eventful)
    pieces = []
    for chunk in eventful:
        cuts = data.draw(st.lists(st.integers(0, len(chunk.edges)), max_size=12))
        *most, last = np.split(chunk.edges, sorted(cuts))
        pieces += [*map(Chunk, most), replace(chunk, edges=last)]
    found = check(pieces)
    assert list(found.to_dicts()) == list(whole.to_dicts())
    assert found.text() == whole.text()


def test_edge_by_edge_changes_nothing(eventful: list[Chunk]) -> None:
    """The finest cut of all, of a signal in which every rule but one fails."""
    whole = check(eventful)
    pieces = [
        piece
        for chunk in eventful
        for piece in (
            *map(Chunk, np.split(chunk.edges, len(chunk.edges))),
            replace(chunk, edges=np.empty(0, np.int64)),
        )
    ]
    assert list(check(pieces).to_dicts()) == list(whole.to_dicts())
    assert set(failing(whole)) >= {1, 2, 3, 4, 5, 14, 15, 16, 17, 27}


@pytest.mark.parametrize("shift", [1, 10**9 + 1, 10**18])
def test_a_shift_in_time_moves_times_alone(eventful: list[Chunk], shift: int) -> None:
    """No float rounds a time away, not even after 30 years."""
    moved = [
        Chunk(one.edges + shift, (one.gap[0] + shift, one.gap[1] + shift), turned=False)
        for one in eventful
    ]
    for before, after in zip(check(eventful).results, check(moved).results, strict=True):
        later = tuple(time + shift for time in before.first_times_ns)
        assert after.first_times_ns == later
        assert (after.verdict, after.measured, after.failed, after.undecided, after.worst) == (
            before.verdict,
            before.measured,
            before.failed,
            before.undecided,
            before.worst,
        )


def test_where_a_recording_starts_and_ends_never_makes_a_failure() -> None:
    """Any first and last edge: either half first, packets cut off at both ends."""
    edges = edges_of(lengths_of(PLAIN, IDLE, LONG, IDLE, bytes(3), LONG, PLAIN))
    for start in range(84 + 84 + 138):
        for end in (len(edges), len(edges) - start, start + 300, len(edges) - 1):
            report = check([edges[start:end]])
            assert not failing(report), (start, end)
            assert result(report, 5).measured == max(end - start - 1, 0)


def keeping(random: Random, *, one: int = 0) -> list[int]:
    """Two halves at random that keep the limits of S-9.1 §A, Table 1."""
    if one:
        first = random.randint(55_000, 61_000)
        low, high = max(first - 3000, 55_000), min(first + 3000, 61_000)
        return [first, random.choice([low, high, random.randint(low, high)])]
    if random.random() < 0.02:
        first = random.randint(95_000, 9_900_000)
        return [first, random.randint(95_000, min(12_000_000 - first, 9_900_000))]
    return random.choice(
        [[95_000, 95_000], [95_000, 110_000], [random.randint(95_000, 120_000)] * 2]
    )


def signal_of(random: Random) -> tuple[list[int], list[int]]:
    """The half-bits of twelve packets that keep all limits, and where their preambles begin."""
    lengths: list[int] = []
    begins = []
    for _ in range(12):
        begins.append(len(lengths))
        data = random.choice([PLAIN, IDLE, LONG, bytes(3)])
        sending = Sending(data, preamble=random.randint(13 + (not lengths), 20), timing=COARSE)
        for half in sending.lengths()[::2]:
            lengths += keeping(random, one=half == COARSE.one)
    return lengths, begins


def seen(lengths: list[int], sampling: int, jitter: int, random: Random) -> np.ndarray:
    """Edges as a sampling with a random phase sees them, each up to half the jitter off."""
    edges = edges_of(lengths, 10**7 + random.randrange(sampling))
    noise = [random.randint(-(jitter // 2), jitter // 2) for _ in edges]
    return -(-(edges + np.array(noise)) // sampling) * sampling


SAMPLINGS = st.sampled_from([(1, 0), (100, 0), (1000, 0), (100, 400), (1000, 1000), (500, 3000)])


@settings(max_examples=80)
@given(seed=st.integers(0, 2**32), measuring=SAMPLINGS)
def test_what_keeps_the_limits_never_fails(seed: int, measuring: tuple[int, int]) -> None:
    """At any sampling, with any measuring jitter that is told; and every packet is read."""
    random = Random(seed)
    sampling, jitter = measuring
    edges = seen(signal_of(random)[0], sampling, jitter, random)
    report = check_signal([edges], uncertainty_ns=jitter)
    assert not failing(report)
    assert (report.packets, report.resolution_ns) == (12, sampling)
    assert result(report, 14).measured == 11


@settings(max_examples=80)
@given(seed=st.integers(0, 2**32), measuring=SAMPLINGS)
def test_what_breaks_the_limits_by_twice_the_error_never_passes(
    seed: int, measuring: tuple[int, int]
) -> None:
    """One half-bit anywhere, too short or too long, but where the signal begins and ends.

    It fails from a preamble's tenth one on; before, another protocol may stand there (S-9.2 §C).
    An end bit's last half of 90 us or more is left out: it may be a cutout's.
    """
    random = Random(seed)
    sampling, jitter = measuring
    lengths, begins = signal_of(random)
    error = 2 * (sampling + jitter)
    place = random.randrange(1, len(lengths) - 1)
    bounds = [(61_000 + error, 95_000 - error), (5_000 + error, 55_000 - error)]
    if place + 1 in begins:
        bounds[0] = (61_000 + error, 90_000 - error)
    if lengths[place] >= 95_000:
        bounds.append((9_900_000 + error, 9_990_000))
    lengths[place] = random.randint(*random.choice(bounds))
    report = check([seen(lengths, sampling, jitter, random)], uncertainty_ns=jitter)
    framed = place - max(begin for begin in begins if begin <= place) > 20
    assert report.verdict in ({Verdict.FAIL} if framed else {Verdict.FAIL, Verdict.UNDECIDED})
    assert failing(report).keys() & {1, 3, 5} or not framed


@pytest.mark.parametrize("file", [False, True])
def test_judging_may_be_stopped_after_a_chunk(file: bool, tmp_path: Path) -> None:
    """The report is that of what came until then, and says so; nothing after it is expected."""
    edges = edges_of(lengths_of(*[PLAIN] * 4000), 58_000)
    late = Session(expectations=(Expectation(from_ns=int(edges[-1]) - 1),))
    stop = iter([False, True])
    options = {"progress": lambda: next(stop), "session": late, "rules": (1, 14)}
    if file:
        path = tmp_path / "track.vcd"
        write_vcd(path, edges.tolist())
        report = check(path, **options)  # type: ignore[arg-type] # by name
    else:
        report = check(np.array_split(edges, 8), resolution_ns=1, **options)  # type: ignore[arg-type]
    assert report.stopped
    assert 0 < report.edges < len(edges)
    assert report.notes[0].startswith("stopped: what comes after ")
    assert report.text().splitlines()[0].startswith("undecided (so far: it was stopped)")
    assert list(report.to_dicts())[-1]["stopped"] is True
    whole = check([edges[: report.edges]], resolution_ns=1, rules=(1, 14))
    assert not whole.stopped
    assert result(report, 1).measured == result(whole, 1).measured
