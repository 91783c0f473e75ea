"""Reading CVs: right values from an ideal decoder, and never a wrong one from a bad track."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from programming_helpers import (
    RESET,
    IdealDecoder,
    Noisy,
    counted,
    losses,
    result,
    runs,
    sent,
    silence,
)

from dccwire.cv import DecoderKind, IndexedCv, IndexPage
from dccwire.errors import ConfirmationError, FieldError, Reason, TextError
from dccwire.programming import (
    AddressOnly,
    Answer,
    Block,
    DirectCounts,
    DirectCv,
    PagedCv,
    Register,
    Setup,
    conversation,
    find_direct_mode,
    read_byte,
    read_cvs,
    read_job,
    verify_byte,
    write_bit,
    write_byte,
)
from refusals import refused

FIRST = (IndexPage.of(0),)
UNPOWERED = Setup(power_on=False)


@pytest.mark.parametrize("cv", [1, 8, 29, 257, 1024])
def test_direct_mode_reads_each_value(cv) -> None:
    """Eight bit verifies, then the byte (common practice, no source)."""
    for value in range(256):
        assert result(read_byte(DirectCv(cv)), IdealDecoder({cv: value})) == value


@pytest.mark.parametrize(
    "target",
    [PagedCv(1), PagedCv(29), PagedCv(1020), PagedCv(1024), Register(5), Register(8)],
    ids=str,
)
@pytest.mark.parametrize("value", [0, 1, 77, 254, 255])
def test_the_other_modes_read_by_comparing(target, value) -> None:
    """One CV takes 256 verify groups at most; the page register is left at 1."""
    decoder = IdealDecoder({target.cv: value}, writes=bool(value % 2))
    assert result(read_byte(target), decoder) == value
    assert decoder.page == 1


def test_address_only_mode_reads_up_to_127() -> None:
    """0DDDDDDD (P5): a value above is not found."""
    for value in (0, 3, 127):
        assert result(read_byte(AddressOnly()), IdealDecoder({1: value})) == value
    with refused(ConfirmationError, refused="verify of 0 to 127"):
        result(read_byte(AddressOnly()), IdealDecoder({1: 128}))


def test_reading_in_direct_mode_packet_by_packet() -> None:
    """Three resets before the run of verify groups, one after each that was acknowledged."""
    assert runs(read_byte(DirectCv(29), UNPOWERED), IdealDecoder({29: 0b0000_0110})) == [
        (RESET, 3),
        ("781ce88c", 5),
        ("781ce98d", 2),
        (RESET, 1),
        ("781cea8e", 2),
        (RESET, 1),
        ("781ceb8f", 5),
        ("781cec88", 5),
        ("781ced89", 5),
        ("781cee8a", 5),
        ("781cef8b", 5),
        ("741c066e", 2),
        (RESET, 1),
    ]


def test_reading_in_paged_mode_packet_by_packet() -> None:
    """Three resets before each verify group; the value found is asked for once more."""
    assert runs(read_byte(PagedCv(30), UNPOWERED), IdealDecoder({30: 1})) == [
        (RESET, 3),
        ("7d0875", 2),
        (RESET, 9),
        ("75087d", 2),
        (RESET, 3),
        ("710071", 5),
        (RESET, 3),
        ("710170", 2),
        (RESET, 3),
        ("710170", 2),
        (RESET, 3),
        ("7d017c", 2),
        (RESET, 6),
    ]


def test_reading_in_register_mode_packet_by_packet() -> None:
    """A run of verify groups; resets stand between the same packets twice."""
    assert runs(read_byte(Register(5), UNPOWERED), IdealDecoder({29: 1}))[3:] == [
        ("740074", 7),
        ("740175", 2),
        (RESET, 3),
        ("740175", 2),
    ]


def test_nobody_there_is_an_error_and_no_value() -> None:
    """With what was read, and what was refused; the page goes back to 1 all the same."""
    for target, read, asked in (
        (DirectCv(29), 0, "verify of 0"),
        (PagedCv(29), None, "verify of page 8"),
        (Register(5), None, "verify of 0 to 255"),
    ):
        session = read_byte(target)
        outgoing = sent(session)
        for _ in range(2):
            with refused(ConfirmationError, place="CV 29", read=read, refused=asked):
                _ = session.result
        if isinstance(target, PagedCv):
            assert counted(outgoing)[-3:] == [(RESET, 3), ("7d017c", 5), (RESET, 6)]


def test_a_decoder_that_answers_no_page_verify_is_read_without_the_check() -> None:
    """The standard does not say that it must."""

    class Silent(IdealDecoder):
        def hear(self, data: bytes) -> bool:
            return super().hear(data) and data[0] != 0x75

    with refused(ConfirmationError, place="CV 29", refused="verify of page 8"):
        result(read_byte(PagedCv(29)), Silent({29: 4}))
    assert result(read_byte(PagedCv(29), Setup(check_page=False)), Silent({29: 4})) == 4


@pytest.mark.parametrize(
    ("cvs", "found"), [({8: 5}, True), ({8: 200}, True), ({}, False), ({7: 1}, False)]
)
def test_direct_mode_is_found_by_bit_7_of_cv_8(cvs, found) -> None:
    """As 0 or as 1 (S-9.2.3 §E, Direct Mode)."""
    assert result(find_direct_mode(), IdealDecoder(cvs)) is found


@pytest.mark.parametrize("target", [DirectCv(29), PagedCv(29), Register(5)], ids=repr)
def test_what_is_written_is_there(target) -> None:
    """And a verify says yes to it, no to another."""
    decoder = IdealDecoder({29: 0, 30: 7})
    assert result(write_byte(target, 38), decoder) is True
    assert decoder.cvs == {29: 38, 30: 7}
    assert result(verify_byte(target, 38), decoder) is True
    assert result(verify_byte(target, 6), decoder) is False


def test_bits_are_written_one_by_one() -> None:
    """The others stay."""
    decoder = IdealDecoder({29: 0b0101_0101})
    result(write_bit(DirectCv(29), 1, 1), decoder)
    result(write_bit(DirectCv(29), 6, 0), decoder)
    assert decoder.cvs == {29: 0b0001_0111}


def test_answers_that_come_a_packet_late_do_no_harm() -> None:
    """A programmer that can only look while it sends the next packet reads the same."""
    for target in (DirectCv(29), PagedCv(29), Register(5)):
        decoder = IdealDecoder({29: 6})
        before = Answer.SILENCE

        def late(sending, decoder=decoder):
            nonlocal before
            now, before = before, decoder(sending)
            return now

        assert result(read_byte(target), late) == 6


NUMBERS = losses(130)
TARGETS = st.sampled_from([DirectCv(29), PagedCv(29), Register(5)])


def outcome(session, track) -> int | None:
    """The value reported, if any."""
    for _ in conversation(session, track):
        pass
    try:
        return session.result
    except ConfirmationError:
        return None


def other_pages() -> dict[int, int]:
    """Small values in all CVs, others on each page, so that a wrong page would show."""
    return {cv: ((cv - 1) // 4 + cv) % 5 for cv in range(1, 1025)}


@settings(max_examples=150)
@given(target=TARGETS, value=st.integers(0, 4), lost=NUMBERS, unseen=NUMBERS)
def test_losses_never_make_a_wrong_value(target, value, lost, unseen) -> None:
    """Whatever packets and acknowledgements are lost, wherever the page register stood before."""
    decoder = IdealDecoder({**other_pages(), 29: value}, page=3)
    setup = Setup(power_on=isinstance(target, Register))
    assert outcome(read_byte(target, setup), Noisy(decoder, lost, unseen)) in (value, None)


@settings(max_examples=150)
@given(value=st.integers(0, 255), lost=NUMBERS, unseen=NUMBERS, false=NUMBERS)
def test_false_acknowledgements_before_the_confirmation_make_no_wrong_value(
    value, lost, unseen, false
) -> None:
    """In direct mode, losses added; the confirming byte verify, 0111 01, is left alone."""

    def invent(number: int, data: bytes) -> bool:
        return number in false and data[0] & 0xFC != 0x74

    track = Noisy(IdealDecoder({29: value}), lost, unseen, invent)
    assert outcome(read_byte(DirectCv(29)), track) in (value, None)


@pytest.mark.parametrize("target", [DirectCv(29), PagedCv(29), Register(5)], ids=repr)
def test_no_single_false_acknowledgement_makes_a_wrong_value(target) -> None:
    """Wherever it falls."""
    for value in (0, 2):
        length = len(sent(read_byte(target), IdealDecoder({29: value})))
        for place in range(length):
            track = Noisy(IdealDecoder({29: value}), false=lambda number, _, at=place: number == at)
            assert outcome(read_byte(target), track) in (value, None)


def test_what_confirmation_cannot_guard_against() -> None:
    """A lost acknowledgement of a bit, and a false one of the confirming verify."""
    track = Noisy(
        IdealDecoder({29: 1}), range(23, 28), false=lambda _, data: data[0] & 0xFC == 0x74
    )
    assert outcome(read_byte(DirectCv(29)), track) == 0


def test_without_the_page_check_a_lost_page_write_reads_another_cv() -> None:
    """That is what the check is for."""
    for check, read in ((False, 1), (True, None)):
        decoder = IdealDecoder({1: 1, 29: 4})
        track = Noisy(decoder, range(23, 28))
        assert outcome(read_byte(PagedCv(29), Setup(check_page=check)), track) == read


def test_a_job_reads_all_its_cvs_in_one_session() -> None:
    """One power-on cycle, three resets before the run of verify groups, none between two CVs."""
    cvs = {cv: cv * 7 % 256 for cv in range(1, 301)}
    session = read_cvs(read_job("1-300"))
    outgoing = sent(session, IdealDecoder(cvs))
    assert dict(session.result.values) == cvs
    assert session.result.failures == {}
    assert [n for n, one in enumerate(outgoing) if one.power_on] == [0]
    resets = counted(outgoing)
    assert max(n for data, n in resets[1:] if data == RESET) == 1


def test_resets_between_cvs_can_be_added() -> None:
    """The standard asks for none."""
    plain = sent(read_cvs([Block(1, 5)]))
    more = sent(read_cvs([Block(1, 5)], setup=Setup(DirectCounts(between_cvs=3))))
    assert len(more) - len(plain) == 15


def indexed() -> dict:
    """CVs of two index pages, and CV 31 and 32 at another."""
    pages = {(16, low, cv): (low * 50 + cv) % 9 for low in range(2) for cv in range(257, 261)}
    return {31: 40, 32: 9, 1: 3, **pages}


@pytest.mark.parametrize("reach", [DirectCv, PagedCv])
def test_a_job_goes_through_index_pages(reach) -> None:
    """CV 31 and 32 are written, each only if it changes; paged mode sets its own pages for that."""
    decoder = IdealDecoder(indexed())
    readout = result(read_cvs(read_job("1,257-260x2,1"), reach), decoder)
    assert dict(readout.values) == {
        1: 3,
        **{
            IndexedCv(16, low, cv): indexed()[16, low, cv]
            for low in range(2)
            for cv in range(257, 261)
        },
    }
    assert readout.failures == {}
    assert (decoder.cvs[31], decoder.cvs[32], decoder.page) == (16, 1, 1)
    written = [data for data in decoder.heard if data.hex().startswith("7c1e10")]
    assert len(written) == (2 if reach is DirectCv else 0)


@pytest.mark.parametrize(
    ("cv", "register"),
    [(1, 1), (513, 1), (7, 7), (519, 7), (8, 8), (520, 8), (29, None), (3, None)],
)
def test_registers_of_accessory_decoders_are_read(cv: int, register: int | None) -> None:
    """S-9.2.3 §E: 1, 7 and 8, by new and old numbers; register 5 is no CV of such a decoder."""

    def session(kind=DecoderKind.ACCESSORY):
        return read_cvs([Block(cv, cv)], Register.of_cv, UNPOWERED, decoder=kind)

    if register is None:
        with pytest.raises(FieldError, match=r"1, 7, 8, 513, 519 or 520 in register mode exp"):
            session()
        return
    first, held = 0x70 + register - 1, IdealDecoder({register: 1})
    zero, one = bytes([first, 0, first]).hex(), bytes([first, 1, first ^ 1]).hex()
    found = [(zero, 7), (one, 2), (RESET, 3), (one, 2)]
    assert runs(session(), held)[3:] == found
    assert dict(result(session("accessory"), held).values) == {cv: 1}


def test_other_modes_read_every_cv_of_an_accessory_decoder() -> None:
    """Its number is sent as it is given; what is no kind of decoder is refused."""
    for reach in (DirectCv, PagedCv):
        session = read_cvs([Block(541, 541)], reach, decoder=DecoderKind.ACCESSORY)
        assert dict(result(session, IdealDecoder({541: 192})).values) == {541: 192}
    with pytest.raises(FieldError, match="decoder: 'multi-function' or 'accessory' expected"):
        read_cvs([Block(1, 1)], decoder="signal")


def test_what_is_not_confirmed_is_a_failure_and_the_rest_is_read() -> None:
    """A decoder does not have all CVs; a page register not confirmed is tried again."""
    readout = result(read_cvs([Block(1, 4)]), IdealDecoder({1: 3, 4: 200}))
    assert dict(readout.values) == {1: 3, 4: 200}
    assert {cv: error.read for cv, error in readout.failures.items()} == {2: 0, 3: 0}
    decoder = IdealDecoder({cv: cv for cv in range(1, 9)}, writes=False)
    page_two = [number for number in range(200) if 23 <= number < 28]
    readout = result(read_cvs([Block(5, 6)], PagedCv), Noisy(decoder, page_two))
    assert readout.failures[5].refused == "verify of page 2"
    assert dict(readout.values) == {6: 6}
    assert decoder.page == 1


@settings(max_examples=60)
@given(lost=losses(250), unseen=losses(250))
def test_losses_on_the_way_to_an_index_page_make_no_wrong_value(lost, unseen) -> None:
    """CV 31 and 32 are confirmed before anything is read there."""
    wrong = {(40, 9, cv): 8 for cv in range(257, 261)}
    wrong |= {(16, 9, cv): 8 for cv in range(257, 261)} | {(40, 0, cv): 8 for cv in range(257, 261)}
    session = read_cvs(read_job("257-260x2"))
    readout = result(session, Noisy(IdealDecoder({**indexed(), **wrong}), lost, unseen))
    for key, value in readout.values.items():
        assert value == indexed()[key.high, key.low, key.cv]
    assert len(readout.values) + len(readout.failures) == 8


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Block(0, 5), "first cv"),
        (lambda: Block(5, 4), "last cv"),
        (lambda: Block(1, 1025), "last cv"),
        (lambda: Block(True, 5), "first cv"),
        (lambda: Block(200, 300, FIRST), "indexed cv"),
        (lambda: Block(257, 513, FIRST), "indexed cv"),
        (lambda: read_job("257-512x0"), "index pages"),
        (lambda: read_job("257-512x257"), "index pages"),
        (lambda: read_job("0"), "first cv"),
        (lambda: read_job("1025"), "first cv"),
        (lambda: read_cvs([]), "cvs"),
        (lambda: read_cvs([Block(1, 5)], Register.of_cv), "cv"),
        (lambda: read_cvs([Block(257, 258, FIRST)], Register.of_cv), "cv"),
    ],
)
def test_cvs_that_cannot_be_are_refused(make, field) -> None:
    """Before there is a session."""
    with refused(FieldError, field=field):
        make()


@pytest.mark.parametrize(
    ("text", "position"), [("", 0), ("1-", 0), ("1, 2,x", 5), ("1-2-3", 0), ("٣", 0)]
)
def test_lists_of_cvs_that_cannot_be_read(text, position) -> None:
    """The error holds the position."""
    with refused(TextError, Reason.TEXT, position=position, text=text):
        read_job(text)


def test_jobs_at_their_bounds_are_taken() -> None:
    """CV 1 and 1024; 257 and 512 on index pages; 1, 2, 255 and 256 of them."""
    assert Block(1, 1024).keys == tuple(range(1, 1025))
    assert Block(5, 5).keys == (5,)
    assert len(Block(257, 512, FIRST).keys) == 256
    for count in (1, 2, 255, 256):
        ((last, *_),) = [block.index_pages[::-1] for block in read_job(f"257x{count}")]
        assert (last.high, last.low) == (16, count - 1)


def test_the_same_answers_give_the_same_packets() -> None:
    """No clock, no chance."""
    for make in (lambda: read_byte(DirectCv(3)), lambda: read_cvs([Block(1, 3)])):
        assert sent(make(), silence) == sent(make(), silence)
