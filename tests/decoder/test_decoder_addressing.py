"""Short, long, consist and broadcast addresses; a consist of three."""

import pytest
from decoder_helpers import Line, at_work

from dccwire import LongAddress, ShortAddress
from dccwire.decoder import Decoder, Direction, Ignored, Options, Track

LONG_1205 = {17: 0xC4, 18: 0xB5, 29: 0x22}
"""1205 = 4 × 256 + 181; CV 29 bit 5 on."""


def test_address_3_as_it_comes() -> None:
    """S-9.2.2, CV 1: default 3; long address 3 is another."""
    decoder, line = at_work()
    assert decoder.address == ShortAddress(3)
    line.send("04 7F", "C0 03 7F", "83 F9", "FF 00")
    assert decoder.step == 0
    line.send("03 7F")
    assert decoder.step == 28


def test_long_address() -> None:
    """S-9.2.1 §A: C4 B5; with CV 29 bit 5 on the short address is dead."""
    decoder, line = at_work(factory=LONG_1205)
    assert decoder.address == LongAddress(1205)
    line.send("03 7F", "C4 B6 7F")
    assert decoder.step == 0
    line.send("C4 B5 7F")
    assert decoder.step == 28


def test_cv_17_counts_from_the_write_of_cv_18() -> None:
    """S-9.2.2, CV 17 and 18, written on the main to the long address itself."""
    decoder, line = at_work(factory=LONG_1205)
    line.send("C4 B5 EC 10 C5", times=2)
    assert (decoder.cv(17), decoder.address) == (0xC5, LongAddress(1205))
    line.send("C4 B5 EC 11 01", times=2)
    assert decoder.address == LongAddress(0x501)
    assert decoder.ignored == {}


def test_cv_17_alone_takes_effect_at_power_on() -> None:
    """The standard is silent: a decoder that starts reads both CVs."""
    decoder, line = at_work(factory=LONG_1205)
    line.send("C4 B5 EC 10 C5", times=2)
    decoder.power_on()
    assert decoder.address == LongAddress(0x5B5)


@pytest.mark.parametrize(("body", "address"), [("03 0B", 0xB5), ("C4 B5 0A", 3)])
def test_set_extended_addressing(body: str, address: int) -> None:
    """S-9.2.1 §C: 0000 101D sets CV 29 bit 5 to D."""
    extended = body == "03 0B"
    decoder, line = at_work(factory={**LONG_1205, 29: 2 if extended else 0x22})
    line.send(body)
    assert decoder.cv(29) == (0x22 if extended else 0x02)
    assert decoder.address == (LongAddress(1205) if extended else ShortAddress(address))


def test_an_extended_address_that_is_not_supported_is_not_set() -> None:
    """S-9.2.2, CV 29: 0000 1011 leaves bit 5 at 0 in a decoder without such addresses."""
    decoder, line = at_work(factory={**LONG_1205, 29: 2}, configuration_bits=0b11)
    line.send("03 0B")
    assert (decoder.cv(29), decoder.address) == (2, ShortAddress(3))


@pytest.mark.parametrize("factory", [{1: 0}, {1: 200}, {17: 0, 29: 0x22}])
def test_cvs_that_hold_no_address_leave_the_broadcast(factory: dict[int, int]) -> None:
    """S-9.2.2, CV 1 and CV 17."""
    decoder, line = at_work(factory=factory)
    assert decoder.address is None
    line.send("00 80", "03 7F")
    assert decoder.step == 0
    line.send("00 81")
    assert decoder.functions == {"F1"}


def test_in_a_consist_speed_is_that_of_the_consist() -> None:
    """S-9.2.1 §C: 03 12 0A puts the unit into consist 10; functions stay with the own address."""
    decoder, line = at_work()
    line.send("03 7F", "03 12 0A")
    assert (decoder.cv(19), decoder.consist, decoder.step) == (10, ShortAddress(10), 28)
    line.send("03 62", "03 3F 81", "03 3E 17", "03 3C 81 01", "03 B1")
    assert (decoder.step, decoder.limit, decoder.functions) == (28, None, {"FL", "F5"})
    assert decoder.ignored == {Ignored.IN_CONSIST: 4}
    line.send("0A 74")
    assert (decoder.step, decoder.direction) == (6, Direction.FORWARD)
    line.send("03 12 00", "03 62")
    assert (decoder.consist, decoder.step) == (None, 1)


def test_a_unit_reversed_in_its_consist() -> None:
    """S-9.2.1 §C: 13 49 is consist 73 with CV 19 bit 7; with CV 29 bit 0 it turns once more."""
    decoder, line = at_work()
    line.send("03 13 49", "49 74")
    assert (decoder.cv(19), decoder.direction) == (0xC9, Direction.REVERSE)
    assert decoder.speed_at(line.now, steps=28) == pytest.approx(-6)
    line.send("00 62")  # a broadcast with a step (C11) moves it with its consist
    assert decoder.direction is Direction.REVERSE
    decoder, line = at_work(factory={29: 3, 19: 0xC9})
    line.send("49 74")
    assert decoder.direction is Direction.FORWARD


