"""The rules on what packets say, by their bytes alone, judged once for each distinct packet.

A station sends the same packets again and again, so a rule's function may take its time: what it
says is kept by the bytes, and counted (measured: 0.2 µs a packet, where calling the functions each
time takes 5). Room: bytes in, tallies out; the rules stand in the files of their chapters.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

import numpy as np

from dccwire.conformance.extended import LENGTH, judge_length
from dccwire.conformance.measures import Tally
from dccwire.conformance.rules import RULES, Outcome, Sent, Verdict
from dccwire.receiver.columns import PacketColumns

_MOST_KEPT = 1 << 16
"""Distinct packets that are remembered: memory is bounded."""


class _Profile:
    """What every rule says of some bytes, and how often it was said."""

    def __init__(self, outcomes: tuple[tuple[int, Outcome], ...]) -> None:
        self.outcomes, self.count = outcomes, 0
        self.fails = any(one.verdict is Verdict.FAIL for _, one in outcomes)


class ContentRules:
    """Tallies of all rules that are judged by bytes."""

    def __init__(self) -> None:
        self._judges = [(one.number, one.of_bytes) for one in RULES.values() if one.of_bytes]
        self._tallies = {number: Tally(RULES[number]) for number, _ in self._judges}
        self._profiles: dict[tuple[tuple[int, Outcome], ...], _Profile] = {}
        self._known: dict[bytes | int, _Profile] = {}

    def add(self, data: bytes, time: int) -> None:
        """Count a packet; `time` is where it starts."""
        self._learn({data})
        profile = self._known[data]
        if profile.fails:
            self._tell(profile, [time], 1)
        else:
            profile.count += 1

    def add_columns(self, rows: PacketColumns) -> None:
        """Count packets."""
        # Six bytes and their number make one integer, and integers are counted in C.
        words = np.zeros((len(rows), 8), np.uint8)
        words[:, :6], words[:, 6] = rows.data, rows.size
        keys = words.view("<u8")[:, 0].tolist()
        self._learn(set(keys))
        profiles = [self._known[key] for key in keys]
        for profile, count in Counter(profiles).items():
            if profile.fails:
                places = [place for place, one in enumerate(profiles) if one is profile]
                self._tell(profile, rows.start[places].tolist(), count)
            else:
                profile.count += count

    def tell(self, number: int, outcome: Outcome, time: int) -> None:
        """Count for one rule what cannot be judged by the bytes."""
        self._tallies[number].add(outcome, [time])

    def add_length(self, data: bytes, time: int) -> None:
        """Judge the length alone of a packet that is longer than these bytes."""
        self.tell(LENGTH.number, judge_length(Sent(data + b"\0")), time)

    def tallies(self) -> Iterable[Tally]:
        """What was found."""
        for profile in self._profiles.values():
            self._tell(profile, [], profile.count)
        return self._tallies.values()

    def _tell(self, profile: _Profile, times: list[int], count: int) -> None:
        for number, outcome in profile.outcomes:
            self._tallies[number].add(outcome, times, count)

    def _learn(self, keys: set[bytes | int]) -> None:
        """Keep what the rules say of bytes."""
        new = keys.difference(self._known)
        if len(self._known) + len(new) > _MOST_KEPT:
            self._known.clear()
            new = keys
        for key in new:
            word = key if isinstance(key, bytes) else key.to_bytes(8, "little")
            sent = Sent(word if word is key else word[: word[6]])
            said = [(number, judge(sent)) for number, judge in self._judges]
            outcomes = tuple([(number, one) for number, one in said if one is not None])
            profile = self._profiles.get(outcomes)
            if profile is None:
                profile = self._profiles[outcomes] = _Profile(outcomes)
            self._known[key] = profile
