"""Many CVs in one session: read a list of them, or turn one set of them into another.

Index pages are included. What is written, and in which order, is `dccwire.cv.writes`. Room: which
CVs, in which order, and what became of each.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from dccwire.address import LongAddress, ShortAddress
from dccwire.counts import MainCounts
from dccwire.cv.changes import (
    EXTENDED_BIT,
    FACTORY_RESET,
    RESET_CVS,
    CvWrite,
    OwnAddress,
    answers_after,
    refuse_other_address,
    writes,
)
from dccwire.cv.cv_set import POINTERS, CvKey, CvSet, IndexedCv, key_order, plain_cv
from dccwire.cv.description import KindOrDescription, kind_of
from dccwire.cv.paging import IndexPage
from dccwire.cv.values import DecoderKind, check_cv, within
from dccwire.errors import ConfirmationError, FieldError, Reason, TextError
from dccwire.instructions import CvAccessLongForm, CvOperation
from dccwire.packet import Packet
from dccwire.programming.operations import MAIN, course_on_main, reading
from dccwire.programming.sequencer import DEFAULT, Sequencer, Setup
from dccwire.programming.session import Course, Session
from dccwire.programming.targets import DirectCv, Reach, Target, reach_of

__all__ = [
    "Block",
    "Readout",
    "blocks_of",
    "read_cvs",
    "read_job",
    "write_cvs",
    "write_cvs_on_main",
]

WRITTEN = re.compile(r"(\d{1,4})(?:-(\d{1,4}))?(?:x(\d{1,3}))?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Block:
    """CVs from `first` to `last`, on each of some index pages.

    Without index pages CV 257 to 512 are those of whatever page is set.

    Raises:
        FieldError: CVs outside 1 to 1024, or out of order; index pages for CVs that have none.

    >>> Block(257, 300, (IndexPage.of(0), IndexPage.of(1))).keys[44]
    IndexedCv(high=16, low=1, cv=257)
    """

    first: int
    last: int
    index_pages: tuple[IndexPage, ...] = ()

    def __post_init__(self) -> None:
        check_cv(self.first, "first cv")
        within("last cv", self.last, self.first, 1024)
        for page in self.index_pages:
            for cv in (self.first, self.last):
                IndexedCv(page.high, page.low, cv)

    @property
    def keys(self) -> tuple[CvKey, ...]:
        """All its CVs, page by page."""
        numbers = range(self.first, self.last + 1)
        if not self.index_pages:
            return tuple(numbers)
        return tuple(IndexedCv(one.high, one.low, cv) for one in self.index_pages for cv in numbers)


def read_job(text: str) -> tuple[Block, ...]:
    """A list of CVs from text: numbers and ranges, with `xN` on N index pages.

    The pages of `xN` are those with CV 31 = 16 and CV 32 from 0 on.

    Raises:
        TextError: the text cannot be read.
        FieldError: a number out of bounds.

    >>> [len(block.keys) for block in read_job("1-256,257-512x4,1024")]
    [256, 1024, 1]
    """
    blocks = []
    at = 0
    for part in text.split(","):
        found = WRITTEN.fullmatch(part.strip())
        if not found:
            hint = "as in 1-256,257-512x4: numbers, ranges, xN for N index pages"
            raise TextError(Reason.TEXT, text, at, f"{part.strip()!r} is no list of CVs", hint)
        first = int(found[1])
        count = 0 if found[3] is None else within("index pages", int(found[3]), 1, 256)
        pages = tuple(map(IndexPage.of, range(count)))
        blocks.append(Block(first, int(found[2] or first), pages))
        at += len(part) + 1
    return tuple(blocks)


def blocks_of(keys: Iterable[CvKey]) -> tuple[Block, ...]:
    """The CVs of a set, or of a description, as blocks: by number, page by page.

    Raises:
        FieldError: no such CV.

    >>> [(one.first, one.last) for one in blocks_of(CvSet({1: 3, 29: 6, 2: 8}))]
    [(1, 2), (29, 29)]
    """
    blocks: list[Block] = []
    for key in sorted({*keys}, key=key_order):
        pages = (IndexPage(key.high, key.low),) if isinstance(key, IndexedCv) else ()
        own = Block(plain_cv(key), plain_cv(key), pages)
        if blocks and (blocks[-1].last + 1, blocks[-1].index_pages) == (own.first, pages):
            own = replace(blocks.pop(), last=own.last)
        blocks.append(own)
    return tuple(blocks)


@dataclass(frozen=True, slots=True)
class Readout:
    """What a job read: `values`, and for the rest the `failures`."""

    values: CvSet
    failures: Mapping[CvKey, ConfirmationError]


def read_cvs(
    blocks: Sequence[Block],
    reach: Reach = DirectCv,
    setup: Setup = DEFAULT,
    *,
    decoder: KindOrDescription = DecoderKind.MULTI_FUNCTION,
) -> Session[Readout]:
    """Read CVs one after the other, in one session.

    What a decoder does not confirm is a failure of its own; the others are still read. To come to
    an index page, CV 31 and CV 32 are written and confirmed, in that order, each only if it
    changes; they are left at the last page. The registers are those of the kind of `decoder`.

    Raises:
        FieldError: a CV that the mode does not reach, or no CV.
    """
    reach = reach_of(reach, kind_of(decoder))
    places = places_of(blocks, reach)
    sequencer = Sequencer(places[0][1], setup)
    return Session(sequencer.whole(course_of_reads(places, reach, sequencer, reading)))


def places_of(blocks: Sequence[Block], reach: Reach) -> list[tuple[CvKey, Target]]:
    """All CVs of a job, in the order in which they are read, and how each is got at."""
    if any(block.index_pages for block in blocks):
        for cv in POINTERS:
            reach(cv)
    every = [key for block in blocks for key in block.keys]
    if not every:
        raise FieldError("cvs", "one or more", blocks)
    return [(key, reach(plain_cv(key))) for key in every]


def course_of_reads(
    places: Sequence[tuple[CvKey, Target]],
    reach: Reach,
    sequencer: Sequencer,
    read: Callable[[Sequencer, Target], Course[int]],
) -> Course[Readout]:
    """The course of a job between its start and its end; `read` gives the steps for a target."""
    values: dict[CvKey, int] = {}
    failures: dict[CvKey, ConfirmationError] = {}
    index: dict[int, int] = {}
    for key, target in places:
        yield from sequencer.resets(sequencer.counts.between_cvs)
        try:
            if isinstance(key, IndexedCv):
                yield from _turn_to(key, index, reach, sequencer)
            values[key] = yield from read(sequencer, target)
        except ConfirmationError as error:
            failures[key] = error
    return Readout(CvSet(values), failures)


def _turn_to(
    key: IndexedCv, index: dict[int, int], reach: Reach, sequencer: Sequencer
) -> Course[None]:
    """Write and confirm CV 31 and 32 where they are not known to be right already."""
    for cv, value in zip(POINTERS, (key.high, key.low), strict=True):
        if index.get(cv) != value:
            index.pop(cv, None)
            target = reach(cv)
            yield from sequencer.write(target, target.write(value), confirmed=value)
            index[cv] = value


def write_cvs(
    old: CvSet,
    new: CvSet,
    reach: Reach = DirectCv,
    setup: Setup = DEFAULT,
    *,
    confirm: bool = False,
    force: Collection[int] = (),
    decoder: KindOrDescription = DecoderKind.MULTI_FUNCTION,
) -> Session[tuple[CvWrite, ...]]:
    """Each of `dccwire.cv.writes` on a programming track, in one session; nothing if there is none.

    The result is the writes that were acknowledged, which a decoder need not do (S-9.2.3 §D). With
    `confirm` each value is asked for right after it was written; if that stays silent a
    `ConfirmationError` comes, and the writes after it are not sent, as they may depend on it. A
    factory reset is not asked for: CV 8 reads 255 then (S-9.2.3 §E).

    Raises:
        FieldError: as `dccwire.cv.writes`; or the mode does not reach a CV, or its value.

    >>> from dccwire.programming import Answer
    >>> session = write_cvs(CvSet({29: 6}), CvSet({29: 38}))
    >>> while session.sending is not None:
    ...     session.take(Answer.ACKNOWLEDGED)
    >>> session.sent, session.result  # 20 after power-on, 3 resets, 2 writes, 1 reset
    (26, (CvWrite(cv=29, value=38, why='bit 5: the decoder answers to its other address then'),))
    """
    kind = kind_of(decoder)
    done = writes(old, new, force=force, decoder=kind)
    asked = asked_of(done, confirm=confirm, decoder=kind)
    return Session(course_of_writes(done, asked, reach_of(reach, kind), setup))


def asked_of(
    done: Iterable[CvWrite], *, confirm: bool, decoder: DecoderKind
) -> tuple[CvWrite, ...]:
    """The writes that are confirmed: all, but for a factory reset, or none."""
    cvs = RESET_CVS[decoder]
    resets = [one for one in done if one.cv in cvs and one.value == FACTORY_RESET]
    return tuple(one for one in done if confirm and one not in resets)


def course_of_writes(
    done: Sequence[CvWrite],
    asked: Collection[CvWrite] = (),
    reach: Reach = DirectCv,
    setup: Setup = DEFAULT,
    mark: Callable[[CvWrite | None], object] = lambda one: None,
) -> Course[tuple[CvWrite, ...]]:
    """The steps of `write_cvs`; those `asked` for are confirmed.

    `mark` is told which write begins, and None where the last is done.
    """
    if not done:
        return ()
    packets = [(one, target := reach(one.cv), target.write(one.value)) for one in done]
    sequencer = Sequencer(target, setup)

    def each() -> Course[tuple[CvWrite, ...]]:
        acknowledged = []
        for one, target, packet in packets:
            mark(one)
            confirmed = one.value if one in asked else None
            if (yield from sequencer.write(target, packet, confirmed)):
                acknowledged.append(one)
        mark(None)
        return tuple(acknowledged)

    return (yield from sequencer.whole(each()))


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

    `address` is what the decoder answers to now. Bit 5 of CV 29 decides whether CV 1 or CV 17 and
    18 of `old` must agree with it; where `old` tells neither, it is taken as it is.

    Raises:
        FieldError: as `dccwire.cv.writes`; or the address is none of a multi-function decoder; or
            it is not the one that `old` tells; or it is that of the decoder's consist (S-9.2.1
            §C), and CV 1 and 29 of `old` do not both say that it is the decoder's own too; or
            writes are left when the decoder answers to an address that neither set tells.

    >>> from dccwire.programming import Answer, conversation
    >>> new = CvSet({17: 196, 18: 181, 29: 38})
    >>> session = write_cvs_on_main(CvSet({1: 3, 29: 6}), new, ShortAddress(3))
    >>> talk = conversation(session, lambda sent: Answer.SILENCE)
    >>> print(*[str(sent.packet) for sent, _ in talk][::4], sep="\n")
    short 3: CvAccessLongForm operation=write cv=17 value=196
    short 3: CvAccessLongForm operation=write cv=18 value=181
    short 3: CvAccessLongForm operation=write cv=29 value=38
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
