"""Rules 14 to 19 and 27: planted packets, flipped bits, gaps."""

from __future__ import annotations

from functools import reduce
from operator import xor

import numpy as np
import pytest
from conformance_helpers import (
    COARSE,
    PLAIN,
    PLAIN_US,
    SAMPLED_NS,
    START_US,
    check_signal,
    edges_of,
    failing,
    judge,
    lengths_of,
    result,
)

from dccwire.conformance import RULES, Force, Report, Verdict
from dccwire.conformance.rules import Sent
from dccwire.recordings import Chunk
from dccwire.synthesis import Sending

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED
NOT_EXERCISED = Verdict.NOT_EXERCISED
SECOND = (PLAIN_US + START_US) * 1000
"""Where the second packet's start bit begins, if the first one is plain and both have 14 ones."""

LONG = bytes.fromhex("C3E8EC0603C2")
"""Six bytes whose exclusive OR is 0."""


def with_error_byte(text: str) -> bytes:
    """Bytes and their exclusive OR."""
    data = bytes.fromhex(text)
    return data + bytes([reduce(xor, data)])


def among(*data: bytes | str) -> Report:
    """The report on packets between two plain ones before and three after."""
    return judge(lengths_of(PLAIN, *data, *[PLAIN] * 3))


def split(*lengths: list[int], gap_us: int = 500, held_us: int = 500) -> Report:
    """Stretches of half-bits; before each but the first: a level held, then one undefined."""
    chunks, at = [], 0
    for place, stretch in enumerate(lengths):
        edges = edges_of(stretch, at)
        start = int(edges[-1]) + held_us * 1000
        at = start + gap_us * 1000
        chunks.append(Chunk(edges, (start, at) if place < len(lengths) - 1 else None))
    return check_signal(chunks, resolution_ns=SAMPLED_NS)


@pytest.mark.parametrize(
    ("ones", "counted", "verdict"),
    [(11, 12, FAIL), (12, 13, FAIL), (13, 14, PASS), (14, 15, PASS), (30, 31, PASS)],
)
def test_rule_14_counts_the_end_bit_that_adjoins(ones: int, counted: int, verdict: Verdict) -> None:
    """At least 14 ones, the end bit of the packet before among them (S-9.2 §A; C2)."""
    plain = lengths_of(PLAIN, PLAIN, preamble=40)
    report = judge(plain + lengths_of(PLAIN, PLAIN, preamble=ones))
    found = result(report, 14)
    assert (found.verdict, found.measured, found.worst) == (verdict, 3, f"{counted} ones")
    strict = "2 of exactly 14 with the end bit before; the strict reading asks 15 (C2)"
    assert found.note == (strict if counted == 14 else "")
    if verdict is FAIL:
        packet = PLAIN_US + (40 - 14) * 116
        first = 2 * packet + ones * 116
        second = first + PLAIN_US - (14 - ones) * 116
        assert found.first_times_ns == (first * 1000, second * 1000)


def test_rule_14_strict_reading_is_told_once_for_each() -> None:
    """Packets one by one and many at a time count alike."""
    found = result(judge(lengths_of(*[PLAIN] * 9, preamble=13)), 14)
    assert found.note.startswith("8 of exactly 14")


@pytest.mark.parametrize(
    ("ones", "held_us", "gap_us", "verdict"),
    [
        (12, 100, 5, FAIL),
        (12, 107, 5, UNDECIDED),
        (10, 200, 100, FAIL),
        (10, 324, 100, UNDECIDED),
        (10, 500, 500, UNDECIDED),
        (14, 500, 500, PASS),
    ],
)
def test_rule_14_after_a_gap(ones: int, held_us: int, gap_us: int, verdict: Verdict) -> None:
    """Ones may go on unseen, one in 110 µs less what that may be off, and the end bit counts."""
    plain, short = lengths_of(PLAIN), lengths_of(PLAIN, preamble=ones)
    found = result(split(plain, short, gap_us=gap_us, held_us=held_us), 14)
    assert (found.verdict, found.measured, found.worst) == (verdict, 1, f"{ones} ones")


