"""Numbers that decide what is judged, and how, each at itself, one step inside and one outside."""

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

from dccwire.conformance import Histogram, Session, Verdict, check
from dccwire.errors import FieldError
from dccwire.recordings import Chunk
from dccwire.synthesis import Sending
from refusals import refused

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED
NOT_EXERCISED = Verdict.NOT_EXERCISED
OTHER = [75_000] * 4
"""Of no 1 and no 0: another protocol, behind which no one of the preamble is hidden."""


@pytest.mark.parametrize(
    ("ones", "wrong", "verdict"),
    [
        *[(13, [], FAIL), (14, [], PASS), (14, [0], UNDECIDED), (14, [1], UNDECIDED)],
        *[(15, [0], PASS), (15, [1], PASS), (15, [2], UNDECIDED), (15, [3], UNDECIDED)],
        *[(16, [2], PASS), (16, [3], PASS), (16, [0, 1, 2, 3], PASS), (18, [4], PASS)],
    ],
)
@pytest.mark.parametrize("half", [54_000, 62_000])
def test_ones_in_doubt_at_the_begin_of_a_preamble(
    ones: int, wrong: list[int], verdict: Verdict, half: int
) -> None:
    """As many as hold a half-bit that may be another protocol's: of the first four, 55 to 61 µs.

    From the fifth on it is judged by rule 1 (S-9.1 §A, Table 1 t1) and counts as one of the ones.
    """
    lengths = lengths_of(PLAIN, preamble=ones)
    for place in wrong:
        lengths[place] = half
    report = judge(lengths_of(PLAIN) + OTHER + lengths)
    assert (result(report, 14).verdict, result(report, 14).worst) == (verdict, f"{ones} ones")
    assert failing(report).get(1, 0) == sum(place > 3 for place in wrong)


@pytest.mark.parametrize(("half", "verdict"), [(56_000, PASS), (60_000, PASS)])
@pytest.mark.parametrize("outside", [0, 1])
def test_ones_in_doubt_are_those_that_rule_1_does_not_pass(
    half: int, verdict: Verdict, outside: int
) -> None:
    """With a resolution of 1 µs 56 to 60 µs are surely right (M3), 55 and 61 are not."""
    lengths = lengths_of(PLAIN)
    lengths[0] = half + outside * (1000 if half > 58_000 else -1000)
    found = result(judge(lengths_of(PLAIN) + OTHER + lengths), 14)
    assert found.verdict is (UNDECIDED if outside else verdict)


@pytest.mark.parametrize(("between", "ones"), [([75_000] * 4, 13), ([65_500] * 4, 13)])
def test_half_bits_of_neither_show_another_protocol(between: list[int], ones: int) -> None:
    """Behind them no end bit counts, and none before the last of them hides."""
    report = check_signal(
        [edges_of(lengths_of(PLAIN) + between + lengths_of(PLAIN, preamble=ones))],
        resolution_ns=1,
    )
    assert result(report, 14).verdict is FAIL


@pytest.mark.parametrize(("after_us", "verdict"), [(104, FAIL), (110, UNDECIDED), (220, UNDECIDED)])
def test_what_follows_the_last_half_bit_of_another_protocol_may_hide_ones(
    after_us: int, verdict: Verdict
) -> None:
    """One in 110 µs (S-9.1 §A, Table 1 t1)."""
    lengths = [*lengths_of(PLAIN), *[75_000] * 4, after_us * 1000, *lengths_of(PLAIN, preamble=13)]
    report = check_signal([edges_of(lengths)], resolution_ns=1)
    assert (result(report, 14).verdict, result(report, 14).worst) == (verdict, "13 ones")


@pytest.mark.parametrize(("hiding", "verdict"), [(429_999, FAIL), (430_000, UNDECIDED)])
def test_the_time_that_hides_ones_is_known_to_twice_the_error(
    hiding: int, verdict: Verdict
) -> None:
    """Four ones of which each half is at least 54 µs, sampled each µs: 432 µs, less 2 µs."""
    edges = edges_of([*lengths_of(PLAIN), hiding, *lengths_of(PLAIN, preamble=9)])
    found = result(check_signal([edges], resolution_ns=1000), 14)
    assert (found.verdict, found.worst) == (verdict, "9 ones")


