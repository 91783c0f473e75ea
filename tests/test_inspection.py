"""Looking at anything: what `inspect` finds, where, and that it never raises."""

import json

import pytest
from bitstring import Bits
from hypothesis import given, settings
from hypothesis import strategies as st

import dccwire
from dccwire import Mode, Reason, inspect
from dccwire.framing import stream, to_bits
from refusals import refused
from strategies import bit_strings, bodies, byte_strings, with_error_byte


def found(data: bytes | Bits) -> list[tuple[str, int, int]]:
    """Reason, offset and length of each finding."""
    return [(one.reason.value, one.offset, one.length) for one in inspect(data).findings]


@pytest.mark.parametrize(
    ("hexes", "findings"),
    [
        ("37 74 43", []),
        ("37 74 42", [("error-byte", 16, 8)]),
        ("", [("length", 0, 0)]),
        ("37 74", [("length", 0, 16)]),
        ("00 00 00 00 00 00 00", [("length", 0, 56)]),
        ("03 04 07", [("reserved", 8, 8)]),
        ("03 3E 60 5D", [("open", 8, 16)]),
        ("F0 01 02 F3", [("reserved", 0, 8)]),
        ("FF 01 FE", [("reserved", 8, 8)]),
        ("C0 00 80 40", [("open", 0, 16)]),
        ("C0 03 C3", [("undefined", 0, 16)]),
        ("00 40 40", []),
        ("00 44 44", [("open", 8, 8)]),
        ("00 80 B0 30", [("not-together", 8, 16)]),
        ("03 02 01", [("discouraged", 8, 8)]),
        ("03 0E 0D", [("open", 8, 8)]),
        ("03 0F 0C", []),
        ("03 C0 85 00 46", [("discouraged", 8, 24)]),
        ("03 C0 80 00 43", []),
        ("03 D8 01 DA", [("from-memory", 8, 16)]),
        ("81 F8 E4 00 05 98", []),
        ("BF 80 E4 00 05 DE", [("open", 0, 40)]),
        ("BF 0C 00 05 B6", [("open", 0, 32)]),
        ("BF 07 E4 00 05 59", [("open", 0, 40)]),
        ("81 71 C8 38", [("open", 8, 16)]),
        ("FD 00 FD", [("from-memory", 0, 8)]),
        ("03 E4 00 00 00 E7", [("from-memory", 8, 24), ("from-memory", 32, 8)]),
        ("03 12 11", [("undefined", 8, 8)]),
        ("03 E8 00 00 EB", [("undefined", 8, 24)]),
        ("03 F9 01 FB", [("open", 8, 16)]),
        ("81 7E 00 05 FA", [("caution", 0, 32)]),
        ("81 7E 08 05 F2", [("caution", 0, 32)]),
        ("81 7C 00 05 F8", []),
        ("7D 01 7C", [("open", 0, 24)]),
        ("7D 74 80 89", [("open", 0, 32)]),
        ("70 80 A0 50", []),
        ("74 74 80 80", [("open", 0, 32)]),
        ("7D 08 75", [("open", 0, 24), ("reserved", 8, 8)]),
        ("6F 01 6E", []),
        ("70 3F 83 CC", []),
        ("9E 04 20 BA", [("undefined", 8, 16)]),
        ("9F F3 EC 00 08 88", [("open", 8, 32)]),
        ("9F F3 E8 00 08 8C", [("open", 8, 32)]),
        ("9F F0 E8 00 08 8F", [("undefined", 8, 32)]),
        ("03 02 55 54", [("open", 8, 16)]),
        ("03 03 55 55", [("open", 8, 16)]),
        ("03 F0 10 E3", [("not-available", 8, 16)]),
        ("03 F1 10 E2", [("reserved", 8, 16)]),
        ("03 3C 83 FF 00 00 00 43", [("from-memory", 0, 64)]),
        ("03 3C 83 FF 00 00 00 42", [("from-memory", 0, 64), ("error-byte", 56, 8)]),
        ("03 3D 83 FF 00 00 00 42", [("length", 0, 64)]),
    ],
)
def test_findings_have_their_place(hexes: str, findings: list) -> None:
    """Reason, first bit and number of bits, in the bytes as given."""
    assert found(bytes.fromhex(hexes)) == findings


