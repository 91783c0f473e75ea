"""A session: packets out, answers in, one result at the end; no clock, no input or output.

It walks a course of steps, each the same packet several times. Room: what a step is, and when an
answer counts; which steps follow one another, who sends and who listens is not known here.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass
from enum import Enum
from typing import Generic, TypeAlias, TypeVar

from dccwire.codebook import IDLE_PACKET, RESET_PACKET
from dccwire.counts import ANSWERABLE
from dccwire.errors import ConfirmationError, FieldError, member
from dccwire.packet import Packet, decode
from dccwire.wording import counted

__all__ = ["Answer", "Outgoing", "Session", "conversation"]

T = TypeVar("T")

RESET, IDLE = decode(RESET_PACKET), decode(IDLE_PACKET)


class Kind(Enum):
    """What a step is for."""

    FILLING = "filling"
    VERIFY = "verify"
    WRITE = "write"
    RECOVERY = "recovery"


_HEARD_FROM = {Kind.VERIFY: ANSWERABLE, Kind.WRITE: ANSWERABLE, Kind.RECOVERY: 1}
"""The packet of a step from whose end bit on an acknowledgement counts (S-9.2.3 §D, P17)."""


@dataclass(frozen=True, slots=True)
class Step:
    """The same packet `count` times, fewer if an acknowledgement that counts comes before."""

    packet: Packet
    count: int
    preamble: int
    kind: Kind = Kind.FILLING
    power_on: bool = False


Course: TypeAlias = Generator[Step, bool, T]
"""Steps out, for each whether it was acknowledged in (no, when iterated); at the end a result."""


class Answer(Enum):
    """What the programmer saw of an acknowledgement since its answer to the packet before.

    An acknowledgement is a pulse of 60 mA or more for 6 ms ± 1 ms (S-9.2.3 §D); it is told once,
    with the packet at whose end bit it begins or, by who can only look while sending, with the
    next one. A current that stays up is none: who drives a session must not report it as one.
    """

    ACKNOWLEDGED = "acknowledged"
    SILENCE = "silence"


@dataclass(frozen=True, slots=True)
class Outgoing:
    """What is to be sent now: a packet after a preamble of so many ones."""

    packet: Packet
    preamble: int
    power_on: bool = False
    """Whether the track is to be switched off, if it was on, and on again before it."""


class Session(Generic[T]):
    """Packets to send, one after the other, and what comes of the answers to them.

    The same answers give the same packets. Whoever has a track sends `sending`, listens, and says
    by `take` what was heard, until `sending` is None. Nothing else may be sent in between, and no
    pause of 20 ms made: a decoder leaves service mode then (S-9.2.3 §C). The cautions stand at the
    head of `dccwire.programming`. `sent` is how many packets have been taken so far.

    >>> from dccwire.programming import Answer, DirectCv, verify_byte
    >>> session = verify_byte(DirectCv(29), 38)
    >>> while session.sending is not None:
    ...     heard = session.sent == 24
    ...     session.take(Answer.ACKNOWLEDGED if heard else Answer.SILENCE)
    >>> session.sent, session.result  # 20 after power-on, 3 resets, 2 verifies, 1 reset
    (26, True)
    """

    _result: T

    def __init__(self, course: Course[T]) -> None:
        self._course = course
        self._failure: ConfirmationError | None = None
        self.sent = 0
        self._advance()

    @property
    def sending(self) -> Outgoing | None:
        """What to send now; None at the end."""
        if self._step is None:
            return None
        first = self._step.power_on and self._nth == 1
        return Outgoing(self._step.packet, self._step.preamble, first)

    def take(self, answer: Answer) -> None:
        """Say that `sending` was sent, and what was heard.

        An acknowledgement counts from the second packet of a verify or write step on, and in the
        recovery after a write; it ends the step. Any other is passed over (S-9.2.3 §D, P17).

        Raises:
            FieldError: the session has ended, or this is no answer.
        """
        step, answer = self._step, member(Answer, "answer", answer)
        if step is None:
            raise FieldError("answer", "none", answer, "the session has ended")
        self.sent += 1
        window = self._nth >= _HEARD_FROM.get(step.kind, step.count + 1)
        acknowledged = window and answer is Answer.ACKNOWLEDGED
        if acknowledged or self._nth == step.count:
            self._advance(acknowledged)
        else:
            self._nth += 1

    @property
    def result(self) -> T:
        """What came of it.

        Raises:
            ConfirmationError: the decoder did not confirm what was read or asked of it.
            FieldError: the session has not ended yet.
        """
        if self._step is not None:
            hint = f"a result comes with the end; {counted(self.sent, 'packet')} taken so far"
            raise FieldError("sending", "None", self.sending, hint)
        if self._failure is not None:
            raise self._failure
        return self._result

    def _advance(self, acknowledged: bool | None = None) -> None:
        """Go on to the next step, or to the end; None begins."""
        self._step: Step | None = None
        self._nth = 1
        course = self._course
        try:
            self._step = next(course) if acknowledged is None else course.send(acknowledged)
        except StopIteration as end:
            self._result = end.value
        except ConfirmationError as error:
            self._failure = error


def conversation(
    session: Session[T], respond: Callable[[Outgoing], Answer]
) -> Iterator[tuple[Outgoing, Answer]]:
    """Walk a session to its end: each packet, with the answer that `respond` gives to it.

    >>> from dccwire.programming import DirectCv, read_byte
    >>> session = read_byte(DirectCv(8))
    >>> sum(1 for _ in conversation(session, lambda sent: Answer.SILENCE))  # nobody there
    68
    >>> session.result
    Traceback (most recent call last):
    dccwire.errors.ConfirmationError: CV 8: verify of 0 not acknowledged; read as 0 before
    """
    while (sending := session.sending) is not None:
        answer = respond(sending)
        session.take(answer)
        yield sending, answer
