"""Signals broken in one known place: what is reported, and what is not lost."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from receiver_signals import IDLE, LOCO, datas, edges_of, halves

from dccwire.errors import Reason
from dccwire.receiver import CutOff, Event, Fault, Gap, PacketReceived, Receiver, Stray
from dccwire.receiver.columns import ColumnReceiver

ONE, ZERO = 58_000, 100_000
WHOLE = 84
"""Half-bits of a packet of three bytes with a preamble of 14 ones."""


def streamed(edges: list[int], end: int | None = None) -> list[Event]:
    receiver = Receiver()
    return receiver.feed(edges) + receiver.close(end)


def vectorised(edges: list[int], end: int | None = None) -> list[Event]:
    receiver = ColumnReceiver()
    return [*receiver.feed(np.array(edges, np.int64)), *receiver.close(end)]


both = pytest.mark.parametrize("run", [streamed, vectorised])
Run = Callable[..., list[Event]]


@both
def test_a_stream_cut_anywhere(run: Run) -> None:
    """Wherever it ends, the packets before stand and the last one is cut off, with its bits."""
    edges = edges_of(halves(LOCO) * 3)
    expected = run(edges)
    assert datas(expected) == [LOCO] * 3
    for count in range(1, 3 * WHOLE + 1):
        done, seen = divmod(count - 1, WHOLE)
        events = run(edges[:count])
        assert events[:done] == expected[:done]
        if not seen:
            assert events[done:] == []
            continue
        ones, bits = min(seen, 28) // 2, max(seen - 28, 0) // 2
        whole, of_byte = divmod(bits, 9)
        so_far = "".join(f"{byte:08b}" for byte in LOCO[whole:][:1])[: max(of_byte - 1, 0)]
        begin, end = edges[WHOLE * done], edges[count - 1]
        assert events[done:] == [CutOff(begin, end, ones, LOCO[:whole], so_far)]


@both
def test_a_stream_that_begins_anywhere(run: Run) -> None:
    """Wherever it begins, no packet after the first ten ones is lost."""
    edges = edges_of(halves(LOCO) * 3)
    whole = run(edges)
    for begin in range(WHOLE):
        events = run(edges[begin:])
        assert events[-1] == whole[-1]
        assert datas(events) == [LOCO] * (3 if begin <= 8 else 2)
        starts = [one.start for one in events if isinstance(one, PacketReceived)]
        assert starts[-2:] == [edges[WHOLE + 28], edges[2 * WHOLE + 28]]
        assert events[0].begin == edges[begin]
        if begin <= 8:  # a left-over half is dropped (E8)
            assert events[0] == Stray(edges[begin], edges[begin + 1]) or begin % 2 == 0
            assert events[-3].preamble == 14 - (begin + 1) // 2


@both
@pytest.mark.parametrize(("lasted", "complete"), [(51_999, False), (52_000, True)])
def test_the_end_bit_that_no_edge_closes(run: Run, lasted: int, complete: bool) -> None:
    """The last half of the end bit is complete when it has lasted 52 µs (tr1)."""
    edges = edges_of(halves(LOCO)[:-1])
    last = edges[-1]
    (event,) = run(edges, last + lasted)
    packet = PacketReceived(0, 28 * ONE, last + 52_000, 14, LOCO, False)
    assert event == (packet if complete else CutOff(0, last + lasted, 14, LOCO, ""))


@both
def test_level_held_after_the_end_bit(run: Run) -> None:
    """What follows the 52 µs is a stray stretch, and beyond 10 ms a gap."""
    edges = edges_of(halves(LOCO)[:-1])
    end = edges[-1] + 52_000
    assert run(edges, edges[-1] + 10_000_000)[1:] == [Stray(end, edges[-1] + 10_000_000)]
    assert run(edges, edges[-1] + 10_000_001)[1:] == [Gap(end, edges[-1] + 10_000_001)]
    edges = edges_of(halves(LOCO))
    assert run(edges, edges[-1] + 10_000_000)[1:] == [Stray(edges[-1], edges[-1] + 10_000_000)]
    assert run(edges, edges[-1] + 10_000_001)[1:] == [Gap(edges[-1], edges[-1] + 10_000_001)]
    assert run(edges, 5) == run(edges)


@both
def test_silence_after_the_end_bit(run: Run) -> None:
    """A silent stretch after the end bit's first half completes the packet, then is a gap."""
    lengths = [*halves(LOCO)[:-1], 10_000_001, *halves(IDLE)]
    edges = edges_of(lengths)
    first, gap, second = run(edges)
    assert (first.end, datas([first, second])) == (edges[83] + 52_000, [LOCO, IDLE])
    assert gap == Gap(edges[83] + 52_000, edges[84])
    assert second == PacketReceived(edges[84], edges[112], edges[168], 14, IDLE, False)