def test_rule_14_thirteen_before_a_gap_are_told() -> None:
    """With the end bit they are 14, if the gap parts them only in time."""
    found = result(split(lengths_of(PLAIN), lengths_of(PLAIN, preamble=13)), 14)
    assert (found.verdict, found.measured, found.worst) == (PASS, 1, "13 ones")
    assert found.note == "1 of 13 and the end bit before a gap"


@pytest.mark.parametrize(("gap_us", "verdict"), [(9000, PASS), (11_000, NOT_EXERCISED)])
def test_rule_14_after_a_long_gap(gap_us: int, verdict: Verdict) -> None:
    """After more than 10 ms the power may come back in the middle of a preamble."""
    report = split(lengths_of(PLAIN), lengths_of(PLAIN, preamble=14), gap_us=gap_us)
    assert result(report, 14).verdict is verdict


def test_rule_14_a_left_over_half_does_not_count() -> None:
    """An odd half after the end bit parts it from the ones that are counted back (E8)."""
    report = judge([*lengths_of(PLAIN), 58_000, *lengths_of(PLAIN, preamble=12)])
    assert (result(report, 14).verdict, result(report, 14).worst) == (FAIL, "12 ones")
    report = judge([*lengths_of(PLAIN), 58_000, *lengths_of(PLAIN, preamble=13)])
    assert (result(report, 14).verdict, result(report, 14).worst) == (UNDECIDED, "13 ones")
    report = judge([*lengths_of(PLAIN), 58_000, *lengths_of(PLAIN)])
    assert (result(report, 14).verdict, result(report, 14).worst) == (PASS, "14 ones")


@pytest.mark.parametrize(("ones", "verdict"), [(10, FAIL), (13, UNDECIDED), (14, PASS), (16, PASS)])
def test_rule_14_after_a_stretch_that_may_hide_ones(ones: int, verdict: Verdict) -> None:
    """A cutout (S-9.2 §C) may lie over the first ones; nobody sees how many were sent.

    The same number once more, after an end bit that adjoins, is one more, and is decided.
    """
    halves = lengths_of(PLAIN, preamble=ones)
    for between in ([450_000], [29_000, 430_000], [58_000] * 6 + [75_000]):
        found = result(judge(lengths_of(PLAIN) + between + halves + halves), 14)
        assert (found.verdict, found.worst) == (verdict, f"{ones} ones")
        assert (found.undecided, found.failed) == (ones < 14, ones < 13)
        hidden = "1 fewer, before which half-bits of no packet may hide ones: a cutout, noise"
        strict = "1 of exactly 14 with the end bit before; the strict reading asks 15 (C2)"
        assert found.note == "; ".join([hidden] * (ones < 14) + [strict] * (ones == 13))


@pytest.mark.parametrize(
    ("ones", "hiding_us", "verdict"), [(9, 420, FAIL), (9, 440, UNDECIDED), (8, 440, FAIL)]
)
def test_rule_14_no_more_ones_hide_than_there_is_time_for(
    ones: int, hiding_us: int, verdict: Verdict
) -> None:
    """Four take 440 µs at the least (S-9.1 §A, Table 1 t1); with the end bit nine are 14."""
    lengths = [*lengths_of(PLAIN), hiding_us * 1000, *lengths_of(PLAIN, preamble=ones)]
    report = check_signal([edges_of([*lengths, *lengths_of(PLAIN)])], resolution_ns=1)
    assert (result(report, 14).verdict, result(report, 14).worst) == (verdict, f"{ones} ones")


@pytest.mark.parametrize(("others", "verdict"), [(3, UNDECIDED), (4, FAIL)])
def test_rule_14_another_protocol_hides_no_ones(others: int, verdict: Verdict) -> None:
    """From four half-bits on that noise does not make of ones; fewer may be noise (our choice)."""
    lengths = [*lengths_of(PLAIN), *[75_000] * others, *lengths_of(PLAIN, preamble=13)]
    found = result(judge(lengths), 14)
    assert (found.verdict, found.worst) == (verdict, "13 ones")


