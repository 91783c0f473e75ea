"""The decoder itself, and several on one track, a layout's or a programming track's.

Packets with their times in, state and acknowledgements out. Room: imports all of the others.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, overload

from dccwire.address import LongAddress, ShortAddress
from dccwire.cv import CvSet
from dccwire.cv.values import check_cv, check_value
from dccwire.decoder.obeying import obey
from dccwire.decoder.options import Acknowledgement, Ignored, Options
from dccwire.decoder.programming import Outcome, Programming, hear
from dccwire.decoder.state import Condition, Direction
from dccwire.errors import FieldError
from dccwire.instructions import RestrictedSpeedStep
from dccwire.packet import Packet
from dccwire.receiver.events import CutOff, Event, Fault, Gap, PacketReceived, Stray

NO_PACKETS = (Fault, Stray, CutOff, Gap)


class Listener(ABC):
    """What can be told of packets."""

    __slots__ = ()

    @overload
    def take(self, packet: Event) -> list[Acknowledgement]: ...
    @overload
    def take(self, packet: Packet | bytes, start_ns: int, end_ns: int) -> list[Acknowledgement]: ...
    def take(
        self, packet: Packet | bytes | Event, start_ns: int | None = None, end_ns: int | None = None
    ) -> list[Acknowledgement]:
        """Act on a packet, or on a receiver's event, which brings its own times.

        `start_ns` is where the packet start bit begins, `end_ns` where its end bit ends, as
        receivers count. The acknowledgements that it causes come back, on a track as they merge;
        outside service mode there are none (S-9.2.3 §D). Bytes with a wrong length or error byte
        are ignored (S-9.2 §B), and so are events that are no packets. The mode of a `Packet` is
        ignored: the decoder knows.

        Raises:
            FieldError: times are missing, or run backwards.
        """
        if type(packet) is bytes and start_ns is not None and end_ns is not None:
            return self._hear(packet, start_ns, end_ns)  # the usual case: in half of the time
        if isinstance(packet, PacketReceived):
            return self._hear(packet.data, packet.start, packet.end)
        if isinstance(packet, NO_PACKETS):
            return []
        if start_ns is None:
            raise FieldError("start_ns", "a time in ns", start_ns)
        if end_ns is None:
            raise FieldError("end_ns", "a time in ns", end_ns)
        return self._hear(bytes(packet), start_ns, end_ns)

    @abstractmethod
    def _hear(self, data: bytes, start_ns: int, end_ns: int) -> list[Acknowledgement]: ...


class Decoder(Listener):
    """A multi-function decoder. It has no clock: `take` tells it when a packet came.

    >>> from dccwire import Packet
    >>> decoder = Decoder()
    >>> packet = Packet.from_text("short 3: SpeedAndDirection step=14 steps=28 forward=yes")
    >>> decoder.take(packet, 0, 5_000_000)
    []
    >>> decoder.step, decoder.direction.value, decoder.speed_at(6_000_000)
    (14, 'forward', 0.5)
    """

    def __init__(self, options: Options | None = None) -> None:
        self._state = Condition(options or Options())
        self._programming = Programming()
        self._ignored: Counter[Ignored] = Counter()
        self._previous = b""
        self._end_ns = self._heard_ns = 0

    def _hear(self, data: bytes, start_ns: int, end_ns: int) -> list[Acknowledgement]:
        if start_ns < self._end_ns:
            raise FieldError("start_ns", f"{self._end_ns} or later", start_ns)
        if end_ns < start_ns:
            raise FieldError("end_ns", f"{start_ns} or later", end_ns)
        self._end_ns = end_ns
        state = self._state
        if data[:1] in state.others and self._programming.calm and not state.time_out_ns:
            return []
        heard = hear(data)
        if heard is None:
            return []
        self._keep_time(end_ns)
        packet, service = heard
        service = self._programming.follow(service, data, start_ns, end_ns)
        if service is not None:
            return self._answer(service, end_ns)
        role = state.roles.get(packet.address)
        if role is None:
            return []
        if self._programming.barred:
            self._ignored[Ignored.BARRED] += 1
            return []
        second = data == self._previous
        self._previous = b"" if second else data
        for one in packet.instructions:
            reason = obey(state, one, role, end_ns, second)
            if reason is not None:
                self._ignored[reason] += 1
        return []

    def power_on(self) -> None:
        """Switch the power off and on: it completes a factory reset; CVs and locks alone stay."""
        self._state.storage.power_on()
        self._state.refresh()
        self._state.clear(self._end_ns)
        self._programming = Programming(locked=self._programming.locked)
        self._previous = b""
        self._heard_ns = self._end_ns

    def set_cv(self, cv: int, value: int) -> None:
        """Store a byte in CV 1 to 1024 as a workshop would, whatever is read-only or locked."""
        check_value(check_cv(cv), value)
        self._state.storage.put(cv, value)
        self._state.refresh()
        self._heard_ns = self._end_ns

    def cv(self, cv: int) -> int:
        """The byte of CV 1 to 1024; of CV 257 to 512, on the index page of CV 31 and 32.

        >>> Decoder().cv(1), Decoder().cv(29)
        (3, 2)
        """
        check_cv(cv)
        return self._state.storage.read(cv)

    @property
    def cvs(self) -> CvSet:
        """Every CV that the factory or a write has given a value, of all index pages."""
        return CvSet(self._state.storage.values)

    @property
    def options(self) -> Options:
        """What it was built as."""
        return self._state.options

    @property
    def address(self) -> ShortAddress | LongAddress | None:
        """Its own address; None where the CVs hold none."""
        return self._state.storage.own_address()

    @property
    def consist(self) -> ShortAddress | None:
        """Its consist address; None in no consist."""
        return self._state.storage.consist()[0]

    @property
    def direction(self) -> Direction:
        """Which end goes first: as sent, turned by CV 29 bit 0, and in a consist by CV 19 bit 7."""
        return self._state.motion.direction

    @property
    def step(self) -> int:
        """The step last asked for, of `steps`; 0 for both kinds of stop."""
        return self._state.motion.step

    @property
    def steps(self) -> int:
        """14, 28 or 126: in which speed was last asked for."""
        return self._state.motion.steps

    @property
    def limit(self) -> RestrictedSpeedStep | None:
        """The speed limit in force."""
        return self._state.motion.limit

    @property
    def functions(self) -> frozenset[str]:
        """The functions that are on: `FL`, `F1` ...

        FL is on if it is for the present direction: from the consist address it may be enabled for
        one direction alone (S-9.2.2, CV 22).
        """
        return self._state.functions.names(self.direction)

    @property
    def binary_states(self) -> frozenset[int]:
        """The binary states that are on, 1 to 32767."""
        bits = self._state.functions.binary
        return frozenset(number for number in range(bits.bit_length()) if bits >> number & 1)

    @property
    def analog_outputs(self) -> dict[int, int]:
        """The analog outputs that were set, by number; 1 is the volume."""
        return dict(self._state.functions.analog)

    @property
    def in_service_mode(self) -> bool:
        """Whether the last packet left it in service mode (S-9.2.3 §C)."""
        return self._programming.inside

    @property
    def ignored(self) -> dict[Ignored, int]:
        """How often it did not act on what was meant for it, by reason."""
        return dict(self._ignored)

    def speed_at(self, time_ns: int, *, steps: int = 1) -> float:
        """The speed, as a fraction of full or in steps of so many; below 0 in reverse.

        It changes along a straight line; a step takes (CV 3 adjusted by CV 23) × 0.896 s / steps in
        use (S-9.2.2), CV 4 and 24 when slowing down. CVs count from the next speed packet on. When
        no valid packet, to whomever, has come for the time of CV 11, it slows down as for a stop.

        Raises:
            FieldError: the time is before the last change of speed.
        """
        return self._state.motion.speed_at(time_ns, self._deadline_ns) * steps

    def snapshot(self) -> dict[str, Any]:
        """All of its state but times and the packets it remembers, as plain values."""
        programming, storage = self._programming, self._state.storage
        motion, functions = self._state.motion, self._state.functions
        return {
            "cvs": self.cvs,
            "extended": storage.extended,
            "resetting": storage.resetting,
            "motion": (motion.direction, motion.step, motion.steps, motion.limit, motion.target),
            "functions": (functions.on, functions.binary, self.analog_outputs),
            "in_service_mode": programming.inside,
            "locked": programming.locked,
            "page": programming.page,
            "ignored": self.ignored,
        }

    def _keep_time(self, end_ns: int) -> None:
        """Stop if no valid packet came for the time of CV 11 (S-9.2.2), then count anew."""
        deadline, motion = self._deadline_ns, self._state.motion
        if deadline is not None and end_ns > deadline:
            self._state.drive(0, motion.steps, motion.direction, deadline)
        self._heard_ns = end_ns

    @property
    def _deadline_ns(self) -> int | None:
        time_out_ns = self._state.time_out_ns
        return self._heard_ns + time_out_ns if time_out_ns else None

    def _answer(self, packet: Packet, end_ns: int) -> list[Acknowledgement]:
        """Act in service mode."""
        (one,) = packet.instructions
        answer = self._programming.act(one, packet.address, self._state.storage)
        if isinstance(answer, Ignored):
            self._ignored[answer] += 1
            return []
        if answer is Outcome.STORED:
            self._state.refresh()
            if not self._state.options.acknowledges_writes:
                return []
            end_ns += self._state.options.storage_ns
        elif answer is Outcome.NOTHING:
            return []
        return [Acknowledgement(end_ns, self._state.options.acknowledgement_ns)]


def merged(acknowledgements: Iterable[Acknowledgement]) -> list[Acknowledgement]:
    """What a programmer sees of several: those that overlap or touch are one."""
    found: list[Acknowledgement] = []
    for one in sorted(acknowledgements):
        if found and one.start_ns <= found[-1].end_ns:
            start = found[-1].start_ns
            found[-1] = Acknowledgement(start, max(found[-1].end_ns, one.end_ns) - start)
        else:
            found.append(one)
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Track(Listener):
    """Decoders that hear the same packets.

    >>> from dccwire import Packet
    >>> track = Track((Decoder(), Decoder()))
    >>> packet = Packet.from_text("short 3: FunctionGroupOne functions=F2")
    >>> track.take(packet, 0, 5_000_000)
    []
    >>> [sorted(decoder.functions) for decoder in track]
    [['F2'], ['F2']]
    """

    decoders: tuple[Decoder, ...]

    def __iter__(self) -> Iterator[Decoder]:
        return iter(self.decoders)

    def __len__(self) -> int:
        return len(self.decoders)

    def _hear(self, data: bytes, start_ns: int, end_ns: int) -> list[Acknowledgement]:
        found: list[Acknowledgement] = []
        for decoder in self.decoders:
            found += decoder.take(data, start_ns, end_ns)
        return merged(found) if found else found

    def power_on(self) -> None:
        """Switch the power of the track off and on."""
        for decoder in self.decoders:
            decoder.power_on()
