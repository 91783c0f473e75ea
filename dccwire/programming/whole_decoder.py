"""What is asked of a decoder, or done to it, as a whole (S-9.2.3 §E, appendices A and B).

The pages of the standard at hand give the counts of the hard reset cycle; for the address query and
the decoder lock they give the packet alone, so both have the shape and the counts of direct mode,
which is our reading. Room: sessions that read and write no single CV.
"""

from __future__ import annotations

from dccwire.address import BROADCAST, Address, BroadcastAddress, LongAddress, Mode, ShortAddress
from dccwire.cv.values import within
from dccwire.errors import FieldError
from dccwire.instructions import HardReset
from dccwire.packet import Packet
from dccwire.programming.counts import DirectCounts, HardResetCounts
from dccwire.programming.sequencer import DEFAULT, Sequencer, Setup
from dccwire.programming.session import RESET, Course, Session, Step
from dccwire.programming.targets import DirectCv, Register, service
from dccwire.service_mode import AddressQuery, DecoderFactoryReset, DecoderLock

__all__ = ["address_query", "decoder_lock", "factory_reset", "find_direct_mode", "hard_reset_cycle"]

HARD_RESET = HardResetCounts()
DIRECT = DirectCounts()
SHORT = range(1, 112)
"""Short addresses whose packets a programming track does not read as registers (P12)."""
BY_DIRECT_MODE = DirectCv(8)
"""The CV by which direct mode is found; for the query and the lock any other would do."""


def find_direct_mode(setup: Setup = DEFAULT) -> Session[bool]:
    """Whether the decoder knows direct mode: it confirms bit 7 of CV 8 as 0 or as 1.

    Both are asked (S-9.2.3 §E, Direct Mode); an acknowledgement of either means yes.
    """
    sequencer = Sequencer(BY_DIRECT_MODE, setup)

    def both() -> Course[bool]:
        clear = yield from sequencer.ask(BY_DIRECT_MODE, BY_DIRECT_MODE.verify_bit(7, 0))
        set_ = yield from sequencer.ask(BY_DIRECT_MODE, BY_DIRECT_MODE.verify_bit(7, 1))
        return clear or set_

    return sequencer.session(both())


def factory_reset(setup: Setup = DEFAULT) -> Session[bool]:
    """Set all CVs to the manufacturer's values, by the sequence of register mode (P11).

    CV 8 reads 255 until all of them are rewritten, over several power-on cycles. The result says
    whether the write was acknowledged.
    """
    target = Register(8)
    sequencer = Sequencer(target, setup)
    return sequencer.session(sequencer.write(target, service(DecoderFactoryReset())))


def hard_reset_cycle(
    address: Address = BROADCAST, counts: HardResetCounts = HARD_RESET, *, power_on: bool = True
) -> Session[None]:
    """A hard reset instruction, then ten resets (S-9.2.3 §E, Hard-Reset-Cycle).

    The standard does not say to which address (P14): to all, unless one is given. A hard reset to
    short address 112 to 127 is a register packet there (P10), 125 the page preset.

    Raises:
        FieldError: another address.
    """
    short = isinstance(address, ShortAddress) and address.number in SHORT
    if not short and not isinstance(address, BroadcastAddress | LongAddress):
        raise FieldError("address", "broadcast, long, or short 1 to 111", address)
    packet = Packet(address, HardReset())

    def course() -> Course[None]:
        if power_on:
            yield Step(RESET, counts.power_on, counts.preamble, power_on=True)
        yield Step(packet, counts.hard_resets, counts.preamble)
        yield Step(RESET, counts.after, counts.preamble)

    return Session(course())


def address_query(
    number: int, counts: DirectCounts = DIRECT, *, power_on: bool = True
) -> Session[bool]:
    """Ask whether a decoder has this short address, 1 to 111 (S-9.2.3 Appendix A; P12).

    Advised only after reading CV 1 in direct or paged mode has failed. Silence is no proof.
    """
    within("address", number, SHORT[0], SHORT[-1])
    packet = Packet(ShortAddress(number), AddressQuery(), mode=Mode.SERVICE)
    sequencer = Sequencer(BY_DIRECT_MODE, Setup(counts, power_on))
    return sequencer.session(sequencer.ask(BY_DIRECT_MODE, packet))


def decoder_lock(
    unlocked: int, counts: DirectCounts = DIRECT, *, power_on: bool = True
) -> Session[None]:
    """Make all decoders but that of one short address, 1 to 127, ignore service mode.

    They stay locked through a power cycle, until a valid packet comes that is neither a service
    mode packet nor a lock for another address (S-9.2.3 Appendix B; P13). Whether a reset is such a
    packet is not stated (P19), so none follows the lock here.
    """
    packet = Packet(BROADCAST, DecoderLock(unlocked), mode=Mode.SERVICE)
    sequencer = Sequencer(BY_DIRECT_MODE, Setup(counts, power_on))

    def course() -> Course[None]:
        yield from sequencer.resets(counts.resets)
        yield sequencer.step(packet, counts.writes)

    return sequencer.session(course())
