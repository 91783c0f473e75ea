"""A packet built by hand with a bit wrong: the bit is named, and the rest is read.

What each bit of a packet is stands here as a list, worked from S-9.2 §A, without the library.
"""

import re
from functools import reduce
from operator import xor

import pytest
from bitstring import Bits

import dccwire
from dccwire import Mode, Packet, Reason, explain, inspect

PACKETS = {
    "README's": ("37 74 43", Mode.OPERATIONS),
    "idle, whose first byte is ones": ("FF 00 FF", Mode.OPERATIONS),
    "reset, all zeros": ("00 00 00", Mode.OPERATIONS),
    "an accessory's": ("8E EB 65", Mode.OPERATIONS),
    "six bytes": ("C4 B5 EC 03 0C 92", Mode.OPERATIONS),
    "of a programming track": ("7C 1C 26 46", Mode.SERVICE),
}
ONES = {Mode.OPERATIONS: 14, Mode.SERVICE: 20}


def anatomy(data: bytes, ones: int) -> list[tuple[str, int, int]]:
    """Of each bit in turn: what it is, its byte, and its number in the byte (7 is sent first)."""
    bits = [("preamble", 0, 0)] * ones
    for number in range(len(data)):
        bits.append(("start", number, 0))
        bits += [("data", number, bit) for bit in range(7, -1, -1)]
    return [*bits, ("end", 0, 0)]


def sent(data: bytes, ones: int) -> str:
    """The bits as they should be."""
    return "1" * ones + "".join(f"0{byte:08b}" for byte in data) + "1"


CASES = [
    pytest.param(bytes.fromhex(hexes), mode, place, id=f"{name}, bit {place}")
    for name, (hexes, mode) in PACKETS.items()
    for place in range(len(sent(bytes.fromhex(hexes), ONES[mode])))
]


def flipped(data: bytes, mode: Mode, *places: int) -> Bits:
    """The packet's bits with some of them turned."""
    bits = list(sent(data, ONES[mode]))
    for place in places:
        bits[place] = "01"[bits[place] == "0"]
    return Bits.from_string("0b" + "".join(bits))


def test_readmes_packet_has_42_bits() -> None:
    """14 ones, three times nine bits, and the end bit."""
    assert sum(data == bytes.fromhex("377443") for data, *_ in (one.values for one in CASES)) == 42


@pytest.mark.parametrize(("data", "mode", "place"), CASES)
def test_one_wrong_bit_is_named_and_the_rest_is_read(data: bytes, mode: Mode, place: int) -> None:
    """A framing bit by its place and value; one of a byte by its column and all that it has."""
    parts = anatomy(data, ONES[mode])
    what, byte, number = parts[place]
    right = dccwire.decode(data, mode=mode)
    found = inspect(flipped(data, mode, place), mode=mode)
    if what == "data":
        (finding,) = (one for one in found.findings if one.reason is Reason.ERROR_BYTE)
        assert found.packet is None
        assert found.data == data[:byte] + bytes((data[byte] ^ 1 << number,)) + data[byte + 1 :]
        assert isinstance(found.unverified, Packet)
        assert f"the exclusive OR differs in column {number} of the bytes: " in finding.hint
        column = [at for at, part in enumerate(parts) if part[0] == "data" and part[2] == number]
        assert place in column
        told = [int(one) for one in re.findall(r"\d+", finding.hint.split(": ")[1])]
        assert told == [number, *range(len(column))]
        assert finding.offset == parts.index(("data", len(data) - 1, 7))
    else:
        (finding,) = found.findings
        value, expected = (0, 1) if what in ("preamble", "end") else (1, 0)
        name = {
            "preamble": "a bit of the preamble",
            "end": "the packet end bit",
            "start": f"the start bit of byte {byte}" if byte else "the packet start bit",
        }[what]
        assert (finding.reason, finding.offset, finding.length) == (Reason.FRAMING_BIT, place, 1)
        assert finding.message == f"{name} is {value}, {expected} is expected"
        assert finding.hint == "the rest is read as if it were right" + (
            ", but a decoder needs ten ones and would not take it"
            if what == "preamble" and ONES[mode] - place - 1 < 10
            else ""
        )
        assert (found.data, found.packet or found.unverified) == (data, right)
        received = what == "preamble" and ONES[mode] - place - 1 >= 10
        assert (found.packet is not None) is received, "a receiver needs ten ones"
        after = ONES[mode] - place - 1 if what == "preamble" else ONES[mode]
        assert found.preamble == after
    assert not found.well
    drawn = " ".join(explain(flipped(data, mode, place), mode=mode).text(200).split())
    assert f"! {finding}" in drawn
    assert "of no whole packet" not in drawn


