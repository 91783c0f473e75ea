"""What goes before what: accessories in their order, nobody who waits for ever."""

from __future__ import annotations

import pytest

from dccwire import AccessoryAddress, BasicAccessory, LongAddress, Packet, ShortAddress
from dccwire.station import Station

ONE, TWO = ShortAddress(3), ShortAddress(4)


def switched(address: int, *, active: bool) -> Packet:
    """A packet to pair 0 of an accessory decoder."""
    return Packet(AccessoryAddress(address), BasicAccessory(active=active, pair=0, output=1))


def first_bytes(station: Station, count: int) -> list[int]:
    """The first byte of each of the next packets."""
    return [bytes(station.next())[0] for _ in range(count)]


def test_an_accessory_is_switched_on_and_then_off() -> None:
    """Each twice, with no step back; another accessory stands between, before any idle."""
    station = Station(new=False)
    on, off, other = (
        switched(31, active=True),
        switched(31, active=False),
        switched(32, active=True),
    )
    for packet in (on, off, other):
        station.operate(packet)
    sent = [station.next() for _ in range(8)]
    assert [one for one in sent if one.address == on.address] == [on, on, off, off]
    assert [place for place, one in enumerate(sent) if one == other] == [1, 3]
    assert station.waiting == 0


def test_what_all_accessories_hear_keeps_its_place_and_its_distance() -> None:
    """511 is the broadcast of basic accessory decoders (S-9.2.1 §D; X30): an idle beside it."""
    station = Station(new=False)
    one, every, other = (switched(number, active=True) for number in (31, 511, 32))
    for packet in (one, every, other):
        station.operate(packet)
    sent = [bytes(station.next()) for _ in range(11)]
    idle = bytes.fromhex("FF00FF")
    said = [bytes(packet) for packet in (one, one, every, every, other, other)]
    assert sent == [one for each in said for one in (each, idle)][:-1]


def test_one_locomotive_that_is_told_without_end_leaves_room_for_the_others() -> None:
    """The refresh of another goes on, though a change of the one always waits."""
    station = Station(new=False)
    for address in (ONE, TWO):
        station.add(address, steps=28)
    met = list[int]()
    for number in range(400):
        station.drive(ONE, step=number % 29)
        met += first_bytes(station, 1)
    places = [place for place, one in enumerate(met) if one == TWO.number]
    assert max(b - a for a, b in zip(places, [*places[1:], 400], strict=True)) <= 8
    assert met.count(ONE.number) >= 150


def test_units_that_are_told_without_end_leave_room_for_their_consist() -> None:
    """Its changes and its refresh, between packets to units that all hear it as well."""
    station, consist = Station(new=False), ShortAddress(9)
    for address in (ONE, TWO, consist):
        station.add(address, steps=28)
    station.couple(consist, ONE, TWO)
    changed = list[int]()
    for number in range(60):
        for unit in (ONE, TWO):
            station.switch(unit, "F1", on=bool(number % 2))
        if number == 20:
            station.drive(consist, step=5)
        changed += first_bytes(station, 2)
    assert changed[40:48].count(9) >= 1
    places = [place for place, one in enumerate(changed) if one == 9]
    assert max(b - a for a, b in zip(places, [*places[1:], 120], strict=True)) <= 30
    assert changed.count(3) > 20
    assert changed.count(4) > 20


def test_what_is_left_for_a_removed_consist_goes_out_among_its_units() -> None:
    """F13 to F28, begun and not yet repeated, is no longer refreshed, and waits for no longer."""
    station, consist = Station(new=False), ShortAddress(9)
    for address in (ONE, TWO):
        station.add(address, steps=28)
    while station.waiting:
        station.next()
    station.add(consist, steps=28)
    station.couple(consist, ONE, TWO)
    station.switch(consist, "F13")
    while bytes(station.next())[:2] != b"\x09\xde":
        pass
    station.remove(consist)
    met = [bytes(station.next()) for _ in range(12)]
    assert met.count(bytes.fromhex("09DE01D6")) == 2
    assert station.waiting == 0


def test_the_rest_waits_while_a_stop_of_all_goes_out() -> None:
    """From the wish on: an idle where a locomotive was sent to, then the stop, and so on."""
    station = Station(new=False)
    station.add(LongAddress(1205), steps=128)
    assert first_bytes(station, 1) == [0xC4]
    station.stop()
    station.drive(LongAddress(1205), step=3)
    assert first_bytes(station, 7) == [255, 0, 255, 0, 255, 0, 255]
    assert first_bytes(station, 1) == [0xC4]


