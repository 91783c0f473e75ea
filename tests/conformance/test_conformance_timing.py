"""Rules 1 to 5 on signals: one half-bit, one bit, one stretch altered at a time."""

from __future__ import annotations

import numpy as np
import pytest
from conformance_helpers import (
    COARSE,
    PLAIN,
    PLAIN_US,
    START_US,
    check_signal,
    edges_of,
    failing,
    judge,
    lengths_of,
    result,
)

from dccwire.conformance import Verdict
from dccwire.synthesis import Sending

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED
ONE = 84 + 4
"""A half of a one: the first of the third one of the second packet's preamble."""
ZERO = 84 + 28
"""A half of a zero: the first of the second packet's start bit."""


def three(changes: dict[int, int]) -> list[int]:
    """Three packets with some half-bits as long as told, in µs."""
    lengths = lengths_of(*[PLAIN] * 3)
    for place, length in changes.items():
        lengths[place] = length * 1000
    return lengths


def test_counts_of_three_packets() -> None:
    """Each half-bit once in rules 1, 3, 5, each bit once in rules 2, 4; nothing fails."""
    report = judge(three({}))
    assert (report.packets, report.edges, report.duration_ns) == (3, 253, 3 * PLAIN_US * 1000)
    assert (report.resolution_ns, report.verdict) == (1000, PASS)
    measured = {one.rule.number: one.measured for one in report.results}
    assert [measured[number] for number in (1, 2, 3, 4, 5)] == [162, 81, 90, 45, 252]
    worst = {one.rule.number: one.worst for one in report.results}
    assert [worst[number] for number in (1, 2, 3, 4, 5)] == ["58 us", "0 us", "99 us", "198 us", ""]
    assert report.histogram.counts() == {58: 162, 99: 90}


@pytest.mark.parametrize(
    ("u", "length", "verdict"),
    [
        *((0, length, PASS) for length in range(56, 61)),
        *((0, length, UNDECIDED) for length in (55, 61)),
        *((0, length, FAIL) for length in (52, 53, 54, 62, 63, 64)),
        *((1000, length, PASS) for length in (57, 58, 59)),
        *((1000, length, UNDECIDED) for length in (54, 55, 56, 60, 61, 62)),
        *((1000, length, FAIL) for length in (52, 53, 63, 64)),
    ],
)
def test_rule_1_as_in_m3(u: int, length: int, verdict: Verdict) -> None:
    """Half of a one, 55 to 61 µs (S-9.1 §A, Table 1 t1), at q = 1 µs."""
    report = judge(three({ONE: length, ONE + 1: length}), u)
    found = result(report, 1)
    assert found.verdict is verdict
    # A true 52 or 64 us is a decoder's limit: what reads nearer to it may be of neither (rule 5).
    near = not 52_000 + 1000 + u <= 1000 * length <= 64_000 - 1000 - u
    windows = UNDECIDED if near else PASS
    assert (found.measured, result(report, 5).verdict, report.packets) == (162, windows, 3)
    if verdict is FAIL:
        first = (PLAIN_US + 2 * 116) * 1000
        assert (found.failed, found.undecided) == (2, 0)
        assert found.first_times_ns == (first, first + length * 1000)
    elif verdict is UNDECIDED:
        assert (found.failed, found.undecided, found.first_times_ns) == (0, 2, ())
    assert found.worst == f"{length} us"


@pytest.mark.parametrize(
    ("difference", "verdict"),
    [(0, PASS), (1, PASS), (2, UNDECIDED), (3, UNDECIDED), (4, UNDECIDED), (5, FAIL), (6, FAIL)],
)
@pytest.mark.parametrize("first_longer", [True, False])
def test_rule_2_as_in_m4(difference: int, verdict: Verdict, first_longer: bool) -> None:
    """Halves of a one at most 3 µs apart (S-9.1 §A, Table 1 t1d), at q = 1 µs."""
    halves = (61, 61 - difference) if first_longer else (61 - difference, 61)
    found = result(judge(three({ONE: halves[0], ONE + 1: halves[1]})), 2)
    assert (found.verdict, found.measured) == (verdict, 81)
    assert found.worst == f"{difference} us"
    if verdict is FAIL:
        assert found.first_times_ns == ((PLAIN_US + 2 * 116) * 1000,)


