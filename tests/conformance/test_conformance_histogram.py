"""The histogram of half-bits."""

from __future__ import annotations

import numpy as np
import pytest

from dccwire.conformance import Histogram


def test_counts_by_whole_microseconds() -> None:
    """A bin reaches up to the next microsecond; from 140 µs on all share one."""
    histogram = Histogram()
    assert histogram.counts() == {}
    histogram.add(np.empty(0, np.int64))
    histogram.add(np.array([57_999, 58_000, 58_999, 59_000]))
    histogram.add(np.array([58_001, 139_999, 140_000, 9_900_000, 0]))
    assert histogram.counts() == {0: 1, 57: 1, 58: 3, 59: 1, 139: 1, 140: 2}


@pytest.mark.parametrize("width", [60, 80, 120])
def test_lines_fill_the_width_with_the_largest_count(width: int) -> None:
    """The largest bar ends at the width; a small count still shows one mark."""
    histogram = Histogram()
    assert list(histogram.lines(width)) == []
    histogram.add(np.array([58_000] * 1000 + [100_000] * 500 + [200_000]))
    first, second, last = histogram.lines(width)
    bar = width - 14
    assert first == "  58  us 1000 " + "#" * bar
    assert second == " 100  us  500 " + "#" * (bar // 2)
    assert last == " 140+ us    1 #"
    assert len(first) == width


def test_lines_of_a_narrow_width_still_show_bars() -> None:
    """Ten marks at least."""
    histogram = Histogram()
    histogram.add(np.array([58_000]))
    assert list(histogram.lines(5)) == ["  58  us 1 ##########"]