@pytest.mark.parametrize(
    ("body", "findings"),
    [
        (bytes((3, 0x00, 0x01)), [("not-together", 16, 8)]),
        (bytes((3, 0x00, 0x0F)), []),
        (bytes((3, 0x0F, 0x00)), []),
        (bytes((3, 0x00, 0x0E)), [("open", 16, 8), ("not-together", 16, 8)]),
        (bytes((3, 0x0E, 0x00)), [("open", 8, 8), ("not-together", 16, 8)]),
        (bytes((3, 0x0F, 0x0F)), []),
        (bytes((3, 0x3F, 0x10, 0x3E, 0x07)), [("not-together", 24, 16)]),
        (bytes((3, 0xF2, 0x10, 0xF3, 0x07)), [("not-together", 24, 16)]),
        (bytes((3, 0x80, 0x81, 0xB0, 0xA0)), []),
        (bytes((3, 0x12, 0x07, 0x3F, 0x09)), []),
    ],
)
def test_what_may_stand_together(body: bytes, findings: list) -> None:
    """S-9.2.1 §C: one of each group 000 (but 0F), 001 and 111 in a packet."""
    assert found(with_error_byte(body)) == findings


def test_what_the_bytes_would_say_is_kept_apart() -> None:
    """With a wrong error byte there is no packet, but what the others say can be seen."""
    wrong = inspect(bytes.fromhex("377442"))
    assert wrong.packet is None
    assert wrong.unverified == dccwire.decode(bytes.fromhex("377443"))
    right = inspect(bytes.fromhex("377443"))
    assert right.unverified is None
    assert right.packet == dccwire.decode(bytes.fromhex("377443"))
    assert (wrong.well, right.well) == (False, True)
    assert inspect(b"").unverified is None


def test_mere_notes_blame_nobody() -> None:
    """What is open or from memory does not make a packet unwell; what is reserved does."""
    assert inspect(bytes.fromhex("03D801DA")).well
    assert inspect(bytes.fromhex("C0008040")).well
    assert not inspect(bytes.fromhex("030407")).well


PACKET = bytes.fromhex("377443")


@pytest.mark.parametrize(
    ("bits", "data", "preamble", "findings"),
    [
        (to_bits(PACKET, 14), PACKET, 14, []),
        (to_bits(PACKET, 10), PACKET, 10, [("short-preamble", 0, 10)]),
        (
            stream([bytes.fromhex("377442"), bytes.fromhex("C4B53F2966")])[:-3],
            bytes.fromhex("377442"),
            14,
            [("error-byte", 33, 8), ("cut-off", 42, 57)],
        ),
        (to_bits(PACKET, 9), PACKET, 9, [("short-preamble", 0, 9)]),
        (
            Bits.from_string("0b0010") + to_bits(PACKET, 12),
            PACKET,
            12,
            [("stray-bits", 0, 4), ("short-preamble", 4, 12)],
        ),
        (to_bits(PACKET, 12)[:-5], bytes.fromhex("3774"), None, [("cut-off", 0, 35)]),
        (
            stream([PACKET, PACKET], 11),
            PACKET,
            11,
            [("short-preamble", 0, 11), ("stray-bits", 39, 39), ("short-preamble", 39, 11)],
        ),
        (
            stream([PACKET]) + Bits.from_string("0b11110"),
            PACKET,
            14,
            [("stray-bits", 42, 5)],
        ),
        (
            to_bits(bytes(20), 12),
            bytes(16),
            None,
            [("no-end-bit", 0, 157), ("stray-bits", 157, 35), ("cut-off", 192, 1)],
        ),
        (Bits(), b"", None, [("cut-off", 0, 0)]),
    ],
)
def test_bits_are_read_with_what_is_left_over(bits, data, preamble, findings) -> None:
    """Every bit that is not the packet's is a finding with its place."""
    one = inspect(bits)
    assert (one.data, one.preamble) == (data, preamble)
    assert found(bits) == findings


