"""Rules 25 and 26: which addresses are in use, and how the speeds of locomotives are sent.

The session says which, and in how many steps. Room: a class that keeps which addresses were met,
and one that judges speeds.
"""

from __future__ import annotations

from collections.abc import Iterable

from dccwire.address import (
    AccessoryAddress,
    Address,
    ExtendedAccessoryAddress,
    LongAddress,
    Mode,
    ShortAddress,
)
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
    rule,
)
from dccwire.conformance.session import Session
from dccwire.instructions import SpeedAndDirection, SpeedStepControl128
from dccwire.notation import address_text
from dccwire.signal import Limit

_LOCOMOTIVES = "the session's locomotives: say each as [[locomotive]]"

ACTIVE = rule(
    25,
    "how often active addresses are sent to",
    Limit("S-9.2 §C", words="as often as possible"),
    Force.SHOULD,
    needs=f"{_LOCOMOTIVES}, and accessories = [...]",
)
BASELINE = rule(
    26,
    "speeds of short addresses set to 14 and 28 steps, in baseline packets",
    Limit("S-9.2 §B", words="codes of the table"),
    needs=f"{_LOCOMOTIVES}, with its steps",
)


class InUse(Watch):
    """Rule 25: addresses in use that nothing was sent to are told, and the other way round."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._met: set[Address] = set()
        self._perhaps: set[Address] = set()  # or register packets, in a mode that is not known
        self._used = session.in_use

    def wants(self, sent: Sent) -> bool:
        """Whose address it is, is all that there is to know: nothing is to be heard."""
        packet = sent.packet
        if packet is not None and sent.mode is not Mode.SERVICE and _addressed(packet.address):
            (self._perhaps if sent.mode is None else self._met).add(packet.address)
        return False

    def take(self, heard: Heard) -> None:
        """Nothing is asked for."""

    def tallies(self) -> Iterable[Tally]:
        tally = Tally(ACTIVE)
        if not self._used:
            tally.lacks = f"needs {ACTIVE.needs}"
        else:
            tally.add(Outcome(Verdict.OBSERVED), [], len(self._used))
            for told, some in (
                ("in use, but no packet read to", self._used - self._met - self._perhaps),
                ("sent to, but not in use", self._met - self._used),
            ):
                names = [address_text(one) for one in sorted(some, key=_order)]
                more = [f"and {len(names) - _MOST} more"] * (len(names) > _MOST)
                if names:
                    tally.remarks.append(f"{told}: {', '.join([*names[:_MOST], *more])}")
        yield tally


_MOST = 8
"""How many addresses are named."""


def _order(address: Address) -> tuple[str, int]:
    return address.kind, address.number


def _addressed(address: Address) -> bool:
    """Whether it is one decoder's, or one consist's: no broadcast."""
    if isinstance(address, (AccessoryAddress, ExtendedAccessoryAddress)):
        return not address.broadcast
    return isinstance(address, (ShortAddress, LongAddress))


class BaselineSpeeds(Watch):
    """Rule 26: who is set to 14 or 28 steps, and has a short address, is driven in these."""

    def __init__(self, error_ns: int, session: Session) -> None:
        super().__init__(error_ns, session)
        self._tally = Tally(BASELINE)
        self._short = {
            one.address
            for one in session.locomotives
            if isinstance(one.address, ShortAddress) and one.steps in (14, 28)
        }
        if not any(one.steps for one in session.locomotives):
            self._tally.lacks = f"needs {BASELINE.needs}"

    def wants(self, sent: Sent) -> bool:
        if not self._short or sent.mode is Mode.SERVICE:
            return False
        packet = sent.packet
        return (
            packet is not None
            and packet.address in self._short
            and holds(sent, SpeedAndDirection, SpeedStepControl128)
        )

    def take(self, heard: Heard) -> None:
        wrong = holds(heard.sent, SpeedStepControl128)
        outcome = FAILED if wrong else PASSED
        if wrong and heard.sent.mode is None:
            outcome = Outcome(Verdict.UNDECIDED, note=UNKNOWN_MODE)
        self._tally.add(outcome, [heard.start], first=heard.sent.data)
