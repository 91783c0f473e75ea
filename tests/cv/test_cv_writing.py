"""What is written turns one set into the other, in an order that a decoder accepts."""

import pytest
from cv_strategies import INDEXED
from hypothesis import assume, given
from hypothesis import strategies as st

from dccwire import (
    AccessoryAddress,
    CvAccessLongForm,
    CvOperation,
    DirectByteAccess,
    LongAddress,
    ShortAddress,
)
from dccwire.cv import (
    CvSet,
    CvWrite,
    DecoderKind,
    IndexedCv,
    operations_packets,
    programming_track_instructions,
    writes,
)
from dccwire.errors import FieldError


class Decoder:
    """A decoder as S-9.2.2 tells of it, written from the text and not from the code under test."""

    def __init__(self, cvs: CvSet) -> None:
        self.cvs = {key: value for key, value in cvs.items() if isinstance(key, int)}
        self.pages = {key: value for key, value in cvs.items() if isinstance(key, IndexedCv)}
        self.waiting: int | None = None

    def write(self, cv: int, value: int) -> None:
        """Obey a write: lock, pair, pages, and what CV 1 clears."""
        locked = self.cvs.get(15, 0) != self.cvs.get(16, 0)
        if locked and cv != 15:
            return
        if cv == 17:
            self.waiting = value
            return
        if cv == 18 and self.waiting is not None:
            self.cvs[17], self.waiting = self.waiting, None
        if cv == 1:
            self.cvs[19] = 0
            self.cvs[29] = self.cvs.get(29, 0) & 0b11011111
        if 257 <= cv <= 512 and self.cvs.get(31, 0) >= 16 and self.paged:
            self.pages[IndexedCv(self.cvs[31], self.cvs.get(32, 0), cv)] = value
            return
        self.cvs[cv] = value

    paged = False

    @property
    def address(self) -> ShortAddress | LongAddress:
        """What it answers to."""
        if self.cvs[29] & 0b00100000:
            return LongAddress((self.cvs[17] & 0x3F) * 256 + self.cvs[18])
        return ShortAddress(self.cvs[1])


PLAIN = st.integers(2, 256).filter(lambda cv: cv not in (7, 8, 15, 16, 17, 18, 19, 29, 31, 32))
BYTE = st.integers(0, 255)
SPECIAL = {
    1: st.integers(1, 127),
    15: st.integers(0, 2),
    16: st.integers(0, 2),
    17: st.integers(192, 231),
    18: st.integers(0, 3),
    19: BYTE,
    29: st.integers(0, 127),
    31: st.integers(16, 18),
    32: st.integers(0, 2),
}
KNOWN = st.builds(
    lambda base, more: CvSet({**more, **base}),
    st.fixed_dictionaries(SPECIAL),
    st.dictionaries(PLAIN | INDEXED, BYTE, max_size=6),
)
WANTED = st.builds(
    lambda base, more: CvSet({**more, **base}),
    st.fixed_dictionaries({}, optional=SPECIAL),
    st.dictionaries(PLAIN | INDEXED, BYTE, max_size=6),
)


@given(KNOWN, WANTED)
def test_writes_turn_one_set_into_the_other(old: CvSet, new: CvSet) -> None:
    """On a decoder with lock, pages, the pair of CV 17 and 18, and what CV 1 clears."""
    decoder = Decoder(old)
    decoder.paged = True
    done = writes(old, new)
    for one in done:
        decoder.write(one.cv, one.value)
    goal = old | new
    assert CvSet({**decoder.cvs, **decoder.pages}) == goal
    if set(new.items()) <= set(old.items()):
        assert done == ()


@given(KNOWN, WANTED)
def test_on_the_main_every_packet_goes_to_the_address_of_the_moment(old, new) -> None:
    """Each write is two identical packets, to what the decoder answers to when it comes."""
    decoder = Decoder(old)
    decoder.paged = True
    address = decoder.address
    assume(not (isinstance(address, ShortAddress) and address.number == old[19] & 0x7F))
    packets = operations_packets(old, new, address)
    assert len(packets) % 2 == 0
    for first, second in zip(packets[::2], packets[1::2], strict=True):
        assert first == second
        assert first.address == decoder.address
        (one,) = first.instructions
        assert isinstance(one, CvAccessLongForm)
        assert one.operation is CvOperation.WRITE
        decoder.write(one.cv, one.value)
    assert CvSet({**decoder.cvs, **decoder.pages}) == old | new


