"""CVs: access on the main, locks, resets, index pages, options."""

import pickle

import pytest
from decoder_helpers import IDLE, RESET, at_work

from dccwire import FieldError, LongAddress, Packet, Receiver, ShortAddress
from dccwire.cv import CvSet, IndexedCv
from dccwire.decoder import Decoder, Ignored, Options, ServiceMode, Track
from dccwire.receiver.events import Gap, PacketReceived
from dccwire.synthesis import Sending, synthesize
from refusals import refused
from strategies import with_error_byte

WRITE_CV_3 = "03 EC 02 07"
"""1110 11 00, 00000010, 7: byte write of CV 3 (S-9.2.1 §C)."""


def test_factory_values_are_the_standards() -> None:
    """S-9.2.2: CV 1 = 3, table 2; what has no default is 0, or told in the code."""
    decoder = Decoder()
    outputs = [1, 2, 4, 8, 16, 4, 8, 16, 32, 64, 16, 32, 64, 128]
    assert [decoder.cv(cv) for cv in range(33, 47)] == outputs
    held = {1: 3, 3: 0, 7: 1, 8: 13, 17: 192, 19: 0, 29: 2, 31: 16, 1024: 0}
    assert {cv: decoder.cv(cv) for cv in held} == held
    assert decoder.options == Options()


@pytest.mark.parametrize(
    ("bodies", "value"),
    [
        ([WRITE_CV_3], 0),
        ([WRITE_CV_3, WRITE_CV_3], 7),
        ([WRITE_CV_3, IDLE, "05 7F", "C4 B5 7F", WRITE_CV_3], 7),
        ([WRITE_CV_3, "03 7F", WRITE_CV_3], 0),
        ([WRITE_CV_3, RESET, WRITE_CV_3], 0),
        ([WRITE_CV_3, "00 81", WRITE_CV_3], 0),
        ([WRITE_CV_3, "0A 74", WRITE_CV_3], 0),  # the consist address is the same decoder
        ([WRITE_CV_3, "03 EC 02 08", WRITE_CV_3], 0),
        ([WRITE_CV_3, "03 7F", WRITE_CV_3, WRITE_CV_3], 7),
        (["00 EC 02 07", "00 EC 02 07"], 7),  # to all (X26)
    ],
)
def test_a_write_on_the_main_takes_two_identical_packets(bodies: list[str], value: int) -> None:
    """S-9.2.1 §C, CV access long form: what goes to others, and idle packets, leave it be."""
    decoder, line = at_work(factory={19: 10})
    assert line.send(*bodies) == []
    assert decoder.cv(3) == value


def test_a_third_identical_packet_is_the_first_of_two_again() -> None:
    """S-9.2.1 §C leaves it open; between them a workshop has put the CV back."""
    decoder, line = at_work()
    line.send(WRITE_CV_3, WRITE_CV_3)
    decoder.set_cv(3, 0)
    line.send(WRITE_CV_3)
    assert decoder.cv(3) == 0
    line.send(WRITE_CV_3)
    assert decoder.cv(3) == 7


def test_bits_are_written_on_the_main() -> None:
    """S-9.2.1 §C: E8 1C, 111 1 1 101: bit 5 of CV 29 on; 111 1 0 001: bit 1 off."""
    decoder, line = at_work(factory={18: 7})
    line.send("03 E8 1C FD", times=2)
    assert (decoder.cv(29), decoder.address) == (0b10_0010, LongAddress(7))
    line.send("C0 07 E8 1C F1", times=2)
    assert decoder.cv(29) == 0b10_0000
    line.send("C0 07 E8 1C E5", times=2)  # a verify: nothing on the main to answer with
    assert decoder.ignored == {Ignored.UNSUPPORTED: 2}


def test_a_write_of_cv_1_on_the_main_clears_cv_19_and_cv_29_bit_5() -> None:
    """S-9.2.3 §E, by any mode; the decoder listens to the new address at once."""
    decoder, line = at_work(factory={17: 0xC4, 18: 0xB5, 19: 10, 29: 0x22})
    line.send("C4 B5 EC 00 37", times=2)
    assert (decoder.cv(1), decoder.cv(19), decoder.cv(29)) == (55, 0, 2)
    assert (decoder.address, decoder.consist) == (ShortAddress(55), None)
    line.send("37 74")
    assert decoder.step == 6


