"""Bytes to bits: preamble, start bits, packet end bit (S-9.2 §A).

The way back is a receiver's work (`dccwire.receiver.BitReceiver`), but for bits known to be one
packet. Room: no times, no packets.
"""

from collections.abc import Iterable
from typing import NamedTuple

from bitstring import Bits

from dccwire.address import Mode
from dccwire.errors import FieldError, Reason, TextError, plain_bytes

LEAST_PREAMBLE = 10
"""Ones that a decoder may ask for before it accepts a packet (S-9.2 §A, Preamble)."""

SENT_PREAMBLE = 14
"""The fewest ones that a command station may send (S-9.2 §A, Preamble)."""


def least_preamble(mode: Mode) -> int:
    """Ones that are sent at least: in service mode more (S-9.2.3 §E, Long Preamble)."""
    return 20 if mode is Mode.SERVICE else SENT_PREAMBLE


MOST_BYTES = 16
"""Bytes after which a receiver stops to wait for the packet end bit.

The limit of the 2012 editions is 6 (S-9.2.1, introduction); longer ones are received, so that they
can be reported. From memory: later packets have up to 15 bytes.
"""


def to_bits(data: bytes, preamble: int = SENT_PREAMBLE) -> Bits:
    """The bits of a packet: `preamble` ones, a 0 before each byte, a 1 at the end.

    Any bytes (at least one), any preamble: what is sent may be wrong on purpose.

    >>> to_bits(bytes.fromhex("FF00FF"), preamble=10).bin
    '11111111110111111110000000000111111111'
    """
    if preamble < 0:
        raise FieldError("preamble", "0 or more", preamble)
    if not data:
        raise FieldError("data", "one byte or more", data)
    body = "".join(f"0{byte:08b}" for byte in plain_bytes(data))
    return Bits.from_string(f"0b{'1' * preamble}{body}1")


def stream(
    packets: Iterable[bytes], preamble: int = SENT_PREAMBLE, *, shared_end_bit: bool = False
) -> Bits:
    """Packets one after the other; with `shared_end_bit` an end bit counts in the next preamble.

    S-9.2 footnote 3 allows the sharing (C2): the run of ones is then one shorter.
    """
    parts = [to_bits(data, preamble).bin for data in packets]
    if shared_end_bit and preamble:
        parts[1:] = [part[1:] for part in parts[1:]]
    return Bits.from_string("0b" + "".join(parts))


def each_bit(bits: Bits | Iterable[bool | int]) -> Iterable[bool | int]:
    """The bits one by one, of bitstring's type or of any iterable."""
    return bits.to_bools() if isinstance(bits, Bits) else bits


class Framed(NamedTuple):
    """Bits taken as one packet: `preamble` bits, `data`, where framing bits are `wrong`, `end`."""

    preamble: int
    data: bytes
    wrong: tuple[int, ...]
    end: int


class Slip(NamedTuple):
    """A bit too many at a place of the bits given, or one missing before it: `step` is 1 or -1."""

    at: int
    step: int

    def given(self, place: int) -> int:
        """Where a bit of those that are right stands among those given."""
        return place + self.step * (place >= self.at)

    def right(self, place: int) -> int:
        """Where a bit given stands among those that are right; not for one that is too many."""
        return place - self.step * (place >= self.at)


def framed(bits: Bits, size: int) -> Framed:
    """All the bits as one packet of `size` bytes, right or wrong; the last is the end bit."""
    start = len(bits) - 9 * size - 1
    right = "1" * start + "0........" * size + "1"
    sent = bits.bin
    wrong = (place for place, bit in enumerate(right) if bit != "." and bit != sent[place])
    octets = (sent[at + 1 : at + 9] for at in range(start, len(sent) - 1, 9))
    return Framed(start, bytes(int(octet, 2) for octet in octets), tuple(wrong), len(bits))


def parse_bits(text: str) -> Bits:
    """Bits written as 0 and 1; blanks and underscores are skipped.

    Raises:
        TextError: another character, or no bit.
        FieldError: this is no text.

    >>> parse_bits("1111 0_0").bin
    '111100'
    """
    if not isinstance(text, str):
        raise FieldError("bits", "text of 0 and 1", text)
    for position, character in enumerate(text):
        if character not in "01_ \t\n\r":
            problem = f"{character!r} is no bit"
            raise TextError(Reason.BITS, text, position, problem, "write 0 and 1")
    digits = "".join(character for character in text if character in "01")
    if not digits:
        raise TextError(Reason.BITS, text, 0, "no bits", "write 0 and 1")
    return Bits.from_string("0b" + digits)
