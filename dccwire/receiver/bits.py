"""The bit receiver: finds packets in any stream of bits, without times.

A bit is two half-bits of one kind, so the state machine of the other receivers serves. Positions
are bit numbers, first sent = 0. Room: imports the state machine.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields, replace

from bitstring import Bits

from dccwire.framing import each_bit
from dccwire.receiver.events import Event
from dccwire.receiver.machine import Machine


class BitReceiver:
    """Bits in, events out, in any portions; every bit belongs to exactly one event.

    >>> from dccwire.framing import stream
    >>> receiver = BitReceiver()
    >>> found = receiver.feed(stream([bytes(3), bytes(3)])) + receiver.close()
    >>> [(one.start, one.preamble, one.adjoining) for one in found]
    [(14, 14, False), (56, 14, True)]
    """

    def __init__(self) -> None:
        self._machine = Machine(settled=2, longest=2)
        self._halves = 0
        self._machine.start(0)

    def feed(self, bits: Bits | Iterable[bool | int]) -> list[Event]:
        """Take bits, in order, and give the events that they complete."""
        kinds = [half for bit in each_bit(bits) for half in (int(bool(bit)),) * 2]
        begin, self._halves = self._halves, self._halves + len(kinds)
        marks = range(begin + 1, self._halves + 1)
        return self._count(self._machine.feed(zip(kinds, marks, strict=True)))

    def close(self) -> list[Event]:
        """End the stream, and give what is in hand; bits fed after it count on."""
        events = self._machine.stop(self._halves)
        self._machine.start(self._halves)
        return self._count(events)

    @staticmethod
    def _count(events: list[Event]) -> list[Event]:
        """The same events with positions in bits instead of half-bits."""
        places = ("begin", "start", "end")
        return [
            replace(
                one, **{f.name: getattr(one, f.name) // 2 for f in fields(one) if f.name in places}
            )
            for one in events
        ]