def test_rule_2_compares_halves_of_one_bit_alone() -> None:
    """Two ones of 60 and 55 µs side by side differ within neither (M4 is of one bit)."""
    found = result(judge(three({ONE: 60, ONE + 1: 60, ONE + 2: 56, ONE + 3: 56})), 2)
    assert (found.verdict, found.worst) == (PASS, "0 us")


@pytest.mark.parametrize(
    ("length", "verdict"),
    [
        *((length, FAIL) for length in (90, 93, 94)),
        *((95, UNDECIDED), (96, PASS), (100, PASS), (9899, PASS), (9900, UNDECIDED)),
        *((9901, FAIL), (10_000, FAIL)),
    ],
)
@pytest.mark.parametrize("half", [0, 1])
def test_rule_3_as_in_m5(length: int, verdict: Verdict, half: int) -> None:
    """Half of a zero, 95 to 9900 µs (S-9.1 §A, Table 1 t0), at q = 1 µs; either half (E6)."""
    report = judge(three({ZERO + half: length}))
    found = result(report, 3)
    assert (found.verdict, found.measured, report.packets) == (verdict, 90, 3)
    assert result(report, 4).verdict is PASS
    if verdict is FAIL:
        at = PLAIN_US + START_US + 99 * half
        assert (found.failed, found.first_times_ns) == (1, (at * 1000,))
        assert found.worst == f"{length} us"


@pytest.mark.parametrize(
    ("halves", "verdict"),
    [
        ((6000, 5999), PASS),
        ((6000, 6000), UNDECIDED),
        ((9000, 3001), FAIL),
        ((99, 9800), PASS),
    ],
)
def test_rule_4_total_of_a_stretched_zero(halves: tuple[int, int], verdict: Verdict) -> None:
    """At most 12000 µs (S-9.1 §A, Table 1 t0total); a sum is off by q like one half (M6)."""
    report = judge(three({ZERO: halves[0], ZERO + 1: halves[1]}))
    found = result(report, 4)
    assert (found.verdict, found.measured, found.worst) == (verdict, 45, f"{sum(halves):g} us")
    assert result(report, 3).verdict is PASS
    if verdict is FAIL:
        assert found.first_times_ns == ((PLAIN_US + START_US) * 1000,)


@pytest.mark.parametrize("length", [4, 51, 65, 75, 89])
def test_rule_5_counts_what_is_in_neither_window(length: int) -> None:
    """Below 52, or from 64 to 90 µs, by more than q (S-9.1 §A, Table 1 tr1, tr0; M10)."""
    report = judge(three({ZERO: length}))
    found = result(report, 5)
    assert (found.verdict, found.failed, found.measured) == (FAIL, 1, 252)
    assert (found.worst, found.first_times_ns) == (
        f"{length} us",
        ((PLAIN_US + START_US) * 1000,),
    )
    assert (result(report, 1).verdict, result(report, 3).verdict) == (PASS, PASS)
    assert report.histogram.counts()[length] == 1


@pytest.mark.parametrize(("length", "number"), [(52, 1), (64, 1), (90, 3)])
def test_rule_5_leaves_the_windows_to_rules_1_and_3(length: int, number: int) -> None:
    """The windows' own limits are ones and zeros out of tolerance (M10), as far as is known."""
    report = judge(three({ONE if number == 1 else ZERO: length}))
    assert (result(report, 5).verdict, result(report, 5).undecided) == (UNDECIDED, 1)
    inside = 1 if length < 60 or number == 3 else -1
    report = judge(three({ONE if number == 1 else ZERO: length + inside}))
    assert result(report, 5).verdict is PASS
    assert result(report, number).failed == 1


