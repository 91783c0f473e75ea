"""Rules 50 and 86: what comes first when power comes on (S-9.2.3 §E, S-9.2.4 §A).

When that was, the session says; where it does not, power may have been off before each long gap
ends: then enough packets are certain, and fewer are undecided. Room: a class for each rule, and
what they share.
"""

from __future__ import annotations

from collections.abc import Iterable

from dccwire.address import Mode
from dccwire.codebook import IDLE_PACKET, RESET_PACKET
from dccwire.conformance.history import Heard, Watch, hides, most_hidden
from dccwire.conformance.measures import Tally
from dccwire.conformance.rules import (
    MISSED,
    PASSED,
    PERHAPS_OPERATIONS,
    UNKNOWN_MODE,
    Outcome,
    Sent,
    Verdict,
    rule,
)
from dccwire.conformance.session import ROUNDED_NS, Session
from dccwire.counts import START_IDLES, START_RESETS
from dccwire.receiver.tracking import is_service
from dccwire.signal import LIMITS, Limit

CYCLE = rule(
    50,
    "packets from power-on to the first service mode operation",
    Limit("S-9.2.3 §E, Power-On Cycle (P15)", least=20, unit="packets"),
)
START_UP = rule(
    86,
    "resets, then idles, before operation, when power comes on with no earlier state",
    Limit(
        "S-9.2.4 §A (a text that was not at hand)",
        words="20 or more, then 10 or more, before any operating packet",
    ),
)

_POWER = "needs the session: power_on_s = [...]"
_NEW = f"{_POWER}, and new = true where there was no earlier state"
_PERHAPS = "fewer, behind a time without signal: whether power was off; power_on_s would tell"
_ABOUT = "fewer, behind a silence that ends a little before power_on_s: its exact time would tell"
_SERVICE = Outcome(
    Verdict.UNDECIDED,
    note="before service mode, not operation: what comes first there is rule 50's",
)
_CLOSE = "of 20 to 22, with the resets before service mode among them: the text does not say (50)"


