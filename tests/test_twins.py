"""The library against the hand-written twins: same bytes, same fields, same refusals."""

from collections.abc import Iterator
from dataclasses import fields as fields_of
from enum import Enum
from functools import cache
from random import Random
from typing import Any, get_type_hints

import pytest
from construct import ConstructError, Container

import dccwire
from dccwire.formats import FORMATS, Kept
from twins import ACCESSORY, FINAL, IN_BROADCASTS, PACKET, READINGS, TWINS, error_byte

YES_NO = (False, True)
BIT, BYTE = range(2), range(256)
CV_NUMBERS = range(1, 1025)
OPERATIONS = ("verify", "write")
OUTPUTS = (None, *range(8))
CV_BYTE = {"operation": OPERATIONS, "cv": CV_NUMBERS, "value": BYTE}
CV_BIT = {"operation": OPERATIONS, "cv": CV_NUMBERS, "bit": range(8), "value": BIT}
BASIC = {"address": range(512)}
EXTENDED = {"address": range(2048)}
PAIR = {"active": YES_NO, "pair": range(4), "output": BIT}
SPEED_128 = {"forward": YES_NO, "speed": range(128)}
FLAGS = (
    "disable-cv-access",
    "disable-acknowledgement-request",
    "activate-bidirectional-communication",
    "set-bidirectional-communication",
    "set-cv-access",
    "accept-cv-access",
)

# Every field's legal values; the clause of each stands beside the type's twin.
LEGAL: dict[str, dict[str, Any]] = {
    "DigitalDecoderReset": {},
    "Reset": {},
    "HardReset": {},
    "FactoryTest": {"d": BIT},
    "SetDecoderFlags": {"set": YES_NO, "flag": FLAGS, "sub_address": range(8)},
    "SetExtendedAddressing": {"extended": YES_NO},
    "DecoderAcknowledgementRequest": {"d": BIT},
    "ConsistControl": {"reversed": YES_NO, "consist": range(128)},
    "SpeedStepControl128": SPEED_128,
    "RestrictedSpeedStep": {"enabled": YES_NO, "c": BIT, "speed": range(16)},
    "AnalogFunctionGroup": {"output": (1,), "value": BYTE},
    "SpeedAndDirection": {"forward": YES_NO, "c": BIT, "speed": range(16)},
    "BroadcastStop": {"forward": YES_NO, "ignore_direction": YES_NO, "cut_power": YES_NO},
    "FunctionGroupOne": {"functions": range(1 << 5)},
    "FunctionGroupTwoF5F8": {"functions": range(1 << 4)},
    "FunctionGroupTwoF9F12": {"functions": range(1 << 4)},
    "BinaryStateLongForm": {"on": YES_NO, "state": range(32768)},
    "BinaryStateShortForm": {"on": YES_NO, "state": range(128)},
    "FunctionsF13F20": {"functions": BYTE},
    "FunctionsF21F28": {"functions": BYTE},
    "CvAccessShortForm": {"adjustment": ("acceleration", "deceleration"), "value": BYTE},
    "CvAccessLongForm": CV_BYTE,
    "CvBitManipulation": CV_BIT,
    "Idle": {},
    "FunctionsF29F36": {"functions": BYTE},
    "FunctionsF37F44": {"functions": BYTE},
    "FunctionsF45F52": {"functions": BYTE},
    "FunctionsF53F60": {"functions": BYTE},
    "FunctionsF61F68": {"functions": BYTE},
    "SpeedAndFunctionsF0F7": {**SPEED_128, "functions": BYTE},
    "SpeedAndFunctionsF0F15": {**SPEED_128, "functions": range(1 << 16)},
    "CvPairShortForm": {
        "pair": ("extended-address-17-18", "index-31-32", "consist-19-20"),
        "first": BYTE,
        "second": BYTE,
    },
    "ModelTime": {
        "minute": range(60),
        "weekday": range(8),
        "hour": range(24),
        "jumped": YES_NO,
        "factor": range(64),
    },
    "ModelDate": {"day": range(1, 32), "month": range(1, 13), "year": range(4096)},
    "SystemTime": {"time": range(1 << 16)},
    "BasicAccessory": {**BASIC, **PAIR},
    "BasicAccessoryBroadcast": {"address": (511,), **PAIR},
    "ExtendedAccessory": {**EXTENDED, "aspect": range(32)},
    "ExtendedAccessoryNem672": {**EXTENDED, "aspect": BYTE},
    "AbsoluteStop": EXTENDED,
    "ExtendedAccessoryBroadcast": {"address": (2047,), "aspect": range(32)},
    "ExtendedCvRead": {"sequence": range(4), "cv_address": range(1 << 24)},
    "BasicAccessoryCvAccess": {**BASIC, "output": OUTPUTS, **CV_BYTE},
    "BasicAccessoryCvBitManipulation": {**BASIC, "output": OUTPUTS, **CV_BIT},
    "ExtendedAccessoryCvAccess": {**EXTENDED, **CV_BYTE},
    "ExtendedAccessoryCvBitManipulation": {**EXTENDED, **CV_BIT},
    "LegacyAccessoryCvAccess": {**BASIC, "cv": CV_NUMBERS, "value": BYTE},
    "AccessoryNoOperation": {**EXTENDED, "extended": YES_NO},
}
IN_ACCESSORY_PACKETS = {name for name, fields in LEGAL.items() if "address" in fields}
DRAWS = 100

