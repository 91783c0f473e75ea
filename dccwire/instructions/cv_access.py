"""Configuration variable access, CCC = 111 (S-9.2.1 §C); CVs are numbered from 1.

A write on the main takes effect at the second identical packet and changes every decoder at that
address; accessories carry the same instruction behind their address (`dccwire.accessory`).
"""

from enum import Enum

from dccwire.fields import Choice, FieldKind, Number
from dccwire.formats import Instruction, instruction, reserved

__all__ = [
    "CvAccessLongForm",
    "CvAccessShortForm",
    "CvAdjustment",
    "CvBitManipulation",
    "CvOperation",
]


class CvOperation(Enum):
    """What a CV access asks for: CC of the byte form, C of the bit form."""

    VERIFY = "verify"
    WRITE = "write"


class CvAdjustment(Enum):
    """What the short form writes: CCCC (S-9.2.1 §C, CV access short form)."""

    ACCELERATION = 0b0010
    DECELERATION = 0b0011


BYTE_LINE = "1110CCVV VVVVVVVV DDDDDDDD"
BIT_LINE = "111010VV VVVVVVVV 111CDBBB"
BYTE_FIELDS: dict[str, FieldKind] = {
    "operation": Choice("C", {0b01: CvOperation.VERIFY, 0b11: CvOperation.WRITE}),
    "cv": Number("V + 1"),
    "value": Number("D"),
}
BIT_FIELDS: dict[str, FieldKind] = {
    "operation": Choice("C", {0: CvOperation.VERIFY, 1: CvOperation.WRITE}),
    "cv": Number("V + 1"),
    "bit": Number("B"),
    "value": Number("D"),
}


@instruction(BYTE_LINE, "S-9.2.1 §C, CV access long form", fields=BYTE_FIELDS)
class CvAccessLongForm(Instruction):
    """Verify or write a byte of CV 1 to 1024; CC = 00 is reserved, 10 is `CvBitManipulation`.

    >>> bytes(CvAccessLongForm(CvOperation.WRITE, cv=29, value=38)).hex(" ")
    'ec 1c 26'
    """

    operation: CvOperation
    cv: int
    value: int


@instruction(BIT_LINE, "S-9.2.1 §C, CV access long form, bit manipulation", fields=BIT_FIELDS)
class CvBitManipulation(Instruction):
    """Verify or write one bit of a CV: its position `bit`, 0 to 7, and its `value`, 0 or 1.

    >>> bytes(CvBitManipulation(CvOperation.WRITE, cv=29, bit=5, value=1)).hex(" ")
    'e8 1c fd'
    """

    operation: CvOperation
    cv: int
    bit: int
    value: int


@instruction(
    "1111CCCC DDDDDDDD",
    "S-9.2.1 §C, CV access short form",
    fields={"adjustment": Choice("C", {one.value: one for one in CvAdjustment}), "value": "D"},
)
class CvAccessShortForm(Instruction):
    """Write the acceleration (CV 23) or deceleration (CV 24) adjustment; one packet is enough."""

    adjustment: CvAdjustment
    value: int


reserved("111000VV", clause="S-9.2.1 §C, CV access long form")
reserved(
    "1111000D",
    "111101DD",
    "11111000",
    "1111101D",
    "111111DD",
    clause="S-9.2.1 §C, CV access short form",
)
