"""100,000 packets of random wishes, judged as one recording."""

from __future__ import annotations

from random import Random

import pytest
from station_audit import audit
from station_helpers import CVS, FLEET, NAMES, Run
from station_judge import findings, judged

from dccwire import AccessoryAddress, BasicAccessory, Packet


def random_run(packets: int, seed: int) -> Run:
    """Wishes of all kinds between one and forty packets apart."""
    draw, run = Random(seed), Run()
    run.tell(("couple",))
    addresses = list(FLEET)
    while len(run.sent) < packets:
        address = draw.choice(addresses)
        number = draw.randrange(512)
        switch = BasicAccessory(active=draw.random() < 0.5, pair=number % 4, output=number % 2)
        wishes = {
            ("drive", address, draw.randrange(127), draw.random() < 0.5): 40,
            ("switch", address, draw.choice(NAMES), draw.random() < 0.5): 40,
            ("write", address, draw.choice(CVS), draw.randrange(256)): 8,
            ("operate", Packet(AccessoryAddress(number), switch)): 12,
            ("stop", address): 3,
            ("stop",): 2,
            ("remove", address): 3,
        }
        run.tell(draw.choices([*wishes], [*wishes.values()])[0])
        run.next(draw.choice((0, 1, 2, 3, 5, 8, 40)))
    run.drain()
    run.next(40)
    return run


def is_without_a_finding(packets: int, seed: int) -> None:
    """By the judge, and by the oracle on bytes."""
    run = random_run(packets, seed)
    report = judged(run, coupled=True)
    assert report.packets == len(run.sent) >= packets
    assert findings(report) == []
    audit(run)


def test_thousands_of_packets_are_judged_without_a_finding() -> None:
    """A sample of the whole."""
    is_without_a_finding(10_000, 1)


@pytest.mark.slow
def test_a_hundred_thousand_packets_are_judged_without_a_finding() -> None:
    """Random commands of all kinds to all addresses of the fleet."""
    is_without_a_finding(100_000, 2)
