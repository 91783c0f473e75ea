"""Packets: lossless both ways, strict decoding, illegal packets refused."""

import contextlib
import copy
import pickle

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import dccwire
from dccwire import (
    BROADCAST,
    IDLE,
    AccessoryAddress,
    AccessoryByteAddress,
    BasicAccessory,
    BasicAccessoryBroadcast,
    DigitalDecoderReset,
    ErrorByteError,
    ExtendedAccessoryAddress,
    FactoryTest,
    FieldError,
    FunctionGroupOne,
    Idle,
    Instruction,
    LengthError,
    LongAddress,
    ModelTime,
    Packet,
    PacketError,
    ReservedAddress,
    ShortAddress,
    SpeedAndDirection,
    Undefined,
)
from dccwire.address import Partition
from dccwire.formats import FORMATS, Format, NamedReading
from refusals import refused
from strategies import bodies, byte_strings, packets, with_error_byte


def rebuilt(data: bytes) -> bytes:
    """The bytes of a packet built anew from what `decode` made of bytes."""
    packet = dccwire.decode(data)
    return dccwire.encode(Packet(packet.address, *packet.instructions, mode=packet.mode))


def test_every_packet_of_three_bytes_comes_out_as_it_went_in() -> None:
    """All 65,536 with the right error byte, encoded anew from their values (S-9.2 §B)."""
    for number in range(1 << 16):
        data = with_error_byte(number.to_bytes(2))
        assert rebuilt(data) == data


def _check_four_bytes(numbers: range) -> None:
    for number in numbers:
        data = with_error_byte(number.to_bytes(3))
        assert rebuilt(data) == data


def test_packets_of_four_bytes_come_out_as_they_went_in_sampled() -> None:
    """Every 251st of the 2^24 with the right error byte (a prime step meets all low bytes)."""
    _check_four_bytes(range(0, 1 << 24, 251))


@pytest.mark.slow
def test_every_packet_of_four_bytes_comes_out_as_it_went_in() -> None:
    """All 2^24 with the right error byte."""
    _check_four_bytes(range(1 << 24))


@given(st.binary(min_size=4, max_size=5))
@settings(max_examples=2000)
def test_packets_of_five_and_six_bytes_come_out_as_they_went_in(body: bytes) -> None:
    """Any bytes with the right error byte, encoded anew from their values."""
    data = with_error_byte(body)
    assert rebuilt(data) == data


@given(packets())
@settings(max_examples=1000)
def test_what_is_built_is_what_is_decoded(packet: Packet) -> None:
    """A packet of any format decodes into the same address and instruction."""
    decoded = dccwire.decode(dccwire.encode(packet), mode=packet.mode)
    assert decoded == packet
    assert decoded.address == packet.address
    assert decoded.instructions == packet.instructions


@given(bodies, st.integers(1, 255))
def test_a_wrong_error_byte_is_refused_with_both_bytes_told(body: bytes, change: int) -> None:
    """`decode` refuses it; the error holds what was expected and what was given."""
    right = with_error_byte(body)
    with refused(ErrorByteError, expected=right[-1], actual=right[-1] ^ change):
        dccwire.decode(right[:-1] + bytes((right[-1] ^ change,)))


@pytest.mark.parametrize("size", [0, 1, 2, 7, 16])
def test_a_length_outside_three_to_six_is_refused(size: int) -> None:
    """S-9.2.1, introduction."""
    with refused(LengthError, actual=size):
        dccwire.decode(bytes(size))


@given(byte_strings)
def test_decode_gives_a_packet_or_an_error_of_its_own(data: bytes) -> None:
    """Whatever the bytes, no other exception comes out."""
    with contextlib.suppress(dccwire.DecodeError):
        assert bytes(dccwire.decode(data)) == data


def test_a_packet_is_its_mode_and_bytes() -> None:
    """Equality and hash do not look at how a packet was built."""
    named = Packet(AccessoryAddress(511), BasicAccessoryBroadcast(active=True, pair=1, output=0))
    general = Packet(AccessoryAddress(511), BasicAccessory(active=True, pair=1, output=0))
    assert named == general
    assert hash(named) == hash(general)
    assert named != Packet(AccessoryAddress(510), BasicAccessory(active=True, pair=1, output=0))
    assert named != bytes(named)


def test_values_survive_pickling_and_copying() -> None:
    """Packets, addresses and instructions are plain values."""
    packet = dccwire.decode(bytes.fromhex("C4B53F2967"))
    for one in (packet, packet.address, packet.instructions[0], Undefined(b"\x80")):
        assert pickle.loads(pickle.dumps(one)) == one
        assert copy.deepcopy(one) == one


