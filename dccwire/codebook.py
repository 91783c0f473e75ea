"""Which format bytes have: the tables of all formats by their first byte, made once at import.

Of two formats that match, the one with more fixed bits wins; an equal overlap is an error at
import, and so is a format that could never win. Room: knows the registry; no packet.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import combinations
from typing import NamedTuple

from dccwire import accessory as _accessory  # noqa: F401 - enters its formats in the registry
from dccwire import instructions as _instructions  # noqa: F401 - the same
from dccwire.address import (
    BROADCAST,
    IDLE,
    AccessoryByteAddress,
    Address,
    Partition,
    ReservedAddress,
    ShortAddress,
)
from dccwire.errors import LayoutError
from dccwire.formats import FORMATS, RESERVED, Format, Instruction, Provenance

__all__ = [
    "NO_TABLE",
    "OPENINGS",
    "WHOLE_PACKETS",
    "Entry",
    "Opening",
    "check_overlaps",
    "reserved_clause",
]


class Entry(NamedTuple):
    """A format as the tables hold it: a word of `size` bytes matches if `word & mask == fixed`."""

    size: int
    ones: int
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
    table: tuple[tuple[Entry, ...], ...] | None
    reserved: bool


def check_overlaps(formats: Iterable[Format]) -> None:
    """Refuse formats that match the same bytes with equally many fixed bits.

    Raises:
        LayoutError: naming both.
    """
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


def reserved_clause(rest: bytes) -> str:
    r"""The clause that reserves the code which these instruction bytes open with; empty if none.

    >>> reserved_clause(b"\x04"), reserved_clause(b"\xde")
    ('S-9.2.1 §C, Decoder Control', '')
    """
    for layout, clause in RESERVED:
        if layout.matches(rest[: layout.size]) and (layout.size > 1 or rest[0] not in ASSIGNED):
            return clause
    return ""


def _first_bytes(form: Format) -> Iterable[int]:
    """The legal first bytes of a format."""
    layout = form.layout
    shift = 8 * (layout.size - 1)
    for code in range(256):
        word = code << shift
        legal = all(
            kind.table is None
            or any(run.shift < shift for run in layout.fields[name].runs)
            or layout.fields[name].take(word) in kind.table
            for name, kind in form.cls.kinds.items()
        )
        if legal and not (word ^ layout.fixed) & layout.fixed_mask >> shift << shift:
            yield code


def _table(partition: Partition) -> tuple[tuple[Entry, ...], ...]:
    table: list[list[Entry]] = [[] for _ in range(256)]
    for form, entry in _ENTRIES:
        if partition in form.partitions:
            for code in _first_bytes(form):
                table[code].append(entry)
    return tuple(map(tuple, table))


def _entry(form: Format) -> Entry:
    layout, ones = form.layout, (1 << 8 * form.layout.size) - 1
    mask, fixed = layout.fixed_mask, layout.fixed
    return Entry(layout.size, ones, form.ends, mask, fixed, form.build, form.take_address)


check_overlaps(FORMATS)

_ENTRIES = [
    (form, _entry(form))
    for form in sorted(FORMATS, key=lambda form: -form.fixed_bits)
    if not form.reading
]

ASSIGNED = frozenset(
    code
    for form in FORMATS
    if form.provenance is not Provenance.FROM_MEMORY and not form.address
    for code in _first_bytes(form)
)
"""The opening bytes to which the 2012 editions give a meaning."""

WHOLE_PACKETS: tuple[tuple[Entry, ...], ...] = tuple(
    tuple(entry for form, entry in _ENTRIES if form.address and form.layout.size == size)
    for size in range(6)
)
"""The accessory packets by their size without the error byte."""


NO_TABLE: tuple[tuple[Entry, ...], ...] = ((),) * 256
"""The table of a first byte whose packets have no instructions that are known."""


def _opening(first: int, tables: dict[Partition, tuple[tuple[Entry, ...], ...]]) -> Opening:
    if first == 0:
        return Opening(BROADCAST, tables[Partition.BROADCAST], False)
    if first in Partition.SHORT.value:
        return Opening(ShortAddress(first), tables[Partition.SHORT], False)
    if first in Partition.ACCESSORY.value:
        return Opening(AccessoryByteAddress(first), None, False)
    if first in Partition.LONG.value:
        return Opening(None, tables[Partition.LONG], False)
    if first in Partition.RESERVED.value:
        return Opening(ReservedAddress(first), NO_TABLE, True)
    return Opening(IDLE, tables[Partition.IDLE], False)


def _openings() -> tuple[Opening, ...]:
    kinds = (Partition.BROADCAST, Partition.SHORT, Partition.LONG, Partition.IDLE)
    tables = {partition: _table(partition) for partition in kinds}
    return tuple(_opening(first, tables) for first in range(256))


OPENINGS = _openings()
"""What each first byte announces."""
