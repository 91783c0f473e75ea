"""Rules 22 to 24 of S-9.2: how long after one packet the next may and must come.

Room: columns of times and addresses in, measures out; what the packets say is not known here.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from dccwire.address import Mode, Partition
from dccwire.codebook import IDLE_PACKET, RESET_PACKET
from dccwire.conformance.measures import LimitMeasure, Readings, Tally
from dccwire.conformance.rules import UNKNOWN_MODE, Force, Outcome, Sent, Verdict, rule
from dccwire.formats import Provenance
from dccwire.signal import Limit

APART_112_127 = rule(
    23,
    "end bit to start bit, packets to one address in 112 to 127",
    Limit("S-9.2 §C footnote 11 (C13)", least=5_000_000, unit="us"),
)
APART = rule(
    24,
    "end bit to start bit, packets to one other address",
    Limit("S-9.2 §C (C13)", least=5_000_000, unit="us", provenance=Provenance.DERIVED),
    Force.DERIVED,
)

_LIKE_REGISTERS = Partition.PROGRAMMING.value


class PaceRules:
    """Measures of the times between packets to one address.

    Exempt are packets of service mode, idle packets, and resets: S-9.2.3 §E and S-9.2.4 §A ask for
    many of those in a row.
    """

    def __init__(self, error_ns: int) -> None:
        self._apart = LimitMeasure(APART, error_ns)
        self._like_registers = LimitMeasure(APART_112_127, error_ns)
        # Addresses are numbered from 1 on. By their numbers: whether they are 112 to 127, in a mode
        # that is not known perhaps, and when the last packet to them ended.
        self._numbers: dict[tuple[bytes, bool], int] = {}
        self._kinds = [0]
        self._ended = np.zeros(1, np.int64)

    def address(self, sent: Sent) -> int:
        """The number of the address of a packet, 0 where none of the rules is about it."""
        whole = _whole(sent.data) if sent.right else b""
        like_registers = bool(whole) and whole[0] in _LIKE_REGISTERS
        if not whole or (like_registers and sent.mode is Mode.SERVICE):
            return 0
        key = whole, like_registers and sent.mode is None
        if key not in self._numbers:
            self._numbers[key] = len(self._kinds)
            self._kinds.append(like_registers + key[1])
            self._ended = np.append(self._ended, -1)
        return self._numbers[key]

    def add(self, starts: Readings, ends: Readings, addresses: Readings) -> None:
        """Measure packets, by the numbers of their addresses."""
        order = np.argsort(addresses, kind="stable")
        order = order[np.searchsorted(addresses[order], 1) :]
        if not len(order):
            return
        starts, ends, addresses = starts[order], ends[order], addresses[order]
        new = np.flatnonzero(np.diff(addresses, prepend=0))
        before = np.concatenate(([0], ends[:-1]))
        before[new] = self._ended[addresses[new]]
        self._ended[addresses[new]] = ends[np.append(new[1:], len(ends)) - 1]
        kinds = np.array(self._kinds)[addresses]
        for kind in range(3):
            places = np.flatnonzero((kinds == kind) & (before >= 0))
            places = places[np.argsort(starts[places])]
            self._take(kind, starts[places], before[places])

    def _take(self, kind: int, starts: Readings, before: Readings) -> None:
        measure = self._like_registers if kind else self._apart
        readings = starts - before
        if kind == _UNKNOWN:
            passes = measure.judge(readings)[1]
            if not passes.all():
                measure.add(Outcome(Verdict.UNDECIDED, note=UNKNOWN_MODE), starts[~passes].tolist())
            starts, readings = starts[passes], readings[passes]
        measure.take(readings, lambda some: starts[some])

    def tallies(self) -> Iterable[Tally]:
        """What was measured."""
        return self._like_registers, self._apart


_UNKNOWN = 2
"""The kind of addresses that may be registers."""


def _whole(data: bytes) -> bytes:
    """The bytes of the whole address of a packet; none where it is addressed to no decoder.

    Accessories have three bits more in the second byte, those of extended packets two more
    (S-9.2.1 §D); the five bytes of S-9.2.1 Appendix A are to a basic decoder.
    """
    first, second = data[:2]
    if first in Partition.ACCESSORY.value:
        basic = second >= 0b10000000 or (len(data) == 5 and second & 0b1100 == 0b1100)
        return bytes((first, second & (0b01110000 if basic else 0b01110110), basic))
    if first in Partition.LONG.value:
        return data[:2]
    if data in (RESET_PACKET, IDLE_PACKET) or first in Partition.RESERVED.value:
        return b""
    return data[:1]
