"""Standard input that is read while it is written: edges as they come.

Its head is copied, and looked at as a file that ends there, until it holds a packet; what comes
from then on is read once and not kept. Room: when to begin; what a format is stands elsewhere.
"""

from __future__ import annotations

import os
import sys
import tempfile
import weakref
from collections.abc import Callable
from io import BufferedReader
from typing import BinaryIO

from dccwire.errors import Reason, RecordingError
from dccwire.recordings.looks import look
from dccwire.recordings.opening import (
    GZIP_MAGIC,
    MOST_SPOOLED,
    Opened,
    Stream,
    refusal,
    remove_all,
    system_errors,
)
from dccwire.recordings.reading import checked_bit, kind_of, source_of
from dccwire.recordings.recording import Recording, Source, first_edges

_PORTION = 1 << 16
#: Behind so many bytes a stream is read although no packet was seen, and what cannot be read, not
#: waited for: formats look at as much of a file.
_HEAD_BYTES = 1 << 16
_MOST_HEAD = 1 << 24
#: Formats that are read from their end, or unpacked as a whole.
_WHOLE = ("FST", "NumPy", "UTF-16")


class LiveInput(Opened):
    """Standard input that may still be written: as far as it came, and once with what comes."""

    def __init__(self, source: BinaryIO) -> None:
        self.given, self.shown, self.fraction = "-", "standard input", 0.0
        self.bounded, self.zipped = True, False
        self._spooled: list[str] = []
        self.discard = weakref.finalize(self, remove_all, self._spooled)
        with system_errors(self.shown):
            handle, self.path = tempfile.mkstemp(prefix="dccwire-")
        os.close(handle)
        self._spooled.append(self.path)
        self._source, self._rest, self._goes_on = source, b"", False
        self.size = 0

    def more(self, *, lines: bool) -> bool:
        """Wait for a portion, and copy it, or the lines that are whole; False: there is none."""
        with system_errors(self.shown):
            part = self._source.read1(_PORTION)  # type: ignore[attr-defined] # buffers have it
            rest = self._rest + part
            cut = rest.rfind(b"\n") + 1 if lines and part else len(rest)
            with open(self.path, "ab") as copy:
                copy.write(rest[:cut])
        self._rest, self.size = rest[cut:], self.size + len(part)
        return bool(part)

    def take_all(self) -> None:
        """Copy what is left, for formats that ask for it."""
        while self.more(lines=False):
            if self.size > MOST_SPOOLED:
                told = f"more than {MOST_SPOOLED >> 30} GiB, which are copied to be read"
                raise refusal(self.shown, told, "save it and give the file", reason=Reason.FILE)
        self.zipped = self.begins(GZIP_MAGIC)

    def begins(self, magic: bytes) -> bool:
        """Whether what came begins so."""
        with open(self.path, "rb") as copy:
            return copy.read(len(magic)) == magic

    def go_on(self) -> None:
        """Let the next pass wait for what comes."""
        with system_errors(self.shown), open(self.path, "ab") as copy:
            copy.write(self._rest)
        self._goes_on = True

    def stream(self, begin: int = 0) -> Stream:
        """A pass over what came, or, once, over all that comes."""
        goes_on, self._goes_on = self._goes_on, False
        with system_errors(self.shown):
            raw = open(self.path, "rb")  # noqa: SIM115 - the stream closes it
        return _LiveStream(self, raw, self._source, begin) if goes_on else Stream(self, raw, begin)


class _LiveStream(Stream):
    """Bytes that were copied, and then each portion as it comes."""

    def __init__(
        self, opened: LiveInput, raw: BufferedReader, source: BinaryIO, begin: int
    ) -> None:
        super().__init__(opened, raw, begin)
        self._copied, self._source = raw, source

    def readinto(self, room: memoryview) -> int:
        """Fill `room` from its start with what there is; wait only where there is nothing."""
        with system_errors("standard input"):
            got = self._copied.readinto(room)
            if not got:
                part = self._source.read1(min(len(room), _PORTION))  # type: ignore[attr-defined]
                got = len(part)
                room[:got] = part
        return got


def follow(
    *,
    signal: str | None = None,
    rate: float | None = None,
    unit: str | None = None,
    bit: int | str | None = None,
    resolution: float | None = None,
    tell: Callable[[str], object] = lambda _: None,
) -> Recording:
    """Open standard input while it is written; a recording that can be read once comes back.

    It is opened as soon as its head holds a packet that can be read, or 64 KiB: which signal is
    taken, and the resolution, are what that head tells. VCD, CSV and raw samples can be followed;
    of what cannot, `tell` is told that all of it is waited for.

    Args:
        signal: as for `read`, as are all the others but the last.
        rate: samples per second.
        unit: of times.
        bit: of each sample.
        resolution: ns.
        tell: called with what who waits should know.

    Raises:
        RecordingError: as for `read`, when it has ended or 16 MiB came.
    """
    number = checked_bit(rate, unit, bit, resolution)
    if sys.stdin is None:
        raise refusal("standard input", "is closed", "give a file", reason=Reason.FILE)
    opened = LiveInput(sys.stdin.buffer)
    raw, enough = rate is not None and number is not None, 0
    try:
        while True:
            goes_on = opened.more(lines=not raw and opened.size < _HEAD_BYTES)
            if goes_on and opened.size < enough:
                continue
            kind = _whole(opened)
            if kind and goes_on:
                tell(f"standard input: {kind} is read as a whole, when it has ended")
                opened.take_all()
                goes_on = False
            opened.zipped = opened.begins(GZIP_MAGIC)
            try:
                source = source_of(opened, signal, rate, unit, number)
                notes = [*source.notes]
                recording = Recording(source, resolution)
            except RecordingError:
                if not goes_on or opened.size > _MOST_HEAD:
                    raise
                enough = 2 * opened.size if opened.size > _HEAD_BYTES else 0
                continue
            if not goes_on:
                return recording
            if opened.size >= _HEAD_BYTES or _has_packet(source, recording.resolution_ns):
                break
    except BaseException:
        opened.discard()
        raise
    # That the head is cut off somewhere says nothing of what comes.
    source.notes = notes + source.notes[-1:] * (recording.factor is not None)
    told = f"resolution {recording.resolution_ns} ns taken ({recording.resolution_source})"
    if recording.resolution_source not in ("option", "sample rate"):
        told += " from the head alone; --resolution says it better"
    source.note(told)
    opened.go_on()
    return recording


def _whole(opened: LiveInput) -> str:
    """The format of what came, if it cannot be read before it has ended."""
    if opened.begins(GZIP_MAGIC):
        return "gzip"
    with open(opened.path, "rb") as copy:
        kind = kind_of(copy.read(64))
    return kind if kind in _WHOLE else ""


def _has_packet(source: Source, resolution_ns: int) -> bool:
    """Whether a packet can be read in what came."""
    edges, _ = first_edges(source)
    return look(edges, resolution_ns).is_track
