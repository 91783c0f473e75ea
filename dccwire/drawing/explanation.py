"""A packet laid out bit by bit: which bits belong to which field, and what they say.

It works on broken packets too: what cannot be read stays bits, and the findings say why. Room:
turns an inspection into rows of data and rows into text; nothing here decides what bits mean.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import reduce
from operator import xor

from bitstring import Bits

from dccwire.address import Address, AnyAccessory, Mode, ProgrammingTrackAddress
from dccwire.bit_rows import BitRow, field_rows, row_lines
from dccwire.formats import Instruction, Kept
from dccwire.inspection import Inspection, inspect
from dccwire.notation import address_text
from dccwire.wording import wrapped

_UNKNOWN = "????????"
_OWN_ADDRESS = {"short": "0AAAAAAA", "long": "11AAAAAA AAAAAAAA"}


@dataclass(frozen=True, slots=True)
class Explanation:
    """An inspection as rows, ready to be drawn."""

    inspection: Inspection
    rows: tuple[BitRow, ...]

    def __str__(self) -> str:
        return self.text()

    def text(self, width: int = 80) -> str:
        """The packet laid out for a terminal, in plain ASCII, at most `width` columns (40 or more).

        >>> print(explain(bytes.fromhex("377443")).text())
        37 74 43: short 55: SpeedAndDirection forward=yes c=1 speed=4
        <BLANKLINE>
        byte  bits       layout     meaning
        0     0011 0111  0AAA AAAA  short 55, S-9.2.1 §A
        1     0111 0100  01DC SSSS  SpeedAndDirection, S-9.2.1 §C, Speed and Direction
                           D        bit 5: forward=yes
                            C       bit 4: c=1
                              SSSS  bits 3-0: speed=4
                                    28 steps: step 6; 14 steps: step 3, headlight on
        2     0100 0011  EEEE EEEE  error byte: exclusive OR of 37 74, S-9.2 §B
        """
        return "\n".join(_lines(self, max(width, 40)))


def explain(data: bytes | Bits, *, mode: Mode = Mode.OPERATIONS) -> Explanation:
    """Lay out bytes (error byte included) or bits (preamble included); never raises.

    >>> [row.name for row in explain(bytes(3)).rows]
    ['broadcast', 'DigitalDecoderReset', 'error byte']
    """
    inspection = inspect(data, mode=mode)
    return Explanation(inspection, tuple(_rows(inspection)))


def _byte(data: bytes, byte: int, letters: str, name: str, *words: str) -> BitRow:
    return BitRow(byte, 7, 0, f"{data[byte]:08b}", letters, name, *words)


def _rows(inspection: Inspection) -> Iterator[BitRow]:
    data, packet = inspection.data, inspection.packet or inspection.unverified
    if packet is None:
        for byte in range(len(data)):
            yield _byte(data, byte, _UNKNOWN, "byte", "of no whole packet")
        return
    address, at = packet.address, 0
    if not isinstance(address, (AnyAccessory, ProgrammingTrackAddress)):
        header = _OWN_ADDRESS.get(address.kind) or f"{address.number:08b}"
        for at, letters in enumerate(header.split(), 1):
            yield _byte(data, at - 1, letters, address.kind, address_text(address), "S-9.2.1 §A")
    for one in packet.instructions:
        yield from _of_instruction(one, data, at, address)
        at += len(bytes(one))
    meaning = f"error byte: exclusive OR of {data[:-1].hex(' ').upper()}"
    if right := reduce(xor, data):
        meaning += f" is {right ^ data[-1]:02X}, not {data[-1]:02X}"
    yield _byte(data, len(data) - 1, "EEEEEEEE", "error byte", meaning, "S-9.2 §B")


def _of_instruction(one: Instruction, data: bytes, at: int, address: Address) -> Iterator[BitRow]:
    name = type(one).__name__
    if isinstance(one, Kept):
        for byte in range(len(one.data)):
            yield _byte(data, at + byte, _UNKNOWN, name, f"{name}: kept as it came")
        return
    words = {"address": address_text(address)}
    rows = list(field_rows(type(one), int.from_bytes(data[at : at + one.layout.size]), words=words))
    for byte, letters in enumerate(one.layout.line.split(" ")):
        title = (name, one.clause) if byte == 0 else ("",)
        yield _byte(data, at + byte, letters, name, *title)
        for row in rows:
            if row.byte == byte:
                yield row._replace(byte=at + byte, bits="")
    if told := one.in_words_to(address):
        yield BitRow(at + one.layout.size - 1, 7, 0, "", "", name, told)


def _lines(explanation: Explanation, width: int) -> Iterator[str]:
    inspection = explanation.inspection
    for words in inspection.headlines():
        yield from wrapped(words, width)
    yield ""
    if explanation.rows:
        yield "byte  bits       layout     meaning"
    for row in explanation.rows:
        words = ", ".join(filter(None, (row.meaning, row.clause)))
        label = row.byte if row.bits else ""
        yield from row_lines(words, width, row.letters, first=row.first, label=label, bits=row.bits)
    meanings = {row.meaning for row in explanation.rows}
    for mark, words in inspection.notes():
        if words not in meanings:
            yield from wrapped(words, width, mark)
