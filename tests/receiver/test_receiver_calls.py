"""Calls of the receivers: bounds, errors with their data, and what is no event."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import fields
from itertools import accumulate, pairwise
from random import Random

import numpy as np
import pytest
from receiver_signals import IDLE, LOCO, datas, edges_of, halves

from dccwire.errors import FieldError
from dccwire.receiver import Event, Gap, Receiver, Stray
from dccwire.receiver.columns import ColumnReceiver
from dccwire.receiver.machine import LONGEST_STRAY
from refusals import refused

ONE = 58_000
both = pytest.mark.parametrize("make", [Receiver, ColumnReceiver])


def whole(edges: list[int]) -> list[Event]:
    receiver = Receiver()
    return receiver.feed(edges) + receiver.close()


def test_merged_pulses_are_counted() -> None:
    """Both receivers count merged pulses, the vectorised one with their places."""
    edges = [0, 58_000, 61_999, 116_000, 120_000, 200_000, 200_000]
    one, other = Receiver(), ColumnReceiver()
    one.feed(edges)
    fed, closed = other.feed(np.array(edges, np.int64)), other.close()
    assert (one.merged, other.merged) == (2, 2)
    pulses = [*fed.pulses.tolist(), *closed.pulses.tolist()]
    assert pulses == [[58_000, 61_999], [200_000, 200_000]]


@pytest.mark.parametrize("feed", [Receiver.feed, ColumnReceiver.feed])
def test_events_hold_plain_integers(feed: Callable[..., Iterable[Event]]) -> None:
    """Whatever integers were fed: an array's would not become JSON."""
    receiver = (Receiver if feed is Receiver.feed else ColumnReceiver)()
    edges = np.array(edges_of([*halves(IDLE) * 3, 75_000, 75_000]), np.int64)
    found = [*feed(receiver, edges), *receiver.gap(edges[-1], edges[-1] + 5), *receiver.close()]
    assert len(found) > 3
    for event in found:
        values = [getattr(event, one.name) for one in fields(event)]
        numbers = [one for one in values if hasattr(one, "__index__")]
        assert {type(one) for one in numbers} <= {int, bool}, event


@both
def test_nothing_gives_nothing(make: type[Receiver] | type[ColumnReceiver]) -> None:
    """No edge, no event: closing at once, feeding nothing, two edges that merge, closing twice."""
    receiver = make()
    assert list(receiver.close()) == list(receiver.close(10**9)) == []
    assert list(receiver.feed(np.empty(0, np.int64))) == []
    assert list(receiver.feed(np.array([5, 6], np.int64))) == []
    assert list(receiver.close()) == list(receiver.close()) == []
    assert list(receiver.gap(7, 9)) == [Gap(7, 9)]
    assert list(receiver.feed(np.array([10], np.int64))) == []
    assert list(receiver.close(20)) == [Stray(10, 20)]


@both
def test_edges_out_of_order(make: type[Receiver] | type[ColumnReceiver]) -> None:
    """An edge before the one before it is refused, and the receiver is as before the call."""
    receiver = make(shortest_ns=4_000)
    edges = edges_of(halves(LOCO), 10**18)
    events = list(receiver.feed(np.array(edges[:50], np.int64)))
    for wrong, latest, given in (
        ([edges[49] - 1], edges[49], edges[49] - 1),
        ([edges[50], edges[51], edges[51] + 1, edges[51]], edges[51] + 1, edges[51]),
        ([edges[50], edges[51], edges[51] - 1], edges[51], edges[51] - 1),
        ([edges[50], edges[49]], edges[50], edges[49]),
    ):
        with refused(FieldError, field="edge time", bound=f"{latest} ns or later", value=given):
            receiver.feed(np.array(wrong, np.int64))
    assert receiver.merged == 0
    events += list(receiver.feed(np.array(edges[50:], np.int64)))
    assert [*events, *receiver.close()] == whole(edges)


@both
@pytest.mark.parametrize("stretch", [(99_999, 200_000), (300_000, 299_999), (-5, -6)])
def test_gaps_that_cannot_be(
    make: type[Receiver] | type[ColumnReceiver], stretch: tuple[int, int]
) -> None:
    """A gap before the last edge, or one that ends before it begins, is refused."""
    receiver = make()
    receiver.feed(np.array([0, 100_000], np.int64))
    with refused(FieldError, field="gap", value=stretch, bound="a stretch after the last edge"):
        receiver.gap(*stretch)
    assert list(receiver.gap(100_000, 100_000))[-1] == Gap(100_000, 100_000)


def test_level_is_unknown_after_a_gap() -> None:
    """A level that is known stays so until a stretch without one, and is not guessed after it."""
    receiver = Receiver(first_level=1)
    receiver.feed([0])
    assert receiver.level == 1
    receiver.feed([1_000])
    assert receiver.level == 0
    receiver.gap(2_000, 3_000)
    receiver.feed([4_000, 62_000])
    assert receiver.level is None
    assert Receiver().level is None


@both
@pytest.mark.parametrize("value", [-1, 13_000, 1.0, None])
def test_resolution_out_of_bounds(make: type[Receiver] | type[ColumnReceiver], value: int) -> None:
    """A resolution that lets the windows of ones and zeros meet is refused."""
    with refused(FieldError, field="resolution_ns", value=value, bound="0 to 12999 ns"):
        make(resolution_ns=value)


@both
@pytest.mark.parametrize(("value", "resolution"), [(-1, 0), (52_001, 0), (51_902, 100), (4e3, 0)])
def test_merging_out_of_bounds(
    make: type[Receiver] | type[ColumnReceiver], value: int, resolution: int
) -> None:
    """To merge what may be the half of a one is refused."""
    with refused(
        FieldError,
        field="shortest_ns",
        value=value,
        bound=f"0 to {52_000 - max(resolution - 1, 0)} ns",
    ):
        make(shortest_ns=value, resolution_ns=resolution)


def test_resolution_widens_the_windows() -> None:
    """With a resolution of 1 µs a reading of 51.001 µs may be a half of 52 µs (M1)."""
    edges = edges_of(51_001 if length == ONE else 89_001 for length in halves(LOCO))
    for make in (Receiver, ColumnReceiver):
        receiver = make(resolution_ns=1_000)
        events = [*receiver.feed(np.array(edges, np.int64)), *receiver.close()]
        assert datas(events) == [LOCO]
    assert datas(whole(edges)) == []
    edges = edges_of(51_000 if length == ONE else 89_001 for length in halves(LOCO))
    receiver = Receiver(resolution_ns=1_000)
    assert datas(receiver.feed(edges) + receiver.close()) == []


def test_long_stray_stretches_are_reported_in_pieces_so_that_memory_stays_small() -> None:
    """Noise without an end: the same pieces from both receivers, and they touch."""
    draw = Random(5)
    lengths = [draw.choice((20_000, 75_000, 100_000, 58_000)) for _ in range(3 * LONGEST_STRAY)]
    times = list(accumulate(lengths, initial=1_000))
    one, other = Receiver(), ColumnReceiver()
    streamed = one.feed(times[:100_000]) + one.feed(times[100_000:]) + one.close()
    parts = [other.feed(np.array(times[i : i + 5000])) for i in range(0, len(times), 5000)]
    assert streamed == [event for part in (*parts, other.close()) for event in part]
    assert sum(isinstance(event, Stray) for event in streamed) >= 3
    assert all(a.end == b.begin for a, b in pairwise(streamed))
    assert max(len(part.edges) for part in parts) < 2 * LONGEST_STRAY
