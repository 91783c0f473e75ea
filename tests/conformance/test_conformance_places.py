"""Where half-bits stand: what is judged, what may be cut, what distortion leaves open."""

from __future__ import annotations

import numpy as np
import pytest
from conformance_helpers import PLAIN, check_signal, edges_of, failing, judge, lengths_of, result

from dccwire.conformance import Report, Verdict
from dccwire.recordings import Chunk
from dccwire.signal import Timing
from dccwire.synthesis import Sending

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED


def with_pulse(at_us: float, width_us: float) -> Report:
    """Three packets of 60.5 µs and 100 µs, with a pulse so long after an edge in the second one."""
    lengths = [
        n for _ in range(3) for n in Sending(PLAIN, timing=Timing(60_500, 100_000)).lengths()
    ]
    place = 84 + 28  # the first half of the packet start bit, a 0
    before, width = round(at_us * 1000), round(width_us * 1000)
    lengths[place : place + 1] = [before, width, lengths[place] - before - width]
    return check_signal([edges_of(lengths)], resolution_ns=1)


@pytest.mark.parametrize(
    ("at_us", "verdict"), [(4.5, UNDECIDED), (7.9, UNDECIDED), (8.0, PASS), (50.0, PASS)]
)
def test_a_pulse_beside_an_edge_leaves_the_half_bits_around_it_open(
    at_us: float, verdict: Verdict
) -> None:
    """Within 8 µs: the edge may stand at either end of the distortion (M8); 65 is over 61."""
    assert result(with_pulse(at_us, 1), 1).verdict is verdict
    assert result(with_pulse(100 - at_us - 1, 1), 3).verdict is verdict


@pytest.mark.parametrize(("width_us", "verdict"), [(0.2, PASS), (0.4, UNDECIDED)])
def test_how_far_open_is_the_width_of_the_distortion(width_us: float, verdict: Verdict) -> None:
    """An edge seen 0.2 µs late, and off by as much, keeps 60.5 within 61 µs; 0.4 does not."""
    lengths = [
        n for _ in range(3) for n in Sending(PLAIN, timing=Timing(60_500, 100_000)).lengths()
    ]
    width = round(width_us * 1000)
    lengths[84 + 10 : 84 + 11] = [0, width, 60_500 - width]
    assert result(check_signal([edges_of(lengths)], resolution_ns=1), 1).verdict is verdict


@pytest.mark.parametrize("count", [1, 2, 3, 7])
def test_the_tail_of_a_packet_that_began_before_the_recording_is_judged(count: int) -> None:
    """From any half-bit on, what reads as bits; the first one may be cut and proves nothing."""
    lengths = lengths_of(PLAIN, PLAIN, PLAIN)[28 + count :]
    report = judge(lengths)
    assert (report.verdict, report.not_judged, report.packets) == (PASS, 0, 2)
    lengths[0] = 30_000
    assert judge(lengths).verdict is PASS
    wrong = lengths_of(PLAIN, PLAIN, PLAIN)[28 + count :]
    wrong[5] = 93_000 if wrong[5] == 99_000 else 63_000
    assert judge(wrong).verdict is FAIL


def test_what_does_not_read_as_bits_before_the_first_packet_is_foreign() -> None:
    """It may be another protocol's end (S-9.2 §C)."""
    report = judge([99_000, 58_000, 75_000, 99_000, 75_000, *lengths_of(PLAIN, PLAIN)])
    assert (report.verdict, report.not_judged) == (UNDECIDED, 5)


@pytest.mark.parametrize(("place", "counted"), [(109, 4), (110, 3), (150, 2)])
def test_behind_a_packet_that_broke_off_it_is_judged_as_far_as_six_bytes_reach(
    place: int, counted: int
) -> None:
    """110 half-bits from the packet start bit on; what follows may be another protocol."""
    lengths = lengths_of(PLAIN) + lengths_of(PLAIN)[:28]
    broken = [75_000, 75_000, *[99_000, 58_000] * 100]
    broken[place] = broken[place + 1] = 75_000
    report = judge([*lengths, 99_000, 99_000, *broken, *lengths_of(PLAIN)])
    assert failing(report)[5] <= counted
    assert report.not_judged > 0


