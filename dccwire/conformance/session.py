"""What is known of a session besides its recording; what is not said is None, and not known.

Room: values alone; nothing is judged here.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Access(StrEnum):
    """A mode by which a programmer gets at CVs (S-9.2.3 §E)."""

    DIRECT = "direct"
    ADDRESS_ONLY = "address-only"
    REGISTER = "register"
    PAGED = "paged"


@dataclass(frozen=True, slots=True)
class Session:
    """What the rules ask for that no recording shows.

    `programming_track`: whether service mode is meant to be sent; `consists`: the short addresses
    that consists use; `every_30_ms`: whether the station is set so that a packet comes every 30 ms
    (S-9.2 §C); `power_on_ns`: when power came on; `new`: whether there was no earlier state then
    (S-9.2.4 §A); `access`: the one mode by which packets of three bytes get at CVs in service mode.
    """

    programming_track: bool | None = None
    consists: frozenset[int] | None = None
    every_30_ms: bool | None = None
    power_on_ns: tuple[int, ...] | None = None
    new: bool | None = None
    access: Access | None = None
