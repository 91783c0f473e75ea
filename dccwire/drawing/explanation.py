"""A packet laid out bit by bit: which bits belong to which field, and what they say.

It works on broken packets too: what cannot be read stays bits, and the findings say why. Room:
turns an inspection into rows of data; nothing here decides what bits mean, or draws.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import reduce
from operator import xor

from bitstring import Bits

from dccwire.address import Address, AnyAccessory, Mode, ProgrammingTrackAddress
from dccwire.assembly import SHORTEST
from dccwire.bit_rows import BitRow, field_rows
from dccwire.errors import Reason
from dccwire.formats import Instruction, Kept
from dccwire.framing import least_preamble, to_bits
from dccwire.inspection import Inspection, inspect
from dccwire.notation import address_text
from dccwire.packet import Packet, decode_or_none

_UNKNOWN = "????????"
_OWN_ADDRESS = {"short": "0AAAAAAA", "long": "11AAAAAA AAAAAAAA"}


@dataclass(frozen=True, slots=True)
class Explanation:
    """An inspection as rows, ready to be drawn.

    `bits` are those that were given, or of bytes those that are sent with a preamble of the least
    ones; `start` is where among them the packet start bit stands, None if none was found; `framed`
    says that bits were given.
    """

    inspection: Inspection
    rows: tuple[BitRow, ...]
    bits: Bits
    start: int | None
    framed: bool
    mode: Mode

    def __str__(self) -> str:
        return self.text()

    def text(self, width: int = 80, *, half_bits: bool = False) -> str:
        """The packet laid out for a terminal, in plain ASCII, at most `width` columns (40 or more).

        Bits that were sent are counted from 0, the first one given; within a byte from 7 to 0, as
        the standards do. With `half_bits`, each bit is a line with its time, and of bytes those
        are counted that are sent with the framing around them.

        >>> print(explain(bytes.fromhex("377443")).text())
        37 74 43: short 55: SpeedAndDirection forward=yes c=1 speed=4
        <BLANKLINE>
        sent     byte  bits       layout     meaning
        0-7      0     0011 0111  0AAA AAAA  short 55, S-9.2.1 §A
        8-15     1     0111 0100  01DC SSSS  SpeedAndDirection, S-9.2.1 §C, Speed and
                                             Direction
        10                          D        bit 5: forward=yes
        11                           C       bit 4: c=1
        12-15                          SSSS  bits 3-0: speed=4
                                             28 steps: step 6; 14 steps: step 3,
                                             headlight on
        16-23    2     0100 0011  EEEE EEEE  error byte, S-9.2 §B
        <BLANKLINE>
        error byte: a column with an odd number of ones gives 1 (S-9.2 §B)
                 0     0011 0111
                 1     0111 0100
                       0100 0011             43, as sent
        """
        from dccwire.drawing.lines import lines_of  # which names this class

        shown = self.as_sent if half_bits else self
        return "\n".join(lines_of(shown, max(width, 40), half_bits=half_bits))

    def svg(self) -> str:
        """The signal to scale, bit by bit, as SVG that stands alone.

        >>> explain(bytes.fromhex("377443")).svg().splitlines()[1][:30]
        '<title>37 74 43: short 55: Spe'
        """
        from dccwire.drawing.picture import svg_of

        return svg_of(self)

    def html(self, *, half_bits: bool = False) -> str:
        """A page that stands alone: the signal, the bits, the error byte, what is odd.

        >>> explain(bytes.fromhex("377443")).html().count("<svg")
        1
        """
        from dccwire.drawing.page import html_of

        return html_of(self.as_sent if half_bits else self, half_bits=half_bits)

    def _repr_html_(self) -> str:
        from dccwire.drawing.page import part_of

        return part_of(self)

    def _repr_svg_(self) -> str:
        return self.svg()

    @property
    def as_sent(self) -> Explanation:
        """The same, with what is sent around the bytes, as if bits had been given."""
        return explain(self.bits, mode=self.mode) if self.bits else self

    def notes(self) -> Iterator[tuple[str, str]]:
        """What stands beside the rows, each with its mark: `#` for words, `!` for findings."""
        meanings = {row.meaning for row in self.rows}
        return (one for one in self.inspection.notes() if one[1] not in meanings)

    @property
    def marks(self) -> dict[int, str]:
        """Which of `bits` are wrong, of the framing, or differ from the right error byte."""
        found, data, slip = dict[int, str](), self.inspection.data, self.inspection.slip
        for one in self.inspection.findings:
            if one.reason is Reason.FRAMING_BIT and one.length:
                found[slip.at if slip else one.offset] = "wrong"
            elif one.reason is Reason.ERROR_BYTE and self.inspection.unverified:
                differs = reduce(xor, data)
                numbers = (number for number in range(8) if differs >> number & 1)
                found |= {self._place(len(data) - 1, number): "differs" for number in numbers}
        return found

    def _place(self, byte: int, number: int) -> int:
        """Where a bit of a byte stands in `bits`."""
        place, slip = (self.start or 0) + 1 + 9 * byte + 7 - number, self.inspection.slip
        return slip.given(place) if slip else place

    def sent(self, byte: int, number: int = 7) -> int:
        """Where a bit of a byte stands among those sent; start bits count where bits were given."""
        if self.framed and self.start is not None:
            return self._place(byte, number)
        return 8 * byte + 7 - number

    def part(self, bit: int) -> tuple[str, int | None]:
        """What a bit of `bits` is, and the byte that it is of."""
        count, start = len(self.inspection.data), self.start
        if start is None:
            return "of no packet", None
        if slip := self.inspection.slip:
            if (bit, 1) == slip:
                return "one too many", None
            bit = slip.right(bit)
        behind = bit - start
        if behind < 0:
            ones = self.inspection.preamble
            near = ones is None or behind >= -ones
            return ("preamble" if near else "before the packet"), None
        if behind == 0:
            return "packet start bit", None
        byte, place = divmod(behind - 1, 9)
        if place < 8 and byte < count:
            return f"bit {7 - place}", byte
        # Behind the last byte a 1 ends the packet, and a 0 opens a byte that is cut off.
        end = start + 9 * count
        ended = end < len(self.bits) and self.bits[end]
        whole = bool(self.inspection.packet or self.inspection.unverified or ended)
        if byte >= count:
            return ("behind the packet" if whole else "of a byte that is cut off"), None
        return ("packet end bit" if bit == end and whole else f"start bit of byte {byte + 1}"), None


def explain(data: bytes | Bits, *, mode: Mode = Mode.OPERATIONS) -> Explanation:
    """Lay out bytes (error byte included) or bits (preamble included); never raises on any.

    Raises:
        FieldError: these are neither bytes nor bits.

    >>> [row.name for row in explain(bytes(3)).rows]
    ['broadcast', 'DigitalDecoderReset', 'error byte']
    """
    inspection = inspect(data, mode=mode)
    rows = tuple(_rows(inspection, mode))
    if isinstance(data, Bits):
        return Explanation(inspection, rows, data, inspection.start, True, mode)
    ones = least_preamble(mode)
    whole = inspection.data
    bits, start = (to_bits(whole, ones), ones) if whole else (Bits(), None)
    return Explanation(inspection, rows, bits, start, False, mode)


def _byte(data: bytes, byte: int, letters: str, name: str, *words: str) -> BitRow:
    return BitRow(byte, 7, 0, f"{data[byte]:08b}", letters, name, *words)


def _rows(inspection: Inspection, mode: Mode) -> Iterator[BitRow]:
    data, packet = inspection.data, inspection.packet or inspection.unverified
    if packet is None:
        yield from _rows_of_a_piece(data, mode)
        return
    yield from _rows_of(packet, data)
    check = "error byte"
    if right := reduce(xor, data):
        check = f"error byte: {right ^ data[-1]:02X} is expected, not {data[-1]:02X}"
    yield _byte(data, len(data) - 1, "EEEEEEEE", "error byte", check, "S-9.2 §B")


def _rows_of(packet: Packet, data: bytes) -> Iterator[BitRow]:
    header = list(_of_address(packet.address, data))
    yield from header
    at = len(header)
    for one in packet.instructions:
        yield from _of_instruction(one, data, at, packet.address)
        at += len(bytes(one))


def _of_address(address: Address, data: bytes) -> Iterator[BitRow]:
    """A row for each byte that the address has of its own."""
    if not isinstance(address, (AnyAccessory, ProgrammingTrackAddress)):
        header = _OWN_ADDRESS.get(address.kind) or f"{address.number:08b}"
        for byte, letters in enumerate(header.split()):
            yield _byte(data, byte, letters, address.kind, address_text(address), "S-9.2.1 §A")


def _rows_of_a_piece(data: bytes, mode: Mode) -> Iterator[BitRow]:
    """Bytes that are no packet: if they would be one with the error byte behind them, as that."""
    known = None
    if len(data) >= SHORTEST - 1:
        known = decode_or_none(data + bytes((reduce(xor, data),)), mode)
    if known is not None:
        yield from _rows_of(known, data)
        return
    opened = data[: SHORTEST - 1].ljust(SHORTEST - 1, b"\0")
    opens = decode_or_none(opened + bytes((reduce(xor, opened),)), mode)
    header = list(_of_address(opens.address, opened)) if data and opens else []
    told = len(header) if len(header) <= len(data) else 0
    yield from header[:told]
    for byte in range(told, len(data)):
        yield _byte(data, byte, _UNKNOWN, "byte", "of no whole packet")


def _of_instruction(one: Instruction, data: bytes, at: int, address: Address) -> Iterator[BitRow]:
    name = type(one).__name__
    if isinstance(one, Kept):
        for byte in range(len(one.data)):
            yield _byte(data, at + byte, _UNKNOWN, name, f"{name}: kept as it came")
        return
    words = {"address": address_text(address)}
    rows = list(field_rows(type(one), int.from_bytes(data[at : at + one.layout.size]), words=words))
    for byte, letters in enumerate(one.layout.line.split(" ")):
        title = (name, name, one.clause) if byte == 0 else (name, "")
        own = [row for row in rows if row.byte == byte]
        if byte and [row.letters for row in own] == [letters]:
            title = own[0].name, own.pop().meaning  # all of the byte is one field
        yield _byte(data, at + byte, letters, *title)
        yield from (row._replace(byte=at + byte, bits="") for row in own)
    if told := one.in_words_to(address):
        yield BitRow(at + one.layout.size - 1, 7, 0, "", "", name, told)
