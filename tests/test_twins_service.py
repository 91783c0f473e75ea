"""Service mode against the hand-written twins, packet by packet."""

from collections.abc import Iterator
from random import Random
from typing import Any

import pytest

import dccwire
from dccwire import Mode
from refusals import refused
from twin_harness import by_library, by_twins, closed, parsed, plain
from twins_service import READINGS, SERVICE_TWINS, announced

# The names by which the readings are asked for, in the order in which they are listed.
NAMES = {
    "AddressOnlyAccess": "address only",
    "PageRegisterAccess": "page register (paged mode)",
    "DataRegisterAccess": "data register (paged mode)",
    "PagePreset": "page preset",
    "DecoderFactoryReset": "decoder factory reset",
}
OF_NO_MODE = "as in operations mode"


def read_alike(data: bytes) -> list[Any] | None:
    """What library and twins read in service mode, after seeing that it is the same."""
    ours = by_library(data, Mode.SERVICE)
    assert ours == by_twins(data, Mode.SERVICE), data.hex(" ")
    return ours


def readings_by_twins(body: bytes) -> list[tuple[str, dict[str, Any]]]:
    """The named readings of a programming-track packet, in their order, without its error byte."""
    read = ((name, parsed(name, body)) for name in READINGS)
    return [(NAMES[name], fields) for name, fields in read if fields is not None]


def rebuilt(data: bytes) -> bytes:
    """The bytes of a packet of service mode built anew from its values."""
    packet = dccwire.decode(data, mode=Mode.SERVICE)
    assert packet.mode is Mode.SERVICE
    anew = dccwire.Packet(packet.address, *packet.instructions, mode=Mode.SERVICE)
    return dccwire.encode(anew)


def kept_as_in_operations_mode(data: bytes) -> bool:
    service, other = dccwire.decode(data, mode=Mode.SERVICE), dccwire.decode(data)
    return (service.address, service.instructions) == (other.address, other.instructions)


def test_every_register_packet_reads_alike_with_its_named_readings() -> None:
    """All 4,096 of 0111CRRR DDDDDDDD."""
    for number in range(0x7000, 0x8000):
        body = number.to_bytes(2)
        packet = dccwire.decode(closed(body), mode=Mode.SERVICE)
        read_alike(closed(body))
        ours = [
            (one.name, plain(one.instruction, packet.address)) for one in dccwire.readings(packet)
        ]
        assert ours == readings_by_twins(body), body.hex(" ")


def test_every_address_query_and_decoder_lock_reads_alike() -> None:
    """F9 behind every first byte, and every byte behind 00 F9 (X24, P12, P13)."""
    queries = [closed(bytes((first, 0xF9))) for first in range(256)]
    locks = [closed(bytes((0x00, 0xF9, one))) for one in range(256)]
    read: list[str] = []
    for data in queries + locks:
        ours = read_alike(data)
        read += [name for name, _ in (ours or [])[2:]]
    assert (read.count("AddressQuery"), read.count("DecoderLock")) == (111, 127)


def test_the_same_register_packets_in_operations_mode_have_no_service_types() -> None:
    """All 4,096 are packets to the short addresses 112 to 127 (C16, P10)."""
    for number in range(0x7000, 0x8000):
        data = closed(number.to_bytes(2))
        assert by_library(data) == by_twins(data), data.hex(" ")
        packet = dccwire.decode(data)
        assert packet.address == dccwire.ShortAddress(data[0])
        assert dccwire.readings(packet) == ()


def direct_bodies(step: int) -> Iterator[bytes]:
    """0111CCAA AAAAAAAA DDDDDDDD; a prime step meets every CC and every top of the third byte."""
    for number in range(0x700000, 0x800000, step):
        yield number.to_bytes(3)


def test_direct_packets_read_alike_or_keep_all_their_bytes() -> None:
    """CC = 00 (P4) and bit data other than 111 are kept whole, at the programming track."""
    kept = 0
    for body in direct_bodies(241):
        data = closed(body)
        ours = read_alike(data)
        if ours is None:
            kept += 1
            packet = dccwire.decode(data, mode=Mode.SERVICE)
            assert packet.address == dccwire.PROGRAMMING_TRACK
            assert packet.instructions == (dccwire.Undefined(body),)
            assert dccwire.readings(packet) == ()
    assert 1900 < kept < 2200  # 15 in 32 of 4,351


def test_mixed_packets_of_service_mode_read_alike() -> None:
    """Any bytes, often with the openings that service mode looks for."""
    random = Random("service")
    read, types = 0, set()
    openings = (b"", b"\x00\xf9", b"\x03\xf9", b"\x00", b"\x70", b"\x7b", b"\x7f", b"\x03\x90\xf9")
    for _ in range(3000):
        body = random.choice(openings)
        body += random.randbytes(random.randrange(max(0, 2 - len(body)), 6 - len(body)))
        data = closed(body)
        ours = read_alike(data)
        if ours is not None:
            read += 1
            types |= {name for name, _ in ours[2:]}
    assert 600 < read < 2400
    assert set(SERVICE_TWINS) - set(READINGS) <= types