@pytest.mark.parametrize(
    ("length_ns", "number"),
    [
        *((51_999, 5), (52_000, 1), (64_000, 1), (64_001, 5), (89_999, 5), (90_000, 3)),
        *((54_999, 1), (61_001, 1), (94_999, 3), (9_900_001, 3), (10_000_000, 3)),
        *((55_000, 0), (61_000, 0), (95_000, 0), (9_900_000, 0)),
    ],
)
def test_each_limit_is_exact(length_ns: int, number: int) -> None:
    """At a resolution of 1 ns: which rule fails one ns outside a limit or a window, and at it none.

    S-9.1 §A, Table 1 t1, t0, tr1, tr0; the readings are whole ns, so they are less than 1 ns off.
    """
    place = 84 + 28 + 14 if length_ns < 80_000 else ZERO
    lengths = lengths_of(*[PLAIN] * 3)
    lengths[place] = length_ns
    report = check_signal([edges_of(lengths)], resolution_ns=1)
    failed = set(failing(report)) - {2}
    at_a_limit = number == 0
    assert failed == (set() if at_a_limit else {number})
    assert result(report, 1 if length_ns < 80_000 else 3).verdict is (
        UNDECIDED if at_a_limit else FAIL if number in (1, 3) else PASS
    )


@pytest.mark.parametrize(("level_ns", "not_judged"), [(399_998, 1), (399_999, 0), (400_000, 0)])
def test_the_shortest_pause_is_exact(level_ns: int, not_judged: int) -> None:
    """400 µs from the end bit on, known to 1 ns (from memory: a cutout ends 54 µs later)."""
    halves = lengths_of(PLAIN)
    report = check_signal([edges_of([*halves, level_ns, *halves])], resolution_ns=1)
    assert report.not_judged == not_judged


def test_rule_5_constant_half_bits_of_75_us() -> None:
    """Half-bits of no packet may be another protocol's (S-9.2 §C): told, shown, and not judged."""
    report = check_signal([np.arange(1001) * 75_000])
    found = result(report, 5)
    assert (found.verdict, found.measured) == (Verdict.NOT_EXERCISED, 0)
    assert (report.verdict, report.packets) == (Verdict.NOT_EXERCISED, 0)
    assert (report.not_judged, report.histogram.counts()) == (1000, {75: 1000})
    assert report.notes == (
        "1000 half-bits of 75 to 75 us not judged, the first at 0.000 ms: they are of no packet; "
        "another protocol may stand between packets (S-9.2 §C)",
        "no packet was read",
    )


@pytest.mark.parametrize("cut", [None, *range(84 + 28, 84 + 84, 7)])
def test_rule_5_a_dropped_half_bit_is_no_bit(cut: int | None) -> None:
    """Half a 0 with half a 1 is neither bit (S-9.1 §A), wherever the input is cut."""
    # Half-bit 18 is the first of the 0 before the second byte, in 03 3F 3C: without it the byte's
    # two zeros shift, then half a 0 meets half a 1.
    sendings = [Sending(PLAIN, timing=COARSE, drop=18 if at == 1 else None) for at in range(3)]
    edges = edges_of(length for sending in sendings for length in sending.lengths())
    chunks = [edges] if cut is None else [edges[:cut], edges[cut:]]
    report = check_signal(chunks)
    found = result(report, 5)
    assert (found.verdict, found.failed, found.worst) == (FAIL, 1, "")
    assert found.note == "1 bit of half a 1 and half a 0"
    # Start bit, 03 (6 zeros, 2 ones), half a start bit, the byte's 2 zeros are 11.5 bits.
    at = PLAIN_US + START_US + 7 * 198 + 2 * 116 + 5 * 99
    assert found.first_times_ns == (at * 1000,)
    assert report.packets == 2


def test_a_half_bit_in_neither_window_is_not_counted_twice() -> None:
    """A half of a one that reads 75 µs breaks the packet off, and counts once."""
    # The ones of 03 are its last two bits: half-bits 14 to 17 from the packet start bit on.
    for place in range(14, 18):
        report = judge(three({ZERO + place: 75}))
        assert failing(report) == {5: 1}
        assert result(report, 5).note == "single ones may be noise where the probe is (E5)"


