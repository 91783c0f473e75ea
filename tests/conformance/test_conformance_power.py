"""Rules 50 and 86: what comes first when power comes on, from the texts."""

from __future__ import annotations

from dataclasses import replace
from itertools import accumulate

import numpy as np
import pytest
from conformance_helpers import result
from test_conformance_sequences import (
    IDLE,
    OTHER,
    RESET,
    SPOILED,
    WRITE,
    WRONG,
    halves,
    start_of,
)

from dccwire.conformance import RuleResult, Session, Verdict, check
from dccwire.errors import FieldError
from dccwire.recordings import Chunk
from refusals import refused

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED
NOT_EXERCISED, NOT_DECIDABLE = Verdict.NOT_EXERCISED, Verdict.NOT_DECIDABLE
VERIFY = "7C 04 05"


def edges_of(packets: list[str | int]) -> np.ndarray:  # type: ignore[type-arg] # of edges
    """The edges of packets; a number is a time in µs that the last level holds longer."""
    lengths: list[int] = []
    for one in packets:
        if isinstance(one, int):
            lengths[-1] += 1000 * one
        else:
            lengths += halves(one)
    return np.fromiter(accumulate(lengths, initial=0), np.int64)


def judged(number: int, packets: list[str | int], session: Session | None = None) -> RuleResult:
    """What a rule says of packets."""
    return result(check([edges_of(packets)], resolution_ns=1000, session=session), number)


ON = Session(power_on_ns=(0,), programming_track=True)


@pytest.mark.parametrize("kinds", [[IDLE, OTHER, RESET], [RESET], [WRITE, IDLE, RESET]])
@pytest.mark.parametrize(
    ("count", "verdict", "close"),
    [(19, FAIL, 0), (20, PASS, 1), (22, PASS, 1), (23, PASS, 0), (60, PASS, 0)],
)
def test_rule_50_any_twenty_packets(
    kinds: list[str], count: int, verdict: Verdict, close: int
) -> None:
    """From power-on to the first packet of service mode (S-9.2.3 §E; P15), resets included."""
    before = [*(kinds * count)[: count - 1], RESET]
    found = judged(50, [*before, VERIFY, VERIFY, RESET, VERIFY], ON)
    assert (found.verdict, found.measured, found.worst) == (verdict, 1, f"{count} packets")
    assert found.first_times_ns == ((start_of(*before),) if verdict is FAIL else ())
    assert found.note.startswith("1 of 20 to 22") is bool(close)


@pytest.mark.parametrize(
    ("packets", "verdict"),
    [
        ([IDLE] * 17 + [WRONG] + [RESET], FAIL),
        ([IDLE] * 18 + [WRONG] + [RESET], UNDECIDED),
        ([IDLE] * 17 + [SPOILED] + [RESET], FAIL),
        ([IDLE] * 18 + [SPOILED] + [RESET], UNDECIDED),
        ([IDLE] * 17 + [WRONG, SPOILED] + [RESET], UNDECIDED),
        ([IDLE] * 19 + [SPOILED] + [RESET], UNDECIDED),
        ([IDLE] * 19 + [WRONG] + [RESET], PASS),
        ([IDLE] * 3 + [30_000] + [IDLE] * 16 + [RESET], UNDECIDED),
        ([VERIFY], UNDECIDED),
    ],
)
def test_rule_50_what_could_not_be_read_may_count(packets: list[str], verdict: Verdict) -> None:
    """Wrong packets may have been read wrong, and hidden ones have been an operation, too early."""
    assert judged(50, [*packets, VERIFY], ON).verdict is verdict


