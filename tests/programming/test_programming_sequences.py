"""The packet sequences of S-9.2.3 §E, packet by packet."""

import pickle

import pytest
from programming_helpers import RESET, IdealDecoder, counted, result, runs, sent

from dccwire import BROADCAST, IDLE, AccessoryAddress, LongAddress, ShortAddress
from dccwire.errors import ConfirmationError, FieldError, PacketError
from dccwire.programming import (
    AddressOnly,
    Answer,
    Counts,
    DirectCounts,
    DirectCv,
    HardResetCounts,
    MainCounts,
    PagedCv,
    Register,
    RegisterCounts,
    Setup,
    address_query,
    decoder_lock,
    factory_reset,
    find_direct_mode,
    hard_reset_cycle,
    read_byte,
    verify_bit,
    verify_byte,
    write_bit,
    write_bit_on_main,
    write_byte,
    write_byte_on_main,
)
from refusals import refused

UNPOWERED = Setup(power_on=False)
PAGE_ONE = [(RESET, 3), ("7d017c", 5), (RESET, 6)]
PAGE_ONE_HEARD = [(RESET, 3), ("7d017c", 2), (RESET, 6)]
PAGE_EIGHT_HEARD = [(RESET, 3), ("7d0875", 2), (RESET, 9), ("75087d", 2)]
PRESET = [(RESET, 3), ("7d017c", 5), (RESET, 6 + 3)]
"""Resets, page presets, recovery, and the resets that follow it (S-9.2.3 §E)."""


def test_a_session_begins_with_the_power_on_cycle() -> None:
    """20 valid packets, before the first of which the power comes on (S-9.2.3 §E)."""
    outgoing = sent(verify_byte(DirectCv(29), 38))
    assert [one.power_on for one in outgoing] == [True] + [False] * 27
    assert {one.preamble for one in outgoing} == {20}
    assert counted(outgoing) == [(RESET, 23), ("741c264e", 5)]
    assert runs(verify_byte(DirectCv(29), 38, UNPOWERED)) == [(RESET, 3), ("741c264e", 5)]


