"""Steps, direction, momentum, stops, limits, time-out."""

import pytest
from decoder_helpers import IDLE, RESET, at_work

from dccwire import FieldError
from dccwire.decoder import Direction, Ignored
from refusals import refused

SECOND = 1_000_000_000


@pytest.mark.parametrize(
    ("body", "step", "direction"),
    [
        ("03 74", 6, "forward"),  # 01 1 10100: CSSSS = 10100 is step 6
        ("03 62", 1, "forward"),  # 00010
        ("03 52", 2, "reverse"),  # 10010
        ("03 6F", 27, "forward"),  # 01111
        ("03 7F", 28, "forward"),  # 11111
        ("03 40", 0, "reverse"),  # 00000 stop
    ],
)
def test_the_28_steps_of_the_speed_table(body: str, step: int, direction: str) -> None:
    """S-9.2 §B, speed table."""
    decoder, line = at_work()
    line.send(body)
    assert (decoder.step, decoder.steps, decoder.direction.value) == (step, 28, direction)
    assert decoder.speed_at(line.now, steps=28) == pytest.approx(
        step if direction == "forward" else -step
    )


def test_14_steps_and_fl_with_cv_29_bit_1_clear() -> None:
    """S-9.2.1 §C: U0010 is step 1, U1111 step 14, U is FL."""
    decoder, line = at_work(factory={29: 0})
    line.send("03 72")
    assert (decoder.step, decoder.steps, decoder.functions) == (1, 14, {"FL"})
    line.send("03 6F")
    assert (decoder.step, decoder.functions) == (14, frozenset())
    assert decoder.speed_at(line.now) == 1.0


def test_128_steps_count_whatever_cv_29_bit_1_says() -> None:
    """S-9.2.1 §C: 2 is step 1 of 126, 127 step 126; bit 7 forward."""
    for configuration in (0, 2):
        decoder, line = at_work(factory={29: configuration})
        line.send("03 3F 82")
        assert (decoder.step, decoder.steps) == (1, 126)
        line.send("03 3F 7F")
        assert (decoder.step, decoder.direction) == (126, Direction.REVERSE)
        assert decoder.speed_at(line.now) == -1.0


def test_cv_29_bit_0_turns_the_direction() -> None:
    """S-9.2.2, CV 29 bit 0."""
    decoder, line = at_work(factory={29: 0b11})
    assert decoder.direction is Direction.REVERSE
    line.send("03 7F")
    assert decoder.direction is Direction.REVERSE
    line.send("03 5F")
    assert decoder.direction is Direction.FORWARD


def test_momentum_takes_rate_times_0_896_seconds_for_all_steps() -> None:
    """S-9.2.2, CV 3: 2 × 0.896 / 28 = 0.064 s a step; CV 4 = 1 is half of it on the way down."""
    decoder, line = at_work(factory={3: 2, 4: 1})
    line.send("03 7F")  # step 28
    begun = line.now
    for steps in range(29):
        time = begun + steps * 64_000_000
        assert decoder.speed_at(time, steps=28) == pytest.approx(steps)
    assert decoder.speed_at(begun + 60 * SECOND) == 1.0
    line.wait(28 * 64_000_000)
    line.send("03 60")  # stop
    assert decoder.speed_at(line.now + 32_000_000, steps=28) == pytest.approx(27)
    assert decoder.speed_at(line.now + 28 * 32_000_000) == 0.0


def test_a_repeated_packet_does_not_delay_momentum() -> None:
    """A station refreshes the speed all the time."""
    decoder, line = at_work(factory={3: 2})
    line.send("03 7F")
    begun = line.now
    line.send("03 7F", times=10)
    assert decoder.speed_at(begun) == 0.0  # the same line of speed all the time
    assert decoder.speed_at(begun + 14 * 64_000_000) == pytest.approx(0.5)


def test_the_way_to_the_other_direction_leads_through_a_standstill() -> None:
    """Down by CV 4 (1.792 s for all), up by CV 3 (0.896 s for all)."""
    decoder, line = at_work(factory={3: 1, 4: 2})
    line.send("03 7F")
    line.wait(SECOND)
    line.send("03 5F")  # reverse, step 28
    begun = line.now
    seen = [decoder.speed_at(begun + ms * 1_000_000) for ms in (0, 896, 1792, 2240, 2688, 9999)]
    assert seen == pytest.approx([1, 0.5, 0, -0.5, -1, -1])


