"""Declaring formats: the registry, and what it refuses."""

import importlib
import pkgutil
from typing import ClassVar

import pytest
from hypothesis import given
from hypothesis import strategies as st

import dccwire
from dccwire import accessory, formats, instructions, service_mode
from dccwire.address import ADDRESS_KINDS, AccessoryAddress, Partition
from dccwire.codebook import check_overlaps, resembled, reserved_clause
from dccwire.cv.values import VALUE_TYPES
from dccwire.errors import FieldError, LayoutError
from dccwire.fields import Functions
from dccwire.formats import (
    FORMATS,
    Declared,
    Instruction,
    NamedReading,
    PacketPart,
    Provenance,
    Reserved,
    Undefined,
    instruction,
)
from legal_values import ADDRESSES, FUNCTIONS
from refusals import refused
from strategies import GENERAL, values


@pytest.fixture
def registry(monkeypatch: pytest.MonkeyPatch) -> list:
    """A registry of its own for formats that a test declares."""
    own: list = []
    monkeypatch.setattr(formats, "FORMATS", own)
    return own


def test_files_and_registry_agree() -> None:
    """Every instruction class of every family file is registered once, exported, and no other."""
    found = []
    modules = [
        importlib.import_module(f"dccwire.instructions.{each.name}")
        for each in pkgutil.iter_modules(instructions.__path__)
    ]
    for module in (*modules, accessory, service_mode):
        for name in module.__all__:
            cls = getattr(module, name)
            if isinstance(cls, type) and issubclass(cls, PacketPart) and hasattr(cls, "format"):
                assert cls.__module__ == module.__name__
                assert name in dccwire.__all__
                found.append(cls.format)
    assert sorted(map(id, found)) == sorted(map(id, FORMATS))


@pytest.mark.parametrize("form", FORMATS, ids=lambda form: form.cls.__name__)
def test_a_reading_is_no_instruction_and_its_docs_say_how_it_is_asked_for(form) -> None:
    """What has a reading's name is of the readings' class, and nothing else is."""
    assert issubclass(form.cls, NamedReading) is bool(form.reading)
    assert issubclass(form.cls, Instruction) is not bool(form.reading)
    how = f"`packet.reading({form.cls.__name__})`"
    assert (how in (form.cls.__doc__ or "")) is bool(form.reading)


def test_partitions_and_kinds_of_addresses_have_the_numbers_of_the_standard() -> None:
    """First and last first byte of each (S-9.2.1 §A; S-9.2.3 §E), and the bound of each kind."""
    assert {one.name: (one.value[0], one.value[-1]) for one in Partition} == {
        "BROADCAST": (0, 0),
        "SHORT": (1, 127),
        "ACCESSORY": (128, 191),
        "LONG": (192, 231),
        "RESERVED": (232, 254),
        "IDLE": (255, 255),
        "PROGRAMMING": (112, 127),
    }
    assert {kind: one.bound for kind, one in ADDRESS_KINDS.items()} == ADDRESSES


@pytest.mark.parametrize("cls", [*(form.cls for form in FORMATS), *VALUE_TYPES.values()])
def test_a_mask_has_a_name_for_each_bit(cls: type[Declared]) -> None:
    """As many as bits, no more, of instructions and of CVs; those of instructions typed in."""
    for field, kind in cls.kinds.items():
        if isinstance(kind, Functions):
            assert len(kind.names) == cls.layout.fields[field].width
            if issubclass(cls, PacketPart):
                assert list(kind.names) == FUNCTIONS[cls.__name__]


def test_where_values_come_from_has_five_words() -> None:
    """As vectors, formats and rules name it."""
    words = ["published", "derived", "observed", "common practice", "from memory"]
    assert [one.value for one in Provenance] == words


def test_every_format_cites_a_clause() -> None:
    """Clauses are those of the standards; what is from memory says so."""
    for form in FORMATS:
        if form.provenance is Provenance.FROM_MEMORY:
            assert form.clause.startswith("from memory: "), form
        else:
            assert form.clause.startswith(("S-9.2 §", "S-9.2.1 ", "S-9.2.3 ", "NEM 672 ")), form


def test_formats_from_memory_stand_in_a_file_of_their_own() -> None:
    """All but the accessory form, which shares the whole-packet layouts."""
    homes = {form.cls.__module__ for form in FORMATS if form.provenance is Provenance.FROM_MEMORY}
    assert homes == {"dccwire.instructions.later", "dccwire.accessory"}


