"""Watches for what was to be sent, while a recording is judged.

Room: packets in, results of expectations out; no rule of a standard stands here.
"""

from __future__ import annotations

from typing import Any

from dccwire.conformance.expectations import Expectation, ExpectationResult, wanted_of
from dccwire.conformance.history import Heard, Watch
from dccwire.conformance.measures import FIRST_TIMES
from dccwire.conformance.rules import Sent, Verdict
from dccwire.packet import Packet, encode, readings
from dccwire.signal import UNBOUNDED


class Expecting(Watch, abstract=True):
    """Watches for one expectation."""

    def __init__(self, expectation: Expectation) -> None:
        self._asked, self._wanted = expectation, wanted_of(expectation.what)
        self._times: list[int] = []
        self._count = self._missed = 0
        self._ended: int | None = None
        self._nearest: tuple[int, str, int] | None = None
        # Whether packets of these bytes meet it, by how many bits they differ, and how.
        self._said: dict[bytes, tuple[bool, int, str]] = {}

    def wants(self, sent: Sent) -> bool:
        """Packets that meet it, or are of its address or of its type."""
        packet = sent.packet
        if packet is None:
            return False
        said = self._compare(packet)
        if said is not None:
            self._said[sent.data] = said
        return said is not None

    def _compare(self, packet: Packet) -> tuple[bool, int, str] | None:
        if (exactly := self._asked.packet) is not None:
            if packet.address != exactly.address or len(bytes(packet)) != len(bytes(exactly)):
                return None
            return (True, 0, "") if packet == exactly else _differences(packet, bytes(exactly))
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
        until = UNBOUNDED if self._asked.until_ns is None else self._asked.until_ns
        meets, bits, told = self._said[heard.sent.data]
        inside = self._asked.from_ns <= heard.start <= until
        if meets and inside:
            self._count += 1
            self._times += [heard.start][: FIRST_TIMES - len(self._times)]
            return
        if meets:
            bits, told = 0, f"{heard.sent.packet} outside of these times"
        if self._nearest is None or bits < self._nearest[0]:
            self._nearest = bits, told, heard.start

    def miss(self, begin: int, end: int) -> None:
        """What could not be read may have been one."""
        until = UNBOUNDED if self._asked.until_ns is None else self._asked.until_ns
        self._missed += begin <= until and end >= self._asked.from_ns

    def end(self, end_ns: int, *, stopped: bool) -> None:
        """The recording ends, or is not judged any further, before the time is over perhaps."""
        until = self._asked.until_ns
        if stopped if until is None else until > end_ns:
            self._ended = end_ns

    def result(self) -> ExpectationResult:
        """What was found, when all packets were heard."""
        asked, count = self._asked, self._count
        most = UNBOUNDED if asked.at_most is None else asked.at_most
        goes_on = self._ended is not None
        fails = count > most or (count + self._missed < asked.at_least and not goes_on)
        passes = asked.at_least <= count and count + self._missed <= most
        passes &= not goes_on or asked.at_most is None
        verdict = Verdict.FAIL if fails else Verdict.PASS if passes else Verdict.UNDECIDED
        nearest = ""
        if count < asked.at_least and self._nearest is not None:
            nearest = f"at {self._nearest[2] / 1e6:.3f} ms {self._nearest[1]}"
        notes = []
        if verdict is Verdict.UNDECIDED and self._missed:
            notes.append(f"{self._missed} that could not be read may be among them")
        if verdict is Verdict.UNDECIDED and self._ended is not None:
            notes.append(f"what comes after {self._ended / 1e9:g} s is not recorded, or not judged")
        note = "; ".join(notes)
        return ExpectationResult(asked, verdict, count, tuple(self._times), nearest, note)


def _differences(packet: Packet, wanted: bytes) -> tuple[bool, int, str]:
    """That a packet is not the wanted one, by how many bits, the error byte aside, and by which."""
    turned = [
        f"byte {place + 1} bit {bit}"
        for place, (one, other) in enumerate(zip(bytes(packet)[:-1], wanted[:-1], strict=True))
        for bit in range(7, -1, -1)
        if (one ^ other) >> bit & 1
    ]
    told = f"{packet} [{bytes(packet).hex(' ').upper()}]"
    return False, len(turned) or 99, f"{told} differs in {', '.join(turned) or 'its fields'}"
