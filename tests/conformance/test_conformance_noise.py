"""Noise at the place of the probe: what it cuts, moves and hides fails no station.

Every signal here is of a station that keeps all rules, or breaks one that is named; pulses are put
among its edges by hand.
"""

from __future__ import annotations

from pathlib import Path
from random import Random

import numpy as np
import pytest
from conformance_helpers import check_signal, edges_of, result

from dccwire.conformance import Report, Session, Verdict, check
from dccwire.recordings import Chunk, write_vcd
from dccwire.signal import Timing
from dccwire.synthesis import Sending

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED
GOOD = Timing(58_000, 100_000)
IDLE, SPEED = bytes.fromhex("FF00FF"), bytes.fromhex("037576")
FRAMED = 1, 2, 3, 4, 14, 15, 16, 27


def halves(*packets: bytes, ones: int = 16, timing: Timing = GOOD) -> list[int]:
    """The half-bits of packets."""
    return [length for one in packets for length in Sending(one, ones, timing).lengths()]


def pulsed(lengths: list[int], place: int, after: int, width: int) -> list[int]:
    """Half-bits, one of which a pulse of noise splits in three."""
    rest = lengths[place] - after - width
    return [*lengths[:place], after, width, rest, *lengths[place + 1 :]]


def failing(report: Report) -> list[int]:
    """The rules that a report fails."""
    return [one.rule.number for one in report.results if one.verdict is FAIL]


@pytest.mark.parametrize("ones", [14, 15, 16])
def test_one_pulse_fails_no_rule_but_the_fifth(ones: int) -> None:
    """Of 4 to 45 us, wherever it stands (rules.md, row 5: it may be noise, and is told)."""
    random, lengths, fifth = Random(ones), halves(IDLE, SPEED, IDLE, SPEED, IDLE, ones=ones), 0
    for _ in range(400):
        place = random.randrange(110, len(lengths) - 110)
        width = random.randint(4_500, min(45_000, lengths[place] - 1_000))
        after = random.randint(300, lengths[place] - width - 300)
        report = check_signal([edges_of(pulsed(lengths, place, after, width))], resolution_ns=1)
        assert set(failing(report)) <= {5}, (place, after, width)
        fifth += 5 in failing(report)
    assert fifth > 200


@pytest.mark.parametrize(("place", "after", "width"), [(232, 1_000, 36_000), (201, 1_250, 39_236)])
def test_a_pulse_that_begins_beside_an_edge_moves_it(place: int, after: int, width: int) -> None:
    """137 and 63 us for a 0, read as another packet; 98 and 17 us for a 1, read as a start bit."""
    for ones in (14, 15, 16):
        lengths = pulsed(halves(*[IDLE, SPEED] * 3, ones=ones), place, after, width)
        report = check_signal([edges_of(lengths)], resolution_ns=1)
        assert set(failing(report)) <= {5}


def test_what_noise_does_not_explain_fails() -> None:
    """A half of 63 us, a wrong error byte and a short preamble, with a pulse in another packet."""
    packets = [IDLE, SPEED, IDLE, bytes.fromhex("037577"), SPEED, IDLE]
    lengths = [
        length
        for place, one in enumerate(packets)
        for length in halves(one, ones=12 if place == 4 else 16)
    ]
    lengths[5] = 63_000
    report = check_signal([edges_of(pulsed(lengths, 120, 20_000, 20_000))], resolution_ns=1)
    assert failing(report) == [1, 2, 5, 14, 16]
    # A pulse of 2 us beside halves as they should be is no noise that makes a wrong byte.
    wrong = pulsed(halves(*packets), 3 * 84 + 60, 20_000, 2_000)
    assert 16 in failing(check_signal([edges_of(wrong)], resolution_ns=1))