@pytest.mark.parametrize("ones", [0, 1, 5, 9])
def test_rule_14_too_few_ones_for_any_receiver(ones: int) -> None:
    """Below ten ones there is no packet to a receiver, but a failed preamble."""
    report = judge(lengths_of(PLAIN) + lengths_of(PLAIN, preamble=ones) + lengths_of(PLAIN))
    found = result(report, 14)
    assert (found.verdict, found.failed, found.measured) == (FAIL, 1, 2)
    assert (found.worst, found.first_times_ns) == (f"{ones + 1} ones", (PLAIN_US * 1000,))
    assert failing(report) == {14: 1}


def test_rule_14_needs_a_complete_packet_before() -> None:
    """The first packet's preamble, one after a cut-off packet, one after a broken one: none."""
    assert result(judge(lengths_of(PLAIN, preamble=10)), 14).verdict is NOT_EXERCISED
    short = lengths_of(PLAIN, preamble=12)
    assert result(split(lengths_of(PLAIN)[:60], short), 14).verdict is NOT_EXERCISED
    # Ones before a gap may be a preamble that was cut off.
    report = split(lengths_of(PLAIN) + [58_000] * 8, short)
    assert result(report, 14).verdict is NOT_EXERCISED
    broken = lengths_of(PLAIN)
    broken[28 + 14] = 75_000
    assert result(judge(broken + short), 14).verdict is NOT_EXERCISED


def test_rule_14_follows_on_a_packet_with_a_wrong_error_byte() -> None:
    """Such a packet is complete: the preamble after it is judged."""
    wrong = lengths_of(PLAIN, "033F3D")
    report = judge(wrong + lengths_of(PLAIN, preamble=12) + lengths_of(PLAIN))
    assert failing(report) == {14: 1, 16: 1}
    assert result(report, 14).worst == "13 ones"


@pytest.mark.parametrize(("data", "flip"), [(PLAIN, 9), (PLAIN, 18), (PLAIN, 27)])
@pytest.mark.parametrize("preamble", [14, 17, 18, 19, 25])
def test_rule_15_flips_in_three_bytes(data: bytes, flip: int, preamble: int) -> None:
    """A 1 for the 0 before a byte, a 0 for the 1 at the end (S-9.2 §A), and nothing else."""
    check_flip(data, flip, preamble)


@pytest.mark.parametrize("flip", [9, 18, 27, 36, 45, 54])
@pytest.mark.parametrize("preamble", [14, 17, 18, 19, 25])
def test_rule_15_flips_in_six_bytes(flip: int, preamble: int) -> None:
    """The same with four more start bits."""
    check_flip(LONG, flip, preamble)


def check_flip(data: bytes, flip: int, preamble: int) -> None:
    """Rule 15 fails once, at the packet's start bit, and no other rule."""
    sendings = [
        Sending(each, preamble, COARSE, flip=flip if at == 1 else None)
        for at, each in enumerate((PLAIN, data, PLAIN, PLAIN))
    ]
    report = judge(length for sending in sendings for length in sending.lengths())
    assert failing(report) == {15: 1}
    start = PLAIN_US + START_US + 2 * (preamble - 14) * 116
    assert result(report, 15).first_times_ns == (start * 1000,)


def test_rule_15_a_flipped_packet_start_bit_reads_as_another_packet() -> None:
    """Then 03 3F 3C reads 06 7E 79, whose exclusive OR is 1: nothing shows which bit was wrong."""
    sendings = [Sending(PLAIN, timing=COARSE, flip=0 if at == 1 else None) for at in range(4)]
    report = judge(length for sending in sendings for length in sending.lengths())
    # The end bit was read as the last byte's, so one more 1 is spent: 13 and the end bit are left.
    assert failing(report) == {16: 1}
    assert result(report, 14).worst == "14 ones"


def test_rule_15_a_flipped_start_bit_before_ff() -> None:
    """FF 00 FF without the 0 before its last byte is FF 00, and the preamble after it longer."""
    sendings = [
        Sending(bytes.fromhex("FF00FF"), timing=COARSE, flip=18 if at == 1 else None)
        for at in range(4)
    ]
    report = judge(length for sending in sendings for length in sending.lengths())
    assert failing(report) == {16: 1, 27: 1}


