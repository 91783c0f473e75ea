"""Which addresses were sent to: packets of each kind, how often, and the longest times without one.

Room: packets in, rows of a table out; nothing is judged here.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np

from dccwire.address import Partition
from dccwire.receiver.columns import Times
from dccwire.wording import KINDS


@dataclass(frozen=True, slots=True)
class AddressRow:
    """An address, its packets by kind, and its times in ns.

    `longest_ns` is the longest time from one packet's start bit to the next one's, `without_ns`
    that from the end bit before; None where only one packet came. `first_ns` and `last_ns` are
    start bits; of several `recordings` they are as far apart as in all of them together.
    """

    address: str
    packets: dict[str, int]
    first_ns: int
    last_ns: int
    longest_ns: int | None
    without_ns: int | None
    recordings: int = 1

    @property
    def count(self) -> int:
        """All packets to it."""
        return sum(self.packets.values())

    @property
    def rate_hz(self) -> float | None:
        """Packets a second from the first to the last; None where only one came."""
        lasts = self.last_ns - self.first_ns
        return (self.count - self.recordings) * 1e9 / lasts if lasts else None

    def to_dict(self) -> dict[str, Any]:
        """The row as JSON holds it."""
        return {
            "address": self.address,
            "packets": self.packets,
            "rate_hz": self.rate_hz,
            "first_ns": self.first_ns,
            "last_ns": self.last_ns,
            "longest_ns": self.longest_ns,
            "without_ns": self.without_ns,
        }


class AddressTable:
    """Collects the times of packets by the numbers of their addresses."""

    def __init__(self) -> None:
        self._firsts, self._starts, self._ends = (np.full(0, -1, np.int64) for _ in range(3))
        self._slack = np.full(0, -1, np.int64)
        self._longest, self._without = np.full(0, -1, np.int64), np.full(0, -1, np.int64)

    def add(
        self, starts: Times, ends: Times, numbers: Times, within: int = 0
    ) -> tuple[Times, Times]:
        """Take packets, sorted by the number of their address and by time, in that order.

        What comes back is when the packet before each of them, to the same address, ended, -1 if
        there was none; and how far from there to its start may be off besides, as `within` says of
        start and end of these.
        """
        more = int(numbers[-1]) + 1 - len(self._firsts)
        if more > 0:
            names = "_firsts", "_starts", "_ends", "_slack", "_longest", "_without"
            for name in names:
                setattr(self, name, np.append(getattr(self, name), np.full(more, -1)))
        new = np.flatnonzero(np.diff(numbers, prepend=-1))
        last = np.append(new[1:], len(numbers)) - 1
        met = numbers[new]
        started, ended = (np.concatenate(([0], one[:-1])) for one in (starts, ends))
        started[new], ended[new] = self._starts[met], self._ends[met]
        self._firsts[met] = np.where(self._firsts[met] < 0, starts[new], self._firsts[met])
        slack = np.full(len(numbers), 2 * within)
        slack[new] = self._slack[met] + within
        self._starts[met], self._ends[met], self._slack[met] = starts[last], ends[last], within
        known = ended >= 0
        for worst, since in ((self._longest, started), (self._without, ended)):
            times = np.where(known, starts - since, -1)
            worst[met] = np.maximum(worst[met], np.maximum.reduceat(times, new))
        return ended, slack

    def rows(self, names: dict[int, str], packets: dict[int, Counter[str]]) -> list[AddressRow]:
        """The table, given the addresses by their numbers and how many packets of which kind."""
        made = []
        for number, name in names.items():
            kinds = {kind: packets[number][kind] for kind in KINDS if packets[number][kind]}
            columns = self._firsts, self._starts, self._longest, self._without
            first, last, longest, without = (int(one[number]) for one in columns)
            some = None if longest < 0 else longest
            made.append(
                AddressRow(name, kinds, first, last, some, None if without < 0 else without)
            )
        return sorted(made, key=lambda one: (one.first_ns, one.address))


def kind_of(data: bytes) -> str:
    """What the first instruction of a packet is about, by its code (S-9.2.1 §C, §D)."""
    first = data[0]
    if first in Partition.ACCESSORY.value:
        return "accessory" if len(data) < 5 else "cv"
    code = data[2] if first in Partition.LONG.value else data[1]
    if code >> 6 == 0b01 or code == 0b00111111:
        return "speed"
    if code >> 6 == 0b10 or code in (0b11011110, 0b11011111):
        return "functions"
    if code in (0b11000000, 0b11011101):
        return "states"
    return {0b000: "control", 0b111: "cv"}.get(code >> 5, "other")