def test_every_packet_of_three_bytes_comes_out_as_it_went_in() -> None:
    """All 65,536, built anew from their values; what service mode does not claim stays as it is."""
    for number in range(1 << 16):
        data = closed(number.to_bytes(2))
        assert rebuilt(data) == data
        if announced(data) == OF_NO_MODE:
            assert kept_as_in_operations_mode(data), data.hex(" ")


def test_packets_of_four_bytes_come_out_as_they_went_in_sampled() -> None:
    """Every 61st of those that begin with 0111, all of 00 F9, every 1009th of the others."""
    locks = (bytes((0x00, 0xF9, one)) for one in range(256))
    others = (number.to_bytes(3) for number in range(0, 1 << 24, 1009))
    for body in (*direct_bodies(61), *locks, *others):
        data = closed(body)
        assert rebuilt(data) == data
        if announced(data) == OF_NO_MODE:
            assert kept_as_in_operations_mode(data), data.hex(" ")


def test_longer_packets_read_as_in_operations_mode() -> None:
    """Five and six bytes are no service mode packets, whatever they begin with (S-9.2.3 §E)."""
    random = Random("longer")
    for _ in range(2000):
        first = random.choice((0x00, 0x03, 0x70, 0x7F, random.randrange(256)))
        data = closed(bytes((first,)) + random.randbytes(random.randrange(3, 5)))
        assert rebuilt(data) == data
        assert kept_as_in_operations_mode(data), data.hex(" ")


SPEED = dccwire.SpeedAndDirection(forward=True, c=0, speed=4)
REGISTER = dccwire.RegisterAccess(dccwire.CvOperation.VERIFY, 1, 1)
HEADLIGHT = dccwire.FunctionGroupOne.on("FL")


@pytest.mark.parametrize(
    ("mode", "address", "instructions", "problem"),
    [
        # The types of service mode stand in no packet of operations mode (C16).
        (Mode.OPERATIONS, dccwire.PROGRAMMING_TRACK, (REGISTER,), "does not stand in"),
        (Mode.OPERATIONS, dccwire.ShortAddress(3), (dccwire.AddressQuery(),), "does not stand in"),
        (Mode.OPERATIONS, dccwire.BROADCAST, (dccwire.DecoderLock(3),), "does not stand in"),
        # Three and four bytes that begin with 0111 are for the programming track (P12).
        (Mode.SERVICE, dccwire.ShortAddress(112), (dccwire.AddressQuery(),), "a packet of 3 bytes"),
        (Mode.SERVICE, dccwire.ShortAddress(112), (SPEED,), "a packet of 3 bytes"),
        (
            Mode.SERVICE,
            dccwire.ShortAddress(127),
            (dccwire.SpeedStepControl128(True, 2),),
            "a packet of 4 bytes",
        ),
        (Mode.SERVICE, dccwire.ShortAddress(112), (REGISTER,), "cannot be sent to"),
        # S-9.2.3 Appendix A: addresses 1 to 111; Appendix B: to all.
        (Mode.SERVICE, dccwire.BROADCAST, (dccwire.AddressQuery(),), "cannot be sent to"),
        (Mode.SERVICE, dccwire.LongAddress(3), (dccwire.AddressQuery(),), "cannot be sent to"),
        (Mode.SERVICE, dccwire.ShortAddress(3), (dccwire.DecoderLock(3),), "cannot be sent to"),
        # Each is a whole packet, told by its length (X24).
        (Mode.SERVICE, dccwire.ShortAddress(3), (dccwire.AddressQuery(), HEADLIGHT), "the last"),
        (Mode.SERVICE, dccwire.ShortAddress(3), (HEADLIGHT, dccwire.AddressQuery()), "the only"),
        (Mode.SERVICE, dccwire.BROADCAST, (dccwire.DecoderLock(3), HEADLIGHT), "the last"),
        (Mode.SERVICE, dccwire.BROADCAST, (HEADLIGHT, dccwire.DecoderLock(3)), "the only"),
        (Mode.SERVICE, dccwire.PROGRAMMING_TRACK, (REGISTER, REGISTER), "the last"),
        (Mode.SERVICE, dccwire.PROGRAMMING_TRACK, (SPEED,), "cannot be sent to"),
        # Kept bytes of the programming track are whole packets of its own.
        (
            Mode.SERVICE,
            dccwire.PROGRAMMING_TRACK,
            (dccwire.Undefined(b"\x20\x1c\x26"),),
            "a packet of 4 bytes",
        ),
        (
            Mode.SERVICE,
            dccwire.PROGRAMMING_TRACK,
            (dccwire.Undefined(b"\x70\x1c\x26\x01"),),
            "a packet of 5 bytes",
        ),
    ],
)
def test_what_makes_no_packet_is_refused(
    mode: Mode,
    address: dccwire.Address,
    instructions: tuple[dccwire.Instruction, ...],
    problem: str,
) -> None:
    """Bytes that would be read as something else are not built."""
    with refused(dccwire.PacketError, match=problem):
        dccwire.Packet(address, *instructions, mode=mode)
