"""An address and instructions to the bytes of a packet, and what does not go together.

Limits on which instructions may stand together are findings (`dccwire.inspection`), no refusals;
here only what would not read back as it was meant is refused. Room: addresses and formats.
"""

from dccwire.address import (
    ADDRESS_KINDS,
    Address,
    AnyAccessory,
    Mode,
    Partition,
    ProgrammingTrackAddress,
)
from dccwire.codebook import is_programming
from dccwire.errors import LengthError, PacketError
from dccwire.formats import Format, Kept, NamedReading, PacketPart
from dccwire.notation import address_text

SHORTEST, LONGEST = 3, 6
"""Bytes of a packet, the error byte included (S-9.2.1, introduction; C3)."""

_fitting: dict[tuple[object, ...], bool] = {}
"""Types found to go together, and whether they hold a reading: looked at once, as packets come in
millions."""


def assemble(
    address: Address, instructions: tuple[PacketPart, ...], mode: Mode
) -> tuple[bytes, bool]:
    """The packet's bytes but for its error byte, and whether they were given as a reading."""
    types = (type(address), mode, *map(type, instructions))
    if types not in _fitting:
        _check(address, instructions, mode)
        _fitting[types] = any(isinstance(one, NamedReading) for one in instructions)
    if isinstance(address, AnyAccessory):
        (one,) = instructions
        if "address" in one.format.layout.fields:
            word = one.format.word(one) | one.format.put_address(address.number)
            body = word.to_bytes(one.format.layout.size)
        elif address.broadcast:
            body = bytes(one)
        else:
            where = f"the broadcast, {address.kind} {address.bound[-1]}"
            raise _misdirected(one, address, where)
    else:
        body = address.header + b"".join(map(bytes, instructions))
    if not SHORTEST <= len(body) + 1 <= LONGEST:
        raise LengthError(len(body) + 1)
    if mode is Mode.SERVICE:
        programming = isinstance(address, ProgrammingTrackAddress)
        if is_programming(body + b"\0") is not programming:
            raise PacketError(
                f"a packet of {len(body) + 1} bytes to {address_text(address)} in service mode",
                "3 or 4 bytes from 112 to 127, and no others, go to the programming-track",
            )
    return body, _fitting[types]


def _check(address: Address, instructions: tuple[PacketPart, ...], mode: Mode) -> None:
    """Refuse what cannot go together by its types alone."""
    if type(address) not in ADDRESS_KINDS.values():
        raise PacketError(f"{address!r} is no address", "as in ShortAddress(3)")
    for one in instructions:
        if not isinstance(one, PacketPart):
            raise PacketError(f"{one!r} is no instruction", "one argument for each instruction")
    if isinstance(address, AnyAccessory):
        if len(instructions) != 1:
            problem = f"{len(instructions)} instructions for {address_text(address)}"
            raise PacketError(problem, "an accessory packet has exactly one")
        (one,) = instructions
        if isinstance(one, Kept):
            raise _misdirected(one, address, "an accessory-byte address")
        if one.format.address is not type(address):
            raise _misdirected(one, address, _goes_to(one.format))
        return
    for place, one in enumerate(instructions, 1):
        _check_one(address, one, mode, last=place == len(instructions))
        if isinstance(one, Kept) or len(instructions) == 1:
            continue
        if one.format.mode or isinstance(one, NamedReading):
            name = type(one).__name__
            raise PacketError(f"{name} must be the only instruction", "send it alone")
    if isinstance(address, ProgrammingTrackAddress) and mode is not Mode.SERVICE:
        problem = f"{address_text(address)} is no address in operations mode"
        raise PacketError(problem, "give mode=Mode.SERVICE")


def _check_one(address: Address, one: PacketPart, mode: Mode, *, last: bool) -> None:
    name = type(one).__name__
    ends = True
    if not isinstance(one, Kept):
        form, ends = one.format, one.format.ends
        if form.address or form.partitions.isdisjoint(address.partitions):
            raise _misdirected(one, address, _goes_to(form))
        if not form.stands_in(mode):
            raise PacketError(f"{name} does not stand in {mode.value} mode", "give the other mode")
    if ends and not last:
        raise PacketError(f"{name} must be the last instruction", "put it at the end")


def _misdirected(one: PacketPart, address: Address, where: str) -> PacketError:
    problem = f"{type(one).__name__} cannot be sent to {address_text(address)}"
    return PacketError(problem, f"its packets go to {where}")


def _goes_to(form: Format) -> str:
    if form.partitions == {Partition.PROGRAMMING}:
        return "the programming-track"
    names = sorted(partition.name.lower() for partition in form.partitions)
    return f"{form.address.kind if form.address else ' and '.join(names)} addresses"
