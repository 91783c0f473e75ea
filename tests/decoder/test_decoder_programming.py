"""What each service mode does, and the appendices; several decoders on a programming track."""

import pytest
from decoder_helpers import (
    IDLE,
    PACKET_NS,
    RESET,
    VERIFY_CV_1_IS_3,
    WRITE_CV_3,
    Line,
    on_programming_track,
)

from dccwire import ShortAddress
from dccwire.decoder import Acknowledgement, Decoder, Ignored, Options, ServiceMode, Track
from dccwire.decoder.multifunction import merged
from dccwire.errors import FieldError
from refusals import refused


def support(*names: str) -> dict[str, object]:
    """The options of a decoder that supports these modes alone."""
    return {"supports": frozenset(map(ServiceMode, names))}


@pytest.mark.parametrize(
    ("body", "answers"),
    [
        ("78 1C E9", 1),  # 111 0 1 001: bit 1 of CV 29 is 1
        ("78 1C E1", 0),  # 111 0 0 001: bit 1 is 0
        ("78 1C E0", 1),
        ("78 07 E7", 1),  # the question for direct mode: bit 7 of CV 8 is 0 (13)
        ("78 07 EF", 0),
    ],
)
def test_direct_verify_of_a_bit(body: str, answers: int) -> None:
    """S-9.2.3 §E: 111K DBBB with K = 0."""
    _, line = on_programming_track()
    assert len(line.send(body, times=5)) == answers


def test_a_cv_is_read_bit_by_bit() -> None:
    """S-9.2.3 §E: eight bit verifies (a one each), then a byte verify; CV 18 = 0xB5."""
    _, line = on_programming_track(factory={18: 0xB5})
    value = sum(bool(line.send(f"78 11 {0xE8 | bit:02X}", times=5)) << bit for bit in range(8))
    assert value == 0xB5
    assert line.send("74 11 B5", times=5)


def test_direct_write_of_a_bit() -> None:
    """S-9.2.3 §E: 111 1 1 101 sets bit 5 of CV 29, 111 1 0 001 clears bit 1."""
    decoder, line = on_programming_track()
    assert len(line.send("78 1C FD", "78 1C FD", "78 1C F1", "78 1C F1")) == 2
    assert decoder.cv(29) == 0b10_0000


def test_direct_mode_reaches_cv_1024() -> None:
    """P3: ten bits, A = CV - 1."""
    decoder, line = on_programming_track()
    assert line.send("7F FF 2A", times=2)
    assert decoder.cv(1024) == 42


def test_four_bytes_with_cc_00_are_counted_and_do_nothing() -> None:
    """P4: not defined."""
    decoder, line = on_programming_track()
    assert line.send("70 00 03", times=5) == []
    assert decoder.ignored == {Ignored.UNKNOWN: 1}


@pytest.mark.parametrize(
    ("body", "cv", "value"),
    [
        ("78 05", 1, 5),  # RRR 000
        ("79 05", 2, 5),
        ("7A 05", 3, 5),
        ("7B 05", 4, 5),
        ("7C 06", 29, 6),  # register 5
    ],
)
def test_physical_registers(body: str, cv: int, value: int) -> None:
    """S-9.2.3 §E: registers 1 to 4 are CV 1 to 4, register 5 CV 29."""
    decoder, line = on_programming_track()
    verify = f"{int(body[:2], 16) - 8:02X}{body[2:]}"
    assert line.send(verify, times=7) == []
    assert line.send(body, times=5)
    assert decoder.cv(cv) == value
    line.send(RESET)
    assert line.send(verify, times=7)


@pytest.mark.parametrize(("body", "answers"), [("76 01", 1), ("77 0D", 1), ("7E 02", 0)])
def test_registers_7_and_8_are_cv_7_and_8(body: str, answers: int) -> None:
    """S-9.2.3 §E; they are read-only."""
    decoder, line = on_programming_track()
    assert len(line.send(body, times=7)) == answers
    assert decoder.ignored == ({} if answers else {Ignored.READ_ONLY: 1})