def test_values_cannot_be_changed() -> None:
    """Packets and instructions are frozen."""
    packet = dccwire.decode(bytes(3))
    for one, name in ((packet, "address"), (packet.instructions[0], "x"), (BROADCAST, "number")):
        with pytest.raises((AttributeError, TypeError)):
            setattr(one, name, 1)


NAMES = {name: getattr(dccwire, name) for name in dccwire.__all__}


@given(packets())
def test_repr_shows_what_makes_the_packet(packet: Packet) -> None:
    """The repr of a packet of any format, in either mode, reads back in the library's namespace."""
    again = eval(repr(packet), NAMES)
    assert again == packet
    assert again.instructions == packet.instructions
    assert again.address == packet.address


@given(bodies)
def test_repr_of_any_bytes_reads_back(body: bytes) -> None:
    """Several instructions, and what is kept, too."""
    packet = dccwire.decode(with_error_byte(body))
    assert eval(repr(packet), NAMES) == packet


GROUP = FunctionGroupOne.on("FL")


@pytest.mark.parametrize(
    ("address", "instructions", "problem", "hint"),
    [
        (IDLE, (GROUP,), "FunctionGroupOne cannot be sent to idle", "long and short addresses"),
        (ShortAddress(3), (Idle(),), "Idle cannot be sent to short 3", "idle addresses"),
        (
            ShortAddress(3),
            (ModelTime(0, 0, 0, False, 0),),
            "ModelTime cannot be sent to short 3",
            "broadcast addresses",
        ),
        (
            ShortAddress(3),
            (BasicAccessory(True, 0, 0),),
            "BasicAccessory cannot be sent to short 3",
            "accessory addresses",
        ),
        (
            ShortAddress(3),
            (FactoryTest(0), GROUP),
            "FactoryTest must be the last instruction",
            "at the end",
        ),
        (
            ShortAddress(3),
            (Undefined(b"\x80"), GROUP),
            "Undefined must be the last instruction",
            "at the end",
        ),
        (
            BROADCAST,
            (dccwire.BroadcastStop(True, True, True), GROUP),
            "BroadcastStop must be the only instruction",
            "alone",
        ),
        (AccessoryAddress(3), (), "0 instructions for accessory 3", "exactly one"),
        (
            AccessoryAddress(3),
            (GROUP,),
            "FunctionGroupOne cannot be sent to accessory 3",
            "long and short addresses",
        ),
        (
            ExtendedAccessoryAddress(3),
            (BasicAccessory(True, 0, 0),),
            "BasicAccessory cannot be sent to extended-accessory 3",
            "accessory addresses",
        ),
        (
            AccessoryAddress(3),
            (Undefined(b"\x80"),),
            "Undefined cannot be sent to accessory 3",
            "accessory-byte",
        ),
        (
            AccessoryAddress(3),
            (BasicAccessoryBroadcast(True, 0, 0),),
            "BasicAccessoryBroadcast cannot be sent to accessory 3",
            "accessory 511",
        ),
    ],
)
def test_what_makes_no_packet_is_refused(address, instructions, problem, hint) -> None:
    """The error names the instruction, the address, and where such packets go."""
    with refused(PacketError, match=f"; .*{hint}", problem=problem):
        Packet(address, *instructions)


@pytest.mark.parametrize(
    ("address", "instructions", "size"),
    [(ShortAddress(3), (), 2), (LongAddress(3), (GROUP,) * 4, 7), (BROADCAST, (), 2)],
)
def test_packets_too_short_or_long_are_refused(address, instructions, size) -> None:
    """3 to 6 bytes, as on the wire."""
    with refused(LengthError, actual=size):
        Packet(address, *instructions)


def test_several_instructions_are_read_in_order() -> None:
    """S-9.2.1 §C, X5; the bytes are put together by hand from the formats' patterns."""
    packet = dccwire.decode(with_error_byte(bytes((0x03, 0b01100100, 0b10010000))))
    assert packet.instructions == (
        SpeedAndDirection(forward=True, c=0, speed=4),
        FunctionGroupOne.on("FL"),
    )


def test_an_address_alone_has_no_instructions() -> None:
    """A long address and an error byte make three bytes."""
    assert dccwire.decode(bytes.fromhex("C003C3")).instructions == ()


def test_kept_bytes_go_where_they_came_from() -> None:
    """Reserved first bytes and accessory bytes without a format keep everything."""
    assert Packet(ReservedAddress(240), Undefined(b"\x01\x02")) == dccwire.decode(
        bytes.fromhex("F00102F3")
    )
    odd = dccwire.decode(bytes.fromhex("80712 0D1".replace(" ", "")))
    assert odd.address == AccessoryByteAddress(128)
    assert odd.instructions == (Undefined(b"\x71\x20"),)