def broken_off(data: str, flip: int = 18) -> list[int]:
    """The half-bits of a packet of which a start bit was sent as a 1, an end bit to receivers."""
    return list(Sending(bytes.fromhex(data), 16, COARSE, flip=flip).lengths())


@pytest.mark.parametrize(
    ("data", "place", "inside", "outside"),
    [
        *[("033F3C", 0, 89_001, 89_000), ("033F3C", 1, 89_001, 89_000)],
        *[("033F3C", 0, 10_000_999, 10_001_000), ("033F3C", 1, 10_000_999, 10_001_000)],
        *[("03C0C3", place, 51_001, 51_000) for place in range(4)],
        *[("03C0C3", place, 64_999, 65_000) for place in range(4)],
        *[("03C0C3", 4, 89_001, 89_000), ("03C0C3", 5, 89_001, 89_000)],
    ],
)
def test_what_goes_on_behind_an_end_bit_is_of_ones_and_a_whole_zero(
    data: str, place: int, inside: int, outside: int
) -> None:
    """Each half within what decoders accept (S-9.1 §A, Table 1 tr1, tr0), give or take 1 µs."""
    for length in (inside, outside):
        lengths = broken_off(data)
        lengths[2 * (16 + 19) + place] = length
        report = judge(lengths_of(PLAIN, preamble=16) + lengths + lengths_of(PLAIN, PLAIN))
        assert (15 in failing(report)) is (length == inside)


@pytest.mark.parametrize(("ones", "goes_on"), [(8, True), (9, True), (10, False), (11, False)])
def test_up_to_nine_ones_go_on(ones: int, goes_on: bool) -> None:
    """Ten of them and a 0 are a preamble (S-9.2 §A)."""
    lengths = broken_off("033F3C")[: 2 * (16 + 19)] + [58_000] * 2 * ones + [99_000] * 2
    report = judge(lengths_of(PLAIN, preamble=16) + lengths + lengths_of(PLAIN, PLAIN, preamble=20))
    assert (15 in failing(report)) is goes_on


def test_an_odd_half_of_a_one_is_no_bit_that_goes_on() -> None:
    """Half-bits that noise split are not blamed on the start bit."""
    lengths = broken_off("033F3C")[: 2 * (16 + 19)] + [58_000] * 3 + [99_000] * 2
    report = judge(lengths_of(PLAIN, preamble=16) + lengths + lengths_of(PLAIN, PLAIN))
    assert failing(report) == {16: 1, 27: 1}


@pytest.mark.parametrize(("packet", "failed"), [(0, {16: 1}), (1, {}), (2, {16: 1})])
def test_a_wrong_error_byte_where_a_pulse_was_merged_is_undecided(
    packet: int, failed: dict[int, int]
) -> None:
    """Noise at the probe may have made the bits: rule 16 fails packets without it alone."""
    edges = edges_of(lengths_of(PLAIN, "033F3D", PLAIN, PLAIN))
    at = edges[84 * packet + 50]
    report = check_signal([np.sort(np.append(edges, [at + 500, at + 2500]))], resolution_ns=100)
    assert failing(report) == failed
    told = "1 wrong, with pulses or half-bits of no bit in them"
    assert (result(report, 16).note == told) is (packet == 1)


@pytest.mark.parametrize(
    ("place", "half", "failed"),
    [
        *[(28, 99_000, {16: 1}), (82, 58_000, {16: 1})],
        *[(29, 75_000, {5: 1}), (30, 75_000, {5: 1}), (31, 75_000, {5: 1})],
    ],
)
def test_a_wrong_error_byte_with_a_half_bit_of_neither_is_undecided(
    place: int, half: int, failed: dict[int, int]
) -> None:
    """A decoder forgives one half (E7); rule 16 is on packets without what rule 5 counts."""
    wrong = lengths_of("033F3D")
    wrong[place] = half
    report = judge(lengths_of(PLAIN) + wrong + lengths_of(PLAIN, PLAIN))
    assert failing(report) == failed
    assert result(report, 16).undecided == (5 in failed)