def test_rule_50_after_a_gap() -> None:
    """Power may have come on behind it, unless the session says when it did."""
    few, enough = [IDLE] * 3 + [RESET], [IDLE] * 30 + [RESET]
    assert judged(50, [*few, VERIFY]).verdict is NOT_DECIDABLE
    assert "power_on_s" in judged(50, [*few, VERIFY]).note
    assert judged(50, [*few, IDLE]).verdict is NOT_EXERCISED
    found = judged(50, [*few, 11_000, *few, VERIFY])
    assert (found.verdict, found.worst) == (UNDECIDED, "4 packets")
    assert "power_on_s would tell" in found.note
    assert judged(50, [*few, 9_000, *enough, VERIFY]).verdict is NOT_DECIDABLE
    found = judged(50, [*few, VERIFY, 11_000, *enough, VERIFY, *few, VERIFY])
    assert (found.verdict, found.measured, found.worst) == (PASS, 1, "31 packets")
    session = Session(power_on_ns=())
    assert judged(50, [*few, 11_000, *few, VERIFY], session).verdict is NOT_EXERCISED
    end = int(edges_of(packets := [*few, 11_000, *few, VERIFY])[-1])
    session = Session(power_on_ns=(end,), programming_track=True)
    found = judged(50, packets, session)  # at the gap's end, or now
    assert (found.verdict, found.worst) == (UNDECIDED, "4 packets")
    assert "its exact time would tell" in found.note
    with refused(FieldError, field="power_on_s", value=(end + 1) / 1e9) as caught:
        judged(50, packets, Session(power_on_ns=(0, end + 1)))
    assert caught.value.hint == "the recording ends there"


@pytest.mark.parametrize(("behind_ms", "count"), [(0, 20), (7, 20), (99, 20), (101, 3)])
def test_rule_50_a_power_on_may_be_told_a_little_late(behind_ms: int, count: int) -> None:
    """What comes behind a silence came with the power, if that is told to a tenth of a second."""
    packets: list[str | int] = [IDLE, 40_000, *[IDLE] * 19, RESET, VERIFY]
    first = int(edges_of(packets[:2])[-1])
    session = Session(power_on_ns=(first + behind_ms * 1_000_000,), programming_track=True)
    found = judged(50, packets, session)
    assert (found.verdict, found.worst) == (PASS if count == 20 else FAIL, f"{count} packets")


@pytest.mark.parametrize("before", [IDLE, SPOILED, WRONG])
def test_rule_50_packets_before_power_on_are_none_of_its(before: str) -> None:
    """The one whose start bit begins when power comes on is the first."""
    packets: list[str | int] = [IDLE, before, *[IDLE] * 18, RESET, VERIFY]
    session = Session(power_on_ns=(start_of(IDLE, before),), programming_track=True)
    found = judged(50, packets, session)
    assert (found.verdict, found.worst) == (FAIL, "19 packets")


def test_rule_50_each_power_on_is_judged_by_the_first_operation_behind_it() -> None:
    """What the session says that no service mode is, is none."""
    few, enough = [IDLE] * 3 + [RESET], [IDLE] * 30 + [RESET]
    packets: list[str | int] = [*few, VERIFY, IDLE, 40_000, *enough, VERIFY, IDLE, 40_000, *few]
    second = int(edges_of(packets[:7])[-1])
    session = Session(power_on_ns=(second, 0), programming_track=True)
    found = judged(50, [*packets, VERIFY], session)
    assert (found.measured, found.failed, found.worst) == (2, 1, "4 packets")
    assert found.first_times_ns == (start_of(*few),)
    untold = judged(50, packets, Session(power_on_ns=(0,)))
    assert (untold.verdict, untold.failed) == (UNDECIDED, 0)
    assert "what the track is for decides" in untold.note
    none = Session(power_on_ns=(0,), programming_track=False)
    assert judged(50, [*few, VERIFY], none).verdict is NOT_EXERCISED


RESETS, IDLES = [RESET] * 20, [IDLE] * 10
NEW = Session(power_on_ns=(0,), new=True)