@pytest.mark.parametrize(
    ("session", "silent", "acknowledged"),
    [
        # 3 resets; 5 verifies; 1 reset if they are acknowledged (S-9.2.3 §E, Direct Mode)
        (
            lambda setup: verify_byte(DirectCv(29), 38, setup),
            [(RESET, 3), ("741c264e", 5)],
            [(RESET, 3), ("741c264e", 2), (RESET, 1)],
        ),
        (
            lambda setup: verify_bit(DirectCv(29), 1, 1, setup),
            [(RESET, 3), ("781ce98d", 5)],
            [(RESET, 3), ("781ce98d", 2), (RESET, 1)],
        ),
        # 3 resets; 5 writes; 6 identical writes or resets
        (
            lambda setup: write_byte(DirectCv(29), 38, setup),
            [(RESET, 3), ("7c1c2646", 5), (RESET, 6)],
            [(RESET, 3), ("7c1c2646", 2), (RESET, 6)],
        ),
        (
            lambda setup: write_bit(DirectCv(29), 1, 1, setup),
            [(RESET, 3), ("781cf99d", 5), (RESET, 6)],
            [(RESET, 3), ("781cf99d", 2), (RESET, 6)],
        ),
        # Of CV 8 bit 7: first 0, then 1
        (
            find_direct_mode,
            [(RESET, 3), ("7807e798", 5), ("7807ef90", 5)],
            [(RESET, 3), ("7807e798", 2), (RESET, 1), ("7807ef90", 5)],
        ),
        # S-9.2.3 §E, Paged: 3 resets; 5 page writes; 6 resets; 3 resets; 5 verifies, or 5 writes
        # and 6 resets; at the end the page register to 1
        (
            lambda setup: verify_byte(PagedCv(29), 38, setup),
            [(RESET, 3), ("7d0875", 5), (RESET, 9), ("75087d", 5), *PAGE_ONE],
            [*PAGE_EIGHT_HEARD, (RESET, 3), ("702656", 2), *PAGE_ONE_HEARD],
        ),
        (
            lambda setup: write_byte(PagedCv(4), 38, setup),
            [(RESET, 3), ("7d017c", 5), (RESET, 9), ("750174", 5), *PAGE_ONE],
            [*PAGE_ONE_HEARD[:2], (RESET, 9), ("750174", 2), (RESET, 3), ("7b265d", 2), (RESET, 6)],
        ),
        # S-9.2.3 §E, Physical Register: page presets; 7 verifies; 5 writes and 6 resets, 10 for
        # register 1
        (
            lambda setup: verify_byte(Register(5), 38, setup),
            [*PRESET, ("742652", 7)],
            [(RESET, 3), ("7d017c", 2), (RESET, 9), ("742652", 2)],
        ),
        (
            lambda setup: write_byte(Register(5), 38, setup),
            [*PRESET, ("7c265a", 5), (RESET, 6)],
            [(RESET, 3), ("7d017c", 2), (RESET, 9), ("7c265a", 2), (RESET, 6)],
        ),
        (
            lambda setup: write_byte(Register(1), 38, setup),
            [*PRESET, ("78265e", 5), (RESET, 10)],
            [(RESET, 3), ("7d017c", 2), (RESET, 9), ("78265e", 2), (RESET, 10)],
        ),
        # S-9.2.3 §E, Decoder Factory Reset: 7F 08 77 by the register sequence
        (
            factory_reset,
            [*PRESET, ("7f0877", 5), (RESET, 6)],
            [(RESET, 3), ("7d017c", 2), (RESET, 9), ("7f0877", 2), (RESET, 6)],
        ),
        # S-9.2.3 §E, Address-Only: 5 verifies; 5 writes and 10 resets
        (
            lambda setup: verify_byte(AddressOnly(), 38, setup),
            [*PRESET, ("702656", 5)],
            [(RESET, 3), ("7d017c", 2), (RESET, 9), ("702656", 2)],
        ),
        (
            lambda setup: write_byte(AddressOnly(), 38, setup),
            [*PRESET, ("78265e", 5), (RESET, 10)],
            [(RESET, 3), ("7d017c", 2), (RESET, 9), ("78265e", 2), (RESET, 10)],
        ),
    ],
)
def test_each_sequence_with_and_without_acknowledgements(session, silent, acknowledged) -> None:
    """Steps of the minimum length, cut short by an acknowledgement of their second packet."""
    assert runs(session(UNPOWERED)) == silent
    decoder = IdealDecoder({1: 38, 4: 1, 8: 77, 29: 38})
    assert runs(session(UNPOWERED), decoder) == acknowledged


def test_a_second_power_cycle_may_follow_the_page_preset() -> None:
    """Register and address-only mode (S-9.2.3 §E); no other (rule 74: not within paged mode)."""
    for target, verify in ((Register(1), ("70264e", 7)), (AddressOnly(), ("702656", 5))):
        outgoing = sent(verify_byte(target, 38, Setup(power_cycle=True)))
        assert counted(outgoing)[:4] == [(RESET, 23), ("7d017c", 5), (RESET, 6), (RESET, 23)]
        assert counted(outgoing)[4][1] == verify[1]
        assert [n for n, one in enumerate(outgoing) if one.power_on] == [0, 34]
    for other in (DirectCv(1), PagedCv(1)):
        with refused(FieldError, field="power_cycle"):
            verify_byte(other, 38, Setup(power_cycle=True))


def test_raised_counts_lengthen_each_step() -> None:
    """All counts of a mode are used."""
    more = DirectCounts(
        preamble=24, power_on=25, resets=4, verifies=8, acknowledged_resets=2, writes=7, recovery=9
    )
    outgoing = sent(verify_byte(DirectCv(29), 38, Setup(more)))
    assert {one.preamble for one in outgoing} == {24}
    assert counted(outgoing) == [(RESET, 29), ("741c264e", 8)]
    assert runs(write_byte(DirectCv(29), 38, Setup(more)))[1:] == [("7c1c2646", 7), (RESET, 9)]
    heard = IdealDecoder({29: 38})
    assert runs(verify_byte(DirectCv(29), 38, Setup(more)), heard)[1:] == [
        ("741c264e", 2),
        (RESET, 2),
    ]
    pages = Counts(page_writes=6, page_recovery=7, long_recovery=11)
    assert runs(write_byte(AddressOnly(), 3, Setup(pages)))[1:] == [
        ("7d017c", 6),
        (RESET, 10),
        ("78037b", 5),
        (RESET, 11),
    ]
    many = RegisterCounts(verifies=9)
    assert runs(verify_byte(Register(2), 0, Setup(many)))[-1][1] == 9


