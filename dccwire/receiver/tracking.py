"""Mode tracking: which packets of a stream are service mode packets (S-9.2.3 §C).

A reset and a service mode packet behind it lead into service mode; a valid packet of another kind
leads out, and so does a pause of 20 ms without either. Room: events in, the same events out.
"""

from __future__ import annotations

from dataclasses import replace

from dccwire.address import Mode
from dccwire.codebook import RESET_PACKET, is_programming, is_query_or_lock
from dccwire.receiver.events import Event, PacketReceived
from dccwire.signal import UNBOUNDED

STAY_NS = 20_000_000
"""How long a pause service mode outlasts (S-9.2.3 §C)."""


class ModeHistory:
    """In which mode decoders are, from the valid packets that they have heard; times in ns.

    >>> history = ModeHistory()
    >>> verify, reset, idle = bytes.fromhex("700373"), bytes(3), bytes.fromhex("FF00FF")
    >>> [history.take(data, 0, 0) for data in (verify, idle, verify)]
    [None, <Mode.OPERATIONS: 'operations'>, <Mode.OPERATIONS: 'operations'>]
    >>> [history.take(data, 0, 0).value for data in (reset, verify)]
    ['operations', 'service']
    """

    def __init__(self) -> None:
        self._mode: Mode | None = None
        # Where the last reset or packet of service mode ended if nothing leads out since, whether
        # a reset leads that sequence; until when a packet that was not heard may still count.
        self._since_ns: int | None = None
        self._led = False
        self._missed_until_ns = UNBOUNDED

    def take(self, data: bytes, start: int, end: int) -> Mode | None:
        """The mode in which this packet is heard; None: what came before it is not known."""
        recent = self._since_ns is not None and start - self._since_ns <= STAY_NS
        reset, service = data == RESET_PACKET, is_service(data)
        if service and recent and self._led:
            self._mode = Mode.SERVICE
        elif service:
            unknown = start <= self._missed_until_ns or (recent and self._mode is None)
            self._mode = None if unknown else Mode.OPERATIONS
        elif not (reset and recent):
            self._mode = Mode.OPERATIONS
        self._led = reset or (service and recent and self._led)
        self._since_ns = end if reset or (service and self._mode is not Mode.OPERATIONS) else None
        self._missed_until_ns = -1
        return self._mode

    def miss(self, end: int) -> None:
        """A packet that ended here could not be read: it may have been a reset."""
        self._missed_until_ns = end + STAY_NS


class ModeTracker:
    r"""Hands each packet on in the mode that decoders are in.

    Times are counted as `Receiver` counts them, in ns. What `decode` refuses changes nothing; what
    came before the first packet is taken for operations.

    >>> from dccwire.receiver import PacketReceived
    >>> tracker = ModeTracker()
    >>> reset = PacketReceived(0, 0, 5_000_000, 20, bytes(3), False)
    >>> verify = PacketReceived(5_000_000, 8_000_000, 11_000_000, 20, b"\x70\x03\x73", True)
    >>> [tracker.take(event).mode.value for event in (verify, reset, verify)]
    ['operations', 'operations', 'service']
    """

    def __init__(self) -> None:
        self._history = ModeHistory()

    def take(self, event: Event) -> Event:
        """The event; a packet with the mode in which it is to be read."""
        if not isinstance(event, PacketReceived) or event.packet is None:
            return event
        mode = self._history.take(event.data, event.start, event.end)
        return replace(event, mode=mode) if mode is Mode.SERVICE else event


def is_service(data: bytes) -> bool:
    """Whether bytes can be a service mode packet: an instruction, an address query, a lock."""
    return is_programming(data) or is_query_or_lock(data)
