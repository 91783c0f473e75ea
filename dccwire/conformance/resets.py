"""Rules 21, 38 and 92: packets that decoders may take for service mode, behind a reset or after it.

Such packets are heard only from a reset on, until enough time or packets have come, so that other
traffic costs nothing. Room: a class for each rule.
"""

from __future__ import annotations

import numpy as np

from dccwire.address import Mode, Partition
from dccwire.codebook import RESET_PACKET
from dccwire.conformance.history import SHORTEST_PACKET_NS, Heard, Watch, hides
from dccwire.conformance.measures import LimitMeasure, Readings, Tally
from dccwire.conformance.rules import (
    FAILED,
    MISSED,
    PASSED,
    PERHAPS_OPERATIONS,
    UNKNOWN_MODE,
    Force,
    Outcome,
    Sent,
    Verdict,
    holds,
    rule,
)
from dccwire.conformance.session import Session
from dccwire.formats import Provenance
from dccwire.instructions import DigitalDecoderReset
from dccwire.receiver.tracking import is_service
from dccwire.signal import LIMITS, Limit

AFTER_RESET = rule(
    21,
    "first byte 100 to 127 after a reset of all decoders",
    Limit("S-9.2 §B, Reset (C9)", least=20_000_000, unit="us"),
)
AFTER_DECODER_RESET = rule(
    38,
    "packets between a decoder reset and one to 112 to 127",
    Limit("S-9.2.1 §C, Digital Decoder Reset (C8, X37)", least=10, unit="packets"),
)
AFTER_SESSION = rule(
    92,
    "first operations packet after service mode",
    Limit("S-9.2.3 §C", words="no service mode packet", provenance=Provenance.DERIVED),
    Force.DERIVED,
)

_MEANT = Outcome(
    Verdict.UNDECIDED,
    note="where service mode may be meant: say so with programming_track = true, or false",
)
_OFF = Outcome(
    Verdict.UNDECIDED, note="behind a time without signal: whether power was off decides"
)
_LIKE_REGISTERS = Partition.PROGRAMMING.value


class AfterReset(Watch):
    """Rule 21: 20 ms from the end of 00 00 00 to the start of what may be taken for service mode.

    Only the last reset counts; one with nothing of that kind behind it for so long passes.
    """

    _tally: LimitMeasure

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = LimitMeasure(AFTER_RESET, error_ns)
        # Where the last reset ended, and how far that may be off besides; whether it was judged,
        # and something missed, since.
        self._end, self._within = 0, np.zeros(1, np.int64)
        self._told = self._missed = False

    def wants(self, sent: Sent) -> bool:
        return sent.data == RESET_PACKET

    def take(self, heard: Heard) -> None:
        sent = heard.sent
        if sent.data == RESET_PACKET:
            self._end, self._within = heard.end, np.array([heard.within])
            self._told, self._missed, self.awake = False, False, True
            return
        reading, within = np.array([heard.start - self._end]), self._within + heard.within
        over = bool(self._tally.judge(reading, within)[1][0])
        about = sent.right and sent.data[0] in range(100, 128)
        if over:
            self._close(reading if about else reading[:0], heard.start, within)
        elif about:
            self._judge(reading, heard)
        self._missed |= not sent.right

    def _judge(self, reading: Readings, heard: Heard) -> None:
        """A packet that comes too soon, or nearly."""
        like, meant = is_service(heard.sent.data), self.session.programming_track
        if not (like and meant is None):
            if not (like and meant):
                within = self._within + heard.within
                self._tally.take(reading, lambda _: np.array([heard.start]), within)
                self._told = True
        elif not self._told:
            self._tally.add(_MEANT, [heard.start])
            self._told = True

    def _close(self, reading: Readings, start: int, within: Readings) -> None:
        """The time is over."""
        self.awake = False
        if self._told:
            return
        if self._missed:
            self._tally.add(MISSED, [start])
        elif len(reading):
            self._tally.take(reading, lambda _: np.array([start]), within)
        else:
            self._tally.add(PASSED, [start])

    def miss(self, begin: int, end: int) -> None:
        self._missed |= begin - self._end < AFTER_RESET.limit.least

    def gap(self, begin: int, end: int) -> None:
        if hides(begin, end):
            self.miss(begin, end)


