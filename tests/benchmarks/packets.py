"""Decoding and encoding 100,000 distinct packets of mixed kinds, against one construct grammar.

    python tests/benchmarks/packets.py

Prints microseconds a packet and ratios taken in this run; the construct grammar is the one written
by hand for the tests (`tests/twins.py`), and takes every 20th packet, being slow.
"""

from __future__ import annotations

import random
import sys
from functools import reduce
from operator import xor
from pathlib import Path
from time import perf_counter

sys.path.insert(0, str(Path(__file__).parent.parent))

import dccwire
from dccwire import Packet
from dccwire.formats import FORMATS, MULTI_FUNCTION, Provenance
from dccwire.receiver import PacketReceived
from twins import PACKET

COUNT = 100_000


def mixed(count: int, seed: int = 1) -> list[bytes]:
    """Distinct packets of all published kinds, in random order."""
    draw = random.Random(seed)
    forms = [
        form
        for form in FORMATS
        if not form.reading and form.provenance is not Provenance.FROM_MEMORY
    ]
    forms = [form for form in forms if form.address or form.partitions == MULTI_FUNCTION]
    found: set[bytes] = set()
    while len(found) < count:
        form = draw.choice(forms)
        numbers = {
            name: draw.randint(field.lowest, field.highest)
            for name, field in form.layout.fields.items()
        }
        body = form.layout.encode(numbers)
        if form.build(int.from_bytes(body)) is None:
            continue
        if not form.address:
            long = draw.random() < 0.5
            address = 0xC000 | draw.randrange(10240) if long else draw.randrange(1, 128)
            body = address.to_bytes(1 + long) + body
        if len(body) < 6:
            found.add(body + bytes((reduce(xor, body),)))
    packets = list(found)
    draw.shuffle(packets)
    return packets


def microseconds(work, items) -> float:
    """Time a call for each item, results dropped; the best of three runs."""
    best = float("inf")
    for _ in range(3):
        start = perf_counter()
        for item in items:
            work(item)
        best = min(best, perf_counter() - start)
    return best / len(items) * 1e6


def main() -> None:
    """Measure and print."""
    packets = mixed(COUNT)
    start = perf_counter()
    for data in packets:
        dccwire.decode(data)
    cold = (perf_counter() - start) / COUNT * 1e6
    warm = microseconds(dccwire.decode, packets)
    values = [(packet.address, packet.instructions) for packet in map(dccwire.decode, packets)]
    build = microseconds(lambda one: bytes(Packet(one[0], *one[1])), values)
    few = packets[::20]
    parse = microseconds(PACKET.parse, few)
    repeated = [PacketReceived(0, 0, 0, 14, data, True) for data in packets[:100]] * 1000
    again = microseconds(lambda event: event.packet, repeated)
    empty = microseconds(lambda event: event.data, repeated)
    print(f"construct, one grammar: parse        {parse:8.2f} us a packet")
    print(f"decode, first time in the process    {cold:8.2f} us   {parse / cold:5.1f} times faster")
    print(f"decode, best of three                {warm:8.2f} us   {parse / warm:5.1f} times faster")
    print(
        f"values to a packet to bytes          {build:8.2f} us   {parse / build:5.1f} times faster"
    )
    print(f"repeated packet in a receiver event  {again - empty:8.2f} us")


if __name__ == "__main__":
    main()
