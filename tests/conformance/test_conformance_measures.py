"""Three-valued measuring, against the tables of the resolution's rules M2 to M5."""

from __future__ import annotations

import numpy as np
import pytest

from dccwire.conformance import RULES, Force, Rule, Verdict
from dccwire.conformance.measures import FIRST_TIMES, LimitMeasure, Tally
from dccwire.conformance.rules import Outcome
from dccwire.signal import Limit


def measured(number: int, error: int, *readings_us: int) -> LimitMeasure:
    """The measure of a rule, with some readings taken."""
    measure = LimitMeasure(RULES[number], error)
    measure.take(np.array(readings_us, np.int64) * 1000, lambda some: some)
    return measure


def verdict_of(number: int, error: int, reading_us: int) -> Verdict:
    """The verdict on one reading."""
    return measured(number, error, reading_us).verdict


@pytest.mark.parametrize("u", [0, 1, 500, 1000])
def test_halves_of_ones_as_in_the_table_of_m3(u: int) -> None:
    """55 to 61 µs (S-9.1 §A, Table 1 t1) at q = 1 µs, for u = 0 and for 0 < u <= 1 µs."""
    undecided = {55, 61} if u == 0 else {54, 55, 56, 60, 61, 62}
    passes = set(range(56, 61)) if u == 0 else {57, 58, 59}
    for reading in range(45, 75):
        expected = Verdict.FAIL
        if reading in passes:
            expected = Verdict.PASS
        elif reading in undecided:
            expected = Verdict.UNDECIDED
        assert verdict_of(1, 1000 + u, reading) is expected, reading


def test_differences_as_in_m4() -> None:
    """At most 3 µs (S-9.1 §A, Table 1 t1d) at q = 1 µs: 0..1 pass, 2..4 undecided, 5 fails."""
    found = [verdict_of(2, 2000, one) for one in range(8)]
    assert found == [Verdict.PASS] * 2 + [Verdict.UNDECIDED] * 3 + [Verdict.FAIL] * 3


def test_halves_of_zeros_as_in_m5() -> None:
    """95 to 9900 µs (S-9.1 §A, Table 1 t0) at q = 1 µs."""
    readings = (94, 95, 96, 9899, 9900, 9901)
    found = [verdict_of(3, 1000, one) for one in readings]
    low = [Verdict.FAIL, Verdict.UNDECIDED, Verdict.PASS]
    assert found == low + low[::-1]


def test_an_exact_reading_at_a_limit_passes() -> None:
    """Without any error both limits belong to what is allowed (E4)."""
    for reading, expected in ((54, Verdict.FAIL), (55, Verdict.PASS), (61, Verdict.PASS)):
        assert verdict_of(1, 0, reading) is expected


def test_an_error_wider_than_the_limits_leaves_all_between_undecided() -> None:
    """With an error of 4 µs nothing in 55..61 passes, and failing begins 4 µs outside."""
    found = [verdict_of(1, 4000, one) for one in (51, 52, 58, 64, 65)]
    assert found == [Verdict.FAIL, *[Verdict.UNDECIDED] * 3, Verdict.FAIL]


def test_counts_worst_and_first_times() -> None:
    """Readings add up over calls; the first five times of failures are kept, in order."""
    measure = LimitMeasure(RULES[1], 1000)
    assert (measure.worst, measure.verdict) == (None, Verdict.NOT_EXERCISED)
    measure.take(np.empty(0, np.int64), lambda some: some)
    assert measure.measured == 0
    measure.take(np.array([58_000, 61_000, 63_000]), lambda some: some * 10)
    measure.take(np.array([62_000] * 9), lambda some: 100 + some)
    assert (measure.measured, measure.failed, measure.undecided) == (12, 10, 1)
    assert measure.first_times == [20, 100, 101, 102, 103]
    assert len(measure.first_times) == FIRST_TIMES
    assert measure.worst == 63_000


def test_worst_is_the_reading_furthest_out_or_nearest_to_a_limit() -> None:
    """On either side, whichever reading came first."""
    for readings, worst in (([57, 60], 60), ([60, 57], 60), ([56, 59], 56), ([50, 65], 50)):
        measure = LimitMeasure(RULES[1], 0)
        for reading in readings:
            measure.take(np.array([reading * 1000]), lambda some: some)
        assert measure.worst == worst * 1000


