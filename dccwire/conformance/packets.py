"""Rules 14 to 19 and 27: what packets are made of.

A packet whose start or end bit was sent wrong reads as another one with a wrong error byte. Where
what follows shows it, it counts in rule 15 alone, and rule 14 does not judge what stands after it,
since the packet before was not complete. Room: events in, counters out.
"""

from __future__ import annotations

from functools import reduce
from operator import xor

import numpy as np

from dccwire.assembly import LONGEST, SHORTEST
from dccwire.codebook import is_query_or_lock
from dccwire.conformance.measures import NO_LIMIT, Counter, LimitMeasure
from dccwire.errors import Reason
from dccwire.formats import Kept, Provenance
from dccwire.framing import SENT_PREAMBLE
from dccwire.packet import Packet
from dccwire.receiver import CutOff, Event, Fault, Gap, PacketReceived, Stray
from dccwire.receiver.columns import Columns, PacketColumns
from dccwire.receiver.edges import Windows
from dccwire.signal import LIMITS

__all__ = ["LEAST_AFTER_END_NS", "PacketRules"]

IDLE, RESET = b"\xff\x00\xff", b"\x00\x00\x00"
"""The idle and the reset packet (S-9.2 §B)."""

LATER = (253, 254)
"""First bytes of advanced extended packets and of automatic log-on (from memory)."""

SHORTEST_ONE_NS = 2 * LIMITS["t1"].least
"""Both halves of the shortest 1 (S-9.1 §A, Table 1 t1)."""

LEAST_AFTER_END_NS = 26_000
"""How long the signal goes on after the end bit (S-9.2 §A footnote 3)."""


def _unknown(packet: Packet) -> bool:
    """Whether a packet holds what no format of operations mode describes."""
    return any(isinstance(one, Kept) for one in packet.instructions)


