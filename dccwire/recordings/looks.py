"""What the head of a signal looks like: a track signal, as it is or with all times a factor off.

Room: edge times in; knows nothing of files.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import chain, islice
from math import ceil, log10

import numpy as np
from numpy.typing import NDArray

from dccwire.receiver import Fault, PacketReceived, Receiver
from dccwire.receiver.edges import SHORTEST_NS
from dccwire.recordings.resolution import TOO_COARSE_NS
from dccwire.signal import LIMITS, NOMINAL
from dccwire.wording import counted

#: So much of the durations must be one or the other (common practice, no source: what is left is
#: for noise and for other protocols between packets), and so many edges are looked at.
_SHARE = 0.9
_AT_ALL = 0.5
_MOST_EDGES = 1 << 14
_PORTION = 1 << 10
#: Where a typical duration is looked for; how far a scaled one may be off, so that ones and zeros
#: stay apart; and how near to a power of ten, or to a whole number, a factor is taken for it: ones
#: of 55 to 61 us are right (S-9.1 §A, Table 1 t1).
_QUANTILES = (0.5, 0.25, 0.75, 0.1, 0.9)
_MOST_SLACK_NS = 5_000
_NEARLY = 0.055


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


def head_of(parts: Iterable[NDArray[np.int64]]) -> NDArray[np.int64]:
    """The first edges of a signal that comes in parts: as many as are looked at, and no more."""
    return np.fromiter(islice(chain.from_iterable(parts), _MOST_EDGES), np.int64)


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
    return Look(edges.size, three, share, share >= _SHARE and any(_packets(times, slack)))


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


def _packets(edges: list[int], resolution_ns: int) -> Iterator[bool]:
    """Whether what a receiver finds has a right error byte (S-9.2 §B), packet by packet."""
    receiver = Receiver(resolution_ns=resolution_ns)
    for at in range(0, len(edges) + 1, _PORTION):
        events = [*receiver.feed(edges[at : at + _PORTION])]
        events += receiver.close() if at + _PORTION > len(edges) else ()
        for event in events:
            if isinstance(event, (PacketReceived, Fault)):
                yield isinstance(event, PacketReceived) and event.error_byte_right


def common_factor(edges: NDArray[np.int64], resolution_ns: int) -> float | None:
    """How many times too long all durations are, where no packet can be read for that reason.

    A wrong sample rate or unit does this. Powers of ten, whole numbers, and one over them, are
    meant where they are near.

    None if packets can be read as it is, or with no factor, with which most must be right: other
    codes than this one have a packet by chance. Only the head of the signal is looked at, each of
    whose times may be off by `resolution_ns`.

    >>> from dccwire.synthesis import Sending, synthesize
    >>> times = np.array(list(synthesize([Sending(bytes.fromhex("FF00FF"))] * 3)))
    >>> common_factor(times, 1), common_factor(times // 2, 1), common_factor(times * 24, 1)
    (None, 0.5, 24.0)
    """
    edges = edges[:_MOST_EDGES]
    durations = np.diff(edges)
    if not durations.any() or any(_packets(edges.tolist(), min(resolution_ns, TOO_COARSE_NS))):
        return None
    # Most durations are halves of ones or of zeros: some quantile is one of either.
    for typical in dict.fromkeys(np.quantile(durations[durations > 0], _QUANTILES)):
        for nominal in (NOMINAL.one, NOMINAL.zero):
            factor = typical / nominal
            slack = min(ceil(resolution_ns / factor), _MOST_SLACK_NS)
            times = np.rint(edges / factor).astype(np.int64)
            right = [*_packets(times.tolist(), slack)] if look(times, slack).is_track else []
            if 2 * sum(right) > len(right):
                lengths = np.diff(times)
                factor *= float(lengths[_within("tr1", lengths, slack)].mean()) / NOMINAL.one
                whole = round(factor) if factor > 1 else 1 / round(1 / factor)
                meant = (10.0 ** round(log10(factor)), float(whole), float(f"{factor:.3g}"))
                factor = next(one for one in meant if abs(one / factor - 1) <= _NEARLY)
                # Where the ones are right, the zeros are wrong: that is no factor.
                return None if factor == 1 else factor
    return None


def doubt(factor: float) -> str:
    """What to say of a common factor."""
    return (
        f"all half-bits last {factor:.4g} times what they should, a common factor: is the sample "
        "rate, or the unit of times, right?"
    )