def test_paged_mode() -> None:
    """S-9.2.3 §E: CV 65 is page 17, data register 0; registers 5, 7, 8 ignore the page."""
    decoder, line = on_programming_track()
    assert line.send("7D 11", times=5)  # page register = 17
    line.send(RESET, times=6)
    assert line.send("78 2A", times=5)
    assert (decoder.cv(65), decoder.cv(1)) == (42, 3)
    line.send(RESET)
    assert line.send("70 2A", times=5)
    assert line.send("74 02", times=5)  # register 5: CV 29
    assert line.send("75 11", times=5)  # the page register itself
    assert line.send("75 12", times=5) == []
    line.send("7D 01", times=5)  # page preset
    line.send(RESET)
    assert line.send("70 03", times=5)


def test_page_0_stands_for_256() -> None:
    """P7: CV 1021 to 1024."""
    decoder, line = on_programming_track()
    line.send("7D 00", "7D 00", "7B 09", "7B 09")
    assert decoder.cv(1024) == 9


def test_the_page_register_is_1_after_power_on() -> None:
    """S-9.2.3 §E: its default; a reset packet does not change it."""
    decoder, line = on_programming_track()
    line.send("7D 11", "7D 11", RESET)
    assert decoder.snapshot()["page"] == 17
    decoder.power_on()
    line.send(RESET)
    assert line.send("70 03", times=2)


def test_the_page_register_is_1_again_after_service_mode() -> None:
    """S-9.2.3 §E: left by another packet, or by 20 ms without one."""
    for leave in (IDLE, None):
        decoder, line = on_programming_track()
        line.send("7D 11", "7D 11", RESET)
        line.wait(19_000_000)  # and 1 ms of the line: still in time
        line.send(RESET)
        assert decoder.snapshot()["page"] == 17
        line.wait(0 if leave else 20_000_000)
        line.send(leave or RESET)
        assert decoder.snapshot()["page"] == 1
        assert line.send(RESET, "70 03", "70 03")


def test_without_paged_mode_pages_above_1_are_silent() -> None:
    """S-9.2.3 §E: only the page register answers until it is 1 again."""
    decoder, line = on_programming_track(**support("physical register"))
    assert line.send("70 03", times=2)
    assert line.send("7D 02", times=2)
    assert line.send("70 03", "70 03", "74 02", "74 02") == []
    assert decoder.ignored == {Ignored.UNSUPPORTED: 2}
    assert len(line.send("7D 00", "7D 00", "70 00", "70 00")) == 1  # 0 is page 256 (P7)
    assert line.send("7D 01", times=2)
    assert line.send("70 03", times=2)


def test_address_only_mode_is_register_1_and_no_more() -> None:
    """S-9.2.3 §E (P5): 0111 1000 0DDD DDDD; data above 127 is a register packet."""
    decoder, line = on_programming_track(**support("address only"))
    assert line.send("7D 01", "7D 01", "78 37", "78 37", "70 37", "70 37")
    assert decoder.cv(1) == 55
    assert line.send("79 05", "79 05", "78 80", "78 80", WRITE_CV_3, WRITE_CV_3) == []
    assert decoder.ignored == {Ignored.UNSUPPORTED: 3}


def test_direct_mode_alone_knows_no_registers() -> None:
    """The length tells the modes apart (S-9.2.3 §E)."""
    decoder, line = on_programming_track(**support("direct"))
    assert line.send("70 03", "70 03", "7D 01", "7D 01", "78 05", "78 05") == []
    assert line.send("03 F9", "03 F9", "00 F9 05", "00 F9 05") == []
    assert decoder.ignored == {Ignored.UNSUPPORTED: 5}
    assert line.send(VERIFY_CV_1_IS_3, times=2)


def test_bit_manipulation_belongs_to_direct_mode() -> None:
    """S-9.2.3 §E."""
    decoder, line = on_programming_track(**support("paged"))
    assert line.send("78 1C E9", "78 1C E9", VERIFY_CV_1_IS_3, VERIFY_CV_1_IS_3) == []
    assert decoder.ignored == {Ignored.UNSUPPORTED: 2}


