"""Packets that noise spoils, gaps that cut them: what the station did is neither denied nor blamed.

Each signal is drawn by hand from its half-bits, and its truth is known.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import reduce
from operator import xor
from pathlib import Path

import numpy as np
import pytest

from dccwire import ShortAddress
from dccwire.conformance import Expectation, Report, Session, Verdict, check
from dccwire.recordings import Chunk

FAIL, PASS, UNDECIDED = Verdict.FAIL, Verdict.PASS, Verdict.UNDECIDED
NOT_EXERCISED = Verdict.NOT_EXERCISED


def packet(*data: int) -> list[int]:
    """Bytes with their exclusive OR."""
    return [*data, reduce(xor, data)]


IDLE, RESET, FAST = [255, 0, 255], [0, 0, 0], packet(3, 0x65)
VERIFY, WRITE = packet(0x74, 28, 38), packet(3, 0xEC, 28, 5)


def halves(
    packets: Iterable[list[int]], ones: int = 16, one: float = 58, zero: float = 100
) -> list[float]:
    """Half-bits in us (S-9.2 §A)."""
    bits = list[int]()
    for data in packets:
        bits += [1] * ones
        for byte in data:
            bits += [0, *(byte >> at & 1 for at in range(7, -1, -1))]
        bits.append(1)
    return [length for bit in bits for length in ([one] * 2 if bit else [zero] * 2)]


def edges(lengths: list[float]) -> np.ndarray:  # type: ignore[type-arg]
    """Edge times in ns."""
    return np.round(np.cumsum([1000, *lengths]) * 1000).astype(np.int64)


def verdict(report: Report, number: int) -> Verdict:
    """Of one rule."""
    return next(one.verdict for one in report.results if one.rule.number == number)


def failing(report: Report) -> set[int]:
    """The rules that fail."""
    return {one.rule.number for one in report.results if one.verdict is FAIL}


def noisy(packets: list[list[int]], number: int, at: int) -> np.ndarray:  # type: ignore[type-arg]
    """A pulse of 3.5 us, 3 us behind a crossing, so many half-bits into a preamble of 20 ones."""
    place = len(halves(packets[:number], 20)) + at
    lengths = halves(packets, 20)
    lengths[place : place + 1] = [3, 3.5, lengths[place] - 6.5]
    return edges(lengths)


SEQUENCE = [IDLE] * 4 + [RESET] * 3 + [VERIFY] * 5 + [RESET] * 3 + [IDLE] * 4
START_UP = [RESET] * 20 + [IDLE] * 10 + [FAST] + [IDLE] * 3
WRITES = [IDLE] * 4 + [WRITE, IDLE, IDLE, WRITE, IDLE, IDLE]


@pytest.mark.parametrize(("at", "found"), [(28, PASS), (33, UNDECIDED), (34, UNDECIDED)])
@pytest.mark.parametrize(
    ("rule", "packets", "number", "session"),
    [
        (54, SEQUENCE, 5, Session(programming_track=True)),
        (86, START_UP, 10, Session(new=True, power_on_ns=(0,))),
        (42, WRITES, 7, None),
    ],
)
def test_a_packet_that_a_pulse_in_its_preamble_spoils_may_have_been_sent(  # noqa: PLR0917 - its columns
    at: int,
    found: Verdict,
    rule: int,
    packets: list[list[int]],
    number: int,
    session: Session | None,
) -> None:
    """With six ones left behind the pulse it is read, with three it is not: then nothing fails."""
    report = check([noisy(packets, number, at)], resolution_ns=1, session=session)
    assert (verdict(report, rule), failing(report)) == (found, set())
    told = [note for note in report.notes if "may hold a packet" in note]
    assert len(told) == (found is UNDECIDED)


@pytest.mark.parametrize(("least", "most"), [(1, None), (0, 0)])
@pytest.mark.parametrize("at", [28, 34])
def test_an_expectation_on_it_is_open(at: int, least: int, most: int | None) -> None:
    """Whether one is expected, or none."""
    expected = Expectation(ShortAddress(3), at_least=least, at_most=most)
    sent = noisy([IDLE] * 6 + [FAST] + [IDLE] * 6, 6, at)
    report = check([sent], resolution_ns=1, session=Session(expectations=(expected,)))
    (found,) = report.expectations
    assert found.verdict is (UNDECIDED if at == 34 else FAIL if most == 0 else PASS)


@pytest.mark.parametrize("dropped", [0, 12, 13, 20, 31, 32])
@pytest.mark.parametrize(("least", "most"), [(1, None), (0, 0)])
def test_a_first_packet_whose_preamble_is_cut_may_be_expected(
    dropped: int, least: int, most: int | None
) -> None:
    """The recording begins within 16 ones; below ten of them no receiver takes what follows."""
    expected = Expectation(ShortAddress(3), at_least=least, at_most=most)
    sent = edges(halves([FAST] + [IDLE] * 6))[dropped:]
    report = check([sent], resolution_ns=1, session=Session(expectations=(expected,)))
    read = FAIL if most == 0 else PASS
    assert report.expectations[0].verdict is (read if dropped < 13 else UNDECIDED)


@pytest.mark.parametrize("byte", [0, 1, 2])
def test_a_packet_with_one_byte_wrong_may_be_expected(byte: int) -> None:
    """The address, the instruction or the error byte; more of them, too."""
    expected = Expectation(ShortAddress(3), "SpeedAndDirection step=7 steps=28 forward=yes")
    wrong = list(FAST)
    wrong[byte] ^= 0x10
    session = Session(expectations=(expected,))
    report = check([edges(halves([IDLE, wrong, IDLE]))], resolution_ns=1, session=session)
    assert report.expectations[0].verdict is UNDECIDED
    wrong = [FAST[0] ^ 0x10, FAST[1] ^ 0x04, FAST[2]]
    report = check([edges(halves([IDLE, wrong, IDLE]))], resolution_ns=1, session=session)
    assert report.expectations[0].verdict is UNDECIDED


@pytest.mark.parametrize("behind", [[30, 434], [26, 182] * 10], ids=["cutout", "others"])
@pytest.mark.parametrize("pulse", [False, True])
def test_what_stands_behind_a_spoiled_packet_is_not_judged(
    behind: list[float], pulse: bool
) -> None:
    """A pulse within a packet makes nothing of a cutout, nor of what S-9.2 §C allows."""
    spoiled = halves([IDLE])
    spoiled[40:41] = [3, 3.5, spoiled[40] - 6.5] if pulse else spoiled[40:41]
    lengths = halves([IDLE] * 4) + spoiled + behind + halves([IDLE] * 4)
    report = check([edges(lengths)], resolution_ns=1, other_protocols=True)
    assert report.verdict is (UNDECIDED if pulse else PASS)
    assert not failing(report)


@pytest.mark.parametrize("cut", [None, 20, 50, 80])
def test_four_half_bits_behind_a_silence_are_excused_wherever_the_edges_are_cut(
    cut: int | None,
) -> None:
    """The fourth of them lasts 63 us: a contact may bounce."""
    times = edges([10_059, 58, 58, 58, 63, *[58] * 29, *halves([IDLE], 0), *halves([IDLE])])
    report = check([times] if cut is None else np.split(times, [cut]), resolution_ns=1)
    assert report.verdict is PASS


def gapped(begin: int, end: int) -> Report:
    """Twelve idle packets with a stretch without a level, in ns from the end of the sixth."""
    times = edges(halves([IDLE] * 12))
    at = int(times[88 * 6])
    chunks = [Chunk(times[times < at + begin], (at + begin, at + end))]
    chunks.append(Chunk(times[times >= at + end]))
    return check(chunks, resolution_ns=1)


def test_no_cut_off_is_too_short_for_one_nor_begins_within_the_end_bit() -> None:
    """What is lost for 3 us is a glitch; what is lost within a packet is rule 13's to tell."""
    assert verdict(gapped(6_000, 1_506_000), 17) is FAIL
    assert verdict(gapped(27_000, 1_506_000), 17) is PASS
    for lasts in (3_000, 30_000, 54_000):  # less than half a 1
        assert verdict(gapped(6_000, 6_000 + lasts), 17) is UNDECIDED
    assert verdict(gapped(6_000, 66_000), 17) is FAIL
    within = gapped(-2_000, 48_000)
    assert (verdict(within, 13), verdict(within, 17)) == (UNDECIDED, NOT_EXERCISED)


