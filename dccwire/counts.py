"""How many packets of each kind the standard demands (S-9.2.3 §E): the one table.

The defaults are the minimum. A programmer may send more, never fewer, except where an
acknowledgement ends a step early. Room: numbers and their clauses, no packets.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any

from dccwire.address import Mode
from dccwire.errors import FieldError
from dccwire.framing import least_preamble

__all__ = ["Counts", "DirectCounts", "HardResetCounts", "MainCounts", "RegisterCounts"]


START_RESETS, START_IDLES = 20, 10
"""Packets where power comes on and no earlier state is known, before any other (S-9.2.4 §A)."""

ANSWERABLE = 2
"""The packet of a verify or of a write from whose end bit on an answer counts (S-9.2.3 §D, P17)."""


def _least(count: int, clause: str) -> Any:
    return field(default=count, metadata={"least": count, "clause": clause})


@dataclass(frozen=True, slots=True)
class _Raised:
    """Counts that can be raised above their defaults, not lowered."""

    def __post_init__(self) -> None:
        for count in fields(self):
            value, least = getattr(self, count.name), count.metadata["least"]
            if type(value) is not int or value < least:
                bound = f"{least} or more ({count.metadata['clause']})"
                raise FieldError(count.name, bound, value)


@dataclass(frozen=True, slots=True, kw_only=True)
class _OnProgrammingTrack(_Raised):
    """What all sequences of a programming track have in common."""

    preamble: int = _least(least_preamble(Mode.SERVICE), "S-9.2.3 §E, Long Preamble")
    """Ones before each packet; the end bit of the packet before is not counted (P16, C2)."""
    power_on: int = _least(20, "S-9.2.3 §E, Power-On Cycle")
    """Valid packets once the power is on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts(_OnProgrammingTrack):
    """The counts of paged and of address-only mode, and what all modes have in common.

    Direct mode has no page register and sends none of the page steps. A page preset is a write of 1
    to the page register, so both have the same counts.

    Raises:
        FieldError: a count below the minimum.

    >>> Counts(writes=4)
    Traceback (most recent call last):
    dccwire.errors.FieldError: writes: 5 or more (S-9.2.3 §E) expected, 4 given
    """

    resets: int = _least(3, "S-9.2.3 §E")
    """Reset packets before a group, or before a run of verify groups."""
    page_writes: int = _least(5, "S-9.2.3 §E, Paged CV Addressing; Page Preset")
    page_recovery: int = _least(6, "S-9.2.3 §E, Paged CV Addressing; Page Preset")
    """Reset packets after them."""
    verifies: int = _least(5, "S-9.2.3 §E")
    """Identical verify packets of a group."""
    acknowledged_resets: int = _least(0, "the standard asks for it in direct mode alone")
    """Reset packets behind each acknowledged group of verifies."""
    writes: int = _least(5, "S-9.2.3 §E")
    """Identical write packets of a group."""
    recovery: int = _least(6, "S-9.2.3 §E, Decoder Recovery Time")
    """Reset packets after the writes (the standard also allows more of the same writes)."""
    long_recovery: int = _least(10, "S-9.2.3 §E, Address-Only Mode; Physical Register Addressing")
    """The same after a write to register 1, in address-only and in register mode."""
    between_cvs: int = _least(0, "the standard asks for none")
    """More reset packets before each CV of a job, as a programmer may send that takes its time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DirectCounts(Counts):
    """The counts of direct mode: a reset after an acknowledged verify group (P2)."""

    acknowledged_resets: int = _least(1, "S-9.2.3 §E, Direct Mode")


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterCounts(Counts):
    """The counts of register mode: seven verifies (P1)."""

    verifies: int = _least(7, "S-9.2.3 §E, Physical Register Addressing")


@dataclass(frozen=True, slots=True, kw_only=True)
class HardResetCounts(_OnProgrammingTrack):
    """The counts of the hard reset cycle; how many hard resets it takes is not stated: one."""

    hard_resets: int = _least(1, "S-9.2.3 §E, Hard-Reset-Cycle")
    after: int = _least(10, "S-9.2.3 §E, Hard-Reset-Cycle")
    """Idle or reset packets after the hard reset."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MainCounts(_Raised):
    """The counts of a CV write in operations mode: the second identical packet is obeyed."""

    preamble: int = _least(least_preamble(Mode.OPERATIONS), "S-9.2 §A, Preamble")
    writes: int = _least(2, "S-9.2.1 §C, CV access long form")
    idles: int = _least(1, "5 ms between packets to one address, S-9.2 §C and footnote 11; C13")
    """Idle packets after each of them."""
