"""Consists: which addresses are one decoder's, and what follows from it."""

from __future__ import annotations

from itertools import pairwise

import pytest

from dccwire import LongAddress, ShortAddress
from dccwire.errors import FieldError
from dccwire.station import Station
from refusals import refused

UNITS = [ShortAddress(number) for number in range(20, 28)]


def test_a_consist_and_its_units_are_stopped_in_the_order_of_coupling() -> None:
    """The same calls give the same packets, wherever the objects of a station lie."""
    kept, told = [], set()
    for _ in range(20):
        station = Station(new=False)
        for unit in UNITS:
            station.add(unit, steps=28)
        station.add(ShortAddress(9), steps=28)
        station.couple(ShortAddress(9), *UNITS)
        station.stop(ShortAddress(9))
        sent = [bytes(station.next())[0] for _ in range(10)]
        told.add(tuple(sent))
        kept.append((station, [object() for _ in range(len(kept))]))
    assert told == {(9, 255, *range(20, 28))}


def test_a_unit_may_have_the_address_of_its_consist() -> None:
    """S-9.2.1 §C, Consist Control: the own address counts if it is the same; the way back works."""
    station, consist = Station(new=False), ShortAddress(9)
    station.couple(consist, consist, LongAddress(1205))
    station.add(consist, steps=28)
    station.stop(consist)
    assert [bytes(station.next())[0] for _ in range(3)] == [9, 255, 9]
    station.uncouple(consist)
    station.write(consist, cv=3, value=1)


@pytest.mark.parametrize("sent", [0, 1])
def test_an_address_that_a_write_waits_for_becomes_no_consist(sent: int) -> None:
    """CV access in the long form is not for consists (S-9.2.1 §C), nor half of it."""
    station, consist = Station(new=False), ShortAddress(9)
    station.write(consist, cv=3, value=1)
    for _ in range(sent):
        station.next()
    bound = "an address that no write waits for"
    with refused(FieldError, field="consist", bound=bound, value="short 9"):
        station.couple(consist, LongAddress(1205))
    while station.waiting:
        station.next()
    station.couple(consist, LongAddress(1205))
    with refused(FieldError, field="address", value="short 9"):
        station.write(consist, cv=3, value=1)


def test_a_consist_that_is_coupled_while_a_write_is_half_sent_waits_for_it() -> None:
    """Nothing comes between the two packets (S-9.2.1 §C)."""
    station, nine, unit = Station(new=False), ShortAddress(9), UNITS[0]
    station.write(unit, cv=3, value=1)
    first = bytes(station.next())
    station.add(nine, steps=28)
    assert bytes(station.next())[0] == 9
    station.couple(nine, unit)
    station.drive(nine, step=4)
    assert [bytes(station.next()) for _ in range(2)] == [bytes.fromhex("FF00FF"), first]


def test_a_stop_reaches_the_consist_and_cancels_the_write_to_its_unit() -> None:
    """The stop waits for no write, which begins anew behind it: two packets, unbroken."""
    station, nine, unit = Station(new=False), ShortAddress(9), UNITS[0]
    station.couple(nine, unit)
    station.add(nine, steps=28)
    while station.waiting:
        station.next()
    station.next()
    station.write(unit, cv=3, value=1)
    sent = list[int]()
    while sent.count(unit.number) < 1:
        sent.append(bytes(station.next())[0])
    station.stop(nine)
    behind = list[int]()
    while station.waiting:
        behind.append(bytes(station.next())[0])
    assert behind[:6] == [255, 9, 255, 9, 255, 9]
    assert behind[-3:] == [unit.number, 255, unit.number]
    assert behind.count(unit.number) == 2


def test_a_unit_runs_in_one_consist() -> None:
    """CV 19 holds one address (S-9.2.2); what was refused changes nothing."""
    station, nine, ten = Station(new=False), ShortAddress(9), ShortAddress(10)
    station.couple(nine, *UNITS[:2])
    station.couple(nine, UNITS[1], UNITS[2])
    with refused(FieldError, field="unit", bound="one of no other consist", value="short 22"):
        station.couple(ten, UNITS[3], UNITS[2])
    station.write(ten, cv=3, value=1)
    while station.waiting:
        station.next()
    station.uncouple(nine)
    station.couple(ten, UNITS[3], UNITS[2])


def test_a_consist_that_nobody_was_coupled_to_is_not_uncoupled() -> None:
    """Nor is a unit's own address, or what was uncoupled; those that are coupled are told."""
    station, nine = Station(new=False), ShortAddress(9)
    told = {"field": "consist", "bound": "one that was coupled"}
    with refused(FieldError, **told, value="short 9", hint="coupled: none"):
        station.uncouple(nine)
    station.couple(nine, UNITS[1])
    station.couple(ShortAddress(10), UNITS[2])
    with refused(FieldError, **told, value="short 22", hint="coupled: short 9, short 10"):
        station.uncouple(ShortAddress(22))
    station.uncouple(nine)
    with refused(FieldError, **told, value="short 9", hint="coupled: short 10"):
        station.uncouple(nine)


def test_a_consist_that_ends_leaves_its_address_as_a_unit_s_own() -> None:
    """Where a unit whose own address was a consist's runs in another one, it still does."""
    station = Station(new=False)
    own, other = ShortAddress(26), ShortAddress(85)
    for address in (own, ShortAddress(30), other):
        station.add(address, steps=28)
    station.couple(own, ShortAddress(30))
    station.couple(other, other, own)
    station.uncouple(own)
    while station.waiting:
        station.next()
    station.write(own, cv=3, value=77)
    station.drive(other, step=5)
    sent = [station.next() for _ in range(6)]
    writes = [place for place, one in enumerate(sent) if "CvAccess" in str(one)]
    between = sent[writes[0] + 1 : writes[1]]
    assert len(writes) == 2
    assert other not in [one.address for one in between]


def test_two_addresses_may_be_each_other_s_consist() -> None:
    """While one of the two is, their packets are kept apart."""
    station = Station(new=False)
    one, other = ShortAddress(5), ShortAddress(6)
    station.couple(one, other)
    station.couple(other, one)
    station.uncouple(one)
    for address in (one, other):
        station.add(address, steps=28)
    sent = [station.next().address for _ in range(12)]
    assert all({*pair} != {one, other} for pair in pairwise(sent))
