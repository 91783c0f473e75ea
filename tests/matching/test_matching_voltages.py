"""Which voltages a unit had while it was measured (S-9.2.2, CV 2, 5, 6, 25, 29, 66-95)."""

from __future__ import annotations

import pytest
from matching_helpers import LINEAR, readings

from dccwire.address import ShortAddress
from dccwire.cv import CvSet, SpeedTable
from dccwire.decoder import Direction
from dccwire.errors import FieldError
from dccwire.matching import Unit
from dccwire.matching.voltages import voltages_of
from refusals import refused

FALLING = tuple(range(255, 227, -1))


def voltages(cvs: dict[int, int], points=None) -> tuple[list[float], list[float]]:
    one = Unit(ShortAddress(3), readings(float), CvSet(cvs), points)
    found = voltages_of(one)
    return found[Direction.FORWARD].tolist(), found[Direction.REVERSE].tolist()


def test_without_cvs_they_are_linear() -> None:
    """255 × step / 28, rounded; CV 29 without bit 4, trims and preset 2 change nothing."""
    linear = [float(one) for one in LINEAR]
    for cvs in ({}, {29: 6}, {29: 6, 66: 64, 95: 32}, {25: 2}, {29: 2, 67: 9}):
        assert voltages(cvs) == (linear, linear)


def test_three_voltages_make_two_straight_lines() -> None:
    """By way of V mid at step 14, or at the step of CV 25; without it from start to high."""
    found, _ = voltages({2: 10, 5: 210, 6: 75, 29: 2})
    assert [found[step - 1] for step in (1, 14, 21, 28)] == [10, 75, 142.5, 210]
    assert found[1] == 15  # 65 / 13 a step
    found, _ = voltages({2: 10, 5: 210, 6: 110, 25: 148})
    assert found[19] == 110
    found, _ = voltages({2: 10, 5: 210, 6: 75, 25: 200})
    assert found[13] == 75
    for unused in ({6: 0}, {6: 1}, {6: 75, 25: 2}):
        found, _ = voltages({2: 12, 5: 255, **unused})
        assert found == [12 + 9 * step for step in range(28)]  # 243 / 27 = 9
    for high in (0, 1):
        assert voltages({2: 12, 5: high, 6: 0})[0] == found


def test_a_table_counts_with_its_trims() -> None:
    """Points times trim / 128, not more than 255; unknown trims and 0 leave them as they are."""
    assert voltages({}, FALLING) == ([*map(float, FALLING)],) * 2
    ahead, back = voltages({29: 16, 66: 64, 95: 192}, LINEAR)
    assert ahead == [one / 2 for one in LINEAR]
    assert back == [min(one * 1.5, 255) for one in LINEAR]
    assert voltages({29: 16, 66: 0, 95: 128}, LINEAR) == ([*map(float, LINEAR)],) * 2
    held = dict(SpeedTable(FALLING).to_cvs())
    assert voltages({29: 54, **held}) == ([*map(float, FALLING)],) * 2


@pytest.mark.parametrize(
    ("cvs", "points", "told"),
    [
        ({67: 9}, None, ("CV 29", "a value", None)),
        ({29: 6}, LINEAR, ("CV 29", "bit 4 = 1", 6)),
        ({29: 22}, None, ("CV 67", "a value", None)),
        ({2: 9, 5: 255}, None, ("CV 6", "a value", None)),
        ({5: 255, 6: 0}, None, ("CV 2", "a value", None)),
        ({25: 3}, None, ("CV 25", "0 to 2, or 129 to 255", 3)),
        ({2: 9, 5: 255, 6: 90, 25: 128}, None, ("CV 25", "0 to 2, or 129 to 255", 128)),
    ],
)
def test_what_does_not_tell_the_voltages_is_refused(cvs, points, told) -> None:
    """No guess: the CV that is missing, or says something else, is named."""
    field, bound, value = told
    with refused(FieldError, field=field, bound=bound, value=value):
        voltages(cvs, points)
