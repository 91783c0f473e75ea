"""Steps: the same packet several times, and when an answer counts (S-9.2.3 §D).

Room: what a step is; which steps follow one another is elsewhere.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from enum import Enum
from typing import TypeAlias, TypeVar

from dccwire.address import BROADCAST
from dccwire.instructions import DigitalDecoderReset
from dccwire.packet import Packet

__all__ = ["HEARD_FROM", "RESET", "Course", "Kind", "Step"]

T = TypeVar("T")

RESET = Packet(BROADCAST, DigitalDecoderReset())
"""The reset packet, 00 00 00 (S-9.2 §B; C10)."""


class Kind(Enum):
    """What a step is for."""

    FILLING = "filling"
    VERIFY = "verify"
    WRITE = "write"
    RECOVERY = "recovery"


HEARD_FROM = {Kind.VERIFY: 2, Kind.WRITE: 2, Kind.RECOVERY: 1}
"""The packet of a step from whose end bit on an acknowledgement counts.

The programmer looks for one from the end bit of the second instruction packet to the end of the
instruction packets, and for writes to the end of the recovery time (S-9.2.3 §D, P17).
"""


@dataclass(frozen=True, slots=True)
class Step:
    """The same packet `count` times, fewer if an acknowledgement that counts comes before."""

    packet: Packet
    count: int
    kind: Kind
    preamble: int
    power_on: bool = False
    """Whether the track is switched off, if it was on, and on again before the first packet."""


Course: TypeAlias = Generator[Step, bool, T]
"""Steps out, for each whether it was acknowledged in; at the end a result."""
