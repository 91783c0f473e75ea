"""Stretches of one recording, judged each by itself, that add up to the judgement of the whole.

What came before a stretch is not known when it is judged, so its first edges are kept until nothing
of that can matter: the receiver stands behind a packet, and so do the rules. When the stretch is
joined to those before it, these edges are judged with them; if all then stands as it stood there,
what was found from there on is added, else the stretch is judged anew. Room: edges in, judges out.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice

from dccwire.conformance.judging import Judge, Terms, alike
from dccwire.errors import FieldError, RecordingError
from dccwire.recordings import Chunk, Recording, RecordingPart

_PORTION = 1 << 11
"""Edges at a time until a stretch stands by itself: some twenty packets."""

_PORTIONS = 8
"""So many of them; what is left is taken as it comes."""

_LEAST = 2
"""Portions that are kept at least: what the beginning has spoiled is then behind."""

_PARTS_A_PROCESS = 6
"""So many, that the last ones do not keep one process waiting for the other for long."""


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A stretch of a recording that was judged by itself; `merge` makes the report, once.

    `chunks` are all its edges, `head` the first of them, `opened` what was open behind those, and
    `judge` what was found from there on, None if there was no such place; `polarity` is the one
    that was taken to come next there.
    """

    terms: Terms
    chunks: Iterable[Chunk]
    head: tuple[Chunk, ...]
    opened: list[object]
    judge: Judge | None
    polarity: int = 0

    @classmethod
    def of(cls, chunks: Iterable[Chunk], terms: Terms) -> Part:
        """Judge a stretch: `chunks` can be iterated over more than once."""
        judge, head = Judge(terms, tape=True), list[Chunk]()
        pieces = _pieces(chunks)
        for piece in pieces:
            head.append(piece)
            judge.add(piece)
            if len(head) >= _LEAST and judge.receiver.after_packet and judge.framing.settled:
                break
        else:
            return cls(terms, chunks, tuple(head), [], None)
        opened, polarity = judge.open(), judge.timing.polarity
        judge = judge.begin_anew()
        for piece in pieces:
            judge.add(piece)
        return cls(terms, chunks, tuple(head), opened, judge, polarity)

    def join(self, whole: Judge) -> None:
        """Let the judge of all that came before it go on with it."""
        for piece in self.head:
            whole.add(piece)
        if self.judge is None:
            return
        if alike(whole.open(), self.opened):
            whole.absorb(self.judge, turned=whole.timing.polarity != self.polarity)
            return
        for piece in islice(_pieces(self.chunks), len(self.head), None):
            whole.add(piece)


def joined(parts: Sequence[Part]) -> Judge:
    """The judge of a recording that was judged in parts, one or more, in order.

    Raises:
        FieldError: not all of them were judged by the same terms.
    """
    terms = parts[0].terms
    whole = Judge(terms)
    for part in parts:
        if part.terms != terms:
            raise FieldError("terms", str(terms), part.terms)
        part.join(whole)
    return whole


def _pieces(chunks: Iterable[Chunk]) -> Iterator[Chunk]:
    """Chunks, the first edges of them in portions."""
    cut = 0
    for chunk in chunks:
        edges = chunk.edges
        cuts = range(0, min(len(edges), _PORTIONS * _PORTION - cut), _PORTION)
        cut += len(cuts) * _PORTION
        for begin in cuts[:-1]:
            yield Chunk(edges[begin : begin + _PORTION])
        yield replace(chunk, edges=edges[cuts[-1] if cuts else 0 :])


def judged_in_processes(
    recording: Recording, terms: Terms, processes: int, progress: Callable[[], object] | None
) -> Judge | None:
    """The judge of a recording whose parts are read and judged in processes of their own.

    None: the recording cannot be cut, its parts do not fit together, or cannot be read; then it is
    to be judged as a whole, which tells what is wrong.
    """
    # They take 4 MB, which one process alone does not need (measured).
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_all_start_methods, get_context

    parts = recording.parts(processes * _PARTS_A_PROCESS)
    if not parts:
        return None
    whole, read = Judge(terms), list[RecordingPart]()
    # A fork is ready at once, but knows nothing of other threads, and what they hold.
    forks = "fork" in get_all_start_methods() and threading.active_count() == 1
    context = get_context("fork" if forks else "spawn")
    ignore = signal.signal, (signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the first process
    with ProcessPoolExecutor(processes, context, *ignore) as pool:
        waiting = [pool.submit(_judge_part, part, terms) for part in parts]
        try:
            for done in waiting:
                part, found = done.result()
                if read and not part.follows(read[-1]):
                    return None
                read.append(part)
                replace(found, chunks=part).join(whole)
                recording.fraction = len(read) / len(parts)
                if progress is not None and progress():
                    whole.stopped = True
                    return whole
        except RecordingError:
            return None
        finally:
            pool.shutdown(wait=False, cancel_futures=True)
    recording.join(read)
    return whole


def _judge_part(part: RecordingPart, terms: Terms) -> tuple[RecordingPart, Part]:
    """What a process gives back: a part that has been read, and what was found in it."""
    found = Part.of(part, terms)
    return part, replace(found, chunks=())