def test_the_clause_of_each_framing_bit() -> None:
    """S-9.2 §A names the parts of a packet."""
    data = bytes.fromhex("377443")
    clauses = {
        0: "S-9.2 §A, Preamble",
        13: "S-9.2 §A, Preamble",
        14: "S-9.2 §A, Packet Start Bit",
        23: "S-9.2 §A, Data Byte Start Bit",
        32: "S-9.2 §A, Data Byte Start Bit",
        41: "S-9.2 §A, Packet End Bit",
    }
    for place, clause in clauses.items():
        assert inspect(flipped(data, Mode.OPERATIONS, place)).findings[0].clause == clause


def test_two_wrong_bits_are_both_named() -> None:
    """Two of the framing, or one of the framing and one of a byte."""
    data = bytes.fromhex("377443")
    both = inspect(flipped(data, Mode.OPERATIONS, 5, 23))
    assert [one.offset for one in both.findings] == [5, 23]
    assert both.unverified == dccwire.decode(data)
    mixed = inspect(flipped(data, Mode.OPERATIONS, 23, 40))
    assert [(one.reason, one.offset) for one in mixed.findings] == [
        (Reason.FRAMING_BIT, 23),
        (Reason.ERROR_BYTE, 33),
    ]
    assert mixed.data == bytes.fromhex("377442")


def test_a_short_preamble_is_told_beside_other_wrong_bits() -> None:
    """12 ones and a wrong start bit, of the packet or of a byte."""
    for place in (12, 21):
        bits = list(sent(bytes.fromhex("377443"), 12))
        bits[place] = "1"
        found = inspect(Bits.from_string("0b" + "".join(bits)))
        assert [(one.reason, one.offset, one.length) for one in found.findings] == [
            (Reason.SHORT_PREAMBLE, 0, 12),
            (Reason.FRAMING_BIT, place, 1),
        ]


def test_columns_of_several_wrong_bits_are_all_told() -> None:
    """Bit numbers within a byte, 7 first."""
    (finding,) = inspect(bytes.fromhex("377442") + b"").findings
    assert finding.hint.endswith(
        "column 0 of the bytes: if one bit alone is wrong, it is bit 0 of byte 0, 1 or 2, nobody "
        "can tell which"
    )
    (finding,) = inspect(bytes.fromhex("3774C2")).findings
    assert finding.hint == "the exclusive OR differs in columns 7, 0 of the bytes"


def test_three_wrong_framing_bits_are_too_many() -> None:
    """Then it is said what a receiver finds."""
    found = inspect(flipped(bytes.fromhex("377443"), Mode.OPERATIONS, 5, 14, 23))
    assert Reason.FRAMING_BIT not in {one.reason for one in found.findings}


def test_a_packet_that_is_received_is_not_read_otherwise() -> None:
    """A good packet of three bytes, then what would make it one of four with two bits wrong."""
    bits = Bits.from_string("0b" + sent(bytes(3), 14) + "000000000")
    found = inspect(bits)
    assert found.packet == dccwire.decode(bytes(3))
    assert [one.reason for one in found.findings] == [Reason.STRAY_BITS]


def test_what_may_be_cut_off_is_not_called_whole() -> None:
    """Three bytes and the start bit of a fourth: their exclusive OR is not 0, but for one bit."""
    for data in ("037476", "037744"):
        bits = Bits.from_string("0b" + sent(bytes.fromhex(data), 14)[:-1] + "0")
        assert [one.reason for one in inspect(bits).findings] == [Reason.CUT_OFF]


@pytest.mark.parametrize("ones", [10, 14, 16, 20])
@pytest.mark.parametrize("opening", ["0391", "3774", "FF00", "0000", "C4B53F29", "7F9F"])
def test_framing_that_is_right_is_read_as_given(opening: str, ones: int) -> None:
    """With any error byte, were all its eight bits wrong: the preamble is never read as a byte."""
    for error in range(256):
        data = bytes.fromhex(opening) + bytes((error,))
        found = inspect(Bits.from_string("0b" + sent(data, ones)))
        assert (found.data, found.preamble) == (data, ones)


