"""The state machine that both receivers share: classified half-bits in, events out.

    state    half-bit                     next     what it means
    HUNT     of a 1                       HUNT     the run of ones grows
    HUNT     of a 0, after 20 of ones     SECOND   packet start bit; its preamble is counted back
    HUNT     of a 0, after fewer (below)  HUNT     a trial: are the bits framed as a packet?
    HUNT     another                      HUNT     stray; after 20 of ones it is in doubt (E7)
    FIRST    any                          SECOND   the first half of a bit
    SECOND   makes a 0 or a 1             FIRST    the bit; after eight, 0: one more byte
    SECOND   makes an end bit             HUNT     a packet; the run of ones begins anew
    SECOND   makes neither                HUNT     a fault
    any      longer than 10 ms            HUNT     a gap, as at the end of the input

A run of ones is counted by half-bits; the first zero after at least ten ones fixes which half-bits
belong together (E8). A station may also send a packet behind too few ones: where a run of less than
ten follows on a packet, a second machine reads on. If it finds a packet whose exclusive OR is 0, it
was one, and a fault says so; else the same half-bits are hunted through again. A decoder does not
know of such a packet: for what comes next the ones at its end are part of the run, as before.
Positions are the caller's. Room: no times, no edges, no numpy.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from dccwire.errors import Reason
from dccwire.framing import LEAST_PREAMBLE, MOST_BYTES
from dccwire.receiver.events import CutOff, Event, Fault, Gap, PacketReceived, Stray

ZERO, ONE, OTHER, GAP = range(4)
"""Kinds of half-bits: of a 0, of a 1, of neither, and longer than any."""

LONGEST_STRAY = 1 << 16
"""Half-bits after which a stray stretch is reported and a new one begun: memory is bounded."""

LEAST_HALVES = 2 * LEAST_PREAMBLE
"""Half-bits of ones before a packet start bit, at least."""

_APART = 8
"""Half-bits of ones before a zero that are tried as a preamble although no end bit adjoins."""

_TRIALS = 64
"""Trials in one stray stretch: each reads up to 290 half-bits twice, so time is bounded."""

_SHORTEST = 3
"""Bytes of a packet, at least (S-9.2.1, introduction; C3)."""

_HUNT, _FIRST, _SECOND = range(3)


class _Doubt(NamedTuple):
    """A half-bit of neither kind that ended a run of ones: with a zero next, a start bit (E7)."""

    end: int
    begin: int
    run: int
    adjoining: bool


_NO_DOUBT = _Doubt(0, 0, 0, False)


class Machine:
    """Half-bits in, events out.

    Args:
        settled: how long the last half of a packet end bit must have lasted for the packet to be
            complete although no edge closed it.
        longest: how long a half-bit may last; more is a gap.

    `at` is where the next half-bit begins; None before the first edge and after a stop.
    """

    def __init__(self, settled: int, longest: int) -> None:
        self._settled, self._longest = settled, longest
        self.at: int | None = None
        # `_state`, then what counts while hunting: the length of a run of ones in half-bits, where
        # it and its second half-bit begin, and where stray half-bits before it begin.
        self._state = _HUNT
        self._run = self._run_begin = self._run_second = 0
        self._stray: int | None = None
        self._strays = 0
        # Whether the run (while hunting) or the preamble (in a packet) follows on an end bit;
        # whether nothing but stray half-bits lies between it and a packet.
        self._adjoining = self._after_packet = False
        self._doubt = _NO_DOUBT
        # In a packet: what its event will hold; the byte in hand, a one marking its top, or 0 where
        # a start or end bit is due; the first half of the bit in hand.
        self._begin = self._start = self._preamble = 0
        self._data = bytearray()
        self._value = 0
        self._first = ZERO
        # A trial: the machine that reads, the half-bits it has read, where the first begins; where
        # the latest failed, and how many were made in this stray stretch. Of the run in hand, so
        # many half-bits are the end of a packet that a trial has found.
        self._reader: Machine | None = None
        self._tried: list[tuple[int, int]] = []
        self._tried_from = self._failed_at = -1
        self._trials = self._borrowed = 0

    def start(self, at: int, *, after_packet: bool = False) -> None:
        """Hunt from a position on, as at the start, or as after a packet end bit."""
        self.at = at
        self._state, self._run, self._stray, self._strays = _HUNT, 0, None, 0
        self._doubt = _NO_DOUBT
        self._adjoining = self._after_packet = after_packet
        self._reader, self._failed_at, self._trials, self._borrowed = None, -1, 0, 0

    @property
    def after_packet(self) -> bool:
        """Whether the last half-bit closed a packet end bit."""
        return self._state == _HUNT and self._adjoining and not self._run and self._reader is None

    def feed(self, halves: Iterable[Sequence[int]]) -> list[Event]:
        """Half-bits, each by its kind and by where it ends, after a `start`."""
        rest = iter(halves)
        events = self._read(rest) if self._reader is None else []
        while (reader := self._reader) is not None:
            events += self._try(rest)
            if self._reader is reader:  # which half-bits to come will end
                break
            if self._reader is None:
                events += self._read(rest)
        return events

    def _read(self, halves: Iterator[Sequence[int]]) -> list[Event]:
        """Half-bits until a trial begins, which takes the last of them."""
        events: list[Event] = []
        at = self.at
        assert at is not None
        # Local names: attributes in this loop cost the streaming receiver a third of its speed.
        state, run, first, value = self._state, self._run, self._first, self._value
        for kind, mark in halves:
            if kind == GAP:
                self.at, self._state, self._run = at, state, run
                self._first, self._value = first, value
                events += self.stop(mark)
                self.start(mark)
                state, run = _HUNT, 0
            elif state == _SECOND:
                state = _FIRST
                if first == kind != OTHER:
                    bit = kind
                elif first == ONE and not value and mark - at >= self._settled:
                    bit = ONE  # an end bit, whatever becomes of its last half
                elif first + kind == ZERO + OTHER and first != kind:
                    bit = ZERO  # one half in range makes a 0 (E7)
                else:
                    events.append(self._fault(Reason.HALF_BITS, at))
                    state, run = _HUNT, int(kind == ONE)
                    self._stray = None if run else at
                    self._run_begin, self._run_second = at, mark
                    at = mark
                    continue
                if value:
                    value = value << 1 | bit
                    if value > 0xFF:
                        self._data.append(value & 0xFF)
                        value = 0
                elif bit == ONE:
                    end = mark if kind == ONE else at + self._settled
                    events.append(self._packet(end))
                    state, run = _HUNT, 0
                    self._after_end(kind == ONE, end)
                elif len(self._data) < MOST_BYTES:
                    value = 1
                else:
                    events.append(self._fault(Reason.NO_END_BIT, mark))
                    state, run, self._stray = _HUNT, 0, None
            elif state == _FIRST:
                first, state = kind, _SECOND
            elif kind == ONE:
                if run == 0:
                    self._run_begin, self._run_second = at, mark
                run += 1
            elif kind == ZERO and run >= LEAST_HALVES:
                events += self._open(run, at)
                state, run, first, value = _SECOND, 0, ZERO, 0
            elif kind == ZERO and self._doubt.end == at and self._doubt.run:
                _, start, run, self._adjoining = self._doubt
                events += self._open(run, start)
                state, run, value = _FIRST, 0, 1
            elif kind == ZERO and self._is_worth_a_trial(run, at):
                self._begin_trial(run, at)
                return events + self._try(iter([(kind, mark)]))
            else:
                if run >= LEAST_HALVES:
                    self._doubt = _Doubt(mark, at, run, self._adjoining)
                if self._stray is None:
                    self._stray = self._run_begin if run else at
                self._strays += run + 1
                run, self._adjoining, self._borrowed = 0, False, 0
                if self._strays >= LONGEST_STRAY and self._doubt.end != mark:
                    events.append(Stray(self._stray, mark))
                    self._stray, self._strays = None, 0
            at = mark
        self.at, self._state, self._run = at, state, run
        self._first, self._value = first, value
        return events

    def stop(self, until: int) -> list[Event]:
        """The half-bits end: the level after the last edge held to `until`, without an edge.

        What is in hand comes out, then a gap if the silence is longer than any half-bit.
        """
        if self._reader is not None:
            return self._hunt_again() + self.stop(until)
        at = self.at
        if at is None:
            return []
        events: list[Event] = []
        silent = until - at > self._longest
        end = at if silent else until
        if self._state == _HUNT:
            stray = self._stray if self._stray is not None or self._run else at
            if stray is not None and stray < (self._run_begin if self._run else end):
                events.append(Stray(stray, self._run_begin if self._run else end))
            if self._run:
                events.append(CutOff(self._run_begin, end, self._run // 2, b"", ""))
        elif self._ending and until - at >= self._settled:
            events.append(self._packet(at + self._settled))
            if events[0].end < end:
                events.append(Stray(events[0].end, end))
        else:
            bits = f"{self._value:b}"[1:]
            events.append(CutOff(self._begin, end, self._preamble, bytes(self._data), bits))
        if silent:
            events.append(Gap(events[-1].end if events else at, until))
        self.at, self._state, self._run = None, _HUNT, 0
        self._stray, self._strays = None, 0
        self._adjoining = self._after_packet = False
        return events

    @property
    def _ending(self) -> bool:
        """Whether the half-bit in hand is the last of a packet end bit."""
        return self._state == _SECOND and self._first == ONE and not self._value

    def _open(self, run: int, at: int) -> list[Event]:
        """A packet start bit: count its preamble back, and leave what stands before it."""
        odd = run % 2 == 1
        begin = self._run_second if odd else self._run_begin
        stray = self._run_begin if self._stray is None else self._stray
        self._adjoining = self._adjoining and not odd
        self._begin, self._start, self._preamble = begin, at, run // 2
        self._stray, self._strays, self._borrowed = None, 0, 0
        self._data.clear()
        return [Stray(stray, begin)] if stray < begin else []

    def _packet(self, end: int) -> PacketReceived:
        data = bytes(self._data)
        return PacketReceived(self._begin, self._start, end, self._preamble, data, self._adjoining)

    def _fault(self, reason: Reason, end: int) -> Fault:
        self._adjoining = self._after_packet = False
        return Fault(self._begin, end, reason, self._preamble, bytes(self._data))

    def _after_end(self, closed: bool, end: int) -> None:
        """Hunt on after a packet's end; what its end bit's last half is too long by, is stray."""
        self._adjoining, self._after_packet = closed, True
        self._stray, self._failed_at, self._trials = None if closed else end, -1, 0

    def _is_worth_a_trial(self, run: int, at: int) -> bool:
        """Whether a zero after so short a run may be the start bit of a packet all the same."""
        adjoins = (self._adjoining or self._borrowed) and run % 2 == 0
        framed = self._after_packet and (adjoins or run >= _APART)
        return bool(framed) and at != self._failed_at and self._trials < _TRIALS

    def _begin_trial(self, run: int, at: int) -> None:
        if not run:
            self._run_begin = at
        self._reader = reader = Machine(self._settled, self._longest)
        reader.start(at)
        reader._run_begin, reader._run_second = self._run_begin, self._run_second
        reader._open(run, at)
        reader._preamble -= self._borrowed // 2
        reader._state = _FIRST
        self._state, self._run, self._tried, self._tried_from = _HUNT, run, [], at

    def _try(self, halves: Iterator[Sequence[int]]) -> list[Event]:
        """Read on in a trial until it ends.

        What a decoder forgives (E7) is not forgiven here: other protocols have such half-bits too.
        """
        reader = self._reader
        assert reader is not None
        for kind, mark in halves:
            self._tried.append((kind, mark))
            if kind in (OTHER, GAP) and not reader._ending:
                return self._hunt_again()
            if found := reader.feed(((kind, mark),)):
                return self._end_trial(found[0], mark) if kind != GAP else self._hunt_again()
            self.at = mark
        return []

    def _end_trial(self, found: Event, mark: int) -> list[Event]:
        """What the reader has found is a packet with too short a preamble, or nothing."""
        if not isinstance(found, PacketReceived) or not found.error_byte_right:
            return self._hunt_again()
        if len(found.data) < _SHORTEST or not (found.preamble or any(found.data)):
            return self._hunt_again()  # mere zeros have no start
        stray = self._run_begin if self._stray is None else self._stray
        # The ones at the end of the packet, as half-bits; the last one is its end bit.
        kinds = [kind for kind, _ in self._tried]
        ones = next(count for count, kind in enumerate(reversed(kinds)) if kind != ONE)
        end = self._tried[-ones - 1][1] if ones else found.end
        self.start(mark)
        self._after_end(bool(ones), end)
        if ones:
            self._adjoining, self._borrowed, self._run = False, ones, ones
            self._run_begin, self._run_second = end, self._tried[-ones][1]
        short = Fault(found.begin, end, Reason.SHORT_PREAMBLE, found.preamble, found.data)
        return [Stray(stray, found.begin), short] if stray < found.begin else [short]

    def _hunt_again(self) -> list[Event]:
        """The half-bits of a trial once more, as if it had not been."""
        halves, self._tried, self._reader = self._tried, [], None
        self.at = self._failed_at = self._tried_from
        self._trials += 1
        return self.feed(halves)
