"""Read many CVs in one session: lists of CVs, index pages included.

Room: which CVs, in which order, and what became of each.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from dccwire.cv.cv_set import POINTERS, CvKey, CvSet, IndexedCv
from dccwire.cv.paging import IndexPage
from dccwire.cv.values import check_cv, within
from dccwire.errors import ConfirmationError, FieldError, Reason, TextError
from dccwire.programming.one_cv import reading
from dccwire.programming.sequencer import DEFAULT, Sequencer, Setup
from dccwire.programming.session import Session
from dccwire.programming.steps import Course
from dccwire.programming.targets import DirectCv, Reach, Target

__all__ = ["Block", "Readout", "read_cvs", "read_job"]

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


@dataclass(frozen=True, slots=True)
class Readout:
    """What a job read: `values`, and for the rest the `failures`."""

    values: CvSet
    failures: Mapping[CvKey, ConfirmationError]


def read_cvs(
    blocks: Sequence[Block], reach: Reach = DirectCv, setup: Setup = DEFAULT
) -> Session[Readout]:
    """Read CVs one after the other, in one session.

    What a decoder does not confirm is a failure of its own; the others are still read. To come to
    an index page, CV 31 and CV 32 are written and confirmed, in that order, each only if it
    changes; they are left at the last page.

    Raises:
        FieldError: a CV that the mode does not reach, or no CV.
    """
    places = places_of(blocks, reach)
    sequencer = Sequencer(places[0][1], setup)
    return sequencer.session(course(places, reach, sequencer, reading))


def places_of(blocks: Sequence[Block], reach: Reach) -> list[tuple[CvKey, Target]]:
    """All CVs of a job, in the order in which they are read, and how each is got at.

    Raises:
        FieldError: a CV that the mode does not reach, CV 31 and 32 included, or no CV.
    """
    if any(block.index_pages for block in blocks):
        for cv in POINTERS:
            reach(cv)
    every = [key for block in blocks for key in block.keys]
    if not every:
        raise FieldError("cvs", "one or more", blocks)
    return [(key, reach(key.cv if isinstance(key, IndexedCv) else key)) for key in every]


def course(
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
