"""Packets in service mode, cut into groups: what S-9.2.3 §E counts.

A group is a run of packets of one kind to one CV or register no other valid one among them; the
resets before it and after it belong to it. Room: packets in, groups out; nothing is judged
here, and how many a standard asks for is not known, but for where one group ends and another of the
same kind begins.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum, auto
from functools import lru_cache
from typing import NamedTuple

from dccwire.address import Mode
from dccwire.codebook import RESET_PACKET
from dccwire.conformance.history import Heard
from dccwire.conformance.rules import UNKNOWN_MODE
from dccwire.counts import ANSWERABLE, Counts
from dccwire.instructions import CvOperation
from dccwire.packet import decode
from dccwire.receiver.tracking import STAY_NS, is_service
from dccwire.service_mode import DirectBitManipulation, DirectByteAccess, RegisterAccess

ANSWERED = "that fall short: the decoder may have answered (record the current to decide)"
LOST = "that fall short, where packets may be lost or the power off (record again to decide)"

SHORTEST_PACKET_NS = 5_000_000
"""Fourteen ones, FF FF 00, start and end bits take longer (S-9.2 §A; S-9.1 §A, Table 1): 5.1 ms."""

COUNTS = Counts()

ENOUGH = COUNTS.writes
"""Identical packets that other ones to the same CV do not add to, but begin a group after."""


class Kind(Enum):
    """What the packets of a group do; `OTHER` are address queries, locks, and undefined ones."""

    VERIFY = auto()
    WRITE = auto()
    OTHER = auto()


class End(Enum):
    """What comes after a group and the resets behind it.

    Another group in service mode, a packet that is not of service mode, more than 20 ms with
    neither, silence or no level for the time of a packet, or the recording's end.
    """

    GROUP = auto()
    OTHERS = auto()
    PAUSE = auto()
    GAP = auto()
    RECORDING = auto()


class Target(NamedTuple):
    """What packets access: the CV of direct mode, else the register, both from 1 on."""

    direct: bool
    number: int


@dataclass(slots=True)
class Resets:
    """A run of resets.

    `cut`: the recording begins with it; `missed`: some may not have been read. `divided`: when a
    packet began that parts it from resets before; `likeness`: the same of a packet right before it
    that resets decoders too, though it is not 00 00 00.
    """

    count: int = 0
    cut: bool = False
    missed: bool = False
    divided: int | None = None
    likeness: int | None = None


@dataclass(slots=True)
class Group:
    """A run of packets of one kind to one target; times in ns.

    Args:
        number: the place of the first packet in the recording.
        begin, end: of the packet start bit of the first, of the packet end bit of the last.
        before, after: the resets right before and right after it.
        earlier: the group before, if nothing but these resets came between.
        data: the bytes of the last packet.
        count: the most packets that nothing divides, resets neither.
        same: the last packets that are identical; `differs`: not all of them are.
        folded: resets among the packets, which are its recovery from the first of them on; `early`:
            fewer writes came before than are enough, so what follows may be a step of its own.
        again: it may be the recovery of the same write before, which may last longer than it must.
        long: a preamble has at least the 20 ones of service mode.
        unsure: the mode of a packet could not be known.
        missed: some may not have been read.
        intruders: when packets of no service mode began, with more of the group behind them.
        ended: what came behind `after`, and `left`, when it began.
    """

    kind: Kind
    target: Target
    number: int
    begin: int
    end: int
    before: Resets
    earlier: Group | None
    data: bytes
    count: int = 0
    run: int = 0
    same: int = 0
    folded: int = 0
    early: bool = False
    again: bool = False
    differs: bool = False
    long: bool = False
    unsure: bool = False
    missed: bool = False
    intruders: list[int] = field(default_factory=list)
    after: Resets = field(default_factory=Resets)
    ended: End = End.RECORDING
    left: int = 0

    @property
    def cut(self) -> bool:
        """Whether the recording begins within it."""
        return self.before.cut and not self.before.count

    @property
    def uncounted(self) -> bool:
        """Whether the recording begins or ends within it."""
        return self.cut or (self.ended is End.RECORDING and not self.after.count)

    @property
    def lost(self) -> bool:
        """Whether packets of it may be lost."""
        begun = self.before.missed and not self.before.count
        return self.missed or begun or (self.ended is End.GAP and not self.after.count)

    @property
    def may_recover(self) -> bool:
        """Whether it may be the recovery of a write that was not recorded, resets before it too."""
        unseen = self.earlier is None and (self.before.cut or self.before.missed)
        longest = COUNTS.recovery if self.target.direct else COUNTS.long_recovery
        return unseen and self.kind is Kind.WRITE and self.before.count < longest

    @property
    def surplus(self) -> int:
        """Identical packets beyond those that are enough, and resets among them."""
        return max(0, min(self.same, self.run - ENOUGH)) + self.folded

    def repeats(self, data: bytes) -> bool:
        """Whether bytes among the resets behind it may be the same write, in its recovery."""
        written = self.same >= ANSWERABLE or self.again or self.missed or self.uncounted
        return written and self.data == data

    def add(self, heard: Heard, *, missed: bool, unsure: bool) -> None:
        """Take one more packet."""
        data = heard.sent.data
        self.differs |= data != self.data
        self.same = self.same + 1 if data == self.data else 1
        self.data, self.end = data, heard.end
        self.run += 1
        self.count = self.count if self.folded else max(self.count, self.run)
        self.unsure |= unsure
        self.long |= heard.ones >= COUNTS.preamble
        self.missed |= missed


class Pause(NamedTuple):
    """The time from one packet to the next within a group and its resets, in ns, and its end.

    `within` is how far the time may be off besides; `doubt` says why it may be none, if it is long.
    """

    lasted: int
    start: int
    within: int
    doubt: str = ""


class Groups:
    """Cuts a stream of packets into groups.

    Packets are taken in order; each call gives the groups that it ends, with their resets. What is
    needed of the stream are resets, packets that can be of service mode, those that read wrong, and
    while it is `open` all of them. Times are off by less than `error_ns`. `meant`: whether service
    mode is known to be meant; if not, packets to the addresses 112 to 127 that no reset leads are
    of service mode only where they go on with a group.

    After a packet `service` says whether it was one of service mode, and `pause` how long it came
    after the one before, if both are of one group.
    """

    def __init__(self, error_ns: int, *, meant: bool) -> None:
        self._error, self._meant = error_ns, meant
        self._resets = Resets(cut=True)
        self._group: Group | None = None
        # When a packet began that came behind the open group and may yet have come into it.
        self._intruder: int | None = None
        # The number that the next packet has; when the one before ended, None behind silence;
        # whether one was missed since, and until when something was hidden; the bytes of a group
        # that silence ended, and its end.
        self._next = 0
        self._ended: int | None = None
        self._within = 0  # how far that may be off besides
        self._lost = False
        self._hidden_until = -SHORTEST_PACKET_NS
        self._silenced = b"", 0
        self.service = False
        self.pause: Pause | None = None

    @property
    def open(self) -> bool:
        """Whether the next packet is needed, whatever it is."""
        return self._group is not None or self._resets.count > 0

    @property
    def within(self) -> bool:
        """Whether a group is not yet ended."""
        return self._group is not None

    def take(self, heard: Heard) -> list[Group]:
        """Take a packet."""
        self.service, self.pause = False, None
        if heard.number != self._next:  # others came, which were not needed
            self._lost = heard.begin - self._hidden_until < SHORTEST_PACKET_NS
            self._resets = Resets(missed=self._lost)
        self._next = heard.number + 1
        if not heard.sent.right:
            self.miss(heard.end)
            return []
        ended: list[Group] = []
        if self._lost and self._paused(heard.start, heard.within):
            ended = self.gap(heard.start - STAY_NS, heard.start)  # packets may be lost all along
        lasted = heard.start - (heard.start if self._ended is None else self._ended)
        paused = self._paused(heard.start, heard.within)
        if heard.sent.data == RESET_PACKET:
            ended += self._take_reset(heard, lasted, paused=paused)
        elif self._is_service(heard):
            self.service = True
            ended += self._take_service(heard, lasted, paused=paused)
        else:
            ended += self._take_other(heard)
        self._ended, self._within, self._lost = heard.end, heard.within, False
        return ended

    def miss(self, end: int) -> None:
        """What may be a packet could not be read, up to a time."""
        self._hidden_until = end
        self._lost = self._resets.missed = True
        if self._group is not None and not self._resets.count:
            self._group.missed = True
            self._group.run = self._group.same = 0  # it may have been of another kind

    def gap(self, begin: int, end: int) -> list[Group]:
        """Nothing was recorded, or sent."""
        if end - begin < SHORTEST_PACKET_NS:
            return []
        if self._group is not None and not self._resets.count:
            self._silenced = self._group.data, self._group.end
        ended = self._finish(End.GAP, begin)
        self._resets, self._ended, self._hidden_until = Resets(missed=True), None, end
        return ended

    def close(self) -> list[Group]:
        """The recording ends."""
        return self._finish(End.RECORDING, 0)

    def _paused(self, start: int, within: int = 0) -> bool:
        error = self._error + self._within + within
        return self._ended is not None and start - self._ended - error >= STAY_NS

    def _is_service(self, heard: Heard) -> bool:
        if not is_service(heard.sent.data):
            return False
        group = self._group
        goes_on = group is not None and not group.unsure and group.data == heard.sent.data
        # A locomotive at such an address may run on a programming track, too.
        meant = self._meant and heard.ones >= COUNTS.preamble
        return heard.sent.mode is not Mode.OPERATIONS or meant or goes_on

    def _take_reset(self, heard: Heard, lasted: int, *, paused: bool) -> list[Group]:
        group, held = self._group, self._intruder is not None
        if self._resets.count:
            falls_short = group is not None and group.kind is Kind.WRITE
            falls_short &= paused and self._resets.count < COUNTS.recovery
            doubt, within = ANSWERED * falls_short, not paused or falls_short
        else:
            within = group is not None and group.kind is Kind.WRITE and not held
            doubt = ANSWERED if group is not None and group.count > 1 else ""
        if within and self._ended is not None:
            self.pause = Pause(lasted, heard.start, self._within + heard.within, doubt)
        ended = self._finish(End.PAUSE, heard.start) if paused or held else []
        if paused:
            self._resets = Resets()
        self._resets.count += 1
        self._resets.missed |= self._lost
        return ended

    def _take_service(self, heard: Heard, lasted: int, *, paused: bool) -> list[Group]:
        data, (kind, target) = heard.sent.data, kind_and_target(heard.sent.data)
        group, held, bare = self._group, self._intruder, not self._resets.count
        like = group is not None and bare and (group.kind, group.target) == (kind, target)
        begins = group is None and self._resets.cut and bare  # the recording, perhaps within
        begins &= heard.ones < COUNTS.preamble
        unsure = heard.sent.mode is None and (begins or not self._meant)
        doubt = UNKNOWN_MODE if unsure else ""
        (silenced, end), self._silenced = self._silenced, (b"", 0)
        if self._ended is None and bare and silenced == data:
            self.pause = Pause(heard.start - end, heard.start, 0, LOST)
        elif self._ended is not None and (like or not bare):
            self.pause = Pause(lasted, heard.start, self._within + heard.within, doubt)
        if group is not None and not paused and self._recovers(group, data):
            group.early |= group.same < ENOUGH
            group.folded += self._resets.count
            group.missed |= self._resets.missed
            self._resets = Resets()
            group.add(heard, missed=self._lost, unsure=unsure)
            return []
        if group is not None and like and not paused:
            alike = group.data == data or group.same < ENOUGH
            if alike if held is None else group.run < ENOUGH:
                if held is not None:
                    group.intruders.append(held)
                    group.run = group.same = 0
                self._intruder, self._resets = None, Resets()
                group.add(heard, missed=self._lost, unsure=unsure)
                return []
        ended = self._finish(End.PAUSE if paused else End.GROUP, heard.start)
        before = Resets() if paused else self._resets
        before.missed |= self._lost
        earlier = None if paused or held is not None else group
        start = heard.number, heard.start, heard.end
        self._group = Group(kind, target, *start, before, earlier, data)
        self._group.again = earlier is not None and kind is Kind.WRITE and earlier.repeats(data)
        self._group.add(heard, missed=self._lost, unsure=unsure)
        self._resets = Resets()
        return ended

    def _recovers(self, group: Group, data: bytes) -> bool:
        """Whether a packet is the same write again, among resets before the recovery is over.

        An acknowledgement may have ended the count; the first packets may be hidden.
        """
        count = self._resets.count
        hidden = group.cut or group.lost or group.may_recover
        written = group.same >= ANSWERABLE or hidden
        enough = group.kind is Kind.WRITE and written and self._intruder is None
        return enough and 0 < count < COUNTS.recovery - group.surplus and data == group.data

    def _take_other(self, heard: Heard) -> list[Group]:
        data, group, resets = heard.sent.data, self._group, self._resets
        ended: list[Group] = []
        if group is not None and not resets.count and heard.start - group.end <= STAY_NS:
            self._intruder = heard.start if self._intruder is None else self._intruder
        else:
            ended = self._finish(End.OTHERS, heard.start)
        self._resets = Resets(
            missed=self._lost,
            divided=heard.start if resets.count else resets.divided,
            likeness=heard.start if resets_too(data) else None,
        )
        return ended

    def _finish(self, end: End, time: int) -> list[Group]:
        group, self._group = self._group, None
        held, self._intruder = self._intruder, None
        if group is None:
            return []
        if group.earlier is not None:
            group.earlier.earlier = None  # no chain of all groups is kept
        group.after, group.ended, group.left = self._resets, end, time
        if held is not None:
            group.after, group.ended, group.left = Resets(), End.OTHERS, held
        return [group]


def resets_too(data: bytes) -> bool:
    """Whether a packet resets decoders, or would, if it were 00 00 00 (S-9.2 §B; S-9.2.1 §C)."""
    return data[0] == 0 and data[1] in (0, 1) and data != RESET_PACKET


@lru_cache(maxsize=4096)
def kind_and_target(data: bytes) -> tuple[Kind, Target]:
    """What a packet of service mode does, and to what."""
    match decode(data, mode=Mode.SERVICE).instructions:
        case (DirectByteAccess() | DirectBitManipulation() as one,):
            target = Target(True, one.cv)
        case (RegisterAccess() as one,):
            target = Target(False, one.register)
        case _:
            return Kind.OTHER, Target(False, 0)
    return Kind.VERIFY if one.operation is CvOperation.VERIFY else Kind.WRITE, target