@both
@pytest.mark.parametrize("place", [0, 7, 27, 28, 40, 82])
def test_silence_in_a_packet(run: Run, place: int) -> None:
    """A gap cuts the packet off and costs no other."""
    lengths = halves(LOCO) + halves(LOCO) + halves(IDLE)
    lengths[WHOLE + place] = 25_000_000
    events = run(edges_of(lengths))
    assert datas(events) == [LOCO, *([LOCO] if place <= 7 else []), IDLE]
    (gap,) = (one for one in events if isinstance(one, Gap))
    begin = sum(lengths[: WHOLE + place])
    assert gap == Gap(begin, begin + 25_000_000)
    cut = [one for one in events if isinstance(one, CutOff)]
    assert [one.end for one in cut] == ([begin] if place else [])


@both
@pytest.mark.parametrize("ones", [0, 1, 5, 9])
def test_short_preamble(run: Run, ones: int) -> None:
    """A right packet behind too few ones is a fault (S-9.2 §A), if a packet stands before it.

    The ones at its end count in the run that follows, as they do for a decoder: FF 00 FF has eight
    and an end bit.
    """
    lengths = halves(LOCO) + halves(IDLE, ones) + halves(LOCO)
    edges = edges_of(lengths)
    first, fault, last = run(edges)
    end = edges[84 + 2 * ones + 56 - 18]
    assert fault == Fault(edges[84], end, Reason.SHORT_PREAMBLE, ones, IDLE)
    assert datas([first, last]) == [LOCO, LOCO]
    assert isinstance(last, PacketReceived)
    assert (last.begin, last.preamble, last.adjoining) == (end, 9 + 14, False)
    alone = run(edges_of(halves(IDLE, ones) + halves(LOCO)))
    assert [type(one) for one in alone] == [Stray, PacketReceived]


@both
def test_ten_ones_are_a_preamble(run: Run) -> None:
    """To any decoder (S-9.2 §A); no fault."""
    assert datas(run(edges_of(halves(IDLE, 10)))) == [IDLE]
    assert datas(run(edges_of(halves(LOCO) + halves(IDLE, 10)))) == [LOCO, IDLE]


@both
@pytest.mark.parametrize("data", [b"\x37\x74\x42", b"\x00\x00", b"\x37\x74\x43\x01"])
def test_what_is_no_packet_behind_few_ones_is_stray(run: Run, data: bytes) -> None:
    """With a wrong exclusive OR, or fewer than three bytes, nothing shows that it was meant."""
    lengths = halves(LOCO) + halves(data, 5) + halves(LOCO)
    _, stray, last = run(edges_of(lengths))
    assert type(stray) is Stray
    assert datas([last]) == [LOCO]