@pytest.mark.parametrize("body", ["78 37", "7C 00 37"])
def test_a_write_of_cv_1_ends_long_addressing_and_consist(body: str) -> None:
    """S-9.2.3 §E, by any mode."""
    decoder, line = on_programming_track(factory={17: 0xC4, 19: 0x8A, 29: 0x26})
    assert line.send(body, times=5)
    assert (decoder.cv(1), decoder.cv(19), decoder.cv(29)) == (55, 0, 6)
    assert decoder.address == ShortAddress(55)


def test_a_write_of_one_bit_of_cv_1_does_so_too() -> None:
    """3 with bit 2 set is 7."""
    decoder, line = on_programming_track(factory={19: 10})
    assert line.send("78 00 FA", times=2)
    assert (decoder.cv(1), decoder.cv(19)) == (7, 0)


def test_factory_reset() -> None:
    """S-9.2.3 §E: 7F 08; CV 8 reads 255 until it is complete, here at the next power-on."""
    decoder, line = on_programming_track()
    line.send(WRITE_CV_3, WRITE_CV_3, RESET)
    assert len(line.send("7F 08", times=5)) == 1
    assert line.send("74 07 FF", times=5)
    assert line.send("77 FF", times=7)
    assert decoder.cv(3) == 7
    decoder.power_on()
    line.send(RESET)
    assert line.send("77 0D", times=7)
    assert decoder.cv(3) == 0


def test_factory_reset_by_register_8_works_where_cv_8_is_not_writable() -> None:
    """P11; in direct mode a write of 8 to CV 8 is common practice, and an option."""
    decoder, line = on_programming_track(factory_reset_by_cv_8=False)
    assert line.send("7C 07 08", "7C 07 08") == []
    assert decoder.cv(8) == 13
    assert line.send("7F 08", times=2)
    assert decoder.cv(8) == 255
    decoder, line = on_programming_track()
    assert line.send("7C 07 08", times=2)
    assert decoder.cv(8) == 255


def test_hard_reset_cycle() -> None:
    """S-9.2.3 §E: 00 01 to all, then idle packets; the decoder leaves service mode with it."""
    decoder, line = on_programming_track()
    decoder.set_cv(29, 6)
    line.send("00 01", *[IDLE] * 10)
    assert (decoder.cv(29), decoder.in_service_mode) == (2, False)


def test_address_query() -> None:
    """S-9.2.3 appendix A: AAAAAAAA 11111001, here 3 and 4."""
    _, line = on_programming_track()
    assert line.send("04 F9", times=5) == []
    assert line.send("03 F9", times=5)


def test_decoder_lock() -> None:
    """S-9.2.3 appendix B: locked to address 5, through a power cycle, until an idle packet."""
    decoder, line = on_programming_track()
    assert line.send("00 F9 05", times=2) == []
    assert line.send(VERIFY_CV_1_IS_3, times=5) == []
    assert decoder.ignored == {Ignored.SERVICE_LOCKED: 1}
    decoder.power_on()
    line.send(RESET, RESET)
    assert line.send(VERIFY_CV_1_IS_3, times=5) == []
    line.send(IDLE, RESET)
    assert line.send(VERIFY_CV_1_IS_3, times=5)


def test_a_matching_decoder_lock_unlocks() -> None:
    """S-9.2.3 appendix B: of two decoders the one with the address of the lock stays open."""
    _, line = on_programming_track()
    line.send("00 F9 05", "00 F9 05", "00 F9 03", "00 F9 03")
    assert line.send(VERIFY_CV_1_IS_3, times=2)


def test_a_locked_decoder_still_runs_on_the_main() -> None:
    """It ignores service mode alone; a packet to another decoder unlocks it."""
    decoder, line = on_programming_track()
    line.send("00 F9 05", "00 F9 05", "03 7F")
    assert (decoder.step, decoder.snapshot()["locked"]) == (28, False)
    line.send(RESET, "00 F9 05", "00 F9 05", "05 7F")
    assert decoder.snapshot()["locked"] is False