@pytest.mark.parametrize(("mode", "ones"), [("operations", 14), ("service", 20)])
def test_a_preamble_not_given_is_that_of_the_mode(mode: str, ones: int) -> None:
    """14 ones (S-9.2 §A), on a programming track 20 (S-9.2.3 §E), in bits and in time."""
    packet = dccwire.decode(bytes(3), mode=dccwire.Mode(mode))
    assert packet.to_bits().bin == "1" * ones + "0" * 27 + "1"
    assert packet.duration_ns() == (ones + 1) * 116_000 + 27 * 200_000
    assert packet.to_bits(3).bin == "1110" + "0" * 26 + "1"
    assert packet.duration_ns(0) == 116_000 + 27 * 200_000


def test_readings_name_the_address_too() -> None:
    """The eight-bit aspect of NEM 672 is read where S-9.2.1 has no format (X33)."""
    (reading,) = dccwire.readings(dccwire.decode(bytes.fromhex("807120D1")))
    assert reading.address == ExtendedAccessoryAddress(0b000_000000_00)
    assert reading.instruction == dccwire.ExtendedAccessoryNem672(0x20)
    broadcast = dccwire.readings(dccwire.decode(bytes.fromhex("BF8837")))
    assert [(one.name, one.address.number) for one in broadcast] == [
        ("basic accessory broadcast", 511)
    ]


def test_reset_is_a_reading_of_the_broadcast_decoder_reset() -> None:
    """00 00 00 has two names (C10); to another address it has one."""
    reset = dccwire.decode(bytes(3))
    assert reset.instructions == (DigitalDecoderReset(),)
    assert [one.instruction for one in dccwire.readings(reset)] == [dccwire.Reset()]
    assert dccwire.readings(dccwire.decode(bytes.fromhex("030003"))) == ()


def test_broadcast_stop_is_a_reading_of_speed_and_direction() -> None:
    """00 01DC000S, S-9.2 §B; a running speed to all is none (C11)."""
    (reading,) = dccwire.readings(dccwire.decode(bytes.fromhex("007171")))
    assert reading.instruction == dccwire.BroadcastStop(
        forward=True, ignore_direction=True, cut_power=True
    )
    assert dccwire.readings(dccwire.decode(bytes.fromhex("007474"))) == ()


READINGS = [form for form in FORMATS if form.reading]


def of_reading(form: Format) -> Packet:
    """A packet built of a reading, its fields as low as they can be."""
    fields = {
        name: form.layout.fields[name].lowest if kind.table is None else min(kind.table.items())[1]
        for name, kind in form.cls.kinds.items()
    }
    (partition, *_) = sorted(form.partitions, key=lambda one: one.name, reverse=True)
    address = {
        Partition.SHORT: ShortAddress(3),
        Partition.BROADCAST: BROADCAST,
        Partition.PROGRAMMING: dccwire.PROGRAMMING_TRACK,
        Partition.ACCESSORY: form.address and form.address(form.address.bound[-1]),
    }[partition]
    return Packet(address, form.cls(**fields), mode=form.mode or dccwire.Mode.OPERATIONS)


@pytest.mark.parametrize("form", READINGS, ids=lambda form: form.cls.__name__)
def test_built_of_a_reading_and_decoded_a_packet_looks_the_same(form: Format) -> None:
    """Address, instructions, repr, text and match; the reading is there when asked for."""
    built = of_reading(form)
    decoded = dccwire.decode(bytes(built), mode=built.mode)
    assert (built.address, built.instructions) == (decoded.address, decoded.instructions)
    assert (repr(built), str(built)) == (repr(decoded), str(decoded))
    assert built.to_dict() == decoded.to_dict()
    assert all(isinstance(one, Instruction) for one in built.instructions)
    for packet in (built, decoded):
        found = packet.reading(form.cls)
        assert type(found) is form.cls
        assert bytes(Packet(dccwire.readings(packet)[0].address, found, mode=packet.mode)) == (
            bytes(built)
        )
    assert dccwire.decode(bytes.fromhex("FF00FF")).reading(form.cls) is None


def opens_with(packet: Packet, kind: type) -> bool:
    """Whether a `match` finds an instruction of this class."""
    match packet:
        case Packet(instructions=(kind(), *_)):
            return True
    return False