@both
@pytest.mark.parametrize(("ones", "found"), [(3, False), (4, True), (9, True)])
def test_few_ones_after_a_cutout(run: Run, ones: int, found: bool) -> None:
    """From four on they are tried as a preamble, though no end bit adjoins."""
    lengths = [*halves(LOCO), 450_000, *halves(IDLE, ones), *halves(LOCO)]
    events = run(edges_of(lengths))
    faults = [one for one in events if isinstance(one, Fault)]
    assert [(one.preamble, one.data) for one in faults] == [(ones, IDLE)] * found
    assert datas(events) == [LOCO, LOCO]


@both
def test_packets_without_preambles_one_after_the_other(run: Run) -> None:
    """Each of them is a fault, whatever ones its predecessor ends with."""
    lengths = halves(LOCO) + (halves(IDLE, 0) + halves(LOCO, 0)) * 3 + halves(LOCO)
    faults = [one for one in run(edges_of(lengths)) if isinstance(one, Fault)]
    assert [(one.preamble, one.data) for one in faults] == [(0, IDLE), (0, LOCO)] * 3


@both
@pytest.mark.parametrize("last", [70_000, 450_000, 12_000_000])
def test_an_end_bit_behind_few_ones_that_runs_into_a_level(run: Run, last: int) -> None:
    """It is whole when its last half has lasted 52 µs; before a silence nobody knows."""
    lengths = [*halves(LOCO), *halves(IDLE, 5)[:-1], last, *halves(LOCO)]
    edges = edges_of(lengths)
    events = run(edges)
    faults = [one for one in events if isinstance(one, Fault)]
    expected = Fault(edges[84], edges[149] + 52_000, Reason.SHORT_PREAMBLE, 5, IDLE)
    assert faults == [expected] * (last < 10_000_000)
    assert datas(events) == [LOCO, LOCO]


@both
def test_few_ones_at_the_end_of_the_input(run: Run) -> None:
    """A packet behind them that is cut off was none; its ones are no preamble."""
    for cut in range(1, 50):
        edges = edges_of((halves(LOCO) + halves(IDLE, 5))[:-cut])
        assert datas(run(edges)) == [LOCO]


@both
def test_trials_are_limited(run: Run) -> None:
    """64 in one stray stretch; after them a right packet behind nine ones stays stray."""
    decoy = [*[ONE] * 8, *[ZERO] * 4, 20_000, 20_000]
    for count, found in ((60, 1), (70, 0)):
        lengths = halves(LOCO) + decoy * count + halves(IDLE, 9) + halves(LOCO)
        events = run(edges_of(lengths))
        assert sum(isinstance(one, Fault) for one in events) == found
        assert datas(events) == [LOCO, LOCO]


@both
def test_one_half_bit_of_a_one_is_no_preamble(run: Run) -> None:
    """A single half of a one after an end bit, then zeros, is a stray stretch."""
    lengths = [*halves(LOCO), ONE, *[ZERO] * 6, *halves(LOCO)]
    edges = edges_of(lengths)
    assert run(edges)[1] == Stray(edges[84], edges[91])


@both
def test_too_many_bytes(run: Run) -> None:
    """After 16 bytes a further start bit is a fault; 16 bytes and an end bit are received."""
    assert datas(run(edges_of(halves(bytes(16)) + halves(LOCO)))) == [bytes(16), LOCO]
    edges = edges_of(halves(bytes(17)) + halves(LOCO))
    fault, stray, last = run(edges)
    assert fault == Fault(0, edges[28 + 2 * 145], Reason.NO_END_BIT, 14, bytes(16))
    assert (stray.begin, datas([last])) == (fault.end, [LOCO])


@both
@pytest.mark.parametrize("second", [False, True])
@pytest.mark.parametrize("length", [20_000, 70_000, 89_999])
@pytest.mark.parametrize("bit", [0, 9, 10, 18])
def test_zero_with_one_half_in_range(run: Run, second: bool, length: int, bit: int) -> None:
    """A 0 with one half in range is a 0 (E7), start bits included."""
    lengths = halves(LOCO) * 3  # 37 74 43: 0 00110111 0 01110100 0 01000011 1
    assert lengths[WHOLE + 28 + 2 * bit] == ZERO
    lengths[WHOLE + 28 + 2 * bit + second] = length
    events = run(edges_of(lengths))
    assert datas(events) == [LOCO] * 3
    assert events[1].start == sum(lengths[: WHOLE + 28])
    assert [one.preamble for one in events] == [14] * 3
    assert [one.adjoining for one in events] == [False, True, True]


