"""Consist control, CCC = 000, first nibble 1 (S-9.2.1 §C)."""

from __future__ import annotations

from dccwire.fields import Flag
from dccwire.formats import Instruction, instruction, reserved

__all__ = ["ConsistControl"]


@instruction(
    "0001CCCC 0AAAAAAA",
    "S-9.2.1 §C, Consist Control",
    fields={"reversed": Flag("C", off=0b0010, on=0b0011), "consist": "A"},
)
class ConsistControl(Instruction):
    """Set the 7-bit consist address of CV 19; address 0 takes the unit out of its consist.

    `reversed` is the unit's direction in the consist (CV 19 bit 7).

    >>> bytes(ConsistControl(reversed=True, consist=73)).hex(" ")
    '13 49'
    """

    reversed: bool
    consist: int


reserved("0001CCCC", "0001CCCC 1AAAAAAA", clause="S-9.2.1 §C, Consist Control")