def test_rule_27_a_packet_that_never_ends() -> None:
    """Zeros where start and end bits stand: each bit is right, there are too many (S-9.2.1)."""
    report = judge(lengths_of(PLAIN) + lengths_of(bytes(40)) + lengths_of(PLAIN))
    assert failing(report) == {27: 1}
    assert result(report, 27).first_times_ns == (PLAIN_US * 1000,)
    assert (result(report, 27).measured, result(report, 27).worst) == (3, "3 to 17 bytes")
    assert result(report, 15).measured == 2


def test_rule_15_shows_that_the_packet_before_was_not_complete() -> None:
    """Rule 14 does not judge the preamble behind a missing end bit, of which nine ones are gone."""
    sendings = [Sending(PLAIN, 25, COARSE, flip=27 if at == 1 else None) for at in range(4)]
    report = judge(length for sending in sendings for length in sending.lengths())
    assert failing(report) == {15: 1}
    assert (report.packets, result(report, 14).measured, result(report, 14).worst) == (
        4,
        2,
        "26 ones",
    )


@pytest.mark.parametrize("text", ["033F3C01", "033F3DFF", "3CFF"])
def test_rule_15_takes_no_other_wrong_error_byte_for_a_missing_end_bit(text: str) -> None:
    """Only a right packet with eight ones after it reads so."""
    rules = {16: 1, 27: 1} if len(text) == 4 else {16: 1}
    assert failing(among(text)) == rules


def test_rules_15_and_16_count_each_packet_once() -> None:
    """All packets but the one whose bits were framed wrong have an error byte to judge."""
    sendings = [Sending(PLAIN, timing=COARSE, flip=9 if at == 2 else None) for at in range(6)]
    report = judge(length for sending in sendings for length in sending.lengths())
    assert [result(report, number).measured for number in (15, 16, 27)] == [6, 5, 5]
    # Of the five preambles that follow on a packet, one follows on the wrong one.
    assert (report.packets, result(report, 14).measured) == (6, 4)


def test_rule_16_exclusive_or() -> None:
    """A wrong error byte fails once, at its packet start bit (S-9.2 §B)."""
    report = among("033F3D", PLAIN)
    assert failing(report) == {16: 1}
    assert result(report, 16).first_times_ns == (SECOND,)
    assert result(report, 16).measured == 6
    assert result(among(PLAIN), 16).verdict is PASS
    assert result(judge([58_000] * 40 + [99_000]), 16).verdict is NOT_EXERCISED


@pytest.mark.parametrize(
    "between", [[450_000], [29_000, 430_000], [58_000], [75_000, 75_000], [29_000, 400_000, 20_000]]
)
def test_rule_16_before_a_cutout(between: list[int]) -> None:
    """A cutout (S-9.2 §C) after a wrong packet is no sign of a wrong start bit; it has no 0."""
    plain, wrong = [*lengths_of(PLAIN), *between], [*lengths_of("033F3D"), *between]
    assert failing(judge(plain + wrong + plain + plain)) == {16: 1}
    # Where the end bit's last half runs into it, too.
    wrong = [*lengths_of("033F3D")[:-1], 480_000]
    assert failing(judge(plain + wrong + plain + plain)) == {16: 1}


def test_rule_16_at_the_end_of_the_recording() -> None:
    """Nothing follows that could show a wrong start bit: the error byte is wrong."""
    halves = lengths_of(PLAIN, "033F3D")
    assert failing(judge(halves)) == {16: 1}
    assert failing(judge([*halves, 99_000])) == {16: 1}
    assert failing(split(halves[:-1], [])) == {16: 1}


