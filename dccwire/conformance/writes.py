"""Rules 42, 44 and 91: writes to decoders, and what their consists must not be sent.

What was not recorded, or could not be read, is not held against the station. Room: a class for rule
42, and one for the others, which look at the same packets.
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
    rule,
)
from dccwire.conformance.session import Session
from dccwire.formats import Instruction, Provenance
from dccwire.instructions import (
    ConsistControl,
    CvAccessLongForm,
    CvBitManipulation,
    CvOperation,
    DecoderFlag,
    HardReset,
    SetDecoderFlags,
    SpeedAndDirection,
    SpeedStepControl128,
)
from dccwire.packet import Packet
from dccwire.signal import Limit

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
    Verdict.UNDECIDED,
    note=f"with packets between to what may be its consist: needs {_CONSISTS}, and consist = ... "
    "of its locomotive, 0 for none",
)
_AGAINST = Outcome(
    Verdict.UNDECIDED,
    note="to an address that the recording makes a consist's: name it in consists = [...]",
)
_LEFT = Outcome(
    Verdict.UNDECIDED,
    note="to a consist that its locomotives have left in the recording: name it in consists = "
    "[...] if it is still one",
)
_TO_ALL = b"\0"
_ITS_OWN = Outcome(
    Verdict.UNDECIDED, note="to an address that is a consist's and a locomotive's own"
)
_CUT = Outcome(
    Verdict.UNDECIDED, note="sent once until the recording ends: a longer one may show it again"
)
_BEGUN = Outcome(Verdict.UNDECIDED, note="whose first packet may not have been recorded")


class _Consists:
    """The short addresses of consists: what the session tells, and what the recording sets besides.

    `told` and `known` are None where the session does not tell them; `known` has both. `members`
    are the consists of decoders, by the header of their own address, as the session tells them and
    as long as the recording does not change them; `left` are those whose members all have left.
    """

    def __init__(self, session: Session) -> None:
        self.told = session.consists_in_use
        self.known = None if self.told is None else set(self.told)
        self.members = {
            one.address.header: one.consist
            for one in session.locomotives
            if one.consist is not None
        }
        self._named = session.consists or frozenset()
        self.left: set[int] = set()

    def take(self, sent: Sent) -> None:
        """Hear a packet that may set one (S-9.2.1 §C, Consist Control; S-9.2.2, CV 19)."""
        if sent.packet is None or not _sets_consist(sent):
            return
        consists = {*map(_consist_of, sent.packet.instructions)} - {None}
        if self.known is not None:
            self.known |= {one for one in consists if one}
        header = whole_address(sent.data)
        for member in [*self.members] if header == _TO_ALL else [header]:
            consist = self.members.get(member)
            if consist is not None and consists != {consist}:
                del self.members[member]
                stays = consist in self._named or consist in self.members.values()
                self.left |= set() if stays else {consist}


def _consist_of(one: Instruction) -> int | None:
    """The consist that an instruction puts a decoder into, 0 for none; None: it does not."""
    match one:
        case ConsistControl(consist=consist):
            return consist
        case CvAccessLongForm(operation=CvOperation.WRITE, cv=19, value=value):
            return value & 0b111_1111
        case CvBitManipulation(operation=CvOperation.WRITE, cv=19) | HardReset():
            return 0  # or some other
    return None


def _sets_consist(sent: Sent) -> bool:
    """Whether a packet puts a decoder into a consist, or out of it."""
    of_it = ConsistControl, CvAccessLongForm, CvBitManipulation, HardReset
    if sent.mode is Mode.SERVICE or sent.packet is None or not holds(sent, *of_it):
        return False
    return any(_consist_of(one) is not None for one in sent.packet.instructions)


_GIVEN_UP = "given up for an emergency stop, which cancels it"


def _stops(packet: Packet | None) -> bool:
    """Whether a packet is an emergency stop, of one or of all."""
    speeds = SpeedAndDirection, SpeedStepControl128
    said = [one for one in packet.instructions if isinstance(one, speeds)] if packet else []
    return any(one.is_emergency_stop for one in said)


class WrittenTwice(Watch):
    """Rule 42: decoders write when the same packet comes again, with no other for them between.

    An emergency stop waits for no write: what it cancels is not held against the station.
    """

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(WRITTEN_TWICE)
        # The first packet of writes that wait for their second, by the decoder's address.
        self._first: dict[bytes, Heard] = {}
        # Those with packets between that may be to the decoder's consist.
        self._consist: set[bytes] = set()
        self._done: dict[bytes, bytes] = {}
        self._consists = _Consists(session)

    def wants(self, sent: Sent) -> bool:
        return (sent.mode is not Mode.SERVICE and _writes(sent.packet)) or _sets_consist(sent)

    def take(self, heard: Heard) -> None:
        self._consists.take(heard.sent)
        if not heard.sent.right:
            self._doubt()
        elif heard.sent.data != IDLE_PACKET:
            self._hear(heard)
        # While a write waits for its second packet, and more of the same may follow on that; what
        # its consist may be sent is of no more use when it is in doubt.
        consists = self._consists.known
        self.awake = consists is None and bool(self._first.keys() - self._consist)
        heeded = self._first.keys() | self._done.keys()
        perhaps = [bytes((one,)) for one in consists or ()]
        self.heeds = {*heeded, *perhaps, _TO_ALL} if heeded else frozenset()

    def _hear(self, heard: Heard) -> None:
        data = heard.sent.data
        address = whole_address(data) or data[:1]
        to_all = data[0] == 0
        inside = self._consists.members.items()
        members = [one for one, consist in inside if bytes((consist,)) == address]
        for one in [*self._first] if to_all else [address, *members]:
            first = self._first.pop(one, None)
            if first is None:
                continue
            twice = first.sent.data == data
            outcome = _PERHAPS if one in self._consist else PASSED
            if not twice and _stops(heard.sent.packet):
                self._tally.notes[_GIVEN_UP] += 1
                continue
            if not twice:
                outcome = FAILED if first.met else _BEGUN
            self._tally.add(outcome, [first.start])
            if twice:
                self._done[one] = data
                return
        for one in [*self._done] if to_all else members:
            self._done.pop(one, None)
        if to_all:
            return
        if self._done.pop(address, None) == data:
            self._done[address] = data  # more of the same are no new write
        elif _writes(heard.sent.packet):
            self._first[address] = heard
            self._consist.discard(address)
        consists = self._consists.known
        if data[0] in (Partition.SHORT.value if consists is None else consists):
            others = self._first.keys() - self._consists.members.keys()
            self._consist.update(one for one in others if one != address)

    def _doubt(self) -> None:
        for first in self._first.values():
            self._tally.add(MISSED, [first.start])
        self._first.clear()
        self._done.clear()
        self.awake, self.heeds = False, frozenset()

    def miss(self, begin: int, end: int) -> None:
        self._doubt()

    def close(self) -> None:
        for first in self._first.values():
            self._tally.add(_CUT, [first.start])

    def gap(self, begin: int, end: int) -> None:
        if hides(begin, end):
            self._doubt()


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
        self._own = {one.address for one in session.locomotives}
        self._consists = _Consists(session)
        if self._consists.told is None:
            for tally in self._tallies:
                tally.lacks = f"needs {_CONSISTS}"

    def wants(self, sent: Sent) -> bool:
        return any(self._judge(sent)) or _sets_consist(sent)

    def _judge(self, sent: Sent) -> tuple[Outcome | None, ...]:
        packet, told, known = sent.packet, self._consists.told, self._consists.known
        if packet is None or told is None or known is None or sent.mode is Mode.SERVICE:
            return None, None
        if not isinstance(packet.address, ShortAddress):
            return None, None
        wrong = FAILED if packet.address.number in known else PASSED
        if wrong is FAILED and sent.mode is None:
            wrong = Outcome(Verdict.UNDECIDED, note=UNKNOWN_MODE)
        elif wrong is FAILED and packet.address in self._own:
            wrong = _ITS_OWN
        elif wrong is FAILED and packet.address.number not in told:
            wrong = _AGAINST
        elif wrong is FAILED and packet.address.number in self._consists.left:
            wrong = _LEFT
        cvs = holds(sent, CvAccessLongForm, CvBitManipulation)
        kept = {DecoderFlag.SET_BIDIRECTIONAL_COMMUNICATION, DecoderFlag.SET_CV_ACCESS}
        flags = [one.flag for one in packet.instructions if isinstance(one, SetDecoderFlags)]
        return wrong if cvs else None, wrong if kept & set(flags) else None

    def take(self, heard: Heard) -> None:
        self._consists.take(heard.sent)
        for tally, outcome in zip(self._tallies, self._judge(heard.sent), strict=True):
            if outcome is not None:
                tally.add(outcome, [heard.start], first=heard.sent.data)

    def tallies(self) -> Iterable[Tally]:
        return self._tallies
