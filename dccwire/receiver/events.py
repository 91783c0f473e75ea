"""What receivers report.

Every half-bit between the first edge and the last belongs to exactly one event, in order: where
one ends the next begins. Positions (`begin`, `start`, `end`) count what the receiver was fed:
nanoseconds for edges, bits for bits. Room: imports `errors` and `packet`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from operator import xor
from typing import TypeAlias

from dccwire.address import Mode
from dccwire.errors import Reason
from dccwire.packet import Packet, decode_or_none


@dataclass(frozen=True, slots=True)
class PacketReceived:
    """A preamble of 10 ones or more, bytes with their start bits, and a packet end bit.

    `begin` is where the counted preamble begins, `start` the packet start bit, `end` where the
    packet end bit ends. `preamble` counts complete ones without the end bit of the packet before;
    `adjoining` says that this end bit stands directly before them (C2). The bytes may be wrong.
    `mode` is how `packet` reads them; receivers say operations, a `ModeTracker` knows better.
    """

    begin: int
    start: int
    end: int
    preamble: int
    data: bytes
    adjoining: bool
    mode: Mode = Mode.OPERATIONS

    @property
    def error_byte_right(self) -> bool:
        """Whether the exclusive OR over all bytes is 0 (S-9.2 §B; S-9.2.1 §C)."""
        return reduce(xor, self.data) == 0

    @property
    def packet(self) -> Packet | None:
        """The packet, or None where `decode` refuses the bytes."""
        return decode_or_none(self.data, self.mode)


@dataclass(frozen=True, slots=True)
class Fault:
    """What began as a packet, or stands where one should, and is none: `reason` says why.

    `preamble` and `data` are what was read of it up to `end`. After a short preamble the bytes are
    a whole packet, with its error byte; the ones at its end count in the run that follows, as they
    do for a decoder, so `end` is where they begin.
    """

    begin: int
    end: int
    reason: Reason
    preamble: int
    data: bytes


@dataclass(frozen=True, slots=True)
class Stray:
    """Half-bits that belong to no packet; no fault in itself.

    They stand before the first preamble, after a fault, or between packets, where a cutout or
    another protocol may be. On one wire a cutout looks like a stretched half of a zero.
    """

    begin: int
    end: int


@dataclass(frozen=True, slots=True)
class CutOff:
    """A packet, or ones that may be a preamble, cut off by the end of the input or by a gap.

    `data` holds the whole bytes seen, `bits` those of the byte that was cut, as 0 and 1.
    """

    begin: int
    end: int
    preamble: int
    data: bytes
    bits: str


@dataclass(frozen=True, slots=True)
class Gap:
    """No edge for more than 10 ms, or a stretch without a defined level."""

    begin: int
    end: int


Event: TypeAlias = PacketReceived | Fault | Stray | CutOff | Gap
