"""The hard reset cycle, the address query and the decoder lock (S-9.2.3 §E, appendices A and B).

The pages of the standard at hand give the hard reset cycle's counts; for the query and the lock
they give the packet alone, so both have the shape and the counts of direct mode, which is our
reading. Room: sessions that read and write no CV.
"""

from __future__ import annotations

from dccwire.address import (
    BROADCAST,
    Address,
    BroadcastAddress,
    LongAddress,
    Mode,
    ShortAddress,
)
from dccwire.errors import FieldError
from dccwire.instructions import HardReset
from dccwire.packet import Packet
from dccwire.programming.counts import DirectCounts, HardResetCounts
from dccwire.programming.session import Session
from dccwire.programming.steps import RESET, Course, Kind, Step
from dccwire.service_mode import AddressQuery, DecoderLock

__all__ = ["address_query", "decoder_lock", "hard_reset_cycle"]

HARD_RESET = HardResetCounts()
DIRECT = DirectCounts()
SHORT = range(1, 112)
"""Short addresses whose packets a programming track does not read as registers (P12)."""


def hard_reset_cycle(
    address: Address = BROADCAST, counts: HardResetCounts = HARD_RESET, *, power_on: bool = True
) -> Session[None]:
    """A hard reset instruction, then ten resets (S-9.2.3 §E, Hard-Reset-Cycle).

    The standard does not say to which address (P14): to all, unless one is given. A hard reset to
    short address 112 to 127 is a register packet there (P10), 125 the page preset.

    Raises:
        FieldError: another address.

    >>> hard_reset_cycle(ShortAddress(125))
    Traceback (most recent call last):
    dccwire.errors.FieldError: address: broadcast, long, or short 1 to 111 expected, \
ShortAddress(number=125) given
    """
    short = isinstance(address, ShortAddress) and address.number in SHORT
    if not short and not isinstance(address, BroadcastAddress | LongAddress):
        raise FieldError("address", "broadcast, long, or short 1 to 111", address)
    packet = Packet(address, HardReset())
    return Session(_hard_reset(packet, counts, power_on=power_on))


def _hard_reset(packet: Packet, counts: HardResetCounts, *, power_on: bool) -> Course[None]:
    if power_on:
        yield Step(RESET, counts.power_on, Kind.FILLING, counts.preamble, power_on=True)
    yield Step(packet, counts.hard_resets, Kind.FILLING, counts.preamble)
    yield Step(RESET, counts.after, Kind.FILLING, counts.preamble)


def address_query(
    number: int, counts: DirectCounts = DIRECT, *, power_on: bool = True
) -> Session[bool]:
    """Ask whether a decoder has this short address, 1 to 111 (S-9.2.3 Appendix A; P12).

    Advised only after reading CV 1 in direct or paged mode has failed. Silence is no proof.

    >>> address_query(112)
    Traceback (most recent call last):
    dccwire.errors.FieldError: address: 1 to 111 expected, 112 given
    """
    if type(number) is not int or number not in SHORT:
        raise FieldError("address", "1 to 111", number)
    packet = Packet(ShortAddress(number), AddressQuery(), mode=Mode.SERVICE)
    return Session(_query(packet, counts, power_on=power_on))


def _query(packet: Packet, counts: DirectCounts, *, power_on: bool) -> Course[bool]:
    yield from _entry(counts, power_on=power_on)
    acknowledged = yield Step(packet, counts.verifies, Kind.VERIFY, counts.preamble)
    if acknowledged:
        yield Step(RESET, counts.acknowledged_resets, Kind.FILLING, counts.preamble)
    return acknowledged


def decoder_lock(
    unlocked: int, counts: DirectCounts = DIRECT, *, power_on: bool = True
) -> Session[None]:
    """Make all decoders but that of one short address, 1 to 127, ignore service mode.

    They stay locked through a power cycle, until a valid packet comes that is neither a service
    mode packet nor a lock for another address (S-9.2.3 Appendix B; P13). Whether a reset is such a
    packet is not stated (P19), so none follows the lock here.

    >>> decoder_lock(0)
    Traceback (most recent call last):
    dccwire.errors.FieldError: unlocked: 1 to 127 expected, 0 given
    """
    packet = Packet(BROADCAST, DecoderLock(unlocked), mode=Mode.SERVICE)
    return Session(_lock(packet, counts, power_on=power_on))


def _lock(packet: Packet, counts: DirectCounts, *, power_on: bool) -> Course[None]:
    yield from _entry(counts, power_on=power_on)
    yield Step(packet, counts.writes, Kind.FILLING, counts.preamble)


def _entry(counts: DirectCounts, *, power_on: bool) -> Course[None]:
    if power_on:
        yield Step(RESET, counts.power_on, Kind.FILLING, counts.preamble, power_on=True)
    yield Step(RESET, counts.resets, Kind.FILLING, counts.preamble)
