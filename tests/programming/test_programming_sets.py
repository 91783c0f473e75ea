"""Sets of CVs written in one session: what is sent, what is confirmed, where it stops."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from programming_helpers import RESET, IdealDecoder, Noisy, losses, result, runs, sent

from dccwire import ShortAddress
from dccwire.cv import CvSet, CvWrite, DecoderKind, IndexedCv, writes
from dccwire.errors import ConfirmationError, FieldError
from dccwire.programming import (
    REACHES,
    AddressOnly,
    Counts,
    DirectCounts,
    DirectCv,
    MainCounts,
    PagedCv,
    Register,
    Setup,
    blocks_of,
    write_byte,
    write_cvs,
    write_cvs_on_main,
)
from refusals import refused

UNPOWERED = Setup(power_on=False)
OLD = CvSet({1: 3, 19: 0, 29: 6})


def write(session, *args, **how):
    """The packets of a session, but for a power-on cycle."""
    return runs(session(*args, setup=UNPOWERED, **how))


def test_one_session_with_one_power_on_cycle() -> None:
    """Each write as S-9.2.3 §E has it in direct mode, in the order of `writes`."""
    outgoing = sent(write_cvs(OLD, CvSet({1: 7, 3: 2})))
    assert [number for number, one in enumerate(outgoing) if one.power_on] == [0]
    assert write(write_cvs, OLD, CvSet({1: 7, 3: 2})) == [
        (RESET, 3),
        ("7c02027c", 5),
        (RESET, 6 + 3),
        ("7c00077b", 5),
        (RESET, 6),
    ]


def test_nothing_to_write_is_nothing_to_send() -> None:
    """On either track; the session is over at once."""
    session = write_cvs(OLD, OLD)
    assert (session.sending, session.result, session.sent) == (None, (), 0)
    main = write_cvs_on_main(OLD, OLD, ShortAddress(3))
    assert (main.sending, main.result, main.sent) == (None, None, 0)


@pytest.mark.parametrize(
    ("reach", "expected"),
    [
        (
            PagedCv,
            [
                *[(RESET, 3), ("7d017c", 5), (RESET, 9), ("7a0278", 5), (RESET, 6 + 3)],
                *[("7d0875", 5), (RESET, 9), ("78265e", 5), (RESET, 6 + 3)],
                *[("7d017c", 5), (RESET, 6)],
            ],
        ),
        (
            Register.of_cv,
            [
                *[(RESET, 3), ("7d017c", 5), (RESET, 9), ("7a0278", 5)],
                *[(RESET, 6 + 3), ("7c265a", 5), (RESET, 6)],
            ],
        ),
    ],
)
def test_sets_by_other_modes(reach, expected) -> None:
    """S-9.2.3 §E: pages are set where they change, and left at 1; registers need a preset alone."""
    setup = Setup(power_on=False, check_page=False)
    assert runs(write_cvs(OLD, CvSet({3: 2, 29: 38}), reach, setup)) == expected


def test_cv_1_takes_the_longer_recovery_in_register_and_address_only_mode() -> None:
    """S-9.2.3 §E: ten packets; six in direct and in paged mode (P21)."""
    for reach, recovery in zip(REACHES.values(), (6, 6, 10, 10), strict=True):
        session = write_cvs(OLD, CvSet({1: 7, 29: 6}), reach, UNPOWERED)
        data = bytes(reach(1).write(7)).hex()
        found = runs(session, IdealDecoder({1: 3, 29: 6}))
        at = found.index((data, 2))
        assert found[at + 1] == (RESET, recovery)


def test_the_result_is_what_was_acknowledged() -> None:
    """A write need not be (S-9.2.3 §D); the decoder holds it all the same."""
    new = CvSet({3: 2, 29: 38})
    decoder = IdealDecoder({3: 0, 29: 6})
    assert result(write_cvs(OLD, new), decoder) == writes(OLD, new)
    assert decoder.cvs == {3: 2, 29: 38}
    decoder = IdealDecoder({29: 6})
    assert [one.cv for one in result(write_cvs(OLD, new), decoder)] == [29]
    decoder = IdealDecoder({3: 0, 29: 6}, writes=False)
    assert result(write_cvs(OLD, new), decoder) == ()
    assert decoder.cvs == {3: 2, 29: 38}


def test_a_value_that_is_not_confirmed_ends_the_session() -> None:
    """What comes after may depend on it: here the page that CV 31 would have chosen."""
    new = CvSet({IndexedCv(17, 0, 257): 9})
    decoder = IdealDecoder({32: 0, 257: 1})
    session = write_cvs(CvSet({31: 16, 32: 0}), new, confirm=True)
    with refused(ConfirmationError, place="CV 31", refused="verify of 17"):
        result(session, decoder)
    assert decoder.cvs == {32: 0, 257: 1}
    decoder = IdealDecoder({29: 6}, writes=False)
    result(write_cvs(OLD, CvSet({29: 38}), confirm=True), decoder)
    assert decoder.cvs == {29: 38}


def test_a_factory_reset_is_not_asked_for() -> None:
    """S-9.2.3 §E: CV 8 reads 255 then; any other value of it is."""
    old, new = CvSet({3: 1}), CvSet({3: 2, 8: 8})
    confirmed = [data for data, _ in runs(write_cvs(old, new, confirm=True, force=[8]), ANY)]
    assert [data for data in confirmed if data.startswith("74")] == ["74020274"]
    for decoder, force, verifies in (
        (DecoderKind.ACCESSORY, [520], 0),  # 520 is the old number of an accessory's CV 8
        ("multi-function", [], 1),
    ):
        session = write_cvs(CvSet(), CvSet({520: 8}), confirm=True, force=force, decoder=decoder)
        assert [data for data, _ in runs(session, ANY)].count("76070879") == verifies
    new = CvSet({8: 9})
    confirmed = [data for data, _ in runs(write_cvs(old, new, confirm=True, force=[8]), ANY)]
    assert [data for data in confirmed if data.startswith("74")] == ["7407097a"]


ANY = Noisy(IdealDecoder({}), false=lambda number, data: True)
"""A track on which everything is acknowledged."""


@given(lost=losses(120), reach=st.sampled_from([DirectCv, PagedCv]))
def test_whatever_is_lost_a_confirmed_set_is_there(lost, reach) -> None:
    """Or it is said that it is not."""
    new = CvSet({2: 9, 3: 2, 65: 4})
    decoder = IdealDecoder({1: 3, 2: 0, 3: 0, 29: 6, 65: 0})
    session = write_cvs(OLD, new, reach, confirm=True)
    try:
        result(session, Noisy(decoder, lost))
    except ConfirmationError:
        return
    assert {cv: decoder.cvs[cv] for cv in new} == dict(new)


def test_counts_are_those_of_the_mode_and_of_the_main() -> None:
    """Raised ones are sent, those of another mode refused."""
    more = Setup(DirectCounts(writes=7, recovery=8), power_on=False)
    found = runs(write_cvs(OLD, CvSet({3: 2}), setup=more))
    assert found == [(RESET, 3), ("7c02027c", 7), (RESET, 8)]
    with refused(FieldError, match="counts: DirectCounts expected"):
        write_cvs(OLD, CvSet({3: 2}), setup=Setup(Counts()))
    main = MainCounts(writes=3, idles=2)
    session = write_cvs_on_main(OLD, CvSet({3: 2, 4: 5}), ShortAddress(3), main)
    idle = ("ff00ff", 2)
    assert runs(session) == [("03ec0202ef", 1), idle] * 3 + [("03ec0305e9", 1), idle] * 3


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: write_cvs(OLD, CvSet({5: 1}), Register.of_cv), "cv"),
        (lambda: write_cvs(OLD, CvSet({3: 1, 29: 2}), AddressOnly.of_cv), "cv"),
        (lambda: write_cvs(OLD, CvSet({8: 1})), "CV 8"),
        (lambda: write_cvs_on_main(OLD, CvSet({8: 1}), ShortAddress(3)), "CV 8"),
        (
            lambda: write_cvs(
                CvSet(), CvSet({1: 128}), AddressOnly.of_cv, decoder=DecoderKind.ACCESSORY
            ),
            "value",
        ),
    ],
)
def test_sets_that_cannot_be_written_are_refused_before_there_is_a_session(make, field) -> None:
    """The mode does not reach a CV or its value, or the CV is read-only."""
    with refused(FieldError, field=field):
        make()


def test_the_address_that_is_missing_is_named_with_what_is_known_of_it() -> None:
    """Bit 5 of CV 29 chooses CV 17, and the value told is that of CV 17, not of CV 1."""
    with refused(
        FieldError,
        field="CV 17",
        bound="an address",
        value=None,
        hint="the decoder answers to it when CV 15 is written",
    ):
        write_cvs_on_main(
            CvSet({1: 3, 29: 6, 15: 0, 16: 0}), CvSet({29: 38, 15: 1}), ShortAddress(3)
        )


def test_a_single_write_and_a_set_of_one_send_the_same() -> None:
    """Packet by packet, by every mode that reaches CV 1."""
    for reach in REACHES.values():
        one = write_cvs(CvSet({19: 0, 29: 6}), CvSet({1: 7}), reach)
        assert sent(one) == sent(write_byte(reach(1), 7))
    assert CvWrite(1, 7, "clears CV 19, and bit 5 of CV 29") in writes(OLD, CvSet({1: 7}))


@pytest.mark.parametrize(
    ("cv", "register"),
    [(1, 1), (513, 1), (7, 7), (519, 7), (8, 8), (520, 8), (29, None), (3, None)],
)
def test_registers_of_accessory_decoders(cv: int, register: int | None) -> None:
    """1, 7 and 8 alone, under new and old numbers (S-9.2.3 §E, Physical Register Addressing)."""
    accessory = DecoderKind.ACCESSORY
    force = (cv,) if cv in (8, 520) else ()

    def session():
        new, reach = CvSet({cv: 5}), REACHES["register"]
        return write_cvs(CvSet(), new, reach, decoder=accessory, force=force)

    if register is None:
        with refused(FieldError, match="520 in register mode"):
            session()
        return
    written = [str(one.packet) for one in sent(session())]
    access = f"RegisterAccess operation=write register={register} value=5"
    assert f"service programming-track: {access}" in written


def test_blocks_are_the_runs_of_a_set() -> None:
    """By number, page by page, each CV once; a job of them reads the set's keys."""
    keys = [3, 1, 2, IndexedCv(16, 1, 258), IndexedCv(16, 0, 257), IndexedCv(16, 1, 257), 257, 5, 3]
    blocks = blocks_of(keys)
    assert [(one.first, one.last, len(one.index_pages)) for one in blocks] == [
        *((1, 3, 0), (5, 5, 0), (257, 257, 0), (257, 257, 1), (257, 258, 1)),
    ]
    read = [key for one in blocks for key in one.keys]
    assert len(read) == len({*keys})
    assert set(read) == set(keys)
    assert blocks_of(()) == ()
    with refused(FieldError, field="first cv"):
        blocks_of([0])