@pytest.mark.parametrize(
    ("packets", "verdict"),
    [
        ([*RESETS, *IDLES, OTHER], PASS),
        ([*RESETS, RESET, *IDLES, IDLE, OTHER], PASS),
        ([*RESETS[1:], *IDLES, OTHER], FAIL),
        ([*RESETS, *IDLES[1:], OTHER], FAIL),
        ([*IDLES, *RESETS, OTHER], FAIL),
        ([*IDLES, *RESETS, *IDLES, OTHER], PASS),
        ([*RESETS, *IDLES, RESET, IDLE, OTHER], PASS),
        ([*RESETS, SPOILED, *IDLES, OTHER], UNDECIDED),
        ([*RESETS, *IDLES, WRONG, OTHER], UNDECIDED),
        ([*RESETS[1:], WRONG, *IDLES, OTHER], UNDECIDED),
        ([*RESETS, *IDLES, RESET, OTHER], PASS),
        ([*RESETS, *IDLES[1:], RESET, IDLE, OTHER], FAIL),
        ([OTHER], FAIL),
        ([*RESETS[1:], SPOILED, *IDLES, OTHER], UNDECIDED),
        ([*RESETS[2:], SPOILED, *IDLES, OTHER], FAIL),
        ([*RESETS, *IDLES], NOT_EXERCISED),
    ],
)
def test_rule_86_start_up(packets: list[str | int], verdict: Verdict) -> None:
    """Twenty resets, then ten idles, before anything else (S-9.2.4 §A), if nothing was known."""
    found = judged(86, packets, NEW)
    assert found.verdict is verdict
    late = sum(sum(halves(one)) for one in packets[:-1]) + 16 * 116_000
    assert found.first_times_ns == ((late,) if verdict is FAIL else ())
    assert judged(86, packets, Session(power_on_ns=(0,), new=False)).verdict is NOT_EXERCISED
    for session in (None, Session(power_on_ns=(0,)), Session(new=True)):
        assert judged(86, packets, session).verdict is NOT_DECIDABLE


def test_rule_86_each_time_that_power_comes_on() -> None:
    """Packets before it are none of its."""
    packets = [OTHER, *RESETS, *IDLES, OTHER, *RESETS[1:], *IDLES, OTHER, OTHER]
    lengths = [length for one in packets for length in halves(one)]
    edges = np.fromiter(accumulate(lengths, initial=0), np.int64)
    first, second = (sum(len(halves(one)) for one in packets[:at]) for at in (1, 32))
    times = (int(edges[second]), int(edges[first]))
    report = check([edges], resolution_ns=1000, session=Session(power_on_ns=times, new=True))
    found = result(report, 86)
    assert (found.measured, found.failed) == (2, 1)
    wrong = sum(len(halves(one)) for one in packets[:61])
    assert found.first_times_ns == (int(edges[wrong]) + 16 * 116_000,)


def test_rule_86_is_not_about_service_mode() -> None:
    """Packets of service mode are no operating packets; those to 112 to 127 are, in operation."""
    start = [*RESETS, RESET, RESET, RESET, *["7C 1C 05"] * 5]
    programming = replace(NEW, programming_track=True)
    assert judged(86, start, programming).verdict is UNDECIDED
    assert judged(86, [*RESETS, *IDLES, "7C 1C 05"], NEW).verdict is PASS
    assert judged(86, start, replace(NEW, programming_track=False)).verdict is FAIL


def test_rule_86_after_a_gap() -> None:
    """Where power may have come on: what is there is certain, and what is not may not be asked."""
    new = Session(new=True)
    start_up: list[str | int] = [OTHER, 11_000, *RESETS, *IDLES, OTHER]
    assert judged(86, start_up, new).verdict is PASS
    found = judged(86, [*start_up, 11_000, OTHER], new)
    assert (found.verdict, found.measured, found.undecided) == (UNDECIDED, 2, 1)
    assert judged(86, [*RESETS[1:], *IDLES, OTHER], NEW).verdict is FAIL
    # The file may lack edges, or the station have been silent.
    assert judged(86, [*RESETS[1:], 30_000, *IDLES, OTHER], NEW).verdict is UNDECIDED
    assert judged(86, [OTHER, 9_000, *RESETS, *IDLES, OTHER], new).verdict is NOT_DECIDABLE
    assert judged(86, start_up).verdict is NOT_DECIDABLE
    assert judged(86, start_up, Session(new=False)).verdict is NOT_EXERCISED
    edges = edges_of([OTHER])
    later = edges_of([*RESETS, *IDLES, OTHER]) + int(edges[-1]) + 20_000_000
    gap = int(edges[-1]) + 40_000, int(later[0])
    report = check([Chunk(edges, gap), Chunk(later)], resolution_ns=1000, session=new)
    assert result(report, 86).verdict is PASS


def test_rule_86_is_kept_before_service_mode_too() -> None:
    """20 resets and 10 idles are enough, whatever comes behind them; fewer are rule 50's affair."""
    programming = replace(NEW, programming_track=True)
    rest = [RESET, RESET, RESET, *["7C 1C 05"] * 5]
    assert judged(86, [*RESETS, *IDLES, *rest], programming).verdict is PASS
    assert judged(86, [*RESETS, *IDLES[1:], *rest], programming).verdict is UNDECIDED