@pytest.mark.parametrize("left_us", [0.3, 5, 20])
def test_power_that_falls_makes_an_edge_before_the_level_is_gone(left_us: float) -> None:
    """Such a last half-bit proves nothing of the station."""
    times = edges(halves([IDLE] * 12))
    place = 88 * 6 + 40
    falls = int(times[place]) + 34_000
    gone = falls + round(left_us * 1000), falls + 12_000_000
    chunks = [Chunk(np.append(times[: place + 1], falls), gone)]
    chunks.append(Chunk(times[place + 1 :] + 12_000_000))
    report = check(chunks, resolution_ns=1)
    assert (report.verdict, failing(report)) == (UNDECIDED, set())


@pytest.mark.parametrize(
    ("sampled_us", "one", "zero"),
    [(4, 55.5, 98), (2.5, 60.7, 100), (5, 60.7, 97), (8, 58, 100), (4, 60.5, 100)],
)
def test_few_durations_hide_a_slow_clock(
    sampled_us: float, one: float, zero: float, tmp_path: Path
) -> None:
    """A steady station that keeps the limits, sampled slowly, in stamps of 1 ns."""
    lengths = halves([IDLE, FAST] * 40, one=one, zero=zero)
    grid = sampled_us * 1000
    times = (np.ceil(edges(lengths) / grid) * grid).astype(np.int64)
    rows = (f"{time},{place % 2}" for place, time in enumerate(times))
    path = tmp_path / "slow.csv"
    path.write_text("\n".join(("time_ns,track", *rows)))
    report = check(path)
    assert report.resolution_ns == grid
    assert not failing(report)


