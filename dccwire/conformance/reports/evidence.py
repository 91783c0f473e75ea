"""What a page draws of a recording: the signal around findings, and packets by address over time.

Gathered in a second reading, when a page is asked for; what is kept does not grow with the
recording. Room: chunks and a report in, values out; nothing is judged here.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from dccwire.address import Mode, Partition
from dccwire.conformance.report import Report
from dccwire.conformance.rules import Verdict
from dccwire.notation import address_text
from dccwire.packet import decode_or_none
from dccwire.receiver.columns import ColumnReceiver, Columns, PacketColumns, Times
from dccwire.receiver.edges import Windows
from dccwire.receiver.events import CutOff, Event, Fault, Gap, PacketReceived
from dccwire.recordings import Chunk, Recording, read

MOST_EXCERPTS = 24
"""Places that are drawn at most: the first failure of each rule, those at one place together."""

MOST_ROWS = 20
"""Addresses with a row of their own at most: those with the most packets."""

BINS = 160
"""Stretches of time that packets are counted in."""

_HALVES_BEFORE, _HALVES_AFTER, _MOST_HALVES = 12, 20, 140
"""Half-bits before a finding, after it at least, and after it at most."""

_REACH_NS = 40_000_000
"""Further from a finding nothing is kept: half-bits of stretched zeros last up to 10 ms."""

_MOST_EDGES = 1024


@dataclass(frozen=True, slots=True)
class Bit:
    """Two half-bits, from the edge of this index on: 1, 0, or ? where they are neither.

    `role` is what it is in a packet: preamble, start, end, or the number of its byte.
    """

    edge: int
    value: str
    role: str


@dataclass(frozen=True, slots=True)
class Excerpt:
    """The signal around a finding: the rules that fail there, edges in ns, bits, what was read.

    `parts` are stretches with what the receiver made of them; `pulses` begin where it merged one.
    """

    time_ns: int
    rules: tuple[int, ...]
    edges: tuple[int, ...]
    bits: tuple[Bit, ...]
    parts: tuple[tuple[int, int, str], ...]
    pulses: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Timeline:
    """Packets counted by address in stretches of `bin_ns`, the first from `begin_ns` on."""

    begin_ns: int
    bin_ns: int
    rows: tuple[tuple[str, tuple[int, ...]], ...]


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a page draws besides the report."""

    excerpts: tuple[Excerpt, ...]
    timeline: Timeline


def evidence_of(
    recording: Recording | str | os.PathLike[str] | Iterable[Chunk | Times], report: Report
) -> Evidence:
    """Read a recording again for what its report is about.

    Chunks must be those that were judged. Of a report that was stopped, what was judged is read.

    >>> from dccwire.conformance import check
    >>> from dccwire.synthesis import Sending, synthesize
    >>> idles = synthesize([Sending(bytes.fromhex("FF00FE"))] * 20)
    >>> chunks = [np.fromiter(idles, np.int64)]
    >>> [one.rules for one in evidence_of(chunks, check(chunks)).excerpts]
    [(16,)]
    """
    if isinstance(recording, (str, os.PathLike)):
        recording = read(recording, resolution=report.resolution_ns)
    gathering = _Gathering(report)
    receiver = ColumnReceiver(resolution_ns=report.resolution_ns + report.uncertainty_ns)
    for given in recording:
        chunk = given if isinstance(given, Chunk) else Chunk(np.asarray(given, np.int64))
        edges = chunk.edges[: gathering.left]
        if len(edges):
            gathering.begin(int(edges[0]))
            gathering.left -= len(edges)
            gathering.take(receiver.feed(edges))
        if not gathering.left:
            break
        if chunk.gap is not None:
            gathering.take(receiver.gap(*chunk.gap))
    gathering.take(receiver.close())
    return gathering.result()


