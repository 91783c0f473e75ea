"""Planting: a named fault or condition, put into any list of packets, and where it then stands.

A fault is what a station must not send; a condition is what must not be blamed on it. The same
arguments give the same signal, on every machine. Room: knows no rule but by its number.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from itertools import accumulate
from random import Random
from typing import NamedTuple

from dccwire.errors import FieldError
from dccwire.plan import read_plan
from dccwire.synthesis import Sending, on_grid, synthesize

Edges = list[int]
Send = Callable[[list[Sending], int], tuple[list[Sending], int]]
"""From sendings and a place to what is sent instead of the one there, and how many these are."""
See = Callable[[Edges, int, int, Random], Edges]
"""From edges, and where the packet at the place begins and ends, to the edges that are seen."""


@dataclass(frozen=True, slots=True)
class Planting:
    """A fault that breaks a rule, by its number, or a condition and where it is described.

    `send` changes what the station sends, `see` what a recorder sees of it. What changes the whole
    signal is `everywhere`; `at` is the place if none is given, the middle if None; `session` the
    lines of a session file that the rule asks for.
    """

    name: str
    words: str
    rule: int | None = None
    clause: str = ""
    send: Send | None = None
    see: See | None = None
    everywhere: bool = False
    at: int | None = None
    session: str = ""


PLANTINGS: dict[str, Planting] = {}
"""What can be planted, by name, as the files of this room declare it."""


def declare(*plantings: Planting) -> None:
    """Add plantings; a name that is taken is a `FieldError`."""
    for one in plantings:
        if one.name in PLANTINGS:
            raise FieldError("planting", "a name of its own", one.name)
        PLANTINGS[one.name] = one


class Mark(NamedTuple):
    """Where a planting stands: from the preamble's begin to the end of its packets, in ns."""

    name: str
    begin_ns: int
    end_ns: int


@dataclass(frozen=True, slots=True)
class Planted:
    """The edge times of a signal, in ns, and what was planted in it."""

    edges: Edges
    marks: tuple[Mark, ...]


def plant(
    sendings: Iterable[Sending],
    *wishes: str,
    start_ns: int = 0,
    jitter_ns: int = 0,
    sampling_ns: int = 1,
    pulses_per_second: float = 0,
    seed: int = 0,
) -> Planted:
    """The signal of these sendings with faults and conditions in it.

    Args:
        sendings: what is sent, in order.
        wishes: `NAME`, or `NAME@PLACE` with the number of a packet, the first being 0; else it
            stands in the middle. At one place they are planted in the order given, what changes
            the whole signal last.
        start_ns: when the first half-bit begins.
        jitter_ns: each edge of the station comes up to so much early or late.
        sampling_ns: edges are seen at multiples of this.
        pulses_per_second: spurious pulses at random places.
        seed: of all that is random.

    Raises:
        FieldError: no such name (the nearest is told), a place where there is no packet, or no
            packets at all.

    >>> idle = Sending(bytes.fromhex("FF00FF"))
    >>> planted = plant([idle] * 5, "short-preamble@2")
    >>> planted.marks
    (Mark(name='short-preamble', begin_ns=11592000, end_ns=17156000),)
    """
    sent, random = list(sendings), Random(seed)
    if not sent:
        raise FieldError("sendings", "one packet or more", sent)
    chosen = [_chosen(one, len(sent)) for one in wishes]
    # From the last place to the first, and so the places before it keep their numbers.
    chosen.sort(key=lambda one: -one[1])
    spans: list[tuple[Planting, int, int]] = []
    for planting, place in chosen:
        count = 1
        if planting.send is not None:
            size = len(sent)
            sent, count = planting.send(sent, place)
            spans = [(one, at + len(sent) - size, many) for one, at, many in spans]
        spans.append((planting, place, count))
    times = list(accumulate((sum(one.lengths()) for one in sent), initial=start_ns))
    edges = list(
        synthesize(
            sent,
            start_ns=start_ns,
            jitter_ns=jitter_ns,
            pulses_per_second=pulses_per_second,
            seed=seed,
        )
    )
    marks = []
    # What a recorder does to the whole signal comes last: to all that there is to see.
    for planting, place, count in sorted(spans, key=lambda one: one[0].everywhere):
        begin, end = times[place], times[place + count]
        if planting.see is not None:
            edges = planting.see(edges, begin, end, random)
        whole = planting.everywhere
        marks.append(Mark(planting.name, *((times[0], times[-1]) if whole else (begin, end))))
    marks.sort(key=lambda one: one.begin_ns)
    # What comes late may be overtaken by what stands close behind it; edges stay in order.
    return Planted([on_grid(one, sampling_ns) for one in accumulate(edges, max)], tuple(marks))


def plantings_in_words() -> Iterator[tuple[str, ...]]:
    """Name, what it is, what it breaks, and the session that shows it, after their headings."""
    yield "name", "what it is", "what it breaks", "in a session with"
    for one in PLANTINGS.values():
        breaks = f"nothing ({one.clause})" if one.rule is None else f"rule {one.rule}"
        yield one.name, one.words, breaks, one.session.replace("\n", " and ")


def known(name: str) -> Planting:
    """The planting of a name; a `FieldError` with the nearest one if there is none."""
    if name not in PLANTINGS:
        near = get_close_matches(name[:40], PLANTINGS, n=1, cutoff=0.4)
        hint = f"perhaps {near[0]}" if near else "as --list-faults tells them"
        raise FieldError("fault", "a known name", name, hint)
    return PLANTINGS[name]


def _chosen(wish: str, count: int) -> tuple[Planting, int]:
    name, at, text = wish.partition("@")
    planting = known(name)
    if not at:
        middle = (count - 1) // 2
        return planting, middle if planting.at is None else planting.at
    if not (text.isascii() and text.isdigit() and len(text) < 10 and int(text) < count):
        raise FieldError("fault", f"NAME@PLACE, a packet of 0 to {count - 1}", wish)
    return planting, int(text)


def altered(**changes: object) -> Send:
    """The packet there, changed as `Sending` takes it; what is callable is asked with it."""

    def send(sent: list[Sending], place: int) -> tuple[list[Sending], int]:
        one = sent[place]
        told = {name: value(one) if callable(value) else value for name, value in changes.items()}
        return [*sent[:place], replace(one, **told), *sent[place + 1 :]], 1  # type: ignore[arg-type]

    return send


def inserted(*lines: str) -> Send:
    """These lines of a plan before the packet there, each packet in full."""

    def send(sent: list[Sending], place: int) -> tuple[list[Sending], int]:
        some = list(read_plan(lines))
        return [*sent[:place], *some, *sent[place:]], len(some)

    return send


def every(change: Callable[[Sending], Sending]) -> Send:
    """Each packet, changed."""
    return lambda sent, place: ([change(one) for one in sent], 1)


def unseen(edges: Sequence[int], start: int, stop: int) -> Edges:
    """What one input shows if nothing drives the rails from start to stop: a rail at rest.

    The level before the first edge is that at rest.
    """
    before = [one for one in edges if one < start]
    after = [one for one in edges if one > stop]
    high_before, high_after = len(before) % 2, (len(edges) - len(after)) % 2
    return [*before, *[start] * high_before, *[stop] * high_after, *after]
