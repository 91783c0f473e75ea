"""CV writes in operations mode: programming on the main (S-9.2.1 §C, CV access long form).

A write on the main reaches every decoder at the address, wherever it stands, and a consist's
address is no place for it: two engines of the same number get the same CV. Nobody answers, so
there is nothing to confirm. Room: the second packet that makes a write valid.
"""

from __future__ import annotations

from dccwire.address import Address
from dccwire.instructions import CvAccessLongForm, CvBitManipulation, CvOperation
from dccwire.packet import Packet
from dccwire.programming.counts import MainCounts
from dccwire.programming.reading import refuse_read_only
from dccwire.programming.session import Session
from dccwire.programming.steps import Course, Kind, Step

__all__ = ["write_bit_on_main", "write_byte_on_main"]

MAIN = MainCounts()


def write_byte_on_main(
    address: Address,
    cv: int,
    value: int,
    counts: MainCounts = MAIN,
    *,
    force_read_only: bool = False,
) -> Session[None]:
    """Two identical packets that store a value in a CV of every decoder at this address.

    Between them go no other packet to that decoder and no broadcast (S-9.2.1 §C, CV access long
    form): the session's packets follow one another. Packets of six bytes take no more than 30 ms
    from start to start (S-9.2.1 footnote 7).

    Raises:
        FieldError: a CV or value out of bounds; CV 7 or CV 8 without `force_read_only`.
        PacketError: an address that has no such packets: an accessory's, or that of the idle.

    >>> from dccwire import LongAddress
    >>> session = write_byte_on_main(LongAddress(3000), cv=4, value=12)
    >>> print(session.sending.packet, session.sending.preamble)
    long 3000: CvAccessLongForm operation=write cv=4 value=12 14
    """
    return _twice(address, CvAccessLongForm(CvOperation.WRITE, cv, value), counts, force_read_only)


def write_bit_on_main(
    address: Address,
    cv: int,
    bit: int,
    value: int,
    counts: MainCounts = MAIN,
    *,
    force_read_only: bool = False,
) -> Session[None]:
    """The same for one bit, 0 to 7, of a CV."""
    one = CvBitManipulation(CvOperation.WRITE, cv, bit, value)
    return _twice(address, one, counts, force_read_only)


def _twice(
    address: Address,
    one: CvAccessLongForm | CvBitManipulation,
    counts: MainCounts,
    force_read_only: bool,
) -> Session[None]:
    refuse_read_only(one.cv, force_read_only)
    return Session(_course(Packet(address, one), counts))


def _course(packet: Packet, counts: MainCounts) -> Course[None]:
    yield Step(packet, counts.writes, Kind.FILLING, counts.preamble)