def test_all_columns_of_an_error_byte_that_is_turned_are_told() -> None:
    """The complement of the right one."""
    found = inspect(Bits.from_string("0b" + sent(bytes.fromhex("03916D"), 14)))
    assert (found.data.hex(), found.preamble) == ("03916d", 14)
    (finding,) = found.findings
    assert "columns 7, 6, 5, 4, 3, 2, 1, 0 of the bytes" in finding.hint


@pytest.mark.parametrize("packet", ["039192", "377443", "FF00FF"])
def test_two_wrong_bits_never_make_a_preamble_a_byte(packet: str) -> None:
    """Where ten ones still open the bits, at most three bytes are read."""
    data = bytes.fromhex(packet)
    for one in range(10, 42):
        for two in range(one + 1, 42):
            found = inspect(flipped(data, Mode.OPERATIONS, one, two))
            assert len(found.data) <= len(data), (one, two)


def test_ones_alone_are_cut_off_and_not_called_none() -> None:
    """One finding, which counts them."""
    (finding,) = inspect(Bits.from_string("0b1")).findings
    assert "after 1 one" in finding.message


@pytest.mark.parametrize(("hexes", "mode"), PACKETS.values(), ids=PACKETS)
def test_a_packet_without_its_end_bit_is_read_as_if_it_stood_there(hexes: str, mode: Mode) -> None:
    """The lack comes first, by its place; no receiver takes it for a packet."""
    data = bytes.fromhex(hexes)
    bits = Bits.from_string("0b" + sent(data, ONES[mode])[:-1])
    found = inspect(bits, mode=mode)
    (finding,) = found.findings
    assert (found.data, found.preamble, found.packet) == (data, ONES[mode], None)
    assert found.unverified == dccwire.decode(data, mode=mode)
    assert not found.well
    assert str(finding) == (
        f"bit {len(bits)}: cut-off: the packet end bit, a 1, is missing;"
        " the rest is read as if it stood there (S-9.2 §A, Packet End Bit)"
    )


def test_other_findings_stand_behind_a_missing_end_bit() -> None:
    """Twelve ones are told as they are of a whole packet."""
    found = inspect(Bits.from_string("0b" + sent(bytes.fromhex("377443"), 12)[:-1]))
    assert [(one.reason, one.offset) for one in found.findings] == [
        (Reason.SHORT_PREAMBLE, 0),
        (Reason.CUT_OFF, 39),
    ]


@pytest.mark.parametrize("hexes", ["0303", "00FF000000FF00"])
def test_only_three_to_six_bytes_can_lack_an_end_bit(hexes: str) -> None:
    """Fewer or more are cut off, whatever their exclusive OR is."""
    data = bytes.fromhex(hexes)
    assert not reduce(xor, data)
    (finding,) = inspect(Bits.from_string("0b" + sent(data, 14)[:-1])).findings
    assert finding.message.startswith(f"the bits end after 14 ones, {len(data)} bytes")


@pytest.mark.parametrize("ones", [10, 14, 16, 20])
@pytest.mark.parametrize(
    "hexes", ["377443", "033437", "00E3E3", "00CFCF", "FF906F", "843BBF", "372AC2DF00"]
)
def test_what_ends_early_is_never_read_as_other_bytes(hexes: str, ones: int) -> None:
    """Up to 8 bits less than a packet: cut off, and no bit of the preamble becomes a byte."""
    data = bytes.fromhex(hexes)
    says = dccwire.decode(data)
    for left in range(2, 9):
        found = inspect(Bits.from_string("0b" + sent(data, ones)[:-left]))
        assert (found.packet, found.unverified) == (None, None)
        assert [one.reason for one in found.findings] == [Reason.CUT_OFF]
        assert found.data == data[:-1]
        assert found.findings[0].hint == f"if the next byte is the error byte, they say {says}"


STREAM = [bytes.fromhex(one) for one in ("377443", "039192", "C4B5EC030C92")]


def in_stream(ones: int, place: int, *, after: int = 0) -> Bits:
    """`STREAM` from one of its packets on, each after so many ones, with one bit turned."""
    bits = list("".join(sent(data, ones) for data in STREAM[after:]))
    bits[place] = "01"[bits[place] == "0"]
    return Bits.from_string("0b" + "".join(bits))


