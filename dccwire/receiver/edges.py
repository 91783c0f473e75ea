"""The streaming receiver: edge times in, events out, in plain Python.

Push edges in any portions, one or many at a time: cutting the input anywhere changes nothing. An
edge is taken for real when the next one is far enough away, so events lag one edge behind. Room:
imports the state machine and the limits; numpy is not needed.
"""

from __future__ import annotations

from collections.abc import Iterable

from dccwire.errors import FieldError
from dccwire.receiver.events import Event, Gap
from dccwire.receiver.machine import GAP, ONE, OTHER, ZERO, Machine
from dccwire.signal import LIMITS

__all__ = ["SHORTEST_NS", "Receiver", "Windows"]

SHORTEST_NS = 4_000
"""Pulses shorter than this are merged: "a few µs" in rule M8, after the ±2 V of S-9.1 §B."""


class Windows:
    """Which durations are halves of ones and of zeros: what a decoder must accept (tr1, tr0).

    A reading stands for a true duration less than the resolution away (M1), so the windows reach
    that much further; S-9.1 §A, Table 1.
    """

    def __init__(self, resolution_ns: int) -> None:
        if type(resolution_ns) is not int or not 0 <= resolution_ns < 13_000:
            bound = "0 to 12999 ns, half the distance of the windows,"
            raise FieldError("resolution_ns", bound, resolution_ns)
        reach = max(resolution_ns - 1, 0)
        one, zero = LIMITS["tr1"], LIMITS["tr0"]
        self.one = (one.least - reach, one.most + reach)
        self.zero = (zero.least - reach, zero.most + reach)
        self.settled = one.least


class Receiver:
    """Edge times in, events out (sans-I/O); either polarity, either starting half.

    Args:
        first_level: the level after the first edge, 0 or 1, if known; `level` follows it.
        resolution_ns: how far a reading may be off (M1); widens the windows for ones and zeros.
        shortest_ns: pulses shorter than this are merged and counted in `merged`.

    >>> from dccwire.framing import to_bits
    >>> from dccwire.signal import durations, edges
    >>> receiver = Receiver()
    >>> found = receiver.feed(edges(durations(to_bits(bytes.fromhex("374574"))))) + receiver.close()
    >>> found[0].data.hex(), found[0].preamble, found[0].error_byte_right
    ('374574', 14, False)
    """

    def __init__(
        self,
        *,
        first_level: int | None = None,
        resolution_ns: int = 0,
        shortest_ns: int = SHORTEST_NS,
    ) -> None:
        self.merged = 0
        self._windows = Windows(resolution_ns)
        self._shortest = shortest_ns
        self._machine = Machine(self._windows.settled)
        self._pending: int | None = None
        self._latest: int | None = None
        self._first_level = first_level
        self._edges = 0

    @property
    def level(self) -> int | None:
        """The level after the last edge fed, if that after the first was given."""
        if self._first_level is None or not self._edges:
            return None
        return self._first_level ^ (self._edges - 1 & 1)

    def feed(self, edge_times_ns: Iterable[int]) -> list[Event]:
        """Take edges, in order, and give the events that they complete.

        Raises:
            FieldError: an edge before the one before it.
        """
        pending, latest, shortest = self._pending, self._latest, self._shortest
        real: list[int] = []
        for edge in edge_times_ns:
            if latest is not None and edge < latest:
                raise FieldError("edge time", f"{latest} ns or later", edge)
            latest = edge
            self._edges += 1
            if pending is None:
                pending = edge
            elif edge - pending < shortest:
                pending = None
                self.merged += 1
            else:
                real.append(pending)
                pending = edge
        self._pending, self._latest = pending, latest
        return self._advance(real)

    def gap(self, start_ns: int, end_ns: int) -> list[Event]:
        """A stretch without a defined level; edges go on after it.

        Raises:
            FieldError: the stretch begins before the last edge, or ends before it begins.
        """
        if start_ns > end_ns or (self._latest is not None and start_ns < self._latest):
            raise FieldError("gap", "a stretch after the last edge", (start_ns, end_ns))
        events = self._stop(start_ns)
        self._latest = end_ns
        return [*events, Gap(start_ns, end_ns)]

    def close(self, end_ns: int | None = None) -> list[Event]:
        """End the stream, and give what is in hand; `end_ns` is how long the last level held."""
        latest = self._latest
        if latest is None:
            return []
        return self._stop(latest if end_ns is None else max(end_ns, latest))

    def _stop(self, until: int) -> list[Event]:
        pending, self._pending = self._pending, None
        events = [] if pending is None else self._advance([pending])
        return events + self._machine.stop(until)

    def _advance(self, real: list[int]) -> list[Event]:
        """Hand real edges to the machine as half-bits."""
        machine = self._machine
        if not real:
            return []
        if machine.at is None:
            machine.start(real.pop(0))
        (one_low, one_high), (zero_low, zero_high) = self._windows.one, self._windows.zero
        kinds = []
        at = machine.at
        assert at is not None
        for mark in real:
            length = mark - at
            kinds.append(
                ONE
                if one_low <= length <= one_high
                else ZERO
                if zero_low <= length <= zero_high
                else GAP
                if length > zero_high
                else OTHER
            )
            at = mark
        return machine.feed(kinds, real)
