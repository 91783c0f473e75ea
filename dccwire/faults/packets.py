"""Faults of single packets and of packets near each other: a line each. Room: declarations."""

from __future__ import annotations

from dccwire.faults.planting import Planting, Send, altered, declare, every, inserted
from dccwire.signal import Timing
from dccwire.synthesis import Sending

_IDLE = "preamble=16 | FF 00 FF"


def _sent(*lines: str) -> Send:
    """Between idle packets, which keep 5 ms to what else goes to the same address (S-9.2 §C)."""
    return inserted(_IDLE, *(one if "|" in one else f"preamble=16 | {one}" for one in lines), _IDLE)


def _halves(*halves: tuple[int, int]) -> Send:
    return altered(other_halves=halves)


def _ones(one: int, last: int) -> Send:
    """All ones with halves of such lengths."""
    return every(lambda sent: Sending(sent.data, sent.preamble, Timing(one, one_last=last)))


# Half-bits -2 and -1 are the last 1 of the preamble, 0 and 1 the packet start bit, which is a 0.
declare(
    Planting("short-half", "a half of a 1 of 53 us", 1, send=_halves((-1, 53_000))),
    Planting("long-half", "a half of a 1 of 63 us", 1, send=_halves((-2, 63_000))),
    Planting(
        "unlike-halves",
        "a 1 whose halves differ by 5 us",
        2,
        send=_halves((-2, 60_500), (-1, 55_500)),
    ),
    Planting("short-zero", "a half of a 0 of 93 us", 3, send=_halves((0, 93_000))),
    Planting("long-zero", "a half of a 0 of 9950 us", 3, send=_halves((1, 9_950_000))),
    Planting(
        "overstretched-zero",
        "a stretched 0 of 12.5 ms in all",
        4,
        send=_halves((0, 6_250_000), (1, 6_250_000)),
    ),
    Planting("half-of-neither", "a half of a bit of 76 us", 5, send=_halves((0, 76_000))),
    Planting(
        "means-apart",
        "first halves of ones 2 us longer than the last ones",
        6,
        send=_ones(59_000, 57_000),
        everywhere=True,
    ),
    Planting("unequal-zero", "a 0 of 100 and 130 us", 7, send=_halves((1, 130_000))),
    Planting(
        "silence-within", "12 ms without an edge in a packet", 13, send=_halves((1, 12_000_000))
    ),
    Planting("short-preamble", "12 ones before a packet", 14, send=altered(preamble=12)),
    Planting("no-preamble", "no ones before a packet", 14, send=altered(preamble=0)),
    Planting(
        "missing-start-bit", "a 1 for the start bit of the second byte", 15, send=altered(flip=9)
    ),
    Planting(
        "missing-end-bit",
        "a 0 for the packet end bit",
        15,
        send=altered(flip=lambda sent: 9 * len(sent.data)),
    ),
    Planting("flipped-bit", "one bit of the first byte inverted", 16, send=altered(flip=5)),
    Planting(
        "wrong-error-byte",
        "an error byte that is not the exclusive OR",
        16,
        send=altered(data=lambda sent: sent.data[:-1] + bytes([sent.data[-1] ^ 0x5A])),
    ),
    Planting("broadcast-unknown", "first byte 0 in no defined packet", 18, send=_sent("00 20 20")),
    Planting(
        "idle-with-data", "first byte 255 with a second byte of 116", 19, send=_sent("FF 74 8B")
    ),
    Planting("reset", "a reset of all decoders", 20, send=_sent("00 00 00")),
    Planting(
        "early-behind-reset",
        "a packet to 100 right behind a reset of all decoders",
        21,
        send=_sent("00 00 00", "64 60 04"),
    ),
    Planting(
        "31-ms-apart",
        "31 ms of ones between two packets, where 30 are promised",
        22,
        send=_sent("preamble=268 | FF 00 FF"),
        session="every_30_ms = true",
    ),
    Planting(
        "repeat-112",
        "a packet to 112 again within 5 ms",
        23,
        send=_sent("70 60 10", "70 60 10"),
    ),
    Planting(
        "repeat",
        "a packet to one address again within 5 ms",
        24,
        send=_sent("09 60 69", "09 60 69"),
    ),
    Planting("seven-bytes", "a packet of seven bytes", 27, send=_sent("09 64 80 90 A0 B0 6D")),
    Planting("two-bytes", "a packet of two bytes", 27, send=_sent("09 09")),
    Planting("reserved-address", "first byte 232", 28, send=_sent("E8 60 88")),
    Planting(
        "half-a-long-address", "a long address and nothing behind it", 29, send=_sent("C3 60 A3")
    ),
    Planting(
        "reserved-instruction", "an instruction of a reserved code", 30, send=_sent("09 04 0D")
    ),
    Planting(
        "consist-bit",
        "consist control with bit 7 of its second byte",
        31,
        send=_sent("09 12 C9 D2"),
    ),
    Planting(
        "flags-bit",
        "set decoder flags with bit 3 of its second byte",
        32,
        send=_sent("09 07 08 06"),
    ),
    Planting(
        "analog-output", "analog function group with output 2", 33, send=_sent("09 3D 02 64 52")
    ),
    Planting(
        "bit-manipulation-bits",
        "bit manipulation whose data does not open with 111",
        34,
        send=_sent("09 E8 07 C5 23", _IDLE, "09 E8 07 C5 23"),
    ),
    Planting(
        "two-of-control", "two instructions of group 000 in a packet", 35, send=_sent("09 00 0E 07")
    ),
    Planting(
        "two-of-speed",
        "two instructions of group 001 in a packet",
        36,
        send=_sent("09 3F 85 3E 05 88"),
    ),
    Planting(
        "two-of-cv-access",
        "two instructions of group 111 in a packet",
        37,
        send=_sent("09 F2 05 F3 05 08"),
    ),
    Planting(
        "early-behind-decoder-reset",
        "a packet to 112 right behind the reset of a decoder",
        38,
        send=_sent("09 00 09", "70 60 10"),
    ),
    Planting(
        "factory-test",
        "a factory test in operation",
        39,
        send=_sent("09 02 0B"),
        session="factory = false",
    ),
    Planting(
        "long-binary-state", "binary state 1 in the long form", 40, send=_sent("09 C0 81 00 48")
    ),
    Planting(
        "lone-change",
        "F13 to F20 changed, and sent once",
        41,
        send=_sent("09 DE 00 D7", _IDLE, "09 DE 01 D6"),
    ),
    Planting(
        "lone-write",
        "a CV write in operation, and no second one",
        42,
        send=_sent("09 60 69", _IDLE, "09 EC 02 05 E2", _IDLE, "09 60 69"),
        session="consists = []",
    ),
    Planting(
        "31-ms-around-cv-access",
        "31 ms of ones before CV access, where 30 are promised",
        43,
        send=_sent("preamble=268 | 09 EC 02 05 E2", _IDLE, "09 EC 02 05 E2"),
        session="every_30_ms = true",
    ),
    Planting(
        "cv-access-to-consist",
        "CV access in the long form to consist 100",
        44,
        send=_sent("64 EC 02 05 8F", _IDLE, "64 EC 02 05 8F"),
        session="consists = [100]",
    ),
    Planting(
        "accessory-output",
        "CV access of an accessory with output 0001",
        45,
        send=_sent("81 F1 EC 07 05 9E"),
    ),
    Planting(
        "accessory-bits",
        "an extended accessory packet with wrong bits",
        46,
        send=_sent("9F 72 05 E8"),
    ),
    Planting("accessory-broadcast", "a packet to all accessories", 47, send=_sent("BF 80 3F")),
    Planting(
        "old-accessory-cv", "CV access of the old form to CV 513", 48, send=_sent("81 7E 00 05 FA")
    ),
    Planting(
        "two-to-all", "two instructions in a packet to all decoders", 88, send=_sent("00 60 80 E0")
    ),
    Planting(
        "state-again",
        "a binary state sent again without a change",
        89,
        send=_sent("09 DD 81 55", _IDLE, "09 DD 81 55"),
    ),
    Planting(
        "flags-to-consist",
        "set decoder flags 1000 to consist 100",
        91,
        send=_sent("64 07 80 E3"),
        session="consists = [100]",
    ),
)
