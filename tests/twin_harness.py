"""What holds the library against the hand-written twins, in both modes."""

from dataclasses import fields as fields_of
from enum import Enum
from typing import Any, get_type_hints

from construct import ConstructError, Container

import dccwire
import twins
import twins_service
from dccwire import Mode
from dccwire.formats import Kept
from legal_values import BASIC, LEGAL

TWINS = twins.TWINS | twins_service.SERVICE_TWINS
READINGS = twins.READINGS | twins_service.READINGS
LAST = twins.FINAL | set(twins.ACCESSORY) | set(twins_service.SERVICE_TWINS)
"""Types that only the error byte can follow."""

IN_ACCESSORY_PACKETS = {name for name, fields in LEGAL.items() if "address" in fields}
WITH_ADDRESS = {"AddressQuery", "DecoderLock"}
ON_TRACK = set(twins_service.SERVICE_TWINS) - WITH_ADDRESS
TO_ALL = set(twins.IN_BROADCASTS) | {"Reset", "BroadcastStop", "DecoderLock"}


def mode_of(name: str) -> Mode:
    return Mode.SERVICE if name in twins_service.SERVICE_TWINS else Mode.OPERATIONS


def opening(name: str) -> bytes:
    """The address byte in front of a type's own bytes, where they are not the whole packet."""
    if name in IN_ACCESSORY_PACKETS | ON_TRACK:
        return b""
    if name in TO_ALL:
        return b"\x00"
    return b"\xff" if name == "Idle" else b"\x03"


def closed(body: bytes) -> bytes:
    """Bytes with their error byte."""
    return body + bytes((twins.error_byte(body),))


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
    """The library's packet of one instruction."""
    one = instance(name, fields)
    if name in IN_ACCESSORY_PACKETS:
        return dccwire.Packet(one.format.address(fields["address"]), one)
    address: Any = {
        b"": dccwire.PROGRAMMING_TRACK,
        b"\x00": dccwire.BROADCAST,
        b"\x03": dccwire.ShortAddress(3),
        b"\xff": dccwire.IDLE,
    }[opening(name)]
    return dccwire.Packet(address, one, mode=mode_of(name))


def hyphenated(choice: Enum) -> str:
    return choice.name.lower().replace("_", "-")


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


def parsed(name: str, body: bytes) -> dict[str, Any] | None:
    """The fields that a type's twin reads, None if it refuses."""
    try:
        return of_container(TWINS[name].parse(body))
    except ConstructError:
        return None


def seen_as(data: bytes, mode: Mode) -> dict[str, dict[str, Any]]:
    """The types that a packet of one instruction decodes into, its named readings included."""
    packet = dccwire.decode(data, mode=mode)
    ones = packet.instructions if len(packet.instructions) == 1 else ()
    seen = {type(one).__name__: plain(one, packet.address) for one in ones}
    for one in (reading.instruction for reading in dccwire.readings(packet)):
        address = packet.address
        if address.kind == "accessory-byte":  # aspects above 31: only NEM 672 says whose they are
            address = one.format.take_address(int.from_bytes(data[:-1]))
        seen[type(one).__name__] = plain(one, address)
    return seen


def by_library(data: bytes, mode: Mode = Mode.OPERATIONS) -> list[Any] | None:
    """Address and instructions, None if anything is kept as it stands."""
    packet = dccwire.decode(data, mode=mode)
    if any(isinstance(one, Kept) for one in packet.instructions):
        return None
    found = [(type(one).__name__, plain(one, packet.address)) for one in packet.instructions]
    return [packet.address.kind, packet.address.number, *found]


def by_twins(data: bytes, mode: Mode = Mode.OPERATIONS) -> list[Any] | None:
    """The same as the whole packet's grammar reads it."""
    grammar = twins_service.SERVICE_PACKET if mode is Mode.SERVICE else twins.PACKET
    try:
        packet = grammar.parse(data)
    except ConstructError:
        return None
    inside = packet.body.value
    found = [(one.type, of_container(one.fields)) for one in inside.instructions]
    if packet.partition != "accessory":
        return [packet.partition, inside.number, *found]
    ((name, fields),) = found
    kind = "accessory" if LEGAL[name]["address"] == BASIC["address"] else "extended-accessory"
    return [kind, fields["address"], (name, fields)]