@pytest.mark.parametrize(
    ("bits", "clause"),
    [
        (Bits(), "S-9.2 §A"),
        (to_bits(PACKET, 12)[:-5], "S-9.2 §A"),
        (Bits.from_string("0b0010") + to_bits(PACKET, 14), "S-9.2 §A"),
        (stream([PACKET, PACKET], 14), "S-9.2 §A"),
        (stream([PACKET, PACKET[:-1] + b"\0"], 14), "S-9.2 §B, Byte Three"),
        (stream([PACKET, b"\3\3"], 14), "S-9.2.1, introduction"),
        (to_bits(bytes(20), 14), "S-9.2 §A, S-9.2 §A, S-9.2 §A"),
        (Bits.from_string("0b11110"), "S-9.2 §A, Preamble, S-9.2 §A"),
        (to_bits(PACKET, 14)[:-1], "S-9.2 §A, Packet End Bit"),
        (to_bits(bytes(2), 14), "S-9.2.1, introduction"),
    ],
)
def test_the_clause_of_what_is_no_packet(bits: Bits, clause: str) -> None:
    """Of the findings in turn, as S-9.2 and S-9.2.1 divide their text."""
    assert ", ".join(one.clause for one in inspect(bits).findings) == clause


@pytest.mark.parametrize(
    ("mode", "ones", "clause"),
    [
        (Mode.OPERATIONS, 14, "S-9.2 §A, Preamble"),
        (Mode.SERVICE, 20, "S-9.2.3 §E, Long Preamble"),
    ],
)
def test_a_preamble_has_the_ones_of_its_mode(mode: Mode, ones: int, clause: str) -> None:
    """One fewer is a finding with the number that is sent at least; as many or more are none."""
    (finding,) = inspect(to_bits(PACKET, ones - 1), mode=mode).findings
    assert (finding.reason, finding.offset, finding.length) == (Reason.SHORT_PREAMBLE, 0, ones - 1)
    assert finding.clause == clause
    assert finding.message.startswith(f"{ones - 1} ones; {ones} or more are sent")
    assert inspect(to_bits(PACKET, ones), mode=mode).findings == ()
    assert inspect(to_bits(PACKET, ones + 1), mode=mode).findings == ()


@pytest.mark.parametrize(("mode", "least"), [(Mode.OPERATIONS, 14), (Mode.SERVICE, 20)])
def test_the_ones_of_another_packet_count_with_the_end_bit_before_them(mode, least) -> None:
    """One fewer than are sent is enough (C2); two fewer are told, and are not well."""
    first = to_bits(PACKET, least)
    short, _ = reversed(inspect(first + to_bits(PACKET, least - 2), mode=mode).findings)
    place = (short.reason, short.offset, short.length)
    assert place == (Reason.SHORT_PREAMBLE, 24 + 4 + least, least - 2)
    assert short.message.startswith(
        f"{least - 2} ones and the end bit before them; {least} or more are sent"
    )
    (other,) = inspect(first + to_bits(PACKET, least - 1), mode=mode).findings
    assert other.reason is Reason.STRAY_BITS


def test_the_ones_of_a_packet_behind_stray_bits_count_alone() -> None:
    """No end bit adjoins them, so that 13 are too few."""
    apart = inspect(to_bits(PACKET) + Bits.from_string("0b01100") + to_bits(PACKET, 13))
    assert [one.message for one in apart.findings if one.reason is Reason.SHORT_PREAMBLE] == [
        "13 ones; 14 or more are sent"
    ]