class PacketRules:
    """Counters of the packet rules, fed with columns, then closed; `error_ns` as in `timing`."""

    def __init__(self, error_ns: int) -> None:
        self.preamble, self.framing, self.error_byte = Counter(), Counter(), Counter()
        self.special, self.idle, self.length = Counter(), Counter(), Counter()
        self.after_end = LimitMeasure(LEAST_AFTER_END_NS, -NO_LIMIT, error_ns)
        self.packets = 0
        self.shortest_preamble: int | None = None
        self.exactly_least = 0
        self.shortest_length: int | None = None
        self.longest_length = 0
        self.gaps = 0
        # What has a use in later additions known from memory alone, and so is no failure.
        self.from_memory = self.byte_254 = self.longer_later = 0
        self._doubtful: PacketReceived | None = None
        # Whether the packet before was complete, whether ones may hide behind it, where it ended.
        self._complete = self._hiding = False
        self._end: int | None = None
        self._edges = np.empty(0, np.int64)
        self._least_zero = Windows(error_ns).zero[0]

    def add(self, columns: Columns) -> None:
        """Judge the events of these columns."""
        self._edges = columns.edges
        for part in columns.parts:
            if isinstance(part, PacketColumns):
                self._add_columns(part)
            else:
                self._add_event(part)

    def cut(self, begin: int) -> None:
        """Rule 17: the signal goes at `begin`, which silence on one wire of two levels is not."""
        if self._end is not None:
            lasted, ended = np.array([begin - self._end]), np.array([self._end])
            self.after_end.add(lasted, lambda some: ended[some])
        self._end = None

    def close(self) -> None:
        """Judge what waited for the event after it."""
        self._settle(None)

    def _add_columns(self, rows: PacketColumns) -> None:
        """Packets that adjoin each other: those that give no reason to look closer, together."""
        sound = rows.error_byte_right & (rows.size >= SHORTEST)
        first = rows.data[:, 0]
        idle, reset = rows.equals(IDLE), rows.equals(RESET)
        plain = sound & (rows.preamble + 1 >= SENT_PREAMBLE)
        plain &= ((first != 0) & (first < 254)) | idle | reset
        # The first row needs what stood before it, and so does the one after an unsound one.
        plain[0] = False
        plain[1:] &= sound[:-1]
        for one in rows.take(np.flatnonzero(~plain)):
            self._add_event(one)
        count = int(plain.sum())
        if not count:
            return
        self.packets += count
        for counter in (self.preamble, self.framing, self.error_byte, self.length):
            counter.measured += count
        self.special.measured += int((plain & (idle | reset)).sum())
        self.idle.measured += int((plain & idle).sum())
        counted = rows.preamble[plain] + 1
        self._note_preamble(int(counted.min()), int((counted == SENT_PREAMBLE).sum()))
        sizes = rows.size[plain]
        self._note_length(int(sizes.min()))
        self._note_length(int(sizes.max()))
        if plain[-1]:
            self._complete, self._end = True, int(rows.end[-1])

    def _add_event(self, event: Event) -> None:
        self._settle(event)
        match event:
            case PacketReceived():
                self.packets += 1
                self._judge_preamble(event)
                self._hiding = False
                if event.error_byte_right and len(event.data) >= SHORTEST:
                    self._judge(event)
                else:
                    self._doubtful = event
            case Fault(reason=Reason.SHORT_PREAMBLE):
                if self._complete:
                    self.preamble.measured += 1
                    self.preamble.fail([event.begin])
                    self._note_preamble(event.preamble + 1, 0)
                self._complete = False
            case Fault():
                if event.reason is Reason.NO_END_BIT:
                    self.framing.measured += 1
                    self.framing.fail([event.begin])
                self._complete = False
            case Gap():
                self.gaps += 1
                self._hiding = False
            case CutOff():
                self._complete = False
            case _:  # half-bits of no packet
                self._hiding = event.end - event.begin >= SHORTEST_ONE_NS

    def _settle(self, follows: Event | None) -> None:
        """Judge a packet that read wrong, now that it is known what follows it."""
        event, self._doubtful = self._doubtful, None
        if event is None:
            return
        broken_off = self._goes_on(event.end, follows)
        *rest, last = event.data
        ran_on = last == 0xFF and len(rest) >= SHORTEST and reduce(xor, rest) == 0
        if broken_off or ran_on:
            self.framing.measured += 1
            self.framing.fail([event.start])
            self._complete, self._end = False, None
        else:
            self._judge(event)

    def _goes_on(self, end: int, follows: Event | None) -> bool:
        """Whether bits of a byte follow directly on what was read as an end bit.

        They are fewer than ten ones and a 0, or a whole 0; a cutout has no whole 0.
        """
        if follows is None or follows.begin != end:
            return False
        if isinstance(follows, Stray):
            place = int(np.searchsorted(self._edges, end))
            halves = np.diff(self._edges[place : place + 3])
            return len(halves) == 2 and int(halves.min()) >= self._least_zero
        return isinstance(follows, Fault)

    def _judge(self, event: PacketReceived) -> None:
        """Rules 15, 16, 18, 19 and 27 for a packet whose start and end bits are trusted."""
        data, time = event.data, [event.start]
        self.framing.measured += 1
        self.error_byte.measured += 1
        self.length.measured += 1
        self._note_length(len(data))
        if len(data) > LONGEST and data[0] in LATER:
            self.longer_later += 1
            self.length.undecided += 1
        elif not SHORTEST <= len(data) <= LONGEST:
            self.length.fail(time)
        if not event.error_byte_right:
            self.error_byte.fail(time)
        elif data[0] in (0, 254, 255):
            self._judge_special(event)
        self._complete, self._end = True, event.end

    def _judge_special(self, event: PacketReceived) -> None:
        packet, time = event.packet, [event.start]
        self.special.measured += 1
        if event.data[0] == 255:
            self.idle.measured += 1
            if event.data != IDLE:
                self.idle.fail(time)
        if event.data[0] in LATER:
            self.byte_254 += 1
            self.special.undecided += 1
        elif packet is None or (_unknown(packet) and not is_query_or_lock(event.data)):
            self.special.fail(time)
        elif any(one.format.provenance is Provenance.FROM_MEMORY for one in packet.instructions):
            self.from_memory += 1

    def _judge_preamble(self, event: PacketReceived) -> None:
        """Rule 14, where the packet before is complete: its end bit counts if it adjoins (C2).

        Half-bits of no packet between the two may hide ones, or a packet that was spoiled.
        """
        if not self._complete:
            return
        counted = event.preamble + event.adjoining
        self.preamble.measured += 1
        self._note_preamble(counted, counted == SENT_PREAMBLE and event.adjoining)
        if counted < SENT_PREAMBLE and self._hiding:
            self.preamble.undecided += 1
        elif counted < SENT_PREAMBLE:
            self.preamble.fail([event.start])

    def _note_preamble(self, counted: int, exactly: int) -> None:
        known = self.shortest_preamble
        self.shortest_preamble = counted if known is None else min(known, counted)
        self.exactly_least += exactly

    def _note_length(self, size: int) -> None:
        known = self.shortest_length
        self.shortest_length = size if known is None else min(known, size)
        self.longest_length = max(self.longest_length, size)
