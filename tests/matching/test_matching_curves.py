"""Speed by voltage: against blocks merged one by one, the way this regression is done by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dccwire.matching.curves import curve_of, rising


def merged(values: list[float], weights: list[float]) -> list[float]:
    """Neighbours that fall are made one block with their mean, until nothing falls."""
    blocks: list[tuple[float, float, int]] = []
    for value, weight in zip(values, weights, strict=True):
        blocks.append((value, weight, 1))
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            (one, first, some), (other, second, more) = blocks[-2:]
            whole = first + second
            blocks[-2:] = [((one * first + other * second) / whole, whole, some + more)]
    return [value for value, _, count in blocks for _ in range(count)]


@given(
    st.lists(st.tuples(st.floats(0, 1000), st.integers(1, 5)), min_size=1, max_size=28),
)
def test_the_closed_form_is_what_merging_gives(pairs: list[tuple[float, int]]) -> None:
    """For any values and weights."""
    values, weights = [value for value, _ in pairs], [float(weight) for _, weight in pairs]
    found = rising(np.array(values), np.array(weights)).tolist()
    assert found == pytest.approx(merged(values, weights), abs=1e-9)


def test_a_dip_is_shared_by_weight() -> None:
    """6 once and 3 twice: 4 in both places, worked out by hand."""
    curve = curve_of([(10, 1.0), (20, 6.0), (30, 3.0), (30, 3.0), (40, 9.0)], "short 3 forward")
    assert curve.speeds.tolist() == [1.0, 4.0, 4.0, 9.0]
    assert curve.voltages.tolist() == [10, 20, 30, 40]


def test_between_readings_it_is_straight_and_beyond_them_unknown() -> None:
    """Halfway is the mean; outside it is no number."""
    curve = curve_of([(40, 9.0), (10, 0.0), (20, 3.0)], "short 3 forward")
    found = curve.at(np.array([9.9, 10, 15, 30, 40, 40.1])).tolist()
    assert found[1:5] == [0.0, 1.5, 6.0, 9.0]
    assert math.isnan(found[0])
    assert math.isnan(found[5])
    assert (curve.first, curve.last) == (20, 40)


def test_a_speed_has_the_lowest_voltage_that_gives_it() -> None:
    """Where the speed stays the same over a stretch of voltages."""
    curve = curve_of([(10, 1.0), (20, 4.0), (30, 4.0), (40, 9.0)], "short 3 forward")
    assert curve.voltages_for(np.array([1.0, 2.5, 4.0, 9.0])).tolist() == [10, 15, 20, 40]
