"""How many packets a change and a refresh take at most: the bounds of docs/station.md."""

from __future__ import annotations

from itertools import count, pairwise
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from station_audit import own, to
from station_helpers import DRIVES, FLEET, NAMES, NEXTS, SWITCHES, Run, Wish, addresses

from dccwire import LongAddress
from dccwire.station import Station

CHANGES = st.lists(st.one_of(DRIVES, SWITCHES, NEXTS), max_size=30)


def most_before_a_change(waiting: int) -> int:
    """`waiting + (waiting + 1) / 3 + 2`, the fraction rounded up."""
    return waiting + -(-(waiting + 1) // 3) + 2


def is_speed(data: bytes) -> bool:
    """01DCSSSS, or 0011 1111 and a byte (S-9.2 §B, S-9.2.1 §C)."""
    said = data[len(to(data)) : -1]
    return said[0] >> 6 == 0b01 or said[0] == 0b0011_1111


def packets_until(run: Run, address: Any, others: list[Wish]) -> int:
    """Packets before the first of a speed that is told now, while others are told more."""
    run.tell(("drive", address, 5, True))
    for number in count():
        run.next()
        data = run.sent[-1].data
        if to(data) == own(address) and is_speed(data):
            return number
        if number < len(others):
            run.tell(others[number])


@settings(max_examples=300)
@given(CHANGES, CHANGES, CHANGES, addresses)
def test_a_change_goes_out_within_its_bound(
    before: list[Wish], waiting: list[Wish], after: list[Wish], address: Any
) -> None:
    """Whatever was before, however many wait for others, and though more is told to them."""
    run = Run(new=False).tell_all([*before, ("drive", address, 1, False)])
    run.drain()
    run.tell_all(one for one in waiting if one[1] != address)
    many = run.station.waiting
    others = [one for one in after if one[0] != "next" and one[1] != address]
    assert packets_until(run, address, others) <= most_before_a_change(many)


@settings(max_examples=200)
@given(CHANGES, CHANGES, CHANGES, addresses)
def test_with_a_consist_it_takes_twice_as_many_at_most(
    before: list[Wish], waiting: list[Wish], after: list[Wish], address: Any
) -> None:
    """An idle may stand before each packet, since more addresses are one decoder's."""
    run = Run(new=False).tell_all([("couple",), *before, ("drive", address, 1, False)])
    run.drain()
    run.tell_all(one for one in waiting if one[1] != address)
    many = run.station.waiting
    others = [one for one in after if one[0] != "next" and one[1] != address]
    assert packets_until(run, address, others) <= 2 * most_before_a_change(many)


def filled(locomotives: int, groups: int, draw: Random) -> tuple[Station, list[LongAddress]]:
    """A station with so many locomotives, some with functions of so many groups in use."""
    station = Station(new=False)
    engines = [LongAddress(1000 + number) for number in range(locomotives)]
    for one in engines:
        station.add(one, steps=128)
        for name in ("FL", "F5", "F9", "F13", "F21")[:groups]:
            if draw.random() < 0.8:
                station.switch(one, name)
    while station.waiting:
        station.next()
    return station, engines


@pytest.mark.parametrize("locomotives", [1, 10, 100])
def test_changes_of_many_keep_the_bound(locomotives: int) -> None:
    """All of them are told a speed at once, twice over, and each waits for those before it."""
    station, engines = filled(locomotives, 2, Random(locomotives))
    for turn in (1, 2):
        told = {}
        for one in engines:
            told[own(one)] = station.waiting
            station.drive(one, step=50 + turn)
        for place in count():
            data = bytes(station.next())
            if is_speed(data) and data[3] & 127 == 51 + turn and to(data) in told:
                assert place <= most_before_a_change(told.pop(to(data)))
            if not told:
                break
        while station.waiting:
            station.next()


def told_every(station: Station, engines: list[LongAddress], packets: int, busy: Any) -> int:
    """The longest way from one packet of a locomotive's speed to the next, `busy` told between."""
    places: dict[bytes, list[int]] = {own(one): [0] for one in engines}
    for place in range(packets):
        busy()
        data = bytes(station.next())
        if to(data) in places and is_speed(data):
            places[to(data)].append(place)
    for each in places.values():
        each.append(packets)
    return max(b - a for each in places.values() for a, b in pairwise(each))


QUIET = {(1, 0): 2, (1, 2): 4, (1, 5): 4, (10, 0): 10, (10, 2): 20, (100, 0): 100, (100, 5): 200}
"""The packets after which each is told its speed, by locomotives and groups of functions."""


@pytest.mark.parametrize(("locomotives", "groups"), QUIET)
def test_the_refresh_keeps_its_bound(locomotives: int, groups: int) -> None:
    """Two packets for each locomotive, one where no functions are in use; a single one takes four.

    Without functions a single one takes two, since an idle stands between.
    """
    for seed in range(20):
        station, engines = filled(locomotives, groups, Random(seed))
        found = told_every(station, engines, 5 * QUIET[locomotives, groups], lambda: None)
        assert found <= QUIET[locomotives, groups]


@settings(max_examples=50)
@given(st.integers(2, 6), st.integers(1, 5), st.integers(0).map(Random))
def test_changes_make_the_refresh_seven_times_as_long_at_most(
    locomotives: int, groups: int, draw: Random
) -> None:
    """Whoever is told how often, by speeds of others or by functions: 7 packets for each of it."""
    station, engines = filled(locomotives, groups, draw)
    meant, rate, about = draw.choice(engines), draw.choice((0.3, 0.7, 1)), [draw.choice(engines)]

    def busy() -> None:
        """Tell one of those who are told much; now and then choose others."""
        if draw.random() < 0.1:
            about[:] = draw.sample(engines, draw.randint(1, len(engines)))
        one = draw.choice(about)
        if draw.random() > rate:
            return
        if one == meant:
            station.switch(one, "F1", on=draw.random() < 0.5)
        else:
            station.drive(one, step=draw.randrange(127))

    assert told_every(station, [meant], 100 * locomotives, busy) <= 7 * 2 * locomotives


@pytest.mark.parametrize("name", NAMES)
def test_a_new_function_is_refreshed_with_the_others(name: str) -> None:
    """Every group that was ever switched comes in turn, and keeps all of its functions."""
    run = Run(new=False)
    for address in FLEET:
        run.tell(("switch", address, name, True))
    run.drain()
    begin = len(run.sent)
    run.next(60)
    for address, steps in FLEET.items():
        met = {one.data for one in run.sent[:begin] if to(one.data) == own(address)}
        again = {one.data for one in run.sent[begin:] if to(one.data) == own(address)}
        assert len(again) == (1 if steps == 14 and name == "FL" else 2)
        assert again <= met
