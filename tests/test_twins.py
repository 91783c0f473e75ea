"""The library against the hand-written twins: same bytes, same fields, same refusals."""

from functools import cache
from random import Random
from typing import Any, get_type_hints

import pytest

import dccwire
import twins
from dccwire import Mode
from dccwire.formats import FORMATS
from legal_values import LEGAL, OUTPUTS, drawn
from refusals import refused
from twin_harness import (
    IN_ACCESSORY_PACKETS,
    LAST,
    READINGS,
    TWINS,
    by_library,
    by_twins,
    closed,
    instance,
    mode_of,
    of_container,
    opening,
    packet_of,
    parsed,
    same,
    seen_as,
)

every_type = pytest.mark.parametrize("name", TWINS)


def test_every_type_has_a_twin() -> None:
    """No format goes without one, and every field has its legal values typed in."""
    assert {form.cls.__name__ for form in FORMATS} == set(TWINS) == set(LEGAL)


@every_type
def test_twin_and_class_give_the_same_bytes_and_fields(name: str) -> None:
    """What the class encodes is what the twin builds, and the twin reads the fields back."""
    for fields in drawn(name):
        body = TWINS[name].build(fields)
        assert bytes(packet_of(name, fields)) == closed(opening(name) + body), fields
        assert same(of_container(TWINS[name].parse(body)), fields), body.hex(" ")


@every_type
def test_what_the_twin_builds_decodes_into_the_type(name: str) -> None:
    """As the packet's instruction, or as the named reading of it."""
    for fields in drawn(name):
        data = closed(opening(name) + TWINS[name].build(fields))
        packet = dccwire.decode(data, mode=mode_of(name))
        ones = packet.instructions
        if name in READINGS:
            ones = tuple(reading.instruction for reading in dccwire.readings(packet))
        assert instance(name, fields) in ones, data.hex(" ")
        assert packet == packet_of(name, fields)


NUMBERS = {
    (name, field): values
    for name, legal in LEGAL.items()
    for field, values in legal.items()
    if isinstance(values, range) and field != "address"
}


def test_whole_numbers_are_those_with_a_range() -> None:
    """Every other field has its values typed in one by one."""
    found = {
        (name, field)
        for name, legal in LEGAL.items()
        for field, hint in get_type_hints(getattr(dccwire, name)).items()
        if hint is int and legal[field] != (1,)
    }
    assert found == set(NUMBERS)


@pytest.mark.parametrize(("name", "field"), NUMBERS)
def test_what_the_twin_cannot_hold_the_class_refuses(name: str, field: str) -> None:
    """One below the lowest and one above the highest of each number."""
    values = NUMBERS[name, field]
    for odd in (values[0] - 1, values[-1] + 1):
        with refused(dccwire.FieldError, field=field, value=odd):
            instance(name, next(drawn(name)) | {field: odd})


@every_type
def test_the_last_place_is_asked_for_where_the_twins_ask(name: str) -> None:
    """Where only the error byte can follow, and which types are readings by name."""
    form = getattr(dccwire, name).format
    assert bool(form.reading) is (name in READINGS)
    assert form.reading or form.ends is (name in LAST)


@every_type
def test_the_generated_construct_builds_and_parses_the_same_bytes(name: str) -> None:
    """What a format offers as a construct object agrees with the twin, number by number."""
    generated = getattr(dccwire, name).format.construct()
    numbers: dict[tuple[str, Any], set[int]] = {}
    for fields in drawn(name):
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


@cache
def all_seen(size: int, first: bytes) -> dict[str, dict[bytes, dict[str, Any]]]:
    """For each type the byte strings of `size` that the library sees as it, with the fields."""
    found: dict[str, dict[bytes, dict[str, Any]]] = {}
    for number in range(256**size):
        body = number.to_bytes(size)
        for name, fields in seen_as(closed(first + body), Mode.OPERATIONS).items():
            found.setdefault(name, {})[body] = fields
    return found


def read_or_refused_alike(name: str, body: bytes, ours: dict[str, Any] | None) -> bool:
    theirs = parsed(name, body)
    if theirs is None or ours is None:
        return theirs is ours
    return same(theirs, ours)


@pytest.mark.parametrize(
    ("name", "size"),
    [(name, size) for name in twins.TWINS if (size := TWINS[name].sizeof()) <= 2],
)
def test_every_byte_string_is_read_or_refused_alike(name: str, size: int) -> None:
    """All strings of one or two bytes, for each type of operations mode that has this size."""
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
            ours = seen_as(closed(opening(name) + body), mode_of(name)).get(name)
            assert read_or_refused_alike(name, body, ours), body.hex(" ")


def mixed(random: Random) -> bytes:
    """A packet of an address and what fits behind it, of one kind or several, in any order."""
    if random.random() < 0.25:
        name = random.choice(sorted(IN_ACCESSORY_PACKETS))
        return closed(TWINS[name].build(random_fields(name, random)))
    long = 0xC000 | random.randrange(10240)
    body = random.choice((b"\x00", bytes((random.randrange(1, 128),)), long.to_bytes(2)))
    names = [name for name in twins.TWINS if name not in IN_ACCESSORY_PACKETS]
    for _ in range(random.randrange(1, 4)):
        name = random.choice(names)
        more = TWINS[name].build(random_fields(name, random))
        if len(body + more) <= 5:
            body += more
    return closed(body) if len(body) > 1 else mixed(random)


def random_fields(name: str, random: Random) -> dict[str, Any]:
    return {field: random.choice(values) for field, values in LEGAL[name].items()}


def test_whole_packets_of_mixed_instructions_read_alike() -> None:
    """Several instructions behind one address, in any order."""
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
    assert types == set(twins.TWINS) - set(twins.READINGS) - {"Idle"}


def test_random_packets_are_read_or_refused_alike() -> None:
    """Any bytes with the right error byte."""
    random = Random("bytes")
    read = 0
    for _ in range(4000):
        data = closed(random.randbytes(random.randrange(2, 6)))
        ours = by_library(data)
        assert by_twins(data) == ours, data.hex(" ")
        read += ours is not None
    assert 400 < read < 3600


def test_the_packet_grammar_refuses_a_wrong_error_byte_and_a_wrong_length() -> None:
    """The twin of whole packets is no looser than `decode`."""
    idle = bytes.fromhex("FF 00 FF")
    assert by_twins(idle) == by_library(idle) == ["idle", 255, ("Idle", {})]
    for wrong in ("FF 00 FE", "03 03", "03 64 64 64 64 64 67", "E8 00 E8"):
        assert by_twins(bytes.fromhex(wrong)) is None
