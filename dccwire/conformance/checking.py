"""Judge a recording: open it, find out how exact its times are, judge it, make the report.

Room: the way from a recording to its report; what is judged, and how, is not known here.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import TypeAlias

import numpy as np

from dccwire.conformance.judging import Judge, Terms
from dccwire.conformance.parts import Part, joined
from dccwire.conformance.processes import judged_in_processes
from dccwire.conformance.report import Report
from dccwire.conformance.rules import KNOWN, LISTED, RULES
from dccwire.conformance.session import Session
from dccwire.conformance.several import (
    Found,
    addresses_of,
    expectations_of,
    histogram_of,
    tallies_of,
)
from dccwire.errors import FieldError
from dccwire.receiver.columns import Times
from dccwire.receiver.edges import SHORTEST_NS
from dccwire.recordings import Chunk, Recording, read
from dccwire.recordings.looks import common_factor, doubt, head_of
from dccwire.recordings.resolution import ResolutionEstimate
from dccwire.wording import counted

Source: TypeAlias = Recording | str | os.PathLike[str]
"""A recording, or a file's path."""


def check(
    recording: Source | Iterable[Source] | Iterable[Chunk | Times],
    *,
    session: Session | None = None,
    rules: Collection[int] | None = None,
    uncertainty_ns: int = 0,
    resolution_ns: int | None = None,
    other_protocols: bool = False,
    progress: Callable[[], object] | None = None,
    processes: int = 1,
) -> Report:
    """Judge a recording by the rules of `RULES`.

    Args:
        recording: a `Recording`, a file's path, or several of one station, of which each begins
            anew; or chunks of edge times in ns.
        session: what is known besides the recording.
        rules: the numbers of the rules to report; all if left out.
        uncertainty_ns: what else a duration may be off by: edge jitter, threshold, clock (M2).
        resolution_ns: the sampling period, where edges or a path are given and do not tell it.
        other_protocols: half-bits between packets that belong to none are expected, as S-9.2 §C
            allows; else what is not judged does not pass.
        progress: called after each chunk; what it answers stops the judging there, if it is true.
        processes: how many read and judge the file, if more than one; a VCD can be cut for that.
            The report is the same.

    Raises:
        RecordingError: the file cannot be used.
        FieldError: a number that is no rule's, an uncertainty below 0 or so large that ones and
            zeros cannot be told apart, an edge before the one before it, or no process.

    >>> from dccwire.synthesis import Sending, synthesize
    >>> idles = synthesize([Sending(bytes.fromhex("FF00FF"))] * 20, jitter_ns=300, seed=1)
    >>> report = check([np.fromiter(idles, np.int64)])
    >>> report.verdict.value, report.packets
    ('pass', 20)
    """
    if type(processes) is not int or processes < 1:
        raise FieldError("processes", "1 or more", processes)
    known = session or Session()
    for number in rules or ():
        if number not in RULES:
            raise FieldError("rules", KNOWN, number, LISTED)
    if isinstance(recording, (str, os.PathLike, Recording)):
        recording = [recording]
    several = [*recording]
    if all(isinstance(one, (str, os.PathLike, Recording)) for one in several) and several:
        found = list[Found]()
        for one in several:
            opened = one if isinstance(one, Recording) else read(one, resolution=resolution_ns)
            try:
                judge = _judged(opened, known, uncertainty_ns, processes, progress)
            except FieldError as error:
                if len(several) > 1:
                    error.add_note(f"in {opened.path}")
                raise
            found.append(Found(judge, opened.path, opened.notes, opened.factor))
            if judge.stopped:
                break
        return _report(found, rules, other_protocols=other_protocols)
    # All edges tell the resolution, so they are looked at twice.
    chunks = [one if isinstance(one, Chunk) else Chunk(_times(one)) for one in several]
    estimate = ResolutionEstimate()
    for chunk in chunks:
        estimate.add(chunk.edges)
    told = estimate.result() if resolution_ns is None else (resolution_ns, "option")
    judge = Judge(Terms(*told, uncertainty_ns, known))
    judge.run(chunks, progress)
    return _report([_found(judge, chunks)], rules, other_protocols=other_protocols)


def merge(
    parts: Sequence[Part], *, rules: Collection[int] | None = None, other_protocols: bool = False
) -> Report:
    """The report of a recording that was judged in parts, in order: as if by `check` at once.

    Args:
        parts: one or more, each made by `Part.of`, and merged once.
        rules: as for `check`.
        other_protocols: as for `check`.

    Raises:
        FieldError: the parts were not judged by the same terms.

    >>> from dccwire.synthesis import Sending, synthesize
    >>> edges = np.fromiter(synthesize([Sending(bytes.fromhex("FF00FF"))] * 500), np.int64)
    >>> terms = Terms(resolution_ns=1)
    >>> parts = [Part.of([Chunk(some)], terms) for some in (edges[:9_000], edges[9_000:])]
    >>> merge(parts).text() == check([edges], resolution_ns=1).text()
    True
    """
    chunks = [chunk for part in parts for chunk in part.chunks]
    found = _found(joined(parts), chunks)
    return _report([found], rules, other_protocols=other_protocols)