def test_some_readings_may_be_off_by_more() -> None:
    """Beside a merged pulse: 62 fails by itself, and is undecided if it may be 2 µs too long."""
    for extra, verdict in ((0, Verdict.FAIL), (999, Verdict.FAIL), (1_001, Verdict.UNDECIDED)):
        measure = LimitMeasure(RULES[1], 0)
        measure.take(np.array([62_000]), lambda some: some, np.array([extra]))
        assert measure.verdict is verdict
    measure.take(np.array([58_000]), lambda some: some, np.array([3_000]))
    # No finer times decide that.
    assert (measure.undecided, measure.nearest) == (1, None)
    assert measure.notes == {"beside merged pulses, known only to their width (M8)": 1}


def test_the_first_times_of_what_is_undecided_are_kept() -> None:
    """Five, of however many and in whichever portions, of one recording."""
    one, other = measured(1, 1000), LimitMeasure(RULES[1], 1000)
    for times in ([3, 1], [9, 8, 7], [2]):
        readings = np.full(len(times), 61_500)
        one.take(readings, lambda some, times=times: np.array(times)[some])
    other.take(np.full(4, 61_500), lambda some: np.array([4, 5, 6, 40])[some])
    one.absorb(other)
    assert (one.undecided, one.open_times) == (10, [1, 2, 3, 4, 5])
    elsewhere = measured(1, 1000)
    for each, name in ((one, "a"), (elsewhere, "b")):
        each.recording = each.open_recording = name
    elsewhere.take(np.full(1, 61_500), lambda some: some)
    one.absorb(elsewhere)
    result = one.result()
    assert (result.undecided_times_ns, result.recording) == ((1, 2, 3, 4, 5), "a")


def test_what_would_decide_is_the_nearest_distance_to_a_limit() -> None:
    """Of all undecided readings; half of it where a reading is off by two edges."""
    assert measured(1, 2000, 60, 62, 58).nearest == 1000
    assert measured(1, 2000, 58).nearest is None
    measure = LimitMeasure(RULES[2], 1000, edges=2)
    measure.take(np.array([2_000]), lambda some: some)
    assert (measure.verdict, measure.nearest) == (Verdict.UNDECIDED, 500)


def test_a_failure_outweighs_what_is_undecided() -> None:
    """One failure fails, else one undecided reading leaves undecided, else it passes."""
    tally = Tally(RULES[16])
    assert tally.verdict is Verdict.NOT_EXERCISED
    for verdict in (Verdict.PASS, Verdict.UNDECIDED, Verdict.FAIL):
        tally.add(Outcome(verdict), [7])
        assert tally.verdict is verdict
    tally.add(Outcome(Verdict.PASS), [], 5)
    assert (tally.measured, tally.failed, tally.undecided) == (8, 1, 1)
    assert tally.first_times == [7]


def test_readings_in_doubt_neither_pass_nor_fail() -> None:
    """Not one of them, whatever they were."""
    measure = measured(1, 0, 50, 58, 61)
    measure.doubt()
    assert (measure.verdict, measure.undecided, measure.failed) == (Verdict.UNDECIDED, 3, 0)
    assert measure.result().first_times_ns == ()


@pytest.mark.parametrize("order", [(Force.DERIVED, None), (None, Force.DERIVED)])
def test_the_force_of_a_result_is_that_of_the_gravest_failure(
    order: tuple[Force | None, ...],
) -> None:
    """A failure of less force than its rule's counts as that, unless another one fails too."""
    rule = Rule(99, "what is invented", Limit("no clause", words="none"), Force.DEFINED)
    tally = Tally(rule)
    tally.add(Outcome(Verdict.FAIL, force=Force.DERIVED), [1])
    assert (tally.result().force, tally.result().binding) == (Force.DERIVED, False)
    tally = Tally(rule)
    for force in order:
        tally.add(Outcome(Verdict.FAIL, force=force), [1])
    assert (tally.result().force, tally.result().binding) == (Force.DEFINED, True)


def test_notes_are_counted() -> None:
    """What outcomes say comes once, with how often it was said."""
    tally = Tally(RULES[18])
    for note in ("of a kind", "", "of a kind"):
        tally.add(Outcome(Verdict.PASS, note=note), [])
        tally.add(Outcome(Verdict.PASS, note=note), [1])
    assert tally.result().note == "2 of a kind"
