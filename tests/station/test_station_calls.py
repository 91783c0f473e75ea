"""What the station refuses, what it leaves as it was, and that the same calls give the same."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from station_helpers import COUPLED_WISHES, Run, Wish

from dccwire import (
    BROADCAST,
    AccessoryAddress,
    ExtendedAccessoryAddress,
    FunctionGroupOne,
    LongAddress,
    Packet,
    ShortAddress,
)
from dccwire.errors import FieldError
from dccwire.station import Station
from refusals import refused

ENGINE, OTHER, NEW, CONSIST = LongAddress(1205), ShortAddress(3), ShortAddress(4), ShortAddress(9)
ACCESSORY: Any = AccessoryAddress(31)
TO_ALL: Any = BROADCAST
NO_LOCOMOTIVE = {"field": "address", "bound": "a locomotive that was added", "value": "short 4"}
NO_OWN = {"field": "address", "bound": "a decoder's own, short or long"}

REFUSED: dict[str, tuple[Callable[[Station], object], dict[str, object]]] = {
    "added twice": (
        lambda one: one.add(OTHER, steps=28),
        {"field": "address", "bound": "one that is not driven yet", "value": "short 3"},
    ),
    "an accessory": (
        lambda one: one.add(ACCESSORY, steps=28),
        {"field": "address", "bound": "a short or a long address", "value": "accessory 31"},
    ),
    "all": (
        lambda one: one.add(TO_ALL, steps=28),
        {"field": "address", "bound": "a short or a long address", "value": "broadcast"},
    ),
    "27 steps": (
        lambda one: one.add(NEW, steps=27),
        {"field": "steps", "bound": "14, 28 or 128", "value": 27},
    ),
    "126 steps": (lambda one: one.add(NEW, steps=126), {"field": "steps", "value": 126}),
    "removed": (lambda one: one.remove(NEW), NO_LOCOMOTIVE),
    "driven": (lambda one: one.drive(NEW, step=1), NO_LOCOMOTIVE),
    "switched": (lambda one: one.switch(NEW, "F1"), NO_LOCOMOTIVE),
    "stopped": (lambda one: one.stop(NEW), NO_LOCOMOTIVE),
    "step 29 of 28": (
        lambda one: one.drive(OTHER, step=29),
        {"field": "step", "bound": "0 to 28", "value": 29},
    ),
    "step 127 of 128": (
        lambda one: one.drive(ENGINE, step=127),
        {"field": "step", "bound": "0 to 126", "value": 127},
    ),
    "step below 0": (lambda one: one.drive(ENGINE, step=-1), {"field": "step", "value": -1}),
    "half a step": (lambda one: one.drive(OTHER, step=0.5), {"field": "step", "value": 0.5}),  # type: ignore[arg-type]
    "F29": (
        lambda one: one.switch(OTHER, "F29"),
        {"field": "function", "bound": "FL (for F0) or F1 to F28", "value": "F29"},
    ),
    "neither on nor off": (
        lambda one: one.switch(OTHER, "F1", on=1),  # type: ignore[arg-type]
        {"field": "F1", "bound": "True or False", "value": 1},
    ),
    "a locomotive's packet operated": (
        lambda one: one.operate(Packet(OTHER, FunctionGroupOne.on("FL"))),
        {
            "field": "packet",
            "bound": "one to an accessory",
            "value": "short 3: FunctionGroupOne functions=FL",
        },
    ),
    "CV 0": (
        lambda one: one.write(OTHER, cv=0, value=0),
        {"field": "cv", "bound": "1 to 1024", "value": 0},
    ),
    "CV 1025": (lambda one: one.write(OTHER, cv=1025, value=0), {"field": "cv", "value": 1025}),
    "256": (lambda one: one.write(OTHER, cv=3, value=256), {"value": 256}),
    "an accessory's CV": (
        lambda one: one.write(ACCESSORY, cv=3, value=0),
        NO_OWN | {"value": "accessory 31"},
    ),
    "a consist's CV": (
        lambda one: one.write(CONSIST, cv=3, value=0),
        NO_OWN | {"value": "short 9", "hint": "rule 44: no consist's"},
    ),
    "a long consist": (
        lambda one: one.couple(LongAddress(9), OTHER),  # type: ignore[arg-type]
        {"field": "address", "bound": "a short address", "value": "long 9"},
    ),
    "an accessory in a consist": (
        lambda one: one.couple(NEW, OTHER, ACCESSORY),
        {"field": "address", "bound": "a short or a long address", "value": "accessory 31"},
    ),
}


def prepared() -> Station:
    """Two locomotives under way, one of them in a consist, of which nothing waits."""
    station = Station(new=False)
    station.add(ENGINE, steps=128)
    station.add(OTHER, steps=28)
    station.drive(OTHER, step=7, forward=False)
    station.switch(OTHER, "F13")
    station.couple(CONSIST, ENGINE)
    while station.waiting:
        station.next()
    return station


@pytest.mark.parametrize("name", REFUSED)
def test_a_refusal_names_field_and_value_and_changes_nothing(name: str) -> None:
    """What is sent afterwards is what would have been sent without the call."""
    call, told = REFUSED[name]
    station, other = prepared(), prepared()
    with refused(FieldError, **told):
        call(station)
    assert station.waiting == 0
    assert [station.next() for _ in range(30)] == [other.next() for _ in range(30)]
    station.write(NEW, cv=3, value=1)  # which is no consist after a coupling that was refused


@given(COUPLED_WISHES)
def test_the_same_calls_give_the_same_packets(wishes: list[Wish]) -> None:
    """Two stations side by side, in one process; no clock, no chance."""
    one, other = Run().tell_all(wishes), Run().tell_all(wishes)
    one.next(100)
    other.next(100)
    assert one.sent == other.sent


def test_where_nothing_is_wanted_idles_are_sent() -> None:
    """FF 00 FF (S-9.2 §B), and nothing waits; the same once all is done and removed."""
    station = Station(new=False)
    assert {bytes(station.next()) for _ in range(50)} == {bytes.fromhex("FF00FF")}
    station.add(OTHER, steps=28)
    station.operate(Packet.from_text("extended-accessory 120: ExtendedAccessory aspect=3"))
    while station.waiting:
        station.next()
    station.remove(OTHER)
    assert station.waiting == 0
    assert {bytes(station.next()) for _ in range(50)} == {bytes.fromhex("FF00FF")}


TIMES: dict[str, tuple[Callable[[Station], object], str, int]] = {
    "a speed": (lambda one: one.drive(OTHER, step=3), "03 63 60", 2),
    "F12": (lambda one: one.switch(OTHER, "F12"), "03 A8 AB", 2),
    "F14": (lambda one: one.switch(OTHER, "F14"), "03 DE 03 DE", 3),
    "F28": (lambda one: one.switch(OTHER, "F28"), "03 DF 80 5C", 3),
    "a write": (lambda one: one.write(OTHER, cv=3, value=1), "03 EC 02 01 EC", 2),
    "a stop": (lambda one: one.stop(OTHER), "03 41 42", 3),
    "a stop of all": (lambda one: one.stop(), "00 71 71", 3),
}


@pytest.mark.parametrize("name", TIMES)
def test_a_change_waits_until_it_was_sent_so_often(name: str) -> None:
    """Twice (our choice; a write: S-9.2.1 §C), three times a stop and F13 to F28 (X38)."""
    call, said, times = TIMES[name]
    station = prepared()
    call(station)
    assert station.waiting == 1
    sent = list[bytes]()
    while station.waiting:
        sent.append(bytes(station.next()))
    assert sent[-1] == bytes.fromhex(said)
    is_refreshed = name not in ("a write", "a stop of all")
    assert sent.count(sent[-1]) - times in range(1 + is_refreshed)


@pytest.mark.parametrize(
    ("steps", "step", "forward", "bytes_"),
    [
        (14, 0, True, "03 60 63"),
        (14, 14, False, "03 4F 4C"),
        (28, 1, True, "03 62 61"),
        (28, 2, True, "03 72 71"),
        (28, 28, False, "03 5F 5C"),
        (128, 1, True, "03 3F 82 BE"),
        (128, 126, False, "03 3F 7F 43"),
    ],
)
def test_a_step_is_sent_in_the_codes_of_its_table(steps, step, forward, bytes_) -> None:
    """S-9.2 §B and NEM 671 table 1 for 28 steps, S-9.2.1 §C for 14 and 128."""
    station = Station(new=False)
    station.add(OTHER, steps=steps)
    station.drive(OTHER, step=step, forward=forward)
    assert bytes(station.next()) == bytes.fromhex(bytes_)


@pytest.mark.parametrize(
    ("steps", "bytes_"), [(14, "03 51 52"), (28, "03 41 42"), (128, "03 3F 01 3D")]
)
def test_an_emergency_stop_keeps_direction_and_headlight(steps, bytes_) -> None:
    """Reverse, with FL on: of 14 steps it is bit 4 of the same byte (S-9.2.1 §C, X18)."""
    station = Station(new=False)
    station.add(OTHER, steps=steps)
    station.drive(OTHER, step=5, forward=False)
    station.switch(OTHER, "FL")
    station.stop(OTHER)
    assert bytes(station.next()) == bytes.fromhex(bytes_)


def test_fl_of_14_steps_is_in_the_packet_of_speed_alone() -> None:
    """U of 01DUSSSS (S-9.2.1 §C, X18); in function group one its bit has no meaning (X20)."""
    station = Station(new=False)
    station.add(OTHER, steps=14)
    for name in ("FL", "F1"):
        station.switch(OTHER, name)
    while station.waiting:
        station.next()
    sent = {bytes(station.next()) for _ in range(20)}
    assert sent == {bytes.fromhex(one) for one in ("03 70 73", "03 81 82", "FF 00 FF")}
    station.switch(OTHER, "F0", on=False)
    assert bytes(station.next())[:1] in (b"\x03", b"\xff")
    while station.waiting:
        station.next()
    sent = {bytes(station.next()) for _ in range(20)}
    assert sent == {bytes.fromhex(one) for one in ("03 60 63", "03 81 82", "FF 00 FF")}


def test_extended_accessories_are_operated_too() -> None:
    """Twice, with an idle between (S-9.2.1 §D)."""
    station = Station(new=False)
    packet = Packet.from_text("extended-accessory 120: ExtendedAccessory aspect=3")
    assert isinstance(packet.address, ExtendedAccessoryAddress)
    station.operate(packet)
    assert [str(station.next()) for _ in range(4)] == [
        str(packet),
        "idle: Idle",
        str(packet),
        "idle: Idle",
    ]


def test_a_step_that_is_refused_ends_no_emergency_stop() -> None:
    """What is sent next of the same locomotive, here its headlight, still says stop and reverse."""
    station = Station(new=False)
    station.add(OTHER, steps=14)
    station.drive(OTHER, step=5, forward=False)
    station.stop(OTHER)
    while station.waiting:
        station.next()
    with refused(FieldError, field="step", bound="0 to 14", value=15):
        station.drive(OTHER, step=15)
    station.switch(OTHER, "FL")
    while station.waiting:
        station.next()
    sent = {bytes(station.next()) for _ in range(10)}
    assert sent == {bytes.fromhex("03 51 52"), bytes.fromhex("FF 00 FF")}


def test_a_stop_of_all_comes_before_stops_of_single_ones() -> None:
    """It stops those too."""
    station = Station(new=False)
    every = [LongAddress(1000 + number) for number in range(12)]
    for address in every:
        station.add(address, steps=128)
    for address in every[:10]:
        station.stop(address)
    station.stop()
    assert BROADCAST in [station.next().address for _ in range(2)]


@pytest.mark.parametrize("cv", [7, 8])
def test_read_only_cvs_are_written_by_force_alone(cv: int) -> None:
    """8 in CV 8 resets a decoder (P11; common practice, no source)."""
    station = Station(new=False)
    with refused(FieldError, field="cv", value=cv):
        station.write(ShortAddress(3), cv=cv, value=8)
    station.write(ShortAddress(3), cv=cv, value=8, force=True)
    assert station.waiting == 1
