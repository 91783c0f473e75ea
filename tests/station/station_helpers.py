"""A harbour railway, wishes drawn for it, and its station's packets with their times.

The fleet has all kinds of addresses and steps, a number twice (short 5 and long 5), addresses that
look like service mode (112 to 127), and a consist, 9, of long 1205 and short 5.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from hypothesis import strategies as st

from dccwire import (
    AccessoryAddress,
    BasicAccessory,
    ExtendedAccessory,
    ExtendedAccessoryAddress,
    LongAddress,
    Packet,
    ShortAddress,
)
from dccwire.station import Station

CONSIST = ShortAddress(9)
UNITS = LongAddress(1205), ShortAddress(5)
FLEET: dict[Any, int] = {
    ShortAddress(3): 14,
    ShortAddress(5): 28,
    LongAddress(5): 28,
    LongAddress(1205): 128,
    ShortAddress(112): 28,
    ShortAddress(127): 128,
    CONSIST: 128,
}
"""The locomotives, and the address of the consist, with their steps."""

MOST = {14: 14, 28: 28, 128: 126}
NAMES = ("FL", *(f"F{number}" for number in range(1, 29)))
CVS = (2, 3, 4, 5, 6, 65, 66, 95)
"""CVs that change nothing of what a decoder listens to."""

Wish = tuple[Any, ...]


class Sent(NamedTuple):
    """Bytes, when their start bit begins and their end bit ends, and what is known besides."""

    data: bytes
    start: int
    end: int
    coupled: bool = False


class Run:
    """A station that is told wishes; it keeps all that came of them."""

    def __init__(self, *, new: bool = True) -> None:
        self.station, self.new = Station(new=new), new
        self.now = 0
        self.sent: list[Sent] = []
        self.coupled = False
        self.added: set[Any] = set()
        # Before which packet each wish came.
        self.told: list[tuple[int, Wish]] = []

    def next(self, count: int = 1) -> None:
        """Send packets, each with 14 ones: 116 µs a one, 200 µs a zero (S-9.1 §A, Table 1)."""
        for _ in range(count):
            data = bytes(self.station.next())
            ones = sum(byte.bit_count() for byte in data)
            start = self.now + 14 * 116_000
            self.now = start + (ones + 1) * 116_000 + (9 * len(data) - ones) * 200_000
            self.sent.append(Sent(data, start, self.now, self.coupled))

    def drain(self, most: int = 5000) -> None:
        """Send until nothing waits."""
        for _ in range(most):
            if not self.station.waiting:
                return
            self.next()
        raise AssertionError(f"{self.station.waiting} wait after {most} packets")

    def tell(self, wish: Wish) -> None:
        """Tell a wish, and before it that of the locomotive; what would be refused is left out."""
        kind, *words = wish
        if kind == "next":
            self.next(*words)
        elif self._ready(kind, words):
            self._call(kind, *words)

    def _ready(self, kind: str, words: Sequence[Any]) -> bool:
        address = words[0] if words else None
        if kind in ("add", "remove"):
            return (address in self.added) is (kind == "remove")
        if kind == "write":
            return address != CONSIST  # any time it may be one
        if address in FLEET and kind in ("drive", "switch", "stop") and address not in self.added:
            self._call("add", address)
        return True

    def _call(self, kind: str, *words: Any) -> None:
        self.told.append((len(self.sent), (kind, *words)))
        station = self.station
        match kind, words:
            case "add", (address,):
                self.added.add(address)
                station.add(address, steps=FLEET[address])
            case "remove", (address,):
                self.added.remove(address)
                station.remove(address)
            case "drive", (address, step, forward):
                station.drive(address, step=min(step, MOST[FLEET[address]]), forward=forward)
            case "switch", (address, name, on):
                station.switch(address, name, on=on)
            case "stop", addresses:
                station.stop(*addresses)
            case "operate", (packet,):
                station.operate(packet)
            case "write", (address, cv, value):
                station.write(address, cv=cv, value=value)
            case "couple", ():
                self.coupled = True
                station.couple(CONSIST, *UNITS)
            case "uncouple", ():
                if self.coupled:
                    station.uncouple(CONSIST)
                self.coupled = False

    def tell_all(self, wishes: Iterable[Wish]) -> Run:
        """Tell them in turn."""
        for wish in wishes:
            self.tell(wish)
        return self


addresses = st.sampled_from(list(FLEET))
packets = st.one_of(
    st.builds(
        lambda address, pair, output, active: Packet(
            AccessoryAddress(address), BasicAccessory(active=active, pair=pair, output=output)
        ),
        st.sampled_from((0, 31, 32, 511)),
        st.integers(0, 3),
        st.integers(0, 1),
        st.booleans(),
    ),
    st.builds(
        lambda address, aspect: Packet(
            ExtendedAccessoryAddress(address), ExtendedAccessory(aspect=aspect)
        ),
        st.sampled_from((31, 120, 2047)),
        st.integers(0, 31),
    ),
)
DRIVES = st.tuples(st.just("drive"), addresses, st.integers(0, 126), st.booleans())
SWITCHES = st.tuples(st.just("switch"), addresses, st.sampled_from((*NAMES, "F0")), st.booleans())
WRITES = st.tuples(st.just("write"), addresses, st.sampled_from(CVS), st.integers(0, 255))
STOPS = st.one_of(st.just(("stop",)), st.tuples(st.just("stop"), addresses))
OPERATES = st.tuples(st.just("operate"), packets)
ADDED = st.tuples(st.sampled_from(("add", "remove")), addresses)
NEXTS = st.tuples(st.just("next"), st.integers(1, 12))
COUPLES = st.sampled_from((("couple",), ("uncouple",)))

WISHES = st.lists(
    st.one_of(DRIVES, SWITCHES, WRITES, STOPS, OPERATES, ADDED, NEXTS, NEXTS), max_size=40
)
"""All wishes but consists."""

COUPLED_WISHES = st.lists(
    st.one_of(DRIVES, SWITCHES, WRITES, STOPS, OPERATES, ADDED, COUPLES, NEXTS, NEXTS), max_size=40
)
