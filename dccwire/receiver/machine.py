"""The state machine that both receivers share: classified half-bits in, events out.

A run of ones is counted by half-bits; the first zero after at least ten ones fixes which half-bits
belong together (E8). Then half-bits are read in pairs. Positions are the caller's. Room: no times,
no edges, no numpy.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from dccwire.errors import Reason
from dccwire.framing import LEAST_PREAMBLE, MOST_BYTES
from dccwire.receiver.events import CutOff, Event, Fault, Gap, PacketReceived, Stray

__all__ = ["GAP", "LEAST_HALVES", "LONGEST_STRAY", "ONE", "OTHER", "ZERO", "Machine"]

ZERO, ONE, OTHER, GAP = range(4)
"""Kinds of half-bits: of a 0, of a 1, of neither, and longer than any."""

LONGEST_STRAY = 1 << 16
"""Half-bits after which a stray stretch is reported and a new one begun: memory is bounded."""

LEAST_HALVES = 2 * LEAST_PREAMBLE
"""Half-bits of ones before a packet start bit, at least."""

_HUNT, _FIRST, _SECOND = range(3)


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
        # Whether the run (while hunting) or the preamble (in a packet) follows on an end bit.
        self._adjoining = False
        # A half-bit of neither kind that ended such a run: where it ends and begins, the run, and
        # `_adjoining` then. If a zero follows, the two are the packet start bit (E7).
        self._doubt = (0, 0, 0, False)
        # In a packet: what its event will hold; the byte in hand, a one marking its top, or 0 where
        # a start or end bit is due; the first half of the bit in hand.
        self._begin = self._start = self._preamble = 0
        self._data = bytearray()
        self._value = 0
        self._first = ZERO

    def start(self, at: int, *, after_packet: bool = False) -> None:
        """Hunt from a position on, as at the start, or as after a packet end bit."""
        self.at = at
        self._state, self._run, self._stray, self._strays = _HUNT, 0, None, 0
        self._doubt = (0, 0, 0, False)
        self._adjoining = after_packet

    @property
    def after_packet(self) -> bool:
        """Whether the last half-bit closed a packet end bit."""
        return self._state == _HUNT and self._adjoining and not self._run

    def feed(self, halves: Iterable[Sequence[int]]) -> list[Event]:
        """Half-bits, each by its kind and by where it ends, after a `start`."""
        events: list[Event] = []
        at = self.at
        assert at is not None
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
                    self._adjoining = False
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
                    state, run, self._adjoining = _HUNT, 0, kind == ONE
                    self._stray = None if kind == ONE else end
                elif len(self._data) < MOST_BYTES:
                    value = 1
                else:
                    events.append(self._fault(Reason.NO_END_BIT, mark))
                    state, run, self._adjoining, self._stray = _HUNT, 0, False, None
            elif state == _FIRST:
                first, state = kind, _SECOND
            elif kind == ONE:
                if run == 0:
                    self._run_begin, self._run_second = at, mark
                run += 1
            elif kind == ZERO and run >= LEAST_HALVES:
                events += self._open(run, at)
                state, run, first, value = _SECOND, 0, ZERO, 0
            elif kind == ZERO and self._doubt[0] == at and self._doubt[2]:
                _, start, run, self._adjoining = self._doubt
                events += self._open(run, start)
                state, run, value = _FIRST, 0, 1
            else:
                if run >= LEAST_HALVES:
                    self._doubt = (mark, at, run, self._adjoining)
                if kind == ZERO and run > 1 and self._adjoining:
                    short = Reason.SHORT_PREAMBLE
                    events.append(Fault(self._run_begin, at, short, run // 2, b""))
                    run = 0
                if self._stray is None:
                    self._stray = self._run_begin if run else at
                self._strays += run + 1
                run, self._adjoining = 0, False
                if self._strays >= LONGEST_STRAY and self._doubt[0] != mark:
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
        self._adjoining = False
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
        self._stray, self._strays = None, 0
        self._data.clear()
        return [Stray(stray, begin)] if stray < begin else []

    def _packet(self, end: int) -> PacketReceived:
        data = bytes(self._data)
        return PacketReceived(self._begin, self._start, end, self._preamble, data, self._adjoining)

    def _fault(self, reason: Reason, end: int) -> Fault:
        return Fault(self._begin, end, reason, self._preamble, bytes(self._data))