@pytest.mark.parametrize(
    ("one", "zero", "probe", "sampled_us", "count", "ppm"),
    [
        (60, 95.5, 1.5, 1, 5, 5),
        (58, 95.5, 1.5, 1, 50, 0),
        (58.5, 100, 3, 1, 20, 0),
        (60.5, 100, 3, 2, 15, 0),
    ],
)
def test_a_probe_in_step_with_the_sampling_is_not_the_station(  # noqa: PLR0917 - its columns
    one: float, zero: float, probe: float, sampled_us: float, count: int, ppm: float
) -> None:
    """Ones and zeros then read off by amounts that differ by less than a sampling period (M7)."""
    times = edges(halves([IDLE, FAST] * count, one=one, zero=zero)) * (1 + ppm * 1e-6) / 1000
    times[::2] += probe
    grid = sampled_us * 1000
    sampled = (np.ceil((times - 0.3) / sampled_us) * grid).astype(np.int64)
    report = check([sampled], resolution_ns=int(grid))
    assert not failing(report)


@pytest.mark.parametrize(
    ("one", "zero", "probe", "phase"),
    [(60.6, 100.4, 3.5, 0.64), (58, 100, 6, 0.3), (55.5, 95.5, 4, 0.3), (60.5, 96, 4, 0.3)],
)
def test_half_bits_that_the_probe_moved_out_of_both_windows_are_not_the_station_s(
    one: float, zero: float, probe: float, phase: float
) -> None:
    """Nor are packets that broke off at them (M7, rule 5); all at 1 µs."""
    times = edges(halves([IDLE, FAST] * 30, one=one, zero=zero)) * (1 + 50e-6) / 1000
    times[::2] += probe
    report = check([(np.ceil(times - phase) * 1000).astype(np.int64)], resolution_ns=1000)
    assert not failing(report)
    assert verdict(report, 5) is UNDECIDED


@pytest.mark.parametrize(
    ("last", "left", "level"),
    [(75, 20, UNDECIDED), (75, 16, UNDECIDED), (75, 30, FAIL), (89, 6, UNDECIDED)],
)
def test_an_edge_before_a_gap_is_the_station_s_or_of_power_that_fell(
    last: int, left: int, level: Verdict
) -> None:
    """The last half of each end bit is too long: rule 5 or rule 17 is broken, or the power fell."""
    length, chunks, at = halves([IDLE]), list[Chunk](), 0
    length[-1] = last
    for _ in range(12):
        times = edges(length) + at
        begin = int(times[-1]) + left * 1000
        at = begin + 450_000
        chunks.append(Chunk(times, (begin, at)))
    report = check(chunks, resolution_ns=1)
    assert report.verdict is level
    assert not report.well(certain=True)


