"""Rules of S-9.2 and S-9.2.1 on packets by what came before them, in operations mode.

What was not recorded, or could not be read, is not held against the station. Room: a class for each
rule, or for a few that look at the same packets.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from dccwire.address import LongAddress, Mode, Partition, ShortAddress
from dccwire.codebook import IDLE_PACKET, RESET_PACKET
from dccwire.conformance.history import Heard, Watch
from dccwire.conformance.measures import LimitMeasure, Tally
from dccwire.conformance.pace import whole_address
from dccwire.conformance.rules import (
    FAILED,
    PASSED,
    UNKNOWN_MODE,
    Force,
    Outcome,
    Rule,
    Sent,
    Verdict,
    rule,
)
from dccwire.conformance.session import Session
from dccwire.formats import Provenance
from dccwire.instructions import (
    CvAccessLongForm,
    CvBitManipulation,
    CvOperation,
    DecoderFlag,
    DigitalDecoderReset,
    FactoryTest,
    FunctionsF13F20,
    FunctionsF21F28,
    SetDecoderFlags,
)
from dccwire.packet import Packet
from dccwire.receiver.tracking import is_service
from dccwire.signal import LIMITS, Limit, Timing

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
FACTORY_TESTS = rule(
    39, "factory tests in operation", Limit("S-9.2.1 §C, Factory Test", words="none")
)
REPEATED = rule(
    41,
    "identical packets of F13 to F28 after a change",
    Limit("S-9.2.1 §C, Feature Expansion (X38)", words="2 or more, unless refreshed"),
)
WRITTEN_TWICE = rule(
    42,
    "identical packets of a CV write, with nothing else for the decoder between",
    Limit("S-9.2.1 §C, CV access long form", words="2", provenance=Provenance.DERIVED),
    Force.DERIVED,
)
TO_CONSISTS = rule(
    44,
    "CV access in the long form to a consist address",
    Limit("S-9.2.1 §C, CV access long form", words="none", provenance=Provenance.DERIVED),
    Force.DERIVED,
)
FLAGS_TO_CONSISTS = rule(
    91,
    "set decoder flags 1000 and 1001 to a consist address",
    Limit("S-9.2.1 §C, Set Decoder Flags", words="none", provenance=Provenance.DERIVED),
    Force.DERIVED,
)
AFTER_SESSION = rule(
    92,
    "first operations packet after service mode",
    Limit("S-9.2.3 §C", words="no service mode packet", provenance=Provenance.DERIVED),
    Force.DERIVED,
)

_CONSISTS = "the session's consist addresses: say them with consists = [...]"
_MEANT = Outcome(
    Verdict.UNDECIDED,
    note="where service mode may be meant: say so with programming_track = true, or false",
)
_MISSED = Outcome(Verdict.UNDECIDED, note="with what could not be read between")
_BEGUN = Outcome(Verdict.UNDECIDED, note="whose first packet may not have been recorded")
_LIKE_REGISTERS = Partition.PROGRAMMING.value


class AfterReset(Watch):
    """Rule 21: 20 ms from the end of 00 00 00 to the start of what may be taken for service mode.

    Only the last reset counts; what was missed since may have been another one.
    """

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = LimitMeasure(AFTER_RESET, error_ns)
        self._end: int | None = None

    def wants(self, sent: Sent) -> bool:
        return sent.right and (sent.data == RESET_PACKET or sent.data[0] in range(100, 128))

    def take(self, heard: Heard) -> None:
        if heard.sent.data == RESET_PACKET:
            self._end = heard.end
            return
        meant = is_service(heard.sent.data) and self.session.programming_track
        if self._end is None or meant:
            return
        reading = np.array([heard.start - self._end])
        open_ = is_service(heard.sent.data) and self.session.programming_track is None
        if open_ and not self._tally.judge(reading)[1][0]:
            self._tally.add(_MEANT, [heard.start])
        else:
            self._tally.take(reading, lambda _: np.array([heard.start]))

    def miss(self, begin: int, end: int) -> None:
        self._end = None

    def gap(self, begin: int, end: int) -> None:
        self._end = None

    def tallies(self) -> Iterable[Tally]:
        return (self._tally,)


_LEAST = Timing(LIMITS["t1"].least, LIMITS["t0"].least)
_SHORTEST_PACKET_NS = _LEAST.duration_ns(ones=14 + 17, zeros=11)
"""An idle packet after 14 ones, each half-bit as short as S-9.1 §A, Table 1 allows."""


class AfterDecoderReset(Watch):
    """Rule 38: packets, and time, from a decoder reset to a packet to 112 to 127."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(AFTER_DECODER_RESET)
        self._last: Heard | None = None
        self._missed = 0

    def wants(self, sent: Sent) -> bool:
        if not sent.right:
            return False
        return sent.data[0] in _LIKE_REGISTERS or _holds(sent, DigitalDecoderReset)

    def take(self, heard: Heard) -> None:
        sent, last = heard.sent, self._last
        meant = sent.mode is Mode.SERVICE and self.session.programming_track is not False
        if last is not None and sent.data[0] in _LIKE_REGISTERS and not meant:
            count = heard.number - last.number - 1
            few = count + self._missed < 10
            soon = heard.start - last.end + self.error < 10 * _SHORTEST_PACKET_NS
            late = heard.start - last.end - self.error >= 10 * _SHORTEST_PACKET_NS
            if count >= 10 and late:
                outcome = Outcome(Verdict.PASS, count)
            elif few and soon and sent.mode is None:
                outcome = Outcome(Verdict.UNDECIDED, count, UNKNOWN_MODE)
            elif few and soon:
                outcome = Outcome(Verdict.FAIL, count)
            else:
                note = "with ten packets or ten packet times between, not with both (X37)"
                outcome = Outcome(Verdict.UNDECIDED, count, note)
            self._tally.add(outcome, [heard.start])
        if _holds(sent, DigitalDecoderReset):
            self._last, self._missed = heard, 0

    def miss(self, begin: int, end: int) -> None:
        self._missed += 1

    def gap(self, begin: int, end: int) -> None:
        self._last = None

    def tallies(self) -> Iterable[Tally]:
        return (self._tally,)