def test_without_the_page_check_the_paged_sequence_is_the_bare_one() -> None:
    """CV 1021 to 1024 are on page 256, sent as 0 (P7)."""
    bare = Setup(power_on=False, check_page=False)
    assert runs(verify_byte(PagedCv(1024), 5, bare)) == [
        (RESET, 3),
        ("7d007d", 5),
        (RESET, 9),
        ("730576", 5),
        (RESET, 3),
        ("7d017c", 5),
        (RESET, 6),
    ]


def test_an_acknowledgement_in_the_recovery_ends_it() -> None:
    """From its first packet on; it counts as one of the write (S-9.2.3 §D)."""
    session = write_byte(DirectCv(29), 38, UNPOWERED)
    number = 0

    def late(sending) -> Answer:
        nonlocal number
        number += 1
        return Answer.ACKNOWLEDGED if number == 3 + 5 + 1 else Answer.SILENCE

    assert runs(session, late) == [(RESET, 3), ("7c1c2646", 5), (RESET, 1)]
    assert session.result is True


def test_an_acknowledgement_outside_the_window_is_passed_over() -> None:
    """That is: of resets, and of the first packet of a step (S-9.2.3 §D, P17)."""
    session = verify_byte(DirectCv(29), 38, UNPOWERED)
    heard = [Answer.ACKNOWLEDGED] * 4 + [Answer.SILENCE] * 4
    for answer in heard:
        session.take(answer)
    assert (session.sending, session.sent, session.result) == (None, 8, False)


def test_a_write_is_confirmed_if_asked() -> None:
    """Three resets and a verify group follow the recovery; silence is an error with its data."""
    decoder = IdealDecoder({29: 6}, writes=False)
    session = write_byte(DirectCv(29), 38, UNPOWERED, confirm=True)
    assert runs(session, decoder) == [
        (RESET, 3),
        ("7c1c2646", 5),
        (RESET, 9),
        ("741c264e", 2),
        (RESET, 1),
    ]
    assert session.result is False
    assert decoder.cvs == {29: 38}
    session = write_byte(PagedCv(29), 38, confirm=True)
    with refused(ConfirmationError, place="CV 29", read=None, refused="verify of 38") as caught:
        result(session, IdealDecoder({}))
    error = caught.value
    assert not isinstance(error, ValueError)
    assert str(error) == "CV 29: verify of 38 not acknowledged"
    assert vars(pickle.loads(pickle.dumps(error))) == vars(error)


@pytest.mark.parametrize(
    "write",
    [
        lambda cv, **how: write_byte(DirectCv(cv), 8, **how),
        lambda cv, **how: write_byte(PagedCv(cv), 8, **how),
        lambda cv, **how: write_byte(Register.of_cv(cv), 8, **how),
        lambda cv, **how: write_bit(DirectCv(cv), 1, 1, **how),
        lambda cv, **how: write_byte_on_main(ShortAddress(3), cv, 8, **how),
        lambda cv, **how: write_bit_on_main(ShortAddress(3), cv, 1, 1, **how),
    ],
)
@pytest.mark.parametrize(("cv", "name"), [(7, "version"), (8, "ID")])
def test_read_only_cvs_are_written_only_if_forced_by_name(write, cv, name) -> None:
    """CV 7 and CV 8 (S-9.2.2): the error says so, and there is no session that could send."""
    hint = rf"CV {cv} is the read-only manufacturer {name} \(S-9.2.2\).*force_read_only"
    with refused(FieldError, match=hint, field="cv", value=cv):
        write(cv)
    assert sent(write(cv, force_read_only=True))