@dataclass(slots=True)
class _Window:
    """A place that is drawn, and what was found there so far."""

    time: int
    rules: list[int]
    ones: bool = False  # whether a rule counts those before it
    edges: list[Times] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    pulses: list[int] = field(default_factory=list)
    count: int = 0

    def take(self, columns: Columns) -> None:
        """Keep what is near."""
        low, high = self.time - _REACH_NS, self.time + _REACH_NS
        edges = columns.edges
        first, beyond = np.searchsorted(edges, (low, high)).tolist()
        # Of a long chunk what is nearest to the time alone.
        at = int(np.searchsorted(edges, self.time))
        first, beyond = max(first, at - _MOST_EDGES), min(beyond, at + _MOST_EDGES)
        if first < beyond:
            self.edges.append(edges[first:beyond].copy())  # a view would keep the whole chunk
        self.pulses += [one for one in columns.pulses[:, 0].tolist() if low < one < high]
        for part in columns.parts:
            if isinstance(part, PacketColumns):
                near = np.flatnonzero((part.end > low) & (part.begin < high))
                self.events += part.take(near)
            elif part.end > low and part.begin < high:
                self.events.append(part)

    def excerpt(self, windows: Windows) -> Excerpt:
        """What is drawn of it."""
        edges = np.unique(np.concatenate(self.edges)) if self.edges else np.empty(0, np.int64)
        at = int(np.searchsorted(edges, self.time))
        here = [one for one in self.events if one.begin <= self.time < one.end]
        ends = int(np.searchsorted(edges, max([one.end for one in here], default=self.time)))
        # A packet is shown to its end, of a time within it a little.
        whole = any(isinstance(one, PacketReceived) and one.start == self.time for one in here)
        after = max(_HALVES_AFTER, ends - at + 2 if whole else 0)
        before = _HALVES_BEFORE
        if self.ones and here:
            before += at - int(np.searchsorted(edges, min(one.begin for one in here)))
        first, beyond = max(at - before, 0), at + min(after, _MOST_HALVES) + 1
        shown: list[int] = edges[first:beyond].tolist()
        if not shown:
            return Excerpt(self.time, tuple(self.rules), (), (), (), ())
        bits = [bit for one in self.events for bit in _bits(one, edges, windows)]
        parts = [
            (max(one.begin, shown[0]), min(one.end, shown[-1]), words_of(one))
            for one in self.events
            if one.end > shown[0] and one.begin < shown[-1]
        ]
        inside = range(first, first + len(shown) - 2)
        return Excerpt(
            self.time,
            tuple(self.rules),
            tuple(shown),
            tuple(Bit(one.edge - first, one.value, one.role) for one in bits if one.edge in inside),
            tuple(parts),
            tuple(one for one in self.pulses if shown[0] < one < shown[-1]),
        )


def words_of(event: Event) -> str:
    """What the receiver made of a stretch."""
    match event:
        case PacketReceived():
            return f"packet {event.data.hex(' ').upper()}"
        case Fault():
            read = f", {event.data.hex(' ').upper()} read" * bool(event.data)
            return f"{event.reason}{read}"
        case CutOff():
            return "cut off"
        case Gap():
            return "no signal"
        case _:
            return "of no packet"


def _bits(event: Event, edges: Times, windows: Windows) -> list[Bit]:
    """The bits of a packet, or of what began as one, by the pairs of its half-bits."""
    if not isinstance(event, (PacketReceived, Fault)):
        return []
    begin, end = np.searchsorted(edges, (event.begin, event.end)).tolist()
    start = begin + 2 * event.preamble
    if isinstance(event, PacketReceived):
        start = int(np.searchsorted(edges, event.start))
        begin += (start - begin) % 2
    lengths = np.diff(edges[: end + 1]).tolist()
    made = []
    for edge in range(begin, min(end, len(lengths)) - 1, 2):
        halves = lengths[edge : edge + 2]
        values = [
            value
            for value, (least, most) in (("1", windows.one), ("0", windows.zero))
            if all(least <= one <= most for one in halves)
        ]
        place = (edge - start) // 2
        byte, within = divmod(place, 9)
        hexadecimal = f": {event.data[byte]:02X}" if 0 <= byte < len(event.data) else ""
        role = "preamble" if place < 0 else f"byte {byte}{hexadecimal}" if within else "start"
        last = isinstance(event, PacketReceived) and byte == len(event.data)
        made.append(Bit(edge, values[0] if values else "?", "end" if last else role))
    return made


