"""Faults of single packets, and of packets near each other, a line each. Room: declarations."""

from __future__ import annotations

from dataclasses import replace

from dccwire.faults.planting import Planting, Send, altered, declare, every, inserted
from dccwire.synthesis import Sending


def _halves(*halves: tuple[int, int]) -> Send:
    """Half-bits of other lengths, in ns, added to those that a packet has already."""
    return altered(other_halves=lambda sent: sent.other_halves + halves)


def _means_apart(sent: Sending) -> Sending:
    return replace(sent, timing=replace(sent.timing, one=59_000, one_last=57_000))


def _end_bit(sent: Sending) -> int:
    return 9 * len(sent.data)


def _wrong(sent: Sending) -> bytes:
    return bytes([*sent.data[:-1], sent.data[-1] ^ 0x5A])


# Half-bits -2 and -1 are the last 1 of the preamble, 0 and 1 the packet start bit, which is a 0.
_ALTERED = [
    ("short-half", 1, "a half of a 1 of 53 us", _halves((-1, 53_000))),
    ("long-half", 1, "a half of a 1 of 63 us", _halves((-2, 63_000))),
    ("unlike-halves", 2, "a 1 whose halves differ by 5 us", _halves((-2, 60_500), (-1, 55_500))),
    ("short-zero", 3, "a half of a 0 of 93 us", _halves((0, 93_000))),
    ("long-zero", 3, "a half of a 0 of 9950 us", _halves((1, 9_950_000))),
    ("overstretched-zero", 4, "a 0 of 12.5 ms in all", _halves((0, 6_250_000), (1, 6_250_000))),
    ("half-of-neither", 5, "a half of a bit of 76 us", _halves((0, 76_000))),
    ("unequal-zero", 7, "a 0 of 100 and 130 us", _halves((1, 130_000))),
    (
        "silence-within",
        13,
        "12 ms without an edge in a packet: undecided",
        _halves((1, 12_000_000)),
    ),
    ("short-preamble", 14, "12 ones before a packet", altered(preamble=12)),
    ("no-preamble", 14, "no ones before a packet", altered(preamble=0)),
    ("missing-start-bit", 15, "a 1 for the start bit of the second byte", altered(flip=9)),
    ("missing-end-bit", 15, "a 0 for the packet end bit", altered(flip=_end_bit)),
    ("flipped-bit", 16, "one bit of the first byte inverted", altered(flip=5)),
    ("wrong-error-byte", 16, "an error byte that is not the exclusive OR", altered(data=_wrong)),
]
"""Name, the rule that it breaks, what it is, and what becomes of a packet."""

_SENT = [
    ("broadcast-unknown", 18, "first byte 0 in no defined packet", "002020"),
    ("first-byte-254", 18, "first byte 254: undecided", "FE0102FD"),
    ("idle-with-data", 19, "first byte 255 with a second byte of 116", "FF748B"),
    ("reset", 20, "a reset of all decoders", "000000"),
    ("early-behind-reset", 21, "a packet to 100 right behind a reset of all", "000000, 646004"),
    ("31-ms-apart", 22, "31 ms of ones where a packet each 30 is promised", "FF00FF preamble=268"),
    ("31-ms-silent", 22, "31 ms of silence where a packet each 30 is promised", "FF00FF gap=31"),
    ("repeat-112", 23, "a packet to 112 again within 5 ms", "706010, 706010"),
    ("repeat", 24, "a packet to one address again within 5 ms", "096069, 096069"),
    ("seven-bytes", 27, "a packet of seven bytes", "09648090A0B06D"),
    ("two-bytes", 27, "a packet of two bytes", "0909"),
    ("reserved-address", 28, "first byte 232", "E86088"),
    ("half-a-long-address", 29, "a long address and nothing behind it", "C360A3"),
    ("reserved-instruction", 30, "an instruction of a reserved code", "09040D"),
    ("consist-bit", 31, "consist control with bit 7 of its second byte", "0912C9D2"),
    ("flags-bit", 32, "set decoder flags with bit 3 of its second byte", "09070806"),
    ("analog-output", 33, "analog function group with output 2", "093D026452"),
    ("bit-manipulation-bits", 34, "bit manipulation of data that does not open with 111",
     "09E807C523, idle, 09E807C523"),
    ("two-of-control", 35, "a packet with two of group 000", "09000A03"),
    ("two-of-speed", 36, "a packet with two of group 001", "093F853E0588"),
    ("two-of-cv-access", 37, "a packet with two of group 111", "09F205F30508"),
    ("early-behind-decoder-reset", 38, "a packet to 112 right behind the reset of a decoder",
     "090009, 706010"),
    ("factory-test", 39, "a factory test in operation", "09020B"),
    ("long-binary-state", 40, "binary state 1 in the long form", "09C0810048"),
    ("lone-change", 41, "F13 to F20 changed, and sent once: undecided",
     "09DE00D7, idle, 09DE01D6"),
    ("lone-write", 42, "a CV write in operation, and no second one",
     "096069, idle, 09EC0205E2, idle, 096069"),
    ("31-ms-around-cv-access", 43, "31 ms of ones where CV access each 30 is promised",
     "09EC0205E2 preamble=268, idle, 09EC0205E2"),
    ("cv-access-to-consist", 44, "CV access in the long form to consist 100",
     "64EC02058F, idle, 64EC02058F"),
    ("accessory-output", 45, "CV access of an accessory with output 0001: undecided",
     "81F1EC07059E"),
    ("accessory-bits", 46, "an extended accessory packet with wrong bits", "9F7205E8"),
    ("accessory-broadcast", 47, "a packet to all accessories", "BF803F"),
    ("old-accessory-cv", 48, "CV access of the old form to CV 513", "817E0005FA"),
    ("two-to-all", 88, "two instructions in a packet to all decoders", "006080E0"),
    ("state-again", 89, "a binary state sent again without a change", "09DD8155, idle, 09DD8155"),
    ("flags-to-consist", 91, "set decoder flags 1000 to consist 100", "640780E3"),
]  # fmt: skip
"""Name, the rule that it breaks, what it is, and what is sent, with options of plans perhaps."""

_SESSIONS = {
    22: "every_30_ms = true\npower_on_s = []",
    39: "factory = false",
    42: "consists = []",
    43: "every_30_ms = true",
    44: "consists = [100]",
    91: "consists = [100]",
}
"""What a session must say, by the rule."""


def _sent(packets: str) -> Send:
    """Between idle packets, which keep 5 ms to what else goes to the same address (S-9.2 §C)."""
    lines = []
    for packet in f"idle, {packets}, idle".split(", "):
        data, *options = packet.split()
        data = "FF00FF" if data == "idle" else data
        lines.append(f"{' '.join(('preamble=16', *options))} | {data}")
    return inserted(*lines)


declare(
    *(Planting(name, words, rule, send=send) for name, rule, words, send in _ALTERED),
    *(
        Planting(name, words, rule, send=_sent(packets), session=_SESSIONS.get(rule, ""))
        for name, rule, words, packets in _SENT
    ),
    Planting(
        *("means-apart", "first halves of ones 2 us longer than the last ones", 6),
        send=every(_means_apart),
        everywhere=True,
    ),
)
