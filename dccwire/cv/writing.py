"""The packets that turn one set of CVs into another: on the main, or on a programming track.

Writing on the main changes every decoder at that address. A programming track is limited in
energy: more than 250 mA may not last longer than 100 ms (S-9.2.3 §B). How often an instruction is
sent on a programming track, and what stands around it, is the programmer's sequence, not told here.
"""

from __future__ import annotations

from collections.abc import Collection

from dccwire.address import LongAddress, ShortAddress
from dccwire.cv.addresses import ExtendedAddress, PrimaryAddress
from dccwire.cv.changes import EXTENDED_BIT, writes
from dccwire.cv.cv_set import CvSet
from dccwire.cv.values import DecoderKind
from dccwire.errors import FieldError
from dccwire.instructions import CvAccessLongForm, CvOperation
from dccwire.packet import Packet
from dccwire.service_mode import DirectByteAccess

__all__ = ["operations_packets", "programming_track_instructions"]


def programming_track_instructions(
    old: CvSet,
    new: CvSet,
    *,
    force: Collection[int] = (),
    decoder: DecoderKind = DecoderKind.MULTI_FUNCTION,
) -> tuple[DirectByteAccess, ...]:
    """A direct mode write for each of `dccwire.cv.writes`, in order; arguments and errors as there.

    >>> programming_track_instructions(CvSet({29: 6}), CvSet({29: 38}))
    (DirectByteAccess(operation=<CvOperation.WRITE: 'write'>, cv=29, value=38),)
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

    Args:
        old: what the decoder holds, as far as it is known.
        new: what it shall hold; what is not in it stays.
        address: what the decoder answers to now.
        force: those of CV 7 and 8 that shall be written although they are read-only.

    Raises:
        FieldError: as `writes`; or the address is none of a multi-function decoder, or that of the
            decoder's consist (S-9.2.1 §C); or writes are left when the decoder answers to an
            address that neither set tells.

    >>> new = CvSet({17: 196, 18: 181, 29: 38, 3: 2})
    >>> packets = operations_packets(CvSet({1: 3, 29: 6}), new, ShortAddress(3))
    >>> print(*packets[::2], sep="\n")
    short 3: CvAccessLongForm operation=write cv=3 value=2
    short 3: CvAccessLongForm operation=write cv=17 value=196
    short 3: CvAccessLongForm operation=write cv=18 value=181
    short 3: CvAccessLongForm operation=write cv=29 value=38
    """
    if not isinstance(address, ShortAddress | LongAddress):
        raise FieldError("address", "a short or a long address", address)
    consist = old.get(19, 0) & 0x7F
    if isinstance(address, ShortAddress) and address.number == consist != old.get(1, consist):
        raise FieldError("address", "the decoder's own, not that of its consist,", address.number)
    held = {key: value for key, value in old.items() if isinstance(key, int)}
    answers: ShortAddress | LongAddress | None = address
    packets: list[Packet] = []
    for one in writes(old, new, force=force):
        if answers is None:
            needed = "CV 17" if held[29] & EXTENDED_BIT else "CV 1"
            bound = f"an address, as the decoder answers to it when CV {one.cv} is written,"
            raise FieldError(needed, bound, held.get(1))
        packet = Packet(answers, CvAccessLongForm(CvOperation.WRITE, one.cv, one.value))
        packets += [packet, packet]
        held[one.cv] = one.value
        answers = _answers_after(one.cv, held, answers)
    return tuple(packets)


def _answers_after(
    cv: int, held: dict[int, int], before: ShortAddress | LongAddress
) -> ShortAddress | LongAddress | None:
    """What the decoder answers to once a CV is written; None if no set tells."""
    extended = isinstance(before, LongAddress)
    if cv == 29:
        if bool(held[29] & EXTENDED_BIT) == extended:
            return before
        extended = not extended
    elif cv == 1:
        held[29] = held.get(29, 0) & ~EXTENDED_BIT
        extended = False
    elif cv != 18 or not extended:
        return before
    if extended:
        both = 17 in held and 18 in held
        return ExtendedAddress.from_cvs(held).to_address() if both else None
    return PrimaryAddress.from_cvs(held).to_address() if held.get(1) else None