@pytest.mark.parametrize("ones", [14, 16, 20])
@pytest.mark.parametrize("place", range(28))
def test_a_wrong_framing_bit_of_the_first_of_several_packets_is_named(
    place: int, ones: int
) -> None:
    """Start bits and the end bit, whatever a receiver makes of them; the others are told too."""
    what = anatomy(STREAM[0], 0)[place][0]
    if what == "data":
        found = inspect(in_stream(ones, ones + place))
        assert Reason.FRAMING_BIT not in {one.reason for one in found.findings}
    else:
        found = inspect(in_stream(ones, ones + place))
        first, *others = found.findings
        assert (first.reason, first.offset) == (Reason.FRAMING_BIT, ones + place)
        assert (found.packet, found.unverified) == (None, dccwire.decode(STREAM[0]))
        assert [(one.message, one.offset, one.length) for one in others] == [
            ("another packet, 03 91 92", ones + 28, ones + 28),
            ("another packet, C4 B5 EC 03 0C 92", 2 * ones + 56, ones + 55),
        ]
    assert found.preamble == ones


def test_a_bit_of_the_first_preamble_in_a_stream_is_named() -> None:
    """Where fewer than ten ones are left, so that no receiver takes the packet."""
    found = inspect(in_stream(14, 5))
    assert [(one.reason, one.offset) for one in found.findings] == [
        (Reason.FRAMING_BIT, 5),
        (Reason.STRAY_BITS, 42),
        (Reason.STRAY_BITS, 84),
    ]
    assert (found.preamble, found.unverified) == (8, dccwire.decode(STREAM[0]))


def test_of_two_readings_with_one_wrong_bit_preambles_alike_win() -> None:
    """A wrong last bit of an error byte, not a start bit and a packet that is one bit longer."""
    wrong = sent(bytes.fromhex("38744D"), 14)
    found = inspect(Bits.from_string("0b" + wrong + sent(STREAM[1], 14)))
    assert (found.data, found.preamble) == (bytes.fromhex("38744D"), 14)
    assert [one.reason for one in found.findings] == [Reason.ERROR_BYTE, Reason.STRAY_BITS]


def test_a_packet_that_is_sent_again_does_not_make_the_first_right() -> None:
    """The same bytes are received later on; the first, with its wrong start bit, was not."""
    again = Bits.from_string("0b" + sent(STREAM[0], 14))
    found = inspect(flipped(STREAM[0], Mode.OPERATIONS, 14) + again)
    assert (found.packet, found.unverified) == (None, dccwire.decode(STREAM[0]))


def test_a_longer_packet_in_a_stream_is_named_too() -> None:
    """Six bytes, of which a start bit in the middle is wrong, then others are to come."""
    found = inspect(
        Bits.from_string("0b" + in_stream(14, 14 + 27, after=2).bin + sent(bytes(3), 14))
    )
    assert (found.findings[0].reason, found.findings[0].offset) == (Reason.FRAMING_BIT, 41)
    assert found.unverified == dccwire.decode(STREAM[2])