def test_of_broken_packets_the_longest_bytes_are_shown() -> None:
    """16 bytes of zeros without an end bit, then FF cut off: the longer, not the larger."""
    endless = to_bits(bytes(16), 12)[:-1] + Bits.from_string("0b0")
    assert inspect(endless + to_bits(b"\xff", 12)[:-1]).data == bytes(16)


SAID = {
    "37 74 42": (
        "error-byte: error byte 42, where the bytes before it give 43; the exclusive OR "
        "differs in column 0 of the bytes: if one bit alone is wrong, it is bit 0 of byte 0, 1 "
        "or 2, nobody can tell which (S-9.2 §B, Byte Three)"
    ),
    "37 74 C3": (
        "error-byte: error byte C3, where the bytes before it give 43; the exclusive OR "
        "differs in column 7 of the bytes: if one bit alone is wrong, it is bit 7 of byte 0, 1 "
        "or 2, nobody can tell which (S-9.2 §B, Byte Three)"
    ),
    "03 91 6D": (
        "error-byte: error byte 6D, where the bytes before it give 92; the exclusive OR "
        "differs in columns 7, 6, 5, 4, 3, 2, 1, 0 of the bytes (S-9.2 §B, Byte Three)"
    ),
    "37 74": (
        "length: 2 bytes; a packet has 3 to 6, the error byte included (S-9.2.1, introduction)"
    ),
    "03 3C 83 FF 00 00 00 43": (
        "from-memory: 8 bytes, in a form that is defined later (from memory) (from memory: RCN-212)"
    ),
    "CB B8 EC 1C 26 80 25": (
        "from-memory: 7 bytes, in a form that is defined later (from memory) (from memory: RCN-214)"
    ),
    "FE 00 00 00 00 00 FE": (
        "from-memory: 7 bytes, in a form that is defined later (from memory) (from memory: "
        "S-9.2.1.1 draft, RCN-218)"
    ),
    "FD 00 FD": (
        "from-memory: first byte 253 has a use defined later (from memory) (from memory: "
        "S-9.2.1.1 draft, RCN-218)"
    ),
    "03 D8 01 DA": "from-memory: defined later (from memory) (from memory: RCN-212, newer S-9.2.1)",
    "80 79 F9": "from-memory: defined later (from memory) (from memory: RCN-213)",
    "03 E4 00 00 00 E7": (
        "from-memory: also extended CV access, read, defined later (from memory) "
        "(from memory: RCN-214)"
    ),
    "FC 74 88": "reserved: first byte 252 is reserved (C7) (S-9.2.1 §A)",
    "E8 74 9C": "reserved: first byte 232 is reserved (C7) (S-9.2.1 §A)",
    "FF 01 FE": "reserved: code 01 is reserved (S-9.2 §A and S-9.2.1 §A (C7))",
    "03 04 07": "reserved: code 04 is reserved (S-9.2.1 §C, Decoder Control)",
    "03 F1 10 E2": "reserved: code F1 10 is reserved (S-9.2.1 §C, CV access short form)",
    "03 F0 10 E3": (
        "not-available: code F0 10 is not available for use (X25) (S-9.2.1 §C, CV access "
        "short form)"
    ),
    "C0 00 80 40": "open: long address 0 is not excluded anywhere (X2) (S-9.2.1 §A)",
    "00 44 44": (
        "open: S-9.2 prints only stops for the broadcast address (C11) (S-9.2 §B, Broadcast Stop)"
    ),
    "BF 80 E4 00 05 DE": (
        "open: CV access to the broadcast pattern 511 is not described (X31) (S-9.2.1 §D, "
        "basic accessory CV access)"
    ),
    "BF 07 E4 00 05 59": (
        "open: CV access to the broadcast pattern 2047 is not described (X31) (S-9.2.1 §D, "
        "extended accessory CV access)"
    ),
    "9F F3 EC 00 08 88": (
        "open: CV access with C = 0 and an output DDD is not described (X31) (S-9.2.1 §D, "
        "basic accessory CV access)"
    ),
    "81 71 C8 38": (
        "open: only extended accessory, eight-bit aspect describes it (NEM 672 (2015), "
        "extended accessory)"
    ),
    "03 02 55 54": (
        "open: a factory test of more than one byte, of which nothing more is said (X9) "
        "(S-9.2.1 §C, Factory Test)"
    ),
    "03 0E 0D": (
        "open: the standard prints the acknowledgement request with D = 1 only (X10) "
        "(S-9.2.1 §C, Decoder Acknowledgement Request)"
    ),
    "03 3E 60 5D": (
        "open: a restricted speed step with bit 5 or 6 set, which have no meaning (X15) "
        "(S-9.2.1 §C, Restricted Speed Step)"
    ),
    "03 F9 05 FF": (
        "open: a CV access in the short form 1001 to one address (X24) (S-9.2.1 §C, CV "
        "access short form)"
    ),
    "CB B8 F9 05 8F": (
        "open: a CV access in the short form 1001 to one address (X24) (S-9.2.1 §C, CV "
        "access short form)"
    ),
    "00 F9 00 F9": (
        "open: a decoder lock with address 0, which is no short address (P13) (S-9.2.3 "
        "Appendix B, Decoder Lock)"
    ),
    "00 F9 03 FA": "open: in service mode this is DecoderLock (S-9.2.3 Appendix B, Decoder Lock)",
    "33 F9 CA": "open: in service mode this is AddressQuery (S-9.2.3 Appendix A, Address Query)",
    "70 F9 89": (
        "open: in service mode this is RegisterAccess (S-9.2.3 §E, Physical Register Addressing)"
    ),
    "7D 01 7C": (
        "open: in service mode this is RegisterAccess (S-9.2.3 §E, Physical Register Addressing)"
    ),
    "7C 1C 26 46": "open: in service mode this is DirectByteAccess (S-9.2.3 §E, Direct Mode)",
    "service 7F FF 00 80": (
        "open: the text gives CV 1 to 1023, the ten bits reach CV 1024 (P3) (S-9.2.3 §E, "
        "Direct Mode)"
    ),
    "service 70 00 05 75": (
        "undefined: direct mode with CC = 00 is not described (P4) (S-9.2.3 §E, Direct Mode)"
    ),
    "03 02 01": (
        "discouraged: a factory test is never sent in normal operation (S-9.2.1 §C, Factory Test)"
    ),
    "03 C0 85 00 46": (
        "discouraged: the short form is the one for binary states 1 to 127 (X21) (S-9.2.1 "
        "§C, Binary State Control, long form)"
    ),
    "81 7E 00 05 FA": (
        "caution: CV 513 holds a decoder's address: write it with caution (S-9.2.1 Appendix A)"
    ),
    "81 7E 08 05 F2": (
        "caution: CV 521 holds a decoder's address: write it with caution (S-9.2.1 Appendix A)"
    ),
    "00 80 B0 30": "not-together: 2 instructions; a broadcast packet has exactly one (S-9.2.1 §B)",
    "03 3F 10 3E 07 15": (
        "not-together: a second instruction of group 001; a packet holds one (S-9.2.1 §C)"
    ),
    "C0 03 C3": "undefined: an address and no instruction (S-9.2.1 §C)",
    "81 71 F0": (
        "undefined: code 81 71 opens like ExtendedAccessory, but is cut short, 2 of 3 bytes "
        "(S-9.2.1 §D, extended accessory)"
    ),
    "9E 04 20 BA": "undefined: code 04 20 is not described (S-9.2.1: the text is silent)",
    "03 06 10 15": (
        "undefined: code 06 10 opens like SetDecoderFlags, but flag has no value 1 (S-9.2.1 "
        "§C, Set Decoder Flags)"
    ),
    "03 3E 3D": (
        "undefined: code 3E opens like RestrictedSpeedStep, but is cut short, 1 of 2 bytes "
        "(S-9.2.1 §C, Restricted Speed Step)"
    ),
    "84 B5 3F 29 27": (
        "undefined: code 84 B5 3F 29 opens like BasicAccessory, but is too long, 4 bytes for 2 "
        "(S-9.2.1 §D, basic accessory)"
    ),
    "81 F8 A8 00 05 D4": (
        "undefined: code 81 F8 A8 00 05 opens like BasicAccessoryCvAccess, but A8 (10101000) is "
        "not 1110CCVV (S-9.2.1 §D, basic accessory CV access)"
    ),
    "9F F0 E8 1C D8 43": (
        "undefined: code 9F F0 E8 1C D8 opens like BasicAccessoryCvBitManipulation, but D8 "
        "(11011000) is not 111CDBBB (S-9.2.1 §D, basic accessory CV access, bit manipulation)"
    ),
    "00 F9 80 79": (
        "undefined: code F9 80 opens like DecoderLock, but 80 (10000000) is not 0AAAAAAA "
        "(S-9.2.3 Appendix B, Decoder Lock)"
    ),
    "00 F9 F9": (
        "undefined: code F9 opens like DecoderLock, but is cut short, 1 of 2 bytes (S-9.2.3 "
        "Appendix B, Decoder Lock)"
    ),
    "01 00 F9 F8": (
        "undefined: code F9 opens like AddressQuery, but stands where that cannot (S-9.2.3 "
        "Appendix A, Address Query)"
    ),
}
"""What is said of bytes, and by which clause, typed in from the texts; of two the first."""


