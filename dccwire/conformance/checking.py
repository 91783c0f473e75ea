"""Judge a recording: edges through the vectorised receiver into the rules, then the report.

Room: puts the parts together; each rule's measuring is in the file of its chapter.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterable, Iterator

import numpy as np

from dccwire.conformance.framing import FramingRules
from dccwire.conformance.histogram import Histogram
from dccwire.conformance.packets import PacketRules
from dccwire.conformance.places import Places
from dccwire.conformance.report import Report
from dccwire.conformance.rules import KNOWN, RULES
from dccwire.conformance.session import Session
from dccwire.conformance.timing import TimingRules
from dccwire.errors import FieldError
from dccwire.receiver.columns import ColumnReceiver, Columns, Times
from dccwire.receiver.edges import SHORTEST_NS
from dccwire.recordings import Chunk, Recording, read
from dccwire.recordings.looks import common_factor, doubt, head_of
from dccwire.recordings.resolution import ResolutionEstimate
from dccwire.signal import LIMITS
from dccwire.wording import counted

_LONGEST_NS = LIMITS["tr0"].most
"""No half-bit lasts longer (S-9.1 §A, Table 1 tr0): it is silence."""

_ERROR_BOUND_NS = 13_000
"""Half the distance of the windows for ones and zeros: errors of so much mix them up."""


def check(
    recording: Recording | str | os.PathLike[str] | Iterable[Chunk | Times],
    *,
    session: Session | None = None,
    rules: Collection[int] | None = None,
    uncertainty_ns: int = 0,
    resolution_ns: int | None = None,
    other_protocols: bool = False,
    progress: Callable[[], object] | None = None,
) -> Report:
    """Judge a recording by the rules of `RULES`.

    Args:
        recording: a `Recording`, a file's path, or chunks of edge times in ns.
        session: what is known besides the recording.
        rules: the numbers of the rules to report; all if left out.
        uncertainty_ns: what else a duration may be off by: edge jitter, threshold, clock (M2).
        resolution_ns: the sampling period, where edges or a path are given and do not tell it.
        other_protocols: half-bits between packets that belong to none are expected, as S-9.2 §C
            allows; else what is not judged does not pass.
        progress: called after each chunk; what it answers stops the judging there, if it is true.

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
    known = session or Session()
    for number in rules or ():
        if number not in RULES:
            raise FieldError("rules", KNOWN, number)
    if isinstance(recording, (str, os.PathLike)):
        recording = read(recording, resolution=resolution_ns)
    if not isinstance(recording, Recording):
        # All edges tell the resolution, so they are looked at twice.
        chunks = [one if isinstance(one, Chunk) else Chunk(_times(one)) for one in recording]
        estimate = ResolutionEstimate()
        for chunk in chunks:
            estimate.add(chunk.edges)
        told = estimate.result() if resolution_ns is None else (resolution_ns, "option")
        judge = _Judge(*told, uncertainty_ns, known)
        judge.run(chunks, progress)
        judge.close(None)
        if judge.probe_ns is not None and not judge.stopped:
            again = _Judge(*told, uncertainty_ns, known, judge.probe_ns)
            again.run(chunks, None)
            again.close(None)
            judge.doubt_probe(again)
        factor = common_factor(head_of(chunk.edges for chunk in chunks), told[0])
        notes = () if factor is None else (doubt(factor),)
        return judge.report("edges", notes, rules, factor, other_protocols=other_protocols)
    resolution = None
    # The head of the file tells the resolution; should the whole tell another, it is judged again.
    while resolution != (resolution := recording.resolution_ns):
        judge = _Judge(resolution, recording.resolution_source, uncertainty_ns, known)
        judge.run(recording, progress)
        if judge.stopped:
            break
        recording.check_resolution()
    judge.close(None if judge.stopped else recording.end_ns)
    if judge.probe_ns is not None and not judge.stopped:
        source = recording.resolution_source
        again = _Judge(resolution, source, uncertainty_ns, known, judge.probe_ns)
        again.run(recording, None)
        again.close(recording.end_ns)
        judge.doubt_probe(again)
    about = recording.path, recording.notes, rules, recording.factor
    return judge.report(*about, other_protocols=other_protocols)


def _times(edges: object) -> Times:
    """A chunk of edge times, refused if it is none."""
    times = np.asarray(edges)
    if times.ndim != 1 or (times.dtype.kind not in "iu" and times.size):
        raise FieldError("edges", "whole ns in one dimension", edges)
    return times.astype(np.int64, copy=False)


