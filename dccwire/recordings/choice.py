"""Which of the signals in a file is the track signal: by name, or by its looks."""

import difflib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Generic, TypeVar

import numpy as np

from dccwire.errors import Reason
from dccwire.recordings.looks import common_factor, look
from dccwire.recordings.opening import refusal, shortened
from dccwire.recordings.recording import Source, first_edges

Key = TypeVar("Key")
Found = TypeVar("Found", bound=Source)

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

    def refused(problem: str, hint: str = "choose one with signal=NAME") -> Exception:
        return refusal(shown, problem, hint, reason=Reason.SIGNAL)

    if not candidates and not wide:
        raise refused("has no signal", "")
    if wanted is not None:
        return taken(_by_name(candidates, wide, wanted, refused))
    count = len(candidates)
    if not candidates:
        hint = "choose a bit with signal=NAME and bit=N"
        raise refused(f"there is no signal of one bit, but {_listed(wide)}", hint)
    if count > _MOST_LOOKED_AT:
        raise refused(f"has {count} signals, too many to look at each of them")
    sources = [open_source(candidate.key) for candidate in candidates]
    slack = max(1, ceil(sources[0].tick_ns))
    heads = [*map(first_edges, sources)]
    looks = [look(edges, slack) for edges, _ in heads]
    found = [at for at, seen in enumerate(looks) if seen.is_track]
    # If it is only that all times are a factor off, the recording asks about that.
    found = found or [at for at, (edges, _) in enumerate(heads) if common_factor(edges, slack)]
    tracks = [candidates[at] for at in found]
    if count == 1:
        if found or looks[0].may_be_track:
            return taken(candidates[0])
        told = f"the only signal, {candidates[0]}, does not look like a track signal: {looks[0]}"
        raise refused(told, f"signal={candidates[0]} takes it nevertheless")
    why = f"the only one of {count} that looks like a track signal" if len(tracks) == 1 else ""
    if len(tracks) == 2:
        (edges, level), (others, inverse) = (heads[at] for at in found)
        if level != inverse and np.array_equal(edges, others):
            why = f"{tracks[1]} is its complement, the other rail"
    if why:
        return taken(tracks[0], f"signal {tracks[0]} taken: {why}")
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
        raise refused(told, "give the whole name, or rename one in the file")
    for other in wide:
        if other.called(wanted):
            told = f"{other} has the bits {other.key[0]} to {other.key[1]}"
            raise refused(told, "choose one with bit=N")
    names = [name for candidate in candidates for name in candidate.names]
    names += [candidate.name for candidate in wide]
    short = {name.rpartition(".")[2]: name for name in reversed(names[:_MOST_COMPARED])}
    near = [*names[:_MOST_COMPARED], *short]
    close = difflib.get_close_matches(wanted[:_LONGEST_NAME], near, n=3, cutoff=0.5)
    listed = _listed(map(_quoted, dict.fromkeys([short.get(name, name) for name in close] + names)))
    hint = "choose one of them with signal=NAME"
    raise refused(f"has no signal {_quoted(wanted)}, but {listed}", hint)


def _quoted(name: str) -> str:
    return repr(shortened(name, _LONGEST_NAME))


def _listed(them: Iterable[object]) -> str:
    words = [*map(str, them)]
    more = len(words) - _MOST_NAMES
    return ", ".join(words[:_MOST_NAMES]) + (f" and {more} more" if more > 0 else "")