def test_writes_keep_their_order_across_a_stop() -> None:
    """The one that the stop cancels begins anew before the next (S-9.2.1 §C), each unbroken."""
    station = Station(new=False)
    for value in (1, 2):
        station.write(ONE, cv=3, value=value)
    first = [bytes(station.next()) for _ in range(2)]
    station.stop()
    written = [one for one in first if one[0] == ONE.number]
    while station.waiting:
        packet = bytes(station.next())
        written += [packet] * (packet[0] == ONE.number)
    assert [one[3] for one in written] == [1, 1, 1, 2, 2]


def test_a_speed_that_waits_is_a_stop_when_its_turn_comes() -> None:
    """Direction and headlight of 14 steps, which a stop of all does not tell, are told by it."""
    station = Station(new=False)
    station.add(ONE, steps=14)
    while station.waiting:
        station.next()
    station.drive(ONE, step=9, forward=False)
    station.switch(ONE, "FL")
    station.stop()
    sent = list[bytes]()
    while station.waiting:
        sent.append(bytes(station.next()))
    told = [one for one in sent if one[0] != 255]
    assert told[:3] == [bytes.fromhex("00 71 71")] * 3
    assert set(told[3:]) == {bytes.fromhex("03 51 52")}
    assert len(told[3:]) >= 2


def test_of_a_removed_locomotive_stops_and_writes_are_sent_and_nothing_else() -> None:
    """No speed, no function that was not begun; what another waits for is not touched."""
    station = Station(new=False)
    for address in (ONE, TWO):
        station.add(address, steps=28)
    while station.waiting:
        station.next()
    station.drive(ONE, step=9)
    station.switch(ONE, "F13")
    station.drive(TWO, step=9)
    station.write(ONE, cv=3, value=1)
    station.stop(ONE)
    station.drive(ONE, step=10)
    station.remove(ONE)
    assert station.waiting == 3
    sent = [bytes(station.next()) for _ in range(30)]
    told = {one for one in sent if one[0] == ONE.number}
    assert told == {bytes.fromhex("03 61 62"), bytes.fromhex("03 EC 02 01 EC")}
    assert bytes.fromhex("04 66 62") in sent
    assert station.waiting == 0


def test_a_removed_locomotive_keeps_no_function_that_was_told_once() -> None:
    """F13 to F28 need a second packet (rule 41): of the latest, which a newer one took over."""
    station = Station(new=False)
    station.add(ONE, steps=128)
    while station.waiting:
        station.next()
    station.switch(ONE, "F13")
    sent = []
    while bytes.fromhex("03 DE 01 DC") not in sent:
        sent.append(bytes(station.next()))
    station.switch(ONE, "F14")
    station.remove(ONE)
    told = [bytes(station.next()) for _ in range(30)]
    assert told.count(bytes.fromhex("03 DE 03 DE")) == 3
    assert station.waiting == 0


def test_nor_one_that_the_refresh_told_before_its_turn() -> None:
    """Changes of others wait: the refresh comes first to what a locomotive is wanted to do."""
    station = Station(new=False)
    station.add(ONE, steps=128)
    station.switch(ONE, "F13")
    while station.waiting:
        station.next()
    for number in range(20, 26):
        station.operate(switched(number, active=True))
    station.switch(ONE, "F14")
    newer = bytes.fromhex("03 DE 03 DE")
    sent = [bytes(station.next())]
    while sent[-1] != newer:
        sent.append(bytes(station.next()))
    station.remove(ONE)
    told = [bytes(station.next()) for _ in range(40)]
    assert told.count(newer) >= 1
    assert station.waiting == 0


@pytest.mark.parametrize("more", range(4))
def test_a_write_that_waits_for_another_s_second_packet_is_not_overtaken(more: int) -> None:
    """What comes later for its decoder waits with it: CV 29 may say how that is read."""
    station = Station(new=False)
    for address in (ONE, TWO):
        station.add(address, steps=28)
    while station.waiting:
        station.next()
    for _ in range(more):
        station.next()
    station.write(ONE, cv=29, value=6)
    station.write(TWO, cv=29, value=6)
    station.switch(TWO, "FL")
    sent = [bytes(station.next()) for _ in range(20)]
    told = [one[1] for one in sent if one[0] == TWO.number and one[1] in (0xEC, 0x90)]
    assert told[:3] == [0xEC, 0xEC, 0x90]