@given(KNOWN, WANTED)
def test_the_programming_track_gets_the_same_writes(old: CvSet, new: CvSet) -> None:
    """As direct mode bytes."""
    expected = [DirectByteAccess(CvOperation.WRITE, o.cv, o.value) for o in writes(old, new)]
    assert list(programming_track_instructions(old, new)) == expected


def order(old: dict, new: dict, **options) -> list[tuple[int, int]]:
    return [(one.cv, one.value) for one in writes(CvSet(old), CvSet(new), **options)]


def test_cv_17_comes_before_18_and_both_are_written() -> None:
    """The pair takes effect with CV 18, even if only one of the two differs."""
    assert order({17: 196, 18: 180}, {17: 196, 18: 181}) == [(17, 196), (18, 181)]
    assert order({}, {18: 181, 17: 196}) == [(17, 196), (18, 181)]
    for new, missing in (({17: 196}, "CV 18"), ({18: 181}, "CV 17")):
        with pytest.raises(FieldError) as caught:
            order({}, new)
        assert (caught.value.field, caught.value.value) == (missing, None)


def test_what_cv_1_clears_is_written_again_if_it_is_needed() -> None:
    """CV 19, and CV 29 for its bit 5; not where the target has them cleared (S-9.2.3 §E)."""
    held = {1: 3, 19: 5, 29: 38}
    assert order(held, {1: 4}) == [(1, 4), (19, 5), (29, 38)]
    assert order(held, {1: 4, 19: 0, 29: 6}) == [(1, 4)]
    assert order({1: 3, 29: 6}, {1: 4, 29: 6}) == [(1, 4)]
    assert order({1: 3}, {1: 4, 29: 6}) == [(1, 4), (29, 6)]
    assert order({1: 3}, {1: 4, 19: 0}) == [(1, 4)]
    assert order(held, {3: 1}) == [(3, 1)]


def test_bit_5_of_cv_29_goes_last() -> None:
    """The decoder answers to its other address then."""
    new = {17: 196, 18: 181, 29: 38, 3: 2, 66: 128, 19: 4}
    assert order({1: 3, 29: 6}, new) == [
        (3, 2),
        (66, 128),
        (17, 196),
        (18, 181),
        (19, 4),
        (29, 38),
    ]


def test_index_pages_are_set_before_their_cvs_and_set_back() -> None:
    """CV 31 and 32 of each page once; what the sets say of them is there in the end."""
    new = {IndexedCv(17, 1, 300): 9, IndexedCv(17, 1, 301): 8, IndexedCv(17, 2, 257): 7}
    assert order({31: 16, 32: 0}, new) == [
        (31, 17),
        (32, 1),
        (300, 9),
        (301, 8),
        (32, 2),
        (257, 7),
        (31, 16),
        (32, 0),
    ]
    assert order({}, {31: 16, 32: 5, 400: 1}) == [(31, 16), (32, 5), (400, 1)]
    assert order({}, {400: 1, 401: 2}) == [(400, 1), (401, 2)]
    assert order({31: 16, 32: 4}, {32: 5}) == [(32, 5)]


def test_a_locked_decoder_is_unlocked_and_locked_again() -> None:
    """CV 15 is always writable; it is left as the sets have it (S-9.2.2, CV 15 and 16)."""
    assert order({15: 1, 16: 2, 3: 1}, {3: 2}) == [(15, 2), (3, 2), (15, 1)]
    assert order({15: 1, 16: 2}, {15: 2}) == [(15, 2)]
    assert order({15: 1, 16: 2}, {15: 3}) == [(15, 3)]
    assert order({15: 1, 16: 2}, {16: 3}) == [(15, 2), (16, 3), (15, 1)]
    assert order({15: 2, 16: 2}, {15: 1, 3: 2}) == [(3, 2), (15, 1)]
    assert order({15: 1}, {3: 2}) == [(3, 2)]


