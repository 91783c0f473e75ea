"""What is written turns one set into the other, in an order that a decoder accepts."""

import pytest
from cv_strategies import INDEXED
from hypothesis import given
from hypothesis import strategies as st

from dccwire import (
    IDLE,
    CvAccessLongForm,
    CvOperation,
    DirectByteAccess,
    Idle,
    LongAddress,
    Packet,
    ShortAddress,
)
from dccwire.cv import (
    CvSet,
    CvWrite,
    DecoderKind,
    IndexedCv,
    writes,
)
from dccwire.errors import FieldError
from refusals import refused
from written_sets import operations_packets, programming_track_instructions


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
    """Each write is two identical packets, to what the decoder answers to then, idles between."""
    decoder = Decoder(old)
    decoder.paged = True
    address = decoder.address
    packets = operations_packets(old, new, address)
    assert set(packets[1::2]) <= {Packet(IDLE, Idle())}
    writing = packets[::2]
    assert len(writing) % 2 == 0
    for first, second in zip(writing[::2], writing[1::2], strict=True):
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
        with refused(FieldError, field=missing, value=None):
            order({}, new)


def test_what_cv_1_clears_is_written_again_if_it_is_needed() -> None:
    """CV 19, and CV 29 for its bit 5; not where the target has them cleared (S-9.2.3 §E)."""
    held = {1: 3, 19: 5, 29: 38}
    assert order(held, {1: 4}) == [(1, 4), (19, 5), (29, 38)]
    assert order(held, {1: 4, 19: 0, 29: 6}) == [(1, 4)]
    assert order({1: 3, 19: 0, 29: 6}, {1: 4, 29: 6}) == [(1, 4)]
    assert order({1: 3, 19: 0}, {1: 4, 29: 6}) == [(1, 4), (29, 6)]
    assert order({1: 3, 29: 6}, {1: 4, 19: 0}) == [(1, 4)]
    assert order(held, {3: 1}) == [(3, 1)]


@pytest.mark.parametrize(
    ("old", "new", "unknown"),
    [
        ({3: 1}, {1: 9, 3: 2}, "CV 19 and CV 29"),
        ({1: 3, 29: 6}, {1: 4}, "CV 19"),
        ({1: 3}, {1: 4, 19: 0}, "CV 29"),
    ],
)
def test_cv_1_is_refused_while_what_it_clears_is_unknown(old, new, unknown: str) -> None:
    """It could not be restored; the error names what to tell. Accessory decoders clear nothing."""
    with refused(FieldError, match="; .*a write of CV 1 clears", field=unknown, value=None):
        order(old, new)
    assert (1, new[1]) in order(old, new, decoder=DecoderKind.ACCESSORY)


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


def test_plain_indexed_cvs_are_written_again_on_another_page() -> None:
    """Where CV 31 or 32 change or were unknown; not where the page stays."""
    held = {31: 16, 32: 0, 300: 5}
    assert order(held, {31: 16, 32: 1, 300: 5}) == [(32, 1), (300, 5)]
    assert order(held, {31: 17, 300: 5, 301: 6}) == [(31, 17), (300, 5), (301, 6)]
    assert order({300: 5}, {31: 16, 32: 1, 300: 5}) == [(31, 16), (32, 1), (300, 5)]
    assert order({31: 16, 300: 5}, {31: 16, 32: 1, 300: 5}) == [(32, 1), (300, 5)]
    assert order(held, {31: 16, 32: 0, 300: 5}) == order({300: 5}, {300: 5}) == []
    assert order(held, {32: 1, 3: 1}) == [(3, 1), (32, 1)]


@pytest.mark.parametrize("decoder", DecoderKind)
def test_a_cv_of_new_that_is_there_twice_is_refused(decoder: DecoderKind) -> None:
    """Plain and indexed, whichever set tells CV 31 and 32; what new replaces is no such case."""
    one = IndexedCv(16, 0, 300)
    for old, new in [
        ({31: 16, 32: 0}, {300: 1, one: 2}),
        ({31: 16}, {32: 0, 300: 1, one: 1}),
    ]:
        with refused(FieldError, match="; .*index 16 0, CV 300", field="CV 300", value=1):
            order(old, new, decoder=decoder)
    assert order({31: 16, 32: 0, 300: 1}, {one: 2}, decoder=decoder) == [(300, 2)]
    assert order({31: 16, 32: 0, one: 1}, {300: 2}, decoder=decoder) == [(300, 2)]


