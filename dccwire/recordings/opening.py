"""Opening a recording: standard input, gzip, and errors of the system as one clear line.

The formats see a stream of plain bytes, as often as they ask. Room: knows nothing of formats.
"""

from __future__ import annotations

import gzip
import os
import sys
import tempfile
import weakref
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from io import BufferedIOBase, BufferedReader
from stat import S_ISFIFO
from typing import BinaryIO

from dccwire.errors import Reason, RecordingError

GZIP_MAGIC = b"\x1f\x8b"
#: More of a message would fill the screen.
_LONGEST_PROBLEM = 400
_LONGEST_PATH = 200
#: What cannot be read twice is copied, up to so many bytes: hours of edges.
MOST_SPOOLED = 1 << 31
#: gzip makes a recording up to 30 times smaller (measured), but blanks and zeros 1,030 times.
_MOST_TIMES = 200
_LEAST_UNPACKED = 1 << 26


def refusal(
    shown: str, problem: str, hint: str = "", *, where: str = "", reason: Reason = Reason.FORMAT
) -> RecordingError:
    """The error about the file that messages call `shown`, cut to a length that can be read."""
    return RecordingError(reason, shown, shortened(problem, _LONGEST_PROBLEM), where, hint)


def shortened(text: str, most: int) -> str:
    """The text, cut to so many characters."""
    return text if len(text) <= most else text[:most] + "..."


def decoded(data: bytes) -> str:
    """The text of UTF-8 bytes; what is none is read as Latin-1."""
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")


@contextmanager
def system_errors(shown: str) -> Iterator[None]:
    """Turn what the system or gzip has to say into one `RecordingError` about `shown`."""
    try:
        yield
    except (OSError, EOFError, ValueError, zlib.error) as error:
        # ValueError: a path with a zero byte in it never reaches the system.
        told = getattr(error, "strerror", None) or str(error)
        problem, hint = f"cannot be opened or read ({told})", "check the path"
        for kind, *words in _KINDS:
            if isinstance(error, kind):
                problem, hint = words
        reason = Reason.FORMAT if problem.startswith("the gzip") else Reason.FILE
        raise refusal(shown, problem, hint, reason=reason) from error


_KINDS: tuple[tuple[type[Exception] | tuple[type[Exception], ...], str, str], ...] = (
    (FileNotFoundError, "no such file", "check the path and the folder"),
    (IsADirectoryError, "is a directory", "name a file inside it"),
    (PermissionError, "may not be read", "check its permissions"),
    (EOFError, "the gzip data is cut off", "copy or record it again"),
    ((gzip.BadGzipFile, zlib.error), "the gzip data is damaged", "copy or record it again"),
)


class Stream:
    """Plain bytes of one pass over a file; a context manager that closes what it opened."""

    def __init__(self, opened: Opened, raw: BufferedReader, begin: int = 0) -> None:
        self._opened, self._raw = opened, raw
        self._size = max(1, os.fstat(raw.fileno()).st_size)
        self._plain: BufferedIOBase = gzip.GzipFile(fileobj=raw) if opened.zipped else raw
        self._unpacked = self._plain.seek(begin)

    def __enter__(self) -> Stream:
        return self

    def __exit__(self, *_: object) -> None:
        self._raw.close()

    def readinto(self, room: memoryview) -> int:
        """Fill `room` from its start as far as the file goes; the number of bytes, 0 at the end."""
        filled = 0
        with system_errors(self._opened.shown):
            while filled < len(room):
                got = self._plain.readinto(room[filled:])
                if not got:
                    break
                filled += got
            at = self._raw.tell()
            self._opened.fraction = min(1.0, at / self._size)
        self._unpacked += filled
        if self._opened.bounded and self._unpacked > max(_MOST_TIMES * at, _LEAST_UNPACKED):
            told = f"the gzip data unpacks to more than {_MOST_TIMES} times its size"
            raise refusal(self._opened.shown, told, "if it is a recording, unpack it first")
        return filled

    def read(self, size: int) -> bytes:
        """At most `size` bytes, fewer only at the end of the file."""
        room = bytearray(size)
        return bytes(room[: self.readinto(memoryview(room))])


class Opened:
    """A file that can be read again and again; standard input ("-") and pipes are copied first."""

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.given = os.fspath(path)
        shown = "standard input" if self.given == "-" else self.given
        self.shown = shortened(shown, _LONGEST_PATH)
        self.fraction = 0.0  # 0 to 1, how far the latest stream has got
        self.bounded = True  # whether packed bytes that say next to nothing are refused
        self.zipped = False
        self._spooled: list[str] = []
        # Called when the last user of the file has gone, and at the latest when Python ends.
        self.discard = weakref.finalize(self, remove_all, self._spooled)
        self.path = self.given
        if self.given == "-":
            if sys.stdin is None:
                raise refusal(self.shown, "is closed", "give a file", reason=Reason.FILE)
            self.path = self._spool(sys.stdin.buffer)
        else:
            with system_errors(self.shown):
                if S_ISFIFO(os.stat(self.given).st_mode):
                    with open(self.given, "rb") as pipe:
                        self.path = self._spool(pipe)
        with self.stream() as stream:
            self.zipped = stream.read(2) == GZIP_MAGIC

    def __getstate__(self) -> dict[str, object]:
        """What another process needs to read the file; what is copied is removed by this one."""
        return {**vars(self), "discard": None, "_spooled": []}

    def stream(self, begin: int = 0) -> Stream:
        """A new pass over the plain bytes, from the start or from so many of them on."""
        with system_errors(self.shown):
            return Stream(self, open(self.path, "rb"), begin)

    def plain_path(self) -> str:
        """The path of a file of the plain bytes, for readers that want no stream."""
        if self.zipped:
            with self.stream() as stream:
                self.path, self.zipped = self._spool(stream), False
        return self.path

    def _spool(self, source: Stream | BinaryIO) -> str:
        with system_errors(self.shown):
            handle, path = tempfile.mkstemp(prefix="dccwire-")
            self._spooled.append(path)
            with os.fdopen(handle, "wb") as target:
                while (part := source.read(1 << 20)) and target.tell() < MOST_SPOOLED:
                    target.write(part)
        if part:
            self.discard()  # the error may be kept, and this object with it
            told = f"more than {MOST_SPOOLED >> 30} GiB, which are copied to be read"
            raise refusal(self.shown, told, "save it and give the file", reason=Reason.FILE)
        return path


def remove_all(paths: list[str]) -> None:
    """Remove copies, those that are still there."""
    while paths:
        with suppress(OSError):
            os.unlink(paths.pop())