@pytest.mark.parametrize("changes", [{3}, {3, 4}, {0}, {9}, {0, 9}, set(range(10)), {2, 5, 6}])
def test_rule_16_counts_any_pattern(changes: set[int]) -> None:
    """Wrong packets alone, in runs, first and last are counted, in order of time."""
    report = judge(lengths_of(*("033F3D" if at in changes else PLAIN for at in range(10))))
    # 3D has one 1 more than 3C.
    starts, at = [], 0
    for place in range(10):
        starts.append((at + START_US) * 1000)
        at += PLAIN_US - (198 - 116) * (place in changes)
    assert failing(report) == {16: len(changes)}
    assert result(report, 16).first_times_ns == tuple(starts[one] for one in sorted(changes)[:5])
    assert [result(report, number).measured for number in (14, 15, 16, 27)] == [9, 10, 10, 10]


def test_rule_17_is_not_decidable_on_two_levels() -> None:
    """Without a state 'no signal' nobody can tell when it went (S-9.2 §A footnote 3)."""
    found = result(among(PLAIN), 17)
    assert (found.verdict, found.measured) == (Verdict.NOT_DECIDABLE, 0)
    assert "(x or z), which VCD and FST can hold" in found.note


@pytest.mark.parametrize(
    ("held", "verdict"), [(1, FAIL), (25, FAIL), (26, UNDECIDED), (27, PASS), (500, PASS)]
)
def test_rule_17_with_a_gap(held: int, verdict: Verdict) -> None:
    """26 µs or more behind an end bit, at q = 1 µs (M2): 25 fails, 26 is undecided."""
    report = split(lengths_of(PLAIN), lengths_of(PLAIN), held_us=held)
    found = result(report, 17)
    assert (found.verdict, found.measured, found.worst) == (verdict, 1, f"{held} us")
    ends = (PLAIN_US * 1000,) if verdict is FAIL else ()
    assert (found.first_times_ns, found.failed) == (ends, len(ends))
    assert (result(report, 14).verdict, report.packets) == (PASS, 2)


def test_rule_17_where_the_signal_goes_with_the_end_bit() -> None:
    """The end bit's last half is closed by no edge: it lasts 55 to 61 µs (S-9.1 §A, Table 1 t1)."""
    for held, verdict, worst in (
        *((58, FAIL, "0 us"), (79, FAIL, "21 us"), (82, UNDECIDED, "24 us")),
        *((86, UNDECIDED, "28 us"), (89, PASS, "31 us")),
    ):
        report = split(lengths_of(PLAIN)[:-1], lengths_of(PLAIN), held_us=held)
        assert (result(report, 17).verdict, result(report, 17).worst) == (verdict, worst)


@pytest.mark.parametrize(("gap_us", "verdict"), [(9_000, FAIL), (11_000, UNDECIDED)])
def test_rule_17_before_a_long_gap(gap_us: int, verdict: Verdict) -> None:
    """After more than 10 ms without signal the power may have been switched off."""
    report = split(lengths_of(PLAIN), lengths_of(PLAIN), gap_us=gap_us, held_us=10)
    assert result(report, 17).verdict is verdict


def test_rule_17_needs_a_packet_before_the_gap() -> None:
    """A gap after ones, and a second gap after one packet, show nothing."""
    assert result(split([58_000] * 30, lengths_of(PLAIN)), 17).verdict is NOT_EXERCISED
    assert result(split(lengths_of(PLAIN), [], lengths_of(PLAIN), held_us=40), 17).measured == 1


def test_a_gap_before_the_first_edge_shows_nothing() -> None:
    """A recording may begin with an undefined level."""
    chunks = [Chunk(np.empty(0, np.int64), (0, 9000)), Chunk(edges_of(lengths_of(PLAIN), 9000))]
    report = check_signal(chunks)
    assert (report.verdict, result(report, 17).verdict) == (PASS, NOT_EXERCISED)


