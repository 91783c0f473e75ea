"""The receiver and all rules of one recording, fed with edges; and how judgements of parts add up.

What is counted adds up; what is open at the end of a stretch — half a packet, a packet that waits
for what follows it — is named in each room's `OPEN`, so that a stretch judged by itself can follow
on another if it began with the same. Room: puts the rooms of the rules together; measures nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from copy import copy
from dataclasses import dataclass, fields, is_dataclass, replace
from itertools import groupby
from math import ceil
from operator import itemgetter
from typing import Any, cast

import numpy as np

from dccwire.conformance.framing import FramingRules
from dccwire.conformance.histogram import Histogram
from dccwire.conformance.measures import LimitMeasure, Tally
from dccwire.conformance.packets import PacketRules
from dccwire.conformance.places import Places
from dccwire.conformance.probe import doubt
from dccwire.conformance.session import Session
from dccwire.conformance.timing import TimingRules
from dccwire.errors import FieldError
from dccwire.receiver.columns import ColumnReceiver, Columns, PacketColumns
from dccwire.recordings import Chunk
from dccwire.signal import LIMITS

_LONGEST_NS = LIMITS["tr0"].most
"""No half-bit lasts longer (S-9.1 §A, Table 1 tr0): it is silence."""

_ERROR_BOUND_NS = 13_000
"""Half the distance of the windows for ones and zeros: errors of so much mix them up."""


NOTHING_KNOWN = Session()
"""A session of which nothing is said."""


@dataclass(frozen=True, slots=True)
class Terms:
    """By what a recording is judged: how exact its times are, and what is known besides.

    `probe_ns` is by how much halves of one polarity are taken to read too long (M7).

    Raises:
        FieldError: a resolution or an uncertainty below its bounds, or so large that ones and zeros
            cannot be told apart.
    """

    resolution_ns: int
    resolution_source: str = "option"
    uncertainty_ns: int = 0
    session: Session = NOTHING_KNOWN
    probe_ns: float = 0

    def __post_init__(self) -> None:
        if type(self.resolution_ns) is not int or not 1 <= self.resolution_ns < _ERROR_BOUND_NS:
            raise FieldError("resolution_ns", f"1 to {_ERROR_BOUND_NS - 1} ns", self.resolution_ns)
        most = _ERROR_BOUND_NS - 1 - self.resolution_ns
        if not 0 <= self.uncertainty_ns <= most:
            raise FieldError("uncertainty_ns", f"0 to {most} ns", self.uncertainty_ns)

    def without_probe(self, probe_ns: float, error_ns: int) -> Terms:
        """The same, less what the probe may have done, which is known so exactly."""
        most = _ERROR_BOUND_NS - 1 - self.resolution_ns
        uncertainty = min(self.uncertainty_ns + error_ns, most)
        return replace(self, probe_ns=probe_ns, uncertainty_ns=uncertainty)

    @property
    def error_ns(self) -> int:
        """How far a duration may be off."""
        return self.resolution_ns + self.uncertainty_ns


class Tape:
    """Keeps what `PacketRules` was to hear, so that it can hear it when its turn has come.

    The rules on packets ask for what came before; a stretch that is judged by itself does not know.
    """

    def __init__(self) -> None:
        self._heard: list[tuple[str, tuple[Any, ...], dict[str, Any]]] = []

    def __getattr__(self, name: str) -> Callable[..., None]:
        if name.startswith("_"):  # while it is being unpickled
            raise AttributeError(name)
        return lambda *given, **named: self._heard.append((name, given, named))

    def play(self, rules: PacketRules) -> None:
        """Let the rules hear it all, and columns that follow on each other at once."""
        for name, some in groupby(self._heard, key=itemgetter(0)):
            if name == "add_columns":
                rules.add_columns(PacketColumns.joined([given[0] for _, given, _ in some]))
                continue
            for _, given, named in some:
                getattr(rules, name)(*given, **named)


class Judge:
    """Takes chunks of a recording in order; `tape` keeps what is said of packets for later."""

    def __init__(self, terms: Terms, *, tape: bool = False) -> None:
        self.terms = terms
        error = terms.error_ns
        self.stopped = False
        self.receiver = ColumnReceiver(resolution_ns=error)
        self.places = Places(error)
        self.timing = TimingRules(error, terms.probe_ns)
        # What a probe may have done is taken off half-bits; times from packet to packet are known
        # as much less.
        wide = min(error + ceil(abs(terms.probe_ns)), _ERROR_BOUND_NS - 1)
        self.rules = cast(PacketRules, Tape()) if tape else PacketRules(wide, terms.session)
        self.framing = FramingRules(wide, self.rules)
        self.histogram = Histogram()
        self.edges, self.merged = 0, 0
        self.first: int | None = None
        self.last = 0
        self.first_pulse: int | None = None
        # Whether it is known which polarity comes next, and whether no edge has come behind a gap.
        self._levels_known, self._bare = True, True
        # What is judged when it is known what comes next: whether silence, or distortion.
        self._held: Columns | None = None

    def run(self, chunks: Iterable[Chunk], progress: Callable[[], object] | None) -> None:
        """Take all chunks, in order, unless `progress` stops it."""
        for chunk in chunks:
            self.add(chunk)
            if progress is not None and progress():
                self.stopped = True
                return

    def add(self, chunk: Chunk) -> None:
        """Take a chunk of edges, and the gap after it."""
        if len(chunk.edges):
            self.edges += len(chunk.edges)
            self.first = int(chunk.edges[0]) if self.first is None else self.first
            self.last = int(chunk.edges[-1])
            self._take(self.receiver.feed(chunk.edges))
            self._bare = False
        if chunk.gap is not None:
            if not chunk.lost:
                self.framing.undefined.add(chunk.gap[0])
            self._take(self.receiver.gap(*chunk.gap))
            self._judge(None, undefined=True)
            # The half-bit that the gap cut has one polarity, and the next edge begins the other.
            self.timing.polarity ^= bool(chunk.turned) ^ (not self._bare)
            self._levels_known &= chunk.turned is not None
            self._bare = True

    def close(self, end_ns: int | None) -> None:
        """The recording ends."""
        self._take(self.receiver.close(end_ns))
        self._judge(None)
        self.framing.close()
        if not self.framing.packets:
            self.timing.doubt_kinds()
            self.framing.doubt_gaps()
        end = max(self.last, end_ns or 0)
        self.rules.end(end, stopped=self.stopped, unread=not self.framing.packets)
        session = self.terms.session
        told = [("from_s", one.from_ns, f", before {one}") for one in session.expectations]
        told += [("power_on_s", at, "") for at in session.power_on_ns or ()]
        for key, at, before in told:
            if at > end and not self.stopped:
                hint = f"the recording ends there{before}"
                raise FieldError(key, f"0 to {end / 1e9:g}", at / 1e9, hint)

    def without_probe(self) -> list[Judge]:
        """Judges to judge again without what the probe may have done."""
        self.timing.doubt_untold(levels_known=self._levels_known)
        error = self.terms.error_ns
        probes = (
            self.timing.polarities.shifts(error, self.terms.resolution_ns)
            if self._levels_known
            else ()
        )
        clear_of = [self.timing.clear_of, *(one.clear_of for one in self._between_packets())]
        if all(clear(shift) for clear in clear_of for shift, _ in probes):
            return []  # most of the time: to judge again takes as long as to judge
        return [Judge(self.terms.without_probe(*one)) for one in probes]

    def doubt_probe(self, again: Judge) -> None:
        """Leave open what hangs on what the probe may have done, as judged `again` without."""
        shift = again.terms.probe_ns
        if self.timing.may_misread(shift, again.timing):  # so that what bits make is in doubt
            self.framing.doubt_bits(shift)
        self.timing.doubt_probe(shift, again.timing)
        for mine, other in zip(self._between_packets(), again._between_packets(), strict=True):
            doubt(mine, other, shift)

    def _between_packets(self) -> list[LimitMeasure]:
        """The measures of times from packet to packet, and behind one."""
        return [*self.framing.on_times(), *self.rules.on_times()]

    def tallies(self) -> list[Tally]:
        """What was found, rule by rule."""
        rooms = self.timing, self.framing, self.rules
        return [tally for room in rooms for tally in room.tallies()]

    def open(self) -> list[object]:
        """What is open, to be compared by `alike`; which polarity comes next is left out."""
        rooms = self.receiver, self.places, self.framing
        named = [(room, name) for room in rooms for name in room.OPEN]
        found = [copy(getattr(room, name)) for room, name in named]
        return [*found, self.receiver.after_packet, self.timing.torn, self._held]

    def begin_anew(self) -> Judge:
        """A judge that goes on where this one stands, and has counted nothing."""
        made = Judge(self.terms, tape=True)
        rooms = (self.places, made.places), (self.timing, made.timing), (self.framing, made.framing)
        for mine, its in rooms:
            for name in mine.OPEN:
                setattr(its, name, getattr(mine, name))
        made.receiver, made._held, made.last = self.receiver, self._held, self.last
        made._bare = self._bare
        made.merged = -self.receiver.merged
        return made

    def absorb(self, later: Judge, *, turned: bool) -> None:
        """Go on with what another judge found from here on, whose rules of packets are a tape.

        `turned`: it took the one polarity for the other.
        """
        self.places.absorb(later.places)
        self.timing.absorb(later.timing, turned=turned)
        self.framing.absorb(later.framing)
        self.histogram.absorb(later.histogram)
        cast(Tape, later.rules).play(self.rules)
        self.merged += self.receiver.merged + later.merged
        self.receiver, self._held = later.receiver, later._held
        self.edges += later.edges
        self.last, self._bare = later.last, later._bare
        if self.first_pulse is None:
            self.first_pulse = later.first_pulse
        self._levels_known &= later._levels_known

    @property
    def pulses(self) -> int:
        """Pulses that were merged."""
        return self.merged + self.receiver.merged

    def _take(self, columns: Columns) -> None:
        held = self._held
        if held is not None and len(columns.edges) < 3:  # so that two half-bits follow
            edges = (
                np.concatenate((held.edges[:-1], columns.edges))
                if len(columns.edges)
                else held.edges
            )
            pulses = np.concatenate((held.pulses, columns.pulses))
            self._held = Columns([*held.parts, *columns.parts], edges, pulses)
            return
        self._judge(columns)
        self._held = columns

    def _judge(self, following: Columns | None, *, undefined: bool = False) -> None:
        """Judge what is held, now that it is known what follows it; None: the signal ends."""
        if self._held is None:
            return
        columns, self._held = self._held, None
        some = self.places.take(columns, following, undefined=undefined)
        if len(columns.pulses) and self.first_pulse is None:
            self.first_pulse = int(columns.pulses[0, 0])
        self.timing.add(some)
        self.framing.add(some)
        # Picking out what is not silent takes five times as long as counting it (measured).
        silent = some.lengths > _LONGEST_NS
        self.histogram.add(some.lengths[~silent] if silent.any() else some.lengths)


def alike(one: object, other: object) -> bool:
    """Whether two values are the same, arrays and columns by what they hold."""
    if isinstance(one, np.ndarray):
        return isinstance(other, np.ndarray) and np.array_equal(one, other)
    if type(one) is not type(other):
        return False
    if isinstance(one, (list, tuple)) and isinstance(other, (list, tuple)):
        return len(one) == len(other) and all(map(alike, one, other))
    if is_dataclass(one):
        names = [field.name for field in fields(one)]
        return all(alike(getattr(one, name), getattr(other, name)) for name in names)
    return one == other
