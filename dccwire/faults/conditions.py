"""What must not be blamed on the station, and how it comes to be. Room: edges in ns, in and out."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from random import Random

from dccwire.faults.planting import Edges, Planting, altered, declare, unseen
from dccwire.synthesis import on_grid

_CUTOUT = 29_000, 471_000
"""From memory: a cutout begins 26 to 32 us behind an end bit, and ends 454 to 488 us behind it."""


def _spurious_pulse(edges: Edges, begin: int, end: int, random: Random) -> Edges:
    at = edges[min(bisect_left(edges, (begin + end) // 2), len(edges) - 1)]
    return sorted([*edges, at + 20_000, at + 20_000 + random.randint(500, 3_000)])


def _ringing(edges: Edges, begin: int, end: int, random: Random) -> Edges:
    near = [one for one in edges if begin <= one < end and random.random() < 0.2]
    return sorted([*edges, *(one + late for one in near for late in (600, 1_200))])


def _phase_slip(edges: Edges, begin: int, end: int, random: Random) -> Edges:
    """An edge that is missed behind the first halves of the preamble."""
    place = min(max(bisect_right(edges, begin), 1), len(edges) - 1)
    slip = edges[place] - edges[place - 1]
    return [*edges[:place], *(one - slip for one in edges[place + 1 :])]


def _polarity(edges: Edges, begin: int, end: int, random: Random) -> Edges:
    start, stop = end + _CUTOUT[0], end + 4_000_000
    without = unseen(edges, start, stop)
    # Without the edge at its end, or with one more, all that follows is the other way round.
    return sorted(set(without) ^ {stop})


def _hidden(edges: Edges, begin: int, end: int, random: Random) -> Edges:
    return unseen(edges, end + _CUTOUT[0], end + _CUTOUT[1])


def _one_rail(edges: Edges, begin: int, end: int, random: Random) -> Edges:
    return [one + 1_800 * (place % 2) for place, one in enumerate(edges)]


def _jitter(edges: Edges, begin: int, end: int, random: Random) -> Edges:
    return [one + random.randint(-500, 500) for one in edges]


def _begun(edges: Edges, begin: int, end: int, random: Random) -> Edges:
    return [one for one in edges if one >= (begin + end) // 2]


def _power_off(edges: Edges, begin: int, end: int, random: Random) -> Edges:
    return unseen(edges, (begin + end) // 2, edges[-1] + 1)


def _power_off_and_on(edges: Edges, begin: int, end: int, random: Random) -> Edges:
    middle = (begin + end) // 2
    return unseen(edges, middle, middle + 30_000_000)


declare(
    Planting(
        "spurious-pulse",
        "a pulse of less than 3 us within a packet",
        None,
        "S-9.1 §B, M8",
        see=_spurious_pulse,
    ),
    Planting("ringing", "crossings that happen three times", None, "S-9.1 §B, M8", see=_ringing),
    Planting("phase-slip", "half a 1 too few in a preamble", None, "E8", see=_phase_slip),
    Planting(
        "polarity-change",
        "the rails exchanged behind a packet, in 4 ms without signal",
        None,
        "S-9.1 §A",
        see=_polarity,
    ),
    Planting(
        "cutout",
        "no signal for 442 us behind a packet, and the next one waits",
        None,
        "S-9.2 §C",
        send=altered(gap_ns=442_000),
    ),
    Planting(
        "cutout-over-ones",
        "no signal for 442 us behind a packet, and the next one goes on",
        None,
        "S-9.2 §C",
        see=_hidden,
    ),
    Planting(
        "stretched-zeros",
        "a start bit of 2500 and 9000 us",
        None,
        "S-9.1 §A, Table 1",
        send=altered(other_halves=((0, 2_500_000), (1, 9_000_000))),
    ),
    Planting(
        "sampled-at-1-MHz",
        "edges seen each microsecond",
        None,
        "M1",
        see=lambda edges, *_: [on_grid(one, 1000) for one in edges],
        everywhere=True,
    ),
    Planting(
        "one-rail-probe", "every other edge 1.8 us late", None, "M7", see=_one_rail, everywhere=True
    ),
    Planting(
        "jitter", "edges up to 0.5 us early or late", None, "M2", see=_jitter, everywhere=True
    ),
    Planting(
        "clock-100-ppm-off",
        "all times 0.01 percent too long",
        None,
        "M9",
        see=lambda edges, *_: [one + one // 10_000 for one in edges],
        everywhere=True,
    ),
    Planting(
        "begun-within", "a recording that begins in the middle of a packet", None, "M10", see=_begun
    ),
    Planting(
        "power-off", "no signal from the middle of a packet on", None, "S-9.2 §C", see=_power_off
    ),
    Planting(
        "power-off-and-on",
        "no signal for 30 ms from the middle of a packet on",
        None,
        "S-9.2 §C",
        see=_power_off_and_on,
    ),
)
declare(
    Planting(
        "clock-6-percent-off",
        "all times 6 percent too long",
        1,
        see=lambda edges, *_: [one + one * 6 // 100 for one in edges],
        everywhere=True,
        session="clock_is_right = true",
    ),
)