@pytest.mark.parametrize("gap_us", [1, 450, 9_000])
def test_one_half_bit_behind_a_short_gap_is_excused_and_no_more(gap_us: int) -> None:
    """The first four of each preamble last 63 us."""
    length, chunks, at = halves([IDLE], 18), list[Chunk](), 0
    length[:4] = [63] * 4
    for _ in range(12):
        times = edges(length) + at
        begin = int(times[-1]) + 30_000
        at = begin + gap_us * 1000
        chunks.append(Chunk(times, (begin, at)))
    assert 1 in failing(check(chunks, resolution_ns=1))


@pytest.mark.parametrize("scale", [1000, 0.001, 0])
def test_nothing_is_known_not_to_be_sent_where_nothing_was_read(scale: float) -> None:
    """Such as times in another unit, or no edge at all."""
    times = (edges(halves([IDLE] * 4 + [FAST] + [IDLE] * 4)) * scale).astype(np.int64)
    none = Expectation(ShortAddress(3), at_least=0, at_most=0)
    session = Session(expectations=(none, Expectation(ShortAddress(3))))
    report = check([times if scale else times[:0]], resolution_ns=1, session=session)
    assert [one.verdict for one in report.expectations] == [UNDECIDED, UNDECIDED]
    assert not report.well()


def held(lengths: list[float], begin: int, end: int) -> list[float]:
    """A contact lost: one level from one half-bit to another, an odd number of them."""
    return [*lengths[:begin], sum(lengths[begin:end]), *lengths[end:]]


@pytest.mark.parametrize(("begin", "end"), [(12, 21), (11, 22), (28, 31)])
def test_a_packet_whose_contact_was_lost_may_have_been_sent(begin: int, end: int) -> None:
    """In its preamble, or in its first byte."""
    before = halves([IDLE] * 4, 14)
    spoiled = held(halves([FAST], 14), begin, end)
    sent = edges(before + spoiled + halves([IDLE] * 4, 14))
    for least, most in ((1, None), (0, 0)):
        expected = Expectation(ShortAddress(3), at_least=least, at_most=most)
        report = check([sent], resolution_ns=1, session=Session(expectations=(expected,)))
        assert report.expectations[0].verdict is UNDECIDED


@pytest.mark.parametrize("at", [39, 41, 42, 43, 45, 60])
def test_a_reset_that_a_pulse_broke_off_is_counted_wherever_it_lies(at: int) -> None:
    """The rest of the packet, 5 ms of it, is no time without packets."""
    packets = [IDLE] * 4 + [RESET] * 3 + [VERIFY] * 5 + [RESET] * 3 + [IDLE] * 4
    place = len(halves(packets[:4], 20)) + at
    lengths = halves(packets, 20)
    lengths[place : place + 1] = [20, 8, lengths[place] - 28]
    report = check([edges(lengths)], resolution_ns=1, session=Session(programming_track=True))
    assert verdict(report, 54) is UNDECIDED


@pytest.mark.parametrize("number", [0, 1, 2])
@pytest.mark.parametrize("rule", [50, 86])
def test_what_is_missed_before_the_first_packet_counts_for_power_on(number: int, rule: int) -> None:
    """Power came on when the recording began."""
    packets = [RESET] * 20 + [IDLE] * 10 + [FAST] if rule == 86 else [RESET] * 20 + [VERIFY] * 5
    place = len(halves(packets[:number], 20)) + 50
    lengths = halves(packets, 20)
    lengths[place : place + 1] = [20, 8, lengths[place] - 28]
    session = Session(power_on_ns=(0,), new=True, programming_track=rule == 50 or None)
    report = check([edges(lengths)], resolution_ns=1, session=session)
    assert verdict(report, rule) is UNDECIDED


