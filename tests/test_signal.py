"""Half-bit durations and limits against numbers of S-9.1 §A, Table 1, typed in."""

from __future__ import annotations

from itertools import pairwise

import pytest
from bitstring import Bits

from dccwire.errors import FieldError
from dccwire.formats import Provenance
from dccwire.framing import to_bits
from dccwire.signal import LIMITS, NOMINAL, Limit, Timing, durations, edges
from refusals import refused

# S-9.1 §A, Table 1, in µs: symbol, least, most.
TABLE_1 = {
    "t1": (55, 61),
    "t1d": (0, 3),
    "tr1": (52, 64),
    "tr1d": (0, 6),
    "t0": (95, 9_900),
    "t0total": (0, 12_000),
    "tr0": (90, 10_000),
}


def test_limits_are_those_of_the_table() -> None:
    """Each limit is the printed one, in ns, and cites its clause."""
    found = {name: (max(one.least, 0), one.most) for name, one in LIMITS.items()}
    assert found == {name: (a * 1_000, b * 1_000) for name, (a, b) in TABLE_1.items()}
    for name, one in LIMITS.items():
        assert one.clause == f"S-9.1 §A, Table 1 {name}"
        assert (one.unit, one.provenance) == ("us", Provenance.PUBLISHED)


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        (Limit("a", 55_000, 61_000, "us"), "55 to 61 us"),
        (Limit("a", most=3_000, unit="us"), "at most 3 us"),
        (Limit("a", least=26_000, unit="us"), "at least 26 us"),
        (Limit("a", 3, 6, "bytes"), "3 to 6 bytes"),
        (Limit("a", 0, 6, "bytes"), "at most 6 bytes"),
        (Limit("a", 1, 6, "bytes"), "1 to 6 bytes"),
        (Limit("a", words="none"), "none"),
    ],
)
def test_limits_in_words(limit: Limit, words: str) -> None:
    """As reports and docs print them."""
    assert str(limit) == words


def test_nominal_timing() -> None:
    """A nominal one lasts 116 µs, a nominal zero 200 µs (S-9.1 §A)."""
    assert Timing() == NOMINAL
    assert NOMINAL.halves == ((100_000, 100_000), (58_000, 58_000))
    assert (NOMINAL.duration_ns(1, 0), NOMINAL.duration_ns(0, 1)) == (116_000, 200_000)


@pytest.mark.parametrize(
    ("data", "preamble", "ones", "zeros"),
    [
        ("FF 00 FF", 14, 14 + 16 + 1, 3 + 8),  # 31 ones, 11 zeros: 5.796 ms
        ("00 00 00", 14, 14 + 1, 3 + 24),  # 15 ones, 27 zeros: 7.140 ms
        ("37 74 43", 20, 20 + 5 + 4 + 3 + 1, 3 + 3 + 4 + 5),  # 33 ones, 15 zeros: 6.828 ms
    ],
)
def test_packets_last_as_long_as_their_bits(
    data: str, preamble: int, ones: int, zeros: int
) -> None:
    """The duration of a packet is 116 µs for each one and 200 µs for each zero."""
    bits = to_bits(bytes.fromhex(data), preamble)
    assert sum(durations(bits)) == ones * 116_000 + zeros * 200_000
    assert NOMINAL.duration_ns(ones, zeros) == sum(durations(bits))


def test_halves_that_differ() -> None:
    """First and last halves may differ, as in stretched zeros (common practice, no source)."""
    timing = Timing(one=56_000, one_last=59_000, zero=98_000, zero_last=5_000_000)
    assert list(durations([1, 0], timing)) == [56_000, 59_000, 98_000, 5_000_000]
    assert list(durations(Bits.from_string("0b01"), timing))[:2] == [98_000, 5_000_000]
    assert timing.duration_ns(2, 3) == 2 * 115_000 + 3 * 5_098_000


@pytest.mark.parametrize("name", ["one", "zero", "one_last", "zero_last"])
@pytest.mark.parametrize("value", [0, -1, 58_000.0, True, "58"])
def test_a_duration_is_a_positive_integer(name: str, value: object) -> None:
    """Anything but a positive integer is refused, with field, bound and value."""
    with refused(FieldError, field=name, value=value, bound="a positive number of nanoseconds"):
        Timing(**{name: value})
    assert getattr(Timing(**{name: 1}), name) == 1


def test_first_halves_are_not_left_out() -> None:
    """Only the last halves may be left to the first ones."""
    with refused(FieldError, field="one", value=None):
        Timing(one=None)
    with refused(FieldError, field="zero", value=None):
        Timing(zero=None)


def test_edges_bound_half_bits() -> None:
    """There is one edge more than half-bits, and the steps between them are the half-bits."""
    lengths = list(durations(to_bits(b"\x35")))
    found = list(edges(lengths, 10**18))
    assert found[0] == 10**18
    assert [b - a for a, b in pairwise(found)] == lengths
    assert list(edges([])) == [0]