_OTHERS, _MAYBE_SERVICE = "other addresses", "first byte 112 to 127"
_UNREAD = "wrong, or cut by a fault"


class _Gathering:
    """Takes the events of a recording, in order."""

    def __init__(self, report: Report) -> None:
        self._windows = Windows(report.resolution_ns + report.uncertainty_ns)
        self.left = report.edges
        self._begin: int | None = None
        self._bin = max(1, -(-(report.duration_ns + 1) // BINS))
        most = sorted(report.addresses, key=lambda one: -one.count)[:MOST_ROWS]
        named = [one.address for one in report.addresses if one in most]
        names = [*named, _OTHERS, "broadcast", "idle", _MAYBE_SERVICE, _UNREAD]
        self._rows = {name: row for row, name in enumerate(dict.fromkeys(names))}
        self._counts = np.zeros((len(self._rows), BINS), np.int64)
        self._places = _places(report)

    def begin(self, time: int) -> None:
        """Where the first edge is."""
        self._begin = time if self._begin is None else self._begin

    def take(self, columns: Columns) -> None:
        """Count packets, and keep what is near to a finding."""
        for part in columns.parts:
            if isinstance(part, PacketColumns):
                heads, which = np.unique(part.data, axis=0, return_inverse=True)
                sizes = np.zeros(len(heads), np.int64)
                sizes[which.reshape(-1)] = part.size
                rows = [
                    self._row(head.tobytes()[:size])
                    for head, size in zip(heads, sizes.tolist(), strict=True)
                ]
                self._count(np.array(rows)[which.reshape(-1)], part.start)
            elif isinstance(part, (PacketReceived, Fault)):
                # Behind a short preamble a fault's bytes may be a whole packet.
                time = part.start if isinstance(part, PacketReceived) else part.begin
                self._count(np.array([self._row(part.data)]), np.array([time]))
        for place in self._places:
            place.take(columns)

    def _row(self, data: bytes) -> int:
        packet = decode_or_none(data, Mode.OPERATIONS)
        name = _UNREAD
        if packet is not None:
            name = address_text(packet.address)
            if data[0] in Partition.PROGRAMMING.value and name not in self._rows:
                name = _MAYBE_SERVICE
        return self._rows.get(name, self._rows[_OTHERS])

    def _count(self, rows: Times, times: Times) -> None:
        bins = np.clip((times - (self._begin or 0)) // self._bin, 0, BINS - 1)
        size = self._counts.size
        self._counts += np.bincount(rows * BINS + bins, minlength=size).reshape(-1, BINS)

    def result(self) -> Evidence:
        """All that was gathered."""
        rows = [
            (name, tuple(counts))
            for name, counts in zip(self._rows, self._counts.tolist(), strict=True)
            if any(counts)
        ]
        timeline = Timeline(self._begin or 0, self._bin, tuple(rows))
        return Evidence(tuple(one.excerpt(self._windows) for one in self._places), timeline)


def _places(report: Report) -> Sequence[_Window]:
    """The first failure of each rule that fails, those at the same time together."""
    found: dict[int, _Window] = {}
    for one in report.results:
        for time in one.first_times_ns[:1] if one.verdict is Verdict.FAIL else ():
            place = found.setdefault(time, _Window(time, []))
            place.rules.append(one.rule.number)
            place.ones |= one.rule.limit.unit == "ones"
    return sorted(found.values(), key=lambda one: one.time)[:MOST_EXCERPTS]