@pytest.mark.parametrize(
    ("adjustment", "full_ms"),
    [
        (0x03, 5 * 896),  # 2 + 3
        (0x81, 1 * 896),  # 2 - 1
        (0x8A, 0),  # 2 - 10, kept at 0 (V3)
    ],
)
def test_cv_23_adjusts_cv_3(adjustment: int, full_ms: int) -> None:
    """S-9.2.2, CV 23: bit 7 subtracts; the short form writes it with one packet."""
    decoder, line = at_work(factory={3: 2})
    line.send(f"03 F2 {adjustment:02X}")
    assert decoder.cv(23) == adjustment
    line.send("03 7F")
    half = decoder.speed_at(line.now + full_ms * 500_000)
    assert half == pytest.approx(0.5 if full_ms else 1)
    assert decoder.speed_at(line.now + full_ms * 1_000_000) == pytest.approx(1)


def test_cv_24_adjusts_cv_4() -> None:
    """S-9.2.2, CV 24: 0 + 4 gives 3.584 s from full speed to standstill."""
    decoder, line = at_work()
    line.send("03 F3 04", "03 7F", "03 60")
    assert decoder.cv(24) == 4
    assert decoder.speed_at(line.now + 1792 * 1_000_000) == pytest.approx(0.5)


@pytest.mark.parametrize(("in_use", "full_ms"), [(126, 8960), (128, 8820)])
def test_the_divisor_of_128_step_control_is_a_choice(in_use: int, full_ms: int) -> None:
    """V2: 10 × 0.896 / 126 or / 128 for each of 126 steps."""
    decoder, line = at_work(factory={3: 10}, steps_in_use=in_use)
    line.send("03 3F FF")
    assert decoder.speed_at(line.now + full_ms * 500_000) == pytest.approx(0.5)


@pytest.mark.parametrize("body", ["03 61", "03 71", "03 3F 81", "00 71", "00 61"])
def test_emergency_stops_know_no_momentum(body: str) -> None:
    """S-9.2 §B (CSSSS 00001 and 10001, broadcast with S = 1), S-9.2.1 §C (U0000001)."""
    decoder, line = at_work(factory={4: 255})
    line.send("03 7F", "03 6F")
    assert decoder.speed_at(line.now) == 1.0  # slowing down from step 28 to 27
    line.send(body)
    assert (decoder.speed_at(line.now), decoder.step) == (0.0, 0)


def test_a_broadcast_stop_without_s_is_a_stop_with_momentum() -> None:
    """S-9.2 §B: S = 0 stops the locomotive, here as its own address would."""
    decoder, line = at_work(factory={4: 1})
    line.send("03 7F", "00 60")
    assert decoder.step == 0
    assert decoder.speed_at(line.now + 448_000_000) == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("configuration", "body", "direction"),
    [
        (2, "03 50", "forward"),  # C = 1: direction let be (C6)
        (2, "03 40", "reverse"),
        (2, "00 51", "forward"),
        (0, "00 50", "forward"),
        (0, "03 50", "reverse"),  # 14 steps: C is FL
    ],
)
def test_c_in_a_stop_lets_the_direction_be(configuration: int, body: str, direction: str) -> None:
    """S-9.2 §B (C6); at 14 steps only in the broadcast, where C is not FL."""
    decoder, line = at_work(factory={29: configuration})
    line.send("03 6F", body)
    assert decoder.direction.value == direction
    assert decoder.functions == ({"FL"} if body == "03 50" and configuration == 0 else frozenset())


def test_a_limit_caps_the_speed_and_not_the_step() -> None:
    """S-9.2.1 §C, Restricted Speed Step (X15, X16): 3E 17 is CSSSS 10111, step 12 of 28."""
    decoder, line = at_work()
    line.send("03 7F", "03 3E 17")
    assert decoder.limit is not None
    assert decoder.limit.step(28) == 12
    assert (decoder.step, decoder.speed_at(line.now, steps=28)) == (28, pytest.approx(12))
    line.send("03 3F FF")  # step 126 of 126: the limit is scaled from 28 (footnote 2)
    assert decoder.speed_at(line.now) == pytest.approx(12 / 28)
    line.send("03 65")  # 00101: step 7
    assert decoder.speed_at(line.now, steps=28) == pytest.approx(7)
    line.send("03 7F", "03 3E 80")
    assert (decoder.limit, decoder.speed_at(line.now)) == (None, 1.0)


def test_a_limit_of_14_steps() -> None:
    """S-9.2.1 §C: SSSS 1000 is step 7 of 14."""
    decoder, line = at_work(factory={29: 0})
    line.send("03 3E 08", "03 6F")
    assert decoder.speed_at(line.now) == pytest.approx(0.5)