def test_the_hard_reset_cycle() -> None:
    """A hard reset, then ten resets (S-9.2.3 §E); to all, or to an address given (P14)."""
    assert runs(hard_reset_cycle()) == [(RESET, 20), ("000101", 1), (RESET, 10)]
    assert runs(hard_reset_cycle(ShortAddress(3), power_on=False)) == [("030102", 1), (RESET, 10)]
    for number in (1, 110, 111):
        assert runs(hard_reset_cycle(ShortAddress(number)))[1][0][:4] == f"{number:02x}01"
    assert runs(hard_reset_cycle(LongAddress(3000), HardResetCounts(after=12)))[1:] == [
        ("cbb80172", 1),
        (RESET, 12),
    ]
    for address in (ShortAddress(112), ShortAddress(125), IDLE, AccessoryAddress(3)):
        with refused(FieldError, field="address", value=address):
            hard_reset_cycle(address)


@pytest.mark.parametrize(
    ("session", "acknowledged"),
    [
        (hard_reset_cycle, [(RESET, 20), ("000101", 1), (RESET, 10)]),
        (lambda: hard_reset_cycle(power_on=False), [("000101", 1), (RESET, 10)]),
        (lambda: decoder_lock(3), [(RESET, 23), ("00f903fa", 5)]),
        (
            lambda: write_byte_on_main(ShortAddress(3), 29, 38),
            [("03ec1c26d5", 1), ("ff00ff", 1)] * 2,
        ),
        (lambda: address_query(55), [(RESET, 23), ("37f9ce", 2), (RESET, 1)]),
        (lambda: write_byte(DirectCv(3), 2), [(RESET, 23), ("7c02027c", 2), (RESET, 1)]),
    ],
)
def test_what_is_no_acknowledgement_shortens_nothing(session, acknowledged) -> None:
    """Seen with every packet: it ends verifies, writes and their recovery, and no other step."""
    assert runs(session(), lambda sending: Answer.ACKNOWLEDGED) == acknowledged


def test_the_address_query() -> None:
    """AAAAAAAA 11111001 EE, for 1 to 111 (S-9.2.3 Appendix A); the counts are our reading."""
    session = address_query(55)
    assert runs(session) == [(RESET, 23), ("37f9ce", 5)]
    assert session.result is False
    for number in (1, 2, 110):
        assert runs(address_query(number))[1][0][:4] == f"{number:02x}f9"
    session = address_query(111, power_on=False)
    heard = runs(session, lambda sending: Answer.ACKNOWLEDGED)
    assert heard == [(RESET, 3), ("6ff996", 2), (RESET, 1)]
    assert session.result is True


def test_the_decoder_lock() -> None:
    """00 F9 0AAAAAAA EE (S-9.2.3 Appendix B); no reset follows it (P19)."""
    session = decoder_lock(3)
    assert runs(session) == [(RESET, 23), ("00f903fa", 5)]
    assert session.result is None
    for number in (1, 2, 126):
        assert runs(decoder_lock(number))[1][0][:6] == f"00f9{number:02x}"
    assert runs(decoder_lock(127, power_on=False)) == [(RESET, 3), ("00f97f86", 5)]


def test_writes_on_the_main_are_two_identical_packets() -> None:
    """None but idles between (S-9.2.1 §C, CV access long form), the preamble of operations."""
    outgoing = sent(write_byte_on_main(LongAddress(3000), 29, 38))
    assert counted(outgoing) == [("cbb8ec1c26a5", 1), ("ff00ff", 1)] * 2
    assert {(one.preamble, one.power_on) for one in outgoing} == {(14, False)}
    assert (
        runs(write_bit_on_main(ShortAddress(3), 29, 5, 1))
        == [
            ("03e81cfd0a", 1),
            ("ff00ff", 1),
        ]
        * 2
    )
    more = MainCounts(writes=3, idles=2)
    assert (
        runs(write_byte_on_main(ShortAddress(3), 1, 4, more))
        == [
            ("03ec0004eb", 1),
            ("ff00ff", 2),
        ]
        * 3
    )
    for address in (IDLE, AccessoryAddress(3)):
        with refused(PacketError, match=f"cannot be sent to {address.kind}"):
            write_byte_on_main(address, 1, 4)
    assert (
        runs(write_byte_on_main(BROADCAST, 1, 4))
        == [  # not excluded (X26)
            ("00ec0004e8", 1),
            ("ff00ff", 1),
        ]
        * 2
    )