def test_a_longer_error_widens_the_windows() -> None:
    """With u = 4 µs a one of 61 µs may read 65: it is read as one, undecided, and so its packet."""
    report = judge(three({ZERO + 14: 65, ZERO + 15: 65}), 4000)
    assert report.packets == 3
    assert (result(report, 1).verdict, result(report, 5).verdict) == (UNDECIDED, UNDECIDED)


def test_half_bits_of_no_packet_are_judged_before_the_first_one() -> None:
    """A recording's start belongs to no packet known, but what reads as bits is judged.

    Not the first half-bit, though, which the signal's begin may have cut, nor the next three, which
    a contact may have made.
    """
    report = judge([62_000] * 5 + three({}))
    assert (result(report, 1).failed, result(report, 1).measured) == (1, 163)


@pytest.mark.parametrize(
    ("level", "verdict"),
    [(100, UNDECIDED), (398, UNDECIDED), (400, PASS), (450, PASS), (480, PASS), (5000, PASS)],
)
@pytest.mark.parametrize("preamble", [14, 16])
def test_a_long_level_after_the_end_bit_is_told_and_not_judged(
    level: int, preamble: int, verdict: Verdict
) -> None:
    """On one wire a cutout looks like a stretched half of a zero (S-9.2 §C); no cutout is shorter.

    From memory: it ends 454 µs or more after the end bit.
    """
    halves = lengths_of(PLAIN, preamble=preamble)
    report = judge([*halves, level * 1000, *halves, level * 1000, *halves])
    assert (report.verdict, report.not_judged) == (verdict, 2 * (verdict is UNDECIDED))
    assert (result(report, 3).measured, result(report, 5).measured) == (90, 3 * len(halves))
    assert any("2 half-bits" in note and "not judged" in note for note in report.notes)
    others = {100 if level == 100 else 140: 2}
    assert report.histogram.counts() == {58: 3 * len(halves) - 90, 99: 90, **others}


@pytest.mark.parametrize(
    ("between", "shape"),
    [
        ([29, 430], True),
        ([33, 430], True),
        ([34, 430], False),
        ([430, 64], True),
        ([430, 66], False),
        ([430, 20, 20], False),
        ([29, 430, 20], True),
        ([29, 20, 430], False),
        ([70, 70], False),
        ([58, 450], False),
    ],
)
def test_the_shape_of_a_pause(between: list[int], shape: bool) -> None:
    """One long level, before it at most 32 µs of signal, after it the rest of a half-bit."""
    halves = lengths_of(PLAIN)
    report = judge([*halves, *(1000 * level for level in between), *halves])
    assert (report.not_judged == 0) is shape, report.notes
    assert report.verdict is (PASS if shape else UNDECIDED)
    everything = check_signal(
        [edges_of([*halves, *(1000 * level for level in between), *halves])],
        resolution_ns=1000,
        other_protocols=True,
    )
    assert everything.verdict is PASS


def test_short_levels_after_the_end_bit_are_told_and_not_judged() -> None:
    """What a cutout leaves of a wire's level: 29 µs, then a long one, before the preamble."""
    halves = lengths_of(PLAIN)
    report = judge([*halves, 29_000, 430_000, 20_000, *halves])
    assert (report.verdict, report.packets) == (PASS, 2)
    assert report.notes == (
        "3 half-bits between packets not judged: they have the shape of a cutout or a pause "
        "(S-9.2 §C)",
    )


def test_an_end_bit_that_runs_into_a_long_level_is_complete() -> None:
    """The last half of the end bit may never see an edge of its own."""
    halves = lengths_of(PLAIN)
    report = judge([*halves[:-1], 480_000, *halves])
    assert (report.verdict, report.packets, result(report, 15).measured) == (PASS, 2, 2)
    # The end bit's first half is judged alone; its bit is not.
    assert (result(report, 1).measured, result(report, 2).measured) == (54 + 53, 27 + 26)