@both
def test_a_doubtful_start_bit_after_an_odd_half(run: Run) -> None:
    """A left-over half is dropped (E8) before a start bit with one half in range (E7) too."""
    lengths = [*halves(LOCO), ONE, *halves(LOCO)]
    lengths[WHOLE + 29] = 70_000
    edges = edges_of(lengths)
    _, stray, packet = run(edges)
    assert stray == Stray(edges[84], edges[85])
    assert packet == PacketReceived(edges[85], edges[113], edges[169], 14, LOCO, False)


@both
@pytest.mark.parametrize("wrong", [[70_000, 70_000], [70_000, ONE], [70_000, ONE, ZERO], [20_000]])
def test_what_is_no_start_bit(run: Run, wrong: list[int]) -> None:
    """A half-bit of neither kind ends a run of ones, unless a zero's half follows directly."""
    edges = edges_of([ONE] * 28 + wrong + halves(LOCO))
    stray, packet = run(edges)
    begin = edges[28 + len(wrong)]
    assert stray == Stray(0, begin)
    assert packet == PacketReceived(begin, edges[-57], edges[-1], 14, LOCO, False)


@both
def test_no_doubt_is_left_after_an_undefined_stretch(run: Run) -> None:
    """The half-bit before a gap does not become the start bit of what follows."""
    receiver = Receiver() if run is streamed else ColumnReceiver()
    before, after = edges_of([*[ONE] * 28, 70_000]), edges_of([ZERO, *halves(LOCO)])
    end = before[-1]
    events = list(receiver.feed(np.array(before, np.int64)))
    events += receiver.gap(end, end)
    events += receiver.feed(np.array([edge + end for edge in after], np.int64))
    events += receiver.close()
    assert [type(one) for one in events] == [Stray, Gap, Stray, PacketReceived]
    assert (events[0].end, events[1], events[2].begin) == (end, Gap(end, end), end)


@both
@pytest.mark.parametrize(
    ("bit", "half", "length"),
    [(2, 0, ONE), (2, 1, ONE), (3, 0, ZERO), (3, 1, ZERO), (3, 1, 70_000), (3, 0, 20_000)],
)
def test_halves_that_differ(run: Run, bit: int, half: int, length: int) -> None:
    """Two halves of different kinds are a fault; it ends where the bit's first half ends."""
    lengths = halves(LOCO) * 3  # bits 2 and 3 of the packet are 0 and 1
    lengths[WHOLE + 28 + 2 * bit + half] = length
    edges = edges_of(lengths)
    events = run(edges)
    assert datas(events) == [LOCO, LOCO]
    end = edges[WHOLE + 28 + 2 * bit + 1]
    assert events[1] == Fault(edges[WHOLE], end, Reason.HALF_BITS, 14, b"")


@both
def test_fault_keeps_the_bytes_read(run: Run) -> None:
    """A fault in the second byte holds the first."""
    lengths = halves(LOCO) + halves(IDLE)
    lengths[28 + 2 * 12] = 20_000
    fault, *_, last = run(edges_of(lengths))
    assert (fault.reason, fault.data, datas([last])) == (Reason.HALF_BITS, LOCO[:1], [IDLE])