def test_a_packet_to_another_decoder_unlocks_after_a_power_cycle_too() -> None:
    """S-9.2.3 appendix B: any valid packet of operations; power-on itself does not unlock."""
    decoder, line = on_programming_track()
    line.send("00 F9 05", "00 F9 05")
    decoder.power_on()
    assert decoder.snapshot()["locked"] is True
    line.send("05 7F")
    assert decoder.snapshot()["locked"] is False


def test_an_absent_cv_matches_nothing() -> None:
    """Neither as a byte nor bit by bit."""
    decoder, line = on_programming_track(absent=frozenset({2}))
    assert line.send("74 01 00", "74 01 00", "78 01 E0", "78 01 E0") == []
    assert line.send("7C 01 00", times=2) == []
    assert decoder.ignored == {Ignored.ABSENT: 3}


@pytest.mark.parametrize("body", ["7C 02 07", "78 02 F8", "7A 07", "7F 08", "7C 07 08"])
def test_no_acknowledgement_where_nothing_is_stored(body: str) -> None:
    """S-9.2.2, CV 15 and 16: locked; S-9.2.3 §D: acknowledged after storage only."""
    decoder, line = on_programming_track(factory={15: 2, 16: 1})
    assert line.send(body, times=5) == []
    assert decoder.ignored == {Ignored.LOCKED: 1}
    assert line.send("7C 0E 01", times=5)  # CV 15 opens it
    assert line.send(body, times=5)


def test_on_one_track_acknowledgements_merge() -> None:
    """Currents add: overlapping ones look like one, others stay apart."""
    track = Track(
        (
            Decoder(),
            Decoder(Options(storage_ns=9_000_000)),
            Decoder(Options(storage_ns=30_000_000)),
            Decoder(Options(acknowledges_writes=False)),
        )
    )
    line = Line(track)
    line.send(RESET)
    found = line.send(WRITE_CV_3, times=2)
    assert found == [
        Acknowledgement(line.now + 5_000_000, 10_000_000),
        Acknowledgement(line.now + 30_000_000, 6_000_000),
    ]
    assert [decoder.cv(3) for decoder in track] == [7] * 4
    line.send(RESET)
    assert line.send("74 02 07", times=2) == [Acknowledgement(line.now, 6_000_000)]
    assert line.now % (PACKET_NS + 1_000_000) == 0


def test_acknowledgements_that_touch_are_one_and_those_inside_others_add_nothing() -> None:
    """The current never falls in between."""
    touching = [Acknowledgement(0, 6), Acknowledgement(6, 6), Acknowledgement(1, 2)]
    assert merged(touching) == [Acknowledgement(0, 12)]
    assert merged([Acknowledgement(0, 6), Acknowledgement(7, 6)]) == [
        Acknowledgement(0, 6),
        Acknowledgement(7, 6),
    ]


def test_power_on_reaches_every_decoder_of_a_track() -> None:
    """A factory reset of both is complete."""
    track = Track((Decoder(Options(factory={3: 1})), Decoder(Options(factory={3: 2}))))
    line = Line(track)
    line.send(RESET, WRITE_CV_3, WRITE_CV_3, "7F 08", "7F 08")
    assert [decoder.cv(8) for decoder in track] == [255, 255]
    track.power_on()
    assert [decoder.cv(3) for decoder in track] == [1, 2]


@pytest.mark.parametrize(("value", "stored"), [(127, True), (128, False)])
def test_address_only_mode_has_seven_bits(value: int, stored: bool) -> None:
    """A decoder with that mode alone obeys what is address-only (S-9.2.3 §E; P5)."""
    decoder, line = on_programming_track(supports=frozenset({ServiceMode.ADDRESS_ONLY}))
    line.send(f"78 {value:02X}", times=2)
    assert (decoder.cvs[1] == value) is stored


def test_a_packet_of_no_time_is_heard() -> None:
    """It may end when it starts, and no sooner."""
    decoder = Decoder(Options())
    assert decoder.take(bytes(3), 5, 5) == []
    with refused(FieldError, field="end_ns", bound="5 or later", value=4):
        decoder.take(bytes(3), 5, 4)