every_type = pytest.mark.parametrize("name", TWINS)


def drawn(name: str, draws: int, seed: str = "") -> Iterator[dict[str, Any]]:
    """The lowest values, the highest, then seeded draws."""
    legal = LEGAL[name]
    yield {field: values[0] for field, values in legal.items()}
    yield {field: values[-1] for field, values in legal.items()}
    random = Random(name + seed)
    for _ in range(draws):
        yield {field: random.choice(values) for field, values in legal.items()}


def hyphenated(choice: Enum) -> str:
    return choice.name.lower().replace("_", "-")


def instance(name: str, fields: dict[str, Any]) -> Any:
    """The library's value of these fields; the address belongs to its packet."""
    cls = getattr(dccwire, name)
    hints = get_type_hints(cls)
    given = {field: value for field, value in fields.items() if field != "address"}
    for field, value in given.items():
        if isinstance(value, str):
            (given[field],) = (one for one in hints[field] if hyphenated(one) == value)
    return cls(**given)


def packet_of(name: str, fields: dict[str, Any]) -> dccwire.Packet:
    one = instance(name, fields)
    if name in IN_ACCESSORY_PACKETS:
        return dccwire.Packet(one.format.address(fields["address"]), one)
    if opening(name) == b"\x00":
        return dccwire.Packet(dccwire.BROADCAST, one)
    return dccwire.Packet(dccwire.IDLE if name == "Idle" else dccwire.ShortAddress(3), one)


def own_bytes(packet: dccwire.Packet) -> bytes:
    """What a twin describes: without error byte; of an accessory packet, all the rest."""
    whole = bytes(packet)[:-1]
    return whole if "accessory" in packet.address.kind else whole[1:]


def plain(one: Any, address: Any) -> dict[str, Any]:
    """An instruction's fields as the twins have them; `address` is its packet's."""
    fields = {field.name: getattr(one, field.name) for field in fields_of(one)}
    if "accessory" in address.kind:
        fields["address"] = address.number
    return {k: hyphenated(v) if isinstance(v, Enum) else v for k, v in fields.items()}


def of_container(container: Container) -> dict[str, Any]:
    return {k: v for k, v in container.items() if not k.startswith("_")}


def same(ours: dict[str, Any], theirs: dict[str, Any]) -> bool:
    """Equal with equal types: a yes is not a 1."""
    return ours == theirs and all(type(ours[k]) is type(theirs[k]) for k in ours)


def closed(body: bytes) -> bytes:
    return body + bytes((error_byte(body),))


