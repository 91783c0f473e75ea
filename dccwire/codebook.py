"""Which format bytes have: the tables of all formats by their first byte, made once at import.

Of two formats that match, the one with more fixed bits wins; an equal overlap is an error at
import, and so is a format that could never win. Room: knows the registry; no packet.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache
from itertools import combinations
from typing import NamedTuple

from dccwire import accessory as _accessory  # noqa: F401 - enters its formats in the registry
from dccwire import instructions as _instructions  # noqa: F401 - the same
from dccwire import service_mode as _service_mode  # noqa: F401 - the same
from dccwire.address import (
    BROADCAST,
    IDLE,
    PROGRAMMING_TRACK,
    AccessoryByteAddress,
    Address,
    Mode,
    Partition,
    ReservedAddress,
    ShortAddress,
)
from dccwire.errors import LayoutError
from dccwire.formats import FORMATS, RESERVED, Format, Instruction, Provenance

RESET_PACKET, IDLE_PACKET = b"\x00\x00\x00", b"\xff\x00\xff"
"""The two packets that S-9.2 §B prints whole: digital decoder reset, digital decoder idle."""


class Entry(NamedTuple):
    """A format as the tables hold it: a word of `size` bytes matches if `word & mask == fixed`."""

    size: int
    ends: bool
    mask: int
    fixed: int
    build: Callable[[int], Instruction | None]
    take_address: Callable[[int], Address]


class Opening(NamedTuple):
    """What a first byte announces.

    `address` is None where two bytes hold it; `table` has the formats by the byte that an
    instruction opens with, and is None for accessories, whose packets are formats as a whole.
    """

    address: Address | None
    table: Table | None
    partition: Partition


def check_overlaps(formats: Iterable[Format]) -> None:
    """Refuse formats that match the same bytes with equally many fixed bits: a `LayoutError`."""
    for one, two in combinations(formats, 2):
        if one.reading or two.reading or not one.partitions & two.partitions:
            continue
        if one.layout.size != two.layout.size and one.ends and two.ends:
            continue
        size = max(one.layout.size, two.layout.size)
        up, across = 8 * (size - one.layout.size), 8 * (size - two.layout.size)
        both = one.layout.fixed_mask << up & two.layout.fixed_mask << across
        differ = (one.layout.fixed << up ^ two.layout.fixed << across) & both
        if not differ and one.fixed_bits == two.fixed_bits:
            raise LayoutError(one.layout.line, f"{one.cls.__name__} overlaps {two!r}")


@lru_cache(maxsize=4096)
def reserved_clause(rest: bytes, partition: Partition) -> str:
    """The clause that reserves the code which these bytes open with; empty if none does.

    `rest` are the bytes from an instruction on, or an accessory's whole packet without error byte.
    What opens as a defined format does but is cut short, or illegal further on, is not reserved.
    """
    if partition in (Partition.RESERVED, Partition.IDLE):
        return "S-9.2 §A and S-9.2.1 §A (C7)"
    for layout, clause, partitions in RESERVED:
        code = rest[: layout.size]
        known = partition in partitions and layout.matches(code)
        if known and not any(_published(FORMATS, code, partition)):
            return clause
    return ""


def resembled(code: bytes, partition: Partition) -> tuple[int, Format, str] | None:
    """How far off the nearest published format is, the format, and what differs; or None.

    It has their first byte, or two of an accessory; by wrong bits, a wrong value, then its length.
    """
    found: list[tuple[int, Format, str]] = []
    opening = code[: 2 if partition is Partition.ACCESSORY else 1]
    for form in _published(_GENERAL, opening, partition):
        layout, size = form.layout, form.layout.size
        wrong = (int.from_bytes(code[:size]) ^ layout.fixed) & layout.fixed_mask
        if len(code) > size and form.ends:
            found.append((110, form, f"is too long, {len(code)} bytes for {size}"))
        elif len(code) >= size:
            found.append((wrong.bit_count() or 99, form, _difference(form, code, wrong)))
        elif _opens(form, code):
            found.append((100 + size, form, f"is cut short, {len(code)} of {size} bytes"))
    return min(found, key=lambda one: one[0], default=None)


def _difference(form: Format, code: bytes, wrong: int) -> str:
    """What keeps bytes from being a format, given which of its fixed bits are wrong."""
    size, fields = form.layout.size, form.layout.fields
    for place, letters in enumerate(form.layout.line.split(" ")):
        if wrong.to_bytes(size)[place]:
            return f"{code[place]:02X} ({code[place]:08b}) is not {letters}"
    for name, kind in form.cls.kinds.items():
        number = fields[name].take(int.from_bytes(code[:size]))
        if kind.table is not None and number not in kind.table:
            return f"{name} has no value {number}"
    return "stands where that cannot"


def _published(formats: Iterable[Format], code: bytes, partition: Partition) -> Iterator[Format]:
    """The formats of the 2012 editions that open with these bytes."""
    for form in formats:
        known = partition in form.partitions and form.provenance is not Provenance.FROM_MEMORY
        if known and _opens(form, code):
            yield form


def _opens(form: Format, code: bytes) -> bool:
    """Whether a format can open with these bytes: their fixed bits, and the fields they hold."""
    layout = form.layout
    left = 8 * (layout.size - len(code))
    if left < 0:
        return False
    word = int.from_bytes(code) << left
    if (word ^ layout.fixed) & layout.fixed_mask >> left << left:
        return False
    return all(
        kind.table is None
        or any(run.shift < left for run in layout.fields[name].runs)
        or layout.fields[name].take(word) in kind.table
        for name, kind in form.cls.kinds.items()
    )


class Table(dict[int, tuple[Entry, ...]]):
    """The general formats that `fits` a number, worked out when the number is first met."""

    def __init__(self, fits: Callable[[Format, int], bool]) -> None:
        super().__init__()
        self._fits = fits

    def __missing__(self, number: int) -> tuple[Entry, ...]:
        self[number] = tuple(_entry(form) for form in _GENERAL if self._fits(form, number))
        return self[number]


def _opening_with(partition: Partition, mode: Mode) -> Table:
    """The formats of a partition in a mode by the byte that they open with."""
    return Table(
        lambda form, code: (
            form.stands_in(mode) and partition in form.partitions and _opens(form, bytes((code,)))
        )
    )


def _entry(form: Format) -> Entry:
    layout = form.layout
    mask, fixed = layout.fixed_mask, layout.fixed
    return Entry(layout.size, form.ends, mask, fixed, form.build, form.take_address)


check_overlaps(FORMATS)

_GENERAL = sorted((form for form in FORMATS if not form.reading), key=lambda form: -form.fixed_bits)

WHOLE_PACKETS = Table(lambda form, size: form.address is not None and form.layout.size == size)
"""The accessory packets by their size without the error byte."""

NO_TABLE = Table(lambda form, code: False)
"""The table of a first byte whose packets have no instructions that are known."""


def _openings(mode: Mode) -> tuple[Opening, ...]:
    kinds: tuple[tuple[Partition, Callable[[int], Address | None], Table | None], ...] = (
        (Partition.BROADCAST, lambda first: BROADCAST, _opening_with(Partition.BROADCAST, mode)),
        (Partition.SHORT, ShortAddress, _opening_with(Partition.SHORT, mode)),
        (Partition.ACCESSORY, AccessoryByteAddress, None),
        (Partition.LONG, lambda first: None, _opening_with(Partition.LONG, mode)),
        (Partition.RESERVED, ReservedAddress, NO_TABLE),
        (Partition.IDLE, lambda first: IDLE, _opening_with(Partition.IDLE, mode)),
    )
    return tuple(
        Opening(address(first), table, partition)
        for partition, address, table in kinds
        for first in partition.value
    )


OPENINGS = _openings(Mode.OPERATIONS)
"""What each first byte announces in operations mode."""

SERVICE_OPENINGS = _openings(Mode.SERVICE)
"""What each first byte announces where `is_query_or_lock` says that service mode matters."""

PROGRAMMING = Opening(
    PROGRAMMING_TRACK, _opening_with(Partition.PROGRAMMING, Mode.SERVICE), Partition.PROGRAMMING
)
"""What packets announce that have no address: the instructions of S-9.2.3 §E."""


def is_query_or_lock(data: bytes) -> bool:
    """Whether bytes are an address query or a decoder lock, which are whole packets (X24).

    S-9.2.3 Appendix A: first byte 1 to 111 (P12); Appendix B: to the broadcast address, and a
    short address 1 to 127 (P13).
    """
    lock = len(data) == 4 and data[0] == 0 and 1 <= data[2] <= 127
    return data[1] == 0b11111001 and (lock or (len(data) == 3 and 1 <= data[0] <= 111))


def service_opening(data: bytes) -> Opening:
    """What bytes announce in service mode."""
    if is_programming(data):
        return PROGRAMMING
    return (SERVICE_OPENINGS if is_query_or_lock(data) else OPENINGS)[data[0]]


def is_programming(data: bytes) -> bool:
    """Whether bytes are an instruction of service mode: first byte 112 to 127, 3 or 4 in all.

    S-9.2.3 §E: three bytes are register, paged or address-only mode, four are direct mode.
    """
    return len(data) in (3, 4) and data[0] >> 4 == 0b0111
