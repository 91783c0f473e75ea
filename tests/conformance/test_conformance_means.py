"""Means where single halves are undecided: what is steady, and how exactly it is known (M6)."""

from __future__ import annotations

import re
from random import Random

import numpy as np
import pytest
from conformance_helpers import result
from hypothesis import example, given
from hypothesis import strategies as st
from test_conformance_true_times import SPEED, recorded, recorders, us
from track_signal import IDLE, Signal, Track, steady

from dccwire.conformance import Report, Verdict, check
from dccwire.conformance.judging import Judge, Terms
from dccwire.recordings import Chunk

KEEPS, BREAKS = "what is steady keeps the limit", "what is steady breaks the limit"


def station(first: float, last: float, zero: float = 100, packets: int = 60) -> Track:
    """Idle packets and others, all of whose ones are alike."""
    track = Track(timing=steady(first, last, zero=zero))
    for _ in range(packets // 2):
        track.packet(IDLE).packet(SPEED)
    return track


def numbers(report: Report, number: int) -> list[float]:
    """What the remark of a rule tells, in us."""
    note = result(report, number).note
    return [float(one) for one in re.findall(r"[-+]?\d+\.\d\d", note)]


@given(
    us(53.5, 62.5),
    us(53.5, 62.5),
    st.one_of(us(94, 97), st.just(100.0)),
    recorders,
)
@example(61.3, 58.7, 100, (2000, 0.5, 0, 0))
@example(58.5, 58.5, 100, (1000, 0.25, 0, 0))
def test_what_is_said_of_steady_halves_is_true(
    first: float, last: float, zero: float, recorder: tuple[int, float, int, int]
) -> None:
    """Whatever a recorder shows of them, though it keeps step with the station."""
    report = recorded(station(first, last, zero, packets=6), recorder)
    kept = {
        1: min(first, last) >= 55 and max(first, last) <= 61,
        2: abs(first - last) <= 3,
        3: zero >= 95,
    }
    for number, truly in kept.items():
        found = result(report, number)
        assert KEEPS not in found.note or truly
        assert BREAKS not in found.note or not truly
        assert "on average" not in found.note or found.verdict is Verdict.UNDECIDED


@pytest.mark.parametrize("seed", range(8))
def test_means_are_known_better_than_halves(seed: int) -> None:
    """At 1 MHz, with jitter: each about as exact as is told, which is far below the period."""
    random = Random(seed)
    first, last = random.uniform(57.6, 58.4), random.uniform(57.6, 58.4)
    signal = station(first, last, packets=400).signal(random, jitter_us=0.5, wander=2e-5)
    report = check([signal.sampled(1000, random.random()).edges()], resolution_ns=1000)
    assert result(report, 2).verdict is Verdict.UNDECIDED
    by_half, by_polarity, about = numbers(report, 2)
    assert about <= 0.05
    assert by_half == pytest.approx(first - last, abs=2 * about)
    assert by_polarity == pytest.approx(abs(by_half), abs=0.05)
    assert result(report, 2).note.endswith(KEEPS)
    told = float(result(report, 6).note.split(" us")[0])
    assert told == pytest.approx(by_half, abs=0.005)


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [(57, 57.4, KEEPS), (56.4, 59, KEEPS), (55.2, 55.3, ""), (60.7, 60.9, "")],
)
def test_halves_of_ones_that_are_undecided(first: float, last: float, said: str) -> None:
    """A reading of 55 or 61 may be either; the means of both halves are told."""
    random = Random(5)
    track = station(first, last, packets=100).packet(SPEED, lengths={14: 55.3, 15: 55.2})
    signal = track.packet(IDLE).packet(IDLE).signal(random, wander=2e-5)
    report = check([signal.sampled(1000, 0.3).edges()], resolution_ns=1000)
    found = result(report, 1)
    if found.verdict is Verdict.FAIL:
        assert not found.note
        return
    *halves, about = numbers(report, 1)
    assert halves == [pytest.approx(first, abs=about), pytest.approx(last, abs=about)]
    assert about < 0.5
    assert found.note.endswith(said or f"{about:.2f} unless sampled in step with it")


def test_zeros_that_are_undecided() -> None:
    """The same of zeros, unless stretched ones are among them."""
    for stretched in (False, True):
        track = station(58, 58, zero=96, packets=100)
        track.packet(SPEED, lengths={2: 95.2, **({3: 500} if stretched else {})}).packet(IDLE)
        signal = track.packet(IDLE).signal(Random(1), wander=2e-5)
        report = check([signal.sampled(1000, 0.3).edges()], resolution_ns=1000)
        assert result(report, 3).verdict is Verdict.UNDECIDED
        assert ("on average 9" in result(report, 3).note) is not stretched


def test_a_probe_is_told_by_polarity() -> None:
    """Where half a 1 was lost, halves change places and the probe does not (M7)."""
    track = station(58, 58, packets=40).halves(58)
    for _ in range(20):
        track.packet(IDLE).packet(SPEED)
    signal = track.signal(Random(1), jitter_us=0.3, wander=2e-5).asymmetric(0.9)
    report = check([signal.sampled(1000, 0.3).edges()], resolution_ns=1000)
    by_half, by_polarity, about = numbers(report, 2)
    assert abs(by_polarity) == pytest.approx(1.8, abs=2 * about)
    assert abs(by_half) < 0.5


def test_nothing_is_told_of_means_beside_distortion_or_doubt() -> None:
    """Pulses that were merged move halves; times that are off by a factor are in doubt."""
    random = Random(3)
    signal = station(58, 58).signal(random, jitter_us=0.5)
    pulsed = signal.pulsed(random, 0.05, 1.5, where="crossing")
    off = Signal(signal.times * 1.07, signal.levels, signal.end * 1.07)
    for one, period in ((pulsed, 250), (off, 1000)):
        report = check([one.sampled(period, 0.3).edges()], resolution_ns=period)
        assert result(report, 2).verdict is Verdict.UNDECIDED
        assert "on average" not in "".join(each.note for each in report.results)


def test_means_are_told_once_however_the_edges_are_cut() -> None:
    """In chunks of any size the remarks are those of the whole."""
    signal = station(58.2, 57.9).signal(Random(2), jitter_us=0.5).sampled(1000, 0.2)
    edges = signal.edges()
    whole = list(check([edges], resolution_ns=1000).to_dicts())
    assert str(whole[1]["note"]).count("on average") == 1
    for size in (1, 7, 500):
        cut = np.split(edges, range(size, len(edges), size))
        assert list(check(cut, resolution_ns=1000).to_dicts()) == whole


def test_means_are_told_once_however_often_they_are_asked_for() -> None:
    """The remarks of a judge that is asked twice stand there once."""
    judge = Judge(Terms(resolution_ns=1000))
    times = station(57, 57.4, packets=100).signal(Random(5), wander=2e-5).sampled(1000, 0.3)
    judge.run([Chunk(times.edges())], None)
    judge.close(None)
    first, again = ([list(one.remarks) for one in judge.timing.tallies()] for _ in range(2))
    assert first == again
    assert any(first)