@pytest.mark.parametrize(("ones", "verdict"), [(13, UNDECIDED), (14, NOT_EXERCISED)])
def test_the_first_packet_behind_one_that_is_not_recorded_whole(
    ones: int, verdict: Verdict
) -> None:
    """With fewer than 14 ones something was not seen; with 14 nothing was shown."""
    assert result(judge(OTHER + lengths_of(PLAIN, preamble=ones)), 14).verdict is verdict


@pytest.mark.parametrize(("held", "silences"), [(10_000_999, 0), (10_001_000, 1)])
def test_silence_begins_where_no_zero_is_as_long(held: int, silences: int) -> None:
    """10 ms (S-9.1 §A, Table 1 tr0), give or take a resolution of 1 µs; then rule 3 fails (t0)."""
    lengths = lengths_of(PLAIN, PLAIN, PLAIN)
    lengths[84 + 29] = held
    report = judge(lengths)
    assert any("no edge for more than 10 ms" in note for note in report.notes) is bool(silences)
    assert (3 in failing(report)) is not silences


def test_the_histogram_ends_at_140_us() -> None:
    """Whole microseconds below, one count from there on."""
    histogram = Histogram()
    histogram.add(np.array([0, 999, 1000, 138_999, 139_000, 139_999, 140_000, 141_000, 10**7]))
    assert histogram.counts() == {0: 2, 1: 1, 138: 1, 139: 2, 140: 3}
    assert [line.split()[:3] for line in histogram.lines()][-1] == ["140+", "us", "3"]
    assert not list(Histogram().lines())


@pytest.mark.parametrize(
    ("name", "given", "bound"),
    [
        ("resolution_ns", 0, "1 to 12999 ns"),
        ("resolution_ns", 13_000, "1 to 12999 ns"),
        ("uncertainty_ns", -1, "0 to 11999 ns"),
        ("uncertainty_ns", 12_000, "0 to 11999 ns"),
    ],
)
def test_errors_that_mix_ones_and_zeros(name: str, given: int, bound: str) -> None:
    """Half of the distance between 64 and 90 µs is the most (S-9.1 §A, Table 1 tr1, tr0)."""
    options = {"resolution_ns": 1000, "uncertainty_ns": 0} | {name: given}
    edges = edges_of(lengths_of(PLAIN))
    with refused(FieldError, field=name, bound=bound):
        check_signal([edges], **options)


def test_the_first_half_bit_that_is_not_judged_is_told_to_the_microsecond() -> None:
    """Where another protocol begins, in ms, and how long its half-bits are, in us."""
    report = judge([*lengths_of(PLAIN), 40_000, 75_000, *lengths_of(PLAIN)])
    told = next(note for note in report.notes if "not judged" in note)
    assert told.startswith("2 half-bits of 40 to 75 us not judged, the first at 6.102 ms")


@pytest.mark.parametrize(("lasts_us", "verdict"), [(25, FAIL), (26, UNDECIDED), (27, PASS)])
def test_rule_17_at_its_limit(lasts_us: int, verdict: Verdict) -> None:
    """26 µs (S-9.2 §A footnote 3, C14), with a resolution of 1 µs."""
    edges = edges_of(lengths_of(PLAIN))
    gap = int(edges[-1]) + lasts_us * 1000
    chunks = [Chunk(edges, (gap, gap + 500_000)), Chunk(edges + gap + 500_000)]
    assert result(check_signal(chunks, resolution_ns=1000), 17).verdict is verdict


def test_where_the_packet_start_bit_of_a_wrong_packet_is_told() -> None:
    """At the packet start bit, behind the ones."""
    report = judge(lengths_of(PLAIN, "033F3D", PLAIN))
    assert result(report, 16).first_times_ns == ((PLAIN_US + START_US) * 1000,)