@pytest.mark.parametrize(
    ("body", "held"),
    [
        ("03 F4 C5 01", {17: 0xC5, 18: 1}),
        ("03 F5 14 02", {31: 20, 32: 2}),
        ("03 F6 8A 01", {19: 0x8A, 20: 1}),
    ],
)
def test_pairs_of_cvs(body: str, held: dict[int, int]) -> None:
    """From memory: the short forms of two CVs; two identical packets here."""
    decoder, line = at_work()
    line.send(body)
    before = {cv: decoder.cv(cv) for cv in held}
    assert before != held
    line.send(body)
    assert {cv: decoder.cv(cv) for cv in held} == held


@pytest.mark.parametrize(
    ("options", "body", "reason"),
    [
        ({}, "03 EC 06 09", Ignored.READ_ONLY),  # CV 7
        ({}, "03 EC 07 09", Ignored.READ_ONLY),  # CV 8
        ({"factory_reset_by_cv_8": False}, "03 EC 07 08", Ignored.READ_ONLY),
        ({"read_only": frozenset({3})}, WRITE_CV_3, Ignored.READ_ONLY),
        ({"absent": frozenset({3})}, WRITE_CV_3, Ignored.ABSENT),
        ({"factory": {15: 1}}, WRITE_CV_3, Ignored.LOCKED),
        ({"factory": {15: 1}}, "03 EC 0F 01", Ignored.LOCKED),  # CV 16 itself
        ({"factory": {15: 1}}, "03 EC 07 08", Ignored.LOCKED),
        ({}, "03 EC 00 80", Ignored.OUT_OF_RANGE),  # CV 1 = 128
        ({}, "03 EC 10 BF", Ignored.OUT_OF_RANGE),  # CV 17 = 191
        ({}, "03 EC 10 E8", Ignored.OUT_OF_RANGE),  # CV 17 = 232
        ({"absent": frozenset({18})}, "03 F4 C5 01", Ignored.ABSENT),
    ],
)
def test_what_is_not_stored_is_counted(
    options: dict[str, object], body: str, reason: Ignored
) -> None:
    """S-9.2.2: read-only CVs, the decoder lock of CV 15 and 16, the bounds of CV 1 and 17."""
    decoder, line = at_work(**options)
    before = decoder.cvs
    line.send(body, times=2)
    assert decoder.ignored == {reason: 1}
    changed = {17: 0xC5} if body == "03 F4 C5 01" else {}
    assert decoder.cvs == before | changed


@pytest.mark.parametrize(("cv", "value"), [(1, 0), (1, 126), (1, 127), (17, 193), (17, 231)])
def test_the_bounds_of_cv_1_and_17_can_be_stored(cv: int, value: int) -> None:
    """S-9.2.2: 0 to 127, 192 to 231."""
    decoder, line = at_work()
    line.send(f"03 EC {cv - 1:02X} {value:02X}", times=2)
    assert (decoder.cv(cv), decoder.ignored) == (value, {})


@pytest.mark.parametrize(
    ("options", "value", "stored"),
    [
        ({}, 255, 0b0011_1111),
        ({}, 0b0100_0110, 0b0000_0110),
        ({}, 0b1000_0000, 0),
        ({}, 0b0011_1111, 0b0011_1111),
        ({"configuration_bits": 0b0000_0011}, 0b0001_0110, 0b0000_0010),
    ],
)
def test_bits_of_cv_29_that_are_not_supported_cannot_be_set(
    options: dict[str, object], value: int, stored: int
) -> None:
    """S-9.2.2, CV 29: neither by a byte nor bit by bit, on the main or a programming track."""
    for sent in (
        [f"03 EC 1C {value:02X}"] * 2,
        [RESET, *[f"7C 1C {value:02X}"] * 2],
        [RESET, *[f"7C {value:02X}"] * 2],
        [
            RESET,
            *(
                f"78 1C {0xF0 | (value >> bit & 1) << 3 | bit:02X}"
                for bit in range(8)
                for _ in range(2)
            ),
        ],
    ):
        decoder, line = at_work(**options)
        line.send(*sent)
        assert (decoder.cv(29), decoder.ignored) == (stored, {})


def test_cv_15_opens_the_lock() -> None:
    """S-9.2.2, CV 15: always writable."""
    decoder, line = at_work(factory={15: 1, 16: 2})
    line.send("03 EC 0E 02", "03 EC 0E 02", WRITE_CV_3, WRITE_CV_3)
    assert decoder.cv(3) == 7


def test_index_pages() -> None:
    """S-9.2.2, CV 31 and 32: CV 257 to 512 are others on each page; CV 513 is the same."""
    decoder, line = at_work(factory={IndexedCv(16, 1, 257): 5, 258: 6})
    assert (decoder.cv(257), decoder.cv(258)) == (0, 6)
    line.send("03 EC 1F 01", times=2)  # CV 32 = 1
    assert decoder.cv(257) == 5
    line.send("03 ED 00 09", times=2)  # CV 257 = 9
    decoder.set_cv(513, 4)
    assert decoder.cv(257) == 9
    decoder.set_cv(32, 0)
    assert (decoder.cv(257), decoder.cv(513)) == (0, 4)
    decoder.set_cv(32, 1)
    assert decoder.cv(257) == 9