@pytest.mark.parametrize("end", ["silence", "end"])
@pytest.mark.parametrize("cut", [5_000, 30_000, 52_000, 54_000])
def test_a_half_bit_that_silence_cuts_proves_nothing(end: str, cut: int) -> None:
    """Power goes on one wire in the middle of a half-bit (S-9.2 §C)."""
    lengths = [*lengths_of(PLAIN, PLAIN), *lengths_of(PLAIN)[:40], cut]
    after = [40_000_000, *lengths_of(PLAIN, PLAIN)] if end == "silence" else []
    report = judge([*lengths, *after])
    assert not failing(report)
    assert report.verdict is (UNDECIDED if end == "silence" else PASS)


def test_what_was_taken_for_an_end_bit_when_silence_came_is_not_judged() -> None:
    """A start bit cut after 58 µs reads as an end bit, and the bytes so far as a wrong packet."""
    data = bytes.fromhex("C3E8EC0603C2")
    lengths = [*lengths_of(PLAIN), *lengths_of(data)[: 28 + 2 * 27]]
    for after in ([58_000], [58_000, 40_000_000, *lengths_of(PLAIN, PLAIN)]):
        report = judge([*lengths, *after])
        assert not failing(report)
    edges = edges_of([*lengths, 58_000])
    gap = (int(edges[-1]) + 20_000_000, int(edges[-1]) + 30_000_000)
    assert not failing(check_signal([Chunk(edges, gap)], resolution_ns=1000))


@pytest.mark.parametrize(
    ("one", "zero", "doubted"),
    [
        (62.64, 108, True),
        (53.36, 92, True),
        (62.64, 107.2, True),
        (62.64, 106.5, False),
        (62.64, 100, False),
        (58, 108, False),
    ],
)
def test_a_common_factor_of_all_durations_doubts_the_times(
    one: float, zero: float, doubted: bool
) -> None:
    """8 % long or short, ones and zeros alike to 1 %: the rate may be wrong, and nothing fails."""
    timing = Timing(round(one * 1000), round(zero * 1000))
    lengths = [n for _ in range(20) for n in Sending(PLAIN, timing=timing).lengths()]
    report = check_signal([edges_of(lengths)], resolution_ns=1)
    found = any("a common factor" in note for note in report.notes)
    assert (found, report.verdict is UNDECIDED) == (doubted, doubted)
    if doubted:
        assert not failing(report)
        assert result(report, 1).undecided == result(report, 1).measured > 0
        assert result(report, 17).verdict is Verdict.NOT_DECIDABLE, "whatever the times are"
        assert {result(report, rule).verdict for rule in (14, 15, 16)} == {PASS}, "no times"


@pytest.mark.parametrize("rate", [0.92e6, 0.94e6, 0.95e6, 1.06e6, 1.08e6])
def test_a_rate_that_is_a_little_wrong_is_doubted_too(rate: float) -> None:
    """Where the sampling leaves some halves of ones undecided, but surely passes none."""
    lengths = [n for _ in range(30) for n in Sending(PLAIN).lengths()]
    jitter = np.random.default_rng(1).integers(-400, 400, len(lengths) + 1)
    samples = -(-(edges_of(lengths, 5_000) + jitter) // 1_000)
    edges = np.rint(samples * 1e9 / rate).astype(np.int64)
    report = check_signal([edges], resolution_ns=round(1e9 / rate))
    assert not failing(report)
    assert any("a common factor" in note for note in report.notes)
    assert "(--resolution NS, if they are)" not in report.text(), "finer times would not decide"


def test_one_good_half_of_a_one_takes_the_doubt_away() -> None:
    """Then the station's clock is not steady, and its ones fail."""
    timing = Timing(62_640, 108_000)
    lengths = [n for _ in range(20) for n in Sending(PLAIN, timing=timing).lengths()]
    lengths[100] = lengths[101] = 60_000
    assert failing(check_signal([edges_of(lengths)], resolution_ns=1)).keys() == {1}


@pytest.mark.parametrize("pieces", [1, 3, 400])
def test_no_packet_and_a_wrong_rate_however_it_is_cut(pieces: int) -> None:
    """Half the durations: the factor is told, and nothing fails."""
    edges = edges_of(lengths_of(*[PLAIN] * 5)) // 2
    report = check_signal(np.array_split(edges, pieces))
    assert any("0.5 times what they should, a common factor" in note for note in report.notes)
    assert (report.packets, failing(report)) == (0, {})