@pytest.mark.parametrize("form", READINGS, ids=lambda form: form.cls.__name__)
def test_to_look_for_a_reading_among_instructions_is_an_error(form: Format) -> None:
    """It would never be found: the error says so instead, and what to ask."""
    packet, words = of_reading(form), rf"packet\.reading\({form.cls.__name__}\)"
    with pytest.raises(TypeError, match=words):
        isinstance(packet.instructions[0], form.cls)
    with pytest.raises(TypeError, match=words):
        opens_with(packet, form.cls)
    assert not issubclass(form.cls, Instruction)
    assert isinstance(packet.reading(form.cls), form.cls)
    assert not isinstance(3, form.cls)
    assert not isinstance(packet.instructions[0], NamedReading)


def test_a_reading_is_asked_for_by_its_class() -> None:
    """Neither by its name nor by an instruction's class."""
    packet = dccwire.decode(bytes(3))
    for wrong in ("reset", DigitalDecoderReset, NamedReading, Undefined, None):
        with refused(FieldError, field="reading", value=wrong):
            packet.reading(wrong)


@pytest.mark.parametrize(
    ("text", "phrase"),
    [
        ("short 3: SpeedStepControl128 step=126 forward=yes", "step 126 of 126, forward"),
        ("short 3: SpeedStepControl128 step=1 forward=no", "step 1 of 126, reverse"),
        ("short 3: SpeedStepControl128 forward=no speed=0", "stop"),
        ("long 3: SpeedStepControl128 forward=no speed=1", "emergency stop"),
        ("short 3: SpeedAndDirection forward=no c=0 speed=2", "step 1 of 28 or 1 of 14, reverse"),
        ("short 3: SpeedAndDirection forward=yes c=1 speed=0", "stop"),
        ("broadcast: SpeedAndDirection forward=yes c=0 speed=0", "stop to all"),
        (
            "broadcast: BroadcastStop forward=yes ignore_direction=no cut_power=yes",
            "emergency stop to all",
        ),
        ("broadcast: SpeedStepControl128 forward=yes speed=1", "emergency stop to all"),
        ("broadcast: DigitalDecoderReset", "also reset"),
        ("short 3: DigitalDecoderReset", ""),
        (
            "short 3: RestrictedSpeedStep step=12 steps=28 enabled=yes",
            "at most step 12 of 28 or 6 of 14",
        ),
        ("short 3: RestrictedSpeedStep step=12 steps=28 enabled=no", "no limit"),
        (
            "accessory 31: BasicAccessory active=yes pair=0 output=1",
            "pair 121, or 125 from decoder address 0",
        ),
        ("accessory 0: BasicAccessory active=yes pair=3 output=1", "pair 4 from decoder address 0"),
        (
            "accessory 1: BasicAccessory active=yes pair=0 output=1",
            "pair 1, or 5 from decoder address 0",
        ),
        (
            "accessory 511: BasicAccessory active=yes pair=0 output=1",
            "the broadcast: every decoder",
        ),
        (
            "extended-accessory 4: ExtendedAccessory aspect=2",
            "number 1, or 5 from decoder address 0",
        ),
        ("accessory 5: LegacyAccessoryCvAccess cv=1 value=7", ""),
        ("service programming-track: PagePreset", "also page preset"),
        (
            "short 3: SpeedAndDirection forward=no c=0 speed=2; SpeedStepControl128 forward=no "
            "speed=0",
            "step 1 of 28 or 1 of 14, reverse; stop",
        ),
        (
            "short 3: SpeedAndDirection forward=no c=0 speed=2; SpeedAndDirection forward=no c=0 "
            "speed=3",
            "step 1 of 28 or 1 of 14, reverse; step 3 o...",
        ),
        ("idle: Idle", ""),
    ],
)
def test_a_phrase_says_what_the_text_does_not(text: str, phrase: str) -> None:
    """The step in either reading, the operators' numbers from both starts, who is meant."""
    assert Packet.from_text(text).phrase() == phrase


@given(packets())
def test_a_phrase_is_short(packet: Packet) -> None:
    """45 characters at most, on one line."""
    assert len(packet.phrase()) <= 45
    assert "\n" not in packet.phrase()


def test_other_byte_strings_are_read_as_bytes() -> None:
    """What has the buffer interface; the packet holds plain bytes. Numbers are refused."""
    for data in (bytearray.fromhex("377443"), memoryview(bytes.fromhex("377443"))):
        packet = dccwire.decode(data)
        assert type(bytes(packet)) is bytes
        assert packet == dccwire.decode(bytes.fromhex("377443"))
        assert hash(packet) == hash(dccwire.decode(bytes.fromhex("377443")))
    for wrong in (5, [0x37, 0x74, 0x43]):
        with refused(dccwire.FieldError, field="data", bound="bytes", value=wrong, hint=""):
            dccwire.decode(wrong)


