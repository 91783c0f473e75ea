"""Three-valued measuring, against the tables of the resolution's rules M2 to M5."""

from __future__ import annotations

import numpy as np
import pytest

from dccwire.conformance import Verdict
from dccwire.conformance.measures import FIRST_TIMES, NO_LIMIT, Counter, LimitMeasure


def verdict_of(measure: LimitMeasure, reading_us: int) -> Verdict:
    """The verdict on one reading."""
    measure.add(np.array([reading_us * 1000]), lambda some: some)
    return measure.counter.verdict


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
        assert verdict_of(LimitMeasure(55_000, 61_000, 1000 + u), reading) is expected, reading


def test_differences_as_in_m4() -> None:
    """At most 3 µs (S-9.1 §A, Table 1 t1d) at q = 1 µs: 0..1 pass, 2..4 undecided, 5 fails."""
    found = [verdict_of(LimitMeasure(NO_LIMIT, 3000, 2000), one) for one in range(8)]
    assert found == [Verdict.PASS] * 2 + [Verdict.UNDECIDED] * 3 + [Verdict.FAIL] * 3


def test_halves_of_zeros_as_in_m5() -> None:
    """95 to 9900 µs (S-9.1 §A, Table 1 t0) at q = 1 µs."""
    readings = (94, 95, 96, 9899, 9900, 9901)
    found = [verdict_of(LimitMeasure(95_000, 9_900_000, 1000), one) for one in readings]
    low = [Verdict.FAIL, Verdict.UNDECIDED, Verdict.PASS]
    assert found == low + low[::-1]


def test_an_exact_reading_at_a_limit_passes() -> None:
    """Without any error both limits belong to what is allowed (E4)."""
    for reading, expected in ((54, Verdict.FAIL), (55, Verdict.PASS), (61, Verdict.PASS)):
        assert verdict_of(LimitMeasure(55_000, 61_000, 0), reading) is expected


def test_an_error_wider_than_the_limits_leaves_all_between_undecided() -> None:
    """With an error of 4 µs nothing in 55..61 passes, and failing begins 4 µs outside."""
    found = [verdict_of(LimitMeasure(55_000, 61_000, 4000), one) for one in (51, 52, 58, 64, 65)]
    assert found == [Verdict.FAIL, *[Verdict.UNDECIDED] * 3, Verdict.FAIL]


def test_counts_worst_and_first_times() -> None:
    """Readings add up over calls; the first five times of failures are kept, in order."""
    measure = LimitMeasure(55_000, 61_000, 1000)
    assert (measure.worst, measure.counter.verdict) == (None, Verdict.NOT_EXERCISED)
    measure.add(np.empty(0, np.int64), lambda some: some)
    assert measure.counter.measured == 0
    measure.add(np.array([58_000, 61_000, 63_000]), lambda some: some * 10)
    measure.add(np.array([62_000] * 9), lambda some: 100 + some)
    counter = measure.counter
    assert (counter.measured, counter.failed, counter.undecided) == (12, 10, 1)
    assert counter.first_times == [20, 100, 101, 102, 103]
    assert len(counter.first_times) == FIRST_TIMES
    assert measure.worst == 63_000


def test_worst_is_the_reading_furthest_out_or_nearest_to_a_limit() -> None:
    """On either side, whichever reading came first."""
    for readings, worst in (([57, 60], 60), ([60, 57], 60), ([56, 59], 56), ([50, 65], 50)):
        measure = LimitMeasure(55, 61, 0)
        for reading in readings:
            measure.add(np.array([reading]), lambda some: some)
        assert measure.worst == worst


def test_a_failure_outweighs_what_is_undecided() -> None:
    """One failure fails, else one undecided reading leaves undecided, else it passes."""
    assert Counter(measured=9).verdict is Verdict.PASS
    assert Counter(measured=9, undecided=1).verdict is Verdict.UNDECIDED
    counter = Counter(measured=9, undecided=1)
    counter.fail([7])
    assert (counter.verdict, counter.failed, counter.first_times) == (Verdict.FAIL, 1, [7])
