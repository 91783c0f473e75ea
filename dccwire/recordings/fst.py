"""FST files (fast signal trace), through pywellen in a process of its own."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from functools import partial
from importlib.util import find_spec
from typing import BinaryIO, cast

import numpy as np

from dccwire.errors import MissingPartError, RecordingError
from dccwire.recordings import fst_child
from dccwire.recordings.choice import Candidate, choose
from dccwire.recordings.opening import Opened, refusal
from dccwire.recordings.recording import END_OF_TIME, Block, Source, to_ns

#: Run by its path, so that the child need not load the whole package.
_CHILD = "import runpy, sys; runpy.run_path(sys.argv[1])['main'](sys.argv[2:], sys.stdout.buffer)"
_HEADER_BYTES = 330


class FstSource(Source):
    """One bit of one variable: `number` in the file's order, `bit` counted from the last one."""

    format = "FST"

    def __init__(self, opened: Opened, number: int, bit: int) -> None:
        super().__init__(opened)
        self._number, self._bit = number, bit
        with opened.stream() as stream:
            head = stream.read(_HEADER_BYTES)
        exponent = int.from_bytes(head[73:74], signed=True)
        start, end = int.from_bytes(head[9:17]), int.from_bytes(head[17:25])
        self._start, self._end = start, end
        self.tick_ns = self.unit_ns = Fraction(10) ** (exponent + 9)
        fits = max(end, (end - start + 1) * self.tick_ns.numerator) < END_OF_TIME
        if len(head) < _HEADER_BYTES or not -18 <= exponent <= 2 or end < start or not fits:
            raise _damaged(opened)
        self._last_ns = to_ns(end - start, self.tick_ns)

    def blocks(self) -> Iterator[Block]:
        with _child(self.opened, str(self._number), str(self._bit)) as pipe:
            while number := pipe.read(8):
                count = int.from_bytes(number, sys.byteorder)
                data = pipe.read(9 * count)
                if len(data) < 9 * count:
                    break
                times = np.frombuffer(data, np.uint64, count)
                levels = np.frombuffer(data, np.uint8, offset=8 * count)
                ordered = (times[1:] >= times[:-1]).all()
                if not (ordered and self._start <= times[0] and times[-1] <= self._end):
                    raise _damaged(self.opened)
                moments = to_ns((times - np.uint64(self._start)).astype(np.int64), self.tick_ns)
                mark = int(moments[-1])
                self.opened.fraction = mark / max(1, self._last_ns)
                yield Block(moments, levels, mark)
        nothing = np.empty(0, np.int64)
        yield Block(nothing, nothing.astype(np.uint8), self._last_ns)


def open_fst(opened: Opened, signal: str | None, bit: int | None) -> FstSource:
    """The track signal of an FST file; the arguments and errors are those of `read`."""
    if find_spec("pywellen") is None:
        raise MissingPartError("pywellen", "capture")
    _check_blocks(opened)
    found: dict[str, tuple[int, list[str]]] = {}
    wide = []
    with _child(opened) as pipe:
        for number, line in enumerate(pipe):
            name, shared, width = json.loads(line)
            if (bit is None and width == 1) or (bit is not None and bit < width):
                found.setdefault(shared, (number, []))[1].append(name)
            elif width:
                wide.append(Candidate((name,), (0, width - 1)))
    candidates = [Candidate(tuple(names), number) for number, names in found.values()]
    open_source = partial(FstSource, opened, bit=bit or 0)
    return choose(opened.shown, candidates, wide, signal, open_source)


def _check_blocks(opened: Opened) -> None:
    """Blocks, each with its length in front, must fill the file to its end; one is no file."""
    path = opened.plain_path()
    size, at = os.path.getsize(path), 0
    with open(path, "rb") as file:
        while at < size:
            file.seek(at + 1)
            held = file.read(8)
            length = int.from_bytes(held)
            if len(held) == 8 > length:
                raise _damaged(opened)
            at += 1 + max(length, 8)
    if at != size or size == _HEADER_BYTES:
        raise _damaged(opened, "is cut off")


def _damaged(opened: Opened, what: str = "is damaged") -> RecordingError:
    return refusal(opened.shown, f"the FST file {what}", "export or copy it again")


@contextmanager
def _child(opened: Opened, *arguments: str) -> Iterator[BinaryIO]:
    """The output of a child process; an error if it does not end well."""
    child = subprocess.Popen(
        [sys.executable, "-P", "-c", _CHILD, fst_child.__file__, opened.plain_path(), *arguments],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(path or os.getcwd() for path in sys.path)},
    )
    pipe = cast("BinaryIO", child.stdout)
    try:
        yield pipe
        if child.wait() != 0:
            raise _damaged(opened)
    finally:
        child.kill()
        pipe.close()
        child.wait()