@pytest.mark.parametrize("ones", [0, -3])
@pytest.mark.parametrize("slip", ["left out", "doubled", "behind a 1"])
@pytest.mark.parametrize(
    ("hexes", "mode", "byte"),
    [
        pytest.param(hexes, mode, byte, id=f"{name}, byte {byte}")
        for name, (hexes, mode) in PACKETS.items()
        for byte in range(len(bytes.fromhex(hexes)))
    ],
)
def test_a_start_bit_that_slips_is_placed(
    hexes: str, mode: Mode, byte: int, slip: str, ones: int
) -> None:
    """Left out, or a bit too many at it: the rest is read, where no wrong bit tells as much."""
    data, ones = bytes.fromhex(hexes), ONES[mode] + ones
    at, bits = ones + 9 * byte, sent(data, ones)
    name = f"start bit of byte {byte}" if byte else "packet start bit"
    first = byte  # of the start bits between which there are zeros alone, none is known from others
    while slip != "behind a 1" and first and set(bits[ones + 9 * (first - 1) : at]) == {"0"}:
        first -= 1
    with_slip = {"left out": "", "doubled": "00", "behind a 1": "10"}[slip]
    given = bits[:at] + with_slip + bits[at + 1 :]
    found = inspect(Bits(bin=given), mode=mode)
    told = [one for one in found.findings if one.reason is Reason.FRAMING_BIT]
    if not first and (slip == "behind a 1" or ones < ONES[mode]):
        assert not any("too many" in one.message or "missing" in one.message for one in told)
        return  # a preamble that is longer, or a bit of it that is wrong
    (one,) = told
    assert (found.data, found.preamble) == (data, ones)
    assert found.unverified == dccwire.decode(data, mode=mode)
    assert not found.well
    assert name in one.message
    assert one.clause == f"S-9.2 §A, {'Data Byte' if first else 'Packet'} Start Bit"
    if slip == "left out":
        assert one.length == 0
        assert set(bits[one.offset : at]) <= {"0"}  # wherever among these a 0 is put, it is right
        assert one.message.endswith("may be missing before this bit")
    else:
        run = given[one.offset : one.offset + one.length]
        assert set(run) == {with_slip[0]}
        assert one.offset <= at < one.offset + one.length
        assert one.message.startswith(f"one {run[0]} may be too many at ")
    others = [each for each in found.findings if each is not one]
    short = [(Reason.SHORT_PREAMBLE, 0, ones)] * (ones < ONES[mode])
    assert [(each.reason, each.offset, each.length) for each in others] == short
    drawn = explain(Bits(bin=given), mode=mode)
    shown = [drawn.part(place) for place in range(len(given))]
    right = [(f"bit {number}", of) for of in range(len(data)) for number in range(7, -1, -1)]
    assert [part for part in shown if part[1] is not None] == right
    assert shown.count(("one too many", None)) == (slip != "left out")
    assert drawn.marks == ({} if slip == "left out" else {ones + 9 * first: "wrong"})
    starts = sum("start bit" in part[0] for part in shown)
    assert starts == len(data) - (slip == "left out")
    assert drawn.text(200).count("one too many") == (slip != "left out")


def test_findings_beside_a_slip_have_their_place_among_the_bits_given() -> None:
    """A reserved code that spans a doubled start bit, or one that is missing."""
    bits = sent(bytes.fromhex("03F110E2"), 14)  # F1 10 is reserved; its bits are 24 to 40
    for given, place in (
        (bits[:23] + "0" + bits[23:], (25, 17)),
        (bits[:32] + "1" + bits[32:], (24, 18)),
        (bits[:32] + bits[33:], (24, 16)),
        (bits[:41] + "1" + bits[41:], (24, 17)),
    ):
        found = inspect(Bits(bin=given))
        (one,) = (one for one in found.findings if one.reason is Reason.RESERVED)
        assert (one.offset, one.length) == place


def test_what_a_wrong_bit_tells_as_well_is_no_slip() -> None:
    """The packet start bit of FF 00 FF as a 1, after 14 ones: not one that is missing after 15."""
    found = inspect(flipped(bytes.fromhex("FF00FF"), Mode.OPERATIONS, 14))
    assert (found.preamble, found.slip) == (14, None)
    assert [one.message for one in found.findings] == ["the packet start bit is 1, 0 is expected"]


def test_where_more_than_one_packet_could_be_meant_no_start_bit_is_named() -> None:
    """Ones behind a preamble, and bits that are no packet with any bit more or less."""
    for bits in ("1" * 41, sent(bytes.fromhex("377443"), 14)[:-2], "1" * 14 + "0" * 27):
        assert inspect(Bits(bin=bits)).slip is None


def test_bits_that_slip_are_compared() -> None:
    """A start bit that is missing is told, no bit of a byte in its place; an end bit likewise."""
    bits = sent(bytes.fromhex("377443"), 14)
    one, other = (explain(Bits(bin=given)) for given in (bits, bits[:23] + bits[24:]))
    assert dccwire.difference(one, other).framing == ("start bit of byte 1: 0, missing",)
    assert dccwire.difference(other, one).framing == ("start bit of byte 1: missing, 0",)
    cut = explain(Bits(bin=bits[:-1]))
    assert dccwire.difference(one, cut).framing == ("packet end bit: 1, missing",)
    assert dccwire.difference(cut, one).framing == ("packet end bit: missing, 1",)
