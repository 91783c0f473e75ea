"""What half-bits of no packet may be: a packet that could not be read, or another protocol.

Room: half-bits in, yes or no out, by how long they last alone; what follows from it is judged in
`framing`.
"""

from __future__ import annotations

import numpy as np

from dccwire.assembly import SHORTEST
from dccwire.conformance.measures import Readings
from dccwire.conformance.places import HalfBits
from dccwire.errors import Reason
from dccwire.receiver import CutOff, Event, Fault, Stray
from dccwire.receiver.edges import Windows
from dccwire.receiver.machine import LEAST_HALVES

OTHERS = 4
"""Half-bits that are no part of a 1 and show another protocol; fewer may be noise (our choice)."""

_ONES_LEFT = 4
"""Half-bits of ones among those of a packet that noise spoiled, at least; another protocol has
none, or few (our choice)."""

WHOLE_PACKET = 2 * (9 * (SHORTEST - 1) + 1)
"""Half-bits of the shortest packet up to its last byte, of which the rest may be ones."""


def lengths_of(event: Stray | CutOff, some: HalfBits) -> Readings:
    """How long its half-bits last."""
    begin, end = np.searchsorted(some.edges, (event.begin, event.end)).tolist()
    return some.lengths[begin:end]


def has_zeros(lengths: Readings, windows: Windows) -> bool:
    """Whether a half-bit is as long as that of a 0, or longer."""
    return bool((lengths >= windows.zero[0]).any())


def may_be_spoiled(lengths: Readings, windows: Windows) -> bool:
    """Whether they may be a packet that noise spoiled: so many of ones, so many of ones and zeros.

    Or else they are another protocol's.
    """
    (low, high), (zero_low, zero_high) = windows.one, windows.zero
    ones = np.count_nonzero((lengths >= low) & (lengths <= high))
    zeros = np.count_nonzero((lengths >= zero_low) & (lengths <= zero_high))
    return bool(ones >= _ONES_LEFT and ones + zeros >= WHOLE_PACKET)


def last_of_others(lengths: Readings, windows: Windows) -> int | None:
    """The place of the last half-bit that no noise makes of ones, if they show another protocol.

    Noise splits a half-bit into shorter ones, or joins some to one as long as a whole 1; and
    half-bits of zeros may be those of a packet that was not read.
    """
    others = np.flatnonzero((lengths > windows.one[1]) & (lengths < windows.zero[0]))
    return int(others[-1]) if len(others) >= OTHERS else None


def goes_on(end: int, follows: Event | None, some: HalfBits, windows: Windows) -> bool:
    """Whether bits of a byte follow directly on what was read as an end bit.

    They are fewer than ten ones and a whole 0, which a cutout has not.
    """
    if follows is None or follows.begin != end or not isinstance(follows, (Stray, Fault)):
        return False
    if isinstance(follows, Fault):
        return follows.reason is not Reason.SHORT_PREAMBLE
    place = int(np.searchsorted(some.edges, end))
    lengths = some.lengths[place : place + LEAST_HALVES]
    (low, high), (zero_low, zero_high) = windows.one, windows.zero
    ones = (lengths >= low) & (lengths <= high)
    run = int(np.argmin(np.append(ones, False)))
    after = lengths[run : run + 2]
    whole = len(after) == 2 and after.min() >= zero_low and after.max() <= zero_high
    return bool(whole) and run % 2 == 0