@pytest.mark.parametrize("place", [-3, -2, -1, 1, 2, 3, 4, 5, 6])
def test_half_bits_beside_silence_prove_nothing(place: int) -> None:
    """The last one before it, which it cuts, and four behind it, of a contact that bounces."""
    ones = [58_000] * 12
    lengths = [*lengths_of(PLAIN, PLAIN), *ones, 20_000_000, *ones, *lengths_of(PLAIN, PLAIN)]
    lengths[2 * 84 + 12 + place] = 62_000
    report = judge(lengths)
    assert failing(report) == ({} if place in (-1, 1, 2, 3, 4) else {1: 1})
    assert report.verdict is (UNDECIDED if place in (-1, 1, 2, 3, 4) else FAIL)


@pytest.mark.parametrize(
    ("halves", "foreign", "failed"), [(19, 24, {}), (20, 2, {5: 3}), (21, 2, {5: 3})]
)
def test_from_ten_ones_on_it_is_a_packet_that_was_spoiled(
    halves: int, foreign: int, failed: dict[int, int]
) -> None:
    """They are a preamble to every decoder (S-9.2 §A); before them another protocol may stand."""
    between = [75_000, 75_000, *[58_000] * halves, *[75_000] * 3]
    report = judge([*lengths_of(PLAIN), *between, *lengths_of(PLAIN, PLAIN)])
    assert (report.not_judged, failing(report)) == (foreign, failed)


@pytest.mark.parametrize(
    ("between", "shape"),
    [
        *[([32_999, 430_000], True), ([33_001, 430_000], False)],  # a cutout begins by 32 µs
        *[([430_000, 64_999], True), ([430_000, 65_001], False)],  # S-9.1 §A, Table 1 tr1
        *[([399_000], True), ([398_999], False)],  # a pause lasts 400 µs
        *[([20_000, 430_000, 20_000], True), ([20_000, 430_000, 20_000, 20_000], False)],
    ],
)
def test_the_shape_of_a_pause_at_its_limits(between: list[int], shape: bool) -> None:
    """Each is known to 1 µs; what has another shape is not judged, and does not pass."""
    report = judge([*lengths_of(PLAIN), *between, *lengths_of(PLAIN)])
    assert (report.not_judged == 0) is shape


@pytest.mark.parametrize(("last", "passes"), [(64_999, True), (65_001, False)])
def test_the_rest_of_a_half_bit_behind_a_stretch_without_a_level(last: int, passes: bool) -> None:
    """It is no longer than the half of a 1 (S-9.1 §A, Table 1 tr1), give or take 1 µs."""
    edges = edges_of(lengths_of(PLAIN))
    gap = int(edges[-1]) + 40_000
    rest = edges_of([last, *lengths_of(PLAIN)], gap + 400_000)
    report = check_signal([Chunk(edges, (gap, gap + 400_000)), Chunk(rest)], resolution_ns=1000)
    assert (report.not_judged == 0) is passes


@pytest.mark.parametrize(("silent", "judged"), [(10_000_999, True), (10_001_000, False)])
def test_a_stretch_without_a_level_as_long_as_silence_parts_packets(
    silent: int, judged: bool
) -> None:
    """From 10 ms on the power may come back in a preamble: rule 14 is not judged then."""
    edges = edges_of(lengths_of(PLAIN))
    gap = int(edges[-1]) + 40_000
    rest = edges_of(lengths_of(PLAIN), gap + silent)
    report = check_signal([Chunk(edges, (gap, gap + silent)), Chunk(rest)], resolution_ns=1000)
    assert (result(report, 14).verdict is PASS) is judged