def test_an_equal_overlap_is_refused(registry: list) -> None:
    """Two formats of one size that match the same bytes with as many fixed bits; no others."""

    def declared(line: str, **more) -> formats.Format:
        letters = sorted(set(line) - set("01 "))
        fields = {letter.lower(): letter for letter in letters}
        cls = type("Made", (Instruction,), {"__annotations__": dict.fromkeys(fields, int)})
        return instruction(line, "test", fields=fields, **more)(cls).format

    one, clash = declared("100DDDDD"), declared("1EE00DDD")
    for pair in ([one, clash], [clash, one]):
        with refused(LayoutError, line=pair[0].layout.line, problem=f"Made overlaps {pair[1]!r}"):
            check_overlaps(pair)
    with refused(LayoutError, line=one.layout.line, problem=f"Made overlaps {clash!r}"):
        check_overlaps([declared("00000000"), one, declared("11000000"), clash])
    check_overlaps([one])
    check_overlaps([one, declared("1EE000DD")])  # more fixed bits, so that it wins
    check_overlaps([one, declared("1EE0DDDD")])  # fewer, so that it loses
    check_overlaps([one, declared("101DDDDD")])  # a fixed bit tells them apart
    check_overlaps([one, declared("1EE00DDD", reading="narrower")])
    check_overlaps([one, declared("1EE00DDD", partitions=frozenset({Partition.IDLE}))])
    assert len(registry) == 9


@pytest.mark.parametrize("ends", [False, True])
def test_formats_of_two_sizes_overlap_unless_both_end_the_packet(registry, ends: bool) -> None:
    """A longer format begins like a shorter one, and both could be meant."""

    @instruction("1001DDDD", "test", fields={"d": "D"}, ends=True)
    class Short(Instruction):
        d: int

    @instruction("1001DDDD EEEEEEEE", "test", fields={"d": "D", "e": "E"}, ends=ends)
    class Long(Instruction):
        d: int
        e: int

    if ends:
        check_overlaps([Short.format, Long.format])
    else:
        with refused(LayoutError, match="Short overlaps|Long overlaps"):
            check_overlaps([Short.format, Long.format])


def test_a_format_without_a_clause_is_refused(registry: list) -> None:
    """Everything cites."""
    with refused(LayoutError, match="no clause is cited"):
        instruction("00000000", "")
    assert registry == []


def test_fields_and_kinds_must_agree(registry: list) -> None:
    """A class whose fields differ from the kinds given is refused, and not registered."""
    with refused(LayoutError, match="fields of Odd differ"):

        @instruction("100DDDDD", "test", fields={"d": "D"})
        class Odd(Instruction):
            e: int
            kind: ClassVar[str] = ""

    assert registry == []


@given(st.data())
def test_values_of_every_format_encode_into_their_layout(data: st.DataObject) -> None:
    """The bytes of a legal value match the fixed bits; equal values are equal."""
    form = data.draw(st.sampled_from(GENERAL))
    one = data.draw(values(form))
    assert form.layout.matches(bytes(one))
    assert form.build(int.from_bytes(bytes(one))) == one
    assert one != Undefined(b"\x00")
    assert hash(one) == hash(form.build(int.from_bytes(bytes(one))))


@pytest.mark.parametrize("form", FORMATS, ids=lambda form: form.cls.__name__)
def test_no_value_holds_what_is_illegal(form: formats.Format) -> None:
    """One below, one above, and the wrong type: an error with field, bound and value."""
    legal = {}
    for name, kind in form.cls.kinds.items():
        bits = form.layout.fields[name]
        legal[name] = bits.lowest if kind.table is None else next(iter(kind.table.values()))
    one = form.cls(**legal)
    assert {name: getattr(one, name) for name in legal} == legal
    for name in legal:
        bits = form.layout.fields[name]
        for wrong in (bits.lowest - 1, bits.highest + 1, "1", 1.0, b"", object()):
            with refused(FieldError, match=": .+ expected, ", field=name, value=wrong):
                form.cls(**{**legal, name: wrong})