class _PowerOn(Watch, abstract=True):
    """Knows the first packet since power came on, and what was missed since."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._times = sorted(session.power_on_ns or ())
        # When a gap ended behind which power may have come on, if no packet was heard since; and
        # what was missed since power came on last: from when to when, and how many packets at most.
        self._resumed: int | None = None
        self._misses: list[tuple[int, int, int]] = []
        # Of the times that were told, those that were moved to the end of a silence; and whether
        # power came on last at one of them.
        self._rounded: set[int] = set()
        self._about = False
        self.awake = bool(self._times)

    @property
    def _missed(self) -> int:
        return sum(count for _, _, count in self._misses)

    def _first(self, heard: Heard) -> bool:
        """Whether no packet since power came on was heard before this one."""
        due = [one for one in self._times if one <= heard.start]
        self._times = self._times[len(due) :]
        since = due[-1] if due else self._resumed
        self._resumed = None
        if since is not None:
            self._about = since in self._rounded
            self._misses = [one for one in self._misses if one[1] > since]
        return since is not None

    def _fewer(self, value: int | None, *, enough_with_missed: bool) -> Outcome:
        """What too few packets show."""
        if self.session.power_on_ns is None:
            return Outcome(Verdict.UNDECIDED, value, _PERHAPS)
        if self._about:
            return Outcome(Verdict.UNDECIDED, value, _ABOUT)
        if enough_with_missed:
            return MISSED._replace(value=value)
        return Outcome(Verdict.FAIL, value)

    def gap(self, begin: int, end: int) -> None:
        if self.session.power_on_ns is not None:
            # What may have come on when the signal did, if the time that was told is rounded.
            late = {at for at in self._times if end < at <= end + ROUNDED_NS}
            self._times = [end if at in late else at for at in self._times]
            self._rounded |= {end} if late else set()
            # What came on before stays on: the file lacks edges, or the station was silent.
            since = max([begin, *(one for one in self.session.power_on_ns if one < end)])
            if hides(since, end):
                self._misses.append((since, end, most_hidden(since, end)))
        elif end - begin > LIMITS["tr0"].most:
            self._resumed, self.awake = end, True

    def miss(self, begin: int, end: int) -> None:
        self._misses.append((begin, end, 1))


class Cycle(_PowerOn):
    """Rule 50: any packets that are right count, the resets before service mode among them."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(CYCLE)
        # The number of the first packet since power came on; how many since were wrong.
        self._since: int | None = None
        self._wrong = 0
        self.awake = self.awake and session.programming_track is not False

    def wants(self, sent: Sent) -> bool:
        if self.session.programming_track is False:
            return False
        return not sent.right or (is_service(sent.data) and sent.mode is not Mode.OPERATIONS)

    def take(self, heard: Heard) -> None:
        sent = heard.sent
        if self._first(heard):
            self._since, self._wrong = heard.number, 0
        self.awake = bool(self._times)
        if not sent.right:
            self._wrong += 1
        elif is_service(sent.data) and sent.mode is not Mode.OPERATIONS:
            self._judge(heard)

    def _judge(self, heard: Heard) -> None:
        since, least = self._since, CYCLE.limit.least
        if since is None:
            if self.session.power_on_ns is None and not self._tally.measured:
                self._tally.lacks = _POWER
            return
        count = heard.number - since - self._wrong
        unread = self._missed + self._wrong
        if count >= least and self._missed:  # perhaps an operation before this one
            outcome = MISSED._replace(value=count)
        elif count >= least:
            outcome = Outcome(Verdict.PASS, count, _CLOSE if count < least + 3 else "")
        elif heard.sent.mode is None:
            outcome = Outcome(Verdict.UNDECIDED, count, UNKNOWN_MODE)
        elif self.session.programming_track is None and self.session.power_on_ns is not None:
            outcome = Outcome(Verdict.UNDECIDED, count, PERHAPS_OPERATIONS)
        else:
            outcome = self._fewer(count, enough_with_missed=count + unread >= least)
        self._tally.add(outcome, [heard.start], first=heard.sent.data)
        self._tally.lacks, self._since = "", None


class StartUp(_PowerOn):
    """Rule 86: resets, then idles, if nothing is known of a state before."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(START_UP)
        self.awake = self.awake and bool(session.new)
        self._start: int | None = None
        self._resets = self._idles = 0

    def wants(self, sent: Sent) -> bool:
        return False

    def take(self, heard: Heard) -> None:
        sent = heard.sent
        if self._first(heard):
            self._start, self._resets, self._idles = heard.start, 0, 0
        if self._start is None:
            return
        if not sent.right:
            self.miss(heard.start, heard.end)
        elif sent.data == IDLE_PACKET:
            self._idles += 1
        elif sent.data != RESET_PACKET:
            if sent.mode is Mode.OPERATIONS or not is_service(sent.data):
                self._judge(heard.start)
            elif not self._lacking and not self._missed:
                self._tally.add(PASSED, [heard.start])
            else:  # of service mode, which rule 50 is about, or perhaps
                self._tally.add(_SERVICE, [heard.start])
            self._start = None
            self.awake = bool(self._times)
        elif not self._idles:
            self._resets += 1
        elif self._lacking:  # resets behind idles begin anew
            self._resets, self._idles = 1, 0

    @property
    def _lacking(self) -> int:
        return max(START_RESETS - self._resets, 0) + max(START_IDLES - self._idles, 0)

    def _judge(self, start: int) -> None:
        if self._lacking:
            outcome = self._fewer(None, enough_with_missed=self._lacking <= self._missed)
        else:
            outcome = MISSED if self._missed else PASSED
        self._tally.add(outcome, [start])

    def gap(self, begin: int, end: int) -> None:
        if self.session.new:
            super().gap(begin, end)

    def tallies(self) -> Iterable[Tally]:
        session, judged = self.session, self._tally.measured
        if session.new is None or (session.new and session.power_on_ns is None and not judged):
            self._tally.lacks = _NEW
        return (self._tally,)