def seen_as(data: bytes) -> dict[str, dict[str, Any]]:
    """The types that a packet of one instruction decodes into, its named readings included."""
    packet = dccwire.decode(data)
    ones = packet.instructions if len(packet.instructions) == 1 else ()
    seen = {type(one).__name__: plain(one, packet.address) for one in ones}
    for one in (reading.instruction for reading in dccwire.readings(packet)):
        address = packet.address
        if address.kind == "accessory-byte":  # aspects above 31: only NEM 672 says whose they are
            address = one.format.take_address(int.from_bytes(data[:-1]))
        seen[type(one).__name__] = plain(one, address)
    return seen


def parsed(name: str, body: bytes) -> dict[str, Any] | None:
    try:
        return of_container(TWINS[name].parse(body))
    except ConstructError:
        return None


def test_every_type_of_operations_mode_has_a_twin() -> None:
    rooms = ("dccwire.instructions.", "dccwire.accessory")
    types = {form.cls for form in FORMATS if form.cls.__module__.startswith(rooms)}
    assert {cls.__name__ for cls in types} == set(TWINS) == set(LEGAL)


@every_type
def test_twin_and_class_give_the_same_bytes_and_fields(name: str) -> None:
    for fields in drawn(name, DRAWS):
        packet = packet_of(name, fields)
        body = own_bytes(packet)
        assert TWINS[name].build(fields) == body, fields
        assert same(of_container(TWINS[name].parse(body)), fields), body.hex(" ")


@every_type
def test_what_the_twin_builds_decodes_into_the_type(name: str) -> None:
    for fields in drawn(name, DRAWS):
        packet = packet_of(name, fields)
        decoded = dccwire.decode(bytes(packet))
        ones = decoded.instructions
        ones += tuple(reading.instruction for reading in dccwire.readings(decoded))
        assert instance(name, fields) in ones, bytes(packet).hex(" ")


@every_type
def test_the_last_place_is_asked_for_where_the_twins_ask(name: str) -> None:
    form = getattr(dccwire, name).format
    assert bool(form.reading) is (name in READINGS)
    assert form.reading or form.ends is (name in FINAL or name in ACCESSORY)


@every_type
def test_the_generated_construct_builds_and_parses_the_same_bytes(name: str) -> None:
    form = getattr(dccwire, name).format
    generated = form.construct()
    numbers: dict[tuple[str, Any], set[int]] = {}
    for fields in drawn(name, DRAWS):
        body = TWINS[name].build(fields)
        raw = of_container(generated.parse(body))
        assert generated.build(raw) == body, fields
        assert set(raw) | {"address"} == set(fields) | {"address"}
        for field, number in raw.items():
            assert type(number) is int
            numbers.setdefault((field, fields[field]), set()).add(number)
            if type(fields[field]) is int and LEGAL[name][field] is not OUTPUTS:
                assert number == fields[field], (field, body.hex(" "))
    assert all(len(one) == 1 for one in numbers.values()), "one number for each value"
    by_number = {(field, *number) for (field, _), number in numbers.items()}
    assert len(by_number) == len(numbers), "one value for each number"


def opening(name: str) -> bytes:
    """An address byte in front of the type's own bytes; an accessory's are its own."""
    if name in IN_ACCESSORY_PACKETS:
        return b""
    if name in IN_BROADCASTS or name in {"Reset", "BroadcastStop"}:
        return b"\x00"
    return b"\xff" if name == "Idle" else b"\x03"


@cache
def all_seen(size: int, first: bytes) -> dict[str, dict[bytes, dict[str, Any]]]:
    """For each type the byte strings of `size` that the library sees as it, with the fields."""
    found: dict[str, dict[bytes, dict[str, Any]]] = {}
    for number in range(256**size):
        body = number.to_bytes(size)
        for name, fields in seen_as(closed(first + body)).items():
            found.setdefault(name, {})[body] = fields
    return found


def read_or_refused_alike(name: str, body: bytes, ours: dict[str, Any] | None) -> bool:
    theirs = parsed(name, body)
    if theirs is None or ours is None:
        return theirs is ours
    return same(theirs, ours)


