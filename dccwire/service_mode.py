"""Service mode packets: the programming track (S-9.2.3 §E and appendices).

They name no address: whatever decoder stands on the programming track is meant. The same bytes are
short addresses 112 to 127 in operations mode, so a mode must be given (C16, P10). Room: single
packets; their sequences are elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from dccwire.address import Mode, Partition
from dccwire.errors import Reason
from dccwire.fields import Choice, Number
from dccwire.formats import Instruction, NamedReading, Remark, instruction
from dccwire.instructions.cv_access import CvOperation

__all__ = [
    "AddressOnlyAccess",
    "AddressQuery",
    "DataRegisterAccess",
    "DecoderFactoryReset",
    "DecoderLock",
    "DirectBitManipulation",
    "DirectByteAccess",
    "PagePreset",
    "PageRegisterAccess",
    "RegisterAccess",
]

PAGE_REGISTER, PRESET_PAGE = 6, 1
"""The physical register that holds the page in paged mode (P9), and its default (S-9.2.3 §E)."""

REGISTER_CVS = {1: 1, 2: 2, 3: 3, 4: 4, 5: 29, 7: 7, 8: 8}
"""The CVs of a locomotive's other registers (S-9.2.3 §E, Physical Register Addressing)."""

ACCESSORY_REGISTERS = {cv: cv % 512 for cv in (1, 7, 8, 513, 519, 520)}
"""The registers of an accessory decoder's CVs, by new and old number: both name the same content.

S-9.2.3 §E prints 513, 7 and 520 (P20); that 519 is CV 7 stands in S-9.2.2, Table 3.
"""


def _to(partition: Partition) -> dict[str, Any]:
    return {"partitions": frozenset({partition}), "mode": Mode.SERVICE}


TRACK = _to(Partition.PROGRAMMING)
ONE_BIT = Choice("C", {0: CvOperation.VERIFY, 1: CvOperation.WRITE})
TWO_BITS = Choice("C", {0b01: CvOperation.VERIFY, 0b11: CvOperation.WRITE})


def _open_cv(self: DirectByteAccess | DirectBitManipulation) -> Iterator[Remark]:
    """CV 1024 is open."""
    if self.cv == 1024:
        message = "the text gives CV 1 to 1023, the ten bits reach CV 1024 (P3)"
        yield Remark(Reason.OPEN, message, "S-9.2.3 §E, Direct Mode")


@instruction(
    "0111CCAA AAAAAAAA DDDDDDDD",
    "S-9.2.3 §E, Direct Mode",
    **TRACK,
    ends=True,
    fields={"operation": TWO_BITS, "cv": "A + 1", "value": "D"},
)
class DirectByteAccess(Instruction):
    """Verify or write a byte of CV 1 to 1024 (the text says 1023: P3); CC = 00 is none (P4).

    >>> bytes(DirectByteAccess(CvOperation.WRITE, cv=29, value=38)).hex(" ")
    '7c 1c 26'
    """

    operation: CvOperation
    cv: int
    value: int

    remarks = _open_cv


@instruction(
    "011110AA AAAAAAAA 111CDBBB",
    "S-9.2.3 §E, Direct Mode, bit manipulation",
    **TRACK,
    ends=True,
    fields={"operation": ONE_BIT, "cv": "A + 1", "bit": "B", "value": "D"},
)
class DirectBitManipulation(Instruction):
    """Verify or write one bit of a CV: its position `bit`, 0 to 7, and its `value`, 0 or 1."""

    operation: CvOperation
    cv: int
    bit: int
    value: int

    remarks = _open_cv


@instruction(
    "0111CRRR DDDDDDDD",
    "S-9.2.3 §E, Physical Register Addressing",
    **TRACK,
    ends=True,
    fields={"operation": ONE_BIT, "register": "R + 1", "value": "D"},
)
class RegisterAccess(Instruction):
    """Verify or write a physical register, 1 to 8: those of `REGISTER_CVS`, and the page register.

    In paged mode the same bytes have other names.

    >>> bytes(RegisterAccess(CvOperation.WRITE, register=8, value=8)).hex(" ")
    '7f 08'
    """

    operation: CvOperation
    register: int
    value: int


@instruction(
    "0111C000 0DDDDDDD",
    "S-9.2.3 §E, Address-Only Mode",
    **TRACK,
    reading="address only",
    fields={"operation": ONE_BIT, "value": "D"},
)
class AddressOnlyAccess(NamedReading):
    """Verify or write CV 1: a reading of `RegisterAccess` to register 1 (P5)."""

    operation: CvOperation
    value: int


@instruction(
    "0111C101 DDDDDDDD",
    "S-9.2.3 §E, Paged CV Addressing",
    **TRACK,
    reading="page register (paged mode)",
    fields={"operation": ONE_BIT, "page": "D"},
)
class PageRegisterAccess(NamedReading):
    """Verify or write the page register: a reading of `RegisterAccess` to register 6 (P9)."""

    operation: CvOperation
    page: int


@instruction(
    "0111C0RR DDDDDDDD",
    "S-9.2.3 §E, Paged CV Addressing",
    **TRACK,
    reading="data register (paged mode)",
    fields={"operation": ONE_BIT, "register": "R", "value": "D"},
)
class DataRegisterAccess(NamedReading):
    """Verify or write data register 0 to 3 of the page: a reading of `RegisterAccess` (P8)."""

    operation: CvOperation
    register: int
    value: int


@instruction("01111101 00000001", "S-9.2.3 §E, Page Preset", **TRACK, reading="page preset")
class PagePreset(NamedReading):
    """Page 1 into the page register; in operations mode a hard reset to short address 125 (P10)."""


@instruction(
    "01111111 00001000",
    "S-9.2.3 §E, Decoder Factory Reset",
    **TRACK,
    reading="decoder factory reset",
)
class DecoderFactoryReset(NamedReading):
    """All CVs to factory values: in bytes the write that stores 8 in register 8 (P11)."""


@instruction("11111001", "S-9.2.3 Appendix A, Address Query", **_to(Partition.SHORT), ends=True)
class AddressQuery(Instruction):
    """Ask whether a decoder has this short address, 1 to 111 (from 112 on: P12)."""


@instruction(
    "11111001 0AAAAAAA",
    "S-9.2.3 Appendix B, Decoder Lock",
    **_to(Partition.BROADCAST),
    ends=True,
    fields={"unlocked": Number("A", legal=range(1, 128))},
)
class DecoderLock(Instruction):
    """All decoders but that of one short address ignore service mode; 0 is no address (P13)."""

    unlocked: int
