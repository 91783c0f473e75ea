"""A probe that delays edges of one direction more than others is not blamed on the station."""

from __future__ import annotations

from pathlib import Path
from random import Random

import numpy as np
import pytest
from conformance_helpers import check_signal, edges_of, result

from dccwire.conformance import Report, Session, Verdict, check, html_of, junit_of
from dccwire.recordings import Chunk, write_vcd
from dccwire.signal import Timing
from dccwire.synthesis import Sending

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED
GOOD = Timing(58_000, 100_000)
IDLE, SPEED = bytes.fromhex("FF00FF"), bytes.fromhex("037477")


def seen(shift: int, timing: Timing = GOOD, *, zeros: int | None = None) -> list[int]:
    """Half-bits as a probe shows them: those of one polarity longer, the others shorter."""
    random = Random(1)
    lengths = [
        length
        for number in range(60)
        for length in Sending([IDLE, SPEED][number % 2], 16, timing).lengths()
    ]
    by = (shift if zeros is None or length < 80_000 else zeros for length in lengths)
    return [
        int(length + (-1) ** place * each + random.uniform(-300, 300))
        for place, (length, each) in enumerate(zip(lengths, by, strict=True))
    ]


def judged(lengths: list[int]) -> Report:
    """The report on half-bits that were sampled each 0.1 µs."""
    return check_signal([edges_of(lengths)], resolution_ns=100)


@pytest.mark.parametrize(
    ("shift", "verdict"),
    [(0, PASS), (500, PASS), (1600, UNDECIDED), (1800, UNDECIDED), (-1800, UNDECIDED)],
)
def test_a_probe_of_one_rail_is_not_blamed_on_the_station(shift: int, verdict: Verdict) -> None:
    """Ones and zeros are shifted alike (M7): the difference of the halves of a 1 is open."""
    report = judged(seen(shift))
    assert (report.verdict, result(report, 2).verdict, result(report, 2).failed) == (
        verdict,
        verdict,
        0,
    )
    if verdict is UNDECIDED:
        told = float(result(report, 2).note.split(" last ")[1].split()[0])
        assert told == pytest.approx(abs(shift) / 1e3, abs=0.02)
        assert "reverse the probe to decide (M7)" in result(report, 2).note
        assert "rule 2: see its note" in report.text()


