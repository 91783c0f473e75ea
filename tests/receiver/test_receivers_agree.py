"""Several readings of the same signals, drawn at random: they find the same."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from half_bit_pattern import merged, packets
from hypothesis import example, given, settings
from hypothesis import strategies as st
from receiver_signals import (
    IDLE,
    LOCO,
    Script,
    clean,
    columns,
    edges_of,
    halves,
    portions,
    scripts,
    signals,
    stream,
)

from dccwire.receiver import Event, Gap, PacketReceived, Receiver
from dccwire.receiver.columns import ColumnReceiver, PacketColumns

thorough = settings(max_examples=250)
RESOLUTIONS = st.sampled_from((0, 1, 100, 1_000, 5_000, 12_999))


def whole(edges: list[int], resolution_ns: int = 0) -> list[Event]:
    receiver = Receiver(resolution_ns=resolution_ns)
    return receiver.feed(edges) + receiver.close()


def received(events: list[Event]) -> list[tuple[int, int, bytes]]:
    return [(e.start, e.preamble, e.data) for e in events if isinstance(e, PacketReceived)]


@thorough
@given(lengths=clean, first=st.integers(0, 1))
def test_clean_packets_are_all_found(lengths: list[int], first: int) -> None:
    """On a clean signal the pattern and the receiver find every packet, from either half on."""
    edges = edges_of(lengths)[first:]
    found = received(whole(edges))
    assert found == packets(edges)
    assert len(found) >= 1 or first  # dropping the first half may cost the first packet
    assert {type(one) for one in whole(edges_of(lengths))} == {PacketReceived}


@thorough
@given(edges=signals(), resolution_ns=RESOLUTIONS)
@example(edges=edges_of([*[58_000] * 20, 70_000, *halves(LOCO, 0)[1:]]), resolution_ns=0)
@example(edges=edges_of([*halves(LOCO), 200]), resolution_ns=0)
@example(edges=edges_of([*[58_000] * 21, 70_000, *halves(LOCO, 0)[1:]]), resolution_ns=0)
def test_pattern_finds_the_same_packets(edges: list[int], resolution_ns: int) -> None:
    """On jittered and damaged signals the pattern finds the packets that the receiver finds."""
    assert received(whole(edges, resolution_ns)) == packets(edges, resolution_ns)


@thorough
@given(script=scripts(), resolution_ns=RESOLUTIONS)
def test_cuts_change_nothing(script: Script, resolution_ns: int) -> None:
    """Events and merged pulses are the same however the edges are cut into portions."""
    one, other = (Receiver(resolution_ns=resolution_ns) for _ in range(2))
    assert stream(script, one) == stream(script, other, cut=True)
    assert one.merged == other.merged


@thorough
@given(script=scripts(), resolution_ns=RESOLUTIONS, shortest_ns=st.sampled_from((0, 4_000, 30_000)))
def test_columns_are_the_same_events(script: Script, resolution_ns: int, shortest_ns: int) -> None:
    """The vectorised receiver gives the events and merged count of the streaming one."""
    one = Receiver(resolution_ns=resolution_ns, shortest_ns=shortest_ns)
    other = ColumnReceiver(resolution_ns=resolution_ns, shortest_ns=shortest_ns)
    events, _ = columns(script, other)
    assert events == stream(script, one)
    assert other.merged == one.merged


@thorough
@given(script=scripts(), shortest_ns=st.sampled_from((0, 4_000, 30_000)))
def test_columns_hand_out_each_merged_pulse_once(script: Script, shortest_ns: int) -> None:
    """With the edges around it, each is two edges that were fed, and shorter than it may be."""
    receiver = ColumnReceiver(shortest_ns=shortest_ns)
    pulses: list[list[int]] = []
    for number, stretch in enumerate(script.stretches):
        for portion in portions(stretch, script.cuts):
            pulses += receiver.feed(np.array(portion, np.int64)).pulses.tolist()
        if number < len(script.gaps):
            pulses += receiver.gap(*script.gaps[number]).pulses.tolist()
    pulses += receiver.close(script.end).pulses.tolist()
    assert len(pulses) == receiver.merged
    assert pulses == sorted(pulses)
    assert all(begin in script.all_edges and end - begin < shortest_ns for begin, end in pulses)


@thorough
@given(edges=signals(), cuts=st.lists(st.integers(0, 1_000), max_size=5))
def test_columns_hand_out_each_edge_once(edges: list[int], cuts: list[int]) -> None:
    """The edges handed out with events are the real ones, in order, overlapping by one."""
    events, handed = columns(Script((tuple(edges),), (), None, tuple(cuts)), ColumnReceiver())
    joined: list[int] = []
    for some in handed:
        joined += some[1:] if joined and some and some[0] == joined[-1] else some
    assert joined == merged(edges)
    assert {one.start for one in events if isinstance(one, PacketReceived)} <= set(joined)


@thorough
@given(edges=signals())
def test_one_edge_at_a_time(edges: list[int]) -> None:
    """Feeding one edge a call, and nothing in between, gives the events of one batch."""
    receiver = Receiver()
    events = [one for edge in edges for one in receiver.feed([edge]) + receiver.feed([])]
    assert events + receiver.close() == whole(edges)


@thorough
@given(script=scripts())
def test_events_leave_nothing_out(script: Script) -> None:
    """Where one event ends the next begins, from the first real edge to the end."""
    events = stream(script, Receiver())
    for before, after in pairwise(events):
        assert before.begin < before.end or (before.begin, before.end) in script.gaps
        # After an undefined stretch the signal begins with the next edge.
        touching = before.end == after.begin
        assert touching or ((before.begin, before.end) in script.gaps and before.end < after.begin)
    real = merged(list(script.stretches[0]))
    if len(real) > 1:
        assert events[0].begin == real[0]
    if len(merged(list(script.stretches[-1]))) > 1:
        last = script.stretches[-1][-1]
        assert events[-1].end == (last if script.end is None else script.end)


@thorough
@given(edges=signals(), shift=st.sampled_from((1, 10**6, 10**18)))
def test_time_has_no_zero(edges: list[int], shift: int) -> None:
    """A signal moved in time gives the same events moved in time."""
    edges = [edge - edges[0] for edge in edges]
    moved = whole([edge + shift for edge in edges])
    assert [(type(one), one.begin - shift, one.end - shift) for one in moved] == [
        (type(one), one.begin, one.end) for one in whole(edges)
    ]


@thorough
@given(edges=signals(), level=st.integers(0, 1))
def test_level_changes_with_each_edge(edges: list[int], level: int) -> None:
    """`level` is the first level as often inverted as edges follow, and changes no event."""
    receiver = Receiver(first_level=level)
    assert receiver.level is None
    events: list[Event] = []
    for number, edge in enumerate(edges):
        events += receiver.feed([edge])
        assert receiver.level == (level + number) % 2
    events += receiver.close()
    assert receiver.level == (level + len(edges) - 1) % 2
    assert events == whole(edges)


@pytest.mark.parametrize("count", [1, 2, 40])
def test_chains_come_as_columns(count: int) -> None:
    """Clean packets after the first come as columns that can be picked from and asked."""
    lengths = halves(IDLE) + (halves(LOCO, 16) + halves(IDLE)) * count
    first, rows = ColumnReceiver().feed(np.array(edges_of(lengths), np.int64)).parts
    assert isinstance(first, PacketReceived)
    assert isinstance(rows, PacketColumns)
    # The last edge waits for one that confirms it, and so does the packet that it closes.
    assert len(rows) == 2 * count - 1
    assert rows.error_byte_right.all()
    assert [one.data for one in rows] == [IDLE if row % 2 else LOCO for row in range(len(rows))]
    picked = rows.take(np.arange(0, len(rows), 2))
    assert {(one.data, one.preamble, one.adjoining) for one in picked} == {(LOCO, 16, True)}


def test_columns_with_a_wrong_error_byte() -> None:
    """A wrong error byte shows in its row."""
    edges = edges_of(halves(IDLE) + halves(b"\x37\x74\x42") + halves(IDLE) * 2)
    rows = ColumnReceiver().feed(np.array(edges, np.int64)).parts[-1]
    assert isinstance(rows, PacketColumns)
    assert rows.error_byte_right.tolist()[:2] == [False, True]


def test_long_silence_is_read_on_while_waiting() -> None:
    """Ones without end after a packet are taken in, and are the next packet's preamble."""
    edges = np.array(edges_of(halves(IDLE) + [58_000] * 6_000 + halves(LOCO, 0)), np.int64)
    receiver = ColumnReceiver()
    events = [one for some in np.array_split(edges, 9) for one in receiver.feed(some)]
    events += receiver.close()
    assert received(events)[-1][1:] == (3_000, LOCO)
    assert events == whole(edges.tolist())


def test_silence_within_a_batch() -> None:
    """A gap inside one batch is the same to both receivers."""
    edges = edges_of([*halves(IDLE)[:-1], 20_000_000, *halves(LOCO)])
    events, _ = columns(Script((tuple(edges),), (), None, ()), ColumnReceiver())
    assert [type(one) for one in events] == [PacketReceived, Gap, PacketReceived]
    assert events == whole(edges)