@pytest.mark.parametrize("one", [58_000, 60_000, 60_800])
def test_ringing_crossings_fail_nothing(one: int) -> None:
    """Each pulse is shorter than 4 us (M8); packets are lost where many stand in a row."""
    for seed in range(60):
        random = Random(seed)
        edges = list[int]()
        packets = [random.choice([IDLE, SPEED, bytes.fromhex("C4B53F2967")]) for _ in range(8)]
        for edge in edges_of(halves(*packets, timing=Timing(one, 100_000)), 50_000).tolist():
            step = random.randrange(900, 1800) * random.choice([1, -1])
            count = random.choice([2, 4]) if random.random() < 0.3 else 0
            edges += [edge + step * number for number in range(count + 1)]
        report = check_signal([np.array(sorted(edges))], resolution_ns=10)
        assert not any(result(report, rule).failed for rule in FRAMED), seed


@pytest.mark.parametrize("held", [430_000, 700_000, 1_000_000, 1_500_000])
def test_contact_lost_within_a_preamble_is_no_short_one(held: int) -> None:
    """A level that is held looks like half a zero; it may hide as many ones as it lasts."""
    edges = edges_of(halves(*[IDLE] * 6), 50_000)
    for half in range(32):
        begin = int(edges[2 * 88 + half]) + 20_000
        kept = [edge for edge in edges.tolist() if not begin <= edge < begin + held]
        if (len(edges) - len(kept)) % 2:
            kept = sorted([*kept, begin + held])
        report = check_signal([np.array(kept)], resolution_ns=1)
        assert not result(report, 14).failed, half


def test_a_short_preamble_before_stretched_zeros_fails() -> None:
    """All zeros of the packet last as long as its start bit."""
    zeros = Timing(58_000, 100_000, zero_last=1_600_000)
    lengths = [*halves(IDLE, IDLE), *halves(IDLE, ones=12, timing=zeros), *halves(IDLE)]
    assert result(check_signal([edges_of(lengths)], resolution_ns=1), 14).failed == 1