def test_the_lowest_and_the_highest_cv_of_an_index_page() -> None:
    """S-9.2.2, CV 257-512: 256 and 513 are on no page; CV 31 = 16 is the first that is one."""
    decoder = Decoder(Options(factory={31: 16}))
    for cv in (256, 257, 512, 513):
        decoder.set_cv(cv, 9)
    decoder.set_cv(31, 17)
    assert [decoder.cv(cv) for cv in (256, 257, 512, 513)] == [9, 0, 0, 9]
    decoder.set_cv(31, 16)
    assert [decoder.cv(cv) for cv in (256, 257, 512, 513)] == [9, 9, 9, 9]


def test_reserved_index_pages_hold_nothing() -> None:
    """S-9.2.2, CV 31: 0 to 15 are reserved."""
    decoder, line = at_work()
    before = decoder.cvs
    line.send("03 EC 1E 0F", "03 EC 1E 0F", "03 ED 00 09", "03 ED 00 09")
    assert decoder.ignored == {Ignored.ABSENT: 1}
    decoder.set_cv(257, 9)
    assert decoder.cv(257) == 0
    assert decoder.cvs == before | {31: 15}
    assert line.send(RESET, "75 00 00", "75 00 00") == []
    assert decoder.ignored == {Ignored.ABSENT: 2}


def test_all_cvs_can_be_seen_at_once() -> None:
    """Those of every index page, as a set that can be compared and made a decoder of again."""
    decoder = Decoder(Options(factory=CvSet({29: 6, IndexedCv(16, 1, 257): 5})))
    decoder.set_cv(300, 1)
    assert decoder.cvs[IndexedCv(16, 0, 300)] == 1
    assert Decoder(Options(factory=decoder.cvs)).cvs == decoder.cvs


def test_hard_reset() -> None:
    """S-9.2.1 §C: CV 19 to 0, CV 29, 31 and 32 as at the factory, and a decoder reset."""
    decoder, line = at_work(factory={29: 6, 32: 9})
    for cv, value in ((29, 7), (31, 20), (32, 0), (19, 10), (3, 5)):
        decoder.set_cv(cv, value)
    line.send("0A 7F", "03 9F", "03 01")
    held = {cv: decoder.cv(cv) for cv in (29, 31, 32, 19, 3)}
    assert held == {29: 6, 31: 16, 32: 9, 19: 0, 3: 5}
    assert (decoder.step, decoder.functions, decoder.consist) == (0, frozenset(), None)


def test_factory_reset_is_complete_at_the_next_power_on() -> None:
    """S-9.2.3 §E: CV 8 reads 255 until then; here by a write of 8 to CV 8 on the main."""
    decoder, line = at_work(factory={3: 20, 8: 99})
    line.send(WRITE_CV_3, WRITE_CV_3, "03 EC 07 08", "03 EC 07 08")
    decoder.set_cv(32, 1)
    decoder.set_cv(257, 1)
    assert (decoder.cv(8), decoder.cv(3)) == (255, 7)
    decoder.power_on()
    assert (decoder.cv(8), decoder.cv(3), decoder.cv(32)) == (99, 20, 0)
    decoder.set_cv(32, 1)
    assert decoder.cv(257) == 0


def test_power_on_forgets_what_is_volatile_and_keeps_cvs() -> None:
    """A write of which one packet came before the power went is forgotten too."""
    decoder, line = at_work(factory={4: 200})
    line.send("03 5F", "03 9F", "03 EC 02 07", "03 EC 02 07", "03 EC 03 07")
    decoder.power_on()
    line.send("03 EC 03 07")
    assert (decoder.step, decoder.functions, decoder.cv(3), decoder.cv(4)) == (0, set(), 7, 200)
    assert decoder.speed_at(line.now) == 0.0


@pytest.mark.parametrize("cv", [0, 1025, -1, True, "3"])
def test_cv_numbers_are_1_to_1024(cv: int) -> None:
    """S-9.2.2."""
    with refused(FieldError, match=r"cv: 1 to 1024 expected"):
        Decoder().cv(cv)
    with refused(FieldError, match=r"cv: 1 to 1024 expected"):
        Decoder().set_cv(cv, 0)


