"""Packets that a station chooses in a second, and how long its changes and its refresh take.

    python tests/benchmarks/station.py

Rates are the best of three runs of this process; durations are on the wire, at nominal timing.
"""

from __future__ import annotations

from random import Random
from time import perf_counter

from dccwire import LongAddress, Packet
from dccwire.station import Station

COUNT = 200_000


def station(locomotives: int) -> Station:
    """With so many locomotives that have three groups of functions in use."""
    made = Station(new=False)
    for number in range(locomotives):
        address = LongAddress(1000 + number)
        made.add(address, steps=128)
        for function in ("FL", "F5", "F20"):
            made.switch(address, function)
    while made.waiting:
        made.next()
    return made


def rate(locomotives: int, every: int) -> float:
    """Packets a second with a change each so many of them, the best of three."""
    draw, best = Random(1), float("inf")
    numbers = [LongAddress(1000 + draw.randrange(locomotives)) for _ in range(COUNT // every)]
    for _ in range(3):
        made = station(locomotives)
        begin = perf_counter()
        for place, address in enumerate(numbers):
            made.drive(address, step=place % 127)
            for _ in range(every):
                made.next()
        best = min(best, perf_counter() - begin)
    return len(numbers) * every / best


def lasts(packets: list[Packet]) -> float:
    """Milliseconds of packets, directly one after the other."""
    return sum(one.duration_ns(14) for one in packets) / 1e6


def main() -> None:
    """Measure and print."""
    print("locomotives  packets a second: one change in 1000 packets, in 10, in 3")
    for count in (1, 10, 100):
        print(f"{count:11}  " + "  ".join(f"{rate(count, every):9,.0f}" for every in (1000, 10, 3)))


if __name__ == "__main__":
    main()