@pytest.mark.parametrize(
    ("text", "rules"),
    [
        ("FF00FF", set()),
        ("000000", set()),
        ("0040", set()),  # S-9.2 §B, broadcast stop: 01DC000S
        ("0001", set()),  # S-9.2.1 §C, hard reset to the broadcast address
        ("0004", {18}),  # S-9.2.1 §C: 0000 010D is reserved
        ("FF01", {18, 19}),
        ("FF0000", {18, 19}),
        ("FF3C", {18, 19}),  # to the broadcast address it may be defined later (from memory)
        ("00F901", set()),  # S-9.2.3 Appendix B, Decoder Lock
        ("00F97F", set()),
        ("00F980", {18}),  # no short address
        ("00F9", {18}),  # S-9.2.3 Appendix A, Address Query: 1 to 111 (P12)
    ],
)
def test_rules_18_and_19_special_first_bytes(text: str, rules: set[int]) -> None:
    """0 and 255 only in defined packets (S-9.2 §A, C7), 255 only as FF 00 FF (§B, Idle)."""
    data = bytes.fromhex(text)
    report = among(data if reduce(xor, data) == 0 else with_error_byte(text))
    assert failing(report) == dict.fromkeys(rules, 1)
    assert result(report, 18).measured == 1
    assert result(report, 19).measured == (text[:2] == "FF")
    assert all(result(report, number).first_times_ns == (SECOND,) for number in rules)
    assert result(report, 18).note == ""


def test_rule_18_leaves_open_what_the_texts_do() -> None:
    """A decoder lock with address 0 (P13)."""
    found = result(among(with_error_byte("00F900")), 18)
    assert (found.verdict, found.note) == (UNDECIDED, "1 that the texts leave open")


@pytest.mark.parametrize("first", [253, 254])
def test_first_bytes_known_from_memory_are_told(first: int) -> None:
    """By number, and undecided (rules 18 and 28; C7)."""
    report = among(with_error_byte(f"{first:02X}40"))
    told = f"1 with first byte {first}: perhaps defined later (from memory)"
    for number in {253: (28,), 254: (18,)}[first]:
        assert (result(report, number).verdict, result(report, number).note) == (UNDECIDED, told)


def test_rules_18_and_19_are_not_exercised_without_such_bytes() -> None:
    """Nor by one whose error byte is wrong."""
    for report in (among(PLAIN), among("FF01FF")):
        assert result(report, 18).verdict is NOT_EXERCISED
        assert result(report, 19).verdict is NOT_EXERCISED


def test_rule_18_knows_the_codes_of_later_additions() -> None:
    """Typed in, from memory: speed with functions, time, F29 to F68, pairs of CVs; in any length.

    RCN-212, RCN-211 and RCN-214. Every other code is judged by what the texts of 2012 say.
    """
    expected = {0x3C, 0xC1, 0xC2, 0xD8, 0xD9, 0xDA, 0xDB, 0xDC, 0xF4, 0xF5, 0xF6}
    said = {code: RULES[18].of_bytes(Sent(bytes((0, code, code)))) for code in range(256)}
    found = {code for code, one in said.items() if "perhaps defined later" in one.note}
    assert found == expected
    assert {said[code].verdict for code in expected} == {UNDECIDED}


def test_rule_18_forms_known_from_memory_are_no_failure() -> None:
    """Model time as broadcast (from memory) is told; first byte 254 (from memory) undecided."""
    found = result(among("00C11E0C01D2"), 18)
    told = "1 of a form perhaps defined later (from memory)"
    assert (found.verdict, found.note) == (PASS, told)
    found = result(among(with_error_byte("FE0D"), "00C11E0C01D2"), 18)
    assert (found.verdict, found.undecided, found.measured) == (UNDECIDED, 1, 2)
    assert found.note == f"{told}; 1 with first byte 254: perhaps defined later (from memory)"


@pytest.mark.parametrize(
    ("data", "worst", "force"),
    [
        (bytes.fromhex("5A5A"), "2 to 3 bytes", Force.DEFINED),
        (bytes(1), "1 to 3 bytes", Force.DEFINED),
        (with_error_byte("030102030405"), "3 to 7 bytes", Force.DERIVED),
        (bytes(16), "3 to 16 bytes", Force.DERIVED),
    ],
)
def test_rule_27_too_short_and_too_long(data: bytes, worst: str, force: Force) -> None:
    """3 to 6 bytes (S-9.2.1, introduction; C3): fewer are no packet, more a consequence."""
    report = among(data)
    found = result(report, 27)
    assert (found.verdict, found.failed, found.measured, found.worst) == (FAIL, 1, 5, worst)
    assert (found.force, found.first_times_ns) == (force, (SECOND,))
    assert result(report, 16).verdict is PASS


