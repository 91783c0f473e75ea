"""Rules 13 to 17: preambles, start and end bits, gaps.

A packet whose start or end bit was sent wrong reads as another one with a wrong error byte. Where
what follows shows it, it counts in rule 15 alone, and rule 14 does not judge what stands after it,
since the packet before was not complete. Room: events in, tallies out; what bytes say is judged in
`packets`.
"""

from __future__ import annotations

from functools import reduce
from operator import xor

import numpy as np

from dccwire.address import Mode
from dccwire.assembly import SHORTEST
from dccwire.conformance.baseline import error_byte
from dccwire.conformance.measures import LimitMeasure, Readings, Tally
from dccwire.conformance.packets import PacketRules
from dccwire.conformance.places import GOES_ON_NS, LONGEST_PACKET, HalfBits
from dccwire.conformance.probe import leave_open
from dccwire.conformance.rules import FAILED, PASSED, Force, Outcome, Verdict, rule
from dccwire.conformance.unread import (
    WHOLE_PACKET,
    goes_on,
    has_zeros,
    last_of_others,
    lengths_of,
    may_be_spoiled,
)
from dccwire.errors import Reason
from dccwire.framing import SENT_PREAMBLE, least_preamble
from dccwire.receiver import CutOff, Event, Fault, Gap, PacketReceived, Stray
from dccwire.receiver.columns import PacketColumns
from dccwire.receiver.edges import Windows
from dccwire.signal import LIMITS, Limit

_LONG_PREAMBLE = least_preamble(Mode.SERVICE)

NO_SIGNAL = "a state 'no signal' (x or z), which VCD and FST can hold"
"""What a recording of one wire and two levels does not have."""

GAPS = rule(
    13,
    "gaps within packets and their preambles",
    Limit("S-9.1 §C; S-9.2 §C", words="none"),
    needs=NO_SIGNAL,
)
PREAMBLE = rule(
    14,
    "ones before a packet start bit",
    Limit("S-9.2 §A, Preamble (C2)", least=SENT_PREAMBLE, unit="ones"),
)
START_AND_END = rule(
    15,
    "start and end bits",
    Limit("S-9.2 §A", words="0 before a byte, 1 at the end"),
    Force.DEFINED,
)
AFTER_END = rule(
    17,
    "signal after the end bit",
    Limit("S-9.2 §A footnote 3 (C14)", least=GOES_ON_NS, unit="us"),
    needs=NO_SIGNAL,
)

_UNDECIDED = Outcome(
    Verdict.UNDECIDED, note="in packets or preambles: the station, its power off, or edges lost"
)
_SPOILED = Outcome(Verdict.UNDECIDED, note="wrong, with pulses or half-bits of no bit in them")
_CUT = Outcome(Verdict.UNDECIDED, note="fewer, behind a packet that is not recorded whole")
_OFF = Outcome(
    Verdict.UNDECIDED, note="before more than 10 ms without signal, which may be switched off"
)

_GLITCH = Outcome(
    Verdict.UNDECIDED, note="before less than half a 1 without a level: cut off, or not recorded"
)

_FALLEN = Outcome(
    Verdict.UNDECIDED, note="to an edge that the station made, or power that fell: rule 5 or this"
)


