"""Rules 39, 41 and 89: tests, functions and states that are sent again, or should not be.

What was not recorded, or could not be read, is not held against the station. Room: a class for each
rule, or for a few that look at the same packets.
"""

from __future__ import annotations

from dccwire.conformance.history import Heard, Watch
from dccwire.conformance.measures import Tally
from dccwire.conformance.rules import (
    FAILED,
    PASSED,
    UNKNOWN_MODE,
    Force,
    Outcome,
    Sent,
    Verdict,
    holds,
    instructions,
    rule,
)
from dccwire.conformance.session import Session
from dccwire.formats import MULTI_FUNCTION
from dccwire.instructions import (
    BinaryStateLongForm,
    BinaryStateShortForm,
    FunctionsF13F20,
    FunctionsF21F28,
)
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
_TWICE = Outcome(Verdict.PASS, note="sent twice in all; another reading asks for three (X38)")


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
