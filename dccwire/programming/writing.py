"""The packets that turn one set of CVs into another: on the main, or on a programming track.

Writing on the main changes every decoder at that address. A programming track is limited in
energy: more than 250 mA may not last longer than 100 ms (S-9.2.3 §B). How often an instruction is
sent on a programming track, and what stands around it, is the programmer's sequence, not told here.
"""

from __future__ import annotations

from collections.abc import Collection

from dccwire.address import IDLE, LongAddress, ShortAddress
from dccwire.cv.changes import EXTENDED_BIT, writes
from dccwire.cv.cv_set import CvSet
from dccwire.cv.own_address import OwnAddress, answers_after, refuse_other_address
from dccwire.cv.values import DecoderKind
from dccwire.errors import FieldError
from dccwire.instructions import CvAccessLongForm, CvOperation, Idle
from dccwire.packet import Packet
from dccwire.service_mode import DirectByteAccess

__all__ = ["operations_packets", "programming_track_instructions"]

_IDLE = Packet(IDLE, Idle())


def programming_track_instructions(
    old: CvSet,
    new: CvSet,
    *,
    force: Collection[int] = (),
    decoder: DecoderKind = DecoderKind.MULTI_FUNCTION,
) -> tuple[DirectByteAccess, ...]:
    """A direct mode write for each of `dccwire.cv.writes`, in order; arguments and errors as there.

    >>> programming_track_instructions(CvSet({29: 6}), CvSet({29: 38}))
    (DirectByteAccess(operation=CvOperation.WRITE, cv=29, value=38),)
    """
    return tuple(
        DirectByteAccess(CvOperation.WRITE, one.cv, one.value)
        for one in writes(old, new, force=force, decoder=decoder)
    )


def operations_packets(
    old: CvSet,
    new: CvSet,
    address: ShortAddress | LongAddress,
    *,
    force: Collection[int] = (),
) -> tuple[Packet, ...]:
    r"""Each of `dccwire.cv.writes` as two identical packets, on the main (S-9.2.1 §C).

    The change counts with the second, and for every decoder at that address. The writes that make
    a decoder answer to another address (CV 1, CV 18 while the long address is in use, bit 5 of
    CV 29) go last, and what comes after them is sent to the new address.

    An idle packet stands between each two packets, of the same write and of two: a decoder need
    only act on packets whose end bit and next start bit are 5 ms or more apart, and closer ones to
    the same address must not be sent from 112 to 127 (S-9.2 §C and its footnote 11; C13). After a
    preamble of 14 ones the idle packet alone lasts 5.8 ms at nominal timing. It does not cancel a
    pending write, as it is no packet to the decoder (S-9.2.1 §C, CV access long form).

    Args:
        old: what the decoder holds, as far as it is known.
        new: what it shall hold; what is not in it stays.
        address: what the decoder answers to now. Bit 5 of CV 29 decides whether CV 1 or CV 17 and
            18 of `old` must agree with it; where `old` tells neither, it is taken as it is.
        force: those of CV 7 and 8 that shall be written although they are read-only; 8 in CV 8 is
            a factory reset by common practice (no source), see `writes`.

    Raises:
        FieldError: as `writes`; or the address is none of a multi-function decoder; or it is not
            the one that `old` tells; or it is that of the decoder's consist (S-9.2.1 §C), and CV 1
            and 29 of `old` do not both say that it is the decoder's own too; or writes are left
            when the decoder answers to an address that neither set tells.

    >>> new = CvSet({17: 196, 18: 181, 29: 38})
    >>> packets = operations_packets(CvSet({1: 3, 29: 6}), new, ShortAddress(3))
    >>> print(*packets[:6], sep="\n")
    short 3: CvAccessLongForm operation=write cv=17 value=196
    idle: Idle
    short 3: CvAccessLongForm operation=write cv=17 value=196
    idle: Idle
    short 3: CvAccessLongForm operation=write cv=18 value=181
    idle: Idle
    """
    answers: OwnAddress | None = refuse_other_address(old, address)
    held = {key: value for key, value in old.items() if isinstance(key, int)}
    packets: list[Packet] = []
    for one in writes(old, new, force=force):
        if answers is None:
            needed = "CV 17" if held[29] & EXTENDED_BIT else "CV 1"
            hint = f"the decoder answers to it when CV {one.cv} is written"
            raise FieldError(needed, "an address", held.get(1), hint)
        packet = Packet(answers, CvAccessLongForm(CvOperation.WRITE, one.cv, one.value))
        packets += [packet, _IDLE, packet, _IDLE]
        held[one.cv] = one.value
        answers = answers_after(one.cv, held, answers)
    return tuple(packets[:-1])
