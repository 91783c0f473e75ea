"""Read, verify and write one CV: on a programming track (S-9.2.3 §E), and on the main.

Also what is asked of a decoder, or done to it, as a whole (S-9.2.3 §E, appendices A and B). The
pages of the standard at hand give the counts of the hard reset cycle; for the address query and the
decoder lock they give the packet alone, so both have the shape and the counts of direct mode, which
is our reading. Room: one session an operation; lists and sets of CVs are elsewhere.

**What is never reported.** Silence is the only no, and answers get lost. So each value read
is asked for once more, as a whole, and only an acknowledgement of that makes it a result. However
many packets or acknowledgements are lost, and whatever else is taken for one, no wrong value is
reported, unless something that is no acknowledgement is taken for one in the confirming verify
itself, or, in paged mode, in the verify of the page register. Register and address-only mode rely
on the page preset and on the power-on cycle for page 1.

**On the main** nobody answers, and a write reaches every decoder at the address: two engines of one
number get the same CV, and a consist's address is no place for it. An idle packet follows each
packet, the last one too: packets to one decoder are 5 ms apart then (S-9.2 §C; C13; at 112 to 127
footnote 11), and the write that waits for its second packet is not cancelled (S-9.2.1 §C).
"""

from __future__ import annotations

from collections.abc import Iterable

from dccwire.address import BROADCAST, Address, BroadcastAddress, LongAddress, Mode, ShortAddress
from dccwire.counts import DirectCounts, HardResetCounts, MainCounts
from dccwire.cv.catalogue import READ_ONLY, entry
from dccwire.cv.values import within
from dccwire.errors import ConfirmationError, FieldError
from dccwire.instructions import CvAccessLongForm, CvBitManipulation, CvOperation, HardReset
from dccwire.packet import Packet
from dccwire.programming.sequencer import DEFAULT, Sequencer, Setup
from dccwire.programming.session import IDLE, RESET, Course, Session, Step
from dccwire.programming.targets import DirectCv, Register, Target, service
from dccwire.service_mode import AddressQuery, DecoderFactoryReset, DecoderLock

__all__ = [
    "address_query",
    "decoder_lock",
    "factory_reset",
    "find_direct_mode",
    "hard_reset_cycle",
    "read_byte",
    "verify_bit",
    "verify_byte",
    "write_bit",
    "write_bit_on_main",
    "write_byte",
    "write_byte_on_main",
]

MAIN = MainCounts()
HARD_RESET = HardResetCounts()
DIRECT = DirectCounts()
SHORT = range(1, 112)
"""Short addresses whose packets a programming track does not read as registers (P12)."""
BY_DIRECT_MODE = DirectCv(8)
"""The CV by which direct mode is found; for the query and the lock any other would do."""


def read_byte(target: Target, setup: Setup = DEFAULT) -> Session[int]:
    """Read a CV.

    Direct mode asks for each bit and then for the byte they make; the other modes compare all
    values, from 0 on, until one is acknowledged, and ask for that once more (common practice, no
    source). The result is the value; a `ConfirmationError` if it was not confirmed, or if no value
    was acknowledged.
    """
    sequencer = Sequencer(target, setup)
    return Session(sequencer.whole(reading(sequencer, target)))


def reading(sequencer: Sequencer, target: Target) -> Course[int]:
    """The verify groups that read a target."""
    if isinstance(target, DirectCv):
        value = 0
        for bit in range(8):
            if (yield from sequencer.ask(target, target.verify_bit(bit, 1))):
                value |= 1 << bit
    else:
        values = target.procedure.values
        for value in values:
            if (yield from sequencer.ask(target, target.verify(value))):
                break
        else:
            raise ConfirmationError(str(target), None, f"verify of {values[0]} to {values[-1]}")
    yield from sequencer.confirm(target, value, read=value)
    return value


def verify_byte(target: Target, value: int, setup: Setup = DEFAULT) -> Session[bool]:
    """Ask whether a CV holds a value; the result says whether that was acknowledged.

    Silence is no proof: an acknowledgement, or every packet, may have been lost. A register page
    that the decoder does not confirm is a `ConfirmationError`, here as in all of paged mode.
    """
    sequencer = Sequencer(target, setup)
    return Session(sequencer.whole(sequencer.ask(target, target.verify(value))))


def verify_bit(target: DirectCv, bit: int, value: int, setup: Setup = DEFAULT) -> Session[bool]:
    """Ask whether a bit, 0 to 7, of a CV is `value`, 0 or 1, in direct mode."""
    sequencer = Sequencer(target, setup)
    return Session(sequencer.whole(sequencer.ask(target, target.verify_bit(bit, value))))