@pytest.mark.parametrize(
    ("arguments", "problem"),
    [
        (("short 3", GROUP), "'short 3' is no address"),
        ((3, GROUP), "3 is no address"),
        ((ShortAddress(3), [GROUP]), "is no instruction"),
        ((ShortAddress(3), b"\x90"), "is no instruction"),
    ],
)
def test_what_is_no_part_of_a_packet_is_refused(arguments, problem) -> None:
    """The error says which part is of the wrong kind."""
    with refused(PacketError, match=f"{problem}; "):
        Packet(*arguments)


SERVICE_WRITE = bytes.fromhex("7C1C2646")


@pytest.mark.parametrize(
    "call",
    [
        lambda mode: dccwire.decode(SERVICE_WRITE, mode=mode),
        lambda mode: dccwire.inspect(SERVICE_WRITE, mode=mode).packet,
        lambda mode: dccwire.explain(SERVICE_WRITE, mode=mode).inspection.packet,
        lambda mode: Packet(ShortAddress(3), GROUP, mode=mode),
    ],
    ids=["decode", "inspect", "explain", "Packet"],
)
def test_a_mode_is_its_member_or_its_value_and_nothing_else(call) -> None:
    """Either is the same mode; any other string, None or a number is refused."""
    for mode in dccwire.Mode:
        assert call(mode.value) == call(mode)
        assert call(mode.value).mode is mode
    assert call(dccwire.Mode.SERVICE) != call(dccwire.Mode.OPERATIONS)
    for wrong in ("nonsense", "SERVICE", None, 1, ["service"]):
        with refused(FieldError, field="mode", value=wrong, bound="'operations' or 'service'"):
            call(wrong)


def test_only_a_packet_is_encoded() -> None:
    """Whatever else has bytes, or makes some, is refused."""
    for wrong in (3, GROUP, b"\x03\x90\x93", ShortAddress(3), None, "idle: Idle"):
        with refused(FieldError, field="packet", value=wrong):
            dccwire.encode(wrong)


def test_packets_match_by_address_instructions_and_mode() -> None:
    """The bytes are no part of the pattern."""
    match dccwire.decode(bytes.fromhex("377443")):
        case Packet(ShortAddress(number), (SpeedAndDirection() as run,), mode):
            assert (number, run.speed, mode) == (55, 4, dccwire.Mode.OPERATIONS)
        case _:
            pytest.fail("no match")


def test_the_programming_track_is_no_address_in_operations_mode() -> None:
    """Nor are its packets anything else in service mode (C16)."""
    with refused(PacketError, match="operations mode.*; "):
        Packet(dccwire.PROGRAMMING_TRACK, Undefined(b"\x70\x01"))
    with refused(PacketError, match="; .*programming-track"):
        Packet(ShortAddress(115), GROUP, mode=dccwire.Mode.SERVICE)
    assert dccwire.decode(bytes.fromhex("739 0E3".replace(" ", ""))).address == ShortAddress(115)


def test_dir_lists_what_is_public() -> None:
    """Its own helpers and imports are not shown."""
    shown = set(dir(dccwire))
    assert {"decode", "inspect", "cv", "recordings", "__version__"} <= shown
    assert not [one for one in shown if one.startswith("_") and one != "__version__"]
    assert not {"Any", "TYPE_CHECKING", "chain"} & shown


def test_steps_of_128_are_another_instruction() -> None:
    """The hint says which."""
    with refused(dccwire.FieldError, match="128 given; SpeedStepControl128"):
        dccwire.SpeedAndDirection.at(step=1, steps=128, forward=True)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ("007171", "emergency stop; the direction may be ignored (C6)"),
        ("007070", "stop; the direction may be ignored (C6)"),
        ("006161", "emergency stop"),
        ("037172", "emergency stop; 14 steps: headlight on"),
    ],
)
def test_c_of_a_broadcast_stop_is_no_headlight(data: str, words: str) -> None:
    """To all, C = 1 says that the direction may be ignored (S-9.2 §B, Broadcast Stop; C6)."""
    packet = dccwire.decode(bytes.fromhex(data))
    assert packet.in_words()[0] == words
    assert words in " ".join(dccwire.explain(bytes(packet)).text().split())


def test_hex_digits_are_no_bytes() -> None:
    """A text is refused with what would help."""
    with refused(
        dccwire.FieldError, field="data", bound="bytes", hint="bytes.fromhex reads hex digits"
    ):
        dccwire.decode("037477")  # type: ignore[arg-type] # what a caller may try