def test_an_end_bits_last_half_too_short_for_a_cutout_is_judged() -> None:
    """75 µs is neither a half of a one nor a level that a cutout holds."""
    halves = lengths_of(PLAIN)
    report = judge([*halves[:-1], 75_000, *halves])
    assert (failing(report), report.packets) == ({5: 1}, 2)
    assert result(report, 5).first_times_ns == ((PLAIN_US - 58) * 1000,)


@pytest.mark.parametrize("place", [84 + 6, ZERO])
def test_a_spoiled_preamble_or_start_bit_does_not_hide_the_packet(place: int) -> None:
    """After ten ones it is a packet that was spoiled; after three it may be another protocol."""
    report = judge(three({place: 75, place + 1: 75, ZERO + 4: 94, ZERO + 14: 62}))
    spoiled = place == ZERO
    assert failing(report) == ({1: 1, 3: 1, 5: 2} if spoiled else {1: 1, 3: 1})
    assert (result(report, 5).measured, report.not_judged) == ((252, 0) if spoiled else (244, 8))


def test_a_cutout_does_not_hide_a_spoiled_packet() -> None:
    """From a preamble's ten ones on (S-9.2 §A), half-bits are judged again."""
    halves = lengths_of(PLAIN)
    spoiled = halves.copy()
    spoiled[28] = spoiled[29] = 75_000
    report = judge([*halves, 29_000, 430_000, *spoiled, *halves])
    assert (failing(report), report.packets) == ({5: 2}, 2)
    assert result(report, 5).measured == 252
    at = PLAIN_US + 459 + START_US
    assert result(report, 5).first_times_ns == (at * 1000, (at + 75) * 1000)


def test_an_end_bit_at_the_end_of_the_recording() -> None:
    """The same where no edge follows at all, but the level is known to have held."""
    halves = lengths_of(PLAIN, PLAIN)
    edges = edges_of(halves)
    report = check_signal([edges[:-1]])
    assert (report.packets, report.verdict) == (1, PASS)


def test_silence_is_told() -> None:
    """No edge for more than 10 ms is a gap: no half-bit, and the packet that it cuts is none."""
    report = judge(three({ZERO + 20: 12_000}))
    assert (report.packets, report.verdict) == (2, UNDECIDED)
    note, unread = report.notes
    assert unread.startswith("1 place may hold a packet that could not be read, the first at ")
    assert note.startswith("no edge for more than 10 ms, 1 time: a gap")
    assert result(report, 13).verdict is UNDECIDED
    assert result(report, 5).measured == 251
    assert result(report, 3).measured == 89


def test_merged_pulses_are_told() -> None:
    """Pulses of 2 µs within half-bits are taken out before judging (S-9.1 §B, M8)."""
    sendings = [Sending(PLAIN, timing=COARSE, pulse_ns=2000 * (at > 0)) for at in range(3)]
    report = judge(length for sending in sendings for length in sending.lengths())
    assert (report.verdict, report.packets, report.edges) == (PASS, 3, 253 + 4)
    # In the 14th bit from the packet start bit on: 10 zeros, 3 ones and half a one lie before.
    middle = PLAIN_US + START_US + 10 * 198 + 3 * 116 + 58 + (58 - 2) // 2
    assert report.notes == (
        "2 pulses shorter than 4 us merged before judging (S-9.1 §B, M8), "
        f"the first at {middle / 1000:.3f} ms; half-bits beside them are known only to their width",
    )
    assert (result(report, 1).worst, result(report, 5).failed) == ("58 us", 0)


@pytest.mark.parametrize("cut", range(40, 200, 20))
def test_a_pulse_far_from_a_half_bit_changes_nothing_of_rule_5(cut: int) -> None:
    """Nor whether both stand in one portion: it is known to less than 1 us short of a zero."""
    lengths = three({ZERO: 89})
    lengths[-20] -= 2000
    lengths[-19:-19] = [1000, 1000]
    edges = edges_of(lengths)
    whole = check_signal([edges], resolution_ns=1000)
    parts = check_signal(np.split(edges, [cut]), resolution_ns=1000)
    assert list(parts.to_dicts()) == list(whole.to_dicts())
    assert (result(whole, 5).verdict, result(whole, 5).failed) == (FAIL, 1)