def test_read_only_cvs_are_written_only_by_name() -> None:
    """CV 7 and 8; equal values need no write, and other CVs cannot be forced."""
    with pytest.raises(FieldError) as caught:
        order({}, {8: 8})
    assert (caught.value.field, caught.value.value) == ("CV 8", 8)
    assert "read-only" in caught.value.bound
    with pytest.raises(FieldError, match="CV 7"):
        order({7: 1}, {7: 2, 8: 3}, force={8})
    assert order({7: 1, 8: 2}, {7: 1, 8: 2, 3: 1}) == [(3, 1)]
    assert order({7: 1}, {7: 2}, force={7}) == [(7, 2)]
    with pytest.raises(FieldError) as caught:
        order({}, {}, force={9})
    assert (caught.value.field, caught.value.bound, caught.value.value) == ("force", "7 or 8", 9)
    packets = operations_packets(CvSet(), CvSet({8: 8}), ShortAddress(3), force=[8])
    assert [packet.instructions[0].cv for packet in packets] == [8, 8]


def test_accessory_decoders_have_pages_alone() -> None:
    """Their CV 1, 17, 18, 19, 29 have no such ties; by number, and what it is for."""
    accessory = DecoderKind.ACCESSORY
    done = order({29: 0x80}, {29: 0xC0, 1: 2, 18: 3, 300: 4, 31: 16}, decoder=accessory)
    assert done == [(1, 2), (18, 3), (29, 0xC0), (31, 16), (300, 4)]
    assert [
        one.cv for one in programming_track_instructions(CvSet(), CvSet({9: 1}), decoder=accessory)
    ] == [9]


def test_writes_say_why_where_it_is_not_plain() -> None:
    """Unlocking, pairs, pages, and what CV 1 brings about."""
    old = CvSet({1: 3, 19: 5, 15: 1, 16: 2})
    new = CvSet({1: 4, IndexedCv(16, 0, 257): 1, 17: 200, 18: 1, 3: 1})
    reasons = {(one.cv, one.value): one.why for one in writes(old, new)}
    assert reasons[15, 2].startswith("unlocks")
    assert reasons[31, 16] == "index page of CV 16.0.257"
    assert reasons[17, 200] == "takes effect with CV 18"
    assert reasons[1, 4].startswith("clears CV 19")
    assert reasons[19, 5].startswith("after CV 1")
    assert reasons[3, 1] == ""
    assert CvWrite(3, 1) in writes(old, new)
    (last,) = writes(CvSet({29: 6}), CvSet({29: 38}))
    assert last.why == "bit 5: the decoder answers to its other address then"
    (last,) = writes(CvSet({29: 6}), CvSet({29: 7}))
    assert last.why == ""


def test_the_address_must_be_the_decoders_own() -> None:
    """Short or long, and not that of its consist (S-9.2.1 §C)."""
    new = CvSet({3: 1})
    for old, address in [
        (CvSet(), AccessoryAddress(3)),
        (CvSet({1: 3, 19: 0x80 | 73}), ShortAddress(73)),
    ]:
        with pytest.raises(FieldError) as caught:
            operations_packets(old, new, address)
        assert caught.value.field == "address"
    for old in (CvSet({1: 73, 19: 73}), CvSet({19: 73}), CvSet({1: 3, 19: 72})):
        assert len(operations_packets(old, new, ShortAddress(73))) == 2
    assert len(operations_packets(CvSet({1: 3, 19: 73}), new, LongAddress(73))) == 2


def test_an_address_that_no_set_tells_is_refused_if_it_is_needed() -> None:
    """After bit 5 of CV 29 changes, or CV 1 becomes 0, and writes are left."""
    last = operations_packets(CvSet({29: 6}), CvSet({29: 38}), ShortAddress(3))
    assert len(last) == 2
    with pytest.raises(FieldError) as caught:
        operations_packets(CvSet({29: 6}), CvSet({29: 38, 15: 1}), ShortAddress(3))
    assert (caught.value.field, caught.value.value) == ("CV 17", None)
    with pytest.raises(FieldError) as caught:
        operations_packets(CvSet({29: 38}), CvSet({29: 6, 15: 1}), LongAddress(1205))
    assert (caught.value.field, caught.value.value) == ("CV 1", None)
    with pytest.raises(FieldError) as caught:
        operations_packets(CvSet({1: 3, 19: 5}), CvSet({1: 0}), ShortAddress(3))
    assert (caught.value.field, caught.value.value) == ("CV 1", 0)
    with pytest.raises(FieldError, match="bit 7 = 0"):
        operations_packets(CvSet({1: 3, 19: 5}), CvSet({1: 200}), ShortAddress(3))
