"""Service mode: its packets, entry and exit, two identical ones, what each mode does (S-9.2.3).

Room: imports `options`, `storage`, `packet` and the service mode packets.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto
from functools import lru_cache

from dccwire import service_mode
from dccwire.address import PROGRAMMING_TRACK, Address, Mode
from dccwire.codebook import RESET_PACKET
from dccwire.cv import cv_of
from dccwire.cv.changes import FACTORY_RESET
from dccwire.decoder.options import Ignored, ServiceMode
from dccwire.decoder.storage import Storage
from dccwire.formats import Instruction, Kept
from dccwire.instructions import CvOperation
from dccwire.packet import Packet, decode, decode_or_none
from dccwire.receiver.tracking import STAY_NS
from dccwire.service_mode import PAGE_REGISTER, PRESET_PAGE, REGISTER_CVS


@lru_cache(maxsize=4096)  # the same few packets come again and again
def hear(data: bytes) -> tuple[Packet, Packet | None] | None:
    """The packet of bytes as in operations mode, and as in service mode if it can be one of that.

    None for a wrong length or error byte, which is ignored (S-9.2 §B). An address query or a
    decoder lock with an address out of its range is no service mode packet (P12, P13); four bytes
    of direct mode with CC = 00 are one that says nothing (P4).
    """
    packet = decode_or_none(data)
    if packet is None:
        return None
    service = decode(data, mode=Mode.SERVICE)
    match service.instructions:
        case (service_mode.AddressQuery() | service_mode.DecoderLock(),):
            return packet, service
    return packet, service if service.address == PROGRAMMING_TRACK else None


class Outcome(Enum):
    """What a service mode packet came to, if it was not ignored."""

    NOTHING = auto()  # the first of two, a verify that does not match, what needs no answer
    MATCHES = auto()  # acknowledged at once
    STORED = auto()  # acknowledged after storage


@dataclass(slots=True)
class Programming:
    """Where a decoder stands between operations and service mode, and its page register.

    The page register is 1 after power-on and again when service mode is left (S-9.2.3 §E
    recommends it).
    """

    inside: bool = False
    barred: bool = False
    locked: bool = False
    page: int = PRESET_PAGE
    since_ns: int | None = None
    previous: bytes = b""
    run: int = 0

    @property
    def calm(self) -> bool:
        """Whether a packet to others, whatever it says, changes nothing here."""
        return self.since_ns is None and not self.barred and not self.locked

    def follow(
        self, service: Packet | None, data: bytes, start_ns: int, end_ns: int
    ) -> Packet | None:
        """Take notice of a valid packet; it comes back if it is a service mode packet in its mode.

        Service mode begins with a service mode packet right after a reset packet, at most 20 ms
        after it (our reading), and ends with any other valid packet, or after 20 ms with neither a
        reset nor one of its own. Then nothing counts until an operations packet comes that does not
        look like one of service mode (S-9.2.3 §C); what ends service mode by itself is one already.
        The lock of appendix B is lifted by the same packets as end service mode: if a reset lifted
        it, it would keep nobody out.
        """
        recent = self.since_ns is not None and start_ns - self.since_ns <= STAY_NS
        if self.inside and not recent:
            self.inside, self.barred = False, True
        reset = data == RESET_PACKET
        if service is not None:
            self.inside = recent
        else:
            self.barred = False
            if not reset:
                self.inside = self.locked = False
        if not self.inside:
            self.page = PRESET_PAGE
        self.since_ns = end_ns if reset or self.inside else None
        self.run = self.run + 1 if self.inside and data == self.previous else 1
        self.previous = data
        return service if self.inside else None

    def act(self, one: Instruction, address: Address, storage: Storage) -> Outcome | Ignored:
        """Act on the second of identical packets in a row; on no further one of the same row.

        S-9.2.3 §E; whether a third and fourth count as two more is not said.
        """
        if self.run != 2:
            return Outcome.NOTHING
        supports = storage.options.supports
        direct = ServiceMode.DIRECT in supports
        if isinstance(one, service_mode.DecoderLock):
            if ServiceMode.DECODER_LOCK not in supports:
                return Ignored.UNSUPPORTED
            self.locked = one.unlocked != storage.read(1)
            return Outcome.NOTHING
        if self.locked:
            return Ignored.SERVICE_LOCKED
        match one:
            case service_mode.AddressQuery() if ServiceMode.ADDRESS_QUERY in supports:
                # CV 1 whatever CV 29 bit 5 says: the appendix asks for the short address.
                return _matches(storage.read(1) == address.number)
            case service_mode.DirectByteAccess(operation, cv, value) if direct:
                return _byte(storage, operation, cv, value)
            case service_mode.DirectBitManipulation(operation, cv, bit, value) if direct:
                return _byte(storage, operation, cv, storage.with_bit(cv, bit, value))
            case service_mode.RegisterAccess():
                return self._register(one, storage)
            case Kept():
                return Ignored.UNKNOWN
        return Ignored.UNSUPPORTED

    def _register(self, one: service_mode.RegisterAccess, storage: Storage) -> Outcome | Ignored:
        """Address-only, register and paged mode: the same bytes (P5, P8, P9, P10, P11).

        A decoder without paged mode answers nothing but the page register while that is above 1.
        """
        supports, register = storage.options.supports, one.register
        paged, writes = ServiceMode.PAGED in supports, one.operation is CvOperation.WRITE
        registers = paged or ServiceMode.REGISTER in supports
        address_only = ServiceMode.ADDRESS_ONLY in supports
        if register == PAGE_REGISTER and (registers or address_only):
            if writes:
                self.page = one.value
                return Outcome.STORED
            return _matches(self.page == one.value)
        if self.page != PRESET_PAGE and not paged:
            return Ignored.UNSUPPORTED
        if not (registers or (address_only and register == 1 and one.value <= 127)):
            return Ignored.UNSUPPORTED
        if writes and register == 8 and one.value == FACTORY_RESET:
            return storage.start_factory_reset() or Outcome.STORED
        follows_page = register <= 4  # S-9.2.3 §E
        cv = cv_of(self.page, register - 1) if follows_page else REGISTER_CVS[register]
        return _byte(storage, one.operation, cv, one.value)


def _matches(right: bool) -> Outcome:
    return Outcome.MATCHES if right else Outcome.NOTHING


def _byte(storage: Storage, operation: CvOperation, cv: int, value: int) -> Outcome | Ignored:
    if operation is CvOperation.WRITE:
        return storage.write(cv, value) or Outcome.STORED
    return _matches(storage.read(cv) == value) if storage.has(cv) else Ignored.ABSENT
