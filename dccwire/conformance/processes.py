"""Parts of one recording judged in several processes, of which this one is the first.

Each takes the first part that none has taken yet. What the others found comes back through a queue;
this one joins the parts in order, and judges some itself while the next in order is not there.
Room: the only one that knows of processes.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from queue import Empty
from typing import TYPE_CHECKING, TypeAlias

from dccwire.conformance.judging import Judge, Terms
from dccwire.conformance.parts import Part
from dccwire.errors import RecordingError
from dccwire.recordings import Recording, RecordingPart

if TYPE_CHECKING:
    from multiprocessing.context import ForkContext, SpawnContext
    from multiprocessing.queues import Queue
    from multiprocessing.sharedctypes import Synchronized

_PARTS_A_PROCESS = 6
"""So many, that the last ones do not keep one process waiting for the other for long."""

_PATIENCE_S = 1.0
"""So long a process waits for the others until it looks whether they still run."""

_Judged: TypeAlias = tuple[RecordingPart, Part]
"""A part that has been read, and what was found in it."""


@dataclass(frozen=True, slots=True)
class _Work:
    """What the processes share: the parts, how many of them are taken, and the answers."""

    parts: Sequence[RecordingPart]
    terms: Terms
    taken: Synchronized[int]
    answers: Queue[tuple[int, _Judged | None]]

    def take(self) -> int | None:
        """The number of a part that is now this process's to judge; None: all are taken."""
        with self.taken.get_lock():
            number = self.taken.value
            self.taken.value += 1
        return number if number < len(self.parts) else None

    def judge(self, number: int) -> _Judged | None:
        """A part and what was found in it; None: it cannot be read."""
        part = self.parts[number]
        try:
            found = Part.of(part, self.terms)
        except RecordingError:
            return None
        return part, replace(found, chunks=())


def judged_in_processes(
    recording: Recording, terms: Terms, processes: int, progress: Callable[[], object] | None
) -> Judge | None:
    """The judge of a recording whose parts are read and judged in so many processes, two or more.

    None: the recording cannot be cut, its parts do not fit together, or cannot be read, or a
    process ended before its time; then it is to be judged as a whole, which tells what is wrong.
    """
    # It takes some MB, which one process alone does not need (measured).
    from multiprocessing import get_all_start_methods, get_context

    parts = recording.parts(processes * _PARTS_A_PROCESS)
    if not parts:
        return None
    # A fork is ready at once, but knows nothing of other threads, and what they hold.
    forks = "fork" in get_all_start_methods() and threading.active_count() == 1
    context: ForkContext | SpawnContext = get_context("fork") if forks else get_context("spawn")
    work = _Work(parts, terms, context.Value("l", 0), context.Queue())
    others = [context.Process(target=_help, args=(work,)) for _ in range(processes - 1)]
    for one in others:
        one.start()
    whole, read, there = Judge(terms), list[RecordingPart](), dict[int, _Judged | None]()
    try:
        for number in range(len(parts)):
            while number not in there:
                mine = work.take() if work.answers.empty() else None
                if mine is not None:
                    there[mine] = work.judge(mine)
                    continue
                try:
                    place, judged = work.answers.get(timeout=_PATIENCE_S)
                    there[place] = judged
                except Empty:
                    if not any(one.is_alive() for one in others):
                        return None
            judged = there.pop(number)
            if judged is None or (read and not judged[0].follows(read[-1])):
                return None
            part, found = judged
            read.append(part)
            replace(found, chunks=part).join(whole)
            recording.fraction = len(read) / len(parts)
            if progress is not None and progress():
                whole.stopped = True
                return whole
    finally:
        for one in others:
            one.kill()  # what it may yet have to say is of no use, and another signal it may ignore
            one.join()
    recording.join(read)
    return whole


def _help(work: _Work) -> None:
    """What the other processes do."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the first process
    while (number := work.take()) is not None:
        work.answers.put((number, work.judge(number)))