class FramingRules:
    """Tallies of rules 13 to 17, fed with half-bits and their events, then closed.

    `packets` is told the bytes of each packet whose start and end bits are trusted; `undefined`
    holds where gaps begin in which the recording has no level.
    """

    OPEN = (
        "undefined", "_waiting", "_plain", "_closed", "_ringing", "_hides", "_before", "_complete",
        "_gap_since", "_other_since", "_end", "_hiding_from", "_ended", "_ended_within", "_first",
        "_broken", "_doubtful", "_bound",
    )  # fmt: skip
    """What comes next depends on these."""

    def __init__(self, error_ns: int, rules: PacketRules) -> None:
        self.packets = self.silences = 0
        # How many stretches may be packets that could not be read, and where the first begins.
        self.unread, self.unread_at = 0, 0
        self.undefined: set[int] = set()
        self._rules = rules
        self._gaps, self._preamble, self._framing = map(Tally, (GAPS, PREAMBLE, START_AND_END))
        self._after_end = LimitMeasure(AFTER_END, error_ns)
        self._any_undefined = False
        self._error, self._windows = error_ns, Windows(error_ns)
        self._least_one = 2 * (LIMITS["t1"].least - error_ns)
        # A packet whose error byte is wrong waits for what follows it; whether all of its half-bits
        # are of ones and zeros, and sure, and whether an edge closed it.
        self._waiting: PacketReceived | None = None
        self._plain = self._closed = True
        # How far its start and end may be off, beside merged pulses; ones that its start bit hides.
        self._ringing = self._hides = 0
        self._before: Event | None = None
        # Whether the packet before was complete, where it ended, and whether a gap or, for certain,
        # another protocol came since; from where on ones may hide.
        self._complete = self._gap_since = self._other_since = False
        self._end = self._hiding_from = 0
        # Where the last packet ended of which rule 17 may yet be judged, and how exactly that is
        # known; whether nothing of a signal was read yet.
        self._ended: int | None = None
        self._ended_within = 0
        self._first = True
        # Whether the last half-bits of no packet have one of no 1 among them, but for the first,
        # which may be cut: ones behind it are all that there were.
        self._bound = False
        # Whether a packet broke off since; how many ones at the begin of a preamble are in doubt.
        self._broken = False
        self._doubtful = 0
        # Whether the first half of the packet start bit may have taken in half a 1.
        self._merged = False

    @property
    def settled(self) -> bool:
        """Whether the last event was a packet like others, and nothing waits."""
        return self._complete and self._before is None and self._waiting is None

    def absorb(self, later: FramingRules) -> None:
        """Go on with what another one found from here on."""
        for mine, its in zip(self._tallies(), later._tallies(), strict=True):
            mine.absorb(its)
        self.packets += later.packets
        self.silences += later.silences
        self.unread_at = self.unread_at if self.unread else later.unread_at
        self.unread += later.unread
        self._any_undefined |= later._any_undefined
        for name in self.OPEN:
            setattr(self, name, getattr(later, name))

    def add(self, some: HalfBits) -> None:
        """Judge the events that these half-bits belong to."""
        for part in some.columns.parts:
            if isinstance(part, PacketColumns):
                self._add_columns(part, some)
            else:
                self._add_event(part, some)

    def close(self) -> None:
        """Judge what waited for the event after it."""
        self._settle(None, None)
        self._rules.close()

    def tallies(self) -> tuple[Tally, ...]:
        """What was found."""
        if not self._any_undefined:
            for tally in (self._gaps, self._after_end):
                tally.lacks = f"the recording lacks {tally.rule.needs}: record it to decide"
        return self._tallies()

    def on_times(self) -> list[LimitMeasure]:
        """The measure of how long the signal goes on behind a packet."""
        return [self._after_end]

    def doubt_bits(self, shift: float) -> None:
        """Leave open what bits fail that a probe may have spoiled."""
        for tally in (self._preamble, self._framing):
            if tally.failed:
                leave_open(tally, tally.failed, shift)

    def doubt_gaps(self) -> None:
        """Leave open what gaps cut: where no packet was read, nothing tells."""
        if self._gaps.measured:
            self._gaps.doubt()
            self._gaps.remarks.append("no packet was read, so what they cut is not known")

    def _tallies(self) -> tuple[Tally, ...]:
        return self._gaps, self._preamble, self._framing, self._after_end

    def _add_columns(self, rows: PacketColumns, some: HalfBits) -> None:
        """Packets that adjoin each other: those that give no reason to look closer, together."""
        sound = rows.error_byte_right & (rows.size >= SHORTEST)
        plain = sound & (rows.preamble + 1 > SENT_PREAMBLE)
        # The first row needs what stood before it, and so does the one after an unsound one.
        plain[0] &= self.settled and not some.cut
        plain[1:] &= sound[:-1]
        # Of what may be of service mode, the start bit may hide some of its twenty ones (rule 49).
        few = np.flatnonzero(
            (rows.data[:, 0] >> 4 == 0b0111) & (rows.preamble + 1 < _LONG_PREAMBLE)
        )
        starts = some.lengths[np.searchsorted(some.edges, rows.start[few])]
        plain[few[starts > 2 * LIMITS["t0"].least]] = False
        if some.rings is not None:
            plain &= (some.rings_at(rows.start) | some.rings_at(rows.end)) == 0
        at = 0
        for place in (*np.flatnonzero(~plain).tolist(), len(rows)):
            if at < place:
                self._add_plain(rows.take(slice(at, place)))
            if place < len(rows):
                (event,) = rows.take(np.array([place]))
                self._add_event(event, some)
            at = place + 1

    def _add_plain(self, rows: PacketColumns) -> None:
        count = len(rows)
        self.packets += count
        self._preamble.measured += count
        shortest = int(rows.preamble.min()) + 1
        self._preamble.see(shortest, shortest)
        self._framing.measured += count
        self._rules.add_columns(rows)
        self._keep(int(rows.end[-1]))
        self._before, self._plain, self._closed = None, True, True

    def _keep(self, end: int | None) -> None:
        """A packet that was complete ended here, or one that was not."""
        self._complete, self._first = end is not None, False
        self._broken = end is None
        self._ended, self._ended_within = (self._ended if end is None else end), 0
        self._gap_since = self._other_since = self._bound = False
        self._ringing = self._hides = 0
        self._end = self._hiding_from = end or 0

    def _add_event(self, event: Event, some: HalfBits) -> None:
        self._settle(event, some)
        match event:
            case PacketReceived():
                self.packets += 1
                place = int(np.searchsorted(some.edges, event.end))
                self._closed = place < len(some.edges) and some.edges[place] == event.end
                times = np.array([event.start, event.end][: 1 + self._closed])
                self._ringing = int(some.rings_at(times).max())
                self._doubtful = self._doubtful_ones(event, some)
                start = some.lengths[np.searchsorted(some.edges, event.start)]
                self._merged = bool(start >= self._windows.one[0] + self._windows.zero[0])
                self._judge_preamble(event, adjoining=event.adjoining, some=some)
                self._doubtful, self._merged = 0, False
                if event.error_byte_right and len(event.data) >= SHORTEST:
                    self._judge(event)
                else:
                    self._waiting = event
                    begin, end = np.searchsorted(some.edges, (event.start, event.end)).tolist()
                    self._plain = bool(some.either[begin : end - (not self._closed)].all())
                    self._plain &= some.extra is None or not some.extra[begin:end].any()
                    self._plain &= some.noisy is None or not self._spoiled(some, begin, end)
            case Fault(reason=Reason.SHORT_PREAMBLE):
                adjoining = self._complete and event.begin <= self._end
                self._judge_preamble(event, adjoining=adjoining, some=some)
                self._judge(event)
            case Fault():
                if event.reason is Reason.NO_END_BIT:
                    self._rules.add_length(event.data, event.begin)
                self._miss(event)
                self._keep(None)
            case CutOff():
                if event.data or event.bits:
                    self._judge_preamble(event, adjoining=event.begin == self._end, some=some)
                alone = has_zeros(lengths_of(event, some), self._windows)  # its start bit
                if event.data or event.bits or alone:
                    self._rules.miss(event.begin, event.end)
                self._keep(None)
            case Stray():
                lengths = lengths_of(event, some)
                self._look_for_others(event, some, lengths)
                if isinstance(self._before, Fault) and len(lengths) <= LONGEST_PACKET:
                    self._rules.go_on_missing(event.end)  # the rest of what broke off
                elif self._may_be_packet(lengths):
                    self._miss(event)
                elif len(lengths) >= WHOLE_PACKET:
                    self._rules.lose(event.begin, event.end)
            case _:  # a gap
                self._judge_gap(event, int(some.edges[-1]) if len(some.edges) else event.begin)
        self._before = event

    def _spoiled(self, some: HalfBits, begin: int, end: int) -> bool:
        """Whether noise may have made other bits; beside an end bit as it should be none did."""
        assert some.noisy is not None
        one, last = LIMITS["t1"], some.lengths[end - 2 : end]
        off = (last <= one.least - self._error) | (last >= one.most + self._error)
        return bool(some.noisy[begin : end - 2].any() or (some.noisy[end - 2 : end] & off).any())

    def _miss(self, event: Stray | Fault) -> None:
        """What may be a packet that could not be read."""
        self._rules.miss(event.begin, event.end)
        self.unread_at = self.unread_at if self.unread else event.begin
        self.unread += 1

    def _may_be_packet(self, lengths: Readings) -> bool:
        """Whether half-bits of no packet may be one: what a gap cut, or one that noise spoiled.

        At the begin of a recording its preamble may be cut.
        """
        if not has_zeros(lengths, self._windows):
            return False
        if isinstance(self._before, Gap):
            return True
        if self._before is None and not self._complete:
            return len(lengths) >= WHOLE_PACKET
        return may_be_spoiled(lengths, self._windows)

    def _doubtful_ones(self, event: PacketReceived, some: HalfBits) -> int:
        """How many ones at the begin of a preamble rule 1 does not judge, and would not pass."""
        place = int(np.searchsorted(some.edges, event.begin))
        (low, high), error = (LIMITS["t1"].least, LIMITS["t1"].most), self._error
        halves = (one - place for one in some.cut if place <= one < place + 4)
        bad = [at for at in halves if not low + error <= some.lengths[place + at] <= high - error]
        return max(bad, default=-1) // 2 + 1

    def _look_for_others(self, event: Stray, some: HalfBits, lengths: Readings) -> None:
        """Whether another protocol stood here, and until when."""
        self._bound = bool((lengths[1:] > self._windows.one[1]).any())
        begin = int(np.searchsorted(some.edges, event.begin))
        if some.extra is not None:  # what distortion moved is no other protocol's
            lengths = lengths * (some.extra[begin : begin + len(lengths)] == 0)
        if (last := last_of_others(lengths, self._windows)) is not None:
            self._other_since = True
            self._hiding_from = int(some.edges[begin + last + 1])

    def _judge_gap(self, event: Gap, edge: int) -> None:
        """Rules 13 and 17, and what a gap means for the packet after it; `edge` is the last one.

        Power that falls may have made an edge shortly before the gap: then the signal lasted until
        there, and what may be either is open.
        """
        undefined = event.begin in self.undefined
        self.undefined.discard(event.begin)
        self._any_undefined |= undefined
        silent = event.end - event.begin > self._windows.zero[1]
        self._rules.gap(event.begin, event.end, undefined=undefined)
        self.silences += silent and not undefined
        inside = undefined and self._ended is not None and event.begin < self._ended
        if self._broken:
            self._gaps.add(_UNDECIDED, [event.begin])
        elif undefined and not inside:
            self._gaps.add(PASSED, [event.begin])
        if undefined and self._ended is not None:
            lasted, extra = np.array([event.begin - self._ended]), np.array([self._ended_within])
            passes = bool(self._after_end.judge(lasted, extra)[1][0])
            fallen = edge > self._ended + self._ended_within and event.begin - edge < GOES_ON_NS
            sure = not fallen or self._after_end.judge(np.array([edge - self._ended]), extra)[1][0]
            if lasted[0] < 0:  # into the end bit, as far as it is known to last
                self._gaps.add(_UNDECIDED, [event.begin])
            elif silent and not passes:
                self._after_end.add(_OFF, [self._ended])
            elif event.end - event.begin < LIMITS["t1"].least and not passes:
                self._after_end.add(_GLITCH, [self._ended])
            elif passes and not sure:
                self._after_end.add(_FALLEN, [self._ended])
            else:
                ended = np.array([self._ended])
                self._after_end.take(lasted, lambda some: ended[some], extra)
        self._gap_since, self._ended = True, None
        if silent:  # the power may come back in the middle of a preamble
            self._keep(None)
            self._first = True
        self._broken = False

    def _settle(self, follows: Event | None, some: HalfBits | None) -> None:
        """Judge a packet that read wrong, now that it is known what follows it."""
        event, self._waiting = self._waiting, None
        if event is None:
            return
        if not self._closed and isinstance(follows, (Gap, type(None))):
            # Silence cut what was taken for the end bit: it may have been the half of a 0.
            self._rules.miss(event.begin, event.end)
            self._keep(None)
            return
        broken_off = some is not None and goes_on(event.end, follows, some, self._windows)
        *rest, last = event.data
        ran_on = last == 0xFF and len(rest) >= SHORTEST and reduce(xor, rest) == 0
        if broken_off or ran_on:
            self._framing.add(FAILED if self._plain else _SPOILED, [event.start])
            self._plain = True
            self._rules.miss(event.begin, event.end)
            self._keep(None)
        else:
            self._judge(event)

    def _judge(self, event: PacketReceived | Fault) -> None:
        """Rule 15, and what the bytes say, of a packet whose start and end bits are trusted."""
        start = event.start if isinstance(event, PacketReceived) else event.begin
        end, within = event.end, 0
        if isinstance(event, PacketReceived) and not self._closed:
            # What must have lasted 52 µs for a receiver lasts 55 to 61 (S-9.1 §A, Table 1 t1).
            one = LIMITS["t1"]
            end += (one.least + one.most) // 2 - self._windows.settled
            within = (one.most - one.least) // 2
        within += self._ringing
        self._framing.add(PASSED, [start])
        if self._plain or (reduce(xor, event.data) == 0 and len(event.data) >= SHORTEST):
            ones = event.preamble + (event.adjoining if isinstance(event, PacketReceived) else 0)
            times = event.begin, start, end
            self._rules.add(event.data, *times, ones, within=within, hidden=self._hides)
            self._keep(event.end)
        else:
            self._rules.tell(error_byte.number, _SPOILED, start)
            self._rules.miss(event.begin, event.end)
            self._keep(None)  # it may have run on into the preamble of the next
        self._plain = True
        if isinstance(event, Fault):
            self._ended = None
        else:
            self._ended, self._ended_within = end, within

    def _judge_preamble(
        self, event: PacketReceived | Fault | CutOff, *, adjoining: bool, some: HalfBits
    ) -> None:
        """Rule 14, where the packet before is complete: its end bit counts if it adjoins (C2).

        What lies between the two may hide ones, as many as its time allows, but no more.
        """
        counted = event.preamble + adjoining
        self._hides = self._hidden(event, some) if counted < _LONG_PREAMBLE else 0
        if not self._complete:
            whole = isinstance(self._before, Stray) and self._bound
            if self._first and whole and counted < SENT_PREAMBLE:
                self._preamble.add(_CUT, [event.begin])
            return
        hiding = event.begin - self._hiding_from
        hidden = (hiding + 2 * self._error) // self._least_one
        # Half a 1 by itself, and a start bit as long as the other half and a 0: an edge is lost.
        hidden += self._merged and not hidden and hiding >= self._windows.one[0]
        hidden += not self._other_since  # the end bit
        note, verdict = "", Verdict.PASS
        if counted == SENT_PREAMBLE and adjoining:
            note = "of exactly 14 with the end bit before; the strict reading asks 15 (C2)"
        elif counted == SENT_PREAMBLE - 1 and self._gap_since:
            note = "of 13 and the end bit before a gap"
        elif counted < SENT_PREAMBLE and not adjoining and counted + hidden >= SENT_PREAMBLE:
            verdict = Verdict.UNDECIDED
            note = "fewer, before which half-bits of no packet may hide ones: a cutout, noise"
        elif counted < SENT_PREAMBLE:
            verdict, note = self._short(event, counted, some)
        elif counted - self._doubtful < SENT_PREAMBLE:
            verdict = Verdict.UNDECIDED
            note = "with ones at its begin that may be cut, or another protocol's"
        begin = event.start if isinstance(event, PacketReceived) else event.begin
        self._preamble.add(Outcome(verdict, counted, note), [begin])

    def _short(
        self, event: PacketReceived | Fault | CutOff, counted: int, some: HalfBits
    ) -> tuple[Verdict, str]:
        """Whether ones are missing for certain, which the start bit may hide if it is none."""
        begin = int(np.searchsorted(some.edges, event.begin))
        at = begin + 2 * event.preamble
        if some.noisy is not None and some.noisy[max(at - 2, 0) : at + 2].any():
            return Verdict.UNDECIDED, "fewer, with noise where the start bit is read"
        if counted + self._hides >= SENT_PREAMBLE:
            return Verdict.UNDECIDED, "fewer, before a level as long as ones that it may hide"
        return Verdict.FAIL, ""

    def _hidden(self, event: PacketReceived | Fault | CutOff, some: HalfBits) -> int:
        """How many ones the start bit may hide.

        A level that is held, as where contact was lost, looks like a zero that is stretched.
        """
        at = int(np.searchsorted(some.edges, event.begin)) + 2 * event.preamble
        lengths = some.lengths[at : int(np.searchsorted(some.edges, event.end))].tolist()
        start, *others = lengths or [0]
        if start <= 2 * max(others, default=0):
            return 0
        longer: int = start + sum(others[:1]) - 2 * LIMITS["t0"].least
        return (longer + 2 * self._error) // self._least_one