@pytest.mark.parametrize(
    ("name", "size"), [(name, size) for name in TWINS if (size := TWINS[name].sizeof()) <= 2]
)
def test_every_byte_string_is_read_or_refused_alike(name: str, size: int) -> None:
    seen = all_seen(size, opening(name))[name]
    for number in range(256**size):
        body = number.to_bytes(size)
        assert read_or_refused_alike(name, body, seen.get(body)), body.hex(" ")


@every_type
def test_one_flipped_bit_is_read_or_refused_alike(name: str) -> None:
    """What the exhaustive run does for one and two bytes, around legal values of all types."""
    for fields in drawn(name, 8, "flipped"):
        legal = TWINS[name].build(fields)
        for bit in range(8 * len(legal)):
            body = (int.from_bytes(legal) ^ 1 << bit).to_bytes(len(legal))
            if opening(name) or 128 <= body[0] < 192:
                ours = seen_as(closed(opening(name) + body)).get(name)
                assert read_or_refused_alike(name, body, ours), body.hex(" ")


def by_library(data: bytes) -> list[Any] | None:
    """Address and instructions, None if anything is kept as it stands."""
    packet = dccwire.decode(data)
    if any(isinstance(one, Kept) for one in packet.instructions):
        return None
    found = [(type(one).__name__, plain(one, packet.address)) for one in packet.instructions]
    return [packet.address.kind, packet.address.number, *found]


def by_twins(data: bytes) -> list[Any] | None:
    try:
        packet = PACKET.parse(data)
    except ConstructError:
        return None
    inside = packet.body.value
    found = [(one.type, of_container(one.fields)) for one in inside.instructions]
    if packet.partition != "accessory":
        return [packet.partition, inside.number, *found]
    ((name, fields),) = found
    kind = "accessory" if LEGAL[name]["address"] == BASIC["address"] else "extended-accessory"
    return [kind, fields["address"], (name, fields)]


def mixed(random: Random) -> bytes:
    """A packet of an address and what fits behind it, of one kind or several, in any order."""
    if random.random() < 0.25:
        name = random.choice(sorted(IN_ACCESSORY_PACKETS))
        return closed(TWINS[name].build(random_fields(name, random)))
    long = 0xC000 | random.randrange(10240)
    body = random.choice((b"\x00", bytes((random.randrange(1, 128),)), long.to_bytes(2)))
    names = [name for name in TWINS if name not in IN_ACCESSORY_PACKETS]
    for _ in range(random.randrange(1, 4)):
        name = random.choice(names)
        more = TWINS[name].build(random_fields(name, random))
        if len(body + more) <= 5:
            body += more
    return closed(body) if len(body) > 1 else mixed(random)


def random_fields(name: str, random: Random) -> dict[str, Any]:
    return {field: random.choice(values) for field, values in LEGAL[name].items()}


def test_whole_packets_of_mixed_instructions_read_alike() -> None:
    random = Random("mixed")
    read, types = 0, set()
    for _ in range(4000):
        data = mixed(random)
        ours = by_library(data)
        assert by_twins(data) == ours, data.hex(" ")
        if ours is not None:
            read += 1
            types |= {name for name, _ in ours[2:]}
    assert read > 2000
    assert types == set(TWINS) - set(READINGS) - {"Idle"}


def test_random_packets_are_read_or_refused_alike() -> None:
    random = Random("bytes")
    read = 0
    for _ in range(4000):
        data = closed(random.randbytes(random.randrange(2, 6)))
        ours = by_library(data)
        assert by_twins(data) == ours, data.hex(" ")
        read += ours is not None
    assert 400 < read < 3600


def test_the_packet_grammar_refuses_a_wrong_error_byte_and_a_wrong_length() -> None:
    idle = bytes.fromhex("FF 00 FF")
    assert by_twins(idle) == by_library(idle) == ["idle", 255, ("Idle", {})]
    for wrong in ("FF 00 FE", "03 03", "03 64 64 64 64 64 67", "E8 00 E8"):
        assert by_twins(bytes.fromhex(wrong)) is None