def _found(judge: Judge, chunks: Sequence[Chunk]) -> Found:
    """What was found in edges that are of no file."""
    factor = common_factor(head_of(chunk.edges for chunk in chunks), judge.terms.resolution_ns)
    notes = () if factor is None else (f"{doubt(factor)} Edge times are whole ns",)
    return Found(_closed(judge, chunks, None), "edges", notes, factor)


def _judged(
    recording: Recording,
    session: Session,
    uncertainty_ns: int,
    processes: int,
    progress: Callable[[], object] | None,
) -> Judge:
    """The judge of a recording, as exact as its times are."""
    resolution, judge = None, None
    # The head of the file tells the resolution; should the whole tell another, it is judged again.
    while resolution != (resolution := recording.resolution_ns):
        terms = Terms(resolution, recording.resolution_source, uncertainty_ns, session)
        judge = None
        if processes > 1:
            judge = judged_in_processes(recording, terms, processes, progress)
        if judge is None:
            judge = Judge(terms)
            judge.run(recording, progress)
        if judge.stopped:
            break
        recording.check_resolution()
    assert judge is not None
    return _closed(judge, recording, recording.end_ns)


def _closed(judge: Judge, chunks: Iterable[Chunk], end_ns: int | None) -> Judge:
    """The judge at the end; what the probe may have done is judged again without (M7)."""
    judge.close(None if judge.stopped else end_ns)
    for again in judge.without_probe():
        as_far = partial(_is_as_far, again, judge.last) if judge.stopped else None
        again.run(chunks, as_far)
        again.close(None if judge.stopped else end_ns)
        judge.doubt_probe(again)
    return judge


def _is_as_far(judge: Judge, time: int) -> bool:
    return judge.last >= time


def _times(edges: object) -> Times:
    """A chunk of edge times, refused if it is none."""
    times = np.asarray(edges)
    if times.ndim != 1 or (times.dtype.kind not in "iu" and times.size):
        raise FieldError("edges", "whole ns in one dimension", edges)
    return times.astype(np.int64, copy=False)


def _report(
    found: Sequence[Found], rules: Collection[int] | None, *, other_protocols: bool
) -> Report:
    """The results of the rules asked for, of one recording or of several."""
    found = [_doubted(one) for one in found]
    judges = [one.judge for one in found]
    coarsest = max((one.terms for one in judges), key=lambda one: one.error_ns)
    results = [
        one.result() for one in tallies_of(found) if rules is None or one.rule.number in rules
    ]
    several = len(found) > 1
    unread = tuple(one.source for one in found if not one.judge.framing.packets)
    told = [(one.source, note) for one in found for note in (*one.notes, *_notes(one.judge))]
    told += [(source, "no packet was read") for source in unread]
    return Report(
        results=tuple(sorted(results, key=lambda one: one.rule.number)),
        source=", ".join(one.source for one in found),
        resolution_ns=coarsest.resolution_ns,
        resolution_source=coarsest.resolution_source,
        uncertainty_ns=coarsest.uncertainty_ns,
        edges=sum(one.edges for one in judges),
        packets=sum(one.framing.packets for one in judges),
        duration_ns=sum(one.last - (one.first or 0) for one in judges),
        histogram=histogram_of(found),
        not_judged=0 if other_protocols else sum(one.places.foreign for one in judges),
        notes=tuple(f"{source}: {note}" if several else note for source, note in told),
        expectations=tuple(expectations_of(found)),
        addresses=addresses_of(found),
        stopped=any(one.stopped for one in judges),
        factor=None if several else found[0].factor,
        clock=None if several else judges[0].timing.clock,
        unread=unread,
    )


def _doubted(found: Found) -> Found:
    """The same, with the factor by which all durations are off, where only the rules tell it.

    Where the recorder's clock is known to be right, there is no doubt: it is the station's.
    """
    factor = found.judge.timing.factor
    if found.judge.terms.session.clock_is_right:
        asks = "" if found.factor is None else doubt(found.factor)
        notes = tuple(one for one in found.notes if not (asks and one.startswith(asks)))
        return replace(found, factor=None, notes=notes)
    if found.factor is not None or factor is None:
        return found
    return replace(found, factor=factor, notes=(*found.notes, doubt(factor)))


def _notes(judge: Judge) -> Iterator[str]:
    places, framing, silences = judge.places, judge.framing, judge.framing.silences
    if judge.stopped:
        yield f"stopped: what comes after {judge.last / 1e9:.3f} s is not judged"
    if judge.first_pulse is not None:
        yield (
            f"{counted(judge.pulses, 'pulse')} shorter than {SHORTEST_NS / 1e3:g} us "
            "merged before judging (S-9.1 §B, M8), the first at "
            f"{judge.first_pulse / 1e6:.3f} ms; half-bits beside them are known only to their "
            "width"
        )
    if silences:
        gaps = f"no edge for more than 10 ms, {counted(silences, 'time')}: a gap in the signal"
        yield f"{gaps}; a packet that it cuts is not judged"
    if framing.unread:
        spoiled = f"{counted(framing.unread, 'place')} may hold a packet that could not be read"
        yield f"{spoiled}, the first at {framing.unread_at / 1e6:.3f} ms"
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