@pytest.mark.parametrize("shift", [3500, -3500])
def test_halves_that_it_moves_out_of_their_limits_are_open_too(shift: int) -> None:
    """55 to 61 µs (rule 1) with the shift taken off."""
    report = judged(seen(shift))
    assert result(report, 1).verdict is UNDECIDED
    assert result(report, 1).first_times_ns == ()
    short = judged(seen(shift // 2, Timing(58_000, 96_000)))
    assert result(short, 3).verdict is UNDECIDED


@pytest.mark.parametrize(
    ("timing", "shift", "zeros", "rule"),
    [
        (Timing(60_000, 100_000, one_last=56_000), 0, 0, 2),
        (GOOD, 1800, 0, 2),
        (Timing(62_000, 100_000), 1000, None, 1),
        (Timing(58_000, 93_000), 1000, None, 3),
    ],
)
def test_what_the_probe_does_not_explain_fails(
    timing: Timing, shift: int, zeros: int | None, rule: int
) -> None:
    """Ones alone, or wrong without it as well."""
    report = judged(seen(shift, timing, zeros=zeros))
    assert (report.verdict, result(report, rule).verdict) == (FAIL, FAIL)


@pytest.mark.parametrize(
    ("ones", "zeros"),
    [(1800, 1800 - 180), (1800, 1800 - 250), (1800, 1400), (2000, 1000), (0, -2500), (1000, -1500)],
)
def test_ones_and_zeros_may_be_shifted_by_the_station_and_by_the_probe(
    ones: int, zeros: int
) -> None:
    """What zeros show may be the probe's: less that, the halves of ones differ otherwise (M7)."""
    report = judged(seen(ones, zeros=zeros))
    assert (report.verdict, result(report, 2).verdict) == (UNDECIDED, UNDECIDED)


def test_zeros_that_differ_from_bit_to_bit_show_no_probe() -> None:
    """Half of them by 3 us, half of them not: the halves of ones then fail by themselves."""
    stretched = [
        Sending(IDLE, 16, Timing(60_000, zero, one_last=56_000)) for zero in (100_000, 130_000)
    ]
    uneven = [
        length - 3000 * (place % 2) * (length > 90_000) * (number % 2)
        for number in range(60)
        for place, length in enumerate(stretched[number % 2].lengths())
    ]
    assert result(judged(uneven), 2).verdict is FAIL


def test_a_file_is_looked_at_again_without_the_shift(tmp_path: Path) -> None:
    """As edges are, with its own resolution."""
    path = tmp_path / "track.vcd"
    write_vcd(path, edges_of(seen(1800), 58_000).tolist())
    report = check_signal(path)
    assert result(report, 2).verdict is UNDECIDED
    assert (report.packets, report.edges) == (60, len(seen(1800)) + 1)


def test_across_a_stretch_without_a_level_polarity_is_not_known() -> None:
    """Unless the recording tells: what differs by half may be the probe's, and is left open."""
    edges = edges_of(seen(1800))
    gap = int(edges[-1]) + 40_000
    for turned in (None, False, True):
        later = Chunk(edges[turned is False :] + gap + 10**6)
        chunks = [Chunk(edges, (gap, gap + 10**6), turned=turned), later]
        found = result(check_signal(chunks, resolution_ns=100), 2)
        assert found.verdict is UNDECIDED
        assert "reverse the probe to decide (M7)" in found.note


def test_it_is_the_same_wherever_the_edges_are_cut() -> None:
    """Polarity goes on from chunk to chunk."""
    edges = edges_of(seen(1800))
    whole = result(check_signal([edges], resolution_ns=100), 2)
    for cut in range(100, len(edges), 777):
        parts = check_signal(np.split(edges, [cut]), resolution_ns=100)
        assert result(parts, 2) == whole


def test_ones_alone_tell_nothing_of_the_probe() -> None:
    """Nor of anything else: no packet tells that they are ones."""
    report = judged([62_000 + (-1) ** place * 1800 for place in range(400)])
    assert result(report, 1).verdict is UNDECIDED
    assert "no packet was read" in result(report, 1).note


@pytest.mark.parametrize(
    ("timing", "shift"),
    [
        (Timing(58_000, 100_000, zero_last=300_000), 2000),
        (Timing(58_000, 100_000, zero_last=5_000_000), 2000),
        (Timing(58_000, 150_000), -3500),
        (Timing(60_250, 150_000, one_last=56_750), -1000),  # what the probe hides of rule 2
    ],
)
def test_zeros_that_are_all_stretched_do_not_tell_of_the_probe(timing: Timing, shift: int) -> None:
    """So whose the difference of ones is stays open, and so do rules 1 and 2."""
    report = judged(seen(shift, timing))
    assert [result(report, rule).verdict for rule in (1, 2)] == [UNDECIDED, UNDECIDED]
    assert "no zeros tell" in result(report, 2).note
    assert result(report, 3).verdict is PASS
    kept = judged(seen(0, Timing(58_000, timing.zero, zero_last=timing.zero_last)))
    assert [result(kept, rule).verdict for rule in (1, 2, 3)] == [PASS, PASS, PASS]


def test_short_zeros_near_the_shift_of_an_untold_probe_are_open() -> None:
    """95 us and 0.5 more, where halves differ by 1 us, and those of the other polarity are long."""
    report = judged(seen(500, Timing(58_000, 95_700, zero_last=300_000)))
    assert result(report, 3).verdict is UNDECIDED


@pytest.mark.parametrize("shift", [1500, -1500])
def test_zeros_that_scatter_tell_of_the_probe_by_their_mean(shift: int) -> None:
    """Ones of 60 and 58 us, zeros off by 2 us as they come: all keep their limits (M6)."""
    random = Random(3)
    lengths = seen(shift, Timing(60_000, 98_000, one_last=58_000))
    lengths = [one + random.choice([-2000, 0, 2000]) * (one > 80_000) for one in lengths]
    report = judged(lengths)
    assert not any(result(report, rule).failed for rule in (1, 2, 3, 4, 5))


@pytest.mark.parametrize(
    ("timing", "rule"), [(Timing(61_000, 100_000), 1), (Timing(58_000, 95_000), 3)]
)
def test_a_small_shift_counts_at_a_limit(timing: Timing, rule: int) -> None:
    """0.15 us, sampled each 10 ns, without jitter."""
    lengths = Sending(IDLE, 16, timing).lengths()
    halves = [one + 150 * (-1) ** place for place, one in enumerate(list(lengths) * 40)]
    report = check_signal([edges_of(halves)], resolution_ns=10)
    assert result(report, rule).verdict is UNDECIDED


@pytest.mark.parametrize("shift", [0, 4000, -4000])
def test_times_between_packets_are_off_by_the_shift(shift: int) -> None:
    """Rule 24: 5.001 ms from end to start, which the probe may show as 4.997."""
    packet = list(Sending(bytes.fromhex("038083"), 16, GOOD).lengths())
    at = edges_of([*packet, 5_001_000 - 32 * 58_000] * 21)  # a level that turns the polarity
    at[1::2] += shift
    report = check_signal([at], resolution_ns=100)
    known = check([at], resolution_ns=100, session=Session(programming_track=False))
    assert report.packets == 21
    assert result(known, 24).verdict is (PASS if not shift else UNDECIDED)


def test_a_run_that_is_stopped_knows_of_the_probe_too() -> None:
    """It is judged again as far as it came."""
    edges = edges_of(seen(1800))
    calls = iter([False, False, True])
    parts = np.split(edges, range(1000, len(edges), 1000))
    report = check_signal(parts, resolution_ns=100, progress=lambda: next(calls))
    assert (report.stopped, result(report, 2).verdict) == (True, UNDECIDED)


def test_a_probe_is_known_across_a_stretch_without_a_level_in_a_file(tmp_path: Path) -> None:
    """The file tells which level is behind it."""
    edges = edges_of(seen(1800), 1000).tolist()
    rows = [f"#{time}\n{place % 2}!\n" for place, time in enumerate(edges)]
    for cut in (2000, 2001):
        later = [
            f"#{time + 10**6}\n{place % 2}!\n" for place, time in enumerate(edges) if place > cut
        ]
        text = "".join([*rows[: cut + 1], f"#{edges[cut] + 30_000}\nz!\n", *later])
        path = tmp_path / f"gap{cut}.vcd"
        head = "$timescale 1 ns $end\n$var wire 1 ! track $end\n$enddefinitions $end\n"
        path.write_text(head + text, "utf-8")
        report = check_signal(path, resolution_ns=100)
        assert result(report, 2).verdict is UNDECIDED
        assert result(report, 2).failed == 0


def test_a_large_shift_at_a_coarse_resolution_is_left_open() -> None:
    """10 us of shift, known to 9 us: more than tells ones from zeros."""
    at = edges_of(seen(10_000, Timing(58_000, 110_000)))
    report = check_signal([at], resolution_ns=9000)
    assert not any(result(report, rule).failed for rule in (1, 2, 3, 4))


def test_bits_that_the_probe_may_have_spoiled_fail_no_preamble() -> None:
    """Ones of 61 us read as 57 and 65, or as 66, which is none: short preambles (rule 14)."""
    random, failed = Random(2), 0
    for _ in range(40):
        lengths = [
            length + random.randint(-100, 100)
            for number in range(12)
            for length in Sending([IDLE, SPEED][number % 2], 14, Timing(61_000, 100_000)).lengths()
        ]
        at = edges_of(lengths, random.randrange(1000))
        at[1::2] -= 4000
        report = check_signal([-(-at // 1000) * 1000], resolution_ns=1001)
        bits = [result(report, rule) for rule in (14, 15)]
        failed += sum("reverse the probe to decide" in one.note for one in bits)
        assert not any(one.failed for one in bits)
    assert failed


def test_a_small_shift_excuses_no_short_preamble() -> None:
    """0.8 us, which moves no half out of its window, beside a half of noise (rules 5 and 14)."""
    packets = [(IDLE, 16), (SPEED, 16)] * 30
    packets[40] = (SPEED, 11)
    lengths = [length for data, ones in packets for length in Sending(data, ones, GOOD).lengths()]
    lengths[60] = 75_000
    at = edges_of(lengths)
    at[1::2] += 800
    report = judged(np.diff(at).tolist())
    assert result(report, 5).failed == 1
    assert result(report, 14).failed == 1


def stretched(share: float, one: tuple[int, int], shift: int, by: tuple[int, int]) -> list[int]:
    """Half-bits of which a share of the zeros has a half that is so much longer, and a probe."""
    random = Random(4)
    halves = []
    for length in (length for _ in range(12) for length in Sending(IDLE, 16, GOOD).lengths()):
        last = len(halves) % 2
        more = random.randint(*by) if last == 0 and random.random() < share else 0
        halves.append(one[last] if length == GOOD.one else length + more)
    return [length + (-1) ** place * shift for place, length in enumerate(halves)]


@pytest.mark.parametrize("by", [(20_000, 400_000), (8_000, 8_000), (20_000, 20_000)])
@pytest.mark.parametrize("share", [0.02, 0.5, 0.7])
@pytest.mark.parametrize(
    ("one", "shift"),
    [((58_000, 58_000), 1600), ((58_000, 58_000), -1600), ((59_700, 56_300), -800)],
)
def test_zeros_that_are_not_stretched_tell_of_the_probe(
    share: float, by: tuple[int, int], one: tuple[int, int], shift: int
) -> None:
    """What it would break, and what it hides: ones that differ by 3.4 us read 1.8 (rule 2)."""
    report = judged(stretched(share, one, shift, by))
    assert result(report, 2).verdict is UNDECIDED
    assert not any(result(report, rule).failed for rule in (1, 2, 3))


@pytest.mark.parametrize("shift", [2500, -2500])
def test_a_fault_beside_the_probe_is_counted_once(shift: int) -> None:
    """One half of 61.5 us, 3.5 more than the other: all other bits are open (M7)."""
    halves = stretched(0, (58_000, 58_000), shift, (0, 0))
    place = 6 * 84 + 10
    halves[place] += 3500
    report = judged(halves)
    found = result(report, 2)
    assert (found.verdict, found.failed, found.undecided > 300) == (FAIL, 1, True)
    # As it reads, the probe makes the halves of that bit more alike: then no place is certain.
    places = [int(edges_of(halves)[place])] * (shift > 0)
    assert [*found.first_times_ns] == places
    for words in (report.text(), html_of(report), junit_of(report)):
        assert "reverse the probe to decide (M7)" in " ".join(words.split())
    assert "reverse the probe to decide (M7)" in found.note


def test_a_shift_less_than_the_error_adds_to_it() -> None:
    """60.9 us and 0.5 of the probe's read 62 sampled each 1 us (M1, M7)."""
    for seed in range(20):
        random = Random(seed)
        lengths = [
            length
            for number in range(40)
            for length in Sending([IDLE, SPEED][number % 2], 16, Timing(60_900, 100_030)).lengths()
        ]
        at = edges_of(lengths, random.randrange(1000))
        at[seed % 2 :: 2] += 500
        report = check_signal([-(-at // 1000) * 1000], resolution_ns=1000)
        assert not result(report, 1).failed, seed


@pytest.mark.parametrize("longer", [110_000, 120_000, 132_000, 200_000])
def test_zeros_stretched_elsewhere_hide_no_fault_of_ones(longer: int) -> None:
    """58 and 63.3 us in three packets, zeros of 100 and more in twelve others, no probe (M2)."""
    good, faulty = Timing(58_000, 100_000), Timing(58_000, 100_000, one_last=63_300)
    stretched = Timing(58_000, 100_000, zero_last=longer)
    timings = [good] * 5 + [stretched] * 12 + [good] * 20 + [faulty] * 3 + [good] * 10
    lengths = [one for timing in timings for one in Sending(SPEED, 16, timing).lengths()]
    ones = sum(length == 63_300 for length in lengths)
    report = judged(lengths)
    assert [result(report, rule).failed for rule in (1, 2)] == [ones, ones]


@pytest.mark.parametrize("each", [2, 3, 4, 5, 6, 8, 10])
def test_however_many_ones_are_wrong_they_fail(each: int) -> None:
    """58 and 54 us, sampled each 0.5 us, where all others and all zeros show no probe (M2, M4)."""
    lengths, ones = [], 0
    for half in (half for _ in range(40) for half in Sending(IDLE, 16, GOOD).lengths()):
        ones += half == GOOD.one
        wrong = half == GOOD.one and ones % 2 == 0 and ones // 2 % each == 0
        lengths.append(half - 4_000 * wrong)
    at = edges_of(lengths, 1_370)
    report = check_signal([-(-at // 500) * 500], resolution_ns=500)
    wrong = sum(length == 54_000 for length in lengths)
    assert wrong - 2 <= result(report, 1).failed <= wrong  # what the recording cuts is not judged
    assert result(report, 2).failed > 0.9 * wrong


def test_no_place_is_told_that_fails_only_without_the_shift() -> None:
    """Zeros of 94.5 and 97.5 us by half, no probe, and one of 93.9 us: that fails in either way."""
    zeros = Timing(58_000, 94_500, zero_last=97_500)
    lengths = [one for _ in range(30) for one in Sending(IDLE, 16, zeros).lengths()]
    firsts = [place for place, one in enumerate(lengths) if one == 94_500]
    lasts = [place for place, one in enumerate(lengths) if one == 97_500]
    lengths[firsts[90]], lengths[lasts[40]] = 92_000, 95_700
    at = edges_of(lengths)
    found = result(judged(lengths), 3)
    assert found.verdict is FAIL
    broken = {int(at[place]) for place, one in enumerate(lengths) if 90_000 < one < 95_000}
    assert set(found.first_times_ns) <= broken