@pytest.mark.parametrize(("apart", "verdict"), [(5_000_500, UNDECIDED), (5_010_000, PASS)])
@pytest.mark.parametrize("ring", [2_000, 3_000])
@pytest.mark.parametrize("where", [0, 1])
def test_which_edge_of_a_ringing_crossing_counts_is_not_known(
    apart: int, verdict: Verdict, ring: int, where: int
) -> None:
    """End bit to start bit of two packets to 115 (rule 23), off by as much as the ringing (M8)."""
    packet = bytes.fromhex("737506")
    before, between = halves(IDLE, packet), [apart // 86] * 86
    between[-1] += apart - sum(between)
    edges = edges_of([*before, *between, *halves(packet, ones=0), *halves(IDLE)])
    at = len(before) + where * len(between)
    later = 1 - 2 * where  # so that the two edges seem nearer than they are
    rings = [edges[at] + later * ring // 2, edges[at] + later * ring]
    session = Session(programming_track=False, every_30_ms=True)
    assert result(check([edges], resolution_ns=1, session=session), 23).verdict is PASS
    rung = check([np.array(sorted([*edges.tolist(), *rings]))], resolution_ns=1, session=session)
    assert (result(rung, 23).verdict, result(rung, 22).verdict) == (verdict, PASS)


@pytest.mark.parametrize(
    ("lasts", "verdict"), [(27_000, UNDECIDED), (31_000, PASS), (21_000, FAIL)]
)
def test_the_signal_goes_on_behind_a_ringing_end_bit(
    lasts: int, verdict: Verdict, tmp_path: Path
) -> None:
    """26 us (rule 17), which begin with one of the edges that ring for 2 us."""
    rows, time, level = ["#0\n0!\n"], 50_000, 0
    for _ in range(3):
        for edge in edges_of(halves(IDLE), time).tolist():
            level ^= 1
            rows.append(f"#{edge}\n{level}!\n")
        rows += [f"#{edge + 1_000}\n{level ^ 1}!\n", f"#{edge + 2_000}\n{level}!\n"]
        rows.append(f"#{edge + lasts}\nz!\n")
        time = edge + lasts + 450_000
    path = tmp_path / "a.vcd"
    head = "$timescale 1 ns $end\n$var wire 1 ! track $end\n$enddefinitions $end\n"
    path.write_text(head + "".join(rows), "utf-8")
    assert result(check(path, resolution_ns=10), 17).verdict is verdict


def test_gaps_in_what_no_packet_was_read_from_are_open() -> None:
    """A probe that moves halves out of both windows: rule 13 cannot tell what a gap cuts."""
    at = edges_of(halves(*[IDLE, SPEED] * 4, timing=Timing(55_100, 95_100)), 50_000)
    at[1::2] -= 3_500
    cut = int(at[300]) + 9_000
    chunks = [Chunk(at[:301], (cut, cut + 200_000), turned=False), Chunk(at[304:])]
    report = check(chunks, resolution_ns=100)
    assert (report.packets, result(report, 13).verdict) == (0, UNDECIDED)


def test_a_half_that_an_untold_probe_may_have_moved_fails_no_rule() -> None:
    """52.5 us and 4 us of the probe's, where all zeros are stretched (rule 5, M7)."""
    for half in (8, 9):
        lengths = halves(*[IDLE] * 8, timing=Timing(58_000, 100_000, zero_last=4_000_000))
        lengths[4 * 84 + half] = 52_500
        for odd in (0, 1):
            at = edges_of(lengths, 50_000)
            at[odd::2] += 4_000
            assert not result(check_signal([at], resolution_ns=1), 5).failed


def test_what_noise_leaves_is_the_same_wherever_edges_are_cut(tmp_path: Path) -> None:
    """Half-bits beside the end of a portion, too."""
    lengths = halves(*[IDLE, SPEED] * 6)
    for place in (90, 260, 410, 640):
        lengths = pulsed(lengths, place, 900 + place, 30_000)
    edges = edges_of(lengths)
    whole = check_signal([edges], resolution_ns=1)
    assert any(one.undecided for one in whole.results)
    for cut in range(80, len(edges), 7):
        parts = check_signal(np.split(edges, [cut]), resolution_ns=1)
        assert parts.results == whole.results, cut
    path = tmp_path / "a.vcd"
    write_vcd(path, edges.tolist())
    assert check_signal(path, resolution_ns=1).results == whole.results


@pytest.mark.parametrize("lost", range(4, 22, 2))
def test_a_start_bit_that_hides_ones_breaks_no_long_preamble(lost: int) -> None:
    """Contact lost over the last of twenty ones and the first half of the start bit (rule 49)."""
    write, reset = bytes.fromhex("7C1D0465"), bytes(3)
    packets = [IDLE] * 10 + [reset] * 20 + [write] * 5 + [reset] * 9 + [IDLE] * 4
    lengths = halves(*packets, ones=20)
    start = len(halves(*packets[:32], ones=20)) + 40
    edges = np.delete(edges_of(lengths, 1_000), range(start + 1 - lost, start + 1))
    session = Session(programming_track=True)
    report = check([edges], resolution_ns=100, session=session)
    assert result(report, 49).verdict is UNDECIDED
    assert not result(report, 14).failed
    short = [length for one in packets for length in halves(one, ones=18 if one == write else 20)]
    assert result(check([edges_of(short)], resolution_ns=100, session=session), 49).failed > 3


def test_a_reset_that_noise_spoils_may_lead_service_mode() -> None:
    """Its zeros are stretched, so that it lasts longer than 20 ms (rules 23 and 38, no session)."""
    long = Timing(58_000, 100_000, zero_last=1_800_000)
    write, reset = bytes.fromhex("7AB0CA"), bytes(3)
    lengths = halves(*[IDLE] * 4, *[reset] * 4, ones=20)
    spoiled = halves(reset, ones=20, timing=long)
    spoiled[44] = 58_000
    lengths += [*spoiled, *halves(*[write] * 5, *[reset] * 6, *[IDLE] * 4, ones=20)]
    report = check([edges_of(lengths)], resolution_ns=100)
    assert not any(result(report, rule).failed for rule in (23, 30, 38))