def test_distortion_at_the_end_of_a_portion_is_known_in_the_next() -> None:
    """A double crossing in an end bit, and one half too few in the packet behind it."""
    lengths = halves([IDLE] * 10)
    packet = 88 * 5
    lengths[packet + 46 : packet + 47] = []
    lengths[packet - 1 : packet] = [20, 0.6, 37.4]
    times = edges(lengths)
    found = [
        check(np.split(times, [cut]) if cut else [times], resolution_ns=1)
        for cut in (0, *range(packet - 6, packet + 60))
    ]
    whole, *others = (list(one.to_dicts()) for one in found)
    assert all(one == whole for one in others)


SETUP = Session(programming_track=True, power_on_ns=(0,))
SET_CV = packet(0x7C, 28, 38)


def hidden(packets: list[list[int]], ones: int, first: int, last: int) -> list[Chunk]:
    """The packets with a stretch without a level from within one to within another."""
    times = edges(halves(packets, ones=ones))
    per = len(times) // len(packets)
    begin, end = int(times[first * per + 20]) + 5_000, int(times[last * per + 20]) + 5_000
    return [Chunk(times[times < begin], (begin, end)), Chunk(times[times >= end])]


def test_packets_that_a_stretch_without_a_level_hides_count_as_perhaps_sent() -> None:
    """Before service mode (rule 50) and at a start with nothing known (86), power being on."""
    chunks = hidden([IDLE] * 30 + [RESET] * 3 + [SET_CV] * 5 + [RESET] * 6, 20, 5, 20)
    assert verdict(check(chunks, resolution_ns=1, session=SETUP), 50) is UNDECIDED
    few = hidden([IDLE] * 6 + [RESET] * 3 + [SET_CV] * 5 + [RESET] * 6, 20, 2, 4)
    assert verdict(check(few, resolution_ns=1, session=SETUP), 50) is FAIL
    new = Session(new=True, power_on_ns=(0,))
    chunks = hidden([RESET] * 30 + [IDLE] * 15 + [FAST] + [IDLE] * 3, 16, 5, 20)
    assert verdict(check(chunks, resolution_ns=1, session=new), 86) is UNDECIDED


def test_a_packet_of_another_kind_leads_out_of_service_mode() -> None:
    """However few came before it: what follows has no resets (rules 51 and 54)."""
    for before in (1, 2, 4, 5):
        packets = (
            [IDLE] * 20 + [RESET] * 3 + [SET_CV] * before + [IDLE] + [SET_CV] * 5 + [RESET] * 6
        )
        report = check([edges(halves(packets, ones=20))], resolution_ns=1, session=SETUP)
        assert (verdict(report, 51), verdict(report, 54)) == (FAIL, FAIL)
        assert not report.well()


def test_what_is_expected_in_a_mode_that_is_not_known_is_open() -> None:
    """A recording that begins within writes: they are packets to address 124, or direct writes."""
    times = edges(halves([RESET] * 3 + [SET_CV] * 6 + [RESET] * 6 + [IDLE] * 14, ones=20))
    later = times[len(edges(halves([RESET] * 3, ones=20))) - 20 :]
    write = "DirectByteAccess operation=write cv=29 value=38"
    for asked, whole, cut in (
        (Expectation(what=write, at_least=5), PASS, UNDECIDED),
        (Expectation(what=write, at_least=0, at_most=0), FAIL, UNDECIDED),
        (Expectation(ShortAddress(124), at_least=0, at_most=0), PASS, UNDECIDED),
        (Expectation(ShortAddress(3), at_least=0, at_most=0), PASS, PASS),
    ):
        session = Session(programming_track=True, expectations=(asked,))
        found = [check([some], resolution_ns=1, session=session) for some in (times, later)]
        assert [one.expectations[0].verdict for one in found] == [whole, cut]


