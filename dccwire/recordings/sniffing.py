"""Which format a file is of, by its content."""

from __future__ import annotations

import codecs
import re

__all__ = ["FST", "NUMPY", "TEXT", "UNKNOWN", "UTF16", "VCD", "kind_of"]

VCD, FST, NUMPY, TEXT, UTF16, UNKNOWN = "VCD", "FST", "NumPy", "text", "UTF-16", "unknown"

#: An FST file begins with a block of type 0 that is 329 bytes long.
FST_START = b"\x00" + (329).to_bytes(8, "big")
_VCD_START = re.compile(rb"(?:\xef\xbb\xbf)?[\x00-\x20]*\$[a-z]")
_NO_TEXT = re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


def kind_of(head: bytes) -> str:
    r"""Tell a format by the first bytes of a file, gzip taken off.

    >>> kind_of(b"$date today $end"), kind_of(b"Time [s],track\n0.0,1\n")
    ('VCD', 'text')
    """
    if head.startswith(b"\x93NUMPY"):
        return NUMPY
    if head.startswith(FST_START):
        return FST
    if _VCD_START.match(head):
        return VCD
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return UTF16
    # A digit is asked for too: samples, a byte each, may by chance be letters.
    if not _NO_TEXT.search(head) and re.search(rb"\d", head):
        return TEXT
    return UNKNOWN
