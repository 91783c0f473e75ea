"""The bit-by-bit view: golden texts, and that it works on anything."""

from bitstring import Bits
from hypothesis import given, settings
from hypothesis import strategies as st

import dccwire
from dccwire import explain
from strategies import bit_strings, byte_strings, packets
from views import FOLDER


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
    for name, data in (("accessory", bytes.fromhex("8EEB65")), ("nothing", b"")):
        assert str(explain(data)) == (FOLDER / f"{name}.txt").read_text("utf-8").rstrip("\n")


def test_bits_without_a_start_bit_are_of_no_packet() -> None:
    """Ones alone, or none at all."""
    for bits in (Bits("0b111"), Bits()):
        explanation = explain(bits)
        assert explanation.start is None
        assert {explanation.part(at) for at in range(len(bits))} <= {("of no packet", None)}
        assert explanation.text()