def _holds(sent: Sent, kind: type) -> bool:
    """Whether a packet that is right has an instruction of a kind."""
    packet = sent.packet
    return packet is not None and any(isinstance(one, kind) for one in packet.instructions)


class FactoryTests(Watch):
    """Rule 39: what stands in operation depends on where the recording was made."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(FACTORY_TESTS)

    def wants(self, sent: Sent) -> bool:
        return _holds(sent, FactoryTest) and self.session.factory is not True

    def take(self, heard: Heard) -> None:
        open_ = Outcome(Verdict.UNDECIDED, note="where the factory may be: say factory = false")
        self._tally.add(open_ if self.session.factory is None else FAILED, [heard.start])

    def tallies(self) -> Iterable[Tally]:
        return (self._tally,)


class Repeated(Watch):
    """Rule 41: a state of F13 to F28 that differs from the one before comes twice, at least.

    The text names no time, so one that came once is undecided until the recording ends; one that
    the next change overtakes is exempt, and the first one seen may be no change.
    """

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(REPEATED)
        # The state of each group at each address, where it came first, and how often; 0: no change.
        self._states: dict[tuple[object, type], tuple[int, int, int]] = {}

    def wants(self, sent: Sent) -> bool:
        return _holds(sent, FunctionsF13F20) or _holds(sent, FunctionsF21F28)

    def take(self, heard: Heard) -> None:
        packet = heard.sent.packet
        assert packet is not None
        for one in packet.instructions:
            if not isinstance(one, (FunctionsF13F20, FunctionsF21F28)):
                continue
            key = packet.address, type(one)
            state, at, count = self._states.get(key, (-1, 0, 0))
            if state < 0:
                self._states[key] = one.functions, heard.start, 0
            elif state != one.functions:
                self._states[key] = one.functions, heard.start, 1
            elif count == 1:
                self._tally.add(PASSED, [at])
                self._states[key] = state, at, 0

    def close(self) -> None:
        note = "sent once until the recording ends: a longer one may show it again"
        for _, at, count in self._states.values():
            if count:
                self._tally.add(Outcome(Verdict.UNDECIDED, note=note), [at])

    def tallies(self) -> Iterable[Tally]:
        return (self._tally,)


class WrittenTwice(Watch):
    """Rule 42: a write takes effect on the second identical packet, if no other comes between."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(WRITTEN_TWICE)
        # The first packet of writes that wait for their second, by the decoder's address.
        self._first: dict[bytes, Heard] = {}
        self._done: dict[bytes, bytes] = {}

    def wants(self, sent: Sent) -> bool:
        return sent.mode is not Mode.SERVICE and _writes(sent.packet)

    def take(self, heard: Heard) -> None:
        if heard.sent.right and heard.sent.data != IDLE_PACKET:
            self._hear(heard)
        # While a write waits for its second packet, and more of the same may follow on that.
        self.awake = bool(self._first or self._done)

    def _hear(self, heard: Heard) -> None:
        data = heard.sent.data
        address = whole_address(data) or data[:1]
        to_all = data[0] == 0
        for one in [*self._first] if to_all else [address]:
            first = self._first.pop(one, None)
            if first is None:
                continue
            twice = first.sent.data == data
            self._tally.add(PASSED if twice else FAILED if first.met else _BEGUN, [first.start])
            if twice:
                self._done[one] = data
                return
        if to_all:
            self._done.clear()
        elif self._done.pop(address, None) == data:
            self._done[address] = data  # more of the same are no new write
        elif _writes(heard.sent.packet):
            self._first[address] = heard

    def _doubt(self) -> None:
        for first in self._first.values():
            self._tally.add(_MISSED, [first.start])
        self._first.clear()
        self._done.clear()
        self.awake = False

    def miss(self, begin: int, end: int) -> None:
        self._doubt()

    def gap(self, begin: int, end: int) -> None:
        self._doubt()

    def tallies(self) -> Iterable[Tally]:
        return (self._tally,)