def test_what_is_expected_at_some_time_is_open_where_all_times_are_in_doubt() -> None:
    """A sample rate that is 6 % off moves it out of its window."""
    times = edges(halves([IDLE] * 20 + [FAST] + [IDLE] * 20, ones=16))
    at = int(times[2 * 20 * 44])
    for least, most in ((1, None), (0, 0)):
        near = Expectation(
            ShortAddress(3), at_least=least, at_most=most, from_ns=at, until_ns=at + 9_000_000
        )
        anywhere = Expectation(ShortAddress(3), at_least=least, at_most=most)
        session = Session(expectations=(near, anywhere))
        slow = check([(times * 1.06).astype(np.int64)], resolution_ns=1, session=session)
        assert slow.factor is not None
        first, second = slow.expectations
        assert (first.verdict, second.verdict) == (UNDECIDED, PASS if least else FAIL)
        assert "all times are in doubt" in first.note


def test_a_lost_edge_before_a_start_bit_may_hide_a_one() -> None:
    """14 ones with the end bit before, of which the last half is merged with the start bit's."""
    for ones, level in ((12, FAIL), (13, UNDECIDED), (14, UNDECIDED), (15, PASS)):
        length = halves([IDLE] * 4, ones=ones)
        per = len(length) // 4
        times = np.delete(edges(length), 2 * per + 2 * ones)
        report = check([times], resolution_ns=1)
        assert verdict(report, 14) is (FAIL if ones < 13 else level)


def test_what_is_certain_is_no_less_strict() -> None:
    """A rule that fails does not do better than one that is undecided (`--certain`)."""
    other = [3, 0xEC, 1, 38, 3 ^ 0xEC ^ 1 ^ 38]
    lone = check([edges(halves([IDLE] * 5 + [other] + [IDLE] * 3))], resolution_ns=1)
    wrong = check([edges(halves([IDLE] * 5 + [FAST, other, FAST] + [IDLE] * 3))], resolution_ns=1)
    assert (verdict(lone, 42), verdict(wrong, 42)) == (UNDECIDED, FAIL)
    for report in (lone, wrong):
        assert (report.well(), report.well(certain=True)) == (True, False)


def test_a_lock_needs_a_long_preamble_wherever_it_stands() -> None:
    """Its bytes can be nothing else (X24); ones before it may be hidden."""
    lock = packet(0, 0xF9, 5)
    for before, ones, level in ((IDLE, 14, UNDECIDED), (lock, 14, FAIL), (IDLE, 21, PASS)):
        packets = [IDLE] * 4 + [before, lock] + [IDLE] * 4
        found = check([edges(halves(packets, ones=ones))], resolution_ns=1)
        assert verdict(found, 49) is (NOT_EXERCISED if level is PASS else level)
        assert found.well(certain=True) is (level is PASS)
        assert failing(found) <= {49}  # and none of operations mode


def test_a_recording_that_begins_in_a_recovery_fails_nothing() -> None:
    """Resets and the same write once more are the end of what was not recorded."""
    whole = [IDLE] * 4 + [RESET] * 3 + [SET_CV] * 5 + [RESET] * 5 + [SET_CV] + [IDLE] * 4
    for first in range(len(whole)):
        report = check([edges(halves(whole[first:], ones=21))], resolution_ns=1, session=SETUP)
        hidden = {50}  # power is said to have come on where the recording begins
        assert failing(report) - hidden == set(), first


def test_one_packet_of_service_mode_alone_may_be_a_locomotive_s() -> None:
    """What the track is for decides: then other rules fail."""
    packets = [IDLE] * 20 + [RESET] * 3 + [SET_CV] + [IDLE] * 4
    for meant, rules in ((None, set()), (True, {57, 58, 76, 53}), (False, {21, 30, 38})):
        session = Session(programming_track=meant)
        report = check([edges(halves(packets, ones=21))], resolution_ns=1, session=session)
        assert failing(report) == rules
        assert report.verdict is (FAIL if rules else UNDECIDED)


def test_a_packet_that_cannot_be_read_may_break_a_count() -> None:
    """Five must be in a row; with a wrong packet among them it is not known that they are."""
    wrong = [255, 1, 255]
    for between, level in (([], PASS), ([IDLE], FAIL), ([wrong], UNDECIDED)):
        packets = [IDLE] * 3 + [RESET] * 3 + [VERIFY] * 3 + between + [VERIFY] * 3 + [RESET] * 6
        report = check([edges(halves(packets, ones=21))], resolution_ns=1, session=SETUP)
        assert (verdict(report, 51) is FAIL) is (between == [IDLE])
        if level is not FAIL:
            assert verdict(report, 55) is level


