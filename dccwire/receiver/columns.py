"""The vectorised receiver: edge times as numpy arrays in, the same events out as columns.

Clean packets, each directly after the end bit of one before, are read many at a time; everything
else goes through the state machine of the streaming receiver, so that both tell one truth. Room:
the only receiver that needs numpy.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from typing import TypeAlias

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from dccwire.receiver.edges import SHORTEST_NS, Windows, check_gap, check_order
from dccwire.receiver.events import Event, Gap, PacketReceived
from dccwire.receiver.machine import GAP, LEAST_HALVES, ONE, OTHER, ZERO

Times: TypeAlias = NDArray[np.int64]

_BYTES = 6
_BITS = 9 * _BYTES + 1
_NO_PULSES = np.empty((0, 2), np.int64)

_PATIENCE = 4096
"""Half-bits without a clean packet after which the state machine reads on."""


@dataclass(frozen=True, slots=True, eq=False)
class PacketColumns:
    """Packets, one a row, as `PacketReceived` has them; `data` is padded with zeros to 6 bytes.

    All of them adjoin the packet before. `begin`, `start`, `end`: int64 ns, shape (n,); `preamble`
    and `size` (bytes): int64 (n,); `data`: uint8 (n, 6).
    """

    begin: Times
    start: Times
    end: Times
    preamble: Times
    size: Times
    data: NDArray[np.uint8]

    def __len__(self) -> int:
        return len(self.start)

    @property
    def error_byte_right(self) -> NDArray[np.bool_]:
        """Whether the exclusive OR over all bytes is 0 (S-9.2 §B), a row each."""
        right: NDArray[np.bool_] = np.bitwise_xor.reduce(self.data, axis=1) == 0
        return right

    def take(self, rows: NDArray[np.intp] | slice) -> PacketColumns:
        """Some of the packets."""
        return PacketColumns(*(getattr(self, one.name)[rows] for one in fields(self)))

    @classmethod
    def joined(cls, some: Sequence[PacketColumns]) -> PacketColumns:
        """All of these packets, in order."""
        names = [one.name for one in fields(cls)]
        return cls(*(np.concatenate([getattr(one, name) for one in some]) for name in names))

    def __iter__(self) -> Iterator[PacketReceived]:
        rows = (self.begin, self.start, self.end, self.preamble, self.size)
        for row, data in zip(zip(*(c.tolist() for c in rows), strict=True), self.data, strict=True):
            begin, start, end, preamble, size = row
            yield PacketReceived(begin, start, end, preamble, data.tobytes()[:size], True)


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """Events in order, and the edges that they cover.

    `parts` are packets as columns and single events, in order; `edges` the real edge times (merged
    pulses removed) that bound the half-bits of these events, from the begin of the first on;
    `pulses` the begins and ends of the merged ones up to the last edge, shape (n, 2). Iterating
    gives one event after the other.
    """

    parts: Sequence[PacketColumns | Event]
    edges: Times
    pulses: Times

    def __iter__(self) -> Iterator[Event]:
        for part in self.parts:
            if isinstance(part, PacketColumns):
                yield from part
            else:
                yield part


class ColumnReceiver:
    """Arrays of edge times in, `Columns` out; the same arguments and events as `Receiver`.

    >>> from dccwire.framing import stream
    >>> from dccwire.signal import durations, edges
    >>> times = np.fromiter(edges(durations(stream([bytes(3)] * 3))), np.int64)
    >>> receiver = ColumnReceiver()
    >>> [one.preamble for columns in (receiver.feed(times), receiver.close()) for one in columns]
    [14, 14, 14]
    """

    OPEN = "_pending", "_edges", "_read", "_latest", "_pulses"
    """What is in hand, by its names; `after_packet`, the state machine is as new besides."""

    def __init__(self, *, resolution_ns: int = 0, shortest_ns: int = SHORTEST_NS) -> None:
        self.merged = 0
        self._pulses: list[tuple[int, int]] = []
        self._windows = Windows(resolution_ns, shortest_ns)
        self._machine = self._windows.machine()
        # The last edge, which a short pulse may yet take away; then the real edges from the end
        # of the last event on, and how many half-bits of them the machine has read.
        self._pending = self._edges = np.empty(0, np.int64)
        self._read = 0
        self._latest: int | None = None

    @property
    def after_packet(self) -> bool:
        """Whether all that was read so far ends with a packet."""
        return self._machine.after_packet

    def feed(self, edge_times_ns: Times) -> Columns:
        """Take edges, in order.

        Raises:
            FieldError: an edge before the one before it; the receiver is as before the call.
        """
        if len(edge_times_ns) == 0:
            return self._nothing()
        check_order(self._latest, int(edge_times_ns[0]))
        self._merge(np.concatenate((self._pending, edge_times_ns)))
        self._latest = int(edge_times_ns[-1])
        parts = self._advance()
        edges = self._hand_out(parts)
        return Columns(parts, edges, self._hand_out_pulses(edges))

    def gap(self, start_ns: int, end_ns: int) -> Columns:
        """A stretch without a defined level; edges go on after it.

        Raises:
            FieldError: the stretch begins before the last edge, or ends before it begins.
        """
        start_ns, end_ns = int(start_ns), int(end_ns)
        check_gap(self._latest, start_ns, end_ns)
        columns = self._stop(start_ns)
        self._latest = end_ns
        parts = [*columns.parts, Gap(start_ns, end_ns)]
        return Columns(parts, columns.edges, columns.pulses)

    def close(self, end_ns: int | None = None) -> Columns:
        """End the stream; `end_ns` is how long the last level held."""
        latest = self._latest
        if latest is None:
            return self._nothing()
        return self._stop(latest if end_ns is None else max(int(end_ns), latest))

    def _stop(self, until: int) -> Columns:
        """End what is in hand, and give it with all edges."""
        edges = self._edges = np.concatenate((self._edges, self._pending))
        parts = self._advance(last=True)
        parts += self._machine.stop(until)
        self._pending = self._edges = edges[:0]
        self._read = 0
        pulses, self._pulses = self._pulses, []
        return Columns(parts, edges, np.array(pulses, np.int64).reshape(-1, 2))

    def _nothing(self) -> Columns:
        return Columns((), self._edges[:0], _NO_PULSES)

    def _merge(self, raw: Times) -> None:
        """Take pulses that are too short out of the raw edges; the last edge stays pending."""
        lengths = np.diff(raw)
        if len(lengths) and int(lengths.min()) < 0:
            at = int(np.flatnonzero(lengths < 0)[0])
            check_order(int(raw[at]), int(raw[at + 1]))
        keep = np.ones(len(raw), np.bool_)
        taken = -1
        for at in np.flatnonzero(lengths < self._windows.shortest).tolist():
            if at > taken:
                keep[at : at + 2] = False
                taken = at + 1
                self.merged += 1
                self._pulses.append((int(raw[at]), int(raw[at + 1])))
        real = raw if taken < 0 else raw[keep]
        pending = 1 if keep[-1] else 0
        self._pending = real[len(real) - pending :]
        self._edges = np.concatenate((self._edges, real[: len(real) - pending]))

    def _hand_out(self, parts: Sequence[PacketColumns | Event]) -> Times:
        """The edges that the events cover, taken from those in hand but for the last one."""
        if not parts:
            return self._edges[:0]
        part = parts[-1]
        end = int(part.end[-1]) if isinstance(part, PacketColumns) else part.end
        covered = int(np.searchsorted(self._edges, end))
        covered -= int(self._edges[covered]) > end  # within a half-bit
        edges, self._edges = self._edges[: covered + 1], self._edges[covered:]
        self._read -= covered
        return edges

    def _hand_out_pulses(self, edges: Times) -> Times:
        """The merged pulses before the last of these edges, taken from those in hand."""
        if not self._pulses or not len(edges):
            return _NO_PULSES
        count = bisect_left(self._pulses, (int(edges[-1]), 0))
        pulses, self._pulses = self._pulses[:count], self._pulses[count:]
        return np.array(pulses, np.int64).reshape(-1, 2)

    def _advance(self, *, last: bool = False) -> list[PacketColumns | Event]:
        """Read on in the edges in hand: chains of clean packets as columns, the rest one by one."""
        machine, parts = self._machine, list[PacketColumns | Event]()
        if len(self._edges) and machine.at is None:
            machine.start(int(self._edges[0]))
        marks = self._edges[self._read :]
        if len(marks) < 2:
            return parts
        found = _Candidates(marks, self._windows)
        at = number = 0
        while number < len(found.start):
            if machine.after_packet and found.chained[number]:
                beyond = found.end_of_chain(number)
                parts.append(found.columns(number, beyond, at))
                at = int(found.end[beyond - 1])
                machine.start(int(marks[at]), after_packet=True)
                number = beyond
            else:
                if found.clean[number]:
                    beyond = int(found.end[number])
                    parts += machine.feed(found.halves(at, beyond))
                    at = beyond
                number += 1
        if last or not machine.after_packet or len(marks) - at > _PATIENCE:
            beyond = len(marks) - 1
            parts += machine.feed(found.halves(at, beyond))
            at = beyond
        self._read += at
        return parts


class _Candidates:
    """Where packets may start: after a run of ones; positions are half-bits from the first mark.

    `start` and `end` of each, `clean` where every bit up to the end is well-formed, `chained` where
    it also follows on the end of the candidate before (or on the first mark) with ones alone.
    """

    def __init__(self, marks: Times, windows: Windows) -> None:
        self.marks = marks
        self.lengths = np.diff(marks)
        (one_low, one_high), (zero_low, zero_high) = windows.one, windows.zero
        count = len(self.lengths)
        padded = np.zeros(count + 2 * _BITS, np.bool_)
        self.one = padded[:count]
        np.logical_and(self.lengths >= one_low, self.lengths <= one_high, out=self.one)
        self.zero = (self.lengths >= zero_low) & (self.lengths <= zero_high)
        self._longest = zero_high
        breaks = np.flatnonzero(~self.one)
        runs = np.diff(breaks, prepend=-1) - 1
        chosen = (runs >= LEAST_HALVES) & self.zero[breaks]
        self.start = start = breaks[chosen]
        rows = sliding_window_view(padded, 2 * _BITS)[start].reshape(-1, _BITS, 2)
        self._bits = rows[:, :, 0]
        ends = self._bits[:, 9::9]
        self.size = np.argmax(ends, axis=1) + 1
        bits = 9 * self.size + 1
        self.end = start + 2 * bits
        torn = (self._bits != rows[:, :, 1]) & (np.arange(_BITS) < bits[:, None])
        odd = np.flatnonzero(~(self.one | self.zero))
        whole = np.searchsorted(odd, start) == np.searchsorted(odd, self.end)
        self.clean = ends.any(axis=1) & ~torn.any(axis=1) & whole & (self.end <= count)
        before = np.concatenate(([0], self.end[:-1]))
        follows = np.concatenate(([True], self.clean[:-1]))
        lead = start - before
        self.chained = (
            self.clean & follows & (lead >= LEAST_HALVES) & (lead % 2 == 0) & (runs[chosen] >= lead)
        )
        self._unchained = np.flatnonzero(~self.chained)

    def end_of_chain(self, number: int) -> int:
        """The first candidate after this one that is not chained."""
        place = int(np.searchsorted(self._unchained, number))
        return int(self._unchained[place]) if place < len(self._unchained) else len(self.start)

    def columns(self, number: int, beyond: int, at: int) -> PacketColumns:
        """The candidates of a chain as packets; the first one's preamble begins at `at`."""
        some = slice(number, beyond)
        start, end, size = self.start[some], self.end[some], self.size[some]
        begin = np.concatenate(([at], end[:-1]))
        bits = self._bits[some, : 9 * _BYTES].reshape(-1, _BYTES, 9)[:, :, 1:]
        data = np.packbits(bits, axis=2).reshape(-1, _BYTES)
        data[np.arange(_BYTES) >= size[:, None]] = 0
        marks = self.marks
        return PacketColumns(
            marks[begin], marks[start], marks[end], (start - begin) // 2, size, data
        )

    def halves(self, at: int, beyond: int) -> Iterator[tuple[int, int]]:
        """The half-bits as the state machine takes them."""
        some = slice(at, beyond)
        kinds = np.full(beyond - at, OTHER)
        kinds[self.lengths[some] > self._longest] = GAP
        kinds[self.zero[some]] = ZERO
        kinds[self.one[some]] = ONE
        marks = self.marks[at + 1 : beyond + 1]
        return zip(kinds.tolist(), marks.tolist(), strict=True)
