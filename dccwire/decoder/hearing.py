"""From what arrives to packets in both modes, for one decoder or for several on a track.

Room: imports `options`, `packet`, `service_mode` and the receiver's events.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from functools import lru_cache
from typing import NamedTuple, overload

from dccwire.address import PROGRAMMING_TRACK, Mode
from dccwire.decoder.options import Acknowledgement
from dccwire.errors import DecodeError, FieldError
from dccwire.packet import Packet, decode
from dccwire.receiver.events import CutOff, Event, Fault, Gap, PacketReceived, Stray
from dccwire.service_mode import AddressQuery, DecoderLock

NO_PACKETS = (Fault, Stray, CutOff, Gap)


class Heard(NamedTuple):
    """A valid packet: as in operations mode, and as in service mode if it can be one of that."""

    packet: Packet
    service: Packet | None


@lru_cache(maxsize=4096)  # the same few packets come again and again
def hear(data: bytes) -> Heard | None:
    """The packet of bytes; None for a wrong length or error byte, which is ignored (S-9.2 §B).

    An address query or a decoder lock with an address out of its range is no service mode packet
    (P12, P13); four bytes of direct mode with CC = 00 are one that says nothing (P4).
    """
    try:
        packet = decode(data)
    except DecodeError:
        return None
    service = decode(data, mode=Mode.SERVICE)
    match service.instructions:
        case (AddressQuery() | DecoderLock(),):
            return Heard(packet, service)
    return Heard(packet, service if service.address == PROGRAMMING_TRACK else None)


class Listener(ABC):
    """What can be told of packets."""

    __slots__ = ()

    @overload
    def take(self, packet: Event) -> list[Acknowledgement]: ...
    @overload
    def take(self, packet: Packet | bytes, start_ns: int, end_ns: int) -> list[Acknowledgement]: ...
    def take(
        self, packet: Packet | bytes | Event, start_ns: int | None = None, end_ns: int | None = None
    ) -> list[Acknowledgement]:
        """Act on a packet, or on a receiver's event, which brings its own times.

        `start_ns` is the packet start bit, `end_ns` the end of the packet end bit, as the receiver
        counts them. The acknowledgements that it causes come back, on a track as they merge;
        outside service mode there are none (S-9.2.3 §D). Bytes with a wrong length or error byte
        are ignored (S-9.2 §B), and so are events that are no packets. The mode of a `Packet` is
        ignored: the decoder knows.

        Raises:
            FieldError: times are missing, or run backwards.
        """
        if type(packet) is bytes and start_ns is not None and end_ns is not None:
            return self._hear(packet, start_ns, end_ns)  # the usual case: in half of the time
        if isinstance(packet, PacketReceived):
            return self._hear(packet.data, packet.start, packet.end)
        if isinstance(packet, NO_PACKETS):
            return []
        if start_ns is None:
            raise FieldError("start_ns", "a time in ns", start_ns)
        if end_ns is None:
            raise FieldError("end_ns", "a time in ns", end_ns)
        return self._hear(bytes(packet), start_ns, end_ns)

    @abstractmethod
    def _hear(self, data: bytes, start_ns: int, end_ns: int) -> list[Acknowledgement]: ...
