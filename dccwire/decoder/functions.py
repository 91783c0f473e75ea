"""Functions, binary states and analog outputs: what is on.

FL is two switches, one a direction, since CV 22 enables them apart. Room: no imports from the rest
of the decoder but `motion`, whose direction says which FL shows.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache

from dccwire.decoder.motion import Direction

FL_FORWARD, FL_REVERSE = 1, 2
HIGHEST = 68
"""The highest function that any format carries (from memory; F28 in the 2012 edition)."""

ALL = (1 << HIGHEST + 2) - 1
"""Every switch: FL forward, FL reverse, F1 (bit 2) to F68."""

HIGHEST_SHORT, HIGHEST_LONG = 127, 32767
"""The highest binary states of the short and the long form (S-9.2.1 §C, Binary State Control)."""


LIGHTS = {"FL": 0b11, "F0": 0b11, "FL-forward": FL_FORWARD, "FL-reverse": FL_REVERSE}


@lru_cache(maxsize=1024)
def switches(names: tuple[str, ...], functions: int = -1) -> int:
    """The switches of the names whose bit is set, the first name's bit 0; F0 is FL.

    >>> switches(("F1", "FL"), 0b11), switches(("FL-reverse", "F2"))
    (7, 10)
    """
    found = 0
    for position, name in enumerate(names):
        if functions >> position & 1:
            found |= LIGHTS.get(name) or 2 << int(name[1:])
    return found


@dataclass(slots=True)
class Switches:
    """The switches that are on, as bits; binary state n is bit n; analog outputs by number."""

    on: int = 0
    binary: int = 0
    analog: dict[int, int] = field(default_factory=dict)

    def switch(self, names: tuple[str, ...], functions: int, enabled: int = ALL) -> None:
        """Set the functions of a group, as far as they are enabled."""
        covered = switches(names) & enabled
        self.on = self.on & ~covered | switches(names, functions) & covered

    def set_binary(self, state: int, highest: int, on: bool) -> None:
        """Set a binary state, or with 0 all of them up to `highest`."""
        changed = 1 << state if state else (2 << highest) - 2
        self.binary = self.binary | changed if on else self.binary & ~changed

    def names(self, direction: Direction) -> Iterator[str]:
        """The functions that are on; FL if that of the direction is."""
        if self.on & (FL_FORWARD if direction is Direction.FORWARD else FL_REVERSE):
            yield "FL"
        for number in range(1, HIGHEST + 1):
            if self.on & 2 << number:
                yield f"F{number}"

    def states(self) -> frozenset[int]:
        """The binary states that are on."""
        return frozenset(n for n in range(self.binary.bit_length()) if self.binary >> n & 1)
