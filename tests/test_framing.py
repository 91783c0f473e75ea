"""Bits of packets against bits written out by hand."""

from __future__ import annotations

import pytest
from bitstring import Bits

from dccwire.address import Mode
from dccwire.errors import FieldError, Reason, TextError
from dccwire.framing import (
    LEAST_PREAMBLE,
    MOST_BYTES,
    SENT_PREAMBLE,
    each_bit,
    least_preamble,
    parse_bits,
    stream,
    to_bits,
)
from refusals import refused

# S-9.2 §A: ones, then a 0 before each byte, most significant bit first, and a 1 at the end.
WORKED = {
    "FF 00 FF": "11111111111111 0 11111111 0 00000000 0 11111111 1",  # idle, S-9.2 §B
    "00 00 00": "11111111111111 0 00000000 0 00000000 0 00000000 1",  # reset, S-9.2 §B
    "37 74 43": "11111111111111 0 00110111 0 01110100 0 01000011 1",  # figure 2, derived (C4)
    "C3 E8 3F 94 80": ("11111111111111 0 11000011 0 11101000 0 00111111 0 10010100 0 10000000 1"),
    "80": "11111111111111 0 10000000 1",
}


@pytest.mark.parametrize(("data", "text"), WORKED.items())
def test_bits_of_worked_packets(data: str, text: str) -> None:
    """The bits of a packet are those written out by hand (S-9.2 §A)."""
    bits = to_bits(bytes.fromhex(data))
    assert isinstance(bits, Bits)
    assert bits.bin == text.replace(" ", "")


def test_numbers_of_the_standard() -> None:
    """Ten ones are received, 14 sent (S-9.2 §A), 20 in service mode (S-9.2.3 §E); 16 bytes read."""
    assert [least_preamble(mode) for mode in Mode] == [14, 20]
    assert (LEAST_PREAMBLE, SENT_PREAMBLE) == (10, 14)
    assert MOST_BYTES == 16


@pytest.mark.parametrize("preamble", [0, 1, 9, 30])
def test_any_preamble(preamble: int) -> None:
    """As many ones as asked for stand before the packet start bit."""
    assert to_bits(b"\x00", preamble).bin == "1" * preamble + "0" + "00000000" + "1"


@pytest.mark.parametrize(
    ("data", "preamble", "field", "bound", "value"),
    [
        (b"", 14, "data", "one byte or more", b""),
        ("37", 14, "data", "bytes", "37"),
        (b"\0", -1, "preamble", "0 or more", -1),
    ],
)
def test_what_cannot_be_framed(
    data: bytes, preamble: int, field: str, bound: str, value: object
) -> None:
    """No byte, text, or a negative preamble, is refused with field, bound and value."""
    with refused(FieldError, field=field, bound=bound, value=value):
        to_bits(data, preamble)


def test_stream_puts_packets_one_after_the_other() -> None:
    """Without sharing, each packet has its whole preamble."""
    assert stream([b"\0", b"\xff"], 3).bin == "11100000000011110111111111"
    assert stream([]).bin == ""


def test_stream_shares_end_bits() -> None:
    """A shared end bit is the first one of the next preamble (S-9.2 footnote 3, C2)."""
    shared = stream(iter([b"\0", b"\xff", b"\0"]), 3, shared_end_bit=True)
    assert shared.bin == "1110000000001110111111111110000000001"
    assert stream([b"\0", b"\xff"], 0, shared_end_bit=True).bin == "00000000010111111111"


def test_bits_one_by_one() -> None:
    """Bits of bitstring's type come as truth values, others as they are."""
    assert list(each_bit(Bits.from_string("0b10"))) == [True, False]
    numbers = [1, 0, True]
    assert each_bit(numbers) is numbers


@pytest.mark.parametrize("text", ["1101", " 11 01\n", "1_1_0_1", "\t1\r1\n01"])
def test_parse_bits_skips_blanks(text: str) -> None:
    """Blanks and underscores between the bits say nothing."""
    assert parse_bits(text).bin == "1101"


@pytest.mark.parametrize("given", [5, None, b"01", [0, 1]])
def test_parse_bits_reads_text_alone(given: object) -> None:
    """Whatever else it is given is a field of the call that is wrong."""
    with refused(FieldError, field="bits", bound="text of 0 and 1", value=given):
        parse_bits(given)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "position", "problem"),
    [
        ("0b11", 1, "'b' is no bit"),
        ("11 2", 3, "'2' is no bit"),
        ("١", 0, "'١' is no bit"),
        ("", 0, "no bits"),
        ("_ \n", 0, "no bits"),
    ],
)
def test_parse_bits_refuses(text: str, position: int, problem: str) -> None:
    """Another character, or no bit at all, is refused with its place."""
    with refused(
        TextError, Reason.BITS, text=text, position=position, problem=problem, hint="write 0 and 1"
    ):
        parse_bits(text)
