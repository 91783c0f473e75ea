"""What the tests of receivers share: signals to draw, and ways to feed them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from random import Random

import numpy as np
from hypothesis import strategies as st

from dccwire.framing import to_bits
from dccwire.receiver import Event, PacketReceived, Receiver
from dccwire.receiver.columns import ColumnReceiver
from dccwire.signal import durations

IDLE = bytes.fromhex("FF00FF")
LOCO = bytes.fromhex("377443")

# Lengths in ns at and around each limit of S-9.1 §A, Table 1 (received), M8, and the gap.
LENGTHS = (
    *(200, 1_000, 3_999, 4_000, 11_000, 26_000, 51_999, 52_000, 58_000, 64_000, 64_001, 76_000),
    *(89_999, 90_000, 100_000, 9_900_000, 10_000_000, 10_000_001, 25_000_000),
)


def halves(data: bytes, preamble: int = 14) -> list[int]:
    """The half-bits of a packet of nominal timing, in ns."""
    return list(durations(to_bits(data, preamble)))


def edges_of(lengths: Iterable[int], start: int = 0) -> list[int]:
    """The edges that bound half-bits."""
    return list(accumulate(lengths, initial=start))


def datas(events: Iterable[Event]) -> list[bytes]:
    """The bytes of the packets among events."""
    return [one.data for one in events if isinstance(one, PacketReceived)]


@dataclass(frozen=True)
class Script:
    """Edges to feed in stretches, with the undefined stretches between them, and an end."""

    stretches: tuple[tuple[int, ...], ...]
    gaps: tuple[tuple[int, int], ...]
    end: int | None
    cuts: tuple[int, ...]

    @property
    def all_edges(self) -> list[int]:
        return [edge for stretch in self.stretches for edge in stretch]


def portions(edges: Sequence[int], cuts: Iterable[int]) -> list[Sequence[int]]:
    """The edges cut at these places (taken modulo their number)."""
    places = sorted({0, len(edges), *(cut % (len(edges) + 1) for cut in cuts)})
    return [edges[a:b] for a, b in pairwise(places)] or [edges]


def stream(script: Script, receiver: Receiver, *, cut: bool = False) -> list[Event]:
    """All events of a streaming receiver."""
    events: list[Event] = []
    for number, stretch in enumerate(script.stretches):
        for portion in portions(stretch, script.cuts if cut else ()):
            events += receiver.feed(iter(portion))
        if number < len(script.gaps):
            events += receiver.gap(*script.gaps[number])
    return events + receiver.close(script.end)


def columns(script: Script, receiver: ColumnReceiver) -> tuple[list[Event], list[list[int]]]:
    """All events of a vectorised receiver, and the edges it hands out with them."""
    found = []
    for number, stretch in enumerate(script.stretches):
        for portion in portions(stretch, script.cuts):
            found.append(receiver.feed(np.array(portion, np.int64)))
        if number < len(script.gaps):
            found.append(receiver.gap(*script.gaps[number]))
    found.append(receiver.close(script.end))
    return [one for each in found for one in each], [each.edges.tolist() for each in found]


def _packet(data: bytes, preamble: int, stretch: int, checked: bool) -> list[int]:
    if checked:
        last = 0
        for byte in data:
            last ^= byte
        data += bytes([last])
    lengths = halves(data, preamble)
    if stretch:
        lengths[-2 - 2 * len(data)] += stretch
    return lengths


packets = st.builds(
    _packet,
    st.one_of(
        st.sampled_from((b"\xff\x00", b"\x00\x00", b"\x37\x74")), st.binary(min_size=1, max_size=7)
    ),
    st.integers(8, 22),
    st.sampled_from((0, 0, 0, 500_000, 9_000_000)),
    st.booleans(),
)
noise = st.lists(st.sampled_from(LENGTHS), max_size=6)
clean = st.lists(
    st.builds(
        _packet, st.binary(min_size=2, max_size=5), st.integers(10, 24), st.just(0), st.just(True)
    ),
    min_size=1,
    max_size=5,
).map(lambda parts: [length for part in parts for length in part])


def _damage(lengths: list[int], damages: list[tuple[int, str, int]]) -> list[int]:
    lengths = list(lengths)
    for place, kind, length in damages:
        at = place % (len(lengths) + 1)
        if kind == "drop":
            del lengths[at : at + 1]
        elif kind == "insert":
            lengths.insert(at, length)
        elif kind == "replace":
            lengths[at : at + 1] = [length]
        else:  # a spurious pulse within a half-bit
            whole = lengths[at] if at < len(lengths) else 0
            if whole > length + 2:
                rest = whole - length
                lengths[at : at + 1] = [rest // 3, length, rest - rest // 3]
    return lengths


damages = st.lists(
    st.tuples(
        st.integers(0, 2_000),
        st.sampled_from(("drop", "insert", "replace", "pulse")),
        st.sampled_from(LENGTHS),
    ),
    max_size=4,
)


def _jittered(edges: list[int], jitter: int, sampling: int, seed: int) -> list[int]:
    random = Random(seed)
    moved = [edge + random.randint(-jitter, jitter) for edge in edges] if jitter else edges
    return list(accumulate((-(-edge // sampling) * sampling for edge in moved), max))


@st.composite
def signals(draw: Callable[..., object], start: int = 0) -> list[int]:
    """Edges of packets, faults and noise, jittered and sampled, from any half-bit on."""
    parts = draw(st.lists(st.one_of(packets, packets, noise), min_size=1, max_size=4))
    lengths = _damage([length for part in parts for length in part], draw(damages))
    begin = draw(st.integers(0, 40))
    jitter, sampling = draw(st.sampled_from(((0, 1), (0, 1), (500, 1), (3_000, 1), (400, 1_000))))
    start = draw(st.sampled_from((0, 5_000, 10**18)))
    return _jittered(
        edges_of(lengths[begin:], start + 5_000), jitter, sampling, draw(st.integers(0, 99))
    )


@st.composite
def scripts(draw: Callable[..., object]) -> Script:
    """Signals with undefined stretches between them, an end, and places to cut the input."""
    stretches, gaps, at = [], [], 0
    for number in range(draw(st.integers(1, 2))):
        edges = draw(signals())
        if number:
            at += draw(st.sampled_from((0, 3_000, 60_000, 20_000_000)))
            begin = at
            at += draw(st.sampled_from((0, 30_000, 5_000_000)))
            gaps.append((begin, at))
            at += draw(st.sampled_from((0, 58_000)))
            edges = [edge - edges[0] + at for edge in edges]
        stretches.append(tuple(edges))
        at = edges[-1]
    end = draw(st.sampled_from((None, 0, 51_999, 52_000, 10_000_001)))
    cuts = draw(st.lists(st.integers(0, 1_000), max_size=5))
    return Script(tuple(stretches), tuple(gaps), None if end is None else at + end, tuple(cuts))