@both
@pytest.mark.parametrize("place", range(WHOLE))
def test_a_phase_slip_costs_the_packet_it_touches(run: Run, place: int) -> None:
    """One half-bit left out or put in costs its own packet at most, and the next if it is short."""
    for change in ("drop", "double"):
        lengths = halves(LOCO) * 4
        at = WHOLE + place
        lengths[at : at + 1] = [] if change == "drop" else [lengths[at]] * 2
        events = run(edges_of(lengths))
        assert datas(events)[0] == LOCO
        assert datas(events)[-2:] == [LOCO, LOCO]
        if place < 28:
            assert datas(events) == [LOCO] * 4
            ones = 13 if change == "drop" else 14
            assert [one.preamble for one in events if isinstance(one, PacketReceived)][1] == ones
            assert [type(one) for one in events].count(Stray) == 1


@both
@pytest.mark.parametrize("length", [4_000, 11_000, 30_000])
@pytest.mark.parametrize("place", range(WHOLE))
def test_a_spurious_pulse_costs_the_packet_it_touches(run: Run, place: int, length: int) -> None:
    """A pulse within a half-bit costs one packet at most, and no byte of another."""
    lengths = halves(LOCO) * 4
    at = WHOLE + place
    rest = lengths[at] - length
    lengths[at : at + 1] = [rest // 2, length, rest - rest // 2]
    found = datas(run(edges_of(lengths)))
    assert found[0] == LOCO
    assert found[-2:] == [LOCO, LOCO]


@both
@pytest.mark.parametrize("last", [70_000, ZERO, 5_000_000])
def test_stretched_last_half_of_the_end_bit(run: Run, last: int) -> None:
    """An end bit's last half may run into a cutout: 52 µs are the bit, the rest is stray."""
    lengths = [*halves(LOCO)[:-1], last, *halves(IDLE)]
    edges = edges_of(lengths)
    first, stray, second = run(edges)
    assert first == PacketReceived(0, edges[28], edges[83] + 52_000, 14, LOCO, False)
    assert stray == Stray(edges[83] + 52_000, edges[84])
    assert second == PacketReceived(edges[84], edges[112], edges[168], 14, IDLE, False)


@both
def test_bits_between_packets_are_stray(run: Run) -> None:
    """Another protocol after the end bit is an event of its own, and no fault."""
    lengths = [*halves(LOCO), 30_000, 30_000, 75_000, 30_000, ZERO, 70_000, *halves(IDLE)]
    edges = edges_of(lengths)
    _, stray, last = run(edges)
    assert stray == Stray(edges[84], edges[90])
    assert (last.data, last.adjoining) == (IDLE, False)


@both
def test_short_pulses_are_merged(run: Run) -> None:
    """Pulses below 4 µs (M8) vanish, wherever they stand."""
    lengths = halves(LOCO)
    for place in (83, 40, 28, 3, 0):
        rest = lengths[place] - 3_999
        lengths[place : place + 1] = [rest // 2, 3_999, rest - rest // 2]
    assert run(edges_of(lengths)) == run(edges_of(halves(LOCO)))


@both
@pytest.mark.parametrize(("one", "zero"), [(52_000, 90_000), (64_000, 10_000_000)])
def test_limits_of_what_is_accepted(run: Run, one: int, zero: int) -> None:
    """Halves at the limits of tr1 and tr0 (S-9.1 §A, Table 1) are received, beyond them not."""
    table = {ONE: one, ZERO: zero}
    assert datas(run(edges_of(table[length] for length in halves(LOCO)))) == [LOCO]
    for name, step in ((ONE, 1 if one == 64_000 else -1), (ZERO, 1 if zero > 10**6 else -1)):
        beyond = table | {name: table[name] + step}
        assert datas(run(edges_of(beyond[length] for length in halves(LOCO)))) == []


def test_events_know_their_packet() -> None:
    """An event gives the decoded packet, or None for bytes that are none."""
    right, wrong = streamed(edges_of(halves(LOCO) + halves(b"\x37\x74\x42")))
    assert isinstance(right, PacketReceived)
    assert isinstance(wrong, PacketReceived)
    assert (right.error_byte_right, wrong.error_byte_right) == (True, False)
    assert bytes(right.packet or b"") == LOCO
    assert wrong.packet is None