def test_the_own_address_as_consist_address() -> None:
    """S-9.2.1 §C: the own address is ignored for speed unless it is the same.

    CV access counts there for the unit whose own address it is, and for no other of the consist.
    """
    other, line = at_work(factory={1: 4, 19: 3})
    line.send("03 EC 02 07", "03 EC 02 07")
    assert (other.cv(3), other.ignored) == (0, {Ignored.CONSIST: 2})
    decoder, line = at_work(factory={19: 0x83})
    line.send("03 74", "03 81", "03 EC 02 07", "03 EC 02 07")
    assert (decoder.step, decoder.direction, decoder.cv(3)) == (6, Direction.REVERSE, 7)
    assert decoder.functions == {"F1"}


def test_cv_access_and_control_are_not_for_the_consist_address() -> None:
    """S-9.2.1 §C: no CV access; consist control, states and the like are our choice."""
    decoder, line = at_work(factory={19: 10})
    line.send("0A EC 02 07", "0A EC 02 07", "0A 12 00", "0A DD 85", "0A 01", "0A F2 01")
    assert (decoder.cv(3), decoder.cv(19), decoder.cv(23)) == (0, 10, 0)
    assert decoder.ignored == {Ignored.CONSIST: 6}


def test_a_decoder_reset_is_obeyed_at_the_consist_address() -> None:
    """Our choice: what the consist address moves it also stops."""
    decoder, line = at_work(factory={19: 10})
    line.send("0A 7F", "03 81", "0A 00")
    assert (decoder.step, decoder.functions, decoder.cv(19)) == (0, frozenset(), 10)


@pytest.mark.parametrize(
    ("masks", "body", "names"),
    [
        ({21: 0b0000_0001}, "0A 8F", "F1"),
        ({21: 0b1000_0000}, "0A BF", "F8"),
        ({22: 0b0000_0100}, "0A AF", "F9"),
        ({22: 0b0010_0000}, "0A AF", "F12"),
        ({22: 0b0000_0001}, "0A 90", "FL"),
        ({22: 0b0000_0010}, "0A 90", ""),
        ({21: 255, 22: 255}, "0A DE FF", ""),
        ({21: 255, 22: 255}, "0A 9F", "FL F1 F2 F3 F4"),
        ({}, "0A 9F", ""),
        ({22: 1}, "0A 3C 80 FF", "FL"),
    ],
)
def test_functions_at_the_consist_address(masks: dict[int, int], body: str, names: str) -> None:
    """S-9.2.2, CV 21 and 22: a bit a function, FL apart for both directions (running forward)."""
    decoder, line = at_work(factory={19: 10, **masks})
    line.send(body)
    assert decoder.functions == set(names.split())


def test_fl_shows_in_the_direction_it_is_enabled_for() -> None:
    """S-9.2.2, CV 22 bit 1: FL of the consist in reverse alone; the own address sets both."""
    decoder, line = at_work(factory={19: 10, 22: 0b10})
    line.send("0A 90", "0A 62")
    assert decoder.functions == frozenset()
    line.send("0A 42")
    assert decoder.functions == {"FL"}
    line.send("03 90", "0A 62")
    assert decoder.functions == {"FL"}


def test_at_14_steps_fl_comes_with_the_speed_that_is_obeyed() -> None:
    """S-9.2.1 §C (X18): in a consist a speed packet to the own address is ignored, FL with it."""
    decoder, line = at_work(factory={19: 10, 29: 0})
    line.send("0A 72")  # CV 22 does not enable FL
    line.send("03 74")
    assert (decoder.step, decoder.functions) == (1, frozenset())
    assert decoder.ignored == {Ignored.IN_CONSIST: 1}
    decoder.set_cv(22, 1)
    line.send("0A 72", "03 62")
    assert decoder.functions == {"FL"}
    line.send("0A 62")
    assert decoder.functions == frozenset()
    decoder, line = at_work(factory={19: 3, 29: 0})  # the same address: nothing is ignored
    line.send("03 74")
    assert (decoder.step, decoder.functions) == (3, {"FL"})


def test_a_consist_of_three_is_driven_as_one() -> None:
    """Lead, middle and trailing unit in consist 10; masks as the trade sets them."""
    track = Track(
        (
            Decoder(Options(factory={1: 21, 3: 1, 4: 1, 21: 0b11, 22: 0b01})),
            Decoder(Options(factory={1: 22, 3: 2, 4: 2})),
            Decoder(Options(factory={1: 23, 3: 1, 4: 1, 22: 0b10})),
        )
    )
    lead, middle, trailing = track
    line = Line(track)
    line.send("15 12 0A", "16 13 0A", "17 13 0A")  # the last two stand the other way round
    assert [unit.cv(19) for unit in track] == [0x0A, 0x8A, 0x8A]
    line.send("0A 7F", "0A 93")  # forward, step 28; FL, F1, F2
    begun = line.now - 7_000_000
    assert [unit.direction.value for unit in track] == ["forward", "reverse", "reverse"]
    assert [sorted(unit.functions) for unit in track] == [["F1", "F2", "FL"], [], ["FL"]]
    half = begun + 448_000_000
    assert [unit.speed_at(half) for unit in track] == pytest.approx([0.5, -0.25, -0.5])
    line.send("16 81", "15 61")  # F1 of the middle unit alone; the lead's own speed is ignored
    assert (middle.functions, lead.step, len(track)) == ({"F1"}, 28, 3)
    line.wait(2_000_000_000)
    line.send("0A 61")
    assert [unit.speed_at(line.now) for unit in track] == [0, 0, 0]
    line.send("16 12 00", "16 62")
    assert (middle.step, middle.direction, trailing.step) == (1, Direction.FORWARD, 0)
