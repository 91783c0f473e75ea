"""From what arrives to a packet in both modes: the same few packets come again and again.

Room: imports `packet`, `service_mode` and the receiver's events.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from dccwire.address import PROGRAMMING_TRACK, Mode
from dccwire.errors import DecodeError, FieldError
from dccwire.packet import Packet, decode
from dccwire.receiver.events import CutOff, Event, Fault, Gap, PacketReceived, Stray
from dccwire.service_mode import AddressQuery, DecoderLock


class Heard(NamedTuple):
    """A valid packet: as in operations mode, and as in service mode if it can be one of that."""

    packet: Packet
    service: Packet | None


@lru_cache(maxsize=4096)
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


class Arrival(NamedTuple):
    """Bytes with the times of the packet start bit and of the end of the packet end bit, in ns."""

    data: bytes
    start_ns: int
    end_ns: int


def arrival(
    packet: Packet | bytes | Event, start_ns: int | None, end_ns: int | None
) -> Arrival | None:
    """What came and when; None for an event that is no packet.

    Raises:
        FieldError: bytes or a packet without its times.
    """
    if isinstance(packet, PacketReceived):
        return Arrival(packet.data, packet.start, packet.end)
    if isinstance(packet, Fault | Stray | CutOff | Gap):
        return None
    if start_ns is None:
        raise FieldError("start_ns", "a time in ns", start_ns)
    if end_ns is None:
        raise FieldError("end_ns", "a time in ns", end_ns)
    return Arrival(bytes(packet), start_ns, end_ns)
