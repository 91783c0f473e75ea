"""The receiver of bits against the receiver of edges, and against bits counted by hand."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import pytest
from bitstring import Bits
from hypothesis import given
from hypothesis import strategies as st
from receiver_signals import IDLE, LOCO, portions

from dccwire.errors import Reason
from dccwire.framing import stream, to_bits
from dccwire.receiver import BitReceiver, CutOff, Event, Fault, PacketReceived, Receiver, Stray
from dccwire.signal import durations, edges

bits = st.lists(
    st.one_of(
        st.lists(st.integers(0, 1), max_size=6),
        st.builds(
            lambda data, preamble: list(map(int, to_bits(data, preamble).bin)),
            st.binary(min_size=1, max_size=4),
            st.integers(0, 14),
        ),
        st.just([1] * 10 + [0] * 160),
    ),
    max_size=4,
).map(lambda parts: [bit for part in parts for bit in part])


def whole(some: list[int] | Bits) -> list[Event]:
    receiver = BitReceiver()
    return receiver.feed(some) + receiver.close()


@given(some=bits, cuts=st.lists(st.integers(0, 200), max_size=4))
def test_each_bit_belongs_to_one_event(some: list[int], cuts: list[int]) -> None:
    """Events cover all bits, in order, without overlap, however the bits are cut."""
    receiver = BitReceiver()
    events = [one for part in portions(some, cuts) for one in receiver.feed(part)]
    events += receiver.close()
    assert events == whole(some)
    places = [0, *(one.end for one in events)]
    assert [one.begin for one in events] == places[:-1]
    assert places[-1] == len(some)
    assert all(a < b for a, b in pairwise(places))


@given(some=bits)
def test_edges_and_bits_agree(some: list[int]) -> None:
    """The signal of the bits gives the events of the bits, bit numbers turned into times."""
    times = list(edges(durations(some)))[::2]
    receiver = Receiver()
    expected = receiver.feed(edges(durations(some))) + receiver.close()
    found = whole(some)
    assert [type(one) for one in found] == [type(one) for one in expected]
    for mine, other in zip(found, expected, strict=True):
        assert (times[mine.begin], times[mine.end]) == (other.begin, other.end)
        for name in ("preamble", "data", "bits", "adjoining", "reason"):
            assert getattr(mine, name, None) == getattr(other, name, None)
        if isinstance(mine, PacketReceived) and isinstance(other, PacketReceived):
            assert times[mine.start] == other.start


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", []),
        ("0", [Stray(0, 1)]),
        ("11", [CutOff(0, 2, 2, b"", "")]),
        ("1" * 12, [CutOff(0, 12, 12, b"", "")]),
        ("1" * 10 + "0", [CutOff(0, 11, 10, b"", "")]),
        ("1" * 10 + "0" + "00110111" + "0" + "011", [CutOff(0, 23, 10, b"\x37", "011")]),
        (
            "1" * 10 + "0" + "00110111" + "1" + "110",
            [PacketReceived(0, 10, 20, 10, b"\x37", False), Stray(20, 23)],
        ),
        ("1" * 9 + "00", [Stray(0, 11)]),
        (
            "1" * 10 + "000000000" * 16 + "0" + "1",
            [Fault(0, 155, Reason.NO_END_BIT, 10, bytes(16)), CutOff(155, 156, 1, b"", "")],
        ),
    ],
)
def test_bits_by_hand(text: str, expected: list[Event]) -> None:
    """Bits written out give the events counted by hand."""
    assert whole([int(digit) for digit in text]) == expected
    assert whole(Bits.from_string("0b" + text) if text else Bits()) == expected


def test_any_kind_of_bit() -> None:
    """Bits of bitstring's type, truth values and numbers are all taken."""
    given_bits = to_bits(LOCO)
    kinds = (given_bits, list(given_bits), [bool(int(digit)) for digit in given_bits.bin])
    found = [whole(some) for some in kinds]
    assert found == [[PacketReceived(0, 14, 42, 14, LOCO, False)]] * 3


def test_bits_after_the_end_count_on() -> None:
    """After `close` a new stream begins, at the number of the next bit."""
    receiver = BitReceiver()
    assert receiver.close() == receiver.feed([]) == []
    assert len(receiver.feed(stream([LOCO, IDLE]))) == 2
    assert receiver.feed([1]) == []
    assert receiver.close() == [CutOff(84, 85, 1, b"", "")]
    assert receiver.close() == []
    assert receiver.feed(to_bits(LOCO)) == [PacketReceived(85, 99, 127, 14, LOCO, False)]


@pytest.mark.parametrize("seed", range(3))
def test_long_noise_is_read_like_bit_by_bit(seed: int) -> None:
    """However many trials one portion holds; the stack does not grow with it."""
    random = Random(seed)
    bits = [random.random() < 0.5 + seed / 10 for _ in range(60_000)]
    whole, single = BitReceiver(), BitReceiver()
    at_once = whole.feed(bits) + whole.close()
    one_by_one = [event for bit in bits for event in single.feed([bit])] + single.close()
    assert at_once == one_by_one
    assert sum(isinstance(one, (Fault, PacketReceived)) for one in at_once) > 10