@pytest.mark.parametrize("given", SAID)
def test_what_is_said_and_by_which_clause(given: str) -> None:
    """Word for word, in the terms that the texts use: too short, too long, which byte differs."""
    mode = Mode.SERVICE if given.startswith("service ") else Mode.OPERATIONS
    data = bytes.fromhex(given.removeprefix("service "))
    finding, *others = inspect(data, mode=mode).findings
    assert str(finding).split(": ", 1)[1] == SAID[given]
    assert len(others) == (given in ("03 E4 00 00 00 E7", "7C 1C 26 46"))


@pytest.mark.parametrize(
    ("bits", "said"),
    [
        (Bits(), "cut-off: no bits (S-9.2 §A)"),
        (
            Bits.from_string("0b0110111"),
            "short-preamble: no preamble: at most 2 ones in a row before a 0, 10 or more make one "
            "(S-9.2 §A, Preamble)",
        ),
        (
            to_bits(PACKET, 12)[:-5],
            "cut-off: the bits end after 12 ones, 2 bytes, a start bit, 4 bits; if the next byte "
            "is the error byte, they say short 55: SpeedAndDirection forward=yes c=1 speed=4 "
            "(S-9.2 §A)",
        ),
        (
            to_bits(PACKET)[:-18],
            "cut-off: the bits end after 14 ones, 1 byte, a start bit (S-9.2 §A)",
        ),
        (
            to_bits(bytes.fromhex("C4B5EC"))[:-5],  # 1110, where C4 and B5 give 0111 0001
            "cut-off: the bits end after 14 ones, 2 bytes, a start bit, 4 bits (S-9.2 §A)",
        ),
        (to_bits(PACKET)[:-19], "cut-off: the bits end after 14 ones, 1 byte (S-9.2 §A)"),
        (to_bits(PACKET)[:-27], "cut-off: the bits end after 14 ones, a start bit (S-9.2 §A)"),
        (to_bits(PACKET)[:-28], "cut-off: the bits end after 14 ones (S-9.2 §A)"),
        (
            stream([PACKET, bytes.fromhex("377442")]),
            "error-byte: another packet, 37 74 42, wrong (S-9.2 §B, Byte Three)",
        ),
        (stream([PACKET, PACKET]), "stray-bits: another packet, 37 74 43 (S-9.2 §A)"),
        (
            to_bits(PACKET) + "0b1",
            "cut-off: 1 one at the end, which may open the next preamble (S-9.2 §A)",
        ),
        (
            to_bits(PACKET) + Bits.from_zeros(5),
            "stray-bits: 5 bits of no packet (S-9.2 §A)",
        ),
    ],
)
def test_what_is_said_of_bits_and_by_which_clause(bits: Bits, said: str) -> None:
    """Word for word: nothing, no preamble, a cut, another packet, left over."""
    assert said in [str(one).split(": ", 1)[1] for one in inspect(bits).findings]


