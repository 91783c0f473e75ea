"""Which of the signals in a file is the track signal: by name, or by its looks."""

import difflib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from dccwire.errors import Reason
from dccwire.receiver import PacketReceived, Receiver
from dccwire.receiver.edges import SHORTEST_NS
from dccwire.recordings.opening import refusal, shortened
from dccwire.recordings.recording import Source, first_edges
from dccwire.recordings.resolution import TOO_COARSE_NS
from dccwire.signal import LIMITS, NOMINAL
from dccwire.wording import counted

Key = TypeVar("Key")
Found = TypeVar("Found", bound=Source)

#: So much of the durations must be one or the other (common practice, no source: what is left is
#: for noise and for other protocols between packets), and so many edges are looked at.
_SHARE = 0.9
_AT_ALL = 0.5
_MOST_EDGES = 1 << 14
#: Where a typical duration is looked for; how far a scaled one may be off, so that ones and zeros
#: stay apart; and how near to a whole number a factor is taken for it.
_QUANTILES = (0.5, 0.25, 0.75, 0.1, 0.9)
_MOST_SLACK_NS = 5_000
_NEARLY = 0.05
#: So many names fit into one line of a message.
_MOST_NAMES = 8
_LONGEST_NAME = 60
#: More signals are not looked at (no recording of a track has so many), nor more names compared.
_MOST_LOOKED_AT = 256
_MOST_COMPARED = 1_000


@dataclass(frozen=True, slots=True)
class Candidate(Generic[Key]):
    """A signal that might be wanted: `names` (the first one is shown), and a `key` to read it."""

    names: tuple[str, ...]
    key: Key

    @property
    def name(self) -> str:
        """The name that is shown."""
        return self.names[0]

    def called(self, name: str) -> bool:
        """Whether the signal goes by this name, whole or after its last dot."""
        return any(name in (own, own.rpartition(".")[2]) for own in self.names)

    def __str__(self) -> str:
        return _quoted(self.name)


@dataclass(frozen=True, slots=True)
class Look:
    """What the first edges of a signal look like."""

    edges: int  # how many were looked at
    durations: tuple[int, int, int] | None  # shortest, median, longest, ns; None without any
    share: float  # 0 to 1, how many a decoder must accept, short pulses being merged (M8)
    packet: bool  # whether a packet with a right error byte is among them

    @property
    def is_track(self) -> bool:
        """Whether it looks like a track signal."""
        return self.share >= _SHARE and self.packet

    @property
    def may_be_track(self) -> bool:
        """Whether a file's only signal may be taken for one."""
        return self.share >= _AT_ALL

    def __str__(self) -> str:
        if self.durations is None:
            return counted(self.edges, "edge")
        low, middle, high = (f"{duration / 1000:g}" for duration in self.durations)
        return f"{self.edges} edges {low} to {high} us apart, median {middle}"


def look(edges: NDArray[np.int64], resolution_ns: int) -> Look:
    """Look at the head of a signal; limits are wider by the resolution."""
    edges = edges[:_MOST_EDGES]
    durations = np.diff(edges)
    if not durations.size:
        return Look(edges.size, None, 0.0, False)
    three = (int(durations.min()), int(np.median(durations)), int(durations.max()))
    slack = min(resolution_ns, TOO_COARSE_NS)
    times = _merged(edges.tolist())
    lengths = np.diff(times)
    fitting = _within("tr1", lengths, slack) | _within("tr0", lengths, slack)
    share = float(fitting.mean()) if fitting.size else 0.0
    return Look(edges.size, three, share, share >= _SHARE and _has_packet(times, slack))


def _merged(edges: list[int]) -> list[int]:
    """The edges without pulses that are too short, both of whose ends go (M8)."""
    kept: list[int] = []
    for edge in edges:
        if kept and edge - kept[-1] < SHORTEST_NS:
            kept.pop()
        else:
            kept.append(edge)
    return kept


def _within(name: str, durations: NDArray[np.int64], slack: int) -> NDArray[np.bool_]:
    limit = LIMITS[name]
    return (durations >= limit.least - slack) & (durations <= limit.most + slack)


def _has_packet(edges: list[int], resolution_ns: int) -> bool:
    """Whether a receiver finds a packet with a right error byte (S-9.2 §B)."""
    receiver = Receiver(resolution_ns=resolution_ns)
    events = [*receiver.feed(edges), *receiver.close()]
    return any(isinstance(event, PacketReceived) and event.error_byte_right for event in events)


