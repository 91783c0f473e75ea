"""CV writes in operations mode: programming on the main (S-9.2.1 §C, CV access long form).

A write on the main reaches every decoder at the address, wherever it stands, and a consist's
address is no place for it: two engines of the same number get the same CV. Nobody answers, so
there is nothing to confirm. Room: the second packet that makes a write valid, and what lies
between the two.

**Idle packets between.** A decoder need only act on packets to it that lie 5 ms or more apart, from
end bit to start bit (S-9.2 §C; C13), and at addresses 112 to 127 closer ones could be taken for
service mode (footnote 11). Back to back two packets would lie a preamble apart, 1.6 ms. An idle
packet takes 5.8 ms at nominal timing, 5.5 ms at the least, and does not cancel the write that waits
for its second packet (S-9.2.1 §C). So one follows each packet, the last one too: a session's
packets keep their distance from those of the next.
"""

from __future__ import annotations

from collections.abc import Iterable

from dccwire.address import Address
from dccwire.instructions import CvAccessLongForm, CvBitManipulation, CvOperation
from dccwire.packet import Packet
from dccwire.programming.counts import MainCounts
from dccwire.programming.one_cv import refuse_read_only
from dccwire.programming.session import Session
from dccwire.programming.steps import IDLE, Course, Step

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
    >>> print(*(sent.packet for sent, _ in talk), sep="\n")
    long 3000: CvAccessLongForm operation=write cv=4 value=12
    idle: Idle
    long 3000: CvAccessLongForm operation=write cv=4 value=12
    idle: Idle
    """
    refuse_read_only(cv, force_read_only)
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
    refuse_read_only(cv, force_read_only)
    packet = Packet(address, CvBitManipulation(CvOperation.WRITE, cv, bit, value))
    return Session(course_on_main([packet], counts))


def course_on_main(packets: Iterable[Packet], counts: MainCounts = MAIN) -> Course[None]:
    """Each packet as often as it takes, with the idle packets after it."""
    for packet in packets:
        for _ in range(counts.writes):
            yield Step(packet, 1, counts.preamble)
            yield Step(IDLE, counts.idles, counts.preamble)
