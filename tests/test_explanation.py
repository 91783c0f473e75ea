"""The bit-by-bit view: golden texts, and that it works on anything."""

import pytest
from bitstring import Bits
from hypothesis import given, settings
from hypothesis import strategies as st

import dccwire
from dccwire import explain
from dccwire.framing import to_bits
from strategies import bit_strings, byte_strings, packets

ACCESSORY = """\
8E EB 65: accessory 78: BasicAccessory active=yes pair=1 output=1

byte  bits       layout     meaning
0     1000 1110  10aa aaaa  BasicAccessory, S-9.2.1 §D, basic accessory
                   aa aaaa  bits 5-0: accessory 78 (bits 5-0 of it)
1     1110 1011  1bbb CPPO
                  bbb       bits 6-4: accessory 78 (bits 8-6 of it, inverted)
                      C     bit 3: active=yes
                       PP   bits 2-1: pair=1
                         O  bit 0: output=1
2     0110 0101  EEEE EEEE  error byte: exclusive OR of 8E EB, S-9.2 §B
# pair 310, or 314 from decoder address 0"""

WRONG = """\
C4 B5 EC 03 0C 00, with faults: long 1205: CvAccessLongForm
operation=write cv=4 value=12

byte  bits       layout     meaning
0     1100 0100  11AA AAAA  long 1205, S-9.2.1 §A
1     1011 0101  AAAA AAAA  long 1205, S-9.2.1 §A
2     1110 1100  1110 CCVV  CvAccessLongForm, S-9.2.1 §C, CV
                            access long form
                      CC    bits 3-2: operation=write
                        VV  bits 1-0: cv=4 (bits 9-8 of cv - 1)
3     0000 0011  VVVV VVVV
                 VVVV VVVV  bits 7-0: cv=4 (bits 7-0 of cv - 1)
4     0000 1100  DDDD DDDD
                 DDDD DDDD  bits 7-0: value=12
5     0000 0000  EEEE EEEE  error byte: exclusive OR of C4 B5 EC
                            03 0C is 92, not 00, S-9.2 §B
! bits 40-47: error-byte: error byte 00, where the bytes before it
  give 92; the exclusive OR differs in columns 7, 4, 1 of the
  bytes (S-9.2 §B, Byte Three)"""

KEPT = """\
03 04 07: short 3: Reserved data=04
after a preamble of 12 ones

byte  bits       layout     meaning
0     0000 0011  0AAA AAAA  short 3, S-9.2.1 §A
1     0000 0100  ???? ????  Reserved: kept as it came
2     0000 0111  EEEE EEEE  error byte: exclusive OR of 03 04, S-9.2 §B
! bits 0-11: short-preamble: 12 ones; 14 or more are sent (S-9.2 §A, Preamble)
! bits 22-29: reserved: code 04 is reserved (S-9.2.1 §C, Decoder Control)"""

CUT = """\
03: no packet

byte  bits       layout     meaning
0     0000 0011  ???? ????  of no whole packet
! bits 0-23: cut-off: the bits end after 10 ones, 1 byte, a start bit, 4 bits
  (S-9.2 §A)"""

NOTHING = """\
no bytes: no packet

! bit 0: length: 0 bytes; a packet has 3 to 6, the error byte included (S-9.2.1,
  introduction)"""


@pytest.mark.parametrize(
    ("data", "width", "text"),
    [
        (bytes.fromhex("8EEB65"), 80, ACCESSORY),
        (bytes.fromhex("C4B5EC030C00"), 66, WRONG),
        (to_bits(bytes.fromhex("030407"), 12), 80, KEPT),
        (Bits.from_string("0b" + "1" * 10 + "0" + "00000011" + "0" + "1011"), 80, CUT),
        (b"", 80, NOTHING),
    ],
)
def test_text_stands_as_drawn(data, width, text) -> None:
    """Golden texts; the packets are worked by hand from S-9.2.1 §C and §D."""
    assert explain(data).text(width) == text


def test_idle_and_broadcast_have_fixed_address_bits() -> None:
    """Their address bytes are drawn as fixed bits."""
    assert [row.letters for row in explain(bytes.fromhex("FF00FF")).rows] == [
        "11111111",
        "00000000",
        "EEEEEEEE",
    ]


@given(
    st.one_of(byte_strings, bit_strings()),
    st.integers(0, 120),
)
@settings(max_examples=500)
def test_anything_can_be_drawn_within_its_width(data: bytes | Bits, width: int) -> None:
    """No input makes it raise, and no line is wider than asked (40 at least)."""
    text = explain(data).text(width)
    assert all(len(line) <= max(width, 40) for line in text.splitlines())


@given(packets())
@settings(max_examples=500)
def test_every_bit_of_a_packet_is_drawn_once(packet: dccwire.Packet) -> None:
    """Each byte has one row of eight bits, and its fields cover the letters of that row."""
    rows = explain(bytes(packet)).rows
    heads = [row for row in rows if row.bits]
    assert [row.byte for row in heads] == list(range(len(bytes(packet))))
    assert (
        "".join(row.bits for row in heads) == f"{int.from_bytes(bytes(packet)):0{8 * len(heads)}b}"
    )
    for head in heads[:-1]:
        parts = [row for row in rows if row.byte == head.byte and row.letters and not row.bits]
        if not parts:
            continue
        letters = ["01"[c == "1"] if c in "01" else " " for c in head.letters]
        for row in parts:
            for place, letter in enumerate(row.letters):
                assert letters[7 - row.first + place] == " "
                letters[7 - row.first + place] = letter
        assert "".join(letters) == head.letters


def test_the_kind_of_decoder_that_a_no_operation_asks_is_told() -> None:
    """Its eleven address bits look the same for both (from memory: RCN-213)."""
    drawn = " ".join(explain(bytes.fromhex("81 78 F9")).text().split())
    assert "extended=no: a basic decoder, in the same eleven address bits" in drawn
    drawn = " ".join(explain(bytes.fromhex("81 79 F8")).text().split())
    assert "extended=yes: an extended decoder" in drawn


def test_printing_an_explanation_prints_its_text() -> None:
    """At 80 columns, the whole of it."""
    assert str(explain(bytes.fromhex("8EEB65"))) == ACCESSORY
    assert str(explain(b"")) == NOTHING
