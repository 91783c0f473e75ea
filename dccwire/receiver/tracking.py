"""Mode tracking: which packets of a stream are service mode packets (S-9.2.3 §C).

A reset and a service mode packet behind it lead into service mode; a valid packet of another kind
leads out, and so does a pause of 20 ms without either. Room: events in, the same events out.
"""

from __future__ import annotations

from dataclasses import replace

from dccwire.address import Mode
from dccwire.codebook import RESET_PACKET, is_programming, is_query_or_lock
from dccwire.receiver.events import Event, PacketReceived

STAY_NS = 20_000_000
"""How long a pause service mode outlasts (S-9.2.3 §C)."""


class ModeTracker:
    r"""Hands each packet on in the mode that decoders are in.

    Times are counted as `Receiver` counts them, in ns. What `decode` refuses changes nothing.

    >>> from dccwire.receiver import PacketReceived
    >>> tracker = ModeTracker()
    >>> reset = PacketReceived(0, 0, 5_000_000, 20, bytes(3), False)
    >>> verify = PacketReceived(5_000_000, 8_000_000, 11_000_000, 20, b"\x70\x03\x73", True)
    >>> [tracker.take(event).mode.value for event in (verify, reset, verify)]
    ['operations', 'operations', 'service']
    """

    def __init__(self) -> None:
        self._service = False
        self._since_ns: int | None = None

    def take(self, event: Event) -> Event:
        """The event; a packet with the mode in which it is to be read."""
        if not isinstance(event, PacketReceived) or event.packet is None:
            return event
        data = event.data
        recent = self._since_ns is not None and event.start - self._since_ns <= STAY_NS
        reset, service = data == RESET_PACKET, is_programming(data) or is_query_or_lock(data)
        if service and recent:
            self._service = True
        elif not (reset and recent):
            self._service = False
        self._since_ns = event.end if reset or (service and self._service) else None
        return replace(event, mode=Mode.SERVICE) if self._service else event
