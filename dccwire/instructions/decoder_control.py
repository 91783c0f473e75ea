"""Decoder and consist control, CCC = 000 (S-9.2.1 §C), and the idle packet (S-9.2 §B)."""

from collections.abc import Iterator
from enum import Enum

from dccwire.address import Partition
from dccwire.errors import Reason
from dccwire.fields import Choice, Flag
from dccwire.formats import Instruction, NamedReading, Remark, instruction, reserved

__all__ = [
    "ConsistControl",
    "DecoderAcknowledgementRequest",
    "DecoderFlag",
    "DigitalDecoderReset",
    "FactoryTest",
    "HardReset",
    "Idle",
    "Reset",
    "SetDecoderFlags",
    "SetExtendedAddressing",
]


@instruction("00000000", "S-9.2 §B, Idle", partitions=frozenset({Partition.IDLE}), ends=True)
class Idle(Instruction):
    """Nothing to do, for anyone."""


@instruction("00000000", "S-9.2.1 §C, Digital Decoder Reset")
class DigitalDecoderReset(Instruction):
    """Clear volatile state and stop at once; to the broadcast address it is the reset packet (C10).

    >>> bytes(DigitalDecoderReset()).hex()
    '00'
    """


@instruction(
    "00000000", "S-9.2 §B, Reset", partitions=frozenset({Partition.BROADCAST}), reading="reset"
)
class Reset(NamedReading):
    """The reset packet of S-9.2, `00 00 00`: a reading of `DigitalDecoderReset` (C10)."""


@instruction("00000001", "S-9.2.1 §C, Hard Reset")
class HardReset(Instruction):
    """CV 19 to 0, CV 29, 31 and 32 as the factory left them, and all that a decoder reset does."""


@instruction("0000001D", "S-9.2.1 §C, Factory Test", ends=True, fields={"d": "D"})
class FactoryTest(Instruction):
    """Factory test; the one-byte form is recognised, longer ones are open (X9)."""

    d: int

    def remarks(self) -> Iterator[Remark]:
        message = "a factory test is never sent in normal operation"
        yield Remark(Reason.DISCOURAGED, message, self.clause)


class DecoderFlag(Enum):
    """What `SetDecoderFlags` sets or clears: CCCC of its second byte (S-9.2.1 §C)."""

    DISABLE_CV_ACCESS = 0b0000
    DISABLE_ACKNOWLEDGEMENT_REQUEST = 0b0100
    ACTIVATE_BIDIRECTIONAL_COMMUNICATION = 0b0101
    SET_BIDIRECTIONAL_COMMUNICATION = 0b1000
    SET_CV_ACCESS = 0b1001
    ACCEPT_CV_ACCESS = 0b1111


@instruction(
    "0000011D CCCC0SSS",
    "S-9.2.1 §C, Set Decoder Flags",
    fields={
        "set": Flag("D"),
        "flag": Choice("C", {flag.value: flag for flag in DecoderFlag}),
        "sub_address": "S",
    },
)
class SetDecoderFlags(Instruction):
    """Set or clear a decoder flag; `sub_address` 0 means all. The effect of D is open (X11).

    >>> bytes(SetDecoderFlags(set=True, flag=DecoderFlag.ACCEPT_CV_ACCESS, sub_address=0)).hex(" ")
    '07 f0'
    """

    set: bool
    flag: DecoderFlag
    sub_address: int


@instruction("0000101D", "S-9.2.1 §C, Set Extended Addressing", fields={"extended": Flag("D")})
class SetExtendedAddressing(Instruction):
    """Set bit 5 of CV 29 to D: true makes the decoder answer to its long address."""

    extended: bool


@instruction("0000111D", "S-9.2.1 §C, Decoder Acknowledgement Request", fields={"d": "D"})
class DecoderAcknowledgementRequest(Instruction):
    """Ask for an acknowledgement; `d` is 1 as printed, 0 is recognised and open (X10).

    >>> bytes(DecoderAcknowledgementRequest()).hex()
    '0f'
    """

    d: int = 1

    def remarks(self) -> Iterator[Remark]:
        if self.d == 0:
            message = "the standard prints the acknowledgement request with D = 1 only (X10)"
            yield Remark(Reason.OPEN, message, self.clause)


reserved("0000010D", "0000100D", "0000110D", clause="S-9.2.1 §C, Decoder Control")


@instruction(
    "0001CCCC 0AAAAAAA",
    "S-9.2.1 §C, Consist Control",
    fields={"reversed": Flag("C", off=0b0010, on=0b0011), "consist": "A"},
)
class ConsistControl(Instruction):
    """Set the 7-bit consist address of CV 19; address 0 ends its consist for the unit.

    `reversed` is the unit's direction in the consist (CV 19 bit 7).

    >>> bytes(ConsistControl(reversed=True, consist=73)).hex(" ")
    '13 49'
    """

    reversed: bool
    consist: int


reserved("0001CCCC", "0001CCCC 1AAAAAAA", clause="S-9.2.1 §C, Consist Control")