LATER = [
    ("3C 83 FF 00 00", True),  # speed and F0 to F23
    ("3C 83 FF 00 00 00", True),  # to F31
    ("3C 83 FF 00 00 00 00", False),
    ("3D 83 FF 00 00 00", False),
    ("E4 00 00 01 00", True),  # 24-bit CV address, and up to four bytes
    ("EC 00 00 01 00 00 00 00", True),
    ("EC 00 00 01 00 00 00 00 00", False),
    *((f"{code:02X} 00 00 01 00", False) for code in range(0xE0, 0xE4)),
    *((f"{code:02X} 00 00 01 00", True) for code in range(0xE5, 0xF0)),
    ("F4 00 00 01 00", False),
]


@pytest.mark.parametrize("address", ["03", "C4 B5", "00"])
@pytest.mark.parametrize(("rest", "known"), LATER)
def test_longer_forms_of_later_additions_are_told_and_not_blamed(address, rest, known) -> None:
    """More than six bytes in a form from memory are well; in any other they are too many."""
    found = inspect(with_error_byte(bytes.fromhex(address + rest)))
    assert [one.reason.value for one in found.findings] == ["from-memory" if known else "length"]
    assert (found.packet, found.unverified, found.well) == (None, None, known)
    assert not inspect(with_error_byte(bytes.fromhex(address + rest))[:-1] + b"\x00").well


