"""Rules 22 to 24 of S-9.2: how long after one packet the next may and must come.

Room: columns of times and addresses in, measures out; what the packets say is not known here.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from dccwire.address import Mode, Partition
from dccwire.codebook import RESET_PACKET, is_query_or_lock
from dccwire.conformance.addresses import AddressTable
from dccwire.conformance.measures import LimitMeasure, Readings, Tally
from dccwire.conformance.rules import (
    PERHAPS_OPERATIONS,
    UNKNOWN_MODE,
    Force,
    Outcome,
    Sent,
    Verdict,
    rule,
)
from dccwire.conformance.session import ROUNDED_NS, Session
from dccwire.formats import Provenance
from dccwire.notation import address_text
from dccwire.signal import Limit

EVERY = rule(
    22,
    "from one packet's start to the next one's",
    Limit("S-9.2 §C (C12)", most=30_000_000, unit="us"),
    needs="the session: every_30_ms = true, where the station is set so",
)
EVERY_CV = rule(
    43,
    "from start to start around CV access in the long form",
    Limit("S-9.2.1 §C footnote 7; S-9.2 §C", most=30_000_000, unit="us"),
    needs=EVERY.needs,
)
APART_112_127 = rule(
    23,
    "from end to start of packets to one address in 112 to 127",
    Limit("S-9.2 §C footnote 11 (C13)", least=5_000_000, unit="us"),
)
APART = rule(
    24,
    "from end to start of packets to one other address",
    Limit("S-9.2 §C (C13)", least=5_000_000, unit="us", provenance=Provenance.DERIVED),
    Force.DERIVED,
)

TO_ALL = 1
"""The number of the broadcast address."""

_LIKE_REGISTERS = Partition.PROGRAMMING.value


class PaceRules:
    """Measures of the times from packet to packet, and between packets to one address.

    Of the latter packets of service mode, idle packets, and resets are exempt: S-9.2.3 §E and
    S-9.2.4 §A ask for many of those in a row.
    """

    def __init__(self, error_ns: int, session: Session) -> None:
        self._session = session
        self._every = [LimitMeasure(EVERY, error_ns), LimitMeasure(EVERY_CV, error_ns)]
        if session.every_30_ms is None:
            for measure in self._every:
                measure.lacks = f"needs {measure.rule.needs}"
        # Where the last packet started, whether it was CV access, and what may hide more of them.
        self._start: int | None = None
        self._was_cv, self._within = False, 0
        self._hidden = ""
        self._apart = LimitMeasure(APART, error_ns)
        self._like_registers = LimitMeasure(APART_112_127, error_ns)
        # Addresses are numbered from 1 on. By their numbers: whether they are 112 to 127, in a mode
        # that is not known perhaps.
        self._numbers: dict[tuple[bytes, bool], int] = {(b"\0", False): TO_ALL}
        self._kinds = [0, 0]
        # Whether there were packets of service mode that may be of operation for all that is said.
        self._perhaps = False
        self.names: dict[int, str] = {}
        self.table = AddressTable()

    def address(self, sent: Sent) -> int:
        """The number of the address of a packet, 0 where none of the rules is about it."""
        whole = whole_address(sent.data) if sent.right else b""
        like_registers = bool(whole) and whole[0] in _LIKE_REGISTERS
        service = sent.mode is Mode.SERVICE
        self._perhaps |= service and like_registers and self._session.programming_track is None
        # Queries and locks in a mode that is not known may be of service mode, as registers may.
        # A lock is of service mode whatever stands around it (X24).
        lock = whole == b"\0" and is_query_or_lock(sent.data)
        if not whole or service or lock or (sent.mode is None and not like_registers):
            return 0
        key = whole, like_registers and sent.mode is None
        if key not in self._numbers:
            self._numbers[key] = len(self._kinds)
            self._kinds.append(like_registers + key[1])
        number = self._numbers[key]
        if number not in self.names and sent.packet is not None:
            self.names[number] = address_text(sent.packet.address) + "?" * key[1]
        return number

    def add(
        self,
        starts: Readings,
        ends: Readings,
        addresses: Readings,
        data: NDArray[np.uint8],
        sizes: NDArray[np.integer],
        *,
        within: int = 0,
    ) -> None:
        """Measure packets that are right, by the numbers of their addresses.

        `data` are their first three bytes, or more, a row each; `sizes` how many they have;
        `within` is how far their starts and ends may be off besides.
        """
        if self._session.every_30_ms is not False:
            self._take_every(starts, _cv_access(data) & (sizes >= 5), within)
        order = np.argsort(addresses, kind="stable")
        order = order[np.searchsorted(addresses[order], 1) :]
        if not len(order):
            return
        starts, ends, addresses = starts[order], ends[order], addresses[order]
        before, slack = self.table.add(starts, ends, addresses, within)
        kinds = np.array(self._kinds)[addresses]
        for kind in range(3):
            places = np.flatnonzero((kinds == kind) & (before >= 0))
            places = places[np.argsort(starts[places])]
            self._take(kind, starts[places], before[places], slack[places])

    def _take_every(self, starts: Readings, is_cv: NDArray[np.bool_], within: int) -> None:
        """Rules 22 and 43; without a session what was measured is told alone."""
        before = np.concatenate(([self._start or 0], starts[:-1]))
        readings, around = starts - before, is_cv.copy()
        around[1:] |= is_cv[:-1]
        around[0] |= self._was_cv
        slack = np.full(len(starts), 2 * within)
        slack[0] += self._within - within
        first = 0 if self._start is not None and not self._hidden else 1
        for measure, mask in zip(self._every, (np.ones_like(around), around), strict=True):
            some = np.flatnonzero(mask[first:]) + first
            if self._session.every_30_ms:
                extra = slack[some] if slack.any() else None
                measure.take(readings[some], starts[some].__getitem__, extra)
            elif len(some):
                measure.see(int(readings[some].min()), int(readings[some].max()))
            if first and self._start is not None and mask[0] and self._session.every_30_ms:
                passes = bool(measure.judge(readings[:1], slack[:1])[1][0])
                note = "" if passes else self._hidden
                verdict = Verdict.PASS if passes else Verdict.UNDECIDED
                measure.add(Outcome(verdict, int(readings[0]), note), [int(starts[0])])
        self._start, self._was_cv, self._hidden = int(starts[-1]), bool(is_cv[-1]), ""
        self._within = within

    def hide(self, begin: int, end: int, why: str) -> None:
        """Packets may have been sent that were not heard; `why` says what keeps that open."""
        told = self._session.power_on_ns
        known = why == SILENT and told is not None
        if known and not any(begin <= at <= end + ROUNDED_NS for at in told or ()):
            return
        self._hidden = self._hidden or why

    def _take(self, kind: int, starts: Readings, before: Readings, slack: Readings) -> None:
        measure = self._like_registers if kind else self._apart
        readings = starts - before
        if kind == _UNKNOWN:
            passes = measure.judge(readings, slack)[1]
            if not passes.all():
                measure.add(Outcome(Verdict.UNDECIDED, note=UNKNOWN_MODE), starts[~passes].tolist())
            starts, readings, slack = starts[passes], readings[passes], slack[passes]
        measure.take(readings, lambda some: starts[some], slack if slack.any() else None)

    def tallies(self) -> Iterable[Tally]:
        """What was measured."""
        some = self._like_registers
        if self._perhaps and some.measured and not some.failed and not some.doubted:
            some.doubted = True
            some.remarks.append(f"beside {PERHAPS_OPERATIONS.removeprefix('or ')}")
        return *self._every, self._like_registers, self._apart


SILENT = "across silence: the station, or its power switched off; power_on_s would tell"
MISSED = "with what could not be read between, which may be a packet"
UNHEARD = "across a stretch without a level, which may hide packets"


def _cv_access(data: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Which packets are CV access in the long form, to short and to long addresses."""
    first = data[:, 0]
    short, long = (first > 0) & (first < 128), (first >= 192) & (first < 232)
    codes = np.where(long, data[:, 2], data[:, 1])
    found: NDArray[np.bool_] = (short | long) & (codes >> 4 == 0b1110)
    return found


_UNKNOWN = 2
"""The kind of addresses that may be registers."""


def whole_address(data: bytes) -> bytes:
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
    if data == RESET_PACKET or first > 231:
        return b""
    return data[:1]
