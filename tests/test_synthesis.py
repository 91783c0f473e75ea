"""Signals made on purpose: right where they should be, wrong where they were asked to be."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest

from dccwire.errors import FieldError
from dccwire.receiver import Receiver
from dccwire.signal import Timing
from dccwire.synthesis import Sending, synthesize
from refusals import refused

DATA = bytes.fromhex("377443")  # 0 00110111 0 01110100 0 01000011 1: 28 bits
NOMINAL = Sending(DATA).lengths()


def edges(*sendings: Sending, **options: Any) -> list[int]:
    return list(synthesize(sendings or [Sending(DATA)] * 3, **options))


def test_nothing_asked_for_is_nominal() -> None:
    """Without options the half-bits are the nominal ones, one after the other, from 0 on."""
    found = edges(Sending(DATA), Sending(DATA, preamble=3, timing=Timing(one=60_000)))
    assert found[0] == 0
    assert [b - a for a, b in pairwise(found)][:84] == NOMINAL
    assert [b - a for a, b in pairwise(found)][84:90] == [60_000] * 6
    assert len(found) == 1 + 2 * 42 + 2 * 31
    assert edges(start_ns=10**18) == [edge + 10**18 for edge in edges()]
    assert edges() == edges(seed=5)


@pytest.mark.parametrize(("flip", "old"), [(0, 0), (1, 0), (3, 1), (27, 1)])
def test_flip(flip: int, old: int) -> None:
    """`flip` inverts the bit of that number, counted from the packet start bit."""
    found = Sending(DATA, preamble=12, flip=flip).lengths()
    at = 24 + 2 * flip
    right = Sending(DATA, preamble=12).lengths()
    assert right[at : at + 2] == [58_000 if old else 100_000] * 2
    assert found[at : at + 2] == [100_000 if old else 58_000] * 2
    assert found[:at] + found[at + 2 :] == right[:at] + right[at + 2 :]


@pytest.mark.parametrize("drop", [0, 1, 30, 55])
def test_drop(drop: int) -> None:
    """`drop` leaves out the half-bit of that number, counted from the packet start bit."""
    timing = Timing(one=58_001, one_last=58_002, zero=100_001, zero_last=100_002)
    right = Sending(DATA, timing=timing).lengths()
    assert Sending(DATA, timing=timing, drop=drop).lengths() == (
        right[: 28 + drop] + right[29 + drop :]
    )


def test_pulse() -> None:
    """`pulse_ns` splits a half-bit in the packet's middle in three; the time stays the same."""
    found = Sending(DATA, pulse_ns=11_000).lengths()
    # The middle of 28 bits: half-bit 27 after the preamble, the last half of bit 13, a one.
    assert found[28 + 27 : 28 + 30] == [23_500, 11_000, 23_500]
    assert [*found[: 28 + 27], 58_000, *found[28 + 30 :]] == NOMINAL
    longest = Sending(DATA, pulse_ns=57_998).lengths()
    assert longest[28 + 27 : 28 + 30] == [1, 57_998, 1]


def test_gap() -> None:
    """`gap_ns` is silence after the packet: its last half-bit is so much longer."""
    found = Sending(DATA, gap_ns=20_000_000).lengths()
    assert found == [*NOMINAL[:-1], 20_058_000]


def test_faults_together() -> None:
    """Faults may stand together, and the edges are those of the half-bits."""
    one = Sending(DATA, flip=27, drop=0, pulse_ns=5_000, gap_ns=7)
    assert len(one.lengths()) == 84 - 1 + 2
    assert one.lengths()[-1] == 100_007
    assert edges(one)[-1] == sum(one.lengths())


