"""Read, verify and write one CV: on a programming track (S-9.2.3 §E), and on the main.

Room: one session an operation; lists and sets of CVs are elsewhere.

**What is never reported.** Verify answers only yes or no, and answers get lost. So each value read
is asked for once more, as a whole, and only an acknowledgement of that makes it a result. However
many packets or acknowledgements are lost, and whatever else is taken for one, no wrong value is
reported, unless something that is no acknowledgement is taken for one in the confirming verify
itself, or, in paged mode, in the verify of the page register. Register and address-only mode rely
on the page preset and on the power-on cycle for page 1.

**On the main** a write reaches every decoder at the address, wherever it stands, and a consist's
address is no place for it: two engines of the same number get the same CV. Nobody answers, so there
is nothing to confirm. A decoder need only act on packets to it that lie 5 ms or more apart, from
end bit to start bit (S-9.2 §C; C13), and at addresses 112 to 127 closer ones could be taken for
service mode (footnote 11). Back to back two packets would lie a preamble apart, 1.6 ms. An idle
packet takes 5.8 ms at nominal timing, 5.5 ms at the least, and does not cancel the write that waits
for its second packet (S-9.2.1 §C). So one follows each packet, the last one too: a session's
packets keep their distance from those of the next.
"""

from __future__ import annotations

from collections.abc import Iterable

from dccwire.address import Address
from dccwire.cv.catalogue import READ_ONLY, entry
from dccwire.errors import ConfirmationError, FieldError
from dccwire.instructions import CvAccessLongForm, CvBitManipulation, CvOperation
from dccwire.packet import Packet
from dccwire.programming.counts import MainCounts
from dccwire.programming.sequencer import DEFAULT, Sequencer, Setup
from dccwire.programming.session import IDLE, Course, Session, Step
from dccwire.programming.targets import DirectCv, Target

__all__ = [
    "read_byte",
    "verify_bit",
    "verify_byte",
    "write_bit",
    "write_bit_on_main",
    "write_byte",
    "write_byte_on_main",
]

MAIN = MainCounts()


def read_byte(target: Target, setup: Setup = DEFAULT) -> Session[int]:
    """Read a CV.

    Direct mode asks for each bit and then for the byte they make; the other modes compare all
    values, from 0 on, until one is acknowledged, and ask for that once more (common practice, no
    source). The result is the value; a `ConfirmationError` if it was not confirmed, or if no value
    was acknowledged.

    >>> read_byte(DirectCv(1025))
    Traceback (most recent call last):
    dccwire.errors.FieldError: cv: 1 to 1024 expected, 1025 given
    """
    sequencer = Sequencer(target, setup)
    return sequencer.session(reading(sequencer, target))


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
    return sequencer.session(sequencer.ask(target, target.verify(value)))


def verify_bit(target: DirectCv, bit: int, value: int, setup: Setup = DEFAULT) -> Session[bool]:
    """Ask whether a bit, 0 to 7, of a CV is `value`, 0 or 1, in direct mode."""
    sequencer = Sequencer(target, setup)
    return sequencer.session(sequencer.ask(target, target.verify_bit(bit, value)))


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
    for afterwards, and a `ConfirmationError` comes if that stays silent. A write to CV 1, by any
    mode, clears bit 5 of CV 29 and CV 19 (S-9.2.3 §E).

    Raises:
        FieldError: a value outside the mode's; or CV 7 or CV 8, which are read-only, without
            `force_read_only`.

    >>> write_byte(DirectCv(256), 256)
    Traceback (most recent call last):
    dccwire.errors.FieldError: value: 0 to 255 expected, 256 given
    """
    _refuse_read_only(target.cv, force_read_only)
    sequencer = Sequencer(target, setup)
    confirmed = value if confirm else None
    return sequencer.session(sequencer.write(target, target.write(value), confirmed))


def write_bit(
    target: DirectCv, bit: int, value: int, setup: Setup = DEFAULT, *, force_read_only: bool = False
) -> Session[bool]:
    """Store a bit of a CV, in direct mode; otherwise as `write_byte`."""
    _refuse_read_only(target.cv, force_read_only)
    sequencer = Sequencer(target, setup)
    return sequencer.session(sequencer.write(target, target.write_bit(bit, value)))


def write_byte_on_main(
    address: Address,
    cv: int,
    value: int,
    counts: MainCounts = MAIN,
    *,
    force_read_only: bool = False,
) -> Session[None]:
    r"""Two identical packets that store a value in a CV of every decoder at this address.

    An idle packet follows each. No other packet to that decoder and no broadcast may come between
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