def test_pages_that_cannot_be_set_again_are_refused() -> None:
    """An indexed CV turns the page; plain ones need the old page to be known."""
    one = IndexedCv(16, 0, 257)
    for old, new, missing in [
        ({300: 5}, {one: 1}, "CV 31"),
        ({31: 16}, {one: 1, 300: 5}, "CV 32"),
    ]:
        with refused(FieldError, field=missing, value=None):
            order(old, new)
    assert order({31: 16, 32: 0, 300: 5}, {one: 1}) == [(257, 1)]
    assert order({}, {one: 1}) == [(31, 16), (32, 0), (257, 1)]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ({19: 0, 29: 6}, {1: 200}, "CV 1: bit 7 = 0 expected, 200 given"),
        ({}, {17: 5, 18: 0}, "CV 17: 192 to 231 expected, 5 given; 192 "),
        ({17: 0}, {18: 1}, "CV 17: 192 to 231 expected, 0 given; 192 "),
        ({}, {17: 232, 18: 0}, "CV 17: 192 to 231 expected, 232 given; 192 "),
        ({}, {31: 5, 300: 1}, "CV 31: 16 to 255 expected, 5 given; CV 300 is on its index page"),
        (
            {31: 15, 32: 0},
            {300: 1},
            "CV 31: 16 to 255 expected, 15 given; CV 300 is",
        ),
    ],
)
def test_illegal_values_are_refused_on_both_tracks(old, new, message: str) -> None:
    """S-9.2.2: CV 1 to 127, CV 17 192 to 231, CV 31 from 16 if its page is written to."""
    with refused(FieldError, match=f"^{message}"):
        programming_track_instructions(CvSet(old), CvSet(new))
    with refused(FieldError, match=f"^{message}"):
        operations_packets(CvSet(old), CvSet(new), ShortAddress(3))


def test_legal_values_at_the_bounds_pass() -> None:
    """And CV 31 below 16 where nothing is written to its page, or values that stay."""
    new = {1: 127, 17: 231, 18: 255}
    assert order({19: 0, 29: 0}, new) == [(17, 231), (18, 255), (1, 127)]
    assert order({}, {31: 5}) == [(31, 5)]
    assert order({1: 200, 17: 5}, {1: 200, 17: 5}) == []
    assert order({}, {17: 5, 18: 1, 1: 200}, decoder=DecoderKind.ACCESSORY)[0] == (1, 200)


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
    hint = "; .*read-only, and `force` does not name it"
    with refused(FieldError, match=hint, field="CV 8", value=8):
        order({}, {8: 8})
    with refused(FieldError, match="CV 7"):
        order({7: 1}, {7: 2, 8: 3}, force={8})
    assert order({7: 1, 8: 2}, {7: 1, 8: 2, 3: 1}) == [(3, 1)]
    assert order({7: 1}, {7: 2}, force={7}) == [(7, 2)]
    with refused(FieldError, field="force", bound="7 or 8", value=9):
        order({}, {}, force={9})
    accessory = DecoderKind.ACCESSORY
    assert order({}, {7: 1, 519: 1}, decoder=accessory) == [(7, 1), (519, 1)]
    for cv in (8, 520):
        with refused(FieldError, match=f"CV {cv}: no write expected, 8 given; it is read-o"):
            order({}, {cv: 8}, decoder=accessory)
        assert order({}, {cv: 8, 600: 1}, force={cv}, decoder=accessory) == [(600, 1), (cv, 8)]
    with refused(FieldError, match="force: 8 or 520 expected, 7 given"):
        order({}, {}, force={7}, decoder=accessory)
    packets = operations_packets(CvSet(), CvSet({8: 8}), ShortAddress(3), force=[8])
    assert [packet.instructions[0].cv for packet in packets[::2]] == [8, 8]


def test_a_forced_cv_8_goes_last_but_for_the_lock() -> None:
    """8 in it is a factory reset, after which writes are lost; the lock would bar it."""
    old = {1: 3, 15: 1, 16: 1, 19: 0, 29: 6}
    new = {1: 4, 7: 2, 8: 8, 9: 1, 15: 2, 29: 38, 300: 5}
    expected = [(7, 2), (9, 1), (300, 5), (1, 4), (29, 38), (8, 8), (15, 2)]
    assert order(old, new, force={7, 8}) == expected
    (done,) = writes(CvSet({8: 1}), CvSet({8: 8}), force=[8])
    assert done.why == "a factory reset of all CVs"
    (done,) = writes(CvSet({8: 1}), CvSet({8: 9}), force=[8])
    assert done.why == ""
    assert order({}, {8: 8, 9: 1}, force=[8], decoder=DecoderKind.ACCESSORY) == [(9, 1), (8, 8)]


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
    old = CvSet({1: 3, 19: 5, 15: 1, 16: 2, 29: 6})
    new = CvSet({1: 4, IndexedCv(16, 0, 257): 1, 17: 200, 18: 1, 3: 1})
    reasons = {(one.cv, one.value): one.why for one in writes(old, new)}
    assert reasons[15, 2].startswith("unlocks")
    assert reasons[31, 16] == "index page of index 16 0, CV 257"
    assert reasons[17, 200] == "takes effect with CV 18"
    assert reasons[1, 4].startswith("clears CV 19")
    assert reasons[19, 5].startswith("after CV 1")
    assert reasons[3, 1] == ""
    assert CvWrite(3, 1) in writes(old, new)
    (last,) = writes(CvSet({29: 6}), CvSet({29: 38}))
    assert last.why == "bit 5: the decoder answers to its other address then"
    (last,) = writes(CvSet({29: 6}), CvSet({29: 7}))
    assert last.why == ""
