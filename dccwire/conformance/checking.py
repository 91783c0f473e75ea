"""Judge a recording: edges through the vectorised receiver into the measures, then the report.

Room: puts the parts together; each rule's measuring is in `timing` and `packets`.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterable, Iterator
from itertools import chain

import numpy as np

from dccwire.conformance.measures import Counter, LimitMeasure
from dccwire.conformance.packets import PacketRules
from dccwire.conformance.report import Report, RuleResult
from dccwire.conformance.rules import RULES, Verdict
from dccwire.conformance.timing import TimingRules
from dccwire.errors import FieldError
from dccwire.receiver.columns import ColumnReceiver, Columns, Times
from dccwire.receiver.edges import SHORTEST_NS
from dccwire.recordings import Chunk, Recording, read
from dccwire.recordings.resolution import TOO_COARSE_NS

__all__ = ["check"]

_LATER = "defined later (from memory)"

_HEAD_EDGES = 1 << 14
"""So many edges tell the resolution, however they are cut into chunks."""

_ERROR_BOUND_NS = 13_000
"""Half the distance of the windows for ones and zeros: errors of so much mix them up."""


def check(
    recording: Recording | str | os.PathLike[str] | Iterable[Chunk | Times],
    *,
    rules: Collection[int] | None = None,
    uncertainty_ns: int = 0,
    progress: Callable[[], None] | None = None,
) -> Report:
    """Judge a recording by the rules of `RULES`.

    Args:
        recording: a `Recording`, a file's path, or chunks of edge times in ns.
        rules: the numbers of the rules to report; all if left out.
        uncertainty_ns: what else a duration may be off by: edge jitter, threshold, clock (M2).
        progress: called after each chunk.

    Raises:
        RecordingError: the file cannot be used.
        FieldError: a number that is no rule's, an uncertainty below 0 or so large that ones and
            zeros cannot be told apart, or an edge before the one before it.

    >>> from dccwire.synthesis import Sending, synthesize
    >>> idles = synthesize([Sending(bytes.fromhex("FF00FF"))] * 20, jitter_ns=300, seed=1)
    >>> report = check([np.fromiter(idles, np.int64)])
    >>> report.verdict.value, report.packets
    ('pass', 20)
    """
    for number in rules or ():
        if number not in RULES:
            raise FieldError("rules", f"some of {', '.join(map(str, RULES))}", number)
    if isinstance(recording, (str, os.PathLike)):
        recording = read(recording)
    if isinstance(recording, Recording):
        judge = _Judge(recording.resolution_ns, recording.resolution_source, uncertainty_ns)
        chunks: Iterator[Chunk] = iter(recording)
    else:
        chunks = (one if isinstance(one, Chunk) else Chunk(one) for one in recording)
        head = list(_head(chunks))
        judge = _Judge(*_resolution(head), uncertainty_ns)
        chunks = chain(head, chunks)
    for chunk in chunks:
        judge.add(chunk)
        if progress is not None:
            progress()
    if isinstance(recording, Recording):
        judge.close(recording.end_ns)
        return judge.report(recording.path, recording.notes, rules)
    judge.close(None)
    return judge.report("edges", (), rules)


def _head(chunks: Iterator[Chunk]) -> Iterator[Chunk]:
    """The first chunks, until there are edges enough."""
    edges = 0
    while edges < _HEAD_EDGES and (chunk := next(chunks, None)) is not None:
        edges += len(chunk.edges)
        yield chunk


def _resolution(head: Iterable[Chunk]) -> tuple[int, str]:
    """The resolution of edge times that come without one, in ns, and where it comes from (M9).

    Durations that are all the same have a divisor that says nothing about a clock; nor does one
    with which no packet could be read, such as that of 60 µs and 100 µs.
    """
    edges = np.concatenate([np.empty(0, np.int64), *(one.edges for one in head)])[:_HEAD_EDGES]
    lengths = np.diff(edges)
    if len(lengths) and lengths.min() != lengths.max():
        divisor = int(np.gcd.reduce(lengths))
        if 1 < divisor < TOO_COARSE_NS:
            return divisor, "greatest common divisor of the edge times"
    return 1, "unit of the edge times"


class _Judge:
    """The receiver and all measures of one recording."""

    def __init__(self, resolution_ns: int, resolution_source: str, uncertainty_ns: int) -> None:
        self._resolution = resolution_ns
        self._resolution_source = resolution_source
        self._uncertainty = uncertainty_ns
        most = _ERROR_BOUND_NS - 1 - resolution_ns
        if not 0 <= uncertainty_ns <= most:
            raise FieldError("uncertainty_ns", f"0 to {most} ns", uncertainty_ns)
        error = resolution_ns + uncertainty_ns
        self._receiver = ColumnReceiver(resolution_ns=error)
        self._timing = TimingRules(resolution_ns, uncertainty_ns)
        self._packets = PacketRules(error)
        self._edges = self._gaps = 0
        self._first: int | None = None
        self._last = 0

    def add(self, chunk: Chunk) -> None:
        """Take a chunk of edges, and the gap after it."""
        if len(chunk.edges):
            self._edges += len(chunk.edges)
            self._first = int(chunk.edges[0]) if self._first is None else self._first
            self._last = int(chunk.edges[-1])
            self._take(self._receiver.feed(chunk.edges))
        if chunk.gap is not None:
            self._gaps += 1
            self._take(self._receiver.gap(*chunk.gap))
            self._packets.cut(chunk.gap[0])

    def close(self, end_ns: int | None) -> None:
        """The recording ends."""
        self._take(self._receiver.close(end_ns))
        self._packets.close()

    def _take(self, columns: Columns) -> None:
        self._timing.add(columns)
        self._packets.add(columns)

    def report(self, source: str, notes: Iterable[str], rules: Collection[int] | None) -> Report:
        """The results of the rules asked for."""
        chosen = [one for one in self._results() if rules is None or one.rule.number in rules]
        return Report(
            results=tuple(chosen),
            source=source,
            resolution_ns=self._resolution,
            resolution_source=self._resolution_source,
            uncertainty_ns=self._uncertainty,
            edges=self._edges,
            packets=self._packets.packets,
            duration_ns=self._last - (self._first or 0),
            histogram=self._timing.histogram,
            notes=(*notes, *self._notes()),
        )

    def _notes(self) -> Iterator[str]:
        first = self._receiver.first_merged
        if first:
            pulses = _number(self._receiver.merged, "pulse")
            yield (
                f"{pulses} shorter than {SHORTEST_NS / 1e3:g} us merged before "
                f"judging (S-9.1 §B, M8), the first at {first[0] / 1e6:.3f} ms"
            )
        silences = self._packets.gaps - self._gaps
        if silences:
            yield (
                f"no edge for more than 10 ms, {_number(silences, 'time')}: a gap in the signal; a "
                "packet that it cuts is not judged"
            )
        if self._timing.between:
            yield (
                f"between packets {_number(self._timing.between, 'half-bit')} not judged, of no "
                "packet: a cutout or another protocol may stand there (S-9.2 §C)"
            )

    def _results(self) -> Iterator[RuleResult]:
        timing, packets = self._timing, self._packets
        yield _limit(1, timing.ones)
        yield _limit(2, timing.differences)
        yield _limit(3, timing.zeros)
        yield _limit(4, timing.totals)
        shortest = timing.shortest_neither
        torn = f"{_number(timing.torn, 'bit')} of half a 1 and half a 0"
        worst = "" if shortest is None else _us(shortest)
        yield _count(5, timing.neither, worst, torn * bool(timing.torn))
        preamble = packets.shortest_preamble
        worst = "" if preamble is None else f"{preamble} ones"
        yield _count(14, packets.preamble, worst, "; ".join(self._preamble_notes()))
        yield _count(15, packets.framing)
        yield _count(16, packets.error_byte)
        yield self._after_end()
        yield _count(18, packets.special, note="; ".join(self._special_notes()))
        yield _count(19, packets.idle)
        least, most = packets.shortest_length, packets.longest_length
        span = f"{most} bytes" if least == most else f"{least} to {most} bytes"
        later = f"{packets.longer_later} longer with first byte 253 or 254: {_LATER}"
        span *= bool(packets.length.measured)
        yield _count(27, packets.length, span, later * bool(packets.longer_later))

    def _after_end(self) -> RuleResult:
        """Rule 17 needs a state without signal, which one wire of two levels does not have."""
        if self._gaps:
            return _limit(17, self._packets.after_end)
        note = "one wire of two levels has no state 'no signal': record one (x or z) to decide"
        return RuleResult(RULES[17], Verdict.NOT_DECIDABLE, note=note)

    def _preamble_notes(self) -> Iterator[str]:
        exactly, undecided = self._packets.exactly_least, self._packets.preamble.undecided
        if exactly:
            strict = "with the end bit before; the strict reading asks 15 (C2)"
            yield f"{exactly} of exactly 14 {strict}"
        if undecided:
            yield f"before {undecided} fewer, half-bits of no packet may hide ones: a cutout, noise"

    def _special_notes(self) -> Iterator[str]:
        if self._packets.byte_254:
            yield f"{self._packets.byte_254} with first byte 254: {_LATER}"
        if self._packets.from_memory:
            yield f"{self._packets.from_memory} of a form {_LATER}"


def _number(count: int, what: str) -> str:
    return f"{count} {what}{'s' * (count > 1)}"


def _us(time_ns: int) -> str:
    return f"{time_ns / 1e3:g} us"


def _limit(number: int, measure: LimitMeasure) -> RuleResult:
    worst = measure.worst
    return _count(number, measure.counter, "" if worst is None else _us(worst))


def _count(number: int, counter: Counter, worst: str = "", note: str = "") -> RuleResult:
    return RuleResult(
        RULES[number],
        counter.verdict,
        worst,
        counter.measured,
        counter.failed,
        counter.undecided,
        tuple(counter.first_times),
        note,
    )