@pytest.mark.parametrize(
    ("data", "worst"),
    [
        (["033F3C"], "3 bytes"),
        (["C3E8EC0603C2"], "6 bytes"),
        (["033F3C", with_error_byte("C3E83F40")], "3 to 5 bytes"),
        (["033F3C"] * 3 + ["C3E8EC0603C2"] * 3, "3 to 6 bytes"),
    ],
)
def test_rule_27_says_what_was_seen(data: list[bytes | str], worst: str) -> None:
    """The shortest and the longest packet."""
    found = result(judge(lengths_of(*data)), 27)
    assert (found.verdict, found.measured, found.worst) == (PASS, len(data), worst)
    assert result(judge([58_000] * 9 + [99_000]), 27).verdict is NOT_EXERCISED


def test_rule_27_longer_packets_known_from_memory_are_undecided() -> None:
    """First bytes 253 and 254 begin packets of more than six bytes in later additions."""
    found = result(among(*(with_error_byte(f"{one}0102030405") for one in ("FD", "FE"))), 27)
    assert (found.verdict, found.undecided, found.failed) == (UNDECIDED, 2, 0)
    assert found.note == "2 of 7 bytes: perhaps defined later (from memory)"
    assert result(among("FDFD"), 27).verdict is FAIL


def test_the_first_failures_are_told_in_the_order_of_time() -> None:
    """Though packets that are alike are counted together, and wherever the edges are cut."""
    wrong = [with_error_byte(text) for text in ("0004", "00C3", "0004", "0005", "00C3", "0004")]
    edges = edges_of(lengths_of(PLAIN, *wrong, PLAIN, preamble=20))
    whole = result(check_signal([edges], resolution_ns=SAMPLED_NS), 18)
    assert (whole.failed, len(whole.first_times_ns)) == (6, 5)
    assert list(whole.first_times_ns) == sorted(whole.first_times_ns)
    assert whole.first_bytes == wrong[0]
    for cut in range(84, len(edges), 60):
        parts = check_signal([edges[:cut], edges[cut:]], resolution_ns=SAMPLED_NS)
        assert result(parts, 18) == whole


def test_the_bytes_of_the_first_failure_are_told_of_whichever_kind_it_is() -> None:
    """Each rule has its own."""
    wrong = [with_error_byte(text) for text in ("E940", "0004", "EA40", "E940")]
    report = judge(lengths_of(PLAIN, *wrong, *wrong[::-1], PLAIN))
    shown = {one.rule.number: one.first_bytes for one in report.results if one.failed}
    assert shown == {18: wrong[1], 28: wrong[0]}


def test_notes_are_told_in_one_order_however_the_edges_are_cut() -> None:
    """By their words, though packets are met in the order of the chunks."""
    sent = [
        with_error_byte(text) for text in ("00F900", "FE01", "003C40", "00C105", "D805", "FE02")
    ]
    edges = edges_of(lengths_of(PLAIN, *sent, *sent[::-1], PLAIN, preamble=20))
    whole = result(check_signal([edges], resolution_ns=SAMPLED_NS), 18)
    assert whole.note.count(";") >= 2
    for cut in range(84, len(edges), 40):
        parts = check_signal([edges[:cut], edges[cut:]], resolution_ns=SAMPLED_NS)
        assert result(parts, 18) == whole


def test_any_number_of_distinct_packets_is_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    """However many of them are remembered at a time."""
    sent = [with_error_byte(f"03 74 {number:02X}") for number in range(40)] * 3
    whole = list(judge(lengths_of(PLAIN, *sent)).to_dicts())
    monkeypatch.setattr("dccwire.conformance.packets._MOST_KEPT", 3)
    assert list(judge(lengths_of(PLAIN, *sent)).to_dicts()) == whole
    assert next(one for one in whole if one["rule"] == 27)["measured"] == 121