def test_kept_bytes_are_bytes_and_not_none() -> None:
    """`Reserved` and `Undefined` hold one byte or more."""
    for wrong in (b"", bytearray(b"\x01"), "01"):
        with refused(FieldError, bound="one byte or more"):
            Reserved(wrong)
    assert bytes(Undefined(b"\x01\x02")) == b"\x01\x02"


def test_reserved_codes_are_those_of_the_rules() -> None:
    """The first bytes of rule 30 (S-9.2.1 §C), typed in; each short of later additions."""
    expected = {0x04, 0x05, 0x08, 0x09, 0x0C, 0x0D}
    expected |= {0x10 | code for code in range(16)} - {0x12, 0x13}
    expected |= set(range(0x20, 0x40)) - {0x3D, 0x3E, 0x3F}
    expected |= set(range(0xC0, 0xE0)) - {0xC0, 0xDD, 0xDE, 0xDF}
    expected |= {0xE0, 0xE1, 0xE2, 0xE3}
    expected |= set(range(0xF0, 0x100)) - {0xF2, 0xF3, 0xF9}
    found = {code for code in range(256) if reserved_clause(bytes((code,)), Partition.SHORT)}
    assert found == expected


def test_whose_address_is_taken_from_the_broadcast_patterns() -> None:
    """A layout without address bits stands for the address of all ones."""
    form = dccwire.BasicAccessoryBroadcast.format
    assert form.take_address(0xBF88) == AccessoryAddress(511)


def test_what_cut_short_bytes_open_like() -> None:
    """By the first byte after the address, typed in from S-9.2.1 §C; nothing from memory."""
    expected = {
        0x00: "DigitalDecoderReset",
        0x01: "HardReset",
        0x02: "FactoryTest",
        0x03: "FactoryTest",
        0x06: "SetDecoderFlags",
        0x07: "SetDecoderFlags",
        0x0A: "SetExtendedAddressing",
        0x0B: "SetExtendedAddressing",
        0x0E: "DecoderAcknowledgementRequest",
        0x0F: "DecoderAcknowledgementRequest",
        0x12: "ConsistControl",
        0x13: "ConsistControl",
        0x3D: "AnalogFunctionGroup",
        0x3E: "RestrictedSpeedStep",
        0x3F: "SpeedStepControl128",
        **dict.fromkeys(range(0x40, 0x80), "SpeedAndDirection"),
        **dict.fromkeys(range(0x80, 0xA0), "FunctionGroupOne"),
        **dict.fromkeys(range(0xA0, 0xB0), "FunctionGroupTwoF9F12"),
        **dict.fromkeys(range(0xB0, 0xC0), "FunctionGroupTwoF5F8"),
        0xC0: "BinaryStateLongForm",
        0xDD: "BinaryStateShortForm",
        0xDE: "FunctionsF13F20",
        0xDF: "FunctionsF21F28",
        **dict.fromkeys(range(0xE4, 0xE8), "CvAccessLongForm"),
        **dict.fromkeys(range(0xE8, 0xEC), "CvBitManipulation"),
        **dict.fromkeys(range(0xEC, 0xF0), "CvAccessLongForm"),
        0xF2: "CvAccessShortForm",
        0xF3: "CvAccessShortForm",
        0xF9: "AddressQuery",
    }
    found = {
        code: near[1].cls.__name__
        for code in range(256)
        if (near := resembled(bytes((code, 0xFF, 0xFF)), Partition.SHORT))
    }
    assert found == expected
    assert resembled(b"\xff", Partition.IDLE) is None


@pytest.mark.parametrize(
    ("packet", "name"),
    [
        ("81 F8 FF", "BasicAccessory"),
        ("81 01 FF FF", "ExtendedAccessory"),
        ("BF 07 FF FF", "ExtendedAccessory"),
        ("81 01 EC 00", "ExtendedAccessoryCvAccess"),
        ("81 02", None),
        ("81", "BasicAccessory"),
        ("81 71", "ExtendedAccessory"),
        ("81 71 E8", "ExtendedAccessory"),
        ("81 71 E8 00", "ExtendedAccessoryCvBitManipulation"),
    ],
)
def test_what_accessory_packets_open_like(packet: str, name: str | None) -> None:
    """By their first two bytes (S-9.2.1 §D); then the shortest that can go on so."""
    near = resembled(bytes.fromhex(packet), Partition.ACCESSORY)
    assert (near and near[1].cls.__name__) == name