class AfterDecoderReset(Watch):
    """Rule 38: packets, and time, from a decoder reset to a packet to 112 to 127."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(AFTER_DECODER_RESET)
        # The last reset; whether it was judged since, and something left open that may be of
        # service mode; how many packets may have been missed since.
        self._last: Heard | None = None
        self._told = self._perhaps = False
        self._missed = 0

    def wants(self, sent: Sent) -> bool:
        return holds(sent, DigitalDecoderReset)

    def take(self, heard: Heard) -> None:
        sent = heard.sent
        if self._last is not None:
            self._judge(heard, self._last)
        if holds(sent, DigitalDecoderReset):
            self._last, self._missed, self.awake = heard, 0, True
            self._told = self._perhaps = False

    def _judge(self, heard: Heard, last: Heard) -> None:
        sent = heard.sent
        track = self.session.programming_track
        service = sent.mode is Mode.SERVICE and track is not False
        about = sent.right and sent.data[0] in _LIKE_REGISTERS and not (service and track)
        count, least = heard.number - last.number - 1, AFTER_DECODER_RESET.limit.least
        lasted, error = heard.start - last.end, self.error + last.within + heard.within
        if count >= least and lasted - error >= least * SHORTEST_PACKET_NS:
            self._last, self.awake = None, False
            if not self._told:
                value = count if about else None
                self._tally.add(
                    MISSED if self._missed else Outcome(Verdict.PASS, value), [heard.start]
                )
            return
        if about:
            few = count + self._missed < least
            soon = lasted + error < least * SHORTEST_PACKET_NS
            note = "with ten packets or ten packet times between, not with both (X37)"
            outcome = Outcome(Verdict.UNDECIDED, count, note)
            if few and soon:
                outcome = Outcome(Verdict.FAIL, count)
            if service and self._told:
                return
            if service or (self._perhaps and outcome.verdict is Verdict.FAIL):
                outcome, self._perhaps = _MEANT._replace(value=count), track is None
            elif outcome.verdict is Verdict.FAIL and None in (sent.mode, last.sent.mode):
                outcome = Outcome(Verdict.UNDECIDED, count, UNKNOWN_MODE)
            self._tally.add(outcome, [heard.start], first=sent.data)
            self._told = True
        self._missed += not sent.right

    def miss(self, begin: int, end: int) -> None:
        self._missed += 1

    def gap(self, begin: int, end: int) -> None:
        self._missed += -(-(end - begin) // SHORTEST_PACKET_NS) * hides(begin, end)


class AfterSession(Watch):
    """Rule 92: after service mode, nothing that a decoder may take for more of it comes first."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(AFTER_SESSION)
        self._missed = self._off = False

    def wants(self, sent: Sent) -> bool:
        return sent.mode is Mode.SERVICE and is_service(sent.data)

    def take(self, heard: Heard) -> None:
        sent = heard.sent
        if not sent.right:
            self._missed = True
        elif self.wants(sent):
            self.awake, self._missed, self._off = True, False, False
        elif sent.data != RESET_PACKET:
            self.awake = False
            outcome = MISSED if self._missed else PASSED
            if is_service(sent.data):
                # Where service mode is meant, the mode is in doubt because nothing leads there.
                known = self.session.programming_track
                note = UNKNOWN_MODE if sent.mode is None else PERHAPS_OPERATIONS
                unknown = Outcome(Verdict.UNDECIDED, note=note)
                outcome = MISSED if self._missed and known else FAILED if known else unknown
                outcome = _OFF if self._off else outcome
            self._tally.add(outcome, [heard.start], first=sent.data)

    def miss(self, begin: int, end: int) -> None:
        self._missed = True

    def gap(self, begin: int, end: int) -> None:
        self._off |= end - begin > LIMITS["tr0"].most
        self._missed |= hides(begin, end) and not self._off