def _writes(packet: Packet | None) -> bool:
    """Whether a packet to a multi-function decoder writes a CV in the long form."""
    if packet is None or not isinstance(packet.address, (ShortAddress, LongAddress)):
        return False
    return any(
        (isinstance(one, CvAccessLongForm) and one.operation is CvOperation.WRITE)
        or (isinstance(one, CvBitManipulation) and one.operation is CvOperation.WRITE)
        for one in packet.instructions
    )


class ToConsists(Watch):
    """Rules 44 and 91: what a consist address must not be sent, if the session tells them."""

    _RULES: tuple[Rule, Rule] = (TO_CONSISTS, FLAGS_TO_CONSISTS)

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tallies = [Tally(one) for one in self._RULES]
        if session.consists is None:
            for tally in self._tallies:
                tally.lacks = f"needs {_CONSISTS}"

    def wants(self, sent: Sent) -> bool:
        return any(self._judge(sent))

    def _judge(self, sent: Sent) -> tuple[Outcome | None, ...]:
        packet, consists = sent.packet, self.session.consists
        if packet is None or consists is None or sent.mode is Mode.SERVICE:
            return ()
        if not isinstance(packet.address, ShortAddress):
            return ()
        wrong = FAILED if packet.address.number in consists else PASSED
        cvs = _holds(sent, CvAccessLongForm) or _holds(sent, CvBitManipulation)
        kept = {DecoderFlag.SET_BIDIRECTIONAL_COMMUNICATION, DecoderFlag.SET_CV_ACCESS}
        flags = [one.flag for one in packet.instructions if isinstance(one, SetDecoderFlags)]
        return wrong if cvs else None, wrong if kept & set(flags) else None

    def take(self, heard: Heard) -> None:
        for tally, outcome in zip(self._tallies, self._judge(heard.sent), strict=True):
            if outcome is not None:
                tally.add(outcome, [heard.start])

    def tallies(self) -> Iterable[Tally]:
        return self._tallies


class AfterSession(Watch):
    """Rule 92: after service mode, nothing that a decoder may take for more of it comes first."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(AFTER_SESSION)

    def wants(self, sent: Sent) -> bool:
        return sent.mode is Mode.SERVICE and is_service(sent.data)

    def take(self, heard: Heard) -> None:
        sent = heard.sent
        if not sent.right or sent.data == RESET_PACKET:
            return
        if is_service(sent.data) and sent.mode is Mode.SERVICE:
            self.awake = True
            return
        self.awake = False
        self._tally.add(FAILED if is_service(sent.data) else PASSED, [heard.start])

    def miss(self, begin: int, end: int) -> None:
        self.awake = False

    def tallies(self) -> Iterable[Tally]:
        return (self._tally,)
