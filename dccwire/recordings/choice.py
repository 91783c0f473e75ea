"""Which of the signals in a file is the track signal: by name, or by its looks."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from dccwire.errors import Reason, RecordingError
from dccwire.receiver import PacketReceived, Receiver
from dccwire.recordings.recording import TOO_COARSE_NS
from dccwire.signal import LIMITS

__all__ = ["Candidate", "Look", "choose", "look"]

Key = TypeVar("Key")

#: So much of the durations must be one or the other (common practice, no source: what is left is
#: for noise and for other protocols between packets), and so many edges are looked at.
_SHARE = 0.9
_AT_ALL = 0.5
_MOST_EDGES = 1 << 14
#: So many names fit into one line of a message.
_MOST_NAMES = 8


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


@dataclass(frozen=True, slots=True)
class Look:
    """What the first edges of a signal look like.

    Attributes:
        edges: how many were looked at.
        durations: shortest, median and longest, ns; None with fewer than two edges.
        share: 0 to 1, how many durations a decoder must accept (S-9.1 §A, Table 1).
        packet: whether a packet with a right error byte is among them.
    """

    edges: int
    durations: tuple[int, int, int] | None
    share: float
    packet: bool

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
            return f"{self.edges} edge{'' if self.edges == 1 else 's'}"
        low, middle, high = (f"{duration / 1000:g}" for duration in self.durations)
        return f"{self.edges} edges {low} to {high} us apart, median {middle}"


def look(edges: NDArray[np.int64], resolution_ns: int) -> Look:
    """Look at the head of a signal.

    Args:
        edges: times of level changes, ns.
        resolution_ns: limits are wider by as much.
    """
    slack = min(resolution_ns, TOO_COARSE_NS)
    edges = edges[:_MOST_EDGES]
    durations = np.diff(edges)
    if not durations.size:
        return Look(edges.size, None, 0.0, False)
    fitting = np.zeros(durations.size, np.bool_)
    for limit in (LIMITS["tr1"], LIMITS["tr0"]):
        fitting |= (durations >= limit.least - slack) & (durations <= limit.most + slack)
    share = float(fitting.mean())
    three = (int(durations.min()), int(np.median(durations)), int(durations.max()))
    packet = share >= _SHARE and _has_packet(edges.tolist(), slack)
    return Look(edges.size, three, share, packet)


def _has_packet(edges: list[int], resolution_ns: int) -> bool:
    """Whether a receiver finds a packet with a right error byte (S-9.2 §B)."""
    receiver = Receiver(resolution_ns=resolution_ns)
    events = [*receiver.feed(edges), *receiver.close()]
    return any(isinstance(event, PacketReceived) and event.error_byte_right for event in events)


def choose(
    shown: str,
    candidates: Sequence[Candidate[Key]],
    wide: Sequence[Candidate[tuple[int, int]]],
    wanted: str | None,
    look_at: Callable[[Key], Look],
) -> tuple[Candidate[Key], str | None]:
    """The signal to read, and a note on why, if it was not named.

    Args:
        shown: how messages call the file.
        candidates: the signals of one bit, or the wanted bits of wider ones.
        wide: the other signals, and the numbers of their lowest and highest bit.
        wanted: the name given, or None.
        look_at: looks at the head of one signal.

    Raises:
        RecordingError: no signal, or more than one, fits.
    """
    if wanted is not None:
        return _by_name(shown, candidates, wide, wanted), None
    if not candidates:
        raise RecordingError(
            Reason.SIGNAL,
            shown,
            f"there is no signal of one bit, but {_listed(wide)}" if wide else "has no signal",
            hint="choose a bit with --signal NAME --bit N (signal=, bit=)" if wide else "",
        )
    if len(candidates) == 1:
        seen = look_at(candidates[0].key)
        if seen.may_be_track:
            return candidates[0], None
        raise RecordingError(
            Reason.SIGNAL,
            shown,
            f"the only signal, {candidates[0].name!r}, does not look like a track signal: {seen}",
            hint=f"--signal {candidates[0].name!r} (signal=) takes it nevertheless",
        )
    looks = [look_at(candidate.key) for candidate in candidates]
    tracks = [candidate for candidate, seen in zip(candidates, looks, strict=True) if seen.is_track]
    if len(tracks) == 1:
        return tracks[0], (
            f"signal {tracks[0].name!r} taken: the only one of {len(candidates)} "
            "that looks like a track signal"
        )
    if tracks:
        raise RecordingError(
            Reason.SIGNAL,
            shown,
            f"{len(tracks)} signals look like a track signal: {_listed(tracks)}",
            hint="choose one with --signal NAME (signal=)",
        )
    described = [
        f"{candidate.name!r} ({seen})" for candidate, seen in zip(candidates, looks, strict=True)
    ]
    raise RecordingError(
        Reason.SIGNAL,
        shown,
        f"none of {len(candidates)} signals looks like a track signal: {_shortened(described)}",
        hint="choose one with --signal NAME (signal=)",
    )


def _by_name(
    shown: str,
    candidates: Sequence[Candidate[Key]],
    wide: Sequence[Candidate[tuple[int, int]]],
    wanted: str,
) -> Candidate[Key]:
    exact = [candidate for candidate in candidates if wanted in candidate.names]
    found = exact or [candidate for candidate in candidates if candidate.called(wanted)]
    if len(found) == 1:
        return found[0]
    if found:
        raise RecordingError(
            Reason.SIGNAL,
            shown,
            f"{len(found)} signals are called {wanted!r}: {_listed(found)}",
            hint="give the whole name",
        )
    for other in wide:
        if other.called(wanted):
            raise RecordingError(
                Reason.SIGNAL,
                shown,
                f"{other.name!r} has the bits {other.key[0]} to {other.key[1]}",
                hint="choose one with --bit N (bit=)",
            )
    names = [name for candidate in candidates for name in candidate.names]
    names += [candidate.name for candidate in wide]
    short = {name.rpartition(".")[2]: name for name in reversed(names)}
    close = difflib.get_close_matches(wanted, [*names, *short], n=3, cutoff=0.5)
    first = list(dict.fromkeys(short.get(name, name) for name in close))
    rest = [name for name in names if name not in first]
    raise RecordingError(
        Reason.SIGNAL,
        shown,
        f"has no signal {wanted!r}, but {_shortened([repr(name) for name in first + rest])}"
        if names
        else "has no signal",
        hint="choose one of them with --signal NAME (signal=)" if names else "",
    )


def _listed(candidates: Sequence[Candidate[Any]]) -> str:
    return _shortened([repr(candidate.name) for candidate in candidates])


def _shortened(words: list[str]) -> str:
    more = len(words) - _MOST_NAMES
    return ", ".join(words[:_MOST_NAMES]) + (f" and {more} more" if more > 0 else "")
