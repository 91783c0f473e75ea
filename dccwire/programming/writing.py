"""Make a decoder that holds one set of CVs hold another: on a programming track, or on the main.

What is written, and in which order, is `dccwire.cv.writes`. Room: its writes as sessions.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from dccwire.address import LongAddress, ShortAddress
from dccwire.cv.catalogue import OLD_NUMBERS
from dccwire.cv.changes import (
    EXTENDED_BIT,
    FACTORY_RESET,
    CvWrite,
    OwnAddress,
    answers_after,
    refuse_other_address,
    writes,
)
from dccwire.cv.cv_set import CvSet
from dccwire.cv.values import DecoderKind
from dccwire.errors import FieldError, member
from dccwire.instructions import CvAccessLongForm, CvOperation
from dccwire.packet import Packet
from dccwire.programming.counts import MainCounts
from dccwire.programming.main_track import MAIN, course_on_main
from dccwire.programming.sequencer import DEFAULT, Sequencer, Setup
from dccwire.programming.session import Session
from dccwire.programming.steps import Course
from dccwire.programming.targets import DirectCv, Reach, Target

__all__ = ["write_cvs", "write_cvs_on_main"]


def write_cvs(
    old: CvSet,
    new: CvSet,
    reach: Reach = DirectCv,
    setup: Setup = DEFAULT,
    *,
    confirm: bool = False,
    force: Collection[int] = (),
    decoder: DecoderKind = DecoderKind.MULTI_FUNCTION,
) -> Session[tuple[CvWrite, ...]]:
    """Each of `dccwire.cv.writes` on a programming track, in one session; nothing if there is none.

    The result is the writes that were acknowledged, which a decoder need not do (S-9.2.3 §D). With
    `confirm` each value is asked for right after it was written; if that stays silent a
    `ConfirmationError` comes, and the writes after it are not sent, as they may depend on it. A
    factory reset is not asked for: CV 8 reads 255 then (S-9.2.3 §E).

    Args:
        old: what the decoder holds, as far as it is known.
        new: what it shall hold; what is not in it stays.
        reach: how CVs are got at, one of `REACHES`.
        setup: how the session is carried out.
        confirm: whether each value is asked for.
        force: those of CV 7 and 8 that shall be written although they are read-only.
        decoder: whose CVs they are.

    Raises:
        FieldError: as `dccwire.cv.writes`; or the mode does not reach a CV, or its value.

    >>> from dccwire.programming import Answer
    >>> session = write_cvs(CvSet({29: 6}), CvSet({29: 38}))
    >>> while session.sending is not None:
    ...     session.take(Answer.ACKNOWLEDGED)
    >>> session.sent, session.result  # 20 after power-on, 3 resets, 2 writes, 1 reset
    (26, (CvWrite(cv=29, value=38, why='bit 5: the decoder answers to its other address then'),))
    """
    kind = member(DecoderKind, "decoder", decoder)
    done = writes(old, new, force=force, decoder=kind)
    id_cvs = (8,) if kind is DecoderKind.MULTI_FUNCTION else (8, OLD_NUMBERS + 8)
    resets = [one for one in done if one.cv in id_cvs and one.value == FACTORY_RESET]
    asked = [one for one in done if confirm and one not in resets]
    return Session(course_of_writes(done, asked, reach, setup))


def course_of_writes(
    done: Sequence[CvWrite],
    asked: Collection[CvWrite] = (),
    reach: Reach = DirectCv,
    setup: Setup = DEFAULT,
) -> Course[tuple[CvWrite, ...]]:
    """The steps of `write_cvs`; those `asked` for are confirmed."""
    if not done:
        return ()
    packets = [(one, target := reach(one.cv), target.write(one.value)) for one in done]
    sequencer = Sequencer(target, setup)
    return (yield from sequencer.whole(_each(sequencer, packets, asked)))


def _each(
    sequencer: Sequencer,
    packets: Sequence[tuple[CvWrite, Target, Packet]],
    asked: Collection[CvWrite],
) -> Course[tuple[CvWrite, ...]]:
    acknowledged = []
    for one, target, packet in packets:
        confirmed = one.value if one in asked else None
        if (yield from sequencer.write(target, packet, confirmed)):
            acknowledged.append(one)
    return tuple(acknowledged)


def write_cvs_on_main(
    old: CvSet,
    new: CvSet,
    address: ShortAddress | LongAddress,
    counts: MainCounts = MAIN,
    *,
    force: Collection[int] = (),
) -> Session[None]:
    r"""Each of `dccwire.cv.writes` on the main, as `write_byte_on_main` sends it.

    It counts for every decoder at that address. The writes that make a decoder answer to another
    address (CV 1, CV 18 while the long address is in use, bit 5 of CV 29) go last, and what comes
    after them is sent to the new address.

    Args:
        old: what the decoder holds, as far as it is known.
        new: what it shall hold; what is not in it stays.
        address: what the decoder answers to now. Bit 5 of CV 29 decides whether CV 1 or CV 17 and
            18 of `old` must agree with it; where `old` tells neither, it is taken as it is.
        counts: to send more than the minimum.
        force: as for `write_cvs`.

    Raises:
        FieldError: as `dccwire.cv.writes`; or the address is none of a multi-function decoder; or
            it is not the one that `old` tells; or it is that of the decoder's consist (S-9.2.1
            §C), and CV 1 and 29 of `old` do not both say that it is the decoder's own too; or
            writes are left when the decoder answers to an address that neither set tells.

    >>> from dccwire.programming import Answer, conversation
    >>> new = CvSet({17: 196, 18: 181, 29: 38})
    >>> session = write_cvs_on_main(CvSet({1: 3, 29: 6}), new, ShortAddress(3))
    >>> talk = conversation(session, lambda sent: Answer.SILENCE)
    >>> print(*[str(sent.packet) for sent, _ in talk][:6], sep="\n")
    short 3: CvAccessLongForm operation=write cv=17 value=196
    idle: Idle
    short 3: CvAccessLongForm operation=write cv=17 value=196
    idle: Idle
    short 3: CvAccessLongForm operation=write cv=18 value=181
    idle: Idle
    """
    return Session(course_on_main(packets_on_main(old, new, address, force=force), counts))


def packets_on_main(
    old: CvSet, new: CvSet, address: object, *, force: Collection[int] = ()
) -> list[Packet]:
    """The packets of `write_cvs_on_main`, each once, without the idle packets."""
    answers: OwnAddress | None = refuse_other_address(old, address)
    held = {key: value for key, value in old.items() if isinstance(key, int)}
    packets: list[Packet] = []
    for one in writes(old, new, force=force):
        if answers is None:
            cv = 17 if held[29] & EXTENDED_BIT else 1
            hint = f"the decoder answers to it when CV {one.cv} is written"
            raise FieldError(f"CV {cv}", "an address", held.get(cv), hint)
        packets.append(Packet(answers, CvAccessLongForm(CvOperation.WRITE, one.cv, one.value)))
        held[one.cv] = one.value
        answers = answers_after(one.cv, held, answers)
    return packets