def write_byte(
    target: Target,
    value: int,
    setup: Setup = DEFAULT,
    *,
    confirm: bool = False,
    force_read_only: bool = False,
) -> Session[bool]:
    """Store a value in a CV; the result says whether the write was acknowledged.

    A decoder may acknowledge a write but need not (S-9.2.3 §D); with `confirm` the value is asked
    for afterwards, and a `ConfirmationError` comes if that stays silent. With CV 1, in whatever
    mode, a decoder also sets bit 5 of CV 29 and CV 19 to 0 (S-9.2.3 §E).

    Raises:
        FieldError: a value outside the mode's; or CV 7 or CV 8, which are read-only, without
            `force_read_only`.
    """
    _refuse_read_only(target.cv, force_read_only)
    sequencer = Sequencer(target, setup)
    confirmed = value if confirm else None
    return Session(sequencer.whole(sequencer.write(target, target.write(value), confirmed)))


def write_bit(
    target: DirectCv, bit: int, value: int, setup: Setup = DEFAULT, *, force_read_only: bool = False
) -> Session[bool]:
    """Store a bit of a CV, in direct mode; otherwise as `write_byte`."""
    _refuse_read_only(target.cv, force_read_only)
    sequencer = Sequencer(target, setup)
    return Session(sequencer.whole(sequencer.write(target, target.write_bit(bit, value))))


def write_byte_on_main(
    address: Address,
    cv: int,
    value: int,
    counts: MainCounts = MAIN,
    *,
    force_read_only: bool = False,
) -> Session[None]:
    r"""Two identical packets that store a value in a CV of every decoder at this address.

    An idle packet follows each. Nothing else for that decoder, and no broadcast, may come between
    (S-9.2.1 §C, CV access long form). Packets of six bytes take no more than 30 ms from start to
    start (S-9.2.1 footnote 7).

    Raises:
        FieldError: a CV or value out of bounds; CV 7 or CV 8 without `force_read_only`.
        PacketError: an address that has no such packets: an accessory's, or that of the idle.

    >>> from dccwire import LongAddress
    >>> from dccwire.programming import Answer, conversation
    >>> session = write_byte_on_main(LongAddress(3000), cv=4, value=12)
    >>> talk = conversation(session, lambda sent: Answer.SILENCE)
    >>> print(*[str(sent.packet) for sent, _ in talk][:2], sep="\n")
    long 3000: CvAccessLongForm operation=write cv=4 value=12
    idle: Idle
    """
    _refuse_read_only(cv, force_read_only)
    packet = Packet(address, CvAccessLongForm(CvOperation.WRITE, cv, value))
    return Session(course_on_main([packet], counts))


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
    _refuse_read_only(cv, force_read_only)
    packet = Packet(address, CvBitManipulation(CvOperation.WRITE, cv, bit, value))
    return Session(course_on_main([packet], counts))


def course_on_main(packets: Iterable[Packet], counts: MainCounts = MAIN) -> Course[None]:
    """Each packet as often as it takes, with the idle packets after it."""
    for packet in packets:
        for _ in range(counts.writes):
            yield Step(packet, 1, counts.preamble)
            yield Step(IDLE, counts.idles, counts.preamble)


def _refuse_read_only(cv: int | None, forced: bool) -> None:
    if cv in READ_ONLY and not forced:
        hint = f"CV {cv} is the read-only {entry(cv).name} (S-9.2.2); force_read_only writes it"
        raise FieldError("cv", "a CV that can be written", cv, hint)


def find_direct_mode(setup: Setup = DEFAULT) -> Session[bool]:
    """Whether the decoder knows direct mode: it confirms bit 7 of CV 8 as 0 or as 1.

    Both are asked (S-9.2.3 §E, Direct Mode); it is there if either is acknowledged.
    """
    sequencer = Sequencer(BY_DIRECT_MODE, setup)

    def both() -> Course[bool]:
        clear = yield from sequencer.ask(BY_DIRECT_MODE, BY_DIRECT_MODE.verify_bit(7, 0))
        set_ = yield from sequencer.ask(BY_DIRECT_MODE, BY_DIRECT_MODE.verify_bit(7, 1))
        return clear or set_

    return Session(sequencer.whole(both()))


def factory_reset(setup: Setup = DEFAULT) -> Session[bool]:
    """Set all CVs to the manufacturer's values, by the sequence of register mode (P11).

    Until all are stored, which may take some power-on cycles, 255 is read from CV 8. The result
    says whether the write was acknowledged.
    """
    target = Register(8)
    sequencer = Sequencer(target, setup)
    return Session(sequencer.whole(sequencer.write(target, service(DecoderFactoryReset()))))


def hard_reset_cycle(
    address: Address = BROADCAST, counts: HardResetCounts = HARD_RESET, *, power_on: bool = True
) -> Session[None]:
    """A hard reset instruction, then ten resets (S-9.2.3 §E, Hard-Reset-Cycle).

    The standard does not say to which address (P14): to all, unless one is given. A hard reset to
    short address 112 to 127 is a register packet there (P10), 125 the page preset: a FieldError.
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
    return Session(sequencer.whole(sequencer.ask(BY_DIRECT_MODE, packet)))


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

    return Session(sequencer.whole(course()))
