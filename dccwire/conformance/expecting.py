"""Watches for what was to be sent, while a recording is judged.

Room: packets in, results of expectations out; no rule of a standard stands here.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from dccwire.address import Mode
from dccwire.codebook import RESET_PACKET
from dccwire.conformance.expectations import Expectation, ExpectationResult, wanted_of
from dccwire.conformance.history import SHORTEST_PACKET_NS, Heard, Watch, most_hidden
from dccwire.conformance.measures import FIRST_TIMES, Tally
from dccwire.conformance.rules import UNKNOWN_MODE, Sent, Verdict
from dccwire.counts import Counts
from dccwire.packet import Packet, encode, readings
from dccwire.receiver.tracking import is_service
from dccwire.signal import UNBOUNDED

_LEADING = Counts()
"""What every sequence of service mode begins with: resets, and long preambles (S-9.2.3 §E)."""

AT_EDGE = "one comes as near to these times as the times of a recording are exact"


class Expecting(Watch, abstract=True):
    """Watches for one expectation."""

    def __init__(self, expectation: Expectation, error_ns: int, *, meant: bool | None) -> None:
        self._asked, self._wanted = expectation, wanted_of(expectation.what)
        self._error = error_ns
        # Whether it is known to be a programming track, or to be none.
        self._track_known = meant is not None
        self._until = UNBOUNDED if expectation.until_ns is None else expectation.until_ns
        self._times: list[int] = []
        self._count = self._missed = 0
        # How many more may have been sent, at most, where nothing could be read; and why.
        self._hidden, self._why = 0, list[str]()
        self._nearest: tuple[int, str, int] | None = None
        # Whether packets of these bytes meet it, by how many bits they differ, and how.
        self._said: dict[tuple[bytes, Mode | None], tuple[bool, int, str]] = {}
        # Bytes that meet it in one mode, and not in the other; how many resets lead, unbroken, to
        # the packet that was heard last, and its place among all.
        self._either: set[bytes] = set()
        self._led, self._last = 0, -1

    def wants(self, sent: Sent) -> bool:
        """Packets that meet it, or are of its address or of its type.

        One that is wrong, too: it may have been any.
        """
        if not sent.right:
            return True
        said = self._compare_sent(sent)
        if sent.mode is None or (sent.mode is Mode.SERVICE and not self._track_known):
            # It may be of either mode, and is decided if both say the same.
            one, other = (self._compare_sent(Sent(sent.data, mode)) for mode in Mode)
            if bool(one and one[0]) is not bool(other and other[0]):
                self._either.add(sent.data)
        if said is not None:
            self._said[sent.data, sent.mode] = said
        leads = sent.data == RESET_PACKET or is_service(sent.data)
        return said is not None or sent.data in self._either or (leads and not self._track_known)

    def _compare_sent(self, sent: Sent) -> tuple[bool, int, str] | None:
        return None if sent.packet is None else self._compare(sent.packet)

    def _compare(self, packet: Packet) -> tuple[bool, int, str] | None:
        if (exactly := self._asked.packet) is not None:
            sent, asked = bytes(packet), bytes(exactly)
            if isinstance(exactly, bytes):
                alike, meets = sent[0] == asked[0], sent == asked
            else:
                alike, meets = packet.address == exactly.address, packet == exactly
            if not alike or len(sent) != len(asked):
                return None
            return (True, 0, "") if meets else _differences(packet, asked)
        alike = self._asked.to in (None, packet.address)
        if self._wanted is None:
            return (True, 0, "") if alike else None
        for part in (*packet.instructions, *(one.instruction for one in readings(packet))):
            differs = self._wanted.differs(part)
            if alike and differs is not None:
                return self._difference(packet, part) if differs else (True, 0, "")
        return None

    def _difference(self, packet: Packet, part: Any) -> tuple[bool, int, str]:
        assert self._wanted is not None
        made = tuple(
            self._wanted.made_of(one) if one is part else one for one in packet.instructions
        )
        return _differences(packet, encode(Packet(packet.address, *made, mode=packet.mode)))

    def take(self, heard: Heard) -> None:
        """Count it, or keep it if it came nearest."""
        if not heard.sent.right:
            self.miss(heard.start, heard.start)
            return
        inside = self._asked.from_ns <= heard.start <= self._until
        edges = [one for one in (self._asked.from_ns, self._until) if one]  # 0 is the begin
        error = self._error + heard.within
        at_edge = any(abs(heard.start - one) < error for one in edges)
        shown = self._follow(heard) or self._track_known
        if heard.sent.data in self._either and (heard.sent.mode is None or not shown):
            self._hidden += inside
            self._why += [UNKNOWN_MODE] * (inside and UNKNOWN_MODE not in self._why)
            return
        said = self._said.get((heard.sent.data, heard.sent.mode))
        if said is None:  # it would be in the other mode
            return
        meets, bits, told = said
        if meets and at_edge:
            self._hidden += 1
            self._why += [AT_EDGE] * (AT_EDGE not in self._why)
            return
        if meets and inside:
            self._count += 1
            self._times += [heard.start][: FIRST_TIMES - len(self._times)]
            return
        if meets:
            bits, told = 0, f"{heard.sent.packet} outside of these times"
        if self._nearest is None or bits < self._nearest[0]:
            self._nearest = bits, told, heard.start

    def _follow(self, heard: Heard) -> bool:
        """Whether three resets and a long preamble show service mode, if the session does not.

        What comes unbroken behind a packet of service mode is of it, too (S-9.2.3 §C, §E).
        """
        led = self._led if heard.number == self._last + 1 else 0
        long = heard.ones >= _LEADING.preamble
        if heard.sent.data == RESET_PACKET:
            led = min(led + 1, _LEADING.resets)
        elif led < _LEADING.resets or not (is_service(heard.sent.data) and long):
            led = 0
        self._led, self._last = led, heard.number
        return led == _LEADING.resets

    def miss(self, begin: int, end: int) -> None:
        """What could not be read may have been one."""
        self._led = 0
        if begin <= self._until and end >= self._asked.from_ns:
            self._missed += max(1, (end - begin) // SHORTEST_PACKET_NS)

    def hide(self, begin: int, end: int, why: str) -> None:
        """Nothing could be read from one time to another; `why` says what may be hidden there."""
        self._led = 0
        begin, end = max(begin, self._asked.from_ns), min(end, self._until)
        if begin <= end:
            self._hidden += most_hidden(begin, end)
            self._why += [why] * (why not in self._why)

    def end(self, at: int, *, stopped: bool) -> None:
        """The recording ends here, or was stopped though it goes on."""
        until = self._until if stopped else self._asked.until_ns or 0
        if until > at:
            self.hide(
                at + 1, until, f"what comes after {at / 1e9:g} s is not recorded, or not judged"
            )

    def tallies(self) -> Iterable[Tally]:
        """No rule is judged."""
        return ()

    def result(self) -> ExpectationResult:
        """What was found, when all packets were heard."""
        asked, count, more = self._asked, self._count, self._missed + self._hidden
        most = UNBOUNDED if asked.at_most is None else asked.at_most
        fails = count > most or count + more < asked.at_least
        passes = asked.at_least <= count and count + more <= most
        verdict = Verdict.FAIL if fails else Verdict.PASS if passes else Verdict.UNDECIDED
        nearest = ""
        if count < asked.at_least and self._nearest is not None:
            nearest = f"at {self._nearest[2] / 1e6:.3f} ms {self._nearest[1]}"
        why = list[str]()
        if verdict is Verdict.UNDECIDED:
            unread = f"{self._missed} that could not be read may be among them"
            why = [unread] * bool(self._missed) + self._why
        return ExpectationResult(asked, verdict, count, tuple(self._times), nearest, "; ".join(why))


def _differences(packet: Packet, wanted: bytes) -> tuple[bool, int, str]:
    """That a packet is not the wanted one, by how many bits, the error byte aside, and by which."""
    turned = [
        f"byte {place} bit {bit}"
        for place, (one, other) in enumerate(zip(bytes(packet)[:-1], wanted[:-1], strict=True))
        for bit in range(7, -1, -1)
        if (one ^ other) >> bit & 1
    ]
    told = f"{packet} [{bytes(packet).hex(' ').upper()}]"
    return False, len(turned) or 99, f"{told} differs in {', '.join(turned) or 'its fields'}"