class _Judge:
    """The receiver and all rules of one recording."""

    def __init__(
        self,
        resolution_ns: int,
        resolution_source: str,
        uncertainty_ns: int,
        session: Session,
        probe_ns: float = 0,
    ) -> None:
        self.stopped = False
        self._session = session
        self._levels_known = True
        self._resolution = resolution_ns
        self._resolution_source = resolution_source
        self._uncertainty = uncertainty_ns
        if type(resolution_ns) is not int or not 1 <= resolution_ns < _ERROR_BOUND_NS:
            raise FieldError("resolution_ns", f"1 to {_ERROR_BOUND_NS - 1} ns", resolution_ns)
        most = _ERROR_BOUND_NS - 1 - resolution_ns
        if not 0 <= uncertainty_ns <= most:
            raise FieldError("uncertainty_ns", f"0 to {most} ns", uncertainty_ns)
        error = resolution_ns + uncertainty_ns
        self._receiver = ColumnReceiver(resolution_ns=error)
        self._places = Places(error)
        self._timing = TimingRules(error, probe_ns)
        self._rules = PacketRules(error, session)
        self._framing = FramingRules(error, self._rules)
        self._histogram = Histogram()
        self._first_pulse: int | None = None
        # What is judged when it is known what comes next: whether silence, or distortion.
        self._held: Columns | None = None
        self._edges = 0
        self._first: int | None = None
        self._last = 0

    def run(self, chunks: Iterable[Chunk], progress: Callable[[], object] | None) -> None:
        """Take all chunks, in order, unless `progress` stops it."""
        for chunk in chunks:
            self.add(chunk)
            if progress is not None and progress():
                self.stopped = True
                return

    def add(self, chunk: Chunk) -> None:
        """Take a chunk of edges, and the gap after it."""
        if len(chunk.edges):
            self._edges += len(chunk.edges)
            self._first = int(chunk.edges[0]) if self._first is None else self._first
            self._last = int(chunk.edges[-1])
            self._take(self._receiver.feed(chunk.edges))
        if chunk.gap is not None:
            self._levels_known = False  # which polarity comes next, nobody knows
            if not chunk.lost:
                self._framing.undefined.add(chunk.gap[0])
            self._take(self._receiver.gap(*chunk.gap))
            self._judge(None, undefined=True)

    def close(self, end_ns: int | None) -> None:
        """The recording ends."""
        self._take(self._receiver.close(end_ns))
        self._judge(None)
        self._framing.close()
        end = max(self._last, end_ns or 0)
        self._rules.end(end, stopped=self.stopped)
        for one in self._session.expectations:
            if one.from_ns > end and not self.stopped:
                told = f"within the recording, which ends at {end / 1e9:g} s"
                raise FieldError("from_s", told, str(one))

    @property
    def probe_ns(self) -> float | None:
        """What the probe may have done to halves of one polarity, where a rule of times fails."""
        failed = any(one.failed for one in self._timing.tallies())
        return self._timing.probe_ns if failed and self._levels_known else None

    def doubt_probe(self, again: _Judge) -> None:
        """Leave open what fails for what the probe may have done, as judged `again` without."""
        self._timing.doubt_probe(again._timing)

    def _take(self, columns: Columns) -> None:
        held = self._held
        if held is not None and len(columns.edges) < 2:
            edges = held.edges if len(held.edges) else columns.edges
            pulses = np.concatenate((held.pulses, columns.pulses))
            self._held = Columns([*held.parts, *columns.parts], edges, pulses)
            return
        self._judge(columns)
        self._held = columns

    def _judge(self, following: Columns | None, *, undefined: bool = False) -> None:
        """Judge what is held, now that it is known what follows it; None: the signal ends."""
        if self._held is None:
            return
        columns, self._held = self._held, None
        some = self._places.take(columns, following, undefined=undefined)
        if len(columns.pulses) and self._first_pulse is None:
            self._first_pulse = int(columns.pulses[0, 0])
        self._timing.add(some)
        self._framing.add(some)
        # Picking out what is not silent takes five times as long as counting it (measured).
        silent = some.lengths > _LONGEST_NS
        self._histogram.add(some.lengths[~silent] if silent.any() else some.lengths)

    def report(
        self,
        source: str,
        notes: Iterable[str],
        rules: Collection[int] | None,
        factor: float | None,
        *,
        other_protocols: bool,
    ) -> Report:
        """The results of the rules asked for; `notes` tell of the factor that is given."""
        if factor is None and (factor := self._timing.factor) is not None:
            notes = (*notes, doubt(factor))
        rooms = self._timing, self._framing, self._rules
        tallies = [tally for room in rooms for tally in room.tallies()]
        for tally in tallies if factor is not None else ():
            if tally.rule.limit.unit == "us":
                tally.doubt()
        results = (one.result() for one in tallies if rules is None or one.rule.number in rules)
        return Report(
            results=tuple(sorted(results, key=lambda one: one.rule.number)),
            source=source,
            resolution_ns=self._resolution,
            resolution_source=self._resolution_source,
            uncertainty_ns=self._uncertainty,
            edges=self._edges,
            packets=self._framing.packets,
            duration_ns=self._last - (self._first or 0),
            histogram=self._histogram,
            not_judged=0 if other_protocols else self._places.foreign,
            notes=(*notes, *self._notes()),
            expectations=self._rules.expectations(),
            addresses=self._rules.addresses(),
            stopped=self.stopped,
        )

    def _notes(self) -> Iterator[str]:
        places, silences = self._places, self._framing.silences
        if self.stopped:
            yield f"stopped: what comes after {self._last / 1e9:.3f} s is not judged"
        if self._first_pulse is not None:
            yield (
                f"{counted(self._receiver.merged, 'pulse')} shorter than {SHORTEST_NS / 1e3:g} us "
                "merged before judging (S-9.1 §B, M8), the first at "
                f"{self._first_pulse / 1e6:.3f} ms; half-bits beside them are known only to their "
                "width"
            )
        if silences:
            gaps = f"no edge for more than 10 ms, {counted(silences, 'time')}: a gap in the signal"
            yield f"{gaps}; a packet that it cuts is not judged"
        if places.pauses:
            shape = "they have the shape of a cutout or a pause (S-9.2 §C)"
            yield f"{counted(places.pauses, 'half-bit')} between packets not judged: {shape}"
        if places.foreign:
            lengths = f"{places.shortest / 1e3:g} to {places.longest / 1e3:g} us"
            yield (
                f"{counted(places.foreign, 'half-bit')} of {lengths} not judged, the first at "
                f"{places.foreign_at / 1e6:.3f} ms: they are of no packet; another protocol may "
                "stand between packets (S-9.2 §C)"
            )