@pytest.mark.parametrize(
    ("first", "size", "known"),
    [
        (253, 7, True),
        (254, 15, True),
        (254, 16, False),
        (252, 7, False),
        (255, 7, False),
        (130, 7, False),
    ],
)
def test_packets_to_later_first_bytes_have_up_to_15_bytes(first, size, known) -> None:
    """253 and 254 (from memory: S-9.2.1.1 draft, RCN-218)."""
    found = inspect(with_error_byte(bytes((first, *range(size - 2)))))
    assert found.well is known
    later = "from memory: S-9.2.1.1 draft, RCN-218"
    assert found.findings[0].clause == (later if known else "S-9.2.1, introduction")


def test_an_inspection_prints_as_lines() -> None:
    """What the bytes say, then a line for each finding, within 80 columns."""
    assert str(inspect(PACKET)) == (
        "37 74 43: short 55: SpeedAndDirection forward=yes c=1 speed=4\n"
        "  # 28 steps: step 6; 14 steps: step 3, headlight on\n"
        "  nothing to remark"
    )
    assert str(inspect(to_bits(bytes.fromhex("030407"), 12))) == (
        "03 04 07: short 3: Reserved data=04\n"
        "  after a preamble of 12 ones\n"
        "  ! bits 0-11: short-preamble: 12 ones; 14 or more are sent (S-9.2 §A, Preamble)\n"
        "  ! bits 22-29: reserved: code 04 is reserved (S-9.2.1 §C, Decoder Control)"
    )
    assert str(inspect(b"\x01")).startswith("01: no packet\n  ! bits 0-7: length: 1 byte; a packet")


def test_offsets_in_bits_count_preamble_and_start_bits() -> None:
    """The wrong error byte of a packet after 14 ones: start bits are skipped, not counted out."""
    assert found(to_bits(bytes.fromhex("377442"), 14)) == [("error-byte", 14 + 2 * 9 + 1, 8)]