@pytest.mark.parametrize(
    ("make", "field", "bound", "value"),
    [
        (lambda: DirectCv(0), "cv", "1 to 1024", 0),
        (lambda: DirectCv(1025), "cv", "1 to 1024", 1025),
        (lambda: PagedCv(0), "cv", "1 to 1024", 0),
        (lambda: PagedCv(1025), "cv", "1 to 1024", 1025),
        (lambda: DirectCv(True), "cv", "1 to 1024", True),
        (lambda: write_byte(DirectCv(1), 256), "value", "0 to 255", 256),
        (lambda: verify_byte(PagedCv(1), 256), "value", "0 to 255", 256),
        (lambda: verify_byte(Register(1), -1), "value", "0 to 255", -1),
        (lambda: verify_byte(AddressOnly(), 128), "value", "0 to 127", 128),
        (lambda: write_byte(AddressOnly(), 128), "value", "0 to 127", 128),
        (lambda: verify_bit(DirectCv(1), 8, 1), "bit", "0 to 7", 8),
        (lambda: write_bit(DirectCv(1), 8, 1), "bit", "0 to 7", 8),
        (lambda: write_bit(DirectCv(1), 7, 2), "value", "0 to 1", 2),
        (lambda: Register(0), "register", "1 to 8", 0),
        (lambda: Register(9), "register", "1 to 8", 9),
        (lambda: Register.of_cv(5), "cv", "1, 2, 3, 4, 7, 8 or 29 in register mode", 5),
        (lambda: AddressOnly.of_cv(2), "cv", "1 in address-only mode", 2),
        (lambda: address_query(0), "address", "1 to 111", 0),
        (lambda: address_query(112), "address", "1 to 111", 112),
        (lambda: decoder_lock(0), "unlocked", "1 to 127", 0),
        (lambda: decoder_lock(128), "unlocked", "1 to 127", 128),
        (lambda: write_byte_on_main(ShortAddress(3), 1025, 1), "cv", "1 to 1024", 1025),
        (lambda: write_byte_on_main(ShortAddress(3), 1, 256), "value", "0 to 255", 256),
        (lambda: write_bit_on_main(ShortAddress(3), 1, 8, 1), "bit", "0 to 7", 8),
    ],
)
def test_bad_input_is_refused_before_there_is_a_session(make, field, bound, value) -> None:
    """The error names field, bound and value."""
    with refused(FieldError, field=field, bound=bound, value=value):
        make()


def test_a_session_says_when_it_is_used_wrongly() -> None:
    """No result before the end, no answer after it, and no other answers."""
    session = write_byte_on_main(ShortAddress(3), 1, 4)
    for number in range(2):
        with refused(
            FieldError,
            match=r"sending: None expected, Outgoing.* given; a result",
            hint=f"a result comes with the end; {number} packet{'s' * (number != 1)} taken so far",
        ):
            _ = session.result
        session.take(Answer.SILENCE)
    with refused(FieldError, match="answer: 'acknowledged' or 'silence' expected, True given"):
        session.take(True)
    session.take(Answer.SILENCE)
    session.take("silence")  # two writes, an idle after each
    assert session.result is None
    with refused(FieldError, match=r"answer: none expected, .* given; the session has ended"):
        session.take(Answer.SILENCE)


def test_targets_are_values() -> None:
    """Equal by mode and CV, hashable, frozen, picklable, with a repr that reads back."""
    targets = [DirectCv(1), DirectCv(29), PagedCv(1), Register(1), Register(5), AddressOnly()]
    assert len(set(targets)) == len(targets)
    for target in targets:
        assert pickle.loads(pickle.dumps(target)) == eval(repr(target)) == target
        for name in ("cv", "number", "other"):
            with pytest.raises((AttributeError, TypeError)):
                setattr(target, name, 2)


def test_registers_are_cvs_and_one_is_the_page() -> None:
    """S-9.2.3 §E, Physical Register Addressing; register 6: P9."""
    assert [Register(n).cv for n in range(1, 9)] == [1, 2, 3, 4, 29, None, 7, 8]
    assert str(Register(6)) == "the page register"
    assert AddressOnly.of_cv(1) == AddressOnly()
    assert result(read_byte(Register(6)), IdealDecoder({}, page=1)) == 1