def test_a_decoder_reset_stops_at_once_and_clears_what_is_volatile() -> None:
    """S-9.2.1 §C, Digital Decoder Reset, to the own address and to all."""
    for reset in (RESET, "03 00"):
        decoder, line = at_work(factory={4: 100})
        fresh = decoder.snapshot()
        line.send("03 5F", "03 9F", "03 DD 85", "03 3D 01 40", "03 3E 17", reset)
        assert decoder.snapshot() == fresh
        assert decoder.speed_at(line.now) == 0.0


def test_time_out_slows_down_as_a_stop_would() -> None:
    """S-9.2.2, CV 11: 2 units of 1 s, then CV 4 = 1 (0.896 s); any valid packet counts."""
    decoder, line = at_work(factory={11: 2, 4: 1}, time_out_unit_ns=SECOND)
    line.send("03 7F", IDLE, "05 7F")
    last = line.now
    assert decoder.speed_at(last + 2 * SECOND) == 1.0
    assert decoder.speed_at(last + 2 * SECOND + 448_000_000) == pytest.approx(0.5)
    assert decoder.step == 28
    line.wait(2 * SECOND + 448_000_000)
    line.send(IDLE)
    assert decoder.step == 0
    assert decoder.speed_at(line.now) < 0.5


def test_without_a_unit_there_is_no_time_out() -> None:
    """The standard gives no unit for CV 11, so that its value alone says nothing."""
    decoder, line = at_work(factory={11: 255})
    line.send("03 3F 82")
    assert decoder.speed_at(line.now) == decoder.speed_at(line.now + 3600 * SECOND) > 0


def test_time_out_in_the_middle_of_a_change_of_speed() -> None:
    """S-9.2.2, CV 3, 4 and 11: 10 × 0.896 s for the full range; cut short after 2 s, and back."""
    decoder, line = at_work(factory={3: 10, 4: 10, 11: 2}, time_out_unit_ns=SECOND)
    line.wait(SECOND)
    line.send("03 7F")
    reached = 2 / 8.96
    assert decoder.speed_at(line.now + 2 * SECOND) == pytest.approx(reached)
    assert decoder.speed_at(line.now + 3 * SECOND) == pytest.approx(reached / 2)
    assert decoder.speed_at(line.now + 4 * SECOND) == 0.0


def test_a_packet_with_a_wrong_error_byte_does_not_hold_off_the_time_out() -> None:
    """S-9.2.2, CV 11: a valid packet is asked for."""
    decoder, line = at_work(factory={11: 1}, time_out_unit_ns=SECOND)
    line.send("03 7F")
    decoder.take(bytes.fromhex("03 7F 00"), line.now + SECOND - 2, line.now + SECOND - 1)
    assert decoder.speed_at(line.now + SECOND) == 1.0
    assert decoder.speed_at(line.now + SECOND + 1) == 0.0


def test_time_out_begins_anew_at_power_on() -> None:
    """Although only a broken packet told the time since."""
    decoder, line = at_work(factory={11: 1}, time_out_unit_ns=SECOND)
    decoder.take(bytes.fromhex("03 7F 00"), 5 * SECOND, 6 * SECOND)
    decoder.power_on()
    assert decoder.speed_at(6 * SECOND) == 0.0
    line.wait(6 * SECOND)
    line.send("03 7F")
    assert decoder.speed_at(line.now + SECOND) == 1.0


def test_time_out_begins_when_it_is_switched_on() -> None:
    """A write of CV 11 on the main, and one in the workshop: not by what was not heard before."""
    decoder, line = at_work(time_out_unit_ns=SECOND)
    line.send("03 7F")
    line.wait(60 * SECOND)
    line.send("03 EC 0A 05", times=2)
    assert decoder.cv(11) == 5
    assert decoder.speed_at(line.now + 5 * SECOND) == 1.0
    decoder, line = at_work(time_out_unit_ns=SECOND)
    line.send("03 7F")
    line.wait(60 * SECOND)
    line.send("05 7F")
    decoder.set_cv(11, 5)
    assert decoder.speed_at(line.now + 5 * SECOND) == 1.0
    assert decoder.speed_at(line.now + 5 * SECOND + 1) == 0.0


def test_the_speed_before_the_last_change_is_not_kept() -> None:
    """Only the line of speed under way is."""
    decoder, line = at_work()
    line.send("03 7F")
    with refused(FieldError, match="time_ns: 7000000 or later expected, 6999999 given"):
        decoder.speed_at(line.now - 1)


def test_nothing_that_is_ignored_goes_uncounted() -> None:
    """A reserved instruction, a factory test, a verify on the main, a flag (X11)."""
    decoder, line = at_work()
    line.send("03 04", "03 02", "03 E4 00 03", "03 07 F0", "03 0F")
    assert decoder.ignored == {Ignored.UNKNOWN: 1, Ignored.UNSUPPORTED: 4}
