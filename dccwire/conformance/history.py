"""Rules on packets by what came before them: what a `Watch` is.

Each is a small object in the file of its chapter, which hears the packets that it asks for and
counts in tallies of its own. Room: no rule here, no numpy.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable, Set
from typing import TYPE_CHECKING, ClassVar, NamedTuple

from dccwire.conformance.measures import Tally
from dccwire.conformance.rules import Sent
from dccwire.signal import LIMITS, Timing

if TYPE_CHECKING:
    from dccwire.conformance.session import Session  # which holds expectations, that are watches

_LEAST = Timing(LIMITS["t1"].least, LIMITS["t0"].least)
SHORTEST_PACKET_NS = _LEAST.duration_ns(ones=14 + 16, zeros=11)
"""An idle packet after 14 ones, each half-bit as short as S-9.1 §A, Table 1 allows.

Its end bit counts in the next preamble (C2).
"""

_HIDES_NS = _LEAST.duration_ns(ones=8, zeros=11)


def hides(begin: int, end: int) -> bool:
    """Whether a packet may be lost in a gap.

    Of one that it cuts, something else tells, unless the gap lasts from the packet start bit to the
    last 0: of two bytes at least, the one or the other with a 0 wherever the last has a 1.
    """
    return end - begin >= _HIDES_NS


def most_hidden(begin: int, end: int) -> int:
    """How many packets can start, at most, from one time to another."""
    return (end - begin) // _HIDES_NS + 1


class Heard(NamedTuple):
    """A packet of a recording: its place among all packets, times in ns, ones before it, bytes.

    `met` says that a packet to the same decoder, or to all, was heard before it, since when none
    can have been missed.

    `begin` is where the preamble begins, `start` where the packet start bit does, `end` where the
    packet end bit ends; `ones` counts complete ones, with the end bit before if it adjoins (C2).
    `within` is how far start and end may be off besides, where no edge closed it, or one rings;
    `hidden` is how many ones more the start bit may hide.
    """

    number: int
    begin: int
    start: int
    end: int
    ones: int
    sent: Sent
    met: bool
    within: int = 0
    hidden: int = 0


class Watch(ABC):
    """Judges packets by those before them; `error_ns` is how far a time may be off.

    `session` says what is known besides the recording.

    Every subclass, but an `abstract` one, is made once for each recording. It hears the packets of
    whose bytes `wants` is true, those to the addresses that it `heeds`, or all of them while it is
    `awake`; what a gap hides and what could not be read it hears of as well. Addresses are what
    `pace.whole_address` gives, or the first byte.
    """

    _tally: Tally
    awake = False
    heeds: Set[bytes] = frozenset()
    classes: ClassVar[list[type[Watch]]] = []

    def __init__(self, error_ns: int, session: Session) -> None:
        self.error, self.session = error_ns, session

    def __init_subclass__(cls, *, abstract: bool = False) -> None:
        if not abstract:
            Watch.classes.append(cls)

    @abstractmethod
    def wants(self, sent: Sent) -> bool:
        """Whether packets of these bytes are to be heard; asked once for each distinct packet."""

    @abstractmethod
    def take(self, heard: Heard) -> None:
        """Hear a packet."""

    def gap(self, begin: int, end: int) -> None:  # noqa: B027 - few watches need it
        """Hear of silence, or of a stretch without a level: the power may have been off."""

    def miss(self, begin: int, end: int) -> None:  # noqa: B027 - the same
        """Hear of what may be a packet that could not be read."""

    def lose(self, begin: int, end: int) -> None:  # noqa: B027 - the same
        """Hear of a stretch in which packets may be lost, though none is seen to be."""

    def go_on_missing(self, end: int) -> None:  # noqa: B027 - the same
        """Hear that what could not be read lasts until here."""

    def close(self) -> None:  # noqa: B027 - the same
        """The recording ends."""

    def tallies(self) -> Iterable[Tally]:
        """What was found; of most, what they count in `_tally`."""
        return (self._tally,)