@pytest.mark.parametrize("least", [1, 0])
def test_what_is_expected_behind_a_reset_and_few_ones_is_open(least: int) -> None:
    """It may be a locomotive's at 124, unless the session says what the track is for."""
    one = [packet(0x7C, 0x3F, 5)] + [IDLE] * 5
    asked = Expectation(ShortAddress(124), at_least=least, at_most=None if least else 0)
    told = (3, 16, None, None), (1, 21, None, None), (3, 21, None, False), (1, 16, False, True)
    for resets, ones, meant, sent in told:
        packets = [IDLE] * 20 + [RESET] * resets + one
        session = Session(programming_track=meant, expectations=(asked,))
        report = check([edges(halves(packets, ones=ones))], resolution_ns=1, session=session)
        level = UNDECIDED if sent is None else PASS if sent is bool(least) else FAIL
        assert report.expectations[0].verdict is level
        assert not (ones == 21 and report.expectations[0].nearest)  # a write came near nothing


def test_a_locomotive_on_a_programming_track_is_no_lone_step() -> None:
    """Packets to 124 with 16 ones, between idles: no order, lead or preamble is missing."""
    drive = ([IDLE] * 3 + [packet(0x7C, 0x68)]) * 4 + [IDLE] * 3
    setting = [RESET] * 3 + [SET_CV] * 5 + [RESET] * 6 + [IDLE] * 5
    lengths = halves(drive, ones=16) + halves(setting, ones=22)
    report = check([edges(lengths)], resolution_ns=1, session=SETUP)
    assert failing(report) == set()


def test_a_write_again_among_few_resets_may_all_be_recovery() -> None:
    """Three writes, two resets, five writes: ten packets, if the decoder answered the third."""
    for first, level in ((3, UNDECIDED), (1, FAIL)):
        packets = [IDLE] * 3 + [RESET] * 3 + [SET_CV] * first + [RESET] * 2 + [SET_CV] * 5
        lengths = halves([*packets, *[RESET] * 6, *[IDLE] * 3], ones=21)
        report = check([edges(lengths)], resolution_ns=1, session=SETUP)
        assert verdict(report, 54) is level


def test_a_write_given_up_for_an_emergency_stop_shows_nothing() -> None:
    """Rule 42 is neither met nor broken by it; another packet to the address is no excuse."""
    for other, level in (([0, 0x61], NOT_EXERCISED), ([3, 0x61], NOT_EXERCISED), ([3, 0x65], FAIL)):
        packets = [IDLE] * 5 + [FAST] * 2 + [IDLE, WRITE, IDLE, packet(*other)] + [IDLE] * 5
        report = check([edges(halves(packets))], resolution_ns=1)
        assert verdict(report, 42) is level, other


@pytest.mark.parametrize(("meant", "found"), [(None, UNDECIDED), (True, UNDECIDED), (False, FAIL)])
def test_what_follows_on_a_packet_of_either_mode_may_be_of_it_too(
    meant: bool | None, found: Verdict
) -> None:
    """Two to 124 behind a reset (rule 38): both of service mode, or both a locomotive's."""
    lone = [packet(0x7C, 0x3F, speed) for speed in (5, 6)]
    times = edges(halves([IDLE] * 20 + [RESET, lone[0], IDLE, lone[1]] + [IDLE] * 5))
    report = check([times], resolution_ns=1, session=Session(programming_track=meant))
    assert verdict(report, 38) is found


def test_an_idle_behind_a_count_that_was_not_recorded_whole_may_be_behind_its_end() -> None:
    """Rule 53: five verifies, an idle, five more without a reset, which rule 51 has."""
    whole = [RESET] * 3 + [VERIFY] * 5 + [IDLE] + [VERIFY] * 5 + [IDLE] * 5
    for first in range(12):
        times = edges(halves(whole[first:], ones=21))
        report = check([times], resolution_ns=1, session=SETUP)
        assert verdict(report, 53) is not FAIL, first
        assert verdict(report, 51) is FAIL or first > 7, first