@pytest.mark.parametrize(
    ("given", "field", "bound", "value"),
    [
        ({"data": b""}, "data", "one byte or more", b""),
        ({"preamble": -1}, "preamble", "0 or more", -1),
        ({"flip": 28}, "flip", "0 to 27", 28),
        ({"flip": -1}, "flip", "0 to 27", -1),
        ({"drop": 56}, "drop", "0 to 55", 56),
        ({"drop": -1}, "drop", "0 to 55", -1),
        ({"pulse_ns": -1}, "pulse_ns", "0 or more", -1),
        ({"pulse_ns": 57_999}, "pulse_ns", "0 to 57998", 57_999),
        ({"gap_ns": -1}, "gap_ns", "0 or more", -1),
    ],
)
def test_sendings_that_cannot_be(
    given: dict[str, Any], field: str, bound: str, value: object
) -> None:
    """A number out of bounds is refused at once, with field, bound and value."""
    with refused(FieldError, field=field, bound=bound, value=value):
        Sending(**({"data": DATA} | given))


@pytest.mark.parametrize(
    ("name", "value", "least"),
    [
        ("start_ns", -1, 0),
        ("jitter_ns", -1, 0),
        ("sampling_ns", 0, 1),
        ("pulses_per_second", -0.5, 0),
        ("pulses_per_second", float("nan"), 0),
        ("pulses_per_second", float("inf"), 0),
        ("jitter_ns", float("nan"), 0),
        ("sampling_ns", float("inf"), 1),
    ],
)
def test_options_that_cannot_be(name: str, value: float, least: int) -> None:
    """An option out of bounds is refused at the call, with field, bound and value."""
    with refused(FieldError, field=name, bound=f"{least} or more", value=value):
        synthesize([], **{name: value})


def test_jitter_stays_within_its_bound() -> None:
    """With jitter each edge is off by at most so much, and not by nothing alone."""
    exact, found = edges(start_ns=5_000), edges(start_ns=5_000, jitter_ns=500, seed=3)
    offsets = [a - b for a, b in zip(found, exact, strict=True)]
    assert -500 <= min(offsets) < -250
    assert 250 < max(offsets) <= 500


def test_sampling_is_late_by_less_than_one_step() -> None:
    """Sampled edges are multiples of the step, late by less than one of them (M1)."""
    exact = edges(start_ns=333)
    found = edges(start_ns=333, sampling_ns=1_500)
    assert all(edge % 1_500 == 0 for edge in found)
    assert all(0 <= a - b < 1_500 for a, b in zip(found, exact, strict=True))


def test_wild_jitter_keeps_the_order() -> None:
    """Time never runs backwards, even when jitter exceeds the half-bits."""
    found = edges(jitter_ns=300_000, pulses_per_second=2_000, seed=1)
    assert found == sorted(found)
    assert len(found) > 3 * 84


def test_spurious_pulses() -> None:
    """Pulses of 0.2 to 3 µs are added, all other edges stay, and about as many as asked for."""
    sendings = [Sending(DATA)] * 200
    exact, found = edges(*sendings), edges(*sendings, pulses_per_second=50, seed=2)
    added = sorted(set(found) - set(exact))
    assert len(found) == len(exact) + len(added)
    assert set(exact) <= set(found)
    pulses = list(zip(added[::2], added[1::2], strict=True))
    assert all(200 <= end - begin <= 3_000 for begin, end in pulses)
    asked = exact[-1] / 1e9 * 50
    assert 0.5 * asked < len(pulses) < 1.5 * asked
    receiver = Receiver()
    events = receiver.feed(found) + receiver.close()
    assert receiver.merged >= len(pulses) - 5
    assert len(events) >= 190


def test_half_bits_shorter_than_a_pulse() -> None:
    """A pulse that is longer than its half-bit begins with it, and time stays in order."""
    tiny = Sending(DATA, timing=Timing(one=100, zero=150))
    found = edges(*[tiny] * 50, pulses_per_second=1e6, seed=4)
    assert len(found) > 50 * 84 + 1
    assert found == sorted(found)


@pytest.mark.parametrize("options", [{"jitter_ns": 900}, {"pulses_per_second": 900}])
def test_the_seed_decides(options: dict[str, Any]) -> None:
    """The same seed gives the same signal, another seed another one."""
    assert edges(seed=8, **options) == edges(seed=8, **options)
    assert edges(seed=8, **options) != edges(seed=9, **options)
