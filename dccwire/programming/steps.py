"""Steps: the same packet several times, and when an answer counts (S-9.2.3 §D).

Room: what a step is; which steps follow one another is elsewhere.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from enum import Enum
from typing import TypeAlias, TypeVar

from dccwire.codebook import IDLE_PACKET, RESET_PACKET
from dccwire.packet import Packet, decode

T = TypeVar("T")

RESET, IDLE = decode(RESET_PACKET), decode(IDLE_PACKET)


class Kind(Enum):
    """What a step is for."""

    FILLING = "filling"
    VERIFY = "verify"
    WRITE = "write"
    RECOVERY = "recovery"


HEARD_FROM = {Kind.VERIFY: 2, Kind.WRITE: 2, Kind.RECOVERY: 1}
"""The packet of a step from whose end bit on an acknowledgement counts (S-9.2.3 §D, P17).

In a filling step none does; in the recovery after a write it is still one of the write.
"""


@dataclass(frozen=True, slots=True)
class Step:
    """The same packet `count` times, fewer if an acknowledgement that counts comes before."""

    packet: Packet
    count: int
    preamble: int
    kind: Kind = Kind.FILLING
    power_on: bool = False
    """Whether the track is switched off, if it was on, and on again before the first packet."""


Course: TypeAlias = Generator[Step, bool, T]
"""Steps out, for each whether it was acknowledged in; at the end a result.

To iterate over a course is to walk it with no acknowledgement at all.
"""
