"""Rules of S-9.2 and S-9.2.1 on packets by what came before them, in operations mode.

What was not recorded, or could not be read, is not held against the station. Room: a class for each
rule, or for a few that look at the same packets.
"""

from __future__ import annotations

from collections.abc import Iterable

from dccwire.address import LongAddress, Mode, Partition, ShortAddress
from dccwire.codebook import IDLE_PACKET
from dccwire.conformance.history import Heard, Watch, hides
from dccwire.conformance.measures import Tally
from dccwire.conformance.pace import whole_address
from dccwire.conformance.rules import (
    FAILED,
    MISSED,
    PASSED,
    UNKNOWN_MODE,
    Force,
    Outcome,
    Rule,
    Sent,
    Verdict,
    holds,
    instructions,
    rule,
)
from dccwire.conformance.session import Session
from dccwire.formats import MULTI_FUNCTION, Provenance
from dccwire.instructions import (
    BinaryStateLongForm,
    BinaryStateShortForm,
    CvAccessLongForm,
    CvBitManipulation,
    CvOperation,
    DecoderFlag,
    FunctionsF13F20,
    FunctionsF21F28,
    SetDecoderFlags,
)
from dccwire.packet import Packet
from dccwire.signal import LIMITS, Limit

FACTORY_TESTS = rule(
    39, "factory tests in operation", Limit("S-9.2.1 §C, Factory Test", words="none")
)
REPEATED = rule(
    41,
    "identical packets of F13 to F28 after a change",
    Limit("S-9.2.1 §C, Feature Expansion (X38)", words="2 or more, unless refreshed"),
)
STATES_AGAIN = rule(
    89,
    "binary states sent again without a change",
    Limit("S-9.2.1 §C, Binary State Control", words="told"),
    Force.REPORT,
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
_PERHAPS = Outcome(
    Verdict.UNDECIDED, note=f"with packets between to what may be its consist: needs {_CONSISTS}"
)
_TWICE = Outcome(Verdict.PASS, note="sent twice in all; another reading asks for three (X38)")
_BEGUN = Outcome(Verdict.UNDECIDED, note="whose first packet may not have been recorded")


class FactoryTests(Watch):
    """Rule 39: what stands in operation depends on where the recording was made."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(FACTORY_TESTS)

    def wants(self, sent: Sent) -> bool:
        packet = sent.packet
        if packet is None or not packet.address.partitions <= MULTI_FUNCTION:
            return False
        codes = (bytes(one)[0] for one in packet.instructions)  # of several bytes, too (X9)
        return self.session.factory is not True and any(code >> 1 == 0b0000001 for code in codes)

    def take(self, heard: Heard) -> None:
        open_ = Outcome(Verdict.UNDECIDED, note="where the factory may be: say factory = false")
        said = open_ if self.session.factory is None else FAILED
        if heard.sent.mode is None:
            said = Outcome(Verdict.UNDECIDED, note=UNKNOWN_MODE)
        self._tally.add(said, [heard.start])

    def tallies(self) -> Iterable[Tally]:
        return (self._tally,)


class Repeated(Watch):
    """Rule 41: a state of F13 to F28 that differs from the one before comes twice, at least.

    The text names no time, so one that came once is undecided when the recording ends, or the
    power may go; one that the next change overtakes is exempt, and the first may be no change.
    """

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(REPEATED)
        # The state of each group at each address, where it came first, and how often if a change.
        self._states: dict[tuple[object, type], tuple[int, int, int | None]] = {}

    def wants(self, sent: Sent) -> bool:
        return holds(sent, FunctionsF13F20, FunctionsF21F28)

    def take(self, heard: Heard) -> None:
        for address, one in instructions(heard.sent):
            if not isinstance(one, (FunctionsF13F20, FunctionsF21F28)):
                continue
            key = address, type(one)
            known = self._states.get(key)
            if known is None:
                self._states[key] = one.functions, heard.start, None
                continue
            functions, at, count = known
            if functions == one.functions:
                self._states[key] = functions, at, None if count is None else count + 1
            else:
                self._states[key] = one.functions, heard.start, 1
                if count is not None and count > 1:
                    self._tally.add(_TWICE if count == 2 else PASSED, [at])

    def gap(self, begin: int, end: int) -> None:
        if end - begin > LIMITS["tr0"].most:
            self.close()
            self._states.clear()

    def close(self) -> None:
        note = "sent once until the recording, or the signal, ends: a longer one may show it again"
        once = Outcome(Verdict.UNDECIDED, note=note)
        for _, at, count in self._states.values():
            if count is not None:
                self._tally.add(once if count == 1 else PASSED, [at])

    def tallies(self) -> Iterable[Tally]:
        return (self._tally,)


class StatesAgain(Watch):
    """Rule 89: how many binary states are what was sent before; 0 stands for all of its form."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(STATES_AGAIN)
        # By address: states by their numbers, all of the long form by 0, of the short one by -1.
        self._states: dict[object, dict[int, bool]] = {}

    def wants(self, sent: Sent) -> bool:
        return holds(sent, BinaryStateLongForm, BinaryStateShortForm)

    def take(self, heard: Heard) -> None:
        for address, one in instructions(heard.sent):
            if not isinstance(one, (BinaryStateLongForm, BinaryStateShortForm)):
                continue
            known = self._states.setdefault(address, {})
            before = dict(known)
            if one.state:
                all_known = known.get(-1, known.get(0)) if one.state < 128 else known.get(0)
                again = known.get(one.state, all_known) is one.on
                known[one.state] = one.on
            else:
                every = isinstance(one, BinaryStateLongForm)
                for number in before:
                    if every or (number < 128 and number):
                        del known[number]
                known[0 if every else -1] = one.on
                again = known == before
            note = "sent again without a change, at once or later" if again else ""
            self._tally.add(Outcome(Verdict.OBSERVED, note=note), [heard.start])

    def tallies(self) -> Iterable[Tally]:
        return (self._tally,)


class WrittenTwice(Watch):
    """Rule 42: a write takes effect on the second identical packet, if no other comes between."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(WRITTEN_TWICE)
        # The first packet of writes that wait for their second, by the decoder's address.
        self._first: dict[bytes, Heard] = {}
        # Those with packets between that may be to the decoder's consist.
        self._consist: set[bytes] = set()
        self._done: dict[bytes, bytes] = {}

    def wants(self, sent: Sent) -> bool:
        return sent.mode is not Mode.SERVICE and _writes(sent.packet)

    def take(self, heard: Heard) -> None:
        if not heard.sent.right:
            self._doubt()
        elif heard.sent.data != IDLE_PACKET:
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
            outcome = _PERHAPS if one in self._consist else PASSED
            if not twice:
                outcome = FAILED if first.met else _BEGUN
            self._tally.add(outcome, [first.start])
            if twice:
                self._done[one] = data
                return
        if to_all:
            self._done.clear()
        elif self._done.pop(address, None) == data:
            self._done[address] = data  # more of the same are no new write
        elif _writes(heard.sent.packet):
            self._first[address] = heard
            self._consist.discard(address)
        consists = self.session.consists
        if data[0] in (Partition.SHORT.value if consists is None else consists):
            self._consist.update(one for one in self._first if one != address)

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
        if wrong is FAILED and sent.mode is None:
            wrong = Outcome(Verdict.UNDECIDED, note=UNKNOWN_MODE)
        cvs = holds(sent, CvAccessLongForm, CvBitManipulation)
        kept = {DecoderFlag.SET_BIDIRECTIONAL_COMMUNICATION, DecoderFlag.SET_CV_ACCESS}
        flags = [one.flag for one in packet.instructions if isinstance(one, SetDecoderFlags)]
        return wrong if cvs else None, wrong if kept & set(flags) else None

    def take(self, heard: Heard) -> None:
        for tally, outcome in zip(self._tallies, self._judge(heard.sent), strict=True):
            if outcome is not None:
                tally.add(outcome, [heard.start])

    def tallies(self) -> Iterable[Tally]:
        return self._tallies