@pytest.mark.parametrize("value", [256, -1, 1.0])
def test_values_are_bytes(value: int) -> None:
    """S-9.2.2."""
    with refused(FieldError, match="CV 3: 0 to 255 expected"):
        Decoder().set_cv(3, value)


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"factory": {1025: 0}}, "cv"),
        ({"factory": {3: 256}}, "CV 3"),
        ({"absent": frozenset({0})}, "read_only or absent"),
        ({"read_only": frozenset({1025})}, "read_only or absent"),
        ({"steps_in_use": 28}, "steps_in_use"),
        ({"configuration_bits": 256}, "CV 29"),
        ({"configuration_bits": -1}, "CV 29"),
        ({"supports": frozenset({"direct", "fast"})}, "supports"),
        ({"supports": "direct"}, "supports"),
        ({"acknowledgement_ns": 0}, "acknowledgement_ns"),
        ({"storage_ns": -1}, "storage_ns"),
        ({"time_out_unit_ns": -1}, "time_out_unit_ns"),
    ],
)
def test_options_are_checked(given: dict[str, object], field: str) -> None:
    """The error names the field."""
    with refused(FieldError, field=field):
        Options(**given)  # type: ignore[arg-type] # wrong values are the point


def test_options_at_their_bounds() -> None:
    """Each is taken as it is; a service mode may be given by its value."""
    for given in (
        {"steps_in_use": 126},
        {"steps_in_use": 128},
        {"acknowledgement_ns": 1},
        {"storage_ns": 0},
        {"time_out_unit_ns": 0},
        {"configuration_bits": 0},
        {"configuration_bits": 255},
        {"absent": frozenset({1, 1024})},
    ):
        ((name, value),) = given.items()
        assert getattr(Options(**given), name) == value  # type: ignore[arg-type] # each is its type
    named = Options(supports=frozenset({"direct"}))  # type: ignore[arg-type] # that is the point
    assert named.supports == {ServiceMode.DIRECT}


def test_options_are_hashable_and_a_decoder_can_be_pickled() -> None:
    """With all that it has learnt."""
    assert hash(Options(factory={3: 1})) == hash(Options(factory={3: 1}))
    decoder, line = at_work()
    line.send("03 7F", "03 9F")
    assert pickle.loads(pickle.dumps(decoder)).snapshot() == decoder.snapshot()


def test_bytes_packets_and_events_are_all_taken() -> None:
    """Whatever is at hand: bytes, a bytearray's bytes, a `Packet`, a receiver's events."""
    packet = Packet.from_text("short 3: FunctionGroupOne functions=F1")
    for one in (packet, bytes(packet)):
        decoder, other = Decoder(), Decoder()
        decoder.take(one, 0, 1)
        Track((other,)).take(one, 0, 1)
        assert decoder.functions == other.functions == {"F1"}
    decoder, other = Decoder(), Decoder()
    for event in (PacketReceived(0, 1, 2, 14, bytes(packet), False), Gap(3, 4)):
        assert decoder.take(event) == Track((other,)).take(event) == []
    assert decoder.functions == other.functions == {"F1"}
    with refused(FieldError, match="start_ns: 2 or later"):
        decoder.take(packet, 1, 3)


def test_a_signal_reaches_the_decoder_through_a_receiver() -> None:
    """Events that are no packets are nothing to it."""
    receiver, decoder = Receiver(), Decoder()
    sending = Sending(bytes.fromhex("03 74 77"))
    broken = Sending(bytes.fromhex("03 7F 7C"), drop=20)
    edges = list(synthesize([sending, broken, sending]))
    events = [*receiver.feed(edges), *receiver.close()]
    assert any(not isinstance(event, PacketReceived) for event in events)
    for event in events:
        assert decoder.take(event) == []
    assert decoder.step == 6


@pytest.mark.parametrize(
    ("times", "message"),
    [
        ((None, 1), "start_ns: a time in ns expected, nothing given"),
        ((1, None), "end_ns: a time in ns expected, nothing given"),
        ((-1, 1), "start_ns: 0 or later expected, -1 given"),
        ((2, 1), "end_ns: 2 or later expected, 1 given"),
    ],
)
def test_times_are_needed_and_run_forward(
    times: tuple[int | None, int | None], message: str
) -> None:
    """The decoder has no clock."""
    with refused(FieldError, match=message):
        Decoder().take(bytes(3), *times)


@pytest.mark.parametrize(
    "data", [b"", b"\x03", b"\x03\x03", bytes.fromhex("037F00"), with_error_byte(bytes(6))]
)
def test_what_is_no_packet_is_ignored(data: bytes) -> None:
    """S-9.2 §A: a wrong error byte; a wrong length."""
    decoder = Decoder()
    fresh = decoder.snapshot()
    assert decoder.take(data, 0, 1) == []
    assert decoder.snapshot() == fresh
