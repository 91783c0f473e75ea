"""Rules of S-9.2 and S-9.2.1 on packets by what came before them, in operations mode.

What was not recorded, or could not be read, is not held against the station. Room: a class for each
rule, or for a few that look at the same packets.
"""

from __future__ import annotations

from collections.abc import Iterable

from dccwire.address import LongAddress, Mode, ShortAddress
from dccwire.codebook import IDLE_PACKET
from dccwire.conformance.history import Heard, Watch, hides
from dccwire.conformance.measures import Tally
from dccwire.conformance.pace import whole_address
from dccwire.conformance.rules import (
    FAILED,
    MISSED,
    PASSED,
    Force,
    Outcome,
    Rule,
    Sent,
    Verdict,
    holds,
    rule,
)
from dccwire.conformance.session import Session
from dccwire.formats import Provenance
from dccwire.instructions import (
    CvAccessLongForm,
    CvBitManipulation,
    CvOperation,
    DecoderFlag,
    FactoryTest,
    FunctionsF13F20,
    FunctionsF21F28,
    SetDecoderFlags,
)
from dccwire.packet import Packet
from dccwire.signal import Limit

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
_CONSISTS = "the session's consist addresses: say them with consists = [...]"
_BEGUN = Outcome(Verdict.UNDECIDED, note="whose first packet may not have been recorded")


class FactoryTests(Watch):
    """Rule 39: what stands in operation depends on where the recording was made."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(FACTORY_TESTS)

    def wants(self, sent: Sent) -> bool:
        return holds(sent, FactoryTest) and self.session.factory is not True

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
        return holds(sent, FunctionsF13F20) or holds(sent, FunctionsF21F28)

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
            self._tally.add(MISSED, [first.start])
        self._first.clear()
        self._done.clear()
        self.awake = False

    def miss(self, begin: int, end: int) -> None:
        self._doubt()

    def gap(self, begin: int, end: int) -> None:
        if hides(begin, end):
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
        cvs = holds(sent, CvAccessLongForm) or holds(sent, CvBitManipulation)
        kept = {DecoderFlag.SET_BIDIRECTIONAL_COMMUNICATION, DecoderFlag.SET_CV_ACCESS}
        flags = [one.flag for one in packet.instructions if isinstance(one, SetDecoderFlags)]
        return wrong if cvs else None, wrong if kept & set(flags) else None

    def take(self, heard: Heard) -> None:
        for tally, outcome in zip(self._tallies, self._judge(heard.sent), strict=True):
            if outcome is not None:
                tally.add(outcome, [heard.start])

    def tallies(self) -> Iterable[Tally]:
        return self._tallies
