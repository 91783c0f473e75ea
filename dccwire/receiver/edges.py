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

SHORTEST_NS = 4_000
"""Pulses shorter than this are merged: "a few µs" in rule M8, after the ±2 V of S-9.1 §B."""


class Windows:
    """Which durations are halves of ones and of zeros: what a decoder must accept (tr1, tr0).

    A reading stands for a true duration less than the resolution away (M1), so the windows reach
    that much further; S-9.1 §A, Table 1. What is below `shortest` is a pulse to merge.

    Raises:
        FieldError: a resolution that lets the windows meet, or a merging of halves of ones.
    """

    def __init__(self, resolution_ns: int, shortest_ns: int = SHORTEST_NS) -> None:
        if type(resolution_ns) is not int or not 0 <= resolution_ns < 13_000:
            hint = "half the distance of the windows for ones and zeros"
            raise FieldError("resolution_ns", "0 to 12999 ns", resolution_ns, hint)
        reach = max(resolution_ns - 1, 0)
        one, zero = LIMITS["tr1"], LIMITS["tr0"]
        self.one = (one.least - reach, one.most + reach)
        self.zero = (zero.least - reach, zero.most + reach)
        self.settled = one.least
        if type(shortest_ns) is not int or not 0 <= shortest_ns <= self.one[0]:
            raise FieldError("shortest_ns", f"0 to {self.one[0]} ns", shortest_ns)
        self.shortest = shortest_ns

    def machine(self) -> Machine:
        """A state machine for half-bits of these durations."""
        return Machine(self.settled, longest=self.zero[1])


def check_order(latest: int | None, edge: int) -> None:
    """Refuse an edge before the one before it (FieldError)."""
    if latest is not None and edge < latest:
        raise FieldError("edge time", f"{latest} ns or later", edge)


def check_gap(latest: int | None, start_ns: int, end_ns: int) -> None:
    """Refuse a gap that begins before the last edge, or ends before it begins (FieldError)."""
    if start_ns > end_ns or (latest is not None and start_ns < latest):
        raise FieldError("gap", "a stretch after the last edge", (start_ns, end_ns))


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
        windows = Windows(resolution_ns, shortest_ns)
        self._bounds = (*windows.one, *windows.zero, windows.shortest)
        self._machine = windows.machine()
        # The last edge, which a short pulse may yet take away, and the last edge in any case; how
        # many edges are taken for real.
        self._pending: int | None = None
        self._latest: int | None = None
        self._real = 0
        self._first_level = first_level

    @property
    def level(self) -> int | None:
        """The level after the last edge fed; None if it was not given, and from a gap on."""
        if self._first_level is None or self._latest is None:
            return None
        return self._first_level ^ (self._real + (self._pending is None) & 1)

    def feed(self, edge_times_ns: Iterable[int]) -> list[Event]:
        """Take edges, in order, and give the events that they complete.

        Raises:
            FieldError: an edge before the one before it; the receiver is as before the call.
        """
        if type(edge_times_ns) is not tuple and hasattr(edge_times_ns, "tolist"):
            edge_times_ns = edge_times_ns.tolist()  # numpy's integers would leak into events
        machine, latest, pending = self._machine, self._latest, self._pending
        at, begin, merged = machine.at, None, 0
        one_low, one_high, zero_low, zero_high, shortest = self._bounds
        halves: list[int] = []  # kind, mark, kind, mark, ...
        for edge in edge_times_ns:
            if pending is None:
                check_order(latest, edge)
                pending = edge
            elif edge - pending < shortest:
                check_order(pending, edge)
                latest, pending = edge, None
                merged += 1
            else:
                if at is None:
                    begin = pending
                else:
                    length = pending - at
                    halves.append(
                        ONE
                        if one_low <= length <= one_high
                        else ZERO
                        if zero_low <= length <= zero_high
                        else GAP
                        if length > zero_high
                        else OTHER
                    )
                    halves.append(pending)
                at, pending = pending, edge
        self._pending, self._latest = pending, latest if pending is None else pending
        self.merged += merged
        if begin is not None:
            machine.start(begin)
            self._real += 1
        if not halves:
            return []
        self._real += len(halves) // 2
        if len(halves) == 2:  # a zip would cost more than the half-bit
            return machine.feed((halves,))
        each = iter(halves)
        return machine.feed(zip(each, each, strict=True))

    def gap(self, start_ns: int, end_ns: int) -> list[Event]:
        """A stretch without a defined level; edges go on after it.

        Raises:
            FieldError: the stretch begins before the last edge, or ends before it begins.
        """
        start_ns, end_ns = int(start_ns), int(end_ns)
        check_gap(self._latest, start_ns, end_ns)
        events = self._stop(start_ns)
        self._latest, self._first_level = end_ns, None
        return [*events, Gap(start_ns, end_ns)]

    def close(self, end_ns: int | None = None) -> list[Event]:
        """End the stream, and give what is in hand; `end_ns` is how long the last level held."""
        latest = self._latest
        if latest is None:
            return []
        return self._stop(latest if end_ns is None else max(end_ns, latest))

    def _stop(self, until: int) -> list[Event]:
        events: list[Event] = []
        pending = self._pending
        if pending is not None:
            events = self.feed((pending + self._bounds[-1],))  # far enough away to confirm it
            self._pending, self._latest = None, pending
        return events + self._machine.stop(until)
