"""The idle packet `FF 00 FF` (S-9.2 §B, Idle; S-9.2.1 §A)."""

from __future__ import annotations

from dccwire.address import Partition
from dccwire.formats import Instruction, instruction

__all__ = ["Idle"]


@instruction("00000000", "S-9.2 §B, Idle", partitions=frozenset({Partition.IDLE}), ends=True)
class Idle(Instruction):
    """Nothing to do, for anyone."""
