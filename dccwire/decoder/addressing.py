"""Whom a decoder listens to: its own address, its consist's, the broadcast (S-9.2.1 §A to C).

Room: imports `address`, `cv` and `storage`.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from dccwire.address import BROADCAST, Address, LongAddress, ShortAddress
from dccwire.cv import ConsistAddress
from dccwire.cv.changes import EXTENDED_BIT
from dccwire.decoder.storage import Storage


class Role(NamedTuple):
    """What packets to an address mean to a decoder.

    `own`: every instruction counts, else those of a consist alone. `moves`: speed and direction
    count. `reversed`: direction is that of the consist, in which the unit stands reversed.
    """

    own: bool
    moves: bool
    reversed: bool
    broadcast: bool = False


def own_address(storage: Storage) -> ShortAddress | LongAddress | None:
    """CV 1, or the extended address if CV 29 bit 5 is set; None if they hold no address.

    CV 1 = 0 asks for another power source (S-9.2.2, CV 1): here the decoder is left with broadcast
    and consist packets.
    """
    if storage.read(29) & EXTENDED_BIT:
        number = storage.extended - (192 << 8)
        return LongAddress(number) if number in LongAddress.bound else None
    short = storage.read(1)
    return ShortAddress(short) if short in ShortAddress.bound else None


def consist_of(storage: Storage) -> ShortAddress | None:
    """The consist address of CV 19 bits 6-0; None for 0."""
    number = _consist(storage).address
    return ShortAddress(number) if number else None


def _consist(storage: Storage) -> ConsistAddress:
    return ConsistAddress.from_cvs({19: storage.read(19)})


def roles(storage: Storage) -> dict[Address, Role]:
    """The addresses that concern a decoder.

    In a consist speed and direction count at the consist address only, unless the own address is
    the same (S-9.2.1 §C, Consist Control). Then CV access counts there too, as at any own address:
    that a decoder does not take it at its consist's (S-9.2.1 §C, CV access long form) still keeps
    the other units of the consist from it; our choice, the text does not speak of the case. A
    broadcast moves a unit as its consist address would, so that a reversed unit does not work
    against the others (the standard is silent).
    """
    own, consist = own_address(storage), consist_of(storage)
    turned = consist is not None and _consist(storage).reversed
    found: dict[Address, Role] = {BROADCAST: Role(True, True, turned, broadcast=True)}
    if consist is not None:
        found[consist] = Role(False, True, turned)
    if own is not None:
        found[own] = Role(True, consist in (None, own), turned)
    return found


def others(addresses: Iterable[Address]) -> frozenset[bytes]:
    r"""The first bytes of packets that concern none of these addresses.

    >>> sorted({b"\x00", b"\x03", b"\xcb"} - others([ShortAddress(3), LongAddress(3000)]))
    [b'\x03', b'\xcb']
    """
    ours = {one.header[:1] for one in addresses if isinstance(one, OPENING)}
    return ALL_BYTES - ours


ALL_BYTES = frozenset(bytes((byte,)) for byte in range(256))

OPENING = (type(BROADCAST), ShortAddress, LongAddress)
"""The addresses with bytes of their own that a multi-function decoder can have."""