@pytest.mark.parametrize(
    ("bits", "foreign"),
    [
        ("1" + "10101010" + 6 * "011111110", 0),
        ("1" + "10101010" + 7 * "011111110", 144),
        ("1" + 6 * "011111110", 0),
        ("1" + 7 * "011111110", 128),
        ("1" + 3 * "011111111" + "0", 0),  # a last byte of ones joins the preamble
        ("1" + 3 * "011111111" + "10", 60),
    ],
)
def test_the_end_of_a_packet_before_the_first_has_a_0_before_each_of_six_bytes(
    bits: str, foreign: int
) -> None:
    """S-9.2 §A; S-9.2.1, introduction: what has not is of no packet, and is not judged."""
    head = [length for bit in bits for length in [58_000 if bit == "1" else 99_000] * 2]
    assert judge(head + lengths_of(PLAIN, PLAIN)).not_judged == foreign


@pytest.mark.parametrize("bit", range(5))
@pytest.mark.parametrize("order", [1, -1])
def test_bits_that_may_be_cut_prove_no_difference(bit: int, order: int) -> None:
    """Two behind another protocol: both halves keep 55 to 61 µs, 5 µs apart (rule 2)."""
    lengths = lengths_of(PLAIN, preamble=20)
    lengths[2 * bit : 2 * bit + 2] = [55_500, 60_500][::order]
    report = check_signal([edges_of(lengths_of(PLAIN) + OTHER + lengths)], resolution_ns=1)
    assert failing(report) == ({2: 1} if bit > 1 else {})


def test_how_long_the_recording_is_is_told_to_the_millisecond() -> None:
    """From the first edge to the last."""
    report = judge(lengths_of(*[PLAIN] * 200))
    assert "200 packets, 16801 edges, 1.220 s" in report.text()


@pytest.mark.parametrize(
    ("off_us", "verdict"),
    [(-4, Verdict.FAIL), (-3, Verdict.UNDECIDED), (3, Verdict.UNDECIDED), (4, Verdict.PASS)],
)
@pytest.mark.parametrize(
    ("number", "packets", "apart_us"),
    [
        (24, ("03 3F 3C", "03 3F 3C"), 5_000),
        (23, ("70 3F 4F", "70 3F 4F"), 5_000),
        (21, ("00 00 00", "64 3F 5B"), 20_000),
    ],
)
def test_a_pause_behind_an_end_bit_that_no_edge_closed(
    number: int, packets: tuple[str, str], apart_us: int, off_us: int, verdict: Verdict
) -> None:
    """Its last half lasts 55 to 61 us, so the time from its end is known to 3 us besides."""
    before, after = packets
    ones = 20 if apart_us == 5_000 else 100
    pause = (apart_us + off_us - ones * 116) * 1000
    halves = [
        *lengths_of("FF 00 FF", "FF 00 FF"),
        *Sending(bytes.fromhex(before), 16, COARSE, gap_ns=pause).lengths(),
        *lengths_of(after, preamble=ones),
        *lengths_of("FF 00 FF"),
    ]
    session = Session(programming_track=False)
    report = check([edges_of(halves)], resolution_ns=1, session=session)
    assert result(report, number).verdict is verdict
    assert result(report, number).measured == 1


@pytest.mark.parametrize(
    ("off_us", "verdict"),
    [(-4, Verdict.PASS), (-3, Verdict.UNDECIDED), (3, Verdict.UNDECIDED), (4, Verdict.FAIL)],
)
def test_a_pause_within_a_step_of_service_mode(off_us: int, verdict: Verdict) -> None:
    """The same of rule 52: 20 ms at most, here among the writes."""
    ones = 100
    pause = (20_000 + off_us - ones * 116) * 1000
    write, reset = bytes.fromhex("7C 07 02 79"), bytes(3)
    sendings = [
        *[Sending(reset, 20, COARSE)] * 22,
        *[Sending(write, 20, COARSE)] * 2,
        Sending(write, 20, COARSE, gap_ns=pause),
        Sending(write, ones, COARSE),
        *[Sending(write, 20, COARSE)] * 5,
        *[Sending(reset, 20, COARSE)] * 8,
    ]
    halves = [length for one in sendings for length in one.lengths()]
    session = Session(programming_track=True)
    report = check([edges_of(halves)], resolution_ns=1, session=session)
    assert result(report, 52).verdict is verdict
