"""The rules on packets: by their bytes, by those before them, and by the times between them.

A station sends the same packets again and again, so what a rule says of bytes is asked once and
kept, and counted (measured: 0.2 µs a packet, where asking each time takes 5); what a rule must hear
of in order, it hears of only where it asks. Room: packets in, tallies out; the rules stand in the
files of their chapters.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Set
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from dccwire.address import Mode
from dccwire.conformance import (  # noqa: F401 - they declare rules
    accessories,
    codes,
    lacking,
    locomotives,
    power,
    resets,
    sequences,
    service,
    writes,
)
from dccwire.conformance.addresses import AddressRow, kind_of
from dccwire.conformance.expectations import ExpectationResult
from dccwire.conformance.expecting import Expecting
from dccwire.conformance.extended import LENGTH, judge_length
from dccwire.conformance.history import Heard, Watch, hides
from dccwire.conformance.measures import FIRST_TIMES, LimitMeasure, Tally
from dccwire.conformance.pace import MISSED, SILENT, TO_ALL, UNHEARD, PaceRules, whole_address
from dccwire.conformance.rules import RULES, Outcome, Sent, Verdict
from dccwire.conformance.session import Session
from dccwire.receiver.columns import PacketColumns
from dccwire.receiver.tracking import ModeHistory, is_service

_MOST_KEPT = 1 << 16
"""Distinct packets that are remembered: memory is bounded."""

_MODES = (Mode.OPERATIONS, Mode.SERVICE, None)
"""By the number that stands for them in a key."""


class _Profile:
    """What packets have in common: what rules say of their bytes, who hears of them, to whom.

    `count` is how often they came; of those that fail or are undecided (`timed`), `times` is when
    the first came, and `first` the bytes of the first of these; `address` is the number of the
    address, `to` what `Watch.heeds` knows it by; `kind` what they are about.
    """

    def __init__(
        self,
        outcomes: tuple[tuple[int, Outcome], ...],
        watches: tuple[Watch, ...],
        address: int,
        to: bytes,
        kind: str,
    ) -> None:
        self.outcomes, self.watches = outcomes, watches
        self.address, self.to, self.kind = address, to, kind
        self.count = 0
        self.times: list[int] = []
        self.first = b""
        told = Verdict.FAIL, Verdict.UNDECIDED
        self.timed = any(one.verdict in told for _, one in outcomes)

    def time(self, data: bytes, time: int) -> None:
        """One came that fails, or is undecided."""
        self.first = self.first or data
        if len(self.times) < FIRST_TIMES:
            self.times.append(time)


class PacketRules:
    """Tallies of all rules on packets, fed with them in order, made as a `Watch` is."""

    def __init__(self, error_ns: int, session: Session) -> None:
        self._judges = [one for one in RULES.values() if one.of_bytes]
        self._tallies = {one.number: Tally(one) for one in self._judges}
        meant = session.programming_track
        self._expecting = [Expecting(one, error_ns, meant=meant) for one in session.expectations]
        self._watches = [*(one(error_ns, session) for one in Watch.classes), *self._expecting]
        self._pace = PaceRules(error_ns, session)
        self._history = ModeHistory()
        self._track = session.programming_track
        self._profiles: dict[object, _Profile] = {}
        self._known: dict[bytes | int, _Profile] = {}
        self._number = 0
        # The numbers of the addresses that were sent to since a packet may have been missed.
        self._met: set[int] = set()
        self._awake = False
        self._heeded: Set[bytes] = frozenset()
        self._look_around()

    def add(
        self,
        data: bytes,
        begin: int,
        start: int,
        end: int,
        ones: int,
        *,
        within: int = 0,
        hidden: int = 0,
    ) -> None:
        """Count a packet; the times and ones are those of `Heard`."""
        mode: Mode | None = Mode.OPERATIONS
        if Sent(data).right:  # what no decoder heeds changes no mode
            heard = self._history.take(data, start, end)
            mode = self._in_session(heard) if is_service(data) else mode
        key = data + bytes((_MODES.index(mode),))
        self._learn({key})
        profile = self._known[key]
        profile.count += 1
        if profile.timed:
            profile.time(data, start)
        if _sent(key).right:
            row, size = np.frombuffer(data, np.uint8)[None], np.array([len(data)])
            times = np.array([start]), np.array([end])
            self._pace.add(*times, np.array([profile.address]), row, size, within=within)
        else:
            self._pace.hide(begin, end, MISSED)
            self._met.clear()
        met = not self._met.isdisjoint((profile.address, TO_ALL))
        times_and_ones = begin, start, end, ones
        self._hear(profile, Heard(self._number, *times_and_ones, _sent(key), met, within, hidden))
        self._met.add(profile.address)
        self._number += 1

    def add_columns(self, rows: PacketColumns) -> None:
        """Count packets that are right, and adjoin each other."""
        # Six bytes, their number and the mode make one integer, and integers are counted in C.
        words = np.zeros((len(rows), 8), np.uint8)
        words[:, :6], words[:, 6], words[:, 7] = rows.data, rows.size, self._modes(rows)
        keys = words.view("<u8")[:, 0].tolist()
        self._learn(set(keys))
        profiles = [self._known[key] for key in keys]
        for profile, count in Counter(profiles).items():
            profile.count += count
        for place in [place for place, one in enumerate(profiles) if one.timed]:
            if len(profiles[place].times) < FIRST_TIMES:
                profiles[place].time(_sent(keys[place]).data, int(rows.start[place]))
        numbers = np.array([one.address for one in profiles])
        self._pace.add(rows.start, rows.end, numbers, rows.data, rows.size)
        self._hear_columns(rows, keys, profiles)
        self._number += len(rows)

    def gap(self, begin: int, end: int, *, undefined: bool) -> None:
        """Silence, or a stretch without a level."""
        if hides(begin, end):
            self._history.miss(end)
            self._met.clear()
            self._pace.hide(begin, end, UNHEARD if undefined else SILENT)
            for each in self._expecting if undefined else ():  # silence is nothing that was sent
                each.hide(begin, end, "a stretch without a level may hide some")
            if undefined:
                self.lose(begin, end)
        for one in self._watches:
            one.gap(begin, end)
        self._look_around()

    def miss(self, begin: int, end: int) -> None:
        """What may be a packet that could not be read."""
        self._history.miss(end)
        self._met.clear()
        self._pace.hide(begin, end, MISSED)
        for one in self._watches:
            one.miss(begin, end)
        self._look_around()

    def lose(self, begin: int, end: int) -> None:
        """A stretch in which packets may be lost, though none is seen to be."""
        for one in self._watches:
            one.lose(begin, end)

    def go_on_missing(self, end: int) -> None:
        """What could not be read lasts until here."""
        self._history.miss(end)
        for one in self._watches:
            one.go_on_missing(end)

    def close(self) -> None:
        """The recording ends."""
        for one in self._watches:
            one.close()

    def end(self, end_ns: int, *, stopped: bool, unread: bool) -> None:
        """Packets are known up to this time; `stopped`: the recording goes on behind it.

        `unread`: none was read, which may be the recording's fault.
        """
        for one in self._expecting:
            one.end(end_ns, stopped=stopped)
            if unread:
                one.hide(0, max(end_ns, 1), "no packet was read at all")

    def addresses(self) -> tuple[AddressRow, ...]:
        """Which addresses were sent to."""
        packets: dict[int, Counter[str]] = defaultdict(Counter)
        for one in self._profiles.values():
            packets[one.address][one.kind] += one.count
        return tuple(self._pace.table.rows(self._pace.names, packets))

    def expectations(self) -> tuple[ExpectationResult, ...]:
        """What became of the session's expectations."""
        return tuple(one.result() for one in self._expecting)

    def tell(self, number: int, outcome: Outcome, time: int) -> None:
        """Count for one rule what cannot be judged by the bytes."""
        self._tallies[number].add(outcome, [time])

    def add_length(self, data: bytes, time: int) -> None:
        """Judge the length alone of a packet that is longer than these bytes."""
        self.tell(LENGTH.number, judge_length(Sent(data + b"\0")), time)

    def tallies(self) -> Iterable[Tally]:
        """What was found."""
        for profile in self._profiles.values():
            for number, outcome in profile.outcomes:
                self._tallies[number].add(outcome, profile.times, profile.count, profile.first)
        yield from self._tallies.values()
        yield from self._pace.tallies()
        for one in self._watches:
            yield from one.tallies()
        yield from lacking.tallies()

    def on_times(self) -> list[LimitMeasure]:
        """The measures of times from packet to packet."""
        found = [*self._pace.tallies(), *(one for each in self._watches for one in each.tallies())]
        return [one for one in found if isinstance(one, LimitMeasure)]

    def _in_session(self, heard: Mode | None) -> Mode | None:
        """The mode of what can be of service mode: where none is meant, nothing is of it.

        Where it is meant, what nothing leads there may be of it, too.
        """
        if self._track is None:
            return heard
        operations = heard is Mode.OPERATIONS
        return (None if operations else heard) if self._track else Mode.OPERATIONS

    def _modes(self, rows: PacketColumns) -> NDArray[np.intp] | int:
        """The modes of packets, as numbers; all are in operations mode where none could be else.

        What counts are those that may be of service mode, resets, and the last before one of them:
        of several others in a row the last says it all.
        """
        doubtful = (rows.data[:, 0] >> 4 == 0b0111) | (rows.data[:, 1] == 0b11111001)
        counts = doubtful | ~rows.data.any(axis=1)
        counts[-1] = True
        counts[:-1] |= counts[1:]
        places = np.flatnonzero(counts)
        some = rows.take(places)
        heard = [self._history.take(one.data, one.start, one.end) for one in some]
        told = [
            _MODES.index(self._in_session(mode) if is_service(one.data) else Mode.OPERATIONS)
            for one, mode in zip(some, heard, strict=True)
        ]
        if not doubtful.any():
            return 0
        modes = np.zeros(len(rows), np.intp)
        modes[places] = told
        return np.where(doubtful, modes, 0)

    def _hear_columns(self, rows: PacketColumns, keys: list[int], profiles: list[_Profile]) -> None:
        """Let packets be heard by those who ask for them, in order."""
        met, columns = self._met, (rows.begin, rows.start, rows.end, rows.preamble)
        times: list[list[int]] = []
        for place, profile in enumerate(profiles):
            if profile.watches or self._awake or profile.to in self._heeded:
                times = times or [one.tolist() for one in columns]
                begin, start, end, preamble = (one[place] for one in times)
                known, sent = profile.address in met or TO_ALL in met, _sent(keys[place])
                number = self._number + place
                self._hear(profile, Heard(number, begin, start, end, preamble + 1, sent, known))
            met.add(profile.address)

    def _hear(self, profile: _Profile, heard: Heard) -> None:
        """Let a packet be heard by those whom it may concern."""
        wrong = not heard.sent.right
        for one in self._watches:
            heeded = one.heeds and (wrong or profile.to in one.heeds)
            if one.awake or heeded or one in profile.watches:
                one.take(heard)
        self._look_around()

    def _look_around(self) -> None:
        """Whether someone is awake, and which addresses are heeded."""
        self._awake = any(one.awake for one in self._watches)
        heeded = [one.heeds for one in self._watches if one.heeds]
        self._heeded = heeded[0] if len(heeded) == 1 else frozenset().union(*heeded)

    def _learn(self, keys: set[bytes | int]) -> None:
        """Keep what is asked once of bytes."""
        new = keys.difference(self._known)
        if len(self._known) + len(new) > _MOST_KEPT:
            self._known.clear()
            new = keys
        for key in new:
            sent = _sent(key)
            said = [(one.number, one.judge(sent, track=self._track)) for one in self._judges]
            outcomes = tuple([(number, one) for number, one in said if one is not None])
            watches = tuple([one for one in self._watches if one.wants(sent)])
            address = self._pace.address(sent)
            to = whole_address(sent.data) if sent.right else b""
            kind = kind_of(sent.data) if address else ""
            parts = outcomes, watches, address, to or sent.data[:1], kind
            profile = self._profiles.get(parts)
            if profile is None:
                profile = self._profiles[parts] = _Profile(*parts)
            self._known[key] = profile


@lru_cache(maxsize=4096)
def _sent(key: bytes | int) -> Sent:
    """The bytes of a key, and their mode: decoded once where several watches hear of them."""
    if isinstance(key, bytes):
        return Sent(key[:-1], _MODES[key[-1]])
    word = key.to_bytes(8, "little")
    return Sent(word[: word[6]], _MODES[word[7]])
