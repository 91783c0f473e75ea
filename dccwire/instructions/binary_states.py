"""Binary state control: switches beyond the functions (S-9.2.1 §C, feature expansion)."""

from __future__ import annotations

from collections.abc import Iterator

from dccwire.errors import Reason
from dccwire.fields import Flag
from dccwire.formats import Instruction, Remark, instruction, reserved

__all__ = ["BinaryStateLongForm", "BinaryStateShortForm"]


@instruction(
    "11000000 DLLLLLLL HHHHHHHH",
    "S-9.2.1 §C, Binary State Control, long form",
    fields={"on": Flag("D"), "state": "H L"},
)
class BinaryStateLongForm(Instruction):
    """Binary state H × 128 + L (X23), 1 to 32767; 0 means all of them.

    >>> bytes(BinaryStateLongForm(on=True, state=300)).hex(" ")
    'c0 ac 02'
    """

    on: bool
    state: int

    def remarks(self) -> Iterator[Remark]:
        """States 1 to 127 belong in the short form (X21)."""
        if 1 <= self.state <= 127:
            yield Remark(
                Reason.DISCOURAGED,
                "binary states 1 to 127 are to be sent in the short form (X21)",
                "S-9.2.1 §C, Binary State Control, long form",
            )


@instruction(
    "11011101 DLLLLLLL",
    "S-9.2.1 §C, Binary State Control, short form",
    fields={"on": Flag("D"), "state": "L"},
)
class BinaryStateShortForm(Instruction):
    """Binary state 1 to 127; 0 means all 127 of them.

    >>> bytes(BinaryStateShortForm(on=False, state=0)).hex(" ")
    'dd 00'
    """

    on: bool
    state: int


reserved("110CCCCC", clause="S-9.2.1 §C, Feature Expansion")
