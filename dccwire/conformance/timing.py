"""Rules 1 to 5: how long half-bits last.

A half-bit in a decoder's window for ones is judged as a one, in that for zeros as a zero; one in
neither counts in rule 5 alone (M10), and so does a bit that is half a one and half a zero. The
windows reach as far further as a reading may be off, so what is in neither is so for certain.
Half-bits between two packets, where a cutout or another protocol may stand, are counted and not
judged. Room: edges and events in, measures out.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from dccwire.conformance.histogram import Histogram
from dccwire.conformance.measures import FIRST_TIMES, NO_LIMIT, Counter, LimitMeasure, Readings
from dccwire.errors import Reason
from dccwire.receiver import Fault, PacketReceived, Stray
from dccwire.receiver.columns import Columns, PacketColumns
from dccwire.receiver.edges import Windows
from dccwire.receiver.machine import LEAST_HALVES
from dccwire.signal import LIMITS

__all__ = ["TimingRules"]


class TimingRules:
    """Measures of rules 1 to 5, fed with columns; `error_ns` is the resolution and all other."""

    def __init__(self, resolution_ns: int, uncertainty_ns: int) -> None:
        error = resolution_ns + uncertainty_ns
        one, zero, total = LIMITS["t1"], LIMITS["t0"], LIMITS["t0total"]
        self.ones = LimitMeasure(one.least, one.most, error)
        # Both halves share their middle edge, so a difference is off by twice as much (M4).
        self.differences = LimitMeasure(NO_LIMIT, LIMITS["t1d"].most, 2 * error)
        self.zeros = LimitMeasure(zero.least, zero.most, error)
        self.totals = LimitMeasure(NO_LIMIT, total.most, error)
        self.neither = Counter()
        self.shortest_neither: int | None = None
        self.histogram = Histogram()
        self.torn = 0
        self.between = 0
        self._windows = Windows(error)
        self._after_packet = False
        # Whether the next columns begin with the last half of a bit whose first is of a 1 or a 0.
        self._torn_open = False

    def add(self, columns: Columns) -> None:
        """Measure the half-bits that the events of these columns cover."""
        edges = columns.edges
        lengths = np.diff(edges)
        (one_low, one_high), (zero_low, zero_high) = self._windows.one, self._windows.zero
        one = (lengths >= one_low) & (lengths <= one_high)
        zero = (lengths >= zero_low) & (lengths <= zero_high)
        between = list(self._spans_between(columns, lengths, one))
        if not len(lengths):
            return
        for begin, end in between:
            one[begin:end] = zero[begin:end] = False
            lengths[begin:end] = 0
            self.between += end - begin
        self._add(self.ones, lengths, edges, one)
        self._add(self.zeros, lengths, edges, zero)
        self._add_neither(columns, lengths, one | zero)
        for begin, end in _packet_spans(columns):
            first, last = lengths[begin:end:2], lengths[begin + 1 : end : 2]
            starts, ones = edges[begin:end:2], one[begin:end:2] & one[begin + 1 : end : 2]
            self._add(self.differences, np.abs(first - last), starts, ones)
            zeros = ~(one[begin:end:2] | one[begin + 1 : end : 2])
            self._add(self.totals, first + last, starts, zeros)
        self.histogram.add(lengths[self._judged(lengths)])

    def _add(
        self, measure: LimitMeasure, readings: Readings, times: Readings, mask: NDArray[np.bool_]
    ) -> None:
        measure.add(readings[mask], lambda some: times[np.flatnonzero(mask)[some]])

    def _judged(self, lengths: Readings) -> NDArray[np.bool_]:
        """Which half-bits are judged: not those between packets, nor silence (a gap)."""
        return (lengths > 0) & (lengths <= self._windows.zero[1])

    def _add_neither(self, columns: Columns, lengths: Readings, either: NDArray[np.bool_]) -> None:
        judged = self._judged(lengths)
        found = judged & ~either
        self.neither.measured += int(judged.sum())
        if found.any():
            shortest = int(lengths[found].min())
            known = self.shortest_neither
            self.shortest_neither = shortest if known is None else min(known, shortest)
        torn = self._find_torn(columns, either)
        self.torn += len(torn)
        found[torn] = True
        places = np.flatnonzero(found)
        self.neither.fail(columns.edges[places[:FIRST_TIMES]].tolist(), len(places))

    def _find_torn(self, columns: Columns, either: NDArray[np.bool_]) -> list[int]:
        """Last halves of bits that broke a packet off, though each half is of a 1 or of a 0."""
        found = [0] if self._torn_open and either[0] else []
        self._torn_open = False
        for part in columns.parts:
            if isinstance(part, Fault) and part.reason is Reason.HALF_BITS:
                place = int(np.searchsorted(columns.edges, part.end))
                if place == len(either):
                    self._torn_open = bool(either[-1])
                elif either[place - 1] and either[place]:
                    found.append(place)
        return found

    def _spans_between(
        self, columns: Columns, lengths: Readings, one: NDArray[np.bool_]
    ) -> Iterator[tuple[int, int]]:
        """Half-bits of stray stretches that follow on a packet, as positions in the edges.

        What begins with a half of a 1, or follows on a preamble's worth of them, is none: there a
        preamble or a packet was spoiled. Nor is an end bit's last half too short for a cutout's.
        """
        edges, zero_low = columns.edges, self._windows.zero[0]
        for part in columns.parts:
            if not isinstance(part, Stray):
                self._after_packet = isinstance(part, (PacketColumns, PacketReceived))
                continue
            begin = max(int(np.searchsorted(edges, part.begin, side="right")) - 1, 0)
            end = min(int(np.searchsorted(edges, part.end)), len(lengths))
            if begin < end and edges[begin] != part.begin and lengths[begin] < zero_low:
                begin += 1
            if begin >= end or one[begin] or not self._after_packet:
                continue
            breaks = np.flatnonzero(~one[begin:end])
            runs = np.diff(breaks, append=end - begin) - 1
            preambles = np.flatnonzero(runs >= LEAST_HALVES)
            yield begin, begin + int(breaks[preambles[0]]) + 1 if len(preambles) else end


def _packet_spans(columns: Columns) -> Iterator[tuple[int, int]]:
    """The half-bits of packets, as positions in the edges: whole bits only."""
    for part in columns.parts:
        if isinstance(part, PacketColumns):
            times = (int(part.begin[0]), int(part.end[-1]))
        elif isinstance(part, PacketReceived):
            times = (part.begin, part.end)
        else:
            continue
        begin, end = np.searchsorted(columns.edges, times).tolist()
        if end == len(columns.edges) or columns.edges[end] != times[1]:
            end -= 2  # the end bit was not closed by an edge
        yield begin, end
