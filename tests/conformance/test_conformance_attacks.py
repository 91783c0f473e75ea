"""Signals that once were judged wrong, each with its truth."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from conformance_helpers import SIGNAL

from dccwire.conformance import Report, check
from dccwire.errors import FieldError
from refusals import refused


def halves(data: bytes, ones: int = 16) -> list[int]:
    """The half-bits of a packet, 58 and 100 µs, bits by hand (S-9.2 §A)."""
    bits = [1] * ones
    for byte in data:
        bits += [0, *(byte >> place & 1 for place in range(7, -1, -1))]
    return [length for bit in [*bits, 1] for length in ([58_000] * 2 if bit else [100_000] * 2)]


IDLE, SPEED = halves(b"\xff\x00\xff"), halves(b"\x03\x74\x77")


def judge(lengths: list[int], **options: object) -> Report:
    """The report on half-bits sampled each 0.1 µs."""
    edges = np.cumsum([1_000_000, *lengths])
    return check([edges], resolution_ns=100, rules=SIGNAL, **options)  # type: ignore[arg-type] # any options


def failed(report: Report) -> set[int]:
    """The rules that fail."""
    return {one.rule.number for one in report.results if one.verdict == "fail"}


@pytest.mark.parametrize("before", [0, 2, 4])
@pytest.mark.parametrize("others", [False, True])
def test_pairs_of_a_long_and_a_short_pulse_are_no_packet(before: int, others: bool) -> None:
    """Another protocol sends them between packets (S-9.2 §C); a decoder would forgive each (E7)."""
    telegram = ([182_000, 26_000] * 17 + [182_000, 26_000 + 1_250_000]) * 2
    lengths = SPEED * 3 + [58_000] * before + telegram + SPEED * 3
    report = judge(lengths, other_protocols=others)
    assert not failed(report)
    assert report.verdict == ("pass" if others else "undecided")


@pytest.mark.parametrize(
    ("one", "other", "phase"), [(59_400, 56_600, 0), (59_700, 56_300, 900), (59_900, 56_100, 900)]
)
def test_three_durations_on_a_grid_may_be_sampled_on_it(
    one: int, other: int, phase: int, tmp_path: Path
) -> None:
    """At 1 MHz halves 2.8, 3.4 and 3.8 µs apart may read 4 or 2 (M4): neither proves anything."""
    bits = [1] * 16 + [0] + [1] * 8 + [0] * 10 + [1] * 9
    lengths = [
        length for bit in bits * 20 for length in ((one, other) if bit else (100_000, 100_000))
    ]
    times = -(-(np.cumsum([1_000_000, *lengths]) - phase) // 1000) * 1000 + 1000
    report = check([times])
    assert report.resolution_ns in (1000, 2000, 4000)
    assert next(line for line in report.results if line.rule.number == 2).verdict == "undecided"


@pytest.mark.parametrize(("first", "second"), [((4, 4), (3, 24)), ((4, 23), (3, 25))])
def test_ringing_in_two_preambles_hides_ones(first: tuple[int, int], second: tuple) -> None:
    """16 ones stand before each packet; pulses below 4 µs are merged (M8), one packet is lost."""
    lengths = IDLE * 6
    for packet, place in (first, second):
        at = packet * 88 + place
        lengths[at : at + 1] = [3_250, 3_250, 51_500]
    assert not failed(judge(lengths))


@pytest.mark.parametrize("rest", [16_000, 53_000])
@pytest.mark.parametrize("packets", [0, 2])
def test_power_comes_back_within_a_half_bit(rest: int, packets: int) -> None:
    """With and without a whole packet before: the half-bit proves nothing (M10)."""
    lengths = IDLE * packets + IDLE[:40] + [34_000_000, rest] + [58_000] * 20
    assert not failed(judge(lengths))


def test_a_short_preamble_of_the_last_packet_is_judged() -> None:
    """It is recorded whole, though its packet is not."""
    lengths = IDLE * 5 + halves(b"\xff\x00\xff", 10)[: 20 + 40]
    report = judge(lengths)
    assert failed(report) == {14}
    assert next(one.worst for one in report.results if one.rule.number == 14) == "11 ones"


def test_a_short_preamble_behind_a_packet_that_is_cut_is_open() -> None:
    """What stands before the recording is not judged, and this is said."""
    report = judge(IDLE[40:] + halves(b"\xff\x00\xff", 4) + IDLE * 5)
    assert (report.verdict, failed(report)) == ("undecided", set())
    (note,) = (one.note for one in report.results if one.rule.number == 14)
    assert note == "1 fewer, behind a packet that is not recorded whole"


def test_what_another_protocol_ends_with_is_no_half_of_a_one() -> None:
    """56 and 54.4 µs before 16 right ones may be its own."""
    lengths = SPEED * 3 + [74_000, 127_000, 56_000, 54_400] + SPEED * 3
    assert judge(lengths, other_protocols=True).verdict == "pass"


@pytest.mark.parametrize("data", ["00C10101C1"[:8], "00D801D9", "00F401F5"])
def test_codes_that_later_additions_use_do_not_fail(data: str) -> None:
    """In whatever length they come (from memory)."""
    right = bytes.fromhex(data)
    check_ = 0
    for byte in right[:-1]:
        check_ ^= byte
    assert not failed(judge(IDLE + halves(right[:-1] + bytes([check_])) * 2 + IDLE * 2))


@pytest.mark.parametrize(
    ("edges", "options", "field"),
    [
        ([[1, 2], [3, 4]], {}, "edges"),
        (["a"], {}, "edges"),
        ([1.5, 2.5], {}, "edges"),
        ([1, 2], {"resolution_ns": 20_000}, "resolution_ns"),
        ([1, 2], {"resolution_ns": 13_000}, "resolution_ns"),
        ([1, 2], {"resolution_ns": 0}, "resolution_ns"),
    ],
)
def test_what_are_no_edges_is_refused(edges: list, options: dict, field: str) -> None:
    """By the argument that is wrong."""
    with refused(FieldError, field=field):
        check([np.array(edges)], **options)


def test_the_coarsest_resolution() -> None:
    """12999 ns, half the distance of the windows for ones and zeros less one."""
    assert check([np.array([1, 2])], resolution_ns=12_999).resolution_ns == 12_999


def recorded(tmp_path: Path, segments: list[int]) -> Report:
    """The report on a file of half-bits; a negative one is a stretch without a level."""
    time, level, changes = 1_000_000, 1, {0: "z", 1_000_000: "1"}
    for length in segments:
        if length < 0:
            changes[time] = "z"
        else:
            level ^= 1
        time += abs(length)
        changes[time] = str(level)
    head = "$timescale 100 ns $end\n$var wire 1 ! track $end\n$enddefinitions $end\n"
    path = tmp_path / "track.vcd"
    path.write_text(head + "".join(f"#{at // 100}\n{new}!\n" for at, new in changes.items()))
    return check(path, rules=SIGNAL)


CUTOUT = [28_000, -430_000]


@pytest.mark.parametrize("ones", [0, 4, 6, 9])
def test_short_preambles_behind_a_stretch_without_a_level_do_not_pass(
    ones: int, tmp_path: Path
) -> None:
    """430 µs hide three ones at most; what is not read as a packet is not judged."""
    lengths = SPEED + (CUTOUT + halves(b"\x03\x90\x91", ones) + SPEED) * 12
    assert recorded(tmp_path, lengths).verdict == "undecided"
    good = SPEED + (CUTOUT + SPEED) * 12
    assert recorded(tmp_path, good).verdict == "pass"


@pytest.mark.parametrize("last", [50_000, 53_000, 75_000])
def test_the_last_half_before_a_stretch_without_a_level_is_judged(
    last: int, tmp_path: Path
) -> None:
    """An edge closed it, and 28 µs of signal followed: no silence cut it."""
    assert failed(recorded(tmp_path, ([*SPEED[:-1], last, *CUTOUT]) * 12 + SPEED)) & {1, 5}


def test_a_packet_that_broke_off_before_a_silence_is_open() -> None:
    """Whatever few half-bits lie between: the station, or its power (rule 13)."""
    wrong = halves(b"\x03\x90\x91")
    report = judge([*wrong[:-1], 50_000, 20_000_000] * 12 + SPEED)
    assert (report.verdict, failed(report)) == ("undecided", set())


def test_ones_that_rule_1_does_not_judge_do_not_count_as_sent() -> None:
    """Behind another protocol four half-bits may be its own: 14 ones of which two are wrong."""
    telegram = ([26_000, 182_000] * 17 + [26_000, 1_432_000]) * 2
    wrong = [62_500] * 4 + halves(b"\x03\x74\x77", 14)[4:]
    assert judge(SPEED[40:] + (telegram + wrong) * 10, other_protocols=True).verdict == "undecided"
    enough = [62_500] * 4 + halves(b"\x03\x74\x77", 18)[4:]
    assert judge(SPEED[40:] + (telegram + enough) * 10, other_protocols=True).verdict == "pass"


def test_another_protocol_may_begin_on_the_level_of_the_end_bit() -> None:
    """No edge lies between a right half of 58 µs and a pulse of 26 µs."""
    telegram = ([26_000, 182_000] * 17 + [26_000, 1_432_000]) * 2
    lengths = ([*SPEED[:-1], 58000 + 26000, *telegram[1:]]) * 10 + SPEED
    assert judge(lengths, other_protocols=True).verdict == "pass"
    assert judge(lengths).verdict == "undecided"


@pytest.mark.parametrize("head", [halves(bytes.fromhex("373F858D"))[16:], SPEED[16:], SPEED[24:]])
def test_two_packets_before_the_first_that_is_read_do_not_pass(head: list[int]) -> None:
    """All bits before it cannot be the end of one packet, off the grid of nine."""
    report = judge(head + halves(b"\x03\x74\x77", 7) + SPEED * 4)
    assert report.verdict == "undecided"


@pytest.mark.parametrize("last", [100_000, 200_000, 451_000, 453_000, 5_000_000])
@pytest.mark.parametrize("others", [False, True])
def test_an_end_bit_that_is_too_long_does_not_pass_as_a_zero(last: int, others: bool) -> None:
    """What lengthens it may be another protocol (S-9.2 §C); 400 µs after its end it is a pause."""
    report = judge([*IDLE[:-1], last] * 20, other_protocols=others)
    assert not failed(report)
    assert report.verdict == ("pass" if others or last > 452_000 else "undecided")


@pytest.mark.parametrize(
    ("wrong", "rule"),
    [
        ([56_000, 60_500] * 16 + IDLE[32:], 2),
        (IDLE[:32] + [6_500_000] * 2 + IDLE[34:], 4),
    ],
)
@pytest.mark.parametrize("left", [0, 1, 2, 5, 20])
def test_a_packet_that_the_end_cuts_is_judged_as_far_as_it_goes(
    wrong: list[int], rule: int, left: int
) -> None:
    """Its start bit tells which half-bits belong together."""
    lengths = IDLE * 3 + wrong
    assert failed(judge(lengths[: len(lengths) - left])) == {rule}


@pytest.mark.parametrize("others", [False, True])
def test_zeros_between_packets_are_no_packet_without_a_preamble(others: bool) -> None:
    """Of any number, though 27, 36, 45 and 54 of them and a one would be bytes of 0."""
    for zeros in range(20, 60):
        report = judge(IDLE * 3 + [100_000] * 2 * zeros + IDLE * 3, other_protocols=others)
        assert not failed(report), zeros
        assert report.verdict == ("pass" if others else "undecided")


@pytest.mark.parametrize("pulse", [40_000, 53_000, 62_500, 75_000])
@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_contacts_that_bounce_when_the_power_returns(pulse: int, count: int) -> None:
    """After 20 ms without signal, in the middle of a preamble."""
    lengths = IDLE * 3 + IDLE[:10] + [20_000_000] + [pulse] * count + IDLE[10:] + IDLE * 4
    report = judge(lengths)
    assert not failed(report)
    assert report.verdict == "undecided"


@pytest.mark.parametrize("cut", [20, 40, 100, 140, 144, 145, 146])
def test_distortion_beside_a_torn_bit_is_seen_across_chunks(cut: int) -> None:
    """Wherever the edges are cut, the verdict is the same."""
    lengths = IDLE * 2
    place = len(IDLE) + 46
    lengths[place] = 158_000 - lengths[place]
    edges = np.cumsum([1_000_000, *lengths])
    pulse = edges[place + 2] + np.array([300, 600])
    edges = np.sort(np.append(edges, pulse))
    whole, parts = (check(each, resolution_ns=1) for each in ([edges], [edges[:cut], edges[cut:]]))
    assert failed(whole) == failed(parts) == set()
    assert whole.verdict == parts.verdict == "undecided"