def common_factor(edges: NDArray[np.int64], resolution_ns: int) -> float | None:
    """How many times too long all durations are, where no packet can be read for that reason.

    A wrong sample rate or unit does this. Whole numbers, and one over them, are meant where they
    are near, since the halves of a one may be 52 to 64 us (S-9.1 §A, Table 1).

    None if packets can be read as it is, or with no factor. Only the head of the signal is looked
    at, each of whose times may be off by `resolution_ns`.

    >>> from dccwire.synthesis import Sending, synthesize
    >>> times = np.array(list(synthesize([Sending(bytes.fromhex("FF00FF"))] * 3)))
    >>> common_factor(times, 1), common_factor(times // 2, 1), common_factor(times * 24, 1)
    (None, 0.5, 24.0)
    """
    edges = edges[:_MOST_EDGES]
    durations = np.diff(edges)
    if not durations.any() or _has_packet(edges.tolist(), min(resolution_ns, TOO_COARSE_NS)):
        return None
    # Most durations are halves of ones or of zeros: some quantile is one of either.
    for typical in np.quantile(durations[durations > 0], _QUANTILES):
        for nominal in (NOMINAL.one, NOMINAL.zero):
            factor = typical / nominal
            slack = min(ceil(resolution_ns / factor), _MOST_SLACK_NS)
            times = np.rint(edges / factor).astype(np.int64)
            if look(times, slack).is_track:
                lengths = np.diff(times)
                factor *= float(lengths[_within("tr1", lengths, slack)].mean()) / NOMINAL.one
                whole = round(factor) if factor > 1 else 1 / round(1 / factor)
                return float(whole if abs(whole / factor - 1) < _NEARLY else f"{factor:.3g}")
    return None


def look_at(source: Source) -> Look:
    """Look at the head of a source."""
    return look(first_edges(source)[0], max(1, ceil(source.tick_ns)))


def choose(
    shown: str,
    candidates: Sequence[Candidate[Key]],
    wide: Sequence[Candidate[tuple[int, int]]],
    wanted: str | None,
    open_source: Callable[[Key], Found],
) -> Found:
    """The signal to read, with a note on why, if it was not named.

    Candidates are the signals of one bit, or the wanted bits of wider ones; `wide` are the others,
    with the numbers of their lowest and highest bit. A `RecordingError` if not exactly one fits.
    """

    def taken(candidate: Candidate[Key], *notes: str) -> Found:
        source = open_source(candidate.key)
        source.signal = candidate.name
        source.notes += notes
        return source

    def refused(problem: str, hint: str = "choose one with --signal NAME (signal=)") -> Exception:
        return refusal(shown, problem, hint, reason=Reason.SIGNAL)

    if not candidates and not wide:
        raise refused("has no signal", "")
    if wanted is not None:
        return taken(_by_name(candidates, wide, wanted, refused))
    count = len(candidates)
    if not candidates:
        hint = "choose a bit with --signal NAME --bit N (signal=, bit=)"
        raise refused(f"there is no signal of one bit, but {_listed(wide)}", hint)
    if count > _MOST_LOOKED_AT:
        raise refused(f"has {count} signals, too many to look at each of them")
    looks = [look_at(open_source(candidate.key)) for candidate in candidates]
    if count == 1:
        if looks[0].may_be_track:
            return taken(candidates[0])
        told = f"the only signal, {candidates[0]}, does not look like a track signal: {looks[0]}"
        raise refused(told, f"--signal {candidates[0]} (signal=) takes it nevertheless")
    tracks = [candidate for candidate, seen in zip(candidates, looks, strict=True) if seen.is_track]
    if len(tracks) == 1:
        why = f"the only one of {count} that looks like a track signal"
        return taken(tracks[0], f"signal {tracks[0].name!r} taken: {why}")
    if tracks:
        raise refused(f"{len(tracks)} signals look like a track signal: {_listed(tracks)}")
    seen = (f"{one} ({its})" for one, its in zip(candidates, looks, strict=True))
    raise refused(f"none of {count} signals looks like a track signal: {_listed(seen)}")


def _by_name(
    candidates: Sequence[Candidate[Key]],
    wide: Sequence[Candidate[tuple[int, int]]],
    wanted: str,
    refused: Callable[..., Exception],
) -> Candidate[Key]:
    exact = [candidate for candidate in candidates if wanted in candidate.names]
    found = exact or [candidate for candidate in candidates if candidate.called(wanted)]
    if len(found) == 1:
        return found[0]
    if found:
        told = f"{len(found)} signals are called {_quoted(wanted)}: {_listed(found)}"
        raise refused(told, "give the whole name")
    for other in wide:
        if other.called(wanted):
            told = f"{other} has the bits {other.key[0]} to {other.key[1]}"
            raise refused(told, "choose one with --bit N (bit=)")
    names = [name for candidate in candidates for name in candidate.names]
    names += [candidate.name for candidate in wide]
    short = {name.rpartition(".")[2]: name for name in reversed(names[:_MOST_COMPARED])}
    near = [*names[:_MOST_COMPARED], *short]
    close = difflib.get_close_matches(wanted[:_LONGEST_NAME], near, n=3, cutoff=0.5)
    listed = _listed(map(_quoted, dict.fromkeys([short.get(name, name) for name in close] + names)))
    hint = "choose one of them with --signal NAME (signal=)"
    raise refused(f"has no signal {_quoted(wanted)}, but {listed}", hint)


def _quoted(name: str) -> str:
    return repr(shortened(name, _LONGEST_NAME))


def _listed(them: Iterable[object]) -> str:
    words = [*map(str, them)]
    more = len(words) - _MOST_NAMES
    return ", ".join(words[:_MOST_NAMES]) + (f" and {more} more" if more > 0 else "")