@given(st.one_of(byte_strings, bit_strings()))
@settings(max_examples=1000)
def test_nothing_makes_it_raise(data: bytes | Bits) -> None:
    """Bytes or bits: an inspection comes back, with JSON, and findings lie within the input."""
    one = inspect(data)
    size = len(data) if isinstance(data, Bits) else 8 * len(data)
    assert json.loads(json.dumps(one.to_dict()))["bytes"] == one.data.hex(" ").upper()
    for finding in one.findings:
        assert finding.offset + finding.length <= size
        assert finding.message
        assert finding.clause
        assert isinstance(finding.reason, Reason)


def test_an_inspection_as_json_holds_all_that_was_found() -> None:
    """Bytes, preamble, packet, what the bytes would say, and each finding with its place."""
    found = inspect(bytes.fromhex("377442"))
    (finding,) = found.findings
    assert found.to_dict() == {
        "bytes": "37 74 42",
        "preamble": None,
        "packet": None,
        "unverified": dccwire.decode(bytes.fromhex("377443")).to_dict(),
        "findings": [
            {
                "reason": "error-byte",
                "message": finding.message,
                "clause": "S-9.2 §B, Byte Three",
                "offset": 16,
                "length": 8,
                "hint": finding.hint,
            }
        ],
    }
    right = inspect(to_bits(PACKET, 14)).to_dict()
    assert (right["preamble"], right["unverified"], right["findings"]) == (14, None, [])
    assert right["packet"] == dccwire.decode(PACKET).to_dict()


@given(bodies)
def test_a_packet_is_found_where_decode_finds_one(body: bytes) -> None:
    """Strict and lenient agree on what is right."""
    data = with_error_byte(body)
    assert inspect(data).packet == dccwire.decode(data)
    assert inspect(to_bits(data)).packet == dccwire.decode(data)


def test_bytearrays_and_views_are_bytes_too() -> None:
    """Anything that `bytes` takes."""
    assert inspect(bytearray(PACKET)).well
    assert inspect(memoryview(PACKET)).well


def test_a_second_packet_that_is_wrong_is_told_as_such() -> None:
    """Not as mere stray bits."""
    bits = stream([PACKET, bytes.fromhex("377442")])
    assert found(bits) == [("error-byte", 42, 42)]
    assert not inspect(bits).well


def test_only_bytes_and_bits_are_looked_at() -> None:
    """A number is not so many zeros, and text is no bytes; how hex digits become some is said."""
    for look in (inspect, dccwire.explain, lambda given: dccwire.difference(PACKET, given)):
        for wrong in (5, "37 74 43", None, [0x37]):
            hint = "bytes.fromhex reads hex digits" if isinstance(wrong, str) else ""
            told = {"field": "data", "bound": "bytes or Bits", "value": wrong, "hint": hint}
            with refused(dccwire.FieldError, **told):
                look(wrong)


def test_a_packet_behind_few_ones_in_a_stream_is_told() -> None:
    """Three ones after an end bit are no preamble (S-9.2 §A), though the packet is right."""
    found = inspect(stream([PACKET, PACKET]) + to_bits(PACKET, 3))
    (finding,) = (one for one in found.findings if one.reason.value == "short-preamble")
    assert finding.message == "3 ones before a 0; a preamble has 10 or more"
    assert (finding.offset, finding.clause) == (84, "S-9.2 §A, Preamble")


@pytest.mark.parametrize("ones", [14, 16, 20])
def test_a_complemented_error_byte_is_no_other_framing(ones: int) -> None:
    """A preamble that is long enough is no byte, however wrong the bits after it are."""
    data = bytes.fromhex("03916D")  # 03 exclusive or 91 is 92; 6D differs from it in all columns
    found = inspect(to_bits(data, ones))
    assert (found.data, found.preamble) == (data, ones)
    (finding,) = found.findings
    assert finding.reason.value == "error-byte"
