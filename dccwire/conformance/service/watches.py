"""Watches of S-9.2.3: what is sent in service mode, group by group, and behind hard resets.

Room: packets in, tallies out; groups are cut in `groups`, what they must be stands in `demands`.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from dccwire.address import PROGRAMMING_TRACK, Mode
from dccwire.codebook import IDLE_PACKET, RESET_PACKET, is_programming
from dccwire.conformance.history import Heard, Watch
from dccwire.conformance.measures import LimitMeasure, Tally
from dccwire.conformance.pace import APART_112_127
from dccwire.conformance.rules import (
    FAILED,
    MISSED,
    PASSED,
    PERHAPS_OPERATIONS,
    UNKNOWN_MODE,
    Outcome,
    Rule,
    Sent,
    Verdict,
)
from dccwire.conformance.service import rules as r
from dccwire.conformance.service.demands import accesses, by_count, by_order
from dccwire.conformance.service.groups import (
    COUNTS,
    SHORTEST_PACKET_NS,
    End,
    Group,
    Groups,
    Kind,
    Pause,
    resets_too,
)
from dccwire.conformance.session import Session
from dccwire.counts import ANSWERABLE
from dccwire.instructions import CvOperation, HardReset
from dccwire.packet import Packet
from dccwire.receiver.tracking import is_service
from dccwire.service_mode import PRESET_PAGE, DirectBitManipulation
from dccwire.signal import LIMITS

DIRECT_KINDS = 3
"""Verify, write and bit manipulation (S-9.2.3 §E, Direct Mode)."""

STRICT = "of exactly the least with the end bit before; the strict reading asks one more (P16, C2)"
HIDDEN = "fewer, before which half-bits of no packet may hide ones"
PERHAPS_SERVICE = "identical packets in close succession to 112 to 127: service mode without reset?"
CYCLED = "behind a time without signal: whether the power was off decides"
OF_RECOVERY = "or the recovery of a write that is not recorded: record it from its begin"
PERHAPS_LOCOMOTIVE = "or a packet to a locomotive at 112 to 127, which may run there, too"
LONGER = "or the recovery of the same write before, which may last longer than it must"
OPEN_END = "not 1; whether programming has ended decides"
SHORT_RESETS = "resets among service mode packets behind fewer ones (the text is not clear)"

FIND_DIRECT = [
    bytes(Packet(PROGRAMMING_TRACK, one, mode=Mode.SERVICE))
    for one in (DirectBitManipulation(CvOperation.VERIFY, 8, 7, value) for value in (0, 1))
]
"""Verifies of CV 8 bit 7 as 0 and as 1."""


class ServiceMode(Watch):
    """Judges what is sent in service mode, where the session does not say that none is meant."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._groups = Groups(error_ns, meant=session.programming_track is True)
        self._pauses = LimitMeasure(r.PAUSE, error_ns)
        others = (one for one in r.RULES_OF_GROUPS if one is not r.PAUSE)
        self._tallies = {one.number: Tally(one) for one in others}
        self._least_one = 2 * (LIMITS["t1"].least - error_ns)
        # The last packet; what was written to the page register last, None if that is not known;
        # whether the power may have been off since, whether operations packets came, and whether a
        # packet may be lost.
        self._last: Heard | None = None
        self._page: int | None = None
        self._cycled = self._left = self._unread = False
        # Where it was written, and why that may be no write of it.
        self._last_page, self._page_doubt = 0, ""
        self._kinds: set[int] = set()
        # What is to be said of preambles of the open group; whether its sequence is one, surely.
        self._preambles: list[tuple[Rule, Outcome, int]] = []
        self._meant = True
        # Packets that may be of service mode though no reset leads them.
        self._close: tuple[bytes, int, bool] = b"", 0, False

    def wants(self, sent: Sent) -> bool:
        """Resets, what resembles them, what can be of service mode, and what is wrong."""
        if self.session.programming_track is False:
            return False
        data = sent.data
        return not sent.right or data == RESET_PACKET or is_service(data) or resets_too(data)

    def take(self, heard: Heard) -> None:
        """Judge the groups that it ends, and the packet by itself."""
        self._judge(self._groups.take(heard))
        data, groups = heard.sent.data, self._groups
        self._unread |= not heard.sent.right
        if (pause := groups.pause) is not None:
            self._judge_pause(pause)
        if groups.service:
            self._judge_preamble(heard)
            self._doubt_lock(heard)
            if self._left and self._page not in (None, PRESET_PAGE):
                self._add(r.LAST_PAGE, Outcome(Verdict.UNDECIDED, note=OPEN_END), self._last_page)
            self._left = False
        elif heard.sent.right and is_service(data):
            self._look_closer(heard)
            if data[0] == 0 and heard.ones < r.PREAMBLE.limit.least:  # a lock is nothing else (X24)
                self._judge_preamble(heard)
                self._doubt_lock(heard)
                self._judge_preambles()
        elif heard.sent.right and data not in (RESET_PACKET, IDLE_PACKET):
            self._left = True
        if data == RESET_PACKET and groups.within and heard.ones < r.PREAMBLE.limit.least:
            self._tallies[r.PREAMBLE.number].notes[SHORT_RESETS] += 1
        self._last = heard
        pending = self._page not in (None, PRESET_PAGE) and not self._left
        self.awake = groups.open or pending

    def gap(self, begin: int, end: int) -> None:
        """The power may have been off."""
        self._judge(self._groups.gap(begin, end))
        self._cycled |= end - begin >= SHORTEST_PACKET_NS

    def miss(self, begin: int, end: int) -> None:
        """A packet may be lost."""
        self._groups.miss(end)
        self._unread = True

    def lose(self, begin: int, end: int) -> None:
        """Packets may be lost."""
        self._unread = True

    def go_on_missing(self, end: int) -> None:
        """It is still the same packet."""
        self._groups.miss(end)

    def close(self) -> None:
        """Judge what the end cuts, and the page that is left."""
        cut = self._groups.close()
        self._judge(cut)
        if self._page == PRESET_PAGE:
            self._add(r.LAST_PAGE, PASSED, 0)
        elif self._page is not None and all(one.ended is not End.RECORDING for one in cut):
            doubt = MISSED if self._unread else Outcome(Verdict.UNDECIDED, note=OPEN_END)
            surely = self._left and not self._unread
            told = FAILED if surely else doubt
            self._add_doubted(r.LAST_PAGE, told, self._last_page, self._page_doubt)

    def tallies(self) -> Iterable[Tally]:
        """What was found."""
        return self._pauses, *self._tallies.values()

    def _add(self, rule: Rule, outcome: Outcome, time: int) -> None:
        self._tallies[rule.number].add(outcome, [time])

    def _lack(self, rule: Rule) -> None:
        kind = "session description" if rule.needs == r.INTENT else "recording"
        self._tallies[rule.number].lacks = f"the {kind} lacks {rule.needs}"

    def _judge(self, groups: list[Group]) -> None:
        for group in groups:
            page = None if self._cycled else self._page
            possible = accesses(group, page, self.session)
            counted = () if group.kind is Kind.OTHER else by_count(group, possible, page)
            doubt = self._doubt(group)
            self._judge_preambles(doubt)
            for rule, outcome, time in (*by_order(group, possible), *counted):
                self._add_doubted(rule, outcome, time, doubt)
            if not group.unsure:
                self._note(group)
            self._follow_page(group, doubt if group.unsure or not self._meant else "")

    def _judge_preambles(self, doubt: str = "") -> None:
        for rule, outcome, time in self._preambles:
            self._add_doubted(rule, outcome, time, doubt)
        self._preambles.clear()

    def _add_doubted(self, rule: Rule, outcome: Outcome, time: int, doubt: str) -> None:
        if doubt and outcome.verdict is Verdict.FAIL:
            outcome = Outcome(Verdict.UNDECIDED, outcome.value, doubt)
        self._add(rule, outcome, time)

    def _doubt(self, group: Group) -> str:
        """Why it may not be of service mode.

        Where the session does not say what the track is for, a locomotive at 112 to 127 may be
        meant; signs of that are fewer resets than lead a sequence together with short preambles,
        and one packet alone (our choice). A write behind the recording's begin may be the last of
        one before.
        """
        if group.unsure:
            return UNKNOWN_MODE
        if group.earlier is None:
            few = group.before.count < COUNTS.resets and not group.cut
            signs = few + 2 * (group.count < ANSWERABLE) + (not group.long)
            bare = group.count < ANSWERABLE and not (group.before.count or group.cut)
            said = self.session.programming_track is True and not bare
            self._meant = said or signs < 2
        if not self._meant:
            known = self.session.programming_track is True
            return PERHAPS_LOCOMOTIVE if known else PERHAPS_OPERATIONS
        return OF_RECOVERY if group.may_recover else LONGER * group.again

    def _follow_page(self, group: Group, doubt: str) -> None:
        """Keep what the page register holds; data registers behind a power cycle (footnote 3)."""
        if group.target.direct or group.kind is Kind.OTHER:
            return
        if group.target == r.PAGE:
            if group.kind is Kind.WRITE:
                self._page, self._last_page = group.data[1], group.begin
                self._page_doubt = doubt
                self._cycled = self._unread = False
        elif group.target.number <= 4 and self._page not in (None, PRESET_PAGE):
            on = any(self._last_page < one < group.begin for one in self.session.power_on_ns or ())
            known = self.session.power_on_ns is not None
            cycled = on if known else self._cycled
            perhaps = MISSED if self._unread else Outcome(Verdict.UNDECIDED, note=CYCLED)
            surely = on and not self._unread
            told = (FAILED if surely else perhaps) if cycled else PASSED
            self._add_doubted(r.POWER_CYCLE, told, group.begin, doubt or self._page_doubt)

    def _note(self, group: Group) -> None:
        """What no rule can be decided by without the current or the session."""
        for rule in (r.ANSWERS, r.WINDOW, r.LIMITED, r.OVERLOAD):
            self._lack(rule)
        data = group.data
        if group.kind is Kind.OTHER:
            if len(data) == 3:
                self._lack(r.QUERY)
        elif group.target.direct:
            self._note_direct(group)
        elif data[:2] == b"\x7f\x08":
            self._lack(r.FACTORY_RESET)
        elif group.target.number == 5 and group.kind is Kind.WRITE:
            self._lack(r.REGISTER_5)

    def _note_direct(self, group: Group) -> None:
        seen = Outcome(Verdict.OBSERVED, group.after.count)
        if group.kind is Kind.VERIFY and group.ended is not End.RECORDING:
            self._add(r.AFTER_ANSWER, seen, group.end)
        self._kinds.add(group.data[0] >> 2 & 0b11)
        self._lack(r.DIRECT_KINDS)
        if len(self._kinds) == DIRECT_KINDS:
            self._tallies[r.DIRECT_KINDS.number].lacks = ""
            self._add(r.DIRECT_KINDS, PASSED, group.begin)
        if group.data in FIND_DIRECT:
            note = f"of bit 7 as {FIND_DIRECT.index(group.data)}"
            self._add(r.DIRECT_FOUND, Outcome(Verdict.OBSERVED, note=note), group.begin)

    def _judge_pause(self, pause: Pause) -> None:
        measure, lasted, start = self._pauses, pause.lasted, pause.start
        if lasted + measure.error + pause.within <= measure.rule.limit.most:
            measure.add(Outcome(Verdict.PASS, lasted), [start])
        elif doubt := pause.doubt or PERHAPS_OPERATIONS * (self.session.programming_track is None):
            measure.add(Outcome(Verdict.UNDECIDED, lasted, doubt), [start])
        else:
            times, within = np.array([start]), np.array([pause.within])
            measure.take(np.array([lasted]), lambda some: times[some], within)

    def _judge_preamble(self, heard: Heard) -> None:
        """Rule 49, counted as rule 14: the end bit before counts if it adjoins (C2)."""
        last, least = self._last, r.PREAMBLE.limit.least
        adjoins = last is not None and last.number == heard.number - 1 and last.end == heard.begin
        if heard.ones >= least:
            note = STRICT * (adjoins and heard.ones == least)
            self._add(r.PREAMBLE, Outcome(Verdict.PASS, heard.ones, note), heard.start)
        elif last is not None and last.number == heard.number - 1:
            time = heard.begin - last.end + last.within + heard.within + 2 * self.error
            hidden = time // self._least_one + 1
            sure = heard.ones + heard.hidden + hidden * (not adjoins) < least
            doubt = Outcome(Verdict.UNDECIDED, heard.ones, HIDDEN)
            outcome = Outcome(Verdict.FAIL, heard.ones) if sure else doubt
            self._preambles.append((r.PREAMBLE, outcome, heard.start))

    def _doubt_lock(self, heard: Heard) -> None:
        """Leave the short preamble of a lock open where what stood before it was not needed."""
        short = heard.ones < r.PREAMBLE.limit.least
        if heard.sent.data[0] == 0 and short and not self._preambles:
            doubt = Outcome(Verdict.UNDECIDED, heard.ones, HIDDEN)
            self._preambles.append((r.PREAMBLE, doubt, heard.start))

    def _look_closer(self, heard: Heard) -> None:
        """Whether packets to 112 to 127 that no reset leads look like those of service mode.

        They are identical, behind 20 ones, and closer together than footnote 11 of S-9.2 §C allows
        in operations mode.
        """
        data, end, told = self._close
        long = heard.ones >= r.PREAMBLE.limit.least
        again = data == heard.sent.data and heard.start - end < APART_112_127.limit.least and long
        if again and not told and is_programming(data):
            self._add(r.LEAD, Outcome(Verdict.UNDECIDED, note=PERHAPS_SERVICE), heard.start)
        self._close = heard.sent.data, heard.end, again


class HardResets(Watch):
    """Counts what comes behind a hard reset: a cycle that no sequence uses (rule 78)."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(r.HARD_RESET)
        self._start = self._count = 0

    def wants(self, sent: Sent) -> bool:
        """Hard resets, to whatever address (P14), but those of service mode (P10)."""
        packet = sent.packet if sent.right and 1 in sent.data[1:3] else None
        return packet is not None and any(isinstance(one, HardReset) for one in packet.instructions)

    def take(self, heard: Heard) -> None:
        """Count idles and resets until there are enough, or another packet comes."""
        if self.awake and heard.sent.data in (IDLE_PACKET, RESET_PACKET):
            self._count += 1
            if self._count < r.HARD_RESET.limit.least:
                return
        if self.awake:
            self._tally.add(Outcome(Verdict.OBSERVED, self._count), [self._start])
        self.awake = self.wants(heard.sent)
        self._start, self._count = heard.start, 0

    def gap(self, begin: int, end: int) -> None:
        """What it hides is not counted."""
        self.awake = False

    def miss(self, begin: int, end: int) -> None:
        """What could not be read is not counted."""
        self.awake = False
