"""`read`: the one way from a file, of whatever format, to a recording."""

import os
import re
from math import inf
from os.path import splitext

from dccwire.errors import FieldError, Reason
from dccwire.recordings.opening import Opened, refusal
from dccwire.recordings.recording import UNITS_NS, Recording, Source
from dccwire.wording import either

_HEAD_BYTES = 1 << 16
_TEXT = "text of numbers"
#: What a file with such a name should have been.
_EXPECTED = {
    ".vcd": "VCD (it does not begin with a $keyword)",
    ".fst": "FST (it does not begin with the header block)",
    ".npy": "a NumPy file",
    **dict.fromkeys((".csv", ".tsv", ".txt"), _TEXT),
}
#: How files begin; those of FST with a block of type 0 that is 329 bytes long.
_STARTS = {
    "NumPy": rb"\x93NUMPY",
    "FST": rb"\x00{7}\x01\x49",
    "VCD": rb"(?:\xef\xbb\xbf)?[\x00-\x20]*\$[a-z]",
    "UTF-16": rb"\xff\xfe|\xfe\xff",
}
_NO_TEXT = re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


def read(
    path: str | os.PathLike[str],
    *,
    signal: str | None = None,
    rate: float | None = None,
    unit: str | None = None,
    bit: int | str | None = None,
    resolution: float | None = None,
) -> Recording:
    r"""Open a recording of a track signal: VCD, FST, CSV, raw samples or NumPy, gzip or not.

    The format is told by the content; only raw samples need options to be told.

    Args:
        path: the file; "-" is standard input.
        signal: the name of the signal or column, whole or its last part; if not given, the only one
            that looks like a track signal (`notes` says which).
        rate: samples per second, for raw samples and rows without a time.
        unit: "s", "ms", "us", "ns", "ps" or "fs": that of times, where the file does not tell it.
        bit: the bit of a signal that has several; for raw samples 0 to 7 (that of each byte), or
            "lsb" or "msb" (eight samples a byte, the first in its least or most significant bit).
        resolution: ns; replaces what the file tells of its resolution.

    Raises:
        RecordingError: the file cannot be read, or not without more options.
        MissingPartError: FST without pywellen.

    >>> import tempfile
    >>> from pathlib import Path
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder, "a.csv")
    ...     _ = path.write_text("Time [us],track\n0,0\n58,1\n116,0\n216,1\n")
    ...     recording = read(path, signal="track")
    ...     [chunk.edges.tolist() for chunk in recording]
    [[58000, 116000, 216000]]
    >>> recording.resolution_ns, recording.resolution_source, recording.first_level
    (1000, 'digits of the times', 1)
    """
    number = checked_bit(rate, unit, bit, resolution)
    opened = Opened(path)
    try:
        return Recording(source_of(opened, signal, rate, unit, number), resolution)
    except BaseException:
        opened.discard()
        raise


def checked_bit(
    rate: float | None, unit: str | None, bit: int | str | None, resolution: float | None
) -> int | str | None:
    """The bit, where the arguments of `read` can be; else a `FieldError`."""
    if unit is not None and unit not in tuple(UNITS_NS):
        raise FieldError("unit", either(UNITS_NS), unit)
    for name, value, what in (("rate", rate, "Hz"), ("resolution", resolution, "ns")):
        if value is not None and not 0 < value < inf:
            raise FieldError(name, f"a positive number of {what}", value)
    return _bit(bit)


def source_of(
    opened: Opened, signal: str | None, rate: float | None, unit: str | None, bit: int | str | None
) -> Source:
    """The format's view of a file, which its content tells; arguments as for `read`."""
    with opened.stream() as stream:
        head = stream.read(_HEAD_BYTES)
    if not head:
        raise refusal(opened.shown, "is empty", "record or copy it again", reason=Reason.FILE)
    name = opened.given.lower().removesuffix(".gz")
    kind = kind_of(head)
    # Each format's reader is loaded when a file needs it: all of them take a tenth of the start.
    if kind in ("VCD", "FST"):
        if isinstance(bit, str):
            raise FieldError("bit", f"the number of a bit, for {kind}", bit)
        if kind == "VCD":
            from dccwire.recordings.vcd import open_vcd

            return open_vcd(opened, signal, unit, bit)
        from dccwire.recordings.fst import open_fst

        return open_fst(opened, signal, bit)
    if kind == "NumPy":
        from dccwire.recordings.samples import NumpySource

        return NumpySource(opened, unit)
    if kind == "UTF-16":
        raise refusal(opened.shown, "the text is UTF-16", "save it as UTF-8")
    expected = _EXPECTED.get(splitext(name)[1])
    bare = expected == _TEXT and bit is None and not _NO_TEXT.search(head)  # a header alone
    if bare or (kind == "text" and not name.endswith(".vcd")):
        from dccwire.recordings.tables import open_table

        return open_table(opened, signal, rate, unit)
    if (rate is None and bit is None) or (expected and (rate is None or bit is None)):
        told = f"is not {expected or 'VCD, FST, NumPy or text of numbers'}"
        hint = "if it holds raw samples, give rate=HZ and bit=N"
        raise refusal(opened.shown, told, hint)
    from dccwire.recordings.samples import SampleClock, SampleSource

    clock = SampleClock(rate, opened.shown)
    if bit is None:
        hint = (
            "give bit=N, 0 to 7 (a byte a sample), or bit=lsb or bit=msb (eight samples to a "
            "byte, the first one in its least or most significant bit)"
        )
        raise refusal(opened.shown, "the layout of the samples is not known", hint)
    if isinstance(bit, int) and bit > 7:
        raise FieldError("bit", "0 to 7, lsb or msb, for raw samples", bit)
    return SampleSource(opened, clock, bit)


def kind_of(head: bytes) -> str:
    r"""Tell a format by the first bytes of a file, gzip taken off.

    >>> kind_of(b"$date today $end"), kind_of(b"Time [s],track\n0.0,1\n")
    ('VCD', 'text')
    """
    for kind, start in _STARTS.items():
        if re.match(start, head):
            return kind
    # A digit is asked for too: samples, a byte each, may by chance be letters.
    return "text" if not _NO_TEXT.search(head) and re.search(rb"\d", head) else "unknown"


def _bit(bit: int | str | None) -> int | str | None:
    """A number, "lsb", "msb" or None."""
    if bit is None or bit in ("lsb", "msb"):
        return bit
    try:
        number = int(bit)
    except (TypeError, ValueError, OverflowError):
        number = -1
    if not 0 <= number < 1 << 20:
        raise FieldError("bit", "a number from 0 up, lsb or msb", bit)
    return number
